/* test_published_nodularity.c - what each named method rates and credits, the defaults of the
 * sampling and the area of the classic field, against refs/nodularity_rules.csv,
 * specimen_rules.csv, field_sizes.csv. */
#include "keelblock/specimen.h"
#include "refs_table.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* Figures of a field, 1 um a pixel, that holds one counting particle of 100 um2. */
static struct kb_field_figures field_of_one(double shape, double feret) {
    enum { SIDE = 100 };
    static uint8_t label[SIDE * SIDE];
    struct kb_phase_map map = {.label = {SIDE, SIDE, SIDE, label}};
    static struct kb_particle particle; /* static: figures keep a view of the particles */
    particle = (struct kb_particle){.state = KB_COUNTS, .area_px2 = 100.0, .shape_factor = shape};
    particle.feret_max_px = feret;
    particle.box = (struct kb_rect){40, 40, 12, 12};
    static struct kb_particles particles = {.particle = &particle, .count = 1, .px_um = 1.0};
    map.figures.pixels[KB_MATRIX] = SIDE * SIDE;
    memset(label, KB_MATRIX, sizeof label);
    struct kb_field_figures figures;
    kb_field_figures_make(&map, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 1.0, &particles, &figures);
    return figures;
}

static enum kb_nodularity_method method_named(const char *name) {
    int method = 0;
    while (method < KB_NOD_METHODS &&
           strcmp(kb_nodularity_name((enum kb_nodularity_method)method), name) != 0) {
        method++;
    }
    assert_int_not_equal(method, KB_NOD_METHODS);
    return (enum kb_nodularity_method)method;
}

/* Credit that the method gives at the row's least shape factor. */
static void expect_credit(const struct table *table, size_t row, double shape, double wanted) {
    enum kb_nodularity_method method = method_named(table_text(table, row, "method"));
    struct kb_field_figures field = field_of_one(shape, 20.0);
    table_expect(table, row, "credit", field.nodular_um2[method] / field.graphite_um2[method],
                 wanted, 1e-12);
}

static void each_method_credits_by_its_own_shape_factor(void **state) {
    (void)state;
    struct table table;
    table_read("nodularity_rules.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        double shape = table_number(&table, row, "shape_factor_least");
        expect_credit(&table, row, shape, table_number(&table, row, "credit"));
        if (shape > 0.0) { /* just below, the next row of the same method holds */
            assert_string_equal(table_text(&table, row, "method"),
                                table_text(&table, row + 1, "method"));
            expect_credit(&table, row, shape - 1e-9, table_number(&table, row + 1, "credit"));
        }
    }
    table_release(&table);
}

static void each_method_rates_from_its_own_least_feret(void **state) {
    (void)state;
    struct table table;
    table_read("nodularity_rules.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        enum kb_nodularity_method method = method_named(table_text(&table, row, "method"));
        double least = table_number(&table, row, "feret_um_least");
        struct kb_field_figures at = field_of_one(0.9, least > 0.0 ? least : 5.0);
        table_expect(&table, row, "rated area", at.graphite_um2[method], 100.0, 1e-12);
        if (least > 0.0) {
            struct kb_field_figures below = field_of_one(0.9, least - 1e-9);
            table_expect(&table, row, "rated area", below.graphite_um2[method], 0.0, 0.0);
        }
    }
    table_release(&table);
}

static void an_ellipse_has_the_shape_factor_of_its_axes(void **state) {
    (void)state;
    /* facts of geometry: rho = b/a for an ellipse, so b/a = 0.6 is just a nodule; 2/pi for a
     * square, which is one too; 0.5513 for a triangle, which is none but an intermediate of ISO
     * 16112 */
    struct kb_field_figures ellipse = field_of_one(0.6, 20.0);
    struct kb_field_figures square = field_of_one(2.0 / 3.14159265358979323846, 20.0);
    struct kb_field_figures triangle = field_of_one(sqrt(3.0) / 3.14159265358979323846, 20.0);
    assert_int_equal(ellipse.nodules, 1);
    assert_int_equal(square.nodules, 1);
    assert_int_equal(triangle.nodules, 0);
    assert_true(square.nodular_um2[KB_NOD_ISO16112] == 100.0);
    assert_true(triangle.nodular_um2[KB_NOD_ISO16112] == 50.0);
}

