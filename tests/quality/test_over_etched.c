/* test_over_etched.c - too long an etch: wide boundaries and mottled ferrite are seen, with the
 * width that they have; islands of pearlite and the lens are not taken for it. Truth is what was
 * drawn.
 */
#include "plate.h"

#include "kb_cmocka.h"

#include <string.h>

static const double degree = 3.14159265358979323846 / 180.0;

static struct kb_check_result boundaries(const struct plate *plate) {
    return plate_look(plate, KB_CARBON_STEEL, KB_LIGHT).check[KB_CHECK_BOUNDARIES];
}

/* Three directions of lines, 110 px apart, as in a plane of hexagonal grains. */
static struct kb_check_result look_at_lines(double width_px) {
    struct plate plate;
    plate_make(900, 700, 200, KB_FERRITE, &plate);
    for (int i = -8; i <= 8; i++) {
        for (int k = 0; k < 3; k++) {
            plate_scratch(&plate, (10.0 + 60.0 * k) * degree, 110.0 * i + 17.0 * k, width_px, 70.0);
        }
    }
    plate_noise(&plate, 2.0, 3);
    struct kb_check_result r = boundaries(&plate);
    plate_release(&plate);
    return r;
}

static void lines_are_as_wide_as_they_were_drawn(void **state) {
    (void)state;
    static const double width_px[] = {3.0, 4.0, 5.0, 6.5};
    for (size_t i = 0; i < sizeof width_px / sizeof *width_px; i++) {
        struct kb_check_result r = look_at_lines(width_px[i]);
        assert_true(r.looked);
        /* two pixels are taken for the lens, 0.5 um a pixel; an eighth for oblique crossings
         * and for the level, which the lines themselves pull down */
        double own = 0.5 * sqrt(width_px[i] * width_px[i] - 4.0);
        assert_near(r.value, own, 0.12 * own + 0.1);
    }
}

static void wide_lines_are_warned_of_but_harm_nothing_where_ferrite_is_alone(void **state) {
    (void)state;
    assert_int_equal(look_at_lines(2.0).fitness, KB_FIT);
    struct kb_check_result r = look_at_lines(6.0);
    assert_int_equal(r.fitness, KB_USABLE);
    assert_non_null(strstr(r.advice, "etch shorter"));
}

static void islands_of_another_phase_are_no_lines(void **state) {
    (void)state;
    struct plate plate;
    plate_make(900, 700, 200, KB_FERRITE, &plate);
    for (int y = 25; y < 690; y += 30) {
        for (int x = 25 + y % 20; x < 890; x += 30) {
            plate_disc(&plate, x, y, 4.0, 110, KB_PEARLITE, 0.7);
        }
    }
    assert_false(boundaries(&plate).looked);
    plate_release(&plate);
}

static void what_does_not_apply_says_why(void **state) {
    (void)state;
    struct plate plate;
    plate_make(400, 300, 200, KB_FERRITE, &plate);
    struct kb_quality q = plate_look(&plate, KB_DUCTILE_IRON, KB_SEM);
    static const enum kb_check check[] = {KB_CHECK_BOUNDARIES, KB_CHECK_ETCH_FERRITE,
                                          KB_CHECK_ETCH_STRONG, KB_CHECK_STAINS};
    for (size_t i = 0; i < sizeof check / sizeof *check; i++) {
        assert_false(q.check[check[i]].looked);
        assert_true(strlen(q.check[check[i]].says) > 20);
    }
    plate_release(&plate);
}

static void drawn_fields_get_worse_with_the_etch_and_are_refused_in_time(void **state) {
    (void)state;
    static const double etch[] = {0.0, 0.15, 0.3, 0.5};
    for (uint64_t seed = 61; seed < 63; seed++) {
        double before = 0.0, mottle = 0.0;
        for (size_t i = 0; i < sizeof etch / sizeof *etch; i++) {
            struct kb_render_params p = kb_render_params_default();
            struct plate plate;
            p.seed = seed;
            p.over_etch = etch[i];
            plate_drawn(&p, KB_DUCTILE_IRON, &plate);
            struct kb_quality q = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT);
            assert_true(q.check[KB_CHECK_BOUNDARIES].value >= before);
            assert_true(i > 2 || q.check[KB_CHECK_ETCH_FERRITE].value > mottle);
            before = q.check[KB_CHECK_BOUNDARIES].value;
            mottle = q.check[KB_CHECK_ETCH_FERRITE].value;
            assert_true(i > 0 || q.fitness == KB_FIT);
            assert_true(i < 3 || q.fitness == KB_NOT_FIT);
            plate_release(&plate);
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_are_as_wide_as_they_were_drawn),
        cmocka_unit_test(wide_lines_are_warned_of_but_harm_nothing_where_ferrite_is_alone),
        cmocka_unit_test(islands_of_another_phase_are_no_lines),
        cmocka_unit_test(what_does_not_apply_says_why),
        cmocka_unit_test(drawn_fields_get_worse_with_the_etch_and_are_refused_in_time),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
