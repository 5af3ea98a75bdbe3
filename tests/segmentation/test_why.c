/* test_why.c - the way of a point ends at the label that the map has there, and its steps say the
 * numbers that decided.
 *
 * The first is asked of a grid of points over drawn fields of every kind: a step that changes
 * labels without telling breaks the chain. The numbers are asked on pictures simple enough to know
 * them.
 */
#include "drawn_field.h"
#include "fail_alloc.h"
#include "kb_cmocka.h"

#include <stdlib.h>
#include <string.h>

enum { EVERY = 7 }; /* pixels between the points of the grid */

static struct kb_place *grid(const struct kb_image *image, size_t *count) {
    size_t most = (size_t)(image->width / EVERY + 1) * (size_t)(image->height / EVERY + 1);
    struct kb_place *place = calloc(most, sizeof *place);
    assert_non_null(place);
    *count = 0;
    for (int32_t y = 0; y < image->height; y += EVERY) {
        for (int32_t x = 0; x < image->width; x += EVERY) {
            place[(*count)++] = (struct kb_place){x, y};
        }
    }
    return place;
}

static void check_chain(const struct kb_why *why, const struct kb_image *label) {
    assert_true(why->steps > 0 && why->steps < KB_WHY_STEPS);
    for (size_t i = 0; i < why->steps; i++) {
        assert_true(strlen(why->step[i].says) > 10);
        assert_true(strlen(why->step[i].says) + 1 < sizeof why->step[i].says);
        if (i > 0 && strcmp(why->step[i].step, "second look") != 0) {
            assert_int_equal(why->step[i].from, why->step[i - 1].to);
        }
    }
    const int at_last = (int)why->step[why->steps - 1].to;
    if (at_last != kb_row(label, why->y)[why->x]) {
        fail_msg("at %d,%d the way ends at %d, the label is %d (last step: %s)", why->x, why->y,
                 at_last, kb_row(label, why->y)[why->x], why->step[why->steps - 1].step);
    }
}

static size_t steps_named(const struct kb_phase_map *map, const char *name) {
    size_t seen = 0;
    for (size_t i = 0; i < map->whys; i++) {
        for (size_t k = 0; k < map->why[i].steps; k++) {
            seen += strcmp(map->why[i].step[k].step, name) == 0;
        }
    }
    return seen;
}

/* Segment with a grid of points, and without: the same labels, and every way ends at its own. */
static void explain(const struct kb_field *field, struct kb_segmentation_params params,
                    struct kb_phase_map *map) {
    struct kb_phase_map plain;
    struct kb_err err = {.code = KB_OK};
    assert_int_equal(kb_segment(field, &params, &plain, &err), KB_OK);
    struct kb_place *place = grid(&field->grey, &params.whys);
    params.why = place;
    assert_int_equal(kb_segment(field, &params, map, &err), KB_OK);
    free(place);
    assert_int_equal(map->whys, params.whys);
    for (int32_t y = 0; y < field->grey.height; y++) {
        assert_memory_equal(kb_row(&plain.label, y), kb_row(&map->label, y),
                            (size_t)field->grey.width);
    }
    for (size_t i = 0; i < map->whys; i++) {
        check_chain(&map->why[i], &map->label);
    }
    kb_phase_map_release(&plain);
}

static struct kb_render_params small(uint64_t seed) {
    struct kb_render_params draw = kb_render_params_default();
    draw.seed = seed;
    draw.width = 520;
    draw.height = 390;
    return draw;
}

