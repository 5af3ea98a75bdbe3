/* test_flakes.c - figures of the flakes of one field, on maps drawn by hand.
 *
 * Truth: strokes of known length, direction and number; formulas worked by hand. Drawn
 * distributions: test_flake_letters.c.
 */
#include "kb_cmocka.h"

#include "fail_alloc.h"
#include "flakes_priv.h"

#include <string.h>

static const double pi = 3.14159265358979323846;

enum { SIDE = 600 };

static struct kb_phase_map blank(void) {
    struct kb_phase_map map;
    memset(&map, 0, sizeof map);
    assert_int_equal(kb_image_alloc(SIDE, SIDE, &map.label, NULL), KB_OK);
    for (int32_t y = 0; y < SIDE; y++) {
        memset(kb_row(&map.label, y), KB_MATRIX, SIDE);
    }
    return map;
}

/* A stroke with its middle at x, y; angle counter-clockwise with y up. */
static void stroke(struct kb_phase_map *map, double x, double y, double length, double width,
                   double angle) {
    const double c = cos(angle), s = -sin(angle);
    const int32_t reach = (int32_t)length;
    for (int32_t j = (int32_t)y - reach; j <= (int32_t)y + reach; j++) {
        for (int32_t i = (int32_t)x - reach; i <= (int32_t)x + reach; i++) {
            if (i < 0 || j < 0 || i >= SIDE || j >= SIDE) {
                continue;
            }
            const double dx = i + 0.5 - x, dy = j + 0.5 - y;
            if (fabs(dx * c + dy * s) <= length / 2.0 && fabs(dy * c - dx * s) <= width / 2.0) {
                kb_row(&map->label, j)[i] = KB_GRAPHITE;
            }
        }
    }
}

static uint32_t chance_state;
static double chance(void) { /* Numerical Recipes' quick generator: any even spread will do */
    chance_state = chance_state * 1664525u + 1013904223u;
    return chance_state / 4294967296.0;
}

static struct kb_flake_figures look(struct kb_phase_map *map) {
    memset(map->figures.pixels, 0, sizeof map->figures.pixels);
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            map->figures.pixels[kb_row(&map->label, y)[x]]++;
        }
    }
    struct kb_particles particles;
    struct kb_field_figures field;
    const struct kb_morphology_params params = kb_morphology_params_default(KB_GREY_IRON);
    assert_int_equal(kb_morphology_run(map, NULL, 1.0, &params, &particles, NULL), KB_OK);
    kb_field_figures_make(map, KB_LIGHT_UNETCHED, KB_GREY_IRON, 1.0, &particles, &field);
    assert_int_equal(kb_flake_figures_make(map, &particles, &field, &field.flakes, NULL), KB_OK);
    kb_particles_release(&particles);
    assert_true(field.flakes.looked);
    return field.flakes;
}

/* `n` strokes, by chance anywhere; `angle` NaN: any direction. */
static struct kb_flake_figures scattered(int n, double length, double angle) {
    struct kb_phase_map map = blank();
    chance_state = 7;
    for (int i = 0; i < n; i++) {
        const double x = chance() * SIDE, y = chance() * SIDE, turn = chance() * pi;
        stroke(&map, x, y, length, 3.0, isnan(angle) ? turn : angle);
    }
    struct kb_flake_figures figures = look(&map);
    kb_phase_map_release(&map);
    return figures;
}

static void length_along_a_stroke_follows_from_area_and_perimeter(void **state) {
    (void)state;
    assert_near(kb_flake_length(40.0 * 3.0, 2.0 * (40.0 + 3.0)), 40.0, 1e-12);
    assert_near(kb_flake_length(25.0, 20.0), 5.0, 1e-12);                       /* a square */
    assert_near(kb_flake_length(pi * 100.0, 20.0 * pi), 10.0 * pi / 2.0, 1e-9); /* a disc */
}

static void parallel_strokes_have_order_and_their_own_direction(void **state) {
    (void)state;
    const double angles[] = {0.1, 0.7, 1.5, 2.4};
    for (size_t i = 0; i < sizeof angles / sizeof *angles; i++) {
        struct kb_flake_figures figures = scattered(150, 40.0, angles[i]);
        /* 0.97: the ends of a stroke lie across it, 3 + 3 of 86 px */
        assert_true(figures.value[KB_FLAKE_ORDER] > 0.75);
        assert_near(figures.direction, angles[i], 0.06);
    }
}

