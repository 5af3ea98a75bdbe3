/* test_camera.c - what camera and lens do: each check against pictures where its truth is known. */
#include "plate.h"

#include "kb_cmocka.h"

#include <string.h>

static double unetched(const struct plate *plate, enum kb_check check) {
    return plate_value(plate, KB_DUCTILE_IRON, KB_LIGHT_UNETCHED, check);
}

/* 10 to 90 % of a step blurred by a Gaussian of standard deviation s: 2 x 1.2816 s (quantiles of
 * the normal law). The pixel itself and the reading between pixels add their own widths. */
static void the_width_of_an_edge_is_that_of_its_blur(void **state) {
    (void)state;
    static const double sigma[] = {1.0, 1.5, 2.0, 3.0, 4.0};
    double before = 0.0;
    for (size_t i = 0; i < sizeof sigma / sizeof *sigma; i++) {
        struct plate plate;
        plate_make(640, 480, 210, KB_MATRIX, &plate);
        plate_nodules(&plate, sigma[i]);
        plate_noise(&plate, 1.5, 3);
        double width = unetched(&plate, KB_CHECK_FOCUS);
        double extra = 0.75 * 0.75; /* variance of pixel and interpolation, px^2, at most */
        assert_true(width > before);
        assert_true(width > 0.85 * 2.563 * sigma[i] * 0.5);
        assert_true(width < 1.1 * 2.563 * sqrt(sigma[i] * sigma[i] + extra) * 0.5);
        before = width;
        plate_release(&plate);
    }
}

static void focus_is_in_pixels_without_a_scale_and_tells_of_tilt(void **state) {
    (void)state;
    struct plate plate;
    plate_make(640, 480, 210, KB_MATRIX, &plate);
    for (int32_t y = 45; y < 440; y += 60) {
        for (int32_t x = 45; x < 600; x += 60) {
            plate_disc(&plate, x, y, 15.0, 45, KB_GRAPHITE, x < 320 ? 0.6 : 4.0);
        }
    }
    plate.field.px_um = 0.0;
    struct kb_quality q = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
    const struct kb_check_result *r = &q.check[KB_CHECK_FOCUS];
    assert_string_equal(r->unit, "px");
    assert_true(r->value > 8.0); /* the softest quarter decides */
    assert_int_not_equal(r->fitness, KB_FIT);
    assert_non_null(strstr(r->says, "tilted"));
    assert_true(strlen(r->advice) > 0);
    plate_release(&plate);
}

static void a_ragged_soft_minority_of_edges_is_not_called_out_of_focus(void **state) {
    (void)state;
    struct plate plate;
    plate_make(640, 480, 210, KB_MATRIX, &plate);
    for (int32_t y = 45; y < 440; y += 60) {
        for (int32_t x = 45; x < 600; x += 60) {
            plate_disc(&plate, x, y, 15.0, 45, KB_GRAPHITE, (x + y) / 60 % 2 == 0 ? 3.5 : 0.6);
        }
    }
    assert_true(unetched(&plate, KB_CHECK_FOCUS) < 1.5);
    plate_release(&plate);
}

static void shares_at_the_ends_of_the_scale_are_counted(void **state) {
    (void)state;
    struct plate plate;
    plate_make(640, 480, 200, KB_MATRIX, &plate);
    plate_rect(&plate, (struct kb_rect){0, 0, 128, 480}, 255, KB_MATRIX);
    plate_rect(&plate, (struct kb_rect){128, 0, 64, 480}, 0, KB_GRAPHITE);
    assert_near(unetched(&plate, KB_CHECK_SATURATION), 20.0, 1e-9);
    assert_near(unetched(&plate, KB_CHECK_SHADOWS), 10.0, 1e-9);
    /* what is left out is not counted */
    plate_rect(&plate, (struct kb_rect){0, 0, 128, 480}, 255, KB_EXCLUDED);
    assert_near(unetched(&plate, KB_CHECK_SATURATION), 0.0, 1e-9);
    assert_near(unetched(&plate, KB_CHECK_SHADOWS), 12.5, 1e-9);
    plate_release(&plate);
}

