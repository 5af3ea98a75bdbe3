/* hull.c - convex hull of the pixel centres of a region.
 *
 * Only the first and the last pixel of each row can be corners. Both sides are built from top to
 * bottom by Andrew's monotone chain (Inf. Proc. Lett. 9 (1979) 216), in whole numbers, so that the
 * corners are exact and no three of them lie on a line. The cost is linear in the number of runs.
 *
 * The hull's area is told in pixels: by Pick's theorem the lattice points in and on a lattice
 * polygon are area + border / 2 + 1, with border the lattice points along the edges. A region
 * without any notch therefore has exactly the solidity 1, whatever its size or direction, and none
 * has more.
 */
#include "morphology_priv.h"

static int64_t turn(struct kb_point a, struct kb_point b, struct kb_point c) {
    return (int64_t)(c.x - a.x) * (b.y - a.y) - (int64_t)(c.y - a.y) * (b.x - a.x);
}

/* Put a point on the stack chain[0 .. count), first dropping those it makes needless; side is +1
 * for the left chain, -1 for the right one. */
static size_t push(struct kb_point *chain, size_t count, struct kb_point point, int side) {
    while (count >= 2 && side * turn(chain[count - 2], chain[count - 1], point) <= 0) {
        count--;
    }
    chain[count] = point;
    return count + 1;
}

static bool same(struct kb_point a, struct kb_point b) {
    return a.x == b.x && a.y == b.y;
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
            lefts = push(left, lefts, (struct kb_point){span->x0, span->y}, 1);
        }
        if (i + 1 == spans->count || spans->item[i + 1].y != span->y) {
            rights = push(right, rights, (struct kb_point){span->x1 - 1, span->y}, -1);
        }
    }
    hull->count = close_round(left, lefts, right, rights);
    return KB_OK;
}

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

double kb_hull_pixels(const struct kb_hull *hull) {
    int64_t twice_area = 0;
    int64_t border = 0;
    for (size_t i = 0; i < hull->count; i++) {
        struct kb_point a = hull->corner[i];
        struct kb_point b = hull->corner[(i + 1) % hull->count];
        twice_area += (int64_t)a.x * b.y - (int64_t)b.x * a.y;
        border += common_divisor(b.x - a.x, b.y - a.y);
    }
    twice_area = twice_area < 0 ? -twice_area : twice_area;
    return (double)(twice_area + border) / 2.0 + 1.0;
}

void kb_hull_release(struct kb_hull *hull) {
    kb_free(hull->corner);
    *hull = (struct kb_hull){NULL, 0, 0};
}
