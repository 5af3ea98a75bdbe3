/* test_parting.c - what is parted and, as important, what is not. */
#include "kb_cmocka.h"

#include "shapes.h"

#include <string.h>

static struct kb_morphology_params rules(void) {
    return kb_morphology_params_default(KB_DUCTILE_IRON);
}

static struct kb_particles part(struct kb_phase_map *map) {
    struct kb_morphology_params params = rules();
    struct kb_particles particles = measured(map, 0.5, &params);
    kb_phase_map_release(map);
    return particles;
}

static size_t pieces_of(struct kb_phase_map *map) {
    struct kb_particles particles = part(map);
    size_t count = particles.count;
    for (size_t i = 0; i < count; i++) {
        assert_int_equal(particles.particle[i].parted, count > 1);
    }
    assert_int_equal(particles.parted_clusters, count > 1 ? 1 : 0);
    assert_int_equal(particles.parted_pieces, count > 1 ? count : 0);
    assert_int_equal(kb_findings_has(&particles.findings, "parted"), count > 1);
    kb_particles_release(&particles);
    return count;
}

/* Area of a disc less what lies beyond a line at distance `to_line` from its centre. */
static double cut_disc(double radius, double to_line) {
    double beyond = radius * radius * acos(to_line / radius) -
                    to_line * sqrt(radius * radius - to_line * to_line);
    return SHAPE_PI * radius * radius - beyond;
}

/* Two discs that overlap by 2 px, cut along the line through the ends of the neck; to 2 %. */
static void two_touching_discs_are_parted_in_any_direction(void **state) {
    (void)state;
    uint64_t seed = 11;
    for (int i = 0; i < 40; i++) {
        struct kb_phase_map map = map_blank(200, 200);
        double r1 = 20.0 + 20.0 * spread(&seed);
        double r2 = 12.0 + 20.0 * spread(&seed);
        double angle = 2.0 * SHAPE_PI * spread(&seed);
        double apart = r1 + r2 - 2.0;
        struct place a = {100.0 - apart / 2.0 * cos(angle), 100.0 - apart / 2.0 * sin(angle)};
        struct place b = {100.0 + apart / 2.0 * cos(angle), 100.0 + apart / 2.0 * sin(angle)};
        map_paint_disc(&map, KB_GRAPHITE, a, r1);
        map_paint_disc(&map, KB_GRAPHITE, b, r2);
        struct kb_particles particles = part(&map);
        assert_int_equal(particles.count, 2);
        const struct kb_particle *p = particles.particle;
        bool swapped = fabs(p[0].x_px - a.x) + fabs(p[0].y_px - a.y) > 5.0;
        double to_line = (apart * apart + r1 * r1 - r2 * r2) / (2.0 * apart);
        double area_a = cut_disc(r1, to_line);
        double area_b = cut_disc(r2, apart - to_line);
        assert_near(p[swapped].area_px2, area_a, 0.02 * area_a);
        assert_near(p[!swapped].area_px2, area_b, 0.02 * area_b);
        assert_true(p[0].shape_factor > 0.9 && p[1].shape_factor > 0.9);
        kb_particles_release(&particles);
    }
}

/* Centres 1.5 radii apart: the lens of overlap is wide, the neck 0.66 of the diameter. */
static void deeply_overlapping_discs_are_parted_at_the_neck(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(200, 120);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){70.3, 60.2}, 30.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){115.3, 60.2}, 30.0);
    struct kb_particles particles = part(&map);
    assert_int_equal(particles.count, 2);
    double half = cut_disc(30.0, 22.5);
    assert_near(particles.particle[0].area_px2, half, 0.02 * half);
    assert_near(particles.particle[1].area_px2, half, 0.02 * half);
    kb_particles_release(&particles);
}

/* The small disc makes no maximum of the distance map: the chord is 1.6 of its radius. */
static void a_small_disc_sunk_into_a_large_one_is_cut_off(void **state) {
    (void)state;
    for (int i = 0; i < 8; i++) {
        double angle = 2.0 * SHAPE_PI * (i + 0.3) / 8.0;
        struct kb_phase_map map = map_blank(160, 160);
        struct place small = {80.2 + 35.0 * cos(angle), 80.4 + 35.0 * sin(angle)};
        map_paint_disc(&map, KB_GRAPHITE, (struct place){80.2, 80.4}, 30.0);
        map_paint_disc(&map, KB_GRAPHITE, small, 10.0);
        struct kb_particles particles = part(&map);
        assert_int_equal(particles.count, 2);
        double to_line = (35.0 * 35.0 + 900.0 - 100.0) / (2.0 * 35.0);
        double large = cut_disc(30.0, to_line);
        double area = fmax(particles.particle[0].area_px2, particles.particle[1].area_px2);
        assert_near(area, large, 0.02 * large);
        kb_particles_release(&particles);
    }
}

