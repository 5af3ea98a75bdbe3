/* field_way.c - steps of a field that are more than one call: contrast settled, masks handed on,
 * the gate of preparation, names, and the move of what the stages found into the result.
 */
#include "pipeline_priv.h"

#include <ctype.h>
#include <string.h>

void kb_way_release(struct kb_field_way *way) {
    kb_particles_drop_runs(&way->out->particles);
    kb_way_release_hands(way);
    kb_free(way->asked);
    kb_picture_release(&way->overlay);
    kb_phase_map_release(&way->map);
    kb_first_look_release(&way->look);
    kb_field_release(&way->field);
}

enum kb_status kb_way_look(const struct kb_plan *plan, struct kb_field_way *way,
                           struct kb_err *err) {
    const struct kb_settings_field *named = &plan->named[way->index];
    struct kb_first_look_params params = plan->settings->first_look;
    params.iron = kb_material_is_iron(plan->settings->material);
    way->contrast = named->contrast;
    if (!named->find_contrast && !params.find_marks) {
        return KB_OK;
    }
    enum kb_status status = kb_first_look_run(&way->field, &params, &way->look, err);
    if (status != KB_OK || !named->find_contrast) {
        return status;
    }
    const struct kb_contrast_found *found = &way->look.contrast;
    if (!found->sure) {
        return kb_fail(
            err, KB_E_USAGE, "firstlook", way->field.path,
            "cannot tell how this field was seen: light %.0f %%, light-unetched %.0f %%, "
            "sem %.0f %% (say --contrast light, light-unetched or sem)",
            100.0 * found->belief[KB_LIGHT], 100.0 * found->belief[KB_LIGHT_UNETCHED],
            100.0 * found->belief[KB_SEM]);
    }
    way->contrast = found->contrast;
    way->out->contrast_found = *found;
    return KB_OK;
}

static enum kb_status check_blank(const struct kb_plan *plan, const struct kb_field_way *way,
                                  struct kb_err *err) {
    const struct kb_field *field = &way->field;
    const struct kb_image *blank = &plan->blank.grey;
    if (blank->px != NULL &&
        (blank->width != field->grey.width || blank->height != field->grey.height)) {
        return kb_fail(err, KB_E_USAGE, "app", field->path,
                       "the blank field has %d x %d pixels, this field %d x %d (take both with the "
                       "same camera settings)",
                       blank->width, blank->height, field->grey.width, field->grey.height);
    }
    return KB_OK;
}

struct kb_segmentation_params kb_way_segmentation(const struct kb_plan *plan,
                                                  const struct kb_field_way *way) {
    struct kb_segmentation_params params = plan->settings->segmentation;
    params.material = plan->settings->material;
    params.contrast = way->contrast;
    params.blank = plan->blank.grey.px != NULL ? &plan->blank.grey : NULL;
    params.outside = way->look.outside.px != NULL ? &way->look.outside : NULL;
    params.exclusion = way->hands.exclusion;
    params.exclusions = way->hands.exclusions;
    params.why = way->asked;
    params.whys = way->asked_count;
    params.outline = way->hands.outline;
    params.outlines = way->hands.outlines;
    kb_way_thresholds(plan, way, &params);
    params.keep_grey = plan->kept_open;
    return params;
}

struct kb_morphology_params kb_way_morphology(const struct kb_plan *plan,
                                              const struct kb_field_way *way) {
    struct kb_morphology_params params = plan->settings->morphology;
    params.by_hand = way->hands.form;
    params.by_hands = way->hands.forms;
    params.shape = way->hands.shape;
    params.shapes = way->hands.shapes;
    params.keep_outlines = plan->kept_open || (plan->folder != NULL && plan->settings->pictures);
    return params;
}

enum kb_status kb_way_segment(const struct kb_plan *plan, struct kb_field_way *way,
                              struct kb_err *err) {
    enum kb_status status = kb_way_gather_hands(plan, way, err);
    if (status == KB_OK) {
        status = kb_way_gather_asked(plan, way, err);
    }
    if (status == KB_OK) {
        status = kb_way_check_hands(way, err);
    }
    if (status == KB_OK) {
        status = check_blank(plan, way, err);
    }
    if (status == KB_OK) {
        const struct kb_segmentation_params params = kb_way_segmentation(plan, way);
        status = kb_segment(&way->field, &params, &way->map, err);
    }
    return status;
}

enum kb_status kb_way_correct(const struct kb_plan *plan, struct kb_field_way *way,
                              struct kb_err *err) {
    const struct kb_segmentation_params params = kb_way_segmentation(plan, way);
    return kb_phase_map_correct(way->hands.phase, way->hands.phases, &params, &way->map, err);
}

