/* grey_edge.c - where along a label's border the grey passes midway between inside and outside.
 *
 * Inside is one grey a particle: the mean of what lies a few pixels within, outliers left out.
 * Outside is taken stretch by stretch, a few pixels off the border, averaged along it: graphite
 * that stands half in ferrite and half in pearlite has two levels. Other graphite and excluded
 * pixels are no ground. From each place of the border the grey is followed along the normal to the
 * nearest passage: the label decides what belongs together, the grey only where exactly it ends.
 *
 * The grey is smoothed with 3 x 3 binomial weights and bilinear between pixel centres: unsmoothed,
 * the bilinear surface of a sharp edge waves by a tenth of a pixel with the place of the edge
 * between the pixels (computed). All that adds to the blur, which is measured on the same surface
 * (how much of the step falls within 1.5 px to both sides of the passage) and taken back later.
 *
 * How much of the outline's raggedness can be noise at most is read off the ground: its own
 * waviness over 3 px along the loop, over the slope of the edge, moves a passage by as much.
 */
#include "subpixel_priv.h"

/* Outside is looked at here, px off the label's border: beyond the blur (99.9 % of the step at 3
 * sigma of 1.33 px, a microscope's 1 px and the smoothing), near enough to be the same
 * constituent. */
static const double ground_px[] = {4.0, 5.0};
enum { GROUNDS = sizeof ground_px / sizeof ground_px[0] };
enum { MARGIN_PX = 7 }; /* of the patch about the box: as far as ground is looked for */
/* The ground is averaged so far along the border to both sides, px: over some pearlite lamellae. */
static const double along_px = 6.0;
static const double walk_px = 0.5;      /* steps along the normal */
static const double noise_lag_px = 1.5; /* shows details of 3 px most: little but noise */
static const double flank_px = 1.5;     /* the blur is read between these, to both sides */
/* Samples farther off than this many mean deviations are no part of the particle's own grey. */
static const double outlier = 3.0;
static const double patch_scale = 1.0 / 16.0;

/* ---- the smoothed grey ------------------------------------------------------------------------
 */

static enum kb_status reserve_patch(struct kb_patch *patch, size_t width, size_t pixels,
                                    struct kb_err *err) {
    if (pixels > patch->capacity) {
        uint16_t *px = kb_resize(patch->px, pixels + pixels / 4, sizeof *px);
        if (px == NULL) {
            return kb_fail_memory(err, "morphology", (pixels + pixels / 4) * sizeof *px);
        }
        patch->px = px;
        patch->capacity = pixels + pixels / 4;
    }
    if (width > patch->row_capacity) {
        uint16_t *row = kb_resize(patch->row, 2 * width, sizeof *row);
        if (row == NULL) {
            return kb_fail_memory(err, "morphology", 2 * width * sizeof *row);
        }
        patch->row = row;
        patch->row_capacity = 2 * width;
    }
    return KB_OK;
}

static void smooth_row(const struct kb_patch *patch, const struct kb_image *grey, int32_t y) {
    const uint8_t *here = kb_row(grey, y) + patch->x;
    const uint8_t *above = kb_row(grey, y > 0 ? y - 1 : y) + patch->x;
    const uint8_t *below = kb_row(grey, y + 1 < grey->height ? y + 1 : y) + patch->x;
    size_t w = (size_t)patch->width;
    uint16_t *sum = patch->row;
    uint16_t *to = patch->px + (size_t)(y - patch->y) * w;
    for (size_t i = 0; i < w; i++) {
        sum[i] = (uint16_t)(above[i] + 2 * here[i] + below[i]);
    }
    to[0] = (uint16_t)(3 * sum[0] + sum[1]);
    for (size_t i = 1; i + 1 < w; i++) {
        to[i] = (uint16_t)(sum[i - 1] + 2 * sum[i] + sum[i + 1]);
    }
    to[w - 1] = (uint16_t)(3 * sum[w - 1] + sum[w - 2]);
}

