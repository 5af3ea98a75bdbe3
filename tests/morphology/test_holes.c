/* test_holes.c - which holes are filled. */
#include "kb_cmocka.h"

#include "shapes.h"

static struct kb_particle ring(double outer, double inner) {
    struct kb_phase_map map = map_blank(120, 120);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){60.2, 59.7}, outer);
    map_paint_disc(&map, KB_FERRITE, (struct place){60.2, 59.7}, inner);
    struct kb_particle particle = only_particle(&map);
    kb_phase_map_release(&map);
    return particle;
}

static void a_polished_out_centre_is_filled(void **state) {
    (void)state;
    struct kb_particle p = ring(40.0, 20.0);
    assert_near(p.area_px2, SHAPE_PI * 1600.0, 20.0);
    assert_near(p.hole_area_px2, SHAPE_PI * 400.0, 10.0);
    assert_near(p.solidity, 1.0, 1e-12);
    assert_near(p.perimeter_px, SHAPE_PI * 80.0, 2.0);
}

/* Bore over outer diameter 0.58 is where the default share, 0.5, lies: 0.58^2 / (1 - 0.58^2). */
static void the_share_of_a_hole_decides_as_documented(void **state) {
    (void)state;
    assert_true(ring(50.0, 0.56 * 50.0).hole_area_px2 > 0.0);
    assert_true(ring(50.0, 0.60 * 50.0).hole_area_px2 == 0.0);
}

static void a_wide_ring_stays_open_and_keeps_both_outlines(void **state) {
    (void)state;
    struct kb_particle p = ring(50.0, 40.0);
    assert_near(p.area_px2, SHAPE_PI * 900.0, 20.0);
    assert_near(p.hole_area_px2, 0.0, 0.0);
    assert_near(p.perimeter_px, SHAPE_PI * 180.0, 3.0);
}

static void a_hole_open_by_a_corner_only_is_still_a_hole(void **state) {
    (void)state;
    /* graphite is 8-connected, so what is clear is 4-connected: the diagonal gap is shut */
    struct kb_phase_map map = map_blank(11, 11);
    for (int y = 2; y < 9; y++) {
        for (int x = 2; x < 9; x++) {
            kb_row(&map.label, y)[x] = KB_GRAPHITE;
        }
    }
    kb_row(&map.label, 3)[3] = KB_FERRITE;
    kb_row(&map.label, 2)[2] = KB_FERRITE; /* meets the hole at a corner */
    struct kb_particle p = only_particle(&map);
    assert_near(p.hole_area_px2, 1.0, 0.0);
    assert_near(p.area_px2, 48.0, 0.0);
    kb_row(&map.label, 2)[3] = KB_FERRITE; /* and by a side: open now */
    p = only_particle(&map);
    kb_phase_map_release(&map);
    assert_near(p.hole_area_px2, 0.0, 0.0);
    assert_near(p.area_px2, 46.0, 0.0);
}

static void a_particle_inside_a_hole_becomes_part_of_what_surrounds_it(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(120, 120);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){60.0, 60.0}, 40.0);
    map_paint_disc(&map, KB_PEARLITE, (struct place){60.0, 60.0}, 15.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){61.0, 60.0}, 5.0);
    struct kb_particle p = only_particle(&map);
    assert_near(p.area_px2, SHAPE_PI * 1600.0, 20.0);
    /* only what is not graphite is hole */
    assert_near(p.hole_area_px2, SHAPE_PI * (225.0 - 25.0), 15.0);
    kb_phase_map_release(&map);
}

static void matrix_enclosed_by_a_flake_network_is_no_hole(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(400, 400);
    double graphite = 0.0;
    for (int32_t y = 20; y < 380; y++) {
        for (int32_t x = 20; x < 380; x++) {
            bool wall = (x - 20) % 60 < 8 || (y - 20) % 60 < 8 || x >= 372 || y >= 372;
            kb_row(&map.label, y)[x] = wall ? KB_GRAPHITE : KB_FERRITE;
            graphite += wall;
        }
    }
    struct kb_particle p = only_particle(&map);
    assert_near(p.area_px2, graphite, 0.0);
    /* a pit in one of its walls is one */
    kb_row(&map.label, 23)[50] = KB_FERRITE;
    p = only_particle(&map);
    kb_phase_map_release(&map);
    assert_near(p.area_px2, graphite, 0.0);
    assert_near(p.hole_area_px2, 1.0, 0.0);
}

static void a_share_of_nought_fills_nothing(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(40, 40);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){20.0, 20.0}, 15.0);
    kb_row(&map.label, 20)[20] = KB_FERRITE;
    struct kb_morphology_params params = rules_plain();
    params.hole_share = 0.0;
    struct kb_particles particles = measured(&map, 0.5, &params);
    assert_near(particles.particle[0].hole_area_px2, 0.0, 0.0);
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
}

/* The outline of what is clear outside, by flooding from the frame, is the slow truth. */
static size_t outside_pixels(const struct kb_image *label, uint8_t *seen) {
    size_t count = 0;
    bool more = true;
    while (more) {
        more = false;
        for (int32_t y = 0; y < label->height; y++) {
            for (int32_t x = 0; x < label->width; x++) {
                size_t at = (size_t)y * (size_t)label->width + (size_t)x;
                if (seen[at] != 0 || kb_row(label, y)[x] == KB_GRAPHITE) {
                    continue;
                }
                bool edge = x == 0 || y == 0 || x + 1 == label->width || y + 1 == label->height;
                size_t w = (size_t)label->width;
                if (edge || seen[at - 1] || seen[at + 1] || seen[at - w] || seen[at + w]) {
                    seen[at] = 1;
                    count++;
                    more = true;
                }
            }
        }
    }
    return count;
}

/* Random salt inside a block: with an unlimited share all that is enclosed must be filled. */
static void every_enclosed_pixel_is_found_in_random_pictures(void **state) {
    (void)state;
    uint64_t seed = 6;
    for (int i = 0; i < 60; i++) {
        struct kb_phase_map map = map_blank(32, 28);
        double density = 0.35 + 0.4 * spread(&seed);
        for (int32_t y = 1; y < 27; y++) {
            for (int32_t x = 1; x < 31; x++) {
                bool graphite = spread(&seed) < density;
                kb_row(&map.label, y)[x] = graphite ? KB_GRAPHITE : KB_FERRITE;
            }
        }
        uint8_t seen[32 * 28] = {0};
        size_t outside = outside_pixels(&map.label, seen);
        struct kb_morphology_params params = rules_plain();
        params.hole_share = 100.0;
        struct kb_particles particles = measured(&map, 0.5, &params);
        double area = 0.0;
        for (size_t k = 0; k < particles.count; k++) {
            area += particles.particle[k].area_px2;
        }
        assert_near(area, 32.0 * 28.0 - (double)outside, 0.0);
        kb_particles_release(&particles);
        kb_phase_map_release(&map);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_polished_out_centre_is_filled),
        cmocka_unit_test(the_share_of_a_hole_decides_as_documented),
        cmocka_unit_test(a_wide_ring_stays_open_and_keeps_both_outlines),
        cmocka_unit_test(a_hole_open_by_a_corner_only_is_still_a_hole),
        cmocka_unit_test(a_particle_inside_a_hole_becomes_part_of_what_surrounds_it),
        cmocka_unit_test(matrix_enclosed_by_a_flake_network_is_no_hole),
        cmocka_unit_test(a_share_of_nought_fills_nothing),
        cmocka_unit_test(every_enclosed_pixel_is_found_in_random_pictures),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
