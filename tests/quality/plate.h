/* plate.h - a made field with an exact phase map: every mark on it is put there on purpose. */
#ifndef KB_TEST_PLATE_H
#define KB_TEST_PLATE_H

#include "keelblock/quality.h"
#include "keelblock/render.h"

struct plate {
    struct kb_field field;
    struct kb_phase_map map;
};

/* An even plate of one phase. The scale is 0.5 um a pixel. Fails the running test when out of
 * memory. Release with plate_release(). */
void plate_make(int32_t width, int32_t height, uint8_t grey, enum kb_phase phase,
                struct plate *plate);
void plate_release(struct plate *plate);

/* A disc; its edge is a step blurred by a Gaussian of standard deviation `sigma` px (0: sharp). */
void plate_disc(struct plate *plate, double x, double y, double radius, uint8_t grey,
                enum kb_phase phase, double sigma);
/* Discs of graphite of radius 15 px, 60 px apart, over the whole plate. */
void plate_nodules(struct plate *plate, double sigma);
/* A rectangle with hard edges. */
void plate_rect(struct plate *plate, struct kb_rect rect, uint8_t grey, enum kb_phase phase);
/* A groove: `depth` grey levels darker, Gaussian across with full width `width` at half depth. */
void plate_line(struct plate *plate, double x0, double y0, double x1, double y1, double width,
                double depth);
/* A line through the middle of the plate at `angle` radians, shifted sideways by `off` px. */
void plate_scratch(struct plate *plate, double angle, double off, double width, double depth);
/* Normal noise from a seed. */
void plate_noise(struct plate *plate, double sigma, uint64_t seed);
/* Grey times `gain` plus `shift`, clipped. */
void plate_expose(struct plate *plate, double gain, double shift);
/* Turn by a quarter, counter-clockwise; mirror left to right. */
void plate_turn(struct plate *plate);
void plate_mirror(struct plate *plate);

/* A drawn field, segmented. Fails the running test when that fails. */
void plate_drawn(const struct kb_render_params *params, enum kb_material material,
                 struct plate *plate);

/* Look at a plate with the default limits. */
struct kb_quality plate_look(const struct plate *plate, enum kb_material material,
                             enum kb_contrast contrast);
/* The figure of one check. */
double plate_value(const struct plate *plate, enum kb_material material, enum kb_contrast contrast,
                   enum kb_check check);

#endif
