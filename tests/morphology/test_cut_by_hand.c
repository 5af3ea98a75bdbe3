/* test_cut_by_hand.c - particles parted by a stroke: against areas of circular segments and sectors
 * (elementary geometry), against pictures turned and mirrored, and against what a stroke must not
 * do. */
#include "canvas.h"
#include "fail_alloc.h"
#include "kb_cmocka.h"

#include <math.h>
#include <string.h>

enum { SIDE = 160 };

static struct kb_morphology_params rules(const struct kb_shape_by_hand *shape, size_t shapes) {
    struct kb_morphology_params params = rules_plain();
    params.shape = shape;
    params.shapes = shapes;
    return params;
}

static struct kb_shape_by_hand stroke(const struct kb_place *point, size_t points) {
    return (struct kb_shape_by_hand){false, point, points, false};
}

static struct kb_particles cut(const struct kb_phase_map *map, const struct kb_image *grey,
                               const struct kb_place *point, size_t points) {
    const struct kb_shape_by_hand said = stroke(point, points);
    const struct kb_morphology_params params = rules(&said, 1);
    return grey != NULL ? measured_with(map, grey, 1.0, &params) : measured(map, 1.0, &params);
}

/* Area of the smaller part of a disc beyond a chord at `off` from its centre. */
static double segment_area(double radius, double off) {
    return radius * radius * acos(off / radius) - off * sqrt(radius * radius - off * off);
}

static struct kb_image disc_picture(double x, double y, double radius) {
    uint64_t seed = 1;
    struct canvas canvas = canvas_blank(SIDE, SIDE, 200.0);
    const struct ellipse disc = {{x, y}, radius, radius, 0.0};
    canvas_add(&canvas, &disc, 50.0, 0.8);
    struct kb_image image = canvas_expose(&canvas, 1.0, &seed);
    canvas_release(&canvas);
    return image;
}

/* ---- areas ------------------------------------------------------------------------------------
 */

static void a_disc_falls_into_two_segments_and_no_pixel_is_lost(void **state) {
    (void)state;
    const double radius = 50.0;
    struct kb_phase_map map = map_blank(SIDE, SIDE);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){80.5, 80.5}, radius);
    const double whole = only_particle(&map).area_px2;
    for (int32_t off = 0; off <= 30; off += 10) {
        const struct kb_place line[] = {{80 + off, 20}, {80 + off, 140}};
        struct kb_particles p = cut(&map, NULL, line, 2);
        assert_int_equal(p.count, 2);
        assert_near(p.particle[0].area_px2 + p.particle[1].area_px2, whole, 0.0);
        /* the pixels under the stroke go to one side: half a pixel along the chord */
        const double chord = 2.0 * sqrt(radius * radius - (double)off * off);
        const double lesser = fmin(p.particle[0].area_px2, p.particle[1].area_px2);
        assert_near(lesser, segment_area(radius, off), 0.5 * chord + 5.0);
        for (size_t i = 0; i < p.count; i++) {
            assert_true(p.particle[i].parted && p.particle[i].cut_by_hand);
            assert_false(p.particle[i].joined_by_hand);
        }
        assert_int_equal(p.shaped[0].before, 1);
        assert_int_equal(p.shaped[0].after, 2);
        assert_string_equal(p.findings.item[0].code, "cut-by-hand");
        kb_particles_release(&p);
    }
    kb_phase_map_release(&map);
}

/* Two discs of radius 30, centres 48 apart: the chord is 36 long, 24 from each centre. */
static void overlapping_discs_part_along_their_chord(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(SIDE, SIDE);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){56.5, 80.5}, 30.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){104.5, 80.5}, 30.0);
    const struct kb_place line[] = {{80, 55}, {80, 105}};
    struct kb_particles p = cut(&map, NULL, line, 2);
    const double piece = SHAPE_PI * 900.0 - segment_area(30.0, 24.0);
    assert_int_equal(p.count, 2);
    for (size_t i = 0; i < p.count; i++) {
        assert_near(p.particle[i].area_px2, piece, 18.0 + 5.0);
    }
    kb_particles_release(&p);
    kb_phase_map_release(&map);
}

