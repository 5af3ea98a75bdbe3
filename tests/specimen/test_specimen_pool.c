/* test_specimen_pool.c - from fields to the specimen: which fields speak for what, remarks, and
 * that order and memory change nothing. Truth: arithmetic by hand on made fields. */
#include "fail_alloc.h"
#include "made_fields.h"
#include "seeded.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static void near(double found, double wanted, double tolerance) {
    if (!(fabs(found - wanted) <= tolerance)) {
        fail_msg("found %.17g, wanted %.17g within %g", found, wanted, tolerance);
    }
}

static struct kb_specimen pool(const struct kb_field_figures *field, size_t count,
                               enum kb_material material) {
    struct kb_specimen specimen;
    struct kb_specimen_params params = kb_specimen_params_default();
    assert_int_equal(kb_specimen_run(field, count, material, &params, &specimen, NULL), KB_OK);
    return specimen;
}

static void expect_finding(const struct kb_specimen *specimen, const char *code, bool wanted) {
    if (kb_findings_has(&specimen->findings, code) != wanted) {
        fail_msg("finding '%s' is %s", code, wanted ? "missing" : "there");
    }
}

static void fields_of_one_size_weigh_the_same(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {made_field(0.10, 0.30, 40, 50),
                                             made_field(0.12, 0.40, 45, 50),
                                             made_field(0.11, 0.35, 50, 50)};
    struct kb_specimen specimen = pool(field, 3, KB_DUCTILE_IRON);
    near(specimen.phase[KB_GRAPHITE].value, 0.11, 1e-15);
    near(specimen.phase[KB_PEARLITE].value, 0.35, 1e-15);
    near(specimen.phase[KB_GRAPHITE].s, 0.01, 1e-15);
    near(specimen.pearlite_of_matrix.value, 0.35 / 0.89, 1e-15);
    near(specimen.nodularity_percent[KB_NOD_ISO945_4].value, 90.0, 1e-12);
    near(specimen.nodules_per_mm2.value, 135.0 / 1.5, 1e-12);
    near(specimen.area_mm2, 1.5, 1e-15);
    near(specimen.mean_feret_um.value, 27.0, 1e-12);
    near(specimen.form_area_percent[KB_FORM_VI].value, 90.0, 1e-12);
    assert_int_equal(specimen.fields_graphite, 3);
    assert_int_equal(specimen.fields_matrix, 3);
    assert_int_equal(specimen.particles[KB_COUNTS], 150);
    assert_int_equal(specimen.size_count[6], 150);
    assert_int_equal(specimen.size_class, 6);
    assert_false(specimen.largest_feret_um.has_interval);
    kb_specimen_release(&specimen);
}

static void a_field_twice_the_size_weighs_twice(void **state) {
    (void)state;
    struct kb_field_figures field[] = {made_field(0.10, 0.20, 40, 50),
                                       made_field(0.10, 0.50, 40, 50)};
    field[1].area_mm2 = 1.0;
    struct kb_specimen specimen = pool(field, 2, KB_DUCTILE_IRON);
    near(specimen.phase[KB_PEARLITE].value, (0.20 * 0.5 + 0.50 * 1.0) / 1.5, 1e-15);
    expect_finding(&specimen, "mixed-areas", true);
    kb_specimen_release(&specimen);
}

static void graphite_comes_unetched_and_the_matrix_etched(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {
        made_field(0.16, 0.30, 10, 50), made_unetched(0.11, 45, 50), made_field(0.18, 0.34, 10, 50),
        made_unetched(0.13, 45, 50)};
    struct kb_specimen specimen = pool(field, 4, KB_DUCTILE_IRON);
    near(specimen.phase[KB_GRAPHITE].value, 0.12, 1e-15);
    near(specimen.phase[KB_PEARLITE].value, 0.32, 1e-15);
    near(specimen.nodularity_percent[KB_NOD_E2567].value, 90.0, 1e-12);
    assert_int_equal(specimen.fields, 4);
    assert_int_equal(specimen.fields_graphite, 2);
    assert_int_equal(specimen.fields_matrix, 2);
    assert_int_equal(specimen.particles[KB_COUNTS], 100);
    expect_finding(&specimen, "no-unetched-field", false);
    expect_finding(&specimen, "no-etched-field", false);
    kb_specimen_release(&specimen);
}

