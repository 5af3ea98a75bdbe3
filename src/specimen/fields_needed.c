/* fields_needed.c - how many fields the wanted precision takes.
 *
 * The smallest n with t(n) s / sqrt(n) <= half-width, where t has n - 1 degrees of freedom: the
 * interval formula of ASTM E562 (from memory) turned round, with the t of the n sought, not of the
 * fields in hand. Because t falls towards the normal factor z from above, (z s / half-width)^2 is a
 * lower bound to start from and few steps remain. The spread s is itself an estimate from few
 * fields: the number is a plan, not a promise.
 */
#include "specimen_priv.h"

/* Beyond this the picture is hopeless and t equals z to six digits; also keeps sums in range. */
static const double many_fields = 1e6;

size_t kb_fields_for(double s, double half_width) {
    if (!isfinite(s) || s < 0.0 || !isfinite(half_width) || half_width <= 0.0) {
        return 0;
    }
    double ratio = kb_normal_factor() * s / half_width;
    double least = ratio * ratio;
    if (!(least < many_fields)) {
        return 0;
    }
    size_t n = least > 2.0 ? (size_t)least : 2;
    while (kb_student_95(n) * s > half_width * sqrt((double)n)) {
        n++;
    }
    return n;
}
