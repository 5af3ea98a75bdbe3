/* own_pixel_size.c - a pixel size as a calibration certificate gives it: "0.5um±0.002um".
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
