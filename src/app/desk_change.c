/* desk_change.c - a change is tried, put on record, and then in force, in this order.
 *
 * Tried: the fields that it concerns are measured under it, beside what is shown meanwhile. On
 * record: one line, on disk before anybody is told. In force: the new state takes the place of the
 * old one in one step. Whatever fails before the line is written leaves everything as it was; a
 * program that is killed leaves either the line, and with it the change, or neither.
 *
 * Changes wait for one another (desk->change), so that two windows cannot lose each other's.
 */
#include "desk_priv.h"

#include <string.h>

/* What a change leads to. */
struct trial {
    struct kb_desk_hands *hands;
    struct kb_desk_job *job; /* one a field that it concerns */
    size_t jobs;
    struct kb_desk_measured **measured; /* of all fields; NULL: not measured yet */
    struct kb_desk_sheet *sheet;
    uint64_t generation; /* when it was begun */
};

static enum kb_status no_memory(const struct kb_desk *desk, struct kb_err *err) {
    return kb_fail_memory(err, "app", desk->plan.count * sizeof(struct kb_desk_job));
}

static void release(const struct kb_desk *desk, struct trial *trial) {
    for (size_t i = 0; i < trial->jobs; i++) {
        kb_desk_pixels_drop(trial->job[i].before);
        kb_desk_measured_drop(trial->job[i].measured);
        kb_desk_pixels_drop(trial->job[i].pixels);
    }
    for (size_t i = 0; trial->measured != NULL && i < desk->plan.count; i++) {
        kb_desk_measured_drop(trial->measured[i]);
    }
    kb_free(trial->job);
    kb_free(trial->measured);
    kb_desk_sheet_release(trial->sheet);
    kb_desk_hands_drop(trial->hands);
}

/* Under the lock: which fields are to be measured anew, and what stands of the others. */
static bool plan_trial(struct kb_desk *desk, struct trial *trial) {
    bool known = true;
    trial->generation = desk->generation;
    for (size_t i = 0; i < desk->plan.count && known; i++) {
        struct kb_text now = KB_TEXT_INIT, then = KB_TEXT_INIT;
        const struct kb_desk_slot *slot = &desk->slot[i];
        known = kb_desk_key(desk->hands, i, KB_DESK_MEASURED, &now) &&
                kb_desk_key(trial->hands, i, KB_DESK_MEASURED, &then);
        if (known && !kb_desk_same_key(&now, &then)) {
            trial->job[trial->jobs++] = (struct kb_desk_job){
                .index = i,
                .hands = trial->hands,
                .before = slot->pixels != NULL ? kb_desk_pixels_hold(slot->pixels) : NULL};
        } else if (known && slot->measured != NULL && !kb_desk_stale(desk, i)) {
            trial->measured[i] = kb_desk_measured_hold(slot->measured);
        }
        kb_text_release(&now);
        kb_text_release(&then);
    }
    return known;
}

static enum kb_status begin(struct kb_desk *desk, const struct kb_record_entry *draft,
                            struct trial *trial, struct kb_err *err) {
    *trial = (struct trial){.jobs = 0};
    const enum kb_status status = kb_desk_hands_make(desk, draft, &trial->hands, err);
    if (status != KB_OK) {
        return status;
    }
    trial->job = kb_alloc_zero(desk->plan.count + 1, sizeof *trial->job);
    trial->measured = kb_alloc_zero(desk->plan.count + 1, sizeof(struct kb_desk_measured *));
    if (trial->job == NULL || trial->measured == NULL) {
        return no_memory(desk, err);
    }
    (void)pthread_mutex_lock(&desk->lock);
    const bool known = plan_trial(desk, trial);
    (void)pthread_mutex_unlock(&desk->lock);
    return known ? KB_OK : no_memory(desk, err);
}

static int team_for(const struct kb_desk *desk, size_t jobs) {
    const int threads = kb_plan_threads(&desk->plan);
    return jobs < (size_t)threads ? (int)jobs : threads;
}

static enum kb_status measure(const struct kb_desk *desk, struct trial *trial, struct kb_err *err) {
    bool out_of_memory = false;
    if (trial->jobs == 0) {
        return KB_OK;
    }
#pragma omp parallel for schedule(dynamic, 1) num_threads(team_for(desk, trial->jobs))
    for (size_t i = 0; i < trial->jobs; i++) {
        if (kb_desk_measure(desk, &trial->job[i], NULL) != KB_OK) {
#pragma omp atomic write
            out_of_memory = true;
        }
    }
    for (size_t i = 0; i < trial->jobs && !out_of_memory; i++) {
        trial->measured[trial->job[i].index] = kb_desk_measured_hold(trial->job[i].measured);
    }
    return out_of_memory ? no_memory(desk, err) : KB_OK;
}

/* A change that takes a field's figures away is refused with what the stages said; one of a field
 * that had none may fail for another reason now. */
