/* test_carbon.c - carbon of a specimen, its interval and the cross-check. Truth: arithmetic by
 * hand. */
#include "keelblock/judge.h"

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

static struct kb_estimate estimate(double value, double lo, double hi, size_t n) {
    struct kb_estimate made = kb_estimate_point(value, n, "1", "made");
    made.lo = lo;
    made.hi = hi;
    made.s = 0.25 * (hi - lo) * sqrt((double)n);
    made.has_interval = true;
    return made;
}

static struct kb_specimen steel(struct kb_estimate pearlite) {
    struct kb_specimen specimen = {.material = KB_CARBON_STEEL};
    specimen.phase[KB_GRAPHITE] = kb_estimate_missing("1", "steel");
    specimen.pearlite_of_matrix = pearlite;
    return specimen;
}

static struct kb_specimen iron(struct kb_estimate graphite, struct kb_estimate pearlite) {
    struct kb_specimen specimen = {.material = KB_DUCTILE_IRON};
    specimen.phase[KB_GRAPHITE] = graphite;
    specimen.pearlite_of_matrix = pearlite;
    return specimen;
}

static struct kb_carbon run(const struct kb_specimen *specimen, enum kb_proeutectoid beside,
                            const struct kb_chemistry *chemistry) {
    struct kb_carbon carbon;
    struct kb_carbon_params params = kb_carbon_params_default(specimen->material);
    kb_carbon_run(specimen, beside, chemistry, &params, &carbon);
    assert_in_range(carbon.working.count, 0, KB_WORKING_LINES - 1); /* no line was dropped */
    for (int i = 0; i < carbon.working.count; i++) {
        assert_true(strlen(carbon.working.line[i]) < sizeof carbon.working.line[i] - 1);
    }
    return carbon;
}

static bool working_has(const struct kb_carbon *carbon, const char *words) {
    for (int i = 0; i < carbon->working.count; i++) {
        if (strstr(carbon->working.line[i], words) != NULL) {
            return true;
        }
    }
    return false;
}

static void steel_carbon_follows_pearlite_and_its_interval(void **state) {
    (void)state;
    struct kb_specimen specimen = steel(estimate(0.50, 0.45, 0.55, 5));
    struct kb_chemistry unknown = kb_chemistry_unknown();
    struct kb_carbon carbon = run(&specimen, KB_PRO_FERRITE, &unknown);
    /* by mass: 0.5 * 7.84 / (0.5 * 7.84 + 0.5 * 7.87) = 0.499045; 0.022 + 0.499045 * 0.738 */
    near(carbon.pearlite_mass.value, 0.499045, 5e-7);
    near(carbon.total_percent.value, 0.390295, 5e-7);
    near(carbon.total_percent.lo, 0.022 + 0.738 * 0.45 * 7.84 / (0.45 * 7.84 + 0.55 * 7.87), 1e-12);
    near(carbon.total_percent.hi, 0.022 + 0.738 * 0.55 * 7.84 / (0.55 * 7.84 + 0.45 * 7.87), 1e-12);
    assert_int_equal(carbon.total_percent.n, 5);
    assert_false(carbon.graphite_percent.measured);
    assert_int_equal(carbon.agreement, KB_AGREE_UNKNOWN);
    assert_true(isnan(carbon.difference_percent));
    assert_true(working_has(&carbon, "0.022 + 0.4990 · (0.760 − 0.022) = 0.390"));
    assert_true(working_has(&carbon, "not an analysis"));
}

static void hypereutectoid_carbon_falls_as_pearlite_rises(void **state) {
    (void)state;
    struct kb_specimen specimen = steel(estimate(0.96, 0.94, 0.98, 5));
    struct kb_chemistry unknown = kb_chemistry_unknown();
    struct kb_carbon carbon = run(&specimen, KB_PRO_CEMENTITE, &unknown);
    double mass = 0.96 * 7.84 / (0.96 * 7.84 + 0.04 * 7.68);
    near(carbon.total_percent.value, 6.70 - mass * 5.94, 1e-12);
    assert_true(carbon.total_percent.lo < carbon.total_percent.value);
    assert_true(carbon.total_percent.hi > carbon.total_percent.value);
}

static void iron_carbon_is_graphite_plus_combined(void **state) {
    (void)state;
    struct kb_specimen specimen =
        iron(estimate(0.11, 0.10, 0.12, 5), estimate(0.40, 0.35, 0.45, 7));
    struct kb_chemistry chemistry = kb_chemistry_unknown();
    chemistry.si = 2.5;
    struct kb_carbon carbon = run(&specimen, KB_PRO_FERRITE, &chemistry);
    double graphite = 0.11 * 2.25 / (0.11 * 2.25 + 0.89 * 7.8); /* 0.034424 */
    double pearlite = 0.40 * 7.84 / (0.40 * 7.84 + 0.60 * 7.87);
    double matrix = pearlite * 0.56 + (1.0 - pearlite) * 0.022;
    near(carbon.eutectoid_used, 0.56, 1e-15);
    near(carbon.graphite_percent.value, 100.0 * graphite, 1e-12);
    near(carbon.combined_percent.value, (1.0 - graphite) * matrix, 1e-12);
    near(carbon.total_percent.value, 100.0 * graphite + (1.0 - graphite) * matrix, 1e-12);
    assert_int_equal(carbon.total_percent.n, 5);
    assert_false(carbon.silicon_assumed);
    assert_true(working_has(&carbon, "0.760 + (-0.080) · 2.50 = 0.560"));
}