/* The first check that is as bad as the whole. */
static const struct kb_check_result *worst_check(const struct kb_quality *quality) {
    for (int i = 0; i < KB_CHECKS; i++) {
        if (quality->check[i].looked && quality->check[i].fitness == quality->fitness) {
            return &quality->check[i];
        }
    }
    return &quality->check[0];
}

/* An error for a field that is not fit, unless it is to be measured all the same. */
static enum kb_status pass_gate(const struct kb_plan *plan, struct kb_field_way *way,
                                struct kb_err *err) {
    if (way->quality.fitness != KB_NOT_FIT) {
        return KB_OK;
    }
    if (!plan->settings->accept_unfit) {
        const struct kb_check_result *worst = worst_check(&way->quality);
        const size_t length = strlen(worst->advice); /* several sentences end with a stop */
        const int shown = (int)(length - (length > 0 && worst->advice[length - 1] == '.'));
        return kb_fail(err, KB_E_UNFIT, "quality", way->field.path,
                       "not fit to measure: %s (%.*s; --accept-unfit measures all the same)",
                       worst->says, shown, worst->advice);
    }
    way->out->unfit_accepted = true;
    return KB_OK;
}

static struct kb_quality_params quality_params(const struct kb_plan *plan,
                                               const struct kb_field_way *way) {
    struct kb_quality_params params =
        kb_quality_params_default(plan->settings->material, way->contrast);
    params.min_feret_um = fmax(plan->settings->morphology.min_feret_um, params.min_feret_um);
    return params;
}

enum kb_status kb_way_check(const struct kb_plan *plan, struct kb_field_way *way,
                            struct kb_err *err) {
    const struct kb_quality_params params = quality_params(plan, way);
    enum kb_status status = kb_quality_run(&way->field, &way->map, plan->settings->material,
                                           way->contrast, &params, &way->quality, err);
    return status == KB_OK ? pass_gate(plan, way, err) : status;
}

void kb_way_check_touching(const struct kb_plan *plan, struct kb_field_way *way) {
    const struct kb_morphology_params *rules = &plan->settings->morphology;
    const struct kb_particles *particles = &way->out->particles;
    if (!rules->part_touching || rules->flake || !(way->field.px_um > 0.0)) {
        return; /* nothing was parted, or nothing is counted */
    }
    const struct kb_quality_params params = quality_params(plan, way);
    kb_quality_touching(particles->doubtful, particles->doubtful_share, particles->doubtful_area,
                        &params, &way->quality);
    if (way->quality.check[KB_CHECK_TOUCHING].fitness == KB_NOT_FIT) {
        way->out->unfit_accepted = way->out->unfit_accepted || plan->settings->accept_unfit;
    }
}

const struct kb_particles *kb_way_counted(const struct kb_plan *plan,
                                          const struct kb_field_way *way) {
    const struct kb_check_result *touching = &way->quality.check[KB_CHECK_TOUCHING];
    bool sound = !touching->looked || touching->fitness != KB_NOT_FIT;
    return kb_material_is_iron(plan->settings->material) && (sound || plan->settings->accept_unfit)
               ? &way->out->particles
               : NULL;
}

enum kb_status kb_way_blame(const struct kb_plan *plan, const struct kb_field_way *way,
                            enum kb_status status, struct kb_err *err) {
    if (err != NULL && err->subject[0] == '\0' && status != KB_E_MEMORY) {
        (void)snprintf(err->subject, sizeof err->subject, "%s", plan->path[way->index]);
    }
    return status;
}

enum kb_status kb_plan_pass_on(const struct kb_err *from, struct kb_err *to) {
    if (to != NULL) {
        *to = *from;
    }
    return from->code;
}

/* A name that any file system and any page can hold, unique by its number. */
static void overlay_name(const char *path, size_t index, char *name, size_t size) {
    char stem[64];
    size_t length = 0;
    for (const char *c = kb_base_name(path); *c != '\0' && length + 1 < sizeof stem; c++) {
        bool plain = isalnum((unsigned char)*c) || *c == '-' || *c == '_';
        stem[length++] = plain ? *c : '-';
    }
    stem[length] = '\0';
    (void)snprintf(name, size, "overlay-%02zu-%s.png", index + 1, stem);
}

enum kb_status kb_way_write_overlay(const struct kb_plan *plan, struct kb_field_way *way,
                                    struct kb_err *err) {
    char name[128];
    overlay_name(plan->path[way->index], way->index, name, sizeof name);
    way->out->overlay_file = kb_copy_string(name);
    char *path = kb_report_folder_file(plan->folder, name);
    enum kb_status status = KB_OK;
    if (path == NULL || way->out->overlay_file == NULL) {
        status = kb_fail_memory(err, "app", sizeof name);
    } else {
        status = kb_write_png(path, &way->overlay, way->field.px_um, err);
    }
    kb_free(path);
    return status;
}

