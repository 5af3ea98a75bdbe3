/* moments.c - area, centroid, box and ellipse of a region, from its spans.
 *
 * The region is taken as the union of its pixel squares, so each second moment carries the 1/12 of
 * a unit square. The ellipse of equal second moments has the full axes 4 sqrt(eigenvalue): a filled
 * ellipse with semi-axis a has the second moment a^2 / 4 along it. Sums are taken about the middle
 * of the box, which keeps them exact in a double for any region below some 10^7 pixels.
 */
#include "morphology_priv.h"

struct sums {
    double n, x, y, xx, xy, yy;
};

static struct kb_rect box_of(const struct kb_spans *spans) {
    const struct kb_span *first = &spans->item[0];
    const struct kb_span *last = &spans->item[spans->count - 1];
    int32_t x0 = first->x0;
    int32_t x1 = first->x1;
    for (size_t i = 1; i < spans->count; i++) {
        x0 = spans->item[i].x0 < x0 ? spans->item[i].x0 : x0;
        x1 = spans->item[i].x1 > x1 ? spans->item[i].x1 : x1;
    }
    return (struct kb_rect){x0, first->y, x1 - x0, last->y - first->y + 1};
}

/* Sums of 1, x, y, xx, xy, yy over pixel centres at integer + 0.5. */
static struct sums sum_up(const struct kb_spans *spans, int32_t x_origin, int32_t y_origin) {
    struct sums sums = {0};
    for (size_t i = 0; i < spans->count; i++) {
        const struct kb_span *span = &spans->item[i];
        double n = (double)(span->x1 - span->x0);
        double a = (double)(span->x0 - x_origin) + 0.5;
        double y = (double)(span->y - y_origin) + 0.5;
        double steps = n * (n - 1.0) / 2.0; /* 0 + 1 + ... + n - 1 */
        double x = n * a + steps;
        sums.n += n;
        sums.x += x;
        sums.y += n * y;
        sums.xx += n * a * a + 2.0 * a * steps + steps * (2.0 * n - 1.0) / 3.0;
        sums.xy += x * y;
        sums.yy += n * y * y;
    }
    return sums;
}

void kb_moments_measure(const struct kb_spans *spans, struct kb_particle *particle) {
    static const double pixel_moment = 1.0 / 12.0; /* of a unit square about its centre */
    struct kb_rect box = box_of(spans);
    int32_t x_origin = box.x + box.width / 2;
    int32_t y_origin = box.y + box.height / 2;
    struct sums sums = sum_up(spans, x_origin, y_origin);
    double x = sums.x / sums.n;
    double y = sums.y / sums.n;
    double xx = sums.xx / sums.n - x * x + pixel_moment;
    double yy = sums.yy / sums.n - y * y + pixel_moment;
    double xy = sums.xy / sums.n - x * y;
    double middle = (xx + yy) / 2.0;
    double spread = sqrt((xx - yy) * (xx - yy) / 4.0 + xy * xy);
    particle->area_px2 = sums.n;
    particle->box = box;
    particle->x_px = x + (double)x_origin;
    particle->y_px = y + (double)y_origin;
    particle->major_px = 4.0 * sqrt(middle + spread);
    particle->minor_px = 4.0 * sqrt(fmax(middle - spread, 0.0));
}
