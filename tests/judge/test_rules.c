/* test_rules.c - the two decision rules and the probability of conformity. Truth: the normal law
 * by erfc(), tables of Student's t, and the relation that must hold between interval and
 * probability. */
#include "keelblock/judge.h"

#include "kb_cmocka.h"

#include <string.h>

static const double open = (double)NAN;

static struct kb_specimen specimen_with(double value, double lo, double hi, size_t n) {
    struct kb_specimen specimen = {.material = KB_DUCTILE_IRON};
    struct kb_estimate *nodularity = &specimen.nodularity_percent[KB_NOD_ISO945_4];
    *nodularity = kb_estimate_point(value, n, "%", "made");
    nodularity->lo = lo;
    nodularity->hi = hi;
    nodularity->s = 0.5 * (hi - lo) * sqrt((double)n) / kb_student_95(n);
    nodularity->has_interval = true;
    return specimen;
}

static struct kb_limit_result judged(const struct kb_specimen *specimen, double low, double high,
                                     enum kb_decision_rule rule) {
    struct kb_limit limit = {KB_Q_NODULARITY, low, high};
    struct kb_judgement judgement;
    assert_int_equal(kb_judge(specimen, NULL, &limit, 1, rule, &judgement, NULL), KB_OK);
    struct kb_limit_result result = judgement.limit[0];
    assert_int_equal(judgement.decision_rule, rule);
    assert_int_equal(judgement.verdict, result.outcome);
    assert_int_equal(result.outcome, result.by_rule[rule]);
    for (int i = 0; i < KB_DECISION_RULES; i++) {
        assert_int_equal(judgement.verdict_by_rule[i], result.by_rule[i]);
    }
    assert_non_null(strstr(judgement.rule, kb_decision_rule_name(rule)));
    assert_true(strlen(result.reason) > 0);
    kb_judgement_release(&judgement);
    return result;
}

static void the_simple_rule_asks_the_value_alone(void **state) {
    (void)state;
    struct kb_specimen specimen = specimen_with(86, 80, 92, 5);
    assert_int_equal(judged(&specimen, 85, open, KB_RULE_SIMPLE).outcome, KB_ACCEPT);
    assert_int_equal(judged(&specimen, 86, open, KB_RULE_SIMPLE).outcome, KB_ACCEPT);
    assert_int_equal(judged(&specimen, 86.1, open, KB_RULE_SIMPLE).outcome, KB_REJECT);
    assert_int_equal(judged(&specimen, open, 85, KB_RULE_SIMPLE).outcome, KB_REJECT);
    assert_int_equal(judged(&specimen, 70, 90, KB_RULE_SIMPLE).outcome, KB_ACCEPT);
}

static void both_outcomes_are_kept_whichever_rule_was_chosen(void **state) {
    (void)state;
    struct kb_specimen specimen = specimen_with(86, 80, 92, 5);
    for (int rule = 0; rule < KB_DECISION_RULES; rule++) {
        struct kb_limit_result result = judged(&specimen, 85, open, (enum kb_decision_rule)rule);
        assert_int_equal(result.by_rule[KB_RULE_GUARDED], KB_UNDECIDED);
        assert_int_equal(result.by_rule[KB_RULE_SIMPLE], KB_ACCEPT);
    }
}

static void one_field_has_a_simple_outcome_but_no_probability(void **state) {
    (void)state;
    struct kb_specimen specimen = {.material = KB_DUCTILE_IRON};
    specimen.nodularity_percent[0] = kb_estimate_point(90.0, 1, "%", "made");
    struct kb_limit_result result = judged(&specimen, 85, open, KB_RULE_SIMPLE);
    assert_int_equal(result.outcome, KB_ACCEPT);
    assert_int_equal(result.by_rule[KB_RULE_GUARDED], KB_UNDECIDED);
    assert_true(isnan(result.probability));
}

static void what_was_not_measured_is_undecided_by_either_rule(void **state) {
    (void)state;
    struct kb_specimen specimen = {.material = KB_DUCTILE_IRON};
    specimen.nodularity_percent[0] = kb_estimate_missing("%", "pixel size unknown");
    for (int rule = 0; rule < KB_DECISION_RULES; rule++) {
        struct kb_limit_result result = judged(&specimen, 85, open, (enum kb_decision_rule)rule);
        assert_int_equal(result.outcome, KB_UNDECIDED);
        assert_non_null(strstr(result.reason, "pixel size unknown"));
        assert_true(isnan(result.probability));
    }
}

/* For one limit: accepted by the guarded rule exactly when the probability is 97.5 % or more, also
 * for lopsided intervals. */
static void the_guarded_rule_and_the_probability_agree(void **state) {
    (void)state;
    for (size_t n = 2; n <= 12; n++) {
        struct kb_specimen specimen = specimen_with(90.0, 84.0, 93.0, n);
        for (double limit = 75.05; limit < 98.0; limit += 0.1) {
            struct kb_limit_result low = judged(&specimen, limit, open, KB_RULE_GUARDED);
            struct kb_limit_result high = judged(&specimen, open, limit, KB_RULE_GUARDED);
            assert_int_equal(low.outcome == KB_ACCEPT, low.probability >= 0.975);
            assert_int_equal(low.outcome == KB_REJECT, low.probability <= 0.025);
            assert_int_equal(high.outcome == KB_ACCEPT, high.probability >= 0.975);
            assert_near(low.probability + high.probability, 1.0, 1e-12);
        }
    }
}

