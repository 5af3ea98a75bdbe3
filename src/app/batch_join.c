/* batch_join.c - from shares to specimens, from specimens to the verdict of the batch, and out.
 *
 * One specimen is whole in memory at a time: its shares are read, pooled and judged by the same
 * functions as in `measure`, its row is kept, the rest let go. A specimen with a field that could
 * not be measured is not pooled at all: figures from what happens to be left would look like those
 * of the specimen.
 */
#include "batch_run.h"
#include "history_way.h"

#include <string.h>

/* ---- one specimen from its shares ---- */

static enum kb_status read_shares(struct kb_batch_run *run, size_t specimen, bool pictures,
                                  const struct kb_plan *plan, struct kb_result *result,
                                  struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < plan->count && status == KB_OK; i++) {
        const struct kb_share share = {
            .field = &result->field[i],
            .moved = plan->moved != NULL ? &plan->moved[i] : NULL,
            .hand = plan->hand,
            .hands = plan->hands,
            .index = i,
        };
        const char *name = run->field[run->first[specimen] + i].share;
        status = kb_share_read(run->shares, name, &run->words, &share, err);
        if (status == KB_OK && pictures) {
            kb_share_read_pictures(run->shares, name, &result->field[i]);
        }
        if (status == KB_OK) {
            result->field[i].path = kb_copy_string(plan->path[i]);
            status = result->field[i].path != NULL ? KB_OK : kb_fail_memory(err, "app", 1);
        }
    }
    return status;
}

static enum kb_status conclude(struct kb_batch_run *run, size_t specimen, bool pictures,
                               struct kb_result *result, struct kb_err *err) {
    struct kb_plan plan = run->plan[specimen];
    enum kb_status status = kb_plan_begin(&plan, result, err);
    result->made_at[0] = '\0';
    result->of_batch = true;
    if (status == KB_OK) {
        const char *batch = run->order->specimen[specimen].batch;
        kb_free(result->batch_name);
        result->batch_name = kb_copy_string(batch);
        status =
            batch == NULL || result->batch_name != NULL ? KB_OK : kb_fail_memory(err, "app", 1);
    }
    if (status == KB_OK) {
        status = read_shares(run, specimen, pictures, &plan, result, err);
    }
    if (status == KB_OK) {
        status = kb_plan_conclude(&plan, result, err);
    }
    kb_free(plan.moved);
    return status;
}

static bool has_faults(const struct kb_batch_run *run, size_t specimen) {
    for (size_t i = run->first[specimen]; i < run->first[specimen + 1]; i++) {
        if (run->field[i].share[0] == '\0') {
            return true;
        }
    }
    return false;
}

/* What `open` of a batch gets: the run, and where the batch begins in it. */
struct opening {
    struct kb_batch_run *run;
    const size_t *member; /* specimens of the batch, by their place in the order */
};

static enum kb_status open_specimen(void *context, size_t specimen, struct kb_result *result,
                                    struct kb_err *err) {
    const struct opening *opening = context;
    const size_t place = opening->member[specimen];
    *result = (struct kb_result){0};
    if (has_faults(opening->run, place)) {
        return kb_fail(err, KB_E_USAGE, "app", opening->run->order->specimen[place].id,
                       "a field of this specimen could not be measured");
    }
    const bool pictures = kb_batch_shows_pictures(&opening->run->order->specimen[place],
                                                  opening->run->plan[place].count);
    enum kb_status status = conclude(opening->run, place, pictures, result, err);
    if (status != KB_OK) {
        kb_result_release(result);
    }
    return status;
}

/* ---- a specimen's row ---- */

