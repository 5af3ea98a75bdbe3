/* test_limits.c - a limit is read as written or refused with what would be right. */
#include "fail_alloc.h"
#include "keelblock/judge.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const double open = (double)NAN;

static bool same(double a, double b) {
    return (isnan(a) && isnan(b)) || fabs(a - b) < 1e-12 * (1.0 + fabs(b));
}

static void expect(const char *quantity, const char *text, double low, double high) {
    struct kb_limit limit;
    struct kb_err err = {0};
    if (kb_limit_parse(quantity, text, &limit, &err) != KB_OK) {
        fail_msg("'%s' = '%s' refused: %s", quantity, text, err.text);
    }
    if (!same(limit.low, low) || !same(limit.high, high)) {
        fail_msg("'%s' = '%s' read as %g .. %g", quantity, text, limit.low, limit.high);
    }
    assert_string_equal(kb_quantity_name(limit.quantity), quantity);
}

static void refuse(const char *quantity, const char *text, const char *advice) {
    struct kb_limit limit = {KB_Q_CARBON, 1.0, 2.0};
    struct kb_err err = {0};
    if (kb_limit_parse(quantity, text, &limit, &err) != KB_E_USAGE) {
        fail_msg("'%s' = '%s' was taken as %g .. %g", quantity, text, limit.low, limit.high);
    }
    if (strstr(err.text, advice) == NULL) {
        fail_msg("'%s' = '%s': no '%s' in: %s", quantity, text, advice, err.text);
    }
    assert_string_equal(err.stage, "judge");
    assert_string_equal(err.subject, quantity);
    assert_true(limit.quantity == KB_Q_CARBON && limit.low == 1.0 && limit.high == 2.0);
}

static void bounds_and_ranges_are_read_as_written(void **state) {
    (void)state;
    expect("nodularity", ">= 85 %", 85.0, open);
    expect("nodularity", "  >=85%  ", 85.0, open);
    expect("form_III", "<= 5 %", open, 5.0);
    expect("pearlite_of_matrix", "20..45 %", 20.0, 45.0);
    expect("pearlite_of_matrix", "20 % .. 45 %", 20.0, 45.0);
    expect("pearlite_of_matrix", "20.5..45.25 %", 20.5, 45.25);
    expect("pearlite_of_matrix", "20-45 %", 20.0, 45.0);
    expect("nodules_per_mm2", ">= 100", 100.0, open);
    expect("nodules_per_mm2", ">= 100 /mm2", 100.0, open);
    expect("nodules_per_mm2", "100..400 per mm2", 100.0, 400.0);
    expect("largest_feret_um", "<= 60 um", open, 60.0);
    expect("largest_feret_um", "<= 0.06 mm", open, 60.0);
    expect("mean_feret_um", "20 .. 60 um", 20.0, 60.0);
    expect("mean_feret_um", "0.02 mm .. 60 um", 20.0, 60.0);
    expect("carbon", "0.42..0.50 %", 0.42, 0.50);
    expect("nodularity", "> 85 %", 85.0, open);
}

static void signs_outside_ascii_are_read_too(void **state) {
    (void)state;
    expect("nodularity", "\xe2\x89\xa5 85 %", 85.0, open);
    expect("form_III",
           "\xe2\x89\xa4\xc2\xa0"
           "5\xe2\x80\xaf%",
           open, 5.0);
    expect("pearlite_of_matrix",
           "20\xe2\x80\x93"
           "45 %",
           20.0, 45.0);
    expect("largest_feret_um", "<= 60 \xc2\xb5m", open, 60.0);
    expect("largest_feret_um", "<= 60 \xce\xbcm", open, 60.0);
    expect("nodules_per_mm2", ">= 100 /mm\xc2\xb2", 100.0, open);
}

static void a_missing_or_wrong_unit_is_refused(void **state) {
    (void)state;
    refuse("nodularity", ">= 85", "unit is missing");
    refuse("nodularity", ">= 0.85", ">= 85 %");
    refuse("nodularity", ">= 85 um", "per cent");
    refuse("largest_feret_um", "<= 60", "unit is missing");
    refuse("largest_feret_um", "<= 60 %", "length");
    refuse("nodules_per_mm2", ">= 100 %", "per mm2");
    refuse("nodules_per_mm2", ">= 100 um", "per mm2");
    refuse("pearlite", "20 um..45 %", "per cent");
}

static void values_that_cannot_be_are_refused(void **state) {
    (void)state;
    refuse("nodularity", ">= 850 %", "more than 100");
    refuse("nodularity", ">= -5 %", "below 0");
    refuse("pearlite", "45..20 %", "lower end");
    refuse("pearlite", "45..45 %", "lower end");
    refuse("nodularity", ">= nan %", "not a number");
    refuse("nodularity", ">= %", "not a number");
    refuse("nodularity", ">= 85,5 %", "point");
    refuse("nodularity", ">= 8 5 %", "per cent");
    refuse("nodularity", "20...45 %", "two points");
    refuse("nodularity", "..45 %", "not a number");
    refuse("nodularity", "20.. %", "not a number");
    refuse("nodularity", "20..30..40 %", "(write");
    refuse("nodularity", "-", "(write");
}

