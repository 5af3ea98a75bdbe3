/* test_chart.c - what a control chart makes of series whose answer can be seen by eye. */
#include "kb_cmocka.h"

#include "fail_alloc.h"
#include "simulated.h"

#include <string.h>

static struct kb_chart of(const double *value, size_t count) {
    struct kb_chart chart = {.quantity = KB_Q_NODULES_PER_MM2};
    for (size_t i = 0; i < count; i++) {
        char date[32];
        (void)snprintf(date, sizeof date, "2026-%02zu-%02zu", i / 28 + 1, i % 28 + 1);
        assert_int_equal(kb_chart_add(&chart, value[i], "a", date, NULL), KB_OK);
    }
    return chart;
}

/* By turns 9 and 11: mean 10, every range 2, sigma 2/1.128. */
static struct kb_chart even(size_t count, size_t others, double other) {
    double value[100];
    for (size_t i = 0; i < count; i++) {
        value[i] = i < count - others ? (i % 2 == 0 ? 9.0 : 11.0) : other;
    }
    return of(value, count);
}

static unsigned last_broken(const struct kb_chart *chart) {
    return chart->point[chart->points - 1].broken;
}

static void limits_come_from_the_baseline_alone(void **state) {
    (void)state;
    struct kb_chart short_one = even(26, 0, 0.0), long_one = even(60, 30, 14.0);
    run_chart(&short_one);
    run_chart(&long_one);
    assert_near(short_one.stretch[0].mean, 9.96, 1e-12); /* thirteen nines of 25 */
    assert_near(long_one.stretch[0].mean, short_one.stretch[0].mean, 1e-12);
    assert_near(long_one.stretch[0].upper, 9.96 + 3.0 * 2.0 / 1.128, 1e-12);
    assert_near(long_one.stretch[0].range_upper, 2.0 * 3.267, 1e-12);
    assert_false(long_one.stretch[0].provisional);
    assert_true(long_one.point[24].baseline && !long_one.point[25].baseline);
    kb_chart_release(&short_one);
    kb_chart_release(&long_one);
}

static void few_castings_give_provisional_limits_and_fewer_none(void **state) {
    (void)state;
    struct kb_chart chart = even(8, 0, 0.0);
    run_chart(&chart);
    assert_true(chart.stretch[0].limited && chart.stretch[0].provisional);
    assert_true(kb_findings_has(&chart.findings, "chart-provisional"));
    kb_chart_release(&chart);
    chart = even(7, 0, 0.0);
    run_chart(&chart);
    assert_false(chart.stretch[0].limited);
    assert_true(kb_findings_has(&chart.findings, "chart-no-limits"));
    kb_chart_release(&chart);
}

static void equal_values_have_no_limits(void **state) {
    (void)state;
    struct kb_chart chart = even(30, 30, 5.0);
    run_chart(&chart);
    assert_false(chart.stretch[0].limited);
    assert_string_equal(chart.stretch[0].why, "the values do not vary");
    assert_int_equal(last_broken(&chart), 0);
    kb_chart_release(&chart);
}

static void each_rule_is_broken_by_its_own_run_and_not_one_casting_sooner(void **state) {
    (void)state;
    /* behind 25 castings of 9 and 11 by turns (sigma 1.773): so many castings of this value */
    const struct {
        enum kb_chart_rule rule;
        size_t castings;
        double value;
    } run[] = {
        {KB_CHART_BEYOND, 1, 15.4},       {KB_CHART_ONE_SIDE, 9, 10.5},
        {KB_CHART_TWO_OF_THREE, 2, 13.7}, {KB_CHART_FOUR_OF_FIVE, 4, 12.0},
        {KB_CHART_APART, 8, 12.0},
    };
    for (size_t i = 0; i < sizeof run / sizeof run[0]; i++) {
        struct kb_chart_params params = free_params();
        params.rules = KB_CHART_BIT(run[i].rule);
        for (size_t less = 0; less < 2; less++) {
            const size_t castings = run[i].castings - less;
            struct kb_chart chart = even(25 + castings, castings, run[i].value);
            assert_int_equal(kb_chart_run(&chart, &params, NULL), KB_OK);
            assert_int_equal(last_broken(&chart), less == 0 ? params.rules : 0);
            kb_chart_release(&chart);
        }
    }
}

