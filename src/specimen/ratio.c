/* ratio.c - a ratio of sums with the field as the sampling unit.
 *
 * Nodularity, nodule count, mean Feret and the pearlite share of the matrix are sum over sum: a
 * field with more graphite says more, so per-field ratios are not averaged. Particles of one field
 * resemble each other, so the field, not the particle, is the unit. The standard error is the
 * delete-one jackknife (Quenouille 1956, Tukey 1958; from memory), taken to a scale on which a
 * figure near its bound has even tails, then back: logit between two bounds, logarithm above a
 * lower one.
 *
 * Chosen by simulation of 3, 5 and 8 fields, areas log-normal, shares varying between fields
 * (refs/coverage.csv; tests/conformity repeats it with this code): the jackknife on the logit holds
 * the truth in 94.0 to 96.5 % of specimens in every case where the fields show a spread; the delta
 * method, Fieller's set and the plain jackknife fall to 86 to 90 % near 98 % nodularity, nearly all
 * misses on the side that flatters; bootstrap-t reaches 98 % with three fields, whose resamples are
 * too few. Even tails matter because a lower limit is judged on one side only. What no method by
 * spread can see - all fields at the bound, no spread at all - is count_bound.c's part.
 */
#include "specimen_priv.h"

static const char method_logit[] = "sum over all fields; 95 % interval by Student's t on the "
                                   "delete-one-field jackknife of the logit";
static const char method_log[] = "sum over all fields; 95 % interval by Student's t on the "
                                 "delete-one-field jackknife of the logarithm";
static const char method_plain[] =
    "sum over all fields; 95 % interval by Student's t on the delete-one-field jackknife";
static const char method_point[] = "sum over all fields; too few fields for an interval";

/* Standard error of the ratio, NaN when leaving a field out leaves nothing. */
static double jackknife_error(const double *numerator, const double *denominator, size_t n,
                              double top, double bottom) {
    struct kb_sum sum = {.parts = 0, .broken = false};
    for (size_t i = 0; i < n; i++) {
        double rest = bottom - denominator[i];
        if (!(rest > 0.0)) {
            return KB_NAN;
        }
        kb_sum_add(&sum, (top - numerator[i]) / rest);
    }
    double centre = kb_sum_value(&sum) / (double)n;
    struct kb_sum squares = {.parts = 0, .broken = false};
    for (size_t i = 0; i < n; i++) {
        double off = (top - numerator[i]) / (bottom - denominator[i]) - centre;
        kb_sum_add(&squares, off * off);
    }
    return sqrt(kb_sum_value(&squares) * (double)(n - 1) / (double)n);
}

void kb_set_interval(struct kb_estimate *estimate, double se, double t, double least, double most) {
    double value = estimate->value;
    double below = value - least;
    double above = most - value;
    if (isfinite(least) && isfinite(most) && below > 0.0 && above > 0.0) {
        double odds = below / above;
        double step =
            exp(t * se * (most - least) / (below * above)); /* d logit = d x / (x (1 - x)) */
        estimate->lo = least + (most - least) * odds / (odds + step);
        estimate->hi = most - (most - least) / (1.0 + odds * step);
        estimate->method = method_logit;
    } else if (isfinite(least) && !isfinite(most) && below > 0.0) {
        double step = exp(t * se / below);
        estimate->lo = least + below / step;
        estimate->hi = least + below * step;
        estimate->method = method_log;
    } else {
        estimate->lo = fmax(value - t * se, least);
        estimate->hi = fmin(value + t * se, most);
        estimate->method = method_plain;
    }
    estimate->lo = fmin(estimate->lo, value);
    estimate->hi = fmax(estimate->hi, value);
}

struct kb_estimate kb_estimate_ratio(const double *numerator, const double *denominator, size_t n,
                                     double scale, const char *unit, double least, double most) {
    double top = kb_sum_of(numerator, n);
    double bottom = kb_sum_of(denominator, n);
    if (!(bottom > 0.0)) {
        return kb_estimate_missing(unit, "the fields hold nothing to divide by");
    }
    double value = scale * top / bottom;
    if (!isfinite(value)) {
        return kb_estimate_missing(unit, "a field's value is not a number");
    }
    value = fmin(fmax(value, least), most); /* rounding alone can pass a bound */
    struct kb_estimate estimate = kb_estimate_point(value, n, unit, method_point);
    if (n < 2) {
        return estimate;
    }
    double se = scale * jackknife_error(numerator, denominator, n, top, bottom);
    if (!isfinite(se)) {
        return estimate;
    }
    kb_set_interval(&estimate, se, kb_student_95(n), least, most);
    estimate.s = se * sqrt((double)n);
    estimate.has_interval = true;
    return estimate;
}
