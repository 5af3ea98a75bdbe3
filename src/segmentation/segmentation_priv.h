/* segmentation_priv.h - what the files of this stage share. segment.c tells the way through them.
 */
#ifndef KB_SEGMENTATION_PRIV_H
#define KB_SEGMENTATION_PRIV_H

#include "keelblock/segmentation.h"

#define KB_SEG_STAGE "segmentation"

/* What the grey classes stand for, darkest first, and which way round pearlite lies. */
struct kb_seg_scheme {
    int classes;
    enum kb_phase phase[3];
    bool graphite;    /* class 0 is graphite */
    bool matrix_pair; /* the upper two (steel: both) classes are the constituents of the matrix */
    int pearlite;     /* class index of pearlite, -1 without */
    enum kb_phase plain; /* the other constituent: ferrite or proeutectoid cementite */
};

#define KB_SURFACE_TERMS 9
struct kb_surface {
    double term[KB_SURFACE_TERMS]; /* 1 u v uu uv vv  r4 u*r2 v*r2, u and v in half sides */
};

/* The light of a field: none that is to be divided out, a surface, or a blank field. */
struct kb_seg_light {
    bool fitted;
    struct kb_surface surface;
    struct kb_image blank; /* smoothed; empty without */
    float gain[256];       /* by its level */
};

/* A field on its way. */
struct kb_seg {
    const struct kb_field *field;
    const struct kb_segmentation_params *params;
    struct kb_seg_scheme scheme;
    double px_um; /* given, or the fallback */
    struct kb_seg_light light;
    struct kb_image grey; /* evened and denoised */
    struct kb_phase_map *map;
    int threshold[2];      /* 8-bit levels, ascending; a level at or below is of the lower class */
    double class_level[3]; /* typical grey of each class, 8-bit levels */
    double noise;          /* standard deviation of pixel noise, 8-bit levels */
    bool matrix_is_one;    /* the histogram shows one constituent of the matrix */
    bool main_is_pearlite; /* that one is pearlite: the other is looked for on its far side */
    int rim_px;            /* longest blurred passage between the outer classes, pixels */
    bool shades;           /* both constituents of the matrix are rough alike */
    double merged_share;   /* share of the lesser of two near hills taken as one */
    double light_graphite_share; /* share of a middle hill that may be graphite or pearlite */
    bool graphite_hidden;        /* graphite has no hill of its own in the histogram */
    bool looks_etched;           /* called unetched, but the matrix has two hills */
    bool heavy_boundaries;       /* boundaries etched so broad that twice line_um was opened */
    double line_share; /* share of the matrix in fine dark (SEM: bright) lines; single.c */
    double roughness[KB_PHASES]; /* texture of each phase, share of its grey; see single.c */
    bool single;                 /* the matrix is one constituent ... */
    enum kb_phase single_phase;  /* ... and this one; KB_MATRIX: it cannot be said */
    bool films;                  /* ... because of films of ferrite too thin to be measured */
    double stripes_open;         /* share of them that the closing did not reach */
    bool stripes_closed;         /* lamellae are resolved and were closed to regions */
    double stripes;           /* share of bright pixels deep inside pearlite; resolved lamellae */
    double line_shift_um;     /* by which a line along it had the border of pearlite too far out */
    double light_pearlite_px; /* mid-grey, but as rough as pearlite; other.c */
    double bright_alone_px;   /* called ferrite, but none of it beside graphite; about */
    bool noise_is_strong;     /* smoothed on top of the median */
    size_t why_kept;          /* steps of a point's way that stand when labels are made once more */
};

#define KB_SEG_UNDECIDED KB_MATRIX /* label of every measured pixel before it is classified */

/* ---- even_light.c ------------------------------------------------------------------------------
 */

/* Find seg->light, unevenness and evened. Reads the labels for exclusions. */
KB_NODISCARD enum kb_status kb_seg_even_light(struct kb_seg *seg, struct kb_err *err);
/* Row y of the field with that light divided out. */
void kb_seg_even_row(const struct kb_seg *seg, int32_t y, uint8_t *to);
/* Evened over taken grey at one pixel. */
double kb_seg_gain_at(const struct kb_seg *seg, int32_t x, int32_t y);

/* ---- denoise.c ---------------------------------------------------------------------------------
 */

