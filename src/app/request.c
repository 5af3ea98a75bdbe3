/* request.c - a request's life: defaults, assignments, and the resolution that turns what was said
 * into settings with a record of where each came from.
 *
 * Order of resolution: material and contrast first, since other defaults hang on them; then the job
 * file, then the command line over it.
 */
#include "request.h"

#include <string.h>

void kb_request_init(struct kb_request *request, enum kb_command command) {
    *request = (struct kb_request){
        .command = command,
        .settings = kb_settings_default(KB_DUCTILE_IRON, KB_LIGHT),
        .render = kb_render_params_default(),
        .prepare = kb_prepare_params_default(KB_DUCTILE_IRON),
        .question = {.graphite = NAN, .pearlite = NAN, .carbon = NAN},
        .render_fields = 1,
        .seed = 1,
    };
    request->min_fields = (int64_t)request->settings.specimen.min_fields;
    request->min_particles = (int64_t)request->settings.specimen.min_particles;
}

void kb_request_release(struct kb_request *request) {
    for (size_t i = 0; i < request->assignments; i++) {
        kb_free(request->assignment[i].value);
    }
    for (size_t i = 0; i < request->fields; i++) {
        kb_free(request->field[i].path);
    }
    for (size_t i = 0; i < request->records; i++) {
        kb_free(request->record[i].name);
        kb_free(request->record[i].value);
    }
    for (size_t i = 0; i < request->kept_count; i++) {
        kb_free(request->kept[i]);
    }
    kb_free(request->assignment);
    kb_free(request->field);
    kb_free(request->record);
    kb_free(request->kept);
    kb_free(request->limit);
    kb_free(request->hand);
    if (request->review != NULL) {
        kb_record_release(request->review);
        kb_free(request->review);
    }
    kb_free(request->asked);
    *request = (struct kb_request){0};
}

void *kb_request_keep_bytes(struct kb_request *request, size_t size) {
    void *items = request->kept;
    if (!kb_grow(&items, request->kept_count, &request->kept_capacity, sizeof *request->kept)) {
        return NULL;
    }
    request->kept = items;
    void *bytes = kb_alloc(size, 1);
    if (bytes != NULL) {
        request->kept[request->kept_count++] = bytes;
    }
    return bytes;
}

char *kb_request_keep(struct kb_request *request, const char *string) {
    const size_t size = strlen(string) + 1;
    char *copy = kb_request_keep_bytes(request, size);
    if (copy != NULL) {
        memcpy(copy, string, size);
    }
    return copy;
}

enum kb_status kb_request_assign(struct kb_request *request, const struct kb_option *option,
                                 const char *value, enum kb_origin origin, const char *where,
                                 const char *key, struct kb_err *err) {
    void *items = request->assignment;
    char *copy = kb_copy_string(value);
    if (copy == NULL || !kb_grow(&items, request->assignments, &request->assignments_capacity,
                                 sizeof *request->assignment)) {
        kb_free(copy);
        return kb_fail_memory(err, "app", sizeof *request->assignment);
    }
    request->assignment = items;
    struct kb_assignment *fresh = &request->assignment[request->assignments++];
    *fresh = (struct kb_assignment){.option = option, .value = copy, .origin = origin};
    (void)snprintf(fresh->where, sizeof fresh->where, "%s", where);
    (void)snprintf(fresh->key, sizeof fresh->key, "%s", key);
    return KB_OK;
}

enum kb_status kb_request_name_field(struct kb_request *request, const char *path,
                                     struct kb_said_contrast contrast, enum kb_origin origin,
                                     struct kb_err *err) {
    void *items = request->field;
    char *copy = kb_copy_string(path);
    if (copy == NULL ||
        !kb_grow(&items, request->fields, &request->fields_capacity, sizeof *request->field)) {
        kb_free(copy);
        return kb_fail_memory(err, "app", sizeof *request->field);
    }
    request->field = items;
    request->field[request->fields++] = (struct kb_named_field){copy, contrast, origin};
    return KB_OK;
}

const struct kb_assignment *kb_request_said(const struct kb_request *request,
                                            const struct kb_option *option) {
    const struct kb_assignment *last = NULL;
    for (size_t i = 0; i < request->assignments; i++) {
        const struct kb_assignment *said = &request->assignment[i];
        if (said->option == option && (last == NULL || said->origin >= last->origin)) {
            last = said;
        }
    }
    return last;
}

