/* canvas.h - grey pictures of discs and ellipses with known geometry, drawn without the product.
 *
 * Coverage is summed on a five times finer grid whose rows are cut exactly by the ellipse, blurred
 * there by a Gaussian, then averaged over each pixel: so the picture is the ideal shape, through a
 * blurring lens, on square pixels. Noise is normal. */
#ifndef KB_TEST_CANVAS_H
#define KB_TEST_CANVAS_H

#include "shapes.h"

struct canvas {
    int32_t width, height;
    double *value;
};

struct ellipse {
    struct place centre;
    double semi_a, semi_b, angle; /* radians, counter-clockwise, y up */
};

struct canvas canvas_blank(int32_t width, int32_t height, double grey);
/* Put an ellipse of grey `inside` over what is there, its edge blurred by `blur` px. */
void canvas_add(struct canvas *canvas, const struct ellipse *ellipse, double inside, double blur);
/* Eight bits, with noise of standard deviation `noise`. */
struct kb_image canvas_expose(const struct canvas *canvas, double noise, uint64_t *seed);
void canvas_release(struct canvas *canvas);
/* Graphite where the grey is at most `level`. */
struct kb_phase_map map_below(const struct kb_image *grey, double level);
double ellipse_perimeter(double semi_a, double semi_b);
/* Normally distributed, mean 0, deviation 1. */
double normal(uint64_t *seed);

/* Copies of a picture, as map_turned() and map_mirrored(). */
struct kb_image image_turned(const struct kb_image *image);
struct kb_image image_mirrored(const struct kb_image *image);

/* Run with a picture, must succeed. */
struct kb_particles measured_with(const struct kb_phase_map *map, const struct kb_image *grey,
                                  double px_um, const struct kb_morphology_params *params);

#endif