static void every_way_ends_at_the_label_of_its_point(void **state) {
    (void)state;
    struct {
        struct kb_render_params draw;
        enum kb_material material;
        enum kb_contrast contrast;
    } kind[6];
    for (size_t i = 0; i < 6; i++) {
        kind[i].draw = small(4100 + i);
        kind[i].material = KB_DUCTILE_IRON;
        kind[i].contrast = KB_LIGHT;
    }
    kind[1].draw.look = KB_RENDER_UNETCHED;
    kind[1].contrast = KB_LIGHT_UNETCHED;
    kind[2].draw.px_um = 0.15; /* lamellae resolved */
    kind[2].draw.lamella_um = 1.0;
    kind[3].draw.graphite = KB_RENDER_FLAKES;
    kind[3].material = KB_GREY_IRON;
    kind[4].draw.graphite = KB_RENDER_NONE;
    kind[4].draw.bulls_eye = false;
    kind[4].material = KB_CARBON_STEEL;
    kind[5].draw.pearlite_of_matrix = 0.04; /* one hill, a second look */
    kind[5].draw.noise = 9.0;
    for (size_t i = 0; i < 6; i++) {
        struct drawn_field drawn;
        struct kb_phase_map map;
        assert_true(drawn_field_make(&kind[i].draw, &drawn));
        explain(&drawn.field, kb_segmentation_params_default(kind[i].material, kind[i].contrast),
                &map);
        kb_phase_map_release(&map);
        drawn_field_release(&drawn);
    }
}

static void steps_that_changed_a_label_are_among_those_told(void **state) {
    (void)state;
    struct drawn_field drawn;
    struct kb_phase_map map;
    const struct kb_render_params draw = small(77);
    assert_true(drawn_field_make(&draw, &drawn));
    explain(&drawn.field, kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT), &map);
    assert_true(steps_named(&map, "grey level") == map.whys);
    assert_true(steps_named(&map, "blurred rim") > 0);
    assert_true(steps_named(&map, "line, not a phase") > 0);
    assert_true(steps_named(&map, "surroundings") > 0);
    assert_true(steps_named(&map, "dark region: depth") > 0);
    kb_phase_map_release(&map);
    drawn_field_release(&drawn);
}

/* ---- a picture whose numbers are known ---------------------------------------------------------
 */

enum { SIDE = 200 };
static uint8_t square[SIDE * SIDE];

/* Unetched: ground 200, a graphite disc of 40 px at 60,60 with a bright spot of 5 x 5 px, a speck
 * of 3 x 3 px at 150,150. At 0.5 um a pixel the spot has 6.25 um2, the speck 2.25 um2. */
static struct kb_field two_greys(void) {
    for (int y = 0; y < SIDE; y++) {
        for (int x = 0; x < SIDE; x++) {
            const bool disc = (x - 60) * (x - 60) + (y - 60) * (y - 60) <= 20 * 20;
            const bool spot = abs(x - 60) <= 2 && abs(y - 60) <= 2;
            const bool speck = abs(x - 150) <= 1 && abs(y - 150) <= 1;
            square[y * SIDE + x] = (disc && !spot) || speck ? 50 : 200;
        }
    }
    return (struct kb_field){
        .grey = {.width = SIDE, .height = SIDE, .stride = SIDE, .px = square},
        .px_um = 0.5,
        .grey_low = 0.0,
        .grey_high = 255.0,
    };
}

static const struct kb_why_step *step_of(const struct kb_why *why, const char *name) {
    for (size_t i = 0; i < why->steps; i++) {
        if (strcmp(why->step[i].step, name) == 0) {
            return &why->step[i];
        }
    }
    fail_msg("no step '%s' at %d,%d", name, why->x, why->y);
    return NULL;
}

