/* test_blunt_ends.c - narrow strokes with round ends: their length is not overshot.
 *
 * A stroke is all that lies within half its width of a line, drawn on a five times finer grid,
 * blurred there by a Gaussian and averaged over each pixel; nine discs in the same field show blur
 * and grey. Taken for an ellipse, of whose ends blur would hide far more, these strokes come out 5
 * to 14 % longer than they are (computed); held here is 8 %, and never too short by more than 2 %.
 */
#include "kb_cmocka.h"

#include "canvas.h"

#include <math.h>
#include <stdlib.h>

enum { FINE = 5, CELL = 40, ACROSS = 9, DOWN = 4, DISCS = ACROSS };
enum { WIDTH = ACROSS * CELL, HEIGHT = DOWN * CELL, FINE_WIDTH = WIDTH * FINE };
enum { FINE_HEIGHT = HEIGHT * FINE };

struct stroke {
    double x, y, length, width, angle; /* px, radians */
};

/* Distance of a place from the middle line of a stroke. */
static double from_line(const struct stroke *s, double x, double y) {
    const double along = (x - s->x) * cos(s->angle) + (y - s->y) * sin(s->angle);
    const double half = 0.5 * (s->length - s->width);
    const double on = fmin(fmax(along, -half), half);
    return hypot(x - s->x - on * cos(s->angle), y - s->y - on * sin(s->angle));
}

static void add_stroke(double *fine, const struct stroke *s) {
    for (int y = 0; y < FINE_HEIGHT; y++) {
        for (int x = 0; x < FINE_WIDTH; x++) {
            if (from_line(s, (x + 0.5) / FINE, (y + 0.5) / FINE) <= 0.5 * s->width) {
                fine[(size_t)y * FINE_WIDTH + (size_t)x] = 1.0;
            }
        }
    }
}

/* Gaussian along lines of `length` values `step` apart. */
static void blur_along(double *value, size_t lines, size_t line, int length, size_t step,
                       double sigma) {
    const int reach = (int)ceil(4.0 * sigma);
    double *copy = calloc((size_t)length, sizeof *copy);
    assert_non_null(copy);
    for (size_t k = 0; k < lines; k++) {
        double *at = value + k * line;
        for (int i = 0; i < length; i++) {
            copy[i] = at[(size_t)i * step];
        }
        for (int i = 0; i < length; i++) {
            double sum = 0.0;
            double weights = 0.0;
            for (int d = -reach; d <= reach; d++) {
                const double weight = exp(-0.5 * d * d / (sigma * sigma));
                weights += weight;
                sum += i + d >= 0 && i + d < length ? weight * copy[i + d] : 0.0;
            }
            at[(size_t)i * step] = sum / weights;
        }
    }
    free(copy);
}

static struct kb_image expose(double *fine, double blur_px, double noise, uint64_t *seed) {
    blur_along(fine, FINE_HEIGHT, FINE_WIDTH, FINE_WIDTH, 1, blur_px * FINE);
    blur_along(fine, FINE_WIDTH, 1, FINE_HEIGHT, FINE_WIDTH, blur_px * FINE);
    struct canvas canvas = canvas_blank(WIDTH, HEIGHT, 210.0);
    for (int y = 0; y < FINE_HEIGHT; y++) {
        for (int x = 0; x < FINE_WIDTH; x++) {
            canvas.value[(y / FINE) * WIDTH + x / FINE] -=
                150.0 / (FINE * FINE) * fine[(size_t)y * FINE_WIDTH + (size_t)x];
        }
    }
    struct kb_image image = canvas_expose(&canvas, noise, seed);
    canvas_release(&canvas);
    return image;
}

/* Mean of measured over true length of strokes at random places and angles. */
static double mean_length(double width, double length, double blur_px, double noise) {
    uint64_t seed = 17;
    double *fine = calloc((size_t)FINE_WIDTH * FINE_HEIGHT, sizeof *fine);
    assert_non_null(fine);
    for (int i = 0; i < ACROSS * DOWN; i++) {
        const bool disc = i < DISCS;
        const struct stroke s = {
            (i % ACROSS + 0.5) * CELL + spread(&seed),
            (i / ACROSS + 0.5) * CELL + spread(&seed),
            disc ? 24.0 : length,
            disc ? 24.0 : width,
            SHAPE_PI * spread(&seed),
        };
        add_stroke(fine, &s);
    }
    struct kb_image image = expose(fine, blur_px, noise, &seed);
    free(fine);
    struct kb_phase_map map = map_below(&image, 135.0);
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    params.min_feret_um = 0.0;
    struct kb_particles p = measured_with(&map, &image, 0.5, &params);
    double sum = 0.0;
    double count = 0.0;
    for (size_t i = 0; i < p.count; i++) {
        if (p.particle[i].area_px2 < 200.0 && p.particle[i].subpixel) { /* a disc has 452 */
            sum += p.particle[i].feret_max_px / length;
            count += 1.0;
        }
    }
    assert_true(count >= 20.0);
    kb_particles_release(&p);
    kb_phase_map_release(&map);
    kb_image_release(&image);
    return sum / count;
}

static void strokes_with_blunt_ends_are_not_measured_too_long(void **state) {
    (void)state;
    static const double kind[][4] = {
        {3.0, 10.0, 0.7, 0.0}, {3.0, 10.0, 1.0, 3.0}, {3.0, 14.0, 0.7, 3.0},
        {4.0, 12.0, 1.0, 0.0}, {4.0, 16.0, 0.7, 3.0},
    };
    for (size_t i = 0; i < sizeof kind / sizeof kind[0]; i++) {
        const double ratio = mean_length(kind[i][0], kind[i][1], kind[i][2], kind[i][3]);
        if (!(ratio > 0.98 && ratio < 1.08)) {
            fail_msg("%g x %g px, blur %g px, noise %g: %.3f of the true length", kind[i][0],
                     kind[i][1], kind[i][2], kind[i][3], ratio);
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(strokes_with_blunt_ends_are_not_measured_too_long),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
