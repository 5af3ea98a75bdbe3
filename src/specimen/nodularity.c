/* nodularity.c - what each named method makes of a particle.
 *
 * All three rate by area: nodularity = 100 * sum of credited area / sum of rated area, over
 * complete particles only, with the shape factor f = area / area of the circle on the maximum Feret
 * diameter
 * ("roundness" in ISO 945-4, "RSF" in ISO 16112). No frame weights: that is how the methods are
 * written.
 *
 *   ISO 945-4   f >= 0.6 is a nodule, over all counting particles. Read in a published comparison
 * of methods. The lower size, 10 um, may be lowered to 5 um where most graphite is of size 8 (from
 * memory): so the laboratory's own minimum Feret decides. ASTM E2567  f >= 0.60 over all particles
 * of maximum Feret >= 10 um. The 10 um were read, in a committee member's account; 0.60 is from
 * memory. ISO 16112   f >= 0.625 counts whole, 0.525 <= f < 0.625 counts half, less counts nothing,
 * over all particles >= 10 um: from memory, unverified. For compacted graphite.
 *
 * E2567 and ISO 16112 keep their own 10 um when the laboratory measures smaller particles; a
 * laboratory that sets a larger minimum has left the method, and the report prints that minimum.
 * A form set by hand takes the shape factor's place in every method: V and VI count whole, I to IV
 * nothing. The minimum size stays.
 *
 * refs/nodularity_rules.csv holds these numbers with their sources.
 */
#include "specimen_priv.h"

struct method {
    const char *name;
    double least_feret_um; /* 0: the laboratory's minimum decides */
    double whole;          /* shape factor from which a particle counts whole */
    double half;           /* and from which it counts half; = whole: never */
};

static const struct method methods[KB_NOD_METHODS] = {
    [KB_NOD_ISO945_4] = {"ISO 945-4", 0.0, 0.6, 0.6},
    [KB_NOD_E2567] = {"ASTM E2567", 10.0, 0.60, 0.60},
    [KB_NOD_ISO16112] = {"ISO 16112", 10.0, 0.625, 0.525},
};

const char *kb_nodularity_name(enum kb_nodularity_method method) {
    return (unsigned)method < KB_NOD_METHODS ? methods[method].name : "unknown";
}

double kb_nodularity_credit(enum kb_nodularity_method method, double shape_factor,
                            double feret_um) {
    const struct method *rule = &methods[method];
    if (feret_um < rule->least_feret_um) {
        return -1.0;
    }
    if (shape_factor >= rule->whole) {
        return 1.0;
    }
    return shape_factor >= rule->half ? 0.5 : 0.0;
}

double kb_nodularity_credit_of(enum kb_nodularity_method method, const struct kb_particle *particle,
                               double px_um) {
    double feret_um = particle->feret_max_px * px_um;
    double credit = kb_nodularity_credit(method, particle->shape_factor, feret_um);
    if (credit < 0.0 || !particle->by_hand) {
        return credit;
    }
    return kb_form_is_nodule(particle->form) ? 1.0 : 0.0;
}
