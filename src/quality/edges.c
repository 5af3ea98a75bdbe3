/* edges.c - how wide the passage between two phases is.
 *
 * Edge points are taken where rows and columns at even distances cross the outline of graphite (of
 * pearlite, where there is no graphite). Across each, along the grey gradient, a profile is read,
 * averaged over three parallel lines one pixel apart; it is followed to both sides until it no
 * longer falls or rises, and the distance between 10 and 90 % of that step is the width. A Gaussian
 * blur of standard deviation s makes a sharp edge 2.563 s wide. Of all widths in a quarter of the
 * field the lower quartile stands for it: graphite that dips under the surface, or a ragged
 * outline, has soft edges also in good focus, but no edge is sharper than the lens made it. The
 * softest quarter decides, so that a tilted section is seen.
 */
#include "quality_priv.h"

#include <string.h>

#define REACH 16         /* pixels to either side */
#define SCAN_LINES 96    /* rows, and as many columns */
#define POINTS_MOST 2000 /* in a quarter of the field */
#define STEP_LEAST 12.0  /* grey levels */
#define QUARTERS 4

struct edge_points {
    const struct kb_look *look;
    bool inside[256]; /* labels on one side of the edge */
    double tolerance; /* grey levels by which a profile may waver, noise */
    double width[QUARTERS][POINTS_MOST];
    size_t count[QUARTERS];
};

static double grey_at(const struct kb_image *grey, double x, double y) {
    int32_t x0 = (int32_t)x, y0 = (int32_t)y; /* far from the frame: above 0 */
    double fx = x - x0, fy = y - y0;
    const uint8_t *a = kb_row(grey, y0) + x0, *b = kb_row(grey, y0 + 1) + x0;
    return (1.0 - fy) * ((1.0 - fx) * a[0] + fx * a[1]) + fy * ((1.0 - fx) * b[0] + fx * b[1]);
}

static bool far_from_frame(const struct kb_image *grey, int32_t x, int32_t y) {
    int32_t margin = REACH + 3;
    return x >= margin && y >= margin && x < grey->width - margin && y < grey->height - margin;
}

/* Gradient over 5 x 5 pixels. */
static void gradient_at(const struct kb_image *grey, int32_t x, int32_t y, double *gx, double *gy) {
    *gx = *gy = 0.0;
    for (int32_t j = -2; j <= 2; j++) {
        const uint8_t *row = kb_row(grey, y + j) + x;
        for (int32_t i = -2; i <= 2; i++) {
            *gx += i * row[i];
            *gy += j * row[i];
        }
    }
}

/* From the middle one way until the profile turns; where it ends. */
static int follow(const double profile[2 * REACH + 1], int step, double tolerance) {
    int best = REACH;
    for (int i = REACH + step; i >= 0 && i <= 2 * REACH; i += step) {
        double gain = (profile[i] - profile[best]) * step;
        if (gain > 0.0) {
            best = i;
        } else if (gain < -tolerance || (i - best) * step > 3) {
            break;
        }
    }
    return best;
}

/* Where the rising profile passes `level`, between from and to. */
static double passes(const double *profile, int from, int to, double level) {
    for (int i = from; i < to; i++) {
        if (profile[i] <= level && profile[i + 1] > level) {
            return i + (level - profile[i]) / (profile[i + 1] - profile[i]);
        }
    }
    return NAN;
}

static double width_of(const double profile[2 * REACH + 1], double tolerance) {
    int low = follow(profile, -1, tolerance), high = follow(profile, 1, tolerance);
    double step = profile[high] - profile[low];
    if (step < fmax(STEP_LEAST, 6.0 * tolerance)) {
        return NAN;
    }
    return passes(profile, low, high, profile[low] + 0.9 * step) -
           passes(profile, low, high, profile[low] + 0.1 * step);
}

static void measure_at(struct edge_points *points, int32_t x, int32_t y) {
    const struct kb_image *grey = &points->look->field->grey;
    int quarter = (x >= grey->width / 2) + 2 * (y >= grey->height / 2);
    if (!far_from_frame(grey, x, y) || points->count[quarter] >= POINTS_MOST) {
        return;
    }
    double gx = 0.0, gy = 0.0;
    gradient_at(grey, x, y, &gx, &gy);
    double size = sqrt(gx * gx + gy * gy);
    if (size < 50.0 * 1.5) { /* 50: the mask's answer to a slope of one level a pixel */
        return;
    }
    double profile[2 * REACH + 1];
    double ux = gx / size, uy = gy / size;
    for (int i = -REACH; i <= REACH; i++) {
        double sum = 0.0;
        for (int side = -1; side <= 1; side++) {
            sum += grey_at(grey, x + i * ux - side * uy, y + i * uy + side * ux);
        }
        profile[i + REACH] = sum / 3.0;
    }
    double width = width_of(profile, points->tolerance);
    if (!isnan(width)) {
        points->width[quarter][points->count[quarter]++] = width;
    }
}

/* Every place on a row (or column) where the label enters or leaves the chosen side. */
static void scan(struct edge_points *points, int32_t at, bool column) {
    const struct kb_image *label = &points->look->map->label;
    int32_t length = column ? label->height : label->width;
    size_t stride = column ? label->stride : 1;
    const uint8_t *px = column ? label->px + at : kb_row(label, at);
    for (int32_t i = 1; i < length; i++) {
        uint8_t before = px[(size_t)(i - 1) * stride], here = px[(size_t)i * stride];
        if (points->inside[before] != points->inside[here] && before != KB_EXCLUDED &&
            here != KB_EXCLUDED) {
            measure_at(points, column ? at : i, column ? i : at);
        }
    }
}

void kb_quality_edges(const struct kb_look *look, struct kb_edge_widths *widths) {
    static const double quartile = 0.25;
    struct edge_points points = {.look = look};
    bool graphite = look->seen.share[KB_GRAPHITE] > 0.005; /* else of pearlite */
    points.inside[graphite ? KB_GRAPHITE : KB_PEARLITE] = true;
    points.tolerance = fmax(1.0, look->seen.noise); /* about twice that of a mean of three */
    const struct kb_image *label = &look->map->label;
    for (int32_t i = 0; i < SCAN_LINES; i++) {
        scan(&points, (int32_t)((2 * (int64_t)i + 1) * label->height / (2 * SCAN_LINES)), false);
        scan(&points, (int32_t)((2 * (int64_t)i + 1) * label->width / (2 * SCAN_LINES)), true);
    }
    *widths = (struct kb_edge_widths){NAN, NAN, 0};
    for (int i = 0; i < QUARTERS; i++) {
        widths->points += points.count[i];
        if (points.count[i] >= KB_EDGES_LEAST) {
            double width = kb_quality_quantile(points.width[i], points.count[i], quartile);
            widths->px = fmax(widths->px, width); /* NaN loses */
            widths->sharpest_px = fmin(widths->sharpest_px, width);
        }
    }
}
