/* test_raster_laws.c - what holds for every function of the stage: turning and mirroring the
 * picture turns and mirrors the result, and a failed allocation gives the right status and leaks
 * nothing. */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "pictures.h"

#include <stdlib.h>
#include <string.h>

static const bool some[256] = {[1] = true, [2] = true, [4] = true};

/* Everything that takes pictures and gives a picture, in one form. */
struct law {
    const char *name;
    enum kb_status (*run)(const struct kb_image *grey, const struct kb_image *labels,
                          struct kb_image *to, struct kb_err *err);
};

static enum kb_status run_smooth(const struct kb_image *grey, const struct kb_image *labels,
                                 struct kb_image *to, struct kb_err *err) {
    (void)labels;
    return kb_smooth(grey, to, err);
}

static enum kb_status run_median(const struct kb_image *grey, const struct kb_image *labels,
                                 struct kb_image *to, struct kb_err *err) {
    (void)labels;
    return kb_median(grey, to, err);
}

static enum kb_status run_mean(const struct kb_image *grey, const struct kb_image *labels,
                               struct kb_image *to, struct kb_err *err) {
    return kb_local_mean(grey, labels, some, 9, to, err);
}

static enum kb_status run_wide_mean(const struct kb_image *grey, const struct kb_image *labels,
                                    struct kb_image *to, struct kb_err *err) {
    return kb_local_mean(grey, labels, some, 120, to, err);
}

static enum kb_status run_deviation(const struct kb_image *grey, const struct kb_image *labels,
                                    struct kb_image *to, struct kb_err *err) {
    return kb_local_deviation(grey, labels, some, 9, to, err);
}

static enum kb_status run_erode(const struct kb_image *grey, const struct kb_image *labels,
                                struct kb_image *to, struct kb_err *err) {
    (void)grey;
    return kb_erode(labels, 2, to, err);
}

static enum kb_status run_dilate(const struct kb_image *grey, const struct kb_image *labels,
                                 struct kb_image *to, struct kb_err *err) {
    (void)grey;
    return kb_dilate(labels, 6, to, err);
}

/* Distances as a picture: the root, cut at 255. */
static enum kb_status run_distance(const struct kb_image *grey, const struct kb_image *labels,
                                   struct kb_image *to, struct kb_err *err) {
    (void)grey;
    size_t width = (size_t)labels->width;
    size_t pixels = width * (size_t)labels->height;
    uint8_t *mask = malloc(pixels);
    uint32_t *squared = malloc(pixels * sizeof *squared);
    assert_non_null(mask);
    assert_non_null(squared);
    for (int32_t y = 0; y < labels->height; y++) {
        memcpy(mask + (size_t)y * width, kb_row(labels, y), width);
    }
    enum kb_status status =
        kb_distance_squared(mask, labels->width, labels->height, true, squared, err);
    for (size_t i = 0; status == KB_OK && i < pixels; i++) {
        kb_row(to, (int32_t)(i / width))[i % width] =
            (uint8_t)(squared[i] > 255 ? 255 : squared[i]);
    }
    free(mask);
    free(squared);
    return status;
}

/* Number of runs and regions as a picture: nothing of it may depend on threads. */
static enum kb_status run_label(const struct kb_image *grey, const struct kb_image *labels,
                                struct kb_image *to, struct kb_err *err) {
    (void)grey;
    struct kb_runs runs;
    enum kb_status status = kb_runs_label(labels, some, 8, &runs, err);
    if (status != KB_OK) {
        return status;
    }
    struct kb_run_order order;
    status = kb_run_order_make(&runs, &order, err);
    if (status == KB_OK) {
        kb_image_fill(to, (uint8_t)runs.regions);
        kb_run_order_release(&order);
    }
    kb_runs_release(&runs);
    return status;
}

