/* test_join_by_hand.c - several particles made one by a person's word: a parting taken back gives
 * the figures of the whole to the digit, and discs that do not touch have the figures of both
 * (elementary geometry). */
#include "canvas.h"
#include "fail_alloc.h"
#include "kb_cmocka.h"

#include <math.h>
#include <string.h>

enum { WIDTH = 240, HEIGHT = 160 };

static struct kb_shape_by_hand joining(const struct kb_place *points) {
    return (struct kb_shape_by_hand){true, points, 2, false};
}

static struct kb_shape_by_hand cutting(const struct kb_place *points) {
    return (struct kb_shape_by_hand){false, points, 2, false};
}

static struct kb_morphology_params rules(const struct kb_shape_by_hand *shape, size_t shapes,
                                         bool part) {
    struct kb_morphology_params params = rules_plain();
    params.part_touching = part;
    params.shape = shape;
    params.shapes = shapes;
    return params;
}

static struct kb_image picture(const struct ellipse *dark, size_t count) {
    uint64_t seed = 5;
    struct canvas canvas = canvas_blank(WIDTH, HEIGHT, 200.0);
    for (size_t i = 0; i < count; i++) {
        canvas_add(&canvas, &dark[i], 50.0, 0.8);
    }
    struct kb_image image = canvas_expose(&canvas, 1.0, &seed);
    canvas_release(&canvas);
    return image;
}

/* All figures but number and marks. */
static void expect_figures(const struct kb_particle *a, const struct kb_particle *b) {
    const double figure[][2] = {
        {a->area_px2, b->area_px2},
        {a->hole_area_px2, b->hole_area_px2},
        {a->perimeter_px, b->perimeter_px},
        {a->x_px, b->x_px},
        {a->y_px, b->y_px},
        {a->feret_max_px, b->feret_max_px},
        {a->feret_min_px, b->feret_min_px},
        {a->diameter_px, b->diameter_px},
        {a->shape_factor, b->shape_factor},
        {a->circularity, b->circularity},
        {a->solidity, b->solidity},
        {a->major_px, b->major_px},
        {a->minor_px, b->minor_px},
    };
    for (size_t i = 0; i < sizeof figure / sizeof figure[0]; i++) {
        assert_near(figure[i][0], figure[i][1], 0.0);
    }
    assert_int_equal(a->state, b->state);
    assert_int_equal(a->form, b->form);
    assert_int_equal(a->subpixel, b->subpixel);
}

/* ---- what was parted ---------------------------------------------------------------------------
 */

static void a_join_takes_back_what_the_program_parted(void **state) {
    (void)state;
    const struct ellipse dark[] = {{{85.0, 80.0}, 30.0, 28.0, 0.0},
                                   {{135.0, 82.0}, 27.0, 27.0, 0.0}};
    struct kb_image image = picture(dark, 2);
    struct kb_phase_map map = map_below(&image, 125.0);
    const struct kb_place points[] = {{80, 80}, {140, 80}};
    const struct kb_shape_by_hand said = joining(points);
    for (int with_grey = 0; with_grey < 2; with_grey++) {
        const struct kb_image *grey = with_grey ? &image : NULL;
        const struct kb_morphology_params never = rules(NULL, 0, false);
        const struct kb_morphology_params always = rules(NULL, 0, true);
        const struct kb_morphology_params back = rules(&said, 1, true);
        struct kb_particles whole = measured_with(&map, grey, 1.0, &never);
        struct kb_particles parted = measured_with(&map, grey, 1.0, &always);
        struct kb_particles joined = measured_with(&map, grey, 1.0, &back);
        assert_int_equal(whole.count, 1);
        assert_int_equal(parted.count, 2);
        assert_int_equal(joined.count, 1);
        expect_figures(&joined.particle[0], &whole.particle[0]);
        assert_true(joined.particle[0].joined_by_hand);
        assert_false(joined.particle[0].parted);
        assert_int_equal(joined.shaped[0].particle, 1);
        kb_particles_release(&whole);
        kb_particles_release(&parted);
        kb_particles_release(&joined);
    }
    kb_phase_map_release(&map);
    kb_image_release(&image);
}

