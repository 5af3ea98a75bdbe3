/* test_json_writer.c - result.json read back by jansson and by Python: every key of the contract is
 * there, and null where nothing was measured. */
#include "sample_result.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <jansson.h>

static json_t *written(const struct sample_options *options) {
    struct kb_result result;
    struct kb_text text = KB_TEXT_INIT;
    json_error_t error;
    sample_result_make(options, &result);
    assert_int_equal(kb_report_json(&result, &text, NULL), KB_OK);
    json_t *root = json_loadb(text.data, text.length, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL) {
        fail_msg("line %d: %s", error.line, error.text);
    }
    assert_null(strstr(text.data, "nan"));
    assert_null(strstr(text.data, "inf,"));
    kb_text_release(&text);
    kb_result_release(&result);
    return root;
}

/* "graphite.form_area_percent.VI", "fields.0.sha256" */
static const json_t *at(const json_t *node, const char *path) {
    char copy[128];
    (void)snprintf(copy, sizeof copy, "%s", path);
    char *rest = copy;
    while (node != NULL && rest != NULL) {
        char *key = rest;
        rest = strchr(rest, '.');
        if (rest != NULL) {
            *rest++ = '\0';
        }
        node = json_is_array(node) ? json_array_get(node, (size_t)strtoul(key, NULL, 10))
                                   : json_object_get(node, key);
    }
    return node;
}

/* The keys that are a contract. */
static const char *const contract[] = {
    "schema",
    "tool.name",
    "tool.version",
    "specimen.id",
    "specimen.material",
    "specimen.contrast",
    "calibration.pixel_size_um",
    "calibration.source",
    "fields.0.file",
    "fields.0.sha256",
    "fields.0.width_px",
    "fields.0.height_px",
    "fields.0.area_mm2",
    "fields.0.thresholds",
    "fields.0.separability",
    "fields.0.phases.graphite",
    "fields.0.phases.ferrite",
    "fields.0.phases.pearlite",
    "fields.0.pearlite_of_matrix",
    "fields.0.particles.counted",
    "fields.0.particles.on_border",
    "fields.0.particles.under_size",
    "fields.0.findings",
    "phases.graphite.mean",
    "phases.ferrite.s",
    "phases.pearlite.ci95",
    "phases.pearlite_of_matrix.ra_percent",
    "phases.pearlite_of_matrix.fields",
    "graphite.nodularity_percent.iso945_4",
    "graphite.nodularity_percent.e2567",
    "graphite.nodularity_percent.iso16112",
    "graphite.nodularity_ci95_percent",
    "graphite.nodularity_by_count_percent",
    "graphite.nodules_per_mm2",
    "graphite.particles_counted",
    "graphite.form_area_percent.I",
    "graphite.form_area_percent.VI",
    "graphite.size_class",
    "graphite.mean_feret_um",
    "graphite.counts_per_mm2.used",
    "graphite.counts_per_mm2.inside.nodules.value",
    "graphite.counts_per_mm2.half_cut.nodules.ci95",
    "graphite.counts_per_mm2.two_edges.all_graphite.value",
    "graphite.counts_per_mm2.weighted.rule",
    "graphite.spatial.why",
    "graphite.spatial.least_diameter_um",
    "graphite.spatial.nodules_per_mm3.value",
    "graphite.spatial.mean_diameter_um.ci95",
    "graphite.spatial.schwartz_saltykov.nodules_per_mm3.value",
    "graphite.spatial.saltykov_ratio_classes.mean_diameter_um.value",
    "graphite.spatial.classes",
    "graphite.spatial.surface_per_mm.value",
    "graphite.spatial.mean_free_path_um.value",
    "graphite.spatial.mean_spacing_um.why",
    "limits.0.probability",
    "limits.0.rule",
    "limits.0.outcome_by_rule.guarded",
    "limits.0.outcome_by_rule.simple",
    "verdict_by_rule.simple",
    "decision_rule",
    "rule",
    "carbon.total_percent",
    "carbon.constants",
    "limits",
    "verdict",
    "findings",
};

