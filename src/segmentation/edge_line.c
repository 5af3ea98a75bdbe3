/* edge_line.c - where the border of pearlite lies when a line runs along it.
 *
 * Edges are bright under secondary electrons, and a boundary may be etched as a dark line. Such a
 * line lies on the border, half of it on either side; but it differs from ferrite the same way as
 * pearlite does, so that a threshold half way between both greys is passed at the line's far foot,
 * and the half of it that lies in ferrite is counted as pearlite: about a pixel all along the
 * border. What the half-way level cannot tell, the whole passage can. The field's own grey,
 * unsmoothed, is averaged across straight stretches of border into one profile and described by
 *
 *   plain + step * normal distribution((u - border) / s) + line * normal density((u - border) / r)
 *
 * a blurred step with a line of width r >= s on it. Only a line that is seen counts: the profile
 * must rise beyond the grey of pearlite itself, and the description must be far better than that
 * by a step alone. Then the border is moved from where the threshold found it to where it lies:
 * as many pixels go to the plain constituent as shift times length of border come to, whole layers
 * first, of the last one those that are nearest to the plain grey. Length of border from crossings
 * of rows and columns (Cauchy-Crofton). Limits: one line for the whole field; one that is fainter
 * than a twentieth of the step, or lies between regions of a few pixels, is not corrected.
 */
#include "segmentation_priv.h"

#include <math.h>
#include <string.h>

#define BINS_PER_PX 4
/* Clear pixels beside a border: half the width of a line, and room for the blur. */
#define REACH_MORE 3
#define REACH_MOST 24
#define BINS (2 * REACH_MOST * BINS_PER_PX + 1)
/* Off a line of pixels by less than 22 degrees: sine over cosine. */
#define SLANT_MOST 0.4
/* Passages averaged: noise of 12 levels is then below a level. */
#define PASSAGES_LEAST 200

/* Pixels: a step sharper than this does not tell where within a pixel it lies. */
#define BLUR_LEAST 0.3
/* Height of the line beyond pearlite, share of the step. */
#define SEEN_LEAST 0.01
/* Squared misfit with a line over that without. */
#define MISFIT_MOST 0.6

struct profile {
    double sum[BINS]; /* of evened grey, by distance from where the threshold is passed */
    uint64_t count[BINS];
    uint64_t passages, crossings;
    int32_t reach;
};

/* ---- the mean passage --------------------------------------------------------------------------
 */

/* One crossing: from the pixel `at` to its neighbour `at` + (dx, dy). */
struct crossing {
    int32_t x, y, dx, dy;
};

static int smoothed(const struct kb_seg *seg, int32_t x, int32_t y) {
    return kb_row(&seg->grey, y)[x];
}

/* Slopes by Sobel's masks at (x, y): along `dx`, `dy` and across. */
static void slopes(const struct kb_seg *seg, const struct crossing *c, int32_t x, int32_t y,
                   double *along, double *across) {
    int a = smoothed(seg, x - 1, y - 1), b = smoothed(seg, x, y - 1),
        d = smoothed(seg, x + 1, y - 1);
    int l = smoothed(seg, x - 1, y), r = smoothed(seg, x + 1, y);
    int e = smoothed(seg, x - 1, y + 1), f = smoothed(seg, x, y + 1),
        g = smoothed(seg, x + 1, y + 1);
    double right = (double)(d + 2 * r + g - a - 2 * l - e);
    double down = (double)(e + 2 * f + g - a - 2 * b - d);
    *along += c->dx != 0 ? right : down;
    *across += c->dx != 0 ? down : right;
}

/* Cosine between the border's normal and the line of pixels; 0 where that is too oblique. */
static double straightness(const struct kb_seg *seg, const struct crossing *c) {
    double along = 0.0;
    double across = 0.0;
    slopes(seg, c, c->x, c->y, &along, &across);
    slopes(seg, c, c->x + c->dx, c->y + c->dy, &along, &across);
    return fabs(across) < SLANT_MOST * fabs(along)
               ? fabs(along) / sqrt(along * along + across * across)
               : 0.0;
}

/* Whether the labels beside the crossing are one kind each as far as the profile reaches. */
static bool is_clear(const struct kb_seg *seg, const struct crossing *c, int32_t reach) {
    const struct kb_image *label = &seg->map->label;
    int32_t back = reach + 1, ahead = reach + 2;
    int32_t x0 = c->x - back * c->dx, y0 = c->y - back * c->dy;
    int32_t x1 = c->x + ahead * c->dx, y1 = c->y + ahead * c->dy;
    if (x0 < 1 || y0 < 1 || x1 > label->width - 2 || y1 > label->height - 2 || c->x < 1 ||
        c->y < 1) {
        return false;
    }
    uint8_t first = kb_row(label, c->y)[c->x];
    uint8_t second = kb_row(label, c->y + c->dy)[c->x + c->dx];
    for (int32_t i = 1; i <= reach; i++) {
        if (kb_row(label, c->y - i * c->dy)[c->x - i * c->dx] != first ||
            kb_row(label, c->y + (i + 1) * c->dy)[c->x + (i + 1) * c->dx] != second) {
            return false;
        }
    }
    return true;
}

