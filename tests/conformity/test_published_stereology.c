/* test_published_stereology.c - unfolding against Saltykov's coefficients (refs/saltykov.csv), the
 * relations between space, plane and line for spheres (refs/spheres.csv), and the bias of the
 * counting rules (refs/frame_rules.csv). */
#include "made_spheres.h"
#include "refs_table.h"
#include "specimen_priv.h"

#include "kb_cmocka.h"

#include <stdlib.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

/* ---- coefficients ---- */

enum { LINEAR = 15, RATIO = 12 };

/* Spheres in class `sphere` that one section in class `section` (both from 0) implies. */
static double coefficient(const double *bound, size_t bins, size_t sphere, size_t section) {
    double kernel[LINEAR * LINEAR];
    double seen[LINEAR] = {0};
    double spheres[LINEAR];
    seen[section] = 1.0;
    kb_unfold_kernel(bound, bins, false, kernel);
    kb_unfold_back(kernel, bins, seen, spheres);
    return spheres[sphere];
}

static double linear_coefficient(size_t sphere, size_t section) {
    double bound[LINEAR + 1];
    for (size_t i = 0; i <= LINEAR; i++) {
        bound[i] = (double)i;
    }
    return coefficient(bound, LINEAR, sphere - 1, section - 1);
}

static void ratio_bounds(double bound[RATIO + 1]) {
    for (int i = 0; i <= RATIO; i++) {
        bound[i] = pow(10.0, 0.1 * (i - RATIO));
    }
}

/* For the smallest class, of diameter D: N_V D = sum of coefficient * N_A, upwards. */
static double ratio_coefficient(size_t section) {
    double bound[RATIO + 1];
    ratio_bounds(bound);
    return coefficient(bound, RATIO, 0, section) * bound[1];
}

/* Share of the sections of spheres of the largest class that fall `section` classes below it. */
static double section_share(size_t section) {
    double bound[RATIO + 1];
    double kernel[RATIO * RATIO];
    ratio_bounds(bound);
    kb_unfold_kernel(bound, RATIO, false, kernel);
    return kernel[(RATIO - 1 - section) * RATIO + RATIO - 1] / bound[RATIO];
}

static void saltykovs_coefficients_are_met(void **state) {
    (void)state;
    struct table table;
    table_read("saltykov.csv", &table);
    size_t linear = 0;
    for (size_t row = 0; row < table.rows; row++) {
        const char *method = table_text(&table, row, "method");
        size_t sphere = (size_t)table_number(&table, row, "sphere");
        size_t section = (size_t)table_number(&table, row, "section");
        double found = strcmp(method, "linear") == 0  ? linear_coefficient(sphere, section)
                       : strcmp(method, "ratio") == 0 ? ratio_coefficient(section)
                                                      : section_share(section);
        linear += strcmp(method, "linear") == 0 ? 1 : 0;
        table_expect(&table, row, "coefficient", found, table_number(&table, row, "coefficient"),
                     table_number(&table, row, "tolerance"));
    }
    assert_true(linear > 90);
    table_release(&table);
}

/* ---- spheres of one size ---- */

