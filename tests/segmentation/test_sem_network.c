/* Cementite under secondary electrons: a smooth bar behind a bright rim in a matrix of particles,
 * drawn here so that its area is known. Real micrographs with labels: tests/real.
 */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "sem_priv.h"

#include <math.h>
#include <string.h>

#define PX_UM 0.2
enum { SIDE = 400, BAR_LEFT = 120, BAR_RIGHT = 200 }; /* the bar is a fifth of the field */

static uint32_t chance(uint32_t *state) {
    *state = *state * 1664525u + 1013904223u; /* any generator will do */
    return *state >> 8;
}

/* Triangular noise of standard deviation reach / sqrt(6). */
static int noise(uint32_t *state, int reach) {
    int span = reach + 1;
    return (int)(chance(state) % (uint32_t)span) - (int)(chance(state) % (uint32_t)span);
}

static bool in_bar(int32_t x) {
    return x >= BAR_LEFT && x < BAR_RIGHT;
}

/* Bright particles of 5 pixels, about as many as spheroidite has. */
static void scatter_particles(struct kb_image *grey, bool over_bar, uint32_t *state) {
    for (int i = 0; i < 2500; i++) {
        int32_t x0 = (int32_t)(chance(state) % (SIDE - 8)),
                y0 = (int32_t)(chance(state) % (SIDE - 8));
        bool clear = !in_bar(x0 - 3) && !in_bar(x0 + 8);
        for (int32_t i2 = 0; i2 < 25 && (over_bar || clear); i2++) {
            kb_row(grey, y0 + i2 / 5)[x0 + i2 % 5] = 190;
        }
    }
}

enum kind { BAR, ALL_PARTICLES, ALL_SMOOTH };

static void draw(enum kind kind, struct kb_field *field) {
    uint32_t state = 7;
    *field = (struct kb_field){.px_um = PX_UM, .grey_low = 0.0, .grey_high = 255.0};
    assert_int_equal(kb_image_alloc(SIDE, SIDE, &field->grey, NULL), KB_OK);
    kb_image_fill(&field->grey, 110);
    if (kind != ALL_SMOOTH) {
        scatter_particles(&field->grey, kind == ALL_PARTICLES, &state);
    }
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            uint8_t *px = &kb_row(&field->grey, y)[x];
            bool rim = kind == BAR && (x - BAR_LEFT < 2 || BAR_RIGHT - 1 - x < 2) && in_bar(x);
            int texture = kind == BAR && in_bar(x) ? 0 : kind == ALL_SMOOTH ? 0 : noise(&state, 12);
            *px = (uint8_t)((rim ? 180 : *px) + texture + noise(&state, 5));
        }
    }
}

static struct kb_segmentation_params asked(void) {
    struct kb_segmentation_params p = kb_segmentation_params_default(KB_CARBON_STEEL, KB_SEM);
    p.proeutectoid = KB_PRO_CEMENTITE;
    return p;
}

static double share(const struct kb_phase_map *map, enum kb_phase phase) {
    return (double)map->figures.pixels[phase] / (SIDE * SIDE);
}

static void a_smooth_bar_behind_a_rim_is_measured_as_cementite(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_phase_map map;
    struct kb_segmentation_params params = asked();
    draw(BAR, &field);
    assert_int_equal(kb_segment(&field, &params, &map, NULL), KB_OK);
    assert_true(map.figures.network.found);
    /* The bar with its rim, within a point: half a pixel of either side is 0.25 points. */
    assert_near(share(&map, KB_CEMENTITE), (BAR_RIGHT - BAR_LEFT) / (double)SIDE, 0.01);
    assert_near(share(&map, KB_CEMENTITE) + share(&map, KB_MATRIX), 1.0, 1e-12);
    assert_true(kb_findings_has(&map.findings, "cementite-network"));
    assert_false(kb_findings_has(&map.findings, "single-constituent"));
    kb_phase_map_release(&map);
    kb_image_release(&field.grey);
}

static void the_bar_is_the_same_lying_as_standing(void **state) {
    (void)state;
    struct kb_field field, turned;
    struct kb_phase_map map, other;
    struct kb_segmentation_params params = asked();
    draw(BAR, &field);
    draw(BAR, &turned);
    for (int32_t y = 0; y < SIDE; y++) {
        for (int32_t x = 0; x < SIDE; x++) {
            kb_row(&turned.grey, x)[y] = kb_row(&field.grey, y)[x];
        }
    }
    assert_int_equal(kb_segment(&field, &params, &map, NULL), KB_OK);
    assert_int_equal(kb_segment(&turned, &params, &other, NULL), KB_OK);
    /* Ties in the order of flooding go another way: a pixel here and there along the outline. */
    assert_near(share(&map, KB_CEMENTITE), share(&other, KB_CEMENTITE), 0.002);
    kb_phase_map_release(&map);
    kb_phase_map_release(&other);
    kb_image_release(&field.grey);
    kb_image_release(&turned.grey);
}

