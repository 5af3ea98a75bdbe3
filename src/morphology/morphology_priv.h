/* morphology_priv.h - what the files of this stage share.
 *
 * A region is handed about as spans: its runs copied together, rows top to bottom, left to right in
 * a row. Every measure is taken from spans; nothing here looks at single pixels but the parting of
 * touching nodules, which works in a window about one region.
 */
#ifndef KB_MORPHOLOGY_PRIV_H
#define KB_MORPHOLOGY_PRIV_H

#include "keelblock/morphology.h"

/* Pixels x0 .. x1 - 1 of row y. */
struct kb_span {
    int32_t y, x0, x1;
    uint32_t region;
};

/* A growing array of spans, reused from region to region. */
struct kb_spans {
    struct kb_span *item;
    size_t count, capacity;
};
KB_NODISCARD enum kb_status kb_spans_add(struct kb_spans *spans, struct kb_span span,
                                         struct kb_err *err);
/* Replace the content by the runs of one region. */
KB_NODISCARD enum kb_status kb_spans_take(struct kb_spans *spans, const struct kb_runs *runs,
                                          const struct kb_run_order *order, uint32_t region,
                                          struct kb_err *err);
void kb_spans_sort(struct kb_spans *spans); /* by row, then x0 */
/* The 8-connected regions of spans that are sorted; `runs` is initialised, zeroed on failure. */
KB_NODISCARD enum kb_status kb_spans_regions(const struct kb_spans *spans, int32_t width,
                                             int32_t height, struct kb_runs *runs,
                                             struct kb_err *err);
void kb_spans_release(struct kb_spans *spans);

/* A place in pixels of the field, y down. */
struct kb_point {
    double x, y;
};

/* Convex hull: corners in turn, no three on a line. */
struct kb_hull {
    struct kb_point *corner;
    size_t count, capacity;
};
/* Of the pixel centres of one region, in whole numbers (not the + 0.5 of a centre: only differences
 * matter). */
KB_NODISCARD enum kb_status kb_hull_make(const struct kb_spans *spans, struct kb_hull *hull,
                                         struct kb_err *err);
/* Of any points; `point` is put in the order of rows. */
KB_NODISCARD enum kb_status kb_hull_make_of(struct kb_point *point, size_t count,
                                            struct kb_hull *hull, struct kb_err *err);
/* Number of pixels whose centre lies in the hull of pixel centres or on its border (Pick's
 * theorem). */
double kb_hull_pixels(const struct kb_hull *hull);
double kb_hull_area(const struct kb_hull *hull);
void kb_hull_release(struct kb_hull *hull);

/* Fill the Feret fields and `aspect`; `added` px go on both diameters. */
void kb_feret_measure(const struct kb_hull *hull, double added, struct kb_particle *particle);
/* Fill area, centroid, box and the axes of the ellipse. */
void kb_moments_measure(const struct kb_spans *spans, struct kb_particle *particle);
/* Crofton's perimeter from four directions, pixels. */
double kb_perimeter(const struct kb_spans *spans);
/* All of the above and the ratios made of them. */
KB_NODISCARD enum kb_status kb_measure_region(const struct kb_spans *spans, struct kb_hull *hull,
                                              struct kb_particle *particle, struct kb_err *err);

/* Merge extra spans (sorted; row, then x0) into `runs`, leaving out the runs of regions that are
 * `dropped` (NULL: none). With `join`, runs that touch or overlap in a row become one and region
 * numbers are meaningless until kb_runs_relabel(); without, regions are renumbered in the order of
 * their first pixel, and *former (when not NULL) tells for each new number the old one. */
KB_NODISCARD enum kb_status kb_runs_rebuild(struct kb_runs *runs, const struct kb_spans *extra,
                                            const bool *dropped, bool join, uint32_t **former,
                                            struct kb_err *err);

/* Close the holes of all regions; `runs` and `order` are renewed when there were any. */
KB_NODISCARD enum kb_status kb_fill_holes(struct kb_runs *runs, struct kb_run_order *order,
                                          double hole_share, struct kb_err *err);

/* A region drawn into its box and one clear pixel all round. */
struct kb_window {
    int32_t x, y, width, height; /* of the field's pixels; may begin at -1 */
    uint8_t *mask;               /* 0 / 1 */
    uint32_t *squared;           /* squared distance to the nearest clear pixel */
    uint32_t *owner;             /* 0 clear, else 1 + number of the basin, then of the piece */
    size_t capacity;             /* pixels that the three have room for */
    int32_t field_width, field_height;
};

