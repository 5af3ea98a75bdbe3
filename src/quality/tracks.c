/* tracks.c - traces that follow one another on a straight line are a scratch.
 *
 * From scan line to scan line each track foretells where and at what slope it goes on; the nearest
 * trace that fits is taken. A track may miss a few lines, where graphite or rough pearlite hides
 * it. It is a scratch when it is long, is seen on most of its lines, and keeps to the straight line
 * that fits it best. Grain boundaries turn at every corner, lamellae end with their colony, twins
 * with their grain: none reaches the length.
 */
#include "quality_priv.h"

#include <string.h>

#define MISSED_MOST 6    /* scan lines in a row ... */
#define MISSED_PX 60     /* ... or pixels, whichever is more lines */
#define SEEN_LEAST 0.45  /* of the lines that a scratch crosses */
#define NEAR_PX 2.0      /* a trace lies where foretold, give or take ... */
#define NEAR_PER_PX 0.06 /* ... and so much per pixel since the last */
#define SLOPE_NEAR 0.22
#define OFF_PX 1.2           /* root mean square from the straight line ... */
#define OFF_PER_LENGTH 0.004 /* ... and so much of its length: scratches bend a little */
#define TRACES_LEAST 6
#define CELL 16 /* pixels; more than a trace may lie off */

struct track {
    double n, x, y, xx, xy; /* sums over its traces: y along the advance */
    double last_at, last_line, first_line;
    double slope;      /* of the last traces, smoothed */
    double squares_at; /* sum of at^2 */
    double width;
    double foretold; /* where it should be on the line now looked at */
    size_t next;     /* in the same cell, 1-based; 0 ends */
    bool dark;
};

struct tracks {
    struct track *track;
    size_t count, capacity;
    size_t *cell; /* first track foretold in each stretch of CELL places, 1-based; 0 none */
    size_t cells;
};

static void take(struct track *t, const struct kb_trace *trace, double line) {
    double at = trace->at;
    t->n += 1.0;
    t->x += line;
    t->y += at;
    t->xx += line * line;
    t->xy += line * at;
    t->squares_at += at * at;
    t->width += trace->width;
    /* the way between two traces tells the slope better than a short stroke does */
    double way = t->n > 1.0 ? (at - t->last_at) / (line - t->last_line) : trace->slope;
    double weight = t->n > 4.0 ? 0.3 : 0.5;
    t->slope = t->n > 1.0 ? (1.0 - weight) * t->slope + weight * way : way;
    t->last_at = at;
    t->last_line = line;
}

static size_t cell_of(const struct tracks *tracks, double at) {
    double cell = at / CELL;
    return cell <= 0.0 ? 0 : cell >= (double)tracks->cells ? tracks->cells - 1 : (size_t)cell;
}

/* Where every track should be on this line, and by place. */
static void foretell(struct tracks *tracks, double line) {
    memset(tracks->cell, 0, tracks->cells * sizeof *tracks->cell);
    for (size_t i = 0; i < tracks->count; i++) {
        struct track *t = &tracks->track[i];
        t->foretold = t->last_at + t->slope * (line - t->last_line);
        size_t *first = &tracks->cell[cell_of(tracks, t->foretold)];
        t->next = *first;
        *first = i + 1;
    }
}

/* How badly a trace fits a track: 1 and above does not. */
static double misfit(const struct track *t, const struct kb_trace *trace, double line) {
    double since = line - t->last_line;
    if (t->dark != trace->dark || since <= 0.0 || fabs(t->slope - trace->slope) > SLOPE_NEAR) {
        return 1.0;
    }
    return fabs(t->foretold - trace->at) / (NEAR_PX + NEAR_PER_PX * since);
}

/* The track that best foretells this trace; NULL when none does. */
static struct track *follower(const struct tracks *tracks, const struct kb_trace *trace,
                              double line) {
    struct track *best = NULL;
    double nearest = 1.0;
    size_t middle = cell_of(tracks, trace->at);
    size_t from = middle > 0 ? middle - 1 : 0;
    for (size_t c = from; c <= middle + 1 && c < tracks->cells; c++) {
        for (size_t i = tracks->cell[c]; i > 0 && i <= tracks->count;
             i = tracks->track[i - 1].next) {
            double off = misfit(&tracks->track[i - 1], trace, line);
            if (off < nearest) {
                nearest = off;
                best = &tracks->track[i - 1];
            }
        }
    }
    return best;
}

