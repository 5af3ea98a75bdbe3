/* exact_sum.c - a sum that is the same, to the last digit, in whatever order its terms come.
 *
 * Fields may be measured in any order and given in any order; a signed figure must not depend on
 * it. The running sum is kept exactly, as parts that do not overlap, and rounded once at the end.
 * Source: J. R. Shewchuk, Discrete & Computational Geometry 18 (1997) 305 (grow-expansion).
 * Limits: needs round-to-nearest doubles without excess precision, so no fast-math, and no term or
 * sum near the largest double. Cost is linear in the terms for terms of like size.
 */
#include "specimen_priv.h"

void kb_sum_add(struct kb_sum *sum, double term) {
    if (!isfinite(term)) {
        sum->broken = true;
        return;
    }
    int kept = 0;
    for (int i = 0; i < sum->parts; i++) {
        double large = fabs(term) < fabs(sum->part[i]) ? sum->part[i] : term;
        double small = fabs(term) < fabs(sum->part[i]) ? term : sum->part[i];
        double high = large + small;
        double low = small - (high - large); /* what `high` lost, exactly */
        if (low != 0.0) {
            sum->part[kept++] = low;
        }
        term = high;
    }
    if (!isfinite(term) || kept >= KB_SUM_PARTS) {
        sum->broken = true;
        return;
    }
    sum->part[kept++] = term;
    sum->parts = kept;
}

double kb_sum_value(const struct kb_sum *sum) {
    if (sum->broken) {
        return KB_NAN;
    }
    int i = sum->parts;
    if (i == 0) {
        return 0.0;
    }
    double high = sum->part[--i];
    double low = 0.0;
    while (i > 0) {
        double before = high;
        double next = sum->part[--i];
        high = before + next;
        low = next - (high - before);
        if (low != 0.0) {
            break;
        }
    }
    /* `high` was rounded half to even knowing `low` only; a further part of the same sign decides a
     * tie */
    if (i > 0 && ((low < 0.0 && sum->part[i - 1] < 0.0) || (low > 0.0 && sum->part[i - 1] > 0.0))) {
        double twice = low * 2.0;
        double other = high + twice;
        if (other - high == twice) {
            high = other;
        }
    }
    return high;
}

double kb_sum_of(const double *value, size_t n) {
    struct kb_sum sum = {.parts = 0, .broken = false};
    for (size_t i = 0; i < n; i++) {
        kb_sum_add(&sum, value[i]);
    }
    return kb_sum_value(&sum);
}
