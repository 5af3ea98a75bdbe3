/* resin.c - mounting resin beside the specimen.
 *
 * On the small picture, in squares of eight pixels: from each side inwards, square by square, as
 * long as the squares are even and have the level of the side. That is resin only when
 * - it begins along three fifths of the side or more, without a gap, and makes up a twentieth of
 *   the frame or more;
 * - its border is smooth, a straight line or a slight bend (a parabola fits within a square or so);
 * - the specimen behind the border is brighter nearly all along: metal reflects, resin does not;
 * - the level and evenness of the resin hardly occur in the rest of the frame: smooth ferrite or
 *   polished metal occurs everywhere.
 * Anything less is left alone and nothing is said: a large graphite region or a smooth grain at the
 * side must be measured. The border is then placed where the level is left, pixel by pixel of
 * the small picture.
 */
#include "firstlook_priv.h"

#include <stdlib.h>

#define SQUARE 8        /* pixels of the small picture */
#define SQUARES_MAX 132 /* along a side: above the small picture's longest */

struct square {
    double level, spread;
};

struct view {
    const struct kb_firstlook_small *small;
    enum kb_firstlook_side side;
    struct kb_firstlook_lines lines; /* of the small picture */
    int32_t across, deep;            /* squares along the side and inwards */
};

struct resin {
    double level, spread;       /* of the resin; greatest spread that counts as even */
    int32_t first, end;         /* squares along the side where it begins */
    int32_t depth[SQUARES_MAX]; /* squares inwards, by square along the side */
};

static struct square square_at(const struct view *view, int32_t along, int32_t inward) {
    double sum = 0.0, square = 0.0;
    for (int32_t j = 0; j < SQUARE; j++) {
        const uint8_t *px = view->lines.first + view->lines.inward * (inward * SQUARE + j) +
                            view->lines.along * (along * SQUARE);
        for (int32_t i = 0; i < SQUARE; i++) {
            double level = px[view->lines.along * i];
            sum += level;
            square += level * level;
        }
    }
    const double n = SQUARE * SQUARE;
    double mean = sum / n;
    return (struct square){mean, sqrt(fmax(square / n - mean * mean, 0.0))};
}

