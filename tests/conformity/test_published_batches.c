/* test_published_batches.c - spread split between and within specimens against a published worked
 * example (refs/random_effects.csv), and against what simulated batches were made with. */
#include "keelblock/specimen.h"
#include "refs_table.h"
#include "seeded.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

static struct kb_estimate of_values(const double *value, size_t n) {
    return kb_estimate_mean(value, n, "1", -(double)INFINITY, (double)INFINITY);
}

static void the_published_components_of_variance_are_found(void **state) {
    (void)state;
    struct table table;
    struct kb_estimate group[8];
    table_read("random_effects.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        double value[4] = {table_number(&table, row, "a"), table_number(&table, row, "b"),
                           table_number(&table, row, "c"), table_number(&table, row, "d")};
        group[row] = of_values(value, 4);
    }
    struct kb_split split = kb_split_run(group, table.rows, -(double)INFINITY, (double)INFINITY);
    table_expect(&table, 0, "mean_square_within", split.within * split.within,
                 table_number(&table, 0, "mean_square_within"), 0.005);
    table_expect(&table, 0, "variance_between", split.between * split.between,
                 table_number(&table, 0, "variance_between"), 0.005);
    table_expect(&table, 0, "mean_square_between",
                 4.0 * split.between * split.between + split.within * split.within,
                 table_number(&table, 0, "mean_square_between"), 0.005);
    table_release(&table);
}

/* Batches of k specimens of n fields: the interval must hold the truth 95 times in 100, whatever
 * the share of either spread. 4,000 batches: standard error 0.34 points. */
static void the_interval_of_a_batch_holds_the_truth_as_often_as_it_says(void **state) {
    (void)state;
    enum { BATCHES = 4000 };
    const double between[] = {0.0, 1.0, 3.0};
    const size_t specimens[] = {2, 3, 8};
    struct random random = {20260304};
    for (size_t b = 0; b < 3; b++) {
        for (size_t k = 0; k < 3; k++) {
            size_t hits = 0;
            double sum_between = 0.0, sum_within = 0.0;
            for (int trial = 0; trial < BATCHES; trial++) {
                struct kb_estimate group[8];
                for (size_t i = 0; i < specimens[k]; i++) {
                    double level = between[b] * random_normal(&random), value[5];
                    for (size_t f = 0; f < 5; f++) {
                        value[f] = level + 2.0 * random_normal(&random);
                    }
                    group[i] = of_values(value, 5);
                }
                struct kb_split split =
                    kb_split_run(group, specimens[k], -(double)INFINITY, (double)INFINITY);
                hits += split.mean.lo <= 0.0 && split.mean.hi >= 0.0;
                sum_between += split.between * split.between;
                sum_within += split.within * split.within;
            }
            assert_in_range(hits, (size_t)(0.94 * BATCHES), (size_t)(0.96 * BATCHES));
            assert_true(fabs(sum_within / BATCHES - 4.0) < 0.1);
            if (specimens[k] == 8 && between[b] > 2.0) { /* far from the cut at 0 */
                assert_true(fabs(sum_between / BATCHES - 9.0) < 0.5);
            }
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_published_components_of_variance_are_found),
        cmocka_unit_test(the_interval_of_a_batch_holds_the_truth_as_often_as_it_says),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
