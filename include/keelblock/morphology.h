/* morphology.h - one row a graphite particle.   ... > segmentation > MORPHOLOGY > specimen > ...
 *
 * Labels graphite by runs, parts touching nodules, measures each particle, and says whether it
 * counts and why not. Lengths are in pixels of the field; multiply by px_um (areas by its square).
 */
#ifndef KEELBLOCK_MORPHOLOGY_H
#define KEELBLOCK_MORPHOLOGY_H

#include "keelblock/segmentation.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ISO 945-1 forms. (ASTM A247 numbers its types the other way round: never print a bare number.) */
enum kb_form {
    KB_FORM_NONE = 0, /* not classified: on the frame, under size, no scale */
    KB_FORM_I,        /* lamellar (flake) */
    KB_FORM_II,       /* crab, spiky */
    KB_FORM_III,      /* vermicular (compacted) */
    KB_FORM_IV,       /* irregular, temper carbon */
    KB_FORM_V,        /* slightly irregular spheroidal */
    KB_FORM_VI,       /* regular spheroidal */
    KB_FORMS
};
KB_API const char *kb_form_roman(enum kb_form form); /* "I" .. "VI"; "-" for none */
KB_API const char *kb_form_words(enum kb_form form); /* "lamellar (flake)" ... */
KB_API KB_NODISCARD bool kb_form_parse(const char *roman, enum kb_form *form); /* "I" .. "VI" */
KB_API bool kb_form_is_nodule(enum kb_form form);                              /* V and VI */

enum kb_particle_state {
    KB_COUNTS = 0,
    KB_ON_FRAME,     /* cut by the picture's edge: in the area fraction, not in shape */
    KB_ON_EXCLUSION, /* touches an excluded area: the same */
    KB_UNDER_SIZE,   /* maximum Feret diameter below the minimum */
    KB_NO_SCALE,     /* pixel size unknown: the minimum cannot be applied */
    KB_PARTICLE_STATES
};
KB_API const char *
kb_particle_state_name(enum kb_particle_state state); /* "counts", "on-frame", ... */

struct kb_particle {
    uint32_t id; /* 1-based, in the order of the first pixel, row by row */
    enum kb_particle_state state;
    /* Whether the figures below, but box and hole_area_px2, come from an outline at sub-pixel
     * precision, or from whole pixels by the rules said in brackets. */
    bool subpixel;
    double area_px2;      /* holes filled, see hole_share (pixels) */
    double hole_area_px2; /* of that, filled holes, by pixels */
    double perimeter_px;  /* outer outline and that of holes left open (Crofton, 4 directions) */
    double x_px, y_px;    /* centroid, pixel centres at integer + 0.5 */
    struct kb_rect box;
    double feret_max_px, /* (over pixel centres + 0.5 px, refs/feret_bias.csv) */
        feret_max_angle; /* angle: radians, 0..pi, counter-clockwise from the row, y up */
    double feret_min_px, feret_min_angle;
    double diameter_px;        /* of the circle of equal area */
    double shape_factor;       /* area / area of the circle on the maximum Feret diameter, 0..1 */
    double circularity;        /* 4 pi area / perimeter^2, at most 1 */
    double solidity;           /* area / area of the convex hull (pixels of the hull of its pixel
                                  centres), 0..1 */
    double aspect;             /* maximum / minimum Feret diameter, >= 1 */
    double major_px, minor_px; /* full axes of the ellipse of equal second moments */
    enum kb_form form;
    enum kb_form form_found; /* by the figures above; differs from `form` only by hand */
    bool by_hand;            /* the form was set by hand: V and VI are nodules, I to IV are not */
    int size_class;          /* ISO 945-1: 1..8 by maximum Feret diameter; 0 without scale */
    bool parted;             /* came from a cluster that was parted, by the program or by hand */
    bool cut_by_hand;        /* of that, by hand */
    bool joined_by_hand;     /* made one of several by hand */
};

