/* test_edge_line.c - a line along the border of pearlite counts half to either side.
 *
 * Discs of pearlite in ferrite are written down from formulas: a step blurred by a normal
 * distribution, and on the border a line with a normal profile. Their area is that of the circles,
 * whatever line runs along them. Drawn fields have the bright edges of secondary electrons, and
 * their truth is the area of what was drawn. Tolerance: 1 point of the field.
 */
#include "drawn_field.h"
#include "kb_cmocka.h"

#include <stdlib.h>
#include <string.h>

#define WIDTH 640
#define HEIGHT 480
#define POINT 0.01

/* A picture of discs: greys, deviation of the blur and of the line in pixels, the line's height. */
struct discs {
    double ferrite, pearlite, blur, line_sigma, line;
    double tilt; /* light lost from left to right */
};

enum { PITCH = 80 };
#define RADIUS 27.3

static double disc_share(void) {
    return 3.14159265358979 * RADIUS * RADIUS / (PITCH * PITCH);
}

static void draw_discs(const struct discs *d, uint8_t *px) {
    uint32_t random = 5;
    for (int y = 0; y < HEIGHT; y++) {
        for (int x = 0; x < WIDTH; x++) {
            /* centres off the raster, differently in each row and column of discs */
            int column = x / PITCH, row = y / PITCH;
            double dx = x + 0.5 - (column + 0.5) * PITCH - 0.37 * (column % 3);
            double dy = y + 0.5 - (row + 0.5) * PITCH - 0.29 * (row % 4);
            double inside = RADIUS - sqrt(dx * dx + dy * dy);
            double in = 0.5 * erfc(-inside / (d->blur * sqrt(2.0)));
            double z = inside / d->line_sigma;
            double grey =
                d->ferrite + (d->pearlite - d->ferrite) * in + d->line * exp(-0.5 * z * z);
            random = random * 1664525u + 1013904223u;
            double noise = (double)(random >> 8 & 0xffff) / 65536.0 * 6.0 - 3.0;
            px[y * WIDTH + x] = (uint8_t)(grey * (1.0 - d->tilt * x / WIDTH) + noise + 0.5);
        }
    }
}

static double found_share(const struct discs *d, enum kb_contrast contrast) {
    static uint8_t px[WIDTH * HEIGHT];
    struct kb_field field = {.grey = {WIDTH, HEIGHT, WIDTH, px}, .grey_high = 255.0, .px_um = 0.5};
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_CARBON_STEEL, contrast);
    struct kb_phase_map map;
    draw_discs(d, px);
    assert_int_equal(kb_segment(&field, &params, &map, NULL), KB_OK);
    double share = label_share(&map, KB_PEARLITE);
    kb_phase_map_release(&map);
    return share;
}

static void a_line_does_not_make_pearlite_larger(void **state) {
    (void)state;
    const struct discs bright[] = {
        {76, 126, 0.7, 0.9, 35, 0.0}, {76, 126, 1.2, 1.2, 25, 0.0}, {76, 126, 0.7, 0.7, 30, 0.2}};
    for (size_t i = 0; i < sizeof bright / sizeof *bright; i++) {
        assert_near(found_share(&bright[i], KB_SEM), disc_share(), POINT);
    }
    const struct discs dark = {205, 110, 0.8, 0.9, -60, 0.0};
    assert_near(found_share(&dark, KB_LIGHT), disc_share(), POINT);
}

/* Also where the light is uneven, the step sharp, or the other way round. */
static void without_a_line_the_half_way_level_stays(void **state) {
    (void)state;
    const struct discs plain[] = {{76, 126, 0.8, 1, 0, 0.0},  {205, 110, 0.8, 1, 0, 0.0},
                                  {205, 110, 0.8, 1, 0, 0.3}, {205, 110, 0.05, 1, 0, 0.3},
                                  {205, 110, 1.8, 1, 0, 0.0}, {76, 126, 0.05, 1, 0, 0.0}};
    for (size_t i = 0; i < sizeof plain / sizeof *plain; i++) {
        enum kb_contrast contrast = plain[i].ferrite < 100 ? KB_SEM : KB_LIGHT;
        assert_near(found_share(&plain[i], contrast), disc_share(), 0.25 * POINT);
    }
}

/* ---- drawn fields -------------------------------------------------------------------------------
 */

static double pearlite_error(struct kb_render_params draw) {
    struct drawn_field drawn;
    struct kb_phase_map map;
    draw.width = 800;
    draw.height = 600;
    draw.graphite = KB_RENDER_NONE;
    assert_true(drawn_field_make(&draw, &drawn));
    enum kb_contrast contrast = draw.look == KB_RENDER_SEM ? KB_SEM : KB_LIGHT;
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_CARBON_STEEL, contrast);
    assert_int_equal(kb_segment(&drawn.field, &params, &map, NULL), KB_OK);
    double error = label_share(&map, KB_PEARLITE) - drawn.render.truth.pearlite;
    kb_phase_map_release(&map);
    drawn_field_release(&drawn);
    return error;
}

