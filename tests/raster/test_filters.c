/* test_filters.c - image, histogram, 3 x 3 filters and local windows against the plainest way to
 * write each of them down. */
#include "kb_cmocka.h"
#include "pictures.h"

#include <stdlib.h>
#include <string.h>

static const bool some[256] = {[1] = true, [2] = true, [255] = true}; /* not one interval */
static const bool one[256] = {[3] = true};
static const bool none[256] = {false};
static const int32_t radii[] = {0, 1, 3, 20, 500};
static const int radius_count = (int)(sizeof radii / sizeof radii[0]);

static int32_t clamp(int32_t value, int32_t low, int32_t high) {
    return value < low ? low : value > high ? high : value;
}

static uint8_t pixel(const struct kb_image *image, int32_t x, int32_t y) {
    return kb_row(image, clamp(y, 0, image->height - 1))[clamp(x, 0, image->width - 1)];
}

/* ---- image ------------------------------------------------------------------------------------
 */

static void a_picture_has_the_size_asked_for(void **unused) {
    (void)unused;
    struct kb_image image;
    assert_int_equal(kb_image_alloc(7, 5, &image, NULL), KB_OK);
    assert_int_equal(image.width, 7);
    assert_int_equal(image.height, 5);
    assert_true(image.stride >= 7);
    assert_int_equal(kb_image_pixels(&image), 35);
    kb_image_fill(&image, 9);
    assert_int_equal(kb_row(&image, 4)[6], 9);
    kb_image_release(&image);
    assert_null(image.px);
    kb_image_release(&image);
}

static void sizes_outside_the_limits_are_refused(void **unused) {
    (void)unused;
    static const struct picture_size bad[] = {
        {0, 5}, {5, 0}, {-1, 5}, {KB_SIDE_MAX + 1, 1}, {1, KB_SIDE_MAX + 1}, {KB_SIDE_MAX, 30000}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct kb_image image;
        struct kb_err err;
        assert_int_equal(kb_image_alloc(bad[i].width, bad[i].height, &image, &err), KB_E_INPUT);
        assert_string_equal(err.stage, "raster");
        assert_null(image.px);
    }
}

static void fill_leaves_the_gaps_between_rows_alone(void **unused) {
    (void)unused;
    struct kb_image image = picture_make(9, 4);
    kb_image_fill(&image, 1);
    picture_check_gaps(&image);
    picture_release(&image);
}

/* ---- histogram --------------------------------------------------------------------------------
 */

static void histogram_counts_every_chosen_pixel_once(void **unused) {
    (void)unused;
    const bool *sets[] = {some, one, none};
    for (int size = 0; size < picture_size_count; size++) {
        struct kb_image grey = picture_grey(picture_sizes[size].width, picture_sizes[size].height);
        struct kb_image labels = picture_labels(grey.width, grey.height);
        for (int set = 0; set < 4; set++) {
            uint64_t expected[256] = {0};
            for (int32_t y = 0; y < grey.height; y++) {
                for (int32_t x = 0; x < grey.width; x++) {
                    bool counts = set == 3 || sets[set][kb_row(&labels, y)[x]];
                    expected[kb_row(&grey, y)[x]] += counts ? 1 : 0;
                }
            }
            uint64_t bins[256];
            memset(bins, 0xEE, sizeof bins);
            kb_histogram(&grey, set == 3 ? NULL : &labels, set == 3 ? NULL : sets[set], bins);
            assert_memory_equal(bins, expected, sizeof bins);
        }
        picture_release(&grey);
        picture_release(&labels);
    }
}

/* ---- 3 x 3 filters ----------------------------------------------------------------------------
 */

static uint8_t plain_smooth(const struct kb_image *from, int32_t x, int32_t y) {
    static const int weight[3] = {1, 2, 1};
    int sum = 0;
    for (int32_t dy = -1; dy <= 1; dy++) {
        for (int32_t dx = -1; dx <= 1; dx++) {
            sum += weight[dx + 1] * weight[dy + 1] * pixel(from, x + dx, y + dy);
        }
    }
    return (uint8_t)floor(sum / 16.0 + 0.5);
}

static int by_byte(const void *a, const void *b) {
    return *(const uint8_t *)a - *(const uint8_t *)b;
}