static void the_matrix_may_have_another_magnification(void **state) {
    (void)state;
    struct kb_field_figures field[] = {made_field(0.16, 0.30, 10, 50), made_unetched(0.11, 45, 50),
                                       made_field(0.18, 0.34, 10, 50), made_unetched(0.13, 45, 50)};
    field[0].px_um = field[2].px_um = 0.25;
    field[0].area_mm2 = field[2].area_mm2 = 0.5 / 16.0;
    struct kb_specimen specimen = pool(field, 4, KB_DUCTILE_IRON);
    const double pearlite[] = {0.30, 0.34};
    struct kb_estimate mean = kb_estimate_mean(pearlite, 2, "1", 0.0, 1.0);
    near(specimen.phase[KB_PEARLITE].lo, mean.lo, 0.0); /* within each kind the areas are equal */
    near(specimen.area_mm2, 1.0, 1e-15);
    expect_finding(&specimen, "mixed-scales", false);
    expect_finding(&specimen, "mixed-areas", false);
    kb_specimen_release(&specimen);
}

static void one_field_gives_figures_without_intervals(void **state) {
    (void)state;
    const struct kb_field_figures field = made_field(0.11, 0.4, 45, 50);
    struct kb_specimen specimen = pool(&field, 1, KB_DUCTILE_IRON);
    assert_false(specimen.phase[KB_GRAPHITE].has_interval);
    assert_false(specimen.nodularity_percent[KB_NOD_ISO945_4].has_interval);
    assert_false(specimen.nodules_per_mm2.has_interval);
    assert_int_equal(specimen.fields_needed_phase, 0);
    expect_finding(&specimen, "one-field", true);
    expect_finding(&specimen, "wide-interval", false);
    kb_specimen_release(&specimen);
}

static void steel_gives_pearlite_and_says_why_not_graphite(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {made_steel(0.40), made_steel(0.44), made_steel(0.42)};
    struct kb_specimen specimen = pool(field, 3, KB_CARBON_STEEL);
    near(specimen.pearlite_of_matrix.value, 0.42, 1e-15);
    assert_false(specimen.phase[KB_GRAPHITE].measured);
    assert_non_null(strstr(specimen.phase[KB_GRAPHITE].why, "steel"));
    assert_false(specimen.nodularity_percent[0].measured);
    assert_int_equal(specimen.size_class, 0);
    assert_int_equal(specimen.fields_graphite, 0);
    expect_finding(&specimen, "no-scale", false);
    expect_finding(&specimen, "few-particles", false);
    expect_finding(&specimen, "no-unetched-field", false);
    kb_specimen_release(&specimen);
}

static void fields_without_scale_leave_sizes_out(void **state) {
    (void)state;
    struct kb_field_figures field[] = {made_unetched(0.11, 45, 50), made_unetched(0.13, 45, 50)};
    made_scaleless(&field[0]);
    struct kb_specimen some = pool(field, 2, KB_DUCTILE_IRON);
    near(some.phase[KB_GRAPHITE].value, 0.12, 1e-15);
    near(some.area_mm2, 0.5, 1e-15);
    expect_finding(&some, "some-without-scale", true);
    kb_specimen_release(&some);
    made_scaleless(&field[1]);
    struct kb_specimen none = pool(field, 2, KB_DUCTILE_IRON);
    assert_false(none.nodularity_percent[0].measured);
    assert_non_null(strstr(none.nodules_per_mm2.why, "pixel size"));
    assert_true(isnan(none.area_mm2));
    assert_true(none.phase[KB_GRAPHITE].measured);
    expect_finding(&none, "no-scale", true);
    kb_specimen_release(&none);
}

