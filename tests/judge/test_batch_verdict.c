/* test_batch_verdict.c - from specimens to the batch: by every specimen, by their mean, by a share.
 */
#include "kb_cmocka.h"

#include "fail_alloc.h"
#include "keelblock/judge.h"

#include <string.h>

enum { MOST = 24 };

/* Specimens with one figure, nodularity, and one limit on it. */
struct made {
    struct kb_estimate figure[MOST][KB_QUANTITIES];
    struct kb_limit_result limit[MOST];
    struct kb_judgement judgement[MOST];
    struct kb_batch_member member[MOST];
    size_t count;
};

static void add(struct made *made, double value, double s, size_t n, double low) {
    size_t i = made->count++;
    for (int q = 0; q < KB_QUANTITIES; q++) {
        made->figure[i][q] = kb_estimate_missing("%", "not part of the test");
    }
    struct kb_estimate *figure = &made->figure[i][KB_Q_NODULARITY];
    *figure = kb_estimate_point(value, n, "%", "made");
    double half = n > 1 ? kb_student_95(n) * s / sqrt((double)n) : 0.0;
    figure->has_interval = n > 1;
    figure->s = n > 1 ? s : (double)NAN;
    figure->lo = n > 1 ? value - half : (double)NAN;
    figure->hi = n > 1 ? value + half : (double)NAN;
    struct kb_specimen specimen = {.fields = n};
    specimen.nodularity_percent[KB_NOD_ISO945_4] = *figure;
    struct kb_limit limit = {KB_Q_NODULARITY, low, (double)NAN};
    struct kb_judgement judged;
    assert_int_equal(kb_judge(&specimen, NULL, &limit, 1, KB_RULE_GUARDED, &judged, NULL), KB_OK);
    made->limit[i] = judged.limit[0];
    made->judgement[i] = judged;
    made->judgement[i].limit = &made->limit[i];
    kb_judgement_release(&judged);
    made->member[i] = (struct kb_batch_member){"A", true, made->figure[i], &made->judgement[i]};
}

static struct kb_batch_judgement judge(const struct made *made, const char *rule) {
    struct kb_batch_params params = kb_batch_params_default();
    struct kb_batch_judgement judgement;
    assert_int_equal(kb_batch_rule_parse(rule, &params, NULL), KB_OK);
    assert_int_equal(kb_judge_batch(made->member, made->count, &params, &judgement, NULL), KB_OK);
    return judgement;
}

static void one_rejected_specimen_rejects_the_batch_when_every_one_must_pass(void **state) {
    (void)state;
    struct made made = {.count = 0};
    add(&made, 92.0, 1.0, 5, 85.0);
    add(&made, 70.0, 1.0, 5, 85.0);
    add(&made, 86.0, 4.0, 5, 85.0);
    struct kb_batch_judgement judgement = judge(&made, "every");
    assert_int_equal(judgement.verdict, KB_REJECT);
    assert_string_equal(judgement.reason, "1 of 3 specimens is rejected");
    assert_string_equal(judgement.advice, "");
}

static void the_mean_may_pass_where_one_specimen_does_not(void **state) {
    (void)state;
    struct made made = {.count = 0};
    const double value[] = {90.0, 91.0, 92.0, 90.5, 84.0, 91.5};
    for (size_t i = 0; i < 6; i++) {
        add(&made, value[i], 0.5, 5, 85.0);
    }
    assert_int_equal(judge(&made, "every").verdict, KB_REJECT);
    struct kb_batch_judgement judgement = judge(&made, "mean");
    /* mean 89.83, s 2.94: half-width 2.571 * 2.94 / sqrt(6) = 3.08 */
    assert_near(judgement.figure[0].split.mean.value, 89.8333, 1e-3);
    assert_near(judgement.figure[0].split.mean.lo, 86.75, 0.02);
    assert_int_equal(judgement.verdict, KB_ACCEPT);
}

static void one_specimen_says_nothing_about_the_spread_between_them(void **state) {
    (void)state;
    struct made made = {.count = 0};
    add(&made, 95.0, 1.0, 9, 85.0);
    struct kb_batch_judgement judgement = judge(&made, "mean");
    assert_int_equal(judgement.verdict, KB_UNDECIDED);
    assert_false(judgement.figure[0].split.mean.has_interval);
    assert_true(isnan(judgement.figure[0].split.between));
    assert_non_null(strstr(judgement.reason, "one specimen says nothing"));
    assert_non_null(strstr(judgement.advice, "one more"));
    assert_int_equal(judge(&made, "every").verdict, KB_ACCEPT);
}

static void a_share_is_reached_or_out_of_reach_or_open(void **state) {
    (void)state;
    struct made made = {.count = 0};
    for (int i = 0; i < 9; i++) {
        add(&made, 92.0, 1.0, 5, 85.0);
    }
    add(&made, 70.0, 1.0, 5, 85.0);
    assert_int_equal(judge(&made, "share 90 %").verdict, KB_ACCEPT);
    assert_int_equal(judge(&made, "share 91 %").verdict, KB_REJECT);
    assert_int_equal(judge(&made, "share=100%").verdict, KB_REJECT);
    made.count = 9;
    add(&made, 85.5, 2.0, 5, 85.0);
    assert_int_equal(judge(&made, "share 90 %").verdict, KB_ACCEPT);
    assert_int_equal(judge(&made, "share 100 %").verdict, KB_UNDECIDED);
}

