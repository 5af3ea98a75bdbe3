/* test_segment_laws.c - what must hold for any picture: mirroring, turning, tone, cropping,
 * exclusions, thresholds by hand, threads, memory, and pictures of almost nothing. */
#include "drawn_field.h"
#include "fail_alloc.h"
#include "kb_cmocka.h"

#include <stdlib.h>
#include <string.h>

static struct drawn_field drawn;

static int draw(void **state) {
    (void)state;
    struct kb_render_params params = kb_render_params_default();
    params.seed = 90210;
    params.width = 520;
    params.height = 390;
    return drawn_field_make(&params, &drawn) ? 0 : -1;
}

static int release(void **state) {
    (void)state;
    drawn_field_release(&drawn);
    return 0;
}

static struct kb_segmentation_params usual(void) {
    return kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT);
}

static void segment(const struct kb_field *field, const struct kb_segmentation_params *params,
                    struct kb_phase_map *map) {
    struct kb_err err;
    if (kb_segment(field, params, map, &err) != KB_OK) {
        fail_msg("%s", err.text);
    }
}

/* A field of the same scale with other pixels; release with kb_image_release(&field.grey). */
static struct kb_field field_like(int32_t width, int32_t height) {
    struct kb_field field = drawn.field;
    assert_int_equal(kb_image_alloc(width, height, &field.grey, NULL), KB_OK);
    return field;
}

static double share_of_equal(const struct kb_image *a, const struct kb_image *b) {
    double equal = 0.0;
    for (int32_t y = 0; y < a->height; y++) {
        for (int32_t x = 0; x < a->width; x++) {
            equal += kb_row(a, y)[x] == kb_row(b, y)[x];
        }
    }
    return equal / (double)kb_image_pixels(a);
}

static void pixel_counts_add_up_to_the_labels(void **state) {
    (void)state;
    struct kb_segmentation_params params = usual();
    struct kb_phase_map map;
    segment(&drawn.field, &params, &map);
    uint64_t seen[256] = {0};
    kb_histogram(&map.label, NULL, NULL, seen);
    uint64_t sum = 0;
    for (int i = 0; i < KB_PHASES; i++) {
        assert_int_equal(seen[i], map.figures.pixels[i]);
        sum += seen[i];
    }
    assert_int_equal(sum, kb_image_pixels(&map.label));
    kb_phase_map_release(&map);
}

/* A turned picture is the same specimen. Pixels may differ where rims are settled along rows before
 * columns, and in the rounding of the evened light. */
static void mirrored_and_turned_pictures_give_the_same_phases(void **state) {
    (void)state;
    const struct kb_image *grey = &drawn.field.grey;
    struct kb_segmentation_params params = usual();
    struct kb_phase_map plain, other;
    segment(&drawn.field, &params, &plain);
    struct kb_field mirror = field_like(grey->width, grey->height);
    struct kb_field turned = field_like(grey->height, grey->width);
    for (int32_t y = 0; y < grey->height; y++) {
        for (int32_t x = 0; x < grey->width; x++) {
            kb_row(&mirror.grey, y)[grey->width - 1 - x] = kb_row(grey, y)[x];
            kb_row(&turned.grey, x)[grey->height - 1 - y] = kb_row(grey, y)[x];
        }
    }
    for (int i = 0; i < 2; i++) {
        struct kb_field *field = i == 0 ? &mirror : &turned;
        segment(field, &params, &other);
        for (int p = KB_GRAPHITE; p <= KB_PEARLITE; p++) {
            assert_near(label_share(&other, (enum kb_phase)p),
                        label_share(&plain, (enum kb_phase)p), 0.0005);
        }
        kb_phase_map_release(&other);
        kb_image_release(&field->grey);
    }
    kb_phase_map_release(&plain);
}

static void the_cameras_gain_and_offset_do_not_matter(void **state) {
    (void)state;
    const struct kb_image *grey = &drawn.field.grey;
    const double tone[][2] = {{0.5, 0.0}, {0.4, 90.0}, {0.8, 20.0}, {1.15, 0.0}};
    struct kb_segmentation_params params = usual();
    struct kb_phase_map plain, other;
    segment(&drawn.field, &params, &plain);
    for (int i = 0; i < 4; i++) {
        struct kb_field field = field_like(grey->width, grey->height);
        for (int32_t y = 0; y < grey->height; y++) {
            for (int32_t x = 0; x < grey->width; x++) {
                double level = tone[i][0] * kb_row(grey, y)[x] + tone[i][1] + 0.5;
                kb_row(&field.grey, y)[x] = (uint8_t)fmin(level, 255.0);
            }
        }
        segment(&field, &params, &other);
        assert_near(label_share(&other, KB_GRAPHITE), label_share(&plain, KB_GRAPHITE), 0.003);
        assert_near(label_share(&other, KB_PEARLITE), label_share(&plain, KB_PEARLITE), 0.01);
        kb_phase_map_release(&other);
        kb_image_release(&field.grey);
    }
    kb_phase_map_release(&plain);
}

