/* segmentation.h - one label a pixel.   base > ... > firstlook > SEGMENTATION > morphology > ...
 *
 * Takes a field, gives a phase map: illumination evened, thresholds found (or given), pearlite
 * taken as regions, graphite told from pearlite, specks cleaned; with figures that say how far to
 * trust it.
 */
#ifndef KEELBLOCK_SEGMENTATION_H
#define KEELBLOCK_SEGMENTATION_H

#include "keelblock/firstlook.h"

#ifdef __cplusplus
extern "C" {
#endif

enum kb_material { KB_DUCTILE_IRON, KB_GREY_IRON, KB_COMPACTED_IRON, KB_CARBON_STEEL };
enum kb_proeutectoid {
    KB_PRO_FERRITE,
    KB_PRO_CEMENTITE
}; /* what stands beside pearlite in steel */

KB_API const char *kb_material_name(enum kb_material material); /* "ductile-iron", ... */
KB_API const char *kb_proeutectoid_name(enum kb_proeutectoid proeutectoid);
KB_API KB_NODISCARD bool kb_material_parse(const char *name, enum kb_material *material);
KB_API KB_NODISCARD bool kb_proeutectoid_parse(const char *name,
                                               enum kb_proeutectoid *proeutectoid);
KB_API bool kb_material_is_iron(enum kb_material material); /* has free graphite */

/* Labels of a phase map. */
enum kb_phase {
    KB_EXCLUDED = 0, /* left out of every figure */
    KB_GRAPHITE,
    KB_FERRITE,
    KB_PEARLITE,
    KB_CEMENTITE, /* proeutectoid, steel */
    KB_MATRIX,    /* all that is not graphite where ferrite and pearlite are not told apart */
    KB_OTHER,     /* seen, but none of the above */
    KB_PHASES
};
KB_API const char *kb_phase_name(enum kb_phase phase); /* "graphite", ... */
KB_API KB_NODISCARD bool kb_phase_parse(const char *name, enum kb_phase *phase);

enum kb_threshold_origin { KB_THRESHOLD_FOUND, KB_THRESHOLD_BY_HAND };

/* ---- why a point has its phase ------------------------------------------------------------------
 */

/* A pixel of the upright picture. */
struct kb_place {
    int32_t x, y;
};

/* A closed line through corners of pixels, the last joined to the first. */
struct kb_polygon {
    const struct kb_place *corner; /* view */
    size_t corners;                /* 3 or more; from -KB_SIDE_MAX to 2 KB_SIDE_MAX */
};
/* Whether the centre of a pixel lies inside, by the even-odd rule. */
KB_API bool kb_polygon_holds(const struct kb_polygon *polygon, int32_t x, int32_t y);
/* The pixels between its outermost corners; of width or height 0 when it holds none. */
KB_API struct kb_rect kb_polygon_box(const struct kb_polygon *polygon);

/* One step on the way of a point: what was asked there, and what came of it. */
struct kb_why_step {
    const char *step;       /* static text, a metallographer's words: "grey level", "local mean" */
    enum kb_phase from, to; /* equal where the step left the phase as it was */
    double figure, limit;   /* what decided, and the limit it was held against; NaN: none */
    const char *unit;       /* static text, of both: "grey level", "um2", ...; "" for a share */
    char says[256];         /* the step in words */
};

/* The way of a point. The first step begins, and each further one, at the `to` of the one before.
 */
#define KB_WHY_STEPS 24
struct kb_why {
    int32_t x, y;
    struct kb_why_step step[KB_WHY_STEPS];
    size_t steps;
    size_t change; /* 1-based: of the map's changes by hand, the one that reached it; 0: none */
};
/* Add a step: `step->says` is what the format gives, the rest is taken over. Beyond KB_WHY_STEPS
 * nothing is added. */
KB_API void kb_why_add(struct kb_why *why, const struct kb_why_step *step, const char *format, ...)
    KB_PRINTF(3, 4);

struct kb_segmentation_params {
    enum kb_material material;
    enum kb_contrast contrast;
    enum kb_proeutectoid proeutectoid;
    /* Thresholds by hand, in grey levels of the file; NaN: find. A pixel at or below
     * `dark_threshold` is of the darkest class; at or above `bright_threshold` of the brightest.
     * With two classes only dark_threshold is used. */
    double dark_threshold, bright_threshold;
    bool even_light;  /* even the illumination */
    double clean_um;  /* specks and holes of smaller equivalent diameter are not structure, um */
    double colony_um; /* side of the window whose mean decides on pearlite where lamellae are
                         resolved, um; stripes up to half as wide are closed */
    double line_um;   /* dark lines narrower than this are boundaries or scratches, um */
    double
        fallback_px_um; /* stands in for the pixel size where that is unknown; a finding says so */
    const struct kb_rect *exclusion; /* view: rectangles left out, pixels of the upright picture */
    size_t exclusions;
    /* View: left out too are pixels whose centres lie in one of these, by the even-odd rule; what
     * lies outside the picture is cut off. */
    const struct kb_polygon *outline;
    size_t outlines;
    /* View: not 0 where a pixel is left out, of the size of the field; NULL or zeroed: none. */
    const struct kb_image *outside;
    const struct kb_image *blank; /* view: blank-field picture of the same size, or NULL */
    const struct kb_place *why;   /* view: points whose way to their phase is to be told */
    size_t whys;
    bool keep_grey; /* keep the evened picture in the map (not) */
};
KB_API struct kb_segmentation_params kb_segmentation_params_default(enum kb_material material,
                                                                    enum kb_contrast contrast);
KB_API KB_NODISCARD enum kb_status
kb_segmentation_params_check(const struct kb_segmentation_params *params, struct kb_err *err);

/* Proeutectoid cementite of a steel under secondary electrons, which is as grey as the rest: found
 * as smooth regions behind a rim. Evidence is NaN where none was found to be looked at. */
struct kb_network {
    bool found;       /* the evidence holds: cementite is labelled, all else is matrix */
    double stability; /* area of both over area of either when smooth means 10 % less or more */
    double rim;       /* share of its outline that lies on an edge, 0..1 */
    double contrast;  /* roughness of the rest over roughness of the network */
    double plates;    /* share of the field in thin straight plates (Widmanstaetten cementite) */
};

/* What segmentation found out about a field: plain numbers, no pixels. */
struct kb_segmentation_figures {
    int classes;         /* grey classes asked for: 2 or 3 */
    int thresholds;      /* classes - 1 */
    double threshold[2]; /* grey levels of the evened picture on the file's scale, ascending */
    enum kb_threshold_origin origin[2];
    double threshold_found[2];    /* by hand: what the histogram gives there; else as `threshold` */
    enum kb_phase class_phase[3]; /* what the classes stand for, darkest first */
    double class_mean[3];         /* grey level on the file's scale */
    double class_share[3];        /* fraction of the measured pixels by grey level alone */
    double separability; /* between-class over total variance of the histogram, 0..1 (Otsu 1979) */
    double valley[2]; /* histogram at threshold i over the lower of the two peaks beside it, 0..1 */
    double unevenness; /* illumination: (max - min) / mean of the fitted surface over the field */
    bool evened;       /* whether it was divided out */
    uint64_t histogram[256];     /* of the evened picture, measured pixels, 8-bit levels */
    double grey_low, grey_high;  /* the field's, to turn 8-bit levels into file grey */
    uint64_t pixels[KB_PHASES];  /* final, by label */
    uint64_t recovered_line_px;  /* dark lines given back to the matrix */
    uint64_t recovered_speck_px; /* specks and holes cleaned */
    uint64_t
        dark_pearlite_px; /* graphite-dark pixels given to pearlite by region shape or texture */
    bool lamellae_closed; /* lamellae are resolved and were closed to regions of pearlite */
    bool one_constituent; /* the matrix shows one, named by its texture or called matrix */
    bool other_sought;    /* regions that are neither of two constituents were looked for */
    uint64_t mid_grey_px, white_px; /* found: between the two in grey, and smoother than pearlite;
                                       in pearlite, and whiter than the ferrite beside graphite */
    uint64_t by_hand_px;            /* pixels whose phase was changed by hand */
    struct kb_network network;
};

/* A person's word for the region that holds a pixel. */
struct kb_phase_by_hand {
    int32_t x, y; /* of the upright picture */
    enum kb_phase phase;
    bool may_miss; /* without effect where it cannot be done, instead of an error; and it yields to
                      a later word about the same region */
};

/* What came of it. */
struct kb_phase_change {
    int32_t x, y;
    enum kb_phase from, to;
    uint64_t pixels; /* that changed: the region; 0 when it was of that phase already */
    bool missed;     /* nothing was there to change, or a later word held: `from` is KB_EXCLUDED */
};

struct kb_phase_map {
    struct kb_image label;          /* enum kb_phase a pixel */
    struct kb_image evened;         /* 8-bit grey, evened and denoised, that thresholds act on;
                                       empty unless params->keep_grey */
    struct kb_phase_change *change; /* by hand, in the order in which they were said */
    size_t changes;
    struct kb_why *why; /* the points of params->why, in that order */
    size_t whys;
    struct kb_segmentation_figures figures;
    struct kb_findings findings; /* "classes-overlap", "single-constituent", "uneven-light", ... */
};

/* Segment one field. The field is not changed. Initialises `map`; on failure it is zeroed. Release
 * with kb_phase_map_release(). KB_E_UNFIT for a picture without contrast (one grey level). */
KB_API KB_NODISCARD enum kb_status kb_segment(const struct kb_field *field,
                                              const struct kb_segmentation_params *params,
                                              struct kb_phase_map *map, struct kb_err *err);
/* Set phases by hand, once, over a map as it was found under `params`: the figures follow, and a
 * finding tells of each. Regions are those that were found, 8-connected for graphite, 4-connected
 * else; the order of `said` changes nothing. KB_E_USAGE for a point outside the picture or on an
 * excluded pixel, for words that contradict each other, and for a phase that material and contrast
 * cannot show; the map is then released and zeroed. */
KB_API KB_NODISCARD enum kb_status kb_phase_map_correct(const struct kb_phase_by_hand *said,
                                                        size_t count,
                                                        const struct kb_segmentation_params *params,
                                                        struct kb_phase_map *map,
                                                        struct kb_err *err);
KB_API void kb_phase_map_release(struct kb_phase_map *map);

/* Exact multi-level Otsu: the `classes` - 1 thresholds (2 or 3 classes) that make the between-class
 * variance of `bins` largest; class k holds levels in (threshold[k-1], threshold[k]]. *separability
 * is between-class over total variance, 0 when there is only one level. False when the histogram
 * has fewer levels than classes. Source: Otsu, IEEE Trans. SMC 9 (1979) 62. */
KB_API KB_NODISCARD bool kb_otsu(const uint64_t bins[256], int classes, int threshold[2],
                                 double *separability);

#ifdef __cplusplus
}
#endif
#endif
