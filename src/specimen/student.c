/* student.c - factors of the t and normal distributions, from GSL.
 *
 * GSL aborts the process when a routine meets an argument outside its domain, unless its global
 * handler is switched off. A library must not touch a global of its host, so the handler is left
 * alone: every argument is checked before it reaches GSL, and only functions are used that raise
 * nothing inside their domain.
 */
#include "specimen_priv.h"

#include <gsl/gsl_cdf.h>

/* 95 % two-sided: 2.5 % in each tail. The level is fixed by the trade's habit (ASTM E562, E1245).
 */
static const double upper_point = 0.975;

double kb_student_factor(double freedom) {
    if (!(freedom > 0.0)) {
        return KB_NAN;
    }
    return isfinite(freedom) ? gsl_cdf_tdist_Pinv(upper_point, freedom) : kb_normal_factor();
}

double kb_normal_factor(void) {
    return gsl_cdf_ugaussian_Pinv(upper_point);
}

double kb_student_95(size_t n) {
    return n < 2 ? KB_NAN : kb_student_factor((double)(n - 1));
}