static void the_steps_say_the_numbers_that_decided(void **state) {
    (void)state;
    const struct kb_field field = two_greys();
    const struct kb_place place[] = {{50, 60}, {60, 60}, {150, 150}, {20, 180}, {5, 5}};
    const struct kb_rect out = {0, 0, 10, 10};
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
    params.even_light = false;
    params.why = place;
    params.whys = 5;
    params.exclusion = &out;
    params.exclusions = 1;
    struct kb_phase_map map;
    struct kb_err err = {.code = KB_OK};
    assert_int_equal(kb_segment(&field, &params, &map, &err), KB_OK);

    const struct kb_why_step *step = step_of(&map.why[0], "grey level");
    assert_near(step->figure, 50.0, 1e-9);
    assert_near(step->limit, map.figures.threshold[0], 1e-9);
    assert_near(step_of(&map.why[0], "dark region: depth")->figure, 1.0, 1e-9);

    step = step_of(&map.why[1], "bright spot in graphite");
    assert_int_equal(step->from, KB_MATRIX);
    assert_int_equal(step->to, KB_GRAPHITE);
    /* the median of 3 x 3 takes a pixel off each of the square's corners */
    assert_near(step->figure, (25.0 - 4.0) * 0.25, 1e-9);

    step = step_of(&map.why[2], "speck");
    assert_int_equal(step->to, KB_MATRIX);
    assert_near(step->figure, 2.0 * sqrt((9.0 - 4.0) / 3.14159265358979) * 0.5, 1e-6);
    assert_near(step->limit, 2.0, 1e-9);

    assert_int_equal(map.why[3].step[map.why[3].steps - 1].to, KB_MATRIX);
    assert_int_equal(map.why[4].steps, 1);
    assert_int_equal(map.why[4].step[0].to, KB_EXCLUDED);
    kb_phase_map_release(&map);
}

static void a_decision_by_hand_is_the_last_step(void **state) {
    (void)state;
    const struct kb_field field = two_greys();
    const struct kb_place place[] = {{50, 60}, {20, 180}};
    const struct kb_phase_by_hand said = {70, 60, KB_OTHER, false};
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
    params.why = place;
    params.whys = 2;
    struct kb_phase_map map;
    struct kb_err err = {.code = KB_OK};
    assert_int_equal(kb_segment(&field, &params, &map, &err), KB_OK);
    assert_int_equal(kb_phase_map_correct(&said, 1, &params, &map, &err), KB_OK);
    check_chain(&map.why[0], &map.label);
    check_chain(&map.why[1], &map.label);
    assert_int_equal(map.why[0].change, 1);
    assert_int_equal(map.why[1].change, 0);
    const struct kb_why_step *last = &map.why[0].step[map.why[0].steps - 1];
    assert_string_equal(last->step, "by hand");
    assert_int_equal(last->from, KB_GRAPHITE);
    assert_int_equal(last->to, KB_OTHER);
    kb_phase_map_release(&map);
}

static void a_point_outside_the_picture_is_refused(void **state) {
    (void)state;
    const struct kb_field field = two_greys();
    const struct kb_place outside[] = {{-1, 5}, {5, -1}, {SIDE, 5}, {5, SIDE}};
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
    struct kb_phase_map map;
    struct kb_err err = {.code = KB_OK};
    params.whys = 1;
    for (size_t i = 0; i < 4; i++) {
        params.why = &outside[i];
        assert_int_equal(kb_segment(&field, &params, &map, &err), KB_E_USAGE);
        assert_non_null(strstr(err.text, "outside the picture"));
        assert_null(map.why);
    }
    params.why = NULL;
    assert_int_equal(kb_segment(&field, &params, &map, &err), KB_E_USAGE);
}

static void every_failed_allocation_is_reported_and_nothing_leaks(void **state) {
    (void)state;
    const struct kb_field field = two_greys();
    const struct kb_place place = {50, 60};
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
    params.why = &place;
    params.whys = 1;
    bool happened = true;
    for (size_t n = 1; happened; n++) {
        struct kb_phase_map map;
        fail_alloc_at(n);
        enum kb_status status = kb_segment(&field, &params, &map, NULL);
        happened = fail_alloc_happened() != 0;
        assert_int_equal(status, happened ? KB_E_MEMORY : KB_OK);
        kb_phase_map_release(&map);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_way_ends_at_the_label_of_its_point),
        cmocka_unit_test(steps_that_changed_a_label_are_among_those_told),
        cmocka_unit_test(the_steps_say_the_numbers_that_decided),
        cmocka_unit_test(a_decision_by_hand_is_the_last_step),
        cmocka_unit_test(a_point_outside_the_picture_is_refused),
        cmocka_unit_test(every_failed_allocation_is_reported_and_nothing_leaks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