/* Where two basins meet: the widest place of their common border. */
struct kb_saddle {
    uint32_t a, b;    /* basins, 0-based */
    uint32_t squared; /* squared distance there */
    double x, y, n;   /* sums over the pixels that are as wide: the middle of the neck */
    double stood;     /* by how much a cut there stood at best (pieces.c) */
};

/* Basins of the distance map, one about every maximum that stands out. */
struct kb_flood {
    uint32_t *order; /* set pixels, widest first */
    size_t order_capacity;
    size_t *level; /* scratch of the counting sort */
    size_t level_capacity;
    struct kb_basin {
        uint32_t parent;
        uint32_t peak; /* squared distance at the maximum */
        double x, y;   /* of the maximum, in the window */
    } * basin;
    size_t basins, basin_capacity;
    struct kb_saddle *saddle;
    size_t saddles, saddle_capacity;
    bool tangled; /* given up: far too many necks */
};
/* Flood window->squared from its maxima; afterwards window->owner names basins by their root. Two
 * maxima stay apart where the saddle between them is lower than the lesser one by `depth` pixels
 * and to a share `neck` of it. Returns the number of basins left in *pieces. */
KB_NODISCARD enum kb_status kb_flood_run(struct kb_flood *flood, struct kb_window *window,
                                         double depth, double neck, size_t *pieces,
                                         struct kb_err *err);
/* False when the distance map has no second maximum that kb_flood_run() could keep apart from the
 * highest: far cheaper than the flood, and never wrong about it. */
bool kb_flood_worthwhile(const struct kb_window *window, double depth, double neck);
double kb_half_width(uint32_t squared); /* of a place at that squared distance, px */
uint32_t kb_flood_root(struct kb_flood *flood, uint32_t basin);
void kb_flood_release(struct kb_flood *flood);

/* What is wrong among cuts and joins, to be expected. */
struct kb_doubt {
    double count;    /* of cuts and joins */
    double area_px2; /* of the pieces beside them */
};
/* Join again pieces that are no nodules (pieces.c). window->owner holds 1 + piece afterwards;
 * *pieces is 1 when the region is better left whole. `whole` is the region as measured. */
struct kb_piece {
    uint32_t root; /* basin */
    double area, x, y;
    double round; /* mean of shape factor and circularity */
    double minor, solidity;
    bool on_frame; /* cut by the edge of the picture */
};
struct kb_pieces_scratch {
    struct kb_spans *spans; /* one list a piece */
    size_t lists;
    uint32_t *number; /* piece of a root basin */
    struct kb_piece *piece;
    size_t capacity; /* of number and piece */
    struct kb_spans merged;
    struct kb_doubt doubt; /* about the cuts and joins at hand */
    struct kb_hull hull;
};
KB_NODISCARD enum kb_status kb_pieces_judge(struct kb_flood *flood, struct kb_window *window,
                                            const struct kb_morphology_params *params,
                                            const struct kb_particle *whole,
                                            struct kb_pieces_scratch *scratch, size_t *pieces,
                                            struct kb_err *err);
/* Add the doubt about a cut or a join of two pieces at such a margin. */
void kb_doubt_add(double margin, const struct kb_piece *one, const struct kb_piece *other,
                  struct kb_doubt *doubt);
/* Whether a wider neck between the same two pieces stands earlier in the list. */
bool kb_cut_seen_before(struct kb_flood *flood, size_t at, uint32_t a, uint32_t b);
/* Fill the figures of a piece from its spans, which are of the window. */
KB_NODISCARD enum kb_status kb_piece_measure(const struct kb_spans *spans,
                                             const struct kb_window *window, struct kb_hull *hull,
                                             struct kb_piece *piece, struct kb_err *err);
/* Make the borders between accepted pieces straight across their necks. */
void kb_cuts_straighten(struct kb_flood *flood, struct kb_window *window,
                        const struct kb_pieces_scratch *scratch);
void kb_pieces_release(struct kb_pieces_scratch *scratch);

/* Cut further pieces off by chords between concave places (chords.c); window->owner holds 1 + piece
 * before and after. */
struct kb_chord_scratch {
    double depth_px; /* set by the caller: least depth of a concave place */
    struct kb_spans piece, near, far;
    struct kb_hull hull;
    struct kb_chord_step {
        double x, y, depth;
    } * step;
    size_t steps;
    struct kb_doubt doubt;
};
KB_NODISCARD enum kb_status kb_chords_cut(struct kb_window *window,
                                          const struct kb_morphology_params *params,
                                          struct kb_chord_scratch *scratch, size_t *pieces,
                                          struct kb_err *err);