static void strokes_of_all_directions_have_no_order(void **state) {
    (void)state;
    struct kb_flake_figures figures = scattered(200, 40.0, (double)NAN);
    assert_true(figures.value[KB_FLAKE_ORDER] < 0.2);
    /* of n directions by chance a component of the order scatters by 1 / sqrt(2 n) */
    assert_near(figures.order_error, 1.0 / sqrt(400.0), 0.03);
}

static void turning_the_field_by_a_right_angle_turns_the_direction_only(void **state) {
    (void)state;
    struct kb_flake_figures lying = scattered(150, 40.0, 0.3);
    struct kb_phase_map map = blank(), turned = blank();
    chance_state = 7;
    for (int i = 0; i < 150; i++) {
        const double x = chance() * SIDE, y = chance() * SIDE;
        (void)chance();
        stroke(&map, x, y, 40.0, 3.0, 0.3);
    }
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) { /* counter-clockwise as seen */
            kb_row(&turned.label, SIDE - 1 - x)[y] = kb_row(&map.label, y)[x];
        }
    }
    struct kb_flake_figures standing = look(&turned);
    assert_near(standing.value[KB_FLAKE_ORDER], lying.value[KB_FLAKE_ORDER], 0.01);
    assert_near(standing.direction, lying.direction + pi / 2.0, 0.01);
    assert_near(standing.value[KB_FLAKE_THICKNESS], lying.value[KB_FLAKE_THICKNESS], 0.02);
    assert_near(standing.value[KB_FLAKE_LENGTH], lying.value[KB_FLAKE_LENGTH], 0.01);
    kb_phase_map_release(&map);
    kb_phase_map_release(&turned);
}

static void flakes_by_chance_leave_the_voids_that_chance_leaves(void **state) {
    (void)state; /* the Boolean model itself; few touch; scatter about a third */
    struct kb_flake_figures figures = scattered(250, 20.0, (double)NAN);
    assert_near(figures.value[KB_FLAKE_VOIDS], 1.0, 0.5);
}

static void an_even_lattice_leaves_no_voids_and_strings_leave_many(void **state) {
    (void)state;
    struct kb_phase_map even = blank(), strings = blank();
    chance_state = 3;
    for (int i = 0; i < 400; i++) {
        const double x = 15.0 + 30.0 * (i % 20), y = 15.0 + 30.0 * (i / 20);
        stroke(&even, x, y, 20.0, 3.0, chance() * pi);
        /* the same number, all within bands 30 px wide of 100 */
        stroke(&strings, chance() * SIDE, 100.0 * floor(chance() * 6.0) + 30.0 * chance(), 20.0,
               3.0, chance() * pi);
    }
    struct kb_flake_figures even_found = look(&even), strings_found = look(&strings);
    assert_true(even_found.value[KB_FLAKE_VOIDS] < 0.2);
    assert_true(strings_found.value[KB_FLAKE_VOIDS] > 2.0);
    kb_phase_map_release(&even);
    kb_phase_map_release(&strings);
}

static void spokes_about_centres_are_radial_and_rings_are_not(void **state) {
    (void)state;
    struct kb_phase_map spokes = blank(), rings = blank();
    for (int centre = 0; centre < 9; centre++) {
        const double cx = 100.0 + 200.0 * (centre % 3), cy = 100.0 + 200.0 * (centre / 3);
        for (int i = 0; i < 12; i++) {
            for (int ring = 0; ring < 3; ring++) {
                const double turn = 2.0 * pi * (i + 0.33 * ring) / 12.0, r = 25.0 + 28.0 * ring;
                const double x = cx + r * cos(turn), y = cy - r * sin(turn);
                stroke(&spokes, x, y, 20.0, 3.0, turn);
                stroke(&rings, x, y, 20.0, 3.0, turn + pi / 2.0);
            }
        }
    }
    assert_true(look(&spokes).value[KB_FLAKE_RADIAL] > 0.25);
    assert_true(look(&rings).value[KB_FLAKE_RADIAL] < 0.0);
    kb_phase_map_release(&spokes);
    kb_phase_map_release(&rings);
}