static enum kb_status apply_named(struct kb_request *request, const char *name,
                                  struct kb_err *err) {
    const struct kb_option *option = kb_option_by_name(name, request->command);
    const struct kb_assignment *said = option != NULL ? kb_request_said(request, option) : NULL;
    return said != NULL ? kb_apply(request, said, err) : KB_OK;
}

enum kb_status kb_request_place(struct kb_request *request, struct kb_err *err) {
    enum kb_status status = apply_named(request, "grade", err);
    return status == KB_OK ? apply_named(request, "section-thickness", err) : status;
}

static enum kb_status read_files(struct kb_request *request, struct kb_err *err) {
    enum kb_status status = apply_named(request, "job", err);
    if (status == KB_OK && request->job_path != NULL) {
        status = kb_request_job(request, request->job_path, false, err);
    }
    if (status == KB_OK) {
        status = apply_named(request, "limits", err);
    }
    /* of a batch they may hang on the grade of each specimen, whose own request reads them */
    if (status == KB_OK && request->limits_path != NULL && request->command != KB_BATCH) {
        status = kb_request_job(request, request->limits_path, true, err);
    }
    return status;
}

/* Defaults hang on material and contrast: take those first. */
static enum kb_status settle_material(struct kb_request *request, struct kb_err *err) {
    enum kb_status status = apply_named(request, "contrast", err);
    if (status == KB_OK) {
        status = apply_named(request, "material", err);
    }
    if (status != KB_OK) {
        return status;
    }
    /* fields named before any contrast take the last one said; where none was, it is found */
    const struct kb_said_contrast unsaid = {true, true, KB_LIGHT};
    for (size_t i = 0; i < request->fields; i++) {
        if (!request->field[i].contrast.said) {
            request->field[i].contrast = request->contrast.said ? request->contrast : unsaid;
        }
    }
    request->settings = kb_settings_default(request->settings.material, request->contrast.contrast);
    return apply_named(request, "constants", err); /* before the single values, which go first */
}

static enum kb_status apply_all(struct kb_request *request, enum kb_origin origin,
                                struct kb_err *err) {
    for (size_t i = 0; i < request->assignments; i++) {
        const struct kb_assignment *said = &request->assignment[i];
        bool settled = said->option->own == kb_own_material ||
                       said->option->own == kb_own_contrast ||
                       said->option->own == kb_own_constants;
        if (said->origin != origin || settled) {
            continue;
        }
        enum kb_status status = kb_apply(request, said, err);
        if (status != KB_OK) {
            return status;
        }
    }
    return KB_OK;
}

const char *kb_origin_name(enum kb_origin origin) {
    static const char *const name[] = {"default", "job file", "manifest", "command line"};
    return name[origin];
}

static enum kb_status record(struct kb_request *request, const char *name, const char *value,
                             enum kb_origin origin, struct kb_err *err) {
    void *items = request->record;
    if (!kb_grow(&items, request->records, &request->records_capacity, sizeof *request->record)) {
        return kb_fail_memory(err, "app", sizeof *request->record);
    }
    request->record = items;
    struct kb_setting_record *fresh = &request->record[request->records++];
    *fresh = (struct kb_setting_record){kb_copy_string(name), kb_copy_string(value),
                                        kb_origin_name(origin)};
    if (fresh->name == NULL || fresh->value == NULL) {
        return kb_fail_memory(err, "app", strlen(value));
    }
    return KB_OK;
}

static enum kb_status record_said(struct kb_request *request, const struct kb_assignment *from,
                                  struct kb_err *err) {
    char name[96];
    (void)snprintf(name, sizeof name, "%s%s%s", from->option->name, from->key[0] ? " " : "",
                   from->key);
    return record(request, name, from->value, from->origin, err);
}

/* Whether an assignment is listed: one that another takes the place of is not. */
static bool is_listed(const struct kb_request *request, const struct kb_assignment *from) {
    return from->option->repeats || from == kb_request_said(request, from->option);
}

static bool is_by_hand(const struct kb_option *option) {
    return option->section != NULL && strcmp(option->section, "by_hand") == 0;
}