/* By sets of pixels. */
static enum kb_status run_by_bits(const struct kb_image *labels, bool opens, struct kb_image *to,
                                  struct kb_err *err) {
    struct kb_bits set = {0}, result = {0};
    enum kb_status status = kb_bits_alloc(labels->width, labels->height, &set, err);
    if (status == KB_OK) {
        status = kb_bits_alloc(labels->width, labels->height, &result, err);
    }
    if (status == KB_OK) {
        kb_bits_pick(labels, some, &set);
        status = opens ? kb_bits_open(&set, 2, 3, &result, err)
                       : kb_bits_close(&set, 4, 4, &result, err);
    }
    if (status == KB_OK) {
        kb_image_fill(to, 0);
        kb_bits_paint(&result, 1, to);
    }
    kb_bits_release(&set);
    kb_bits_release(&result);
    return status;
}

static enum kb_status run_bits_open(const struct kb_image *grey, const struct kb_image *labels,
                                    struct kb_image *to, struct kb_err *err) {
    (void)grey;
    return run_by_bits(labels, true, to, err);
}

static enum kb_status run_bits_close(const struct kb_image *grey, const struct kb_image *labels,
                                     struct kb_image *to, struct kb_err *err) {
    (void)grey;
    return run_by_bits(labels, false, to, err);
}

static const struct law laws[] = {
    {"smooth", run_smooth},       {"median", run_median},       {"mean", run_mean},
    {"wide mean", run_wide_mean}, {"deviation", run_deviation}, {"erode", run_erode},
    {"dilate", run_dilate},       {"distance", run_distance},   {"label", run_label},
    {"open", run_bits_open},      {"close", run_bits_close},
};
static const int law_count = (int)(sizeof laws / sizeof laws[0]);

static struct kb_image result_of(const struct law *law, const struct kb_image *grey,
                                 const struct kb_image *labels) {
    struct kb_image to = picture_make(grey->width, grey->height);
    assert_int_equal(law->run(grey, labels, &to, NULL), KB_OK);
    return to;
}

static void check_moved(const struct law *law, const struct kb_image *grey,
                        const struct kb_image *labels,
                        struct kb_image (*move)(const struct kb_image *)) {
    struct kb_image plain = result_of(law, grey, labels);
    struct kb_image expected = move(&plain);
    struct kb_image moved_grey = move(grey);
    struct kb_image moved_labels = move(labels);
    struct kb_image found = result_of(law, &moved_grey, &moved_labels);
    if (!picture_same(&found, &expected)) {
        fail_msg("%s does not move with the picture", law->name);
    }
    picture_release(&plain);
    picture_release(&expected);
    picture_release(&moved_grey);
    picture_release(&moved_labels);
    picture_release(&found);
}

static void results_turn_and_mirror_with_the_picture(void **unused) {
    (void)unused;
    struct kb_image grey = picture_grey(83, 140);
    struct kb_image labels = picture_labels(83, 140);
    for (int i = 0; i < law_count; i++) {
        check_moved(&laws[i], &grey, &labels, picture_turned);
        check_moved(&laws[i], &grey, &labels, picture_mirrored);
    }
    picture_release(&grey);
    picture_release(&labels);
}

static void a_failed_allocation_is_reported_and_leaks_nothing(void **unused) {
    (void)unused;
    struct kb_image grey = picture_grey(200, 90);
    struct kb_image labels = picture_labels(200, 90);
    struct kb_image to = picture_make(200, 90);
    for (int i = 0; i < law_count; i++) {
        size_t n = 0;
        enum kb_status status = KB_E_MEMORY;
        while (status != KB_OK) {
            struct kb_err err = {0};
            fail_alloc_at(++n);
            status = laws[i].run(&grey, &labels, &to, &err);
            assert_int_equal(fail_alloc_open_blocks(), 0);
            assert_int_equal(status, fail_alloc_happened() ? KB_E_MEMORY : KB_OK);
            assert_int_equal(err.code, status);
            fail_alloc_at(0);
        }
        assert_true(n > 1);
    }
    struct kb_image image;
    fail_alloc_at(1);
    assert_int_equal(kb_image_alloc(3, 3, &image, NULL), KB_E_MEMORY);
    fail_alloc_at(0);
    assert_null(image.px);
    picture_release(&grey);
    picture_release(&labels);
    picture_release(&to);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(results_turn_and_mirror_with_the_picture),
        cmocka_unit_test(a_failed_allocation_is_reported_and_leaks_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
