/* batch_figures.c - each quantity over the specimens of a batch: spread within and between, the
 * mean with its interval, the mean against the limit, and what more would decide it.
 *
 * The standard error of the mean of k specimens of n fields is sqrt((b^2 + w^2 / n) / k), with b
 * between specimens and w within (split.c of specimen). More fields lessen only w's part, more
 * specimens both and also Student's factor; so both are counted up until the half-width is what the
 * distance to the limit asks for, as if mean and spreads stayed what they are.
 */
#include "judge_priv.h"

/* Plans beyond this are no plans. */
enum { FIELDS_MOST = 200, SPECIMENS_MOST = 200 };

static bool same_limit(const struct kb_limit *a, const struct kb_limit *b) {
    bool low = isfinite(a->low) ? !(fabs(a->low - b->low) > 0.0) : !isfinite(b->low);
    bool high = isfinite(a->high) ? !(fabs(a->high - b->high) > 0.0) : !isfinite(b->high);
    return low && high && isfinite(a->low) == isfinite(b->low) &&
           isfinite(a->high) == isfinite(b->high);
}

static const struct kb_limit *limit_of(const struct kb_judgement *judgement,
                                       enum kb_quantity quantity) {
    for (size_t i = 0; judgement != NULL && i < judgement->count; i++) {
        if (judgement->limit[i].limit.quantity == quantity) {
            return &judgement->limit[i].limit;
        }
    }
    return NULL;
}

/* The limit that every judged specimen has; NULL when one lacks it or has another. */
static const struct kb_limit *common_limit(const struct kb_batch_member *member, size_t count,
                                           enum kb_quantity quantity) {
    const struct kb_limit *common = NULL;
    for (size_t i = 0; i < count; i++) {
        if (member[i].judged) {
            const struct kb_limit *own = limit_of(member[i].judgement, quantity);
            if (own == NULL || (common != NULL && !same_limit(common, own))) {
                return NULL;
            }
            common = own;
        }
    }
    return common;
}

static double half_width(const struct kb_split *split, double fields, size_t specimens) {
    double variance = split->between * split->between + split->within * split->within / fields;
    return kb_student_95(specimens) * sqrt(variance / (double)specimens);
}

/* Distance from the mean to the limit that is in question. */
static double distance(const struct kb_limit_result *result) {
    double value = result->value.value;
    return fmin(fabs(value - result->limit.low), fabs(value - result->limit.high)); /* not NaN's */
}

static void plan(struct kb_batch_figure *figure) {
    const struct kb_split *split = &figure->split;
    double wanted = distance(&figure->limit);
    if (!isfinite(split->between) || !isfinite(split->within) || !(wanted > 0.0)) {
        return;
    }
    for (size_t more = 1; more <= FIELDS_MOST && figure->more_fields == 0; more++) {
        if (half_width(split, split->fields_each + (double)more, split->groups) <= wanted) {
            figure->more_fields = more;
        }
    }
    for (size_t more = 1; more <= SPECIMENS_MOST && figure->more_specimens == 0; more++) {
        if (half_width(split, split->fields_each, split->groups + more) <= wanted) {
            figure->more_specimens = more;
        }
    }
}

static double highest_of(enum kb_quantity quantity) {
    return kb_quantity_kind_of(quantity) == KB_KIND_PERCENT ? 100.0 : (double)INFINITY;
}

/* The figure's members into `values`; how many are measured. */
static size_t gather(const struct kb_batch_member *member, size_t count, enum kb_quantity quantity,
                     struct kb_estimate *values) {
    size_t measured = 0;
    for (size_t i = 0; i < count; i++) {
        values[i] = member[i].judged && member[i].figure != NULL
                        ? member[i].figure[quantity]
                        : kb_estimate_missing("", "not judged");
        measured += values[i].measured;
    }
    return measured;
}

enum kb_status kb_batch_figures(const struct kb_batch_member *member, size_t count,
                                struct kb_batch_judgement *out, struct kb_err *err) {
    struct kb_estimate *values = kb_alloc_zero(count, sizeof *values);
    out->figures = 0;
    if (values == NULL) {
        return kb_fail_memory(err, "judge", count * sizeof *values);
    }
    for (int i = 0; i < KB_QUANTITIES; i++) {
        enum kb_quantity quantity = (enum kb_quantity)i;
        if (gather(member, count, quantity, values) == 0) {
            continue;
        }
        struct kb_batch_figure *figure = &out->figure[out->figures++];
        const struct kb_limit *limit = common_limit(member, count, quantity);
        *figure = (struct kb_batch_figure){.quantity = quantity, .limited = limit != NULL};
        figure->split = kb_split_run(values, count, 0.0, highest_of(quantity));
        if (limit != NULL) {
            figure->limit.limit = *limit;
            figure->limit.value = figure->split.mean;
            kb_judge_limit(out->params.decision_rule, &figure->limit);
            figure->limit.fields_to_decide = 0; /* it counts specimens here, see plan() */
            if (figure->limit.outcome == KB_UNDECIDED) {
                plan(figure);
            }
        }
    }
    kb_free(values);
    return KB_OK;
}
