/* pipeline.c - the whole way, from paths to a signed-off result, in the order in which it happens:
 *
 *   intake > segmentation > morphology        per field, fields in parallel
 *   specimen > carbon > judge > report        once
 *
 * No arithmetic here. Fields do not know of each other; their results land in slots by index, so
 * that the number of threads cannot change anything.
 */
#include "pipeline_priv.h"

#include <omp.h>

enum stage { READ, SEGMENT, MEASURE, DRAW, STAGE_COUNT };
static const char *const stage_name[STAGE_COUNT] = {"intake", "segmentation", "morphology",
                                                    "pictures"};

struct field_way { /* what lives only while one field is being measured */
    struct kb_field field;
    struct kb_phase_map map;
    struct kb_picture overlay;
    double seconds[STAGE_COUNT];
};

static void way_release(struct field_way *way) {
    kb_picture_release(&way->overlay);
    kb_phase_map_release(&way->map);
    kb_field_release(&way->field);
}

static double lap(double *since) {
    double now = kb_clock_s(), taken = now - *since;
    *since = now;
    return taken;
}

/* Overlay into the output folder, small pictures into the result. */
static enum kb_status draw(const struct kb_plan *plan, size_t index, struct field_way *way,
                           struct kb_field_result *out, struct kb_err *err) {
    const int32_t shown_width = 1000; /* pixels: sharp on A4 at half width, small enough to mail */
    const bool iron = kb_material_is_iron(plan->settings->material);
    enum kb_status status =
        kb_draw_overlay(&way->field, &way->map, iron ? &out->particles : NULL, &way->overlay, err);
    if (status == KB_OK) {
        status = kb_plan_write_overlay(plan, index, &way->overlay, way->field.px_um, out, err);
    }
    if (status == KB_OK) {
        status = kb_report_pictures(&way->field, &way->overlay, shown_width, out, err);
    }
    return status;
}

static enum kb_status measure_field(const struct kb_plan *plan, size_t index, struct field_way *way,
                                    struct kb_field_result *out, struct kb_err *err) {
    const struct kb_settings *settings = plan->settings;
    const bool iron = kb_material_is_iron(settings->material);
    double clock = kb_clock_s();

    enum kb_status status = kb_field_read(plan->path[index], &settings->intake, &way->field, err);
    way->seconds[READ] = lap(&clock);
    if (status != KB_OK) {
        return status;
    }
    struct kb_segmentation_params segmentation = kb_plan_segmentation(plan, index);
    status = kb_plan_check_field(plan, &way->field, err);
    if (status == KB_OK) {
        status = kb_segment(&way->field, &segmentation, &way->map, err);
    }
    way->seconds[SEGMENT] = lap(&clock);
    if (status == KB_OK && iron) {
        status = kb_morphology_run(&way->map, way->field.px_um, &settings->morphology,
                                   &out->particles, err);
    }
    if (status != KB_OK) {
        return kb_plan_blame(plan, index, status, err);
    }
    kb_field_figures_make(&way->map, segmentation.contrast, settings->material, way->field.px_um,
                          iron ? &out->particles : NULL, &out->figures);
    way->seconds[MEASURE] = lap(&clock);
    if (plan->folder != NULL && settings->pictures) {
        status = draw(plan, index, way, out, err);
    }
    way->seconds[DRAW] = lap(&clock);
    kb_particles_drop_runs(&out->particles);
    if (status == KB_OK) {
        status = kb_plan_fill(plan, index, &way->field, &way->map, out, err);
    }
    return status;
}

/* Fields in parallel. Of several failures the one with the lowest index is reported, whatever the
 * threads did; fields behind a failure are not begun. */
static enum kb_status measure_fields(const struct kb_plan *plan, const struct kb_progress *progress,
                                     struct kb_result *result, struct kb_err *err) {
    size_t first_bad = plan->count, done = 0;
    struct kb_err bad_err = {.code = KB_OK};
    double seconds[STAGE_COUNT] = {0};
#pragma omp parallel for schedule(dynamic, 1) num_threads(kb_plan_threads(plan))
    for (size_t i = 0; i < plan->count; i++) {
        size_t bad_so_far = 0;
#pragma omp atomic read
        bad_so_far = first_bad;
        if (i > bad_so_far) {
            continue;
        }
        struct field_way way = {.seconds = {0}};
        struct kb_err field_err = {.code = KB_OK};
        enum kb_status status = measure_field(plan, i, &way, &result->field[i], &field_err);
        way_release(&way);
#pragma omp critical(kb_pipeline)
        {
            if (status != KB_OK && i < first_bad) {
                first_bad = i;
                bad_err = field_err;
            }
            for (int s = 0; s < STAGE_COUNT; s++) {
                seconds[s] += way.seconds[s];
            }
            kb_progress_step(progress, ++done, plan->count);
        }
    }
    if (first_bad < plan->count) {
        return kb_plan_pass_on(&bad_err, err);
    }
    return kb_plan_book_times(result, stage_name, seconds, STAGE_COUNT, err);
}

static enum kb_status conclude(const struct kb_plan *plan, struct kb_result *result,
                               struct kb_err *err) {
    const struct kb_settings *settings = plan->settings;
    struct kb_field_figures *figures = kb_plan_figures(result);
    if (figures == NULL) {
        return kb_fail_memory(err, "app", result->fields * sizeof *figures);
    }
    enum kb_status status = kb_specimen_run(figures, result->fields, settings->material,
                                            &settings->specimen, &result->specimen, err);
    kb_free(figures);
    if (status != KB_OK) {
        return status;
    }
    kb_carbon_run(&result->specimen, settings->segmentation.proeutectoid, &settings->chemistry,
                  &settings->carbon, &result->carbon);
    result->carbon_known = result->carbon.total_percent.measured;
    return kb_judge(&result->specimen, &result->carbon, settings->limit, settings->limits,
                    &result->judgement, err);
}

static enum kb_status run(struct kb_plan *plan, const struct kb_progress *progress,
                          struct kb_result *result, struct kb_err *err) {
    enum kb_status status = kb_plan_begin(plan, result, err);
    if (status == KB_OK) {
        status = measure_fields(plan, progress, result, err);
    }
    if (status == KB_OK) {
        status = conclude(plan, result, err);
    }
    if (status == KB_OK && plan->folder != NULL) {
        status = kb_report_folder_commit(plan->folder, result, err);
    }
    return status;
}

enum kb_status kb_measure(const struct kb_settings_field *field, size_t fields,
                          const struct kb_settings *settings, const struct kb_progress *progress,
                          struct kb_result *result, struct kb_err *err) {
    *result = (struct kb_result){0};
    struct kb_plan plan = {.settings = settings};
    struct kb_locale locale = kb_locale_enter();
    enum kb_status status = kb_plan_make(field, fields, &plan, err);
    if (status == KB_OK) {
        status = run(&plan, progress, result, err);
    }
    kb_plan_release(&plan); /* abandons the output folder unless it was committed */
    kb_locale_leave(locale);
    if (status != KB_OK) {
        kb_result_release(result);
    }
    return status;
}

enum kb_status kb_measure_file(const char *path, const struct kb_settings *settings,
                               struct kb_result *result, struct kb_err *err) {
    const struct kb_settings_field field = {path, settings->segmentation.contrast};
    return kb_measure(&field, 1, settings, NULL, result, err);
}
