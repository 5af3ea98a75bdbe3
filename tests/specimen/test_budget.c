/* test_budget.c - how parts of an uncertainty come together. Truth: the end-gauge example of the
 * GUM, arithmetic by hand, and laws that any budget keeps. */
#include "kb_cmocka.h"
#include "keelblock/specimen.h"

#include "made_fields.h"
#include "seeded.h"

#include <math.h>
#include <string.h>

static const double infinite = (double)INFINITY;

static struct kb_specimen specimen_of(const struct kb_field_figures *field, size_t n) {
    struct kb_specimen_params params = kb_specimen_params_default();
    struct kb_specimen specimen;
    assert_int_equal(kb_specimen_run(field, n, KB_DUCTILE_IRON, &params, &specimen, NULL), KB_OK);
    return specimen;
}

/* Three fields that differ, `shift` of the fractions added. */
static struct kb_specimen sample(double shift) {
    struct kb_field_figures field[] = {
        made_field(0.10 + shift, 0.36 + shift, 80, 100),
        made_field(0.11 + shift, 0.40 + shift, 90, 100),
        made_field(0.12 + shift, 0.41 + shift, 85, 110),
    };
    field[0].feret_sum_um *= 1.1; /* lengths differ between the fields too */
    return specimen_of(field, 3);
}

static const struct kb_budget *budget_of(const struct kb_specimen *specimen, const char *name) {
    for (size_t i = 0; i < specimen->budgets; i++) {
        if (strcmp(specimen->budget[i].quantity, name) == 0) {
            return &specimen->budget[i];
        }
    }
    fail_msg("no budget of %s", name);
    return NULL;
}

static void combine(struct kb_specimen *specimen, double scale_u) {
    const struct kb_beyond_fields beyond = {.scale_u = scale_u};
    assert_int_equal(kb_specimen_combine(specimen, &beyond, NULL), KB_OK);
}

/* ---- parts ---- */

/* JCGM 100:2008, H.1 (from memory, unverified): end gauge, in nm. 25 (18 degrees of freedom),
 * 9.7 (25.6), 2.9 (50), 16.6 (2). By hand: 625 + 94.09 + 8.41 + 275.56 = 1003.06, root 31.67, given
 * as 32. Freedom: 1003.06^2 / (25^4/18 + 9.7^4/25.6 + 2.9^4/50 + 16.6^4/2) = 1006129 / (21701.4 +
 * 345.8 + 1.4 + 37966.7) = 1006129 / 60015.3 = 16.76; given as 16.7, with 1002 as the sum. */
static void the_end_gauge_of_the_gum_comes_out_as_printed(void **state) {
    (void)state;
    const double u[] = {25.0, 9.7, 2.9, 16.6};
    const double freedom[] = {18.0, 25.6, 50.0, 2.0};
    double effective = 0.0;
    assert_near(kb_u_combine(u, freedom, 4, &effective), 32.0, 0.5);
    assert_near(kb_u_combine(u, freedom, 4, &effective), 31.671, 0.001);
    assert_near(effective, 16.7, 0.1);
}

static void a_single_part_is_itself(void **state) {
    (void)state;
    const double u[] = {0.3};
    const double freedom[] = {4.0};
    double effective = 0.0;
    assert_near(kb_u_combine(u, freedom, 1, &effective), 0.3, 1e-15);
    assert_near(effective, 4.0, 1e-12);
}

static void stated_parts_alone_have_no_limit_of_freedom(void **state) {
    (void)state;
    const double u[] = {3.0, 4.0};
    const double freedom[] = {infinite, infinite};
    double effective = 0.0;
    assert_near(kb_u_combine(u, freedom, 2, &effective), 5.0, 1e-15);
    assert_true(isinf(effective));
    const double none[] = {0.0, 0.0};
    assert_near(kb_u_combine(none, freedom, 2, &effective), 0.0, 0.0);
    assert_true(isinf(effective));
}

/* 3 with 2 degrees of freedom and 4 without limit: u 5, freedom 5^4 / (3^4 / 2) = 15.432; the same
 * in a unit in which no double holds the fourth powers. */
static void observed_and_stated_parts_share_their_freedom(void **state) {
    (void)state;
    const double u[] = {3e-100, 4e-100};
    const double freedom[] = {2.0, infinite};
    double effective = 0.0;
    assert_near(kb_u_combine(u, freedom, 2, &effective) * 1e100, 5.0, 1e-12);
    assert_near(effective, 15.432, 0.001);
}

