/* test_judge.c - figures against limits. Truth: the rule, applied by hand; published examples are
 * in tests/conformity. */
#include "fail_alloc.h"
#include "keelblock/judge.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static const double open = (double)NAN;

static struct kb_specimen specimen_with(double value, double lo, double hi) {
    struct kb_specimen specimen = {.material = KB_DUCTILE_IRON};
    struct kb_estimate *nodularity = &specimen.nodularity_percent[KB_NOD_ISO945_4];
    *nodularity = kb_estimate_point(value, 5, "%", "made");
    nodularity->lo = lo;
    nodularity->hi = hi;
    nodularity->s = 0.5 * (hi - lo) * sqrt(5.0) / kb_student_95(5);
    nodularity->has_interval = true;
    return specimen;
}

static struct kb_limit_result judge(const struct kb_specimen *specimen, enum kb_quantity quantity,
                                    double low, double high) {
    struct kb_limit limit = {quantity, low, high};
    struct kb_judgement judgement;
    assert_int_equal(kb_judge(specimen, NULL, &limit, 1, KB_RULE_GUARDED, &judgement, NULL), KB_OK);
    struct kb_limit_result result = judgement.limit[0];
    assert_int_equal(judgement.verdict, result.outcome);
    assert_true(strlen(result.reason) > 0);
    kb_judgement_release(&judgement);
    return result;
}

static enum kb_outcome outcome(double value, double lo, double hi, double low, double high) {
    struct kb_specimen specimen = specimen_with(value, lo, hi);
    return judge(&specimen, KB_Q_NODULARITY, low, high).outcome;
}

static void the_whole_interval_decides(void **state) {
    (void)state;
    assert_int_equal(outcome(90, 86, 94, 85, open), KB_ACCEPT);
    assert_int_equal(outcome(90, 85, 94, 85, open), KB_ACCEPT); /* the limit itself conforms */
    assert_int_equal(outcome(90, 84.9, 94, 85, open), KB_UNDECIDED);
    assert_int_equal(outcome(82, 79, 85, 85, open), KB_UNDECIDED);
    assert_int_equal(outcome(82, 79, 84.9, 85, open), KB_REJECT);
    assert_int_equal(outcome(4, 3, 5, open, 5), KB_ACCEPT);
    assert_int_equal(outcome(4, 3, 5.1, open, 5), KB_UNDECIDED);
    assert_int_equal(outcome(6, 5.1, 7, open, 5), KB_REJECT);
    assert_int_equal(outcome(30, 25, 35, 20, 45), KB_ACCEPT);
    assert_int_equal(outcome(30, 15, 35, 20, 45), KB_UNDECIDED);
    assert_int_equal(outcome(30, 15, 50, 20, 45), KB_UNDECIDED);
    assert_int_equal(outcome(50, 46, 54, 20, 45), KB_REJECT);
    assert_int_equal(outcome(15, 12, 19, 20, 45), KB_REJECT);
}

static void a_wider_interval_never_decides_more(void **state) {
    (void)state;
    for (int value = 0; value <= 100; value += 5) {
        enum kb_outcome last = KB_OUTCOME_NONE;
        for (int half = 0; half <= 60; half += 3) {
            enum kb_outcome now = outcome(value, value - half, value + half, 40, 60);
            assert_false(last == KB_UNDECIDED && now != KB_UNDECIDED);
            assert_false(last == KB_ACCEPT && now == KB_REJECT);
            last = now;
        }
    }
}

static void undecided_says_how_many_fields_would_decide(void **state) {
    (void)state;
    struct kb_specimen specimen = specimen_with(88, 82, 94);
    struct kb_limit_result result = judge(&specimen, KB_Q_NODULARITY, 85, open);
    size_t all = 5 + result.fields_to_decide;
    double s = result.value.s;
    assert_int_equal(result.outcome, KB_UNDECIDED);
    assert_true(result.fields_to_decide > 0);
    assert_true(kb_student_95(all) * s / sqrt((double)all) <= 3.0); /* 88 is 3 away from 85 */
    assert_true(kb_student_95(all - 1) * s / sqrt((double)(all - 1)) > 3.0);
}

