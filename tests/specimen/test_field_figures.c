/* test_field_figures.c - one field: what is a fraction of what, and what is not measured. Truth:
 * counts of pixels and areas of ellipses by hand. Limits of the methods: tests/conformity. */
#include "made_map.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

static void near(double found, double wanted, double tolerance) {
    if (!(fabs(found - wanted) <= tolerance)) {
        fail_msg("found %.17g, wanted %.17g within %g", found, wanted, tolerance);
    }
}

static struct kb_field_figures figures_of(const uint64_t counts[KB_PHASES],
                                          enum kb_contrast contrast, enum kb_material material,
                                          double px_um, const struct kb_particles *particles) {
    struct kb_field_figures figures;
    struct kb_phase_map map = made_map(counts);
    kb_field_figures_make(&map, contrast, material, px_um, particles, &figures);
    made_map_release(&map);
    return figures;
}

static void excluded_area_is_in_no_fraction(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {
        [KB_EXCLUDED] = 500, [KB_GRAPHITE] = 100, [KB_FERRITE] = 600, [KB_PEARLITE] = 300};
    const struct kb_particles none = {.px_um = 2.0};
    struct kb_field_figures field = figures_of(counts, KB_LIGHT, KB_DUCTILE_IRON, 2.0, &none);
    near(field.fraction[KB_GRAPHITE], 0.1, 0.0);
    near(field.fraction[KB_FERRITE], 0.6, 0.0);
    near(field.fraction[KB_PEARLITE], 0.3, 0.0);
    near(field.pearlite_of_matrix, 1.0 / 3.0, 1e-16);
    near(field.area_mm2, 1000.0 * 4.0 / 1e6, 1e-18);
    assert_true(isnan(field.fraction[KB_EXCLUDED]));
    assert_true(isnan(field.fraction[KB_MATRIX]));
}

static void an_unetched_field_knows_no_ferrite_or_pearlite(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_GRAPHITE] = 110, [KB_MATRIX] = 890};
    const struct kb_particles none = {.px_um = 1.0};
    struct kb_field_figures field =
        figures_of(counts, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 1.0, &none);
    near(field.fraction[KB_GRAPHITE], 0.11, 0.0);
    near(field.fraction[KB_MATRIX], 0.89, 0.0);
    assert_true(isnan(field.fraction[KB_FERRITE]));
    assert_true(isnan(field.fraction[KB_PEARLITE]));
    assert_true(isnan(field.pearlite_of_matrix));
}

static void an_etched_matrix_left_whole_is_not_told_apart(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_GRAPHITE] = 110, [KB_MATRIX] = 890};
    struct kb_field_figures field = figures_of(counts, KB_LIGHT, KB_DUCTILE_IRON, 1.0, NULL);
    assert_true(isnan(field.fraction[KB_PEARLITE]));
    near(field.fraction[KB_MATRIX], 0.89, 0.0);
}

static void steel_has_no_graphite(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_FERRITE] = 600, [KB_PEARLITE] = 400};
    struct kb_field_figures field = figures_of(counts, KB_LIGHT, KB_CARBON_STEEL, 1.0, NULL);
    assert_true(isnan(field.fraction[KB_GRAPHITE]));
    assert_false(field.graphite_measured);
    assert_true(isnan(field.nodules_per_mm2));
    near(field.fraction[KB_PEARLITE], 0.4, 0.0);
    assert_true(isnan(field.fraction[KB_CEMENTITE]));
}

static void hypereutectoid_steel_shows_cementite_and_no_ferrite(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_PEARLITE] = 950, [KB_CEMENTITE] = 50};
    struct kb_field_figures field = figures_of(counts, KB_LIGHT, KB_CARBON_STEEL, 1.0, NULL);
    near(field.fraction[KB_CEMENTITE], 0.05, 0.0);
    near(field.pearlite_of_matrix, 0.95, 0.0);
    assert_true(isnan(field.fraction[KB_FERRITE]));
}

static void a_phase_looked_for_and_absent_is_nought(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_FERRITE] = 1000};
    const struct kb_particles none = {.px_um = 1.0};
    struct kb_field_figures field = figures_of(counts, KB_LIGHT, KB_DUCTILE_IRON, 1.0, &none);
    near(field.fraction[KB_PEARLITE], 0.0, 0.0);
    near(field.fraction[KB_GRAPHITE], 0.0, 0.0);
    near(field.pearlite_of_matrix, 0.0, 0.0);
    near(field.nodules_per_mm2, 0.0, 0.0);
    assert_true(field.graphite_measured);
    assert_true(isnan(field.feret_largest_um));
}

