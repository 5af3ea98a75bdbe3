/* test_scratches.c - straight scratches: length, angle, width, families, the abrasive; and what
 * must not be taken for one. */
#include "plate.h"

#include "kb_cmocka.h"

#include <string.h>

static const double degree = 3.14159265358979323846 / 180.0;

static struct kb_quality look(const struct plate *plate) {
    return plate_look(plate, KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
}

static double turned(double a, double b) {
    double d = fabs(a - b);
    return fmin(d, 180.0 * degree - d);
}

static void one_line_is_found_at_any_angle_with_its_length_and_width(void **state) {
    (void)state;
    for (int i = 0; i < 12; i++) {
        double angle = (7.0 + 15.0 * i) * degree;
        struct plate plate;
        plate_make(800, 800, 200, KB_MATRIX, &plate);
        plate_noise(&plate, 2.0, 4);
        double c = 300.0 * cos(angle), s = 300.0 * sin(angle);
        plate_line(&plate, 400.0 - c, 400.0 + s, 400.0 + c, 400.0 - s, 2.6, 30.0);
        struct kb_quality q = look(&plate);
        assert_int_equal(q.scratch_families, 1);
        assert_int_equal(q.scratch[0].lines, 1);
        assert_true(turned(q.scratch[0].angle, angle) < 1.0 * degree);
        assert_near(q.scratch[0].length_px, 600.0, 60.0);
        assert_near(q.scratch[0].width_px, 2.6, 0.5);
        /* 600 px of 0.5 um on 0.16 mm2 */
        assert_near(q.check[KB_CHECK_SCRATCHES].value, 0.3 / 0.16, 0.2);
        assert_false(q.crossed);
        plate_release(&plate);
    }
}

static void a_bright_line_is_a_scratch_too_but_not_in_the_sem(void **state) {
    (void)state;
    struct plate plate;
    plate_make(800, 600, 150, KB_MATRIX, &plate);
    plate_noise(&plate, 2.0, 4);
    plate_scratch(&plate, 40.0 * degree, 0.0, 2.5, -30.0);
    assert_int_equal(look(&plate).scratch_families, 1);
    assert_int_equal(plate_look(&plate, KB_CARBON_STEEL, KB_SEM).scratch_families, 0);
    plate_release(&plate);
}

static struct kb_quality look_at_two_sets(double first, double second) {
    struct plate plate;
    plate_make(900, 900, 200, KB_MATRIX, &plate);
    plate_noise(&plate, 2.0, 4);
    for (int i = -2; i <= 2; i++) {
        plate_scratch(&plate, first * degree, 90.0 * i, 2.5, 30.0);
        plate_scratch(&plate, second * degree, 120.0 * i, 2.5, 20.0);
    }
    struct kb_quality q = look(&plate);
    plate_release(&plate);
    return q;
}

static void two_sets_across_each_other_tell_of_the_step_before_the_last(void **state) {
    (void)state;
    struct kb_quality q = look_at_two_sets(25.0, 112.0);
    assert_int_equal(q.scratch_families, 2);
    assert_true(q.crossed);
    assert_true(turned(q.scratch[0].angle, 25.0 * degree) < 3.0 * degree ||
                turned(q.scratch[0].angle, 112.0 * degree) < 3.0 * degree);
    assert_non_null(strstr(q.check[KB_CHECK_SCRATCHES].advice, "step before the last"));
    assert_false(look_at_two_sets(25.0, 75.0).crossed);
    assert_int_equal(look_at_two_sets(25.0, 75.0).scratch_families, 2);
    assert_int_equal(look_at_two_sets(25.0, 28.0).scratch_families, 1);
}

static void more_scratches_are_worse_up_to_not_fit(void **state) {
    (void)state;
    static const int count[] = {0, 1, 3, 8, 20, 40};
    double before = -1.0;
    enum kb_fitness last = KB_FIT;
    for (size_t i = 0; i < sizeof count / sizeof *count; i++) {
        struct plate plate;
        plate_make(800, 600, 200, KB_MATRIX, &plate);
        plate_noise(&plate, 2.0, 4);
        for (int k = 0; k < count[i]; k++) {
            double off = count[i] > 1 ? 500.0 * k / (count[i] - 1) - 250.0 : 0.0;
            plate_scratch(&plate, (60.0 + k % 5) * degree, off, 2.5, 30.0);
        }
        struct kb_quality q = look(&plate);
        assert_true(q.check[KB_CHECK_SCRATCHES].value > before);
        assert_true(q.check[KB_CHECK_SCRATCHES].fitness >= last);
        before = q.check[KB_CHECK_SCRATCHES].value;
        last = q.check[KB_CHECK_SCRATCHES].fitness;
        plate_release(&plate);
    }
    assert_int_equal(last, KB_NOT_FIT);
}

/* Wider ones than the flanks at which they are found; Gaussian grooves, full width at half depth.
 */
static void grooves_are_as_wide_as_they_were_drawn(void **state) {
    (void)state;
    static const double wide[] = {2.5, 4.0, 6.0, 9.0, 12.0}, angle[] = {5.0, 38.0, 80.0, 131.0};
    for (size_t i = 0; i < sizeof wide / sizeof *wide; i++) {
        for (size_t k = 0; k < sizeof angle / sizeof *angle; k++) {
            struct plate plate;
            plate_make(900, 900, 200, KB_MATRIX, &plate);
            plate_noise(&plate, 2.0, 4);
            for (int n = -1; n <= 1; n++) {
                plate_scratch(&plate, angle[k] * degree, 150.0 * n, wide[i], 50.0);
            }
            struct kb_quality q = look(&plate);
            assert_int_equal(q.scratch_families, 1);
            if (fabs(q.scratch[0].width_px - wide[i]) > 0.1 * wide[i] + 0.2) {
                fail_msg("%g px at %g degrees: %g", wide[i], angle[k], q.scratch[0].width_px);
            }
            plate_release(&plate);
        }
    }
}

/* Five fine ones, two coarse ones across: the coarse ones name the abrasive. */
static void the_wider_family_names_the_abrasive(void **state) {
    (void)state;
    struct plate plate;
    plate_make(900, 900, 200, KB_MATRIX, &plate);
    plate_noise(&plate, 2.0, 4);
    for (int i = -2; i <= 2; i++) {
        plate_scratch(&plate, 25.0 * degree, 120.0 * i, 2.4, 30.0);
    }
    plate_scratch(&plate, 115.0 * degree, -100.0, 10.2, 50.0);
    plate_scratch(&plate, 115.0 * degree, 100.0, 10.2, 50.0);
    struct kb_quality q = look(&plate);
    assert_true(q.crossed);
    assert_string_equal(q.coarsest_abrasive, "P1200"); /* 15.3 um is three times 5.1 um */
    plate_release(&plate);
}

/* refs/fepa_p_series.csv: P1200 is 15.3 um, P2500 8.4 um. A third of the grain as width. */
static void the_width_names_an_abrasive_only_with_a_scale(void **state) {
    (void)state;
    static const struct {
        double px_um;
        const char *name;
    } rung[] = {{1.275, "P1200"}, {0.7, "P2500"}, {0.2, "finer than P2500"}, {2.92, "P400"}};
    struct plate plate;
    plate_make(900, 900, 200, KB_MATRIX, &plate);
    plate_noise(&plate, 1.0, 4);
    for (int i = -1; i <= 1; i++) {
        plate_scratch(&plate, 62.0 * degree, 100.0 * i, 4.0, 60.0);
    }
    for (size_t i = 0; i < sizeof rung / sizeof *rung; i++) {
        plate.field.px_um = rung[i].px_um;
        struct kb_quality q = look(&plate);
        assert_non_null(q.coarsest_abrasive);
        if (strncmp(q.coarsest_abrasive, rung[i].name, strlen(rung[i].name)) != 0) {
            fail_msg("%g um wide: %s", q.scratch[0].width_px * rung[i].px_um, q.coarsest_abrasive);
        }
    }
    plate.field.px_um = 0.0;
    assert_null(look(&plate).coarsest_abrasive);
    assert_int_equal(look(&plate).scratch_families, 1);
    plate_release(&plate);
}

/* ---- look-alikes --------------------------------------------------------------------------------
 */

static void twins_and_short_straight_boundaries_are_no_scratches(void **state) {
    (void)state;
    struct plate plate;
    plate_make(800, 600, 200, KB_MATRIX, &plate);
    plate_noise(&plate, 2.0, 4);
    for (int i = 0; i < 60; i++) { /* 50 px = 25 um each */
        double x = 60.0 + (i * 137) % 680, y = 60.0 + (i * 211) % 480, a = i * 0.7;
        plate_line(&plate, x, y, x + 50.0 * cos(a), y + 50.0 * sin(a), 2.0, 40.0);
    }
    assert_int_equal(look(&plate).scratch_families, 0);
    plate_release(&plate);
}

static void lamellae_are_no_scratches(void **state) {
    (void)state;
    struct plate plate;
    plate_make(800, 600, 200, KB_PEARLITE, &plate);
    for (int i = -60; i <= 60; i++) { /* one huge colony: 6 px apart, straight across the field */
        plate_scratch(&plate, 33.0 * degree, 6.0 * i, 2.5, 60.0);
    }
    plate_noise(&plate, 2.0, 4);
    assert_int_equal(look(&plate).scratch_families, 0);
    plate_release(&plate);
}

static void graphite_flakes_and_step_edges_are_no_scratches(void **state) {
    (void)state;
    struct plate plate;
    plate_make(800, 600, 200, KB_FERRITE, &plate);
    plate_rect(&plate, (struct kb_rect){200, 0, 4, 600}, 40, KB_GRAPHITE);
    plate_rect(&plate, (struct kb_rect){500, 0, 300, 600}, 120, KB_PEARLITE);
    plate_noise(&plate, 2.0, 4);
    assert_int_equal(look(&plate).scratch_families, 0);
    plate_release(&plate);
}

static void expect_few(struct kb_render_params params, enum kb_material material) {
    for (params.seed = 31; params.seed < 34; params.seed++) {
        struct plate plate;
        plate_drawn(&params, material, &plate);
        struct kb_quality q = plate_look(&plate, material,
                                         params.look == KB_RENDER_UNETCHED ? KB_LIGHT_UNETCHED
                                         : params.look == KB_RENDER_SEM    ? KB_SEM
                                                                           : KB_LIGHT);
        if (q.check[KB_CHECK_SCRATCHES].value >= 1.0) {
            fail_msg("material %d, seed %u: %s", (int)material, (unsigned)params.seed,
                     q.check[KB_CHECK_SCRATCHES].says);
        }
        plate_release(&plate);
    }
}

static void drawn_fields_without_scratches_show_next_to_none(void **state) {
    (void)state;
    struct kb_render_params p = kb_render_params_default();
    p.scratches_per_mm2 = 0.0;
    expect_few(p, KB_DUCTILE_IRON);
    p.grain_um = 60.0;
    p.pearlite_of_matrix = 0.05;
    expect_few(p, KB_DUCTILE_IRON); /* long boundaries */
    p = kb_render_params_default();
    p.scratches_per_mm2 = 0.0;
    p.graphite = KB_RENDER_FLAKES;
    p.look = KB_RENDER_UNETCHED;
    expect_few(p, KB_GREY_IRON);
    p.look = KB_RENDER_LIGHT;
    p.pearlite_of_matrix = 1.0;
    expect_few(p, KB_GREY_IRON);
    p.graphite = KB_RENDER_NONE;
    p.pearlite_of_matrix = 0.5;
    p.lamella_um = 2.0;
    p.px_um = 0.2;
    expect_few(p, KB_CARBON_STEEL); /* lamellae resolved */
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_line_is_found_at_any_angle_with_its_length_and_width),
        cmocka_unit_test(a_bright_line_is_a_scratch_too_but_not_in_the_sem),
        cmocka_unit_test(two_sets_across_each_other_tell_of_the_step_before_the_last),
        cmocka_unit_test(more_scratches_are_worse_up_to_not_fit),
        cmocka_unit_test(grooves_are_as_wide_as_they_were_drawn),
        cmocka_unit_test(the_wider_family_names_the_abrasive),
        cmocka_unit_test(the_width_names_an_abrasive_only_with_a_scale),
        cmocka_unit_test(twins_and_short_straight_boundaries_are_no_scratches),
        cmocka_unit_test(lamellae_are_no_scratches),
        cmocka_unit_test(graphite_flakes_and_step_edges_are_no_scratches),
        cmocka_unit_test(drawn_fields_without_scratches_show_next_to_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
