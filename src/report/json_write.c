/* json_write.c - a small JSON writer (RFC 8259) on a text buffer.
 *
 * Written here rather than through a library, so that keys keep the order of the contract, numbers
 * come out equal on every machine, file names that are not UTF-8 do not stop a report, and every
 * allocation passes the memory hook. A number that was not measured is null: NaN is not JSON.
 */
#include "json_write.h"

/* Six significant digits: well beyond any measurement here, short enough to read and to compare. */
enum { JSON_DIGITS = 6, JSON_INDENT = 2 };

static void quoted(struct kb_text *out, const char *string) {
    kb_text_add(out, "\"");
    uint32_t code = 0;
    while (kb_text_next(&string, &code)) {
        if (code == '"' || code == '\\') {
            kb_text_add(out, "\\");
        }
        if (code < 0x20) {
            kb_text_format(out, "\\u%04x", (unsigned)code);
        } else {
            kb_text_put(out, code);
        }
    }
    kb_text_add(out, "\"");
}

static void new_line(struct kb_json *json) {
    kb_text_format(json->out, "\n%*s", json->depth * JSON_INDENT, "");
}

static void begin(struct kb_json *json, const char *key) {
    if (json->some) {
        kb_text_add(json->out, json->inside ? ", " : ",");
    }
    if (json->depth > 0 && !json->inside) {
        new_line(json);
    }
    if (key != NULL) {
        quoted(json->out, key);
        kb_text_add(json->out, ": ");
    }
    json->some = true;
}

void kb_json_open(struct kb_json *json, const char *key, char bracket) {
    begin(json, key);
    kb_text_add_bytes(json->out, &bracket, 1);
    json->depth++;
    json->some = false;
}

void kb_json_close(struct kb_json *json, char bracket) {
    json->depth--;
    if (json->some && !json->inside) {
        new_line(json);
    }
    kb_text_add_bytes(json->out, &bracket, 1);
    json->some = true;
}

void kb_json_string(struct kb_json *json, const char *key, const char *value) {
    if (value == NULL) {
        kb_json_null(json, key);
        return;
    }
    begin(json, key);
    quoted(json->out, value);
}

void kb_json_number(struct kb_json *json, const char *key, double value) {
    begin(json, key);
    if (isfinite(value)) {
        kb_text_significant(json->out, value, JSON_DIGITS);
    } else {
        kb_text_add(json->out, "null");
    }
}

void kb_json_count(struct kb_json *json, const char *key, uint64_t value) {
    begin(json, key);
    kb_text_format(json->out, "%llu", (unsigned long long)value);
}

void kb_json_bool(struct kb_json *json, const char *key, bool value) {
    begin(json, key);
    kb_text_add(json->out, value ? "true" : "false");
}

void kb_json_null(struct kb_json *json, const char *key) {
    kb_json_number(json, key, KB_NAN);
}

void kb_json_interval(struct kb_json *json, const char *key, const struct kb_estimate *estimate,
                      double scale) {
    if (!estimate->measured || !estimate->has_interval || !isfinite(estimate->lo) ||
        !isfinite(estimate->hi)) {
        kb_json_null(json, key);
        return;
    }
    kb_json_open(json, key, '[');
    json->inside = true;
    kb_json_number(json, NULL, estimate->lo * scale);
    kb_json_number(json, NULL, estimate->hi * scale);
    kb_json_close(json, ']');
    json->inside = false;
}

void kb_json_value(struct kb_json *json, const char *key, const struct kb_estimate *estimate,
                   double scale) {
    kb_json_number(json, key, estimate->measured ? estimate->value * scale : KB_NAN);
}