static void halves_of_a_disc_that_are_joined_are_the_disc(void **state) {
    (void)state;
    const struct ellipse dark = {{80.5, 80.5}, 40.0, 40.0, 0.0};
    struct kb_image image = picture(&dark, 1);
    struct kb_phase_map map = map_below(&image, 125.0);
    const struct kb_place line[] = {{70, 20}, {95, 140}};
    const struct kb_place points[] = {{55, 80}, {110, 80}};
    const struct kb_shape_by_hand said[] = {cutting(line), joining(points)};
    const struct kb_morphology_params plain = rules(NULL, 0, false);
    const struct kb_morphology_params there_and_back = rules(said, 2, false);
    struct kb_particles disc = measured_with(&map, &image, 1.0, &plain);
    struct kb_particles joined = measured_with(&map, &image, 1.0, &there_and_back);
    assert_int_equal(joined.count, 1);
    expect_figures(&joined.particle[0], &disc.particle[0]);
    assert_int_equal(joined.shaped[0].after, 2);
    assert_int_equal(joined.shaped[1].before, 2);
    assert_int_equal(joined.shaped[1].after, 1);
    kb_particles_release(&disc);
    kb_particles_release(&joined);
    kb_phase_map_release(&map);
    kb_image_release(&image);
}

/* What was filled as a hole of the whole, lay open between its pieces, and is filled again. */
static void a_hole_between_pieces_is_filled_again(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(WIDTH, HEIGHT);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){80.5, 80.5}, 40.0);
    map_paint_disc(&map, KB_FERRITE, (struct place){80.5, 80.5}, 8.0);
    const struct kb_place line[] = {{80, 20}, {80, 140}};
    const struct kb_place points[] = {{55, 80}, {110, 80}};
    const struct kb_shape_by_hand said[] = {cutting(line), joining(points)};
    const struct kb_morphology_params params = rules(said, 2, false);
    struct kb_particles joined = measured(&map, 1.0, &params);
    const struct kb_particle whole = only_particle(&map);
    assert_int_equal(joined.count, 1);
    assert_near(joined.particle[0].area_px2, whole.area_px2, 0.0);
    assert_near(joined.particle[0].hole_area_px2, whole.hole_area_px2, 0.0);
    kb_particles_release(&joined);
    kb_phase_map_release(&map);
}

/* ---- what does not touch -----------------------------------------------------------------------
 */

/* Discs of radius 30 and 20, centres 80 apart. */
static void discs_apart_have_the_figures_of_both(void **state) {
    (void)state;
    const struct ellipse dark[] = {{{60.0, 80.0}, 30.0, 30.0, 0.0},
                                   {{140.0, 80.0}, 20.0, 20.0, 0.0}};
    struct kb_image image = picture(dark, 2);
    struct kb_phase_map map = map_below(&image, 125.0);
    const struct kb_place points[] = {{60, 80}, {140, 80}};
    const struct kb_shape_by_hand said = joining(points);
    struct kb_morphology_params params = rules(&said, 1, true);
    const struct kb_morphology_params plain = rules(NULL, 0, true);
    params.keep_outlines = true;
    const double area = SHAPE_PI * (900.0 + 400.0);
    for (int with_grey = 0; with_grey < 2; with_grey++) {
        const struct kb_image *grey = with_grey ? &image : NULL;
        struct kb_particles two = measured_with(&map, grey, 1.0, &plain);
        struct kb_particles one = measured_with(&map, grey, 1.0, &params);
        assert_int_equal(one.count, 1);
        const struct kb_particle *p = &one.particle[0];
        assert_int_equal(p->subpixel, with_grey != 0);
        assert_near(p->area_px2, area, 0.005 * area);
        assert_near(p->area_px2, two.particle[0].area_px2 + two.particle[1].area_px2, 1e-3 * area);
        assert_near(p->perimeter_px, 2.0 * SHAPE_PI * 50.0, 0.01 * 314.0);
        assert_near(p->feret_max_px, 130.0, 0.5);
        assert_near(p->feret_min_px, 60.0, 0.5);
        assert_near(p->x_px, 60.0 + 80.0 * 400.0 / 1300.0, 0.1);
        assert_near(p->y_px, 80.0, 0.1);
        assert_int_equal(one.outlines, with_grey ? 2 : 0);
        assert_true(p->joined_by_hand && !p->cut_by_hand);
        kb_particles_release(&two);
        kb_particles_release(&one);
    }
    kb_phase_map_release(&map);
    kb_image_release(&image);
}

