/* test_light.c - the illumination, on pictures whose light and structure are both known. */
#include "kb_cmocka.h"
#include "keelblock/segmentation.h"

#include <stdlib.h>
#include <string.h>

#define WIDTH 640
#define HEIGHT 480

static uint32_t next_random(uint32_t *state) {
    *state = *state * 1664525u + 1013904223u;
    return *state >> 8;
}

/* Squares of 8 pixels, dark or bright; the chance of dark goes from `left` to `right` across. */
static void draw_structure(double left, double right, uint8_t *dark) {
    uint32_t random = 99;
    for (int y = 0; y < HEIGHT; y += 8) {
        for (int x = 0; x < WIDTH; x += 8) {
            double chance = left + (right - left) * x / WIDTH;
            bool is_dark = next_random(&random) % 100000 < (uint32_t)(1e5 * chance);
            for (int i = 0; i < 64; i++) {
                dark[(y + i / 8) * WIDTH + x + i % 8] = is_dark;
            }
        }
    }
}

enum shape { EVEN, SLOPE, VIGNETTE, CORNER };

static double light_at(enum shape shape, double amount, int x, int y) {
    double u = (x + 0.5) / WIDTH * 2.0 - 1.0;
    double v = ((y + 0.5) / HEIGHT * 2.0 - 1.0) * HEIGHT / WIDTH;
    double corner = 1.0 + (double)HEIGHT * HEIGHT / WIDTH / WIDTH;
    switch (shape) {
    case SLOPE:
        return 1.0 - amount * (0.5 + 0.5 * u);
    case VIGNETTE:
        return 1.0 - amount * (u * u + v * v) / corner;
    case CORNER: /* the light's centre is not the picture's */
        return 1.0 - amount * ((u - 0.4) * (u - 0.4) + (v + 0.2) * (v + 0.2)) / 2.5;
    case EVEN:
    default:
        return 1.0;
    }
}

static void draw_picture(const uint8_t *dark, enum shape shape, double amount, uint8_t *px) {
    uint32_t random = 7;
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        double noise = (double)(next_random(&random) % 1000) / 1000.0 * 12.0 - 6.0;
        double grey = (dark[i] ? 110.0 : 205.0) * light_at(shape, amount, i % WIDTH, i / WIDTH);
        px[i] = (uint8_t)(grey + noise + 0.5);
    }
}

struct outcome {
    double pearlite, unevenness;
    bool evened, told;
};

static struct outcome run(uint8_t *px, bool even, const struct kb_image *blank) {
    struct kb_field field = {0};
    struct kb_phase_map map;
    field.grey = (struct kb_image){WIDTH, HEIGHT, WIDTH, px};
    field.grey_high = 255.0;
    field.px_um = 0.5;
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_CARBON_STEEL, KB_LIGHT);
    params.even_light = even;
    params.blank = blank;
    assert_int_equal(kb_segment(&field, &params, &map, NULL), KB_OK);
    const struct kb_segmentation_figures *f = &map.figures;
    struct outcome o = {(double)f->pixels[KB_PEARLITE] / (WIDTH * HEIGHT), f->unevenness, f->evened,
                        kb_findings_has(&map.findings, "uneven-light")};
    kb_phase_map_release(&map);
    return o;
}

static double share_of(const uint8_t *dark) {
    double sum = 0.0;
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        sum += dark[i];
    }
    return sum / (WIDTH * HEIGHT);
}

static uint8_t dark[WIDTH * HEIGHT], px[WIDTH * HEIGHT];

/* Tolerance: corners of the squares are rounded by the median, 1 pixel of 64 at the worst. */
static void fractions_survive_any_smooth_light(void **state) {
    (void)state;
    const double content[][2] = {{0.5, 0.5}, {0.1, 0.9}, {0.8, 0.2}, {0.05, 0.1}};
    const double amount[] = {0.1, 0.25, 0.4};
    for (int c = 0; c < 4; c++) {
        draw_structure(content[c][0], content[c][1], dark);
        for (int shape = SLOPE; shape <= CORNER; shape++) {
            for (int a = 0; a < 3; a++) {
                draw_picture(dark, (enum shape)shape, amount[a], px);
                struct outcome o = run(px, true, NULL);
                assert_true(o.evened);
                assert_near(o.pearlite, share_of(dark), 0.012);
            }
        }
    }
}

static void the_slope_is_reported_as_it_was_drawn(void **state) {
    (void)state;
    draw_structure(0.2, 0.7, dark);
    draw_picture(dark, SLOPE, 0.3, px);
    struct outcome o = run(px, true, NULL);
    /* from 1 to 0.7 about a mean of 0.85, taken at the centres of the outer blocks */
    assert_near(o.unevenness, 0.3 / 0.85, 0.03);
    assert_false(o.told);
}

static void unequal_content_is_not_taken_for_light(void **state) {
    (void)state;
    draw_structure(0.02, 0.98, dark);
    draw_picture(dark, EVEN, 0.0, px);
    struct outcome o = run(px, true, NULL);
    assert_true(o.unevenness < 0.03);
    assert_false(o.evened);
    assert_near(o.pearlite, share_of(dark), 0.012);
}

static void light_left_alone_is_told_of(void **state) {
    (void)state;
    draw_structure(0.4, 0.4, dark);
    draw_picture(dark, SLOPE, 0.4, px);
    struct outcome o = run(px, false, NULL);
    assert_false(o.evened);
    assert_true(o.told);
    assert_true(o.unevenness > 0.3);
}

static void a_blank_field_takes_out_any_light(void **state) {
    (void)state;
    static uint8_t blank_px[WIDTH * HEIGHT], nothing[WIDTH * HEIGHT];
    struct kb_image blank = {WIDTH, HEIGHT, WIDTH, blank_px};
    draw_structure(0.3, 0.6, dark);
    draw_picture(dark, CORNER, 0.5, px);
    draw_picture(nothing, CORNER, 0.5, blank_px);
    struct outcome o = run(px, true, &blank);
    assert_true(o.evened);
    assert_near(o.pearlite, share_of(dark), 0.012);
}

static void a_blank_field_of_another_size_is_refused(void **state) {
    (void)state;
    struct kb_image blank = {WIDTH - 1, HEIGHT, WIDTH, px};
    struct kb_field field = {0};
    struct kb_phase_map map;
    struct kb_err err;
    field.grey = (struct kb_image){WIDTH, HEIGHT, WIDTH, px};
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_CARBON_STEEL, KB_LIGHT);
    params.blank = &blank;
    assert_int_equal(kb_segment(&field, &params, &map, &err), KB_E_INPUT);
    assert_null(map.label.px);
    assert_non_null(strstr(err.text, "639 x 480"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fractions_survive_any_smooth_light),
        cmocka_unit_test(the_slope_is_reported_as_it_was_drawn),
        cmocka_unit_test(unequal_content_is_not_taken_for_light),
        cmocka_unit_test(light_left_alone_is_told_of),
        cmocka_unit_test(a_blank_field_takes_out_any_light),
        cmocka_unit_test(a_blank_field_of_another_size_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