/* A person's word for the particle that holds a pixel. */
struct kb_form_by_hand {
    int32_t x, y;      /* of the upright picture */
    enum kb_form form; /* I to VI */
    bool may_miss;     /* without effect where no particle holds it, instead of an error; and it
                          yields to a later word about the same particle */
};

/* A person's word on what is one particle: a stroke that parts, or two points in what is one. */
struct kb_shape_by_hand {
    bool joins;                   /* two points; else a stroke through two or more */
    const struct kb_place *point; /* view: pixels of the upright picture */
    size_t points;
    bool may_miss; /* without effect where no particle holds the points of a join, or a stroke lies
                      outside the picture, instead of an error */
};

/* What came of it. */
struct kb_shaped {
    size_t before, after; /* particles that it was about, and that came of them; alike: no effect */
    uint32_t particle;    /* id of the one made by a join that still stands; 0: none */
};

struct kb_morphology_params {
    double min_feret_um;  /* particles below do not count: 10 um, ISO 945-4 / ASTM E2567 (see
                             refs/particle_rules.csv) */
    bool part_touching;   /* separate touching nodules */
    double part_depth_um; /* how much narrower a neck must be than the lesser nodule's inscribed
                             radius, um */
    bool flake;           /* flake or compacted graphite expected: nothing is parted */
    double part_neck;     /* a neck is also at most this share of that radius, 0..1 (0.9) */
    /* A piece is as round as the mean of its shape factor and its circularity. Two pieces are
     * parted where they are on the average at least part_round + part_round_neck * the neck's
     * share of the lesser inscribed radius (0.71, 0.15): the wider the neck, the rounder they must
     * be. Where the frame cuts one of them the other decides (0.65, 0.3). */
    double part_round, part_round_neck;
    double part_frame, part_frame_neck;
    /* They are parted too where one is at least part_alone + part_alone_neck * the neck's share of
     * its own radius (0.7, 0.5), whatever the other is: so a cluster does not stay whole for the
     * sake of one ragged or unparted member. */
    double part_alone, part_alone_neck;
    double part_sure; /* a cut stands for good once its pieces were rounder than asked for by this,
                         whatever they are joined with later (0.02) */
    /* A chord between two concave places of the outline parts where its pieces are on the average
     * at least part_chord + part_round_neck * half the chord over the lesser half-axis (0.73), and
     * each at least part_chord_least (0.72). */
    double part_chord, part_chord_least;
    double part_gain;  /* by how much the pieces must be rounder on the average, weighted by area,
                          than the whole, 0..1 (0.05) */
    double hole_share; /* a hole is filled when its area is at most this share of the particle's
                          graphite about it: in the hole's box grown on each side by half the
                          hole's equivalent diameter. 0: fill none (0.5) */
    double fallback_px_um; /* stands in for the pixel size in part_depth_um where that is unknown; a
                              finding says so (0.5) */
    double
        outline_reach_px; /* so far from the label's border is the grey's edge looked for (1.5) */
    double outline_contrast; /* grey levels between graphite and ground below which there is no edge
                                to follow (12) */
    bool keep_outlines;      /* keep the sub-pixel outlines, for drawing (not) */
    const struct kb_form_by_hand *by_hand; /* view: forms of particles set by hand */
    size_t by_hands;
    const struct kb_shape_by_hand
        *shape; /* view: cuts and joins, done in this order after parting */
    size_t shapes;
};
KB_API struct kb_morphology_params kb_morphology_params_default(enum kb_material material);
KB_API KB_NODISCARD enum kb_status
kb_morphology_params_check(const struct kb_morphology_params *params, struct kb_err *err);

/* One closed line of a sub-pixel outline, for drawing: the border of a particle, or that of a hole
 * left open in it. */
struct kb_outline {
    uint32_t particle;   /* id */
    size_t first, count; /* of kb_particles.outline_point, at most about a pixel apart */
};
struct kb_outline_point {
    float x, y; /* pixels of the field, pixel centres at integer + 0.5 */
};

