/* conformance.c - how probable is it that the true value meets the limit?
 *
 * JCGM 106:2012: with the value y and its standard uncertainty u the probability of conformity is
 * F((T_U - y)/u) for an upper limit, F((y - T_L)/u) for a lower one, their overlap for both; F is
 * the normal law, or Student's t where u rests on few fields (from memory, unverified;
 * refs/verdict_examples.csv has the worked examples).
 *
 * A figure brings an interval rather than u, and near 0 and 100 % the interval is lopsided. Each
 * side of it gives the u of that side: its length over Student's factor. So the probability agrees
 * with the guarded rule: for one limit the interval ends at the limit exactly when the probability
 * is 97.5 %. Where an end was cut at 0 or 100 % the length says too little and the spread between
 * fields is used.
 */
#include "judge_priv.h"

#include <gsl/gsl_cdf.h>

/* Freedom from which Student's law is the normal one to all digits shown. */
static const double normal_freedom = 1e6;

static double below(double t, double freedom) {
    if (isnan(t)) {
        return KB_NAN;
    }
    if (isinf(t)) {
        return t > 0.0 ? 1.0 : 0.0;
    }
    return freedom < normal_freedom ? gsl_cdf_tdist_P(t, freedom) : gsl_cdf_ugaussian_P(t);
}

/* Distance in standard uncertainties; an exact value is infinitely far from all but itself. */
static double steps(double distance, double u) {
    if (u > 0.0) {
        return distance / u;
    }
    return distance < 0.0 ? -(double)INFINITY : (double)INFINITY;
}

/* `u_low` is that of the side below the value, `u_high` above. */
static double probability(double value, double u_low, double u_high, double freedom,
                          const struct kb_limit *limit) {
    double inside = 1.0;
    if (!isnan(limit->high)) {
        double to_high = limit->high - value;
        inside = below(steps(to_high, to_high < 0.0 ? u_low : u_high), freedom);
    }
    if (!isnan(limit->low)) {
        double to_low = value - limit->low;
        inside -= 1.0 - below(steps(to_low, to_low < 0.0 ? u_high : u_low), freedom);
    }
    return fmax(inside, 0.0);
}

double kb_conformance_probability(double value, double u, double freedom, double low, double high) {
    const struct kb_limit limit = {.low = low, .high = high};
    if (!isfinite(value) || !(u >= 0.0) || !(freedom > 0.0)) {
        return KB_NAN;
    }
    return probability(value, u, u, freedom, &limit);
}

double kb_limit_probability(const struct kb_estimate *value, const struct kb_limit *limit) {
    const bool stated = value->freedom > 0.0; /* how sure the uncertainty is, whatever n */
    if (!value->measured || !value->has_interval || (value->n < 2 && !stated)) {
        return KB_NAN;
    }
    const double most =
        kb_quantity_kind_of(limit->quantity) == KB_KIND_PERCENT ? 100.0 : (double)INFINITY;
    double freedom = value->freedom > 0.0 ? value->freedom : (double)(value->n - 1);
    double t = kb_student_factor(freedom);
    double spread = isfinite(value->s) ? value->s / sqrt((double)value->n) : 0.0;
    double u_low = (value->value - value->lo) / t;
    double u_high = (value->hi - value->value) / t;
    u_low = value->lo > 0.0 ? u_low : fmax(u_low, spread);
    u_high = value->hi < most ? u_high : fmax(u_high, spread);
    return probability(value->value, u_low, u_high, freedom, limit);
}