/* Root mean square distance of the traces from their straight line, measured across it. */
static double bend(const struct track *t, double *slope) {
    double mx = t->x / t->n, my = t->y / t->n;
    double sxx = t->xx / t->n - mx * mx, sxy = t->xy / t->n - mx * my;
    double syy = t->squares_at / t->n - my * my;
    *slope = sxx > 0.0 ? sxy / sxx : 0.0;
    double rest = fmax(0.0, syy - *slope * sxy);
    return sqrt(rest / (1.0 + *slope * *slope));
}

static bool is_scratch(const struct track *t, const struct kb_scan *scan, double least_px,
                       struct kb_stroke *stroke) {
    double slope = 0.0;
    double off = bend(t, &slope);
    double advance = t->last_line - t->first_line + scan->gap;
    double length = advance * sqrt(1.0 + slope * slope);
    double crossed = advance / scan->gap;
    if (t->n < TRACES_LEAST || length < least_px || t->n < SEEN_LEAST * crossed ||
        off > OFF_PX + OFF_PER_LENGTH * length || fabs(slope) > 1.0) {
        return false;
    }
    /* x right, y up: a row scan advances down and shifts right by slope a pixel */
    double angle = scan->columns ? atan2(-slope, 1.0) : atan2(-1.0, slope);
    stroke->angle = angle < 0.0 ? angle + KB_PI : angle;
    stroke->length_px = length;
    stroke->width_px = t->width / t->n;
    return true;
}

/* Close tracks that were not seen for long; scratches among them go to strokes. */
static enum kb_status settle(struct tracks *tracks, const struct kb_scan *scan, double line,
                             double least_px, struct kb_strokes *strokes, struct kb_err *err) {
    double patience = fmax(MISSED_MOST * (double)scan->gap, MISSED_PX);
    double first = fmax(2.0 * (double)scan->gap, MISSED_PX / 3.0); /* with a track just begun */
    size_t kept = 0;
    for (size_t i = 0; i < tracks->count; i++) {
        struct track t = tracks->track[i];
        if (line - t.last_line <= (t.n < 3.0 ? first : patience)) {
            tracks->track[kept++] = t;
            continue;
        }
        struct kb_stroke stroke;
        if (!is_scratch(&t, scan, least_px, &stroke)) {
            continue;
        }
        if (!kb_grow((void **)&strokes->stroke, strokes->count, &strokes->capacity,
                     sizeof stroke)) {
            return kb_fail_memory(err, KB_QUALITY_STAGE, strokes->capacity * sizeof stroke);
        }
        strokes->stroke[strokes->count++] = stroke;
    }
    tracks->count = kept;
    return KB_OK;
}

/* A new track begins with this trace; NULL when out of memory. */
static struct track *begin(struct tracks *tracks, const struct kb_trace *trace, double line) {
    if (!kb_grow((void **)&tracks->track, tracks->count, &tracks->capacity,
                 sizeof *tracks->track)) {
        return NULL;
    }
    struct track *t = &tracks->track[tracks->count++];
    *t = (struct track){.first_line = line, .dark = trace->dark};
    return t;
}

static enum kb_status add_line(struct tracks *tracks, const struct kb_scan *scan, int32_t index,
                               struct kb_err *err) {
    double line = (double)index * scan->gap;
    foretell(tracks, line);
    for (size_t i = scan->first[index]; i < scan->first[index + 1]; i++) {
        const struct kb_trace *trace = &scan->trace[i];
        struct track *t = follower(tracks, trace, line);
        t = t != NULL ? t : begin(tracks, trace, line);
        if (t == NULL) {
            return kb_fail_memory(err, KB_QUALITY_STAGE, tracks->count * sizeof *t);
        }
        take(t, trace, line);
    }
    return KB_OK;
}

enum kb_status kb_quality_tracks(const struct kb_scan *scan, double least_px,
                                 struct kb_strokes *strokes, struct kb_err *err) {
    struct tracks tracks = {.cells = (size_t)scan->length / CELL + 1};
    enum kb_status status = KB_OK;
    tracks.cell = kb_alloc(tracks.cells, sizeof *tracks.cell);
    if (tracks.cell == NULL) {
        return kb_fail_memory(err, KB_QUALITY_STAGE, tracks.cells * sizeof *tracks.cell);
    }
    for (int32_t i = 0; i < scan->lines && status == KB_OK; i++) {
        status = settle(&tracks, scan, (double)i * scan->gap, least_px, strokes, err);
        if (status == KB_OK) {
            status = add_line(&tracks, scan, i, err);
        }
    }
    if (status == KB_OK) {
        status = settle(&tracks, scan, INFINITY, least_px, strokes, err);
    }
    kb_free(tracks.track);
    kb_free(tracks.cell);
    return status;
}