static void a_part_too_small_for_an_outline_leaves_the_whole_to_the_pixel_rules(void **state) {
    (void)state;
    const struct ellipse dark[] = {{{60.0, 80.0}, 30.0, 30.0, 0.0}, {{100.0, 80.0}, 1.8, 1.8, 0.0}};
    struct kb_image image = picture(dark, 2);
    struct kb_phase_map map = map_below(&image, 125.0);
    const struct kb_place points[] = {{60, 80}, {100, 80}};
    const struct kb_shape_by_hand said = joining(points);
    const struct kb_morphology_params params = rules(&said, 1, false);
    struct kb_particles one = measured_with(&map, &image, 1.0, &params);
    assert_int_equal(one.count, 1);
    assert_near(one.particle[0].area_px2, SHAPE_PI * (900.0 + 3.24), 15.0);
    kb_particles_release(&one);
    kb_phase_map_release(&map);
    kb_image_release(&image);
}

static void joins_know_no_order_of_their_points_and_go_on_from_each_other(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(WIDTH, HEIGHT);
    for (int i = 0; i < 4; i++) {
        map_paint_disc(&map, KB_GRAPHITE, (struct place){30.0 + 50.0 * i, 80.0 - 10.0 * i}, 12.0);
    }
    const struct kb_place p[] = {{30, 80}, {80, 70}, {130, 60}};
    const struct kb_place forth[2][2] = {{p[0], p[1]}, {p[1], p[2]}};
    const struct kb_place back[2][2] = {{p[2], p[1]}, {p[2], p[0]}};
    const struct kb_shape_by_hand a[] = {joining(forth[0]), joining(forth[1])};
    const struct kb_shape_by_hand b[] = {joining(back[0]), joining(back[1])};
    const struct kb_morphology_params rules_a = rules(a, 2, false);
    const struct kb_morphology_params rules_b = rules(b, 2, false);
    struct kb_particles one = measured(&map, 1.0, &rules_a);
    struct kb_particles other = measured(&map, 1.0, &rules_b);
    assert_int_equal(one.count, 2);
    assert_int_equal(other.count, 2);
    for (int i = 0; i < 2; i++) {
        expect_figures(&one.particle[i], &other.particle[i]);
    }
    kb_particles_release(&one);
    kb_particles_release(&other);
    kb_phase_map_release(&map);
}

/* A stroke through the gap parts nothing; one through a part lets all parts go. */
static void a_joined_particle_is_cut_like_any_other(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(WIDTH, HEIGHT);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){60.0, 80.0}, 30.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){140.0, 80.0}, 20.0);
    const struct kb_place points[] = {{60, 80}, {140, 80}};
    const struct kb_place gap[] = {{105, 20}, {105, 140}};
    const struct kb_place through[] = {{60, 20}, {60, 140}};
    const struct kb_shape_by_hand idle[] = {joining(points), cutting(gap)};
    const struct kb_shape_by_hand parting[] = {joining(points), cutting(through)};
    const struct kb_morphology_params rules_idle = rules(idle, 2, false);
    const struct kb_morphology_params rules_parting = rules(parting, 2, false);
    struct kb_particles one = measured(&map, 1.0, &rules_idle);
    assert_int_equal(one.count, 1);
    assert_int_equal(one.shaped[1].after, 0);
    struct kb_particles three = measured(&map, 1.0, &rules_parting);
    assert_int_equal(three.count, 3);
    assert_int_equal(three.shaped[0].particle, 0); /* the join no longer stands */
    kb_particles_release(&one);
    kb_particles_release(&three);
    kb_phase_map_release(&map);
}

