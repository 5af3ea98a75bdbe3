/* judge.c - figures against limits, by the rule that was agreed.
 *
 * Guarded both ways, the default. Accept: the whole 95 % interval lies inside the limit. Reject: it
 * lies wholly outside. Anything between proves neither: undecided, with the number of further
 * fields that would decide if value and spread stay as they are. For one limit the two-sided 95 %
 * interval leaves 2.5 % on the side that matters: a guard band of about 1.96 standard uncertainties
 * (JCGM 106:2012 guarded acceptance and rejection, ISO 14253-1; from memory, unverified).
 *
 * Simple: the value alone decides, and both sides share the risk: on the limit a wrong verdict is
 * as likely as a right one. ISO/IEC 17025 asks that the rule be agreed and named, so both outcomes
 * are kept beside the probability of conformity (conformance.c), and one of them rules.
 *
 * The largest particle is an extreme and has no interval. One particle beyond an upper limit is
 * enough to reject. Within it, the limit is met for the fields seen, which takes two fields at
 * least; the reason says so.
 */
#include "judge_priv.h"

#include <string.h>

static const struct {
    const char *name, *text;
} rules[KB_DECISION_RULES] = {
    [KB_RULE_GUARDED] = {"guarded",
                         "guarded: accept only when the whole 95 % interval lies inside the limit, "
                         "reject only when it lies wholly outside, otherwise undecided (guarded "
                         "acceptance and guarded rejection after JCGM 106:2012 and ISO 14253-1; "
                         "from memory, unverified)"},
    [KB_RULE_SIMPLE] = {"simple",
                        "simple: accept when the value lies inside the limit, otherwise reject; "
                        "near the limit a wrong verdict is nearly as likely as a right one (simple "
                        "acceptance, shared risk, after JCGM 106:2012; from memory, unverified)"},
};

const char *kb_decision_rule_name(enum kb_decision_rule rule) {
    return (unsigned)rule < KB_DECISION_RULES ? rules[rule].name : "unknown";
}

const char *kb_decision_rule_text(enum kb_decision_rule rule) {
    return (unsigned)rule < KB_DECISION_RULES ? rules[rule].text : "unknown";
}

bool kb_decision_rule_parse(const char *name, enum kb_decision_rule *rule) {
    for (int i = 0; i < KB_DECISION_RULES; i++) {
        if (strcmp(name, rules[i].name) == 0) {
            *rule = (enum kb_decision_rule)i;
            return true;
        }
    }
    return false;
}

/* ---- figures ---- */

static struct kb_estimate as_percent(struct kb_estimate fraction) {
    fraction.value *= 100.0;
    fraction.lo *= 100.0;
    fraction.hi *= 100.0;
    fraction.s *= 100.0;
    fraction.u_other *= 100.0;
    fraction.unit = "%";
    return fraction;
}

struct kb_estimate kb_quantity_value(enum kb_quantity quantity, const struct kb_specimen *specimen,
                                     const struct kb_carbon *carbon) {
    switch (quantity) {
    case KB_Q_NODULARITY:
        return specimen->nodularity_percent[KB_NOD_ISO945_4];
    case KB_Q_NODULARITY_E2567:
        return specimen->nodularity_percent[KB_NOD_E2567];
    case KB_Q_NODULARITY_ISO16112:
        return specimen->nodularity_percent[KB_NOD_ISO16112];
    case KB_Q_NODULARITY_BY_COUNT:
        return specimen->nodularity_by_count_percent;
    case KB_Q_NODULES_PER_MM2:
        return specimen->nodules_per_mm2;
    case KB_Q_GRAPHITE:
        return as_percent(specimen->phase[KB_GRAPHITE]);
    case KB_Q_FERRITE:
        return as_percent(specimen->phase[KB_FERRITE]);
    case KB_Q_PEARLITE:
        return as_percent(specimen->phase[KB_PEARLITE]);
    case KB_Q_PEARLITE_OF_MATRIX:
        return as_percent(specimen->pearlite_of_matrix);
    case KB_Q_OTHER_OF_MATRIX:
        return as_percent(specimen->other_of_matrix);
    case KB_Q_CEMENTITE:
        return as_percent(specimen->phase[KB_CEMENTITE]);
    case KB_Q_FORM_I:
    case KB_Q_FORM_II:
    case KB_Q_FORM_III:
    case KB_Q_FORM_IV:
    case KB_Q_FORM_V:
    case KB_Q_FORM_VI:
        return specimen->form_area_percent[KB_FORM_I + (int)(quantity - KB_Q_FORM_I)];
    case KB_Q_MEAN_FERET_UM:
        return specimen->mean_feret_um;
    case KB_Q_LARGEST_FERET_UM:
        return specimen->largest_feret_um;
    case KB_Q_CARBON:
        return carbon != NULL ? carbon->total_percent
                              : kb_estimate_missing("%", "carbon was not worked out");
    case KB_Q_HARDNESS_HBW:
    case KB_Q_HARDNESS_HV:
    case KB_Q_TENSILE_STRENGTH:
    case KB_Q_PROOF_STRENGTH:
    case KB_Q_ELONGATION:
    case KB_Q_IMPACT_ENERGY: {
        const struct kb_estimate *given = &specimen->given[quantity - KB_Q_GIVEN];
        return given->measured
                   ? *given
                   : kb_estimate_missing(kb_quantity_unit(quantity), "no value was given");
    }
    case KB_QUANTITIES:
        break;
    }
    return kb_estimate_missing("", "no such quantity");
}

