/* traces.c - places on scan lines where a thin straight line passes.
 *
 * Rows and columns at even distances are read. A place is a candidate where the grey dips (or
 * rises) against both sides, the sides are level with each other, and all three lie in the matrix:
 * boundaries beside graphite, steps between phases and the stripes of lamellae drop out, the last
 * because their sides dip too. About each candidate a short stroke is turned through a fan of
 * slopes; the slope at which it stands out most from its two neighbours is kept, if it stands out
 * from noise. Where scratches crowd they are each other's sides: in a second look, for directions
 * already known, sides need neither be level nor free of lines. Rows look for steep lines, columns
 * for flat ones, so that a slope never exceeds 1.
 */
#include "quality_priv.h"

#include <stdlib.h>
#include <string.h>

#define SCAN_LINES 120
#define SCAN_LINES_AGAIN 80 /* in the second look */
#define GAP_LEAST 4         /* pixels between scan lines */
#define HALF 8              /* half length of the stroke, pixels */
#define FAN 15              /* slopes from -1 to 1 */
#define SIDE_MOST 6
#define MARGIN (HALF + SIDE_MOST + 4)
#define DEPTH_LEAST 3.0 /* grey levels */
#define DEPTH_NOISE 1.5 /* times the noise, of a single place */
#define STROKE_NOISE                                                                               \
    1.1 /* times the noise, of a stroke: the best of a fan reaches 0.85 by chance */
/* Sides differ by at most three fifths of the depth. */
#define LEVEL_SIDES_IN 5
#define LEVEL_SIDES_OF 3

static const int32_t sides[] = {SIDE_MOST, 3}; /* distance of the flanks, pixels */

/* The picture seen so that scan lines run along x. */
struct view {
    const uint8_t *grey, *label;
    ptrdiff_t along, across; /* bytes from place to place, from line to line: grey */
    ptrdiff_t label_along, label_across;
    int32_t length, lines; /* places on a line, lines */
    double noise;
    bool bright_too;
    bool known;        /* directions are known: only those, and sides need not be level */
    bool allowed[FAN]; /* slopes that come near a known direction */
    ptrdiff_t stroke[FAN][2 * HALF + 1]; /* where the pixels of a stroke lie, by slope */
};

static const uint8_t *grey_at(const struct view *v, int32_t x, int32_t y) {
    return v->grey + x * v->along + y * v->across;
}

static bool is_matrix(uint8_t label) {
    return label == KB_FERRITE || label == KB_PEARLITE || label == KB_MATRIX ||
           label == KB_CEMENTITE;
}

static double slope_of(int k) {
    return 2.0 * k / (FAN - 1) - 1.0;
}

/* How much the weaker side differs from the middle; 0 when the sides disagree. */
static int weaker(const struct view *v, int a, int b) {
    int low = a < b ? a : b;
    bool level = v->known || LEVEL_SIDES_IN * abs(a - b) <= LEVEL_SIDES_OF * low;
    return low > 0 && level ? low : 0;
}

/* How far a stroke stands out from its flanks at `side`; sum over its pixels. */
static int stroke_at(const struct view *v, const uint8_t *middle, int slope, int32_t side,
                     int sign) {
    int left = 0, centre = 0, right = 0;
    ptrdiff_t flank = side * v->along;
    for (int j = 0; j <= 2 * HALF; j++) {
        const uint8_t *g = middle + v->stroke[slope][j];
        left += g[-flank];
        centre += g[0];
        right += g[flank];
    }
    return weaker(v, sign * (left - centre), sign * (right - centre));
}

/* Width at half depth of the stroke, across it. */
static double width_at(const struct view *v, const uint8_t *middle, int slope, int32_t side,
                       int sign) {
    double profile[2 * SIDE_MOST + 1] = {0.0};
    for (int32_t i = -side; i <= side; i++) {
        int sum = 0;
        for (int j = 0; j <= 2 * HALF; j++) {
            sum += middle[v->stroke[slope][j] + i * v->along];
        }
        profile[i + side] = -sign * sum / (2.0 * HALF + 1.0);
    }
    double top = fmax(profile[side], fmax(profile[side - 1], profile[side + 1]));
    double half = 0.5 * (top + 0.5 * (profile[0] + profile[2 * side]));
    double width = 0.0; /* of the part above half height, ends interpolated */
    for (int32_t i = 0; i < 2 * side; i++) {
        double a = profile[i] - half, b = profile[i + 1] - half;
        width += a > 0.0 && b > 0.0 ? 1.0 : a > 0.0 ? a / (a - b) : b > 0.0 ? b / (b - a) : 0.0;
    }
    return width / sqrt(1.0 + slope_of(slope) * slope_of(slope));
}

