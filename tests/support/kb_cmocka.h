/* kb_cmocka.h - cmocka with the headers it wants before it. */
#ifndef KB_TEST_CMOCKA_H
#define KB_TEST_CMOCKA_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <math.h>
#include <stdio.h>

#include <cmocka.h>

/* |value - expected| <= tolerance; NaN is near nothing. */
#define assert_near(value, expected, tolerance)                                                    \
    kb_assert_near((value), (expected), (tolerance), #value, __FILE__, __LINE__)

static inline void kb_assert_near(double value, double expected, double tolerance, const char *what,
                                  const char *file, int line) {
    if (!(fabs(value - expected) <= tolerance)) {
        print_error("%s is %.9g, expected %.9g within %.3g\n", what, value, expected, tolerance);
        _fail(file, line);
    }
}

#endif
