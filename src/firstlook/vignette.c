/* vignette.c - a round field of view in a rectangular frame.
 *
 * At least three corners are black or white and even, in one level. From the four sides lines are
 * followed inwards to where the level is left; a circle is fitted through those points by least
 * squares (algebraic distance, Kasa, IEEE Trans. Instrum. Meas. 25 (1976) 8; quoted from memory),
 * three times, each time without the points farthest off. It is a vignette when the points lie on
 * the circle mostly within a hundredth or two of its radius. The rim may be soft: the radius is
 * drawn in to where the mean level along the circle is nearly that of the field within.
 */
#include "firstlook_priv.h"

#include <stdlib.h>

#define PER_SIDE 160
#define POINTS_MAX (4 * PER_SIDE)

struct point {
    double x, y;
};

struct circle {
    double x, y, radius;
};

struct rim {
    const struct kb_firstlook_frame *frame;
    int level; /* of the corners */
    int waver;
    struct point point[POINTS_MAX];
    size_t count;
};

/* ---- corners -----------------------------------------------------------------------------------
 */

/* Mean level of a small square at a corner, -1 when it is not even and not black or white. */
static int corner_level(const struct kb_firstlook_frame *frame, bool right, bool bottom) {
    struct kb_rect in = frame->inside;
    int32_t side = (in.width < in.height ? in.width : in.height) / 60 + 2;
    int32_t x0 = right ? in.x + in.width - side : in.x,
            y0 = bottom ? in.y + in.height - side : in.y;
    int64_t sum = 0, square = 0, n = (int64_t)side * side;
    for (int32_t y = y0; y < y0 + side; y++) {
        for (int32_t x = x0; x < x0 + side; x++) {
            int level = kb_row(kb_firstlook_grey(frame), y)[x];
            sum += level;
            square += level * level;
        }
    }
    double mean = (double)sum / (double)n, spread = (double)square / (double)n - mean * mean;
    static const double dark = 40.0, bright = 235.0, even = 6.0; /* levels */
    return (mean <= dark || mean >= bright) && spread <= even * even ? (int)(mean + 0.5) : -1;
}

static bool corners_agree(const struct kb_firstlook_frame *frame, int *level) {
    enum { CORNERS = 4, FEWEST = 3, APART = 15 };
    int corner[CORNERS], best = 0;
    for (int i = 0; i < CORNERS; i++) {
        corner[i] = corner_level(frame, i % 2 == 1, i / 2 == 1);
    }
    for (int i = 0; i < CORNERS; i++) {
        int alike = 0;
        for (int j = 0; j < CORNERS; j++) {
            alike += corner[j] >= 0 && abs(corner[i] - corner[j]) <= APART;
        }
        if (corner[i] >= 0 && alike > best) {
            best = alike;
            *level = corner[i];
        }
    }
    return best >= FEWEST;
}

/* ---- rim ---------------------------------------------------------------------------------------
 */

/* First of four pixels in a row that have left the level; -1: the side itself has, or none. */
static int32_t leaves(const struct rim *rim, const struct kb_firstlook_lines *lines, int32_t at) {
    enum { IN_A_ROW = 4, FROM_SIDE = 3 };
    int in_a_row = 0;
    for (int32_t depth = 0; depth < lines->depth / 2; depth++) {
        int level = lines->first[lines->along * at + lines->inward * depth];
        in_a_row = abs(level - rim->level) > rim->waver ? in_a_row + 1 : 0;
        if (in_a_row == IN_A_ROW) {
            int32_t first = depth + 1 - IN_A_ROW;
            return first >= FROM_SIDE ? first : -1;
        }
    }
    return -1;
}

static void trace(struct rim *rim) {
    for (int side = 0; side < KB_SIDES; side++) {
        struct kb_rect in = rim->frame->inside;
        struct kb_firstlook_lines lines =
            kb_firstlook_lines_of(kb_firstlook_grey(rim->frame), in, (enum kb_firstlook_side)side);
        for (int32_t i = 0; i < PER_SIDE; i++) {
            int32_t at = (int32_t)((2 * (int64_t)i + 1) * lines.length / (2 * PER_SIDE));
            int32_t depth = leaves(rim, &lines, at);
            if (depth < 0) {
                continue;
            }
            struct point point = {at, depth};
            if (side == KB_BOTTOM) {
                point.y = in.height - 1 - depth;
            } else if (side == KB_LEFT) {
                point = (struct point){depth, at};
            } else if (side == KB_RIGHT) {
                point = (struct point){in.width - 1 - depth, at};
            }
            rim->point[rim->count++] = point;
        }
    }
}

/* ---- circle ------------------------------------------------------------------------------------
 */

/* x^2 + y^2 = 2 a x + 2 b y + c, solved about the mean of the points. */
static bool fit(const struct point *point, size_t count, struct circle *circle) {
    double mx = 0.0, my = 0.0, xx = 0.0, xy = 0.0, yy = 0.0, xz = 0.0, yz = 0.0, z = 0.0;
    for (size_t i = 0; i < count; i++) {
        mx += point[i].x / (double)count;
        my += point[i].y / (double)count;
    }
    for (size_t i = 0; i < count; i++) {
        double u = point[i].x - mx, v = point[i].y - my, w = u * u + v * v;
        xx += u * u;
        xy += u * v;
        yy += v * v;
        xz += u * w;
        yz += v * w;
        z += w;
    }
    double det = 2.0 * (xx * yy - xy * xy);
    if (count < 3 || det <= 1e-9 * xx * yy) {
        return false;
    }
    double a = (xz * yy - yz * xy) / det, b = (yz * xx - xz * xy) / det;
    *circle = (struct circle){mx + a, my + b, sqrt(a * a + b * b + z / (double)count)};
    return true;
}

