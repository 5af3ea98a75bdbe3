/* test_bits.c - sets of pixels against the same asked pixel by pixel, and the steps on sets against
 * those on masks, which are held against scikit-image elsewhere. Widths about a word of 64. */
#include "kb_cmocka.h"
#include "pictures.h"

static const int32_t widths[] = {1, 63, 64, 65, 127, 128, 200};
enum { WIDTHS = sizeof widths / sizeof widths[0], HEIGHT = 40 };

static struct kb_bits bits_of(const struct kb_image *labels, const bool chosen[256]) {
    struct kb_bits bits;
    assert_int_equal(kb_bits_alloc(labels->width, labels->height, &bits, NULL), KB_OK);
    kb_bits_pick(labels, chosen, &bits);
    return bits;
}

static bool holds(const struct kb_bits *bits, int32_t x, int32_t y) {
    return kb_bits_row(bits, y)[x / 64] >> (x % 64) & 1;
}

/* No bit past the last pixel, whatever went before. */
static void check_tail(const struct kb_bits *bits) {
    for (int32_t y = 0; y < bits->height; y++) {
        for (size_t x = (size_t)bits->width; x < 64 * bits->pitch; x++) {
            assert_false(kb_bits_row(bits, y)[x / 64] >> (x % 64) & 1);
        }
    }
}

static void a_set_holds_the_pixels_whose_value_is_chosen(void **unused) {
    (void)unused;
    const bool one[256] = {[1] = true};
    const bool scattered[256] = {[0] = true, [2] = true, [4] = true};
    const bool *chosen[] = {one, scattered};
    for (int w = 0; w < WIDTHS; w++) {
        struct kb_image labels = picture_labels(widths[w], HEIGHT);
        for (int c = 0; c < 2; c++) {
            struct kb_bits bits = bits_of(&labels, chosen[c]);
            uint64_t count = 0;
            for (int32_t y = 0; y < HEIGHT; y++) {
                for (int32_t x = 0; x < widths[w]; x++) {
                    assert_int_equal(holds(&bits, x, y), chosen[c][kb_row(&labels, y)[x]]);
                    count += chosen[c][kb_row(&labels, y)[x]];
                }
            }
            assert_int_equal(kb_bits_count(&bits), count);
            check_tail(&bits);
            kb_bits_release(&bits);
        }
        picture_release(&labels);
    }
}

static void sets_meet_and_part_as_sets_do(void **unused) {
    (void)unused;
    const bool low[256] = {[0] = true, [1] = true, [2] = true};
    const bool odd[256] = {[1] = true, [3] = true};
    struct kb_image labels = picture_labels(130, HEIGHT);
    struct kb_bits both = bits_of(&labels, low), without = bits_of(&labels, low);
    struct kb_bits other = bits_of(&labels, odd);
    kb_bits_both(&both, &other);
    kb_bits_without(&without, &other);
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < 130; x++) {
            uint8_t label = kb_row(&labels, y)[x];
            assert_int_equal(holds(&both, x, y), label == 1);
            assert_int_equal(holds(&without, x, y), label == 0 || label == 2);
        }
    }
    kb_bits_release(&both);
    kb_bits_release(&without);
    kb_bits_release(&other);
    picture_release(&labels);
}

static void painting_changes_the_pixels_of_the_set_only(void **unused) {
    (void)unused;
    const bool chosen[256] = {[1] = true, [2] = true};
    for (int w = 0; w < WIDTHS; w++) {
        picture_seed(5);
        struct kb_image labels = picture_labels(widths[w], HEIGHT);
        picture_seed(5);
        struct kb_image painted = picture_labels(widths[w], HEIGHT);
        struct kb_bits bits = bits_of(&labels, chosen);
        kb_bits_paint(&bits, 77, &painted);
        for (int32_t y = 0; y < HEIGHT; y++) {
            for (int32_t x = 0; x < widths[w]; x++) {
                uint8_t label = kb_row(&labels, y)[x];
                assert_int_equal(kb_row(&painted, y)[x], chosen[label] ? 77 : label);
            }
        }
        kb_bits_release(&bits);
        picture_release(&labels);
        picture_release(&painted);
    }
}

static void check_steps(const struct kb_image *mask, int32_t first, int32_t second, bool opens) {
    const bool set[256] = {[1] = true};
    struct kb_image between = picture_make(mask->width, mask->height);
    struct kb_image expected = picture_make(mask->width, mask->height);
    struct kb_bits bits = bits_of(mask, set), result;
    assert_int_equal(kb_bits_alloc(mask->width, mask->height, &result, NULL), KB_OK);
    if (opens) {
        assert_int_equal(kb_erode(mask, first, &between, NULL), KB_OK);
        assert_int_equal(kb_dilate(&between, second, &expected, NULL), KB_OK);
        assert_int_equal(kb_bits_open(&bits, first, second, &result, NULL), KB_OK);
    } else {
        assert_int_equal(kb_dilate(mask, first, &between, NULL), KB_OK);
        assert_int_equal(kb_erode(&between, second, &expected, NULL), KB_OK);
        assert_int_equal(kb_bits_close(&bits, first, second, &result, NULL), KB_OK);
    }
    check_tail(&result);
    kb_image_fill(&between, 0);
    kb_bits_paint(&result, 1, &between);
    assert_true(picture_same(&between, &expected));
    kb_bits_release(&bits);
    kb_bits_release(&result);
    picture_release(&between);
    picture_release(&expected);
}

static void steps_on_sets_are_those_on_masks(void **unused) {
    (void)unused;
    for (int w = 0; w < WIDTHS; w++) {
        /* more rows than a band has */
        struct kb_image mask = picture_mask(PICTURE_BLOBS, widths[w], 600, 1);
        for (int32_t radius = 0; radius < 12; radius += 3) {
            check_steps(&mask, radius, radius + 1, true);
            check_steps(&mask, radius, radius, false);
        }
        check_steps(&mask, INT32_MAX, 2, true);
        check_steps(&mask, 2, INT32_MAX, false);
        picture_release(&mask);
    }
}

static void sets_of_other_size_or_the_same_words_are_refused(void **unused) {
    (void)unused;
    struct kb_bits a = {0}, b = {0};
    struct kb_err err;
    assert_int_equal(kb_bits_alloc(0, 4, &a, &err), KB_E_INPUT);
    assert_int_equal(kb_bits_alloc(4, KB_SIDE_MAX + 1, &a, &err), KB_E_INPUT);
    assert_null(a.word);
    assert_int_equal(kb_bits_alloc(5, 4, &a, &err), KB_OK);
    assert_int_equal(kb_bits_alloc(4, 5, &b, &err), KB_OK);
    assert_int_equal(kb_bits_open(&a, 1, 1, &b, &err), KB_E_USAGE);
    assert_int_equal(kb_bits_close(&a, 1, 1, &a, &err), KB_E_USAGE);
    assert_string_equal(err.stage, "raster");
    kb_bits_release(&b);
    assert_int_equal(kb_bits_alloc(5, 4, &b, &err), KB_OK);
    assert_int_equal(kb_bits_open(&a, -1, 1, &b, &err), KB_E_USAGE);
    kb_bits_release(&a);
    kb_bits_release(&b);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_set_holds_the_pixels_whose_value_is_chosen),
        cmocka_unit_test(sets_meet_and_part_as_sets_do),
        cmocka_unit_test(painting_changes_the_pixels_of_the_set_only),
        cmocka_unit_test(steps_on_sets_are_those_on_masks),
        cmocka_unit_test(sets_of_other_size_or_the_same_words_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
