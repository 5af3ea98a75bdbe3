/* subpixel_priv.h - what the files of the sub-pixel outline share.
 *
 *   border     the label's border, from pixel side to pixel side, then evenly divided
 *   grey_edge  where along that border the grey passes midway between inside and outside
 *   arc_noise  the curve through those places without its noise
 *   deblur     the curve as it was before the picture was blurred
 *   curve      area, perimeter, axes and Feret diameters of the finished curve
 *   subpixel   the way through all of them
 *
 * Points are in pixels of the field, pixel centres at integer + 0.5, y down. Loops run with the
 * particle on their right as seen on the screen: clockwise about it, and the other way about a hole
 * that was left open.
 */
#ifndef KB_SUBPIXEL_PRIV_H
#define KB_SUBPIXEL_PRIV_H

#include "morphology_priv.h"

#define KB_PI 3.14159265358979323846

/* ---- the label's border -----------------------------------------------------------------------
 */

/* A region drawn into its box and one clear pixel all round. */
struct kb_border_mask {
    int32_t x, y, width, height;
    uint8_t *px; /* bit 0: of the region; bit 1: its left side has been walked */
    size_t capacity;
};
KB_NODISCARD enum kb_status kb_border_draw(struct kb_border_mask *mask, struct kb_rect box,
                                           const struct kb_spans *spans, struct kb_err *err);
bool kb_border_inside(const struct kb_border_mask *mask, double x, double y);

/* One loop of pixel sides: their middles in turn. */
struct kb_cracks {
    struct kb_point *middle;
    uint8_t *cut; /* 1: beyond lies another particle, from which this one was parted */
    size_t count, capacity;
    struct kb_point *scratch; /* as many */
};
/* Walk the loop that holds the left side of the first pixel of `span`; *walked is false when that
 * was walked before. Cut is where graphite lies beyond, or a run of `others` (NULL: not asked). */
KB_NODISCARD enum kb_status kb_border_walk(struct kb_border_mask *mask, const struct kb_span *span,
                                           const struct kb_image *label,
                                           const struct kb_runs *others, struct kb_cracks *cracks,
                                           bool *walked, struct kb_err *err);
/* Round off the stairs. */
void kb_cracks_smooth(struct kb_cracks *cracks);

enum kb_edge_kind {
    KB_EDGE_GREY = 0, /* the grey passes midway here */
    KB_EDGE_PIXEL,    /* it does not within reach: the label's border stands */
    KB_EDGE_CUT,      /* parting cut: straight between its ends */
};

/* One loop at evenly spread places. */
struct kb_loop {
    size_t count;           /* of places, a power of two */
    double length;          /* along the smoothed border, px */
    struct kb_point *base;  /* on the smoothed border */
    struct kb_point *out;   /* unit normal there, outwards */
    struct kb_point *point; /* on the outline */
    uint8_t *kind;          /* enum kb_edge_kind */
    double *ground;         /* grey outside */
    double *scratch;        /* `count` numbers */
    struct kb_point *z;     /* Fourier coefficients of the outline as x + i y, order 0 first */
    struct kb_point *fine;  /* finished outline: fine_count points */
    size_t fine_count;      /* at most 4 * capacity */
    struct kb_point *turn;  /* cos, sin: `turns` steps through a half circle */
    size_t turns;
    size_t capacity;
    double most_noise; /* as much can come of the ground's noise; unit of `noise` */
    double noise; /* power of the noise in one coefficient, px^2, smoothing of the grey set aside */
};
/* Places at equal distances, which are measured after stretching the plane by 1 / `ratio` across
 * `angle` (radians, y down); ratio 1: as it is. */
KB_NODISCARD enum kb_status kb_loop_divide(struct kb_loop *loop, const struct kb_cracks *cracks,
                                           double ratio, double angle, struct kb_err *err);

/* ---- grey -------------------------------------------------------------------------------------
 */

/* Grey about one particle, 3 x 3 binomial, times 16. */
struct kb_patch {
    int32_t x, y, width, height;
    uint16_t *px, *row;
    size_t capacity, row_capacity;
};
KB_NODISCARD enum kb_status kb_patch_take(struct kb_patch *patch, const struct kb_image *grey,
                                          struct kb_rect box, struct kb_err *err);

struct kb_edge_rules {
    const struct kb_image *label;
    double reach_px, least_contrast; /* kb_morphology_params */
};