static void without_scale_only_fractions_are_given(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_GRAPHITE] = 100, [KB_MATRIX] = 900};
    struct kb_particle particle = made_particle(0.8, 30.0);
    particle.state = KB_NO_SCALE;
    struct kb_particles particles = {.particle = &particle, .count = 1};
    particles.in_state[KB_NO_SCALE] = 1;
    struct kb_field_figures field =
        figures_of(counts, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 0.0, &particles);
    near(field.fraction[KB_GRAPHITE], 0.1, 0.0);
    assert_false(field.graphite_measured);
    assert_true(isnan(field.area_mm2) && isnan(field.nodules_per_mm2));
    assert_true(isnan(field.graphite_um2[KB_NOD_ISO945_4]) && isnan(field.form_um2[KB_FORM_VI]));
    assert_int_equal(field.particles[KB_NO_SCALE], 1);
}

static void a_wholly_excluded_field_measures_nothing(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_EXCLUDED] = 1000};
    const struct kb_particles none = {.px_um = 1.0};
    struct kb_field_figures field = figures_of(counts, KB_LIGHT, KB_DUCTILE_IRON, 1.0, &none);
    assert_true(isnan(field.fraction[KB_FERRITE]) && isnan(field.fraction[KB_GRAPHITE]));
    assert_true(isnan(field.pearlite_of_matrix));
    assert_false(field.graphite_measured);
}

static void each_particle_goes_where_it_belongs(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_GRAPHITE] = 3000, [KB_MATRIX] = 97000};
    struct kb_particle row[4] = {made_particle(0.9, 40.0), made_particle(0.55, 60.0),
                                 made_particle(0.9, 50.0), made_particle(0.9, 6.0)};
    row[2].state = KB_ON_FRAME;
    row[3].state = KB_UNDER_SIZE;
    struct kb_particles particles = {.particle = row, .count = 4, .px_um = 0.5};
    particles.in_state[KB_COUNTS] = 2;
    particles.in_state[KB_ON_FRAME] = 1;
    particles.in_state[KB_UNDER_SIZE] = 1;
    struct kb_field_figures field =
        figures_of(counts, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 0.5, &particles);
    double nodule = row[0].area_px2 * 0.25;
    double other = row[1].area_px2 * 0.25;
    near(field.nodular_um2[KB_NOD_ISO945_4], nodule, 1e-9);
    near(field.graphite_um2[KB_NOD_ISO945_4], nodule + other, 1e-9);
    near(field.nodular_um2[KB_NOD_ISO16112], nodule + 0.5 * other, 1e-9);
    near(field.form_um2[KB_FORM_VI], nodule, 1e-9);
    near(field.form_um2[KB_FORM_III], other, 1e-9);
    near(field.feret_sum_um, 50.0, 1e-12);
    near(field.feret_largest_um, 30.0, 1e-12);
    near(field.graphite_um4, nodule * nodule + other * other, 1e-6);
    assert_int_equal(field.nodules, 1);
    assert_int_equal(field.rated, 2);
    assert_int_equal(field.size_count[7], 2);
    assert_int_equal(field.particles[KB_ON_FRAME], 1);
}

static void large_particles_weigh_for_those_that_the_frame_hides(void **state) {
    (void)state;
    enum { SIDE = 100 };
    static uint8_t label[SIDE * SIDE];
    struct kb_phase_map map = {.label = {SIDE, SIDE, SIDE, label}};
    struct kb_particle row[2] = {made_particle(0.9, 12.0), made_particle(0.4, 60.0)};
    struct kb_particles particles = {.particle = row, .count = 2, .px_um = 1.0};
    struct kb_field_figures field;
    memset(label, KB_MATRIX, sizeof label);
    map.figures.pixels[KB_MATRIX] = SIDE * SIDE;
    kb_field_figures_make(&map, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 1.0, &particles, &field);
    /* boxes of 12 x 10 and 60 x 24: 87 x 89 and 39 x 75 places of 100 x 100 */
    double small = 10000.0 / (87.0 * 89.0);
    double large = 10000.0 / (39.0 * 75.0);
    near(field.nodules_per_mm2, small / 0.01, 1e-9);
    near(field.nodular_framed_um2, small * row[0].area_px2, 1e-9);
    near(field.graphite_framed_um2, small * row[0].area_px2 + large * row[1].area_px2, 1e-9);
    near(field.graphite_um2[KB_NOD_ISO945_4], row[0].area_px2 + row[1].area_px2, 1e-9);
}

static void figures_follow_the_pixel_size(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_GRAPHITE] = 3000, [KB_MATRIX] = 97000};
    struct kb_particle row[2] = {made_particle(0.9, 40.0), made_particle(0.4, 60.0)};
    struct kb_particles particles = {.particle = row, .count = 2, .px_um = 1.0};
    struct kb_field_figures one =
        figures_of(counts, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 1.0, &particles);
    struct kb_field_figures two =
        figures_of(counts, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 2.0, &particles);
    near(two.area_mm2, 4.0 * one.area_mm2, 1e-12);
    near(two.nodules_per_mm2, one.nodules_per_mm2 / 4.0, 1e-9);
    near(two.graphite_um2[0], 4.0 * one.graphite_um2[0], 1e-6);
    near(two.fraction[KB_GRAPHITE], one.fraction[KB_GRAPHITE], 0.0);
}

