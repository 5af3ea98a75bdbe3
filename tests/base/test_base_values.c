/* test_base_values.c - errors, memory, text, numbers, findings, estimates. */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "keelblock/base.h"

#include <locale.h>
#include <string.h>

static void an_error_names_stage_subject_and_advice(void **state) {
    (void)state;
    struct kb_err err;
    char line[256];
    assert_int_equal(kb_fail(&err, KB_E_INPUT, "intake", "a.tif", "%d-bit (convert)", 12),
                     KB_E_INPUT);
    kb_err_line(&err, line, sizeof line);
    assert_string_equal(line, "intake: 'a.tif': 12-bit (convert)");
    assert_int_equal(kb_fail(NULL, KB_E_USAGE, "app", NULL, "x"), KB_E_USAGE);
}

static void an_error_stays_one_line_whatever_the_file_is_called(void **state) {
    (void)state;
    struct kb_err err;
    char line[256];
    (void)kb_fail(&err, KB_E_INPUT, "intake", "a\nb\033[31m.tif", "no");
    kb_err_line(&err, line, sizeof line);
    assert_null(strchr(line, '\n'));
    assert_null(strchr(line, '\033'));
}

static void a_very_long_subject_is_cut_not_overrun(void **state) {
    (void)state;
    char name[2000];
    memset(name, 'n', sizeof name - 1);
    name[sizeof name - 1] = '\0';
    struct kb_err err;
    char line[64];
    (void)kb_fail(&err, KB_E_INPUT, "a stage name that is far too long", name, "%s", name);
    kb_err_line(&err, line, sizeof line);
    assert_int_equal(strlen(line), sizeof line - 1);
}

static void sizes_that_overflow_are_refused(void **state) {
    (void)state;
    size_t product = 7;
    assert_false(kb_size_multiply(SIZE_MAX / 2, 3, &product));
    assert_int_equal(product, 7);
    assert_null(kb_alloc(SIZE_MAX / 2, 3));
    assert_true(kb_size_multiply(6, 7, &product));
    assert_int_equal(product, 42);
}

static void a_failed_growth_leaves_the_array_usable(void **state) {
    (void)state;
    fail_alloc_at(3);
    void *items = NULL;
    size_t capacity = 0, count = 0;
    while (kb_grow(&items, count, &capacity, sizeof(int))) {
        ((int *)items)[count] = (int)count;
        count++;
    }
    assert_true(fail_alloc_happened());
    assert_true(count >= 8);
    assert_int_equal(((int *)items)[count - 1], count - 1);
    kb_free(items);
    assert_int_equal(fail_alloc_open_blocks(), 0);
    fail_alloc_at(0);
}

static void text_grows_past_its_small_buffer_and_fails_once(void **state) {
    (void)state;
    struct kb_text text = KB_TEXT_INIT;
    char big[1000];
    memset(big, 'x', sizeof big - 1);
    big[sizeof big - 1] = '\0';
    kb_text_add(&text, "a");
    kb_text_format(&text, "%d%s", 5, big);
    assert_int_equal(text.length, 2 + 999);
    assert_false(text.failed);
    kb_text_release(&text);
    fail_alloc_at(1);
    kb_text_add(&text, "lost");
    fail_alloc_at(0);
    kb_text_add(&text, "also lost");
    assert_true(text.failed);
    assert_int_equal(text.length, 0);
    kb_text_release(&text);
}

static void numbers_are_whole_or_refused(void **state) {
    (void)state;
    static const char *const bad[] = {"",    " ",   "abc", "1x",  "nan", "inf", "0x10", "1e999",
                                      "1,5", "--1", "+",   "1 2", ".",   "e5",  "-inf", "1e"};
    double value = -7;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_false(kb_parse_number(bad[i], &value));
    }
    assert_near(value, -7, 0);
    assert_true(kb_parse_number("-1.5e3", &value));
    assert_near(value, -1500, 0);
    assert_true(kb_parse_number(".5", &value));
    assert_near(value, 0.5, 0);
}

static void integers_keep_to_their_range(void **state) {
    (void)state;
    int64_t value = 0;
    assert_true(kb_parse_integer("12", 1, 12, &value));
    assert_int_equal(value, 12);
    assert_false(kb_parse_integer("13", 1, 12, &value));
    assert_false(kb_parse_integer("0", 1, 12, &value));
    assert_false(kb_parse_integer("1.0", 1, 12, &value));
    assert_false(kb_parse_integer(" 1", 1, 12, &value));
    assert_false(kb_parse_integer("99999999999999999999", 0, INT64_MAX, &value));
}