/* The slope at which the stroke stands out most: every other one, then those beside the best. */
static int best_slope(const struct view *v, const uint8_t *middle, int32_t side, int sign,
                      int answer[FAN]) {
    int best = 0;
    for (int k = 0; k < FAN; k += 2) {
        answer[k] = stroke_at(v, middle, k, side, sign);
        best = answer[k] > answer[best] ? k : best;
    }
    int first = best > 0 ? best - 1 : best, last = best < FAN - 1 ? best + 1 : best;
    for (int k = first; k <= last; k++) {
        answer[k] = k == best ? answer[k] : stroke_at(v, middle, k, side, sign);
    }
    for (int k = first; k <= last; k++) {
        best = answer[k] > answer[best] ? k : best;
    }
    return best;
}

/* Turn the stroke; true when it stands out at some slope. */
static bool turn(const struct view *v, int32_t x, int32_t y, int32_t side, int sign, double depth,
                 struct kb_trace *trace) {
    const uint8_t *middle = grey_at(v, x, y);
    int answer[FAN] = {0};
    int best = best_slope(v, middle, side, sign, answer);
    double mean = answer[best] / (2.0 * HALF + 1.0);
    if (!v->allowed[best] ||
        mean < fmax(fmax(0.5 * DEPTH_LEAST, STROKE_NOISE * v->noise), 0.4 * depth)) {
        return false;
    }
    double shift = 0.0; /* vertex of the parabola through the best and its neighbours */
    if (best > 0 && best < FAN - 1) {
        double a = answer[best - 1], b = answer[best], c = answer[best + 1];
        shift = a - 2.0 * b + c < 0.0 ? 0.5 * (a - c) / (a - 2.0 * b + c) : 0.0;
    }
    *trace = (struct kb_trace){
        .at = x,
        .slope = fmin(1.0, fmax(-1.0, slope_of(best) + shift * 2.0 / (FAN - 1))),
        .width = width_at(v, middle, best, side, sign),
        .dark = sign > 0,
    };
    return true;
}

/* Three lines together: against noise. */
static void smooth_line(const struct view *v, int32_t y, int16_t *sum) {
    for (int32_t x = 0; x < v->length; x++) {
        const uint8_t *g = grey_at(v, x, y);
        sum[x] = (int16_t)(g[-v->across] + g[0] + g[v->across]);
    }
}

/* Whether the line comes near the depth of the middle again beyond the flank: stripes do. */
static bool dips_again(const int16_t *sum, int32_t middle, int32_t flank, int beyond, int sign,
                       int depth) {
    return 2 * sign * (sum[flank + beyond] - sum[middle]) <= depth ||
           2 * sign * (sum[flank + 2 * beyond] - sum[middle]) <= depth;
}

/* Depth of a dip (or height of a rise) at x against its flanks, three times; 0 for none. */
static int depth_at(const struct view *v, const int16_t *sum, int32_t x, int32_t side, int sign) {
    int low = weaker(v, sign * (sum[x - side] - sum[x]), sign * (sum[x + side] - sum[x]));
    bool stripes =
        low > 0 && !v->known &&
        (dips_again(sum, x, x - side, -2, sign, low) || dips_again(sum, x, x + side, 2, sign, low));
    return stripes ? 0 : low;
}

static bool in_matrix(const struct view *v, int32_t x, int32_t y, int32_t side) {
    const uint8_t *l = v->label + x * v->label_along + y * v->label_across;
    return is_matrix(l[0]) && is_matrix(l[-side * v->label_along]) &&
           is_matrix(l[side * v->label_along]);
}