/* Blunt ends are round, their necks wide: nothing is cut off a worm that swells at its ends. */
static void a_worm_with_bulbs_stays_whole(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(260, 160);
    const struct place worm[] = {{50, 60}, {110, 90}, {210, 70}};
    map_paint_stroke(&map, KB_GRAPHITE, worm, 3, 24.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){50, 60}, 15.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){210, 70}, 15.0);
    assert_int_equal(pieces_of(&map), 1);
}

/* Three in a row, the middle one ragged: the discs beside it do not stay for its sake. */
static void a_ragged_member_does_not_hold_its_cluster_together(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(260, 160);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){50, 80}, 28.0);
    map_paint_star(&map, KB_GRAPHITE, (struct place){112, 80}, 38.0, 0.55, 6, 0.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){174, 80}, 28.0);
    struct kb_particles particles = part(&map);
    assert_int_equal(particles.count, 3);
    kb_particles_release(&particles);
}

/* Clear cuts leave no doubt; what was never looked at is all in doubt. */
static void doubt_is_told(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(200, 120);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){60, 60}, 30.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){118, 60}, 30.0);
    struct kb_particles particles = part(&map);
    assert_true(particles.doubtful < 0.01 && particles.doubtful_area < 0.01);
    kb_particles_release(&particles);
    map = map_blank(1400, 1300);
    for (int i = 0; i < 6; i++) {
        double at = 150.0 + 195.0 * i;
        map_paint_disc(&map, KB_GRAPHITE, (struct place){at, at}, 140.0);
    }
    map_paint_disc(&map, KB_GRAPHITE, (struct place){1200, 200}, 140.0);
    particles = part(&map);
    assert_int_equal(particles.count, 2);
    assert_near(particles.doubtful, 6.0, 0.2); /* six such discs could lie in it */
    assert_true(particles.doubtful_area > 0.8);
    kb_particles_release(&particles);
}

/* Bodies of a few pixels in heaps: a straight cut may take a whole piece. Nothing fails, no pixel
 * is lost. */
static void heaps_of_tiny_bodies_keep_their_area(void **state) {
    (void)state;
    uint64_t seed = 5;
    for (int field = 0; field < 6; field++) {
        struct kb_phase_map map = map_blank(400, 400);
        for (int i = 0; i < 900; i++) {
            struct place at = {5.0 + 390.0 * spread(&seed), 5.0 + 390.0 * spread(&seed)};
            map_paint_disc(&map, KB_GRAPHITE, at, 1.5 + 4.5 * spread(&seed));
        }
        struct kb_morphology_params params = rules();
        params.hole_share = 0.0;
        params.min_feret_um = 0.5;
        struct kb_particles particles = measured(&map, 0.5, &params);
        double area = 0.0;
        double before = 0.0;
        for (size_t i = 0; i < particles.count; i++) {
            area += particles.particle[i].area_px2;
        }
        for (int32_t y = 0; y < 400; y++) {
            for (int32_t x = 0; x < 400; x++) {
                before += kb_row(&map.label, y)[x] == KB_GRAPHITE ? 1.0 : 0.0;
            }
        }
        assert_true(particles.parted_clusters > 20);
        assert_near(area, before, 0.0);
        kb_particles_release(&particles);
        kb_phase_map_release(&map);
    }
}

static void five_nodules_in_a_cluster_are_five(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(240, 240);
    const struct place centre[] = {{60, 60}, {109, 62}, {85, 103}, {134, 105}, {110, 147}};
    for (size_t i = 0; i < 5; i++) {
        map_paint_disc(&map, KB_GRAPHITE, centre[i], 25.0);
    }
    assert_int_equal(pieces_of(&map), 5);
}

/* Four discs in a square enclose (4 - pi) r^2 of matrix, which was filled as a hole at first. */
static void matrix_enclosed_by_touching_nodules_stays_matrix(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(160, 160);
    for (int i = 0; i < 4; i++) {
        struct place centre = {52.0 + 49.0 * (i % 2), 52.0 + 49.0 * (i / 2)};
        map_paint_disc(&map, KB_GRAPHITE, centre, 25.0);
    }
    struct kb_particles particles = part(&map);
    assert_int_equal(particles.count, 4);
    for (size_t i = 0; i < 4; i++) {
        assert_near(particles.particle[i].area_px2, SHAPE_PI * 625.0, 0.02 * SHAPE_PI * 625.0);
        assert_near(particles.particle[i].hole_area_px2, 0.0, 0.0);
    }
    kb_particles_release(&particles);
}

