/* bias_cell.h - how far the figures of ellipses of one kind are off, by sub-pixel outline and by
 * pixel rules, over random places, directions and noise. */
#ifndef KB_TEST_BIAS_CELL_H
#define KB_TEST_BIAS_CELL_H

#include "canvas.h"

enum bias_figure { BIAS_AREA, BIAS_FERET_MAX, BIAS_FERET_MIN, BIAS_PERIMETER, BIAS_SHAPE, BIASES };
/* Mean and standard deviation over the particles: relative, of the shape factor absolute. */
struct bias {
    double mean[BIASES], s[BIASES];
};

struct bias_kind {
    double axis_ratio, d_px; /* d_px: major axis */
    double blur_px, noise;   /* noise in grey levels of 255; graphite 60, ground 210 */
};

/* Measure `particles` of a kind in one field, which holds also nine discs of 24 px, as a field of
 * cast iron would. *outlined: share of them measured from a sub-pixel outline. */
void bias_measure(const struct bias_kind *kind, int particles, uint64_t *seed, struct bias *outline,
                  struct bias *pixels, double *outlined);

#endif
