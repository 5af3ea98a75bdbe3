/* own_pixel_size.c - the scale as a calibration certificate gives it: "0.5um±0.002um", a scale bar
 * "412px±1px=100um±0.5um", or "0.5%" of whatever scale the file states.
 *
 * What stands behind the sign is an expanded uncertainty with the coverage factor 2, which is what
 * certificates of stage micrometers state unless they say otherwise (common practice, no published
 * source); "(k=1)" behind it names another factor. Settings keep the standard uncertainty.
 */
#include "request.h"

#include <string.h>

static const char right_size[] = "is not a length (say the unit: 0.5um, 500nm or 0.0005mm)";
static const char right_plus[] = "is no pixel size with its uncertainty (write 0.5um±0.002um, with "
                                 "both units, or 0.5um±0.001um (k=1))";
static const char right_bar[] = "is no scale bar (write 200px=100um, with its uncertainty "
                                "200px=100um±0.5um or 200px±1px=100um±0.5um (k=2))";
static const char right_share[] = "is no uncertainty of a scale (write 0.5%, or 0.25% (k=1))";

/* The sign and what stands behind it; NULL: none. Cuts the text before it. */
static char *behind_sign(char *text) {
    static const char *const sign[] = {"±", "+-", "+/-"};
    for (size_t i = 0; i < sizeof sign / sizeof sign[0]; i++) {
        char *at = strstr(text, sign[i]);
        if (at != NULL) {
            *at = '\0';
            return at + strlen(sign[i]);
        }
    }
    return NULL;
}

/* Factor of a trailing "(k=1)", which is cut off; 2 where there is none. False when it is none. */
static bool take_factor(char *text, double *factor) {
    *factor = 2.0;
    char *open = strchr(text, '(');
    if (open == NULL) {
        return true;
    }
    char *close = strchr(open, ')');
    if (close == NULL || close[1] != '\0') {
        return false;
    }
    *open = *close = '\0';
    char *letter = kb_trim(open + 1);
    if (*letter != 'k') {
        return false;
    }
    char *equals = kb_trim(letter + 1);
    /* beyond 10 it is a slip */
    return *equals == '=' && kb_parse_number(kb_trim(equals + 1), factor) && *factor > 0.0 &&
           *factor <= 10.0;
}

bool kb_split_uncertainty(char *text, char **behind, double *factor) {
    *factor = 2.0;
    *behind = behind_sign(text);
    return *behind == NULL || take_factor(*behind, factor);
}

enum kb_status kb_own_pixel_size(struct kb_request *request, const struct kb_assignment *from,
                                 struct kb_err *err) {
    char text[96];
    if (strlen(from->value) >= sizeof text) {
        return kb_refuse(from, err, right_size);
    }
    (void)snprintf(text, sizeof text, "%s", from->value);
    char *plus = behind_sign(text);
    double um = 0.0;
    double expanded = 0.0;
    double factor = 2.0;
    if (!kb_parse_length_um(kb_trim(text), &um)) {
        return kb_refuse(from, err, right_size);
    }
    if (um < from->option->low || um > from->option->high) {
        return kb_fail(err, KB_E_USAGE, "app", from->where, "'%.60s' is out of range (%g to %g um)",
                       from->value, from->option->low, from->option->high);
    }
    if (plus != NULL &&
        (!take_factor(kb_trim(plus), &factor) || !kb_parse_length_um(kb_trim(plus), &expanded) ||
         !(expanded > 0.0) || !(expanded < um))) {
        return kb_refuse(from, err, right_plus);
    }
    request->settings.intake.px_um = um;
    request->settings.intake.px_um_u = expanded / factor;
    return KB_OK;
}

/* ---- scale bar ---------------------------------------------------------------------------------
 */

/* A quantity with its uncertainty, if it has one. */
struct stated {
    double value, u; /* u: standard */
};

static bool take_stated(char *text, bool (*parse)(const char *text, double *value),
                        struct stated *stated) {
    double expanded = 0.0;
    double factor = 2.0;
    char *plus = behind_sign(text);
    if (!parse(kb_trim(text), &stated->value) || !(stated->value > 0.0)) {
        return false;
    }
    if (plus != NULL && (!take_factor(kb_trim(plus), &factor) || !parse(kb_trim(plus), &expanded) ||
                         !(expanded > 0.0) || !(expanded < stated->value))) {
        return false;
    }
    stated->u = expanded / factor;
    return true;
}

/* The sign between both sides: not that of a coverage factor in brackets. NULL: none. */
static char *middle(char *text) {
    bool inside = false;
    for (char *c = text; *c != '\0'; c++) {
        inside = *c == '(' || (inside && *c != ')');
        if (*c == '=' && !inside) {
            return c;
        }
    }
    return NULL;
}

enum kb_status kb_own_scale_bar(struct kb_request *request, const struct kb_assignment *from,
                                struct kb_err *err) {
    char text[96];
    struct stated px = {0.0, 0.0};
    struct stated um = {0.0, 0.0};
    if (strlen(from->value) >= sizeof text) {
        return kb_refuse(from, err, right_bar);
    }
    (void)snprintf(text, sizeof text, "%s", from->value);
    char *equals = middle(text);
    if (equals == NULL) {
        return kb_refuse(from, err, right_bar);
    }
    *equals = '\0';
    /* either side may come first: each has its own unit */
    bool length_first = strstr(text, "px") == NULL;
    if (!take_stated(length_first ? equals + 1 : text, kb_parse_pixels, &px) ||
        !take_stated(length_first ? text : equals + 1, kb_parse_length_um, &um)) {
        return kb_refuse(from, err, right_bar);
    }
    struct kb_intake_params *intake = &request->settings.intake;
    intake->bar_px = px.value;
    intake->bar_um = um.value;
    /* relative parts add in squares (JCGM 100:2008, 5.1.6; from memory) */
    intake->px_um_u = um.value / px.value * hypot(px.u / px.value, um.u / um.value);
    return KB_OK;
}

enum kb_status kb_own_scale_uncertainty(struct kb_request *request,
                                        const struct kb_assignment *from, struct kb_err *err) {
    char text[96];
    double share = 0.0;
    double factor = 2.0;
    if (strlen(from->value) >= sizeof text) {
        return kb_refuse(from, err, right_share);
    }
    (void)snprintf(text, sizeof text, "%s", from->value);
    if (!take_factor(text, &factor) || !kb_parse_fraction(kb_trim(text), &share) ||
        !(share >= 0.0 && share < 1.0)) {
        return kb_refuse(from, err, right_share);
    }
    request->settings.intake.scale_u = share / factor;
    return KB_OK;
}
