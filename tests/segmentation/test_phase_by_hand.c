/* test_phase_by_hand.c - a person's word changes one region, all of it, and nothing else.
 *
 * The picture is flat blocks of three greys, cut by thresholds given by hand, so that every region
 * and its size are known: squares of 20 pixels, far above what cleaning removes.
 */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "keelblock/segmentation.h"

#include <string.h>

enum { WIDTH = 200, HEIGHT = 120, SIDE = 20 };
static const uint8_t dark = 40, middle = 120, bright = 220;

static struct kb_field field;

static void block(int32_t x, int32_t y, uint8_t grey) {
    for (int32_t row = y; row < y + SIDE; row++) {
        memset(kb_row(&field.grey, row) + x, grey, SIDE);
    }
}

/* Two graphite squares that meet at a corner, two pearlite squares that do, one apart of each. */
static int setup(void **state) {
    (void)state;
    field = (struct kb_field){.px_um = 1.0, .grey_low = 0.0, .grey_high = 255.0};
    if (kb_image_alloc(WIDTH, HEIGHT, &field.grey, NULL) != KB_OK) {
        return -1;
    }
    kb_image_fill(&field.grey, bright);
    block(10, 10, dark);
    block(10 + SIDE, 10 + SIDE, dark);
    block(10, 80, dark);
    block(80, 10, middle);
    block(80 + SIDE, 10 + SIDE, middle);
    block(80, 80, middle);
    return 0;
}

static int teardown(void **state) {
    (void)state;
    kb_image_release(&field.grey);
    return 0;
}

static struct kb_segmentation_params usual(void) {
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT);
    params.even_light = false;
    params.dark_threshold = 80.0;
    params.bright_threshold = 170.0;
    return params;
}

static enum kb_status correct(const struct kb_segmentation_params *params,
                              const struct kb_phase_by_hand *said, size_t count,
                              struct kb_phase_map *map, struct kb_err *err) {
    enum kb_status status = kb_segment(&field, params, map, err);
    return status == KB_OK ? kb_phase_map_correct(said, count, params, map, err) : status;
}

static void segment(const struct kb_phase_by_hand *said, size_t count, struct kb_phase_map *map) {
    struct kb_segmentation_params params = usual();
    struct kb_err err;
    if (correct(&params, said, count, map, &err) != KB_OK) {
        fail_msg("%s", err.text);
    }
}

static void refuse_under(const struct kb_segmentation_params *params,
                         const struct kb_phase_by_hand *said, size_t count, const char *says) {
    struct kb_phase_map map;
    struct kb_err err;
    assert_int_equal(correct(params, said, count, &map, &err), KB_E_USAGE);
    if (strstr(err.text, says) == NULL) {
        fail_msg("%s", err.text);
    }
    assert_null(map.label.px);
    assert_null(map.change);
}

static void refuse(const struct kb_phase_by_hand *said, size_t count, const char *says) {
    struct kb_segmentation_params params = usual();
    refuse_under(&params, said, count, says);
}

static int label_at(const struct kb_phase_map *map, int32_t x, int32_t y) {
    return kb_row(&map->label, y)[x];
}

static void a_region_changes_whole_and_nothing_else_does(void **state) {
    (void)state;
    const struct kb_phase_by_hand said = {85, 85, KB_OTHER, false};
    struct kb_phase_map found, map;
    segment(NULL, 0, &found);
    segment(&said, 1, &map);
    uint64_t changed = 0;
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            bool differs = label_at(&found, x, y) != label_at(&map, x, y);
            changed += differs;
            assert_true(!differs || (label_at(&found, x, y) == KB_PEARLITE &&
                                     label_at(&map, x, y) == KB_OTHER));
        }
    }
    assert_int_equal(map.changes, 1);
    assert_int_equal(map.change[0].from, KB_PEARLITE);
    assert_int_equal(map.change[0].to, KB_OTHER);
    assert_int_equal(map.change[0].pixels, changed);
    assert_int_equal(map.figures.by_hand_px, changed);
    /* the region is a square of SIDE pixels; smoothing rounds its corners by a few */
    assert_near((double)changed, SIDE * SIDE, 12);
    assert_int_equal(map.figures.pixels[KB_OTHER], changed);
    assert_int_equal(map.figures.pixels[KB_PEARLITE] + changed, found.figures.pixels[KB_PEARLITE]);
    assert_true(kb_findings_has(&map.findings, "phase-by-hand"));
    assert_false(kb_findings_has(&found.findings, "phase-by-hand"));
    kb_phase_map_release(&found);
    kb_phase_map_release(&map);
}

/* Smoothing may bridge or cut a corner that two squares share, so the truth is taken from the map
 * as found, labelled with the connectivity that is promised. */