static void both_parts_of_an_iron_widen_its_interval_in_quadrature(void **state) {
    (void)state;
    struct kb_chemistry unknown = kb_chemistry_unknown();
    struct kb_specimen both = iron(estimate(0.11, 0.10, 0.12, 5), estimate(0.40, 0.30, 0.50, 5));
    struct kb_specimen graphite_only =
        iron(estimate(0.11, 0.10, 0.12, 5), estimate(0.40, 0.40, 0.40, 5));
    struct kb_specimen pearlite_only =
        iron(estimate(0.11, 0.11, 0.11, 5), estimate(0.40, 0.30, 0.50, 5));
    struct kb_carbon a = run(&both, KB_PRO_FERRITE, &unknown);
    struct kb_carbon b = run(&graphite_only, KB_PRO_FERRITE, &unknown);
    struct kb_carbon c = run(&pearlite_only, KB_PRO_FERRITE, &unknown);
    near(a.total_percent.hi - a.total_percent.value,
         hypot(b.total_percent.hi - b.total_percent.value,
               c.total_percent.hi - c.total_percent.value),
         1e-12);
    near(a.total_percent.value - a.total_percent.lo,
         hypot(b.total_percent.value - b.total_percent.lo,
               c.total_percent.value - c.total_percent.lo),
         1e-12);
    near(a.total_percent.s, hypot(b.total_percent.s, c.total_percent.s), 1e-12);
    /* a per cent more graphite is a per cent less matrix, and takes the matrix' carbon with it */
    double matrix = c.combined_percent.value / (1.0 - c.graphite_percent.value / 100.0);
    near(b.total_percent.hi - b.total_percent.value,
         (b.graphite_percent.hi - b.graphite_percent.value) * (1.0 - matrix / 100.0), 1e-12);
}

static void silicon_not_given_is_said(void **state) {
    (void)state;
    struct kb_chemistry unknown = kb_chemistry_unknown();
    struct kb_specimen specimen =
        iron(estimate(0.11, 0.10, 0.12, 5), estimate(0.40, 0.35, 0.45, 5));
    struct kb_carbon carbon = run(&specimen, KB_PRO_FERRITE, &unknown);
    assert_true(carbon.silicon_assumed);
    near(carbon.eutectoid_used, 0.76, 0.0);
    assert_true(working_has(&carbon, "silicon not known"));
}

static void unetched_fields_alone_give_graphite_carbon_only(void **state) {
    (void)state;
    struct kb_chemistry unknown = kb_chemistry_unknown();
    struct kb_specimen specimen =
        iron(estimate(0.11, 0.10, 0.12, 5), kb_estimate_missing("1", "no etched field"));
    struct kb_carbon carbon = run(&specimen, KB_PRO_FERRITE, &unknown);
    assert_true(carbon.graphite_percent.measured);
    assert_false(carbon.combined_percent.measured);
    assert_false(carbon.total_percent.measured);
    assert_string_equal(carbon.total_percent.why, "no etched field");
}

static void one_field_gives_carbon_without_interval(void **state) {
    (void)state;
    struct kb_specimen specimen = steel(kb_estimate_point(0.5, 1, "1", "made"));
    struct kb_chemistry chemistry = kb_chemistry_unknown();
    chemistry.c = 0.80;
    struct kb_carbon carbon = run(&specimen, KB_PRO_FERRITE, &chemistry);
    assert_true(carbon.total_percent.measured && !carbon.total_percent.has_interval);
    assert_int_equal(carbon.agreement, KB_AGREE_UNKNOWN);
    assert_non_null(carbon.reason[0]);
    chemistry.c = 0.41;
    carbon = run(&specimen, KB_PRO_FERRITE, &chemistry);
    assert_int_equal(carbon.agreement, KB_AGREES);
}

static void agreement_ends_at_interval_plus_tolerance(void **state) {
    (void)state;
    struct kb_specimen specimen = steel(estimate(0.50, 0.45, 0.55, 5));
    struct kb_chemistry chemistry = kb_chemistry_unknown();
    struct kb_carbon base = run(&specimen, KB_PRO_FERRITE, &chemistry);
    const double tolerance = 0.05;
    chemistry.c = base.total_percent.hi + tolerance - 1e-9;
    struct kb_carbon carbon = run(&specimen, KB_PRO_FERRITE, &chemistry);
    assert_int_equal(carbon.agreement, KB_AGREES);
    assert_null(carbon.reason[0]);
    chemistry.c = base.total_percent.hi + tolerance + 1e-9;
    carbon = run(&specimen, KB_PRO_FERRITE, &chemistry);
    assert_int_equal(carbon.agreement, KB_DISAGREES);
    assert_true(carbon.difference_percent < 0.0);
    chemistry.c = base.total_percent.lo - tolerance + 1e-9;
    assert_int_equal(run(&specimen, KB_PRO_FERRITE, &chemistry).agreement, KB_AGREES);
    chemistry.c = base.total_percent.lo - tolerance - 1e-9;
    carbon = run(&specimen, KB_PRO_FERRITE, &chemistry);
    assert_int_equal(carbon.agreement, KB_DISAGREES);
    assert_true(carbon.difference_percent > 0.0);
}

