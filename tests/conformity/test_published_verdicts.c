/* test_published_verdicts.c - the decision rule against refs/verdict_examples.csv, and limits as
 * buyers write them (refs/nodularity_requirements.csv). */
#include "keelblock/judge.h"
#include "refs_table.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* Normal 97.5 % point: half-width of a 95 % interval in standard uncertainties. */
static const double coverage = 1.959963984540054;

static double normal_below(double z) {
    return 0.5 * erfc(-z / sqrt(2.0));
}

/* Probability that the true value lies inside the limits, normal law. */
static double conformance(double value, double u, double low, double high) {
    double above_low = isnan(low) ? 1.0 : normal_below((value - low) / u);
    double above_high = isnan(high) ? 0.0 : normal_below((value - high) / u);
    return above_low - above_high;
}

static void published_examples_get_their_verdict(void **state) {
    (void)state;
    struct table table;
    table_read("verdict_examples.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        double value = table_number(&table, row, "value");
        double u = table_number(&table, row, "u");
        struct kb_limit limit = {KB_Q_CARBON, table_number_or_open(&table, row, "low"),
                                 table_number_or_open(&table, row, "high")};
        struct kb_carbon carbon = {.total_percent = kb_estimate_point(value, 5, "%", "example")};
        carbon.total_percent.lo = value - coverage * u;
        carbon.total_percent.hi = value + coverage * u;
        carbon.total_percent.s = u * sqrt(5.0);
        carbon.total_percent.has_interval = true;
        struct kb_specimen specimen = {.fields = 5};
        struct kb_judgement judgement;
        assert_int_equal(kb_judge(&specimen, &carbon, &limit, 1, KB_RULE_GUARDED, &judgement, NULL),
                         KB_OK);
        table_expect(&table, row, "conformance probability",
                     conformance(value, u, limit.low, limit.high),
                     table_number(&table, row, "conformance_probability"), 5e-4);
        assert_string_equal(kb_outcome_name(judgement.verdict), table_text(&table, row, "outcome"));
        assert_string_equal(kb_outcome_name(judgement.verdict_by_rule[KB_RULE_SIMPLE]),
                            table_text(&table, row, "simple"));
        table_expect(&table, row, "conformance probability",
                     kb_conformance_probability(value, u, (double)INFINITY, limit.low, limit.high),
                     table_number(&table, row, "conformance_probability"), 5e-5);
        kb_judgement_release(&judgement);
    }
    table_release(&table);
}

static void acceptance_means_at_least_97_5_per_cent_conformance(void **state) {
    (void)state;
    for (int i = -400; i <= 400; i++) {
        double value = 80.0 + 0.01 * i;
        double u = 1.0;
        struct kb_limit limit = {KB_Q_CARBON, 80.0, (double)NAN};
        struct kb_carbon carbon = {.total_percent = kb_estimate_point(value, 5, "%", "sweep")};
        carbon.total_percent.lo = value - coverage * u;
        carbon.total_percent.hi = value + coverage * u;
        carbon.total_percent.has_interval = true;
        struct kb_specimen specimen = {.fields = 5};
        struct kb_judgement judgement;
        assert_int_equal(kb_judge(&specimen, &carbon, &limit, 1, KB_RULE_GUARDED, &judgement, NULL),
                         KB_OK);
        double p = conformance(value, u, 80.0, (double)NAN);
        assert_true((judgement.verdict == KB_ACCEPT) == (p >= 0.975));
        assert_true((judgement.verdict == KB_REJECT) == (p < 0.025));
        kb_judgement_release(&judgement);
    }
}

static void limits_that_buyers_write_are_read(void **state) {
    (void)state;
    struct table table;
    table_read("nodularity_requirements.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        struct kb_limit limit;
        const char *text = table_text(&table, row, "limit");
        assert_int_equal(kb_limit_parse("nodularity", text, &limit, NULL), KB_OK);
        double bound = strtod(text + 2, NULL);
        bool least = text[0] == '>';
        assert_true((least ? limit.low : limit.high) == bound);
        assert_true(isnan(least ? limit.high : limit.low));
    }
    table_release(&table);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(published_examples_get_their_verdict),
        cmocka_unit_test(acceptance_means_at_least_97_5_per_cent_conformance),
        cmocka_unit_test(limits_that_buyers_write_are_read),
    };
    return cmocka_run_group_tests_name("published verdicts", tests, NULL, NULL);
}