static void all_nodules_are_not_certainly_all_nodules(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {made_field(0.10, 0.30, 20, 20),
                                             made_field(0.12, 0.40, 20, 20)};
    struct kb_specimen specimen = pool(field, 2, KB_DUCTILE_IRON);
    const struct kb_estimate *nodularity = &specimen.nodularity_percent[KB_NOD_ISO945_4];
    near(nodularity->value, 100.0, 0.0);
    near(nodularity->hi, 100.0, 0.0);
    /* Clopper & Pearson for 40 of 40: 0.025^(1/40) = 0.91190; areas are equal, so 40 trials */
    near(nodularity->lo, 91.190, 1e-3);
    near(specimen.nodularity_by_count_percent.lo, 91.190, 1e-3);
    near(specimen.form_area_percent[KB_FORM_III].hi, 8.810, 1e-3);
    assert_true(specimen.nodules_per_mm2.hi > specimen.nodules_per_mm2.lo);
    kb_specimen_release(&specimen);
}

static void an_interval_held_wide_by_counts_asks_for_one_more_field(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {made_field(0.10, 0.30, 10, 10),
                                             made_field(0.12, 0.40, 10, 10)};
    struct kb_specimen specimen = pool(field, 2, KB_DUCTILE_IRON);
    /* 20 of 20: from 83.2 %, half-width 8.4 points; no spread, so the spread asks for nothing */
    assert_int_equal(specimen.fields_needed_nodularity, 3);
    kb_specimen_release(&specimen);
}

static void an_iron_without_counting_particles_says_so(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {made_field(0.02, 0.30, 0, 0),
                                             made_field(0.02, 0.40, 0, 0)};
    struct kb_specimen specimen = pool(field, 2, KB_DUCTILE_IRON);
    assert_false(specimen.nodularity_percent[0].measured);
    assert_false(specimen.largest_feret_um.measured);
    near(specimen.nodules_per_mm2.value, 0.0, 0.0);
    assert_int_equal(specimen.size_class, 0);
    expect_finding(&specimen, "no-particles", true);
    kb_specimen_release(&specimen);
}

static void remarks_name_what_is_short(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {made_field(0.08, 0.10, 30, 50),
                                             made_field(0.14, 0.60, 48, 50)};
    struct kb_specimen specimen = pool(field, 2, KB_DUCTILE_IRON);
    expect_finding(&specimen, "few-fields", true);
    expect_finding(&specimen, "few-particles", true);
    expect_finding(&specimen, "wide-interval", true);
    expect_finding(&specimen, "no-unetched-field", true);
    expect_finding(&specimen, "mixed-scales", false);
    assert_true(specimen.fields_needed_phase > 2);
    assert_true(specimen.fields_needed_nodularity > 2);
    kb_specimen_release(&specimen);
}

static void a_good_specimen_draws_no_warning(void **state) {
    (void)state;
    struct kb_field_figures field[12];
    for (size_t i = 0; i < 6; i++) {
        field[i] = made_unetched(0.110 + 0.001 * (double)i, 90 + i, 100);
        field[i].area_mm2 = 0.6; /* six of them: more than five classic prints */
        field[i].nodules_per_mm2 = (double)field[i].nodules / 0.6;
        field[6 + i] = made_field(0.110, 0.30 + 0.004 * (double)i, 90, 100);
    }
    struct kb_specimen specimen = pool(field, 12, KB_DUCTILE_IRON);
    for (size_t i = 0; i < specimen.findings.count; i++) {
        fail_msg("finding '%s'", specimen.findings.item[i].code);
    }
    kb_specimen_release(&specimen);
}

