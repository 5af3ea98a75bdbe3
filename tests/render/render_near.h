/* render_near.h - comparison of doubles (cmocka's own works in single precision), and drawing a
 * picture or failing the test. */
#ifndef KB_RENDER_NEAR_H
#define KB_RENDER_NEAR_H

#include "keelblock/render.h"

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

static inline struct kb_render_params small(int32_t width, int32_t height) {
    struct kb_render_params p = kb_render_params_default();
    p.width = width;
    p.height = height;
    return p;
}

static inline struct kb_render draw(const struct kb_render_params *params) {
    struct kb_render render;
    struct kb_err err = {0};
    enum kb_status status = kb_render_draw(params, &render, &err);
    if (status != KB_OK) {
        fail_msg("%s", err.text);
    }
    return render;
}

#endif
