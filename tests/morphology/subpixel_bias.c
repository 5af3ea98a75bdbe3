/* subpixel_bias.c - prints refs/subpixel_bias.csv: what a sub-pixel outline gains over pixel rules.
 *
 *   subpixel_bias [PARTICLES]      a row a kind, 400 particles by default; takes a minute
 *
 * Not run by ctest; test_subpixel_bias.c measures some of the rows again. */
#include "kb_cmocka.h"

#include "bias_cell.h"

#include <stdlib.h>

static void print_row(const struct bias_kind *kind, const struct bias *outline,
                      const struct bias *pixels, double outlined) {
    printf("%.1f,%g,%g,%g,%.2f", kind->axis_ratio, kind->d_px, kind->blur_px, kind->noise,
           outlined);
    const struct bias *both[2] = {outline, pixels};
    for (int k = 0; k < 2; k++) {
        for (int i = 0; i < BIASES; i++) {
            printf(i == BIAS_SHAPE ? ",%.4f,%.4f" : ",%.2f,%.2f",
                   (i == BIAS_SHAPE ? 1.0 : 100.0) * both[k]->mean[i],
                   (i == BIAS_SHAPE ? 1.0 : 100.0) * both[k]->s[i]);
        }
    }
    puts(",simulation of random positions,computed");
}

int main(int argc, char **argv) {
    static const double d_px[] = {8, 10, 14, 20, 30, 50, 100};
    static const double ratio[] = {1.0, 0.8, 0.6, 0.4, 0.3};
    static const double seen[][2] = {
        {0.5, 0}, {0.5, 5}, {0.7, 2}, {1.0, 0}, {1.0, 5}}; /* blur, noise */
    int64_t particles = 400;
    if (argc > 1 && !kb_parse_integer(argv[1], 2, 100000, &particles)) {
        return EXIT_FAILURE;
    }
    uint64_t seed = 11;
    puts("axis_ratio,d_px,blur_px,noise,outlined,"
         "area,s_area,feret_max,s_feret_max,feret_min,s_feret_min,perimeter,s_perimeter,shape,s_"
         "shape,"
         "px_area,px_s_area,px_feret_max,px_s_feret_max,px_feret_min,px_s_feret_min,px_perimeter,"
         "px_s_perimeter,px_shape,px_s_shape,source,status");
    for (size_t v = 0; v < sizeof seen / sizeof seen[0]; v++) {
        for (size_t d = 0; d < sizeof d_px / sizeof d_px[0]; d++) {
            for (size_t r = 0; r < sizeof ratio / sizeof ratio[0]; r++) {
                struct bias_kind kind = {ratio[r], d_px[d], seen[v][0], seen[v][1]};
                struct bias outline, pixels;
                double outlined = 0.0;
                int count = d_px[d] > 40.0 ? (int)particles / 8 + 2 : (int)particles;
                bias_measure(&kind, count, &seed, &outline, &pixels, &outlined);
                print_row(&kind, &outline, &pixels, outlined);
                (void)fflush(stdout);
            }
        }
    }
    return EXIT_SUCCESS;
}