static void the_simple_rule_accepts_from_even_odds_on(void **state) {
    (void)state;
    struct kb_specimen specimen = specimen_with(90.0, 84.0, 93.0, 5);
    assert_near(judged(&specimen, 90.0, open, KB_RULE_SIMPLE).probability, 0.5, 1e-12);
    for (double limit = 80.05; limit < 96.0; limit += 0.1) {
        struct kb_limit_result result = judged(&specimen, limit, open, KB_RULE_SIMPLE);
        assert_int_equal(result.outcome == KB_ACCEPT, result.probability >= 0.5);
    }
}

static void an_end_cut_at_the_bound_does_not_feign_precision(void **state) {
    (void)state;
    /* mean 1 %, standard error 1 %, interval cut at 0: 2 % below is no sure thing either way */
    struct kb_specimen specimen = specimen_with(1.0, 0.0, 3.776, 5);
    specimen.nodularity_percent[0].s = sqrt(5.0);
    double p = judged(&specimen, 0.5, open, KB_RULE_GUARDED).probability;
    assert_near(p, 0.6783, 0.001); /* t = 0.5 with 4 degrees of freedom */
}

static void a_figure_without_spread_is_certain(void **state) {
    (void)state;
    struct kb_specimen specimen = specimen_with(90.0, 90.0, 90.0, 5);
    assert_near(judged(&specimen, 90, open, KB_RULE_GUARDED).probability, 1.0, 0.0);
    assert_near(judged(&specimen, 90.1, open, KB_RULE_GUARDED).probability, 0.0, 0.0);
    assert_near(judged(&specimen, 80, 90, KB_RULE_GUARDED).probability, 1.0, 0.0);
}

static void few_fields_take_student_and_many_the_normal_law(void **state) {
    (void)state;
    const double none = (double)NAN;
    /* t tables: 2.132 is the 95 % point for 4 degrees of freedom, 6.314 for 1 */
    assert_near(kb_conformance_probability(2.132, 1.0, 4.0, 0.0, none), 0.95, 1e-4);
    assert_near(kb_conformance_probability(-6.314, 1.0, 1.0, none, 0.0), 0.95, 1e-4);
    for (double z = -4.0; z <= 4.0; z += 0.25) {
        double normal = 0.5 * erfc(-z / sqrt(2.0));
        assert_near(kb_conformance_probability(z, 1.0, (double)INFINITY, 0.0, none), normal, 1e-12);
    }
    /* both limits, two standard uncertainties off */
    assert_near(kb_conformance_probability(50.0, 1.0, (double)INFINITY, 48.0, 52.0), 0.9545, 1e-4);
    assert_near(kb_conformance_probability(50.0, 1.0, (double)INFINITY, none, none), 1.0, 0.0);
}

static void no_probability_is_made_of_nonsense(void **state) {
    (void)state;
    assert_true(isnan(kb_conformance_probability((double)NAN, 1.0, 4.0, 0.0, 1.0)));
    assert_true(isnan(kb_conformance_probability(1.0, -1.0, 4.0, 0.0, 1.0)));
    assert_true(isnan(kb_conformance_probability(1.0, (double)NAN, 4.0, 0.0, 1.0)));
    assert_true(isnan(kb_conformance_probability(1.0, 1.0, 0.0, 0.0, 1.0)));
}

static void rules_have_names_that_read_back(void **state) {
    (void)state;
    enum kb_decision_rule rule = KB_RULE_GUARDED;
    assert_true(kb_decision_rule_parse("simple", &rule));
    assert_int_equal(rule, KB_RULE_SIMPLE);
    assert_true(kb_decision_rule_parse("guarded", &rule));
    assert_int_equal(rule, KB_RULE_GUARDED);
    assert_false(kb_decision_rule_parse("Simple", &rule));
    struct kb_judgement judgement;
    struct kb_specimen specimen = specimen_with(90.0, 84.0, 93.0, 5);
    assert_int_equal(kb_judge(&specimen, NULL, NULL, 0, (enum kb_decision_rule)7, &judgement, NULL),
                     KB_E_USAGE);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_simple_rule_asks_the_value_alone),
        cmocka_unit_test(both_outcomes_are_kept_whichever_rule_was_chosen),
        cmocka_unit_test(one_field_has_a_simple_outcome_but_no_probability),
        cmocka_unit_test(what_was_not_measured_is_undecided_by_either_rule),
        cmocka_unit_test(the_guarded_rule_and_the_probability_agree),
        cmocka_unit_test(the_simple_rule_accepts_from_even_odds_on),
        cmocka_unit_test(an_end_cut_at_the_bound_does_not_feign_precision),
        cmocka_unit_test(a_figure_without_spread_is_certain),
        cmocka_unit_test(few_fields_take_student_and_many_the_normal_law),
        cmocka_unit_test(no_probability_is_made_of_nonsense),
        cmocka_unit_test(rules_have_names_that_read_back),
    };
    return cmocka_run_group_tests_name("rules", tests, NULL, NULL);
}