static void a_picture_gives_segments_with_straight_sides(void **state) {
    (void)state;
    const double radius = 50.0;
    struct kb_image image = disc_picture(80.5, 80.5, radius);
    struct kb_phase_map map = map_below(&image, 125.0);
    const struct kb_place line[] = {{60, 15}, {120, 145}}; /* through 80.5, 59 ...: oblique */
    /* distance of the disc's centre from the line through the pixel centres */
    const double off = fabs((80.5 - 60.5) * 130.0 - (80.5 - 15.5) * 60.0) / hypot(60.0, 130.0);
    const double chord = 2.0 * sqrt(radius * radius - off * off);
    const double angle = 2.0 * acos(off / radius);
    struct kb_particles p = cut(&map, &image, line, 2);
    assert_int_equal(p.count, 2);
    const int small = p.particle[0].area_px2 < p.particle[1].area_px2 ? 0 : 1;
    const struct kb_particle *lesser = &p.particle[small];
    const struct kb_particle *larger = &p.particle[1 - small];
    assert_true(lesser->subpixel && larger->subpixel);
    assert_near(lesser->area_px2, segment_area(radius, off), 0.5 * chord + 5.0);
    assert_near(lesser->area_px2 + larger->area_px2, SHAPE_PI * radius * radius, 5.0);
    assert_near(lesser->perimeter_px, radius * angle + chord, 5.0);
    assert_near(larger->perimeter_px, radius * (2.0 * SHAPE_PI - angle) + chord, 5.0);
    kb_particles_release(&p);
    kb_phase_map_release(&map);
    kb_image_release(&image);
}

/* A bent stroke takes a quarter out of the disc. */
static void a_bent_stroke_is_followed_round_its_bend(void **state) {
    (void)state;
    const double radius = 50.0;
    struct kb_image image = disc_picture(80.5, 80.5, radius);
    struct kb_phase_map map = map_below(&image, 125.0);
    const struct kb_place line[] = {{80, 10}, {80, 80}, {150, 80}};
    const double quarter = SHAPE_PI * radius * radius / 4.0;
    for (int with_grey = 0; with_grey < 2; with_grey++) {
        struct kb_particles p = cut(&map, with_grey ? &image : NULL, line, 3);
        assert_int_equal(p.count, 2);
        const double area = fmin(p.particle[0].area_px2, p.particle[1].area_px2);
        const double both = p.particle[0].area_px2 + p.particle[1].area_px2;
        /* the pixels under the stroke go to the larger piece: half a pixel along both sides */
        assert_near(area, quarter - radius, with_grey ? 2.0 : 5.0);
        assert_near(both, 4.0 * quarter, with_grey ? 2.0 : 20.0);
        assert_int_equal(p.particle[0].subpixel, with_grey != 0);
        kb_particles_release(&p);
    }
    kb_phase_map_release(&map);
    kb_image_release(&image);
}

/* ---- turned, mirrored, drawn from the other end ------------------------------------------------
 */

static struct kb_phase_map lopsided(void) {
    struct kb_phase_map map = map_blank(SIDE, SIDE);
    map_paint_ellipse(&map, KB_GRAPHITE, (struct place){70.3, 81.2}, 45.0, 25.0, 0.5);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){105.0, 60.0}, 20.0);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){30.0, 30.0}, 12.0);
    return map;
}

static void expect_same(const struct kb_particles *a, const struct kb_particles *b) {
    assert_int_equal(a->count, b->count);
    for (size_t i = 0; i < a->count; i++) {
        size_t same = 0;
        for (size_t k = 0; k < b->count; k++) {
            same += a->particle[i].area_px2 == b->particle[k].area_px2 &&
                    a->particle[i].perimeter_px == b->particle[k].perimeter_px &&
                    fabs(a->particle[i].feret_max_px - b->particle[k].feret_max_px) < 1e-9;
        }
        assert_int_equal(same, 1);
    }
}

