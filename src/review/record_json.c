/* record_json.c - a change to a line of JSON, and back.
 *
 * Reading is strict: what is not a whole change of its kind is refused with the number of its line,
 * since figures hang on it. Keys that are not known are refused too: a later version may have put
 * there what changes a figure.
 */
#include "record_priv.h"

#include <string.h>

enum { LIST_MOST = 100000, DIGITS = 17 }; /* points of one change; digits that give back a double */

static int add_bytes(const char *bytes, size_t length, void *text) {
    kb_text_add_bytes(text, bytes, length);
    return 0;
}

bool kb_review_dump(const json_t *json, size_t flags, struct kb_text *text) {
    return json != NULL && json_dump_callback(json, add_bytes, text, flags) == 0 && !text->failed;
}

static bool dump(const json_t *value, struct kb_text *text) {
    return kb_review_dump(value, JSON_COMPACT | JSON_REAL_PRECISION(DIGITS), text);
}

/* ---- writing ---- */

static json_t *texts(char *const *text, size_t count) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++) {
        (void)json_array_append_new(list, json_string(text[i]));
    }
    return list;
}

static json_t *places(const struct kb_place *place, size_t count) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++) {
        (void)json_array_append_new(list, json_pack("[i,i]", (int)place[i].x, (int)place[i].y));
    }
    return list;
}

static json_t *level(double value) {
    return isnan(value) ? json_null() : json_real(value);
}

static void put_place(json_t *line, const struct kb_record_entry *entry) {
    (void)json_object_set_new(line, "fields", texts(entry->field, entry->fields));
    if (entry->points > 0) {
        (void)json_object_set_new(line, "points", places(entry->point, entry->points));
    }
    if (entry->kind == KB_RECORD_EXCLUDE && entry->points == 0) {
        const struct kb_rect *r = &entry->rect;
        (void)json_object_set_new(
            line, "rect",
            json_pack("[i,i,i,i]", (int)r->x, (int)r->y, (int)r->width, (int)r->height));
    }
}

static void put_kind(json_t *line, const struct kb_record_entry *entry) {
    if (kb_record_is_change(entry->kind)) {
        put_place(line, entry);
    } else if (entry->kind != KB_RECORD_SIGN) {
        (void)json_object_set_new(line, "of", json_integer((json_int_t)entry->of));
    }
    if (entry->kind == KB_RECORD_THRESHOLDS) {
        (void)json_object_set_new(line, "dark", level(entry->dark));
        (void)json_object_set_new(line, "bright", level(entry->bright));
    } else if (entry->kind == KB_RECORD_PHASE) {
        (void)json_object_set_new(line, "phase", json_string(kb_phase_name(entry->phase)));
    } else if (entry->kind == KB_RECORD_FORM) {
        (void)json_object_set_new(line, "form", json_string(kb_form_roman(entry->form)));
    } else if (entry->kind == KB_RECORD_SCALE) {
        (void)json_object_set_new(line, "length_um", json_real(entry->length_um));
    }
}

static bool put_figures(json_t *line, const char *key, const char *figures) {
    if (figures == NULL) {
        return true;
    }
    json_t *object = json_loads(figures, JSON_REJECT_DUPLICATES, NULL);
    return json_is_object(object) ? json_object_set_new(line, key, object) == 0
                                  : (json_decref(object), false);
}

enum kb_status kb_record_line(const struct kb_record_entry *entry, const char *link,
                              struct kb_text *text, struct kb_err *err) {
    json_t *line = json_object();
    (void)json_object_set_new(line, "seq", json_integer((json_int_t)entry->seq));
    (void)json_object_set_new(line, "at", json_string(entry->at));
    (void)json_object_set_new(line, "who", json_string(entry->who));
    (void)json_object_set_new(line, "why",
                              entry->why != NULL ? json_string(entry->why) : json_null());
    (void)json_object_set_new(line, "kind", json_string(kb_record_kind_name(entry->kind)));
    put_kind(line, entry);
    const bool figures =
        put_figures(line, "before", entry->before) && put_figures(line, "after", entry->after);
    (void)json_object_set_new(line, "link", json_string(link));
    /* a name that is no UTF-8 gives no line */
    const bool whole = figures && json_object_get(line, "who") != NULL &&
                       json_object_get(line, "why") != NULL &&
                       (!kb_record_is_change(entry->kind) ||
                        json_array_size(json_object_get(line, "fields")) == entry->fields) &&
                       dump(line, text);
    json_decref(line);
    if (text->failed) {
        return kb_fail_memory(err, KB_REVIEW_STAGE, text->length);
    }
    if (!whole) {
        return kb_fail(err, KB_E_USAGE, KB_REVIEW_STAGE, NULL,
                       "the change cannot be put on record (write names and reasons in UTF-8)");
    }
    kb_text_add(text, "\n");
    return text->failed ? kb_fail_memory(err, KB_REVIEW_STAGE, text->length) : KB_OK;
}

/* ---- reading: each takes what stands under its key, false when that is not of its kind ---- */

static bool take_text(const json_t *value, char **to) {
    *to = kb_copy_string(json_string_value(value)); /* null: NULL */
    return json_is_null(value) || *to != NULL;
}

static bool take_seq(const json_t *value, uint64_t *to) {
    *to = json_is_integer(value) && json_integer_value(value) > 0
              ? (uint64_t)json_integer_value(value)
              : 0;
    return *to > 0;
}

static bool take_level(const json_t *value, double *to) {
    *to = json_is_number(value) ? json_number_value(value) : (double)NAN;
    return json_is_number(value) || json_is_null(value);
}

