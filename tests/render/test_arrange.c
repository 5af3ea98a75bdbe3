/* test_arrange.c - flakes drawn in distributions A to E lie as the letter says.
 *
 * Truth: the strokes of the scene itself, their chords and areas; what a letter means is said at
 * the top of arrange.c. Whether the product sees it: tests/specimen/test_flake_letters.c.
 */
#include "kb_cmocka.h"

#include "render_priv.h"

#include <string.h>

static const double pi = 3.14159265358979323846;

static struct kb_render_params flakes(enum kb_render_distribution letter, uint64_t seed) {
    struct kb_render_params params = kb_render_params_default();
    params.graphite = KB_RENDER_FLAKES;
    params.distribution = letter;
    params.seed = seed;
    return params;
}

static void scene_of(enum kb_render_distribution letter, uint64_t seed, struct kb_scene *scene) {
    const struct kb_render_params params = flakes(letter, seed);
    assert_int_equal(kb_scene_make(&params, scene, NULL), KB_OK);
    assert_true(scene->count > 20);
}

static double area_of(const struct kb_scene *scene, size_t i) {
    struct kb_point hull[KB_HULL_ROOM];
    struct kb_outline_measures m;
    kb_outline_measure(&scene->point[scene->graphite[i].first_point], KB_OUTLINE_POINTS, hull, &m);
    return m.area;
}

static struct kb_point chord(const struct kb_scene *scene, size_t i) {
    const struct kb_graphite *g = &scene->graphite[i];
    const struct kb_disc *a = &scene->disc[g->first_disc];
    const struct kb_disc *b = &scene->disc[g->first_disc + g->discs - 1];
    return (struct kb_point){b->x - a->x, b->y - a->y};
}

/* |mean of exp(2 i p)| over the chords. */
static double order(const struct kb_scene *scene) {
    double cosine = 0.0, sine = 0.0;
    for (size_t i = 0; i < scene->count; i++) {
        const struct kb_point d = chord(scene, i);
        const double turn = 2.0 * atan2(d.y, d.x);
        cosine += cos(turn);
        sine += sin(turn);
    }
    return hypot(cosine, sine) / (double)scene->count;
}

static void only_distribution_e_has_a_direction(void **state) {
    (void)state;
    for (int letter = KB_RENDER_A; letter <= KB_RENDER_E; letter++) {
        struct kb_scene scene;
        scene_of((enum kb_render_distribution)letter, 31, &scene);
        if (letter == KB_RENDER_E) {
            assert_true(order(&scene) > 0.7);
        } else { /* by chance 1 / sqrt(n), thrice that is rare */
            assert_true(order(&scene) < 3.0 / sqrt((double)scene.count) + 0.1);
        }
        kb_scene_release(&scene);
    }
}

static void kish_is_few_plates_with_much_of_the_graphite(void **state) {
    (void)state;
    struct kb_scene scene;
    scene_of(KB_RENDER_C, 5, &scene);
    double plates = 0.0, all = 0.0;
    size_t count = 0;
    for (size_t i = 0; i < scene.count; i++) {
        const double area = area_of(&scene, i);
        all += area;
        if (scene.graphite[i].shape == KB_SHAPE_PLATE) {
            plates += area;
            count++;
        }
    }
    assert_true(count * 15 < scene.count);
    assert_true(plates > 0.2 * all && plates < 0.8 * all);
    kb_scene_release(&scene);
}

/* Share of boxes of so many um without the middle of a flake. */
static double empty_boxes(const struct kb_scene *scene, double side) {
    const int columns = (int)(scene->width / side), rows = (int)(scene->height / side);
    size_t empty = 0;
    for (int row = 0; row < rows; row++) {
        for (int column = 0; column < columns; column++) {
            bool hit = false;
            for (size_t i = 0; i < scene->count && !hit; i++) {
                const struct kb_graphite *g = &scene->graphite[i];
                hit = (int)floor(g->x / side) == column && (int)floor(g->y / side) == row;
            }
            empty += !hit;
        }
    }
    return (double)empty / (columns * rows);
}