static void long_thick_plates_among_small_flakes_are_found(void **state) {
    (void)state;
    struct kb_phase_map map = blank();
    for (int i = 0; i < 200; i++) { /* beside the plates, which stand in the upper 150 rows */
        stroke(&map, 30.0 + 28.0 * (i % 20), 190.0 + 40.0 * (i / 20), 20.0, 3.0, 0.7 * i);
    }
    stroke(&map, 150.0, 60.0, 200.0, 10.0, 0.2);
    stroke(&map, 420.0, 60.0, 200.0, 10.0, 2.9);
    struct kb_flake_figures figures = look(&map);
    const double plates = 2.0 * 200.0 * 10.0, small = 200.0 * 20.0 * 3.0;
    assert_near(figures.value[KB_FLAKE_PLATES], plates / (plates + small), 0.02);
    assert_near(figures.longest_um, 200.0, 3.0);
    kb_phase_map_release(&map);
}

static void a_field_without_graphite_or_scale_says_why(void **state) {
    (void)state;
    struct kb_phase_map map = blank();
    struct kb_flake_figures figures = look(&map);
    assert_int_equal(figures.bar, KB_FLAKE_NO_GRAPHITE);
    assert_true(isnan(figures.value[KB_FLAKE_ORDER]));
    struct kb_particles none;
    memset(&none, 0, sizeof none);
    struct kb_field_figures field;
    kb_field_figures_make(&map, KB_LIGHT_UNETCHED, KB_GREY_IRON, 0.0, &none, &field);
    assert_int_equal(kb_flake_figures_make(&map, &none, &field, &field.flakes, NULL), KB_OK);
    assert_int_equal(field.flakes.bar, KB_FLAKE_NO_SCALE);
    kb_phase_map_release(&map);
}

static void an_allocation_that_fails_is_reported_and_nothing_is_kept(void **state) {
    (void)state;
    struct kb_phase_map map = blank();
    for (int i = 0; i < 200; i++) {
        stroke(&map, 30.0 + 28.0 * (i % 20), 30.0 + 40.0 * (i / 20), 20.0, 3.0, 0.7 * i);
    }
    (void)look(&map);
    struct kb_particles particles;
    struct kb_field_figures field;
    const struct kb_morphology_params params = kb_morphology_params_default(KB_GREY_IRON);
    assert_int_equal(kb_morphology_run(&map, NULL, 1.0, &params, &particles, NULL), KB_OK);
    kb_field_figures_make(&map, KB_LIGHT_UNETCHED, KB_GREY_IRON, 1.0, &particles, &field);
    enum kb_status status = KB_E_MEMORY;
    for (size_t n = 1; status != KB_OK && n < 20; n++) {
        struct kb_err err = {.code = KB_OK};
        fail_alloc_at(n);
        status = kb_flake_figures_make(&map, &particles, &field, &field.flakes, &err);
        fail_alloc_at(0);
        assert_true(status == KB_OK || (status == KB_E_MEMORY && err.code == KB_E_MEMORY));
    }
    assert_int_equal(status, KB_OK);
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
}

/* ---- letters from figures ---- */

static struct kb_flake_distribution plain(void) {
    struct kb_flake_distribution flakes;
    memset(&flakes, 0, sizeof flakes);
    const double value[KB_FLAKE_MEASURES] = {60.0, 65.0, 3.0, 40.0, 0.02, 0.05, 0.0, 1.0, 0.0};
    for (int i = 0; i < KB_FLAKE_MEASURES; i++) {
        flakes.figure[i] = kb_estimate_point(value[i], 5, "", "");
    }
    flakes.flakes = 500;
    flakes.fields = 5;
    flakes.size_class = 4;
    return flakes;
}