/* ---- the pixel size ---- */

/* A relative scale error of e changes counts per area by 2 e, lengths by e, area fractions and
 * nodularity not at all (geometry). e = 0.01. */
static void a_scale_error_goes_once_into_lengths_and_twice_into_counts(void **state) {
    (void)state;
    struct kb_specimen specimen = sample(0.0);
    combine(&specimen, 0.01);
    const struct kb_budget *count = budget_of(&specimen, "nodules_per_mm2");
    const struct kb_budget *length = budget_of(&specimen, "mean_feret_um");
    assert_near(count->line[KB_U_SCALE].u / count->value.value, 0.02, 1e-12);
    assert_near(length->line[KB_U_SCALE].u / length->value.value, 0.01, 1e-12);
    static const char *const no_length[] = {"graphite", "pearlite_of_matrix", "nodularity",
                                            "nodularity_by_count"};
    for (size_t i = 0; i < sizeof no_length / sizeof no_length[0]; i++) {
        const struct kb_budget *budget = budget_of(&specimen, no_length[i]);
        assert_true(budget->line[KB_U_SCALE].stated);
        assert_near(budget->line[KB_U_SCALE].u, 0.0, 0.0);
        assert_near(budget->u, budget->line[KB_U_FIELDS].u, 1e-15);
    }
    assert_non_null(strstr(specimen.nodules_per_mm2.method, "pixel size"));
    kb_specimen_release(&specimen);
}

/* The whole sum by hand for the mean Feret diameter: its own interval, each side over t(2) = 4.303,
 * with 20 % of the value. */
static void the_interval_of_a_length_is_the_sum_by_hand(void **state) {
    (void)state;
    struct kb_specimen specimen = sample(0.0);
    const struct kb_estimate before = specimen.mean_feret_um;
    combine(&specimen, 0.20);
    const struct kb_estimate *after = &specimen.mean_feret_um;
    const double stated = 0.20 * before.value;
    const double up = (before.hi - before.value) / 4.302653;
    const double freedom = floor(2.0 * pow(1.0 + pow(stated / up, 2.0), 2.0));
    const double wanted = before.value + kb_student_factor(freedom) * hypot(up, stated);
    assert_true(wanted > before.hi);
    assert_near(after->hi, wanted, 1e-5 * wanted);
    assert_near(after->u_other, stated, 1e-12);
    assert_near(after->value, before.value, 0.0);
    kb_specimen_release(&specimen);
}

/* ---- thresholds ---- */

/* Graphite 0.01 higher and lower at +-4 levels: 0.0025 a level, u = 0.01 / sqrt(3) = 0.0057735. */
static void thresholds_count_as_rectangular_over_the_step(void **state) {
    (void)state;
    struct kb_specimen specimen = sample(0.0);
    struct kb_specimen lower = sample(-0.01);
    struct kb_specimen higher = sample(0.01);
    const struct kb_estimate before = specimen.phase[KB_GRAPHITE];
    const struct kb_beyond_fields beyond = {0.0, 4.0, &lower, &higher};
    assert_int_equal(kb_specimen_combine(&specimen, &beyond, NULL), KB_OK);
    const struct kb_budget *graphite = budget_of(&specimen, "graphite");
    assert_near(graphite->per_level, 0.0025, 1e-12);
    assert_near(graphite->line[KB_U_THRESHOLD].u, 0.0057735, 1e-7);
    assert_true(isinf(graphite->line[KB_U_THRESHOLD].freedom));
    /* fields: s = 0.01, 0.01 / sqrt(3) as well: half and half */
    assert_near(graphite->line[KB_U_FIELDS].u, 0.0057735, 1e-7);
    assert_near(graphite->line[KB_U_FIELDS].share, 0.5, 1e-9);
    assert_near(graphite->line[KB_U_THRESHOLD].share, 0.5, 1e-9);
    assert_near(graphite->u, 0.01 * sqrt(2.0 / 3.0), 1e-9);
    /* 2 * (1 + 1)^2 = 8 degrees of freedom, t = 2.306: 0.01883, less than the fields' own 4.303 *
     * 0.0057735 = 0.02484, which stands */
    assert_near(graphite->freedom, 8.0, 1e-9);
    assert_near(graphite->expanded, 0.024841, 1e-5);
    assert_near(specimen.phase[KB_GRAPHITE].hi, before.hi, 1e-12);
    kb_specimen_release(&lower);
    kb_specimen_release(&higher);
    kb_specimen_release(&specimen);
}