static void too_small_an_area_and_too_large_a_least_size_are_said(void **state) {
    (void)state;
    struct kb_field_figures field[6];
    for (size_t i = 0; i < 6; i++) {
        field[i] = made_unetched(0.110 + 0.001 * (double)i, 90 + i, 100);
        field[i].least_um = 10.0;
        field[i].size_count[6] = 40;
        field[i].size_count[8] = 60;
    }
    struct kb_specimen specimen = pool(field, 6, KB_DUCTILE_IRON);
    expect_finding(&specimen, "small-area", true); /* 3 mm2 */
    expect_finding(&specimen, "mostly-size-8", true);
    kb_specimen_release(&specimen);
    for (size_t i = 0; i < 6; i++) {
        field[i].area_mm2 = 0.6;
        field[i].least_um = 5.0;
    }
    specimen = pool(field, 6, KB_DUCTILE_IRON);
    expect_finding(&specimen, "small-area", false);
    expect_finding(&specimen, "mostly-size-8", false);
    kb_specimen_release(&specimen);
}

/* Six fields of a compacted iron, so much of the area nodular and lamellar. */
static struct kb_specimen compacted(size_t nodules, size_t flakes) {
    struct kb_field_figures field[6];
    for (size_t i = 0; i < 6; i++) {
        field[i] = made_unetched(0.110 + 0.001 * (double)i, nodules, 100);
        field[i].form_um2[KB_FORM_I] = 500.0 * (double)flakes;
        field[i].form_um2[KB_FORM_III] -= 500.0 * (double)flakes;
    }
    return pool(field, 6, KB_COMPACTED_IRON);
}

static void what_compacted_iron_must_not_show_is_said(void **state) {
    (void)state; /* up to 20 % by ISO 16112, from memory, and nothing lamellar */
    struct kb_specimen good = compacted(19, 0), nodular = compacted(22, 0), flaky = compacted(5, 2);
    expect_finding(&good, "too-nodular", false);
    expect_finding(&good, "lamellar-graphite", false);
    expect_finding(&nodular, "too-nodular", true);
    expect_finding(&flaky, "lamellar-graphite", true);
    kb_specimen_release(&good);
    kb_specimen_release(&nodular);
    kb_specimen_release(&flaky);
}

static void flake_iron_has_no_nodularity_but_a_reason(void **state) {
    (void)state;
    struct kb_field_figures field[6];
    for (size_t i = 0; i < 6; i++) {
        field[i] = made_unetched(0.110 + 0.001 * (double)i, 1, 100);
    }
    struct kb_specimen specimen = pool(field, 6, KB_GREY_IRON);
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        assert_false(specimen.nodularity_percent[method].measured);
        assert_non_null(strstr(specimen.nodularity_percent[method].why, "flake"));
    }
    assert_false(specimen.nodules_per_mm2.measured);
    assert_false(specimen.nodule_count_per_mm2[KB_COUNT_WEIGHTED].measured);
    assert_true(specimen.form_area_percent[KB_FORM_VI].measured); /* what is round still shows */
    assert_int_equal(specimen.fields_needed_nodularity, 0);
    expect_finding(&specimen, "few-particles", false); /* 500 are wanted for nodularity */
    expect_finding(&specimen, "small-area", false);
    expect_finding(&specimen, "not-lamellar", false);
    kb_specimen_release(&specimen);
    for (size_t i = 0; i < 6; i++) {
        field[i] = made_unetched(0.110 + 0.001 * (double)i, 60, 100);
    }
    specimen = pool(field, 6, KB_GREY_IRON);
    expect_finding(&specimen, "not-lamellar", true);
    kb_specimen_release(&specimen);
}

static void mixed_scales_and_low_nodularity_are_said(void **state) {
    (void)state;
    struct kb_field_figures field[] = {made_field(0.10, 0.30, 10, 50),
                                       made_field(0.12, 0.40, 12, 50)};
    field[1].px_um = 0.5;
    field[0].nodular_framed_um2 = 0.9 * field[0].nodular_um2[0];
    field[1].nodular_framed_um2 = 0.9 * field[1].nodular_um2[0];
    struct kb_specimen specimen = pool(field, 2, KB_DUCTILE_IRON);
    expect_finding(&specimen, "mixed-scales", true);
    expect_finding(&specimen, "not-spheroidal", true);
    expect_finding(&specimen, "frame-hides-large", true);
    kb_specimen_release(&specimen);
}

