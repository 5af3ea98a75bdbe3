/* test_published_statistics.c - Student's factors, mean and interval, and exact count intervals
 * against refs/student_t.csv, e562_worked.csv and count_intervals.csv; the effort of counting
 * points against e562_grid.csv and e562_fields.csv. */
#include "refs_table.h"
#include "specimen_priv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* Half of the last printed digit, and a rounding. */
static const double three_digits = 0.5e-3 + 1e-9;

static void student_factors_are_those_of_the_table(void **state) {
    (void)state;
    struct table table;
    table_read("student_t.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        size_t n = (size_t)table_number(&table, row, "n");
        table_expect(&table, row, "t", kb_student_95(n), table_number(&table, row, "t"),
                     three_digits);
    }
    table_release(&table);
}

static size_t split_numbers(const char *text, double value[16]) {
    size_t count = 0;
    char *end = NULL;
    for (double x = strtod(text, &end); end != text; x = strtod(text, &end)) {
        assert_in_range(count, 0, 15);
        value[count++] = x;
        text = end;
    }
    return count;
}

static void worked_fields_give_the_worked_interval(void **state) {
    (void)state;
    struct table table;
    table_read("e562_worked.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        double value[16];
        size_t n = split_numbers(table_text(&table, row, "fields_percent"), value);
        struct kb_estimate mean = kb_estimate_mean(value, n, "%", -KB_INFINITY, KB_INFINITY);
        double half = 0.5 * (mean.hi - mean.lo);
        double ra = 100.0 * half / mean.value;
        table_expect(&table, row, "mean", mean.value, table_number(&table, row, "mean"), 1e-12);
        table_expect(&table, row, "s", mean.s, table_number(&table, row, "s"), three_digits);
        /* worked with t to three decimals: one part in four thousand */
        double ci = table_number(&table, row, "ci95");
        table_expect(&table, row, "ci95", half, ci, 5e-4 * ci);
        double published_ra = table_number(&table, row, "ra_percent");
        table_expect(&table, row, "ra_percent", ra, published_ra, 5e-4 * published_ra);
    }
    table_release(&table);
}

static void counts_bound_the_interval_as_published(void **state) {
    (void)state;
    struct table table;
    table_read("count_intervals.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        bool binomial = strcmp(table_text(&table, row, "law"), "binomial") == 0;
        double count = table_number(&table, row, "count");
        double trials = binomial ? table_number(&table, row, "trials") : 1.0;
        struct kb_estimate estimate = kb_estimate_point(count / trials, 2, "1", "");
        estimate.has_interval = true;
        estimate.lo = estimate.hi = estimate.value; /* no spread: the count alone speaks */
        if (binomial) {
            kb_widen_to_count(&estimate, trials, 0.0, 1.0);
        } else {
            kb_widen_to_poisson(&estimate, count);
        }
        double tolerance = table_number(&table, row, "tolerance");
        table_expect(&table, row, "low", estimate.lo, table_number(&table, row, "low"), tolerance);
        table_expect(&table, row, "high", estimate.hi, table_number(&table, row, "high"),
                     tolerance);
    }
    table_release(&table);
}

static void point_counts_take_the_fields_of_the_table(void **state) {
    (void)state;
    struct table table;
    table_read("e562_fields.csv", &table);
    assert_int_equal(table.rows, 48);
    for (size_t row = 0; row < table.rows; row++) {
        double fraction = 0.01 * table_number(&table, row, "fraction_percent");
        double accuracy = 0.01 * table_number(&table, row, "accuracy_percent");
        size_t points = (size_t)table_number(&table, row, "points");
        double exact = (double)kb_point_fields(fraction, accuracy, points);
        double printed = table_number(&table, row, "fields");
        /* the table rounds: to the next 5 above, seldom below, by no more than 8 % */
        double above = 5.0 * ceil(exact / 5.0);
        if (printed > above || printed < 0.92 * (exact - 1.0)) {
            fail_msg("%g %% to %g %% with %zu points: %g fields, in print %g", 100.0 * fraction,
                     100.0 * accuracy, points, exact, printed);
        }
    }
    table_release(&table);
}

static void the_grid_follows_the_fraction_as_published(void **state) {
    (void)state;
    struct table table;
    table_read("e562_grid.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        double from = 0.01 * table_number(&table, row, "from_percent");
        double to = 0.01 * table_number(&table, row, "to_percent");
        assert_int_equal(kb_point_grid(0.5 * (from + to)), table_number(&table, row, "points"));
        /* neighbours meet without a gap */
        assert_true(row + 1 == table.rows ||
                    !(fabs(0.01 * table_number(&table, row + 1, "from_percent") - to) > 1e-12));
    }
    table_release(&table);
    assert_int_equal(kb_point_grid(0.001), 100);
    assert_int_equal(kb_point_fields(0.0, 0.1, 100), 0);
    assert_int_equal(kb_point_fields(0.1, 0.0, 100), 0);
    assert_int_equal(kb_point_fields(0.1, (double)NAN, 100), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(student_factors_are_those_of_the_table),
        cmocka_unit_test(worked_fields_give_the_worked_interval),
        cmocka_unit_test(counts_bound_the_interval_as_published),
        cmocka_unit_test(point_counts_take_the_fields_of_the_table),
        cmocka_unit_test(the_grid_follows_the_fraction_as_published),
    };
    return cmocka_run_group_tests_name("published statistics", tests, NULL, NULL);
}