static enum kb_status copy_faults(const struct kb_batch_run *run, size_t specimen,
                                  struct kb_batch_specimen *row, struct kb_err *err) {
    const struct kb_plan *plan = &run->plan[specimen];
    row->fault = kb_alloc_zero(plan->count, sizeof *row->fault);
    if (row->fault == NULL) {
        return kb_fail_memory(err, "app", plan->count * sizeof *row->fault);
    }
    for (size_t i = 0; i < plan->count; i++) {
        const struct kb_batch_field *field = &run->field[run->first[specimen] + i];
        if (field->share[0] != '\0') {
            continue;
        }
        struct kb_batch_fault *fault = &row->fault[row->faults++];
        *fault = (struct kb_batch_fault){kb_copy_string(plan->path[i]), field->status,
                                         kb_copy_string(field->text)};
        if (fault->path == NULL || fault->text == NULL) {
            return kb_fail_memory(err, "app", 1);
        }
    }
    return KB_OK;
}

static void count_findings(const struct kb_findings *findings, size_t count[3]) {
    for (size_t i = 0; i < findings->count; i++) {
        count[findings->item[i].severity]++;
    }
}

/* The largest number of fields that some undecided limit asks for; 0 when one cannot say. */
static size_t more_fields(const struct kb_judgement *judgement) {
    size_t most = 0;
    for (size_t i = 0; i < judgement->count; i++) {
        const struct kb_limit_result *limit = &judgement->limit[i];
        if (limit->outcome != KB_UNDECIDED) {
            continue;
        }
        if (limit->fields_to_decide == 0) {
            return 0;
        }
        most = limit->fields_to_decide > most ? limit->fields_to_decide : most;
    }
    return judgement->verdict == KB_UNDECIDED ? most : 0;
}

/* Figures and verdict; the judgement moves over. */
static void summarise(struct kb_result *result, struct kb_batch_specimen *row) {
    row->judged = true;
    for (int i = 0; i < KB_QUANTITIES; i++) {
        row->figure[i] = kb_quantity_value((enum kb_quantity)i, &result->specimen, &result->carbon);
    }
    row->judgement = result->judgement;
    result->judgement = (struct kb_judgement){.limit = NULL};
    row->more_fields = more_fields(&row->judgement);
    row->carbon_agreement = result->carbon.agreement;
    row->particles = result->specimen.particles[KB_COUNTS];
    row->area_mm2 = result->specimen.area_mm2;
    count_findings(&result->specimen.findings, row->findings);
    for (size_t i = 0; i < result->fields; i++) {
        count_findings(&result->field[i].findings, row->findings);
        if (result->field[i].quality.fitness > row->fitness) {
            row->fitness = result->field[i].quality.fitness;
        }
    }
}

static enum kb_status judge_specimen(struct kb_batch_run *run, size_t specimen,
                                     struct kb_batch_specimen *row, struct kb_err *err) {
    struct kb_result *result = kb_alloc_zero(1, sizeof *result);
    if (result == NULL) {
        return kb_fail_memory(err, "app", sizeof *result);
    }
    enum kb_status status = conclude(run, specimen, false, result, err);
    if (status == KB_OK) {
        summarise(result, row);
    }
    kb_result_release(result);
    kb_free(result);
    return status;
}

static enum kb_status fill_row(struct kb_batch_run *run, size_t specimen,
                               struct kb_batch_specimen *row, struct kb_err *err) {
    const struct kb_order_specimen *order = &run->order->specimen[specimen];
    row->id = kb_copy_string(order->id);
    row->grade = kb_copy_string(order->grade);
    row->casting = kb_copy_string(order->settings.casting);
    row->section_mm = order->section_mm;
    row->first_row = order->row;
    row->material = order->settings.material;
    row->fields = run->plan[specimen].count;
    row->chemistry = order->settings.chemistry;
    row->area_mm2 = (double)NAN;
    for (int i = 0; i < KB_QUANTITIES; i++) {
        row->figure[i] = kb_estimate_missing(kb_quantity_unit((enum kb_quantity)i),
                                             "a field of the specimen could not be measured");
    }
    if (row->id == NULL || (order->grade != NULL && row->grade == NULL) ||
        (order->settings.casting != NULL && row->casting == NULL)) {
        return kb_fail_memory(err, "app", 1);
    }
    return has_faults(run, specimen) ? copy_faults(run, specimen, row, err)
                                     : judge_specimen(run, specimen, row, err);
}