static void pieces_are_the_same_however_the_picture_lies(void **state) {
    (void)state;
    struct kb_phase_map map = lopsided();
    struct kb_phase_map turned = map_turned(&map);
    struct kb_phase_map mirrored = map_mirrored(&map);
    static const struct kb_place line[][3] = {{{60, 40}, {75, 75}, {90, 120}},
                                              {{90, 30}, {97, 64}, {100, 120}},
                                              {{20, 20}, {90, 90}, {91, 140}}};
    for (size_t n = 0; n < sizeof line / sizeof line[0]; n++) {
        struct kb_place round[3];
        struct kb_place over[3];
        struct kb_place back[3];
        for (size_t i = 0; i < 3; i++) {
            /* a quarter counter-clockwise, y up: the right side becomes the upper one */
            round[i] = (struct kb_place){line[n][i].y, SIDE - 1 - line[n][i].x};
            over[i] = (struct kb_place){SIDE - 1 - line[n][i].x, line[n][i].y};
            back[i] = line[n][2 - i];
        }
        struct kb_particles plain = cut(&map, NULL, line[n], 3);
        struct kb_particles a = cut(&turned, NULL, round, 3);
        struct kb_particles b = cut(&mirrored, NULL, over, 3);
        struct kb_particles c = cut(&map, NULL, back, 3);
        assert_true(plain.count > 2); /* two particles before */
        expect_same(&plain, &a);
        expect_same(&plain, &b);
        expect_same(&plain, &c);
        kb_particles_release(&plain);
        kb_particles_release(&a);
        kb_particles_release(&b);
        kb_particles_release(&c);
    }
    kb_phase_map_release(&map);
    kb_phase_map_release(&turned);
    kb_phase_map_release(&mirrored);
}

/* ---- what a stroke must not do -----------------------------------------------------------------
 */

static void a_stroke_that_ends_inside_changes_nothing(void **state) {
    (void)state;
    struct kb_phase_map map = lopsided();
    const struct kb_morphology_params plain = rules(NULL, 0);
    struct kb_particles before = measured(&map, 1.0, &plain);
    static const struct kb_place line[][2] = {
        {{70, 80}, {70, 10}}, {{2, 2}, {9, 150}}, {{70, 80}, {70, 80}}};
    for (size_t n = 0; n < sizeof line / sizeof line[0]; n++) {
        struct kb_particles p = cut(&map, NULL, line[n], 2);
        expect_same(&before, &p);
        assert_int_equal(p.shaped[0].after, 0);
        assert_string_equal(p.findings.item[0].code, "by-hand-without-effect");
        assert_false(p.particle[0].parted || p.particle[0].cut_by_hand);
        kb_particles_release(&p);
    }
    kb_particles_release(&before);
    kb_phase_map_release(&map);
}

/* A line along the ragged side of a square leaves teeth of a pixel: they are no particles. */
static void slivers_along_the_stroke_are_no_pieces(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(80, 80);
    map_paint_rectangle(&map, KB_GRAPHITE, (struct place){40, 40}, 40, 40, 0.0);
    for (int32_t y = 20; y < 60; y += 2) {
        kb_row(&map.label, y)[60] = KB_GRAPHITE;
    }
    const struct kb_place along[] = {{59, 10}, {59, 70}};
    struct kb_particles p = cut(&map, NULL, along, 2);
    assert_int_equal(p.count, 1);
    assert_near(p.particle[0].area_px2, 1620.0, 0.0);
    kb_particles_release(&p);
    kb_phase_map_release(&map);
}

static void one_stroke_parts_every_particle_under_it(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(SIDE, SIDE);
    for (int i = 0; i < 3; i++) {
        map_paint_disc(&map, KB_GRAPHITE, (struct place){30.0 + 48.0 * i, 80.0}, 18.0);
    }
    const struct kb_place line[] = {{-50, 84}, {400, 75}};
    struct kb_particles p = cut(&map, NULL, line, 2);
    assert_int_equal(p.count, 6);
    assert_int_equal(p.shaped[0].before, 3);
    assert_int_equal(p.shaped[0].after, 6);
    kb_particles_release(&p);
    kb_phase_map_release(&map);
}

