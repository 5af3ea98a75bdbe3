/* test_hills.c - thresholds on pictures made of square bodies with known greys and shares: classes
 * of very unlike size, more hills than classes, hills too near to part. */
#include "kb_cmocka.h"
#include "keelblock/segmentation.h"

#include <stdlib.h>
#include <string.h>

#define SIDE 24 /* pixels; 12 um, larger than any cleaning */
#define ACROSS 40
#define DOWN 30

struct kind {
    double share;
    int grey, noise; /* mean and half width of a triangular scatter */
};

static uint32_t next_random(uint32_t *state) {
    *state = *state * 1664525u + 1013904223u;
    return *state >> 8;
}

static uint8_t px[ACROSS * SIDE * DOWN * SIDE];

/* Bodies of each kind, as many as its share, strewn at random. */
static void draw(const struct kind *kind, int kinds) {
    int body[ACROSS * DOWN];
    uint32_t random = 31;
    int count = ACROSS * DOWN;
    int at = 0;
    for (int k = 0; k < kinds; k++) {
        int end = k == kinds - 1 ? count : at + (int)(kind[k].share * count + 0.5);
        for (; at < end; at++) {
            body[at] = k;
        }
    }
    for (int i = count - 1; i > 0; i--) {
        int k = (int)(next_random(&random) % (uint32_t)(i + 1));
        int swap = body[i];
        body[i] = body[k];
        body[k] = swap;
    }
    for (int i = 0; i < ACROSS * SIDE * DOWN * SIDE; i++) {
        int x = i % (ACROSS * SIDE) / SIDE;
        int y = i / (ACROSS * SIDE) / SIDE;
        const struct kind *k = &kind[body[y * ACROSS + x]];
        uint32_t width = (uint32_t)k->noise + 1;
        int noise = (int)(next_random(&random) % width) - (int)(next_random(&random) % width);
        px[i] = (uint8_t)(k->grey + noise);
    }
}

static void segment(enum kb_material material, enum kb_contrast contrast,
                    struct kb_phase_map *map) {
    struct kb_field field = {0};
    struct kb_err err;
    field.grey = (struct kb_image){ACROSS * SIDE, DOWN * SIDE, ACROSS * SIDE, px};
    field.grey_high = 255.0;
    field.px_um = 0.5;
    struct kb_segmentation_params params = kb_segmentation_params_default(material, contrast);
    if (kb_segment(&field, &params, map, &err) != KB_OK) {
        fail_msg("%s", err.text);
    }
}

static double share(const struct kb_phase_map *map, enum kb_phase phase) {
    return (double)map->figures.pixels[phase] / (double)sizeof px;
}

static void two_per_cent_graphite_is_found(void **state) {
    (void)state;
    const struct kind kinds[] = {{0.02, 70, 15}, {0.98, 190, 30}};
    struct kb_phase_map map;
    draw(kinds, 2);
    segment(KB_DUCTILE_IRON, KB_LIGHT_UNETCHED, &map);
    assert_near(share(&map, KB_GRAPHITE), 0.02, 0.001);
    kb_phase_map_release(&map);
}

static void small_classes_at_either_end_are_found(void **state) {
    (void)state;
    const struct kind little_pearlite[] = {{0.1, 50, 10}, {0.03, 125, 20}, {0.87, 205, 12}};
    const struct kind little_ferrite[] = {{0.1, 50, 10}, {0.87, 125, 30}, {0.03, 205, 8}};
    struct kb_phase_map map;
    draw(little_pearlite, 3);
    segment(KB_DUCTILE_IRON, KB_LIGHT, &map);
    assert_near(share(&map, KB_PEARLITE), 0.03, 0.003);
    assert_near(share(&map, KB_GRAPHITE), 0.1, 0.003);
    kb_phase_map_release(&map);
    draw(little_ferrite, 3);
    segment(KB_DUCTILE_IRON, KB_LIGHT, &map);
    assert_near(share(&map, KB_FERRITE), 0.03, 0.003);
    assert_near(share(&map, KB_GRAPHITE), 0.1, 0.003);
    kb_phase_map_release(&map);
}

