/* test_outline_left_out.c - free outlines that are left out, against rectangles of the same
 * corners, areas by the shoelace formula, and a plain even-odd test in floating point; and the
 * evened picture that a map keeps on demand. */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "keelblock/segmentation.h"

#include <math.h>
#include <string.h>

enum { WIDTH = 180, HEIGHT = 120 };

static struct kb_field field;

/* Dark discs on a bright ground, with a little texture that no threshold minds. */
static int setup(void **state) {
    (void)state;
    field = (struct kb_field){.px_um = 1.0, .grey_low = 0.0, .grey_high = 255.0};
    if (kb_image_alloc(WIDTH, HEIGHT, &field.grey, NULL) != KB_OK) {
        return -1;
    }
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            const int32_t dx = x % 45 - 20;
            const int32_t dy = y % 40 - 20;
            const bool dark = dx * dx + dy * dy < 100;
            kb_row(&field.grey, y)[x] = (uint8_t)((dark ? 40 : 200) + (x * 7 + y * 3) % 5);
        }
    }
    return 0;
}

static int teardown(void **state) {
    (void)state;
    kb_image_release(&field.grey);
    return 0;
}

static struct kb_segmentation_params usual(void) {
    return kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
}

static struct kb_phase_map without(const struct kb_polygon *outline, size_t outlines,
                                   const struct kb_rect *rect, size_t rects) {
    struct kb_segmentation_params params = usual();
    params.outline = outline;
    params.outlines = outlines;
    params.exclusion = rect;
    params.exclusions = rects;
    struct kb_phase_map map;
    struct kb_err err;
    if (kb_segment(&field, &params, &map, &err) != KB_OK) {
        fail_msg("%s", err.text);
    }
    return map;
}

static uint64_t left_out(const struct kb_place *corner, size_t corners) {
    const struct kb_polygon polygon = {corner, corners};
    struct kb_phase_map map = without(&polygon, 1, NULL, 0);
    const uint64_t pixels = map.figures.pixels[KB_EXCLUDED];
    kb_phase_map_release(&map);
    return pixels;
}

static void
the_sides_of_a_rectangle_leave_out_the_rectangle_and_nothing_else_changes(void **state) {
    (void)state;
    const struct kb_place corner[2][4] = {{{20, 30}, {75, 30}, {75, 91}, {20, 91}},
                                          {{-9, 100}, {300, 100}, {300, 500}, {-9, 500}}};
    const struct kb_rect rect[] = {{20, 30, 55, 61}, {0, 100, WIDTH, 20}};
    for (int i = 0; i < 2; i++) {
        const struct kb_polygon polygon = {corner[i], 4};
        struct kb_phase_map a = without(&polygon, 1, NULL, 0);
        struct kb_phase_map b = without(NULL, 0, &rect[i], 1);
        for (int32_t y = 0; y < HEIGHT; y++) {
            assert_memory_equal(kb_row(&a.label, y), kb_row(&b.label, y), WIDTH);
        }
        assert_memory_equal(&a.figures, &b.figures, sizeof a.figures);
        assert_int_equal(a.findings.count, b.findings.count);
        kb_phase_map_release(&a);
        kb_phase_map_release(&b);
    }
}

/* Shoelace; a slanting side cuts pixels, about half of them on either side. */
static void an_outline_leaves_out_its_area(void **state) {
    (void)state;
    const struct kb_place corner[] = {{13, 9}, {140, 33}, {101, 111}, {60, 60}};
    double twice = 0.0;
    double length = 0.0;
    for (int i = 0; i < 4; i++) {
        const struct kb_place a = corner[i];
        const struct kb_place b = corner[(i + 1) % 4];
        twice += (double)a.x * b.y - (double)b.x * a.y;
        length += hypot(b.x - a.x, b.y - a.y);
    }
    assert_near((double)left_out(corner, 4), 0.5 * fabs(twice), 0.05 * length);
}