static void rises_turns_and_quiet_are_found(void **state) {
    (void)state;
    double value[60];
    for (size_t i = 0; i < 25; i++) { /* pairs, so that nothing goes up and down by turns */
        value[i] = i % 4 < 2 ? 8.0 : 12.0;
    }
    for (size_t i = 0; i < 6; i++) {
        value[25 + i] = 9.0 + 0.2 * (double)i;
    }
    struct kb_chart_params params = free_params();
    params.rules = KB_CHART_BIT(KB_CHART_STEADY);
    struct kb_chart chart = of(value, 31);
    assert_int_equal(kb_chart_run(&chart, &params, NULL), KB_OK);
    assert_int_equal(last_broken(&chart), params.rules);
    kb_chart_release(&chart);
    for (size_t i = 0; i < 15; i++) {
        value[25 + i] = i % 2 == 0 ? 9.6 : 10.4;
    }
    chart = of(value, 40);
    params.rules = KB_CHART_BIT(KB_CHART_ALTERNATING) | KB_CHART_BIT(KB_CHART_HUGGING);
    assert_int_equal(kb_chart_run(&chart, &params, NULL), KB_OK);
    assert_int_equal(last_broken(&chart), params.rules);
    kb_chart_release(&chart);
}

static void a_stretch_has_limits_of_its_own_and_no_range_across_its_border(void **state) {
    (void)state;
    struct kb_chart chart = even(60, 30, 20.0);
    for (size_t i = 30; i < 60; i++) {
        chart.point[i].value += i % 2 == 0 ? 0.5 : -0.5;
    }
    chart.point[30].begins = true;
    run_chart(&chart);
    assert_int_equal(chart.stretches, 2);
    assert_near(chart.stretch[1].mean, 20.02, 1e-12);
    assert_true(isnan(chart.point[30].range));
    for (size_t i = 30; i < 60; i++) {
        assert_int_equal(chart.point[i].broken & KB_CHART_BIT(KB_CHART_BEYOND), 0);
    }
    kb_chart_release(&chart);
}

static void a_baseline_may_be_stated_by_its_days(void **state) {
    (void)state;
    struct kb_chart chart = even(56, 28, 20.0);
    for (size_t i = 28; i < 56; i++) {
        chart.point[i].value += i % 2 == 0 ? 0.5 : -0.5;
    }
    struct kb_chart_params params = free_params();
    (void)strcpy(params.from, "2026-02-01");
    (void)strcpy(params.to, "2026-02-28");
    assert_int_equal(kb_chart_run(&chart, &params, NULL), KB_OK);
    assert_int_equal(chart.stretch[0].baseline, 28);
    assert_near(chart.stretch[0].mean, 20.0, 1e-12);
    assert_near(chart.stretch[0].range_mean, 1.0, 1e-12);
    kb_chart_release(&chart);
}

static void limits_beyond_what_a_percentage_can_be_are_none(void **state) {
    (void)state;
    struct kb_chart chart = even(30, 0, 0.0);
    for (size_t i = 0; i < 30; i++) {
        chart.point[i].value += 88.0;
    }
    chart.quantity = KB_Q_NODULARITY;
    const struct kb_chart_params params = kb_chart_params_default(KB_Q_NODULARITY);
    assert_int_equal(kb_chart_run(&chart, &params, NULL), KB_OK);
    assert_true(isnan(chart.stretch[0].upper));
    assert_near(chart.stretch[0].lower, 97.96 - 6.0 / 1.128, 1e-9);
    kb_chart_release(&chart);
}

