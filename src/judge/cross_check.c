/* cross_check.c - does the structure agree with the carbon that the laboratory reported?
 *
 * It agrees when chemistry lies within the interval widened by the tolerance: the interval carries
 * the scatter between fields, the tolerance the rest (constants, preparation, threshold). Without
 * an interval a difference beyond the tolerance proves nothing and the question stays open. Where
 * it disagrees, the likely causes are named in the order in which one would look. They are common
 * practice, no published source for the order.
 */
#include "judge_priv.h"

enum { REASONS = 5 }; /* and the NULL that ends them */

static const char *const steel_high[REASONS] = {
    "cooling faster than equilibrium: more pearlite, leaner in carbon than the rule assumes",
    "over-etched or out of focus: dark edges make pearlite look larger",
    "manganese, chromium or nickel: the eutectoid lies at less carbon than in plain steel",
    "bainite, martensite or tempered structure counted as pearlite",
    "banding, or too few fields: the fields show more pearlite than the section holds",
};
static const char *const steel_low[REASONS] = {
    "decarburised surface, or a sample cut near it: look at a section further in",
    "under-etched: part of the pearlite stays bright",
    "cementite in divorced or spheroidised form, which is not counted as pearlite",
    "threshold: fine light lamellae counted as ferrite; look at the overlay",
    "banding, or too few fields: the fields show less pearlite than the section holds",
};
static const char *const hyper_high[REASONS] = {
    "bright ferrite counted as cementite: the steel may be hypoeutectoid, etch to tell them apart",
    "etched boundaries widened by blur: films of cementite look thicker than they are",
    "chromium or another carbide former: more carbide than the plain diagram gives",
    "carburised surface, or a sample cut near it",
    "too few fields: the network is coarse beside the field",
};
static const char *const hyper_low[REASONS] = {
    "thin films of cementite at the boundaries are missed: take a higher magnification",
    "cooling faster than equilibrium: cementite held back, pearlite richer in carbon",
    "spheroidised carbides counted within the matrix",
    "decarburised surface, or a sample cut near it",
    "too few fields: the network is coarse beside the field",
};
static const char *const iron_high[REASONS] = {
    "graphite looks larger than it is: edges etched, out of focus, or dark pearlite taken for it",
    "pearlite leaner than assumed: copper, tin, manganese, fast cooling, or silicon not given",
    "kish or floated graphite: the section lies near the cope side of the casting",
    "pores or shrinkage counted as graphite: look at the overlay",
    "segregation or too few fields: section thickness and place of the coupon",
};
static const char *const iron_low[REASONS] = {
    "carbides or ledeburite, which hold carbon but are not counted: look for chill",
    "graphite pulled out or smeared over in polishing: repolish and look again",
    "graphite floated away from this place, or the coupon is thinner than the casting",
    "fine graphite below the size that is cleaned away as specks, or a threshold too dark",
    "segregation or too few fields: section thickness and place of the coupon",
};

static const char reason_one_field[] =
    "one field gives no interval: whether this difference means anything cannot be said; take more";

static const char *const *choose(enum kb_material material, enum kb_proeutectoid beside,
                                 bool high) {
    if (kb_material_is_iron(material)) {
        return high ? iron_high : iron_low;
    }
    if (beside == KB_PRO_CEMENTITE) {
        return high ? hyper_high : hyper_low;
    }
    return high ? steel_high : steel_low;
}

void kb_carbon_cross_check(const struct kb_chemistry *chemistry, enum kb_material material,
                           enum kb_proeutectoid beside, struct kb_carbon *carbon) {
    const struct kb_estimate *total = &carbon->total_percent;
    carbon->agreement = KB_AGREE_UNKNOWN;
    if (!isfinite(chemistry->c) || !total->measured) {
        return;
    }
    double tolerance = carbon->tolerance_percent;
    carbon->difference_percent = total->value - chemistry->c;
    double lo = (total->has_interval ? total->lo : total->value) - tolerance;
    double hi = (total->has_interval ? total->hi : total->value) + tolerance;
    if (chemistry->c >= lo && chemistry->c <= hi) {
        carbon->agreement = KB_AGREES;
        return;
    }
    if (!total->has_interval) {
        carbon->reason[0] = reason_one_field;
        return;
    }
    carbon->agreement = KB_DISAGREES;
    const char *const *reason = choose(material, beside, carbon->difference_percent > 0.0);
    for (int i = 0; i < REASONS; i++) {
        carbon->reason[i] = reason[i];
    }
}
