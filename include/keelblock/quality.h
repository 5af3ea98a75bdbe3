/* quality.h - is this field fit to measure?   ... > segmentation > QUALITY > morphology > ...
 *
 * Looks at field and phase map as an experienced eye does. Each check gives a figure, two limits
 * and advice for the bench. It stands behind segmentation because the best view of focus, etch and
 * scratches is along and between the phases; it runs before anything is counted.
 */
#ifndef KEELBLOCK_QUALITY_H
#define KEELBLOCK_QUALITY_H

#include "keelblock/segmentation.h"

#ifdef __cplusplus
extern "C" {
#endif

enum kb_check {
    KB_CHECK_FOCUS,        /* width of phase edges, 10-90 %, um or px */
    KB_CHECK_LIGHT,        /* unevenness of the illumination */
    KB_CHECK_SATURATION,   /* share of pixels at the top level */
    KB_CHECK_SHADOWS,      /* share of pixels at the bottom level */
    KB_CHECK_GREY_LEVELS,  /* distinct levels that carry the picture */
    KB_CHECK_BLOCKS,       /* JPEG blocking */
    KB_CHECK_NOISE,        /* noise against the step between phases */
    KB_CHECK_SCRATCHES,    /* length of straight scratches per area */
    KB_CHECK_PULL_OUT,     /* share of graphite particles that look pulled out or comet-tailed */
    KB_CHECK_ETCH_WEAK,    /* how far apart ferrite and pearlite are */
    KB_CHECK_ETCH_STRONG,  /* how far apart pearlite and graphite are; darkened ferrite */
    KB_CHECK_STAINS,       /* share of area in soft dark or bright patches */
    KB_CHECK_ETCH_FERRITE, /* how unevenly dark ferrite is: mottled by too long an etch */
    KB_CHECK_BOUNDARIES,   /* width of the dark lines along ferrite boundaries, um or px */
    KB_CHECK_RESOLUTION,   /* pixels across the smallest particle that counts */
    KB_CHECK_TOUCHING,     /* share of particles or graphite that may be parted wrongly */
    KB_CHECKS
};
KB_API const char *kb_check_name(enum kb_check check);  /* "focus", ... */
KB_API const char *kb_check_words(enum kb_check check); /* "focus: width of phase edges" */

enum kb_fitness { KB_FIT, KB_USABLE, KB_NOT_FIT };
KB_API const char *kb_fitness_name(enum kb_fitness fitness); /* "fit", "usable", "not-fit" */

struct kb_check_result {
    bool looked; /* false: does not apply here, `says` tells why */
    enum kb_fitness fitness;
    double value;       /* NaN when not looked */
    double warn, unfit; /* limits: NaN none. Worse is greater when `more_is_worse`, else less */
    bool more_is_worse;
    const char *unit; /* static text */
    char says[200];   /* what is seen, one sentence */
    char advice[320]; /* what to do at the bench or the camera, "" when fit */
};

/* Directions of residual scratches, at most two families. */
struct kb_scratch_family {
    double angle;     /* radians, 0..pi, counter-clockwise from the row, y up */
    double length_px; /* in all */
    double width_px;  /* median */
    size_t lines;
};

struct kb_quality {
    struct kb_check_result check[KB_CHECKS];
    enum kb_fitness fitness; /* the worst */
    struct kb_scratch_family scratch[2];
    int scratch_families;
    bool crossed; /* two families at about a right angle: the step before the last was not finished
                   */
    const char *coarsest_abrasive; /* "P1200", hint from the FEPA series; NULL when no scale or no
                                      scratch */
};

/* Grades of coated abrasives with their mean grain size, coarsest first: refs/fepa_p_series.csv. */
struct kb_abrasive {
    const char *name; /* "P1200" */
    double grain_um;
};
KB_API const struct kb_abrasive *kb_abrasives(size_t *count);

#define KB_NO_LIMIT (-1.0)

struct kb_quality_params {
    double min_feret_um;    /* smallest particle that counts, 0.01..10000 um: 10 */
    double grain_per_width; /* an abrasive's grain over the width of the scratch it leaves, 1..20:
                               3; common practice, no published source; for the hint only */
    /* Limits by check: focus in shares of the smallest particle (without scale: of 20 pixels);
     * light, saturation, shadows, blocks, noise, pull-out, stains and touching in per cent; grey
     * levels; scratches in mm/mm2; etch-weak and etch-strong in times of the spread, etch-ferrite
     * in per cent; boundaries in um (without scale: as if a pixel were half a micrometre);
     * resolution in pixels across the smallest particle, and without particles at 0.7 of that in
     * pixels (or deviations of the blur, where larger) across the lesser constituent. Any negative
     * value: no limit. Defaults: quality_params.c, found with tests/ladder. */
    double warn[KB_CHECKS], unfit[KB_CHECKS];
};
KB_API struct kb_quality_params kb_quality_params_default(enum kb_material material,
                                                          enum kb_contrast contrast);
KB_API KB_NODISCARD enum kb_status kb_quality_params_check(const struct kb_quality_params *params,
                                                           struct kb_err *err);

/* Look at one field with its phase map; neither is changed. */
KB_API KB_NODISCARD enum kb_status kb_quality_run(const struct kb_field *field,
                                                  const struct kb_phase_map *map,
                                                  enum kb_material material,
                                                  enum kb_contrast contrast,
                                                  const struct kb_quality_params *params,
                                                  struct kb_quality *quality, struct kb_err *err);

/* The check that needs the particles, once they are parted: so many cuts are wrong or missing, to
 * be expected, as a share of particles and of their area (kb_particles.doubtful ...). Sets
 * check[KB_CHECK_TOUCHING], which kb_quality_run() leaves as not looked at, and the fitness anew.
 */
KB_API void kb_quality_touching(double wrong, double share, double area_share,
                                const struct kb_quality_params *params, struct kb_quality *quality);

#ifdef __cplusplus
}
#endif
#endif
