/* test_subpixel.c - what must hold of sub-pixel outlines besides their bias: the ground on either
 * side, where they give way to pixel rules, turning and mirroring, parting, open holes, memory. */
#include "kb_cmocka.h"

#include "canvas.h"
#include "fail_alloc.h"

#include <stdlib.h>
#include <string.h>

static struct kb_morphology_params rules(bool part) {
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    params.part_touching = part;
    params.min_feret_um = 0.0;
    return params;
}

/* A busy field: ellipses of all sizes, some touching, some cut by the frame. */
static struct kb_image busy_picture(uint64_t seed, double noise) {
    struct canvas canvas = canvas_blank(400, 330, 205.0);
    for (int i = 0; i < 40; i++) {
        double semi = 3.0 + 20.0 * spread(&seed);
        struct ellipse e = {{400.0 * spread(&seed), 330.0 * spread(&seed)},
                            semi,
                            (0.5 + 0.5 * spread(&seed)) * semi,
                            SHAPE_PI * spread(&seed)};
        canvas_add(&canvas, &e, 55.0 + 15.0 * spread(&seed), 0.8);
    }
    struct kb_image image = canvas_expose(&canvas, noise, &seed);
    canvas_release(&canvas);
    return image;
}

static int by_area(const void *left, const void *right) {
    const struct kb_particle *a = left;
    const struct kb_particle *b = right;
    return (a->area_px2 > b->area_px2) - (a->area_px2 < b->area_px2);
}

static struct kb_particles sorted(const struct kb_image *grey, bool part) {
    struct kb_phase_map map = map_below(grey, 130.0);
    struct kb_morphology_params params = rules(part);
    struct kb_particles particles = measured_with(&map, grey, 0.5, &params);
    qsort(particles.particle, particles.count, sizeof *particles.particle, by_area);
    kb_phase_map_release(&map);
    return particles;
}

static void assert_same(const struct kb_particles *a, const struct kb_particles *b) {
    assert_int_equal(a->count, b->count);
    assert_int_equal(a->by_outline, b->by_outline);
    for (size_t i = 0; i < a->count; i++) {
        const struct kb_particle *p = &a->particle[i];
        const struct kb_particle *q = &b->particle[i];
        assert_int_equal(p->subpixel, q->subpixel);
        assert_near(p->area_px2, q->area_px2, 1e-6 * p->area_px2);
        assert_near(p->perimeter_px, q->perimeter_px, 1e-6 * p->perimeter_px);
        assert_near(p->feret_max_px, q->feret_max_px, 1e-6 * p->feret_max_px);
        assert_near(p->feret_min_px, q->feret_min_px, 1e-6 * p->feret_max_px);
        assert_near(p->solidity, q->solidity, 1e-6);
        assert_near(p->major_px, q->major_px, 1e-6 * p->major_px);
    }
}

static void turning_and_mirroring_change_no_outline(void **state) {
    (void)state;
    struct kb_image image = busy_picture(5, 4.0);
    struct kb_image turned = image_turned(&image);
    struct kb_image mirrored = image_mirrored(&image);
    struct kb_particles a = sorted(&image, false);
    struct kb_particles b = sorted(&turned, false);
    struct kb_particles c = sorted(&mirrored, false);
    assert_true(a.by_outline > 10);
    assert_same(&a, &b);
    assert_same(&a, &c);
    kb_particles_release(&a);
    kb_particles_release(&b);
    kb_particles_release(&c);
    kb_image_release(&image);
    kb_image_release(&turned);
    kb_image_release(&mirrored);
}

static struct kb_particle largest(const struct kb_image *grey, const struct kb_phase_map *map) {
    struct kb_morphology_params params = rules(false);
    struct kb_particles particles = measured_with(map, grey, 0.5, &params);
    assert_true(particles.count > 0);
    struct kb_particle best = particles.particle[0];
    for (size_t i = 1; i < particles.count; i++) {
        best = particles.particle[i].area_px2 > best.area_px2 ? particles.particle[i] : best;
    }
    kb_particles_release(&particles);
    return best;
}

/* Half in ferrite, half in pearlite: one threshold for both would move the outline on one side.
 * Where the two grounds meet the level is their mean over 6 px to both sides, and the outline a
 * fifth of a pixel off. */