/* Slope, interval and castings of a line with known residuals: y = 0.5 i +- 0.1 by turns. */
static void the_trend_is_that_of_a_textbook_line(void **state) {
    (void)state;
    double value[8];
    for (size_t i = 0; i < 8; i++) {
        value[i] = 0.5 * (double)i + (i % 4 == 0 || i % 4 == 3 ? 0.1 : -0.1);
    }
    struct kb_chart chart = of(value, 8);
    chart.point[7].high = 5.0;
    run_chart(&chart);
    /* the turns are orthogonal to the line: slope 0.5, residual sum 8 * 0.01, sxx 42, t(6) 2.4469
     */
    const double half = 2.4469119 * sqrt(0.08 / 6.0 / 42.0);
    assert_true(chart.trend.known && chart.trend.drifts);
    assert_near(chart.trend.slope, 0.5, 1e-12);
    assert_near(chart.trend.lo, 0.5 - half, 1e-6);
    assert_near(chart.trend.castings, (5.0 - 3.5) / 0.5, 1e-9);
    /* at either end the limit is t standard errors of the line away */
    const double end[] = {chart.trend.soonest, chart.trend.latest};
    for (size_t i = 0; i < 2; i++) {
        const double x = 3.5 + end[i], se = sqrt(0.08 / 6.0 * (1.0 / 8.0 + x * x / 42.0));
        assert_near(fabs(1.75 + 0.5 * x - 5.0) / se, 2.4469119, 1e-5);
    }
    assert_true(chart.trend.soonest < 3.0 && chart.trend.latest > 3.0);
    assert_true(kb_findings_has(&chart.findings, "chart-drift"));
    kb_chart_release(&chart);
}

static void params_that_make_no_sense_are_refused(void **state) {
    (void)state;
    struct kb_chart chart = even(10, 0, 0.0);
    struct kb_chart_params params = free_params();
    params.baseline = 3;
    assert_int_equal(kb_chart_run(&chart, &params, NULL), KB_E_USAGE);
    params = free_params();
    params.trend_certainty = (double)NAN;
    assert_int_equal(kb_chart_run(&chart, &params, NULL), KB_E_USAGE);
    params = free_params();
    params.rules = 1;
    assert_int_equal(kb_chart_run(&chart, &params, NULL), KB_E_USAGE);
    params = free_params();
    chart.point[3].value = (double)NAN;
    assert_int_equal(kb_chart_run(&chart, &params, NULL), KB_E_USAGE);
    kb_chart_release(&chart);
}

static void nothing_is_lost_when_memory_runs_out(void **state) {
    (void)state;
    enum kb_status status = KB_E_MEMORY;
    for (size_t n = 1; status != KB_OK && n < 200; n++) {
        const struct kb_chart_params params = free_params();
        struct kb_chart chart = {.quantity = KB_Q_NODULARITY};
        fail_alloc_at(n);
        status = KB_OK;
        for (int i = 0; i < 9 && status == KB_OK; i++) {
            status = kb_chart_add(&chart, i % 3, "a", "2026-01-01", NULL);
        }
        if (status == KB_OK) {
            status = kb_chart_run(&chart, &params, NULL);
        }
        kb_chart_release(&chart);
        assert_true(status == KB_OK || status == KB_E_MEMORY);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
    assert_int_equal(status, KB_OK);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(limits_come_from_the_baseline_alone),
        cmocka_unit_test(few_castings_give_provisional_limits_and_fewer_none),
        cmocka_unit_test(equal_values_have_no_limits),
        cmocka_unit_test(each_rule_is_broken_by_its_own_run_and_not_one_casting_sooner),
        cmocka_unit_test(rises_turns_and_quiet_are_found),
        cmocka_unit_test(a_stretch_has_limits_of_its_own_and_no_range_across_its_border),
        cmocka_unit_test(a_baseline_may_be_stated_by_its_days),
        cmocka_unit_test(limits_beyond_what_a_percentage_can_be_are_none),
        cmocka_unit_test(the_trend_is_that_of_a_textbook_line),
        cmocka_unit_test(params_that_make_no_sense_are_refused),
        cmocka_unit_test(nothing_is_lost_when_memory_runs_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
