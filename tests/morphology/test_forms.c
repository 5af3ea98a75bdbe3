/* test_forms.c - ISO 945 forms of drawn shapes. The cuts are ours (form.c); these are the shapes a
 * metallographer would not argue about. */
#include "kb_cmocka.h"

#include "shapes.h"

static enum kb_form form_of(struct kb_phase_map *map) {
    struct kb_particle p = only_particle(map);
    kb_phase_map_release(map);
    return p.form;
}

static void a_disc_is_form_vi_down_to_the_least_size(void **state) {
    (void)state;
    uint64_t seed = 21;
    for (int i = 0; i < 50; i++) {
        struct kb_phase_map map = map_blank(80, 80);
        struct place centre = {40.0 + spread(&seed), 40.0 + spread(&seed)};
        map_paint_disc(&map, KB_GRAPHITE, centre, 5.0 + 30.0 * spread(&seed));
        assert_int_equal(form_of(&map), KB_FORM_VI);
    }
}

static enum kb_form ellipse(double axis_ratio, double angle) {
    struct kb_phase_map map = map_blank(220, 220);
    map_paint_ellipse(&map, KB_GRAPHITE, (struct place){110, 110}, 90.0, 90.0 * axis_ratio, angle);
    return form_of(&map);
}

static void ellipses_go_from_vi_over_v_to_iii(void **state) {
    (void)state;
    for (int i = 0; i < 8; i++) {
        double angle = SHAPE_PI * i / 8.0;
        assert_int_equal(ellipse(0.80, angle), KB_FORM_VI);
        assert_int_equal(ellipse(0.65, angle), KB_FORM_VI);
        assert_int_equal(ellipse(0.60, angle), KB_FORM_V);
        assert_int_equal(ellipse(0.55, angle), KB_FORM_V);
        assert_int_equal(ellipse(0.45, angle), KB_FORM_III);
    }
}

static void a_square_is_spheroidal(void **state) {
    (void)state;
    for (int i = 0; i < 6; i++) {
        struct kb_phase_map map = map_blank(160, 160);
        map_paint_rectangle(&map, KB_GRAPHITE, (struct place){80.3, 79.8}, 90.0, 90.0, i * 0.2);
        /* 2 / pi is just above the cut, and the perimeter leans by the direction */
        enum kb_form form = form_of(&map);
        assert_true(form == KB_FORM_V || form == KB_FORM_VI);
    }
}

static enum kb_form stroke(double length, double width, double angle) {
    struct kb_phase_map map = map_blank(400, 400);
    double dx = (length - width) / 2.0 * cos(angle);
    double dy = (length - width) / 2.0 * sin(angle);
    const struct place end[] = {{200 - dx, 200 - dy}, {200 + dx, 200 + dy}};
    map_paint_stroke(&map, KB_GRAPHITE, end, 2, width);
    return form_of(&map);
}

static void strokes_are_flakes_when_thin_and_vermicular_when_stubby(void **state) {
    (void)state;
    for (int i = 0; i < 8; i++) {
        double angle = SHAPE_PI * i / 8.0;
        assert_int_equal(stroke(360.0, 12.0, angle), KB_FORM_I);   /* 30 : 1 */
        assert_int_equal(stroke(180.0, 12.0, angle), KB_FORM_I);   /* 15 : 1 */
        assert_int_equal(stroke(120.0, 20.0, angle), KB_FORM_III); /* 6 : 1 */
        assert_int_equal(stroke(90.0, 30.0, angle), KB_FORM_III);  /* 3 : 1 */
    }
}

static void a_curled_flake_is_a_flake(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(300, 300);
    struct place corner[25];
    for (int i = 0; i < 25; i++) {
        double t = 1.4 * SHAPE_PI * i / 24.0;
        corner[i] = (struct place){150.0 + 110.0 * cos(t), 150.0 + 110.0 * sin(t)};
    }
    map_paint_stroke(&map, KB_GRAPHITE, corner, 25, 12.0);
    assert_int_equal(form_of(&map), KB_FORM_I);
}

static void a_star_is_a_crab(void **state) {
    (void)state;
    for (int tips = 5; tips <= 8; tips++) {
        struct kb_phase_map map = map_blank(220, 220);
        map_paint_star(&map, KB_GRAPHITE, (struct place){110, 110}, 95.0, 0.4, tips, 0.3);
        assert_int_equal(form_of(&map), KB_FORM_II);
    }
}

/* A lump of five lobes: compact, deep bays. */
static void a_lobed_lump_is_irregular(void **state) {
    (void)state;
    struct kb_phase_map map = map_blank(220, 220);
    struct place corner[240];
    for (int i = 0; i < 240; i++) {
        double t = 2.0 * SHAPE_PI * i / 240.0;
        double r = 60.0 * (1.0 + 0.25 * cos(5.0 * t) + 0.08 * cos(3.0 * t));
        corner[i] = (struct place){110.0 + r * cos(t), 110.0 + r * sin(t)};
    }
    map_paint_polygon(&map, KB_GRAPHITE, corner, 240);
    assert_int_equal(form_of(&map), KB_FORM_IV);
}

static void figures_that_are_no_numbers_give_no_form(void **state) {
    (void)state;
    assert_int_equal(kb_form_classify((double)NAN, 1.0, 1.0, 1.0), KB_FORM_NONE);
    assert_int_equal(kb_form_classify(1.0, (double)NAN, 1.0, 1.0), KB_FORM_NONE);
    assert_int_equal(kb_form_classify(1.0, 1.0, (double)INFINITY, 1.0), KB_FORM_NONE);
    assert_int_equal(kb_form_classify(1.0, 1.0, 1.0, (double)NAN), KB_FORM_NONE);
}

static void forms_are_named_by_words_too(void **state) {
    (void)state;
    assert_string_equal(kb_form_roman(KB_FORM_VI), "VI");
    assert_string_equal(kb_form_roman(KB_FORM_NONE), "-");
    assert_string_equal(kb_form_words(KB_FORM_I), "lamellar (flake)");
    assert_string_equal(kb_form_roman((enum kb_form)77), "-");
    assert_string_equal(kb_form_words((enum kb_form)77), kb_form_words(KB_FORM_NONE));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_disc_is_form_vi_down_to_the_least_size),
        cmocka_unit_test(ellipses_go_from_vi_over_v_to_iii),
        cmocka_unit_test(a_square_is_spheroidal),
        cmocka_unit_test(strokes_are_flakes_when_thin_and_vermicular_when_stubby),
        cmocka_unit_test(a_curled_flake_is_a_flake),
        cmocka_unit_test(a_star_is_a_crab),
        cmocka_unit_test(a_lobed_lump_is_irregular),
        cmocka_unit_test(figures_that_are_no_numbers_give_no_form),
        cmocka_unit_test(forms_are_named_by_words_too),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