/* All of `from` but those whose code begins with `but` (NULL: all). */
static enum kb_status append_findings(const struct kb_findings *from, const char *but,
                                      struct kb_findings *to, struct kb_err *err) {
    for (size_t i = 0; i < from->count; i++) {
        const struct kb_finding *finding = &from->item[i];
        if (but != NULL && strncmp(finding->code, but, strlen(but)) == 0) {
            continue;
        }
        enum kb_status status =
            kb_findings_add(to, err, finding->severity, finding->code, "%s", finding->text);
        if (status != KB_OK) {
            return status;
        }
    }
    return KB_OK;
}

/* Findings of the first look. A stated contrast is not questioned, unless the picture is sure of
 * another. */
static enum kb_status look_findings(const struct kb_plan *plan, struct kb_field_way *way,
                                    struct kb_err *err) {
    struct kb_findings *to = &way->out->findings;
    const struct kb_contrast_found *found = &way->look.contrast;
    if (plan->named[way->index].find_contrast) {
        return append_findings(&way->look.findings, NULL, to, err);
    }
    enum kb_status status = append_findings(&way->look.findings, "contrast-", to, err);
    if (status == KB_OK && found->count > 0 && found->sure && found->contrast != way->contrast) {
        status =
            kb_findings_add(to, err, KB_WARNING, "contrast-looks-otherwise",
                            "The field was measured as %s, as stated, but looks like %s (belief "
                            "%.0f %%). Check --contrast.",
                            kb_contrast_name(way->contrast), kb_contrast_name(found->contrast),
                            100.0 * found->belief[found->contrast]);
    }
    return status;
}

/* A finding for each check that is not plainly fit. */
static enum kb_status quality_findings(const struct kb_field_way *way, struct kb_err *err) {
    struct kb_findings *findings = &way->out->findings;
    enum kb_status status = KB_OK;
    if (way->out->unfit_accepted) {
        status = kb_findings_add(findings, err, KB_SERIOUS, "measured-though-unfit",
                                 "This field is not fit to measure and was measured all the same, "
                                 "on demand. Its figures may be wrong.");
    }
    for (int i = 0; i < KB_CHECKS && status == KB_OK; i++) {
        const struct kb_check_result *check = &way->quality.check[i];
        if (check->looked && check->fitness != KB_FIT) {
            char code[40];
            (void)snprintf(code, sizeof code, "preparation-%s", kb_check_name((enum kb_check)i));
            status = kb_findings_add(
                findings, err, check->fitness == KB_NOT_FIT ? KB_SERIOUS : KB_WARNING, code,
                "%c%s. %s", toupper((unsigned char)check->says[0]), check->says + 1, check->advice);
        }
    }
    return status;
}

static void settle_field(struct kb_field_way *way) {
    struct kb_field *field = &way->field;
    struct kb_field_result *out = way->out;
    out->path = field->path; /* moved */
    field->path = NULL;
    memcpy(out->sha256, field->sha256, sizeof out->sha256);
    out->format = field->format;
    out->page = field->page;
    out->pages = field->pages;
    out->bits = field->bits;
    out->width = field->grey.width;
    out->height = field->grey.height;
    out->px_um = field->px_um;
    out->px_um_u = field->px_um_u;
    out->scale_source = field->scale_source;
}

enum kb_status kb_way_settle(const struct kb_plan *plan, struct kb_field_way *way,
                             struct kb_err *err) {
    struct kb_field_result *out = way->out;
    settle_field(way);
    out->contrast = way->contrast;
    out->mark = way->look.mark; /* moved */
    out->marks = way->look.marks;
    out->outside_px = way->look.outside_px;
    way->look.mark = NULL;
    way->look.marks = 0;
    out->segmentation = way->map.figures;
    out->quality = way->quality;
    out->exclusion = way->hands.exclusion; /* moved */
    out->exclusions = way->hands.exclusions;
    way->hands.exclusion = NULL;
    kb_way_note_hands(plan, way);
    enum kb_status status = append_findings(&way->field.findings, NULL, &out->findings, err);
    if (status == KB_OK) {
        status = look_findings(plan, way, err);
    }
    if (status == KB_OK) {
        status = append_findings(&way->map.findings, NULL, &out->findings, err);
    }
    if (status == KB_OK) {
        status = quality_findings(way, err);
    }
    if (status == KB_OK) {
        status = append_findings(&out->particles.findings, NULL, &out->findings, err);
    }
    return status;
}

struct kb_field_figures *kb_plan_figures(const struct kb_result *result) {
    struct kb_field_figures *figures = kb_alloc(result->fields, sizeof *figures);
    for (size_t i = 0; figures != NULL && i < result->fields; i++) {
        figures[i] = result->field[i].figures;
    }
    return figures;
}
