/* judge.c - figures against limits.
 *
 * The rule guards both ways. Accept: the whole 95 % interval lies inside the limit. Reject: it lies
 * wholly outside. Anything between proves neither: undecided, with the number of further fields
 * that would decide if value and spread stay as they are. For one limit the two-sided 95 % interval
 * leaves 2.5 % on the side that matters: a guard band of about 1.96 standard uncertainties (JCGM
 * 106:2012 guarded acceptance and rejection, ISO 14253-1; from memory, unverified).
 *
 * The largest particle is an extreme and has no interval. One particle beyond an upper limit is
 * enough to reject. Within it, the limit is met for the fields seen, which takes two fields at
 * least; the reason says so.
 */
#include "judge_priv.h"

static const char rule_text[] = "accept only when the whole 95 % interval lies inside the limit, "
                                "reject only when it lies wholly "
                                "outside, otherwise undecided (guarded acceptance and guarded "
                                "rejection after JCGM 106:2012 and ISO "
                                "14253-1; from memory, unverified)";

/* ---- figures ---- */

static struct kb_estimate as_percent(struct kb_estimate fraction) {
    fraction.value *= 100.0;
    fraction.lo *= 100.0;
    fraction.hi *= 100.0;
    fraction.s *= 100.0;
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
    case KB_QUANTITIES:
        break;
    }
    return kb_estimate_missing("", "no such quantity");
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

static size_t fields_to_decide(const struct kb_estimate *value, const struct kb_limit *limit) {
    size_t needed = kb_fields_for(value->s, deciding_half_width(value->value, limit));
    if (needed == 0) {
        return 0;
    }
    return needed > value->n ? needed - value->n : 1;
}

static void decide(struct kb_limit_result *result, enum kb_outcome outcome, const char *reason) {
    result->outcome = outcome;
    (void)snprintf(result->reason, sizeof result->reason, "%s", reason);
}

static void judge_interval(struct kb_limit_result *result) {
    const struct kb_limit *limit = &result->limit;
    const struct kb_estimate *value = &result->value;
    if (inside(value->lo, limit) && inside(value->hi, limit)) {
        decide(result, KB_ACCEPT, "the whole interval lies inside the limit");
    } else if (below(value->hi, limit)) {
        decide(result, KB_REJECT, "the whole interval lies below the lower limit");
    } else if (above(value->lo, limit)) {
        decide(result, KB_REJECT, "the whole interval lies above the upper limit");
    } else if (below(value->lo, limit) && above(value->hi, limit)) {
        decide(result, KB_UNDECIDED, "the interval is wider than the limits");
    } else {
        decide(result, KB_UNDECIDED,
               below(value->lo, limit) ? "the lower limit lies within the interval"
                                       : "the upper limit lies within the interval");
    }
    if (result->outcome == KB_UNDECIDED) {
        result->fields_to_decide = fields_to_decide(value, limit);
    }
}

static void judge_largest(struct kb_limit_result *result) {
    const struct kb_estimate *value = &result->value;
    if (above(value->value, &result->limit)) {
        decide(result, KB_REJECT, "a particle larger than the upper limit was seen");
    } else if (value->n < 2) {
        decide(result, KB_UNDECIDED, "one field is too few to speak of the largest particle");
        result->fields_to_decide = 1;
    } else if (below(value->value, &result->limit)) {
        decide(result, KB_UNDECIDED,
               "no particle as large as the lower limit was seen; more fields may show one");
    } else {
        decide(result, KB_ACCEPT, "the largest particle of the fields seen lies inside the limit");
    }
}

static void judge_one(struct kb_limit_result *result) {
    const struct kb_estimate *value = &result->value;
    if (!value->measured) {
        result->outcome = KB_UNDECIDED;
        (void)snprintf(result->reason, sizeof result->reason, "not measured: %s",
                       value->why != NULL ? value->why : "no reason given");
    } else if (result->limit.quantity == KB_Q_LARGEST_FERET_UM) {
        judge_largest(result);
    } else if (!value->has_interval) {
        decide(result, KB_UNDECIDED, "one field gives no interval; take at least two, better five");
    } else {
        judge_interval(result);
    }
}

/* ---- all limits ---- */

static enum kb_outcome verdict_of(const struct kb_judgement *judgement) {
    enum kb_outcome verdict = judgement->count > 0 ? KB_ACCEPT : KB_OUTCOME_NONE;
    for (size_t i = 0; i < judgement->count; i++) {
        enum kb_outcome outcome = judgement->limit[i].outcome;
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
                        const struct kb_limit *limits, size_t count, struct kb_judgement *out,
                        struct kb_err *err) {
    *out = (struct kb_judgement){.rule = rule_text, .verdict = KB_OUTCOME_NONE};
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
        judge_one(&out->limit[i]);
    }
    out->verdict = verdict_of(out);
    return KB_OK;
}

void kb_judgement_release(struct kb_judgement *judgement) {
    kb_free(judgement->limit);
    *judgement = (struct kb_judgement){.count = 0};
}