static uint8_t plain_median(const struct kb_image *from, int32_t x, int32_t y) {
    uint8_t nine[9];
    int count = 0;
    for (int32_t dy = -1; dy <= 1; dy++) {
        for (int32_t dx = -1; dx <= 1; dx++) {
            nine[count++] = pixel(from, x + dx, y + dy);
        }
    }
    qsort(nine, 9, 1, by_byte);
    return nine[4];
}

static void check_filter(enum kb_status (*fast)(const struct kb_image *, struct kb_image *,
                                                struct kb_err *),
                         uint8_t (*plain)(const struct kb_image *, int32_t, int32_t)) {
    for (int size = 0; size < picture_size_count; size++) {
        struct kb_image grey = picture_grey(picture_sizes[size].width, picture_sizes[size].height);
        struct kb_image to = picture_make(grey.width, grey.height);
        assert_int_equal(fast(&grey, &to, NULL), KB_OK);
        picture_check_gaps(&to);
        for (int32_t y = 0; y < grey.height; y++) {
            for (int32_t x = 0; x < grey.width; x++) {
                assert_int_equal(kb_row(&to, y)[x], plain(&grey, x, y));
            }
        }
        picture_release(&grey);
        picture_release(&to);
    }
}

static void smoothing_weighs_1_2_1_both_ways_and_rounds_half_up(void **unused) {
    (void)unused;
    check_filter(kb_smooth, plain_smooth);
}

static void median_is_the_fifth_of_nine_sorted(void **unused) {
    (void)unused;
    check_filter(kb_median, plain_median);
}

static void a_picture_filtered_in_place_is_as_if_into_another(void **unused) {
    (void)unused;
    struct kb_image grey = picture_grey(37, 21);
    struct kb_image to = picture_make(37, 21);
    assert_int_equal(kb_smooth(&grey, &to, NULL), KB_OK);
    assert_int_equal(kb_smooth(&grey, &grey, NULL), KB_OK);
    assert_true(picture_same(&grey, &to));
    assert_int_equal(kb_median(&grey, &to, NULL), KB_OK);
    assert_int_equal(kb_median(&grey, &grey, NULL), KB_OK);
    assert_true(picture_same(&grey, &to));
    picture_release(&grey);
    picture_release(&to);
}

struct kept_rows {
    struct kb_image *to;
    int32_t step, taken;
};

static void keep_row(void *context, int32_t y, const uint8_t *mean) {
    struct kept_rows *kept = context;
    assert_int_equal(y, kept->taken * kept->step);
    memcpy(kb_row(kept->to, y), mean, (size_t)kept->to->width);
    kept->taken++;
}

static void means_given_by_rows_are_those_of_the_picture(void **unused) {
    (void)unused;
    struct kb_image grey = picture_grey(40, 31);
    struct kb_image labels = picture_labels(40, 31);
    struct kb_image to = picture_make(40, 31);
    for (int32_t step = 1; step <= 40; step += 3) {
        struct kb_image rows = picture_make(40, 31);
        struct kept_rows kept = {&rows, step, 0};
        assert_int_equal(kb_local_mean(&grey, &labels, some, 3, &to, NULL), KB_OK);
        assert_int_equal(kb_local_mean_rows(&grey, &labels, some, 3, step, keep_row, &kept, NULL),
                         KB_OK);
        assert_int_equal(kept.taken, (31 + step - 1) / step);
        for (int32_t y = 0; y < 31; y += step) {
            assert_memory_equal(kb_row(&rows, y), kb_row(&to, y), 40);
        }
        picture_release(&rows);
    }
    picture_release(&grey);
    picture_release(&labels);
    picture_release(&to);
}

static void pictures_of_other_size_or_the_same_pixels_are_refused(void **unused) {
    (void)unused;
    struct kb_image a = picture_grey(5, 4);
    struct kb_image b = picture_grey(4, 5);
    struct kb_image alias = a;
    struct kb_err err;
    assert_int_equal(kb_smooth(&a, &b, &err), KB_E_USAGE);
    assert_int_equal(kb_median(&a, &b, &err), KB_E_USAGE);
    assert_int_equal(kb_local_mean(&a, &b, some, 1, &alias, &err), KB_E_USAGE);
    assert_int_equal(kb_local_mean(&a, NULL, NULL, 1, &b, &err), KB_E_USAGE);
    picture_release(&b);
    b = picture_grey(5, 4);
    assert_int_equal(kb_local_mean(&a, NULL, NULL, -1, &b, &err), KB_E_USAGE);
    assert_int_equal(kb_local_deviation(&a, NULL, NULL, -1, &b, &err), KB_E_USAGE);
    assert_int_equal(kb_local_mean(&a, &b, some, 1, &b, &err), KB_E_USAGE);
    picture_release(&a);
    picture_release(&b);
}