static bool take_whole(const json_t *value, int32_t *to) {
    const json_int_t number = json_integer_value(value);
    *to = number >= INT32_MIN && number <= INT32_MAX ? (int32_t)number : -1;
    return json_is_integer(value);
}

static bool take_fields(const json_t *value, struct kb_record_entry *entry) {
    const size_t count = json_array_size(value);
    entry->field = count <= LIST_MOST ? kb_alloc_zero(count + 1, sizeof *entry->field) : NULL;
    for (size_t i = 0; entry->field != NULL && i < count; i++) {
        const char *name = json_string_value(json_array_get(value, i));
        entry->field[entry->fields++] = kb_copy_string(name);
        if (entry->field[i] == NULL) {
            return false;
        }
    }
    return entry->field != NULL;
}

static bool take_points(const json_t *value, struct kb_record_entry *entry) {
    const size_t count = json_array_size(value);
    entry->point = count <= LIST_MOST ? kb_alloc_zero(count + 1, sizeof *entry->point) : NULL;
    for (size_t i = 0; entry->point != NULL && i < count; i++) {
        const json_t *pair = json_array_get(value, i);
        struct kb_place *to = &entry->point[entry->points++];
        if (json_array_size(pair) != 2 || !take_whole(json_array_get(pair, 0), &to->x) ||
            !take_whole(json_array_get(pair, 1), &to->y)) {
            return false;
        }
    }
    return entry->point != NULL;
}

static bool take_rect(const json_t *value, struct kb_rect *to) {
    int32_t *const side[] = {&to->x, &to->y, &to->width, &to->height};
    for (size_t i = 0; i < KB_COUNT_OF(side); i++) {
        if (!take_whole(json_array_get(value, i), side[i])) {
            return false;
        }
    }
    return json_array_size(value) == KB_COUNT_OF(side);
}

static bool take_figures(const json_t *value, char **to) {
    struct kb_text text = KB_TEXT_INIT;
    const bool whole = json_is_object(value) && dump(value, &text);
    *to = whole ? kb_copy_string(text.data) : NULL;
    kb_text_release(&text);
    return *to != NULL;
}

static bool take_link(const json_t *value, char link[65]) {
    const char *text = json_string_value(value);
    return text != NULL && (size_t)snprintf(link, 65, "%s", text) < 65;
}

static bool take(const char *key, const json_t *value, struct kb_record_entry *entry,
                 char link[65]) {
    const char *word = json_string_value(value);
    if (strcmp(key, "seq") == 0) {
        return take_seq(value, &entry->seq);
    }
    if (strcmp(key, "at") == 0) {
        return word != NULL && take_text(value, &entry->at);
    }
    if (strcmp(key, "who") == 0) {
        return word != NULL && take_text(value, &entry->who);
    }
    if (strcmp(key, "why") == 0) {
        return take_text(value, &entry->why);
    }
    if (strcmp(key, "kind") == 0) {
        return word != NULL && kb_record_kind_parse(word, &entry->kind);
    }
    if (strcmp(key, "link") == 0) {
        return take_link(value, link);
    }
    if (strcmp(key, "of") == 0) {
        return take_seq(value, &entry->of);
    }
    if (strcmp(key, "fields") == 0) {
        return take_fields(value, entry);
    }
    if (strcmp(key, "points") == 0) {
        return take_points(value, entry);
    }
    if (strcmp(key, "rect") == 0) {
        return take_rect(value, &entry->rect);
    }
    if (strcmp(key, "phase") == 0) {
        return word != NULL && kb_phase_parse(word, &entry->phase);
    }
    if (strcmp(key, "form") == 0) {
        return word != NULL && kb_form_parse(word, &entry->form);
    }
    if (strcmp(key, "dark") == 0) {
        return take_level(value, &entry->dark);
    }
    if (strcmp(key, "bright") == 0) {
        return take_level(value, &entry->bright);
    }
    if (strcmp(key, "length_um") == 0) {
        return take_level(value, &entry->length_um);
    }
    if (strcmp(key, "before") == 0) {
        return take_figures(value, &entry->before);
    }
    return strcmp(key, "after") == 0 && take_figures(value, &entry->after);
}

enum kb_status kb_record_parse(const char *line, size_t length, const char *path, size_t number,
                               struct kb_record_entry *entry, char link[65], struct kb_err *err) {
    *entry = (struct kb_record_entry){.kind = KB_RECORD_KINDS, .dark = NAN, .bright = NAN};
    link[0] = '\0';
    json_t *root = json_loadb(line, length, JSON_REJECT_DUPLICATES, NULL);
    const char *wrong = json_is_object(root) ? NULL : "is no line of a record";
    char what[96];
    const char *key = NULL;
    json_t *value = NULL;
    json_object_foreach(root, key, value) {
        if (wrong == NULL && !take(key, value, entry, link)) {
            (void)snprintf(what, sizeof what, "has a '%.40s' that cannot be", key);
            wrong = what;
        }
    }
    if (wrong == NULL) {
        wrong = entry->kind == KB_RECORD_KINDS ? "does not say its kind" : kb_record_flaw(entry);
    }
    enum kb_status status = KB_OK;
    if (wrong != NULL) {
        status = kb_fail(err, KB_E_INPUT, KB_REVIEW_STAGE, path,
                         "line %zu %s (give the record as keelblock wrote it)", number, wrong);
        kb_record_entry_release(entry);
    }
    json_decref(root);
    return status;
}
