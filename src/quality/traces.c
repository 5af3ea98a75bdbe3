/* traces.c - places on scan lines where a thin straight line passes.
 *
 * Rows and columns at even distances are read. A place is a candidate where the grey dips (or
 * rises) against both sides, the sides are level with each other, and all three lie in the matrix:
 * boundaries beside graphite, steps between phases and the stripes of lamellae drop out, the last
 * because their sides dip too. About each candidate a short stroke is turned through a fan of
 * slopes; the slope at which it stands out most from its two neighbours is kept, if it stands out
 * from noise. Rows look for steep lines, columns for flat ones, so that a slope never exceeds 1.
 */
#include "quality_priv.h"

#include <stdlib.h>
#include <string.h>

#define SCAN_LINES 150
#define GAP_LEAST 4    /* pixels between scan lines */
#define HALF 8         /* half length of the stroke, pixels */
#define FAN 15         /* slopes from -1 to 1 */
#define SIDE_MOST 6
#define MARGIN (HALF + SIDE_MOST + 4)
#define DEPTH_LEAST 3.0   /* grey levels */
#define DEPTH_NOISE 1.5   /* times the noise, of a single place */
#define STROKE_NOISE 0.7  /* times the noise, of a stroke's mean */
#define LEVEL_SIDES 0.6   /* sides differ by at most this share of the depth */
#define PER_LINE_MOST 64

static const int32_t sides[] = {3, SIDE_MOST}; /* distance of the flanks, pixels */

/* The picture seen so that scan lines run along x. */
struct view {
    const uint8_t *grey, *label;
    ptrdiff_t along, across; /* bytes from place to place, from line to line: grey */
    ptrdiff_t label_along, label_across;
    int32_t length, lines; /* places on a line, lines */
    double noise;
    bool bright_too;
};

struct place {
    const uint8_t *grey, *label;
};

static struct place place_at(const struct view *v, int32_t x, int32_t y) {
    return (struct place){v->grey + x * v->along + y * v->across,
                          v->label + x * v->label_along + y * v->label_across};
}

static bool is_matrix(uint8_t label) {
    return label == KB_FERRITE || label == KB_PEARLITE || label == KB_MATRIX ||
           label == KB_CEMENTITE;
}

/* Mean grey differences of a stroke from its flanks at `side`, for one slope. */
static void stroke_at(const struct view *v, int32_t x, int32_t y, double slope, int32_t side,
                      double flank[2]) {
    int sum[3] = {0, 0, 0};
    for (int32_t j = -HALF; j <= HALF; j++) {
        int32_t at = x + (int32_t)lrint(slope * j);
        const uint8_t *g = place_at(v, at, y + j).grey;
        sum[0] += g[-side * v->along];
        sum[1] += g[0];
        sum[2] += g[side * v->along];
    }
    flank[0] = (double)(sum[0] - sum[1]) / (2 * HALF + 1);
    flank[1] = (double)(sum[2] - sum[1]) / (2 * HALF + 1);
}

/* How much the weaker side differs, with the sign of a dip; 0 when the sides disagree. */
static double weaker(const double flank[2], double sign) {
    double a = flank[0] * sign, b = flank[1] * sign;
    double low = fmin(a, b);
    return low > 0.0 && fabs(a - b) <= LEVEL_SIDES * low ? low : 0.0;
}

static double slope_of(int k) {
    return 2.0 * k / (FAN - 1) - 1.0;
}

/* Width at half depth of the stroke, across it. */
static double width_at(const struct view *v, int32_t x, int32_t y, double slope, int32_t side,
                       double sign) {
    double profile[2 * SIDE_MOST + 1];
    for (int32_t i = -side; i <= side; i++) {
        int sum = 0;
        for (int32_t j = -HALF; j <= HALF; j++) {
            int32_t at = x + i + (int32_t)lrint(slope * j);
            sum += *place_at(v, at, y + j).grey;
        }
        profile[i + side] = -sign * sum / (2 * HALF + 1);
    }
    double top = fmax(profile[side], fmax(profile[side - 1], profile[side + 1]));
    double half = 0.5 * (top + 0.5 * (profile[0] + profile[2 * side]));
    double width = 0.0; /* of the part above half height, ends interpolated */
    for (int32_t i = 0; i < 2 * side; i++) {
        double a = profile[i] - half, b = profile[i + 1] - half;
        width += a > 0.0 && b > 0.0 ? 1.0 : a > 0.0 ? a / (a - b) : b > 0.0 ? b / (b - a) : 0.0;
    }
    return width / sqrt(1.0 + slope * slope);
}

/* Turn the stroke; true when it stands out at some slope. */
static bool turn(const struct view *v, int32_t x, int32_t y, int32_t side, double sign,
                 double depth, struct kb_trace *trace) {
    double answer[FAN];
    int best = 0;
    for (int k = 0; k < FAN; k++) {
        double flank[2];
        stroke_at(v, x, y, slope_of(k), side, flank);
        answer[k] = weaker(flank, sign);
        best = answer[k] > answer[best] ? k : best;
    }
    if (answer[best] < fmax(fmax(0.5 * DEPTH_LEAST, STROKE_NOISE * v->noise), 0.4 * depth)) {
        return false;
    }
    double shift = 0.0; /* vertex of the parabola through the best and its neighbours */
    if (best > 0 && best < FAN - 1) {
        double a = answer[best - 1], b = answer[best], c = answer[best + 1];
        shift = a - 2.0 * b + c < 0.0 ? 0.5 * (a - c) / (a - 2.0 * b + c) : 0.0;
    }
    double slope = slope_of(best) + shift * 2.0 / (FAN - 1);
    trace->at = x;
    trace->slope = fmin(1.0, fmax(-1.0, slope));
    trace->width = width_at(v, x, y, slope_of(best), side, sign);
    trace->dark = sign > 0.0;
    return true;
}

