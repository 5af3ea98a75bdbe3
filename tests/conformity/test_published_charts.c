/* test_published_charts.c - control charts against a published worked example, published factors,
 * and published run lengths of the rules (refs/chart_worked.csv, chart_factors.csv,
 * run_lengths.csv).
 */
#include "refs_table.h"
#include "register_priv.h"
#include "seeded.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static void the_published_chart_of_individuals_is_found(void **state) {
    (void)state;
    struct table table;
    table_read("chart_worked.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        struct kb_chart chart = {.quantity = KB_Q_NODULES_PER_MM2};
        struct kb_chart_params params = kb_chart_params_default(KB_Q_NODULES_PER_MM2);
        for (char column = 'a'; column <= 'j'; column++) {
            const char name[2] = {column, '\0'};
            assert_int_equal(
                kb_chart_add(&chart, table_number(&table, row, name), name, "2026-03-04", NULL),
                KB_OK);
        }
        assert_int_equal(kb_chart_run(&chart, &params, NULL), KB_OK);
        /* the source rounds to four decimals */
        table_expect(&table, row, "mean", chart.stretch[0].mean, table_number(&table, row, "mean"),
                     5e-5);
        table_expect(&table, row, "range_mean", chart.stretch[0].range_mean,
                     table_number(&table, row, "range_mean"), 5e-5);
        table_expect(&table, row, "upper", chart.stretch[0].upper,
                     table_number(&table, row, "upper"), 2e-4);
        table_expect(&table, row, "lower", chart.stretch[0].lower,
                     table_number(&table, row, "lower"), 2e-4);
        for (size_t i = 0; i < chart.points; i++) { /* "the process is in control" */
            assert_int_equal(chart.point[i].broken, 0);
        }
        kb_chart_release(&chart);
    }
    table_release(&table);
}

static void the_factors_are_the_published_ones(void **state) {
    (void)state;
    struct table table;
    struct kb_chart chart = {.quantity = KB_Q_NODULES_PER_MM2};
    const struct kb_chart_params params = kb_chart_params_default(KB_Q_NODULES_PER_MM2);
    for (int i = 0; i < 10; i++) {
        assert_int_equal(kb_chart_add(&chart, 100.0 + i % 2, "a", "2026-03-04", NULL), KB_OK);
    }
    assert_int_equal(kb_chart_run(&chart, &params, NULL), KB_OK);
    table_read("chart_factors.csv", &table);
    table_expect(&table, 0, "d2", 1.0 / chart.stretch[0].sigma, table_number(&table, 0, "d2"),
                 1e-9);
    table_expect(&table, 0, "D4", chart.stretch[0].range_upper, table_number(&table, 0, "D4"),
                 1e-9);
    assert_true(fabs(table_number(&table, 0, "d2") - 2.0 / sqrt(acos(-1.0))) < 5e-4);
    table_release(&table);
    kb_chart_release(&chart);
}

enum { LONGEST = 6000, TRIALS = 4000, FIRST_LOOK = 150 };

/* Castings until the first alarm of a steady process whose mean and sigma are known. */
static size_t run_length(struct kb_chart *chart, struct random *random) {
    for (size_t looked = FIRST_LOOK, made = 0;; looked *= 4) {
        looked = looked > LONGEST ? LONGEST : looked;
        for (; made < looked; made++) {
            chart->point[made].value = random_normal(random);
        }
        const struct kb_chart_stretch known = {.count = looked, .sigma = 1.0};
        kb_chart_rules(chart, &known);
        for (size_t i = 0; i < looked; i++) {
            if (chart->point[i].broken != 0) {
                return i + 1;
            }
        }
        if (looked == LONGEST) {
            return LONGEST;
        }
    }
}

static unsigned rules_of(const char *text) {
    unsigned rules = 0;
    for (; *text != '\0'; text++) {
        rules |= *text != ' ' ? KB_CHART_BIT(*text - '0') : 0u;
    }
    return rules;
}

/* 4000 runs: standard error 1.6 % of the mean. */
static void steady_processes_run_as_long_as_published(void **state) {
    (void)state;
    struct table table;
    struct random random = {19871101};
    struct kb_chart chart = {.params = kb_chart_params_default(KB_Q_NODULES_PER_MM2)};
    chart.params.one_side = 8; /* as the source has it */
    chart.params.ranges = false;
    chart.point = kb_alloc_zero(LONGEST, sizeof *chart.point);
    assert_non_null(chart.point);
    table_read("run_lengths.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        double sum = 0.0;
        chart.params.rules = rules_of(table_text(&table, row, "rules"));
        for (int trial = 0; trial < TRIALS; trial++) {
            sum += (double)run_length(&chart, &random);
        }
        const double wanted = table_number(&table, row, "average_run_length");
        table_expect(&table, row, "average_run_length", sum / TRIALS, wanted, 0.055 * wanted);
    }
    table_release(&table);
    kb_free(chart.point);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_published_chart_of_individuals_is_found),
        cmocka_unit_test(the_factors_are_the_published_ones),
        cmocka_unit_test(steady_processes_run_as_long_as_published),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
