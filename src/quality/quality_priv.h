/* quality_priv.h - what the files of this stage share. quality.c tells the way through them.
 */
#ifndef KB_QUALITY_PRIV_H
#define KB_QUALITY_PRIV_H

#include "keelblock/quality.h"

#define KB_QUALITY_STAGE "quality"
#define KB_PI 3.14159265358979323846

/* Grey seen along rows and columns taken at even distances: sample.c. */
struct kb_seen {
    uint64_t bins[KB_PHASES][256]; /* grey as it was taken, by label */
    uint64_t all[256];             /* the same of every label but KB_EXCLUDED */
    uint64_t measured;             /* their sum */
    double share[KB_PHASES];       /* of the measured pixels */
    double median[KB_PHASES];      /* grey; NaN where a phase is missing */
    double noise;                  /* standard deviation, grey levels; in the calmest phase */
    double step;                   /* smallest between neighbouring phases, grey levels; NaN: one */
    double blocks;                 /* excess of steps every eighth pixel over the others */
};

struct kb_edge_widths {
    double px;          /* 10-90 % width, lower quartile, of the softest quarter of the field */
    double sharpest_px; /* of the sharpest quarter */
    size_t points;      /* edge points measured; below KB_EDGES_LEAST px is NaN */
};

/* A look on its way through the checks. */
struct kb_look {
    const struct kb_field *field;
    const struct kb_phase_map *map;
    enum kb_material material;
    enum kb_contrast contrast;
    const struct kb_quality_params *params;
    struct kb_seen seen;
    struct kb_edge_widths edges;
    double px_um; /* 0 unknown */
    struct kb_quality *out;
};

/* ---- sample.c: one sparse pass ------------------------------------------------------------------
 */
KB_NODISCARD enum kb_status kb_quality_sample(const struct kb_image *grey,
                                              const struct kb_image *label, struct kb_seen *seen,
                                              struct kb_err *err);

/* ---- edges.c: width of phase edges --------------------------------------------------------------
 */
#define KB_EDGES_LEAST 40
void kb_quality_edges(const struct kb_look *look, struct kb_edge_widths *widths);

/* ---- thickness.c: of the lesser of two constituents of the matrix ------------------------------
 */
struct kb_thickness {
    enum kb_phase phase;
    double px;   /* mean; NaN where there are too few chords */
    double seen; /* the same in deviations of the blur where these are larger than a pixel */
};
struct kb_thickness kb_quality_thickness(const struct kb_look *look);

/* ---- tiles.c: how far phases are apart where they lie side by side ---------------------------
 */
struct kb_apart {
    double step;   /* difference of local means, grey levels; NaN when they never meet */
    double spread; /* standard deviation inside the phases, local means taken off */
    size_t tiles;
};
struct kb_tiles; /* local sums of grey by phase */
KB_NODISCARD enum kb_status kb_quality_tiles(const struct kb_look *look, struct kb_tiles **tiles,
                                             struct kb_err *err);
void kb_quality_tiles_free(struct kb_tiles **tiles);
struct kb_apart kb_quality_apart(const struct kb_tiles *tiles, enum kb_phase a, enum kb_phase b);
/* Standard deviation of a phase about its local mean, grey levels; NaN without. */
double kb_quality_spread(const struct kb_tiles *tiles, enum kb_phase phase);
struct kb_patches {
    double share;      /* of the matrix in soft patches */
    bool looked;       /* enough tiles */
    double unevenness; /* of the light that was taken out, (max - min) / mean */
};
KB_NODISCARD enum kb_status kb_quality_patches(const struct kb_tiles *tiles,
                                               struct kb_patches *patches, struct kb_err *err);

/* ---- etch.c: width of the dark lines in ferrite
 * --------------------------------------------------
 */
struct kb_line_widths {
    double px;   /* median width at half depth, square to the line; NaN below KB_LINES_LEAST dips */
    size_t dips; /* places where a line was crossed */
};
#define KB_LINES_LEAST 60
KB_NODISCARD enum kb_status kb_quality_lines(const struct kb_look *look,
                                             struct kb_line_widths *lines, struct kb_err *err);

/* ---- traces.c, tracks.c, families.c: straight scratches -----------------------------------------
 */

/* A place on a scan line that is darker or brighter than both its sides, along some direction. */
struct kb_trace {
    double at;    /* position along the scan line, pixels */
    double slope; /* shift along the scan line per pixel of advance: -1 .. 1 */
    double width; /* at half depth, across the line, pixels */
    bool dark;
};
struct kb_scan {
    bool columns;   /* scan lines are columns */
    int32_t lines;  /* how many */
    int32_t length; /* places on each */
    int32_t gap;    /* from one to the next, pixels */
    size_t *first;  /* lines + 1: traces of line i are trace[first[i]] .. trace[first[i + 1] - 1] */
    struct kb_trace *trace;
    size_t count, capacity;
};
/* `known` NULL: any direction. Else only near its families, also where scratches crowd. */
KB_NODISCARD enum kb_status kb_quality_traces(const struct kb_look *look, bool columns,
                                              const struct kb_quality *known, struct kb_scan *scan,
                                              struct kb_err *err);
void kb_quality_scan_release(struct kb_scan *scan);

struct kb_stroke {
    double angle; /* radians, 0..pi, counter-clockwise from the row, y up */
    double length_px, width_px;
};
struct kb_strokes {
    struct kb_stroke *stroke;
    size_t count, capacity;
};
/* Traces that follow one another on a straight line of at least `least_px`, appended. */
KB_NODISCARD enum kb_status kb_quality_tracks(const struct kb_scan *scan, double least_px,
                                              struct kb_strokes *strokes, struct kb_err *err);
/* families.c: the scratches of a field; families, crossing and abrasive hint into look->out. Length
 * per matrix area in mm/mm2; without a scale as if a pixel were 0.5 um. */
KB_NODISCARD enum kb_status kb_quality_scratches(const struct kb_look *look,
                                                 double *length_per_area, struct kb_err *err);

/* ---- abrasive.c: FEPA P series, made from refs/fepa_p_series.csv at build time
 * -------------------
 */
extern const struct kb_abrasive kb_quality_fepa[];
extern const size_t kb_quality_fepa_count;

/* ---- graphite_state.c: pulled-out graphite and comet tails --------------------------------------
 */
struct kb_pull_out {
    double hollow; /* share of the particles looked at */
    double tailed; /* share with a tail in the common direction */
    size_t looked;
};
KB_NODISCARD enum kb_status kb_quality_pull_out(const struct kb_look *look,
                                                struct kb_pull_out *pull_out, struct kb_err *err);

/* ---- checks.c, advice.c: figure, limits, words --------------------------------------------------
 */
/* A figure against its limits, into all of *r but the words. */
void kb_quality_judge(const struct kb_quality_params *params, enum kb_check which, double value,
                      double scale, const char *unit, struct kb_check_result *r);
/* All checks into look->out. */
KB_NODISCARD enum kb_status kb_quality_checks(struct kb_look *look, struct kb_err *err);
/* What to do about a check that is not fit; static text.*/
const char *kb_quality_advice(const struct kb_look *look, enum kb_check which);
const char *kb_quality_advice_on_touching(enum kb_fitness fitness);
/* quality_params.c */
bool kb_quality_more_is_worse(enum kb_check which);

/* Median (or another share) of values, which are put in order. NaN of none. */
double kb_quality_quantile(double *value, size_t count, double share);

#endif
