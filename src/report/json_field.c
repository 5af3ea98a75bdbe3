/* json_field.c - what result.json says of one field. */
#include "json_write.h"

void kb_json_findings(struct kb_json *json, const struct kb_findings *findings) {
    kb_json_open(json, "findings", '[');
    for (size_t i = 0; i < findings->count; i++) {
        const struct kb_finding *finding = &findings->item[i];
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "code", finding->code);
        kb_json_string(json, "severity", kb_severity_name(finding->severity));
        kb_json_string(json, "text", finding->text);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
}

static void thresholds(struct kb_json *json, const struct kb_segmentation_figures *figures) {
    static const char *const name[2][2] = {{"threshold", ""}, {"dark", "bright"}};
    kb_json_open(json, "thresholds", '{');
    int count = figures->thresholds > 2 ? 2 : figures->thresholds;
    for (int i = 0; i < count; i++) {
        kb_json_open(json, name[count - 1][i], '{');
        kb_json_number(json, "level", figures->threshold[i]);
        kb_json_string(json, "origin",
                       figures->origin[i] == KB_THRESHOLD_BY_HAND ? "by hand" : "found");
        kb_json_number(json, "valley", figures->valley[i]);
        kb_json_close(json, '}');
    }
    kb_json_close(json, '}');
}

static void classes(struct kb_json *json, const struct kb_segmentation_figures *figures) {
    kb_json_open(json, "classes", '[');
    for (int i = 0; i < figures->classes && i < 3; i++) {
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "phase", kb_phase_name(figures->class_phase[i]));
        kb_json_number(json, "mean_level", figures->class_mean[i]);
        kb_json_number(json, "share", figures->class_share[i]);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
}

static void particles(struct kb_json *json, const struct kb_field_result *field) {
    static const char *const key[KB_PARTICLE_STATES] = {
        [KB_COUNTS] = "counted",
        [KB_ON_FRAME] = "on_border",
        [KB_ON_EXCLUSION] = "on_exclusion",
        [KB_UNDER_SIZE] = "under_size",
        [KB_NO_SCALE] = "no_scale",
    };
    bool any = field->figures.graphite_measured || field->particles.count > 0;
    kb_json_open(json, "particles", '{');
    for (int state = 0; state < KB_PARTICLE_STATES; state++) {
        if (any) {
            kb_json_count(json, key[state], field->figures.particles[state]);
        } else {
            kb_json_null(json, key[state]);
        }
    }
    kb_json_count(json, "parted_clusters", field->particles.parted_clusters);
    kb_json_close(json, '}');
}

static void by_method(struct kb_json *json, const char *key, const double sum[KB_NOD_METHODS]) {
    kb_json_open(json, key, '{');
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        kb_json_number(json, kb_json_nodularity_key((enum kb_nodularity_method)method),
                       sum[method]);
    }
    kb_json_close(json, '}');
}

/* What the field adds to the specimen's ratios, so that results can be pooled later. */
static void sums(struct kb_json *json, const struct kb_field_figures *figures) {
    double share[KB_NOD_METHODS];
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        share[method] = figures->graphite_um2[method] > 0.0
                            ? 100.0 * figures->nodular_um2[method] / figures->graphite_um2[method]
                            : KB_NAN;
    }
    by_method(json, "nodularity_percent", share);
    kb_json_open(json, "sums", '{');
    by_method(json, "nodular_area_um2", figures->nodular_um2);
    by_method(json, "rated_area_um2", figures->graphite_um2);
    kb_json_number(json, "squared_area_um4", figures->graphite_um4);
    kb_json_number(json, "nodules", figures->graphite_measured ? (double)figures->nodules : KB_NAN);
    kb_json_number(json, "rated", figures->graphite_measured ? (double)figures->rated : KB_NAN);
    kb_json_number(json, "feret_um", figures->feret_sum_um);
    kb_json_close(json, '}');
}

static void phases(struct kb_json *json, const struct kb_field_figures *figures) {
    kb_json_open(json, "phases", '{');
    for (int phase = KB_GRAPHITE; phase < KB_PHASES; phase++) {
        kb_json_number(json, kb_phase_name((enum kb_phase)phase), figures->fraction[phase]);
    }
    kb_json_close(json, '}');
    kb_json_number(json, "pearlite_of_matrix", figures->pearlite_of_matrix);
    kb_json_number(json, "other_of_matrix", figures->other_of_matrix);
}

static void exclusions(struct kb_json *json, const struct kb_field_result *field) {
    kb_json_open(json, "exclusions_px", '[');
    for (size_t i = 0; i < field->exclusions; i++) {
        const struct kb_rect *rect = &field->exclusion[i];
        kb_json_open(json, NULL, '[');
        json->inside = true;
        kb_json_number(json, NULL, rect->x);
        kb_json_number(json, NULL, rect->y);
        kb_json_number(json, NULL, rect->width);
        kb_json_number(json, NULL, rect->height);
        kb_json_close(json, ']');
        json->inside = false;
    }
    kb_json_close(json, ']');
}

void kb_json_field(struct kb_json *json, const struct kb_result *result, size_t index) {
    const struct kb_field_result *field = &result->field[index];
    bool scaled = field->px_um > 0.0;
    kb_json_open(json, NULL, '{');
    kb_json_string(json, "file", field->path);
    kb_json_string(json, "sha256", field->sha256[0] != '\0' ? field->sha256 : NULL);
    kb_json_string(json, "format", field->format);
    kb_json_count(json, "page", field->page);
    kb_json_count(json, "bits", field->bits);
    kb_json_number(json, "width_px", field->width);
    kb_json_number(json, "height_px", field->height);
    kb_json_number(json, "area_mm2", field->figures.area_mm2);
    kb_json_number(json, "pixel_size_um", scaled ? field->px_um : KB_NAN);
    kb_json_number(json, "pixel_size_u_um",
                   scaled && field->px_um_u > 0.0 ? field->px_um_u : KB_NAN);
    kb_json_string(json, "pixel_size_source", kb_scale_source_name(field->scale_source));
    kb_json_string(json, "contrast", kb_contrast_name(field->contrast));
    thresholds(json, &field->segmentation);
    classes(json, &field->segmentation);
    kb_json_number(json, "separability", field->segmentation.separability);
    kb_json_number(json, "unevenness", field->segmentation.unevenness);
    kb_json_bool(json, "evened", field->segmentation.evened);
    phases(json, &field->figures);
    particles(json, field);
    kb_json_number(json, "nodules_per_mm2", field->figures.nodules_per_mm2);
    kb_json_field_flakes(json, &field->figures.flakes);
    sums(json, &field->figures);
    exclusions(json, field);
    kb_json_outlines_left_out(json, result, index + 1);
    kb_json_looks(json, field);
    kb_json_string(json, "overlay", field->overlay_file);
    kb_json_findings(json, &field->findings);
    kb_json_close(json, '}');
}
