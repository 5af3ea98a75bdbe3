/* plan.c - everything a measurement needs before its first pixel: settings checked, paths expanded,
 * blank field read, output folder opened. */
#include "pipeline_priv.h"

#include <omp.h>
#include <string.h>
#include <time.h>

struct kb_settings kb_settings_default(enum kb_material material, enum kb_contrast contrast) {
    struct kb_settings settings = {
        .material = material,
        .intake = kb_intake_params_default(),
        .first_look = kb_first_look_params_default(),
        .segmentation = kb_segmentation_params_default(material, contrast),
        .morphology = kb_morphology_params_default(material),
        .specimen = kb_specimen_params_default(),
        .carbon = kb_carbon_params_default(material),
        .chemistry = kb_chemistry_unknown(),
        .batch = kb_batch_params_default(),
        .pictures = true,
    };
    for (int i = 0; i < KB_GIVENS; i++) {
        settings.given[i].value = (double)NAN;
    }
    return settings;
}

enum kb_status kb_plan_check(const struct kb_plan *plan, struct kb_err *err) {
    const struct kb_settings *settings = plan->settings;
    enum kb_status status = kb_intake_params_check(&settings->intake, err);
    if (status == KB_OK) {
        status = kb_first_look_params_check(&settings->first_look, err);
    }
    if (status == KB_OK) {
        status = kb_segmentation_params_check(&settings->segmentation, err);
    }
    if (status == KB_OK) {
        status = kb_morphology_params_check(&settings->morphology, err);
    }
    if (status == KB_OK) {
        status = kb_specimen_params_check(&settings->specimen, err);
    }
    if (status == KB_OK) {
        status = kb_carbon_constants_check(&settings->carbon.constants, err);
    }
    return status;
}

/* Append what one entry of the field list stands for. A picture that two entries name would weigh
 * twice and make the interval look narrower than it is: refused. */
enum kb_status kb_plan_add(struct kb_plan *plan, const struct kb_settings_field *field,
                           struct kb_err *err) {
    struct kb_paths found = {NULL, 0, 0};
    enum kb_status status = kb_paths_expand(field->path, &found, err);
    for (size_t i = 0; status == KB_OK && i < found.count; i++) {
        for (size_t k = 0; k < plan->count; k++) {
            if (strcmp(plan->path[k], found.path[i]) == 0) {
                status = kb_fail(err, KB_E_USAGE, "app", found.path[i],
                                 "this field is named twice (name each field once)");
            }
        }
    }
    size_t total = plan->count + found.count;
    if (status == KB_OK) {
        char **path = kb_resize(plan->path, total, sizeof *path);
        plan->path = path != NULL ? path : plan->path;
        struct kb_settings_field *named = kb_resize(plan->named, total, sizeof *named);
        plan->named = named != NULL ? named : plan->named;
        if (path == NULL || named == NULL) {
            status = kb_fail_memory(err, "app", total * sizeof *path);
        }
    }
    for (size_t i = 0; status == KB_OK && i < found.count; i++) {
        plan->path[plan->count] = found.path[i]; /* taken over */
        plan->named[plan->count++] = *field;
        found.path[i] = NULL;
    }
    kb_paths_release(&found);
    return status;
}

enum kb_status kb_plan_read_blank(const char *path, struct kb_field *blank, struct kb_err *err) {
    if (path == NULL) {
        return KB_OK;
    }
    struct kb_intake_params params = kb_intake_params_default();
    return kb_field_read(path, &params, blank, err);
}

enum kb_status kb_plan_make(const struct kb_settings_field *field, size_t fields,
                            struct kb_plan *plan, struct kb_err *err) {
    enum kb_status status = kb_plan_check(plan, err);
    if (status == KB_OK && fields == 0) {
        status = kb_fail(err, KB_E_USAGE, "app", NULL, "no field to measure (name a picture)");
    }
    for (size_t i = 0; status == KB_OK && i < fields; i++) {
        status = kb_plan_add(plan, &field[i], err);
    }
    return status;
}

void kb_plan_release(struct kb_plan *plan) {
    if (plan->folder != NULL) {
        kb_report_folder_abandon(plan->folder);
    }
    kb_field_release(&plan->blank);
    for (size_t i = 0; i < plan->count; i++) {
        kb_free(plan->path[i]);
    }
    kb_free(plan->path);
    kb_free(plan->named);
    kb_free(plan->moved);
    *plan = (struct kb_plan){.settings = NULL};
}

