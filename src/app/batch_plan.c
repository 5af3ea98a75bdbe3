/* batch_plan.c - from an order to the list of its fields, before any picture is opened.
 *
 * A specimen of the batch is planned as `measure` would plan it; what differs is a name that means
 * no file: alone it is an error, here it becomes a field that fails by itself, so that one missing
 * picture does not stop the others. The digest of the plan covers the names of all fields and the
 * settings that measure them; parts that were measured for another plan are not joined with this
 * one.
 */
#include "batch_run.h"

#include <string.h>

/* ---- fields of a specimen ---- */

static bool means_something(const char *path) {
    struct kb_paths found = {NULL, 0, 0};
    const bool found_any = kb_paths_expand(path, &found, NULL) == KB_OK;
    kb_paths_release(&found);
    return found_any;
}

/* A field that will fail: its name as it stands. */
static enum kb_status keep_missing(const struct kb_settings_field *field, struct kb_plan *plan,
                                   struct kb_err *err) {
    const size_t total = plan->count + 1;
    char **path = kb_resize(plan->path, total, sizeof *path);
    plan->path = path != NULL ? path : plan->path;
    struct kb_settings_field *named = kb_resize(plan->named, total, sizeof *named);
    plan->named = named != NULL ? named : plan->named;
    char *copy = kb_copy_string(field->path);
    if (path == NULL || named == NULL || copy == NULL) {
        kb_free(copy);
        return kb_fail_memory(err, "app", total * sizeof *path);
    }
    plan->path[plan->count] = copy;
    plan->named[plan->count++] = *field;
    return KB_OK;
}

static enum kb_status list_fields(const struct kb_order_specimen *specimen, struct kb_plan *plan,
                                  struct kb_err *err) {
    plan->settings = &specimen->settings;
    enum kb_status status = kb_plan_check(plan, err);
    if (status == KB_OK && specimen->settings.out_folder != NULL) {
        status = kb_fail(err, KB_E_USAGE, "app", specimen->id,
                         "a specimen of a batch has no folder of its own (leave out_folder NULL)");
    }
    if (status == KB_OK && specimen->fields == 0) {
        status = kb_fail(err, KB_E_USAGE, "app", specimen->id,
                         "this specimen has no field to measure (name its pictures)");
    }
    for (size_t i = 0; i < specimen->fields && status == KB_OK; i++) {
        status = means_something(specimen->field[i].path)
                     ? kb_plan_add(plan, &specimen->field[i], err)
                     : keep_missing(&specimen->field[i], plan, err);
    }
    return status;
}

enum kb_status kb_batch_plan_hands(const struct kb_batch_run *run, size_t specimen,
                                   struct kb_plan *plan, struct kb_result *scratch,
                                   struct kb_err *err) {
    *plan = run->plan[specimen];
    return kb_plan_hands(plan, scratch, err);
}

/* Decisions by hand must fit, and are refused before anything is measured. */
static enum kb_status check_hands(const struct kb_batch_run *run, size_t specimen,
                                  struct kb_err *err) {
    struct kb_result *scratch = kb_alloc_zero(1, sizeof *scratch);
    if (scratch == NULL) {
        return kb_fail_memory(err, "app", sizeof *scratch);
    }
    struct kb_plan plan;
    enum kb_status status = kb_batch_plan_hands(run, specimen, &plan, scratch, err);
    kb_result_release(scratch);
    kb_free(scratch);
    return status;
}

/* ---- blank fields ---- */

/* Specimens of one job file share their blank field: look at it once. */
static enum kb_status digest_blank(struct kb_batch_run *run, size_t specimen, struct kb_err *err) {
    const struct kb_order_specimen *order = run->order->specimen;
    const char *path = order[specimen].settings.blank_path;
    char *digest = run->blank_sha256[specimen];
    const char *before = specimen > 0 ? order[specimen - 1].settings.blank_path : NULL;
    if (path == NULL) {
        return KB_OK;
    }
    if (before != NULL && strcmp(before, path) == 0) {
        memcpy(digest, run->blank_sha256[specimen - 1], sizeof run->blank_sha256[specimen]);
        return KB_OK;
    }
    return kb_file_digest(path, digest, err);
}