/* Standard deviation of the noise on the pixels of each label, grey levels; 0 where there are none.
 */
void kb_seg_noise(const struct kb_image *grey, const struct kb_image *labels,
                  double noise[KB_PHASES]);
/* Fill seg->grey with the field, evened and smoothed; sets seg->noise. */
KB_NODISCARD enum kb_status kb_seg_denoise(struct kb_seg *seg, struct kb_err *err);

/* ---- surface_fit.c -----------------------------------------------------------------------------
 */

struct kb_surface_point {
    double u, v;   /* from the centre, in units of half the larger side */
    double value;  /* what the surface should be here */
    double weight; /* trust; 0 leaves the point out */
};
double kb_surface_at(const struct kb_surface *surface, double u, double v);
/* Least squares, iteratively reweighted so that points off the surface lose their say. Uses the
 * first `terms` terms. With `upper`, points below the surface lose it, those above keep it: the
 * surface becomes an upper envelope. False when the points do not determine it. */
bool kb_surface_fit(const struct kb_surface_point *point, size_t count, int terms, bool upper,
                    struct kb_surface *surface);

/* ---- thresholds.c ------------------------------------------------------------------------------
 */

/* Find or take thresholds from figures.histogram; fills thresholds, classes, separability, valleys.
 */
KB_NODISCARD enum kb_status kb_seg_thresholds(struct kb_seg *seg, struct kb_err *err);

/* Fill the figures that follow from seg->threshold: shares, means, valleys, separability. */
void kb_seg_threshold_figures(struct kb_seg *seg);
/* A matrix of one hill turned out to be pearlite: move the threshold to the hill's other side. */
void kb_seg_cut_other_side(struct kb_seg *seg);
/* recut.c: whether regions of the other constituent were found although the matrix has one hill;
 * and, with seg->grey made anew, the threshold half way between the two. */
bool kb_seg_second_found(const struct kb_seg *seg);
KB_NODISCARD enum kb_status kb_seg_recut(struct kb_seg *seg, struct kb_err *err);

/* A hill of a histogram. */
struct kb_mode {
    int level;
    int left, right; /* lowest levels between it and its neighbours */
    double height;   /* of the smoothed histogram */
    double share;    /* fraction of the counts between left and right */
};
#define KB_MODES_MAX 8
/* The histogram smoothed as the hills want it. */
void kb_modes_smooth(const uint64_t bins[256], double smooth[256]);
/* Hills that stand out, left to right; see modes.c for what that means. Returns how many. */
int kb_modes_find(const uint64_t bins[256], double smooth[256], struct kb_mode mode[KB_MODES_MAX]);

/* ---- the labels, in the order in which they are made -------------------------------------------
 */

/* classify.c: a phase for each pixel by its grey, then the blurred rims between outer classes. */
KB_NODISCARD enum kb_status kb_seg_classify(struct kb_seg *seg, struct kb_err *err);
/* graphite.c: regions that are graphite by more than grey. */
KB_NODISCARD enum kb_status kb_seg_graphite(struct kb_seg *seg, struct kb_err *err);
/* pearlite.c: pearlite as regions, dark lines back to the matrix. */
KB_NODISCARD enum kb_status kb_seg_pearlite(struct kb_seg *seg, struct kb_err *err);
/* edge_line.c: a line along the border of pearlite belongs to both sides by halves. */
KB_NODISCARD enum kb_status kb_seg_border(struct kb_seg *seg, struct kb_err *err);
/* single.c: where the matrix shows one constituent only, say which, or that it cannot be said. */
KB_NODISCARD enum kb_status kb_seg_single(struct kb_seg *seg, struct kb_err *err);
/* The same, asked beforehand: one hill, and its texture is that of pearlite? */
bool kb_seg_hill_is_pearlite(struct kb_seg *seg);
/* sem_network.c: under secondary electrons, cementite that no grey tells. */
KB_NODISCARD enum kb_status kb_seg_network(struct kb_seg *seg, struct kb_err *err);
/* other.c: regions of the matrix that are neither of its constituents. */
KB_NODISCARD enum kb_status kb_seg_other(struct kb_seg *seg, struct kb_err *err);
/* findings_other.c: what is to be said of them. */
KB_NODISCARD enum kb_status kb_seg_tell_other(const struct kb_seg *seg, struct kb_findings *to,
                                              struct kb_err *err);