enum kb_status kb_patch_take(struct kb_patch *patch, const struct kb_image *grey,
                             struct kb_rect box, struct kb_err *err) {
    int32_t x1 = box.x + box.width + MARGIN_PX;
    int32_t y1 = box.y + box.height + MARGIN_PX;
    patch->x = box.x > MARGIN_PX ? box.x - MARGIN_PX : 0;
    patch->y = box.y > MARGIN_PX ? box.y - MARGIN_PX : 0;
    patch->width = (x1 < grey->width ? x1 : grey->width) - patch->x;
    patch->height = (y1 < grey->height ? y1 : grey->height) - patch->y;
    size_t width = (size_t)patch->width;
    enum kb_status status = reserve_patch(patch, width, width * (size_t)patch->height, err);
    for (int32_t y = 0; y < patch->height && status == KB_OK; y++) {
        smooth_row(patch, grey, patch->y + y);
    }
    return status;
}

static double grey_at(const struct kb_patch *patch, double x, double y) {
    /* compared by hand: fmin() and fmax() are calls, for the sake of NaN, which cannot come here */
    x -= 0.5 + patch->x;
    y -= 0.5 + patch->y;
    x = x > 0.0 ? x : 0.0;
    y = y > 0.0 ? y : 0.0;
    int32_t column = (int32_t)x;
    int32_t row = (int32_t)y;
    column = column < patch->width - 2 ? column : patch->width - 2;
    row = row < patch->height - 2 ? row : patch->height - 2;
    double u = x - column;
    double v = y - row;
    u = u < 1.0 ? u : 1.0;
    v = v < 1.0 ? v : 1.0;
    const uint16_t *upper = patch->px + (size_t)row * (size_t)patch->width + (size_t)column;
    const uint16_t *lower = upper + patch->width;
    double above = upper[0] + u * (upper[1] - upper[0]);
    double below = lower[0] + u * (lower[1] - lower[0]);
    return (above + v * (below - above)) * patch_scale;
}

double kb_share_at(const struct kb_shares *shares, struct kb_point at) {
    return (shares->outside - grey_at(shares->patch, at.x, at.y)) /
           (shares->outside - shares->inside);
}

/* Grey `t` px outwards of place i. */
static double grey_along(const struct kb_patch *patch, const struct kb_loop *loop, size_t i,
                         double t) {
    return grey_at(patch, loop->base[i].x + t * loop->out[i].x,
                   loop->base[i].y + t * loop->out[i].y);
}

/* ---- levels -----------------------------------------------------------------------------------
 */

/* Mean of the numbers, those far off left out. */
static double robust_mean(const double *value, size_t n) {
    enum { ROUNDS = 3 };
    double mean = 0.0;
    double reach = HUGE_VAL;
    for (int round = 0; round < ROUNDS; round++) {
        double sum = 0.0;
        double count = 0.0;
        double deviation = 0.0;
        for (size_t i = 0; i < n; i++) {
            bool kept = fabs(value[i] - mean) <= reach;
            sum += kept ? value[i] : 0.0;
            count += kept ? 1.0 : 0.0;
        }
        mean = count > 0.0 ? sum / count : mean;
        for (size_t i = 0; i < n; i++) {
            deviation += fmin(fabs(value[i] - mean), reach);
        }
        reach = outlier * deviation / (double)n + 1.0; /* never within the grey's own step */
    }
    return mean;
}

/* Label of the pixel `t` px outwards of place i; excluded beyond the frame. */
static uint8_t label_along(const struct kb_image *label, const struct kb_loop *loop, size_t i,
                           double t) {
    double x = loop->base[i].x + t * loop->out[i].x;
    double y = loop->base[i].y + t * loop->out[i].y;
    if (x < 0.0 || y < 0.0 || x >= label->width || y >= label->height) {
        return KB_EXCLUDED;
    }
    return kb_row(label, (int32_t)y)[(int32_t)x];
}

