/* ask_json.c - what a page asks for, out of the body of its request.
 *
 * The page is ours, but what arrives may come from anywhere: every value is looked at for its kind
 * and range here, and what it means is checked by the record and by the stages that obey it.
 */
#include "serve_priv.h"

#include <string.h>

enum { POINTS_MOST = 20000 }; /* of a stroke or an outline: more than a hand can draw */

static enum kb_status refuse(struct kb_err *err, const char *what) {
    return kb_fail(err, KB_E_USAGE, KB_SERVE_STAGE, NULL, "this is no change: %s (reload the page)",
                   what);
}

static json_t *load(const char *body, size_t size, struct kb_err *err) {
    json_t *json = size > 0 ? json_loadb(body, size, JSON_REJECT_DUPLICATES, NULL) : NULL;
    if (!json_is_object(json)) {
        json_decref(json);
        (void)refuse(err, "its text is no object of JSON");
        return NULL;
    }
    return json;
}

static bool absent(const json_t *value) {
    return value == NULL || json_is_null(value);
}

/* A pixel from a number that may have decimals: where the pointer was. */
static bool read_pixel(const json_t *value, int32_t *pixel) {
    const double said = json_is_number(value) ? json_number_value(value) : (double)NAN;
    if (!(said >= 0.0) || !(said < (double)KB_SIDE_MAX)) {
        return false;
    }
    *pixel = (int32_t)floor(said);
    return true;
}

static bool read_level(const json_t *value, double *level) {
    if (absent(value)) {
        *level = (double)NAN;
        return true;
    }
    *level = json_number_value(value);
    return json_is_number(value) && isfinite(*level);
}

static enum kb_status read_fields(const json_t *json, size_t fields, struct kb_asked_change *asked,
                                  struct kb_err *err) {
    const json_t *list = json_object_get(json, "fields");
    const size_t count = json_array_size(list); /* 0 for what is no array */
    if (count == 0 || count > fields) {
        return refuse(err, "it does not say which fields it is about");
    }
    asked->field = kb_alloc(count, sizeof *asked->field);
    if (asked->field == NULL) {
        return kb_fail_memory(err, KB_SERVE_STAGE, count * sizeof *asked->field);
    }
    for (size_t i = 0; i < count; i++) {
        const json_t *value = json_array_get(list, i);
        const json_int_t said = json_is_integer(value) ? json_integer_value(value) : -1;
        if (said < 0 || (uint64_t)said >= fields) {
            return refuse(err, "it is about a field that is not there");
        }
        for (size_t k = 0; k < i; k++) {
            if (asked->field[k] == (size_t)said) {
                return refuse(err, "it names a field twice");
            }
        }
        asked->field[i] = (size_t)said;
    }
    asked->change.field = asked->field;
    asked->change.fields = count;
    return KB_OK;
}

static enum kb_status read_points(const json_t *json, struct kb_asked_change *asked,
                                  struct kb_err *err) {
    const json_t *list = json_object_get(json, "points");
    const size_t count = json_array_size(list);
    if (absent(list) || (json_is_array(list) && count == 0)) {
        return KB_OK;
    }
    if (!json_is_array(list) || count > POINTS_MOST) {
        return refuse(err, "its points are no list, or too many");
    }
    asked->point = kb_alloc(count, sizeof *asked->point);
    if (asked->point == NULL) {
        return kb_fail_memory(err, KB_SERVE_STAGE, count * sizeof *asked->point);
    }
    for (size_t i = 0; i < count; i++) {
        const json_t *pair = json_array_get(list, i);
        if (json_array_size(pair) != 2 ||
            !read_pixel(json_array_get(pair, 0), &asked->point[i].x) ||
            !read_pixel(json_array_get(pair, 1), &asked->point[i].y)) {
            return refuse(err, "a point of it lies outside any picture");
        }
    }
    asked->change.draft.point = asked->point;
    asked->change.draft.points = count;
    return KB_OK;
}

static enum kb_status read_rect(const json_t *json, struct kb_rect *rect, struct kb_err *err) {
    const json_t *list = json_object_get(json, "rect");
    int32_t *const side[] = {&rect->x, &rect->y, &rect->width, &rect->height};
    if (absent(list)) {
        return KB_OK;
    }
    if (json_array_size(list) != 4) {
        return refuse(err, "its rectangle has not four numbers");
    }
    for (size_t i = 0; i < 4; i++) {
        if (!read_pixel(json_array_get(list, i), side[i])) {
            return refuse(err, "its rectangle lies outside any picture");
        }
    }
    return KB_OK;
}