/* clean.c: specks and holes of less than clean_um. */
KB_NODISCARD enum kb_status kb_seg_clean(struct kb_seg *seg, struct kb_err *err);
/* findings_seg.c: what the reader must know. */
KB_NODISCARD enum kb_status kb_seg_findings(struct kb_seg *seg, struct kb_err *err);

/* segment.c: pixels of each label. */
void kb_seg_count_labels(const struct kb_image *label, uint64_t pixels[KB_PHASES]);

/* ---- why.c: the way of the points that were asked about
 * ------------------------------------------
 */

/* Points that are still on their way, one after another: NULL begins and ends. */
struct kb_why *kb_seg_why_next(const struct kb_seg *seg, struct kb_why *before);
/* A step from where the way of the point ended, without figures. */
struct kb_why_step kb_seg_why_step(const struct kb_why *why, const char *step, enum kb_phase to);
/* After prepare(); after the smoothing. */
KB_NODISCARD enum kb_status kb_seg_why_begin(struct kb_seg *seg, struct kb_err *err);
KB_NODISCARD enum kb_status kb_seg_why_grey(struct kb_seg *seg, struct kb_err *err);
/* After classify.c: rims of at most `longest` pixels were parted at `mid_grey`. */
void kb_seg_why_classes(const struct kb_seg *seg, int mid_grey, int longest);
/* The threshold of the matrix was moved and the labels are about to be made anew. */
void kb_seg_why_again(const struct kb_seg *seg, const char *because);
/* Mean and contrast over a colony, before pearlite is made regions. */
void kb_seg_why_around(const struct kb_seg *seg, int32_t radius);
/* After lamellae were closed. */
struct kb_seg_closing {
    int32_t radius; /* of the window of local means */
    int cut;        /* level that parts the local means */
    bool dark;      /* pearlite is on the dark side of it */
    bool one_hill;  /* ... where they have two hills */
    bool colonies;  /* only stripes of single colonies, beside others as thin, were closed */
};
void kb_seg_why_closed(const struct kb_seg *seg, const struct kb_seg_closing *closing);
/* Before lines narrower than width_um are given back. */
void kb_seg_why_lines(const struct kb_seg *seg, const struct kb_bits *lines, double width_um);
/* After the border of pearlite was moved by shift_um. */
void kb_seg_why_border(const struct kb_seg *seg, double shift_um);

/* Exclude what lies inside (polygon.c). */
KB_NODISCARD enum kb_status kb_seg_leave_out(const struct kb_polygon *polygon,
                                             struct kb_image *label, struct kb_err *err);

/* ---- small things ------------------------------------------------------------------------------
 */

static inline bool kb_seg_has_exclusions(const struct kb_seg *seg) {
    const struct kb_image *outside = seg->params->outside;
    return seg->params->exclusions > 0 || seg->params->outlines > 0 ||
           (outside != NULL && outside->px != NULL);
}

/* Shares and spreads are known from every n-th row as well as from all: so many that about
 * `places` pixels are looked at, and at least `least`. */
#define KB_SEG_PLACES 1000000u
static inline int32_t kb_seg_row_step(const struct kb_image *image, uint64_t places,
                                      int32_t least) {
    int32_t step = (int32_t)(kb_image_pixels(image) / places);
    return step > least ? step : least;
}

static inline double kb_seg_to_file(const struct kb_seg *seg, double level) {
    const struct kb_field *f = seg->field;
    return f->grey_low + level * (f->grey_high - f->grey_low) / 255.0;
}

#define KB_SEG_PI 3.14159265358979323846

/* Half of a width, at least a pixel, at most a quarter of the field. */
static inline int32_t kb_seg_radius_px(const struct kb_seg *seg, double width_um) {
    double side = (double)(seg->grey.width < seg->grey.height ? seg->grey.width : seg->grey.height);
    double radius = fmin(0.5 * width_um / seg->px_um, 0.25 * side);
    return radius > 1.0 ? (int32_t)radius : 1;
}

/* Area of a disc of diameter clean_um, pixels. */
static inline double kb_seg_clean_px(const struct kb_seg *seg) {
    double diameter = seg->params->clean_um / seg->px_um;
    return 0.25 * KB_SEG_PI * diameter * diameter;
}

#endif