static void add_passage(const struct kb_seg *seg, const struct crossing *c, struct profile *p) {
    double level = (double)seg->threshold[seg->scheme.classes - 2] + 0.5;
    double before = smoothed(seg, c->x, c->y);
    double after = smoothed(seg, c->x + c->dx, c->y + c->dy);
    if (!is_clear(seg, c, p->reach) || (before < level) == (after < level)) {
        return;
    }
    double cosine = straightness(seg, c);
    if (cosine <= 0.0) {
        return;
    }
    double passed = (level - before) / (after - before);
    bool into_pearlite = kb_row(&seg->map->label, c->y)[c->x] != KB_PEARLITE;
    int32_t first = -p->reach - 1;
    int32_t last = p->reach + 2;
    double start = kb_seg_gain_at(seg, c->x + first * c->dx, c->y + first * c->dy);
    double end = kb_seg_gain_at(seg, c->x + last * c->dx, c->y + last * c->dy);
    double change = (end - start) / (double)(last - first);
    for (int32_t i = first; i <= last; i++) {
        double u = ((double)i - passed) * (into_pearlite ? cosine : -cosine);
        double at = floor((u + p->reach) * BINS_PER_PX + 0.5);
        if (at >= 0.0 && at <= 2.0 * p->reach * BINS_PER_PX) {
            double gain = start + change * (double)(i - first);
            p->sum[(int)at] += gain * kb_row(&seg->field->grey, c->y + i * c->dy)[c->x + i * c->dx];
            p->count[(int)at]++;
        }
    }
    p->passages++;
}

static bool crosses(const struct kb_seg *seg, uint8_t a, uint8_t b) {
    uint8_t plain = (uint8_t)seg->scheme.plain;
    return (a == KB_PEARLITE && b == plain) || (a == plain && b == KB_PEARLITE);
}

/* Crossings of every n-th row and column. */
static void take_profile(const struct kb_seg *seg, int32_t step, struct profile *p) {
    const struct kb_image *label = &seg->map->label;
    for (int32_t y = 0; y < label->height; y += step) {
        const uint8_t *row = kb_row(label, y);
        for (int32_t x = 0; x + 1 < label->width; x++) {
            if (row[x] != row[x + 1] && crosses(seg, row[x], row[x + 1])) {
                p->crossings++;
                add_passage(seg, &(struct crossing){x, y, 1, 0}, p);
            }
        }
    }
    for (int32_t y = 0; y + 1 < label->height; y++) {
        const uint8_t *row = kb_row(label, y);
        const uint8_t *below = kb_row(label, y + 1);
        for (int32_t x = 0; x < label->width; x += step) {
            if (row[x] != below[x] && crosses(seg, row[x], below[x])) {
                p->crossings++;
                add_passage(seg, &(struct crossing){x, y, 0, 1}, p);
            }
        }
    }
}

/* ---- its description ---------------------------------------------------------------------------
 */

struct shape {
    double border, blur, wider; /* pixels; the line's deviation squared is blur^2 + wider^2 */
    double plain, step, line;   /* grey levels; the line's in levels times pixels */
    double misfit;
};

static double line_sigma(const struct shape *s) {
    return sqrt(s->blur * s->blur + s->wider * s->wider);
}

static void basis(const struct shape *s, double u, double of[3]) {
    double sigma = line_sigma(s);
    double z = (u - s->border) / sigma;
    of[0] = 1.0;
    of[1] = 0.5 * erfc((s->border - u) / (s->blur * sqrt(2.0)));
    of[2] = exp(-0.5 * z * z) / (sigma * sqrt(2.0 * KB_SEG_PI));
}

/* Solve m x = v of `n` equations, symmetric and positive; false where it is not. */
static bool solve(double m[3][3], double v[3], int n) {
    for (int i = 0; i < n; i++) {
        if (!(m[i][i] > 1e-9)) { /* far below one passage: the profile does not determine it */
            return false;
        }
        for (int k = i + 1; k < n; k++) {
            double share = m[k][i] / m[i][i];
            for (int j = i; j < n; j++) {
                m[k][j] -= share * m[i][j];
            }
            v[k] -= share * v[i];
        }
    }
    for (int i = n - 1; i >= 0; i--) {
        for (int j = i + 1; j < n; j++) {
            v[i] -= m[i][j] * v[j];
        }
        v[i] /= m[i][i];
    }
    return true;
}