static enum kb_status refuse_loss(struct kb_desk *desk, const struct trial *trial,
                                  struct kb_err *err) {
    enum kb_status status = KB_OK;
    (void)pthread_mutex_lock(&desk->lock);
    for (size_t i = 0; i < trial->jobs && status == KB_OK; i++) {
        const struct kb_desk_measured *before = desk->slot[trial->job[i].index].measured;
        const struct kb_err *error = &trial->job[i].measured->error;
        const bool usage = error->code == KB_E_USAGE;
        if (error->code != KB_OK && (usage || before == NULL || before->error.code == KB_OK)) {
            status = kb_plan_pass_on(error, err);
        }
    }
    (void)pthread_mutex_unlock(&desk->lock);
    return status;
}

static const char *nothing_changed(enum kb_record_kind kind) {
    switch (kind) {
    case KB_RECORD_EXCLUDE:
        return "what is to be left out lies outside the picture (draw within it)";
    case KB_RECORD_CUT:
        return "the stroke parts no graphite (draw it right across a particle)";
    case KB_RECORD_JOIN:
        return "these are not two particles (begin in the one and end in the other)";
    case KB_RECORD_PHASE:
        return "the region has this phase already, or is left out (point at another)";
    case KB_RECORD_FORM:
        return "no particle with a form lies here (point at one that counts)";
    default:
        return "this changes nothing in these fields (look at their classes)";
    }
}

/* Decisions on record may come to nothing when others take their place; a fresh one may not. */
static enum kb_status refuse_nothing(const struct trial *trial, enum kb_record_kind kind,
                                     struct kb_err *err) {
    const struct kb_result *list = &trial->hands->list;
    size_t fresh = 0, without_effect = 0;
    for (size_t i = 0; i < trial->jobs; i++) {
        const struct kb_desk_measured *measured = trial->job[i].measured;
        size_t next = 0; /* of the outcomes, which are those of the field's own in their order */
        for (size_t k = 0; k < list->by_hands; k++) {
            if (list->by_hand[k].field != trial->job[i].index + 1) {
                continue;
            }
            const bool own = k >= trial->hands->fresh && next < measured->outcomes;
            fresh += own;
            without_effect += own && measured->outcome[next].without_effect;
            next++;
        }
    }
    return fresh > 0 && fresh == without_effect
               ? kb_fail(err, KB_E_USAGE, "app", NULL, "%s", nothing_changed(kind))
               : KB_OK;
}

/* The specimen under the change, unless some field is not measured yet. */
static enum kb_status conclude(const struct kb_desk *desk, struct trial *trial,
                               struct kb_err *err) {
    for (size_t i = 0; i < desk->plan.count; i++) {
        if (trial->measured[i] == NULL) {
            return KB_OK;
        }
    }
    return kb_desk_sheet_make(desk, trial->hands, trial->measured, &trial->sheet, err);
}

/* Figures before and after, as JSON; empty where the specimen is not measured as a whole. */
static enum kb_status put_figures(struct kb_desk *desk, const struct trial *trial,
                                  struct kb_text *before, struct kb_text *after,
                                  struct kb_err *err) {
    enum kb_status status = KB_OK;
    (void)pthread_mutex_lock(&desk->lock);
    struct kb_review_sheet sheet = {.result = &desk->sheet->result};
    sheet.concluded = desk->sheet->concluded && desk->sheet->generation == desk->generation;
    status = kb_review_figures(&sheet, before, err);
    (void)pthread_mutex_unlock(&desk->lock);
    if (status == KB_OK && trial->sheet != NULL) {
        sheet.result = &trial->sheet->result;
        sheet.concluded = trial->sheet->concluded;
        status = kb_review_figures(&sheet, after, err);
    }
    return status;
}

static enum kb_status put_on_record(struct kb_desk *desk, const struct trial *trial,
                                    struct kb_record_entry *draft, struct kb_err *err) {
    struct kb_text before = KB_TEXT_INIT, after = KB_TEXT_INIT;
    enum kb_status status = put_figures(desk, trial, &before, &after, err);
    if (status == KB_OK) {
        status = kb_make_folder(desk->folder, err);
    }
    if (status == KB_OK) {
        draft->before = before.data;
        draft->after = after.data;
        (void)pthread_mutex_lock(&desk->lock);
        status = kb_record_append(&desk->record, draft, err);
        (void)pthread_mutex_unlock(&desk->lock);
        draft->before = draft->after = NULL;
    }
    kb_text_release(&before);
    kb_text_release(&after);
    return status;
}

void kb_desk_break_seal(struct kb_desk *desk) {
    desk->sealed++;
    for (size_t i = 0; i < desk->seal.items; i++) {
        struct kb_seal_item *item = &desk->seal.item[i];
        if (!item->picture && strcmp(item->name, KB_RECORD_NAME) == 0) {
            item->state = KB_SEAL_CHANGED;
        }
    }
    desk->seal.intact = false;
}

