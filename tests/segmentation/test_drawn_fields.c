/* test_drawn_fields.c - fractions against the truth of drawn micrographs.
 *
 * The truth is the sub-pixel drawing, not the program's own labels. Tolerances: 0.5 points of
 * graphite, 2 points of pearlite in the matrix, which is what a careful point count of one such
 * field cannot reach. The seeds here are not those of kb_segment_table,
 * on which the segmentation was developed. One of them (7503, resolved lamellae) failed at first
 * and led to the rule of cut_matrix() in thresholds.c: for that rule it is no independent check.
 */
#include "drawn_field.h"
#include "kb_cmocka.h"

#include <string.h>

#define GRAPHITE_POINTS 0.005
#define PEARLITE_POINTS 0.02

static struct kb_render_params picture(uint64_t seed) {
    struct kb_render_params p = kb_render_params_default();
    p.seed = seed;
    p.width = 800;
    p.height = 600;
    return p;
}

struct shares {
    double graphite, pearlite, matrix; /* pearlite: of the matrix */
    bool single, shades, serious;
};

static struct shares measure(const struct kb_render_params *draw, enum kb_material material,
                             enum kb_contrast contrast, struct kb_render_truth *truth) {
    struct drawn_field drawn;
    struct kb_phase_map map;
    struct kb_err err;
    assert_true(drawn_field_make(draw, &drawn));
    struct kb_segmentation_params params = kb_segmentation_params_default(material, contrast);
    if (kb_segment(&drawn.field, &params, &map, &err) != KB_OK) {
        fail_msg("%s", err.text);
    }
    struct shares s = {.graphite = label_share(&map, KB_GRAPHITE),
                       .matrix = label_share(&map, KB_MATRIX)};
    double pearlite = label_share(&map, KB_PEARLITE);
    double ferrite = label_share(&map, KB_FERRITE);
    s.pearlite = pearlite + ferrite > 0.0 ? pearlite / (pearlite + ferrite) : (double)NAN;
    s.single = kb_findings_has(&map.findings, "single-constituent");
    s.shades = kb_findings_has(&map.findings, "shades-of-pearlite");
    for (size_t i = 0; i < map.findings.count; i++) {
        s.serious = s.serious || map.findings.item[i].severity == KB_SERIOUS;
    }
    *truth = drawn.render.truth;
    truth->particle = NULL; /* released with the drawing */
    kb_phase_map_release(&map);
    drawn_field_release(&drawn);
    return s;
}

static void check(const struct kb_render_params *draw, enum kb_material material) {
    struct kb_render_truth truth;
    struct shares s = measure(draw, material, KB_LIGHT, &truth);
    assert_near(s.graphite, truth.graphite, GRAPHITE_POINTS);
    assert_near(s.pearlite, truth.pearlite_of_matrix, PEARLITE_POINTS);
    assert_false(s.serious);
}

static void etched_ductile_iron_from_ferritic_to_pearlitic(void **state) {
    (void)state;
    const double pearlite[] = {0.0, 0.03, 0.15, 0.45, 0.75, 0.97, 1.0};
    for (size_t i = 0; i < sizeof pearlite / sizeof *pearlite; i++) {
        struct kb_render_params p = picture(7001 + i);
        p.pearlite_of_matrix = pearlite[i];
        p.bulls_eye = i % 2 == 0;
        check(&p, KB_DUCTILE_IRON);
    }
}

static void any_usual_scale_blur_and_noise(void **state) {
    (void)state;
    for (uint64_t i = 0; i < 4; i++) {
        struct kb_render_params p = picture(7101 + i);
        p.px_um = 0.25 + 0.25 * (double)i;
        check(&p, KB_DUCTILE_IRON);
        p = picture(7111 + i);
        p.blur_um = 0.5 * (double)i * p.px_um;
        check(&p, KB_DUCTILE_IRON);
        p = picture(7121 + i);
        p.noise = 3.0 * (double)i;
        check(&p, KB_DUCTILE_IRON);
        p = picture(7131 + i);
        p.fall_off = 0.13 * (double)i;
        check(&p, KB_DUCTILE_IRON);
    }
}

static void compacted_and_flake_graphite(void **state) {
    (void)state;
    struct kb_render_params p = picture(7201);
    p.graphite = KB_RENDER_COMPACTED;
    check(&p, KB_COMPACTED_IRON);
    p = picture(7202);
    p.graphite = KB_RENDER_FLAKES;
    p.pearlite_of_matrix = 0.9;
    check(&p, KB_GREY_IRON);
}

static void unetched_graphite_of_every_form(void **state) {
    (void)state;
    const enum kb_render_graphite form[] = {KB_RENDER_NODULES, KB_RENDER_COMPACTED,
                                            KB_RENDER_FLAKES};
    const enum kb_material material[] = {KB_DUCTILE_IRON, KB_COMPACTED_IRON, KB_GREY_IRON};
    for (uint64_t i = 0; i < 3; i++) {
        struct kb_render_params p = picture(7301 + i);
        struct kb_render_truth truth;
        p.look = KB_RENDER_UNETCHED;
        p.graphite = form[i];
        p.scratches_per_mm2 = 60.0;
        p.fall_off = 0.2;
        struct shares s = measure(&p, material[i], KB_LIGHT_UNETCHED, &truth);
        assert_near(s.graphite, truth.graphite, GRAPHITE_POINTS);
        assert_near(s.matrix, 1.0 - s.graphite, 1e-12);
        assert_false(s.serious);
    }
}