static void a_hole_in_one_of_two_touching_nodules_is_filled(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(160, 100);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){50.0, 50.0}, 28.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){104.0, 50.0}, 28.0);
    map_paint_disc(&map, KB_FERRITE, (struct place){50.0, 50.0}, 10.0);
    struct kb_particles particles = part(&map);
    assert_int_equal(particles.count, 2);
    double holes = particles.particle[0].hole_area_px2 + particles.particle[1].hole_area_px2;
    assert_near(holes, SHAPE_PI * 100.0, 12.0);
    kb_particles_release(&particles);
}

static void a_vermicular_stroke_stays_whole(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(260, 160);
    const struct place worm[] = {{30, 80}, {60, 50}, {100, 60}, {130, 100}, {170, 110}, {220, 70}};
    map_paint_stroke(&map, KB_GRAPHITE, worm, 6, 18.0);
    assert_int_equal(pieces_of(&map), 1);
}

/* Thick ends and a waist of half their width: necks, but no nodules. */
static void a_worm_with_waists_stays_whole(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(260, 120);
    const struct place first[] = {{30, 60}, {110, 60}};
    const struct place waist[] = {{100, 60}, {160, 60}};
    const struct place last[] = {{150, 60}, {230, 60}};
    map_paint_stroke(&map, KB_GRAPHITE, first, 2, 24.0);
    map_paint_stroke(&map, KB_GRAPHITE, waist, 2, 12.0);
    map_paint_stroke(&map, KB_GRAPHITE, last, 2, 24.0);
    assert_int_equal(pieces_of(&map), 1);
}

static void a_bean_stays_whole(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(160, 160);
    const struct place bean[] = {{55, 70}, {75, 90}, {105, 90}};
    map_paint_stroke(&map, KB_GRAPHITE, bean, 3, 44.0);
    assert_int_equal(pieces_of(&map), 1);
}

static void a_star_stays_whole(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(220, 220);
    map_paint_star(&map, KB_GRAPHITE, (struct place){110, 110}, 95.0, 0.45, 6, 0.3);
    assert_int_equal(pieces_of(&map), 1);
}

static void a_cracked_nodule_stays_one(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(120, 120);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){60, 60}, 40.0);
    const struct place crack[] = {{60, 10}, {62, 75}};
    map_paint_stroke(&map, KB_FERRITE, crack, 2, 4.0);
    assert_int_equal(pieces_of(&map), 1);
}

/* Outline r (1 + 0.06 cos 7t + 0.04 cos 12t): rough, not two. */
static void a_rough_nodule_stays_one(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(120, 120);
    struct place corner[180];
    for (int i = 0; i < 180; i++) {
        double t = 2.0 * SHAPE_PI * i / 180.0;
        double r = 40.0 * (1.0 + 0.06 * cos(7.0 * t) + 0.04 * cos(12.0 * t));
        corner[i] = (struct place){60.0 + r * cos(t), 60.0 + r * sin(t)};
    }
    map_paint_polygon(&map, KB_GRAPHITE, corner, 180);
    assert_int_equal(pieces_of(&map), 1);
}

static struct kb_phase_map two_discs(void) {
    struct kb_phase_map map = map_blank(200, 120);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){60, 60}, 30.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){118, 60}, 30.0);
    return map;
}

static void parting_can_be_switched_off_and_is_off_for_flakes(void **state) {
    (void)state;
    struct kb_phase_map map = two_discs();
    struct kb_morphology_params params = rules();
    params.part_touching = false;
    struct kb_particles particles = measured(&map, 0.5, &params);
    assert_int_equal(particles.count, 1);
    kb_particles_release(&particles);
    params.part_touching = true;
    params.flake = true;
    particles = measured(&map, 0.5, &params);
    assert_int_equal(particles.count, 1);
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
}

static void the_depth_of_the_neck_is_in_micrometres(void **state) {
    (void)state;
    /* radius 30 px, neck about 7.7 px wide: 26 px deep, 13 um at 0.5 um a pixel */
    struct kb_phase_map map = two_discs();
    struct kb_morphology_params params = rules();
    params.part_depth_um = 14.0;
    struct kb_particles particles = measured(&map, 0.5, &params);
    assert_int_equal(particles.count, 1);
    kb_particles_release(&particles);
    particles = measured(&map, 1.0, &params);
    assert_int_equal(particles.count, 2);
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
}

/* The map keeps its graphite; pieces share it without gap or overlap, and are numbered by their
 * first pixel. */
