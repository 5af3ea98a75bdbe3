/* feret.c - maximum and minimum Feret diameter by rotating callipers.
 *
 * Shamos' callipers (thesis, Yale 1978) walk once round the hull: the longest
 * distance is found between opposite corners, the least width between an edge and its opposite
 * corner; linear in the corners.
 *
 * The hull of pixel centres is smaller than the thing that was photographed, that of pixel corners
 * larger. Half a pixel added to the diameter over the centres has the least bias of the shape
 * factor near the limit 0.6, where it decides (computed over random positions; the table is in
 * refs/feret_bias.csv). The same half pixel goes on the minimum, whose loss over the centres is 1
 * px on discs and between 0 and 1 px on straight sides, by their direction (computed): so it is
 * right to half a pixel. An outline at sub-pixel precision needs nothing added.
 */
#include "morphology_priv.h"

#include <math.h>

static const double pi = 3.14159265358979323846;

struct extent {
    double length; /* px */
    struct kb_point along;
};

static struct kb_point minus(struct kb_point a, struct kb_point b) {
    return (struct kb_point){a.x - b.x, a.y - b.y};
}

static double length_of(struct kb_point p) {
    return sqrt(p.x * p.x + p.y * p.y);
}

/* Twice the area of the triangle over the edge a-b with its tip at c. */
static double triangle(struct kb_point a, struct kb_point b, struct kb_point c) {
    return fabs((b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x));
}

static void lengthen(struct extent *longest, struct kb_point a, struct kb_point b) {
    struct kb_point along = minus(a, b);
    double length = length_of(along);
    if (length > longest->length) {
        *longest = (struct extent){length, along};
    }
}

static void turn_round(const struct kb_hull *hull, struct extent *longest, struct extent *least) {
    const struct kb_point *p = hull->corner;
    size_t n = hull->count;
    size_t far = 1;
    least->length = HUGE_VAL;
    for (size_t i = 0; i < n; i++) {
        struct kb_point a = p[i];
        struct kb_point b = p[i + 1 < n ? i + 1 : 0];
        double height = triangle(a, b, p[far]);
        for (;;) {
            size_t next = far + 1 < n ? far + 1 : 0;
            double higher = triangle(a, b, p[next]);
            if (!(higher > height)) {
                break;
            }
            far = next;
            height = higher;
            lengthen(longest, a, p[far]);
        }
        lengthen(longest, a, p[far]);
        lengthen(longest, b, p[far]);
        struct kb_point edge = minus(b, a);
        double width = height / length_of(edge);
        if (width < least->length) {
            *least = (struct extent){width, {-edge.y, edge.x}};
        }
    }
}

/* Counter-clockwise from the row with y up, in [0, pi). */
static double angle_of(struct kb_point along) {
    if (!(length_of(along) > 0.0)) {
        return 0.0;
    }
    double angle = atan2(-along.y, along.x);
    if (angle < 0.0) {
        angle += pi;
    }
    return angle < pi && angle > 0.0 ? angle : 0.0;
}

void kb_feret_measure(const struct kb_hull *hull, double added, struct kb_particle *particle) {
    struct extent longest = {0.0, {0.0, 0.0}};
    struct extent least = {0.0, {0.0, 0.0}};
    if (hull->count == 2) {
        lengthen(&longest, hull->corner[0], hull->corner[1]);
        least.along = (struct kb_point){-longest.along.y, longest.along.x};
    } else if (hull->count > 2) {
        turn_round(hull, &longest, &least);
    }
    particle->feret_max_px = longest.length + added;
    particle->feret_max_angle = angle_of(longest.along);
    particle->feret_min_px = least.length + added;
    particle->feret_min_angle = angle_of(least.along);
    particle->aspect = particle->feret_max_px / particle->feret_min_px;
}