static void regions_join_over_corners_for_graphite_only(void **state) {
    (void)state;
    struct kb_phase_map found, map;
    segment(NULL, 0, &found);
    for (int phase = KB_GRAPHITE; phase <= KB_PEARLITE; phase++) {
        bool chosen[256] = {false};
        struct kb_runs runs;
        uint32_t region = 0;
        uint64_t expected = 0;
        struct kb_phase_by_hand said = {phase == KB_GRAPHITE ? 15 : 85, 15, KB_OTHER, false};
        if (phase == KB_FERRITE) {
            said = (struct kb_phase_by_hand){190, 60, KB_OTHER, false};
        }
        chosen[phase] = true;
        assert_int_equal(
            kb_runs_label(&found.label, chosen, phase == KB_GRAPHITE ? 8 : 4, &runs, NULL), KB_OK);
        assert_true(kb_runs_at(&runs, said.x, said.y, &region));
        for (size_t i = 0; i < runs.count; i++) {
            expected +=
                runs.run[i].region == region ? (uint64_t)(runs.run[i].x1 - runs.run[i].x0) : 0;
        }
        segment(&said, 1, &map);
        assert_int_equal(map.change[0].pixels, expected);
        kb_phase_map_release(&map);
        kb_runs_release(&runs);
    }
    kb_phase_map_release(&found);
}

static void the_order_of_corrections_changes_nothing(void **state) {
    (void)state;
    /* the first makes pearlite that touches pearlite: the second must still mean what was found */
    const struct kb_phase_by_hand one[] = {
        {190, 60, KB_PEARLITE, false}, {85, 85, KB_FERRITE, false}, {15, 85, KB_EXCLUDED, false}};
    const struct kb_phase_by_hand other[] = {one[2], one[1], one[0]};
    struct kb_phase_map a, b;
    segment(one, 3, &a);
    segment(other, 3, &b);
    assert_memory_equal(a.figures.pixels, b.figures.pixels, sizeof a.figures.pixels);
    for (int32_t y = 0; y < HEIGHT; y++) {
        assert_memory_equal(kb_row(&a.label, y), kb_row(&b.label, y), WIDTH);
    }
    assert_int_equal(label_at(&a, 85, 85), KB_FERRITE);
    assert_int_equal(label_at(&a, 190, 60), KB_PEARLITE);
    assert_int_equal(label_at(&a, 15, 85), KB_EXCLUDED);
    assert_int_equal(label_at(&a, 15, 15), KB_GRAPHITE);
    uint64_t sum = 0;
    for (int i = 0; i < KB_PHASES; i++) {
        sum += a.figures.pixels[i];
    }
    assert_int_equal(sum, WIDTH * HEIGHT);
    kb_phase_map_release(&a);
    kb_phase_map_release(&b);
}

static void a_map_is_corrected_once(void **state) {
    (void)state;
    const struct kb_phase_by_hand said = {85, 85, KB_OTHER, false};
    struct kb_segmentation_params params = usual();
    struct kb_phase_map map;
    segment(&said, 1, &map);
    assert_int_equal(kb_phase_map_correct(&said, 1, &params, &map, NULL), KB_E_USAGE);
    assert_null(map.label.px);
}

static void the_same_word_twice_counts_once(void **state) {
    (void)state;
    const struct kb_phase_by_hand said[] = {{85, 85, KB_OTHER, false}, {90, 90, KB_OTHER, false}};
    struct kb_phase_map map;
    segment(said, 2, &map);
    assert_true(map.change[0].pixels > 0);
    assert_int_equal(map.change[1].pixels, 0);
    assert_int_equal(map.figures.by_hand_px, map.change[0].pixels);
    kb_phase_map_release(&map);
}

static void a_word_for_what_was_found_changes_nothing(void **state) {
    (void)state;
    const struct kb_phase_by_hand said = {85, 85, KB_PEARLITE, false};
    struct kb_phase_map found, map;
    segment(NULL, 0, &found);
    segment(&said, 1, &map);
    assert_int_equal(map.figures.by_hand_px, 0);
    assert_memory_equal(found.figures.pixels, map.figures.pixels, sizeof map.figures.pixels);
    kb_phase_map_release(&found);
    kb_phase_map_release(&map);
}

static void matrix_left_without_a_name_is_told(void **state) {
    (void)state;
    const struct kb_phase_by_hand said = {85, 85, KB_MATRIX, false};
    struct kb_phase_map map;
    segment(&said, 1, &map);
    assert_true(kb_findings_has(&map.findings, "matrix-partly-told"));
    kb_phase_map_release(&map);
}

static void points_that_name_nothing_are_refused_by_their_place(void **state) {
    (void)state;
    struct kb_phase_by_hand said = {WIDTH, 5, KB_OTHER, false};
    refuse(&said, 1, "200,5: outside the picture of 200 x 120 pixels");
    said = (struct kb_phase_by_hand){5, -1, KB_OTHER, false};
    refuse(&said, 1, "5,-1: outside");
    said = (struct kb_phase_by_hand){5, HEIGHT, KB_OTHER, false};
    refuse(&said, 1, "5,120: outside");

    const struct kb_rect rect = {0, 0, 50, 50};
    struct kb_segmentation_params params = usual();
    params.exclusion = &rect;
    params.exclusions = 1;
    said = (struct kb_phase_by_hand){5, 6, KB_OTHER, false};
    refuse_under(&params, &said, 1, "5,6: this pixel is excluded");
}