static void where_all_is_rough_or_all_is_smooth_nothing_is_found(void **state) {
    (void)state;
    for (int kind = ALL_PARTICLES; kind <= ALL_SMOOTH; kind++) {
        struct kb_field field;
        struct kb_phase_map map;
        struct kb_segmentation_params params = asked();
        draw((enum kind)kind, &field);
        assert_int_equal(kb_segment(&field, &params, &map, NULL), KB_OK);
        assert_false(map.figures.network.found);
        assert_int_equal(map.figures.pixels[KB_CEMENTITE], 0);
        assert_true(kb_findings_has(&map.findings, "single-constituent"));
        kb_phase_map_release(&map);
        kb_image_release(&field.grey);
    }
}

static void pixels_too_coarse_or_unknown_are_not_tried(void **state) {
    (void)state;
    static const double px_um[] = {0.4, 0.0};
    for (size_t i = 0; i < 2; i++) {
        struct kb_field field;
        struct kb_phase_map map;
        struct kb_segmentation_params params = asked();
        draw(BAR, &field);
        field.px_um = px_um[i];
        assert_int_equal(kb_segment(&field, &params, &map, NULL), KB_OK);
        assert_false(map.figures.network.found);
        assert_true(isnan(map.figures.network.stability));
        kb_phase_map_release(&map);
        kb_image_release(&field.grey);
    }
}

static void excluded_pixels_stay_so_and_take_nothing_from_the_rest(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_phase_map map;
    struct kb_segmentation_params params = asked();
    const struct kb_rect strip = {0, SIDE - 60, SIDE, 60};
    draw(BAR, &field);
    for (int32_t y = strip.y; y < SIDE; y++) {
        memset(kb_row(&field.grey, y), 0, SIDE);
    }
    params.exclusion = &strip;
    params.exclusions = 1;
    assert_int_equal(kb_segment(&field, &params, &map, NULL), KB_OK);
    assert_true(map.figures.network.found);
    assert_int_equal(map.figures.pixels[KB_EXCLUDED], 60 * SIDE);
    double left = SIDE * (SIDE - 60.0);
    assert_near((double)map.figures.pixels[KB_CEMENTITE] / left, 0.2, 0.01);
    kb_phase_map_release(&map);
    kb_image_release(&field.grey);
}

/* ---- the parts ----------------------------------------------------------------------------------
 */

static void floods_meet_on_the_crest_between_their_seeds(void **state) {
    (void)state;
    struct kb_image height, region;
    assert_int_equal(kb_image_alloc(60, 20, &height, NULL), KB_OK);
    assert_int_equal(kb_image_alloc(60, 20, &region, NULL), KB_OK);
    kb_image_fill(&height, 5);
    kb_image_fill(&region, 0);
    for (int32_t y = 0; y < 20; y++) {
        kb_row(&height, y)[40] = 100; /* far from the middle between the seeds */
        kb_row(&region, y)[59] = KB_SEM_OUT;
    }
    kb_row(&region, 10)[2] = KB_SEM_NETWORK;
    kb_row(&region, 3)[50] = KB_SEM_REST;
    assert_int_equal(kb_sem_flood(&height, &region, NULL), KB_OK);
    for (int32_t y = 0; y < 20; y++) {
        for (int32_t x = 0; x < 59; x++) {
            if (x != 40) {
                assert_int_equal(kb_row(&region, y)[x], x < 40 ? KB_SEM_NETWORK : KB_SEM_REST);
            }
        }
        assert_int_equal(kb_row(&region, y)[59], KB_SEM_OUT);
    }
    kb_image_release(&height);
    kb_image_release(&region);
}

/* By the definition, pixel by pixel. */
static double rough_by_definition(const struct kb_image *fine, int32_t x, int32_t y, int32_t half,
                                  int cap) {
    double least = 1e9;
    for (int32_t cy = y - half; cy <= y + half; cy++) {
        for (int32_t cx = x - half; cx <= x + half; cx++) {
            double sum = 0.0, count = 0.0;
            for (int32_t v = cy - half; v <= cy + half; v++) {
                for (int32_t u = cx - half; u <= cx + half; u++) {
                    if (u >= 0 && v >= 0 && u < fine->width && v < fine->height) {
                        int value = kb_row(fine, v)[u];
                        sum += value < cap ? value : cap;
                        count += 1.0;
                    }
                }
            }
            bool is = cx >= 0 && cy >= 0 && cx < fine->width && cy < fine->height;
            least = is && sum / count < least ? sum / count : least;
        }
    }
    return least;
}