/* Grey of the ground off place i, NaN where there is none. */
static double ground_at(const struct kb_edge_rules *rules, const struct kb_patch *patch,
                        const struct kb_loop *loop, size_t i) {
    double sum = 0.0;
    int count = 0;
    for (; count < GROUNDS; count++) {
        uint8_t label = label_along(rules->label, loop, i, ground_px[count]);
        if (label == KB_GRAPHITE || label == KB_EXCLUDED) {
            break; /* what lies behind is no ground of this border */
        }
        sum += grey_along(patch, loop, i, ground_px[count]);
    }
    return count > 0 ? sum / count : (double)NAN;
}

/* Sum and number of what is known. */
struct tally {
    double sum, count;
};

static void count_in(struct tally *tally, double value, double sign) {
    if (!isnan(value)) {
        tally->sum += sign * value;
        tally->count += sign;
    }
}

/* Running mean round the loop over `reach` places to both sides, of what is known; the mean of all
 * where nothing is. Returns that mean, NaN when nothing is known at all. */
static double mean_along(double *value, double *copy, size_t n, size_t reach) {
    struct tally all = {0.0, 0.0};
    for (size_t i = 0; i < n; i++) {
        copy[i] = value[i];
        count_in(&all, value[i], 1.0);
    }
    double mean = all.count > 0.0 ? all.sum / all.count : (double)NAN;
    if (2 * reach + 1 >= n) {
        for (size_t i = 0; i < n; i++) {
            value[i] = mean;
        }
        return mean;
    }
    struct tally near = {0.0, 0.0};
    for (size_t i = 0; i < 2 * reach; i++) {
        count_in(&near, copy[i < reach ? n - 1 - i : i - reach], 1.0);
    }
    size_t enters = reach;
    size_t leaves = n - reach;
    for (size_t i = 0; i < n; i++) {
        count_in(&near, copy[enters], 1.0);
        value[i] = near.count > 0.5 ? near.sum / near.count : mean;
        count_in(&near, copy[leaves], -1.0);
        enters = enters + 1 < n ? enters + 1 : 0;
        leaves = leaves + 1 < n ? leaves + 1 : 0;
    }
    return mean;
}

/* Of white noise of power 1 after the smoothing along a row, at places so many px apart: 1 4 6 4 1
 * sixteenths, linear between. */
static double correlation(double px) {
    static const double at[] = {6.0 / 16.0, 4.0 / 16.0, 1.0 / 16.0, 0.0};
    int i = (int)px;
    return i < 3 ? at[i] + (px - i) * (at[i + 1] - at[i]) : 0.0;
}

/* Power of the ground's noise along the loop, grey^2 px, smoothing along the loop set aside: from
 * how far each place is off the middle of those some way to both sides. */
static double ground_noise(const struct kb_loop *loop) {
    size_t n = loop->count;
    double step = loop->length / (double)n;
    size_t lag = (size_t)fmax(noise_lag_px / step + 0.5, 1.0);
    struct tally squares = {0.0, 0.0};
    for (size_t i = 0; i < n; i++) {
        size_t before = i >= lag ? i - lag : i + n - lag;
        size_t after = i + lag < n ? i + lag : i + lag - n;
        double off = loop->ground[i] - 0.5 * (loop->ground[before] + loop->ground[after]);
        count_in(&squares, off * off, 1.0);
    }
    double apart = (double)lag * step;
    double share =
        1.5 * correlation(0.0) - 2.0 * correlation(apart) + 0.5 * correlation(2.0 * apart);
    return squares.count > 0.0 ? squares.sum / (squares.count * share) : HUGE_VAL;
}

bool kb_edge_ground(const struct kb_edge_rules *rules, const struct kb_patch *patch,
                    struct kb_loop *loop, struct kb_edge_figures *figures) {
    size_t n = loop->count;
    for (size_t i = 0; i < n; i++) {
        bool cut = loop->kind[i] == KB_EDGE_CUT;
        loop->ground[i] = cut ? (double)NAN : ground_at(rules, patch, loop, i);
    }
    figures->ground_noise = ground_noise(loop);
    size_t reach = (size_t)fmax(along_px * (double)n / loop->length, 1.0);
    figures->outside = mean_along(loop->ground, loop->scratch, n, reach);
    return !isnan(figures->outside);
}

