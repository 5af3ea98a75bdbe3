/* desk_sheet.c - from the fields as they stand to the figures of the specimen, by the pipeline's
 * own conclusion. Fields are lent to the result, so that nothing is copied but what is small.
 */
#include "desk_priv.h"

#include <string.h>

/* What came of decisions about one field, in their order, into the result's list. */
static void take_outcomes(const struct kb_desk_measured *measured, size_t index,
                          struct kb_result *result) {
    size_t next = 0;
    for (size_t i = 0; i < result->by_hands && next < measured->outcomes; i++) {
        struct kb_by_hand *hand = &result->by_hand[i];
        if (hand->field != index + 1) {
            continue;
        }
        const struct kb_by_hand own = *hand;
        *hand = measured->outcome[next++];
        hand->field_name = own.field_name;
        hand->point = own.point;
        hand->points = own.points;
        hand->reason = own.reason;
        hand->origin = own.origin;
        hand->who = own.who;
        hand->at = own.at;
    }
}

static bool all_measured(struct kb_desk_measured *const *measured, size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (measured == NULL || measured[i] == NULL || measured[i]->error.code != KB_OK) {
            return false;
        }
    }
    return true;
}

static enum kb_status conclude(const struct kb_plan *plan, struct kb_desk_sheet *sheet,
                               struct kb_err *err) {
    struct kb_result *result = &sheet->result;
    for (size_t i = 0; i < sheet->fields; i++) {
        result->field[i] = sheet->measured[i]->out; /* lent */
        take_outcomes(sheet->measured[i], i, result);
        if (plan->moved != NULL) {
            plan->moved[i] = sheet->measured[i]->moved;
        }
    }
    return kb_plan_conclude(plan, result, err);
}

static bool hold_all(struct kb_desk_measured *const *measured, size_t count,
                     struct kb_desk_sheet *sheet) {
    sheet->measured = kb_alloc_zero(count + 1, sizeof(struct kb_desk_measured *));
    if (sheet->measured == NULL) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        sheet->measured[i] = kb_desk_measured_hold(measured[i]);
    }
    sheet->fields = count;
    return true;
}

enum kb_status kb_desk_sheet_make(const struct kb_desk *desk, struct kb_desk_hands *hands,
                                  struct kb_desk_measured *const *measured,
                                  struct kb_desk_sheet **sheet, struct kb_err *err) {
    struct kb_desk_sheet *made = kb_alloc_zero(1, sizeof *made);
    *sheet = NULL;
    if (made == NULL) {
        return kb_fail_memory(err, "app", sizeof *made);
    }
    struct kb_settings settings = desk->settings;
    struct kb_plan plan = desk->plan;
    settings.by_hand = hands->list.by_hand;
    settings.by_hands = hands->list.by_hands;
    settings.asked_count = 0;
    settings.out_folder = NULL;
    settings.laboratory_picture = NULL;
    plan.settings = &settings;
    enum kb_status status = kb_plan_begin(&plan, &made->result, err);
    if (status == KB_OK && all_measured(measured, plan.count)) {
        if (!hold_all(measured, plan.count, made)) {
            status = kb_fail_memory(err, "app", plan.count * sizeof(void *));
        } else {
            made->concluded = conclude(&plan, made, &made->error) == KB_OK;
        }
    }
    kb_free(plan.moved);
    if (status != KB_OK) {
        kb_desk_sheet_release(made);
        return status;
    }
    *sheet = made;
    return KB_OK;
}

void kb_desk_sheet_release(struct kb_desk_sheet *sheet) {
    if (sheet == NULL) {
        return;
    }
    for (size_t i = 0; i < sheet->result.fields; i++) {
        sheet->result.field[i] = (struct kb_field_result){.path = NULL}; /* was lent */
    }
    kb_result_release(&sheet->result);
    for (size_t i = 0; i < sheet->fields; i++) {
        kb_desk_measured_drop(sheet->measured[i]);
    }
    kb_free(sheet->measured);
    kb_free(sheet);
}
