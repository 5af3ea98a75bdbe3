/* chords.c - cut nodules apart that are grown into each other too far for a neck in the distance
 * map: by the chord between two concave places of the outline.
 *
 * A small nodule sunk into a large one makes no maximum of its own in the distance map, but the
 * outline turns inwards on either side of it. A concave place is the deepest point of a pocket
 * between the outline and its convex hull. Every straight cut from one such place to another is
 * tried, and the best kept where both sides are as round as the rule asks for (pieces.c): half a
 * nodule is not, so a nodule with two notches stays whole. What came of it is tried again.
 *
 * Limits: a nodule that meets another flush on one side has one concave place only and stays; so
 * does a cut that would have to bend.
 */
#include "morphology_priv.h"

#include <math.h>
#include <string.h>

/* Deepest pockets of a piece that are tried against each other. */
enum { POCKETS = 8 };
/* A piece whose hull is filled so well has no concave places worth a cut (see part.c). */
static const double whole_solidity = 0.975;

struct pockets {
    struct kb_point at[POCKETS];
    double depth[POCKETS]; /* deepest first */
    size_t count;
    double least; /* shallower ones are not kept */
};

/* ---- concave places ---------------------------------------------------------------------------
 */

static void keep_pocket(struct pockets *pockets, struct kb_point at, double depth) {
    size_t i = pockets->count < POCKETS ? pockets->count : POCKETS - 1;
    if (depth < pockets->least || (pockets->count == POCKETS && depth <= pockets->depth[i])) {
        return;
    }
    pockets->count = i + 1;
    for (; i > 0 && pockets->depth[i - 1] < depth; i--) {
        pockets->depth[i] = pockets->depth[i - 1];
        pockets->at[i] = pockets->at[i - 1];
    }
    pockets->depth[i] = depth;
    pockets->at[i] = at;
}

static enum kb_status reserve_steps(struct kb_chord_scratch *scratch, size_t steps,
                                    struct kb_err *err) {
    if (steps > scratch->steps) {
        struct kb_chord_step *step = kb_resize(scratch->step, steps, sizeof *step);
        if (step == NULL) {
            return kb_fail_memory(err, "morphology", steps * sizeof *step);
        }
        scratch->step = step;
        scratch->steps = steps;
    }
    return KB_OK;
}

/* An edge of the hull, from corner a in the direction d. */
struct edge {
    struct kb_point a, d;
    double length, step; /* step: about a pixel, the same seen from either end */
    size_t steps;
};

static struct edge edge_of(struct kb_point a, struct kb_point b) {
    struct edge edge = {.a = a, .length = hypot(b.x - a.x, b.y - a.y)};
    edge.d = (struct kb_point){(b.x - a.x) / edge.length, (b.y - a.y) / edge.length};
    edge.steps = edge.length < 1.0 ? 1 : (size_t)edge.length;
    edge.step = edge.length / (double)edge.steps;
    return edge;
}

/* For each step along the edge the pixel nearest to it: that is the outline. */
static void look_in(const struct kb_spans *spans, const struct edge *edge,
                    struct kb_chord_step *step) {
    for (size_t k = 0; k < edge->steps; k++) {
        step[k].depth = HUGE_VAL;
    }
    for (size_t i = 0; i < spans->count; i++) {
        const struct kb_span *span = &spans->item[i];
        for (int32_t x = span->x0; x < span->x1; x++) {
            double u = (double)x - edge->a.x;
            double v = (double)span->y - edge->a.y;
            double along = u * edge->d.x + v * edge->d.y;
            double depth = fabs(v * edge->d.x - u * edge->d.y);
            if (along < 0.0 || along >= edge->length) {
                continue;
            }
            size_t k = (size_t)(along / edge->step);
            struct kb_chord_step *here = &step[k < edge->steps ? k : edge->steps - 1];
            if (depth < here->depth) {
                *here = (struct kb_chord_step){(double)x, (double)span->y, depth};
            }
        }
    }
}

