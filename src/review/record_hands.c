/* record_hands.c - what is in force on a record, as the decisions by hand that the pipeline obeys.
 *
 * The last word holds: thresholds or a scale said twice of one field, a phase or a form said twice
 * of one point, are handed on as they were said last. Everything else stays in the order in which
 * it was done, since a cut may follow a join.
 */
#include "record_priv.h"

#include <string.h>

static const char origin[] = "review";

struct list {
    struct kb_by_hand *hand;
    size_t count, capacity;
};

static bool same_field(const struct kb_by_hand *a, const struct kb_by_hand *b) {
    return strcmp(a->field_name, b->field_name) == 0;
}

static bool same_place(const struct kb_by_hand *a, const struct kb_by_hand *b) {
    return a->place.x == b->place.x && a->place.y == b->place.y;
}

/* Whether `later` takes the place of `earlier`. */
static bool overrules(const struct kb_by_hand *later, const struct kb_by_hand *earlier) {
    if (later->kind != earlier->kind || !same_field(later, earlier)) {
        return false;
    }
    switch (later->kind) {
    case KB_HAND_DARK:
    case KB_HAND_BRIGHT:
    case KB_HAND_SCALE:
        return true;
    case KB_HAND_PHASE:
    case KB_HAND_FORM:
        return same_place(later, earlier);
    default:
        return false;
    }
}

static void take_out(struct list *list, size_t at) {
    memmove(&list->hand[at], &list->hand[at + 1], (list->count - at - 1) * sizeof *list->hand);
    list->count--;
}

static void overrule(struct list *list, const struct kb_by_hand *later) {
    for (size_t i = list->count; i > 0; i--) {
        if (overrules(later, &list->hand[i - 1])) {
            take_out(list, i - 1);
        }
    }
}

static bool add(struct list *list, const struct kb_by_hand *fresh) {
    void *items = list->hand;
    overrule(list, fresh);
    if (!kb_grow(&items, list->count, &list->capacity, sizeof *list->hand)) {
        return false;
    }
    list->hand = items;
    list->hand[list->count++] = *fresh;
    return true;
}

/* A level that is NaN takes back what was said before. */
static bool add_level(struct list *list, struct kb_by_hand *fresh, enum kb_hand_kind kind,
                      double level) {
    fresh->kind = kind;
    fresh->level = level;
    if (isnan(level)) {
        overrule(list, fresh);
        return true;
    }
    return add(list, fresh);
}

static enum kb_hand_kind hand_kind(const struct kb_record_entry *entry) {
    switch (entry->kind) {
    case KB_RECORD_EXCLUDE:
        return entry->points > 0 ? KB_HAND_OUTLINE : KB_HAND_EXCLUSION;
    case KB_RECORD_CUT:
        return KB_HAND_CUT;
    case KB_RECORD_JOIN:
        return KB_HAND_JOIN;
    case KB_RECORD_PHASE:
        return KB_HAND_PHASE;
    case KB_RECORD_FORM:
        return KB_HAND_FORM;
    default:
        return KB_HAND_SCALE;
    }
}

static bool add_entry(struct list *list, const struct kb_record_entry *entry) {
    bool added = true;
    for (size_t i = 0; i < entry->fields && added; i++) {
        struct kb_by_hand fresh = {.field_name = entry->field[i],
                                   .reason = entry->why,
                                   .who = entry->who,
                                   .at = entry->at,
                                   .origin = origin,
                                   .level = NAN,
                                   .may_miss = true,
                                   .phase = entry->phase,
                                   .form = entry->form,
                                   .length_um = entry->length_um};
        if (entry->kind == KB_RECORD_THRESHOLDS) {
            added = add_level(list, &fresh, KB_HAND_DARK, entry->dark) &&
                    add_level(list, &fresh, KB_HAND_BRIGHT, entry->bright);
            continue;
        }
        fresh.kind = hand_kind(entry);
        fresh.place = entry->rect;
        if (entry->points > 0) {
            fresh.place = (struct kb_rect){entry->point[0].x, entry->point[0].y, 1, 1};
            fresh.point = entry->point;
            fresh.points = entry->points;
        }
        added = add(list, &fresh);
    }
    return added;
}

/* Whether a change is in force once `extra` is. */
static bool in_force(const struct kb_record_entry *entry, const struct kb_record_entry *extra) {
    if (extra != NULL && extra->of == entry->seq &&
        (extra->kind == KB_RECORD_UNDO || extra->kind == KB_RECORD_REDO)) {
        return extra->kind == KB_RECORD_REDO;
    }
    return entry->active;
}

enum kb_status kb_record_hands(const struct kb_record *record, const struct kb_record_entry *extra,
                               struct kb_by_hand **hand, size_t *count, struct kb_err *err) {
    struct list list = {NULL, 0, 0};
    bool added = true;
    for (size_t i = 0; i < record->count && added; i++) {
        const struct kb_record_entry *entry = &record->entry[i];
        added = !in_force(entry, extra) || add_entry(&list, entry);
    }
    if (added && extra != NULL && kb_record_is_change(extra->kind)) {
        added = add_entry(&list, extra);
    }
    *hand = list.hand;
    *count = list.count;
    if (!added) {
        kb_free(list.hand);
        *hand = NULL;
        *count = 0;
        return kb_fail_memory(err, KB_REVIEW_STAGE, sizeof *list.hand);
    }
    return KB_OK;
}
