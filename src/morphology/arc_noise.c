/* arc_noise.c - the outline without its noise.
 *
 * The outline is taken as a closed curve x + i y in its length and written as a Fourier series.
 * Noise of the grey moves every place along its normal by some hundredths of a pixel, which would
 * lengthen the perimeter and, since a hull goes through the outermost points, widen the Feret
 * diameter. What is known of that noise: details of 2.5 to 4 px are almost all noise, since blur
 * leaves little of true ones; the noise of coarser details has the same density but for the 3 x 3
 * smoothing of the grey, whose share cos^4(pi f) of the power at f turns a pixel is known. A ragged
 * outline has true details in that band, too: so its noise is at most what the ground's own noise
 * explains (grey_edge.c). Without that bound ragged particles of 10 to 20 px would be smoothed as
 * if they were noisy, and one in four to one in ten of them taken for nodules. So each coefficient
 * c of power p is kept to the share max(0, 1 - weight * noise / p): the positive-part shrinkage of
 * James and Stein (Proc. 4th Berkeley Symp. 1 (1961) 361) for one coefficient. Details that rise
 * clearly above noise stay as they are, what does not is left out. The weight was chosen on discs
 * and ellipses: with less, discs of 8 to 14 px in strong noise read too long, with more, narrow
 * ellipses lose their tips (refs/subpixel_bias.csv is with this one).
 *
 * Details shorter than three times the blur carry no more than noise and are cut off softly.
 */
#include "subpixel_priv.h"

static const double weight = 5.0;
/* Band of details that are taken for noise, turns a pixel. */
static const double noise_from = 0.25;
static const double noise_to = 0.40;
/* Details are kept in full from this many times the blur on, and not at all below that many. */
static const double kept_full = 6.0;
static const double kept_none = 3.0;
static const double sharpest_px = 0.7; /* the 3 x 3 smoothing alone blurs by that much */
enum { LEAST_FINE = 128 };             /* a circle's area is then 0.04 % short */

double kb_fourier_order(size_t i, size_t count) {
    return i < count / 2 ? (double)i : (double)i - (double)count;
}

/* Put in the order of reversed bits. */
static void shuffle(struct kb_point *z, size_t count) {
    for (size_t i = 1, j = 0; i < count; i++) {
        size_t bit = count / 2;
        for (; (j & bit) != 0; bit /= 2) {
            j ^= bit;
        }
        j ^= bit;
        if (i < j) {
            struct kb_point swap = z[i];
            z[i] = z[j];
            z[j] = swap;
        }
    }
}

/* Cooley and Tukey, Math. Comp. 19 (1965) 297. */
void kb_fourier(const struct kb_loop *loop, struct kb_point *z, size_t count, bool inverse) {
    const double side = inverse ? 1.0 : -1.0;
    shuffle(z, count);
    for (size_t first = 0; first + 1 < count; first += 2) { /* the first round turns nothing */
        struct kb_point a = z[first];
        struct kb_point b = z[first + 1];
        z[first] = (struct kb_point){a.x + b.x, a.y + b.y};
        z[first + 1] = (struct kb_point){a.x - b.x, a.y - b.y};
    }
    for (size_t half = 2; half < count; half *= 2) {
        size_t stride = loop->turns / half;
        for (size_t first = 0; first < count; first += 2 * half) {
            for (size_t k = 0; k < half; k++) {
                double c = loop->turn[k * stride].x;
                double s = side * loop->turn[k * stride].y;
                struct kb_point *a = &z[first + k];
                struct kb_point *b = &z[first + k + half];
                struct kb_point t = {b->x * c - b->y * s, b->x * s + b->y * c};
                *b = (struct kb_point){a->x - t.x, a->y - t.y};
                *a = (struct kb_point){a->x + t.x, a->y + t.y};
            }
        }
    }
}

/* Turns a pixel of coefficient i. The first order makes the circle itself: details are counted from
 * there. */
static double frequency_of(const struct kb_loop *loop, size_t i) {
    return fmax(fabs(kb_fourier_order(i, loop->count)) - 1.0, 0.0) / loop->length;
}

static double power_of(struct kb_point c) {
    return c.x * c.x + c.y * c.y;
}

/* Share of the noise's power that the smoothing of the grey lets through. */
static double smoothing_share(double frequency) {
    double c = cos(KB_PI * frequency);
    return c * c * c * c;
}

double kb_noise_pass(const struct kb_loop *loop, size_t i, double sigma) {
    double blur = fmax(sigma, sharpest_px);
    double full = 1.0 / (kept_full * blur);
    double none = 1.0 / (kept_none * blur);
    double frequency = frequency_of(loop, i);
    if (frequency <= full) {
        return 1.0;
    }
    if (frequency >= none) {
        return 0.0;
    }
    return 0.5 + 0.5 * cos(KB_PI * (frequency - full) / (none - full));
}

double kb_noise_kept(const struct kb_loop *loop, size_t i, struct kb_point c, double sigma) {
    double pass = kb_noise_pass(loop, i, sigma);
    double power = power_of(c);
    if (!(pass > 0.0) || !(power > 0.0)) {
        return 0.0;
    }
    double noise = weight * loop->noise * smoothing_share(frequency_of(loop, i));
    return pass * fmax(0.0, 1.0 - noise / power);
}

double kb_noise_power(const struct kb_loop *loop, const struct kb_point *z) {
    double power = 0.0;
    double count = 0.0;
    for (size_t i = 2; i < loop->count; i++) {
        double f = frequency_of(loop, i);
        if (f >= noise_from && f <= noise_to) {
            power += power_of(z[i]) / smoothing_share(f);
            count += 1.0;
        }
    }
    return count > 0.0 ? fmin(power / count, loop->most_noise) : 0.0;
}

void kb_noise_remove(struct kb_loop *loop, double sigma) {
    size_t n = loop->count;
    double scale = 1.0 / (double)n;
    for (size_t i = 0; i < n; i++) {
        loop->z[i] = (struct kb_point){loop->point[i].x * scale, loop->point[i].y * scale};
    }
    kb_fourier(loop, loop->z, n, false);
    loop->noise = kb_noise_power(loop, loop->z);
    for (size_t i = 2; i < n; i++) { /* place and size stand above any noise */
        double kept = kb_noise_kept(loop, i, loop->z[i], sigma);
        loop->z[i].x *= kept;
        loop->z[i].y *= kept;
    }
}

void kb_loop_draw(struct kb_loop *loop) {
    size_t n = loop->count;
    size_t m = n > LEAST_FINE ? n : LEAST_FINE;
    for (size_t i = 0; i < m; i++) {
        loop->fine[i] = (struct kb_point){0.0, 0.0};
    }
    for (size_t i = 0; i < n; i++) {
        if (i != n / 2) { /* that one has no direction, and was cut off anyway */
            loop->fine[i < n / 2 ? i : m - n + i] = loop->z[i];
        }
    }
    loop->fine_count = m;
    kb_fourier(loop, loop->fine, m, true);
}