/* ---- local windows ----------------------------------------------------------------------------
 */

/* Count, mean and standard deviation of a window, by visiting its pixels twice. */
struct plain_window {
    long count;
    double mean, deviation;
};

static struct plain_window look(const struct kb_image *grey, const struct kb_image *labels,
                                const bool *chosen, int32_t radius, int32_t x, int32_t y) {
    int32_t left = clamp(x - radius, 0, grey->width - 1);
    int32_t right = clamp(x + radius, 0, grey->width - 1);
    int32_t top = clamp(y - radius, 0, grey->height - 1);
    int32_t bottom = clamp(y + radius, 0, grey->height - 1);
    struct plain_window window = {0, 0.0, 0.0};
    for (int pass = 0; pass < 2; pass++) {
        double sum = 0.0;
        window.count = 0;
        for (int32_t v = top; v <= bottom; v++) {
            for (int32_t u = left; u <= right; u++) {
                if (labels == NULL || chosen[kb_row(labels, v)[u]]) {
                    double value = kb_row(grey, v)[u];
                    sum += pass == 0 ? value : (value - window.mean) * (value - window.mean);
                    window.count++;
                }
            }
        }
        if (window.count > 0 && pass == 0) {
            window.mean = sum / (double)window.count;
        } else if (window.count > 0) {
            window.deviation = sqrt(sum / (double)window.count);
        }
    }
    return window;
}

/* The reference carries rounding of its own: a half may fall to either side of it. */
static void assert_rounded(uint8_t value, double exact) {
    assert_true(value >= exact - 0.5 - 1e-9 && value <= exact + 0.5 + 1e-9);
}

static void check_windows(const struct kb_image *grey, const struct kb_image *labels,
                          const bool *chosen, int32_t radius) {
    struct kb_image mean = picture_make(grey->width, grey->height);
    struct kb_image deviation = picture_make(grey->width, grey->height);
    assert_int_equal(kb_local_mean(grey, labels, chosen, radius, &mean, NULL), KB_OK);
    assert_int_equal(kb_local_deviation(grey, labels, chosen, radius, &deviation, NULL), KB_OK);
    picture_check_gaps(&mean);
    picture_check_gaps(&deviation);
    for (int32_t y = 0; y < grey->height; y++) {
        for (int32_t x = 0; x < grey->width; x++) {
            struct plain_window window = look(grey, labels, chosen, radius, x, y);
            double expected = window.count > 0 ? window.mean : kb_row(grey, y)[x];
            assert_rounded(kb_row(&mean, y)[x], expected);
            assert_rounded(kb_row(&deviation, y)[x], window.deviation);
        }
    }
    picture_release(&mean);
    picture_release(&deviation);
}

static void windows_hold_the_chosen_pixels_and_are_clipped_at_the_frame(void **unused) {
    (void)unused;
    for (int size = 0; size < picture_size_count; size++) {
        struct kb_image grey = picture_grey(picture_sizes[size].width, picture_sizes[size].height);
        struct kb_image labels = picture_labels(grey.width, grey.height);
        for (int r = 0; r < radius_count; r++) {
            check_windows(&grey, NULL, NULL, radii[r]);
            check_windows(&grey, &labels, some, radii[r]);
            check_windows(&grey, &labels, one, radii[r]);
            check_windows(&grey, &labels, none, radii[r]);
        }
        picture_release(&grey);
        picture_release(&labels);
    }
}