/* Three places of three lines each: against noise. */
static void smooth_line(const struct view *v, int32_t y, int16_t *sum) {
    for (int32_t x = 0; x < v->length; x++) {
        const uint8_t *g = place_at(v, x, y).grey;
        sum[x] = (int16_t)(g[-v->across] + g[0] + g[v->across]);
    }
}

/* Depth of a dip (or height of a rise) at x against its flanks; 0 when there is none. */
static double depth_at(const int16_t *sum, int32_t x, int32_t side, double sign) {
    const double flank[2] = {(sum[x - side] - sum[x]) / 3.0, (sum[x + side] - sum[x]) / 3.0};
    if (sum[x] * sign > sum[x - 1] * sign || sum[x] * sign > sum[x + 1] * sign) {
        return 0.0; /* not the lowest place */
    }
    double far = 0.5 * (sum[x - side - 2] + sum[x + side + 2]) / 3.0;
    double low = weaker(flank, sign);
    return (far - sum[x] / 3.0) * sign > 0.5 * low ? low : 0.0; /* no second dip beside it */
}

static bool in_matrix(const struct view *v, int32_t x, int32_t y, int32_t side) {
    const uint8_t *l = place_at(v, x, y).label;
    return is_matrix(l[0]) && is_matrix(l[-side * v->label_along]) &&
           is_matrix(l[side * v->label_along]);
}

static bool look_at(const struct view *v, const int16_t *sum, int32_t x, int32_t y,
                    struct kb_trace *trace) {
    double least = fmax(DEPTH_LEAST, DEPTH_NOISE * v->noise);
    for (int s = 0; s < 2; s++) {
        for (int polarity = 0; polarity <= (v->bright_too ? 1 : 0); polarity++) {
            double sign = polarity == 0 ? 1.0 : -1.0;
            double depth = depth_at(sum, x, sides[s], sign);
            if (depth >= least && in_matrix(v, x, y, sides[s]) &&
                turn(v, x, y, sides[s], sign, depth, trace)) {
                return true;
            }
        }
    }
    return false;
}

static enum kb_status scan_line(const struct view *v, int32_t y, int16_t *sum,
                                struct kb_scan *scan, struct kb_err *err) {
    smooth_line(v, y, sum);
    int taken = 0;
    for (int32_t x = MARGIN; x < v->length - MARGIN && taken < PER_LINE_MOST; x++) {
        struct kb_trace trace;
        if (!look_at(v, sum, x, y, &trace)) {
            continue;
        }
        if (!kb_grow((void **)&scan->trace, scan->count, &scan->capacity, sizeof trace)) {
            return kb_fail_memory(err, KB_QUALITY_STAGE, scan->capacity * sizeof trace);
        }
        scan->trace[scan->count++] = trace;
        taken++;
        x += 2; /* one line, one trace */
    }
    return KB_OK;
}

static struct view view_of(const struct kb_look *look, bool columns) {
    const struct kb_image *grey = &look->field->grey, *label = &look->map->label;
    ptrdiff_t row = (ptrdiff_t)grey->stride, label_row = (ptrdiff_t)label->stride;
    return (struct view){
        .grey = grey->px,
        .label = label->px,
        .along = columns ? row : 1,
        .across = columns ? 1 : row,
        .label_along = columns ? label_row : 1,
        .label_across = columns ? 1 : label_row,
        .length = columns ? grey->height : grey->width,
        .lines = columns ? grey->width : grey->height,
        .noise = look->seen.noise,
        /* secondary electrons: edges and plates are bright and straight, scratches are not */
        .bright_too = look->contrast != KB_SEM,
    };
}

enum kb_status kb_quality_traces(const struct kb_look *look, bool columns, struct kb_scan *scan,
                                 struct kb_err *err) {
    struct view v = view_of(look, columns);
    memset(scan, 0, sizeof *scan);
    scan->columns = columns;
    int32_t usable = v.lines - 2 * MARGIN;
    if (usable < 1 || v.length <= 2 * MARGIN) {
        return KB_OK; /* too small to hold a scratch */
    }
    scan->gap = usable / SCAN_LINES > GAP_LEAST ? usable / SCAN_LINES : GAP_LEAST;
    int32_t lines = (usable + scan->gap - 1) / scan->gap;
    scan->first = kb_alloc_zero((size_t)lines + 1, sizeof *scan->first);
    int16_t *sum = kb_alloc((size_t)v.length, sizeof *sum);
    enum kb_status status = KB_OK;
    if (scan->first == NULL || sum == NULL) {
        status = kb_fail_memory(err, KB_QUALITY_STAGE, (size_t)v.length * sizeof *sum);
    }
    for (int32_t i = 0; i < lines && status == KB_OK; i++) {
        status = scan_line(&v, MARGIN + i * scan->gap, sum, scan, err);
        scan->first[i + 1] = scan->count;
        scan->lines = i + 1;
    }
    kb_free(sum);
    if (status != KB_OK) {
        kb_quality_scan_release(scan);
    }
    return status;
}

void kb_quality_scan_release(struct kb_scan *scan) {
    kb_free(scan->first);
    kb_free(scan->trace);
    memset(scan, 0, sizeof *scan);
}