static void fields_without_spread_are_remarked(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {made_steel(0.4), made_steel(0.4), made_steel(0.4)};
    struct kb_specimen specimen = pool(field, 3, KB_CARBON_STEEL);
    expect_finding(&specimen, "no-spread", true);
    kb_specimen_release(&specimen);
}

static bool same(const struct kb_estimate *a, const struct kb_estimate *b) {
    return a->measured == b->measured && a->has_interval == b->has_interval &&
           (!a->measured || a->value == b->value) &&
           (!a->has_interval || (a->lo == b->lo && a->hi == b->hi && a->s == b->s));
}

static void shuffle(struct kb_field_figures *field, size_t count, struct random *random) {
    for (size_t i = count - 1; i > 0; i--) {
        size_t j = (size_t)(random_unit(random) * (double)(i + 1));
        struct kb_field_figures keep = field[i];
        field[i] = field[j];
        field[j] = keep;
    }
}

static void the_order_of_fields_changes_no_digit(void **state) {
    (void)state;
    struct random random = {.state = 3};
    struct kb_field_figures field[9];
    for (size_t i = 0; i < 9; i++) {
        field[i] = made_field(0.1 + 0.03 * random_unit(&random), 0.2 + 0.3 * random_unit(&random),
                              30 + i, 60);
        field[i].area_mm2 *= 1.0 + random_unit(&random);
        field[i].feret_sum_um *= 1.0 + 0.1 * random_unit(&random);
    }
    struct kb_specimen first = pool(field, 9, KB_DUCTILE_IRON);
    for (int round = 0; round < 50; round++) {
        shuffle(field, 9, &random);
        struct kb_specimen other = pool(field, 9, KB_DUCTILE_IRON);
        for (int phase = 0; phase < KB_PHASES; phase++) {
            assert_true(same(&first.phase[phase], &other.phase[phase]));
        }
        assert_true(same(&first.pearlite_of_matrix, &other.pearlite_of_matrix));
        assert_true(same(&first.nodularity_percent[0], &other.nodularity_percent[0]));
        assert_true(same(&first.nodules_per_mm2, &other.nodules_per_mm2));
        assert_true(same(&first.mean_feret_um, &other.mean_feret_um));
        assert_true(first.area_mm2 == other.area_mm2);
        kb_specimen_release(&other);
    }
    kb_specimen_release(&first);
}

static void every_field_given_twice_keeps_value_and_narrows_the_interval(void **state) {
    (void)state;
    struct kb_field_figures field[10];
    for (size_t i = 0; i < 5; i++) {
        field[i] = made_field(0.1 + 0.01 * (double)i, 0.3 + 0.02 * (double)(i % 3), 80 + i, 100);
        field[5 + i] = field[i];
    }
    struct kb_specimen once = pool(field, 5, KB_DUCTILE_IRON);
    struct kb_specimen twice = pool(field, 10, KB_DUCTILE_IRON);
    near(twice.phase[KB_GRAPHITE].value, once.phase[KB_GRAPHITE].value, 1e-15);
    near(twice.nodularity_percent[0].value, once.nodularity_percent[0].value, 1e-12);
    assert_true(twice.phase[KB_GRAPHITE].hi < once.phase[KB_GRAPHITE].hi);
    kb_specimen_release(&once);
    kb_specimen_release(&twice);
}

static void no_fields_are_refused(void **state) {
    (void)state;
    struct kb_err err = {0};
    struct kb_specimen specimen;
    struct kb_specimen_params params = kb_specimen_params_default();
    assert_int_equal(kb_specimen_run(NULL, 0, KB_DUCTILE_IRON, &params, &specimen, &err),
                     KB_E_USAGE);
    assert_string_equal(err.stage, "specimen");
    assert_int_equal(specimen.findings.count, 0);
}

