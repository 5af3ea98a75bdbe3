/* prove_measure.c - one specimen of the design: drawn, then measured as `keelblock measure` does.
 *
 * Fields stay in memory; from there on the way is the same (first look, segmentation, the gate of
 * preparation, morphology, sums), with the settings that `measure` takes by default for the
 * material and the contrast stated. A field that the tool refuses as not fit is kept as refused:
 * its rows fail. The truth of a field is that of its drawing, by the definition that the figure
 * has: for nodularity complete particles of 10 um and more, for the count those whose centre lies
 * in the frame.
 */
#include "pipeline_priv.h"
#include "prove.h"

#include <string.h>

const size_t kb_prove_sizes[KB_PROVE_SIZES] = {3, 5, 8};

/* ---- variants ----------------------------------------------------------------------------------
 */

enum turn { AS_IT_IS, QUARTER_TURN, MIRRORED };

static enum kb_status turn(struct kb_image *grey, enum turn how, struct kb_err *err) {
    if (how == AS_IT_IS) {
        return KB_OK;
    }
    bool quarter = how == QUARTER_TURN;
    struct kb_image turned;
    enum kb_status status = kb_image_alloc(quarter ? grey->height : grey->width,
                                           quarter ? grey->width : grey->height, &turned, err);
    if (status != KB_OK) {
        return status;
    }
    for (int32_t y = 0; y < turned.height; y++) {
        uint8_t *to = kb_row(&turned, y);
        for (int32_t x = 0; x < turned.width; x++) {
            to[x] = quarter ? kb_row(grey, grey->height - 1 - x)[y]
                            : kb_row(grey, y)[grey->width - 1 - x];
        }
    }
    kb_image_release(grey);
    *grey = turned;
    return KB_OK;
}

static double clamp(double value, double low, double high) {
    return fmin(fmax(value, low), high);
}

/* The renderer meets the share that it is asked for in every field, and spreads shapes more evenly
 * than chance would: nothing like a section. So fields of one population are asked for different
 * shares. */
static void vary(const struct kb_prove_task *task, struct kb_render_params *params) {
    uint64_t chance = params->seed;
    params->pearlite_of_matrix = clamp(
        params->pearlite_of_matrix + task->vary_pearlite * kb_prove_normal(&chance), 0.0, 1.0);
    params->nodularity =
        clamp(params->nodularity + task->vary_nodularity * kb_prove_normal(&chance), 0.0, 1.0);
    params->nodules_per_mm2 *= exp(task->vary_count * kb_prove_normal(&chance));
}

static enum kb_status draw(const struct kb_prove_task *task, size_t field, size_t variant,
                           struct kb_render *render, struct kb_err *err) {
    struct kb_render_params params = task->params;
    params.seed += field;
    params.exposure = task->kind == KB_PROOF_REPEATABILITY ? variant : 0;
    vary(task, &params);
    enum kb_status status = task->ellipses ? kb_prove_ellipses(task, params.seed, render, err)
                                           : kb_render_draw(&params, render, err);
    if (status == KB_OK && task->kind == KB_PROOF_TURNING) {
        status = turn(&render->grey, (enum turn)variant, err);
    }
    return status;
}

/* ---- the way of a field ------------------------------------------------------------------------
 */

static enum kb_status measure_field(const struct kb_prove_task *task,
                                    const struct kb_settings *settings, struct kb_image *grey,
                                    struct kb_field_result *out, struct kb_err *err) {
    char name[] = "rendered field";
    char *path[] = {name};
    struct kb_settings_field named = {name, task->contrast, false};
    const struct kb_plan plan = {.settings = settings, .path = path, .named = &named, .count = 1};
    const bool iron = kb_material_is_iron(task->material);
    struct kb_field_way way = {.index = 0, .out = out};
    enum kb_status status = kb_field_from_grey(grey, task->params.px_um, name, &way.field, err);
    if (status == KB_OK) {
        status = kb_way_look(&plan, &way, err);
    }
    if (status == KB_OK) {
        status = kb_way_segment(&plan, &way, err);
    }
    if (status == KB_OK) {
        status = kb_way_check(&plan, &way, err);
    }
    if (status == KB_OK && iron) {
        status = kb_morphology_run(&way.map, &way.field.grey, way.field.px_um,
                                   &settings->morphology, &out->particles, err);
    }
    if (status == KB_OK) {
        kb_way_check_touching(&plan, &way);
        kb_field_figures_make(&way.map, way.contrast, task->material, way.field.px_um,
                              kb_way_counted(&plan, &way), &out->figures);
    }
    kb_way_release(&way);
    return status;
}

