/* test_spacing.c - test lines and what follows from them, on maps whose surface is known. */
#include "made_fields.h"
#include "specimen_priv.h"

#include "kb_cmocka.h"

#include <string.h>

enum { SIDE = 120 };

static uint8_t label[SIDE * SIDE];

static struct kb_image image(void) {
    return (struct kb_image){SIDE, SIDE, SIDE, label};
}

/* Upright stripes, `wide` pixels of graphite in each `period`. */
static void draw_stripes(int wide, int period) {
    for (int y = 0; y < SIDE; y++) {
        for (int x = 0; x < SIDE; x++) {
            label[y * SIDE + x] = x % period < wide ? KB_GRAPHITE : KB_FERRITE;
        }
    }
}

static void turn_a_quarter(void) {
    uint8_t turned[SIDE * SIDE];
    for (int y = 0; y < SIDE; y++) {
        for (int x = 0; x < SIDE; x++) {
            turned[x * SIDE + (SIDE - 1 - y)] = label[y * SIDE + x];
        }
    }
    memcpy(label, turned, sizeof turned);
}

static void stripes_are_crossed_by_rows_and_not_by_columns(void **state) {
    (void)state;
    struct kb_test_lines lines[KB_LINE_DIRECTIONS];
    struct kb_image map = image();
    draw_stripes(4, 12);
    kb_test_lines_run(&map, 0.5, lines);
    /* ten stripes a row: the first begins at the frame, so 19 edges are crossed */
    assert_int_equal(lines[KB_ALONG_ROWS].crossing, 19 * SIDE);
    assert_int_equal(lines[KB_ALONG_COLUMNS].crossing, 0);
    assert_near(lines[KB_ALONG_ROWS].length_um, 0.5 * SIDE * (SIDE - 1), 1e-9);
    assert_near(lines[KB_ALONG_COLUMNS].length_um, 0.5 * SIDE * (SIDE - 1), 1e-9);
}

static void a_quarter_turn_exchanges_the_directions(void **state) {
    (void)state;
    struct kb_test_lines before[KB_LINE_DIRECTIONS];
    struct kb_test_lines after[KB_LINE_DIRECTIONS];
    struct kb_image map = image();
    draw_stripes(5, 20);
    memset(label, KB_EXCLUDED, 7 * SIDE + 13);
    kb_test_lines_run(&map, 1.0, before);
    turn_a_quarter();
    kb_test_lines_run(&map, 1.0, after);
    for (int i = 0; i < KB_LINE_DIRECTIONS; i++) {
        assert_int_equal(before[i].crossing, after[1 - i].crossing);
        assert_near(before[i].length_um, after[1 - i].length_um, 0.0);
    }
}

static void an_excluded_edge_is_no_surface(void **state) {
    (void)state;
    struct kb_test_lines lines[KB_LINE_DIRECTIONS];
    struct kb_image map = image();
    memset(label, KB_GRAPHITE, sizeof label);
    memset(label, KB_EXCLUDED, 40 * SIDE);
    kb_test_lines_run(&map, 1.0, lines);
    for (int i = 0; i < KB_LINE_DIRECTIONS; i++) {
        assert_int_equal(lines[i].crossing, 0);
    }
    assert_near(lines[KB_ALONG_ROWS].length_um, 80.0 * (SIDE - 1), 0.0);
    assert_near(lines[KB_ALONG_COLUMNS].length_um, 79.0 * SIDE, 0.0);
}

/* The mean over rows and columns of a disc is exact in the limit: 2 diameters each way. */
static void discs_show_their_surface(void **state) {
    (void)state;
    struct kb_test_lines lines[KB_LINE_DIRECTIONS];
    struct kb_image map = image();
    const double radius = 17.3;
    size_t inside = 0;
    for (int y = 0; y < SIDE; y++) {
        for (int x = 0; x < SIDE; x++) {
            double far = hypot(x + 0.5 - 60.2, y + 0.5 - 58.7);
            label[y * SIDE + x] = far <= radius ? KB_GRAPHITE : KB_MATRIX;
            inside += far <= radius ? 1 : 0;
        }
    }
    kb_test_lines_run(&map, 1.0, lines);
    for (int i = 0; i < KB_LINE_DIRECTIONS; i++) {
        assert_near((double)lines[i].crossing, 4.0 * radius, 2.0);
    }
    /* mean intercept of a disc: area over diameter */
    assert_near((double)inside / (0.5 * (double)lines[0].crossing), 1.5707963 * radius, 0.6);
}