static void moved_thresholds_that_failed_are_said_to_be_unknown(void **state) {
    (void)state;
    struct kb_specimen specimen = sample(0.0);
    const struct kb_estimate before = specimen.phase[KB_GRAPHITE];
    const struct kb_beyond_fields beyond = {.threshold_step = 3.0};
    assert_int_equal(kb_specimen_combine(&specimen, &beyond, NULL), KB_OK);
    const struct kb_budget *graphite = budget_of(&specimen, "graphite");
    assert_false(graphite->line[KB_U_THRESHOLD].stated);
    assert_non_null(graphite->line[KB_U_THRESHOLD].why);
    assert_true(isnan(graphite->per_level));
    assert_memory_equal(&specimen.phase[KB_GRAPHITE], &before, sizeof before);
    kb_specimen_release(&specimen);
}

/* ---- laws ---- */

static void with_nothing_stated_no_figure_changes(void **state) {
    (void)state;
    struct kb_specimen specimen = sample(0.0);
    struct kb_specimen same = specimen;
    combine(&specimen, 0.0);
    assert_memory_equal(&specimen.phase, &same.phase, sizeof same.phase);
    assert_memory_equal(&specimen.nodules_per_mm2, &same.nodules_per_mm2,
                        sizeof same.nodules_per_mm2);
    assert_memory_equal(&specimen.spacing, &same.spacing, sizeof same.spacing);
    assert_true(specimen.budgets >= 8);
    for (size_t i = 0; i < specimen.budgets; i++) {
        const struct kb_budget *budget = &specimen.budget[i];
        assert_string_equal(budget->line[KB_U_SCALE].why, "not stated");
        assert_string_equal(budget->line[KB_U_THRESHOLD].why, "not stated");
        assert_near(budget->freedom, 2.0, 1e-9);
    }
    kb_specimen_release(&specimen);
}

static void more_uncertainty_never_makes_an_interval_narrower(void **state) {
    (void)state;
    double width = 0.0;
    for (int step = 0; step <= 200; step++) {
        struct kb_specimen specimen = sample(0.0);
        const struct kb_estimate before = specimen.nodules_per_mm2;
        combine(&specimen, 0.0005 * step);
        const struct kb_estimate *after = &specimen.nodules_per_mm2;
        assert_true(after->lo <= before.lo && after->hi >= before.hi && after->lo >= 0.0);
        width = fmax(width, after->hi - after->lo);
        const struct kb_budget *budget = budget_of(&specimen, "nodules_per_mm2");
        double shares = budget->line[KB_U_FIELDS].share;
        shares += budget->line[KB_U_SCALE].stated ? budget->line[KB_U_SCALE].share : 0.0;
        assert_near(shares, 1.0, 1e-12);
        assert_near(budget->factor * budget->u, budget->expanded, 1e-9);
        kb_specimen_release(&specimen);
    }
    struct kb_specimen alone = sample(0.0);
    assert_true(width > 1.05 * (alone.nodules_per_mm2.hi - alone.nodules_per_mm2.lo));
    kb_specimen_release(&alone);
}

/* Share of intervals that hold the true count of 100, when fields differ by 10 % and the pixel size
 * is wrong by a chance of `scale_u`, of which `stated` is told. */
static double coverage(size_t n, double scale_u, double stated) {
    enum { TRIALS = 4000 };
    struct random chance = {20260};
    int held = 0;
    for (int trial = 0; trial < TRIALS; trial++) {
        double nodules[8];
        double area[8];
        const double wrong = 1.0 + scale_u * random_normal(&chance);
        for (size_t i = 0; i < n; i++) {
            area[i] = 0.5 * wrong * wrong;
            nodules[i] = 0.5 * (100.0 + 10.0 * random_normal(&chance));
        }
        struct kb_specimen specimen = {.fields = n}; /* with one figure */
        specimen.nodules_per_mm2 = kb_estimate_ratio(nodules, area, n, 1.0, "1/mm2", 0.0, infinite);
        combine(&specimen, stated);
        held += specimen.nodules_per_mm2.lo <= 100.0 && specimen.nodules_per_mm2.hi >= 100.0;
    }
    return (double)held / TRIALS;
}

