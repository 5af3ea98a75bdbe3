/* test_shown.c - text and figures as they are shown. UTF-8 cases after RFC 3629, sections 3, 4, 10.
 */
#include "report_priv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static void check_text(const char *bytes, const char *shown) {
    struct kb_text text = KB_TEXT_INIT;
    kb_text_plain(&text, bytes);
    kb_text_add(&text, "");
    assert_string_equal(text.data, shown);
    kb_text_release(&text);
}

#define BAD "\xef\xbf\xbd"

static void text_is_always_valid_utf_8(void **state) {
    (void)state;
    check_text("A\xe2\x89\xa2\xce\x91.", "A\xe2\x89\xa2\xce\x91."); /* RFC 3629, section 7 */
    check_text("\xc0\xae", BAD BAD);                                /* overlong "." */
    check_text("\xe0\x80\xaf", BAD);                                /* overlong "/" */
    check_text("\xed\xa0\x80", BAD);                                /* a surrogate */
    check_text("\xf4\x90\x80\x80", BAD);                            /* beyond U+10FFFF */
    check_text("a\xff z", "a" BAD " z");
    check_text("cut\xe2\x82", "cut" BAD);
    check_text("\x1b[2Jx\x7f\x01", BAD "[2Jx" BAD BAD);
    check_text("two\nlines", "two lines");
    check_text("a\xe2\x80\xae"
               "fit.exe",
               "a" BAD "fit.exe"); /* right-to-left override */
    check_text("\xf0\x9f\x94\xa9", "\xf0\x9f\x94\xa9");
    assert_int_equal(kb_text_columns("µ–ä\xff"), 4);
}

static struct kb_shown shown(double value, double half, const char *unit) {
    struct kb_estimate e = kb_estimate_point(value, 5, unit, "");
    e.has_interval = half >= 0.0;
    e.lo = value - half;
    e.hi = value + half;
    return kb_show(&e);
}

static void figures_show_the_digits_that_their_interval_supports(void **state) {
    (void)state;
    struct kb_shown s = shown(0.11613, 0.0083, "1");
    assert_string_equal(s.value, "11.6");
    assert_string_equal(s.low, "10.8");
    assert_string_equal(s.high, "12.4");
    assert_string_equal(s.unit, "%");
    s = shown(0.4023, 0.0191, "%");
    assert_string_equal(s.value, "0.402");
    assert_string_equal(s.low, "0.383");
    s = shown(212.34, 14.4, "1/mm2");
    assert_string_equal(s.value, "212");
    assert_string_equal(s.unit, "/mm²");
    s = shown(58.3, 21.0, "%"); /* no digit finer than the second of the half-width */
    assert_string_equal(s.value, "58");
    s = shown(104840.0, 16210.0, "1/mm3"); /* before the point too */
    assert_string_equal(s.value, "105000");
    assert_string_equal(s.low, "89000");
    assert_string_equal(s.high, "121000");
    s = shown(1234.5, 0.04, "um"); /* but never so coarse that the interval looks empty */
    assert_string_equal(s.low, "1234.46");
    assert_string_equal(s.high, "1234.54");
}

static void a_value_is_not_rounded_away_by_a_far_wider_interval(void **state) {
    (void)state;
    struct kb_shown s = shown(87.4, 11500.0, "1/mm2");
    assert_string_equal(s.value, "87");
    assert_string_equal(s.high, "11600");
    s = shown(115.03, 124.0, "1/mm2");
    assert_string_equal(s.value, "120"); /* two digits, as the interval allows */
    s = shown(0.0, 11500.0, "1/mm2");
    assert_string_equal(s.value, "0");
}

static void figures_without_interval_show_three_digits(void **state) {
    (void)state;
    assert_string_equal(shown(0.58049, -1.0, "1").value, "58.0");
    assert_string_equal(shown(3.5161, -1.0, "%").value, "3.52");
    assert_string_equal(shown(48.31, -1.0, "um").value, "48.3");
    assert_string_equal(shown(10484.0, -1.0, "1/mm3").value, "10500");
    assert_string_equal(shown(0.0, -1.0, "1").value, "0.0");
    assert_false(shown(0.5, -1.0, "1").has_interval);
}

static void nothing_is_shown_of_what_was_not_measured(void **state) {
    (void)state;
    struct kb_estimate none = kb_estimate_missing("um", "the pixel size is unknown");
    assert_false(kb_show(&none).measured);
    assert_string_equal(kb_show(&none).value, "–");
    struct kb_estimate odd = kb_estimate_point((double)NAN, 1, "um", "");
    assert_false(kb_show(&odd).measured);
    assert_true(isnan(kb_relative_accuracy_percent(&none)));
    char number[16];
    kb_show_number(number, sizeof number, -0.001, 1);
    assert_string_equal(number, "0.0");
    kb_show_number(number, sizeof number, (double)INFINITY, 1);
    assert_string_equal(number, "–");
}

/* CIE 1976 L* of an sRGB colour (IEC 61966-2-1), for what a grey print keeps of it. */
static double lightness(const uint8_t rgb[3]) {
    static const double weight[3] = {0.2126, 0.7152, 0.0722};
    double y = 0.0;
    for (int i = 0; i < 3; i++) {
        double v = rgb[i] / 255.0;
        y += weight[i] * (v <= 0.04045 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4));
    }
    return y > 0.008856 ? 116.0 * cbrt(y) - 16.0 : 903.3 * y;
}

static void phases_stay_apart_in_a_grey_print(void **state) {
    (void)state;
    for (int a = KB_GRAPHITE; a < KB_PHASES; a++) {
        for (int b = a + 1; b < KB_PHASES; b++) {
            const struct kb_look *p = kb_phase_look((enum kb_phase)a);
            const struct kb_look *q = kb_phase_look((enum kb_phase)b);
            double apart = fabs(lightness(p->rgb) - lightness(q->rgb));
            /* 10 of L* is seen at a glance between patches; else the hatch must tell them apart.
             * Ferrite and matrix never stand in one picture. */
            bool never = a == KB_FERRITE && b == KB_MATRIX;
            if (!never && apart < 10.0 && p->hatch == q->hatch) {
                fail_msg("%d and %d: %.1f", a, b, apart);
            }
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(text_is_always_valid_utf_8),
        cmocka_unit_test(figures_show_the_digits_that_their_interval_supports),
        cmocka_unit_test(a_value_is_not_rounded_away_by_a_far_wider_interval),
        cmocka_unit_test(figures_without_interval_show_three_digits),
        cmocka_unit_test(nothing_is_shown_of_what_was_not_measured),
        cmocka_unit_test(phases_stay_apart_in_a_grey_print),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
