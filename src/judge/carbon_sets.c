/* carbon_sets.c - the constants of the lever rule as sets that stand in books.
 *
 * Books differ in the carbon of the eutectoid (0.76, 0.77 or 0.80 mass %), of cementite (6.67 or
 * 6.70) and of ferrite (0.02 to 0.022): a worked answer only comes out under its own book's values.
 * So they are chosen as a set by name, and the set is printed with each figure of carbon. Sets and
 * densities are made from refs/ when the program is built. Which set is right for a steel at hand
 * no book says; the choice moves the carbon of a half pearlitic steel by 0.005 to 0.02 %.
 */
#include "judge_priv.h"

#include <string.h>

const struct kb_carbon_set *kb_carbon_sets(size_t *count) {
    *count = kb_judge_set_count;
    return kb_judge_sets;
}

const struct kb_carbon_set *kb_carbon_set_named(const char *name) {
    for (size_t i = 0; i < kb_judge_set_count; i++) {
        if (strcmp(kb_judge_sets[i].name, name) == 0) {
            return &kb_judge_sets[i];
        }
    }
    return NULL;
}

void kb_carbon_use_set(struct kb_carbon_constants *constants, const struct kb_carbon_set *set) {
    constants->ferrite_c = set->ferrite_c;
    constants->eutectoid_c = set->eutectoid_c;
    constants->cementite_c = set->cementite_c;
    constants->set = set;
}

struct kb_carbon_constants kb_carbon_constants_default(void) {
    struct kb_carbon_constants constants = {
        .rho_graphite = kb_judge_densities.graphite,
        .rho_ferrite = kb_judge_densities.ferrite,
        .rho_pearlite = kb_judge_densities.pearlite,
        .rho_cementite = kb_judge_densities.cementite,
        .rho_iron_matrix = kb_judge_densities.iron_matrix,
        .si_shift = -0.08,
        .source = "densities of ferrite and pearlite from a textbook exercise; densities of "
                  "graphite, cementite and silicon-bearing matrix, and the shift by silicon, from "
                  "memory, unverified",
    };
    kb_carbon_use_set(&constants, &kb_judge_sets[0]);
    return constants;
}

static bool changed(const struct kb_carbon_constants *constants) {
    const struct kb_carbon_set *set = constants->set;
    return !(constants->ferrite_c == set->ferrite_c && constants->eutectoid_c == set->eutectoid_c &&
             constants->cementite_c == set->cementite_c);
}

void kb_carbon_constants_text(const struct kb_carbon_constants *constants, char *text,
                              size_t size) {
    const struct kb_carbon_set *set = constants->set;
    struct kb_locale locale = kb_locale_enter();
    int used = snprintf(text, size, "mass %% C: ferrite %.4g, eutectoid %.2f, cementite %.2f",
                        constants->ferrite_c, constants->eutectoid_c, constants->cementite_c);
    if (used > 0 && (size_t)used < size) {
        size_t left = size - (size_t)used;
        if (set == NULL) {
            (void)snprintf(text + used, left, "; own values, of no set");
        } else if (changed(constants)) {
            (void)snprintf(text + used, left, "; own values in place of those of the set %s",
                           set->name);
        } else {
            (void)snprintf(text + used, left, "; set %s: %s (%s)", set->name, set->source,
                           strcmp(set->status, "read") == 0 ? "read" : "from memory, unverified");
        }
    }
    kb_locale_leave(locale);
}
