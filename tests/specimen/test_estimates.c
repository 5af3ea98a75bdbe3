/* test_estimates.c - mean and ratio with intervals, fields needed. Truth: arithmetic by hand;
 * published numbers are in tests/conformity. */
#include "keelblock/specimen.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

static const double none = (double)INFINITY;

static void near(double found, double wanted, double tolerance) {
    if (!(fabs(found - wanted) <= tolerance)) {
        fail_msg("found %.17g, wanted %.17g within %g", found, wanted, tolerance);
    }
}

static void one_field_gives_a_point_without_interval(void **state) {
    (void)state;
    const double value[] = {0.41};
    const double one[] = {1.0};
    struct kb_estimate mean = kb_estimate_mean(value, 1, "1", 0.0, 1.0);
    struct kb_estimate ratio = kb_estimate_ratio(value, one, 1, 1.0, "1", 0.0, 1.0);
    assert_true(mean.measured && !mean.has_interval && isnan(mean.lo) && isnan(mean.s));
    assert_true(ratio.measured && !ratio.has_interval && isnan(ratio.hi));
    near(mean.value, 0.41, 0.0);
    near(ratio.value, 0.41, 0.0);
}

static void no_field_gives_no_figure(void **state) {
    (void)state;
    const double zero[] = {0.0, 0.0};
    struct kb_estimate mean = kb_estimate_mean(NULL, 0, "1", 0.0, 1.0);
    struct kb_estimate ratio = kb_estimate_ratio(zero, zero, 2, 1.0, "%", 0.0, 100.0);
    assert_false(mean.measured);
    assert_non_null(mean.why);
    assert_true(isnan(mean.value));
    assert_false(ratio.measured);
    assert_non_null(ratio.why);
}

static void a_field_that_is_no_number_is_no_figure(void **state) {
    (void)state;
    const double value[] = {0.4, (double)NAN};
    const double one[] = {1.0, 1.0};
    assert_false(kb_estimate_mean(value, 2, "1", 0.0, 1.0).measured);
    assert_false(kb_estimate_ratio(value, one, 2, 1.0, "1", 0.0, 1.0).measured);
}

static void the_interval_stops_at_its_bounds(void **state) {
    (void)state;
    const double value[] = {0.90, 1.00};
    struct kb_estimate mean = kb_estimate_mean(value, 2, "1", 0.0, 1.0);
    near(mean.lo, 0.95 - 12.706 * 0.05, 1e-4); /* t(1) s / sqrt(2) = 12.706 * 0.0707107 / 1.41421 */
    near(mean.hi, 1.0, 0.0);
}

static void a_ratio_without_bounds_is_the_plain_jackknife(void **state) {
    (void)state;
    /* equal denominators: the jackknife error equals s / sqrt(n) of the ratios */
    const double top[] = {12.0, 16.0, 14.0, 18.0, 15.0};
    const double bottom[] = {1.0, 1.0, 1.0, 1.0, 1.0};
    struct kb_estimate ratio = kb_estimate_ratio(top, bottom, 5, 1.0, "1", -none, none);
    struct kb_estimate mean = kb_estimate_mean(top, 5, "1", -none, none);
    near(ratio.value, 15.0, 1e-12);
    near(ratio.s, sqrt(5.0), 1e-9);
    near(ratio.lo, mean.lo, 1e-9);
    near(ratio.hi, mean.hi, 1e-9);
}

static void fields_with_more_graphite_weigh_more(void **state) {
    (void)state;
    const double nodular[] = {90.0, 5.0};
    const double rated[] = {100.0, 10.0};
    struct kb_estimate ratio = kb_estimate_ratio(nodular, rated, 2, 100.0, "%", 0.0, 100.0);
    near(ratio.value, 100.0 * 95.0 / 110.0, 1e-12); /* not the mean of 90 % and 50 % */
}

static void the_logit_interval_has_the_error_of_the_jackknife(void **state) {
    (void)state;
    const double top[] = {80.0, 90.0, 85.0};
    const double bottom[] = {100.0, 100.0, 100.0};
    struct kb_estimate ratio = kb_estimate_ratio(top, bottom, 3, 100.0, "%", 0.0, 100.0);
    /* by hand: s = 5 points, se = 5 / sqrt(3) = 2.88675; logit error 0.0288675 / (0.85 * 0.15) =
     * 0.226412; t(2) = 4.30265; step 0.974172; logit(0.85) = 1.734601 */
    near(ratio.lo, 100.0 / (1.0 + exp(-(1.734601 - 0.974172))), 1e-3);
    near(ratio.hi, 100.0 / (1.0 + exp(-(1.734601 + 0.974172))), 1e-3);
}

