/* pipeline.c - the whole way, from paths to a signed-off result, in the order in which it happens:
 *
 *   intake > first look > segmentation > quality > by hand > morphology   per field, in parallel
 *   specimen > carbon > judge > report                                    once
 *
 * No arithmetic here. Fields do not know of each other; their results land in slots by index, so
 * that the number of threads cannot change anything.
 */
#include "pipeline_priv.h"

#include <omp.h>

static enum kb_status read(const struct kb_plan *plan, struct kb_field_way *way,
                           struct kb_err *err) {
    const struct kb_intake_params params = kb_way_intake(plan, way);
    return kb_field_read(plan->path[way->index], &params, &way->field, err);
}

static enum kb_status measure(const struct kb_plan *plan, struct kb_field_way *way,
                              struct kb_err *err) {
    if (!kb_material_is_iron(plan->settings->material)) {
        return KB_OK; /* no graphite: no particles */
    }
    const struct kb_morphology_params params = kb_way_morphology(plan, way);
    enum kb_status status = kb_morphology_run(&way->map, &way->field.grey, way->field.px_um,
                                              &params, &way->out->particles, err);
    if (status == KB_OK) {
        kb_way_check_touching(plan, way);
    }
    return status;
}

static enum kb_status sum_up(const struct kb_plan *plan, struct kb_field_way *way,
                             struct kb_err *err) {
    const enum kb_material material = plan->settings->material;
    const struct kb_particles *particles = kb_way_counted(plan, way);
    struct kb_field_figures *figures = &way->out->figures;
    kb_field_figures_make(&way->map, way->contrast, material, way->field.px_um, particles, figures);
    return material == KB_GREY_IRON
               ? kb_flake_figures_make(&way->map, particles, figures, &figures->flakes, err)
               : KB_OK;
}

/* Overlay into the output folder, small pictures into the result. */
static enum kb_status draw(const struct kb_plan *plan, struct kb_field_way *way,
                           struct kb_err *err) {
    const int32_t shown_width = 1000; /* pixels: sharp on A4 at half width, small enough to mail */
    const bool iron = kb_material_is_iron(plan->settings->material);
    if (!plan->settings->pictures || (plan->folder == NULL && !plan->small_pictures)) {
        return KB_OK;
    }
    kb_way_note_hands(plan, way);
    const struct kb_overlay_hands hands = {plan->hand, plan->hands, way->index + 1};
    enum kb_status status = kb_draw_overlay_by_hand(
        &way->field, &way->map, iron ? &way->out->particles : NULL, &hands, &way->overlay, err);
    if (status == KB_OK && plan->folder != NULL) {
        status = kb_way_write_overlay(plan, way, err);
    }
    if (status == KB_OK) {
        status = kb_report_pictures(&way->field, &way->overlay, shown_width, way->out, err);
    }
    return status;
}

/* The way of a field through the stages. */
static const struct {
    const char *stage;
    enum kb_status (*step)(const struct kb_plan *plan, struct kb_field_way *way,
                           struct kb_err *err);
} way_of_a_field[KB_WAY_STEPS] = {
    [KB_STEP_READ] = {"intake", read},
    [KB_STEP_LOOK] = {"first look", kb_way_look},
    [KB_STEP_SEGMENT] = {"segmentation", kb_way_segment},
    [KB_STEP_CHECK] = {"quality", kb_way_check},
    [KB_STEP_CORRECT] = {"by hand", kb_way_correct},
    {"morphology", measure},
    {"specimen", sum_up},
    {"thresholds", kb_way_move},
    {"pictures", draw},
    {"explaining", kb_way_explain},
    {"bookkeeping", kb_way_settle},
};

enum kb_status kb_way_steps(const struct kb_plan *plan, struct kb_field_way *way,
                            enum kb_way_step first, int end, double seconds[KB_WAY_STEPS],
                            struct kb_err *err) {
    enum kb_status status = KB_OK;
    struct kb_locale locale = kb_locale_enter(); /* it is a thread's own */
    for (int i = (int)first; i < end && status == KB_OK; i++) {
        const double begun = kb_clock_s();
        status = way_of_a_field[i].step(plan, way, err);
        seconds[i] = kb_clock_s() - begun;
    }
    kb_locale_leave(locale);
    return status == KB_OK ? KB_OK : kb_way_blame(plan, way, status, err);
}