static void words_that_contradict_or_cannot_be_shown_are_refused(void **state) {
    (void)state;
    const struct kb_phase_by_hand two[] = {{85, 85, KB_OTHER, false}, {90, 90, KB_FERRITE, false}};
    refuse(two, 2, "90,90: another word by hand");
    struct kb_phase_by_hand said = {85, 85, KB_PHASES, false};
    refuse(&said, 1, "unknown phase");
    refuse(NULL, 1, "none are given");

    struct kb_segmentation_params params = usual();
    params.contrast = KB_LIGHT_UNETCHED;
    said.phase = KB_PEARLITE;
    refuse_under(&params, &said, 1, "unetched");
    params = usual();
    params.material = KB_CARBON_STEEL;
    said.phase = KB_GRAPHITE;
    refuse_under(&params, &said, 1, "steel");

    said = (struct kb_phase_by_hand){190, 60, KB_EXCLUDED, false};
    const struct kb_phase_by_hand all[] = {said,
                                           {15, 15, KB_EXCLUDED, false},
                                           {35, 35, KB_EXCLUDED, false},
                                           {15, 85, KB_EXCLUDED, false},
                                           {85, 15, KB_EXCLUDED, false},
                                           {105, 35, KB_EXCLUDED, false},
                                           {85, 85, KB_EXCLUDED, false}};
    refuse(all, 7, "leave nothing");
}

static void a_word_that_may_miss_is_told_where_nothing_is_left_of_its_region(void **state) {
    (void)state;
    const struct kb_phase_by_hand said[] = {
        {WIDTH, 5, KB_OTHER, true}, {5, 6, KB_OTHER, true}, {85, 85, KB_OTHER, false}};
    const struct kb_rect out = {0, 0, 8, 8};
    struct kb_segmentation_params params = usual();
    params.exclusion = &out;
    params.exclusions = 1;
    struct kb_phase_map map;
    assert_int_equal(correct(&params, said, 3, &map, NULL), KB_OK);
    assert_true(map.change[0].missed && map.change[1].missed && !map.change[2].missed);
    assert_int_equal(map.change[2].pixels, SIDE * SIDE - 4 /* corners: median */);
    assert_int_equal(map.figures.by_hand_px, SIDE * SIDE - 4 /* corners: median */);
    size_t told = 0;
    for (size_t i = 0; i < map.findings.count; i++) {
        told += strcmp(map.findings.item[i].code, "by-hand-without-effect") == 0;
    }
    assert_int_equal(told, 2);
    kb_phase_map_release(&map);
}

static void of_words_that_may_miss_the_last_about_a_region_holds(void **state) {
    (void)state;
    const struct kb_phase_by_hand said[] = {
        {85, 85, KB_OTHER, true}, {90, 90, KB_FERRITE, true}, {95, 95, KB_EXCLUDED, true}};
    struct kb_phase_map map;
    segment(said, 3, &map);
    assert_int_equal(label_at(&map, 85, 85), KB_EXCLUDED);
    assert_true(map.change[0].missed && map.change[1].missed && !map.change[2].missed);
    assert_int_equal(map.figures.by_hand_px, SIDE * SIDE - 4 /* corners: median */);
    kb_phase_map_release(&map);
}

static void every_failed_allocation_is_reported_and_nothing_leaks(void **state) {
    (void)state;
    const struct kb_phase_by_hand said[] = {{85, 85, KB_OTHER, false},
                                            {15, 15, KB_EXCLUDED, false}};
    struct kb_segmentation_params params = usual();
    struct kb_phase_map map;
    bool happened = true;
    for (size_t n = 1; happened; n++) {
        fail_alloc_at(n);
        enum kb_status status = correct(&params, said, 2, &map, NULL);
        happened = fail_alloc_happened() != 0;
        assert_int_equal(status, happened ? KB_E_MEMORY : KB_OK);
        kb_phase_map_release(&map);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_word_that_may_miss_is_told_where_nothing_is_left_of_its_region),
        cmocka_unit_test(of_words_that_may_miss_the_last_about_a_region_holds),
        cmocka_unit_test(a_region_changes_whole_and_nothing_else_does),
        cmocka_unit_test(regions_join_over_corners_for_graphite_only),
        cmocka_unit_test(the_order_of_corrections_changes_nothing),
        cmocka_unit_test(a_map_is_corrected_once),
        cmocka_unit_test(the_same_word_twice_counts_once),
        cmocka_unit_test(a_word_for_what_was_found_changes_nothing),
        cmocka_unit_test(matrix_left_without_a_name_is_told),
        cmocka_unit_test(points_that_name_nothing_are_refused_by_their_place),
        cmocka_unit_test(words_that_contradict_or_cannot_be_shown_are_refused),
        cmocka_unit_test(every_failed_allocation_is_reported_and_nothing_leaks),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