void kb_chords_release(struct kb_chord_scratch *scratch);
/* The pixels of one owner. */
KB_NODISCARD enum kb_status kb_window_spans(const struct kb_window *window, uint32_t owner,
                                            struct kb_spans *spans, struct kb_err *err);

/* Part the touching nodules among the regions of `runs`, measured in `particle`. When any was cut,
 * `runs` and `order` are renewed, and *parted (runs->regions flags, kb_free) tells the pieces. */
struct kb_part_result {
    size_t clusters; /* cut */
    size_t pieces;   /* that came of them */
    size_t given_up; /* too large or too tangled */
    double whole_px; /* their area */
    struct kb_doubt doubt;
    bool *parted; /* NULL when nothing was cut */
};
KB_NODISCARD enum kb_status kb_part_touching(const struct kb_image *label, double px_um,
                                             const struct kb_morphology_params *params,
                                             const struct kb_particle *particle,
                                             struct kb_runs *runs, struct kb_run_order *order,
                                             struct kb_part_result *result, struct kb_err *err);

/* Pixels under a stroke by hand (stroke.c), sorted by row, then column, each once, in the picture.
 */
struct kb_stroke {
    struct kb_place *pixel;
    size_t count, capacity;
};
KB_NODISCARD enum kb_status kb_stroke_draw(const struct kb_place *point, size_t points,
                                           int32_t width, int32_t height, struct kb_stroke *stroke,
                                           struct kb_err *err);
/* Index of the first pixel that is not before x,y in that order. */
size_t kb_stroke_from(const struct kb_stroke *stroke, int32_t x, int32_t y);
void kb_stroke_release(struct kb_stroke *stroke);

/* Part one region along a stroke (cut_by_hand.c): pieces are added to `list` as regions from `base`
 * on; *pieces 0, and nothing added, where the stroke does not part it. */
KB_NODISCARD enum kb_status kb_cut_by_hand(const struct kb_runs *runs,
                                           const struct kb_run_order *order, uint32_t region,
                                           const struct kb_stroke *stroke, uint32_t base,
                                           struct kb_spans *list, uint32_t *pieces,
                                           struct kb_err *err);

/* Cuts and joins by hand (shape_by_hand.c): out->runs and `order` are renewed and out->shaped is
 * filled. Where anything changed, marks->mark (kb_free) tells what is to be marked once the
 * particles are measured anew, which kb_shape_mark() does; NULL: nothing changed. kb_shape_tell()
 * adds the findings, last. */
struct kb_shape_marks {
    uint8_t *mark;
};
KB_NODISCARD enum kb_status kb_shape_by_hand(const struct kb_morphology_params *params,
                                             struct kb_run_order *order, struct kb_particles *out,
                                             struct kb_shape_marks *marks, struct kb_err *err);
void kb_shape_mark(const struct kb_shape_marks *marks, struct kb_particles *out);
KB_NODISCARD enum kb_status kb_shape_tell(const struct kb_morphology_params *params,
                                          struct kb_particles *out, struct kb_err *err);

/* Measure again from the sub-pixel outline (subpixel.c) what neither the frame nor an excluded area
 * cuts. `order` belongs to out->runs. */
KB_NODISCARD enum kb_status kb_subpixel_run(const struct kb_image *grey,
                                            const struct kb_image *label,
                                            const struct kb_morphology_params *params,
                                            const struct kb_run_order *order,
                                            struct kb_particles *out, struct kb_err *err);

/* Forms that a person set (form_by_hand.c), over those by figures, and a finding for each. */
KB_NODISCARD enum kb_status kb_forms_by_hand(const struct kb_morphology_params *params,
                                             struct kb_particles *out, struct kb_err *err);

/* size_classes.c, made from refs/: lower limits of ISO 945-1's classes, um, class 1 first. */
extern const double kb_morphology_size_um[KB_SIZE_CLASSES];

/* Settle state, form and size class of a measured particle. `label` NULL: nothing is excluded. */
void kb_state_settle(const struct kb_spans *spans, const struct kb_image *frame,
                     const struct kb_image *label, double px_um, double min_feret_um,
                     struct kb_particle *particle);
bool kb_state_any_excluded(const struct kb_image *label);

#endif