static void the_limit_that_is_passed_counts_the_fields(void **state) {
    (void)state;
    /* 48 is 3 above a range of 20..45, and 28 from its other end, which does not matter */
    struct kb_specimen over = specimen_with(48, 42, 54);
    struct kb_specimen under = specimen_with(17, 11, 23);
    struct kb_specimen within = specimen_with(23, 17, 29);
    size_t wanted = kb_fields_for(over.nodularity_percent[0].s, 3.0) - 5;
    assert_int_equal(judge(&over, KB_Q_NODULARITY, 20, 45).fields_to_decide, wanted);
    assert_int_equal(judge(&under, KB_Q_NODULARITY, 20, 45).fields_to_decide, wanted);
    assert_int_equal(judge(&within, KB_Q_NODULARITY, 20, 45).fields_to_decide, wanted);
}

static void a_figure_on_the_limit_cannot_be_decided_by_fields(void **state) {
    (void)state;
    struct kb_specimen specimen = specimen_with(85, 82, 88);
    assert_int_equal(judge(&specimen, KB_Q_NODULARITY, 85, open).fields_to_decide, 0);
}

static void what_was_not_measured_is_undecided_with_the_reason(void **state) {
    (void)state;
    struct kb_specimen specimen = {.material = KB_DUCTILE_IRON};
    specimen.nodules_per_mm2 = kb_estimate_missing("1/mm2", "pixel size unknown");
    struct kb_limit_result result = judge(&specimen, KB_Q_NODULES_PER_MM2, 100, open);
    assert_int_equal(result.outcome, KB_UNDECIDED);
    assert_non_null(strstr(result.reason, "pixel size unknown"));
    result = judge(&specimen, KB_Q_CARBON, 3, 4); /* no carbon given at all */
    assert_int_equal(result.outcome, KB_UNDECIDED);
}

static void one_field_is_undecided_however_good(void **state) {
    (void)state;
    struct kb_specimen specimen = {.material = KB_DUCTILE_IRON};
    specimen.nodularity_percent[0] = kb_estimate_point(99.0, 1, "%", "made");
    struct kb_limit_result result = judge(&specimen, KB_Q_NODULARITY, 80, open);
    assert_int_equal(result.outcome, KB_UNDECIDED);
    assert_int_equal(result.fields_to_decide, 0);
    assert_non_null(strstr(result.reason, "one field"));
}

static void the_largest_particle_is_judged_for_the_fields_seen(void **state) {
    (void)state;
    struct kb_specimen specimen = {.material = KB_DUCTILE_IRON};
    specimen.largest_feret_um = kb_estimate_point(55.0, 4, "um", "made");
    assert_int_equal(judge(&specimen, KB_Q_LARGEST_FERET_UM, open, 60).outcome, KB_ACCEPT);
    assert_int_equal(judge(&specimen, KB_Q_LARGEST_FERET_UM, open, 50).outcome, KB_REJECT);
    assert_int_equal(judge(&specimen, KB_Q_LARGEST_FERET_UM, 60, open).outcome, KB_UNDECIDED);
    specimen.largest_feret_um = kb_estimate_point(55.0, 1, "um", "made");
    assert_int_equal(judge(&specimen, KB_Q_LARGEST_FERET_UM, open, 60).outcome, KB_UNDECIDED);
    assert_int_equal(judge(&specimen, KB_Q_LARGEST_FERET_UM, open, 50).outcome, KB_REJECT);
}

static void the_worst_outcome_is_the_verdict(void **state) {
    (void)state;
    struct kb_specimen specimen = specimen_with(88, 84, 92);
    const struct kb_limit accept = {KB_Q_NODULARITY, 80, open};
    const struct kb_limit undecided = {KB_Q_NODULARITY, 85, open};
    const struct kb_limit reject = {KB_Q_NODULARITY, 95, open};
    const struct kb_limit sets[4][3] = {{accept, accept, accept},
                                        {accept, undecided, accept},
                                        {undecided, accept, reject},
                                        {reject, accept, undecided}};
    const enum kb_outcome verdicts[4] = {KB_ACCEPT, KB_UNDECIDED, KB_REJECT, KB_REJECT};
    for (int i = 0; i < 4; i++) {
        struct kb_judgement judgement;
        assert_int_equal(kb_judge(&specimen, NULL, sets[i], 3, KB_RULE_GUARDED, &judgement, NULL),
                         KB_OK);
        assert_int_equal(judgement.verdict, verdicts[i]);
        assert_int_equal(judgement.count, 3);
        assert_non_null(strstr(judgement.rule, "JCGM 106"));
        kb_judgement_release(&judgement);
    }
}

