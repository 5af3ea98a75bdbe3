/* test_count_rules.c - which particles each rule counts. Truth: by hand, and by tiling a plane with
 * fields, where a rule without bias counts each particle once. */
#include "made_fields.h"
#include "made_map.h"
#include "specimen_priv.h"

#include "kb_cmocka.h"

#include <stdlib.h>
#include <string.h>

enum { SIDE = 100 };

static uint8_t label[SIDE * SIDE];

static struct kb_phase_map clear_map(void) {
    struct kb_phase_map map = {.label = {SIDE, SIDE, SIDE, label}};
    memset(label, KB_MATRIX, sizeof label);
    map.figures.pixels[KB_MATRIX] = sizeof label;
    return map;
}

static void exclude(struct kb_phase_map *map, struct kb_rect rect) {
    for (int32_t y = rect.y; y < rect.y + rect.height; y++) {
        memset(label + y * SIDE + rect.x, KB_EXCLUDED, (size_t)rect.width);
    }
    uint64_t area = (uint64_t)rect.width * (uint64_t)rect.height;
    map->figures.pixels[KB_EXCLUDED] += area;
    map->figures.pixels[KB_MATRIX] -= area;
}

static struct kb_particle particle_at(int32_t x, int32_t y, int32_t size,
                                      enum kb_particle_state state, double shape) {
    struct kb_particle particle = made_particle(shape, size);
    particle.box = (struct kb_rect){x, y, size, size};
    particle.state = state;
    return particle;
}

static struct kb_field_figures figures_of(const struct kb_phase_map *map,
                                          struct kb_particle *particle, size_t count) {
    struct kb_particles particles = {
        .particle = particle, .count = count, .width = SIDE, .height = SIDE, .min_feret_um = 10.0};
    struct kb_field_figures figures;
    kb_field_figures_make(map, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 1.0, &particles, &figures);
    return figures;
}

static struct kb_specimen specimen_of(const struct kb_field_figures *field, size_t count) {
    struct kb_specimen_params params = kb_specimen_params_default();
    struct kb_specimen specimen;
    assert_int_equal(kb_specimen_run(field, count, KB_DUCTILE_IRON, &params, &specimen, NULL),
                     KB_OK);
    kb_findings_release(&specimen.findings);
    return specimen;
}

/* Per field of 100 x 100 um: 1e-2 mm2. */
static double number(const struct kb_estimate *per_mm2) {
    return per_mm2->value * 1e-2;
}

static void each_rule_counts_by_hand(void **state) {
    (void)state;
    struct kb_phase_map map = clear_map();
    struct kb_particle particle[] = {
        particle_at(40, 40, 20, KB_COUNTS, 0.9),    particle_at(70, 70, 20, KB_COUNTS, 0.9),
        particle_at(10, 70, 20, KB_COUNTS, 0.3), /* no nodule */
        particle_at(50, 50, 5, KB_UNDER_SIZE, 0.9), particle_at(0, 30, 15, KB_ON_FRAME, 0.4),
        particle_at(30, 0, 15, KB_ON_FRAME, 0.4),   particle_at(85, 20, 15, KB_ON_FRAME, 0.4),
        particle_at(20, 85, 15, KB_ON_FRAME, 0.4),  particle_at(85, 0, 15, KB_ON_FRAME, 0.4),
        particle_at(95, 50, 5, KB_ON_FRAME, 0.4), /* too small as far as it shows */
    };
    struct kb_field_figures field = figures_of(&map, particle, sizeof particle / sizeof *particle);
    assert_int_equal(field.cut, 5);
    assert_int_equal(field.cut_kept, 2);
    struct kb_specimen specimen = specimen_of(&field, 1);
    const struct kb_estimate *all = specimen.graphite_count_per_mm2;
    const struct kb_estimate *nodules = specimen.nodule_count_per_mm2;
    assert_near(number(&all[KB_COUNT_INSIDE]), 3.0, 1e-9);
    assert_near(number(&all[KB_COUNT_HALF_CUT]), 5.5, 1e-9);
    assert_near(number(&all[KB_COUNT_TWO_EDGES]), 5.0, 1e-9);
    /* two of three complete ones are nodules, so two thirds of the cut ones are taken to be */
    assert_near(number(&nodules[KB_COUNT_INSIDE]), 2.0, 1e-9);
    assert_near(number(&nodules[KB_COUNT_HALF_CUT]), 2.0 + 2.5 * 2.0 / 3.0, 1e-9);
    assert_near(number(&nodules[KB_COUNT_TWO_EDGES]), 2.0 + 2.0 * 2.0 / 3.0, 1e-9);
    assert_near(nodules[KB_COUNT_WEIGHTED].value, specimen.nodules_per_mm2.value, 1e-9);
    assert_true(number(&all[KB_COUNT_WEIGHTED]) > 3.0);
}

