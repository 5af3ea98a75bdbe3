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
 * refs/nodularity_rules.csv holds these numbers with their sources; the program is built from it.
 */
#include "specimen_priv.h"

#include <string.h>

const char *kb_nodularity_name(enum kb_nodularity_method method) {
    static const char *const name[KB_NOD_METHODS] = {
        [KB_NOD_ISO945_4] = "ISO 945-4",
        [KB_NOD_E2567] = "ASTM E2567",
        [KB_NOD_ISO16112] = "ISO 16112",
    };
    return (unsigned)method < KB_NOD_METHODS ? name[method] : "unknown";
}

double kb_nodularity_credit(enum kb_nodularity_method method, double shape_factor,
                            double feret_um) {
    const char *name = kb_nodularity_name(method);
    for (size_t i = 0; i < kb_specimen_credit_count; i++) {
        const struct kb_specimen_credit *row = &kb_specimen_credits[i];
        if (strcmp(row->method, name) != 0) {
            continue;
        }
        if (feret_um < row->feret_um) {
            return -1.0;
        }
        if (shape_factor >= row->shape_factor) {
            return row->credit;
        }
    }
    return 0.0; /* no shape factor */
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