static void posterised_pictures_show_as_many_levels_as_they_have(void **state) {
    (void)state;
    static const int steps[] = {4, 8, 16, 32};
    for (size_t i = 0; i < sizeof steps / sizeof *steps; i++) {
        struct plate plate;
        plate_make(640, 480, 0, KB_MATRIX, &plate);
        for (int32_t y = 0; y < 480; y++) {
            for (int32_t x = 0; x < 640; x++) {
                kb_row(&plate.field.grey, y)[x] = (uint8_t)(x * steps[i] / 640 * 255 / steps[i]);
            }
        }
        struct kb_quality q = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
        assert_near(q.check[KB_CHECK_GREY_LEVELS].value, steps[i], 0.0);
        assert_int_equal(q.check[KB_CHECK_GREY_LEVELS].fitness,
                         steps[i] <= 16 ? KB_NOT_FIT : KB_USABLE);
        plate_release(&plate);
    }
}

static void noise_is_found_as_it_was_added(void **state) {
    (void)state;
    static const double sigma[] = {2.0, 5.0, 10.0, 20.0, 30.0};
    for (size_t i = 0; i < sizeof sigma / sizeof *sigma; i++) {
        struct plate plate;
        plate_make(640, 480, 160, KB_MATRIX, &plate);
        plate_rect(&plate, (struct kb_rect){0, 0, 320, 480}, 80, KB_GRAPHITE);
        plate_noise(&plate, sigma[i], 5);
        double percent = unetched(&plate, KB_CHECK_NOISE);
        assert_near(percent, 100.0 * sigma[i] / 80.0, 0.06 * 100.0 * sigma[i] / 80.0);
        plate_release(&plate);
    }
}

/* Every 8 x 8 block becomes its own mean, the worst that JPEG does (ITU-T T.81). */
static void flatten_blocks(struct plate *plate, double share, int32_t offset) {
    struct kb_image *g = &plate->field.grey;
    for (int32_t y = offset; y + 8 <= g->height; y += 8) {
        for (int32_t x = offset; x + 8 <= g->width; x += 8) {
            int sum = 0;
            for (int i = 0; i < 64; i++) {
                sum += kb_row(g, y + i / 8)[x + i % 8];
            }
            for (int i = 0; i < 64; i++) {
                uint8_t *p = &kb_row(g, y + i / 8)[x + i % 8];
                *p = (uint8_t)(*p + share * (sum / 64.0 - *p) + 0.5);
            }
        }
    }
}

static void blocks_are_seen_at_any_offset_and_grow_with_the_loss(void **state) {
    (void)state;
    double before = -1.0;
    for (int i = 0; i <= 4; i++) {
        struct plate plate;
        plate_make(640, 480, 160, KB_MATRIX, &plate);
        plate_noise(&plate, 12.0, 9);
        flatten_blocks(&plate, 0.25 * i, i);
        double value = unetched(&plate, KB_CHECK_BLOCKS);
        assert_true(i == 0 ? value < 10.0 : value > before);
        before = value;
        plate_release(&plate);
    }
    assert_true(before > 200.0);
}

static void lines_eight_pixels_apart_in_one_direction_are_no_blocks(void **state) {
    (void)state;
    struct plate plate;
    plate_make(640, 480, 160, KB_MATRIX, &plate);
    for (int32_t x = 0; x < 640; x += 8) {
        plate_rect(&plate, (struct kb_rect){x, 0, 3, 480}, 150, KB_MATRIX);
    }
    plate_noise(&plate, 3.0, 2);
    assert_true(unetched(&plate, KB_CHECK_BLOCKS) < 15.0);
    plate_release(&plate);
}

