/* own_by_hand.c - decisions by hand as they are said: "FIELD X,Y WORD: reason", several of them
 * apart by '|'. Questions about a point,
 * "FIELD X,Y", follow the same grammar without word and reason.
 *
 * The numbers are looked for first, from the left: what stands before them is the field, whose name
 * may hold blanks; what stands behind is the word and, after a colon, the reason. A correction
 * without a reason is refused, and so is one that no line of a job file could hold, since the job
 * file is where it is to be kept.
 */
#include "request.h"

#include <string.h>

enum {
    NUMBERS_MOST = 4,
    DIGITS_MOST = 9,  /* a longer number is no pixel, and would not fit 32 bits */
    KEPT_BYTES = 180, /* of the 197 that a line of a job file may have; the rest is for the key */
};

/* Views into one part of what was said. */
struct said {
    char *field; /* NULL: none */
    int32_t number[NUMBERS_MOST];
    char *word;   /* "" when none */
    char *reason; /* NULL: no colon */
};

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

static bool take_apart(char *text, int numbers, struct said *said) {
    text = kb_trim(text);
    for (char *at = text; *at != '\0'; at = skip_blanks(at + strcspn(at, " \t"))) {
        char *end = take_numbers(at, numbers, said->number);
        if (end == NULL) {
            continue;
        }
        char *colon = strchr(end, ':');
        if (colon != NULL) {
            *colon = '\0';
        }
        said->reason = colon != NULL ? kb_trim(colon + 1) : NULL;
        said->word = kb_trim(end);
        said->field = NULL;
        if (at > text) {
            at[-1] = '\0';
            said->field = kb_trim(text);
        }
        return true;
    }
    return false;
}

