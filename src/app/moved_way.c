/* moved_way.c - what the intervals owe to the thresholds and to the pixel size.
 *
 * Each field is segmented and measured twice more, with all its thresholds lowered and raised by
 * the wanted step, given by hand; the specimen is pooled from each set, and the stage specimen
 * turns the differences into uncertainty. Thresholds move together in all fields, as they would
 * with another lamp or another eye. The gate of preparation is not asked again. A field that cannot
 * be measured so, or in which not the same constituents are told apart, makes the sensitivity
 * unknown; it fails nothing.
 */
#include "pipeline_priv.h"

#include <string.h>

enum kb_status kb_plan_make_moved(struct kb_plan *plan, struct kb_err *err) {
    if (!(plan->settings->specimen.threshold_step > 0.0)) {
        return KB_OK;
    }
    plan->moved = kb_alloc_zero(plan->count, sizeof *plan->moved);
    return plan->moved != NULL ? KB_OK
                               : kb_fail_memory(err, "app", plan->count * sizeof *plan->moved);
}

/* ---- one field ---- */

/* The thresholds of the field as found, `by` grey levels higher; false where the picture has
 * coarser levels than that. */
static bool move_thresholds(const struct kb_segmentation_figures *found, double by,
                            struct kb_segmentation_params *params) {
    const double level = (found->grey_high - found->grey_low) / 255.0; /* of the 8-bit picture */
    if (fabs(by) < level) {
        return false;
    }
    params->dark_threshold = fmax(found->threshold[0] + by, 0.0);
    if (found->thresholds == 2) {
        /* found: the last level of the middle class; by hand: the first of the brightest */
        double first = found->origin[1] == KB_THRESHOLD_FOUND ? level : 0.0;
        params->bright_threshold = fmax(found->threshold[1] + first + by, 0.0);
    }
    return true;
}

static enum kb_status measure_moved(const struct kb_plan *plan, const struct kb_field_way *way,
                                    const struct kb_segmentation_params *params,
                                    struct kb_field_figures *figures, struct kb_err *err) {
    const bool iron = kb_material_is_iron(params->material);
    struct kb_morphology_params morphology = kb_way_morphology(plan, way);
    morphology.keep_outlines = false;
    struct kb_phase_map map;
    struct kb_particles particles = {0};
    enum kb_status status = kb_segment(&way->field, params, &map, err);
    if (status == KB_OK) {
        status = kb_phase_map_correct(way->hands.phase, way->hands.phases, params, &map, err);
    }
    if (status == KB_OK && iron) {
        status = kb_morphology_run(&map, &way->field.grey, way->field.px_um, &morphology,
                                   &particles, err);
    }
    if (status == KB_OK) {
        kb_field_figures_make(&map, way->contrast, params->material, way->field.px_um,
                              iron ? &particles : NULL, figures);
        figures->particle = NULL; /* no sizes in space from it */
        figures->particle_count = 0;
    }
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
    return status;
}

/* What the field does not tell apart as it is, it shall not with moved thresholds; false where it
 * then shows less. */
static bool same_figures(const struct kb_field_figures *as_is, struct kb_field_figures *moved) {
    for (int phase = 0; phase < KB_PHASES; phase++) {
        if (isnan(as_is->fraction[phase])) {
            moved->fraction[phase] = (double)NAN;
        } else if (isnan(moved->fraction[phase])) {
            return false;
        }
    }
    if (isnan(as_is->pearlite_of_matrix)) {
        moved->pearlite_of_matrix = (double)NAN;
    }
    if (isnan(as_is->other_of_matrix)) {
        moved->other_of_matrix = (double)NAN;
    }
    return isnan(as_is->pearlite_of_matrix) == isnan(moved->pearlite_of_matrix);
}

enum kb_status kb_way_move(const struct kb_plan *plan, struct kb_field_way *way,
                           struct kb_err *err) {
    struct kb_moved *moved = way->moved;
    if (moved == NULL) {
        return KB_OK;
    }
    const double step = plan->settings->specimen.threshold_step;
    moved->known = true;
    for (int end = 0; end < 2 && moved->known; end++) {
        struct kb_field_figures *figures = end == 0 ? &moved->lower : &moved->higher;
        struct kb_segmentation_params params = kb_way_segmentation(plan, way);
        params.whys = 0;
        struct kb_err why = {.code = KB_OK};
        enum kb_status status = KB_E_USAGE;
        if (move_thresholds(&way->map.figures, end == 0 ? -step : step, &params)) {
            status = measure_moved(plan, way, &params, figures, &why);
        }
        if (status == KB_E_MEMORY || status == KB_E_SYSTEM) {
            return kb_plan_pass_on(&why, err);
        }
        moved->known = status == KB_OK && same_figures(&way->out->figures, figures);
    }
    return KB_OK;
}

/* ---- the specimen ---- */

/* The largest relative uncertainty of a pixel size, since one calibration serves all fields; 0 when
 * a field states none. */
static double scale_uncertainty(const struct kb_result *result) {
    double largest = 0.0;
    for (size_t i = 0; i < result->fields; i++) {
        const struct kb_field_result *field = &result->field[i];
        if (!(field->px_um > 0.0) || !(field->px_um_u > 0.0)) {
            return 0.0;
        }
        largest = fmax(largest, field->px_um_u / field->px_um);
    }
    return largest;
}

static bool all_known(const struct kb_plan *plan) {
    for (size_t i = 0; i < plan->count; i++) {
        if (!plan->moved[i].known) {
            return false;
        }
    }
    return true;
}

static enum kb_status pool_moved(const struct kb_plan *plan, bool higher,
                                 struct kb_specimen *specimen, struct kb_err *err) {
    struct kb_field_figures *figures = kb_alloc(plan->count, sizeof *figures);
    if (figures == NULL) {
        return kb_fail_memory(err, "app", plan->count * sizeof *figures);
    }
    for (size_t i = 0; i < plan->count; i++) {
        figures[i] = higher ? plan->moved[i].higher : plan->moved[i].lower;
    }
    enum kb_status status = kb_specimen_run(figures, plan->count, plan->settings->material,
                                            &plan->settings->specimen, specimen, err);
    kb_free(figures);
    return status;
}

enum kb_status kb_plan_combine(const struct kb_plan *plan, struct kb_result *result,
                               struct kb_err *err) {
    struct kb_specimen lower = {.fields = 0};
    struct kb_specimen higher = {.fields = 0};
    struct kb_beyond_fields beyond = {
        .scale_u = scale_uncertainty(result),
        .threshold_step = plan->settings->specimen.threshold_step,
    };
    enum kb_status status = KB_OK;
    if (plan->moved != NULL && all_known(plan)) {
        status = pool_moved(plan, false, &lower, err);
        if (status == KB_OK) {
            status = pool_moved(plan, true, &higher, err);
        }
        beyond.lower = &lower;
        beyond.higher = &higher;
    }
    if (status == KB_OK) {
        status = kb_specimen_combine(&result->specimen, &beyond, err);
    }
    kb_specimen_release(&lower);
    kb_specimen_release(&higher);
    return status;
}