/* The grey about one particle as a share of the step from outside (0) to inside (1). */
struct kb_shares {
    const struct kb_patch *patch;
    double inside, outside;
};
double kb_share_at(const struct kb_shares *shares, struct kb_point at);

/* What the grey says about one particle. */
struct kb_edge_figures {
    double inside, outside; /* grey */
    double sigma;           /* blur, px: the edge's profile is the integral of such a Gaussian */
    double ground_noise;    /* its power along the loop, grey^2 px */
    double found;           /* share of the border, cuts left out, where the grey passes midway */
};

/* Where a particle's own grey is looked for: so far within the border, and no farther along its
 * major axis from the centre than `half_length`. */
struct kb_core {
    double depth;
    struct kb_point centre, along; /* unit vector */
    double half_length;
};
/* Fill loop->ground, figures->inside and ->outside; false when there is nothing to be seen on one
 * side. */
bool kb_edge_levels(const struct kb_edge_rules *rules, const struct kb_patch *patch,
                    const struct kb_border_mask *mask, const struct kb_core *core,
                    struct kb_loop *loop, struct kb_edge_figures *figures);
/* The same for a further loop of the particle whose inside is known. */
bool kb_edge_ground(const struct kb_edge_rules *rules, const struct kb_patch *patch,
                    struct kb_loop *loop, struct kb_edge_figures *figures);
/* Fill loop->point, loop->kind, figures->sigma and ->found. */
void kb_edge_find(const struct kb_edge_rules *rules, const struct kb_patch *patch,
                  struct kb_loop *loop, struct kb_edge_figures *figures);

/* ---- the curve --------------------------------------------------------------------------------
 */

/* Fourier transform in place, unscaled; `count` a power of two up to twice loop->turns. */
void kb_fourier(const struct kb_loop *loop, struct kb_point *z, size_t count, bool inverse);
/* Order of coefficient i of `count`: -count / 2 .. count / 2 - 1. */
double kb_fourier_order(size_t i, size_t count);

/* loop->z from loop->point, what does not rise above noise taken out. */
void kb_noise_remove(struct kb_loop *loop, double sigma);
/* Power of the noise in one coefficient of `z`, `loop->count` of them, as loop->noise. */
double kb_noise_power(const struct kb_loop *loop, const struct kb_point *z);
/* Share that is kept of coefficient `c` of order i, in view of loop->noise and blur. */
double kb_noise_kept(const struct kb_loop *loop, size_t i, struct kb_point c, double sigma);
/* Share that is kept of details of that order in view of blur alone. */
double kb_noise_pass(const struct kb_loop *loop, size_t i, double sigma);
/* Draw loop->z into loop->fine. */
void kb_loop_draw(struct kb_loop *loop);

struct kb_curve_sums {
    double area, perimeter, x, y, xx, xy, yy; /* moments about `origin`, not divided by area */
    struct kb_point origin;
};
/* Add the finished outline of a loop; the first sets the origin. */
void kb_curve_add(const struct kb_loop *loop, struct kb_curve_sums *sums);

struct kb_axes {
    struct kb_point centre;
    double semi_a, semi_b, angle; /* of the ellipse of equal moments; radians, y down */
};
struct kb_axes kb_curve_axes(const struct kb_curve_sums *sums);

/* ends.c: how far beyond the seen end one end of a particle lies, at most `beyond`. */
struct kb_end {
    struct kb_point way; /* unit vector outwards, along the major axis */
    double seen;         /* from the centre to the seen end, px */
    double beyond;       /* from there to the end of the ellipse that would look so */
    double if_pointed;   /* share that the blurred ellipse shows at its end */
    double sigma;
};
double kb_end_beyond(const struct kb_loop *loop, const struct kb_shares *shares,
                     const struct kb_end *end);

/* Take the blur back by what each detail lost of it: for outlines that bend gently. */
void kb_deblur_gentle(struct kb_loop *loop, double sigma);
/* The same by a model of how the blurred curve looks: for small and narrow particles. `level` is
 * the share of the full step that the outline passes at, or, when not above 0, half of what the
 * middle of the particle shows of it; `shares` tells pointed ends from blunt ones. False when no
 * curve would look like this one. */
bool kb_deblur_model(struct kb_loop *loop, double sigma, double level,
                     const struct kb_shares *shares);

#endif
