/* test_otsu.c - the exact threshold against exhaustive search and closed forms.
 * Source of the criterion: Otsu, IEEE Trans. Syst. Man Cybern. 9 (1979) 62. */
#include "kb_cmocka.h"
#include "keelblock/segmentation.h"

#include <stdlib.h>
#include <string.h>

/* Between-class over total variance, straight from the definition. */
static double ratio_by_definition(const uint64_t bins[256], int classes, const int threshold[2]) {
    double total = 0.0, mean = 0.0, variance = 0.0, between = 0.0;
    for (int i = 0; i < 256; i++) {
        total += (double)bins[i];
        mean += (double)bins[i] * i;
    }
    mean /= total;
    for (int i = 0; i < 256; i++) {
        variance += (double)bins[i] / total * (i - mean) * (i - mean);
    }
    for (int c = 0; c < classes; c++) {
        int first = c > 0 ? threshold[c - 1] + 1 : 0;
        int last = c < classes - 1 ? threshold[c] : 255;
        double n = 0.0, sum = 0.0;
        for (int i = first; i <= last; i++) {
            n += (double)bins[i];
            sum += (double)bins[i] * i;
        }
        between += n > 0.0 ? n / total * (sum / n - mean) * (sum / n - mean) : 0.0;
    }
    return between / variance;
}

static double best_by_search(const uint64_t bins[256], int classes) {
    double best = 0.0;
    for (int t = 0; t < 255; t++) {
        int last = classes == 3 ? 255 : t + 2;
        for (int u = t + 1; u < last; u++) {
            best = fmax(best, ratio_by_definition(bins, classes, (int[2]){t, u}));
        }
    }
    return best;
}

static uint32_t next_random(uint32_t *state) {
    *state = *state * 1664525u + 1013904223u;
    return *state >> 8;
}

static void no_other_cut_parts_random_histograms_better(void **state) {
    (void)state;
    uint32_t random = 77;
    for (int trial = 0; trial < 12; trial++) {
        uint64_t bins[256];
        for (int i = 0; i < 256; i++) {
            bins[i] = next_random(&random) % 7 == 0 ? next_random(&random) % 1000 : 0;
        }
        for (int classes = 2; classes <= 3; classes++) {
            int threshold[2] = {0, 0};
            double separability;
            assert_true(kb_otsu(bins, classes, threshold, &separability));
            assert_near(separability, best_by_search(bins, classes), 1e-12);
            assert_near(separability, ratio_by_definition(bins, classes, threshold), 1e-12);
        }
    }
}

static void a_cut_in_a_gap_lies_in_its_middle(void **state) {
    (void)state;
    uint64_t bins[256] = {0};
    int threshold[2];
    double separability;
    bins[40] = 10;
    bins[201] = 90;
    assert_true(kb_otsu(bins, 2, threshold, &separability));
    assert_int_equal(threshold[0], 120);
    assert_near(separability, 1.0, 1e-12);
    bins[100] = 5;
    assert_true(kb_otsu(bins, 3, threshold, &separability));
    assert_int_equal(threshold[0], 69);
    assert_int_equal(threshold[1], 150);
}

static void mirrored_greys_give_mirrored_classes(void **state) {
    (void)state;
    uint64_t bins[256] = {0}, mirror[256];
    uint32_t random = 5;
    for (int i = 0; i < 256; i++) {
        bins[i] = next_random(&random) % 500 + (i > 60 && i < 90 ? 3000 : 0);
    }
    for (int i = 0; i < 256; i++) {
        mirror[i] = bins[255 - i];
    }
    int a[2], b[2];
    double sa, sb;
    assert_true(kb_otsu(bins, 3, a, &sa));
    assert_true(kb_otsu(mirror, 3, b, &sb));
    assert_int_equal(b[0], 254 - a[1]);
    assert_int_equal(b[1], 254 - a[0]);
    assert_near(sa, sb, 1e-12);
}

/* A uniform histogram cut in two halves keeps 3/4 of its variance, in thirds 8/9: closed form. */
static void a_uniform_histogram_keeps_what_the_closed_form_says(void **state) {
    (void)state;
    uint64_t bins[256] = {0};
    int threshold[2];
    double separability;
    for (int i = 0; i < 240; i++) {
        bins[i] = 1000;
    }
    assert_true(kb_otsu(bins, 2, threshold, &separability));
    assert_int_equal(threshold[0], 119);
    assert_near(separability, 0.75, 1e-4);
    assert_true(kb_otsu(bins, 3, threshold, &separability));
    assert_int_equal(threshold[0], 79);
    assert_int_equal(threshold[1], 159);
    assert_near(separability, 8.0 / 9.0, 1e-4);
}

static void fewer_levels_than_classes_are_refused(void **state) {
    (void)state;
    uint64_t bins[256] = {0};
    int threshold[2];
    double separability = 7.0;
    assert_false(kb_otsu(bins, 2, threshold, &separability));
    bins[9] = 4;
    assert_false(kb_otsu(bins, 2, threshold, &separability));
    assert_near(separability, 0.0, 0.0);
    bins[255] = 4;
    assert_true(kb_otsu(bins, 2, threshold, &separability));
    assert_false(kb_otsu(bins, 3, threshold, &separability));
    assert_false(kb_otsu(bins, 4, threshold, &separability));
}

static void counts_of_a_gigapixel_do_not_overflow(void **state) {
    (void)state;
    uint64_t bins[256] = {0};
    int threshold[2];
    double separability;
    bins[254] = bins[253] = (uint64_t)1 << 32;
    bins[3] = (uint64_t)1 << 33;
    assert_true(kb_otsu(bins, 2, threshold, &separability));
    assert_int_equal(threshold[0], 127);
    assert_true(separability > 0.9999);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_other_cut_parts_random_histograms_better),
        cmocka_unit_test(a_cut_in_a_gap_lies_in_its_middle),
        cmocka_unit_test(mirrored_greys_give_mirrored_classes),
        cmocka_unit_test(a_uniform_histogram_keeps_what_the_closed_form_says),
        cmocka_unit_test(fewer_levels_than_classes_are_refused),
        cmocka_unit_test(counts_of_a_gigapixel_do_not_overflow),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