static void the_order_of_particles_changes_no_digit(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_GRAPHITE] = 3000, [KB_MATRIX] = 97000};
    struct kb_particle row[9];
    struct kb_particle back[9];
    for (int i = 0; i < 9; i++) {
        row[i] = made_particle(0.31 + 0.07 * i, 11.3 + 7.7 * i);
        back[8 - i] = row[i];
    }
    struct kb_particles forth = {.particle = row, .count = 9, .px_um = 0.37};
    struct kb_particles reverse = {.particle = back, .count = 9, .px_um = 0.37};
    struct kb_field_figures a =
        figures_of(counts, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 0.37, &forth);
    struct kb_field_figures b =
        figures_of(counts, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 0.37, &reverse);
    assert_true(a.nodular_um2[2] == b.nodular_um2[2] && a.graphite_um2[0] == b.graphite_um2[0]);
    assert_true(a.feret_sum_um == b.feret_sum_um && a.nodules_per_mm2 == b.nodules_per_mm2);
    assert_true(a.graphite_um4 == b.graphite_um4 && a.form_um2[6] == b.form_um2[6]);
}

/* A round one called irregular, an irregular one called a nodule: each method goes by the word. */
static void a_form_by_hand_decides_in_every_method(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_GRAPHITE] = 4000, [KB_MATRIX] = 96000};
    struct kb_particle two[] = {made_particle(0.9, 40.0), made_particle(0.4, 60.0)};
    const struct kb_particles particles = {.particle = two, .count = 2, .px_um = 1.0};
    for (int form = KB_FORM_I; form < KB_FORMS; form++) {
        for (int which = 0; which < 2; which++) {
            two[0].by_hand = which == 0;
            two[1].by_hand = which == 1;
            two[which].form = (enum kb_form)form;
            struct kb_field_figures field =
                figures_of(counts, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 1.0, &particles);
            bool nodule = form == KB_FORM_V || form == KB_FORM_VI;
            double area = (which == 1 || nodule ? two[0].area_px2 : 0.0) +
                          (which == 1 && nodule ? two[1].area_px2 : 0.0);
            for (int method = 0; method < KB_NOD_METHODS; method++) {
                near(field.nodular_um2[method], area, 1e-9);
                near(field.graphite_um2[method], two[0].area_px2 + two[1].area_px2, 1e-9);
            }
            assert_int_equal(field.nodules, (which == 1 || nodule) + (which == 1 && nodule));
        }
    }
}

/* The methods with a minimum of their own keep it. */
static void a_form_by_hand_does_not_lift_the_minimum_size(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {[KB_GRAPHITE] = 400, [KB_MATRIX] = 9600};
    struct kb_particle small = made_particle(0.4, 8.0);
    small.by_hand = true;
    small.form = KB_FORM_VI;
    const struct kb_particles particles = {.particle = &small, .count = 1, .px_um = 1.0};
    struct kb_field_figures field =
        figures_of(counts, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 1.0, &particles);
    near(field.nodular_um2[KB_NOD_ISO945_4], small.area_px2, 1e-9);
    near(field.graphite_um2[KB_NOD_E2567], 0.0, 0.0);
    near(field.graphite_um2[KB_NOD_ISO16112], 0.0, 0.0);
}

static void matrix_beside_constituents_keeps_its_share(void **state) {
    (void)state;
    const uint64_t counts[KB_PHASES] = {
        [KB_GRAPHITE] = 100, [KB_FERRITE] = 300, [KB_PEARLITE] = 500, [KB_MATRIX] = 100};
    struct kb_field_figures field = figures_of(counts, KB_LIGHT, KB_DUCTILE_IRON, 1.0, NULL);
    near(field.fraction[KB_MATRIX], 0.1, 1e-15);
    near(field.pearlite_of_matrix, 0.625, 1e-15);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(excluded_area_is_in_no_fraction),
        cmocka_unit_test(an_unetched_field_knows_no_ferrite_or_pearlite),
        cmocka_unit_test(an_etched_matrix_left_whole_is_not_told_apart),
        cmocka_unit_test(steel_has_no_graphite),
        cmocka_unit_test(hypereutectoid_steel_shows_cementite_and_no_ferrite),
        cmocka_unit_test(a_phase_looked_for_and_absent_is_nought),
        cmocka_unit_test(without_scale_only_fractions_are_given),
        cmocka_unit_test(a_wholly_excluded_field_measures_nothing),
        cmocka_unit_test(each_particle_goes_where_it_belongs),
        cmocka_unit_test(large_particles_weigh_for_those_that_the_frame_hides),
        cmocka_unit_test(figures_follow_the_pixel_size),
        cmocka_unit_test(the_order_of_particles_changes_no_digit),
        cmocka_unit_test(a_form_by_hand_decides_in_every_method),
        cmocka_unit_test(a_form_by_hand_does_not_lift_the_minimum_size),
        cmocka_unit_test(matrix_beside_constituents_keeps_its_share),
    };
    return cmocka_run_group_tests_name("field figures", tests, NULL, NULL);
}