/* What a cut through the spheres gives, by the program. */
static void spheres_in_plane_and_space_agree_with_the_textbook(void **state) {
    (void)state;
    struct table table;
    table_read("spheres.csv", &table);
    struct random random = {.state = 20};
    struct made_law law = {.per_mm3 = table_number(&table, 0, "per_mm3"),
                           .diameter = table_number(&table, 0, "diameter_um")};
    struct made_spheres made;
    struct kb_specimen specimen;
    struct kb_specimen_params params = kb_specimen_params_default();
    made_spheres_cut(&law, 20, 2.0, 0.0, &random, &made); /* 8000 sections */
    assert_int_equal(
        kb_specimen_run(made.field, made.fields, KB_DUCTILE_IRON, &params, &specimen, NULL), KB_OK);
    const struct kb_spheres *found = &specimen.spheres;
    table_expect(&table, 0, "sections_per_mm2", found->per_mm2.value,
                 table_number(&table, 0, "sections_per_mm2"), 7.0); /* three standard errors */
    table_expect(&table, 0, "mean_section_um", found->plane_mean_um.value,
                 table_number(&table, 0, "mean_section_um"), 0.15);
    table_expect(&table, 0, "per_mm3 by Schwartz-Saltykov", found->saltykov_per_mm3.value,
                 law.per_mm3, 0.035 * law.per_mm3);
    table_expect(&table, 0, "diameter_um by Schwartz-Saltykov", found->saltykov_mean_um.value,
                 law.diameter, 0.03 * law.diameter);
    table_expect(&table, 0, "per_mm3", found->per_mm3.value, law.per_mm3, 0.06 * law.per_mm3);
    table_expect(&table, 0, "diameter_um", found->mean_um.value, law.diameter, 0.05 * law.diameter);
    table_expect(&table, 0, "volume_fraction", found->volume_fraction.value,
                 table_number(&table, 0, "volume_fraction"), 0.003);
    kb_specimen_release(&specimen);
    made_spheres_release(&made);
    table_release(&table);
}

/* The same spheres met by test lines: N_L = S_V / 4, mean intercept 2 D / 3. */
static void spheres_on_a_line_agree_with_the_textbook(void **state) {
    (void)state;
    struct table table;
    table_read("spheres.csv", &table);
    double diameter = table_number(&table, 0, "diameter_um");
    double per_mm3 = table_number(&table, 0, "per_mm3");
    double per_mm = per_mm3 * 0.25 * pi * diameter * diameter * 1e-6;
    table_expect(&table, 0, "intercepts_per_mm", per_mm,
                 table_number(&table, 0, "intercepts_per_mm"), 5e-4);
    struct kb_field_figures field = {.graphite_measured = true};
    const struct kb_field_figures *fields[] = {&field};
    double top;
    double bottom;
    field.fraction[KB_GRAPHITE] = table_number(&table, 0, "volume_fraction");
    for (int i = 0; i < KB_LINE_DIRECTIONS; i++) {
        field.lines[i].length_um = 1e9;
        field.lines[i].crossing = (uint64_t)(2e6 * per_mm);
    }
    struct kb_used used = {fields, 1, &top, &bottom};
    struct kb_spacing spacing;
    kb_spacing_run(&used, &spacing);
    table_expect(&table, 0, "surface_per_mm", spacing.surface_per_mm.value,
                 table_number(&table, 0, "surface_per_mm"), 0.005);
    table_expect(&table, 0, "mean_intercept_um", spacing.mean_intercept_um.value,
                 table_number(&table, 0, "mean_intercept_um"), 0.02);
    table_release(&table);
}

/* ---- counting rules ---- */

/* On pixels a particle that reaches the first or last row or column counts as cut, so the frame
 * acts as if a pixel smaller: ten pixels for each of the table's make that small. */
enum { THROWN = 160, FIELDS = 400, FINER = 10 };

/* Box of the pixels whose centres lie in a disc, cut at the frame; false when none does. */
static bool disc_box(double x, double y, double radius, int32_t side, struct kb_particle *disc) {
    int32_t x0 = (int32_t)ceil(x - radius - 0.5);
    int32_t y0 = (int32_t)ceil(y - radius - 0.5);
    int32_t x1 = (int32_t)floor(x + radius - 0.5) + 1;
    int32_t y1 = (int32_t)floor(y + radius - 0.5) + 1;
    double beyond_x = fmax(fmax(-x, x - side), 0.0);
    double beyond_y = fmax(fmax(-y, y - side), 0.0);
    if (beyond_x * beyond_x + beyond_y * beyond_y > (radius - 0.5) * (radius - 0.5)) {
        return false; /* does not reach into the frame */
    }
    bool cut = x0 <= 0 || y0 <= 0 || x1 >= side || y1 >= side;
    x0 = x0 > 0 ? x0 : 0;
    y0 = y0 > 0 ? y0 : 0;
    x1 = x1 < side ? x1 : side;
    y1 = y1 < side ? y1 : side;
    *disc = (struct kb_particle){.state = cut ? KB_ON_FRAME : KB_COUNTS, .shape_factor = 1.0};
    disc->feret_max_px = disc->diameter_px = 2.0 * radius;
    disc->area_px2 = pi * radius * radius;
    disc->box = (struct kb_rect){x0, y0, x1 - x0, y1 - y0};
    return true;
}