static void a_length_needs_its_unit(void **state) {
    (void)state;
    double um = 0;
    assert_true(kb_parse_length_um("0.5um", &um));
    assert_near(um, 0.5, 0);
    assert_true(kb_parse_length_um("0.5 \xc2\xb5m", &um));
    assert_true(kb_parse_length_um("0.5\xce\xbcm", &um));
    assert_true(kb_parse_length_um("500nm", &um));
    assert_near(um, 0.5, 1e-12);
    assert_true(kb_parse_length_um("0.0005 mm", &um));
    assert_near(um, 0.5, 1e-12);
    assert_false(kb_parse_length_um("0.5", &um));
    assert_false(kb_parse_length_um("0.5px", &um));
    assert_false(kb_parse_length_um("um", &um));
}

static void a_fraction_above_one_must_be_a_percentage(void **state) {
    (void)state;
    double fraction = 0;
    assert_true(kb_parse_fraction("41 %", &fraction));
    assert_near(fraction, 0.41, 1e-12);
    assert_true(kb_parse_fraction("0.41", &fraction));
    assert_false(kb_parse_fraction("41", &fraction));
    assert_false(kb_parse_fraction("101%", &fraction));
    assert_false(kb_parse_fraction("-1%", &fraction));
    double px = 0;
    assert_true(kb_parse_pixels("200px", &px));
    assert_false(kb_parse_pixels("200", &px));
}

static void numbers_keep_their_point_under_a_comma_locale(void **state) {
    (void)state;
    /* present on most machines; where not, the C locale makes this the plain case */
    (void)setlocale(LC_NUMERIC, "de_DE.UTF-8");
    double value = 0;
    assert_true(kb_parse_number("1.5", &value));
    assert_near(value, 1.5, 0);
    struct kb_locale locale = kb_locale_enter();
    char text[16];
    (void)snprintf(text, sizeof text, "%.1f", 1.5);
    kb_locale_leave(locale);
    assert_string_equal(text, "1.5");
    (void)setlocale(LC_NUMERIC, "C");
}

static void findings_keep_their_order_and_are_found_by_code(void **state) {
    (void)state;
    struct kb_findings findings = KB_FINDINGS_INIT;
    for (int i = 0; i < 20; i++) {
        assert_int_equal(kb_findings_add(&findings, NULL, KB_WARNING, "few-fields", "%d fields", i),
                         KB_OK);
    }
    assert_int_equal(findings.count, 20);
    assert_string_equal(findings.item[19].text, "19 fields");
    assert_true(kb_findings_has(&findings, "few-fields"));
    assert_false(kb_findings_has(&findings, "few"));
    kb_findings_release(&findings);
}

static void a_missing_estimate_has_no_number_at_all(void **state) {
    (void)state;
    struct kb_estimate missing = kb_estimate_missing("%", "no scale");
    assert_false(missing.measured);
    assert_true(isnan(missing.value) && isnan(missing.lo) && isnan(missing.hi) && isnan(missing.s));
    struct kb_estimate point = kb_estimate_point(3, 1, "%", "counted");
    assert_true(point.measured && !point.has_interval && isnan(point.lo));
}

static void trimming_keeps_the_middle(void **state) {
    (void)state;
    char text[] = " \t a b \r\n";
    assert_string_equal(kb_trim(text), "a b");
    char blank[] = "   ";
    assert_string_equal(kb_trim(blank), "");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_error_names_stage_subject_and_advice),
        cmocka_unit_test(an_error_stays_one_line_whatever_the_file_is_called),
        cmocka_unit_test(a_very_long_subject_is_cut_not_overrun),
        cmocka_unit_test(sizes_that_overflow_are_refused),
        cmocka_unit_test(a_failed_growth_leaves_the_array_usable),
        cmocka_unit_test(text_grows_past_its_small_buffer_and_fails_once),
        cmocka_unit_test(numbers_are_whole_or_refused),
        cmocka_unit_test(integers_keep_to_their_range),
        cmocka_unit_test(a_length_needs_its_unit),
        cmocka_unit_test(a_fraction_above_one_must_be_a_percentage),
        cmocka_unit_test(numbers_keep_their_point_under_a_comma_locale),
        cmocka_unit_test(findings_keep_their_order_and_are_found_by_code),
        cmocka_unit_test(a_missing_estimate_has_no_number_at_all),
        cmocka_unit_test(trimming_keeps_the_middle),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
