/* desk_sign.c - signing: the name goes on record, everything is measured once more in the ordinary
 * way with that record, the ordinary report is written, and all of it is sealed.
 *
 * Nothing of what the page showed goes into the report: what is signed is what the command line
 * gives for the same record.
 */
#include "desk_priv.h"

#include <stdio.h>
#include <string.h>

static enum kb_status ready(struct kb_desk *desk, const char *who, struct kb_err *err) {
    if (who == NULL) {
        return kb_fail(err, KB_E_USAGE, "app", NULL, "a signature needs a name (write yours)");
    }
    (void)pthread_mutex_lock(&desk->lock);
    bool concluded = desk->sheet->concluded && desk->sheet->generation == desk->generation;
    struct kb_err why = desk->sheet->error;
    for (size_t i = 0; i < desk->plan.count; i++) {
        const struct kb_desk_measured *measured = desk->slot[i].measured;
        if (measured != NULL && measured->error.code != KB_OK) {
            why = measured->error;
            concluded = false;
        }
    }
    (void)pthread_mutex_unlock(&desk->lock);
    if (concluded) {
        return KB_OK;
    }
    return why.code != KB_OK ? kb_plan_pass_on(&why, err)
                             : kb_fail(err, KB_E_USAGE, "app", NULL,
                                       "the fields are not all measured yet (wait a moment)");
}

static enum kb_status put_name(struct kb_desk *desk, const char *who, const char *remark,
                               struct kb_err *err) {
    struct kb_record_entry draft = {
        .kind = KB_RECORD_SIGN, .dark = (double)NAN, .bright = (double)NAN};
    char at[32];
    draft.who = kb_copy_string(who);
    draft.why = kb_copy_string(remark);
    enum kb_status status = KB_OK;
    if (draft.who == NULL || (remark != NULL && draft.why == NULL)) {
        status = kb_fail_memory(err, "app", strlen(who));
    } else {
        status = kb_make_folder(desk->folder, err);
    }
    if (status == KB_OK) {
        kb_plan_stamp(at);
        draft.at = at;
        (void)pthread_mutex_lock(&desk->lock);
        status = kb_record_append(&desk->record, &draft, err);
        if (status == KB_OK) {
            kb_desk_break_seal(desk); /* until there is one for this name */
        }
        (void)pthread_mutex_unlock(&desk->lock);
    }
    kb_free(draft.who);
    kb_free(draft.why);
    return status;
}

static struct kb_settings_field *list_fields(const struct kb_desk *desk) {
    struct kb_settings_field *list = kb_alloc(desk->plan.count + 1, sizeof *list);
    for (size_t i = 0; list != NULL && i < desk->plan.count; i++) {
        list[i] = desk->plan.named[i];
        list[i].path = desk->plan.path[i];
    }
    return list;
}

static enum kb_status write_report(const struct kb_desk *desk, const struct kb_reviewed *reviewed,
                                   struct kb_err *err) {
    struct kb_settings settings = desk->settings;
    struct kb_result result;
    struct kb_settings_field *list = list_fields(desk);
    if (list == NULL) {
        return kb_fail_memory(err, "app", desk->plan.count * sizeof *list);
    }
    settings.by_hand = desk->hands->list.by_hand;
    settings.by_hands = desk->hands->list.by_hands;
    settings.reviewed = reviewed;
    settings.out_folder = desk->folder;
    enum kb_status status = kb_measure(list, desk->plan.count, &settings, NULL, &result, err);
    if (status == KB_OK) {
        kb_result_release(&result);
    }
    kb_free(list);
    return status;
}

static enum kb_status seal(struct kb_desk *desk, struct kb_err *err) {
    const struct kb_record_entry *signature = kb_record_signature(&desk->record);
    char name[] = KB_RECORD_NAME;
    struct kb_reviewed reviewed = {.record = name,
                                   .changes = kb_record_in_force(&desk->record),
                                   .signed_by = signature->who,
                                   .remark = signature->why};
    char at[32];
    (void)snprintf(at, sizeof at, "%s", signature->at);
    reviewed.signed_at = at;
    (void)snprintf(reviewed.sha256, sizeof reviewed.sha256, "%s", desk->record.sha256);
    enum kb_status status = write_report(desk, &reviewed, err);
    if (status == KB_OK) {
        status = kb_seal_write(desk->folder, signature->who, signature->why, at, err);
    }
    struct kb_seal made = {.exists = false};
    if (status == KB_OK) {
        status = kb_seal_verify(desk->folder, &made, err);
    }
    (void)pthread_mutex_lock(&desk->lock);
    if (status == KB_OK) {
        kb_seal_release(&desk->seal);
        desk->seal = made;
        desk->sealed++;
    }
    kb_desk_tell(desk);
    (void)pthread_mutex_unlock(&desk->lock);
    return status;
}

enum kb_status kb_desk_sign(void *context, const char *who, const char *remark,
                            struct kb_err *err) {
    struct kb_desk *desk = context;
    (void)pthread_mutex_lock(&desk->change);
    enum kb_status status = ready(desk, who, err);
    if (status == KB_OK) {
        status = put_name(desk, who, remark, err);
    }
    if (status == KB_OK) {
        status = seal(desk, err);
    }
    (void)pthread_mutex_unlock(&desk->change);
    return status;
}

enum kb_status kb_desk_report(void *context, struct kb_text *out, struct kb_err *err) {
    const struct kb_desk *desk = context;
    char *path = kb_join_path(desk->folder, "report.html");
    FILE *file = path != NULL ? fopen(path, "rb") : NULL;
    enum kb_status status = KB_OK;
    if (file == NULL) {
        status = kb_fail(err, KB_E_INPUT, "app", "report.html", "is not written yet (sign first)");
    }
    char part[1 << 14];
    for (size_t got = 1; file != NULL && got > 0;) {
        got = fread(part, 1, sizeof part, file);
        kb_text_add_bytes(out, part, got);
    }
    if (file != NULL) {
        if (ferror(file) != 0) {
            status = kb_fail(err, KB_E_SYSTEM, "app", "report.html", "cannot be read (try again)");
        }
        (void)fclose(file);
    }
    kb_free(path);
    return status;
}
