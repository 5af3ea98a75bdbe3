/* count_bound.c - what an interval rests on where the fields show no spread at all.
 *
 * Where every particle of every field is a nodule, an interval by spread would have width zero: 40
 * nodules out of 40 do not prove 100 %. Then, and only then, the interval of a share is the exact
 * binomial one (Clopper & Pearson, Biometrika 26 (1934) 404) for as many trials as there are
 * particles; for a share of area, particles are worth Kish's effective number (sum a)^2 / sum a^2
 * (Kish, Survey Sampling, 1965), since one large flake outweighs many small nodules. A count per
 * area without any spread gets the exact Poisson interval (Garwood, Biometrika 28 (1936) 437).
 * Sources from memory.
 *
 * Where there is spread the interval by spread stands alone. To join both everywhere looks
 * cautious, but with three fields the truth is then missed only when both miss, and 95 % becomes 98
 * to 99 %; ways that borrow degrees of freedom from the particles of a field do the same, or fall
 * to 86 % where fields really differ. refs/coverage.csv holds the simulation. The price: fields
 * that agree by luck give an interval narrower than their particles allow - once in twenty, which
 * is what 95 % says.
 */
#include "specimen_priv.h"

#include <gsl/gsl_cdf.h>

static const double tail = 0.025; /* on each side: 95 % in all */

static const char method_binomial[] =
    "sum over all fields; the fields show no spread, 95 % interval by the binomial law of the "
    "number of particles";
static const char method_poisson[] =
    "sum over all fields; the fields show no spread, 95 % interval by the Poisson law of the count";

/* Halvings that exhaust a double between 0 and 1. */
static const int halvings = 60;

/* x with P(X <= x) = p for the beta law; a, b > 0. By halving on GSL's distribution function, which
 * raises nothing inside its domain, where GSL's own inverse may (see student.c). */
static double beta_point(double p, double a, double b) {
    double low = 0.0;
    double high = 1.0;
    for (int i = 0; i < halvings; i++) {
        double middle = 0.5 * (low + high);
        if (gsl_cdf_beta_P(middle, a, b) < p) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return 0.5 * (low + high);
}

/* x with P(X <= x) = p for the gamma law of unit scale, shape > 0; by halving in the same way. */
static double gamma_point(double p, double shape) {
    double low = 0.0;
    double high = 2.0 * shape + 50.0; /* far above the 97.5 % point of any shape */
    for (int i = 0; i < halvings; i++) {
        double middle = 0.5 * (low + high);
        if (gsl_cdf_gamma_P(middle, shape, 1.0) < p) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return 0.5 * (low + high);
}

/* Spread that is no more than rounding, as a share of the range. */
static const double rounding = 1e-12;

void kb_widen_to_count(struct kb_estimate *estimate, double trials, double least, double most) {
    if (!estimate->has_interval || estimate->hi - estimate->lo > rounding * (most - least) ||
        !(trials > 0.0) || !isfinite(trials)) {
        return;
    }
    double share = (estimate->value - least) / (most - least);
    double hits = share * trials;
    double misses = trials - hits;
    double low = hits > 0.0 ? beta_point(tail, hits, misses + 1.0) : 0.0;
    double high = misses > 0.0 ? beta_point(1.0 - tail, hits + 1.0, misses) : 1.0;
    estimate->lo = fmin(least + (most - least) * low, estimate->value);
    estimate->hi = fmax(least + (most - least) * high, estimate->value);
    estimate->method = method_binomial;
}

void kb_widen_to_poisson(struct kb_estimate *estimate, double counted) {
    if (!estimate->has_interval || estimate->hi > estimate->lo || !(counted > 0.0) ||
        !isfinite(counted)) {
        return;
    }
    double one = estimate->value / counted; /* what one particle is worth */
    estimate->lo = fmin(estimate->value, one * gamma_point(tail, counted));
    estimate->hi = fmax(estimate->value, one * gamma_point(1.0 - tail, counted + 1.0));
    estimate->method = method_poisson;
}