static bool even_odd(const struct kb_place *corner, size_t corners, double x, double y) {
    bool inside = false;
    for (size_t i = 0; i < corners; i++) {
        const struct kb_place a = corner[i];
        const struct kb_place b = corner[(i + 1) % corners];
        const bool crosses = (a.y <= y) != (b.y <= y);
        if (crosses && a.x + (y - a.y) * (b.x - a.x) / (double)(b.y - a.y) <= x) {
            inside = !inside;
        }
    }
    return inside;
}

/* A star that crosses itself has a hollow middle; corners stand far outside the picture too. */
static void outlines_that_cross_themselves_follow_the_even_odd_rule(void **state) {
    (void)state;
    const struct kb_place star[] = {{90, 5}, {131, 113}, {21, 44}, {161, 47}, {48, 115}};
    const struct kb_place wide[] = {{-300, -77}, {90, 60}, {500, -31}, {77, 399}};
    const struct kb_polygon polygon[] = {{star, 5}, {wide, 4}};
    for (int i = 0; i < 2; i++) {
        struct kb_phase_map map = without(&polygon[i], 1, NULL, 0);
        size_t inside = 0;
        for (int32_t y = 0; y < HEIGHT; y++) {
            for (int32_t x = 0; x < WIDTH; x++) {
                const bool out = kb_row(&map.label, y)[x] == KB_EXCLUDED;
                assert_int_equal(out,
                                 even_odd(polygon[i].corner, polygon[i].corners, x + 0.5, y + 0.5));
                assert_int_equal(out, kb_polygon_holds(&polygon[i], x, y));
                inside += out;
            }
        }
        assert_true(inside > 1000);
        kb_phase_map_release(&map);
    }
    assert_false(kb_polygon_holds(&polygon[0], 90, 62)); /* the hollow of the star */
}

static void outlines_and_rectangles_know_no_order(void **state) {
    (void)state;
    const struct kb_place a[] = {{10, 10}, {60, 12}, {30, 70}};
    const struct kb_place b[] = {{100, 20}, {160, 40}, {120, 110}};
    const struct kb_polygon forth[] = {{a, 3}, {b, 3}};
    const struct kb_polygon back[] = {{b, 3}, {a, 3}};
    const struct kb_rect rect = {70, 70, 40, 30};
    struct kb_phase_map one = without(forth, 2, &rect, 1);
    struct kb_phase_map two = without(back, 2, &rect, 1);
    for (int32_t y = 0; y < HEIGHT; y++) {
        assert_memory_equal(kb_row(&one.label, y), kb_row(&two.label, y), WIDTH);
    }
    kb_phase_map_release(&one);
    kb_phase_map_release(&two);
}

static void the_box_of_an_outline_holds_all_its_corners(void **state) {
    (void)state;
    const struct kb_place corner[] = {{13, 9}, {140, 33}, {-4, 111}};
    const struct kb_polygon polygon = {corner, 3};
    const struct kb_rect box = kb_polygon_box(&polygon);
    assert_int_equal(box.x, -4);
    assert_int_equal(box.y, 9);
    assert_int_equal(box.width, 144);
    assert_int_equal(box.height, 102);
}

static void expect_refused(const struct kb_polygon *outline, size_t outlines, const char *says) {
    struct kb_segmentation_params params = usual();
    struct kb_err err;
    params.outline = outline;
    params.outlines = outlines;
    assert_int_equal(kb_segmentation_params_check(&params, &err), KB_E_USAGE);
    assert_non_null(strstr(err.text, says));
}