struct kb_estimate kb_given_estimate(enum kb_given given, double value, double u) {
    const double normal_factor = 1.959963984540054; /* 97.5 % point of the normal law */
    const char *unit = kb_quantity_unit((enum kb_quantity)(KB_Q_GIVEN + (int)given));
    struct kb_estimate estimate =
        kb_estimate_point(value, 1, unit, "measured elsewhere, without stated uncertainty");
    if (u > 0.0) {
        estimate.has_interval = true;
        estimate.lo = value - normal_factor * u;
        estimate.hi = value + normal_factor * u;
        estimate.s = 0.0;
        estimate.u_other = u;
        estimate.freedom = (double)INFINITY;
        estimate.method = "measured elsewhere; normal law with the stated uncertainty";
    }
    return estimate;
}

/* ---- one limit ---- */

/* NaN bounds are open: every comparison with them is false. */
static bool below(double value, const struct kb_limit *limit) {
    return value < limit->low;
}
static bool above(double value, const struct kb_limit *limit) {
    return value > limit->high;
}
static bool inside(double value, const struct kb_limit *limit) {
    return !below(value, limit) && !above(value, limit);
}

/* Half-width of the interval at which the figure would be decided; 0 when it sits on the limit. */
static double deciding_half_width(double value, const struct kb_limit *limit) {
    double to_low = fabs(value - limit->low);
    double to_high = fabs(value - limit->high);
    if (isfinite(to_low) && isfinite(to_high) && !inside(value, limit)) {
        return below(value, limit) ? to_low : to_high;
    }
    return fmin(to_low, to_high); /* fmin passes over NaN: the open side */
}

/* What more fields do not lessen takes its share of the half-width first; 1.96 is Student's factor
 * of very many fields. Where it takes all, no number of fields decides: 0. */
static size_t fields_to_decide(const struct kb_estimate *value, const struct kb_limit *limit) {
    double half = deciding_half_width(value->value, limit);
    if (value->u_other > 0.0) {
        double taken = 1.96 * value->u_other;
        half = half > taken ? sqrt(half * half - taken * taken) : 0.0;
    }
    size_t needed = kb_fields_for(value->s, half);
    if (needed == 0) {
        return 0;
    }
    return needed > value->n ? needed - value->n : 1;
}

/* An outcome with its reason, and the fields that would decide it. */
struct decision {
    enum kb_outcome outcome;
    const char *reason;
    size_t fields;
};

static struct decision by_interval(const struct kb_limit_result *result) {
    const struct kb_limit *limit = &result->limit;
    const struct kb_estimate *value = &result->value;
    if (inside(value->lo, limit) && inside(value->hi, limit)) {
        return (struct decision){KB_ACCEPT, "the whole interval lies inside the limit", 0};
    }
    if (below(value->hi, limit)) {
        return (struct decision){KB_REJECT, "the whole interval lies below the lower limit", 0};
    }
    if (above(value->lo, limit)) {
        return (struct decision){KB_REJECT, "the whole interval lies above the upper limit", 0};
    }
    struct decision decision = {KB_UNDECIDED, "the upper limit lies within the interval",
                                fields_to_decide(value, limit)};
    if (below(value->lo, limit)) {
        decision.reason = above(value->hi, limit) ? "the interval is wider than the limits"
                                                  : "the lower limit lies within the interval";
    }
    return decision;
}

static struct decision by_value(const struct kb_limit_result *result) {
    double value = result->value.value;
    if (inside(value, &result->limit)) {
        return (struct decision){KB_ACCEPT, "the value lies inside the limit", 0};
    }
    return (struct decision){KB_REJECT,
                             below(value, &result->limit) ? "the value lies below the lower limit"
                                                          : "the value lies above the upper limit",
                             0};
}

