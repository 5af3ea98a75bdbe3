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
/* How flakes lie to one another, named as in ISO 945-1: random, rosettes, kish beside small flakes,
 * between dendrites at random, the same in one direction. */
enum kb_render_distribution { KB_RENDER_A, KB_RENDER_B, KB_RENDER_C, KB_RENDER_D, KB_RENDER_E };
enum kb_render_look { KB_RENDER_LIGHT, KB_RENDER_UNETCHED, KB_RENDER_SEM };

/* Ranges are those of kb_render_params_check(). The section (particles, rings, grains) follows from
 * everything but look, fall_off, the two noises, charging and scratches_per_mm2: draw twice with
 * another look to see the same place as polished and etched. blur_um and px_um set the least gap
 * between particles. */
struct kb_render_params {
    uint64_t seed;
    uint64_t exposure;     /* which exposure of that place: the same but for the noise; < 2^31 */
    int32_t width, height; /* pixels; at most 4e8 in all */
    double px_um;          /* um a pixel, 0.001..100 */
    enum kb_render_look look;
    enum kb_render_graphite graphite;
    enum kb_render_distribution distribution; /* of flakes; finer ones in B to E */
    double nodules_per_mm2;    /* KB_RENDER_NODULES: particles of any shape aimed at */
    double nodule_um;          /* median equivalent diameter, um (log-normal), 0.1..1000 */
    double nodule_spread;      /* geometric standard deviation, 1..3 */
    double nodularity;         /* share of particles drawn as nodules (shape factor >= 0.6), 0..1;
                                  the rest irregular or vermicular. Not used for flakes */
    double graphite_fraction;  /* for flakes and compacted: aimed at, of the field, 0..0.4 */
    double pearlite_of_matrix; /* aimed at, 0..1 */
    double bainite_of_matrix, carbide_of_matrix; /* aimed at, 0..1; in place of pearlite, and no
                                                    more than there is of it */
    bool bulls_eye;           /* ferrite as rings round graphite; else as grains, or above 0.68
                                 of pearlite as a network round former austenite grains */
    double grain_um;          /* ferrite grain size, um; 0: no boundaries drawn */
    double lamella_um;        /* true interlamellar spacing, um: resolved where the spacing in the
                                 section spans more than 2 pixels */
    double fall_off;          /* relative loss of light in the darkest corner, 0..0.9 */
    double blur_um;           /* standard deviation of the blur, um; at most 30 pixels */
    double noise;             /* standard deviation of grey noise at grey 200, levels of 255 */
    double beam_noise;        /* of a scanned beam: standard deviation at grey 200, levels; grows
                                 with the root of the grey, neighbours in a row are alike */
    double charging;          /* levels by which a charged place on the border glows */
    double over_etch;         /* KB_RENDER_LIGHT: 0 etched as it should be, 1 hopelessly too long:
                                 ferrite dark and mottled, boundaries wide, pearlite dark */
    double scratches_per_mm2; /* at most 1e6 in the field */
    double clusters;          /* share of nodules drawn touching another, 0..1 */
};
/* An etched ductile iron, 640 x 480 um, 40 % pearlite. */
KB_API struct kb_render_params kb_render_params_default(void);
/* KB_E_USAGE, with the field's name as subject, for what cannot be drawn; NaN and infinity too. */
KB_API KB_NODISCARD enum kb_status kb_render_params_check(const struct kb_render_params *params,
                                                          struct kb_err *err);

/* Measures of the drawn outline, a polygon of 160 vertices. Particles that touch or cross are
 * listed each for itself. */
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
    double bainite, carbide, other;     /* of the field; other: both together */
    double pearlite_of_matrix, other_of_matrix; /* the matrix is all that is not graphite */
    struct kb_render_particle *particle;        /* those that meet the frame */
    size_t count;
    double nodularity_percent; /* by area, shape factor >= 0.6, maximum Feret >= 10 um, wholly
                                  inside */
    double nodules_per_mm2;    /* shape factor >= 0.6 and Feret >= 10 um, centre in the frame, per
                                  frame area */
};

struct kb_render {
    struct kb_image grey;
    struct kb_image label; /* true phase of each pixel by largest share: 1 graphite, 2 ferrite, 3
                              pearlite, 6 other */
    struct kb_render_truth truth;
};

/* Draw. Initialises `render`; release with kb_render_release(). KB_E_USAGE for params that the
 * check refuses or that ask for more than 50000 particles; on failure `render` is empty. Needs
 * about nine bytes a pixel while it draws. */
KB_API KB_NODISCARD enum kb_status kb_render_draw(const struct kb_render_params *params,
                                                  struct kb_render *render, struct kb_err *err);
KB_API void kb_render_release(struct kb_render *render);

#ifdef __cplusplus
}
#endif
#endif