static void each_side_has_its_own_ground(void **state) {
    (void)state;
    uint64_t seed = 3;
    struct canvas canvas = canvas_blank(80, 80, 220.0);
    for (size_t i = 0; i < (size_t)80 * 80; i++) {
        canvas.value[i] = i % 80 < 40 ? 220.0 : 130.0;
    }
    const struct ellipse disc = {{40.3, 39.6}, 15.0, 15.0, 0.0};
    canvas_add(&canvas, &disc, 50.0, 0.8);
    struct kb_image grey = canvas_expose(&canvas, 0.0, &seed);
    struct kb_phase_map map = map_below(&grey, 95.0);
    struct kb_particle p = largest(&grey, &map);
    assert_true(p.subpixel);
    assert_near(p.area_px2, SHAPE_PI * 225.0, 0.01 * SHAPE_PI * 225.0);
    assert_near(p.x_px, disc.centre.x, 0.06);
    assert_near(p.y_px, disc.centre.y, 0.02);
    assert_near(p.feret_max_px, 30.0, 0.45);
    kb_phase_map_release(&map);
    kb_image_release(&grey);
    canvas_release(&canvas);
}

/* The label may be a pixel off all round: the outline is where the grey ends. */
static void the_threshold_of_the_label_does_not_matter(void **state) {
    (void)state;
    uint64_t seed = 4;
    struct canvas canvas = canvas_blank(70, 70, 210.0);
    const struct ellipse e = {{35.2, 34.7}, 14.0, 10.0, 0.4};
    canvas_add(&canvas, &e, 60.0, 0.9);
    struct kb_image grey = canvas_expose(&canvas, 1.0, &seed);
    static const double level[] = {90.0, 135.0, 180.0};
    for (int i = 0; i < 3; i++) {
        struct kb_phase_map map = map_below(&grey, level[i]);
        struct kb_particle p = largest(&grey, &map);
        assert_true(p.subpixel);
        assert_near(p.area_px2, SHAPE_PI * 140.0, 0.008 * SHAPE_PI * 140.0);
        assert_near(p.feret_max_px, 28.0, 0.2);
        assert_near(p.feret_min_px, 20.0, 0.2);
        assert_near(sin(p.feret_max_angle - e.angle), 0.0, 0.06);
        kb_phase_map_release(&map);
    }
    kb_image_release(&grey);
    canvas_release(&canvas);
}

/* A picture that says nothing about the label: pixel rules, and a finding. */
static void without_an_edge_the_pixel_rules_stand(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(90, 90);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){45.0, 45.0}, 20.0);
    struct kb_image flat;
    assert_int_equal(kb_image_alloc(90, 90, &flat, NULL), KB_OK);
    kb_image_fill(&flat, 128);
    struct kb_morphology_params params = rules(false);
    struct kb_particles with = measured_with(&map, &flat, 0.5, &params);
    struct kb_particles without = measured_with(&map, NULL, 0.5, &params);
    assert_int_equal(with.by_outline, 0);
    assert_int_equal(with.by_pixels, 1);
    assert_false(with.particle[0].subpixel);
    assert_true(kb_findings_has(&with.findings, "pixel-rules"));
    assert_false(kb_findings_has(&without.findings, "pixel-rules"));
    assert_memory_equal(&with.particle[0].area_px2, &without.particle[0].area_px2, sizeof(double));
    assert_near(with.particle[0].feret_max_px, without.particle[0].feret_max_px, 0.0);
    kb_particles_release(&with);
    kb_particles_release(&without);
    kb_image_release(&flat);
    kb_phase_map_release(&map);
}

static void a_picture_of_another_size_is_refused(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(20, 20);
    struct kb_image grey;
    assert_int_equal(kb_image_alloc(20, 21, &grey, NULL), KB_OK);
    struct kb_morphology_params params = rules(false);
    struct kb_particles particles;
    assert_int_equal(kb_morphology_run(&map, &grey, 0.5, &params, &particles, NULL), KB_E_USAGE);
    assert_null(particles.particle);
    kb_image_release(&grey);
    kb_phase_map_release(&map);
}

/* Two discs that overlap a little: the cut is the chord, the rest of each outline its circle. The
 * corners at the ends of the cut are rounded, which takes about one pixel off the chord of 16. */