static struct decision of_largest(const struct kb_limit_result *result) {
    const struct kb_estimate *value = &result->value;
    if (above(value->value, &result->limit)) {
        return (struct decision){KB_REJECT, "a particle larger than the upper limit was seen", 0};
    }
    if (value->n < 2) {
        return (struct decision){KB_UNDECIDED,
                                 "one field is too few to speak of the largest particle", 1};
    }
    if (below(value->value, &result->limit)) {
        return (struct decision){
            KB_UNDECIDED,
            "no particle as large as the lower limit was seen; more fields may show one", 0};
    }
    return (struct decision){KB_ACCEPT,
                             "the largest particle of the fields seen lies inside the limit", 0};
}

static struct decision decide(const struct kb_limit_result *result, enum kb_decision_rule rule) {
    if (!result->value.measured) {
        return (struct decision){KB_UNDECIDED, NULL, 0}; /* the reason is the figure's own */
    }
    if (result->limit.quantity == KB_Q_LARGEST_FERET_UM) {
        return of_largest(result);
    }
    if (rule == KB_RULE_SIMPLE) {
        return by_value(result);
    }
    if (!result->value.has_interval && result->limit.quantity >= KB_Q_GIVEN) {
        struct decision decision = by_value(result);
        decision.reason = decision.outcome == KB_ACCEPT
                              ? "the value lies inside the limit; no uncertainty was stated"
                              : "the value lies outside the limit; no uncertainty was stated";
        return decision;
    }
    if (!result->value.has_interval) {
        return (struct decision){KB_UNDECIDED,
                                 "one field gives no interval; take at least two, better five", 0};
    }
    return by_interval(result);
}

void kb_judge_limit(enum kb_decision_rule rule, struct kb_limit_result *result) {
    const struct kb_estimate *value = &result->value;
    for (int i = 0; i < KB_DECISION_RULES; i++) {
        result->by_rule[i] = decide(result, (enum kb_decision_rule)i).outcome;
    }
    struct decision decision = decide(result, rule);
    result->outcome = decision.outcome;
    result->fields_to_decide = decision.fields;
    result->probability = kb_limit_probability(value, &result->limit);
    if (decision.reason != NULL) {
        (void)snprintf(result->reason, sizeof result->reason, "%s", decision.reason);
    } else {
        (void)snprintf(result->reason, sizeof result->reason, "not measured: %s",
                       value->why != NULL ? value->why : "no reason given");
    }
}

/* ---- all limits ---- */

static enum kb_outcome verdict_of(const struct kb_judgement *judgement,
                                  enum kb_decision_rule rule) {
    enum kb_outcome verdict = judgement->count > 0 ? KB_ACCEPT : KB_OUTCOME_NONE;
    for (size_t i = 0; i < judgement->count; i++) {
        enum kb_outcome outcome = judgement->limit[i].by_rule[rule];
        if (outcome == KB_REJECT) {
            return KB_REJECT;
        }
        if (outcome == KB_UNDECIDED) {
            verdict = KB_UNDECIDED;
        }
    }
    return verdict;
}

enum kb_status kb_judge(const struct kb_specimen *specimen, const struct kb_carbon *carbon,
                        const struct kb_limit *limits, size_t count, enum kb_decision_rule rule,
                        struct kb_judgement *out, struct kb_err *err) {
    *out = (struct kb_judgement){.decision_rule = rule, .verdict = KB_OUTCOME_NONE};
    if ((unsigned)rule >= KB_DECISION_RULES) {
        return kb_fail(err, KB_E_USAGE, "judge", NULL, "no such decision rule (guarded or simple)");
    }
    out->rule = kb_decision_rule_text(rule);
    if (count == 0) {
        return KB_OK;
    }
    out->limit = kb_alloc_zero(count, sizeof *out->limit);
    if (out->limit == NULL) {
        *out = (struct kb_judgement){.count = 0};
        return kb_fail_memory(err, "judge", count * sizeof *out->limit);
    }
    out->count = count;
    for (size_t i = 0; i < count; i++) {
        out->limit[i].limit = limits[i];
        out->limit[i].value = kb_quantity_value(limits[i].quantity, specimen, carbon);
        kb_judge_limit(rule, &out->limit[i]);
    }
    for (int i = 0; i < KB_DECISION_RULES; i++) {
        out->verdict_by_rule[i] = verdict_of(out, (enum kb_decision_rule)i);
    }
    out->verdict = out->verdict_by_rule[rule];
    return KB_OK;
}

void kb_judgement_release(struct kb_judgement *judgement) {
    kb_free(judgement->limit);
    *judgement = (struct kb_judgement){.count = 0};
}