/* The greys that suit border and widths best, and the squared misfit that is left. */
static void settle(const struct profile *p, bool with_line, struct shape *s) {
    double m[3][3] = {{0.0}};
    double v[3] = {0.0};
    double square = 0.0;
    double right[3];
    int terms = with_line ? 3 : 2;
    for (int b = 0; b <= 2 * p->reach * BINS_PER_PX; b++) {
        double n = (double)p->count[b];
        double grey = n > 0.0 ? p->sum[b] / n : 0.0;
        double of[3];
        basis(s, (double)b / BINS_PER_PX - p->reach, of);
        for (int i = 0; i < terms; i++) {
            for (int j = 0; j < terms; j++) {
                m[i][j] += n * of[i] * of[j];
            }
            v[i] += n * of[i] * grey;
        }
        square += n * grey * grey;
    }
    for (int i = 0; i < 3; i++) {
        right[i] = v[i];
    }
    s->misfit = INFINITY;
    if (solve(m, v, terms)) {
        s->plain = v[0];
        s->step = v[1];
        s->line = with_line ? v[2] : 0.0;
        s->misfit = square - v[0] * right[0] - v[1] * right[1] - s->line * right[2];
    }
}

struct bounds {
    double border, blur, wider; /* at most */
};

static double within(double value, double low, double high) {
    return fmin(fmax(value, low), high);
}

/* The best neighbour of `best` at these distances. */
static bool improve(const struct profile *p, const struct bounds *most, double step,
                    struct shape *best) {
    struct shape from = *best;
    for (int i = -1; i <= 1; i++) {
        for (int j = -1; j <= 1; j++) {
            for (int k = -1; k <= 1; k++) {
                struct shape s = from;
                s.border = within(from.border + step * i, -most->border, most->border);
                s.blur = within(from.blur + step * j, 0.5 * BLUR_LEAST, most->blur);
                s.wider = within(from.wider + step * k, 0.0, most->wider);
                settle(p, most->wider > 0.0, &s);
                *best = s.misfit < best->misfit ? s : *best;
            }
        }
    }
    return best->misfit < from.misfit;
}

/* Description of least misfit: a coarse search, then ever finer steps about the best. */
static struct shape describe(const struct profile *p, const struct bounds *most) {
    enum { BORDERS = 12, BLURS = 8 };
    struct shape best = {.misfit = INFINITY};
    double growth = pow(most->blur / BLUR_LEAST, 1.0 / BLURS);
    for (int i = 0; i <= BORDERS; i++) {
        struct shape s = {.border = most->border * (2.0 * i / BORDERS - 1.0),
                          .blur = BLUR_LEAST,
                          .wider = 0.5 * most->wider};
        for (int k = 0; k <= BLURS; k++) {
            settle(p, most->wider > 0.0, &s);
            best = s.misfit < best.misfit ? s : best;
            s.blur *= growth;
        }
    }
    double step = 0.4;
    while (step > 0.01) { /* a hundredth of a pixel */
        step = improve(p, most, step, &best) ? step : 0.5 * step;
    }
    return best;
}

/* How far the description goes beyond the grey of pearlite, in steps. */
static double height_beyond(const struct profile *p, const struct shape *s) {
    double beyond = 0.0;
    for (int b = 0; b <= 2 * p->reach * BINS_PER_PX && s->step != 0.0; b++) {
        double of[3];
        basis(s, (double)b / BINS_PER_PX - p->reach, of);
        beyond = fmax(beyond, of[1] + s->line / s->step * of[2] - 1.0);
    }
    return beyond;
}

/* How far the border lies inside what is labelled pearlite, pixels; 0 where no line is seen. */
static double line_shift(const struct kb_seg *seg, const struct profile *p) {
    const double half = 0.5 * p->reach;
    /* lines are narrower than line_um; a uniform one of width w has deviation w / sqrt(12) */
    double wider = fmax(1.0, seg->params->line_um / (seg->px_um * sqrt(12.0)));
    struct shape line = describe(p, &(struct bounds){half, half, fmin(wider, half)});
    struct shape bare = describe(p, &(struct bounds){half, half, 0.0});
    bool seen = line.blur >= BLUR_LEAST && line.misfit < MISFIT_MOST * bare.misfit &&
                line.border > 0.0 && height_beyond(p, &line) > SEEN_LEAST;
    return seen ? line.border : 0.0;
}

/* ---- the border is moved -----------------------------------------------------------------------
 */

enum { FRESH = UINT8_MAX }; /* pearlite beside the plain constituent, in the round in hand */

