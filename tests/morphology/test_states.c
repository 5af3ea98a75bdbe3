/* test_states.c - whether a particle counts and why not; size classes; findings; bad rules. */
#include "kb_cmocka.h"

#include "shapes.h"

#include <string.h>

static struct kb_phase_map one_disc(double x, double y, double radius) {
    struct kb_phase_map map = map_blank(100, 100);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){x, y}, radius);
    return map;
}

static struct kb_particle with_scale(struct kb_phase_map *map, double px_um) {
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    struct kb_particles particles = measured(map, px_um, &params);
    assert_int_equal(particles.count, 1);
    struct kb_particle particle = particles.particle[0];
    assert_int_equal(particles.in_state[particle.state], 1);
    kb_particles_release(&particles);
    kb_phase_map_release(map);
    return particle;
}

static void a_whole_nodule_of_fair_size_counts(void **state) {
    (void)state;
    struct kb_phase_map map = one_disc(50, 50, 20.0);
    struct kb_particle p = with_scale(&map, 0.5);
    assert_int_equal(p.state, KB_COUNTS);
    assert_int_equal(p.form, KB_FORM_VI);
    assert_int_equal(p.size_class, 7); /* 20 um */
}

static void each_side_of_the_frame_cuts(void **state) {
    (void)state;
    const struct place centre[] = {{15, 50}, {85, 50}, {50, 15}, {50, 85}};
    for (int i = 0; i < 4; i++) {
        struct kb_phase_map map = one_disc(centre[i].x, centre[i].y, 15.4);
        assert_int_equal(with_scale(&map, 0.5).state, KB_ON_FRAME);
        map = one_disc(centre[i].x, centre[i].y, 14.4); /* one pixel of matrix is left */
        assert_int_equal(with_scale(&map, 0.5).state, KB_COUNTS);
    }
}

static void an_excluded_pixel_at_a_corner_is_enough(void **state) {
    (void)state;
    for (int i = 0; i < 4; i++) {
        int32_t left = 40;
        int32_t right = 60;
        struct kb_phase_map map = map_blank(100, 100);
        for (int32_t y = left; y < right; y++) {
            memset(kb_row(&map.label, y) + left, KB_GRAPHITE, (size_t)(right - left));
        }
        int32_t x = i % 2 == 0 ? left - 1 : right;
        int32_t y = i / 2 == 0 ? left - 1 : right;
        kb_row(&map.label, y)[x] = KB_EXCLUDED;
        assert_int_equal(with_scale(&map, 1.0).state, KB_ON_EXCLUSION);
    }
    struct kb_phase_map map = one_disc(50, 50, 20.0);
    kb_row(&map.label, 0)[0] = KB_EXCLUDED; /* far away */
    assert_int_equal(with_scale(&map, 0.5).state, KB_COUNTS);
}

static void an_excluded_spot_inside_a_nodule_spoils_it(void **state) {
    (void)state;
    struct kb_phase_map map = one_disc(50, 50, 20.0);
    kb_row(&map.label, 50)[50] = KB_EXCLUDED;
    assert_int_equal(with_scale(&map, 0.5).state, KB_ON_EXCLUSION);
}

static void the_minimum_feret_is_inclusive(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(40, 40);
    memset(kb_row(&map.label, 20) + 10, KB_GRAPHITE, 11); /* 10 px between centres, + 0.5 */
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    params.min_feret_um = 10.5;
    struct kb_particles particles = measured(&map, 1.0, &params);
    assert_int_equal(particles.particle[0].state, KB_COUNTS);
    kb_particles_release(&particles);
    params.min_feret_um = 10.51;
    particles = measured(&map, 1.0, &params);
    assert_int_equal(particles.particle[0].state, KB_UNDER_SIZE);
    assert_int_equal(particles.particle[0].form, KB_FORM_NONE);
    assert_int_equal(particles.particle[0].size_class, 8);
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
}

static void without_a_scale_nothing_counts_but_shapes_are_told(void **state) {
    (void)state;
    struct kb_phase_map map = one_disc(30, 50, 20.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){90, 50}, 15.0);
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    const double unknown[] = {0.0, -1.0, (double)NAN, (double)INFINITY};
    for (size_t i = 0; i < 4; i++) {
        struct kb_particles particles = measured(&map, unknown[i], &params);
        assert_near(particles.px_um, 0.0, 0.0);
        assert_int_equal(particles.in_state[KB_NO_SCALE], 1);
        assert_int_equal(particles.in_state[KB_ON_FRAME], 1);
        assert_true(particles.particle[0].shape_factor > 0.9);
        for (size_t k = 0; k < 2; k++) {
            assert_int_equal(particles.particle[k].form, KB_FORM_NONE);
            assert_int_equal(particles.particle[k].size_class, 0);
        }
        assert_true(kb_findings_has(&particles.findings, "particles-without-scale"));
        kb_particles_release(&particles);
    }
    kb_phase_map_release(&map);
}