static void shades_of_pearlite_do_not_become_graphite(void **state) {
    (void)state;
    const struct kind kinds[] = {{0.1, 50, 8}, {0.25, 95, 10}, {0.3, 140, 12}, {0.35, 205, 8}};
    struct kb_phase_map map;
    draw(kinds, 4);
    segment(KB_DUCTILE_IRON, KB_LIGHT, &map);
    assert_near(share(&map, KB_GRAPHITE), 0.1, 0.003);
    assert_near(share(&map, KB_PEARLITE), 0.55, 0.005);
    kb_phase_map_release(&map);
}

static void dark_and_light_graphite_are_both_graphite(void **state) {
    (void)state;
    const struct kind kinds[] = {{0.05, 35, 8}, {0.08, 95, 10}, {0.87, 190, 12}};
    struct kb_phase_map map;
    draw(kinds, 3);
    segment(KB_DUCTILE_IRON, KB_LIGHT_UNETCHED, &map);
    assert_near(share(&map, KB_GRAPHITE), 0.13, 0.003);
    kb_phase_map_release(&map);
}

/* The same greys etched may be ferrite with two kinds of graphite, or with dark pearlite. */
static void what_may_be_graphite_or_pearlite_is_told_of(void **state) {
    (void)state;
    const struct kind kinds[] = {{0.05, 35, 8}, {0.08, 85, 8}, {0.87, 190, 12}};
    struct kb_phase_map map;
    draw(kinds, 3);
    segment(KB_DUCTILE_IRON, KB_LIGHT, &map);
    assert_true(kb_findings_has(&map.findings, "graphite-or-pearlite"));
    kb_phase_map_release(&map);
}

static void hills_too_near_to_part_are_told_of(void **state) {
    (void)state;
    const struct kind kinds[] = {{0.5, 180, 6}, {0.5, 205, 6}};
    struct kb_phase_map map;
    draw(kinds, 2);
    segment(KB_CARBON_STEEL, KB_LIGHT, &map);
    assert_true(kb_findings_has(&map.findings, "single-constituent"));
    kb_phase_map_release(&map);
}

static void too_much_graphite_is_told_of(void **state) {
    (void)state;
    const struct kind kinds[] = {{0.4, 60, 8}, {0.6, 200, 8}};
    struct kb_phase_map map;
    draw(kinds, 2);
    segment(KB_DUCTILE_IRON, KB_LIGHT_UNETCHED, &map);
    assert_true(kb_findings_has(&map.findings, "graphite-implausible"));
    kb_phase_map_release(&map);
}

/* Lever rule: no steel holds more than 23 % proeutectoid cementite. */
static void too_much_cementite_is_called_matrix(void **state) {
    (void)state;
    const struct kind kinds[] = {{0.4, 90, 10}, {0.6, 200, 10}};
    struct kb_field field = {0};
    struct kb_phase_map map;
    draw(kinds, 2);
    field.grey = (struct kb_image){ACROSS * SIDE, DOWN * SIDE, ACROSS * SIDE, px};
    field.grey_high = 255.0;
    field.px_um = 0.5;
    struct kb_segmentation_params params =
        kb_segmentation_params_default(KB_CARBON_STEEL, KB_LIGHT);
    params.proeutectoid = KB_PRO_CEMENTITE;
    assert_int_equal(kb_segment(&field, &params, &map, NULL), KB_OK);
    assert_int_equal(map.figures.pixels[KB_MATRIX], sizeof px);
    kb_phase_map_release(&map);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_per_cent_graphite_is_found),
        cmocka_unit_test(small_classes_at_either_end_are_found),
        cmocka_unit_test(shades_of_pearlite_do_not_become_graphite),
        cmocka_unit_test(dark_and_light_graphite_are_both_graphite),
        cmocka_unit_test(what_may_be_graphite_or_pearlite_is_told_of),
        cmocka_unit_test(hills_too_near_to_part_are_told_of),
        cmocka_unit_test(too_much_graphite_is_told_of),
        cmocka_unit_test(too_much_cementite_is_called_matrix),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