static void a_part_of_the_picture_is_labelled_as_in_the_whole(void **state) {
    (void)state;
    struct kb_segmentation_params params = usual();
    struct kb_phase_map whole, part;
    segment(&drawn.field, &params, &whole);
    struct kb_field crop = drawn.field;
    crop.grey.width = 400;
    crop.grey.height = 300;
    segment(&crop, &params, &part);
    struct kb_image same = whole.label;
    same.width = 400;
    same.height = 300;
    assert_true(share_of_equal(&part.label, &same) > 0.985);
    kb_phase_map_release(&whole);
    kb_phase_map_release(&part);
}

static void exclusions_are_left_out_of_everything(void **state) {
    (void)state;
    const struct kb_image *grey = &drawn.field.grey;
    struct kb_field field = field_like(grey->width, grey->height);
    for (int32_t y = 0; y < grey->height; y++) {
        memcpy(kb_row(&field.grey, y), kb_row(grey, y), (size_t)grey->width);
        if (y >= 340) { /* a data bar, glaring white */
            memset(kb_row(&field.grey, y), y % 7 ? 255 : 0, (size_t)grey->width);
        }
    }
    struct kb_rect bar = {-20, 340, 5000, 5000}; /* reaches out of the picture on purpose */
    struct kb_segmentation_params params = usual();
    params.exclusion = &bar;
    params.exclusions = 1;
    struct kb_phase_map with, without;
    segment(&field, &params, &with);
    struct kb_field crop = drawn.field;
    crop.grey.height = 340;
    params.exclusions = 0;
    segment(&crop, &params, &without);
    assert_int_equal(with.figures.pixels[KB_EXCLUDED], 520 * 50);
    assert_near(label_share(&with, KB_GRAPHITE), label_share(&without, KB_GRAPHITE), 0.003);
    assert_near(label_share(&with, KB_PEARLITE), label_share(&without, KB_PEARLITE), 0.006);
    kb_phase_map_release(&with);
    kb_phase_map_release(&without);
    kb_image_release(&field.grey);
}

static void a_mask_leaves_out_what_a_rectangle_does(void **state) {
    (void)state;
    struct kb_image outside;
    struct kb_rect rect = {100, 50, 200, 120};
    struct kb_segmentation_params params = usual();
    struct kb_phase_map by_rect, by_mask;
    assert_int_equal(kb_image_alloc(520, 390, &outside, NULL), KB_OK);
    kb_image_fill(&outside, 0);
    for (int32_t y = rect.y; y < rect.y + rect.height; y++) {
        memset(kb_row(&outside, y) + rect.x, 3, (size_t)rect.width);
    }
    params.outside = &outside;
    segment(&drawn.field, &params, &by_mask);
    params.outside = NULL;
    params.exclusion = &rect;
    params.exclusions = 1;
    segment(&drawn.field, &params, &by_rect);
    assert_true(share_of_equal(&by_mask.label, &by_rect.label) == 1.0);
    kb_phase_map_release(&by_mask);
    kb_phase_map_release(&by_rect);
    outside.width--;
    params.outside = &outside;
    assert_int_equal(kb_segment(&drawn.field, &params, &by_mask, NULL), KB_E_USAGE);
    outside.width++;
    kb_image_release(&outside);
}

static void an_exclusion_of_everything_is_refused(void **state) {
    (void)state;
    struct kb_rect all = {0, 0, 520, 390};
    struct kb_segmentation_params params = usual();
    struct kb_phase_map map;
    params.exclusion = &all;
    params.exclusions = 1;
    assert_int_equal(kb_segment(&drawn.field, &params, &map, NULL), KB_E_USAGE);
    assert_null(map.label.px);
}

/* Thresholds are in the file's grey: here 12 bits, level = grey * 255 / 4095. Steps of flat grey,
 * large enough that no cleaning touches them. */
static void thresholds_by_hand_cut_exactly_where_they_say(void **state) {
    (void)state;
    struct kb_field field = field_like(320, 64);
    const uint8_t level[5] = {40, 79, 80, 160, 161};
    for (int32_t y = 0; y < 64; y++) {
        for (int32_t x = 0; x < 320; x++) {
            kb_row(&field.grey, y)[x] = level[x / 64];
        }
    }
    field.grey_low = 0.0;
    field.grey_high = 4095.0;
    struct kb_segmentation_params params = usual();
    params.even_light = false;
    params.dark_threshold = 79.0 * 4095.0 / 255.0;
    params.bright_threshold = 161.0 * 4095.0 / 255.0;
    struct kb_phase_map map;
    segment(&field, &params, &map);
    const enum kb_phase expected[5] = {KB_GRAPHITE, KB_GRAPHITE, KB_PEARLITE, KB_PEARLITE,
                                       KB_FERRITE};
    for (int i = 0; i < 5; i++) {
        assert_int_equal(kb_row(&map.label, 32)[64 * i + 32], expected[i]);
    }
    assert_int_equal(map.figures.origin[0], KB_THRESHOLD_BY_HAND);
    assert_int_equal(map.figures.origin[1], KB_THRESHOLD_BY_HAND);
    assert_near(map.figures.threshold[0], params.dark_threshold, 0.0);
    assert_near(map.figures.threshold[1], params.bright_threshold, 0.0);
    assert_true(kb_findings_has(&map.findings, "threshold-by-hand"));
    kb_phase_map_release(&map);
    kb_image_release(&field.grey);
}

