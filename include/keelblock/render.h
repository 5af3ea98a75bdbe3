/* render.h - draws micrographs whose truth is known.   base > raster > RENDER (beside intake)
 *
 * For the demo, for tests and for software validation. Same seed, same picture, on every machine.
 */
#ifndef KEELBLOCK_RENDER_H
#define KEELBLOCK_RENDER_H

#include "keelblock/raster.h"

#ifdef __cplusplus
extern "C" {
#endif

enum kb_render_graphite {
    KB_RENDER_NONE,
    KB_RENDER_NODULES,
    KB_RENDER_COMPACTED,
    KB_RENDER_FLAKES
};
enum kb_render_look { KB_RENDER_LIGHT, KB_RENDER_UNETCHED, KB_RENDER_SEM };

struct kb_render_params {
    uint64_t seed;
    int32_t width, height; /* pixels */
    double px_um;          /* um a pixel */
    enum kb_render_look look;
    enum kb_render_graphite graphite;
    double nodules_per_mm2; /* aimed at; truth says what was drawn */
    double nodule_um;       /* median equivalent diameter, um (log-normal) */
    double nodule_spread;   /* geometric standard deviation, >= 1 */
    double nodularity; /* share of particles drawn as nodules (shape factor >= 0.6), 0..1; the rest
                          irregular or vermicular */
    double graphite_fraction;  /* for flakes and compacted: aimed at, of the field */
    double pearlite_of_matrix; /* aimed at, 0..1 */
    bool bulls_eye;            /* ferrite as rings round graphite; else as grains */
    double grain_um;           /* ferrite grain size, um; 0: no boundaries drawn */
    double lamella_um;         /* interlamellar spacing, um: resolved where it spans > 2 pixels */
    double fall_off;           /* relative loss of light towards the corners, 0..0.9 */
    double blur_um;            /* standard deviation of the blur, um */
    double noise;              /* standard deviation of grey noise, levels of 255 */
    double scratches_per_mm2;
    double clusters; /* share of nodules drawn touching another, 0..1 */
};
KB_API struct kb_render_params kb_render_params_default(void);
KB_API KB_NODISCARD enum kb_status kb_render_params_check(const struct kb_render_params *params,
                                                          struct kb_err *err);

struct kb_render_particle {
    double x_um, y_um; /* centre */
    double area_um2;   /* of the drawn outline */
    double perimeter_um;
    double feret_max_um, feret_min_um;
    double shape_factor; /* area / circle on the maximum Feret diameter */
    bool inside;         /* wholly within the frame */
};

struct kb_render_truth {
    double graphite, ferrite, pearlite; /* fractions of the field, from the sub-pixel drawing */
    double pearlite_of_matrix;
    struct kb_render_particle *particle;
    size_t count;
    double nodularity_percent; /* by area, shape factor >= 0.6, maximum Feret >= 10 um, wholly
                                  inside */
    double nodules_per_mm2;    /* shape factor >= 0.6 and Feret >= 10 um, centre in the frame, per
                                  frame area */
};

struct kb_render {
    struct kb_image grey;
    struct kb_image
        label; /* true phase of each pixel by largest share: 1 graphite, 2 ferrite, 3 pearlite */
    struct kb_render_truth truth;
};

KB_API KB_NODISCARD enum kb_status kb_render_draw(const struct kb_render_params *params,
                                                  struct kb_render *render, struct kb_err *err);
KB_API void kb_render_release(struct kb_render *render);

#ifdef __cplusplus
}
#endif
#endif
