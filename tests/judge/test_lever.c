/* test_lever.c - the lever rule as algebra: both ways, ends, conservation. Published answers are in
 * tests/conformity. */
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

static void carbon_to_pearlite_and_back_is_the_same_carbon(void **state) {
    (void)state;
    struct kb_carbon_constants constants = kb_carbon_constants_default();
    for (int i = 0; i <= 300; i++) {
        double carbon = 0.022 + 0.0077 * i;
        struct kb_lever lever;
        assert_int_equal(kb_lever_from_carbon(carbon, &constants, &lever, NULL), KB_OK);
        enum kb_proeutectoid beside = lever.hypereutectoid ? KB_PRO_CEMENTITE : KB_PRO_FERRITE;
        near(kb_lever_carbon(lever.pearlite, beside, &constants), carbon, 1e-12);
        near(lever.pearlite + lever.proeutectoid, 1.0, 1e-12);
        near(lever.total_ferrite + lever.total_cementite, 1.0, 1e-12);
        /* the carbon of both phases together is the carbon of the steel */
        near(lever.total_ferrite * 0.022 + lever.total_cementite * 6.70, carbon, 1e-12);
    }
}

static void the_ends_of_the_lever_are_the_phases_themselves(void **state) {
    (void)state;
    struct kb_carbon_constants constants = kb_carbon_constants_default();
    near(kb_lever_carbon(0.0, KB_PRO_FERRITE, &constants), 0.022, 0.0);
    near(kb_lever_carbon(1.0, KB_PRO_FERRITE, &constants), 0.76, 1e-15);
    near(kb_lever_carbon(0.0, KB_PRO_CEMENTITE, &constants), 6.70, 0.0);
    near(kb_lever_carbon(1.0, KB_PRO_CEMENTITE, &constants), 0.76, 1e-15);
}

static void carbon_outside_the_diagram_is_refused(void **state) {
    (void)state;
    struct kb_carbon_constants constants = kb_carbon_constants_default();
    const double bad[] = {-0.1, 0.0219, 6.71, (double)NAN, (double)INFINITY};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct kb_lever lever;
        struct kb_err err = {0};
        assert_int_equal(kb_lever_from_carbon(bad[i], &constants, &lever, &err), KB_E_USAGE);
        assert_non_null(strstr(err.text, "0.022"));
    }
}

static void mass_and_volume_are_inverse(void **state) {
    (void)state;
    for (int i = 0; i <= 20; i++) {
        double volume = 0.05 * i;
        double mass = kb_mass_fraction(volume, 2.25, 7.8);
        near(kb_volume_fraction(mass, 2.25, 7.8), volume, 1e-14);
        near(kb_mass_fraction(volume, 7.8, 7.8), volume, 1e-15);
    }
}

static void silicon_lowers_the_eutectoid_but_not_below_ferrite(void **state) {
    (void)state;
    struct kb_carbon_constants constants = kb_carbon_constants_default();
    near(kb_eutectoid_at(0.0, &constants), 0.76, 0.0);
    near(kb_eutectoid_at(2.5, &constants), 0.56, 1e-15);
    near(kb_eutectoid_at(50.0, &constants), 0.022, 0.0);
}

static void constants_out_of_order_are_refused(void **state) {
    (void)state;
    struct kb_carbon_constants good = kb_carbon_constants_default();
    assert_int_equal(kb_carbon_constants_check(&good, NULL), KB_OK);
    double *const member[] = {&good.ferrite_c,   &good.eutectoid_c,   &good.cementite_c,
                              &good.rho_ferrite, &good.rho_graphite,  &good.rho_pearlite,
                              &good.si_shift,    &good.rho_cementite, &good.rho_iron_matrix};
    const double bad[] = {(double)NAN, (double)INFINITY, -5.0};
    for (size_t i = 0; i < sizeof member / sizeof member[0]; i++) {
        for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
            double keep = *member[i];
            *member[i] = bad[k];
            assert_int_equal(kb_carbon_constants_check(&good, NULL), KB_E_USAGE);
            *member[i] = keep;
        }
    }
    good.eutectoid_c = good.ferrite_c;
    assert_int_equal(kb_carbon_constants_check(&good, NULL), KB_E_USAGE);
}

static void the_working_names_relation_numbers_and_result(void **state) {
    (void)state;
    struct kb_carbon_constants constants = kb_carbon_constants_default();
    struct kb_lever lever;
    struct kb_working working;
    assert_int_equal(kb_lever_from_carbon(0.45, &constants, &lever, NULL), KB_OK);
    kb_lever_working(0.45, &constants, &lever, &working);
    struct kb_text all = KB_TEXT_INIT;
    for (int i = 0; i < working.count; i++) {
        kb_text_format(&all, "%s\n", working.line[i]);
        assert_true(strlen(working.line[i]) < sizeof working.line[i] - 1); /* nothing cut off */
    }
    assert_non_null(strstr(all.data, "(0.450 − 0.022) / (0.760 − 0.022) = 0.5799"));
    assert_non_null(strstr(all.data, "at or below the eutectoid"));
    kb_text_release(&all);
    assert_int_equal(kb_lever_from_carbon(1.15, &constants, &lever, NULL), KB_OK);
    kb_lever_working(1.15, &constants, &lever, &working);
    assert_non_null(strstr(working.line[0], "above the eutectoid"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(carbon_to_pearlite_and_back_is_the_same_carbon),
        cmocka_unit_test(the_ends_of_the_lever_are_the_phases_themselves),
        cmocka_unit_test(carbon_outside_the_diagram_is_refused),
        cmocka_unit_test(mass_and_volume_are_inverse),
        cmocka_unit_test(silicon_lowers_the_eutectoid_but_not_below_ferrite),
        cmocka_unit_test(constants_out_of_order_are_refused),
        cmocka_unit_test(the_working_names_relation_numbers_and_result),
    };
    return cmocka_run_group_tests_name("lever", tests, NULL, NULL);
}