static void defaults_are_the_published_sampling(void **state) {
    (void)state;
    struct table table;
    struct kb_specimen_params params = kb_specimen_params_default();
    table_read("specimen_rules.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        const char *rule = table_text(&table, row, "rule");
        double value = table_number(&table, row, "value");
        if (strcmp(rule, "min_fields") == 0) {
            table_expect(&table, row, rule, (double)params.min_fields, value, 0.0);
        } else if (strcmp(rule, "min_particles") == 0) {
            table_expect(&table, row, rule, (double)params.min_particles, value, 0.0);
        } else if (strcmp(rule, "nodularity_step_percent") == 0) {
            table_expect(&table, row, rule, params.want_nodularity_points, value, 0.0);
        } else if (strcmp(rule, "min_area_mm2") == 0) {
            table_expect(&table, row, rule, params.min_area_mm2, value, 0.0);
        } else {
            /* the next tests; what is asked of compacted iron and of small particles stands in
             * tests/specimen */
            assert_true(strstr(rule, "nodularity") != NULL || strstr(rule, "small") != NULL);
        }
    }
    table_release(&table);
}

/* Whether a specimen of this nodularity is remarked as not spheroidal. */
static bool remarked(double nodularity_percent) {
    struct kb_field_figures field[2] = {field_of_one(0.9, 20.0), field_of_one(0.9, 20.0)};
    for (int i = 0; i < 2; i++) {
        field[i].nodular_um2[KB_NOD_ISO945_4] = nodularity_percent;
        field[i].nodular_framed_um2 = nodularity_percent;
        field[i].graphite_framed_um2 = 100.0;
    }
    struct kb_specimen_params params = kb_specimen_params_default();
    struct kb_specimen specimen;
    assert_int_equal(kb_specimen_run(field, 2, KB_DUCTILE_IRON, &params, &specimen, NULL), KB_OK);
    bool found = kb_findings_has(&specimen.findings, "not-spheroidal");
    kb_specimen_release(&specimen);
    return found;
}

static void below_the_published_nodularity_the_method_is_questioned(void **state) {
    (void)state;
    struct table table;
    table_read("specimen_rules.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        if (strcmp(table_text(&table, row, "rule"), "least_nodularity_percent") == 0) {
            double least = table_number(&table, row, "value");
            assert_false(remarked(least));
            assert_true(remarked(least - 0.1));
        }
    }
    table_release(&table);
}

static void the_classic_print_has_its_published_area(void **state) {
    (void)state;
    struct table table;
    table_read("field_sizes.csv", &table);
    for (size_t row = 0; row < table.rows; row++) {
        double scale = 1e3 / table_number(&table, row, "magnification"); /* um a mm of print */
        double fields = table_number(&table, row, "fields");
        int32_t width = (int32_t)table_number(&table, row, "print_width_mm");
        int32_t height = (int32_t)table_number(&table, row, "print_height_mm");
        struct kb_phase_map map = {.label = {width, height, (size_t)width, NULL}};
        map.figures.pixels[KB_MATRIX] = (uint64_t)width * (uint64_t)height;
        struct kb_field_figures figures;
        kb_field_figures_make(&map, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, scale, NULL, &figures);
        table_expect(&table, row, "area_mm2", fields * figures.area_mm2,
                     table_number(&table, row, "area_mm2"), 1e-6);
    }
    table_release(&table);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_method_credits_by_its_own_shape_factor),
        cmocka_unit_test(each_method_rates_from_its_own_least_feret),
        cmocka_unit_test(an_ellipse_has_the_shape_factor_of_its_axes),
        cmocka_unit_test(defaults_are_the_published_sampling),
        cmocka_unit_test(below_the_published_nodularity_the_method_is_questioned),
        cmocka_unit_test(the_classic_print_has_its_published_area),
    };
    return cmocka_run_group_tests_name("published nodularity", tests, NULL, NULL);
}