static void coarse_pixels_are_reported(void **state) {
    (void)state;
    struct kb_phase_map map = one_disc(50, 50, 20.0);
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    struct kb_particles particles = measured(&map, 1.01, &params);
    assert_true(kb_findings_has(&particles.findings, "few-pixels-across"));
    kb_particles_release(&particles);
    particles = measured(&map, 0.99, &params);
    assert_int_equal(particles.findings.count, 0);
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
}

static void a_field_without_graphite_gives_no_particles(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(50, 50);
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    struct kb_particles particles = measured(&map, 0.0, &params);
    assert_int_equal(particles.count, 0);
    assert_int_equal(particles.findings.count, 0);
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
}

static void a_field_all_of_graphite_is_one_particle_on_the_frame(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(50, 30);
    kb_image_fill(&map.label, KB_GRAPHITE);
    struct kb_particle p = with_scale(&map, 1.0);
    assert_int_equal(p.state, KB_ON_FRAME);
    assert_near(p.area_px2, 1500.0, 0.0);
}

/* refs/iso945_size_classes.csv: limits at the lower end inclusive. */
static void size_classes_are_those_of_the_table(void **state) {
    (void)state;
    FILE *file = fopen(KB_REFS "/iso945_size_classes.csv", "r");
    assert_non_null(file);
    char line[256];
    int rows = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        int number = 0;
        double from = 0.0;
        if (sscanf(line, "%d,%lf", &number, &from) != 2) {
            continue;
        }
        rows++;
        assert_int_equal(kb_size_class(from > 0.0 ? from : 1e-3), number);
        if (number < 8) {
            assert_int_equal(kb_size_class(from * (1.0 - 1e-12)), number + 1);
        }
    }
    (void)fclose(file);
    assert_int_equal(rows, 8);
    double from = 0.0, to = 0.0, next = 0.0;
    for (int size = 1; size < KB_SIZE_CLASSES; size++) { /* spans meet and hold their own lengths */
        kb_size_class_span(size, &from, &to);
        assert_int_equal(kb_size_class(from), size);
        kb_size_class_span(size + 1, &next, &to);
        assert_true(to == from && next < to);
    }
    assert_int_equal(kb_size_class(0.0), 0);
    assert_int_equal(kb_size_class((double)NAN), 0);
    assert_int_equal(kb_size_class((double)INFINITY), 1);
}

static void rules_out_of_range_are_refused(void **state) {
    (void)state;
    struct kb_morphology_params good = kb_morphology_params_default(KB_DUCTILE_IRON);
    assert_int_equal(kb_morphology_params_check(&good, NULL), KB_OK);
    const double bad[] = {-1.0, (double)NAN, (double)INFINITY, 1e9};
    for (int field = 0; field < 12; field++) {
        for (size_t i = 0; i < 4; i++) {
            struct kb_morphology_params params = good;
            double *const value[] = {
                &params.min_feret_um, &params.part_depth_um,   &params.part_neck,
                &params.part_round,   &params.part_round_neck, &params.part_gain,
                &params.part_frame,   &params.part_alone,      &params.part_sure,
                &params.part_chord,   &params.hole_share,      &params.fallback_px_um};
            *value[field] = bad[i];
            struct kb_err err = {0};
            assert_int_equal(kb_morphology_params_check(&params, &err), KB_E_USAGE);
            assert_string_equal(err.stage, "morphology");
            assert_true(strlen(err.text) > 0);
        }
    }
    struct kb_phase_map map = one_disc(50, 50, 20.0);
    good.part_neck = (double)NAN;
    struct kb_particles particles;
    assert_int_equal(kb_morphology_run(&map, NULL, 0.5, &good, &particles, NULL), KB_E_USAGE);
    assert_null(particles.particle);
    kb_phase_map_release(&map);
}

static void states_have_names(void **state) {
    (void)state;
    assert_string_equal(kb_particle_state_name(KB_COUNTS), "counts");
    assert_string_equal(kb_particle_state_name(KB_NO_SCALE), "no-scale");
    assert_string_equal(kb_particle_state_name((enum kb_particle_state)99), "unknown");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_whole_nodule_of_fair_size_counts),
        cmocka_unit_test(each_side_of_the_frame_cuts),
        cmocka_unit_test(an_excluded_pixel_at_a_corner_is_enough),
        cmocka_unit_test(an_excluded_spot_inside_a_nodule_spoils_it),
        cmocka_unit_test(the_minimum_feret_is_inclusive),
        cmocka_unit_test(without_a_scale_nothing_counts_but_shapes_are_told),
        cmocka_unit_test(coarse_pixels_are_reported),
        cmocka_unit_test(a_field_without_graphite_gives_no_particles),
        cmocka_unit_test(a_field_all_of_graphite_is_one_particle_on_the_frame),
        cmocka_unit_test(size_classes_are_those_of_the_table),
        cmocka_unit_test(rules_out_of_range_are_refused),
        cmocka_unit_test(states_have_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