static void roughness_is_that_of_the_smoothest_window_by_its_definition(void **state) {
    (void)state;
    uint32_t random = 3;
    struct kb_image fine, label;
    assert_int_equal(kb_image_alloc(71, 37, &fine, NULL), KB_OK);
    assert_int_equal(kb_image_alloc(71, 37, &label, NULL), KB_OK);
    kb_image_fill(&label, KB_MATRIX);
    for (int32_t y = 0; y < 37; y++) {
        for (int32_t x = 0; x < 71; x++) {
            kb_row(&fine, y)[x] = (uint8_t)(chance(&random) % 200);
        }
    }
    for (int32_t window = 3; window <= 11; window += 4) {
        struct kb_sem_rough rough;
        assert_int_equal(kb_sem_rough_make(&fine, &label, window, 120, &rough, NULL), KB_OK);
        for (int32_t y = 0; y < 37; y += 3) {
            for (int32_t x = 0; x < 71; x += 5) {
                double is = rough.px[y * 71 + x] / 32.0; /* eighths of a level */
                assert_near(is, rough_by_definition(&fine, x, y, window / 2, 120), 1.0 / 32.0);
            }
        }
        kb_free(rough.px);
    }
    kb_image_release(&fine);
    kb_image_release(&label);
}

static void a_thin_straight_plate_is_found_and_a_round_particle_is_not(void **state) {
    (void)state;
    struct kb_field field = {.px_um = PX_UM, .grey_low = 0.0, .grey_high = 255.0};
    struct kb_phase_map map = {.changes = 0};
    struct kb_image region, plate;
    assert_int_equal(kb_image_alloc(200, 200, &field.grey, NULL), KB_OK);
    assert_int_equal(kb_image_alloc(200, 200, &map.label, NULL), KB_OK);
    assert_int_equal(kb_image_alloc(200, 200, &region, NULL), KB_OK);
    kb_image_fill(&field.grey, 100);
    kb_image_fill(&map.label, KB_MATRIX);
    kb_image_fill(&region, KB_SEM_REST);
    for (int32_t i = 0; i < 90; i++) { /* 18 um long, 0.8 um wide */
        memset(kb_row(&field.grey, 40 + i) + 60 + i / 2, 200, 4);
    }
    for (int32_t y = 150; y < 170; y++) {
        memset(kb_row(&field.grey, y) + 150, 200, 20);
    }
    struct kb_segmentation_params params = asked();
    struct kb_seg seg = {.field = &field, .params = &params, .px_um = PX_UM, .map = &map};
    assert_int_equal(kb_sem_plates(&seg, &region, &plate, NULL), KB_OK);
    double found = 0.0;
    for (int32_t y = 0; y < 200; y++) {
        for (int32_t x = 0; x < 200; x++) {
            found += kb_row(&plate, y)[x];
            assert_true(kb_row(&plate, y)[x] == 0 || x < 120);
        }
    }
    assert_near(found, 4 * 90, 0.3 * 4 * 90); /* smoothing moves either flank by under a pixel */
    kb_image_release(&plate);
    kb_image_release(&region);
    kb_image_release(&map.label);
    kb_image_release(&field.grey);
}

static void every_failed_allocation_is_told_and_leaves_nothing(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_segmentation_params params = asked();
    draw(BAR, &field);
    bool happened = true;
    for (size_t n = 1; happened; n++) {
        struct kb_phase_map map;
        fail_alloc_at(n);
        enum kb_status status = kb_segment(&field, &params, &map, NULL);
        happened = fail_alloc_happened() != 0;
        assert_int_equal(status, happened ? KB_E_MEMORY : KB_OK);
        kb_phase_map_release(&map);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
    kb_image_release(&field.grey);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_smooth_bar_behind_a_rim_is_measured_as_cementite),
        cmocka_unit_test(the_bar_is_the_same_lying_as_standing),
        cmocka_unit_test(where_all_is_rough_or_all_is_smooth_nothing_is_found),
        cmocka_unit_test(pixels_too_coarse_or_unknown_are_not_tried),
        cmocka_unit_test(excluded_pixels_stay_so_and_take_nothing_from_the_rest),
        cmocka_unit_test(floods_meet_on_the_crest_between_their_seeds),
        cmocka_unit_test(roughness_is_that_of_the_smoothest_window_by_its_definition),
        cmocka_unit_test(a_thin_straight_plate_is_found_and_a_round_particle_is_not),
        cmocka_unit_test(every_failed_allocation_is_told_and_leaves_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