static bool look_at(const struct view *v, const int16_t *sum, int32_t x, int32_t y, int sign,
                    struct kb_trace *trace) {
    double least = 3.0 * fmax(DEPTH_LEAST, DEPTH_NOISE * v->noise);
    for (int s = 0; s < 2; s++) {
        int depth = depth_at(v, sum, x, sides[s], sign);
        if (depth >= least && in_matrix(v, x, y, sides[s]) &&
            turn(v, x, y, sides[s], sign, depth / 3.0, trace)) {
            return true;
        }
    }
    return false;
}

static enum kb_status scan_line(const struct view *v, int32_t y, int16_t *sum, struct kb_scan *scan,
                                struct kb_err *err) {
    smooth_line(v, y, sum);
    for (int32_t x = MARGIN; x < v->length - MARGIN; x++) {
        bool low = sum[x] <= sum[x - 1] && sum[x] <= sum[x + 1];
        bool high = v->bright_too && sum[x] >= sum[x - 1] && sum[x] >= sum[x + 1];
        struct kb_trace trace;
        if (!(low && look_at(v, sum, x, y, 1, &trace)) &&
            !(high && look_at(v, sum, x, y, -1, &trace))) {
            continue;
        }
        if (!kb_grow((void **)&scan->trace, scan->count, &scan->capacity, sizeof trace)) {
            return kb_fail_memory(err, KB_QUALITY_STAGE, scan->capacity * sizeof trace);
        }
        scan->trace[scan->count++] = trace;
        x += 2; /* one line, one trace */
    }
    return KB_OK;
}

/* Slopes within one step of the fan of a known direction; all when none is known. */
static void allow(const struct kb_quality *known, bool columns, struct view *v) {
    v->known = known != NULL;
    for (int k = 0; k < FAN; k++) {
        v->allowed[k] = known == NULL;
        for (int i = 0; known != NULL && i < known->scratch_families; i++) {
            double angle = known->scratch[i].angle; /* y up, pictures run down */
            double slope = columns ? -tan(angle) : -1.0 / tan(angle);
            v->allowed[k] = v->allowed[k] || fabs(slope_of(k) - slope) < 1.5 * 2.0 / (FAN - 1);
        }
    }
}

static struct view view_of(const struct kb_look *look, bool columns,
                           const struct kb_quality *known) {
    const struct kb_image *grey = &look->field->grey, *label = &look->map->label;
    ptrdiff_t row = (ptrdiff_t)grey->stride, label_row = (ptrdiff_t)label->stride;
    struct view v = {
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
    allow(known, columns, &v);
    for (int k = 0; k < FAN; k++) {
        for (int j = -HALF; j <= HALF; j++) {
            v.stroke[k][j + HALF] = lrint(slope_of(k) * j) * v.along + j * v.across;
        }
    }
    return v;
}

static enum kb_status scan_lines(const struct view *v, int32_t lines, struct kb_scan *scan,
                                 struct kb_err *err) {
    int16_t *sum = kb_alloc((size_t)v->length, sizeof *sum);
    scan->first = kb_alloc_zero((size_t)lines + 1, sizeof *scan->first);
    if (scan->first == NULL || sum == NULL) {
        kb_free(sum);
        return kb_fail_memory(err, KB_QUALITY_STAGE, (size_t)v->length * sizeof *sum);
    }
    enum kb_status status = KB_OK;
    for (int32_t i = 0; i < lines && status == KB_OK; i++) {
        status = scan_line(v, MARGIN + i * scan->gap, sum, scan, err);
        scan->first[i + 1] = scan->count;
        scan->lines = i + 1;
    }
    kb_free(sum);
    return status;
}

enum kb_status kb_quality_traces(const struct kb_look *look, bool columns,
                                 const struct kb_quality *known, struct kb_scan *scan,
                                 struct kb_err *err) {
    struct view v = view_of(look, columns, known);
    memset(scan, 0, sizeof *scan);
    scan->columns = columns;
    scan->length = v.length;
    int32_t usable = v.lines - 2 * MARGIN;
    if (usable < 1 || v.length <= 2 * MARGIN) {
        return KB_OK; /* too small to hold a scratch */
    }
    int32_t most = known == NULL ? SCAN_LINES : SCAN_LINES_AGAIN;
    scan->gap = usable / most > GAP_LEAST ? usable / most : GAP_LEAST;
    enum kb_status status = scan_lines(&v, (usable + scan->gap - 1) / scan->gap, scan, err);
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