/* What a job file could not keep as it stands. */
static const char *trouble(const char *part) {
    if (strlen(part) > KEPT_BYTES) {
        return "is too long to be kept in a job file (at most 180 bytes; shorten the reason)";
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

static enum kb_status keep(struct kb_request *request, const struct kb_by_hand *fresh,
                           struct kb_err *err) {
    void *items = request->hand;
    if (!kb_grow(&items, request->hands, &request->hands_capacity, sizeof *fresh)) {
        return kb_fail_memory(err, "app", sizeof *fresh);
    }
    request->hand = items;
    request->hand[request->hands++] = *fresh;
    return KB_OK;
}

/* A kind of decision: how many numbers it has, and what makes it whole. */
struct grammar {
    enum kb_hand_kind kind;
    int numbers;
    bool asks;         /* a question about a point, no decision: `kind` is not used */
    const char *right; /* what to write */
    /* Understand the word (and numbers); NULL, or why not. */
    const char *(*settle)(const struct said *said, struct kb_by_hand *fresh);
};

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
                                const struct grammar *grammar, char *part, struct kb_err *err) {
    struct said said;
    const char *why = trouble(part);
    if (why == NULL && !take_apart(part, grammar->numbers, &said)) {
        why = grammar->right;
    }
    if (why != NULL) {
        return kb_refuse(from, err, why);
    }
    struct kb_by_hand fresh = {
        .kind = grammar->kind,
        .field_name = said.field,
        .level = (double)NAN,
        .place = {said.number[0], said.number[1], 1, 1},
        .reason = said.reason != NULL && said.reason[0] != '\0' ? said.reason : NULL,
        .origin = kb_origin_name(from->origin),
    };
    why = grammar->settle(&said, &fresh);
    if (why != NULL) {
        return kb_refuse(from, err, why);
    }
    return grammar->asks ? keep_question(request, &fresh, err) : keep(request, &fresh, err);
}

static enum kb_status take(struct kb_request *request, const struct kb_assignment *from,
                           const struct grammar *grammar, struct kb_err *err) {
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

/* ---- the kinds ---------------------------------------------------------------------------------
 */

static const char phase_right[] = "is no phase by hand (write 'FIELD X,Y PHASE: reason', for "
                                  "example 'a.tif 120,88 pearlite: lamellae at 500x')";

static const char *settle_phase(const struct said *said, struct kb_by_hand *fresh) {
    if (said->field == NULL || said->word[0] == '\0') {
        return phase_right;
    }
    if (!kb_phase_parse(said->word, &fresh->phase)) {
        return "names no phase (graphite, ferrite, pearlite, cementite, matrix, other or excluded)";
    }
    return fresh->reason != NULL ? NULL
                                 : "gives no reason (write 'FIELD X,Y PHASE: reason', so that the "
                                   "report can say why)";
}

enum kb_status kb_own_set_phase(struct kb_request *request, const struct kb_assignment *from,
                                struct kb_err *err) {
    static const struct grammar grammar = {KB_HAND_PHASE, 2, false, phase_right, settle_phase};
    return take(request, from, &grammar, err);
}

static const char form_right[] = "is no form by hand (write 'FIELD X,Y FORM: reason', for example "
                                 "'a.tif 120,88 VI: a pull-out spoilt its outline')";

static const char *settle_form(const struct said *said, struct kb_by_hand *fresh) {
    if (said->field == NULL || said->word[0] == '\0') {
        return form_right;
    }
    if (!kb_form_parse(said->word, &fresh->form)) {
        return "names no form (I, II, III, IV, V or VI of ISO 945-1)";
    }
    return fresh->reason != NULL ? NULL
                                 : "gives no reason (write 'FIELD X,Y FORM: reason', so that the "
                                   "report can say why)";
}

enum kb_status kb_own_set_form(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err) {
    static const struct grammar grammar = {KB_HAND_FORM, 2, false, form_right, settle_form};
    return take(request, from, &grammar, err);
}

static const char exclude_right[] =
    "is no rectangle (write x,y,width,height in pixels, before it a field if it is for one only, "
    "behind it ': reason')";

static const char *settle_exclusion(const struct said *said, struct kb_by_hand *fresh) {
    const int32_t *n = said->number;
    bool lies = n[0] >= 0 && n[1] >= 0 && n[2] >= 1 && n[3] >= 1;
    for (int i = 0; i < 4; i++) {
        lies = lies && n[i] <= KB_SIDE_MAX;
    }
    fresh->place = (struct kb_rect){n[0], n[1], n[2], n[3]};
    return lies && said->word[0] == '\0' ? NULL : exclude_right;
}

enum kb_status kb_own_exclude(struct kb_request *request, const struct kb_assignment *from,
                              struct kb_err *err) {
    static const struct grammar grammar = {KB_HAND_EXCLUSION, 4, false, exclude_right,
                                           settle_exclusion};
    return take(request, from, &grammar, err);
}

static const char why_right[] =
    "is no point to be explained (write 'FIELD X,Y', for example 'a.tif 120,88', without FIELD for "
    "that pixel of every field)";

static const char *settle_why(const struct said *said, struct kb_by_hand *fresh) {
    (void)fresh;
    return said->word[0] == '\0' && said->reason == NULL ? NULL : why_right;
}

enum kb_status kb_own_why(struct kb_request *request, const struct kb_assignment *from,
                          struct kb_err *err) {
    static const struct grammar grammar = {KB_HAND_KINDS, 2, true, why_right, settle_why};
    return take(request, from, &grammar, err);
}

/* ---- thresholds --------------------------------------------------------------------------------
 */

static enum kb_status keep_threshold(struct kb_request *request, enum kb_hand_kind kind,
                                     const char *name, double level, struct kb_err *err) {
    const struct kb_assignment *said =
        kb_request_said(request, kb_option_by_name(name, KB_MEASURE));
    if (said == NULL) {
        return KB_OK;
    }
    const struct kb_by_hand fresh = {.kind = kind,
                                     .level = level,
                                     .reason = request->threshold_reason,
                                     .origin = kb_origin_name(said->origin)};
    return keep(request, &fresh, err);
}

enum kb_status kb_request_thresholds(struct kb_request *request, struct kb_err *err) {
    const struct kb_segmentation_params *params = &request->settings.segmentation;
    size_t before = request->hands;
    enum kb_status status =
        keep_threshold(request, KB_HAND_DARK, "dark-threshold", params->dark_threshold, err);
    if (status == KB_OK) {
        status = keep_threshold(request, KB_HAND_BRIGHT, "bright-threshold",
                                params->bright_threshold, err);
    }
    if (status == KB_OK && request->threshold_reason != NULL && request->hands == before) {
        status = kb_fail(err, KB_E_USAGE, "app", "--threshold-reason",
                         "there is no threshold to give a reason for (say --dark-threshold or "
                         "--bright-threshold too, or leave it out)");
    }
    return status;
}