void kb_plan_stamp(char text[32]) {
    time_t now = time(NULL);
    struct tm local;
    char zone[8] = "";
    if (localtime_r(&now, &local) == NULL || strftime(text, 32, "%Y-%m-%dT%H:%M:%S", &local) == 0 ||
        strftime(zone, sizeof zone, "%z", &local) != 5) {
        text[0] = '\0';
        return;
    }
    size_t length = strlen(text);
    (void)snprintf(text + length, 32 - length, "%.3s:%.2s", zone, zone + 3);
}

/* Copies of the words that identify a run. False when out of memory. */
static bool copy_words(const struct kb_settings *settings, struct kb_result *result) {
    const struct {
        const char *from;
        char **to;
    } word[] = {
        {settings->specimen_id, &result->specimen_id},
        {settings->laboratory, &result->laboratory},
        {settings->operator_name, &result->operator_name},
        {settings->customer, &result->customer},
        {settings->remark, &result->remark},
        {settings->batch_name, &result->batch_name},
        {settings->casting, &result->casting},
        {settings->cast_on, &result->cast_on},
        {settings->job_path, &result->job_path},
    };
    for (size_t i = 0; i < sizeof word / sizeof word[0]; i++) {
        *word[i].to = kb_copy_string(word[i].from);
        if (word[i].from != NULL && *word[i].to == NULL) {
            return false;
        }
    }
    return true;
}

static bool copy_records(const struct kb_settings *settings, struct kb_result *result) {
    result->setting = kb_alloc_zero(settings->records, sizeof *result->setting);
    if (result->setting == NULL) {
        return false;
    }
    result->settings_capacity = settings->records;
    for (size_t i = 0; i < settings->records; i++) {
        const struct kb_setting_record *from = &settings->record[i];
        struct kb_setting_record *to = &result->setting[result->settings++];
        *to = (struct kb_setting_record){kb_copy_string(from->name), kb_copy_string(from->value),
                                         from->origin};
        if (to->name == NULL || to->value == NULL) {
            return false;
        }
    }
    return true;
}

enum kb_status kb_plan_begin(struct kb_plan *plan, struct kb_result *result, struct kb_err *err) {
    const struct kb_settings *settings = plan->settings;
    enum kb_status status = kb_plan_hands(plan, result, err);
    if (status == KB_OK) {
        status = kb_plan_asked(plan, result, err);
    }
    if (status == KB_OK) {
        status = kb_plan_make_moved(plan, err);
    }
    if (status != KB_OK) {
        return status;
    }
    if (settings->out_folder != NULL) {
        status = kb_report_folder_open(settings->out_folder, &plan->folder_here, err);
        if (status != KB_OK) {
            return status;
        }
        plan->folder = &plan->folder_here;
    }
    if (settings->laboratory_picture != NULL) {
        status = kb_house_mark_read(settings->laboratory_picture, &result->house_mark, err);
        if (status != KB_OK) {
            return status;
        }
    }
    if (settings->reviewed != NULL && !kb_reviewed_copy(settings->reviewed, &result->reviewed)) {
        return kb_fail_memory(err, "app", sizeof result->reviewed);
    }
    result->paper = settings->paper;
    result->language = settings->language;
    result->material = settings->material;
    result->proeutectoid = settings->segmentation.proeutectoid;
    result->segmentation_params = settings->segmentation;
    result->segmentation_params.exclusion = NULL;
    result->segmentation_params.exclusions = 0;
    result->segmentation_params.outline = NULL;
    result->segmentation_params.outlines = 0;
    result->segmentation_params.blank = NULL;
    result->segmentation_params.why = NULL;
    result->segmentation_params.whys = 0;
    result->morphology_params = settings->morphology;
    result->morphology_params.by_hand = NULL;
    result->morphology_params.by_hands = 0;
    result->morphology_params.shape = NULL;
    result->morphology_params.shapes = 0;
    result->specimen_params = settings->specimen;
    result->chemistry = settings->chemistry;
    kb_plan_stamp(result->made_at);
    result->field = kb_alloc_zero(plan->count, sizeof *result->field);
    if (result->field == NULL || !copy_words(settings, result) || !copy_records(settings, result)) {
        return kb_fail_memory(err, "app", plan->count * sizeof *result->field);
    }
    result->fields = plan->count;
    return KB_OK;
}

int kb_plan_threads(const struct kb_plan *plan) {
    int threads = plan->settings->threads > 0 ? plan->settings->threads : omp_get_max_threads();
    return plan->count < (size_t)threads ? (int)plan->count : threads;
}

void kb_plan_give(const struct kb_plan *plan, struct kb_specimen *specimen) {
    for (int i = 0; i < KB_GIVENS; i++) {
        const struct kb_given_value *given = &plan->settings->given[i];
        if (isfinite(given->value)) {
            specimen->given[i] = kb_given_estimate((enum kb_given)i, given->value, given->u);
        }
    }
}