static void a_ratio_interval_never_leaves_its_bounds(void **state) {
    (void)state;
    const double top[] = {1.0, 99.9999, 100.0};
    const double bottom[] = {100.0, 100.0, 100.0};
    struct kb_estimate share = kb_estimate_ratio(top, bottom, 3, 100.0, "%", 0.0, 100.0);
    struct kb_estimate count = kb_estimate_ratio(top, bottom, 3, 1.0, "1/mm2", 0.0, none);
    assert_true(share.lo >= 0.0 && share.lo <= share.value);
    assert_true(share.hi <= 100.0 && share.hi >= share.value);
    assert_true(count.lo > 0.0 && isfinite(count.hi));
}

static void graphite_in_one_field_only_gives_no_interval(void **state) {
    (void)state;
    const double top[] = {8.0, 0.0};
    const double bottom[] = {10.0, 0.0};
    struct kb_estimate ratio = kb_estimate_ratio(top, bottom, 2, 100.0, "%", 0.0, 100.0);
    near(ratio.value, 80.0, 1e-12);
    assert_false(ratio.has_interval);
}

static void figures_scale_with_their_unit(void **state) {
    (void)state;
    const double value[] = {0.2, 0.3, 0.25, 0.4};
    double percent[4];
    for (int i = 0; i < 4; i++) {
        percent[i] = 100.0 * value[i];
    }
    struct kb_estimate one = kb_estimate_mean(value, 4, "1", 0.0, 1.0);
    struct kb_estimate hundred = kb_estimate_mean(percent, 4, "%", 0.0, 100.0);
    near(hundred.value, 100.0 * one.value, 1e-12);
    near(hundred.s, 100.0 * one.s, 1e-12);
    near(hundred.lo, 100.0 * one.lo, 1e-12);
}

static void student_needs_two_fields(void **state) {
    (void)state;
    assert_true(isnan(kb_student_95(0)));
    assert_true(isnan(kb_student_95(1)));
    assert_true(kb_student_95(2) > kb_student_95(3));
}

static void the_fields_needed_are_the_fewest_that_do(void **state) {
    (void)state;
    for (int i = 1; i <= 60; i++) {
        double half = 0.17 * i;
        size_t n = kb_fields_for(3.0, half);
        assert_true(n >= 2);
        assert_true(kb_student_95(n) * 3.0 / sqrt((double)n) <= half);
        assert_true(n == 2 || kb_student_95(n - 1) * 3.0 / sqrt((double)(n - 1)) > half);
    }
}

static void the_fields_needed_are_unknown_without_spread_or_aim(void **state) {
    (void)state;
    assert_int_equal(kb_fields_for((double)NAN, 1.0), 0);
    assert_int_equal(kb_fields_for(1.0, 0.0), 0);
    assert_int_equal(kb_fields_for(1.0, (double)NAN), 0);
    assert_int_equal(kb_fields_for(-1.0, 1.0), 0);
    assert_int_equal(kb_fields_for(1.0, 1e-9), 0);
    assert_int_equal(kb_fields_for(0.0, 1.0), 2);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_field_gives_a_point_without_interval),
        cmocka_unit_test(no_field_gives_no_figure),
        cmocka_unit_test(a_field_that_is_no_number_is_no_figure),
        cmocka_unit_test(the_interval_stops_at_its_bounds),
        cmocka_unit_test(a_ratio_without_bounds_is_the_plain_jackknife),
        cmocka_unit_test(fields_with_more_graphite_weigh_more),
        cmocka_unit_test(the_logit_interval_has_the_error_of_the_jackknife),
        cmocka_unit_test(a_ratio_interval_never_leaves_its_bounds),
        cmocka_unit_test(graphite_in_one_field_only_gives_no_interval),
        cmocka_unit_test(figures_scale_with_their_unit),
        cmocka_unit_test(student_needs_two_fields),
        cmocka_unit_test(the_fields_needed_are_the_fewest_that_do),
        cmocka_unit_test(the_fields_needed_are_unknown_without_spread_or_aim),
    };
    return cmocka_run_group_tests_name("estimates", tests, NULL, NULL);
}
