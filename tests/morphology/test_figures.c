/* test_figures.c - measures against the geometry of discs, ellipses, rectangles, triangles and the
 * worked shapes of refs/particle_rules.csv.
 *
 * Tolerances: area, centroid and moments have no bias, their scatter falls as size^-3/2. The Feret
 * diameter leans by up to half a pixel (feret.c); Crofton's perimeter by up to 5.2 % on straight
 * edges, by the direction (perimeter.c).
 */
#include "kb_cmocka.h"

#include "shapes.h"

#define TRIES 40

static struct place anywhere(uint64_t *seed, double middle) {
    return (struct place){middle + spread(seed), middle + spread(seed)};
}

static void a_disc_has_its_area_perimeter_and_diameters(void **state) {
    (void)state;
    uint64_t seed = 1;
    double perimeter = 0.0;
    for (int i = 0; i < TRIES; i++) {
        struct kb_phase_map map = map_blank(120, 120);
        struct place centre = anywhere(&seed, 60.0);
        double radius = 20.0 + 20.0 * spread(&seed);
        map_paint_disc(&map, KB_GRAPHITE, centre, radius);
        struct kb_particle p = only_particle(&map);
        kb_phase_map_release(&map);
        assert_near(p.area_px2, SHAPE_PI * radius * radius, 0.01 * SHAPE_PI * radius * radius);
        assert_near(p.x_px, centre.x, 0.1);
        assert_near(p.y_px, centre.y, 0.1);
        assert_near(p.feret_max_px, 2.0 * radius, 0.6);
        /* the width of a disc over centres is 1 px short on the average, half of it is given back
         */
        assert_near(p.feret_min_px, 2.0 * radius - 0.5, 0.9);
        assert_near(p.diameter_px, 2.0 * radius, 0.2);
        assert_near(p.major_px, 2.0 * radius, 0.5);
        assert_near(p.minor_px, 2.0 * radius, 0.5);
        assert_near(p.solidity, 1.0, 1e-12);
        assert_near(p.circularity, 1.0, 0.02);
        assert_near(p.aspect, 1.0, 0.05);
        assert_near(p.hole_area_px2, 0.0, 0.0);
        perimeter += p.perimeter_px / (2.0 * SHAPE_PI * radius);
    }
    assert_near(perimeter / TRIES, 1.0, 0.002);
}

static void an_ellipse_has_its_axes_and_directions(void **state) {
    (void)state;
    uint64_t seed = 2;
    for (int i = 0; i < TRIES; i++) {
        struct kb_phase_map map = map_blank(140, 140);
        double angle = SHAPE_PI * spread(&seed);
        map_paint_ellipse(&map, KB_GRAPHITE, anywhere(&seed, 70.0), 60.0, 24.0, angle);
        struct kb_particle p = only_particle(&map);
        kb_phase_map_release(&map);
        assert_near(p.major_px, 120.0, 0.6);
        assert_near(p.minor_px, 48.0, 0.4);
        assert_near(p.feret_max_px, 120.0, 0.6);
        assert_near(p.feret_min_px, 48.0, 0.9);
        assert_near(p.shape_factor, 0.4, 0.006);
        assert_near(sin(p.feret_max_angle - angle), 0.0, 0.12);
        assert_near(cos(p.feret_min_angle - angle), 0.0, 0.12);
        assert_true(p.feret_max_angle >= 0.0 && p.feret_max_angle < SHAPE_PI);
        assert_near(p.solidity, 1.0, 1e-12);
        assert_near(p.aspect, 2.5, 0.06);
    }
}

static void a_rectangle_has_its_diagonal_and_width(void **state) {
    (void)state;
    uint64_t seed = 3;
    for (int i = 0; i < TRIES; i++) {
        struct kb_phase_map map = map_blank(160, 160);
        double angle = SHAPE_PI * spread(&seed);
        map_paint_rectangle(&map, KB_GRAPHITE, anywhere(&seed, 80.0), 100.0, 40.0, angle);
        struct kb_particle p = only_particle(&map);
        kb_phase_map_release(&map);
        assert_near(p.area_px2, 4000.0, 60.0);
        /* corners are cut by up to a pixel each: the centres' hull loses more than on discs */
        assert_near(p.feret_max_px, sqrt(100.0 * 100.0 + 40.0 * 40.0), 1.6);
        assert_near(p.feret_min_px, 40.0, 0.8);
        assert_near(cos(p.feret_min_angle - angle), 0.0, 0.02);
        assert_near(p.perimeter_px, 280.0, 0.055 * 280.0);
        assert_true(p.solidity == 1.0);
    }
}

static double mean_shape_factor(int tips, double turn_by, double radius) {
    uint64_t seed = 4;
    double sum = 0.0;
    for (int i = 0; i < TRIES; i++) {
        struct kb_phase_map map = map_blank((int32_t)(2.2 * radius), (int32_t)(2.2 * radius));
        double angle = turn_by + 2.0 * SHAPE_PI * spread(&seed);
        map_paint_star(&map, KB_GRAPHITE, anywhere(&seed, 1.1 * radius), radius, 1.0, tips, angle);
        sum += only_particle(&map).shape_factor;
        kb_phase_map_release(&map);
    }
    return sum / TRIES;
}