static void parting_moves_no_pixel(void **state) {
    (void)state;
    struct kb_phase_map map = two_discs();
    map_paint_disc(&map, KB_GRAPHITE, (struct place){160, 20}, 10.0);
    size_t before = 0;
    for (int32_t y = 0; y < 120; y++) {
        for (int32_t x = 0; x < 200; x++) {
            before += kb_row(&map.label, y)[x] == KB_GRAPHITE;
        }
    }
    struct kb_morphology_params params = rules();
    struct kb_particles particles = measured(&map, 0.5, &params);
    assert_int_equal(particles.count, 3);
    assert_int_equal(particles.runs.regions, 3);
    assert_false(particles.particle[0].parted); /* the small one begins highest */
    assert_true(particles.particle[1].parted && particles.particle[2].parted);
    double area = 0.0;
    for (size_t i = 0; i < 3; i++) {
        area += particles.particle[i].area_px2;
        assert_int_equal(particles.particle[i].id, i + 1);
    }
    assert_near(area, (double)before, 0.0);
    uint32_t seen = 0;
    for (int32_t y = 0; y < 120; y++) {
        for (size_t i = particles.runs.row[y]; i < particles.runs.row[y + 1]; i++) {
            const struct kb_run *run = &particles.runs.run[i];
            assert_true(run->region <= seen);
            seen += run->region == seen;
            assert_true(i == particles.runs.row[y] || run[-1].x1 <= run->x0);
            for (int32_t x = run->x0; x < run->x1; x++) {
                assert_int_equal(kb_row(&map.label, y)[x], KB_GRAPHITE);
            }
        }
    }
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
}

static void a_cluster_cut_by_the_frame_gives_up_its_whole_nodules(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(140, 120);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){10, 60}, 30.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){68, 60}, 30.0);
    struct kb_particles particles = part(&map);
    assert_int_equal(particles.count, 2);
    assert_int_equal(particles.in_state[KB_ON_FRAME], 1);
    assert_int_equal(particles.in_state[KB_COUNTS], 1);
    kb_particles_release(&particles);
}

/* Nodules touching in a chain over more than the window limit. */
static void a_region_too_large_to_part_is_reported(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(1300, 1300);
    for (int i = 0; i < 6; i++) {
        struct place centre = {150.0 + 195.0 * i, 150.0 + 195.0 * i};
        map_paint_disc(&map, KB_GRAPHITE, centre, 140.0);
    }
    struct kb_particles particles = part(&map);
    assert_int_equal(particles.count, 1);
    assert_true(kb_findings_has(&particles.findings, "not-parted"));
    kb_particles_release(&particles);
}

/* Salt and pepper: thousands of necks. Must end soon, whole. */
static void a_sponge_is_reported_and_left_whole(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(900, 900);
    uint64_t seed = 17;
    for (int32_t y = 10; y < 890; y++) {
        for (int32_t x = 10; x < 890; x++) {
            bool graphite = spread(&seed) < 0.55;
            kb_row(&map.label, y)[x] = graphite ? KB_GRAPHITE : KB_FERRITE;
        }
    }
    struct kb_morphology_params params = rules();
    params.hole_share = 0.0;
    struct kb_particles particles = measured(&map, 0.5, &params);
    assert_int_equal(particles.parted_clusters, 0);
    assert_true(kb_findings_has(&particles.findings, "not-parted"));
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_touching_discs_are_parted_in_any_direction),
        cmocka_unit_test(deeply_overlapping_discs_are_parted_at_the_neck),
        cmocka_unit_test(a_small_disc_sunk_into_a_large_one_is_cut_off),
        cmocka_unit_test(a_worm_with_bulbs_stays_whole),
        cmocka_unit_test(a_ragged_member_does_not_hold_its_cluster_together),
        cmocka_unit_test(doubt_is_told),
        cmocka_unit_test(heaps_of_tiny_bodies_keep_their_area),
        cmocka_unit_test(five_nodules_in_a_cluster_are_five),
        cmocka_unit_test(matrix_enclosed_by_touching_nodules_stays_matrix),
        cmocka_unit_test(a_hole_in_one_of_two_touching_nodules_is_filled),
        cmocka_unit_test(a_vermicular_stroke_stays_whole),
        cmocka_unit_test(a_worm_with_waists_stays_whole),
        cmocka_unit_test(a_bean_stays_whole),
        cmocka_unit_test(a_star_stays_whole),
        cmocka_unit_test(a_cracked_nodule_stays_one),
        cmocka_unit_test(a_rough_nodule_stays_one),
        cmocka_unit_test(parting_can_be_switched_off_and_is_off_for_flakes),
        cmocka_unit_test(the_depth_of_the_neck_is_in_micrometres),
        cmocka_unit_test(parting_moves_no_pixel),
        cmocka_unit_test(a_cluster_cut_by_the_frame_gives_up_its_whole_nodules),
        cmocka_unit_test(a_region_too_large_to_part_is_reported),
        cmocka_unit_test(a_sponge_is_reported_and_left_whole),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