static void reasons_follow_the_sign_and_the_material(void **state) {
    (void)state;
    struct kb_chemistry chemistry = kb_chemistry_unknown();
    struct kb_specimen a = steel(estimate(0.50, 0.49, 0.51, 5));
    struct kb_specimen b = iron(estimate(0.11, 0.109, 0.111, 5), estimate(0.4, 0.39, 0.41, 5));
    chemistry.c = 0.90;
    struct kb_carbon low = run(&a, KB_PRO_FERRITE, &chemistry);
    chemistry.c = 0.10;
    struct kb_carbon high = run(&a, KB_PRO_FERRITE, &chemistry);
    chemistry.c = 4.5;
    struct kb_carbon poor = run(&b, KB_PRO_FERRITE, &chemistry);
    assert_non_null(strstr(low.reason[0], "decarburised"));
    assert_non_null(strstr(high.reason[0], "cooling"));
    assert_non_null(strstr(poor.reason[0], "carbides"));
    for (int i = 0; i < 5; i++) {
        assert_non_null(low.reason[i]);
        assert_string_not_equal(low.reason[i], high.reason[i]);
    }
    assert_null(low.reason[5]);
}

static void carbon_equivalent_needs_carbon_and_silicon(void **state) {
    (void)state;
    struct kb_chemistry chemistry = kb_chemistry_unknown();
    struct kb_specimen specimen =
        iron(estimate(0.11, 0.10, 0.12, 5), estimate(0.40, 0.35, 0.45, 5));
    chemistry.c = 3.6;
    assert_true(isnan(run(&specimen, KB_PRO_FERRITE, &chemistry).carbon_equivalent));
    chemistry.si = 2.4;
    near(run(&specimen, KB_PRO_FERRITE, &chemistry).carbon_equivalent, 4.4, 1e-12);
    chemistry.p = 0.06;
    near(run(&specimen, KB_PRO_FERRITE, &chemistry).carbon_equivalent, 4.42, 1e-12);
}

static void fractions_alone_give_the_same_carbon(void **state) {
    (void)state;
    struct kb_chemistry unknown = kb_chemistry_unknown();
    struct kb_carbon_params params = kb_carbon_params_default(KB_CARBON_STEEL);
    struct kb_carbon carbon;
    assert_int_equal(kb_carbon_from_fractions(KB_CARBON_STEEL, (double)NAN, 0.5, KB_PRO_FERRITE,
                                              &unknown, &params, &carbon, NULL),
                     KB_OK);
    near(carbon.total_percent.value, 0.390295, 5e-7);
    assert_int_equal(kb_carbon_from_fractions(KB_CARBON_STEEL, (double)NAN, 41.0, KB_PRO_FERRITE,
                                              &unknown, &params, &carbon, NULL),
                     KB_E_USAGE);
    assert_int_equal(kb_carbon_from_fractions(KB_DUCTILE_IRON, 1.0, 0.5, KB_PRO_FERRITE, &unknown,
                                              &params, &carbon, NULL),
                     KB_E_USAGE);
}

static void a_tolerance_that_is_no_number_is_refused(void **state) {
    (void)state;
    struct kb_carbon_params params = kb_carbon_params_default(KB_DUCTILE_IRON);
    assert_int_equal(kb_carbon_params_check(&params, NULL), KB_OK);
    params.tolerance_percent = (double)NAN;
    assert_int_equal(kb_carbon_params_check(&params, NULL), KB_E_USAGE);
    params.tolerance_percent = -0.1;
    assert_int_equal(kb_carbon_params_check(&params, NULL), KB_E_USAGE);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steel_carbon_follows_pearlite_and_its_interval),
        cmocka_unit_test(hypereutectoid_carbon_falls_as_pearlite_rises),
        cmocka_unit_test(iron_carbon_is_graphite_plus_combined),
        cmocka_unit_test(both_parts_of_an_iron_widen_its_interval_in_quadrature),
        cmocka_unit_test(silicon_not_given_is_said),
        cmocka_unit_test(unetched_fields_alone_give_graphite_carbon_only),
        cmocka_unit_test(one_field_gives_carbon_without_interval),
        cmocka_unit_test(agreement_ends_at_interval_plus_tolerance),
        cmocka_unit_test(reasons_follow_the_sign_and_the_material),
        cmocka_unit_test(carbon_equivalent_needs_carbon_and_silicon),
        cmocka_unit_test(fractions_alone_give_the_same_carbon),
        cmocka_unit_test(a_tolerance_that_is_no_number_is_refused),
    };
    return cmocka_run_group_tests_name("carbon", tests, NULL, NULL);
}
