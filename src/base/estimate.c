/* estimate.c - a figure with its interval, its unit and its method, or the reason why there is
 * none. */
#include "keelblock/base.h"

struct kb_estimate kb_estimate_missing(const char *unit, const char *why) {
    struct kb_estimate estimate = {
        .measured = false,
        .has_interval = false,
        .value = NAN,
        .lo = NAN,
        .hi = NAN,
        .s = NAN,
        .n = 0,
        .unit = unit,
        .method = "",
        .why = why,
    };
    return estimate;
}

struct kb_estimate kb_estimate_point(double value, size_t n, const char *unit, const char *method) {
    struct kb_estimate estimate = kb_estimate_missing(unit, NULL);
    estimate.measured = true;
    estimate.value = value;
    estimate.n = n;
    estimate.method = method;
    return estimate;
}