static void no_limits_give_no_verdict(void **state) {
    (void)state;
    struct kb_specimen specimen = specimen_with(88, 84, 92);
    struct kb_judgement judgement;
    assert_int_equal(kb_judge(&specimen, NULL, NULL, 0, KB_RULE_GUARDED, &judgement, NULL), KB_OK);
    assert_int_equal(judgement.verdict, KB_OUTCOME_NONE);
    assert_string_equal(kb_outcome_name(judgement.verdict), "none");
    kb_judgement_release(&judgement);
}

static void fractions_are_shown_in_per_cent(void **state) {
    (void)state;
    struct kb_specimen specimen = {.material = KB_CARBON_STEEL};
    const double value[] = {0.40, 0.44, 0.42};
    specimen.pearlite_of_matrix = kb_estimate_mean(value, 3, "1", 0.0, 1.0);
    struct kb_estimate shown = kb_quantity_value(KB_Q_PEARLITE_OF_MATRIX, &specimen, NULL);
    assert_true(fabs(shown.value - 42.0) < 1e-12);
    assert_true(fabs(shown.s - 2.0) < 1e-12);
    assert_true(fabs(shown.lo - 100.0 * specimen.pearlite_of_matrix.lo) < 1e-12);
    assert_string_equal(shown.unit, "%");
}

static void each_quantity_takes_its_own_figure(void **state) {
    (void)state;
    struct kb_specimen specimen = {.material = KB_DUCTILE_IRON};
    struct kb_carbon carbon = {.total_percent = kb_estimate_point(3.6, 3, "%", "made")};
    for (int phase = 0; phase < KB_PHASES; phase++) {
        specimen.phase[phase] = kb_estimate_point(0.01 * phase, 3, "1", "made");
    }
    for (int form = 0; form < KB_FORMS; form++) {
        specimen.form_area_percent[form] = kb_estimate_point(10.0 * form, 3, "%", "made");
    }
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        specimen.nodularity_percent[method] = kb_estimate_point(70.0 + method, 3, "%", "made");
    }
    const struct {
        enum kb_quantity quantity;
        double value;
    } wanted[] = {{KB_Q_NODULARITY, 70},
                  {KB_Q_NODULARITY_E2567, 71},
                  {KB_Q_NODULARITY_ISO16112, 72},
                  {KB_Q_GRAPHITE, KB_GRAPHITE},
                  {KB_Q_FERRITE, KB_FERRITE},
                  {KB_Q_PEARLITE, KB_PEARLITE},
                  {KB_Q_CEMENTITE, KB_CEMENTITE},
                  {KB_Q_FORM_I, 10},
                  {KB_Q_FORM_IV, 40},
                  {KB_Q_FORM_VI, 60},
                  {KB_Q_CARBON, 3.6}};
    for (size_t i = 0; i < sizeof wanted / sizeof wanted[0]; i++) {
        struct kb_estimate found = kb_quantity_value(wanted[i].quantity, &specimen, &carbon);
        assert_true(fabs(found.value - wanted[i].value) < 1e-12);
    }
}

static void memory_that_runs_out_leaves_nothing_behind(void **state) {
    (void)state;
    struct kb_specimen specimen = specimen_with(88, 84, 92);
    const struct kb_limit limit = {KB_Q_NODULARITY, 80, open};
    struct kb_judgement judgement;
    fail_alloc_at(1);
    assert_int_equal(kb_judge(&specimen, NULL, &limit, 1, KB_RULE_GUARDED, &judgement, NULL),
                     KB_E_MEMORY);
    assert_null(judgement.limit);
    assert_int_equal(judgement.count, 0);
    assert_int_equal(fail_alloc_open_blocks(), 0);
    fail_alloc_at(0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_whole_interval_decides),
        cmocka_unit_test(a_wider_interval_never_decides_more),
        cmocka_unit_test(undecided_says_how_many_fields_would_decide),
        cmocka_unit_test(the_limit_that_is_passed_counts_the_fields),
        cmocka_unit_test(a_figure_on_the_limit_cannot_be_decided_by_fields),
        cmocka_unit_test(what_was_not_measured_is_undecided_with_the_reason),
        cmocka_unit_test(one_field_is_undecided_however_good),
        cmocka_unit_test(the_largest_particle_is_judged_for_the_fields_seen),
        cmocka_unit_test(the_worst_outcome_is_the_verdict),
        cmocka_unit_test(no_limits_give_no_verdict),
        cmocka_unit_test(fractions_are_shown_in_per_cent),
        cmocka_unit_test(each_quantity_takes_its_own_figure),
        cmocka_unit_test(memory_that_runs_out_leaves_nothing_behind),
    };
    return cmocka_run_group_tests_name("judge", tests, NULL, NULL);
}
