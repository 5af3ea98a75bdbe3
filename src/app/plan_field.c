/* plan_field.c - bookkeeping of one field: checks that need its size, names, and the move of what
 * the stages found into the result. */
#include "pipeline_priv.h"

#include <ctype.h>
#include <string.h>

enum kb_status kb_plan_check_field(const struct kb_plan *plan, const struct kb_field *field,
                                   struct kb_err *err) {
    const struct kb_segmentation_params *params = &plan->settings->segmentation;
    for (size_t i = 0; i < params->exclusions; i++) {
        const struct kb_rect *rect = &params->exclusion[i];
        if (rect->x >= field->grey.width || rect->y >= field->grey.height) {
            return kb_fail(err, KB_E_USAGE, "app", field->path,
                           "the exclusion %d,%d,%d,%d lies outside the picture of %d x %d pixels "
                           "(give x,y,width,height in its pixels)",
                           rect->x, rect->y, rect->width, rect->height, field->grey.width,
                           field->grey.height);
        }
    }
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

enum kb_status kb_plan_blame(const struct kb_plan *plan, size_t index, enum kb_status status,
                             struct kb_err *err) {
    if (err != NULL && err->subject[0] == '\0' && status != KB_E_MEMORY) {
        (void)snprintf(err->subject, sizeof err->subject, "%s", plan->path[index]);
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

enum kb_status kb_plan_write_overlay(const struct kb_plan *plan, size_t index,
                                     const struct kb_picture *overlay, double px_um,
                                     struct kb_field_result *out, struct kb_err *err) {
    char name[128];
    overlay_name(plan->path[index], index, name, sizeof name);
    out->overlay_file = kb_copy_string(name);
    char *path = kb_report_folder_file(plan->folder, name);
    enum kb_status status = KB_OK;
    if (path == NULL || out->overlay_file == NULL) {
        status = kb_fail_memory(err, "app", sizeof name);
    } else {
        status = kb_write_png(path, overlay, px_um, err);
    }
    kb_free(path);
    return status;
}

static enum kb_status append_findings(const struct kb_findings *from, struct kb_findings *to,
                                      struct kb_err *err) {
    for (size_t i = 0; i < from->count; i++) {
        const struct kb_finding *finding = &from->item[i];
        enum kb_status status =
            kb_findings_add(to, err, finding->severity, finding->code, "%s", finding->text);
        if (status != KB_OK) {
            return status;
        }
    }
    return KB_OK;
}

static enum kb_status copy_exclusions(const struct kb_segmentation_params *params,
                                      struct kb_field_result *out, struct kb_err *err) {
    if (params->exclusions == 0) {
        return KB_OK;
    }
    out->exclusion = kb_alloc(params->exclusions, sizeof *out->exclusion);
    if (out->exclusion == NULL) {
        return kb_fail_memory(err, "app", params->exclusions * sizeof *out->exclusion);
    }
    memcpy(out->exclusion, params->exclusion, params->exclusions * sizeof *out->exclusion);
    out->exclusions = params->exclusions;
    return KB_OK;
}

enum kb_status kb_plan_fill(const struct kb_plan *plan, size_t index, struct kb_field *field,
                            struct kb_phase_map *map, struct kb_field_result *out,
                            struct kb_err *err) {
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
    out->contrast = plan->contrast[index];
    out->segmentation = map->figures;
    enum kb_status status = copy_exclusions(&plan->settings->segmentation, out, err);
    if (status == KB_OK) {
        status = append_findings(&field->findings, &out->findings, err);
    }
    if (status == KB_OK) {
        status = append_findings(&map->findings, &out->findings, err);
    }
    if (status == KB_OK) {
        status = append_findings(&out->particles.findings, &out->findings, err);
    }
    return status;
}

enum kb_status kb_plan_book_times(struct kb_result *result, const char *const *stage,
                                  const double *seconds, size_t count, struct kb_err *err) {
    result->time = kb_alloc(count, sizeof *result->time);
    if (result->time == NULL) {
        return kb_fail_memory(err, "app", count * sizeof *result->time);
    }
    for (size_t i = 0; i < count; i++) {
        result->time[i] = (struct kb_stage_time){stage[i], seconds[i]};
    }
    result->times = count;
    return KB_OK;
}

struct kb_field_figures *kb_plan_figures(const struct kb_result *result) {
    struct kb_field_figures *figures = kb_alloc(result->fields, sizeof *figures);
    for (size_t i = 0; figures != NULL && i < result->fields; i++) {
        figures[i] = result->field[i].figures;
    }
    return figures;
}
