/* own_given.c - values measured elsewhere, as they stand on a test certificate: "187", "187 HBW",
 * "512±8 MPa", "512±4 MPa (k=1)". What stands behind the sign is an expanded uncertainty, as for
 * the pixel size.
 */
#include "request.h"

#include <string.h>

enum { TEXT_MOST = 96 };

static bool find_given(const char *name, enum kb_given *given) {
    for (int i = 0; i < KB_GIVENS; i++) {
        if (strcmp(name, kb_quantity_name((enum kb_quantity)(KB_Q_GIVEN + i))) == 0) {
            *given = (enum kb_given)i;
            return true;
        }
    }
    return false;
}

static enum kb_status unknown_given(const struct kb_assignment *from, const char *name,
                                    struct kb_err *err) {
    const char *known[KB_GIVENS];
    for (int i = 0; i < KB_GIVENS; i++) {
        known[i] = kb_quantity_name((enum kb_quantity)(KB_Q_GIVEN + i));
    }
    const char *near = kb_nearest_name(name, known, KB_GIVENS);
    return kb_fail(err, KB_E_USAGE, "app", from->where,
                   "'%.40s' is no value that can be given (%s%s)", name,
                   near != NULL ? "did you mean "
                                : "hardness_hbw, hardness_hv, tensile_strength, "
                                  "proof_strength, elongation, impact_energy",
                   near != NULL ? near : "");
}

/* "187 HBW" with the quantity's unit or none; false for anything else. */
static bool read_number(char *text, const char *unit, double *value) {
    char *number = kb_trim(text);
    const size_t length = strspn(number, "+-.0123456789eE");
    char *behind = kb_trim(number + length);
    const bool stress = strcmp(unit, "MPa") == 0 &&
                        (strcmp(behind, "N/mm2") == 0 || strcmp(behind, "N/mm\xc2\xb2") == 0);
    if (behind[0] != '\0' && strcmp(behind, unit) != 0 && !stress) {
        return false;
    }
    number[length] = '\0';
    return kb_parse_number(kb_trim(number), value);
}

enum kb_status kb_own_given(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err) {
    char text[TEXT_MOST], right[TEXT_MOST];
    const char *equals = strchr(from->value, '=');
    const char *value = from->key[0] == '\0' && equals != NULL ? equals + 1 : from->value;
    char name[TEXT_MOST] = "";
    if (from->key[0] != '\0') {
        (void)snprintf(name, sizeof name, "%s", from->key);
    } else if (equals != NULL) {
        (void)snprintf(name, sizeof name, "%.*s", (int)(equals - from->value), from->value);
    }
    enum kb_given given = KB_GIVEN_HARDNESS_HBW;
    if (!find_given(kb_trim(name), &given)) {
        return unknown_given(from, kb_trim(name), err);
    }
    const char *unit = kb_quantity_unit((enum kb_quantity)(KB_Q_GIVEN + (int)given));
    (void)snprintf(right, sizeof right, "is no such value (write 187 %s, or 187±6 %s)", unit, unit);
    char *behind = NULL;
    double number = 0.0, expanded = 0.0, factor = 2.0;
    const double most = 1e5; /* beyond any hardness, strength or energy: a slip */
    if (strlen(value) >= sizeof text) {
        return kb_refuse(from, err, right);
    }
    (void)snprintf(text, sizeof text, "%s", value);
    if (!kb_split_uncertainty(text, &behind, &factor) || !read_number(text, unit, &number) ||
        !(number >= 0.0 && number <= most) ||
        (behind != NULL &&
         (!read_number(behind, unit, &expanded) || !(expanded > 0.0 && expanded <= most)))) {
        return kb_refuse(from, err, right);
    }
    request->settings.given[given] = (struct kb_given_value){number, expanded / factor};
    return KB_OK;
}