struct kb_particles {
    struct kb_particle *particle;
    size_t count;
    size_t in_state[KB_PARTICLE_STATES];
    /* Of the particles that count, those measured from a sub-pixel outline and those by pixels. */
    size_t by_outline, by_pixels;
    size_t parted_clusters; /* regions that were cut apart ... */
    size_t parted_pieces;   /* ... and the particles that came of them */
    double doubtful; /* so many of the cuts made and not made are wrong, to be expected ... */
    double doubtful_share, doubtful_area; /* ... over the particles, and the area of the pieces
                                             beside them over that of all, 0..1 */
    size_t by_hand;                       /* particles whose form was set by hand */
    uint32_t *named; /* for each params->by_hand the id of its particle; 0: it has none, or
                        a later word about the same particle holds */
    size_t named_count;
    struct kb_shaped *shaped; /* for each params->shape */
    size_t shaped_count;
    double px_um;          /* of the field; 0 unknown */
    double min_feret_um;   /* the minimum size that was asked for */
    int32_t width, height; /* of the field, pixels */
    struct kb_runs runs;   /* filled and parted; region i is particle[i] (for drawing). Pieces of a
                              parted cluster lie side by side without a gap */
    /* The lines that particles with `subpixel` were measured from, where they are kept; loops of
     * one particle stand together, particles in no order. */
    struct kb_outline *outline;
    size_t outlines, outline_capacity;
    struct kb_outline_point *outline_point;
    size_t outline_points, outline_point_capacity;
    struct kb_findings findings; /* "parted", "not-parted", "few-pixels-across",
                                    "particles-without-scale", "pixel-rules", "form-by-hand",
                                    "form-by-hand-without-effect", "cut-by-hand",
                                    "joined-by-hand", "by-hand-without-effect" */
};

/* Measure every graphite particle of a map. `grey` is the field's picture, of the same size as the
 * map (else KB_E_USAGE): particles that neither frame nor exclusion cuts are measured from an
 * outline that follows its grey at sub-pixel precision (refs/subpixel_bias.csv shows what that
 * gains), as far as it has an edge by the label's border. NULL: all by pixels, as for binary input.
 *
 * Where clusters are parted or holes filled, map->label is left alone, and so do outlines leave it:
 * area fractions of phases are those of the label map whatever is done with particles (holes filled
 * count in the particle, not in the phase fraction). A form by hand belongs to the particle as it
 * is after filling and parting; KB_E_USAGE where its point lies in none, or where two words about
 * one particle differ. Initialises `out`; zeroed on failure. */
KB_API KB_NODISCARD enum kb_status kb_morphology_run(const struct kb_phase_map *map,
                                                     const struct kb_image *grey, double px_um,
                                                     const struct kb_morphology_params *params,
                                                     struct kb_particles *out, struct kb_err *err);
KB_API void kb_particles_release(struct kb_particles *particles);
/* Drop runs and outlines when nothing will be drawn any more. */
KB_API void kb_particles_drop_runs(struct kb_particles *particles);

/* ISO 945-1 Table 1: class 1 (>= 1000 um) to 8 (< 15 um). */
KB_API int kb_size_class(double feret_um);
#define KB_SIZE_CLASSES 8
/* Lengths of a class 1..8, um: the lower limit is inside; INFINITY above class 1. */
KB_API void kb_size_class_span(int size_class, double *from_um, double *to_um);
/* Form from shape factor, solidity, aspect and circularity together; the cuts are ours, described
 * in form.c, since no standard gives a rule by figures for all six forms. */
KB_API enum kb_form kb_form_classify(double shape_factor, double solidity, double aspect,
                                     double circularity);
/* How far the nearest other form is: the least change of one of the four figures alone, in its own
 * unit, that makes kb_form_classify() answer otherwise, to 1e-4. *which (may be NULL) names it:
 * "shape factor", "solidity", "aspect" or "circularity". NaN, and *which NULL, where no figure
 * alone does it. Shape factor, solidity and circularity are varied over 0..1, the aspect from 1
 * to 20. */
KB_API double kb_form_margin(double shape_factor, double solidity, double aspect,
                             double circularity, const char **which);

#ifdef __cplusplus
}
#endif
#endif
