/* record_entry.c - one change as it stands in a record: what makes it whole, copies, names. */
#include "record_priv.h"

#include <string.h>

static const char *const kind_name[KB_RECORD_KINDS] = {
    "thresholds", "exclude", "cut", "join", "phase", "form", "scale", "undo", "redo", "sign"};

const char *kb_record_kind_name(enum kb_record_kind kind) {
    return kind_name[kind];
}

bool kb_record_kind_parse(const char *name, enum kb_record_kind *kind) {
    for (int i = 0; i < KB_RECORD_KINDS; i++) {
        if (strcmp(name, kind_name[i]) == 0) {
            *kind = (enum kb_record_kind)i;
            return true;
        }
    }
    return false;
}

bool kb_record_is_change(enum kb_record_kind kind) {
    return kind < KB_RECORD_UNDO;
}

/* ---- what is wrong with it ----
 */

static bool points_lie(const struct kb_record_entry *entry) {
    for (size_t i = 0; i < entry->points; i++) {
        const struct kb_place *at = &entry->point[i];
        if (at->x < 0 || at->y < 0 || at->x >= KB_SIDE_MAX || at->y >= KB_SIDE_MAX) {
            return false;
        }
    }
    return true;
}

static bool rect_lies(const struct kb_rect *rect) {
    return rect->x >= 0 && rect->y >= 0 && rect->width > 0 && rect->height > 0 &&
           rect->x < KB_SIDE_MAX && rect->y < KB_SIDE_MAX && rect->width <= KB_SIDE_MAX &&
           rect->height <= KB_SIDE_MAX;
}

static bool level_fits(double level) {
    return isnan(level) || (level >= 0.0 && level <= (double)UINT32_MAX);
}

/* What a change lacks beside its fields and places. */
static const char *flaw_of_kind(const struct kb_record_entry *entry) {
    switch (entry->kind) {
    case KB_RECORD_THRESHOLDS:
        return level_fits(entry->dark) && level_fits(entry->bright)
                   ? NULL
                   : "has a threshold that is no grey level";
    case KB_RECORD_EXCLUDE:
        return entry->points >= 3 || (entry->points == 0 && rect_lies(&entry->rect))
                   ? NULL
                   : "needs a rectangle, or an outline of three points or more";
    case KB_RECORD_CUT:
        return entry->points >= 2 ? NULL : "needs a stroke of two points or more";
    case KB_RECORD_JOIN:
        return entry->points == 2 ? NULL : "needs two points";
    case KB_RECORD_PHASE:
        return entry->points == 1 && (unsigned)entry->phase < KB_PHASES
                   ? NULL
                   : "needs one point and a phase";
    case KB_RECORD_FORM:
        return entry->points == 1 && entry->form >= KB_FORM_I && entry->form < KB_FORMS
                   ? NULL
                   : "needs one point and a form";
    case KB_RECORD_SCALE:
        return entry->points == 2 && entry->length_um > 0.0 && isfinite(entry->length_um)
                   ? NULL
                   : "needs two points and the length between them";
    default:
        return "is no change";
    }
}

const char *kb_record_flaw(const struct kb_record_entry *entry) {
    if (entry->who == NULL || entry->who[0] == '\0') {
        return "names nobody";
    }
    if (entry->at == NULL || entry->at[0] == '\0') {
        return "does not say when";
    }
    if (entry->kind == KB_RECORD_UNDO || entry->kind == KB_RECORD_REDO) {
        return entry->of > 0 ? NULL : "does not say of which change";
    }
    if (entry->kind == KB_RECORD_SIGN) {
        return NULL;
    }
    if (entry->fields == 0) {
        return "names no field";
    }
    const bool of_many = entry->kind == KB_RECORD_THRESHOLDS || entry->kind == KB_RECORD_SCALE;
    if (entry->fields > 1 && !of_many) {
        return "names several fields";
    }
    return points_lie(entry) ? flaw_of_kind(entry) : "has a point outside any picture";
}

/* ---- copies ----
 */

static bool copy_fields(const struct kb_record_entry *from, struct kb_record_entry *to) {
    to->field = kb_alloc_zero(from->fields + 1, sizeof *to->field);
    to->fields = 0;
    for (size_t i = 0; to->field != NULL && i < from->fields; i++) {
        to->field[to->fields] = kb_copy_string(from->field[i]);
        if (to->field[to->fields++] == NULL) {
            return false;
        }
    }
    return to->field != NULL;
}

static bool copy_points(const struct kb_record_entry *from, struct kb_record_entry *to) {
    to->point = kb_alloc(from->points + 1, sizeof *to->point);
    for (size_t i = 0; to->point != NULL && i < from->points; i++) {
        to->point[i] = from->point[i];
    }
    return to->point != NULL;
}

bool kb_record_copy(const struct kb_record_entry *from, struct kb_record_entry *to) {
    *to = *from;
    to->field = NULL;
    to->point = NULL;
    const struct {
        const char *from;
        char **to;
    } text[] = {{from->at, &to->at},
                {from->who, &to->who},
                {from->why, &to->why},
                {from->before, &to->before},
                {from->after, &to->after}};
    bool whole = true;
    for (size_t i = 0; i < KB_COUNT_OF(text); i++) {
        *text[i].to = kb_copy_string(text[i].from);
        whole = whole && (*text[i].to != NULL) == (text[i].from != NULL);
    }
    whole = copy_fields(from, to) && whole;
    whole = copy_points(from, to) && whole;
    if (!whole) {
        kb_record_entry_release(to);
    }
    return whole;
}

void kb_record_entry_release(struct kb_record_entry *entry) {
    kb_free(entry->at);
    kb_free(entry->who);
    kb_free(entry->why);
    for (size_t i = 0; i < entry->fields && entry->field != NULL; i++) {
        kb_free(entry->field[i]);
    }
    kb_free(entry->field);
    kb_free(entry->point);
    kb_free(entry->before);
    kb_free(entry->after);
    *entry = (struct kb_record_entry){.seq = 0};
}
