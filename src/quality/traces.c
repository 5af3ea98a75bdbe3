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
#define WIDE_FROM 0.7 /* of the distance of the flanks: wider grooves reach under them */
#define WIDE_MOST 28  /* pixels to either side to which a wide groove is followed */
#define MARGIN (HALF + SIDE_MOST + 4)
#define DEPTH_LEAST 3.0 /* grey levels */
#define DEPTH_NOISE 1.5 /* times the noise, of a single place */
#define STROKE_NOISE                                                                               \
    1.1 /* times the noise, of a stroke: the best of a fan reaches 0.85 by chance */
/* Sides differ by at most three fifths of the depth. */
#define LEVEL_SIDES_IN 5
#define LEVEL_SIDES_OF 3

static const int32_t sides[] = {SIDE_MOST, 3}; /* distance of the flanks, pixels */

#define MIDST 8 /* of the sums abreast of a stroke, the stroke itself */

/* The picture seen so that scan lines run along x. */
struct view {
    const struct kb_image *grey, *label;
    bool columns;          /* scan lines are columns, turned into rows in `strip` */
    uint8_t *strip;        /* the scan line and HALF lines to either side */
    const uint8_t *middle; /* the scan line */
    uint8_t *candidate;    /* for each place of it */
    ptrdiff_t across;      /* bytes from line to line */
    int32_t length, lines; /* places on a line, lines */
    double noise;
    int deep; /* least depth, of the sum of three lines */
    bool bright_too;
    bool known;        /* directions are known: only those, and sides need not be level */
    bool allowed[FAN]; /* slopes that come near a known direction */
    ptrdiff_t stroke[FAN][2 * HALF + 1]; /* where the pixels of a stroke lie, by slope */
};

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

/* Sums along the strokes through a place and along the parallels to them, as far as they were asked
 * for. */
struct fan {
    const uint8_t *middle;
    bool known[FAN];
    uint16_t sum[FAN][KB_ABREAST];
};

/* The sums of a slope; the stroke itself is at MIDST. */
static const uint16_t *sums_of(const struct view *v, struct fan *fan, int slope) {
    if (!fan->known[slope]) {
        kb_add_up(fan->middle - MIDST, v->stroke[slope], 2 * HALF + 1, fan->sum[slope]);
        fan->known[slope] = true;
    }
    return fan->sum[slope];
}

/* How far a stroke stands out from its flanks at `side`; sum over its pixels. */
static int stroke_at(const struct view *v, struct fan *fan, int slope, int32_t side, int sign) {
    const uint16_t *sum = sums_of(v, fan, slope);
    return weaker(v, sign * (sum[MIDST - side] - sum[MIDST]),
                  sign * (sum[MIDST + side] - sum[MIDST]));
}