static void put_in_force(struct kb_desk *desk, struct trial *trial) {
    (void)pthread_mutex_lock(&desk->lock);
    const bool untouched = desk->generation == trial->generation;
    kb_desk_hands_drop(desk->hands);
    desk->hands = kb_desk_hands_hold(trial->hands);
    for (size_t i = 0; i < trial->jobs; i++) {
        struct kb_desk_job *job = &trial->job[i];
        kb_desk_install(desk, job->index, job->measured, job->pixels);
        job->measured = NULL;
        job->pixels = NULL;
    }
    desk->generation++;
    if (untouched && trial->sheet != NULL) {
        kb_desk_sheet_release(desk->sheet);
        desk->sheet = trial->sheet;
        desk->sheet->generation = desk->generation;
        trial->sheet = NULL;
    }
    kb_desk_break_seal(desk);
    kb_desk_tell(desk);
    (void)pthread_mutex_unlock(&desk->lock);
}

static enum kb_status make(struct kb_desk *desk, struct kb_record_entry *draft, bool must,
                           struct kb_err *err) {
    struct trial trial;
    char at[32];
    kb_plan_stamp(at);
    draft->at = at;
    enum kb_status status = begin(desk, draft, &trial, err);
    if (status == KB_OK) {
        status = measure(desk, &trial, err);
    }
    if (status == KB_OK && !must) {
        status = refuse_loss(desk, &trial, err);
    }
    if (status == KB_OK && !must) {
        status = refuse_nothing(&trial, draft->kind, err);
    }
    if (status == KB_OK) {
        status = conclude(desk, &trial, err);
    }
    if (status == KB_OK) {
        status = put_on_record(desk, &trial, draft, err);
    }
    if (status == KB_OK) {
        put_in_force(desk, &trial);
    }
    release(desk, &trial);
    draft->at = NULL;
    return status;
}

/* ---- what the page asks for --------------------------------------------------------------------
 */

static enum kb_status need_name(const char *who, struct kb_err *err) {
    return who != NULL ? KB_OK
                       : kb_fail(err, KB_E_USAGE, "app", NULL,
                                 "nobody is named for this (say who you are first)");
}

enum kb_status kb_desk_change(void *context, const struct kb_review_change *change,
                              struct kb_err *err) {
    struct kb_desk *desk = context;
    struct kb_record_entry draft = change->draft;
    const char *const *path = (const char *const *)desk->plan.path;
    enum kb_status status = need_name(draft.who, err);
    if (status != KB_OK) {
        return status;
    }
    draft.field = kb_alloc_zero(change->fields + 1, sizeof(char *));
    draft.fields = 0;
    bool named = draft.field != NULL;
    for (size_t i = 0; named && i < change->fields; i++) {
        draft.field[i] =
            kb_copy_string(kb_record_field_name(path, desk->plan.count, change->field[i]));
        draft.fields++;
        named = draft.field[i] != NULL;
    }
    if (named) {
        (void)pthread_mutex_lock(&desk->change);
        status = make(desk, &draft, false, err);
        (void)pthread_mutex_unlock(&desk->change);
    } else {
        status = no_memory(desk, err);
    }
    for (size_t i = 0; draft.field != NULL && i < draft.fields; i++) {
        kb_free(draft.field[i]);
    }
    kb_free(draft.field);
    return status;
}

static enum kb_status turn_back(struct kb_desk *desk, enum kb_record_kind kind, const char *who,
                                struct kb_err *err) {
    enum kb_status status = need_name(who, err);
    if (status != KB_OK) {
        return status;
    }
    (void)pthread_mutex_lock(&desk->change);
    struct kb_record_entry draft = {.kind = kind, .dark = (double)NAN, .bright = (double)NAN};
    draft.who = kb_copy_string(who);
    draft.of = kind == KB_RECORD_UNDO ? kb_record_undoable(&desk->record)
                                      : kb_record_redoable(&desk->record);
    if (draft.who == NULL) {
        status = kb_fail_memory(err, "app", strlen(who));
    } else if (draft.of == 0) {
        status = kb_fail(err, KB_E_USAGE, "app", NULL, "there is nothing to %s (look at the list)",
                         kind == KB_RECORD_UNDO ? "undo" : "make again");
    } else {
        status = make(desk, &draft, true, err);
    }
    (void)pthread_mutex_unlock(&desk->change);
    kb_free(draft.who);
    return status;
}

enum kb_status kb_desk_undo(void *context, const char *who, struct kb_err *err) {
    return turn_back(context, KB_RECORD_UNDO, who, err);
}

enum kb_status kb_desk_redo(void *context, const char *who, struct kb_err *err) {
    return turn_back(context, KB_RECORD_REDO, who, err);
}