/* ---- pooled ---- */

static struct kb_field_figures field_with(double graphite, double length_um, uint64_t crossing) {
    struct kb_field_figures field = made_unetched(graphite, 10, 12);
    for (int i = 0; i < KB_LINE_DIRECTIONS; i++) {
        field.lines[i] = (struct kb_test_lines){length_um, crossing};
    }
    return field;
}

static struct kb_spacing pooled(const struct kb_field_figures *field, size_t count) {
    const struct kb_field_figures *fields[8];
    double top[8];
    double bottom[8];
    struct kb_spacing spacing;
    for (size_t i = 0; i < count; i++) {
        fields[i] = &field[i];
    }
    struct kb_used used = {fields, count, top, bottom};
    kb_spacing_run(&used, &spacing);
    return spacing;
}

static void the_figures_follow_from_intercepts_by_hand(void **state) {
    (void)state;
    /* 20 mm of line with 100 crossings each way: N_L = 100/40 + ... = 2.5 /mm, V_V = 10 % */
    struct kb_field_figures field = field_with(0.10, 20000.0, 100);
    struct kb_spacing spacing = pooled(&field, 1);
    assert_near(spacing.intercepts_per_mm.value, 2.5, 1e-12);
    assert_near(spacing.surface_per_mm.value, 10.0, 1e-12);
    assert_near(spacing.mean_intercept_um.value, 40.0, 1e-9);
    assert_near(spacing.mean_free_path_um.value, 360.0, 1e-9);
    assert_near(spacing.mean_spacing_um.value, 400.0, 1e-9);
    assert_false(spacing.surface_per_mm.has_interval);
}

static void spacing_is_intercept_and_free_path_together(void **state) {
    (void)state;
    const struct kb_field_figures field[] = {field_with(0.10, 20000.0, 100),
                                             field_with(0.14, 20000.0, 130),
                                             field_with(0.08, 15000.0, 60)};
    struct kb_spacing spacing = pooled(field, 3);
    assert_near(spacing.mean_spacing_um.value,
                spacing.mean_intercept_um.value + spacing.mean_free_path_um.value, 1e-9);
    assert_near(spacing.mean_spacing_um.value, 1000.0 / spacing.intercepts_per_mm.value, 1e-9);
    assert_true(spacing.surface_per_mm.has_interval);
    assert_true(spacing.surface_per_mm.lo < spacing.surface_per_mm.value);
}

static void no_graphite_has_no_free_path(void **state) {
    (void)state;
    struct kb_field_figures field = field_with(0.0, 20000.0, 0);
    struct kb_spacing spacing = pooled(&field, 1);
    assert_true(spacing.surface_per_mm.measured);
    assert_near(spacing.surface_per_mm.value, 0.0, 0.0);
    assert_false(spacing.mean_free_path_um.measured);
    assert_non_null(strstr(spacing.mean_free_path_um.why, "no test line"));
}

static void a_specimen_without_scale_says_so(void **state) {
    (void)state;
    struct kb_field_figures field = field_with(0.1, 0.0, 100);
    struct kb_specimen_params params = kb_specimen_params_default();
    struct kb_specimen specimen;
    made_scaleless(&field);
    assert_int_equal(kb_specimen_run(&field, 1, KB_DUCTILE_IRON, &params, &specimen, NULL), KB_OK);
    assert_false(specimen.spacing.mean_spacing_um.measured);
    assert_string_equal(specimen.spacing.mean_spacing_um.why, "pixel size unknown");
    kb_specimen_release(&specimen);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(stripes_are_crossed_by_rows_and_not_by_columns),
        cmocka_unit_test(a_quarter_turn_exchanges_the_directions),
        cmocka_unit_test(an_excluded_edge_is_no_surface),
        cmocka_unit_test(discs_show_their_surface),
        cmocka_unit_test(the_figures_follow_from_intercepts_by_hand),
        cmocka_unit_test(spacing_is_intercept_and_free_path_together),
        cmocka_unit_test(no_graphite_has_no_free_path),
        cmocka_unit_test(a_specimen_without_scale_says_so),
    };
    return cmocka_run_group_tests_name("spacing", tests, NULL, NULL);
}
