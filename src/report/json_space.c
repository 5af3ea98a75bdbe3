/* json_space.c - what result.json says of counting rules and of sizes and spacing in space. */
#include "json_write.h"

static void figure(struct kb_json *json, const char *key, const struct kb_estimate *estimate) {
    kb_json_open(json, key, '{');
    kb_json_value(json, "value", estimate, 1.0);
    kb_json_interval(json, "ci95", estimate, 1.0);
    kb_json_string(json, "why", estimate->measured ? NULL : estimate->why);
    kb_json_close(json, '}');
}

void kb_json_counts(struct kb_json *json, const struct kb_specimen *specimen) {
    kb_json_open(json, "counts_per_mm2", '{');
    kb_json_string(json, "used", kb_count_rule_name(KB_COUNT_WEIGHTED));
    for (int rule = 0; rule < KB_COUNT_RULES; rule++) {
        kb_json_open(json, kb_count_rule_name((enum kb_count_rule)rule), '{');
        kb_json_string(json, "rule", kb_count_rule_words((enum kb_count_rule)rule));
        figure(json, "nodules", &specimen->nodule_count_per_mm2[rule]);
        figure(json, "all_graphite", &specimen->graphite_count_per_mm2[rule]);
        kb_json_close(json, '}');
    }
    kb_json_close(json, '}');
}

static void sphere_classes(struct kb_json *json, const struct kb_spheres *spheres) {
    kb_json_open(json, "classes", '[');
    for (size_t k = 0; k < spheres->bins; k++) {
        const struct kb_sphere_class *bin = &spheres->bin[k];
        kb_json_open(json, NULL, '{');
        kb_json_number(json, "from_um", bin->from_um);
        kb_json_number(json, "to_um", bin->to_um);
        kb_json_number(json, "sections_per_mm2", bin->sections_per_mm2);
        kb_json_number(json, "nodules_per_mm3", bin->spheres_per_mm3);
        kb_json_number(json, "low_per_mm3", bin->lo);
        kb_json_number(json, "high_per_mm3", bin->hi);
        kb_json_number(json, "schwartz_saltykov_per_mm3", bin->saltykov_per_mm3);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
}

static void spheres(struct kb_json *json, const struct kb_spheres *spheres) {
    bool measured = spheres->per_mm3.measured;
    kb_json_string(json, "why", measured ? NULL : spheres->per_mm3.why);
    kb_json_number(json, "least_diameter_um", measured ? spheres->least_um : KB_NAN);
    kb_json_number(json, "sections", measured ? (double)spheres->sections : KB_NAN);
    figure(json, "sections_per_mm2", &spheres->per_mm2);
    figure(json, "mean_section_um", &spheres->plane_mean_um);
    figure(json, "nodules_per_mm3", &spheres->per_mm3);
    figure(json, "mean_diameter_um", &spheres->mean_um);
    figure(json, "volume_fraction", &spheres->volume_fraction);
    kb_json_string(json, "method", measured ? spheres->per_mm3.method : NULL);
    kb_json_number(json, "smoothing", measured ? spheres->smoothing : KB_NAN);
    kb_json_number(json, "misfit", measured ? spheres->misfit : KB_NAN);
    kb_json_open(json, "schwartz_saltykov", '{');
    figure(json, "nodules_per_mm3", &spheres->saltykov_per_mm3);
    figure(json, "mean_diameter_um", &spheres->saltykov_mean_um);
    kb_json_close(json, '}');
    kb_json_open(json, "saltykov_ratio_classes", '{');
    figure(json, "nodules_per_mm3", &spheres->log_per_mm3);
    figure(json, "mean_diameter_um", &spheres->log_mean_um);
    kb_json_close(json, '}');
    sphere_classes(json, spheres);
}

void kb_json_spatial(struct kb_json *json, const struct kb_specimen *specimen) {
    const struct kb_spacing *spacing = &specimen->spacing;
    kb_json_open(json, "spatial", '{');
    spheres(json, &specimen->spheres);
    figure(json, "surface_per_mm", &spacing->surface_per_mm);
    figure(json, "intercepts_per_mm", &spacing->intercepts_per_mm);
    figure(json, "intercepts_along_rows_per_mm", &spacing->along_per_mm[KB_ALONG_ROWS]);
    figure(json, "intercepts_along_columns_per_mm", &spacing->along_per_mm[KB_ALONG_COLUMNS]);
    figure(json, "mean_intercept_um", &spacing->mean_intercept_um);
    figure(json, "mean_free_path_um", &spacing->mean_free_path_um);
    figure(json, "mean_spacing_um", &spacing->mean_spacing_um);
    kb_json_close(json, '}');
}