/* ---- a batch ---- */

/* By the rule that its first specimen's settings name. */
static enum kb_status judge_batch(const struct kb_settings *settings, struct kb_batch *batch,
                                  struct kb_err *err) {
    struct kb_batch_member *member = kb_alloc(batch->specimens, sizeof *member);
    if (member == NULL) {
        return kb_fail_memory(err, "app", batch->specimens * sizeof *member);
    }
    for (size_t i = 0; i < batch->specimens; i++) {
        const struct kb_batch_specimen *row = &batch->specimen[i];
        member[i] = (struct kb_batch_member){row->id, row->judged, row->judged ? row->figure : NULL,
                                             row->judged ? &row->judgement : NULL};
    }
    struct kb_batch_params params = settings->batch;
    params.decision_rule = settings->rule;
    enum kb_status status =
        kb_judge_batch(member, batch->specimens, &params, &batch->judgement, err);
    kb_free(member);
    return status;
}

static bool copy_word(char **to, const char *from) {
    if (*to == NULL && from != NULL) {
        *to = kb_copy_string(from);
        return *to != NULL;
    }
    return true;
}

static void say(const char **to, const char *from) {
    *to = *to != NULL ? *to : from;
}

/* What the papers say beside the figures: each of the first specimen that states it. */
static enum kb_status furnish(const struct kb_settings *settings, struct kb_batch *batch,
                              struct kb_err *err) {
    const struct kb_certificate_words *from = &settings->certificate;
    struct kb_certificate_words *to = &batch->certificate;
    say(&to->title, from->title);
    say(&to->statement, from->statement);
    say(&to->specification, from->specification);
    say(&to->part, from->part);
    say(&to->order, from->order);
    say(&to->number, from->number);
    say(&to->approved_by, from->approved_by);
    batch->paper = batch->paper != KB_PAPER_NONE ? batch->paper : settings->paper;
    batch->language = batch->language != KB_ENGLISH ? batch->language : settings->language;
    return settings->laboratory_picture != NULL && batch->house_mark.data == NULL
               ? kb_house_mark_read(settings->laboratory_picture, &batch->house_mark, err)
               : KB_OK;
}

static enum kb_status head(const struct kb_batch_run *run, const size_t *member, size_t count,
                           struct kb_batch *batch, struct kb_err *err) {
    const struct kb_order *order = run->order;
    enum kb_status status = KB_OK;
    bool copied = copy_word(&batch->name, order->specimen[member[0]].batch) &&
                  copy_word(&batch->manifest, order->manifest);
    for (size_t i = 0; i < count && copied; i++) {
        const struct kb_settings *settings = &order->specimen[member[i]].settings;
        copied = copy_word(&batch->laboratory, settings->laboratory) &&
                 copy_word(&batch->operator_name, settings->operator_name) &&
                 copy_word(&batch->customer, settings->customer);
        status = status == KB_OK ? furnish(settings, batch, err) : status;
    }
    memcpy(batch->manifest_sha256, order->manifest_sha256, sizeof batch->manifest_sha256);
    kb_plan_stamp(batch->made_at);
    batch->specimen = kb_alloc_zero(count, sizeof *batch->specimen);
    if (status != KB_OK) {
        return status;
    }
    return copied && batch->specimen != NULL ? KB_OK : kb_fail_memory(err, "app", count);
}

/* Each specimen's folder, apart from those before it. */
static enum kb_status name_folders(struct kb_batch *batch, struct kb_err *err) {
    char **taken = kb_alloc_zero(batch->specimens, sizeof *taken);
    enum kb_status status = KB_OK;
    if (taken == NULL) {
        return kb_fail_memory(err, "app", batch->specimens * sizeof *taken);
    }
    for (size_t i = 0; status == KB_OK && i < batch->specimens; i++) {
        taken[i] = kb_batch_folder_name(batch->specimen[i].id, taken, i);
        batch->specimen[i].folder = taken[i]; /* taken over */
        status = taken[i] != NULL ? KB_OK : kb_fail_memory(err, "app", 1);
    }
    kb_free(taken);
    return status;
}

