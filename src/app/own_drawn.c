/* own_drawn.c - decisions by hand that are drawn, or that are about a whole field: cuts, joins, a
 * line whose length is known, thresholds of one field. The grammar is said.c's.
 */
#include "said.h"

#include <string.h>

static const char *give_reason(const struct kb_by_hand *fresh, const char *without) {
    return fresh->reason != NULL ? NULL : without;
}

static const char cut_right[] =
    "is no cut by hand (write 'FIELD X,Y X,Y ...: reason', the points that the stroke goes "
    "through, for example 'a.tif 120,80 140,95: two nodules')";

static const char *settle_cut(const struct kb_said *said, struct kb_by_hand *fresh) {
    return said->field == NULL || said->word[0] != '\0'
               ? cut_right
               : give_reason(fresh, "gives no reason (write 'FIELD X,Y X,Y: reason', so that the "
                                    "report can say why)");
}

enum kb_status kb_own_stroke(struct kb_request *request, const struct kb_assignment *from,
                             struct kb_err *err) {
    static const struct kb_grammar grammar = {
        .kind = KB_HAND_CUT, .points = 2, .right = cut_right, .settle = settle_cut};
    return kb_said_take(request, from, &grammar, err);
}

static const char join_right[] =
    "is no join by hand (write 'FIELD X,Y X,Y: reason', a pixel in each of two particles, for "
    "example 'a.tif 120,80 140,95: one nodule, cracked')";

static const char *settle_join(const struct kb_said *said, struct kb_by_hand *fresh) {
    return said->field == NULL || said->word[0] != '\0' || said->points != 2
               ? join_right
               : give_reason(fresh, "gives no reason (write 'FIELD X,Y X,Y: reason', so that the "
                                    "report can say why)");
}

enum kb_status kb_own_join(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err) {
    static const struct kb_grammar grammar = {
        .kind = KB_HAND_JOIN, .points = 2, .right = join_right, .settle = settle_join};
    return kb_said_take(request, from, &grammar, err);
}

/* ---- scale -------------------------------------------------------------------------------------
 */

static const char scale_right[] =
    "is no line of known length (write '[FIELD ]X,Y X,Y LENGTH: reason', for example 'a.tif "
    "40,700 240,700 100um: the scale bar', LENGTH with its uncertainty as 100um±0.5um)";

static const char *settle_scale(const struct kb_said *said, struct kb_by_hand *fresh) {
    char length[96];
    char *plus = NULL;
    double factor = 2.0;
    double expanded = 0.0;
    if (said->points != 2 || strlen(said->word) >= sizeof length) {
        return scale_right;
    }
    (void)snprintf(length, sizeof length, "%s", said->word);
    if (!kb_split_uncertainty(length, &plus, &factor) ||
        !kb_parse_length_um(kb_trim(length), &fresh->length_um) || !(fresh->length_um > 0.0)) {
        return scale_right;
    }
    if (plus != NULL && (!kb_parse_length_um(kb_trim(plus), &expanded) || !(expanded > 0.0) ||
                         !(expanded < fresh->length_um))) {
        return scale_right;
    }
    if (said->point[0].x == said->point[1].x && said->point[0].y == said->point[1].y) {
        return "begins and ends at the same pixel (draw the line longer)";
    }
    fresh->length_um_u = expanded / factor;
    return give_reason(fresh, "gives no reason (write '[FIELD ]X,Y X,Y LENGTH: reason', so that "
                              "the report can say why)");
}

enum kb_status kb_own_scale_line(struct kb_request *request, const struct kb_assignment *from,
                                 struct kb_err *err) {
    static const struct kb_grammar grammar = {
        .kind = KB_HAND_SCALE, .points = 2, .right = scale_right, .settle = settle_scale};
    return kb_said_take(request, from, &grammar, err);
}

/* ---- thresholds of one field -------------------------------------------------------------------
 */

static const char threshold_right[] =
    "is no threshold of a field (write 'FIELD DARK: reason' or 'FIELD DARK,BRIGHT: reason', grey "
    "levels of the file, for example 'a.tif 77,160: the lamp was changed'; '-' leaves one as it "
    "is)";

/* "77" or "-", to a level or NaN. */
static bool take_level(const char *text, double *level) {
    const double most = 65535.0; /* of a file with 16 bits */
    *level = (double)NAN;
    return strcmp(text, "-") == 0 ||
           (kb_parse_number(text, level) && *level >= 0.0 && *level <= most);
}

/* One word that is levels and nothing else. */
static bool take_levels(const char *word, size_t length, double *dark, double *bright) {
    char text[64];
    if (length == 0 || length >= sizeof text) {
        return false;
    }
    memcpy(text, word, length);
    text[length] = '\0';
    char *comma = strchr(text, ',');
    *bright = (double)NAN;
    if (comma != NULL) {
        *comma = '\0';
    }
    return take_level(text, dark) && (comma == NULL || take_level(comma + 1, bright)) &&
           !(isnan(*dark) && isnan(*bright));
}

static enum kb_status keep_levels(struct kb_request *request, struct kb_by_hand *fresh, double dark,
                                  double bright, struct kb_err *err) {
    enum kb_status status = KB_OK;
    if (!isnan(dark)) {
        fresh->kind = KB_HAND_DARK;
        fresh->level = dark;
        status = kb_said_keep(request, fresh, err);
    }
    if (status == KB_OK && !isnan(bright)) {
        fresh->kind = KB_HAND_BRIGHT;
        fresh->level = bright;
        status = kb_said_keep(request, fresh, err);
    }
    return status;
}

/* The first word that is levels, with nothing but the reason behind it. */
static enum kb_status take_threshold(struct kb_request *request, const struct kb_assignment *from,
                                     char *part, struct kb_err *err) {
    double dark = 0.0;
    double bright = 0.0;
    const char *why = kb_said_trouble(part, KB_SAID_LINE);
    part = kb_trim(part);
    for (char *at = part; *at != '\0' && why == NULL; at += strspn(at, " \t")) {
        const size_t length = strcspn(at, " \t:");
        char *end = at + length + strspn(at + length, " \t");
        if (at == part || *end != ':' || !take_levels(at, length, &dark, &bright)) {
            at += strcspn(at, " \t");
            continue;
        }
        at[-1] = '\0';
        struct kb_by_hand fresh = {.field_name = kb_trim(part),
                                   .reason = kb_trim(end + 1),
                                   .origin = kb_origin_name(from->origin)};
        return fresh.reason[0] != '\0' ? keep_levels(request, &fresh, dark, bright, err)
                                       : kb_refuse(from, err, threshold_right);
    }
    return kb_refuse(from, err, why != NULL ? why : threshold_right);
}

enum kb_status kb_own_field_threshold(struct kb_request *request, const struct kb_assignment *from,
                                      struct kb_err *err) {
    char *copy = kb_request_keep(request, from->value);
    enum kb_status status = copy != NULL ? KB_OK : kb_fail_memory(err, "app", strlen(from->value));
    for (char *part = copy, *next = NULL; part != NULL && status == KB_OK; part = next) {
        next = strchr(part, '|');
        if (next != NULL) {
            *next++ = '\0';
        }
        status = take_threshold(request, from, part, err);
    }
    return status;
}