static struct kb_render_params steel(uint64_t seed, double pearlite) {
    struct kb_render_params p = picture(seed);
    p.graphite = KB_RENDER_NONE;
    p.bulls_eye = false;
    p.pearlite_of_matrix = pearlite;
    return p;
}

/* Lever rule, 0.022 and 0.76 % C: pearlite of 0.1, 0.25, 0.45, 0.6 and 0.76 % carbon steel. */
static void steel_with_boundaries_and_unresolved_lamellae(void **state) {
    (void)state;
    const double pearlite[] = {0.0, 0.106, 0.309, 0.58, 0.783, 1.0};
    for (size_t i = 0; i < sizeof pearlite / sizeof *pearlite; i++) {
        struct kb_render_params p = steel(7401 + i, pearlite[i]);
        check(&p, KB_CARBON_STEEL);
    }
}

/* At 0.15 um a pixel a spacing of 0.8 um is five pixels; at 1.5 um the stripes are as bright as
 * ferrite and as wide as a boundary. */
static void steel_with_resolved_lamellae(void **state) {
    (void)state;
    const double pearlite[] = {0.12, 0.5, 1.0};
    const double spacing_um[] = {0.5, 0.8, 1.5};
    for (uint64_t i = 0; i < 3; i++) {
        for (uint64_t k = 0; k < 3; k++) {
            struct kb_render_params p = steel(7501 + 3 * i + k, pearlite[i]);
            p.px_um = 0.15;
            p.blur_um = 0.15;
            p.lamella_um = spacing_um[k];
            check(&p, KB_CARBON_STEEL);
        }
    }
}

static void steel_in_the_sem(void **state) {
    (void)state;
    const double pearlite[] = {0.1, 0.45, 0.8};
    for (uint64_t i = 0; i < 3; i++) {
        struct kb_render_params p = steel(7601 + i, pearlite[i]);
        struct kb_render_truth truth;
        p.look = KB_RENDER_SEM;
        p.px_um = 0.15;
        struct shares s = measure(&p, KB_CARBON_STEEL, KB_SEM, &truth);
        assert_near(s.pearlite, truth.pearlite_of_matrix, PEARLITE_POINTS);
    }
}

/* Edges glow in the SEM, so that graphite looks smaller: 0.35 of a pixel all round a nodule. */
static void ductile_iron_in_the_sem(void **state) {
    (void)state;
    struct kb_render_params p = picture(7651);
    struct kb_render_truth truth;
    p.look = KB_RENDER_SEM;
    struct shares s = measure(&p, KB_DUCTILE_IRON, KB_SEM, &truth);
    assert_near(s.graphite, truth.graphite, 2.0 * GRAPHITE_POINTS);
    assert_near(s.pearlite, truth.pearlite_of_matrix, PEARLITE_POINTS);
}

static void one_constituent_is_named_with_a_finding(void **state) {
    (void)state;
    for (uint64_t i = 0; i < 2; i++) {
        struct kb_render_params p = picture(7701 + i);
        struct kb_render_truth truth;
        p.pearlite_of_matrix = (double)i;
        struct shares s = measure(&p, KB_DUCTILE_IRON, KB_LIGHT, &truth);
        assert_true(s.single);
        assert_near(s.pearlite, (double)i, 1e-12);
    }
}

/* Without texture, without boundaries, drowned in noise: nothing tells ferrite from pearlite. */
static void what_cannot_be_told_is_called_matrix(void **state) {
    (void)state;
    struct kb_render_params p = picture(7801);
    struct kb_render_truth truth;
    p.look = KB_RENDER_UNETCHED; /* and called etched */
    struct shares s = measure(&p, KB_DUCTILE_IRON, KB_LIGHT, &truth);
    assert_true(s.single && s.serious);
    assert_near(s.matrix, 1.0 - truth.graphite, 2.0 * GRAPHITE_POINTS);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(etched_ductile_iron_from_ferritic_to_pearlitic),
        cmocka_unit_test(any_usual_scale_blur_and_noise),
        cmocka_unit_test(compacted_and_flake_graphite),
        cmocka_unit_test(unetched_graphite_of_every_form),
        cmocka_unit_test(steel_with_boundaries_and_unresolved_lamellae),
        cmocka_unit_test(steel_with_resolved_lamellae),
        cmocka_unit_test(steel_in_the_sem),
        cmocka_unit_test(ductile_iron_in_the_sem),
        cmocka_unit_test(one_constituent_is_named_with_a_finding),
        cmocka_unit_test(what_cannot_be_told_is_called_matrix),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