/* ---- figures and their truth -------------------------------------------------------------------
 */

/* ISO 945-4 and ASTM E2567: a nodule has a shape factor of 0.6 or more, particles of less than
 * 10 um do not count (refs/nodularity_rules.csv, refs/particle_rules.csv). Stated here anew, so
 * that the truth does not come from what it is to judge. */
static const double least_um = 10.0, least_shape = 0.6;

static bool counts(const struct kb_render_particle *particle) {
    return particle->inside && particle->feret_max_um >= least_um;
}

static void set_truth(const struct kb_prove_task *task, const struct kb_render_truth *truth,
                      struct kb_prove_field *out) {
    const struct kb_render_params *p = &task->params;
    const double area_mm2 = 1e-6 * p->width * p->height * p->px_um * p->px_um;
    struct kb_prove_pair *pair = out->truth;
    pair[KB_PROVE_GRAPHITE] = (struct kb_prove_pair){truth->graphite, 1.0};
    pair[KB_PROVE_PEARLITE] = (struct kb_prove_pair){truth->pearlite, 1.0};
    pair[KB_PROVE_MATRIX] =
        (struct kb_prove_pair){truth->pearlite, truth->pearlite + truth->ferrite};
    pair[KB_PROVE_COUNT] = (struct kb_prove_pair){truth->nodules_per_mm2 * area_mm2, area_mm2};
    pair[KB_PROVE_COMPLETE].bottom = 1.0;
    for (size_t i = 0; i < truth->count; i++) {
        const struct kb_render_particle *particle = &truth->particle[i];
        if (!counts(particle)) {
            continue;
        }
        pair[KB_PROVE_NODULARITY].bottom += particle->area_um2;
        if (particle->shape_factor >= least_shape) {
            pair[KB_PROVE_NODULARITY].top += particle->area_um2;
            pair[KB_PROVE_COMPLETE].top += 1.0;
        }
    }
}

/* Of the constituents of the matrix, what was told apart. */
static double matrix_of(const struct kb_field_figures *figures) {
    double cementite = figures->fraction[KB_CEMENTITE];
    return figures->fraction[KB_PEARLITE] + figures->fraction[KB_FERRITE] +
           (isfinite(cementite) ? cementite : 0.0);
}

static void set_found(const struct kb_field_figures *figures, struct kb_prove_field *out) {
    struct kb_prove_pair *pair = out->found;
    const double area = figures->area_mm2;
    pair[KB_PROVE_GRAPHITE] = (struct kb_prove_pair){figures->fraction[KB_GRAPHITE], 1.0};
    pair[KB_PROVE_PEARLITE] = (struct kb_prove_pair){figures->fraction[KB_PEARLITE], 1.0};
    pair[KB_PROVE_MATRIX] =
        (struct kb_prove_pair){figures->fraction[KB_PEARLITE], matrix_of(figures)};
    pair[KB_PROVE_NODULARITY] = (struct kb_prove_pair){figures->nodular_um2[KB_NOD_ISO945_4],
                                                       figures->graphite_um2[KB_NOD_ISO945_4]};
    pair[KB_PROVE_COUNT] = (struct kb_prove_pair){figures->nodules_per_mm2 * area, area};
    pair[KB_PROVE_COMPLETE] = (struct kb_prove_pair){(double)figures->nodules, 1.0};
}

/* ---- a specimen --------------------------------------------------------------------------------
 */

static void keep_intervals(const struct kb_specimen *specimen,
                           struct kb_estimate interval[KB_PROVE_FIGURES]) {
    static const struct {
        enum kb_prove_figure figure;
        enum kb_quantity quantity;
    } pair[] = {
        {KB_PROVE_GRAPHITE, KB_Q_GRAPHITE},         {KB_PROVE_PEARLITE, KB_Q_PEARLITE},
        {KB_PROVE_MATRIX, KB_Q_PEARLITE_OF_MATRIX}, {KB_PROVE_NODULARITY, KB_Q_NODULARITY},
        {KB_PROVE_COUNT, KB_Q_NODULES_PER_MM2},
    };
    static const struct kb_carbon no_carbon = {0};
    for (size_t i = 0; i < sizeof pair / sizeof pair[0]; i++) {
        interval[pair[i].figure] = kb_quantity_value(pair[i].quantity, specimen, &no_carbon);
    }
}

