/* test_given.c - values measured elsewhere, beside those of the structure. */
#include "kb_cmocka.h"
#include "keelblock/judge.h"

#include <string.h>

static struct kb_limit_result judge_one(const struct kb_estimate *given, double low, double high,
                                        enum kb_decision_rule rule) {
    struct kb_specimen specimen = {.fields = 1};
    const struct kb_limit limit = {KB_Q_TENSILE_STRENGTH, low, high};
    struct kb_judgement judgement;
    if (given != NULL) {
        specimen.given[KB_GIVEN_TENSILE_STRENGTH] = *given;
    }
    assert_int_equal(kb_judge(&specimen, NULL, &limit, 1, rule, &judgement, NULL), KB_OK);
    struct kb_limit_result result = judgement.limit[0];
    kb_judgement_release(&judgement);
    return result;
}

static void a_stated_uncertainty_makes_an_interval_by_the_normal_law(void **state) {
    (void)state;
    /* 97.5 % point of the standard normal law: 1.95996 (any table) */
    struct kb_estimate given = kb_given_estimate(KB_GIVEN_TENSILE_STRENGTH, 512.0, 4.0);
    assert_true(given.measured && given.has_interval);
    assert_near(given.lo, 512.0 - 1.95996 * 4.0, 1e-3);
    assert_near(given.hi, 512.0 + 1.95996 * 4.0, 1e-3);
    assert_string_equal(given.unit, "MPa");
    given = kb_given_estimate(KB_GIVEN_IMPACT_ENERGY, 14.0, 0.0);
    assert_true(given.measured && !given.has_interval);
    assert_string_equal(given.unit, "J");
}

static void the_guarded_rule_holds_for_it_as_for_any_other(void **state) {
    (void)state;
    const struct kb_estimate sure = kb_given_estimate(KB_GIVEN_TENSILE_STRENGTH, 512.0, 4.0);
    const double open = (double)NAN;
    assert_int_equal(judge_one(&sure, 500, open, KB_RULE_GUARDED).outcome, KB_ACCEPT);
    assert_int_equal(judge_one(&sure, 510, open, KB_RULE_GUARDED).outcome, KB_UNDECIDED);
    assert_int_equal(judge_one(&sure, 525, open, KB_RULE_GUARDED).outcome, KB_REJECT);
    assert_int_equal(judge_one(&sure, 510, open, KB_RULE_SIMPLE).outcome, KB_ACCEPT);
    /* no number of micrographs decides about a tensile test */
    assert_int_equal(judge_one(&sure, 510, open, KB_RULE_GUARDED).fields_to_decide, 0);
    /* half a standard uncertainty above the limit: 0.69146 of the normal law (any table) */
    assert_near(judge_one(&sure, 510, open, KB_RULE_GUARDED).probability, 0.69146, 1e-4);
}

static void without_an_uncertainty_the_value_decides_and_the_reason_says_so(void **state) {
    (void)state;
    const struct kb_estimate bare = kb_given_estimate(KB_GIVEN_TENSILE_STRENGTH, 512.0, 0.0);
    struct kb_limit_result result = judge_one(&bare, 500, 600, KB_RULE_GUARDED);
    assert_int_equal(result.outcome, KB_ACCEPT);
    assert_non_null(strstr(result.reason, "no uncertainty was stated"));
    result = judge_one(&bare, 520, 600, KB_RULE_GUARDED);
    assert_int_equal(result.outcome, KB_REJECT);
    assert_non_null(strstr(result.reason, "no uncertainty was stated"));
}

static void what_was_not_given_leaves_its_limit_undecided(void **state) {
    (void)state;
    const struct kb_limit_result result = judge_one(NULL, 500, 600, KB_RULE_GUARDED);
    assert_int_equal(result.outcome, KB_UNDECIDED);
    assert_false(result.value.measured);
    assert_non_null(strstr(result.reason, "no value was given"));
}

static void quantities_stand_in_the_order_of_what_can_be_given(void **state) {
    (void)state;
    static const char *const name[KB_GIVENS] = {
        [KB_GIVEN_HARDNESS_HBW] = "hardness_hbw",
        [KB_GIVEN_HARDNESS_HV] = "hardness_hv",
        [KB_GIVEN_TENSILE_STRENGTH] = "tensile_strength",
        [KB_GIVEN_PROOF_STRENGTH] = "proof_strength",
        [KB_GIVEN_ELONGATION] = "elongation",
        [KB_GIVEN_IMPACT_ENERGY] = "impact_energy",
    };
    assert_int_equal(KB_Q_GIVEN + KB_GIVENS, KB_QUANTITIES);
    for (int i = 0; i < KB_GIVENS; i++) {
        assert_string_equal(kb_quantity_name((enum kb_quantity)(KB_Q_GIVEN + i)), name[i]);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_stated_uncertainty_makes_an_interval_by_the_normal_law),
        cmocka_unit_test(the_guarded_rule_holds_for_it_as_for_any_other),
        cmocka_unit_test(without_an_uncertainty_the_value_decides_and_the_reason_says_so),
        cmocka_unit_test(what_was_not_given_leaves_its_limit_undecided),
        cmocka_unit_test(quantities_stand_in_the_order_of_what_can_be_given),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
