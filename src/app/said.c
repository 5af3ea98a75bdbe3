/* said.c - the grammar of decisions by hand: a field, a place, a word and a reason.
 *
 * The place is looked for first, from the left: what stands before it is the field, whose name may
 * hold blanks; what stands behind is the word and, after a colon, the reason. A place is some
 * numbers apart by commas, or a chain of pairs apart by blanks. What no line of a job file could
 * hold is refused, since the job file is where a decision is to be kept.
 */
#include "said.h"

#include <string.h>

enum { DIGITS_MOST = 9 }; /* a longer number is no pixel, and would not fit 32 bits */

static char *skip_blanks(char *at) {
    return at + strspn(at, " \t");
}

/* One whole number at *at, moved over; false when there is none. */
static bool take_number(char **at, int32_t *number) {
    bool negative = **at == '-';
    char *digit = *at + (negative ? 1 : 0);
    size_t digits = strspn(digit, "0123456789");
    if (digits == 0 || digits > DIGITS_MOST) {
        return false;
    }
    int32_t value = 0;
    for (size_t i = 0; i < digits; i++) {
        value = 10 * value + (digit[i] - '0');
    }
    *number = negative ? -value : value;
    *at = digit + digits;
    return true;
}

/* "12, 34" and what ends a word behind it; NULL when `at` holds something else. */
static char *take_numbers(char *at, int count, int32_t *number) {
    for (int i = 0; i < count; i++) {
        if (i > 0) {
            at = skip_blanks(at);
            if (*at != ',') {
                return NULL;
            }
            at = skip_blanks(at + 1);
        }
        if (!take_number(&at, &number[i])) {
            return NULL;
        }
    }
    char *end = skip_blanks(at);
    bool ends = *end == '\0' || *end == ':' || end > at;
    return ends && *end != ',' ? end : NULL;
}

/* "12,34 56,78 ..." and what ends a word behind it: how many pairs, into `point` unless that is
 * NULL.
 */
static size_t take_points(char *at, struct kb_place *point, char **end) {
    size_t count = 0;
    int32_t pair[2];
    for (char *next = take_numbers(at, 2, pair); next != NULL; next = take_numbers(at, 2, pair)) {
        if (point != NULL) {
            point[count] = (struct kb_place){pair[0], pair[1]};
        }
        count++;
        at = next;
    }
    *end = at;
    return count;
}

/* What stands behind the place: word and reason. */
static void take_rest(char *text, char *at, char *end, struct kb_said *said) {
    char *colon = strchr(end, ':');
    if (colon != NULL) {
        *colon = '\0';
    }
    said->reason = colon != NULL ? kb_trim(colon + 1) : NULL;
    said->word = kb_trim(end);
    if (at > text) {
        at[-1] = '\0';
        said->field = kb_trim(text);
    }
}

/* *found false where it has no place. */
static enum kb_status take_apart(struct kb_request *request, char *text,
                                 const struct kb_grammar *grammar, struct kb_said *said,
                                 bool *found, struct kb_err *err) {
    text = kb_trim(text);
    *said = (struct kb_said){0};
    *found = false;
    for (char *at = text; *at != '\0'; at = skip_blanks(at + strcspn(at, " \t"))) {
        char *end = grammar->numbers > 0 ? take_numbers(at, grammar->numbers, said->number) : NULL;
        if (end == NULL && grammar->points > 0) {
            const size_t points = take_points(at, NULL, &end);
            if (points < grammar->points) {
                continue;
            }
            said->point = kb_request_keep_bytes(request, points * sizeof *said->point);
            if (said->point == NULL) {
                return kb_fail_memory(err, "app", points * sizeof *said->point);
            }
            said->points = take_points(at, said->point, &end);
        }
        if (end != NULL) {
            take_rest(text, at, end, said);
            *found = true;
            return KB_OK;
        }
    }
    return KB_OK;
}

/* What a job file could not keep as it stands. */
const char *kb_said_trouble(const char *part, size_t most) {
    if (strlen(part) > most) {
        return most == KB_SAID_LINE
                   ? "is too long to be kept in a job file (at most 180 bytes; shorten the reason)"
                   : "has too many points to be kept in a job file (at most 16000 bytes)";
    }
    for (const char *c = part; *c != '\0'; c++) {
        if ((unsigned char)*c < ' ' && *c != '\t') {
            return "holds a line break or another control character (leave it out)";
        }
    }
    if (strstr(part, " ;") != NULL) {
        return "holds a semicolon after a blank, where a job file begins a comment (leave it out)";
    }
    return NULL;
}

enum kb_status kb_said_keep(struct kb_request *request, const struct kb_by_hand *fresh,
                            struct kb_err *err) {
    void *items = request->hand;
    if (!kb_grow(&items, request->hands, &request->hands_capacity, sizeof *fresh)) {
        return kb_fail_memory(err, "app", sizeof *fresh);
    }
    request->hand = items;
    request->hand[request->hands++] = *fresh;
    return KB_OK;
}

/* The same place, field and origin as a question. */
static enum kb_status keep_question(struct kb_request *request, const struct kb_by_hand *fresh,
                                    struct kb_err *err) {
    void *items = request->asked;
    if (!kb_grow(&items, request->asked_count, &request->asked_capacity, sizeof *request->asked)) {
        return kb_fail_memory(err, "app", sizeof *request->asked);
    }
    request->asked = items;
    request->asked[request->asked_count++] =
        (struct kb_asked){fresh->field_name, {fresh->place.x, fresh->place.y}, fresh->origin};
    return KB_OK;
}

static enum kb_status take_part(struct kb_request *request, const struct kb_assignment *from,
                                const struct kb_grammar *grammar, char *part, struct kb_err *err) {
    struct kb_said said;
    bool found = false;
    const char *why = kb_said_trouble(part, grammar->points > 0 ? KB_SAID_CHAIN : KB_SAID_LINE);
    enum kb_status status =
        why == NULL ? take_apart(request, part, grammar, &said, &found, err) : KB_OK;
    if (status != KB_OK) {
        return status;
    }
    if (why != NULL || !found) {
        return kb_refuse(from, err, why != NULL ? why : grammar->right);
    }
    struct kb_by_hand fresh = {
        .kind = grammar->kind,
        .field_name = said.field,
        .level = (double)NAN,
        .point = said.point,
        .points = said.points,
        .reason = said.reason != NULL && said.reason[0] != '\0' ? said.reason : NULL,
        .origin = kb_origin_name(from->origin),
    };
    if (said.points == 0) {
        fresh.place = (struct kb_rect){said.number[0], said.number[1], 1, 1};
    }
    why = grammar->settle(&said, &fresh);
    if (why != NULL) {
        return kb_refuse(from, err, why);
    }
    return grammar->asks ? keep_question(request, &fresh, err) : kb_said_keep(request, &fresh, err);
}

enum kb_status kb_said_take(struct kb_request *request, const struct kb_assignment *from,
                            const struct kb_grammar *grammar, struct kb_err *err) {
    char *copy = kb_request_keep(request, from->value);
    enum kb_status status = copy != NULL ? KB_OK : kb_fail_memory(err, "app", strlen(from->value));
    for (char *part = copy, *next = NULL; part != NULL && status == KB_OK; part = next) {
        next = strchr(part, '|');
        if (next != NULL) {
            *next++ = '\0';
        }
        status = take_part(request, from, grammar, part, err);
    }
    return status;
}