static enum kb_status record_option(struct kb_request *request, const struct kb_option *option,
                                    struct kb_err *err) {
    enum kb_status status = KB_OK;
    bool said = false;
    for (size_t k = 0; k < request->assignments && status == KB_OK; k++) {
        const struct kb_assignment *from = &request->assignment[k];
        if (from->option == option && is_listed(request, from)) {
            status = record_said(request, from, err);
            said = true;
        }
    }
    char text[48];
    kb_option_default(option, text, sizeof text);
    if (!said && status == KB_OK && text[0] != '\0') {
        status = record(request, option->name, text, KB_FROM_DEFAULT, err);
    }
    return status;
}

/* Decisions by hand, in the order in which they are obeyed: what is cut first is joined later. */
static enum kb_status record_hands(struct kb_request *request, struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (int origin = KB_FROM_DEFAULT; origin <= KB_FROM_LINE; origin++) {
        for (size_t k = 0; k < request->assignments && status == KB_OK; k++) {
            const struct kb_assignment *from = &request->assignment[k];
            if ((int)from->origin == origin && is_by_hand(from->option) &&
                (from->option->commands & KB_MEASURE) != 0 && is_listed(request, from)) {
                status = record_said(request, from, err);
            }
        }
    }
    return status;
}

/* One line an option that decides the figures: what it is and who said so. */
static enum kb_status record_settings(struct kb_request *request, struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < kb_option_count && status == KB_OK; i++) {
        const struct kb_option *option = &kb_options[i];
        bool decides = (option->commands & KB_MEASURE) != 0 && option->section != NULL &&
                       strcmp(option->section, "output") != 0;
        if (decides && !is_by_hand(option)) {
            status = record_option(request, option, err);
        }
    }
    return status == KB_OK ? record_hands(request, err) : status;
}

/* Put the collected lists and switches where the library looks for them. */
static void link_settings(struct kb_request *request) {
    struct kb_settings *settings = &request->settings;
    settings->pictures = !request->no_pictures;
    settings->first_look.find_marks = !request->whole_frame;
    settings->segmentation.even_light = !request->keep_light;
    settings->morphology.part_touching =
        settings->morphology.part_touching && !request->keep_touching;
    settings->intake.page = (uint32_t)request->page;
    settings->threads = (int)request->threads;
    settings->specimen.min_fields = (size_t)request->min_fields;
    settings->specimen.min_particles = (size_t)request->min_particles;
    settings->by_hand = request->hand;
    settings->by_hands = request->hands;
    settings->reviewed = request->review != NULL ? &request->reviewed : NULL;
    settings->asked = request->asked;
    settings->asked_count = request->asked_count;
    settings->limit = request->limit;
    settings->limits = request->limits;
    settings->record = request->record;
    settings->records = request->records;
    settings->job_path = request->job_path;
    request->render.seed = (uint64_t)request->seed;
}

/* Fields of the manifest or the command line replace those of the job file. */
static void choose_fields(struct kb_request *request) {
    enum kb_origin strongest = KB_FROM_DEFAULT;
    for (size_t i = 0; i < request->fields; i++) {
        const enum kb_origin origin = request->field[i].origin;
        strongest = origin > strongest ? origin : strongest;
    }
    size_t kept = 0;
    for (size_t i = 0; i < request->fields; i++) {
        struct kb_named_field *field = &request->field[i];
        if (field->origin != strongest) {
            kb_free(field->path);
            continue;
        }
        request->field[kept++] = *field;
    }
    request->fields = kept;
}

enum kb_status kb_request_resolve(struct kb_request *request, struct kb_err *err) {
    enum kb_status status = read_files(request, err);
    if (status == KB_OK) {
        choose_fields(request);
        status = settle_material(request, err);
    }
    if (status == KB_OK) {
        status = apply_all(request, KB_FROM_JOB, err);
    }
    if (status == KB_OK) {
        status = apply_all(request, KB_FROM_MANIFEST, err);
    }
    if (status == KB_OK) {
        status = apply_all(request, KB_FROM_LINE, err);
    }
    if (status == KB_OK && (request->command & (KB_MEASURE | KB_REVIEW)) != 0) {
        status = kb_request_thresholds(request, err);
    }
    if (status == KB_OK && (request->command & (KB_MEASURE | KB_REVIEW)) != 0) {
        status = record_settings(request, err);
    }
    if (status == KB_OK) {
        link_settings(request);
    }
    return status;
}