bool kb_edge_levels(const struct kb_edge_rules *rules, const struct kb_patch *patch,
                    const struct kb_border_mask *mask, const struct kb_core *core,
                    struct kb_loop *loop, struct kb_edge_figures *figures) {
    size_t within = 0;
    for (size_t i = 0; i < loop->count; i++) {
        double x = loop->base[i].x - core->depth * loop->out[i].x;
        double y = loop->base[i].y - core->depth * loop->out[i].y;
        double far = (x - core->centre.x) * core->along.x + (y - core->centre.y) * core->along.y;
        if (fabs(far) <= core->half_length && kb_border_inside(mask, x, y)) {
            loop->scratch[within++] = grey_at(patch, x, y);
        }
    }
    if (within == 0) {
        return false;
    }
    figures->inside = robust_mean(loop->scratch, within);
    return kb_edge_ground(rules, patch, loop, figures);
}

/* ---- passages ---------------------------------------------------------------------------------
 */

/* How far outwards of place i the grey passes `level`; `sign` +1 where outside is the brighter
 * side. NaN beyond reach. */
static double passage(const struct kb_edge_rules *rules, const struct kb_patch *patch,
                      const struct kb_loop *loop, size_t i, double level, double sign) {
    double here = sign * (grey_along(patch, loop, i, 0.0) - level);
    const double way = here < 0.0 ? 1.0 : -1.0;
    const int steps = (int)(rules->reach_px / walk_px);
    for (int k = 1; k <= steps; k++) {
        double next = sign * (grey_along(patch, loop, i, way * walk_px * k) - level);
        if ((next < 0.0) != (here < 0.0)) {
            return way * walk_px * (k - next / (next - here));
        }
        here = next;
    }
    return NAN;
}

/* Standard deviation of the Gaussian of whose integral `share` falls within the flanks. */
static double sigma_of_share(double share) {
    const double root_half = 0.70710678118654752440;
    double low = 0.5;              /* px: less than the smoothing alone */
    double high = 4.0;             /* px: nothing is sharp */
    for (int i = 0; i < 24; i++) { /* to 2e-7 px */
        double middle = 0.5 * (low + high);
        if (erf(flank_px * root_half / middle) > share) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return 0.5 * (low + high);
}

void kb_edge_find(const struct kb_edge_rules *rules, const struct kb_patch *patch,
                  struct kb_loop *loop, struct kb_edge_figures *figures) {
    const double sign = figures->outside > figures->inside ? 1.0 : -1.0;
    struct tally share = {0.0, 0.0};
    double asked = 0.0;
    for (size_t i = 0; i < loop->count; i++) {
        loop->point[i] = loop->base[i];
        if (loop->kind[i] == KB_EDGE_CUT) {
            continue;
        }
        asked += 1.0;
        loop->kind[i] = KB_EDGE_PIXEL;
        double step = sign * (loop->ground[i] - figures->inside);
        double level = 0.5 * (loop->ground[i] + figures->inside);
        double t = step < rules->least_contrast ? (double)NAN
                                                : passage(rules, patch, loop, i, level, sign);
        if (isnan(t)) {
            continue;
        }
        loop->kind[i] = KB_EDGE_GREY;
        loop->point[i].x += t * loop->out[i].x;
        loop->point[i].y += t * loop->out[i].y;
        double flanks =
            grey_along(patch, loop, i, t + flank_px) - grey_along(patch, loop, i, t - flank_px);
        count_in(&share, sign * flanks / step, 1.0);
    }
    figures->found = asked > 0.0 ? share.count / asked : 0.0;
    figures->sigma = share.count > 0.0 ? sigma_of_share(share.sum / share.count) : 0.0;
    /* grey passes the midway with this slope, per px; a coefficient takes its share of the length
     */
    double slope = fabs(figures->outside - figures->inside) / (figures->sigma * sqrt(2.0 * KB_PI));
    loop->most_noise = figures->ground_noise / (slope * slope * loop->length);
}