/* The deepest place, in the middle of all that are as deep but for the grid. */
static void keep_deepest(const struct kb_chord_step *step, size_t steps, struct pockets *pockets) {
    static const double as_deep_px = 0.5;
    double deepest = 0.0;
    struct kb_point sum = {0.0, 0.0};
    double count = 0.0;
    for (size_t k = 0; k < steps; k++) {
        deepest = isfinite(step[k].depth) ? fmax(deepest, step[k].depth) : deepest;
    }
    for (size_t k = 0; k < steps; k++) {
        if (isfinite(step[k].depth) && step[k].depth >= deepest - as_deep_px) {
            sum.x += step[k].x;
            sum.y += step[k].y;
            count += 1.0;
        }
    }
    if (count > 0.0) {
        keep_pocket(pockets, (struct kb_point){sum.x / count, sum.y / count}, deepest);
    }
}

static enum kb_status find_pockets(const struct kb_spans *spans, const struct kb_hull *hull,
                                   struct kb_chord_scratch *scratch, struct pockets *pockets,
                                   struct kb_err *err) {
    pockets->count = 0;
    for (size_t i = 0; i < hull->count; i++) {
        const struct edge edge =
            edge_of(hull->corner[i], hull->corner[i + 1 < hull->count ? i + 1 : 0]);
        if (edge.length < 2.0 * pockets->least) {
            continue; /* no room for a pocket so deep */
        }
        enum kb_status status = reserve_steps(scratch, edge.steps, err);
        if (status != KB_OK) {
            return status;
        }
        look_in(spans, &edge, scratch->step);
        keep_deepest(scratch->step, edge.steps, pockets);
    }
    return KB_OK;
}

/* ---- cutting ----------------------------------------------------------------------------------
 */

static double crossing(struct kb_point p, struct kb_point q, int32_t y) {
    return p.x + ((double)y - p.y) * (q.x - p.x) / (q.y - p.y);
}

/* What lies left of the line (above a level one) goes to `near`, the rest to `far`; pixels right on
 * it to `near` if on_near. */
static enum kb_status split_so(const struct kb_spans *spans, struct kb_point p, struct kb_point q,
                               bool on_near, struct kb_spans *near, struct kb_spans *far,
                               struct kb_err *err) {
    enum kb_status status = KB_OK;
    near->count = 0;
    far->count = 0;
    for (size_t i = 0; i < spans->count && status == KB_OK; i++) {
        struct kb_span span = spans->item[i];
        double y = (double)span.y;
        if (p.y == q.y) {
            status = kb_spans_add(y < p.y || (y == p.y && on_near) ? near : far, span, err);
            continue;
        }
        double at = crossing(p, q, span.y);
        at = on_near ? floor(at) + 1.0 : ceil(at);
        int32_t x = (int32_t)fmin(fmax(at, span.x0), span.x1);
        if (span.x0 < x) {
            status = kb_spans_add(near, (struct kb_span){span.y, span.x0, x, 0}, err);
        }
        if (status == KB_OK && x < span.x1) {
            status = kb_spans_add(far, (struct kb_span){span.y, x, span.x1, 0}, err);
        }
    }
    return status;
}

static int64_t pixels_of(const struct kb_spans *spans) {
    int64_t pixels = 0;
    for (size_t i = 0; i < spans->count; i++) {
        pixels += spans->item[i].x1 - spans->item[i].x0;
    }
    return pixels;
}

/* Both sides of a line; pixels right on it go to the larger one. */
static enum kb_status split(const struct kb_spans *spans, struct kb_point p, struct kb_point q,
                            struct kb_spans *near, struct kb_spans *far, struct kb_err *err) {
    enum kb_status status = split_so(spans, p, q, true, near, far, err);
    if (status == KB_OK && pixels_of(near) < pixels_of(far)) {
        status = split_so(spans, p, q, false, near, far, err);
    }
    return status;
}

/* Half of the chord over the lesser half-axis. */
static double neck_of(struct kb_point p, struct kb_point q, const struct kb_piece *one,
                      const struct kb_piece *other) {
    double lesser = 0.5 * fmin(one->minor, other->minor);
    return 0.5 * (hypot(q.x - p.x, q.y - p.y) + 1.0) / fmax(lesser, 0.5);
}

/* By how much both sides are rounder than such a cut asks for. Unlike at a neck, a round piece
 * alone is no evidence: the blunt end of a worm is round. */
static double margin_of(const struct kb_morphology_params *params, double neck,
                        const struct kb_piece *one, const struct kb_piece *other) {
    double both = 0.5 * (one->round + other->round);
    double least = fmin(one->round, other->round);
    if (one->on_frame != other->on_frame) {
        least = both = one->on_frame ? other->round : one->round;
    }
    return fmin(both - params->part_chord - params->part_round_neck * neck,
                least - params->part_chord_least);
}

