/* test_runs.c - labelling by runs against a flood fill, pixel by pixel and number by number. */
#include "kb_cmocka.h"
#include "pictures.h"

#include <stdlib.h>
#include <string.h>

#define NO_REGION UINT32_MAX
#define NOT_REACHED (UINT32_MAX - 1) /* chosen, no region yet */

/* ---- the flood fill ---------------------------------------------------------------------------
 */

/* Region of every pixel, NO_REGION where not chosen; numbered in the order of first pixels. */
struct flood {
    uint32_t *region;
    int32_t *stack;
    uint32_t regions;
};

static void pour(struct flood *flood, int32_t width, int32_t height, int32_t start,
                 int connectivity) {
    int32_t depth = 0;
    flood->stack[depth++] = start;
    flood->region[start] = flood->regions;
    while (depth > 0) {
        int32_t at = flood->stack[--depth];
        for (int32_t way = 0; way < 9; way++) {
            int32_t dx = way % 3 - 1;
            int32_t dy = way / 3 - 1;
            int32_t x = at % width + dx;
            int32_t y = at / width + dy;
            bool joins = connectivity == 8 || dx == 0 || dy == 0;
            if (joins && x >= 0 && x < width && y >= 0 && y < height &&
                flood->region[y * width + x] == NOT_REACHED) {
                flood->region[y * width + x] = flood->regions;
                flood->stack[depth++] = y * width + x;
            }
        }
    }
    flood->regions++;
}

static struct flood flood_fill(const struct kb_image *image, const bool *chosen, int connectivity) {
    int32_t pixels = image->width * image->height;
    struct flood flood = {malloc((size_t)pixels * sizeof(uint32_t)),
                          malloc((size_t)pixels * sizeof(int32_t)), 0};
    assert_non_null(flood.region);
    assert_non_null(flood.stack);
    for (int32_t i = 0; i < pixels; i++) {
        bool is_chosen = chosen[kb_row(image, i / image->width)[i % image->width]];
        flood.region[i] = is_chosen ? NOT_REACHED : NO_REGION;
    }
    for (int32_t i = 0; i < pixels; i++) {
        if (flood.region[i] == NOT_REACHED) {
            pour(&flood, image->width, image->height, i, connectivity);
        }
    }
    return flood;
}

static void flood_release(struct flood *flood) {
    free(flood->region);
    free(flood->stack);
}

/* ---- comparing --------------------------------------------------------------------------------
 */

static void check_runs(const struct kb_runs *runs, const struct flood *flood) {
    assert_int_equal(runs->regions, flood->regions);
    assert_int_equal(runs->row[0], 0);
    assert_int_equal(runs->row[runs->height], runs->count);
    for (int32_t y = 0; y < runs->height; y++) {
        int32_t x = 0;
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            assert_true(runs->run[i].x0 >= x && runs->run[i].x0 < runs->run[i].x1);
            for (; x < runs->run[i].x0; x++) {
                assert_int_equal(flood->region[y * runs->width + x], NO_REGION);
            }
            for (; x < runs->run[i].x1; x++) {
                assert_int_equal(flood->region[y * runs->width + x], runs->run[i].region);
            }
        }
        for (; x < runs->width; x++) {
            assert_int_equal(flood->region[y * runs->width + x], NO_REGION);
        }
    }
}

/* Looking up every pixel, and some beyond the picture. */
static void check_lookup(const struct kb_runs *runs, const struct flood *flood) {
    for (int32_t y = -1; y <= runs->height; y++) {
        for (int32_t x = -1; x <= runs->width; x++) {
            bool inside = x >= 0 && y >= 0 && x < runs->width && y < runs->height;
            uint32_t expected = inside ? flood->region[y * runs->width + x] : NO_REGION;
            uint32_t region = NO_REGION;
            assert_int_equal(kb_runs_at(runs, x, y, &region), expected != NO_REGION);
            assert_int_equal(region, expected);
        }
    }
}

static void check_order(const struct kb_runs *runs) {
    struct kb_run_order order;
    assert_int_equal(kb_run_order_make(runs, &order, NULL), KB_OK);
    assert_int_equal(order.start[0], 0);
    assert_int_equal(order.start[runs->regions], runs->count);
    for (uint32_t region = 0; region < runs->regions; region++) {
        assert_true(order.start[region] < order.start[region + 1]);
        for (size_t i = order.start[region]; i < order.start[region + 1]; i++) {
            size_t run = order.order[i];
            assert_int_equal(runs->run[run].region, region);
            assert_true(runs->row[order.y[i]] <= run && run < runs->row[order.y[i] + 1]);
            assert_true(i == order.start[region] || order.order[i - 1] < run);
        }
    }
    kb_run_order_release(&order);
    assert_null(order.start);
}

static void check_image(const struct kb_image *image, const bool *chosen) {
    for (int connectivity = 4; connectivity <= 8; connectivity += 4) {
        struct flood flood = flood_fill(image, chosen, connectivity);
        struct kb_runs runs;
        assert_int_equal(kb_runs_label(image, chosen, connectivity, &runs, NULL), KB_OK);
        check_runs(&runs, &flood);
        check_order(&runs);
        check_lookup(&runs, &flood);
        kb_runs_release(&runs);
        flood_release(&flood);
    }
}