static double off_circle(const struct circle *circle, struct point p) {
    return hypot(p.x - circle->x, p.y - circle->y) - circle->radius;
}

/* Points nearer than `limit` come first; returns how many. */
static size_t keep_near(struct point *point, size_t count, const struct circle *circle,
                        double limit) {
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        if (fabs(off_circle(circle, point[i])) <= limit) {
            struct point near = point[i];
            point[i] = point[kept];
            point[kept++] = near;
        }
    }
    return kept;
}

static bool is_round(struct rim *rim, struct circle *circle) {
    enum { FEWEST = 60 };
    static const double agree = 0.7, within = 0.015;
    static const double limit[] = {0.1, 0.03, 0.015}; /* of the radius */
    size_t kept = rim->count;
    if (kept < FEWEST || !fit(rim->point, kept, circle)) {
        return false;
    }
    for (size_t i = 0; i < sizeof limit / sizeof *limit; i++) {
        kept = keep_near(rim->point, rim->count, circle, limit[i] * circle->radius);
        if (!fit(rim->point, kept, circle)) {
            return false;
        }
    }
    kept = keep_near(rim->point, rim->count, circle, fmax(2.0, within * circle->radius));
    double diagonal = hypot(rim->frame->inside.width, rim->frame->inside.height);
    return (double)kept >= agree * (double)rim->count && circle->radius < diagonal &&
           circle->radius > diagonal / 6.0;
}

static double level_along(const struct rim *rim, const struct circle *circle, double radius) {
    enum { ANGLES = 360 };
    struct kb_rect in = rim->frame->inside;
    double sum = 0.0, count = 0.0;
    for (int i = 0; i < ANGLES; i++) {
        double angle = 6.283185307179586 * i / ANGLES; /* 2 pi */
        double x = floor(circle->x + radius * cos(angle) + 0.5);
        double y = floor(circle->y + radius * sin(angle) + 0.5);
        if (x >= 0.0 && y >= 0.0 && x < in.width && y < in.height) {
            sum += kb_row(kb_firstlook_grey(rim->frame), in.y + (int32_t)y)[in.x + (int32_t)x];
            count += 1.0;
        }
    }
    return count > 0.0 ? sum / count : rim->level;
}

/* Draw the radius in to behind a soft rim, at most by a thirtieth. */
static void pass_soft_rim(const struct rim *rim, struct circle *circle) {
    static const double nearly = 0.9;
    double within = 0.0, radius = circle->radius;
    for (int i = 0; i < 5; i++) {
        within += level_along(rim, circle, circle->radius * (0.93 - 0.01 * i)) / 5.0;
    }
    while (radius > circle->radius * (1.0 - 1.0 / 30.0) &&
           fabs(level_along(rim, circle, radius) - rim->level) <
               nearly * fabs(within - rim->level)) {
        radius -= 1.0;
    }
    circle->radius = radius;
}

/* ---- mask --------------------------------------------------------------------------------------
 */

static void paint_around(const struct kb_firstlook_frame *frame, const struct circle *circle) {
    struct kb_rect in = frame->inside;
    double radius = circle->radius - KB_FIRSTLOOK_HALO;
    for (int32_t y = 0; y < in.height; y++) {
        double off = y - circle->y, half2 = radius * radius - off * off;
        double half = half2 > 0.0 ? sqrt(half2) : -1.0;
        int32_t x0 = (int32_t)fmin(fmax(ceil(circle->x - half), 0.0), in.width);
        int32_t x1 = (int32_t)fmin(fmax(floor(circle->x + half) + 1.0, 0.0), in.width);
        if (half < 0.0) {
            x0 = x1 = in.width;
        }
        kb_firstlook_paint(frame, (struct kb_rect){in.x, in.y + y, x0, 1});
        kb_firstlook_paint(frame, (struct kb_rect){in.x + x1, in.y + y, in.width - x1, 1});
    }
}

enum kb_status kb_firstlook_vignette(const struct kb_firstlook_frame *frame, struct kb_err *err) {
    struct circle circle;
    int level = 0;
    if (frame->inside.width < KB_FIRSTLOOK_SIDE_LEAST ||
        frame->inside.height < KB_FIRSTLOOK_SIDE_LEAST || !corners_agree(frame, &level)) {
        return KB_OK;
    }
    struct rim rim = {.frame = frame, .level = level, .waver = frame->waver + 20};
    trace(&rim);
    if (!is_round(&rim, &circle)) {
        return KB_OK;
    }
    pass_soft_rim(&rim, &circle);
    enum kb_status status = kb_firstlook_need_outside(frame, err);
    if (status == KB_OK) {
        status = kb_firstlook_note(frame, KB_MARK_VIGNETTE, frame->inside, 0.0, err);
    }
    if (status == KB_OK) {
        paint_around(frame, &circle);
    }
    return status;
}