/* Binomial chance of 4000 trials: 0.0034 on 95 %. */
static void combined_intervals_hold_the_truth_as_often_as_they_say(void **state) {
    (void)state;
    for (size_t n = 3; n <= 8; n += n == 3 ? 2 : 3) {
        for (int step = 1; step <= 3; step++) {
            const double scale_u = 0.02 * step;
            double found = coverage(n, scale_u, scale_u);
            if (!(found > 0.93 && found < 0.97)) {
                fail_msg("%zu fields, scale %g: %g of the intervals hold", n, scale_u, found);
            }
        }
        /* and untold it is missed */
        assert_true(coverage(n, 0.06, 0.0) < coverage(n, 0.06, 0.06));
    }
    assert_true(coverage(8, 0.06, 0.0) < 0.85);
}

static void an_interval_stays_within_what_the_figure_can_be(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {made_field(0.01, 0.50, 99, 100),
                                             made_field(0.03, 0.55, 100, 100)};
    const struct kb_field_figures moved[] = {made_field(0.20, 0.10, 10, 100),
                                             made_field(0.22, 0.12, 12, 100)};
    struct kb_specimen specimen = specimen_of(field, 2);
    struct kb_specimen lower = specimen_of(field, 2);
    struct kb_specimen higher = specimen_of(moved, 2);
    const struct kb_beyond_fields beyond = {0.9, 1.0, &lower, &higher};
    assert_int_equal(kb_specimen_combine(&specimen, &beyond, NULL), KB_OK);
    assert_true(specimen.phase[KB_GRAPHITE].lo >= 0.0);
    assert_true(specimen.phase[KB_GRAPHITE].hi <= 1.0);
    assert_true(specimen.nodularity_percent[KB_NOD_ISO945_4].hi <= 100.0);
    assert_true(specimen.nodules_per_mm2.lo >= 0.0);
    kb_specimen_release(&lower);
    kb_specimen_release(&higher);
    kb_specimen_release(&specimen);
}

static void one_field_has_parts_but_no_sum(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {made_field(0.10, 0.36, 80, 100)};
    struct kb_specimen specimen = specimen_of(field, 1);
    combine(&specimen, 0.01);
    const struct kb_budget *count = budget_of(&specimen, "nodules_per_mm2");
    assert_false(count->line[KB_U_FIELDS].stated);
    assert_true(count->line[KB_U_SCALE].stated);
    assert_true(isnan(count->u) && isnan(count->expanded));
    assert_false(specimen.nodules_per_mm2.has_interval);
    kb_specimen_release(&specimen);
}

static void numbers_that_are_none_are_refused(void **state) {
    (void)state;
    const double bad[] = {(double)NAN, -0.01, infinite};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct kb_specimen specimen = sample(0.0);
        struct kb_err err = {.code = KB_OK};
        const struct kb_beyond_fields scale = {.scale_u = bad[i]};
        const struct kb_beyond_fields step = {.threshold_step = bad[i]};
        assert_int_equal(kb_specimen_combine(&specimen, &scale, &err), KB_E_USAGE);
        assert_int_equal(kb_specimen_combine(&specimen, &step, &err), KB_E_USAGE);
        struct kb_specimen_params params = kb_specimen_params_default();
        params.threshold_step = bad[i];
        assert_int_equal(kb_specimen_params_check(&params, &err), KB_E_USAGE);
        kb_specimen_release(&specimen);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_end_gauge_of_the_gum_comes_out_as_printed),
        cmocka_unit_test(a_single_part_is_itself),
        cmocka_unit_test(stated_parts_alone_have_no_limit_of_freedom),
        cmocka_unit_test(observed_and_stated_parts_share_their_freedom),
        cmocka_unit_test(a_scale_error_goes_once_into_lengths_and_twice_into_counts),
        cmocka_unit_test(the_interval_of_a_length_is_the_sum_by_hand),
        cmocka_unit_test(thresholds_count_as_rectangular_over_the_step),
        cmocka_unit_test(moved_thresholds_that_failed_are_said_to_be_unknown),
        cmocka_unit_test(with_nothing_stated_no_figure_changes),
        cmocka_unit_test(more_uncertainty_never_makes_an_interval_narrower),
        cmocka_unit_test(combined_intervals_hold_the_truth_as_often_as_they_say),
        cmocka_unit_test(an_interval_stays_within_what_the_figure_can_be),
        cmocka_unit_test(one_field_has_parts_but_no_sum),
        cmocka_unit_test(numbers_that_are_none_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