/* ---- what cannot be ----------------------------------------------------------------------------
 */

static struct kb_phase_map two_discs(void) {
    struct kb_phase_map map = map_blank(WIDTH, HEIGHT);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){60.0, 80.0}, 30.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){140.0, 80.0}, 20.0);
    return map;
}

static void points_outside_every_particle_are_refused_or_let_pass(void **state) {
    (void)state;
    struct kb_phase_map map = two_discs();
    const struct kb_place nowhere[][2] = {{{60, 80}, {100, 10}}, {{60, 80}, {WIDTH, 10}}};
    const char *const says[] = {"no graphite particle", "outside the picture"};
    for (int i = 0; i < 2; i++) {
        struct kb_shape_by_hand said = joining(nowhere[i]);
        struct kb_morphology_params params = rules(&said, 1, false);
        struct kb_particles p;
        struct kb_err err;
        assert_int_equal(kb_morphology_run(&map, NULL, 1.0, &params, &p, &err), KB_E_USAGE);
        assert_non_null(strstr(err.text, says[i]));
        said.may_miss = true;
        p = measured(&map, 1.0, &params);
        assert_int_equal(p.count, 2);
        assert_int_equal(p.shaped[0].before, p.shaped[0].after);
        assert_string_equal(p.findings.item[0].code, "by-hand-without-effect");
        kb_particles_release(&p);
    }
    kb_phase_map_release(&map);
}

static void a_particle_joined_with_itself_stays_as_it_was(void **state) {
    (void)state;
    struct kb_phase_map map = two_discs();
    const struct kb_place same[] = {{60, 80}, {65, 85}};
    const struct kb_shape_by_hand said = joining(same);
    const struct kb_morphology_params params = rules(&said, 1, false);
    struct kb_particles p = measured(&map, 1.0, &params);
    assert_int_equal(p.count, 2);
    assert_false(p.particle[0].joined_by_hand || p.particle[1].joined_by_hand);
    assert_string_equal(p.findings.item[0].code, "by-hand-without-effect");
    kb_particles_release(&p);
    kb_phase_map_release(&map);
}

static void every_failed_allocation_is_reported_and_nothing_leaks(void **state) {
    (void)state;
    const struct ellipse dark[] = {{{60.0, 80.0}, 30.0, 30.0, 0.0},
                                   {{140.0, 80.0}, 20.0, 20.0, 0.0}};
    struct kb_image image = picture(dark, 2);
    struct kb_phase_map map = map_below(&image, 125.0);
    const struct kb_place points[] = {{60, 80}, {140, 80}};
    const struct kb_shape_by_hand said = joining(points);
    const struct kb_morphology_params params = rules(&said, 1, true);
    bool happened = true;
    for (size_t n = 1; happened; n++) {
        struct kb_particles p;
        fail_alloc_at(n);
        enum kb_status status = kb_morphology_run(&map, &image, 1.0, &params, &p, NULL);
        happened = fail_alloc_happened() != 0;
        assert_int_equal(status, happened ? KB_E_MEMORY : KB_OK);
        kb_particles_release(&p);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
    kb_phase_map_release(&map);
    kb_image_release(&image);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_join_takes_back_what_the_program_parted),
        cmocka_unit_test(halves_of_a_disc_that_are_joined_are_the_disc),
        cmocka_unit_test(a_hole_between_pieces_is_filled_again),
        cmocka_unit_test(discs_apart_have_the_figures_of_both),
        cmocka_unit_test(a_part_too_small_for_an_outline_leaves_the_whole_to_the_pixel_rules),
        cmocka_unit_test(joins_know_no_order_of_their_points_and_go_on_from_each_other),
        cmocka_unit_test(a_joined_particle_is_cut_like_any_other),
        cmocka_unit_test(points_outside_every_particle_are_refused_or_let_pass),
        cmocka_unit_test(a_particle_joined_with_itself_stays_as_it_was),
        cmocka_unit_test(every_failed_allocation_is_reported_and_nothing_leaks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
