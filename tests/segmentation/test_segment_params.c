/* test_segment_params.c - words round the way, and parameters that must be refused. */
#include "kb_cmocka.h"
#include "keelblock/segmentation.h"

#include <string.h>

static void every_word_reads_back_as_itself(void **state) {
    (void)state;
    for (int i = KB_DUCTILE_IRON; i <= KB_CARBON_STEEL; i++) {
        enum kb_material material;
        assert_true(kb_material_parse(kb_material_name((enum kb_material)i), &material));
        assert_int_equal(material, i);
    }
    for (int i = KB_PRO_FERRITE; i <= KB_PRO_CEMENTITE; i++) {
        enum kb_proeutectoid phase;
        assert_true(kb_proeutectoid_parse(kb_proeutectoid_name((enum kb_proeutectoid)i), &phase));
        assert_int_equal(phase, i);
    }
    assert_string_equal(kb_phase_name(KB_PEARLITE), "pearlite");
    assert_string_equal(kb_phase_name((enum kb_phase)99), "unknown");
}

static void unknown_words_leave_the_value_alone(void **state) {
    (void)state;
    enum kb_material material = KB_GREY_IRON;
    assert_false(kb_material_parse("Ductile-Iron", &material));
    assert_false(kb_material_parse("", &material));
    assert_int_equal(material, KB_GREY_IRON);
    assert_true(kb_material_is_iron(KB_COMPACTED_IRON));
    assert_false(kb_material_is_iron(KB_CARBON_STEEL));
}

static void the_defaults_pass_for_every_material_and_contrast(void **state) {
    (void)state;
    for (int m = KB_DUCTILE_IRON; m <= KB_CARBON_STEEL; m++) {
        for (int c = KB_LIGHT; c <= KB_SEM; c++) {
            struct kb_segmentation_params p =
                kb_segmentation_params_default((enum kb_material)m, (enum kb_contrast)c);
            assert_int_equal(kb_segmentation_params_check(&p, NULL), KB_OK);
        }
    }
}

static void refuse(const struct kb_segmentation_params *p, const char *subject) {
    struct kb_err err = {0};
    assert_int_equal(kb_segmentation_params_check(p, &err), KB_E_USAGE);
    assert_string_equal(err.subject, subject);
    assert_string_equal(err.stage, "segmentation");
}

static void impossible_values_are_refused_by_name(void **state) {
    (void)state;
    const struct kb_segmentation_params good =
        kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT);
    struct kb_segmentation_params p = good;
    const double bad[] = {(double)NAN, (double)INFINITY, -1.0, 1e9};
    for (int i = 0; i < 4; i++) {
        p = good, p.clean_um = bad[i], refuse(&p, "clean size");
        p = good, p.colony_um = bad[i], refuse(&p, "colony size");
        p = good, p.line_um = bad[i], refuse(&p, "line width");
        p = good, p.fallback_px_um = bad[i], refuse(&p, "fallback pixel size");
    }
    p = good, p.fallback_px_um = 0.0, refuse(&p, "fallback pixel size");
    p = good, p.dark_threshold = (double)INFINITY, refuse(&p, "dark threshold");
    p = good, p.dark_threshold = -3.0, refuse(&p, "dark threshold");
    p = good, p.bright_threshold = -(double)INFINITY, refuse(&p, "bright threshold");
    p = good, p.dark_threshold = 90.0, p.bright_threshold = 90.0, refuse(&p, "bright threshold");
    p = good, p.material = (enum kb_material)9, refuse(&p, "material");
    p = good, p.contrast = (enum kb_contrast)9, refuse(&p, "contrast");
    p = good, p.proeutectoid = (enum kb_proeutectoid)9, refuse(&p, "proeutectoid");
    p = good, p.exclusions = 1, refuse(&p, "exclusions");
    struct kb_rect empty = {0, 0, 4, 0};
    p = good, p.exclusion = &empty, p.exclusions = 1, refuse(&p, "exclusions");
}

static void unetched_steel_is_refused_with_advice(void **state) {
    (void)state;
    uint8_t px[4] = {10, 200, 10, 200};
    struct kb_field field = {0};
    struct kb_phase_map map;
    struct kb_err err;
    field.grey = (struct kb_image){2, 2, 2, px};
    struct kb_segmentation_params p =
        kb_segmentation_params_default(KB_CARBON_STEEL, KB_LIGHT_UNETCHED);
    assert_int_equal(kb_segment(&field, &p, &map, &err), KB_E_UNFIT);
    assert_non_null(strstr(err.text, "etch"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_word_reads_back_as_itself),
        cmocka_unit_test(unknown_words_leave_the_value_alone),
        cmocka_unit_test(the_defaults_pass_for_every_material_and_contrast),
        cmocka_unit_test(impossible_values_are_refused_by_name),
        cmocka_unit_test(unetched_steel_is_refused_with_advice),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