static void means_and_deviations_round_a_half_up(void **unused) {
    (void)unused;
    uint8_t px[2] = {10, 11};
    uint8_t result[2];
    struct kb_image grey = {.width = 2, .height = 1, .stride = 2, .px = px};
    struct kb_image to = {.width = 2, .height = 1, .stride = 2, .px = result};
    assert_int_equal(kb_local_mean(&grey, NULL, NULL, 1, &to, NULL), KB_OK);
    assert_int_equal(result[0], 11);
    assert_int_equal(kb_local_deviation(&grey, NULL, NULL, 1, &to, NULL), KB_OK);
    assert_int_equal(result[0], 1);
    px[1] = 13; /* deviation 1.5 */
    assert_int_equal(kb_local_deviation(&grey, NULL, NULL, 1, &to, NULL), KB_OK);
    assert_int_equal(result[1], 2);
}

/* Half the pixels 200 and half 201, less one grey level in all: a hair below the half, in a window
 * too large for single precision to tell. */
static void a_mean_just_below_a_half_rounds_down_in_a_large_window(void **unused) {
    (void)unused;
    struct kb_image grey = picture_make(300, 300);
    struct kb_image to = picture_make(300, 300);
    kb_image_fill(&grey, 200);
    for (int32_t y = 0; y < 150; y++) {
        memset(kb_row(&grey, y), 201, 300);
    }
    assert_int_equal(kb_local_mean(&grey, NULL, NULL, 300, &to, NULL), KB_OK);
    assert_int_equal(kb_row(&to, 7)[7], 201);
    kb_row(&grey, 0)[0] = 200;
    assert_int_equal(kb_local_mean(&grey, NULL, NULL, 300, &to, NULL), KB_OK);
    assert_int_equal(kb_row(&to, 7)[7], 200);
    picture_release(&grey);
    picture_release(&to);
}

/* 255 everywhere, then black on the left: the sums of the largest window are the largest there
 * are. The deviation of a two-valued window is 255 sqrt(p (1 - p)). */
static void the_largest_window_does_not_overflow(void **unused) {
    (void)unused;
    const int32_t side = 2 * KB_WINDOW_RADIUS_MAX + 1;
    const int32_t middle = KB_WINDOW_RADIUS_MAX;
    struct kb_image grey = picture_make(side, side);
    struct kb_image to = picture_make(side, side);
    kb_image_fill(&grey, 255);
    assert_int_equal(kb_local_mean(&grey, NULL, NULL, INT32_MAX, &to, NULL), KB_OK);
    assert_int_equal(kb_row(&to, middle)[middle], 255);
    assert_int_equal(kb_local_deviation(&grey, NULL, NULL, KB_WINDOW_RADIUS_MAX, &to, NULL), KB_OK);
    assert_int_equal(kb_row(&to, middle)[middle], 0);
    const int32_t black = 1200;
    for (int32_t y = 0; y < side; y++) {
        memset(kb_row(&grey, y), 0, (size_t)black);
    }
    double p = (double)black / side;
    assert_int_equal(kb_local_deviation(&grey, NULL, NULL, INT32_MAX, &to, NULL), KB_OK);
    assert_rounded(kb_row(&to, middle)[middle], 255.0 * sqrt(p * (1.0 - p)));
    assert_int_equal(kb_local_mean(&grey, NULL, NULL, INT32_MAX, &to, NULL), KB_OK);
    assert_rounded(kb_row(&to, middle)[middle], 255.0 * (1.0 - p));
    picture_release(&grey);
    picture_release(&to);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_picture_has_the_size_asked_for),
        cmocka_unit_test(sizes_outside_the_limits_are_refused),
        cmocka_unit_test(fill_leaves_the_gaps_between_rows_alone),
        cmocka_unit_test(histogram_counts_every_chosen_pixel_once),
        cmocka_unit_test(smoothing_weighs_1_2_1_both_ways_and_rounds_half_up),
        cmocka_unit_test(median_is_the_fifth_of_nine_sorted),
        cmocka_unit_test(a_picture_filtered_in_place_is_as_if_into_another),
        cmocka_unit_test(means_given_by_rows_are_those_of_the_picture),
        cmocka_unit_test(pictures_of_other_size_or_the_same_pixels_are_refused),
        cmocka_unit_test(windows_hold_the_chosen_pixels_and_are_clipped_at_the_frame),
        cmocka_unit_test(means_and_deviations_round_a_half_up),
        cmocka_unit_test(a_mean_just_below_a_half_rounds_down_in_a_large_window),
        cmocka_unit_test(the_largest_window_does_not_overflow),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