static void flakes_in_rosettes_and_between_dendrites_leave_places_empty(void **state) {
    (void)state;
    for (int letter = KB_RENDER_A; letter <= KB_RENDER_E; letter++) {
        struct kb_scene scene;
        scene_of((enum kb_render_distribution)letter, 9, &scene);
        /* boxes that hold two flakes on average: by chance exp(-2) of them are empty */
        const double frame = scene.width * scene.height;
        double inside = 0.0;
        for (size_t k = 0; k < scene.count; k++) {
            const struct kb_graphite *g = &scene.graphite[k];
            inside += g->x >= 0.0 && g->y >= 0.0 && g->x < scene.width && g->y < scene.height;
        }
        const double empty = empty_boxes(&scene, sqrt(2.0 * frame / inside));
        const bool even = letter == KB_RENDER_A || letter == KB_RENDER_C;
        assert_true(even ? empty < 0.75 * exp(-2.0) : empty > exp(-2.0));
        kb_scene_release(&scene);
    }
}

static void every_distribution_holds_about_the_graphite_asked_for(void **state) {
    (void)state; /* what finds no place is left out, and plates come by chance */
    for (int letter = KB_RENDER_A; letter <= KB_RENDER_E; letter++) {
        double share = 0.0;
        for (uint64_t seed = 1; seed <= 3; seed++) {
            struct kb_render render;
            struct kb_render_params params = flakes((enum kb_render_distribution)letter, seed);
            params.width = 800;
            params.height = 600;
            params.bulls_eye = false;
            assert_int_equal(kb_render_draw(&params, &render, NULL), KB_OK);
            share += render.truth.graphite / 3.0;
            kb_render_release(&render);
        }
        assert_true(share > 0.06 && share < 0.14); /* 0.11 asked for */
    }
}

static void the_same_seed_draws_the_same_flakes(void **state) {
    (void)state;
    for (int letter = KB_RENDER_A; letter <= KB_RENDER_E; letter++) {
        struct kb_scene a, b;
        scene_of((enum kb_render_distribution)letter, 77, &a);
        scene_of((enum kb_render_distribution)letter, 77, &b);
        assert_int_equal(a.points, b.points);
        assert_memory_equal(a.point, b.point, a.points * sizeof *a.point);
        kb_scene_release(&a);
        kb_scene_release(&b);
    }
}

static void a_turned_form_points_where_it_should_and_keeps_its_area(void **state) {
    (void)state;
    struct kb_random random = kb_random_start(3, KB_CHANCE_OUTLINE, 0);
    struct kb_form form, turned;
    struct kb_point hull[KB_HULL_ROOM];
    struct kb_outline_measures before, after;
    kb_form_draw(&random, KB_SHAPE_SLIVER, 10.0, &form);
    kb_outline_measure(form.point, KB_OUTLINE_POINTS, hull, &before);
    for (int i = 0; i < 8; i++) {
        const double turns = i / 8.0;
        kb_form_turn(&form, turns, &turned);
        kb_outline_measure(turned.point, KB_OUTLINE_POINTS, hull, &after);
        const struct kb_disc *a = &turned.disc[0], *b = &turned.disc[turned.discs - 1];
        const double found = atan2(b->y - a->y, b->x - a->x) / (2.0 * pi);
        assert_near(found - turns - floor(found - turns + 0.5), 0.0, 1e-7);
        assert_near(after.area, before.area, 1e-9 * before.area);
        assert_near(after.feret_max, before.feret_max, 1e-9 * before.feret_max);
    }
}

static void a_letter_that_is_none_is_refused(void **state) {
    (void)state;
    struct kb_render_params params = flakes((enum kb_render_distribution)5, 1);
    struct kb_err err = {.code = KB_OK};
    assert_int_equal(kb_render_params_check(&params, &err), KB_E_USAGE);
    assert_string_equal(err.subject, "distribution");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(only_distribution_e_has_a_direction),
        cmocka_unit_test(kish_is_few_plates_with_much_of_the_graphite),
        cmocka_unit_test(flakes_in_rosettes_and_between_dendrites_leave_places_empty),
        cmocka_unit_test(every_distribution_holds_about_the_graphite_asked_for),
        cmocka_unit_test(the_same_seed_draws_the_same_flakes),
        cmocka_unit_test(a_turned_form_points_where_it_should_and_keeps_its_area),
        cmocka_unit_test(a_letter_that_is_none_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