/* Exact values: refs/particle_rules.csv. At a radius of 150 px half a pixel on the diameter is 0.3
 * % of the shape factor; corners lose about a pixel. */
static void large_polygons_have_the_shape_factors_of_geometry(void **state) {
    (void)state;
    assert_near(mean_shape_factor(4, 0.0, 150.0), 2.0 / SHAPE_PI, 0.006);
    assert_near(mean_shape_factor(3, 0.0, 150.0), sqrt(3.0) / SHAPE_PI, 0.006);
    assert_near(mean_shape_factor(6, 0.0, 150.0), 3.0 * sqrt(3.0) / (2.0 * SHAPE_PI), 0.006);
}

static void a_half_disc_has_half_the_shape_factor(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(330, 200);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){165.3, 20.0}, 150.0);
    for (int32_t y = 0; y < 20; y++) {
        for (int32_t x = 0; x < 330; x++) {
            kb_row(&map.label, y)[x] = KB_FERRITE;
        }
    }
    struct kb_particle p = only_particle(&map);
    kb_phase_map_release(&map);
    assert_near(p.shape_factor, 0.5, 0.003);
    assert_near(p.aspect, 2.0, 0.01);
    /* the length hardly changes with the far end: 0.05 radians cost 0.4 px in 300 */
    assert_near(sin(p.feret_max_angle), 0.0, 0.06);
}

/* Crofton's formula with four directions on a square with sides along the grid reads
 * pi/8 (1 + sqrt 2) of the true length: 5.2 % short; at 22.5 degrees 2.6 % long. */
static void the_perimeter_of_a_square_leans_as_crofton_says(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(320, 320);
    map_paint_rectangle(&map, KB_GRAPHITE, (struct place){160.0, 160.0}, 200.0, 200.0, 0.0);
    struct kb_particle p = only_particle(&map);
    kb_phase_map_release(&map);
    assert_near(p.perimeter_px / 800.0, SHAPE_PI / 8.0 * (1.0 + sqrt(2.0)), 0.004);
    map = map_blank(320, 320);
    map_paint_rectangle(&map, KB_GRAPHITE, (struct place){160.2, 160.4}, 200.0, 200.0,
                        SHAPE_PI / 8.0);
    p = only_particle(&map);
    kb_phase_map_release(&map);
    assert_near(p.perimeter_px / 800.0, 1.026, 0.006);
}

static void single_pixels_and_lines_are_measured_without_harm(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(9, 9);
    kb_row(&map.label, 4)[3] = KB_GRAPHITE;
    struct kb_particle p = only_particle(&map);
    assert_near(p.area_px2, 1.0, 0.0);
    assert_near(p.feret_max_px, 0.5, 0.0);
    assert_near(p.aspect, 1.0, 0.0);
    assert_near(p.solidity, 1.0, 0.0);
    assert_near(p.shape_factor, 1.0, 0.0);
    assert_near(p.major_px, 4.0 / sqrt(12.0), 1e-12);
    assert_near(p.x_px, 3.5, 0.0);
    for (int i = 0; i < 5; i++) {
        kb_row(&map.label, 2 + i)[2 + i] = KB_GRAPHITE;
        kb_row(&map.label, 4)[3] = KB_FERRITE;
    }
    p = only_particle(&map);
    kb_phase_map_release(&map);
    assert_near(p.feret_max_px, sqrt(32.0) + 0.5, 1e-12);
    assert_near(p.feret_min_px, 0.5, 0.0);
    assert_near(p.feret_max_angle, 0.75 * SHAPE_PI, 1e-12); /* falls to the right */
    assert_near(p.feret_min_angle, 0.25 * SHAPE_PI, 1e-12);
    assert_near(p.solidity, 1.0, 0.0);
}

/* By hand: pixels of an L, arms 3 and 3. Hull of centres: triangle (0,0) (0,2) (2,2), area 2, six
 * lattice points; five are set. */
static void the_solidity_of_an_l_is_five_sixths(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(9, 9);
    for (int i = 0; i < 3; i++) {
        kb_row(&map.label, 3 + i)[3] = KB_GRAPHITE;
        kb_row(&map.label, 5)[3 + i] = KB_GRAPHITE;
    }
    struct kb_particle p = only_particle(&map);
    kb_phase_map_release(&map);
    assert_near(p.solidity, 5.0 / 6.0, 1e-15);
    assert_int_equal(p.box.x, 3);
    assert_int_equal(p.box.y, 3);
    assert_int_equal(p.box.width, 3);
    assert_int_equal(p.box.height, 3);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_disc_has_its_area_perimeter_and_diameters),
        cmocka_unit_test(an_ellipse_has_its_axes_and_directions),
        cmocka_unit_test(a_rectangle_has_its_diagonal_and_width),
        cmocka_unit_test(large_polygons_have_the_shape_factors_of_geometry),
        cmocka_unit_test(a_half_disc_has_half_the_shape_factor),
        cmocka_unit_test(the_perimeter_of_a_square_leans_as_crofton_says),
        cmocka_unit_test(single_pixels_and_lines_are_measured_without_harm),
        cmocka_unit_test(the_solidity_of_an_l_is_five_sixths),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
