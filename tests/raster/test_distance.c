/* test_distance.c - squared distances against looking at every pair of pixels. */
#include "kb_cmocka.h"
#include "pictures.h"

#include <stdlib.h>
#include <string.h>

static uint32_t nearest(const uint8_t *mask, int32_t width, int32_t height, bool outside_clear,
                        int32_t x, int32_t y) {
    if (mask[y * width + x] == 0) {
        return 0;
    }
    int64_t best = UINT32_MAX;
    if (outside_clear) {
        int64_t across = x + 1 < width - x ? x + 1 : width - x;
        int64_t down = y + 1 < height - y ? y + 1 : height - y;
        best = across < down ? across * across : down * down;
    }
    for (int32_t v = 0; v < height; v++) {
        for (int32_t u = 0; u < width; u++) {
            int64_t squared = (int64_t)(u - x) * (u - x) + (int64_t)(v - y) * (v - y);
            if (mask[v * width + u] == 0 && squared < best) {
                best = squared;
            }
        }
    }
    return (uint32_t)best;
}

static void check_mask(enum picture_kind kind, int32_t width, int32_t height, bool outside_clear) {
    size_t pixels = (size_t)width * (size_t)height;
    struct kb_image picture = picture_mask(kind, width, height, 200);
    uint8_t *mask = malloc(pixels);
    uint32_t *squared = malloc(pixels * sizeof *squared);
    assert_non_null(mask);
    assert_non_null(squared);
    for (int32_t y = 0; y < height; y++) {
        memcpy(mask + (size_t)y * (size_t)width, kb_row(&picture, y), (size_t)width);
    }
    assert_int_equal(kb_distance_squared(mask, width, height, outside_clear, squared, NULL), KB_OK);
    for (int32_t y = 0; y < height; y++) {
        for (int32_t x = 0; x < width; x++) {
            assert_int_equal(squared[y * width + x],
                             nearest(mask, width, height, outside_clear, x, y));
        }
    }
    free(mask);
    free(squared);
    picture_release(&picture);
}

static void distances_are_those_to_the_nearest_clear_pixel(void **unused) {
    (void)unused;
    for (int size = 0; size < picture_size_count; size++) {
        for (int kind = 0; kind < PICTURE_KINDS; kind++) {
            for (int outside = 0; outside < 2; outside++) {
                check_mask((enum picture_kind)kind, picture_sizes[size].width,
                           picture_sizes[size].height, outside == 1);
            }
        }
    }
}

/* One clear pixel in a corner: x^2 + y^2 by Pythagoras, up to the far corner. */
static void one_clear_pixel_is_seen_from_everywhere(void **unused) {
    (void)unused;
    enum { WIDTH = 301, HEIGHT = 173 };
    static uint8_t mask[WIDTH * HEIGHT];
    static uint32_t squared[WIDTH * HEIGHT];
    memset(mask, 1, sizeof mask);
    mask[0] = 0;
    assert_int_equal(kb_distance_squared(mask, WIDTH, HEIGHT, false, squared, NULL), KB_OK);
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            assert_int_equal(squared[y * WIDTH + x], x * x + y * y);
        }
    }
}

static void the_longest_row_allowed_does_not_overflow(void **unused) {
    (void)unused;
    static uint8_t mask[KB_DISTANCE_SIDE_MAX];
    static uint32_t squared[KB_DISTANCE_SIDE_MAX];
    memset(mask, 1, sizeof mask);
    mask[0] = 0;
    assert_int_equal(kb_distance_squared(mask, KB_DISTANCE_SIDE_MAX, 1, false, squared, NULL),
                     KB_OK);
    uint32_t farthest = KB_DISTANCE_SIDE_MAX - 1;
    assert_int_equal(squared[farthest], farthest * farthest);
    assert_int_equal(kb_distance_squared(mask, 1, KB_DISTANCE_SIDE_MAX, false, squared, NULL),
                     KB_OK);
    assert_int_equal(squared[farthest], farthest * farthest);
}

static void impossible_sizes_are_refused(void **unused) {
    (void)unused;
    uint8_t mask = 1;
    uint32_t squared = 7;
    struct kb_err err;
    assert_int_equal(kb_distance_squared(&mask, 0, 1, false, &squared, &err), KB_E_INPUT);
    assert_int_equal(kb_distance_squared(&mask, 1, -3, false, &squared, &err), KB_E_INPUT);
    assert_int_equal(kb_distance_squared(&mask, KB_DISTANCE_SIDE_MAX + 1, 1, false, &squared, &err),
                     KB_E_INPUT);
    assert_int_equal(squared, 7);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(distances_are_those_to_the_nearest_clear_pixel),
        cmocka_unit_test(one_clear_pixel_is_seen_from_everywhere),
        cmocka_unit_test(the_longest_row_allowed_does_not_overflow),
        cmocka_unit_test(impossible_sizes_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
