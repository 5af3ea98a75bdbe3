/* desk.c - the desk opened and closed. */
#include "desk_priv.h"

#include <string.h>

struct kb_desk_params kb_desk_params_default(void) {
    return (struct kb_desk_params){.threads = 0, .most_px = UINT64_C(768000000)};
}

static enum kb_status open_plan(struct kb_desk *desk, const struct kb_settings_field *field,
                                size_t fields, struct kb_err *err) {
    desk->plan.settings = &desk->settings;
    desk->plan.kept_open = true;
    enum kb_status status = kb_plan_make(field, fields, &desk->plan, err);
    if (status == KB_OK) {
        status = kb_plan_read_blank(desk->settings.blank_path, &desk->plan.blank, err);
    }
    return status;
}

static enum kb_status open_state(struct kb_desk *desk, struct kb_err *err) {
    enum kb_status status = kb_record_open(desk->folder, &desk->record, err);
    if (status == KB_OK) {
        status = kb_desk_hands_make(desk, NULL, &desk->hands, err);
    }
    if (status == KB_OK) {
        status = kb_desk_sheet_make(desk, desk->hands, NULL, &desk->sheet, err);
    }
    if (status == KB_OK) {
        desk->slot = kb_alloc_zero(desk->plan.count, sizeof *desk->slot);
        status = desk->slot != NULL
                     ? KB_OK
                     : kb_fail_memory(err, "app", desk->plan.count * sizeof *desk->slot);
    }
    return status;
}

enum kb_status kb_desk_open(const struct kb_settings_field *field, size_t fields,
                            const struct kb_settings *settings, const struct kb_desk_params *params,
                            struct kb_desk **desk, struct kb_err *err) {
    struct kb_desk *made = kb_alloc_zero(1, sizeof *made);
    *desk = NULL;
    if (made == NULL) {
        return kb_fail_memory(err, "app", sizeof *made);
    }
    (void)pthread_mutex_init(&made->change, NULL);
    (void)pthread_mutex_init(&made->lock, NULL);
    (void)pthread_cond_init(&made->news, NULL);
    made->settings = *settings;
    made->params = *params;
    made->record.file = -1;
    made->revision = 1;
    made->generation = 1; /* the first sheet, of generation 0, is of no field */
    made->sealing = true;
    made->folder = kb_copy_string(settings->out_folder);
    enum kb_status status = made->folder != NULL ? KB_OK : kb_fail_memory(err, "app", sizeof *made);
    struct kb_locale locale = kb_locale_enter();
    if (status == KB_OK) {
        status = open_plan(made, field, fields, err);
    }
    if (status == KB_OK) {
        status = open_state(made, err);
    }
    if (status == KB_OK) {
        status = kb_desk_work_begin(made, err);
    }
    kb_locale_leave(locale);
    if (status != KB_OK) {
        kb_desk_close(made);
        return status;
    }
    *desk = made;
    return KB_OK;
}

struct kb_review_desk kb_desk_interface(struct kb_desk *desk) {
    return (struct kb_review_desk){.context = desk,
                                   .fields = desk->plan.count,
                                   .state = kb_desk_state,
                                   .wait = kb_desk_wait,
                                   .look = kb_desk_look,
                                   .let_go = kb_desk_let_go,
                                   .thumb = kb_desk_thumb,
                                   .why = kb_desk_why,
                                   .change = kb_desk_change,
                                   .undo = kb_desk_undo,
                                   .redo = kb_desk_redo,
                                   .sign = kb_desk_sign,
                                   .report = kb_desk_report};
}

void kb_desk_shut(struct kb_desk *desk) {
    (void)pthread_mutex_lock(&desk->lock);
    desk->shut = true;
    (void)pthread_cond_broadcast(&desk->news);
    (void)pthread_mutex_unlock(&desk->lock);
}

void kb_desk_settle(struct kb_desk *desk) {
    (void)pthread_mutex_lock(&desk->lock);
    for (;;) {
        bool settled = desk->sheet->generation == desk->generation;
        for (size_t i = 0; i < desk->plan.count; i++) {
            settled = settled && !kb_desk_stale(desk, i);
        }
        if (settled || desk->shut) {
            break;
        }
        (void)pthread_cond_wait(&desk->news, &desk->lock);
    }
    (void)pthread_mutex_unlock(&desk->lock);
}

void kb_desk_close(struct kb_desk *desk) {
    if (desk == NULL) {
        return;
    }
    kb_desk_shut(desk);
    kb_desk_work_end(desk);
    for (size_t i = 0; desk->slot != NULL && i < desk->plan.count; i++) {
        kb_desk_measured_drop(desk->slot[i].measured);
        kb_desk_pixels_drop(desk->slot[i].pixels);
        kb_free(desk->slot[i].thumb);
    }
    kb_free(desk->slot);
    kb_desk_sheet_release(desk->sheet);
    kb_desk_hands_drop(desk->hands);
    kb_seal_release(&desk->seal);
    kb_record_release(&desk->record);
    kb_plan_release(&desk->plan);
    kb_free(desk->folder);
    (void)pthread_cond_destroy(&desk->news);
    (void)pthread_mutex_destroy(&desk->lock);
    (void)pthread_mutex_destroy(&desk->change);
    kb_free(desk);
}