/* 1 where a pixel of pearlite has a plain one beside it; not at the ends of the row. */
KB_WIDE static void edge_row(const uint8_t *restrict above, const uint8_t *restrict row,
                             const uint8_t *restrict below, uint8_t plain, int32_t width,
                             uint8_t *restrict edge) {
    for (int32_t x = 1; x < width - 1; x++) {
        uint8_t beside = (uint8_t)((above[x] == plain) | (below[x] == plain) |
                                   (row[x - 1] == plain) | (row[x + 1] == plain));
        edge[x] = (uint8_t)(beside & (row[x] == KB_PEARLITE));
    }
}

/* Marks one layer of pearlite along the border; counts it by grey. `edge` is zeroed at its ends. */
static uint64_t mark_layer(struct kb_seg *seg, uint8_t *edge, uint64_t bins[256]) {
    struct kb_image *label = &seg->map->label;
    const int32_t last = label->height - 1;
    uint64_t count = 0;
    for (int32_t y = 0; y <= last; y++) {
        uint8_t *row = kb_row(label, y);
        const uint8_t *grey = kb_row(&seg->grey, y);
        edge_row(kb_row(label, y > 0 ? y - 1 : 1), row, kb_row(label, y < last ? y + 1 : y - 1),
                 (uint8_t)seg->scheme.plain, label->width, edge);
        const uint8_t *at = memchr(edge, 1, (size_t)label->width);
        while (at != NULL) {
            int32_t x = (int32_t)(at - edge);
            row[x] = FRESH;
            bins[grey[x]]++;
            count++;
            at = memchr(at + 1, 1, (size_t)(label->width - x - 1));
        }
    }
    return count;
}

/* Marked pixels up to `cut`, from the plain side, go to the plain constituent. */
static uint64_t settle_layer(struct kb_seg *seg, int cut, bool plain_dark) {
    struct kb_image *label = &seg->map->label;
    uint64_t moved = 0;
    for (int32_t y = 0; y < label->height; y++) {
        uint8_t *row = kb_row(label, y);
        const uint8_t *grey = kb_row(&seg->grey, y);
        uint8_t *at = memchr(row, FRESH, (size_t)label->width);
        while (at != NULL) {
            int32_t x = (int32_t)(at - row);
            bool goes = plain_dark ? grey[x] <= cut : grey[x] >= cut;
            *at = goes ? (uint8_t)seg->scheme.plain : (uint8_t)KB_PEARLITE;
            moved += goes;
            at = memchr(at + 1, FRESH, (size_t)(label->width - x - 1));
        }
    }
    return moved;
}

/* Grey up to which, from the plain side, about `wanted` pixels lie. */
static int cut_for(const uint64_t bins[256], double wanted, bool plain_dark) {
    int level = plain_dark ? 0 : 255;
    int way = plain_dark ? 1 : -1;
    double seen = 0.0;
    while (level >= 0 && level <= 255 && seen + 0.5 * (double)bins[level] < wanted) {
        seen += (double)bins[level];
        level += way;
    }
    return level - way;
}

static uint64_t move_border(struct kb_seg *seg, double wanted, uint8_t *edge) {
    bool plain_dark = seg->scheme.pearlite == seg->scheme.classes - 1;
    uint64_t moved = 0;
    bool enough = false;
    for (int32_t layer = 0; layer < REACH_MOST && !enough; layer++) {
        uint64_t bins[256] = {0};
        uint64_t count = mark_layer(seg, edge, bins);
        double left = wanted - (double)moved;
        enough = (double)count >= left;
        int all = plain_dark ? 255 : 0;
        moved += settle_layer(seg, enough ? cut_for(bins, left, plain_dark) : all, plain_dark);
    }
    return moved;
}

enum kb_status kb_seg_border(struct kb_seg *seg, struct kb_err *err) {
    const struct kb_image *label = &seg->map->label;
    if (!seg->scheme.matrix_pair || seg->params->line_um <= 0.0) {
        return KB_OK;
    }
    double reach = REACH_MORE + 0.5 * seg->params->line_um / seg->px_um;
    struct profile profile = {.reach = (int32_t)fmin(reach + 0.5, REACH_MOST)};
    int32_t step = kb_seg_row_step(&seg->grey, KB_SEG_PLACES, 1);
    take_profile(seg, step, &profile);
    double shift = profile.passages < PASSAGES_LEAST ? 0.0 : line_shift(seg, &profile);
    if (shift <= 0.0) {
        return KB_OK;
    }
    uint8_t *edge = kb_alloc_zero((size_t)label->width, 1);
    if (edge == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, (size_t)label->width);
    }
    double length = 0.25 * KB_SEG_PI * (double)profile.crossings * (double)step;
    uint64_t moved = move_border(seg, shift * length, edge);
    kb_free(edge);
    seg->line_shift_um = shift * seg->px_um;
    seg->map->figures.recovered_line_px += moved;
    kb_seg_why_border(seg, seg->line_shift_um);
    kb_seg_count_labels(&seg->map->label, seg->map->figures.pixels);
    return KB_OK;
}