static void a_data_bar_moves_the_edge(void **state) {
    (void)state;
    struct kb_phase_map map = clear_map();
    exclude(&map, (struct kb_rect){0, 80, SIDE, 20});
    struct kb_particle particle[] = {
        particle_at(30, 65, 15, KB_ON_EXCLUSION, 0.4), /* the bar's edge is the lower edge */
        particle_at(0, 65, 15, KB_ON_FRAME, 0.4),
    };
    struct kb_field_figures field = figures_of(&map, particle, 2);
    assert_true(field.edges_plain);
    assert_int_equal(field.cut, 2);
    assert_int_equal(field.cut_kept, 1);
    map = clear_map();
    exclude(&map, (struct kb_rect){0, 0, SIDE, 10});
    exclude(&map, (struct kb_rect){90, 10, 10, 90});
    struct kb_particle other[] = {
        particle_at(30, 10, 15, KB_ON_EXCLUSION, 0.4), /* below a bar at the top: not */
        particle_at(75, 30, 15, KB_ON_EXCLUSION, 0.4), /* beside one at the right: yes */
    };
    field = figures_of(&map, other, 2);
    assert_true(field.edges_plain);
    assert_int_equal(field.cut_kept, 1);
}

static void a_patch_inside_leaves_two_edges_without_an_answer(void **state) {
    (void)state;
    struct kb_phase_map map = clear_map();
    exclude(&map, (struct kb_rect){40, 40, 10, 10});
    struct kb_particle particle[] = {particle_at(70, 70, 20, KB_COUNTS, 0.9)};
    struct kb_field_figures field = figures_of(&map, particle, 1);
    assert_false(field.edges_plain);
    struct kb_specimen specimen = specimen_of(&field, 1);
    assert_false(specimen.nodule_count_per_mm2[KB_COUNT_TWO_EDGES].measured);
    assert_non_null(
        strstr(specimen.nodule_count_per_mm2[KB_COUNT_TWO_EDGES].why, "inside a field"));
    assert_true(specimen.nodule_count_per_mm2[KB_COUNT_HALF_CUT].measured);
    assert_true(specimen.nodule_count_per_mm2[KB_COUNT_WEIGHTED].measured);
}

/* Squares of 15 um, 25 um apart, over 3 x 3 fields: the field in the middle must count its share
 * wherever the lattice lies, by the two unbiased ways exactly in the mean. */
static void a_tiled_plane_counts_each_particle_once(void **state) {
    (void)state;
    enum { APART = 25, SIZE = 15 };
    size_t counted = 0;
    size_t belongs = 0;
    for (int32_t shift = 0; shift < APART * APART; shift++) {
        struct kb_particle particle[64];
        size_t count = 0;
        struct kb_phase_map map = clear_map();
        for (int32_t y = shift / APART - APART; y < SIDE; y += APART) {
            for (int32_t x = shift % APART - APART; x < SIDE; x += APART) {
                int32_t x0 = x > 0 ? x : 0;
                int32_t y0 = y > 0 ? y : 0;
                int32_t x1 = x + SIZE < SIDE ? x + SIZE : SIDE;
                int32_t y1 = y + SIZE < SIDE ? y + SIZE : SIDE;
                if (x1 <= x0 || y1 <= y0) {
                    continue;
                }
                bool cut = x <= 0 || y <= 0 || x1 == SIDE || y1 == SIDE;
                particle[count] = particle_at(x0, y0, SIZE, cut ? KB_ON_FRAME : KB_COUNTS, 0.9);
                particle[count].box = (struct kb_rect){x0, y0, x1 - x0, y1 - y0};
                belongs += x >= 1 && y >= 1 && x <= SIDE && y <= SIDE ? 1 : 0;
                count++;
            }
        }
        struct kb_field_figures field = figures_of(&map, particle, count);
        counted += field.rated + field.cut_kept;
    }
    /* the upper left corner lies in the field for one place in 25 x 25 a pixel of it; the first row
     * and column count as touching and so belong to the neighbour */
    assert_int_equal(counted, belongs);
    assert_near((double)counted / (APART * APART), (SIDE - 1.0) * (SIDE - 1.0) / (APART * APART),
                1e-9);
}

static void no_particles_are_none_by_every_rule(void **state) {
    (void)state;
    struct kb_phase_map map = clear_map();
    struct kb_field_figures field = figures_of(&map, NULL, 0);
    struct kb_specimen specimen = specimen_of(&field, 1);
    for (int rule = 0; rule < KB_COUNT_RULES; rule++) {
        assert_near(specimen.nodule_count_per_mm2[rule].value, 0.0, 0.0);
        assert_near(specimen.graphite_count_per_mm2[rule].value, 0.0, 0.0);
        assert_true(strlen(kb_count_rule_words((enum kb_count_rule)rule)) > 10);
    }
}

static void steel_has_no_count_by_any_rule(void **state) {
    (void)state;
    struct kb_field_figures field = made_steel(0.4);
    struct kb_specimen_params params = kb_specimen_params_default();
    struct kb_specimen specimen;
    assert_int_equal(kb_specimen_run(&field, 1, KB_CARBON_STEEL, &params, &specimen, NULL), KB_OK);
    for (int rule = 0; rule < KB_COUNT_RULES; rule++) {
        assert_false(specimen.nodule_count_per_mm2[rule].measured);
        assert_non_null(specimen.graphite_count_per_mm2[rule].why);
    }
    kb_specimen_release(&specimen);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_rule_counts_by_hand),
        cmocka_unit_test(a_data_bar_moves_the_edge),
        cmocka_unit_test(a_patch_inside_leaves_two_edges_without_an_answer),
        cmocka_unit_test(a_tiled_plane_counts_each_particle_once),
        cmocka_unit_test(no_particles_are_none_by_every_rule),
        cmocka_unit_test(steel_has_no_count_by_any_rule),
    };
    return cmocka_run_group_tests_name("count rules", tests, NULL, NULL);
}
