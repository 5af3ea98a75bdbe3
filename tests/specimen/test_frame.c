/* test_frame.c - frame weights against counting every place of the box by hand (brute force), and
 * against a simulated section where the true number is known. */
#include "specimen_priv.h"

#include "seeded.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

enum { WIDTH = 37, HEIGHT = 29 };

static uint8_t pixels[WIDTH * HEIGHT];

static struct kb_phase_map make_map(void) {
    struct kb_phase_map map = {.label = {WIDTH, HEIGHT, WIDTH, pixels}};
    for (int i = 0; i < WIDTH * HEIGHT; i++) {
        pixels[i] = KB_MATRIX;
    }
    return map;
}

static void exclude(struct kb_phase_map *map, int32_t x, int32_t y, int32_t width, int32_t height) {
    for (int32_t row = y; row < y + height; row++) {
        for (int32_t column = x; column < x + width; column++) {
            uint8_t *label = kb_row(&map->label, row) + column;
            map->figures.pixels[KB_EXCLUDED] += *label != KB_EXCLUDED ? 1 : 0;
            *label = KB_EXCLUDED;
        }
    }
}

/* Whether a box at (x, y) touches an excluded pixel, diagonally too. */
static bool touches(int x, int y, int width, int height) {
    for (int row = y - 1; row <= y + height; row++) {
        for (int column = x - 1; column <= x + width; column++) {
            if (pixels[row * WIDTH + column] == KB_EXCLUDED) {
                return true;
            }
        }
    }
    return false;
}

static int places(int width, int height) {
    int count = 0;
    for (int y = 1; y + height < HEIGHT; y++) {
        for (int x = 1; x + width < WIDTH; x++) {
            count += touches(x, y, width, height) ? 0 : 1;
        }
    }
    return count;
}

static void expect_weights(const struct kb_phase_map *map) {
    struct kb_frame frame;
    kb_frame_make(map, &frame);
    assert_false(frame.ragged);
    double measured = WIDTH * HEIGHT - (double)map->figures.pixels[KB_EXCLUDED];
    for (int height = 1; height <= 9; height += 2) {
        for (int width = 1; width <= 9; width++) {
            double wanted = fmax(measured / places(width, height), 1.0);
            double found = kb_frame_weight(&frame, width, height);
            if (fabs(found - wanted) > 1e-12 * wanted) {
                fail_msg("box %d x %d: weight %.15g, wanted %.15g", width, height, found, wanted);
            }
        }
    }
}

static void a_plain_frame_has_the_weight_of_its_places(void **state) {
    (void)state;
    struct kb_phase_map map = make_map();
    expect_weights(&map);
}

static void a_data_bar_shortens_the_frame(void **state) {
    (void)state;
    struct kb_phase_map map = make_map();
    exclude(&map, 0, HEIGHT - 5, WIDTH, 5);
    expect_weights(&map);
}

static void exclusions_that_overlap_or_meet_are_counted_once(void **state) {
    (void)state;
    struct kb_phase_map map = make_map();
    exclude(&map, 4, 3, 6, 5);
    exclude(&map, 8, 6, 7, 4);
    exclude(&map, 20, 20, 3, 3);
    exclude(&map, 24, 18, 2, 6);
    exclude(&map, 0, 0, 2, 9);
    expect_weights(&map);
}

static void a_ragged_exclusion_falls_back_to_the_mean(void **state) {
    (void)state;
    struct kb_phase_map map = make_map();
    for (int i = 0; i < 20; i++) { /* stairs: no two rows alike, two runs a row */
        exclude(&map, 1 + i % 3, 2 + i, 1 + i % 2, 1);
        exclude(&map, 20 + i % 5, 2 + i, 1 + i % 3, 1);
    }
    struct kb_frame frame;
    kb_frame_make(&map, &frame);
    assert_true(frame.ragged);
    double weight = kb_frame_weight(&frame, 4, 4);
    assert_true(fabs(weight - (double)(WIDTH * HEIGHT) / ((WIDTH - 5) * (HEIGHT - 5))) < 1e-12);
}

static void a_particle_as_large_as_the_field_stands_for_itself(void **state) {
    (void)state;
    struct kb_phase_map map = make_map();
    struct kb_frame frame;
    kb_frame_make(&map, &frame);
    assert_true(kb_frame_weight(&frame, WIDTH, HEIGHT) >= 1.0);
    assert_true(kb_frame_weight(&frame, WIDTH - 1, 3) >= 1.0);
    exclude(&map, 1, 1, WIDTH - 2, HEIGHT - 2);
    kb_frame_make(&map, &frame);
    assert_true(isfinite(kb_frame_weight(&frame, 3, 3)));
}

/* Boxes thrown at random over a wide section: the weighted number of complete ones a pixel is the
 * density that was thrown, to four standard errors; the plain number is too low by far. */
static void weighted_counts_find_the_density_that_was_thrown(void **state) {
    (void)state;
    struct kb_phase_map map = make_map();
    struct kb_frame frame;
    kb_frame_make(&map, &frame);
    struct random random = {.state = 5};
    const int throws = 200000;
    const int margin = 12;
    double weighted = 0.0;
    double plain = 0.0;
    double squares = 0.0;
    for (int i = 0; i < throws; i++) {
        int side = random_unit(&random) < 0.5 ? 4 : 11;
        int x = (int)(random_unit(&random) * (WIDTH + margin)) - margin;
        int y = (int)(random_unit(&random) * (HEIGHT + margin)) - margin;
        if (x >= 1 && y >= 1 && x + side < WIDTH && y + side < HEIGHT) {
            double weight = kb_frame_weight(&frame, side, side);
            weighted += weight;
            squares += weight * weight;
            plain += 1.0;
        }
    }
    double thrown = (double)throws / ((WIDTH + margin) * (HEIGHT + margin)) * (WIDTH * HEIGHT);
    assert_true(fabs(weighted - thrown) < 4.0 * sqrt(squares));
    assert_true(plain < 0.8 * thrown);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plain_frame_has_the_weight_of_its_places),
        cmocka_unit_test(a_data_bar_shortens_the_frame),
        cmocka_unit_test(exclusions_that_overlap_or_meet_are_counted_once),
        cmocka_unit_test(a_ragged_exclusion_falls_back_to_the_mean),
        cmocka_unit_test(a_particle_as_large_as_the_field_stands_for_itself),
        cmocka_unit_test(weighted_counts_find_the_density_that_was_thrown),
    };
    return cmocka_run_group_tests_name("frame", tests, NULL, NULL);
}