/* Throw discs over a wider square; the number whose centre lies in the field is the truth. */
static size_t throw_discs(struct random *random, double radius, int32_t side,
                          struct kb_particles *particles) {
    size_t inside = 0;
    particles->count = 0;
    for (int i = 0; i < THROWN; i++) {
        double x = random_unit(random) * (side + 4.0 * radius) - 2.0 * radius;
        double y = random_unit(random) * (side + 4.0 * radius) - 2.0 * radius;
        inside += x >= 0.0 && x < side && y >= 0.0 && y < side ? 1 : 0;
        particles->count += disc_box(x, y, radius, side, &particles->particle[particles->count]);
    }
    return inside;
}

static void counting_rules_have_the_bias_that_is_known_of_them(void **state) {
    (void)state;
    struct table table;
    table_read("frame_rules.csv", &table);
    double radius = 0.5 * FINER * table_number(&table, 0, "diameter_px");
    int32_t side = FINER * (int32_t)table_number(&table, 0, "side_px");
    struct random random = {.state = 113};
    struct kb_phase_map map = {.label = {side, side, (size_t)side, NULL}};
    struct kb_particle particle[THROWN];
    struct kb_particles particles = {.particle = particle, .width = side, .height = side};
    struct kb_field_figures *field = calloc(FIELDS, sizeof *field);
    assert_non_null(field);
    map.label.px = malloc((size_t)side * (size_t)side);
    assert_non_null(map.label.px);
    memset(map.label.px, KB_MATRIX, (size_t)side * (size_t)side);
    map.figures.pixels[KB_MATRIX] = (uint64_t)side * (uint64_t)side;
    size_t truth = 0;
    for (size_t i = 0; i < FIELDS; i++) {
        truth += throw_discs(&random, radius, side, &particles);
        kb_field_figures_make(&map, KB_LIGHT_UNETCHED, KB_DUCTILE_IRON, 1.0, &particles, &field[i]);
        field[i].particle = NULL; /* the next field takes its place */
        field[i].particle_count = 0;
    }
    struct kb_specimen specimen;
    struct kb_specimen_params params = kb_specimen_params_default();
    assert_int_equal(kb_specimen_run(field, FIELDS, KB_DUCTILE_IRON, &params, &specimen, NULL),
                     KB_OK);
    double true_count = (double)truth / (1e-6 * FIELDS * side * side);
    for (size_t row = 0; row < table.rows; row++) {
        int rule = 0;
        while (strcmp(kb_count_rule_name((enum kb_count_rule)rule),
                      table_text(&table, row, "rule")) != 0) {
            rule++;
            assert_true(rule < KB_COUNT_RULES);
        }
        table_expect(&table, row, "ratio of nodules",
                     specimen.nodule_count_per_mm2[rule].value / true_count,
                     table_number(&table, row, "ratio"), table_number(&table, row, "tolerance"));
        table_expect(&table, row, "ratio of all graphite",
                     specimen.graphite_count_per_mm2[rule].value / true_count,
                     table_number(&table, row, "ratio"), table_number(&table, row, "tolerance"));
    }
    assert_near(specimen.nodules_per_mm2.value,
                specimen.nodule_count_per_mm2[KB_COUNT_WEIGHTED].value, 1e-9);
    kb_specimen_release(&specimen);
    free(map.label.px);
    free(field);
    table_release(&table);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(saltykovs_coefficients_are_met),
        cmocka_unit_test(spheres_in_plane_and_space_agree_with_the_textbook),
        cmocka_unit_test(spheres_on_a_line_agree_with_the_textbook),
        cmocka_unit_test(counting_rules_have_the_bias_that_is_known_of_them),
    };
    return cmocka_run_group_tests_name("published stereology", tests, NULL, NULL);
}