static void outlines_that_are_none_are_refused(void **state) {
    (void)state;
    const struct kb_place corner[] = {{1, 1}, {50, 1}, {INT32_MIN, 50}};
    const struct kb_place all[] = {{0, 0}, {WIDTH, 0}, {WIDTH, HEIGHT}, {0, HEIGHT}};
    const struct kb_polygon far = {corner, 3};
    const struct kb_polygon few = {corner, 2};
    const struct kb_polygon none = {NULL, 3};
    const struct kb_polygon whole = {all, 4};
    expect_refused(&far, 1, "outside every picture");
    expect_refused(&few, 1, "three corners");
    expect_refused(&none, 1, "three corners");
    expect_refused(NULL, 1, "missing");
    struct kb_segmentation_params params = usual();
    params.outline = &whole;
    params.outlines = 1;
    struct kb_phase_map map;
    assert_int_equal(kb_segment(&field, &params, &map, NULL), KB_E_USAGE);
}

/* ---- the evened picture ------------------------------------------------------------------------
 */

static void the_evened_picture_is_kept_when_asked_for_and_is_what_thresholds_cut(void **state) {
    (void)state;
    struct kb_segmentation_params params = usual();
    struct kb_phase_map map;
    assert_int_equal(kb_segment(&field, &params, &map, NULL), KB_OK);
    assert_null(map.evened.px);
    kb_phase_map_release(&map);
    params.keep_grey = true;
    assert_int_equal(kb_segment(&field, &params, &map, NULL), KB_OK);
    uint64_t bins[256];
    kb_histogram(&map.evened, NULL, NULL, bins);
    assert_memory_equal(bins, map.figures.histogram, sizeof bins);
    uint64_t below = 0;
    for (int i = 0; i <= (int)map.figures.threshold[0]; i++) {
        below += bins[i];
    }
    assert_near((double)below / (WIDTH * HEIGHT), map.figures.class_share[0], 1e-12);
    kb_phase_map_release(&map);
}

static void a_threshold_by_hand_keeps_what_the_histogram_gives(void **state) {
    (void)state;
    struct kb_segmentation_params params = usual();
    struct kb_phase_map found;
    struct kb_phase_map said;
    assert_int_equal(kb_segment(&field, &params, &found, NULL), KB_OK);
    params.dark_threshold = 63.0;
    assert_int_equal(kb_segment(&field, &params, &said, NULL), KB_OK);
    assert_near(said.figures.threshold[0], 63.0, 0.0);
    assert_near(said.figures.threshold_found[0], found.figures.threshold[0], 0.0);
    assert_near(found.figures.threshold_found[0], found.figures.threshold[0], 0.0);
    kb_phase_map_release(&found);
    kb_phase_map_release(&said);
}

static void every_failed_allocation_is_reported_and_nothing_leaks(void **state) {
    (void)state;
    const struct kb_place a[] = {{10, 10}, {60, 12}, {30, 70}};
    const struct kb_polygon polygon = {a, 3};
    struct kb_segmentation_params params = usual();
    params.outline = &polygon;
    params.outlines = 1;
    params.keep_grey = true;
    bool happened = true;
    for (size_t n = 1; happened; n++) {
        struct kb_phase_map map;
        fail_alloc_at(n);
        const enum kb_status status = kb_segment(&field, &params, &map, NULL);
        happened = fail_alloc_happened() != 0;
        assert_int_equal(status, happened ? KB_E_MEMORY : KB_OK);
        kb_phase_map_release(&map);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_sides_of_a_rectangle_leave_out_the_rectangle_and_nothing_else_changes),
        cmocka_unit_test(an_outline_leaves_out_its_area),
        cmocka_unit_test(outlines_that_cross_themselves_follow_the_even_odd_rule),
        cmocka_unit_test(outlines_and_rectangles_know_no_order),
        cmocka_unit_test(the_box_of_an_outline_holds_all_its_corners),
        cmocka_unit_test(outlines_that_are_none_are_refused),
        cmocka_unit_test(the_evened_picture_is_kept_when_asked_for_and_is_what_thresholds_cut),
        cmocka_unit_test(a_threshold_by_hand_keeps_what_the_histogram_gives),
        cmocka_unit_test(every_failed_allocation_is_reported_and_nothing_leaks),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