/* Before lines were seen these were 1 to 3 points high, the more the larger the pixel. Lamellae
 * that a pixel of 0.25 um resolves, in much pearlite, are another matter and left out. */
static void bright_edges_do_not_widen_pearlite(void **state) {
    (void)state;
    const struct {
        double share, px_um;
    } field[] = {{0.2, 0.25}, {0.2, 0.5}, {0.5, 0.25}, {0.5, 0.5},
                 {0.8, 0.5},  {0.5, 1.0}, {0.8, 0.25}, {0.75, 0.15}};
    enum { FIELDS = sizeof field / sizeof *field };
    struct kb_render_params p = kb_render_params_default();
    p.look = KB_RENDER_SEM;
    p.beam_noise = 6.0;
    double sum = 0.0;
    for (int i = 0; i < FIELDS; i++) {
        p.seed = 7600 + (uint64_t)i;
        p.pearlite_of_matrix = field[i].share;
        p.px_um = field[i].px_um;
        double error = pearlite_error(p);
        assert_near(error, 0.0, POINT);
        sum += error;
    }
    assert_near(sum / FIELDS, 0.0, 0.4 * POINT);
}

static void small_grains_of_etched_steel_are_no_harder(void **state) {
    (void)state;
    struct kb_render_params p = kb_render_params_default();
    p.grain_um = 12.0;
    for (int i = 0; i < 3; i++) {
        p.seed = 7620 + (uint64_t)i;
        p.pearlite_of_matrix = 0.35 + 0.25 * i;
        assert_near(pearlite_error(p), 0.0, POINT);
    }
}

/* A network of ferrite 1.5 um thick: too thin to be asked for its texture, it once was taken for a
 * shade of pearlite and lost, 15 points. It does not reach its own grey: 2 points, and the gate
 * says that such fields are usable only. */
static void a_thin_network_of_ferrite_is_not_lost(void **state) {
    (void)state;
    struct kb_render_params p = kb_render_params_default();
    p.grain_um = 6.0;
    p.seed = 7630;
    p.px_um = 0.25;
    p.pearlite_of_matrix = 0.85;
    assert_near(pearlite_error(p), 0.0, 2.0 * POINT);
}

/* Films of a pixel were passed over and the field called pearlite throughout, 6 points; a field
 * that is pearlite throughout still is. */
static void films_that_no_pixel_resolves_are_not_called_pearlite(void **state) {
    (void)state;
    const double share[] = {0.95, 1.0};
    for (int i = 0; i < 2; i++) {
        struct kb_render_params p = kb_render_params_default();
        p.grain_um = 6.0;
        p.px_um = 1.0;
        p.seed = 7650;
        p.pearlite_of_matrix = share[i];
        double error = pearlite_error(p);
        assert_near(error, i == 0 ? -0.95 : 0.0, 0.02);
    }
}

/* ---- laws --------------------------------------------------------------------------------------
 */

static void the_same_border_is_found_in_a_mirror(void **state) {
    (void)state;
    struct kb_render_params p = kb_render_params_default();
    struct drawn_field drawn;
    struct kb_phase_map map, mirrored;
    p.width = 400, p.height = 300, p.seed = 7640;
    p.graphite = KB_RENDER_NONE;
    p.look = KB_RENDER_SEM;
    assert_true(drawn_field_make(&p, &drawn));
    struct kb_segmentation_params params = kb_segmentation_params_default(KB_CARBON_STEEL, KB_SEM);
    assert_int_equal(kb_segment(&drawn.field, &params, &map, NULL), KB_OK);
    for (int32_t y = 0; y < drawn.field.grey.height; y++) {
        uint8_t *row = kb_row(&drawn.field.grey, y);
        for (int32_t x = 0; x < drawn.field.grey.width / 2; x++) {
            uint8_t left = row[x];
            row[x] = row[drawn.field.grey.width - 1 - x];
            row[drawn.field.grey.width - 1 - x] = left;
        }
    }
    assert_int_equal(kb_segment(&drawn.field, &params, &mirrored, NULL), KB_OK);
    double pixels = (double)kb_image_pixels(&map.label);
    /* sums of floating point in another order: a few pixels may fall to the other side */
    assert_near((double)mirrored.figures.pixels[KB_PEARLITE] / pixels,
                (double)map.figures.pixels[KB_PEARLITE] / pixels, 0.02 * POINT);
    assert_true(map.figures.recovered_line_px > 0);
    kb_phase_map_release(&map);
    kb_phase_map_release(&mirrored);
    drawn_field_release(&drawn);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_line_does_not_make_pearlite_larger),
        cmocka_unit_test(without_a_line_the_half_way_level_stays),
        cmocka_unit_test(bright_edges_do_not_widen_pearlite),
        cmocka_unit_test(small_grains_of_etched_steel_are_no_harder),
        cmocka_unit_test(a_thin_network_of_ferrite_is_not_lost),
        cmocka_unit_test(films_that_no_pixel_resolves_are_not_called_pearlite),
        cmocka_unit_test(the_same_border_is_found_in_a_mirror),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
