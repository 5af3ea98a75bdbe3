/* field_mean.c - mean over fields with Student's interval.
 *
 * mean = sum x / n, s^2 = sum (x - mean)^2 / (n - 1), interval mean -+ t s / sqrt(n): the formulas
 * of ASTM E562 and E1245 (from memory, unverified; refs/README.md). Every field weighs the same, as
 * there. The interval is symmetric and is cut at the bounds that the figure cannot pass.
 */
#include "specimen_priv.h"

static const char method_text[] =
    "mean of the fields; 95 % interval by Student's t on the spread between fields";
static const char method_one_field[] = "one field, no interval";

struct kb_estimate kb_estimate_mean(const double *value, size_t n, const char *unit, double least,
                                    double most) {
    if (n == 0) {
        return kb_estimate_missing(unit, "no field gives this figure");
    }
    double mean = kb_sum_of(value, n) / (double)n;
    if (!isfinite(mean)) {
        return kb_estimate_missing(unit, "a field's value is not a number");
    }
    if (n == 1) {
        return kb_estimate_point(mean, 1, unit, method_one_field);
    }
    struct kb_sum squares = {.parts = 0, .broken = false};
    for (size_t i = 0; i < n; i++) {
        kb_sum_add(&squares, (value[i] - mean) * (value[i] - mean));
    }
    struct kb_estimate estimate = kb_estimate_point(mean, n, unit, method_text);
    estimate.s = sqrt(kb_sum_value(&squares) / (double)(n - 1));
    double half = kb_student_95(n) * estimate.s / sqrt((double)n);
    estimate.lo = fmin(fmax(mean - half, least), mean);
    estimate.hi = fmax(fmin(mean + half, most), mean);
    estimate.has_interval = true;
    return estimate;
}