static void one_threshold_by_hand_leaves_the_other_to_be_found(void **state) {
    (void)state;
    struct kb_segmentation_params params = usual();
    struct kb_phase_map map;
    for (int i = 0; i < 3; i++) {
        params.dark_threshold = 60.0 + 60.0 * i; /* the last is above the threshold found */
        segment(&drawn.field, &params, &map);
        assert_near(map.figures.threshold[0], params.dark_threshold, 0.0);
        assert_int_equal(map.figures.origin[1], KB_THRESHOLD_FOUND);
        assert_true(map.figures.threshold[1] > map.figures.threshold[0]);
        kb_phase_map_release(&map);
    }
}

static void a_picture_of_one_grey_is_unfit(void **state) {
    (void)state;
    const int32_t size[][2] = {{1, 1}, {7, 1}, {200, 150}};
    struct kb_segmentation_params params = usual();
    struct kb_phase_map map;
    struct kb_err err;
    for (int i = 0; i < 3; i++) {
        struct kb_field field = field_like(size[i][0], size[i][1]);
        kb_image_fill(&field.grey, 128);
        assert_int_equal(kb_segment(&field, &params, &map, &err), KB_E_UNFIT);
        assert_null(map.label.px);
        assert_int_equal(map.findings.count, 0);
        kb_image_release(&field.grey);
    }
}

/* Whatever the size and the parameters: a result or a refusal, never a crash. */
static void tiny_and_narrow_pictures_do_no_harm(void **state) {
    (void)state;
    const int32_t size[][2] = {{2, 2}, {1, 40}, {40, 1}, {3, 3}, {17, 5}, {64, 2}};
    const double um[] = {0.0, 2.0, 900.0};
    for (int i = 0; i < 6; i++) {
        struct kb_field field = field_like(size[i][0], size[i][1]);
        for (int32_t y = 0; y < field.grey.height; y++) {
            for (int32_t x = 0; x < field.grey.width; x++) {
                kb_row(&field.grey, y)[x] = (uint8_t)((x * 91 + y * 57) % 256);
            }
        }
        for (int m = 0; m < 4 * 3 * 3; m++) {
            struct kb_segmentation_params params = kb_segmentation_params_default(
                (enum kb_material)(m % 4), (enum kb_contrast)(m / 4 % 3));
            struct kb_phase_map map;
            params.clean_um = params.line_um = params.colony_um = um[m / 12];
            enum kb_status status = kb_segment(&field, &params, &map, NULL);
            assert_true(status == KB_OK || status == KB_E_UNFIT);
            kb_phase_map_release(&map);
        }
        kb_image_release(&field.grey);
    }
}

static void every_failed_allocation_is_reported_and_nothing_leaks(void **state) {
    (void)state;
    struct kb_field field = drawn.field;
    field.grey.width = 200;
    field.grey.height = 150;
    field.px_um = 0.0; /* so that a finding is added */
    struct kb_segmentation_params params = usual();
    struct kb_phase_map map;
    size_t n = 1;
    for (;; n++) {
        fail_alloc_at(n);
        enum kb_status status = kb_segment(&field, &params, &map, NULL);
        bool happened = fail_alloc_happened() != 0;
        assert_int_equal(status, happened ? KB_E_MEMORY : KB_OK);
        kb_phase_map_release(&map);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
        if (!happened) {
            break;
        }
    }
    assert_true(n > 10);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pixel_counts_add_up_to_the_labels),
        cmocka_unit_test(mirrored_and_turned_pictures_give_the_same_phases),
        cmocka_unit_test(the_cameras_gain_and_offset_do_not_matter),
        cmocka_unit_test(a_part_of_the_picture_is_labelled_as_in_the_whole),
        cmocka_unit_test(exclusions_are_left_out_of_everything),
        cmocka_unit_test(a_mask_leaves_out_what_a_rectangle_does),
        cmocka_unit_test(an_exclusion_of_everything_is_refused),
        cmocka_unit_test(thresholds_by_hand_cut_exactly_where_they_say),
        cmocka_unit_test(one_threshold_by_hand_leaves_the_other_to_be_found),
        cmocka_unit_test(a_picture_of_one_grey_is_unfit),
        cmocka_unit_test(tiny_and_narrow_pictures_do_no_harm),
        cmocka_unit_test(every_failed_allocation_is_reported_and_nothing_leaks),
    };
    return cmocka_run_group_tests(tests, draw, release);
}
