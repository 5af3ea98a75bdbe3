/* test_columns.c - columns as rows, sums along strokes and the noise mask against the same written
 * out pixel by pixel. Sizes about the squares of 16 pixels that are turned at once. */
#include "kb_cmocka.h"
#include "pictures.h"

#include <stdlib.h>

static void columns_read_as_rows_hold_the_same_pixels(void **unused) {
    (void)unused;
    static const int32_t heights[] = {1, 15, 16, 17, 33, 50};
    static const int32_t counts[] = {1, 15, 16, 17, 40};
    uint8_t to[40 * 60];
    for (int h = 0; h < 6; h++) {
        struct kb_image grey = picture_grey(47, heights[h]);
        for (int c = 0; c < 5; c++) {
            kb_columns(&grey, 7, counts[c], to, 60);
            for (int32_t x = 0; x < counts[c]; x++) {
                for (int32_t y = 0; y < heights[h]; y++) {
                    assert_int_equal(to[x * 60 + y], kb_row(&grey, y)[7 + x]);
                }
            }
        }
        picture_release(&grey);
    }
}

static void sums_abreast_are_those_of_each_place(void **unused) {
    (void)unused;
    struct kb_image grey = picture_grey(64, 64);
    ptrdiff_t place[257];
    uint16_t sum[KB_ABREAST];
    for (int count = 0; count <= 257; count += 257) { /* none, and as many as there may be */
        for (int k = 0; k < count; k++) {
            place[k] = (ptrdiff_t)(picture_random() % 60) * (ptrdiff_t)grey.stride +
                       (ptrdiff_t)(picture_random() % 48);
        }
        kb_add_up(grey.px, place, count, sum);
        for (int i = 0; i < KB_ABREAST; i++) {
            int expected = 0;
            for (int k = 0; k < count; k++) {
                expected += grey.px[place[k] + i];
            }
            assert_int_equal(sum[i], expected);
        }
    }
    kb_image_fill(&grey, 255); /* the largest sum there can be */
    kb_add_up(grey.px, place, 257, sum);
    assert_int_equal(sum[0], 257 * 255);
    picture_release(&grey);
}

static void the_noise_mask_answers_as_written_out(void **unused) {
    (void)unused;
    static const int weight[9] = {1, -2, 1, -2, 4, -2, 1, -2, 1};
    struct kb_image grey = picture_grey(70, 3);
    kb_row(&grey, 0)[0] = kb_row(&grey, 0)[2] = kb_row(&grey, 1)[1] = 255; /* the largest answer */
    kb_row(&grey, 0)[1] = kb_row(&grey, 1)[0] = kb_row(&grey, 1)[2] = kb_row(&grey, 2)[1] = 0;
    kb_row(&grey, 2)[0] = kb_row(&grey, 2)[2] = 255;
    uint16_t answer[68];
    kb_noise_answers(kb_row(&grey, 0), kb_row(&grey, 1), kb_row(&grey, 2), 68, answer);
    for (int32_t x = 0; x < 68; x++) {
        int expected = 0;
        for (int i = 0; i < 9; i++) {
            expected += weight[i] * kb_row(&grey, i / 3)[x + i % 3];
        }
        assert_int_equal(answer[x], abs(expected));
        assert_true(answer[x] < KB_NOISE_ANSWERS);
    }
    assert_int_equal(answer[0], 8 * 255);
    picture_release(&grey);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(columns_read_as_rows_hold_the_same_pixels),
        cmocka_unit_test(sums_abreast_are_those_of_each_place),
        cmocka_unit_test(the_noise_mask_answers_as_written_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