static void holes_that_were_filled_are_cut_with_their_particle(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(SIDE, SIDE);
    map_paint_disc(&map, KB_GRAPHITE, (struct place){80.5, 80.5}, 40.0);
    map_paint_disc(&map, KB_FERRITE, (struct place){80.5, 80.5}, 10.0);
    const double whole = only_particle(&map).area_px2;
    const struct kb_place line[] = {{80, 20}, {80, 140}};
    struct kb_particles p = cut(&map, NULL, line, 2);
    assert_int_equal(p.count, 2);
    assert_near(p.particle[0].area_px2 + p.particle[1].area_px2, whole, 0.0);
    assert_near(p.particle[0].hole_area_px2 + p.particle[1].hole_area_px2, SHAPE_PI * 100.0, 10.0);
    kb_particles_release(&p);
    kb_phase_map_release(&map);
}

static void refuse(const struct kb_shape_by_hand *said, const char *says) {
    struct kb_phase_map map = lopsided();
    const struct kb_morphology_params params = rules(said, 1);
    struct kb_particles particles;
    struct kb_err err;
    assert_int_equal(kb_morphology_run(&map, NULL, 1.0, &params, &particles, &err), KB_E_USAGE);
    assert_non_null(strstr(err.text, says));
    assert_null(particles.particle);
    kb_phase_map_release(&map);
}

static void strokes_that_make_no_sense_are_refused(void **state) {
    (void)state;
    const struct kb_place outside[] = {{-20, 5}, {-3, 90}};
    const struct kb_place far[] = {{5, 5}, {INT32_MAX, 5}};
    struct kb_shape_by_hand said = stroke(outside, 2);
    refuse(&said, "outside the picture");
    said = stroke(outside, 1);
    refuse(&said, "two points");
    said = stroke(NULL, 2);
    refuse(&said, "two points");
    said = stroke(far, 2);
    refuse(&said, "outside every picture");
}

static void a_stroke_outside_the_picture_may_be_let_pass(void **state) {
    (void)state;
    struct kb_phase_map map = lopsided();
    const struct kb_place outside[] = {{-20, 5}, {-3, 90}};
    const struct kb_shape_by_hand said = {false, outside, 2, true};
    const struct kb_morphology_params params = rules(&said, 1);
    struct kb_particles p = measured(&map, 1.0, &params);
    assert_int_equal(p.count, 2);
    assert_string_equal(p.findings.item[0].code, "by-hand-without-effect");
    kb_particles_release(&p);
    kb_phase_map_release(&map);
}

static void any_failing_allocation_is_told_and_leaves_nothing(void **state) {
    (void)state;
    struct kb_phase_map map = lopsided();
    const struct kb_place line[] = {{60, 40}, {75, 75}, {90, 120}};
    const struct kb_place points[] = {{65, 90}, {80, 80}};
    const struct kb_shape_by_hand said[] = {stroke(line, 3), {true, points, 2, true}};
    const struct kb_morphology_params params = rules(said, 2);
    bool happened = true;
    for (size_t n = 1; happened; n++) {
        struct kb_particles p;
        fail_alloc_at(n);
        enum kb_status status = kb_morphology_run(&map, NULL, 1.0, &params, &p, NULL);
        happened = fail_alloc_happened() != 0;
        assert_int_equal(status, happened ? KB_E_MEMORY : KB_OK);
        kb_particles_release(&p);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
    kb_phase_map_release(&map);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_disc_falls_into_two_segments_and_no_pixel_is_lost),
        cmocka_unit_test(overlapping_discs_part_along_their_chord),
        cmocka_unit_test(a_picture_gives_segments_with_straight_sides),
        cmocka_unit_test(a_bent_stroke_is_followed_round_its_bend),
        cmocka_unit_test(pieces_are_the_same_however_the_picture_lies),
        cmocka_unit_test(a_stroke_that_ends_inside_changes_nothing),
        cmocka_unit_test(slivers_along_the_stroke_are_no_pieces),
        cmocka_unit_test(one_stroke_parts_every_particle_under_it),
        cmocka_unit_test(holes_that_were_filled_are_cut_with_their_particle),
        cmocka_unit_test(strokes_that_make_no_sense_are_refused),
        cmocka_unit_test(a_stroke_outside_the_picture_may_be_let_pass),
        cmocka_unit_test(any_failing_allocation_is_told_and_leaves_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
