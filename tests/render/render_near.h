/* render_near.h - comparison of doubles; cmocka's own works in single precision. */
#ifndef KB_RENDER_NEAR_H
#define KB_RENDER_NEAR_H

#include <math.h>

#define assert_near(value, expected, tolerance)                                                    \
    near_or_fail((value), (expected), (tolerance), __FILE__, __LINE__)

static inline void near_or_fail(double value, double expected, double tolerance, const char *file,
                                int line) {
    if (!(fabs(value - expected) <= tolerance)) {
        print_error("%.15g is not within %g of %.15g\n", value, tolerance, expected);
        _fail(file, line);
    }
}

#endif