static void parted_nodules_keep_a_straight_cut(void **state) {
    (void)state;
    uint64_t seed = 6;
    struct canvas canvas = canvas_blank(140, 90, 210.0);
    const struct ellipse left = {{45.3, 45.2}, 22.0, 22.0, 0.0};
    const struct ellipse right = {{86.3, 45.2}, 22.0, 22.0, 0.0};
    canvas_add(&canvas, &left, 60.0, 0.7);
    canvas_add(&canvas, &right, 60.0, 0.7);
    struct kb_image grey = canvas_expose(&canvas, 2.0, &seed);
    struct kb_particles particles = sorted(&grey, true);
    assert_int_equal(particles.parted_clusters, 1);
    assert_int_equal(particles.count, 2);
    /* circle less the segment beyond the chord, 20.5 px from the centre */
    double half = acos(20.5 / 22.0);
    double area = SHAPE_PI * 484.0 - 484.0 * (half - sin(half) * cos(half));
    for (int i = 0; i < 2; i++) {
        assert_true(particles.particle[i].subpixel);
        assert_near(particles.particle[i].area_px2, area, 0.015 * area);
        assert_near(particles.particle[i].feret_max_px, 44.0, 0.4);
    }
    kb_particles_release(&particles);
    kb_image_release(&grey);
    canvas_release(&canvas);
}

static void a_hole_left_open_is_taken_off(void **state) {
    (void)state;
    uint64_t seed = 7;
    struct canvas canvas = canvas_blank(90, 90, 210.0);
    const struct ellipse outer = {{45.3, 44.8}, 30.0, 30.0, 0.0};
    const struct ellipse inner = {{45.3, 44.8}, 20.0, 20.0, 0.0};
    canvas_add(&canvas, &outer, 60.0, 0.7);
    canvas_add(&canvas, &inner, 210.0, 0.7);
    struct kb_image grey = canvas_expose(&canvas, 2.0, &seed);
    struct kb_phase_map map = map_below(&grey, 135.0);
    struct kb_morphology_params params = rules(false);
    params.hole_share = 0.0;
    struct kb_particles particles = measured_with(&map, &grey, 0.5, &params);
    assert_int_equal(particles.count, 1);
    const struct kb_particle *p = &particles.particle[0];
    assert_true(p->subpixel);
    assert_near(p->area_px2, SHAPE_PI * 500.0, 0.01 * SHAPE_PI * 500.0);
    assert_near(p->perimeter_px, SHAPE_PI * 100.0, 0.01 * SHAPE_PI * 100.0);
    assert_near(p->feret_max_px, 60.0, 0.3);
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
    kb_image_release(&grey);
    canvas_release(&canvas);
}

static void running_out_of_memory_in_an_outline_leaves_nothing_behind(void **state) {
    (void)state;
    struct kb_image grey = busy_picture(9, 2.0);
    struct kb_phase_map map = map_below(&grey, 130.0);
    struct kb_morphology_params params = rules(true);
    bool done = false;
    size_t n = 1;
    for (; !done; n++) {
        struct kb_particles particles;
        fail_alloc_at(n);
        enum kb_status status = kb_morphology_run(&map, &grey, 0.5, &params, &particles, NULL);
        done = !fail_alloc_happened();
        assert_int_equal(status, done ? KB_OK : KB_E_MEMORY);
        if (done) {
            kb_particles_release(&particles);
        } else {
            assert_null(particles.particle);
        }
        assert_int_equal(fail_alloc_open_blocks(), 0);
    }
    fail_alloc_at(0);
    assert_true(n > 30);
    kb_phase_map_release(&map);
    kb_image_release(&grey);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(turning_and_mirroring_change_no_outline),
        cmocka_unit_test(each_side_has_its_own_ground),
        cmocka_unit_test(the_threshold_of_the_label_does_not_matter),
        cmocka_unit_test(without_an_edge_the_pixel_rules_stand),
        cmocka_unit_test(a_picture_of_another_size_is_refused),
        cmocka_unit_test(parted_nodules_keep_a_straight_cut),
        cmocka_unit_test(a_hole_left_open_is_taken_off),
        cmocka_unit_test(running_out_of_memory_in_an_outline_leaves_nothing_behind),
    };
    return cmocka_run_group_tests_name("subpixel", tests, NULL, NULL);
}