/* ---- all specimens ---- */

static enum kb_status plan_specimen(struct kb_batch_run *run, size_t specimen, struct kb_err *err) {
    const struct kb_order_specimen *order = &run->order->specimen[specimen];
    enum kb_status status = list_fields(order, &run->plan[specimen], err);
    if (status == KB_OK) {
        status = check_hands(run, specimen, err);
    }
    if (status == KB_OK && run->order->task != KB_TASK_MERGE) {
        status = digest_blank(run, specimen, err);
    }
    if (status != KB_OK && status != KB_E_MEMORY && err != NULL && err->subject[0] == '\0') {
        (void)snprintf(err->subject, sizeof err->subject, "%s", order->id);
    }
    return status;
}

static enum kb_status line_up(struct kb_batch_run *run, struct kb_err *err) {
    for (size_t i = 0; i < run->order->specimens; i++) {
        run->first[i] = run->fields;
        run->fields += run->plan[i].count;
    }
    run->first[run->order->specimens] = run->fields;
    run->field = kb_alloc_zero(run->fields, sizeof *run->field);
    if (run->field == NULL) {
        return kb_fail_memory(err, "app", run->fields * sizeof *run->field);
    }
    for (size_t i = 0; i < run->order->specimens; i++) {
        for (size_t k = 0; k < run->plan[i].count; k++) {
            run->field[run->first[i] + k] = (struct kb_batch_field){.specimen = i, .index = k};
        }
    }
    return KB_OK;
}

static enum kb_status digest_plan(struct kb_batch_run *run, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    kb_text_format(&text, "plan of %s\n", KB_VERSION);
    struct kb_pack pack = kb_packing(&text);
    for (size_t i = 0; i < run->order->specimens; i++) {
        const struct kb_plan *plan = &run->plan[i];
        kb_text_format(&text, "%s\n%s\n", run->order->specimen[i].batch,
                       run->order->specimen[i].id);
        for (size_t k = 0; k < plan->count; k++) {
            kb_text_format(&text, "%s\n", plan->path[k]);
            kb_share_pack_settings(&pack, plan, k);
        }
    }
    const bool failed = pack.failed || text.failed;
    if (!failed) {
        kb_share_digest(text.data, text.length, run->plan_sha256);
    }
    kb_text_release(&text);
    return failed ? kb_fail_memory(err, "app", 1) : KB_OK;
}

enum kb_status kb_batch_plan(const struct kb_order *order, struct kb_batch_run *run,
                             struct kb_err *err) {
    *run = (struct kb_batch_run){.order = order};
    if (order->specimens == 0) {
        return kb_fail(err, KB_E_USAGE, "app", order->manifest, "no specimen to measure");
    }
    run->plan = kb_alloc_zero(order->specimens, sizeof *run->plan);
    run->blank_sha256 = kb_alloc_zero(order->specimens, sizeof *run->blank_sha256);
    run->first = kb_alloc_zero(order->specimens + 1, sizeof *run->first);
    run->shares = kb_join_path(order->out_folder != NULL ? order->out_folder : ".", "shares");
    if (run->plan == NULL || run->blank_sha256 == NULL || run->first == NULL ||
        run->shares == NULL) {
        return kb_fail_memory(err, "app", order->specimens * sizeof *run->plan);
    }
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < order->specimens && status == KB_OK; i++) {
        status = plan_specimen(run, i, err);
    }
    if (status == KB_OK) {
        status = line_up(run, err);
    }
    return status == KB_OK ? digest_plan(run, err) : status;
}

void kb_batch_run_release(struct kb_batch_run *run) {
    for (size_t i = 0; run->plan != NULL && i < run->order->specimens; i++) {
        kb_plan_release(&run->plan[i]);
    }
    for (size_t i = 0; run->field != NULL && i < run->fields; i++) {
        kb_free(run->field[i].text);
    }
    kb_free(run->plan);
    kb_free(run->blank_sha256);
    kb_free(run->field);
    kb_free(run->first);
    kb_free(run->shares);
    kb_words_release(&run->words);
    *run = (struct kb_batch_run){.order = NULL};
}