static void regions_are_those_of_a_flood_fill_in_the_order_of_first_pixels(void **unused) {
    (void)unused;
    static const bool set[256] = {[200] = true};
    for (int size = 0; size < picture_size_count; size++) {
        for (int kind = 0; kind < PICTURE_KINDS; kind++) {
            struct kb_image mask = picture_mask((enum picture_kind)kind, picture_sizes[size].width,
                                                picture_sizes[size].height, 200);
            check_image(&mask, set);
            picture_release(&mask);
        }
    }
}

static void any_set_of_labels_can_be_chosen(void **unused) {
    (void)unused;
    static const bool scattered[256] = {[0] = true, [2] = true, [4] = true};
    static const bool adjacent[256] = {[1] = true, [2] = true};
    static const bool nothing[256] = {false};
    struct kb_image labels = picture_labels(131, 77);
    check_image(&labels, scattered);
    check_image(&labels, adjacent);
    check_image(&labels, nothing);
    picture_release(&labels);
}

/* Two combs whose teeth mesh, and a spiral: the worst for joining late. */
static void regions_that_meet_late_are_one(void **unused) {
    (void)unused;
    static const bool set[256] = {[1] = true};
    struct kb_image comb = picture_mask(PICTURE_CLEAR, 129, 66, 1);
    for (int32_t y = 0; y < comb.height - 1; y++) {
        for (int32_t x = 0; x < comb.width; x += 2) {
            kb_row(&comb, y)[x] = 1;
        }
    }
    memset(kb_row(&comb, comb.height - 1), 1, (size_t)comb.width);
    check_image(&comb, set);
    struct kb_runs runs;
    assert_int_equal(kb_runs_label(&comb, set, 4, &runs, NULL), KB_OK);
    assert_int_equal(runs.regions, 1);
    kb_runs_release(&runs);
    picture_release(&comb);
}

/* ---- after cuts -------------------------------------------------------------------------------
 */

/* Cut a full picture along a column and relabel: two halves. */
static void cut_regions_get_fresh_numbers(void **unused) {
    (void)unused;
    struct kb_run run[] = {{0, 4, 9}, {5, 9, 9}, {0, 4, 9}, {5, 9, 9}, {0, 5, 9}, {6, 9, 9}};
    size_t row[] = {0, 2, 4, 6};
    struct kb_runs runs = {
        .width = 9, .height = 3, .run = run, .count = 6, .row = row, .regions = 1};
    assert_int_equal(kb_runs_relabel(&runs, 4, NULL), KB_OK);
    assert_int_equal(runs.regions, 2);
    assert_int_equal(run[4].region, 0);
    assert_int_equal(run[5].region, 1);
    run[4].x1 = 6; /* the last row in two runs without a gap: one region again */
    assert_int_equal(kb_runs_relabel(&runs, 4, NULL), KB_OK);
    assert_int_equal(runs.regions, 1);
    run[4].x1 = 5; /* (4, 2) meets (5, 1) at a corner */
    assert_int_equal(kb_runs_relabel(&runs, 8, NULL), KB_OK);
    assert_int_equal(runs.regions, 1);
}

static void other_connectivities_are_refused(void **unused) {
    (void)unused;
    static const bool set[256] = {[1] = true};
    struct kb_image mask = picture_mask(PICTURE_EVEN, 9, 9, 1);
    struct kb_runs runs;
    struct kb_err err;
    assert_int_equal(kb_runs_label(&mask, set, 6, &runs, &err), KB_E_USAGE);
    assert_null(runs.run);
    picture_release(&mask);
}

/* ---- painting ---------------------------------------------------------------------------------
 */

static void painting_changes_the_regions_named_and_no_other_pixel(void **unused) {
    (void)unused;
    static const bool set[256] = {[1] = true};
    struct kb_image mask = picture_mask(PICTURE_BLOBS, 75, 40, 1);
    struct flood flood = flood_fill(&mask, set, 8);
    struct kb_runs runs;
    assert_int_equal(kb_runs_label(&mask, set, 8, &runs, NULL), KB_OK);
    uint16_t *value = malloc((runs.regions + (size_t)1) * sizeof *value);
    assert_non_null(value);
    for (uint32_t region = 0; region < runs.regions; region++) {
        value[region] = region % 2 == 0 ? (uint16_t)(region % 256) : KB_KEEP;
    }
    kb_runs_paint(&runs, value, &mask);
    picture_check_gaps(&mask);
    for (int32_t i = 0; i < mask.width * mask.height; i++) {
        uint32_t region = flood.region[i];
        uint32_t kept = region == NO_REGION ? 0 : 1;
        uint32_t expected = region != NO_REGION && region % 2 == 0 ? region % 256 : kept;
        assert_int_equal(kb_row(&mask, i / mask.width)[i % mask.width], expected);
    }
    free(value);
    kb_runs_release(&runs);
    flood_release(&flood);
    picture_release(&mask);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(regions_are_those_of_a_flood_fill_in_the_order_of_first_pixels),
        cmocka_unit_test(any_set_of_labels_can_be_chosen),
        cmocka_unit_test(regions_that_meet_late_are_one),
        cmocka_unit_test(cut_regions_get_fresh_numbers),
        cmocka_unit_test(other_connectivities_are_refused),
        cmocka_unit_test(painting_changes_the_regions_named_and_no_other_pixel),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