static void every_key_of_the_contract_is_there_whatever_was_measured(void **state) {
    (void)state;
    static const struct sample_options options[] = {{.fields = 1},
                                                    {.fields = 3},
                                                    {.fields = 3, .steel = true},
                                                    {.fields = 2, .no_scale = true}};
    for (size_t i = 0; i < sizeof options / sizeof options[0]; i++) {
        json_t *root = written(&options[i]);
        for (size_t k = 0; k < sizeof contract / sizeof contract[0]; k++) {
            if (at(root, contract[k]) == NULL) {
                fail_msg("case %zu lacks %s", i, contract[k]);
            }
        }
        json_decref(root);
    }
}

static void figures_come_out_with_their_values_and_units(void **state) {
    (void)state;
    json_t *root = written(&(struct sample_options){.fields = 3});
    assert_string_equal(json_string_value(at(root, "schema")), "keelblock.result/1");
    assert_string_equal(json_string_value(at(root, "verdict")), "undecided");
    assert_true(fabs(json_number_value(at(root, "calibration.pixel_size_um")) - 0.5) <= 1e-9);
    /* the sample says 51.27 % +- 2.61 of the field: fractions stay fractions */
    assert_true(fabs(json_number_value(at(root, "phases.pearlite.mean")) - 0.5127) <= 1e-9);
    assert_true(fabs(json_number_value(at(root, "phases.pearlite.ci95.0")) - 0.4866) <= 1e-9);
    assert_true(fabs(json_number_value(at(root, "phases.pearlite.ci95.1")) - 0.5388) <= 1e-9);
    assert_true(fabs(json_number_value(at(root, "phases.pearlite.ra_percent")) - 5.09070) <= 1e-4);
    assert_true(fabs(json_number_value(at(root, "graphite.nodularity_percent.iso945_4")) - 86.4) <=
                1e-9);
    assert_int_equal(json_array_size(at(root, "limits")), 4);
    assert_true(json_is_null(at(root, "limits.1.high")));
    assert_true(fabs(json_number_value(at(root, "limits.1.low")) - 85.0) <= 1e-9);
    assert_string_equal(json_string_value(at(root, "limits.1.outcome")), "undecided");
    assert_int_equal(json_integer_value(at(root, "limits.1.more_fields_to_decide")), 7);
    json_decref(root);
}

static void sizes_in_space_and_both_rules_come_out(void **state) {
    (void)state;
    json_t *root = written(&(struct sample_options){.fields = 3});
    const json_t *spatial = at(root, "graphite.spatial");
    assert_string_equal(json_string_value(at(root, "graphite.counts_per_mm2.used")), "weighted");
    assert_true(fabs(json_number_value(at(root, "graphite.counts_per_mm2.weighted.nodules.value")) -
                     json_number_value(at(root, "graphite.nodules_per_mm2"))) <= 1e-9);
    assert_true(json_is_null(at(spatial, "why")));
    assert_true(fabs(json_number_value(at(spatial, "nodules_per_mm3.value")) - 9400.0) <= 1e-6);
    assert_int_equal(json_array_size(at(spatial, "classes")), 5);
    assert_true(
        fabs(json_number_value(at(spatial, "classes.1.schwartz_saltykov_per_mm3")) + 40.0) <= 1e-9);
    assert_string_equal(json_string_value(at(root, "limits.1.outcome_by_rule.guarded")),
                        "undecided");
    assert_string_equal(json_string_value(at(root, "limits.1.outcome_by_rule.simple")), "accept");
    assert_true(fabs(json_number_value(at(root, "limits.1.probability")) - 0.913) <= 1e-9);
    assert_true(json_is_null(at(root, "limits.3.probability")));
    json_decref(root);
    root = written(&(struct sample_options){.fields = 3, .no_scale = true});
    spatial = at(root, "graphite.spatial");
    assert_string_equal(json_string_value(at(spatial, "why")), "the pixel size is unknown");
    assert_true(json_is_null(at(spatial, "least_diameter_um")));
    assert_true(json_is_null(at(spatial, "sections")));
    assert_true(json_is_null(at(spatial, "misfit")));
    assert_true(json_is_null(at(spatial, "mean_spacing_um.value")));
    assert_int_equal(json_array_size(at(spatial, "classes")), 0);
    json_decref(root);
}