static void a_specimen_that_could_not_be_measured_leaves_the_batch_open(void **state) {
    (void)state;
    struct made made = {.count = 0};
    for (int i = 0; i < 3; i++) {
        add(&made, 92.0, 1.0, 5, 85.0);
    }
    made.member[1] = (struct kb_batch_member){"B", false, NULL, NULL};
    static const char *const rule[] = {"every", "mean", "share 90 %"};
    for (size_t i = 0; i < 3; i++) {
        struct kb_batch_judgement judgement = judge(&made, rule[i]);
        assert_int_equal(judgement.verdict, KB_UNDECIDED);
        assert_non_null(strstr(judgement.advice, "photograph again"));
    }
    assert_int_equal(judge(&made, "share 60 %").verdict, KB_ACCEPT);
}

static void advice_is_fields_where_specimens_agree_and_specimens_where_they_differ(void **state) {
    (void)state;
    struct made wide = {.count = 0}, apart = {.count = 0};
    /* three specimens that differ by little, of fields that differ by much */
    add(&wide, 86.5, 5.0, 3, 85.0);
    add(&wide, 87.5, 5.0, 3, 85.0);
    add(&wide, 85.6, 5.0, 3, 85.0);
    struct kb_batch_judgement judgement = judge(&wide, "mean");
    assert_int_equal(judgement.verdict, KB_UNDECIDED);
    assert_true(judgement.figure[0].more_fields > 0);
    assert_non_null(strstr(judgement.advice, "more field"));
    /* and three that differ by much, of fields that hardly differ */
    add(&apart, 85.5, 0.2, 3, 85.0);
    add(&apart, 88.0, 0.2, 3, 85.0);
    add(&apart, 92.0, 0.2, 3, 85.0);
    judgement = judge(&apart, "mean");
    assert_int_equal(judgement.verdict, KB_UNDECIDED);
    assert_int_equal(judgement.figure[0].more_fields, 0);
    assert_true(judgement.figure[0].more_specimens > 0);
    assert_non_null(strstr(judgement.advice, "more specimen"));
}

static void the_plan_for_more_specimens_decides_when_it_is_carried_out(void **state) {
    (void)state;
    struct made made = {.count = 0};
    const double value[] = {85.5, 88.0, 92.0};
    for (size_t i = 0; i < 3; i++) {
        add(&made, value[i], 0.2, 3, 85.0);
    }
    size_t more = judge(&made, "mean").figure[0].more_specimens;
    assert_in_range(more, 1, 9);
    /* specimens that leave mean and spread what they were */
    for (size_t i = 0; i < more; i++) {
        add(&made, value[i % 3], 0.2, 3, 85.0);
    }
    assert_int_equal(judge(&made, "mean").verdict, KB_ACCEPT);
}

static void limits_that_differ_between_specimens_cannot_be_met_by_the_mean(void **state) {
    (void)state;
    struct made made = {.count = 0};
    add(&made, 92.0, 1.0, 5, 85.0);
    add(&made, 92.0, 1.0, 5, 80.0);
    struct kb_batch_judgement judgement = judge(&made, "mean");
    assert_int_equal(judgement.verdict, KB_UNDECIDED);
    assert_non_null(strstr(judgement.reason, "same limits"));
    assert_int_equal(judge(&made, "every").verdict, KB_ACCEPT);
}

static void rules_are_read_strictly(void **state) {
    (void)state;
    static const char *const bad[] = {"",         "all",        "share",       "share 0 %",
                                      "share 90", "share nan%", "share 101 %", "mean "};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct kb_batch_params params = kb_batch_params_default();
        assert_int_equal(kb_batch_rule_parse(bad[i], &params, NULL), KB_E_USAGE);
        assert_int_equal(params.rule, KB_BATCH_EVERY);
    }
    struct kb_batch_params params = kb_batch_params_default();
    struct kb_batch_judgement judgement;
    assert_int_equal(kb_judge_batch(NULL, 0, &params, &judgement, NULL), KB_E_USAGE);
    params.share = (double)NAN;
    struct kb_batch_member member = {"A", false, NULL, NULL};
    assert_int_equal(kb_judge_batch(&member, 1, &params, &judgement, NULL), KB_E_USAGE);
}

static void a_failed_allocation_is_reported(void **state) {
    (void)state;
    struct made made = {.count = 0};
    add(&made, 92.0, 1.0, 5, 85.0);
    struct kb_batch_params params = kb_batch_params_default();
    struct kb_batch_judgement judgement;
    fail_alloc_at(1);
    assert_int_equal(kb_judge_batch(made.member, 1, &params, &judgement, NULL), KB_E_MEMORY);
    fail_alloc_at(0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_rejected_specimen_rejects_the_batch_when_every_one_must_pass),
        cmocka_unit_test(the_mean_may_pass_where_one_specimen_does_not),
        cmocka_unit_test(one_specimen_says_nothing_about_the_spread_between_them),
        cmocka_unit_test(a_share_is_reached_or_out_of_reach_or_open),
        cmocka_unit_test(a_specimen_that_could_not_be_measured_leaves_the_batch_open),
        cmocka_unit_test(advice_is_fields_where_specimens_agree_and_specimens_where_they_differ),
        cmocka_unit_test(the_plan_for_more_specimens_decides_when_it_is_carried_out),
        cmocka_unit_test(limits_that_differ_between_specimens_cannot_be_met_by_the_mean),
        cmocka_unit_test(rules_are_read_strictly),
        cmocka_unit_test(a_failed_allocation_is_reported),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
