/* apply.c - from what was said to values: one strict reader a kind of option. */
#include "request.h"

#include <string.h>

enum kb_status kb_refuse(const struct kb_assignment *from, struct kb_err *err, const char *right) {
    return kb_fail(err, KB_E_USAGE, "app", from->where, "'%.60s' %s", from->value, right);
}

static enum kb_status out_of_range(const struct kb_assignment *from, struct kb_err *err,
                                   double scale, const char *unit) {
    const struct kb_option *option = from->option;
    return kb_fail(err, KB_E_USAGE, "app", from->where, "'%.60s' is out of range (%g to %g%s)",
                   from->value, option->low * scale, option->high * scale, unit);
}

static enum kb_status apply_flag(struct kb_request *request, const struct kb_assignment *from,
                                 struct kb_err *err) {
    bool *flag = (bool *)((char *)request + from->option->offset);
    if (strcmp(from->value, "yes") == 0) {
        *flag = true;
    } else if (strcmp(from->value, "no") == 0) {
        *flag = false;
    } else {
        return kb_refuse(from, err, "is neither yes nor no");
    }
    return KB_OK;
}

static enum kb_status apply_integer(struct kb_request *request, const struct kb_assignment *from,
                                    struct kb_err *err) {
    int64_t *value = (int64_t *)(void *)((char *)request + from->option->offset);
    int64_t parsed = 0;
    if (!kb_parse_integer(from->value, INT64_MIN, INT64_MAX, &parsed)) {
        return kb_refuse(from, err, "is not a whole number");
    }
    if ((double)parsed < from->option->low || (double)parsed > from->option->high) {
        return out_of_range(from, err, 1.0, "");
    }
    *value = parsed;
    return KB_OK;
}

/* "5", "5 %" to 5. */
static bool parse_percent(const char *text, double *value) {
    char digits[64];
    size_t length = strlen(text);
    if (length >= sizeof digits) {
        return false;
    }
    memcpy(digits, text, length + 1);
    if (length > 0 && digits[length - 1] == '%') {
        digits[length - 1] = '\0';
    }
    return kb_parse_number(kb_trim(digits), value);
}

static enum kb_status apply_double(struct kb_request *request, const struct kb_assignment *from,
                                   struct kb_err *err) {
    const struct kb_option *option = from->option;
    double value = NAN, scale = 1.0;
    const char *unit = "", *right = NULL;
    switch (option->kind) {
    case KB_OPT_LENGTH:
        unit = " um";
        right = kb_parse_length_um(from->value, &value)
                    ? NULL
                    : "is not a length (say the unit: 0.5um, 500nm or 0.0005mm)";
        break;
    case KB_OPT_FRACTION:
        unit = " %";
        scale = 100.0;
        right =
            kb_parse_fraction(from->value, &value) ? NULL : "is not a fraction (write 41% or 0.41)";
        break;
    case KB_OPT_POINTS:
    case KB_OPT_PERCENT:
        unit = " %";
        right = parse_percent(from->value, &value) ? NULL : "is not a percentage (write 0.76%)";
        break;
    default:
        right = kb_parse_number(from->value, &value) ? NULL : "is not a number (write 12 or 0.5)";
        break;
    }
    if (right != NULL) {
        return kb_refuse(from, err, right);
    }
    if (!(value >= option->low && value <= option->high)) {
        return out_of_range(from, err, scale, unit);
    }
    *(double *)(void *)((char *)request + option->offset) = value;
    return KB_OK;
}

static enum kb_status apply_text(struct kb_request *request, const struct kb_assignment *from,
                                 struct kb_err *err) {
    if (from->value[0] == '\0') {
        return kb_refuse(from, err, "is empty (leave the option out instead)");
    }
    const char **text = (const char **)(void *)((char *)request + from->option->offset);
    *text = from->value; /* assignments live as long as the request */
    return KB_OK;
}

enum kb_status kb_apply(struct kb_request *request, const struct kb_assignment *from,
                        struct kb_err *err) {
    switch (from->option->kind) {
    case KB_OPT_FLAG:
        return apply_flag(request, from, err);
    case KB_OPT_TEXT:
        return apply_text(request, from, err);
    case KB_OPT_INTEGER:
        return apply_integer(request, from, err);
    case KB_OPT_OWN:
        return from->option->own(request, from, err);
    default:
        return apply_double(request, from, err);
    }
}