static void what_was_not_measured_is_null_never_zero(void **state) {
    (void)state;
    static const char *const none[] = {"calibration.pixel_size_um",
                                       "fields.0.area_mm2",
                                       "graphite.nodularity_percent.iso945_4",
                                       "graphite.nodularity_ci95_percent.e2567",
                                       "graphite.nodules_per_mm2",
                                       "graphite.size_class",
                                       "graphite.mean_feret_um",
                                       "graphite.form_area_percent.VI",
                                       "limits.1.value",
                                       "limits.1.ci95",
                                       "phases.cementite.mean"};
    json_t *root = written(&(struct sample_options){.fields = 3, .no_scale = true});
    for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
        if (!json_is_null(at(root, none[i]))) {
            fail_msg("%s is not null", none[i]);
        }
    }
    assert_string_equal(json_string_value(at(root, "graphite.nodularity_why")),
                        "the pixel size is unknown");
    json_decref(root);
    root = written(&(struct sample_options){.fields = 1});
    assert_true(json_is_null(at(root, "phases.pearlite.ci95")));
    assert_true(json_is_null(at(root, "phases.pearlite.s")));
    assert_true(json_is_number(at(root, "phases.pearlite.mean")));
    json_decref(root);
}

static void a_result_without_carbon_and_limits_is_still_whole(void **state) {
    (void)state;
    json_t *root = written(&(struct sample_options){.fields = 2, .no_limits = true});
    assert_int_equal(json_array_size(at(root, "limits")), 0);
    assert_string_equal(json_string_value(at(root, "verdict")), "none");
    json_decref(root);
}

static void hostile_names_come_back_as_they_were_but_for_what_is_no_text(void **state) {
    (void)state;
    json_t *root = written(&(struct sample_options){.fields = 1, .hostile = true});
    const char *id = json_string_value(at(root, "specimen.id"));
    assert_string_equal(id, "<b>\"K&B\" 'x'</b>,]]>\n=1+1\xef\xbf\xbd[31m \xef\xbf\xbd\xef\xbf\xbd "
                            "µ – ä");
    json_decref(root);
}

static void python_reads_it_too(void **state) {
    (void)state;
    struct kb_result result;
    struct kb_text text = KB_TEXT_INIT;
    sample_result_make(&(struct sample_options){.fields = 60, .hostile = true}, &result);
    assert_int_equal(kb_report_json(&result, &text, NULL), KB_OK);
    FILE *python = popen("python3 -c 'import json,sys\n"
                         "def no(c): raise SystemExit(1)\n"
                         "r=json.load(sys.stdin,parse_constant=no)\n"
                         "sys.exit(0 if len(r[\"fields\"])==60 else 2)'",
                         "w");
    assert_non_null(python);
    assert_int_equal(fwrite(text.data, 1, text.length, python), text.length);
    assert_int_equal(pclose(python), 0);
    kb_text_release(&text);
    kb_result_release(&result);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_key_of_the_contract_is_there_whatever_was_measured),
        cmocka_unit_test(figures_come_out_with_their_values_and_units),
        cmocka_unit_test(sizes_in_space_and_both_rules_come_out),
        cmocka_unit_test(what_was_not_measured_is_null_never_zero),
        cmocka_unit_test(a_result_without_carbon_and_limits_is_still_whole),
        cmocka_unit_test(hostile_names_come_back_as_they_were_but_for_what_is_no_text),
        cmocka_unit_test(python_reads_it_too),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