enum kb_status kb_way_go(const struct kb_plan *plan, struct kb_field_way *way,
                         double seconds[KB_WAY_STEPS], struct kb_err *err) {
    return kb_way_steps(plan, way, KB_STEP_READ, KB_WAY_STEPS, seconds, err);
}

/* Fields in parallel. Of several failures the one with the lowest index is reported, whatever the
 * threads did; fields behind a failure are not begun. */
static enum kb_status measure_fields(const struct kb_plan *plan, const struct kb_progress *progress,
                                     struct kb_result *result, struct kb_err *err) {
    size_t first_bad = plan->count, done = 0;
    struct kb_err bad_err = {.code = KB_OK};
#pragma omp parallel for schedule(dynamic, 1) num_threads(kb_plan_threads(plan))
    for (size_t i = 0; i < plan->count; i++) {
        size_t bad_so_far = 0;
#pragma omp atomic read
        bad_so_far = first_bad;
        if (i > bad_so_far) {
            continue;
        }
        struct kb_field_way way = {.index = i, .out = &result->field[i]};
        way.moved = plan->moved != NULL ? &plan->moved[i] : NULL;
        struct kb_err field_err = {.code = KB_OK};
        double seconds[KB_WAY_STEPS] = {0};
        enum kb_status status = kb_way_go(plan, &way, seconds, &field_err);
        kb_way_release(&way);
#pragma omp critical(kb_pipeline)
        {
            if (status != KB_OK && i < first_bad) {
                first_bad = i;
                bad_err = field_err;
            }
            for (int s = 0; s < KB_WAY_STEPS; s++) {
                result->time[s].seconds += seconds[s];
            }
            kb_progress_step(progress, ++done, plan->count);
        }
    }
    return first_bad < plan->count ? kb_plan_pass_on(&bad_err, err) : KB_OK;
}

/* One row of times a step, filled as fields come in. */
static enum kb_status lay_out_times(struct kb_result *result, struct kb_err *err) {
    result->time = kb_alloc(KB_WAY_STEPS, sizeof *result->time);
    if (result->time == NULL) {
        return kb_fail_memory(err, "app", KB_WAY_STEPS * sizeof *result->time);
    }
    for (int i = 0; i < KB_WAY_STEPS; i++) {
        result->time[i] = (struct kb_stage_time){way_of_a_field[i].stage, 0.0};
    }
    result->times = KB_WAY_STEPS;
    return KB_OK;
}

enum kb_status kb_plan_conclude(const struct kb_plan *plan, struct kb_result *result,
                                struct kb_err *err) {
    const struct kb_settings *settings = plan->settings;
    struct kb_field_figures *figures = kb_plan_figures(result);
    if (figures == NULL) {
        return kb_fail_memory(err, "app", result->fields * sizeof *figures);
    }
    enum kb_status status = kb_specimen_run(figures, result->fields, settings->material,
                                            &settings->specimen, &result->specimen, err);
    kb_free(figures);
    if (status == KB_OK) {
        status = kb_plan_combine(plan, result, err);
    }
    if (status != KB_OK) {
        return status;
    }
    kb_plan_give(plan, &result->specimen);
    kb_carbon_run(&result->specimen, settings->segmentation.proeutectoid, &settings->chemistry,
                  &settings->carbon, &result->carbon);
    result->carbon_known = result->carbon.total_percent.measured;
    status = kb_judge(&result->specimen, &result->carbon, settings->limit, settings->limits,
                      settings->rule, &result->judgement, err);
    return status == KB_OK ? kb_plan_tell_hands(plan, result, err) : status;
}

static enum kb_status run(struct kb_plan *plan, const struct kb_progress *progress,
                          struct kb_result *result, struct kb_err *err) {
    enum kb_status status = kb_plan_begin(plan, result, err);
    if (status == KB_OK) {
        status = lay_out_times(result, err);
    }
    if (status == KB_OK) {
        status = measure_fields(plan, progress, result, err);
    }
    if (status == KB_OK) {
        status = kb_plan_conclude(plan, result, err);
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
        status = kb_plan_read_blank(settings->blank_path, &plan.blank, err);
    }
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
    const struct kb_settings_field field = {path, settings->segmentation.contrast, false};
    return kb_measure(&field, 1, settings, NULL, result, err);
}