/* The intervals that `measure` would print for the first 3, 5, ... fields. */
static enum kb_status pool(const struct kb_prove_task *task, const struct kb_settings *settings,
                           const struct kb_field_figures *figures, size_t count,
                           struct kb_prove_outcome *out, struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < KB_PROVE_SIZES && kb_prove_sizes[i] <= count && status == KB_OK; i++) {
        struct kb_specimen specimen;
        status = kb_specimen_run(figures, kb_prove_sizes[i], task->material, &settings->specimen,
                                 &specimen, err);
        if (status == KB_OK) {
            keep_intervals(&specimen, out->interval[i]);
            kb_specimen_release(&specimen);
        }
    }
    return status;
}

static void refuse(struct kb_prove_outcome *out, const struct kb_err *err) {
    if (out->refused++ == 0) {
        /* the reason, without the advice in brackets: nobody can focus a drawing again */
        (void)snprintf(out->why, sizeof out->why, "%.*s", (int)strcspn(err->text, "("), err->text);
    }
}

static void tell(struct kb_prove_count *count) {
#pragma omp critical(kb_prove_progress)
    kb_progress_step(count->progress, ++count->done, count->total);
}

/* Variant `variant` of field `index` into its slot; its figures, without particles, to *figures. */
static enum kb_status one_field(const struct kb_prove_task *task,
                                const struct kb_settings *settings, size_t index, size_t variant,
                                struct kb_field_figures *figures, struct kb_prove_outcome *out,
                                struct kb_err *err) {
    struct kb_prove_field *field = &out->field[variant * task->fields + index];
    struct kb_render render;
    struct kb_field_result result = {0};
    struct kb_err refusal = {.code = KB_OK};
    enum kb_status status = draw(task, index, variant, &render, err);
    if (status != KB_OK) {
        return status;
    }
    set_truth(task, &render.truth, field);
    status = measure_field(task, settings, &render.grey, &result, &refusal);
    if (status == KB_E_UNFIT) {
        refuse(out, &refusal);
        status = KB_OK;
    } else if (status != KB_OK) {
        status = kb_plan_pass_on(&refusal, err);
    } else {
        field->measured = true;
        out->accepted += result.unfit_accepted ? 1 : 0;
        set_found(&result.figures, field);
        kb_prove_match(&render.truth, &result.particles, field);
        *figures = result.figures;
        figures->particle = NULL; /* sizes in space are not proved here */
        figures->particle_count = 0;
    }
    kb_field_result_release(&result);
    kb_render_release(&render);
    return status;
}

static enum kb_status all_fields(const struct kb_prove_task *task, struct kb_prove_count *count,
                                 struct kb_field_figures *figures, struct kb_prove_outcome *out,
                                 struct kb_err *err) {
    struct kb_settings settings = kb_settings_default(task->material, task->contrast);
    enum kb_status status = KB_OK;
    settings.accept_unfit = task->accept_unfit;
    for (size_t v = 0; v < task->variants; v++) {
        for (size_t i = 0; i < task->fields && status == KB_OK; i++) {
            status = one_field(task, &settings, i, v, &figures[v * task->fields + i], out, err);
            tell(count);
        }
    }
    if (status == KB_OK && task->kind == KB_PROOF_COVERAGE && out->refused == 0) {
        status = pool(task, &settings, figures, task->fields, out, err);
    }
    return status;
}

enum kb_status kb_prove_measure(const struct kb_prove_task *task, struct kb_prove_count *count,
                                struct kb_prove_outcome *out, struct kb_err *err) {
    const size_t pictures = task->fields * task->variants;
    struct kb_field_figures *figures = kb_alloc_zero(pictures, sizeof *figures);
    *out = (struct kb_prove_outcome){.refused = 0};
    out->field = kb_alloc_zero(pictures, sizeof *out->field);
    enum kb_status status = figures != NULL && out->field != NULL
                                ? all_fields(task, count, figures, out, err)
                                : kb_fail_memory(err, "app", pictures * sizeof *out->field);
    kb_free(figures);
    if (status != KB_OK) {
        kb_prove_outcome_release(out);
    }
    return status;
}

void kb_prove_outcome_release(struct kb_prove_outcome *outcome) {
    kb_free(outcome->field);
    *outcome = (struct kb_prove_outcome){.refused = 0};
}
