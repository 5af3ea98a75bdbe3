/* hull.c - convex hull of the pixel centres of a region, or of the points of an outline.
 *
 * Both sides are built from top to bottom by Andrew's monotone chain (Inf. Proc. Lett. 9 (1979)
 * 216). Of pixels only the first and the last of each row can be corners; their places are whole
 * numbers, which a double holds exactly, so that the corners are exact and no three of them lie on
 * a line. Points of an outline are first put in rows by bins. The cost is linear either way.
 *
 * The hull's area is told in pixels: by Pick's theorem the lattice points in and on a lattice
 * polygon are area + border / 2 + 1, with border the lattice points along the edges. A region
 * without any notch therefore has exactly the solidity 1, whatever its size or direction, and none
 * has more.
 */
#include "morphology_priv.h"

static double turn(struct kb_point a, struct kb_point b, struct kb_point c) {
    return (c.x - a.x) * (b.y - a.y) - (c.y - a.y) * (b.x - a.x);
}

/* Put a point on the stack chain[0 .. count), first dropping those it makes needless; side is +1
 * for the left chain, -1 for the right one. */
static size_t push(struct kb_point *chain, size_t count, struct kb_point point, double side) {
    while (count >= 2 && side * turn(chain[count - 2], chain[count - 1], point) <= 0.0) {
        count--;
    }
    chain[count] = point;
    return count + 1;
}

static bool same(struct kb_point a, struct kb_point b) {
    return !(a.x < b.x) && !(a.x > b.x) && !(a.y < b.y) && !(a.y > b.y);
}

static enum kb_status reserve(struct kb_hull *hull, size_t count, struct kb_err *err) {
    if (count <= hull->capacity) {
        return KB_OK;
    }
    struct kb_point *grown = kb_resize(hull->corner, 2 * count, sizeof *grown);
    if (grown == NULL) {
        return kb_fail_memory(err, "morphology", 2 * count * sizeof *grown);
    }
    hull->corner = grown;
    hull->capacity = 2 * count;
    return KB_OK;
}

/* Left chain down, then right chain up: one round. */
static size_t close_round(struct kb_point *left, size_t lefts, const struct kb_point *right,
                          size_t rights) {
    size_t count = lefts;
    for (size_t i = rights; i-- > 0;) {
        if (!same(right[i], left[count - 1]) && !same(right[i], left[0])) {
            left[count++] = right[i];
        }
    }
    return count;
}

enum kb_status kb_hull_make(const struct kb_spans *spans, struct kb_hull *hull,
                            struct kb_err *err) {
    size_t rows = (size_t)(spans->item[spans->count - 1].y - spans->item[0].y) + 1;
    /* the right chain is built behind the space that the whole round may take */
    enum kb_status status = reserve(hull, 3 * rows, err);
    if (status != KB_OK) {
        return status;
    }
    struct kb_point *left = hull->corner;
    struct kb_point *right = hull->corner + 2 * rows;
    size_t lefts = 0;
    size_t rights = 0;
    for (size_t i = 0; i < spans->count; i++) {
        const struct kb_span *span = &spans->item[i];
        if (i == 0 || spans->item[i - 1].y != span->y) {
            lefts = push(left, lefts, (struct kb_point){span->x0, span->y}, 1.0);
        }
        if (i + 1 == spans->count || spans->item[i + 1].y != span->y) {
            rights = push(right, rights, (struct kb_point){span->x1 - 1, span->y}, -1.0);
        }
    }
    hull->count = close_round(left, lefts, right, rights);
    return KB_OK;
}

/* ---- any points -------------------------------------------------------------------------------
 */

static bool before(struct kb_point a, struct kb_point b) {
    return a.y < b.y || (!(a.y > b.y) && a.x < b.x);
}

/* Sort by y, then x: into as many bins of equal height as there are points, then by insertion,
 * which has little left to do. `sorted` and `bin` have room for count and count + 1. */
static void sort_rows(struct kb_point *point, size_t count, struct kb_point *sorted, size_t *bin) {
    double low = point[0].y;
    double high = point[0].y;
    for (size_t i = 1; i < count; i++) {
        low = point[i].y < low ? point[i].y : low;
        high = point[i].y > high ? point[i].y : high;
    }
    double scale = high > low ? (double)(count - 1) / (high - low) : 0.0;
    for (size_t i = 0; i <= count; i++) {
        bin[i] = 0;
    }
    for (size_t i = 0; i < count; i++) {
        bin[(size_t)((point[i].y - low) * scale) + 1]++;
    }
    for (size_t i = 1; i <= count; i++) {
        bin[i] += bin[i - 1];
    }
    for (size_t i = 0; i < count; i++) {
        sorted[bin[(size_t)((point[i].y - low) * scale)]++] = point[i];
    }
    for (size_t i = 0; i < count; i++) {
        struct kb_point at = sorted[i];
        size_t k = i;
        for (; k > 0 && before(at, point[k - 1]); k--) {
            point[k] = point[k - 1];
        }
        point[k] = at;
    }
}

enum kb_status kb_hull_make_of(struct kb_point *point, size_t count, struct kb_hull *hull,
                               struct kb_err *err) {
    /* the right chain is built behind the space that the whole round may take; the bins of the
     * sorting lie there before it */
    enum kb_status status = reserve(hull, 4 * count + 4, err);
    if (status != KB_OK) {
        return status;
    }
    struct kb_point *left = hull->corner;
    struct kb_point *right = hull->corner + 2 * count;
    sort_rows(point, count, left, (size_t *)right);
    size_t lefts = 0;
    size_t rights = 0;
    for (size_t i = 0; i < count; i++) {
        lefts = push(left, lefts, point[i], 1.0);
        rights = push(right, rights, point[i], -1.0);
    }
    hull->count = close_round(left, lefts, right, rights);
    return KB_OK;
}

/* ---- sizes ------------------------------------------------------------------------------------
 */

static int64_t common_divisor(int64_t a, int64_t b) {
    a = a < 0 ? -a : a;
    b = b < 0 ? -b : b;
    while (b != 0) {
        int64_t rest = a % b;
        a = b;
        b = rest;
    }
    return a;
}

double kb_hull_area(const struct kb_hull *hull) {
    double twice = 0.0;
    struct kb_point o = hull->corner[0];
    for (size_t i = 0; i < hull->count; i++) {
        struct kb_point a = hull->corner[i];
        struct kb_point b = hull->corner[(i + 1) % hull->count];
        twice += (a.x - o.x) * (b.y - o.y) - (b.x - o.x) * (a.y - o.y);
    }
    return fabs(twice) / 2.0;
}

double kb_hull_pixels(const struct kb_hull *hull) {
    int64_t border = 0;
    for (size_t i = 0; i < hull->count; i++) {
        struct kb_point a = hull->corner[i];
        struct kb_point b = hull->corner[(i + 1) % hull->count];
        border += common_divisor((int64_t)(b.x - a.x), (int64_t)(b.y - a.y));
    }
    return kb_hull_area(hull) + (double)border / 2.0 + 1.0;
}

void kb_hull_release(struct kb_hull *hull) {
    kb_free(hull->corner);
    *hull = (struct kb_hull){NULL, 0, 0};
}