static enum kb_status read_words(const json_t *json, struct kb_record_entry *draft,
                                 struct kb_err *err) {
    const char *phase = json_string_value(json_object_get(json, "phase"));
    const char *form = json_string_value(json_object_get(json, "form"));
    if (draft->kind == KB_RECORD_PHASE &&
        (phase == NULL || !kb_phase_parse(phase, &draft->phase))) {
        return refuse(err, "it names no phase");
    }
    if (draft->kind == KB_RECORD_FORM && (form == NULL || !kb_form_parse(form, &draft->form))) {
        return refuse(err, "it names no form");
    }
    return KB_OK;
}

static enum kb_status read_numbers(const json_t *json, struct kb_record_entry *draft,
                                   struct kb_err *err) {
    draft->dark = draft->bright = (double)NAN;
    if (draft->kind == KB_RECORD_THRESHOLDS &&
        (!read_level(json_object_get(json, "dark"), &draft->dark) ||
         !read_level(json_object_get(json, "bright"), &draft->bright))) {
        return refuse(err, "a threshold of it is no grey level");
    }
    const json_t *length = json_object_get(json, "length_um");
    if (draft->kind == KB_RECORD_SCALE) {
        if (!json_is_number(length) || !(json_number_value(length) > 0.0)) {
            return refuse(err, "it does not say how long the line is");
        }
        draft->length_um = json_number_value(length);
    }
    return KB_OK;
}

/* A string, NULL where it is empty or not there; for the record, which keeps its own copy. */
static enum kb_status read_text(const json_t *json, const char *key, char **text,
                                struct kb_err *err) {
    const json_t *value = json_object_get(json, key);
    *text = NULL;
    if (absent(value)) {
        return KB_OK;
    }
    if (!json_is_string(value) || strlen(json_string_value(value)) != json_string_length(value)) {
        return refuse(err, "a word of it is no text");
    }
    if (json_string_length(value) > 0) {
        *text = kb_copy_string(json_string_value(value));
        if (*text == NULL) {
            return kb_fail_memory(err, KB_SERVE_STAGE, json_string_length(value));
        }
    }
    return KB_OK;
}

static enum kb_status read_change(const json_t *json, size_t fields, struct kb_asked_change *asked,
                                  struct kb_err *err) {
    struct kb_record_entry *draft = &asked->change.draft;
    const char *kind = json_string_value(json_object_get(json, "kind"));
    if (kind == NULL || !kb_record_kind_parse(kind, &draft->kind) ||
        draft->kind >= KB_RECORD_UNDO) {
        return refuse(err, "its kind is not known");
    }
    enum kb_status status = read_fields(json, fields, asked, err);
    if (status == KB_OK) {
        status = read_points(json, asked, err);
    }
    if (status == KB_OK) {
        status = read_rect(json, &draft->rect, err);
    }
    if (status == KB_OK) {
        status = read_words(json, draft, err);
    }
    if (status == KB_OK) {
        status = read_numbers(json, draft, err);
    }
    if (status == KB_OK) {
        status = read_text(json, "who", &draft->who, err);
    }
    return status == KB_OK ? read_text(json, "why", &draft->why, err) : status;
}

enum kb_status kb_asked_change_read(const char *body, size_t size, size_t fields,
                                    struct kb_asked_change *asked, struct kb_err *err) {
    *asked = (struct kb_asked_change){.point = NULL};
    json_t *json = load(body, size, err);
    if (json == NULL) {
        return KB_E_USAGE;
    }
    const enum kb_status status = read_change(json, fields, asked, err);
    json_decref(json);
    return status;
}

void kb_asked_change_release(struct kb_asked_change *asked) {
    kb_free(asked->change.draft.who);
    kb_free(asked->change.draft.why);
    kb_free(asked->point);
    kb_free(asked->field);
    *asked = (struct kb_asked_change){.point = NULL};
}

enum kb_status kb_asked_name_read(const char *body, size_t size, char **who, char **remark,
                                  struct kb_err *err) {
    *who = *remark = NULL;
    json_t *json = load(body, size, err);
    if (json == NULL) {
        return KB_E_USAGE;
    }
    enum kb_status status = read_text(json, "who", who, err);
    if (status == KB_OK) {
        status = read_text(json, "remark", remark, err);
    }
    json_decref(json);
    return status;
}
