/* test_prove.c - the judging of a proof on made-up figures: what is biased, scattered or wrong
 * about its intervals must fail, whatever the measurement does today. */
#include "kb_cmocka.h"
#include "prove.h"

#include <string.h>

/* One specimen of four fields, measured a share `bias` off its truth in every field. */
static struct kb_prove_task made_up(enum kb_proof_kind kind, size_t variants) {
    struct kb_prove_task task = {
        .kind = kind,
        .group = "made up",
        .subject = "four fields",
        .figures = KB_PROVE_BIT(KB_PROVE_PEARLITE) | KB_PROVE_BIT(KB_PROVE_COUNT),
        .fields = 4,
        .variants = variants,
    };
    return task;
}

static void fill(struct kb_prove_field *field, double truth, double found) {
    field->measured = true;
    for (int f = 0; f < KB_PROVE_FIGURES; f++) {
        field->truth[f] = (struct kb_prove_pair){truth, 1.0};
        field->found[f] = (struct kb_prove_pair){found, 1.0};
    }
}

static const struct kb_proof_row *row_of(const struct kb_proof *proof, const char *quantity) {
    for (size_t i = 0; i < proof->rows; i++) {
        if (strcmp(proof->row[i].quantity, quantity) == 0) {
            return &proof->row[i];
        }
    }
    fail_msg("no row of %s", quantity);
    return NULL;
}

static struct kb_proof prove_bias(double off, bool refuse_one) {
    const struct kb_prove_task task = made_up(KB_PROOF_BIAS, 1);
    struct kb_prove_field field[4] = {{0}};
    struct kb_prove_outcome outcome = {.field = field};
    struct kb_proof proof = {.rows = 0};
    for (size_t i = 0; i < 4; i++) {
        double truth = 0.2 + 0.1 * (double)i;
        fill(&field[i], truth, truth + off);
    }
    if (refuse_one) {
        field[2].measured = false;
        outcome.refused = 1;
        (void)snprintf(outcome.why, sizeof outcome.why, "out of focus");
    }
    assert_int_equal(kb_prove_rows(&task, &outcome, 1, &proof, NULL), KB_OK);
    return proof;
}

static void a_bias_beyond_the_limit_fails_and_one_within_passes(void **state) {
    (void)state;
    const struct {
        double off;
        bool passes;
    } cases[] = {{0.0, true}, {0.0099, true}, {0.0101, false}, {-0.0101, false}, {0.2, false}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct kb_proof proof = prove_bias(cases[i].off, false);
        const struct kb_proof_row *row = row_of(&proof, "pearlite, of the field");
        assert_near(row->figure, 100.0 * cases[i].off, 1e-9);
        assert_near(row->truth, 35.0, 1e-9);
        assert_near(row->error, 0.0, 1e-6); /* the same in every field */
        assert_int_equal(row->passed, cases[i].passes);
        kb_proof_release(&proof);
    }
}

static void a_count_is_judged_relative_to_its_truth(void **state) {
    (void)state;
    struct kb_proof proof = prove_bias(0.0140, false); /* of 0.35: 4 % */
    const struct kb_proof_row *row = row_of(&proof, "nodule count");
    assert_near(row->figure, 4.0, 1e-9);
    assert_false(row->passed);
    assert_int_equal(kb_proof_failed(&proof), 2); /* 1.4 points of pearlite fail too */
    kb_proof_release(&proof);
}

static void a_refused_field_fails_its_rows_however_good_the_others_are(void **state) {
    (void)state;
    struct kb_proof proof = prove_bias(0.0, true);
    for (size_t i = 0; i < proof.rows; i++) {
        assert_false(proof.row[i].passed);
        assert_int_equal(proof.row[i].refused, 1);
        assert_string_equal(proof.row[i].why, "out of focus");
    }
    kb_proof_release(&proof);
}

static void a_row_without_figure_never_passes(void **state) {
    (void)state;
    struct kb_proof_row row = {.kind = KB_PROOF_BIAS, .figure = (double)NAN, .low = -1, .high = 1};
    row.passed = true;
    kb_prove_judge(&row);
    assert_false(row.passed);
}

/* Exposures 0.30 and 0.31 of one section: s = 0.01 / sqrt(2) = 0.707 points, r = 2.8 s = 1.98. */
static void scatter_between_exposures_is_found_and_fails(void **state) {
    (void)state;
    const struct kb_prove_task task = made_up(KB_PROOF_REPEATABILITY, 2);
    struct kb_prove_field field[8] = {{0}};
    struct kb_prove_outcome outcome = {.field = field};
    struct kb_proof proof = {.rows = 0};
    for (size_t i = 0; i < 8; i++) {
        fill(&field[i], 0.3, i < 4 ? 0.30 : 0.31);
    }
    assert_int_equal(kb_prove_rows(&task, &outcome, 1, &proof, NULL), KB_OK);
    const struct kb_proof_row *row = row_of(&proof, "pearlite, of the field");
    assert_near(row->figure, 2.8 * 1.0 / sqrt(2.0), 1e-9);
    assert_false(row->passed);
    kb_proof_release(&proof);
}

static void a_change_under_turning_is_found_and_fails(void **state) {
    (void)state;
    const struct kb_prove_task task = made_up(KB_PROOF_TURNING, 3);
    struct kb_prove_field field[12] = {{0}};
    struct kb_prove_outcome outcome = {.field = field};
    struct kb_proof proof = {.rows = 0};
    for (size_t i = 0; i < 12; i++) {
        fill(&field[i], 0.3, i < 8 ? 0.300 : 0.297);
    }
    assert_int_equal(kb_prove_rows(&task, &outcome, 1, &proof, NULL), KB_OK);
    const struct kb_proof_row *row = row_of(&proof, "pearlite, of the field");
    assert_near(row->figure, 0.3, 1e-9);
    assert_false(row->passed); /* 0.2 points are allowed */
    kb_proof_release(&proof);
}

