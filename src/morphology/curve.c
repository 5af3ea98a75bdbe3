/* curve.c - area, length and moments of finished outlines, as polygons of closely spaced points.
 *
 * Sums over the edges by Green's theorem; those of several loops add up, a hole's with the opposite
 * sign since it runs the other way. The points are at most 1 px apart and at least 128: a polygon
 * of 128 points in a circle has 0.04 % less area and 0.01 % less length.
 */
#include "subpixel_priv.h"

void kb_curve_add(const struct kb_loop *loop, struct kb_curve_sums *sums) {
    size_t n = loop->fine_count;
    if (!(sums->perimeter > 0.0)) {
        sums->origin = loop->fine[0];
    }
    const struct kb_point o = sums->origin;
    double ax = loop->fine[n - 1].x - o.x;
    double ay = loop->fine[n - 1].y - o.y;
    for (size_t i = 0; i < n; i++) {
        double bx = loop->fine[i].x - o.x;
        double by = loop->fine[i].y - o.y;
        double twice = ax * by - ay * bx; /* area of the triangle from the origin */
        sums->area += twice / 2.0;
        sums->perimeter += sqrt((bx - ax) * (bx - ax) + (by - ay) * (by - ay));
        sums->x += twice * (ax + bx) / 6.0;
        sums->y += twice * (ay + by) / 6.0;
        sums->xx += twice * (ax * ax + ax * bx + bx * bx) / 12.0;
        sums->yy += twice * (ay * ay + ay * by + by * by) / 12.0;
        sums->xy += twice * (2.0 * ax * ay + ax * by + bx * ay + 2.0 * bx * by) / 24.0;
        ax = bx;
        ay = by;
    }
}

struct kb_axes kb_curve_axes(const struct kb_curve_sums *sums) {
    double x = sums->x / sums->area;
    double y = sums->y / sums->area;
    double xx = sums->xx / sums->area - x * x;
    double yy = sums->yy / sums->area - y * y;
    double xy = sums->xy / sums->area - x * y;
    double middle = (xx + yy) / 2.0;
    double spread = sqrt((xx - yy) * (xx - yy) / 4.0 + xy * xy);
    return (struct kb_axes){
        .centre = {sums->origin.x + x, sums->origin.y + y},
        .semi_a = 2.0 * sqrt(fmax(middle + spread, 0.0)),
        .semi_b = 2.0 * sqrt(fmax(middle - spread, 0.0)),
        .angle = 0.5 * atan2(2.0 * xy, xx - yy),
    };
}