static void other_ways_to_write_get_advice(void **state) {
    (void)state;
    refuse("nodularity", "= 85 %", "exact value");
    refuse("nodularity", "=> 85 %", "wrong way round");
    refuse("nodularity", "85 %", "neither a bound nor a range");
    refuse("nodularity", "", "no limit given");
    refuse("nodularity", "   ", "no limit given");
    refuse("nodularity",
           ">= 85 %                                                                  "
           "                                             !",
           "too long");
}

static void an_unknown_quantity_is_refused_with_the_nearest(void **state) {
    (void)state;
    refuse("nodularty", ">= 85 %", "did you mean 'nodularity'");
    refuse("Nodularity", ">= 85 %", "did you mean 'nodularity'");
    refuse("pearlite-of-matrix", "<= 5 %", "did you mean 'pearlite_of_matrix'");
    refuse("form_iv", "<= 5 %", "did you mean 'form_IV'");
    refuse("nodules per mm2", ">= 5", "did you mean 'nodules_per_mm2'");
    refuse("colour", "<= 5 %", "known are nodularity, ");
    refuse("", "<= 5 %", "known are");
}

static void rubbish_of_any_bytes_is_refused_or_read_but_never_crashes(void **state) {
    (void)state;
    static const char alphabet[] = "0123456789.%<>=- umn/+,e\xe2\x89\xa5\x80\x93\xc2\xb5";
    uint32_t seed = 1;
    for (int round = 0; round < 20000; round++) {
        char text[24];
        size_t length = 0;
        seed = seed * 1664525U + 1013904223U;
        size_t wanted = (seed >> 16) % 20;
        while (length < wanted) {
            seed = seed * 1664525U + 1013904223U;
            text[length++] = alphabet[(seed >> 16) % (sizeof alphabet - 1)];
        }
        text[length] = '\0';
        struct kb_limit limit;
        const char *name = kb_quantity_name((enum kb_quantity)(round % KB_QUANTITIES));
        if (kb_limit_parse(name, text, &limit, NULL) == KB_OK) {
            assert_true(isnan(limit.low) || limit.low >= 0.0);
            assert_true(isnan(limit.high) || limit.high >= 0.0);
            assert_false(isnan(limit.low) && isnan(limit.high));
        }
    }
}

static void memory_that_runs_out_is_said(void **state) {
    (void)state;
    struct kb_limit limit;
    fail_alloc_at(1);
    assert_int_equal(kb_limit_parse("colour", ">= 1 %", &limit, NULL), KB_E_MEMORY);
    assert_int_equal(fail_alloc_open_blocks(), 0);
    fail_alloc_at(0);
}

static void every_quantity_has_name_words_and_unit(void **state) {
    (void)state;
    for (int i = 0; i < KB_QUANTITIES; i++) {
        enum kb_quantity quantity = (enum kb_quantity)i;
        assert_true(strlen(kb_quantity_name(quantity)) > 0);
        assert_true(strlen(kb_quantity_words(quantity)) > strlen("ferrite"));
        assert_true(strlen(kb_quantity_unit(quantity)) > 0);
        for (int k = 0; k < i; k++) {
            assert_string_not_equal(kb_quantity_name(quantity),
                                    kb_quantity_name((enum kb_quantity)k));
        }
    }
}

static void quantities_measured_elsewhere_have_units_of_their_own(void **state) {
    (void)state;
    expect("hardness_hbw", "160..210 HBW", 160.0, 210.0);
    expect("hardness_hbw", "<= 210", open, 210.0); /* the scale is in the name */
    expect("hardness_hv", ">= 150 HV", 150.0, open);
    expect("tensile_strength", ">= 500 MPa", 500.0, open);
    expect("tensile_strength", "500..650 N/mm\xc2\xb2", 500.0, 650.0); /* the same unit */
    expect("proof_strength", ">= 320 N/mm2", 320.0, open);
    expect("elongation", ">= 7 %", 7.0, open);
    expect("impact_energy", ">= 12 J", 12.0, open);
    refuse("hardness_hbw", ">= 160 HV", "HBW");
    refuse("hardness_hv", ">= 160 HBW", "HV");
    refuse("tensile_strength", ">= 500", "MPa");
    refuse("tensile_strength", ">= 500 %", "MPa");
    refuse("impact_energy", ">= 12", "J");
    refuse("elongation", ">= 7", "unit");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bounds_and_ranges_are_read_as_written),
        cmocka_unit_test(signs_outside_ascii_are_read_too),
        cmocka_unit_test(a_missing_or_wrong_unit_is_refused),
        cmocka_unit_test(values_that_cannot_be_are_refused),
        cmocka_unit_test(other_ways_to_write_get_advice),
        cmocka_unit_test(an_unknown_quantity_is_refused_with_the_nearest),
        cmocka_unit_test(rubbish_of_any_bytes_is_refused_or_read_but_never_crashes),
        cmocka_unit_test(memory_that_runs_out_is_said),
        cmocka_unit_test(quantities_measured_elsewhere_have_units_of_their_own),
        cmocka_unit_test(every_quantity_has_name_words_and_unit),
    };
    return cmocka_run_group_tests_name("limits", tests, NULL, NULL);
}