static void memory_that_runs_out_leaves_nothing_behind(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {made_field(0.08, 0.10, 10, 50),
                                             made_field(0.14, 0.60, 12, 50)};
    struct kb_specimen_params params = kb_specimen_params_default();
    struct kb_specimen specimen;
    size_t n = 1;
    for (;; n++) {
        fail_alloc_at(n);
        enum kb_status status =
            kb_specimen_run(field, 2, KB_DUCTILE_IRON, &params, &specimen, NULL);
        if (!fail_alloc_happened()) {
            assert_int_equal(status, KB_OK);
            kb_specimen_release(&specimen);
            break;
        }
        assert_int_equal(status, KB_E_MEMORY);
        assert_int_equal(specimen.fields, 0);
        assert_int_equal(fail_alloc_open_blocks(), 0);
    }
    assert_int_equal(fail_alloc_open_blocks(), 0);
    fail_alloc_at(0);
    assert_true(n >= 3); /* room for the fields, and findings that grow */
}

static void params_that_make_no_sense_are_refused(void **state) {
    (void)state;
    const double bad[] = {0.0, -1.0, (double)NAN, (double)INFINITY, 1e6};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct kb_specimen_params params = kb_specimen_params_default();
        assert_int_equal(kb_specimen_params_check(&params, NULL), KB_OK);
        params.want_points = bad[i];
        assert_int_equal(kb_specimen_params_check(&params, NULL), KB_E_USAGE);
        params = kb_specimen_params_default();
        params.want_nodularity_points = bad[i];
        assert_int_equal(kb_specimen_params_check(&params, NULL), KB_E_USAGE);
        params = kb_specimen_params_default();
        params.want_count_share = bad[i];
        assert_int_equal(kb_specimen_params_check(&params, NULL), KB_E_USAGE);
    }
    struct kb_specimen_params params = kb_specimen_params_default();
    params.min_fields = 0;
    assert_int_equal(kb_specimen_params_check(&params, NULL), KB_E_USAGE);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fields_of_one_size_weigh_the_same),
        cmocka_unit_test(a_field_twice_the_size_weighs_twice),
        cmocka_unit_test(graphite_comes_unetched_and_the_matrix_etched),
        cmocka_unit_test(the_matrix_may_have_another_magnification),
        cmocka_unit_test(one_field_gives_figures_without_intervals),
        cmocka_unit_test(steel_gives_pearlite_and_says_why_not_graphite),
        cmocka_unit_test(fields_without_scale_leave_sizes_out),
        cmocka_unit_test(all_nodules_are_not_certainly_all_nodules),
        cmocka_unit_test(an_interval_held_wide_by_counts_asks_for_one_more_field),
        cmocka_unit_test(an_iron_without_counting_particles_says_so),
        cmocka_unit_test(remarks_name_what_is_short),
        cmocka_unit_test(a_good_specimen_draws_no_warning),
        cmocka_unit_test(too_small_an_area_and_too_large_a_least_size_are_said),
        cmocka_unit_test(what_compacted_iron_must_not_show_is_said),
        cmocka_unit_test(flake_iron_has_no_nodularity_but_a_reason),
        cmocka_unit_test(mixed_scales_and_low_nodularity_are_said),
        cmocka_unit_test(fields_without_spread_are_remarked),
        cmocka_unit_test(the_order_of_fields_changes_no_digit),
        cmocka_unit_test(every_field_given_twice_keeps_value_and_narrows_the_interval),
        cmocka_unit_test(no_fields_are_refused),
        cmocka_unit_test(memory_that_runs_out_leaves_nothing_behind),
        cmocka_unit_test(params_that_make_no_sense_are_refused),
    };
    return cmocka_run_group_tests_name("specimen pool", tests, NULL, NULL);
}