/* Light that falls by `loss` from left to right: (max - min) / mean = loss / (1 - loss / 2). */
static void the_fall_of_the_light_is_measured(void **state) {
    (void)state;
    static const double loss[] = {0.0, 0.1, 0.3, 0.5, 0.7};
    for (size_t i = 0; i < sizeof loss / sizeof *loss; i++) {
        struct plate plate;
        plate_make(640, 480, 220, KB_MATRIX, &plate);
        for (int32_t y = 0; y < 480; y++) {
            for (int32_t x = 0; x < 640; x++) {
                uint8_t *p = &kb_row(&plate.field.grey, y)[x];
                *p = (uint8_t)(*p * (1.0 - loss[i] * x / 640.0) + 0.5);
            }
        }
        double expected = 100.0 * loss[i] / (1.0 - 0.5 * loss[i]);
        assert_near(unetched(&plate, KB_CHECK_LIGHT), expected, 0.1 * expected + 1.0);
        plate_release(&plate);
    }
}

/* refs/feret_bias.csv: below about ten pixels across the shape factor is no longer told. */
static void pixels_across_the_smallest_particle_follow_the_scale(void **state) {
    (void)state;
    static const struct {
        double px_um;
        enum kb_fitness fitness;
    } rung[] = {{0.25, KB_FIT}, {0.9, KB_FIT}, {1.5, KB_USABLE}, {2.5, KB_NOT_FIT}};
    struct plate plate;
    plate_make(320, 240, 200, KB_MATRIX, &plate);
    for (size_t i = 0; i < sizeof rung / sizeof *rung; i++) {
        plate.field.px_um = rung[i].px_um;
        struct kb_quality q = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
        assert_near(q.check[KB_CHECK_RESOLUTION].value, 10.0 / rung[i].px_um, 1e-9);
        assert_int_equal(q.check[KB_CHECK_RESOLUTION].fitness, rung[i].fitness);
    }
    plate.field.px_um = 0.0;
    assert_false(
        plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT_UNETCHED).check[KB_CHECK_RESOLUTION].looked);
    plate_release(&plate);
}

/* Bands of ferrite in pearlite, square to the rows: their chords are their thickness, and those of
 * bands at all angles pi / 2 times as long. */
static void areas_need_regions_of_some_pixels(void **state) {
    (void)state;
    static const struct {
        int32_t band;
        enum kb_fitness fitness;
    } rung[] = {{20, KB_FIT}, {13, KB_FIT}, {9, KB_USABLE}, {5, KB_NOT_FIT}};
    for (size_t i = 0; i < sizeof rung / sizeof *rung; i++) {
        struct plate plate;
        plate_make(640, 480, 120, KB_PEARLITE, &plate);
        for (int32_t x = 10; x + 60 < 640; x += 60) {
            plate_rect(&plate, (struct kb_rect){x, 0, rung[i].band, 480}, 205, KB_FERRITE);
        }
        struct kb_quality q = plate_look(&plate, KB_CARBON_STEEL, KB_LIGHT);
        assert_near(q.check[KB_CHECK_RESOLUTION].value, 2.0 / 3.14159265 * rung[i].band, 1e-6);
        assert_int_equal(q.check[KB_CHECK_RESOLUTION].fitness, rung[i].fitness);
        plate_release(&plate);
    }
    struct plate plain;
    plate_make(320, 240, 120, KB_PEARLITE, &plain);
    assert_false(plate_look(&plain, KB_CARBON_STEEL, KB_LIGHT).check[KB_CHECK_RESOLUTION].looked);
    plate_release(&plain);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_width_of_an_edge_is_that_of_its_blur),
        cmocka_unit_test(focus_is_in_pixels_without_a_scale_and_tells_of_tilt),
        cmocka_unit_test(a_ragged_soft_minority_of_edges_is_not_called_out_of_focus),
        cmocka_unit_test(shares_at_the_ends_of_the_scale_are_counted),
        cmocka_unit_test(posterised_pictures_show_as_many_levels_as_they_have),
        cmocka_unit_test(noise_is_found_as_it_was_added),
        cmocka_unit_test(blocks_are_seen_at_any_offset_and_grow_with_the_loss),
        cmocka_unit_test(lines_eight_pixels_apart_in_one_direction_are_no_blocks),
        cmocka_unit_test(the_fall_of_the_light_is_measured),
        cmocka_unit_test(pixels_across_the_smallest_particle_follow_the_scale),
        cmocka_unit_test(areas_need_regions_of_some_pixels),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