/* Width at half depth of the stroke, across it. */
static double width_at(const struct view *v, struct fan *fan, int slope, int32_t side, int sign) {
    double profile[2 * SIDE_MOST + 1] = {0.0};
    const uint16_t *sum = sums_of(v, fan, slope);
    for (int32_t i = -side; i <= side; i++) {
        profile[i + side] = -sign * sum[MIDST + i] / (2.0 * HALF + 1.0);
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

/* A stroke `off` pixels beside the one through x; sum over its pixels, dark above bright. */
static int beside(const struct view *v, int32_t x, int slope, int32_t off, int sign) {
    const uint8_t *at = v->middle + x + off;
    int sum = 0;
    for (int j = 0; j <= 2 * HALF; j++) {
        sum += at[v->stroke[slope][j]];
    }
    return -sign * sum;
}

/* How far the side of a groove goes one way, pixels, and where it ends: followed as long as it
 * falls, noise allowed for. */
static int32_t follow(const struct view *v, int32_t x, int slope, int32_t step, int sign,
                      int profile[WIDE_MOST + 1]) {
    int waver = (int)(2.0 * v->noise * sqrt(2.0 * HALF + 1.0)) + 1;
    int32_t room = (step < 0 ? x : v->length - 1 - x) - HALF;
    int32_t reach = room < WIDE_MOST ? room : WIDE_MOST, lowest = 0;
    profile[0] = beside(v, x, slope, 0, sign);
    for (int32_t i = 1; i <= reach; i++) {
        profile[i] = beside(v, x, slope, step * i, sign);
        lowest = profile[i] < profile[lowest] ? i : lowest;
        if (profile[i] > profile[lowest] + waver) {
            break;
        }
    }
    return lowest;
}

/* From the middle to where the profile passes `level`, pixels. */
static double passes(const int *profile, int32_t end, double level) {
    for (int32_t i = 1; i <= end; i++) {
        if (profile[i] <= level) {
            return i - (level - profile[i]) / fmax(1.0, profile[i - 1] - profile[i]);
        }
    }
    return end;
}

/* Width at half depth of a groove too wide for the flanks at which it was found. */
static double wide_width(const struct view *v, int32_t x, int slope, int sign) {
    int left[WIDE_MOST + 1], right[WIDE_MOST + 1];
    int32_t l = follow(v, x, slope, -1, sign, left), r = follow(v, x, slope, 1, sign, right);
    int top = left[0];
    for (int32_t i = 1; i <= 4; i++) { /* the middle was found to a few pixels only */
        top = i <= l && left[i] > top ? left[i] : top;
        top = i <= r && right[i] > top ? right[i] : top;
    }
    double half = 0.5 * (top + fmax(left[l], right[r])); /* of the weaker side */
    return (passes(left, l, half) + passes(right, r, half)) /
           sqrt(1.0 + slope_of(slope) * slope_of(slope));
}

/* The slope at which the stroke stands out most: every other one, then those beside the best. */
static int best_slope(const struct view *v, struct fan *fan, int32_t side, int sign,
                      int answer[FAN]) {
    int best = 0;
    for (int k = 0; k < FAN; k += 2) {
        answer[k] = stroke_at(v, fan, k, side, sign);
        best = answer[k] > answer[best] ? k : best;
    }
    int first = best > 0 ? best - 1 : best, last = best < FAN - 1 ? best + 1 : best;
    for (int k = first; k <= last; k++) {
        answer[k] = k == best ? answer[k] : stroke_at(v, fan, k, side, sign);
    }
    for (int k = first; k <= last; k++) {
        best = answer[k] > answer[best] ? k : best;
    }
    return best;
}

/* Turn the stroke; true when it stands out at some slope. */
static bool turn(const struct view *v, struct fan *fan, int32_t x, int32_t side, int sign,
                 double depth, struct kb_trace *trace) {
    int answer[FAN] = {0};
    int best = best_slope(v, fan, side, sign, answer);
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
    double width = width_at(v, fan, best, side, sign);
    if (width > WIDE_FROM * side) {
        width = fmax(width, wide_width(v, x, best, sign));
    }
    *trace = (struct kb_trace){
        .at = x,
        .slope = fmin(1.0, fmax(-1.0, slope_of(best) + shift * 2.0 / (FAN - 1))),
        .width = width,
        .dark = sign > 0,
    };
    return true;
}

KB_WIDE static void add_lines(const uint8_t *restrict up, const uint8_t *restrict mid,
                              const uint8_t *restrict down, int32_t length, int16_t *restrict sum) {
    for (int32_t x = 0; x < length; x++) {
        sum[x] = (int16_t)(up[x] + mid[x] + down[x]);
    }
}

/* Whether the line comes near the depth of the middle again beyond the flank: stripes do. */
static bool dips_again(const int16_t *sum, int32_t middle, int32_t flank, int beyond, int sign,
                       int depth) {
    return 2 * sign * (sum[flank + beyond] - sum[middle]) <= depth ||
           2 * sign * (sum[flank + 2 * beyond] - sum[middle]) <= depth;
}

/* Bits of a candidate. */
enum { DIPS = 1, RISES = 2 };

/* Least places that lie deeper than both flanks by `deep`, at one distance or the other; most
 * places do not. */
KB_WIDE static void find_candidates(const int16_t *restrict sum, int32_t first, int32_t past,
                                    int16_t deep, uint8_t *restrict candidate) {
    for (int32_t x = first; x < past; x++) {
        int16_t s = sum[x];
        int16_t near = sum[x - 3] < sum[x + 3] ? sum[x - 3] : sum[x + 3];
        int16_t far =
            sum[x - SIDE_MOST] < sum[x + SIDE_MOST] ? sum[x - SIDE_MOST] : sum[x + SIDE_MOST];
        int16_t nearer = sum[x - 3] > sum[x + 3] ? sum[x - 3] : sum[x + 3];
        int16_t farther =
            sum[x - SIDE_MOST] > sum[x + SIDE_MOST] ? sum[x - SIDE_MOST] : sum[x + SIDE_MOST];
        bool dips = (s <= sum[x - 1]) & (s <= sum[x + 1]) &
                    (((int16_t)(near - s) >= deep) | ((int16_t)(far - s) >= deep));
        bool rises = (s >= sum[x - 1]) & (s >= sum[x + 1]) &
                     (((int16_t)(s - nearer) >= deep) | ((int16_t)(s - farther) >= deep));
        candidate[x] = (uint8_t)((dips ? DIPS : 0) | (rises ? RISES : 0));
    }
}

/* The first candidate from x on; `past` without. */
static int32_t next_candidate(const uint8_t *candidate, int32_t x, int32_t past) {
    uint64_t eight = 0;
    while (x + 8 <= past && eight == 0) {
        memcpy(&eight, candidate + x, sizeof eight);
        x += eight == 0 ? 8 : 0;
    }
    while (x < past && candidate[x] == 0) {
        x++;
    }
    return x;
}

/* Depth of a dip (or height of a rise) at x against its flanks, three times; 0 for none. */
static int depth_at(const struct view *v, const int16_t *sum, int32_t x, int32_t side, int sign) {
    int low = weaker(v, sign * (sum[x - side] - sum[x]), sign * (sum[x + side] - sum[x]));
    if (low < v->deep) {
        return 0;
    }
    bool stripes =
        low > 0 && !v->known &&
        (dips_again(sum, x, x - side, -2, sign, low) || dips_again(sum, x, x + side, 2, sign, low));
    return stripes ? 0 : low;
}

static bool in_matrix(const struct view *v, int32_t x, int32_t y, int32_t side) {
    const ptrdiff_t along = v->columns ? (ptrdiff_t)v->label->stride : 1;
    const uint8_t *l = v->columns ? kb_row(v->label, x) + y : kb_row(v->label, y) + x;
    return is_matrix(l[0]) && is_matrix(l[-side * along]) && is_matrix(l[side * along]);
}

static bool look_at(const struct view *v, const int16_t *sum, int32_t x, int32_t y, int sign,
                    struct kb_trace *trace) {
    struct fan fan;
    fan.middle = v->middle + x;
    memset(fan.known, 0, sizeof fan.known); /* the sums are not looked at before */
    for (int s = 0; s < 2; s++) {
        int depth = depth_at(v, sum, x, sides[s], sign);
        if (depth > 0 && in_matrix(v, x, y, sides[s]) &&
            turn(v, &fan, x, sides[s], sign, depth / 3.0, trace)) {
            return true;
        }
    }
    return false;
}

/* Put scan line y in place. */
static void view_line(struct view *v, int32_t y) {
    if (v->columns) {
        kb_columns(v->grey, y - HALF, 2 * HALF + 1, v->strip, (size_t)v->across);
        v->middle = v->strip + HALF * v->across;
    } else {
        v->middle = kb_row(v->grey, y);
    }
}

static enum kb_status scan_line(struct view *v, int32_t y, int16_t *sum, struct kb_scan *scan,
                                struct kb_err *err) {
    view_line(v, y);
    /* three lines together: against noise */
    add_lines(v->middle - v->across, v->middle, v->middle + v->across, v->length, sum);
    const int32_t past = v->length - MARGIN;
    find_candidates(sum, MARGIN, past, (int16_t)v->deep, v->candidate);
    for (int32_t x = next_candidate(v->candidate, MARGIN, past); x < past;
         x = next_candidate(v->candidate, x + 1, past)) {
        bool low = (v->candidate[x] & DIPS) != 0;
        bool high = v->bright_too && (v->candidate[x] & RISES) != 0;
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
    const struct kb_image *grey = &look->field->grey;
    struct view v = {
        .grey = grey,
        .label = &look->map->label,
        .columns = columns,
        .across = columns ? (ptrdiff_t)grey->height : (ptrdiff_t)grey->stride,
        .length = columns ? grey->height : grey->width,
        .lines = columns ? grey->width : grey->height,
        .noise = look->seen.noise,
        .deep = (int)ceil(3.0 * fmax(DEPTH_LEAST, DEPTH_NOISE * look->seen.noise)),
        /* secondary electrons: edges and plates are bright and straight, scratches are not */
        .bright_too = look->contrast != KB_SEM,
    };
    allow(known, columns, &v);
    for (int k = 0; k < FAN; k++) {
        for (int j = -HALF; j <= HALF; j++) {
            v.stroke[k][j + HALF] = lrint(slope_of(k) * j) + j * v.across;
        }
    }
    return v;
}

static enum kb_status scan_lines(struct view *v, int32_t lines, struct kb_scan *scan,
                                 struct kb_err *err) {
    int16_t *sum = kb_alloc((size_t)v->length, sizeof *sum);
    scan->first = kb_alloc_zero((size_t)lines + 1, sizeof *scan->first);
    v->candidate = kb_alloc((size_t)v->length, 1);
    v->strip = v->columns ? kb_alloc(2 * HALF + 1, (size_t)v->across) : NULL;
    if (scan->first == NULL || sum == NULL || v->candidate == NULL ||
        (v->columns && v->strip == NULL)) {
        kb_free(sum);
        kb_free(v->candidate);
        kb_free(v->strip);
        return kb_fail_memory(err, KB_QUALITY_STAGE, (size_t)v->length * sizeof *sum);
    }
    enum kb_status status = KB_OK;
    for (int32_t i = 0; i < lines && status == KB_OK; i++) {
        status = scan_line(v, MARGIN + i * scan->gap, sum, scan, err);
        scan->first[i + 1] = scan->count;
        scan->lines = i + 1;
    }
    kb_free(sum);
    kb_free(v->candidate);
    kb_free(v->strip);
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