static void each_letter_follows_from_the_figure_that_stands_out(void **state) {
    (void)state;
    const struct {
        enum kb_flake_measure measure;
        double value;
        enum kb_flake_letter letter;
        const char *designation;
    } cases[] = {{KB_FLAKE_SPACING, 40.0, KB_FLAKE_A, "I A 4"},
                 {KB_FLAKE_RADIAL, 0.2, KB_FLAKE_B, "I B 4"},
                 {KB_FLAKE_PLATES, 0.3, KB_FLAKE_C, "I C 4"},
                 {KB_FLAKE_VOIDS, 1.5, KB_FLAKE_D, "I D 4"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct kb_flake_distribution flakes = plain();
        flakes.figure[cases[i].measure].value = cases[i].value;
        kb_flake_letters_judge(1.0, 0.0, 0.5, &flakes);
        assert_true(flakes.told);
        assert_int_equal(flakes.letter, cases[i].letter);
        assert_string_equal(flakes.designation, cases[i].designation);
    }
    struct kb_flake_distribution flakes = plain();
    flakes.figure[KB_FLAKE_VOIDS].value = 1.5;
    flakes.figure[KB_FLAKE_ORDER].value = 0.8;
    kb_flake_letters_judge(1.0, 0.0, 0.5, &flakes);
    assert_int_equal(flakes.letter, KB_FLAKE_E);
}

static void thin_evidence_gives_no_letter_but_a_reason(void **state) {
    (void)state;
    struct kb_flake_distribution few = plain(), thin = plain(), other = plain(), between = plain();
    few.flakes = 99;
    kb_flake_letters_judge(1.0, 0.0, 0.5, &few);
    kb_flake_letters_judge(1.0, 0.0, 2.0, &thin);  /* 3 um thick at 2 um a pixel */
    kb_flake_letters_judge(0.6, 0.4, 0.5, &other); /* much of it nodular */
    between.figure[KB_FLAKE_VOIDS].value = 0.3;
    kb_flake_letters_judge(1.0, 0.0, 0.5, &between);
    const struct kb_flake_distribution *all[] = {&few, &thin, &other, &between};
    for (size_t i = 0; i < 4; i++) {
        assert_false(all[i]->told);
        assert_non_null(all[i]->why);
        assert_string_equal(all[i]->designation, "");
    }
    assert_near(few.not_told, 1.0, 0.0);
}

static void fields_that_do_not_agree_weaken_the_belief(void **state) {
    (void)state;
    struct kb_flake_distribution agreed = plain(), scattered_fields = plain();
    agreed.figure[KB_FLAKE_RADIAL].value = scattered_fields.figure[KB_FLAKE_RADIAL].value = 0.15;
    scattered_fields.figure[KB_FLAKE_RADIAL].s = 0.2;
    kb_flake_letters_judge(1.0, 0.0, 0.5, &agreed);
    kb_flake_letters_judge(1.0, 0.0, 0.5, &scattered_fields);
    assert_true(agreed.belief[KB_FLAKE_B] > scattered_fields.belief[KB_FLAKE_B] + 0.1);
}

static void the_designation_wants_form_letter_and_size(void **state) {
    (void)state;
    struct kb_flake_distribution mixed = plain(), sizeless = plain();
    kb_flake_letters_judge(0.7, 0.1, 0.5, &mixed);
    sizeless.size_class = 0;
    kb_flake_letters_judge(1.0, 0.0, 0.5, &sizeless);
    assert_true(mixed.told && sizeless.told);
    assert_string_equal(mixed.designation, "");
    assert_string_equal(sizeless.designation, "");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(length_along_a_stroke_follows_from_area_and_perimeter),
        cmocka_unit_test(parallel_strokes_have_order_and_their_own_direction),
        cmocka_unit_test(strokes_of_all_directions_have_no_order),
        cmocka_unit_test(turning_the_field_by_a_right_angle_turns_the_direction_only),
        cmocka_unit_test(flakes_by_chance_leave_the_voids_that_chance_leaves),
        cmocka_unit_test(an_even_lattice_leaves_no_voids_and_strings_leave_many),
        cmocka_unit_test(spokes_about_centres_are_radial_and_rings_are_not),
        cmocka_unit_test(long_thick_plates_among_small_flakes_are_found),
        cmocka_unit_test(a_field_without_graphite_or_scale_says_why),
        cmocka_unit_test(an_allocation_that_fails_is_reported_and_nothing_is_kept),
        cmocka_unit_test(each_letter_follows_from_the_figure_that_stands_out),
        cmocka_unit_test(thin_evidence_gives_no_letter_but_a_reason),
        cmocka_unit_test(fields_that_do_not_agree_weaken_the_belief),
        cmocka_unit_test(the_designation_wants_form_letter_and_size),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
