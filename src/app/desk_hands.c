/* desk_hands.c - decisions by hand as the desk has them in force, and which layer of which field
 * each of them decides about.
 */
#include "desk_priv.h"

#include <string.h>

static bool list_all(const struct kb_desk *desk, const struct kb_by_hand *recorded, size_t count,
                     struct kb_by_hand **all) {
    const size_t own = desk->settings.by_hands;
    *all = kb_alloc_zero(own + count + 1, sizeof **all);
    if (*all != NULL && own > 0) {
        memcpy(*all, desk->settings.by_hand, own * sizeof **all);
    }
    if (*all != NULL && count > 0) {
        memcpy(*all + own, recorded, count * sizeof **all);
    }
    return *all != NULL;
}

/* How many of the last ones are views of `extra`. */
static size_t count_fresh(const struct kb_by_hand *recorded, size_t count,
                          const struct kb_record_entry *extra) {
    size_t fresh = 0;
    while (extra != NULL && fresh < count && recorded[count - 1 - fresh].who == extra->who) {
        fresh++;
    }
    return fresh;
}

enum kb_status kb_desk_hands_make(const struct kb_desk *desk, const struct kb_record_entry *extra,
                                  struct kb_desk_hands **hands, struct kb_err *err) {
    struct kb_by_hand *recorded = NULL, *all = NULL;
    size_t count = 0;
    *hands = NULL;
    enum kb_status status = kb_record_hands(&desk->record, extra, &recorded, &count, err);
    if (status != KB_OK) {
        return status;
    }
    struct kb_desk_hands *made = kb_alloc_zero(1, sizeof *made);
    if (made == NULL || !list_all(desk, recorded, count, &all)) {
        status = kb_fail_memory(err, "app", (count + 1) * sizeof *all);
    } else {
        struct kb_settings settings = desk->settings;
        struct kb_plan plan = desk->plan; /* its paths, by which fields are named */
        settings.by_hand = all;
        settings.by_hands = desk->settings.by_hands + count;
        plan.settings = &settings;
        made->held = 1;
        made->fresh = settings.by_hands - count_fresh(recorded, count, extra);
        status = kb_plan_hands(&plan, &made->list, err);
    }
    kb_free(recorded);
    kb_free(all);
    if (status != KB_OK && made != NULL) {
        kb_result_release(&made->list);
        kb_free(made);
        return status;
    }
    *hands = made;
    return status;
}

static bool decides(enum kb_hand_kind kind, enum kb_desk_layer layer) {
    switch (kind) {
    case KB_HAND_SCALE:
        return true;
    case KB_HAND_EXCLUSION:
    case KB_HAND_OUTLINE:
    case KB_HAND_DARK:
    case KB_HAND_BRIGHT:
        return layer >= KB_DESK_FOUND;
    default:
        return layer >= KB_DESK_MEASURED;
    }
}

/* Words about who and why are told in the result alone; but a finding may ask for the reason. */
static void add(const struct kb_by_hand *hand, struct kb_text *key) {
    kb_text_format(key, "%d %d %d %d %d %d %d %.17g %.17g %.17g %d %d", (int)hand->kind,
                   (int)hand->place.x, (int)hand->place.y, (int)hand->place.width,
                   (int)hand->place.height, (int)hand->phase, (int)hand->form, hand->level,
                   hand->length_um, hand->length_um_u, (int)hand->may_miss, hand->reason != NULL);
    for (size_t i = 0; i < hand->points; i++) {
        kb_text_format(key, " %d,%d", (int)hand->point[i].x, (int)hand->point[i].y);
    }
    kb_text_add(key, "\n");
}

bool kb_desk_key(const struct kb_desk_hands *hands, size_t index, enum kb_desk_layer layer,
                 struct kb_text *key) {
    *key = (struct kb_text)KB_TEXT_INIT;
    kb_text_add(key, "");
    for (size_t i = 0; i < hands->list.by_hands; i++) {
        const struct kb_by_hand *hand = &hands->list.by_hand[i];
        if ((hand->field == 0 || hand->field == index + 1) && decides(hand->kind, layer)) {
            add(hand, key);
        }
    }
    return !key->failed;
}

bool kb_desk_same_key(const struct kb_text *a, const struct kb_text *b) {
    return a->length == b->length && (a->length == 0 || memcmp(a->data, b->data, a->length) == 0);
}