struct best {
    double margin;
    struct kb_point p, q;
    struct kb_piece one, other;
};

static enum kb_status try_chord(const struct kb_spans *spans, const struct kb_window *window,
                                const struct kb_morphology_params *params,
                                const struct kb_piece *whole, struct kb_point p, struct kb_point q,
                                struct kb_chord_scratch *scratch, struct best *best,
                                struct kb_err *err) {
    struct kb_piece one = {0};
    struct kb_piece other = {0};
    enum kb_status status = split(spans, p, q, &scratch->near, &scratch->far, err);
    if (status != KB_OK || scratch->near.count == 0 || scratch->far.count == 0) {
        return status;
    }
    status = kb_piece_measure(&scratch->near, window, &scratch->hull, &one, err);
    if (status == KB_OK) {
        status = kb_piece_measure(&scratch->far, window, &scratch->hull, &other, err);
    }
    if (status != KB_OK) {
        return status;
    }
    double margin = margin_of(params, neck_of(p, q, &one, &other), &one, &other);
    double round = (one.area * one.round + other.area * other.round) / (one.area + other.area);
    if (margin > best->margin && round >= whole->round + params->part_gain) {
        *best = (struct best){margin, p, q, one, other};
    }
    return KB_OK;
}

/* The best cut of one piece; best->margin < 0 for none. */
static enum kb_status find_chord(const struct kb_spans *spans, const struct kb_window *window,
                                 const struct kb_morphology_params *params,
                                 struct kb_chord_scratch *scratch, struct best *best,
                                 struct kb_err *err) {
    struct kb_piece whole = {0};
    struct pockets pockets = {.least = scratch->depth_px};
    *best = (struct best){.margin = -HUGE_VAL};
    enum kb_status status = kb_piece_measure(spans, window, &scratch->hull, &whole, err);
    if (status != KB_OK || whole.solidity >= whole_solidity) {
        return status;
    }
    status = find_pockets(spans, &scratch->hull, scratch, &pockets, err);
    for (size_t i = 0; i < pockets.count && status == KB_OK; i++) {
        for (size_t k = i + 1; k < pockets.count && status == KB_OK; k++) {
            status = try_chord(spans, window, params, &whole, pockets.at[i], pockets.at[k], scratch,
                               best, err);
        }
    }
    return status;
}

static void paint(const struct kb_spans *spans, struct kb_window *window, uint32_t owner) {
    for (size_t i = 0; i < spans->count; i++) {
        const struct kb_span *span = &spans->item[i];
        uint32_t *row = window->owner + (size_t)span->y * (size_t)window->width;
        for (int32_t x = span->x0; x < span->x1; x++) {
            row[x] = owner;
        }
    }
}

enum kb_status kb_chords_cut(struct kb_window *window, const struct kb_morphology_params *params,
                             struct kb_chord_scratch *scratch, size_t *pieces, struct kb_err *err) {
    enum kb_status status = KB_OK;
    scratch->doubt = (struct kb_doubt){0.0, 0.0};
    for (size_t i = 0; i < *pieces && status == KB_OK; i++) {
        status = kb_window_spans(window, (uint32_t)i + 1, &scratch->piece, err);
        /* a small piece may be gone: a straight cut can pass beyond it (cut.c) */
        struct best best = {.margin = scratch->piece.count > 0 ? 0.0 : -HUGE_VAL};
        while (status == KB_OK && best.margin >= 0.0) {
            status = find_chord(&scratch->piece, window, params, scratch, &best, err);
            kb_doubt_add(best.margin, &best.one, &best.other, &scratch->doubt);
            if (status == KB_OK && best.margin >= 0.0) {
                status = split(&scratch->piece, best.p, best.q, &scratch->near, &scratch->far, err);
            }
            if (status == KB_OK && best.margin >= 0.0) {
                struct kb_spans rest = scratch->piece;
                paint(&scratch->far, window, (uint32_t)++ * pieces);
                scratch->piece = scratch->near;
                scratch->near = rest;
            }
        }
    }
    return status;
}

void kb_chords_release(struct kb_chord_scratch *scratch) {
    kb_spans_release(&scratch->piece);
    kb_spans_release(&scratch->near);
    kb_spans_release(&scratch->far);
    kb_hull_release(&scratch->hull);
    kb_free(scratch->step);
    *scratch = (struct kb_chord_scratch){0};
}