static int by_value(const void *a, const void *b) {
    double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

/* Level and spread of the resin from the outermost squares, if it is resin. */
static void describe(const struct view *view, struct resin *resin) {
    double level[SQUARES_MAX], spread[SQUARES_MAX];
    for (int32_t i = 0; i < view->across; i++) {
        struct square square = square_at(view, i, 0);
        level[i] = square.level;
        spread[i] = square.spread;
    }
    qsort(level, (size_t)view->across, sizeof *level, by_value);
    qsort(spread, (size_t)view->across, sizeof *spread, by_value);
    /* Resin takes up most of the side and is the darkest there: a third up is in its midst. */
    resin->level = level[view->across / 3];
    resin->spread = fmax(2.5, 2.0 * spread[view->across / 3]);
}

static bool is_resin(const struct resin *resin, struct square square) {
    static const double apart = 12.0; /* levels: resin is lit unevenly too */
    return fabs(square.level - resin->level) <= apart && square.spread <= resin->spread;
}

static void follow(const struct view *view, struct resin *resin) {
    for (int32_t i = 0; i < view->across; i++) {
        int32_t depth = 0;
        /* One square in a row may be a filler grain or a bubble. */
        while (depth < view->deep && (is_resin(resin, square_at(view, i, depth)) ||
                                      (depth > 0 && depth + 1 < view->deep &&
                                       is_resin(resin, square_at(view, i, depth + 1)) &&
                                       is_resin(resin, square_at(view, i, depth - 1))))) {
            depth++;
        }
        resin->depth[i] = depth;
    }
}

/* The longest stretch of the side without a gap. */
static int32_t stretch(const struct view *view, struct resin *resin) {
    int32_t longest = 0, begun = 0;
    for (int32_t i = 0; i <= view->across; i++) {
        if (i == view->across || resin->depth[i] == 0) {
            if (i - begun > longest) {
                longest = i - begun;
                resin->first = begun;
                resin->end = i;
            }
            begun = i + 1;
        }
    }
    return longest;
}

/* ---- border ------------------------------------------------------------------------------------
 */

/* Parabola through the depths by least squares, about the middle so that the sums stay small. */
static void parabola(const struct resin *resin, double c[3]) {
    double n = resin->end - resin->first, middle = (resin->first + resin->end - 1) / 2.0;
    double s2 = 0.0, s4 = 0.0, d0 = 0.0, d1 = 0.0, d2 = 0.0;
    for (int32_t i = resin->first; i < resin->end; i++) {
        double u = i - middle;
        s2 += u * u;
        s4 += u * u * u * u;
        d0 += resin->depth[i];
        d1 += u * resin->depth[i];
        d2 += u * u * resin->depth[i];
    }
    double det = n * s4 - s2 * s2;
    c[1] = s2 > 0.0 ? d1 / s2 : 0.0;
    c[0] = det > 0.0 ? (d0 * s4 - d2 * s2) / det : d0 / n;
    c[2] = det > 0.0 ? (n * d2 - s2 * d0) / det : 0.0;
}

/* Whether the border keeps to its parabola. Where it strays inwards it is drawn back to it: dark
 * structure touches the resin there. */
static bool border_is_smooth(struct resin *resin) {
    static const double off_most = 1.2, near = 0.9; /* squares; share of them that keep to it */
    double c[3], middle = (resin->first + resin->end - 1) / 2.0;
    int32_t keep = 0;
    parabola(resin, c);
    for (int32_t i = resin->first; i < resin->end; i++) {
        double u = i - middle;
        double fitted = c[0] + c[1] * u + c[2] * u * u;
        keep += fabs(resin->depth[i] - fitted) <= off_most;
        if (resin->depth[i] > fitted + off_most) {
            resin->depth[i] = (int32_t)fmax(fitted + 0.5, 1.0);
        }
    }
    return keep >= near * (resin->end - resin->first);
}

/* Nearly all along, the squares behind the border are legibly brighter or the frame ends. */
static bool specimen_is_brighter(const struct view *view, const struct resin *resin) {
    static const double brighter = 30.0, nearly_all = 0.9; /* levels */
    int32_t seen = 0, bright = 0;
    for (int32_t i = resin->first; i < resin->end; i++) {
        double level = 0.0;
        int32_t behind = resin->depth[i] + 1;
        if (behind + 4 > view->deep) {
            return false; /* it goes through to the other side */
        }
        for (int32_t k = 0; k < 4; k++) {
            level = fmax(level, square_at(view, i, behind + k).level);
        }
        seen++;
        bright += level >= resin->level + brighter;
    }
    return bright >= nearly_all * seen;
}

static bool occurs_elsewhere(const struct view *view, const struct resin *resin) {
    static const double hardly = 0.03;
    int32_t count = 0, rest = 0;
    for (int32_t i = 0; i < view->across; i++) {
        bool on_side = i >= resin->first && i < resin->end;
        for (int32_t k = on_side ? resin->depth[i] + 1 : 0; k < view->deep; k++) {
            rest++;
            count += is_resin(resin, square_at(view, i, k));
        }
    }
    return count > hardly * rest;
}

static int32_t area(const struct resin *resin) {
    int32_t sum = 0;
    for (int32_t i = resin->first; i < resin->end; i++) {
        sum += resin->depth[i];
    }
    return sum;
}

static bool look_from(const struct view *view, struct resin *resin) {
    static const double along = 0.6, part = 0.05;
    describe(view, resin);
    follow(view, resin);
    return stretch(view, resin) >= along * view->across &&
           area(resin) >= part * view->across * view->deep && border_is_smooth(resin) &&
           specimen_is_brighter(view, resin) && !occurs_elsewhere(view, resin);
}

/* ---- mask --------------------------------------------------------------------------------------
 */

/* Pixels inwards, of the small picture, to where the level of the resin is left. */
static int32_t border_at(const struct view *view, const struct resin *resin, int32_t at) {
    int32_t from = (resin->depth[at / SQUARE] - 1) * SQUARE;
    int32_t to = from + 4 * SQUARE < view->lines.depth ? from + 4 * SQUARE : view->lines.depth;
    int32_t depth = from;
    while (depth < to) {
        int level = view->lines.first[view->lines.along * at + view->lines.inward * depth];
        if (fabs(level - resin->level) > 20.0 && depth >= from + SQUARE / 2) {
            break;
        }
        depth++;
    }
    return depth;
}

/* A rectangle of the view's small picture in the field. */
static struct kb_rect in_field(const struct view *view, int32_t at, int32_t depth) {
    const struct kb_firstlook_small *small = view->small;
    int32_t f = small->factor, deep = depth * f + KB_FIRSTLOOK_HALO;
    struct kb_rect used = {small->from.x, small->from.y, small->grey.width * f,
                           small->grey.height * f};
    /* What division by the factor left over at the far sides belongs to the strip too. */
    int32_t rest_x = small->from.width - used.width, rest_y = small->from.height - used.height;
    switch (view->side) {
    case KB_TOP:
        return (struct kb_rect){used.x + at * f, used.y, f, deep};
    case KB_BOTTOM:
        return (struct kb_rect){used.x + at * f, used.y + used.height - deep, f, deep + rest_y};
    case KB_LEFT:
        return (struct kb_rect){used.x, used.y + at * f, deep, f};
    default:
        return (struct kb_rect){used.x + used.width - deep, used.y + at * f, deep + rest_x, f};
    }
}

static enum kb_status note_resin(const struct kb_firstlook_frame *frame, const struct view *view,
                                 const struct resin *resin, struct kb_err *err) {
    enum kb_status status = kb_firstlook_need_outside(frame, err);
    if (status != KB_OK) {
        return status;
    }
    int32_t deepest = 0, begin = resin->first * SQUARE;
    int32_t end = resin->end == view->across ? view->lines.length : resin->end * SQUARE;
    for (int32_t at = begin; at < end; at++) {
        int32_t square = at / SQUARE < resin->end ? at : (resin->end - 1) * SQUARE;
        int32_t depth = border_at(view, resin, square);
        deepest = depth > deepest ? depth : deepest;
        kb_firstlook_paint(frame, in_field(view, at, depth));
    }
    struct kb_rect a = in_field(view, begin, deepest), b = in_field(view, end - 1, deepest);
    struct kb_rect box = {a.x, a.y, b.x + b.width - a.x, b.y + b.height - a.y};
    return kb_firstlook_note(frame, KB_MARK_RESIN, box, 0.0, err);
}

enum kb_status kb_firstlook_resin(const struct kb_firstlook_frame *frame,
                                  const struct kb_firstlook_small *small, struct kb_err *err) {
    const struct kb_image *grey = &small->grey;
    enum { FEWEST = 12 }; /* squares: less is no side to be looked along */
    enum kb_status status = KB_OK;
    for (int side = 0; status == KB_OK && side < KB_SIDES; side++) {
        struct view view = {.small = small, .side = (enum kb_firstlook_side)side};
        view.lines = kb_firstlook_lines_of(grey, (struct kb_rect){0, 0, grey->width, grey->height},
                                           view.side);
        view.across = view.lines.length / SQUARE;
        view.deep = view.lines.depth / SQUARE;
        struct resin resin = {.level = 0.0};
        if (view.across >= FEWEST && view.deep >= FEWEST && view.across <= SQUARES_MAX &&
            look_from(&view, &resin)) {
            status = note_resin(frame, &view, &resin, err);
        }
    }
    return status;
}
