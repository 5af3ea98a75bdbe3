/* test_grey_in_memory.c - a field from grey levels that no file holds. */
#include "kb_cmocka.h"
#include "keelblock/intake.h"

#include <string.h>

static struct kb_image picture(void) {
    struct kb_image grey;
    assert_int_equal(kb_image_alloc(7, 5, &grey, NULL), KB_OK);
    kb_image_fill(&grey, 90);
    return grey;
}

static void the_field_takes_the_pixels_and_their_scale(void **state) {
    (void)state;
    struct kb_image grey = picture();
    const uint8_t *pixels = grey.px;
    struct kb_field field;
    assert_int_equal(kb_field_from_grey(&grey, 0.5, "drawn", &field, NULL), KB_OK);
    assert_null(grey.px);
    assert_ptr_equal(field.grey.px, pixels);
    assert_string_equal(field.path, "drawn");
    assert_string_equal(field.sha256, "");
    assert_int_equal(field.scale_source, KB_SCALE_GIVEN);
    assert_near(kb_field_area_mm2(&field), 7 * 5 * 0.25e-6, 1e-15);
    assert_near(field.grey_high - field.grey_low, 255.0, 0.0);
    kb_field_release(&field);
}

static void without_scale_it_is_unknown(void **state) {
    (void)state;
    struct kb_image grey = picture();
    struct kb_field field;
    assert_int_equal(kb_field_from_grey(&grey, 0.0, "drawn", &field, NULL), KB_OK);
    assert_int_equal(field.scale_source, KB_SCALE_UNKNOWN);
    assert_true(isnan(kb_field_area_mm2(&field)));
    kb_field_release(&field);
}

static void what_cannot_be_a_field_is_refused_and_the_pixels_stay(void **state) {
    (void)state;
    const double bad[] = {-1.0, (double)NAN, (double)INFINITY, 1e9};
    struct kb_field field;
    struct kb_image none = {0};
    assert_int_equal(kb_field_from_grey(&none, 0.5, "none", &field, NULL), KB_E_INPUT);
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct kb_image grey = picture();
        assert_int_equal(kb_field_from_grey(&grey, bad[i], "drawn", &field, NULL), KB_E_USAGE);
        assert_non_null(grey.px);
        assert_null(field.grey.px);
        kb_image_release(&grey);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_field_takes_the_pixels_and_their_scale),
        cmocka_unit_test(without_scale_it_is_unknown),
        cmocka_unit_test(what_cannot_be_a_field_is_refused_and_the_pixels_stay),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