/* Specimens whose intervals are half as wide as they should be: `hits` of them hold the truth. */
static struct kb_proof prove_coverage(size_t hits) {
    enum { SPECIMENS = 200, FIELDS = 3 };
    static struct kb_prove_task task[SPECIMENS];
    static struct kb_prove_outcome outcome[SPECIMENS];
    static struct kb_prove_field field[SPECIMENS][FIELDS];
    struct kb_proof proof = {.rows = 0};
    for (size_t s = 0; s < SPECIMENS; s++) {
        task[s] = made_up(KB_PROOF_COVERAGE, 1);
        task[s].fields = FIELDS;
        task[s].figures = KB_PROVE_BIT(KB_PROVE_PEARLITE);
        outcome[s] = (struct kb_prove_outcome){.field = field[s]};
        for (size_t i = 0; i < FIELDS; i++) {
            fill(&field[s][i], 0.3, 0.3);
        }
        struct kb_estimate *interval = &outcome[s].interval[0][KB_PROVE_PEARLITE];
        *interval = kb_estimate_point(30.0, FIELDS, "%", "");
        interval->has_interval = true;
        interval->lo = s < hits ? 29.0 : 30.5;
        interval->hi = 31.0;
    }
    assert_int_equal(kb_prove_rows(task, outcome, SPECIMENS, &proof, NULL), KB_OK);
    return proof;
}

static void intervals_that_are_too_narrow_or_too_wide_fail(void **state) {
    (void)state;
    const struct {
        size_t hits;
        bool passes;
    } cases[] = {{150, false}, {170, false}, {188, true}, {194, true}, {200, false}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct kb_proof proof = prove_coverage(cases[i].hits);
        assert_int_equal(proof.rows, 1); /* three fields: no row for five and eight */
        assert_int_equal(proof.row[0].hits, cases[i].hits);
        assert_int_equal(proof.row[0].trials, 200);
        assert_int_equal(proof.row[0].passed, cases[i].passes);
        kb_proof_release(&proof);
    }
}

/* Binomial tails in closed form: P(all n hit | p) = p^n; P(none of n misses) likewise. */
static void the_binomial_error_is_the_exact_one(void **state) {
    (void)state;
    /* 0.97^n falls below 0.025 between n = 121 (0.0251) and 122 (0.0243) */
    assert_true(kb_prove_covers(121, 121, 0.93, 0.97));
    assert_false(kb_prove_covers(122, 122, 0.93, 0.97));
    assert_false(kb_prove_covers(0, 10, 0.93, 0.97));
    assert_false(kb_prove_covers(0, 0, 0.93, 0.97));
    assert_false(kb_prove_covers(11, 10, 0.93, 0.97));
}

static void limits_are_the_same_however_often_they_are_asked(void **state) {
    (void)state;
    const struct kb_prove_limit fine = kb_prove_limit_of(KB_PROOF_BIAS, KB_PROVE_SHAPE, 8.0);
    const struct kb_prove_limit coarse = kb_prove_limit_of(KB_PROOF_BIAS, KB_PROVE_SHAPE, 5.0);
    assert_near(fine.high, 0.01, 1e-12);
    assert_near(coarse.high, 0.05, 1e-12);
    assert_near(kb_prove_limit_of(KB_PROOF_TURNING, KB_PROVE_COUNT, 0.0).high, 0.6, 1e-12);
    assert_near(kb_prove_limit_of(KB_PROOF_COVERAGE, KB_PROVE_COUNT, 0.0).low, 93.0, 1e-12);
}

static void the_design_spans_what_it_says(void **state) {
    (void)state;
    for (int quick = 0; quick < 2; quick++) {
        struct kb_prove_plan plan;
        double least = 1.0, most = 0.0, smallest = 100.0, largest = 0.0;
        assert_int_equal(kb_prove_design(quick == 1, &plan, NULL), KB_OK);
        for (size_t i = 0; i < plan.count; i++) {
            const struct kb_prove_task *task = &plan.task[i];
            assert_int_equal(kb_render_params_check(&task->params, NULL), KB_OK);
            assert_true(task->fields > 0 && task->fields < 1000 && task->variants > 0);
            if (strcmp(task->group, "Pearlite in steel") == 0) {
                least = fmin(least, task->params.pearlite_of_matrix);
                most = fmax(most, task->params.pearlite_of_matrix);
            }
            if (task->across_px > 0.0) {
                smallest = fmin(smallest, task->across_px);
                largest = fmax(largest, task->across_px);
            }
        }
        assert_near(least, 0.02, 1e-12);
        assert_near(most, 0.98, 1e-12);
        assert_near(smallest, 3.0, 1e-12);
        assert_near(largest, 60.0, 1e-12);
        kb_prove_plan_release(&plan);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_bias_beyond_the_limit_fails_and_one_within_passes),
        cmocka_unit_test(a_count_is_judged_relative_to_its_truth),
        cmocka_unit_test(a_refused_field_fails_its_rows_however_good_the_others_are),
        cmocka_unit_test(a_row_without_figure_never_passes),
        cmocka_unit_test(scatter_between_exposures_is_found_and_fails),
        cmocka_unit_test(a_change_under_turning_is_found_and_fails),
        cmocka_unit_test(intervals_that_are_too_narrow_or_too_wide_fail),
        cmocka_unit_test(the_binomial_error_is_the_exact_one),
        cmocka_unit_test(limits_are_the_same_however_often_they_are_asked),
        cmocka_unit_test(the_design_spans_what_it_says),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