static enum kb_status make_batch(struct kb_batch_run *run, const size_t *member, size_t count,
                                 struct kb_batch *batch, struct kb_err *err) {
    enum kb_status status = head(run, member, count, batch, err);
    for (size_t i = 0; i < count && status == KB_OK; i++) {
        batch->specimens++;
        status = fill_row(run, member[i], &batch->specimen[i], err);
        batch->fields += batch->specimen[i].fields;
    }
    if (status == KB_OK) {
        status = name_folders(batch, err);
    }
    const struct kb_settings *settings = &run->order->specimen[member[0]].settings;
    return status == KB_OK ? judge_batch(settings, batch, err) : status;
}

static enum kb_status finish_batch(struct kb_batch_run *run, const struct kb_batch_watch *watch,
                                   const size_t *member, size_t count, const char *folder_name,
                                   struct kb_err *err) {
    struct opening opening = {run, member};
    struct kb_batch batch = {.open = open_specimen, .context = &opening};
    char *folder = kb_join_path(run->order->out_folder, folder_name);
    enum kb_status status = folder != NULL ? make_batch(run, member, count, &batch, err)
                                           : kb_fail_memory(err, "app", 1);
    if (status == KB_OK && run->history != NULL) { /* before its page, which charts it too */
        status = kb_history_add_batch(run->history, &batch, err);
        batch.history = run->history;
    }
    if (status == KB_OK) {
        status = kb_report_batch_folder(&batch, folder, err);
    }
    if (status == KB_OK && watch->written != NULL) {
        status = watch->written(watch->context, &batch, folder, err);
    }
    kb_batch_release(&batch);
    kb_free(folder);
    return status;
}

/* All specimens of the batch that begins with this one; 0 when it began before. */
static size_t gather(const struct kb_order *order, size_t begin, size_t *member) {
    const char *name = order->specimen[begin].batch;
    size_t count = 0;
    for (size_t i = 0; i < order->specimens; i++) {
        if (strcmp(order->specimen[i].batch, name) == 0) {
            if (i < begin) {
                return 0;
            }
            member[count++] = i;
        }
    }
    return count;
}

/* All batches, each when its first specimen comes. `folder` takes the names given out, the first of
 * which is that of the shares. */
static enum kb_status join_all(struct kb_batch_run *run, const struct kb_batch_watch *watch,
                               size_t *member, char **folder, struct kb_err *err) {
    const struct kb_order *order = run->order;
    size_t folders = 1;
    enum kb_status status = KB_OK;
    for (size_t i = 0; status == KB_OK && i < order->specimens; i++) {
        const size_t count = gather(order, i, member);
        if (count == 0) {
            continue;
        }
        folder[folders] = kb_batch_folder_name(order->specimen[i].batch, folder, folders);
        status = folder[folders] != NULL
                     ? finish_batch(run, watch, member, count, folder[folders], err)
                     : kb_fail_memory(err, "app", 1);
        folders++;
    }
    return status;
}

enum kb_status kb_batch_join(struct kb_batch_run *run, const struct kb_batch_watch *watch,
                             struct kb_err *err) {
    const size_t specimens = run->order->specimens;
    size_t *member = kb_alloc(specimens, sizeof *member);
    char **folder = kb_alloc_zero(specimens + 1, sizeof *folder);
    enum kb_status status = KB_E_MEMORY;
    if (folder != NULL) {
        folder[0] = kb_copy_string("shares");
    }
    if (member == NULL || folder == NULL || folder[0] == NULL) {
        status = kb_fail_memory(err, "app", specimens * sizeof *member);
    } else {
        status = join_all(run, watch, member, folder, err);
    }
    for (size_t i = 0; folder != NULL && i <= specimens; i++) {
        kb_free(folder[i]);
    }
    kb_free(folder);
    kb_free(member);
    return status;
}
