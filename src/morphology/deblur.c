/* deblur.c - the outline as it was before the picture was blurred.
 *
 * Blur draws the passage midway towards the inside of every bend: by about sigma^2 / 2R on a radius
 * R, 0.2 px on a disc of 8 px. To first order the outline is smoothed along its length by the same
 * Gaussian, so that a detail of angular frequency w keeps exp(-sigma^2 w^2 / 2) of itself: this is
 * divided out where the outline bends gently.
 *
 * Small and narrow particles need the whole truth. With p along a closed curve, the Gaussian blur
 * of its inside is, at a place q,
 *
 *   B(q) = 1 / 2 pi  closed integral of (1 - exp(-r^2 / 2 sigma^2)) / r^2  (p - q) x dp,  r = |p -
 * q|
 *
 * (Green's theorem with the Gaussian integrated along the radius), smooth and so summed with few
 * points to great precision. Wanted is the curve whose B is the level at which the outline was
 * found, all along it. First its ellipse is solved for (Newton, on the two half axes), which takes
 * back what blur does to length and width together; the curve is stretched by as much. Then each
 * place is moved along its normal by what B still lacks there over the slope of a straight edge.
 *
 * Whether the tip of a narrow particle is blunt or sharp hardly shows in B: what blur did to a tip
 * would stay in the stretched curve. So narrow particles begin from the ellipse itself and move
 * away from it, in two rounds, only by what the picture demands.
 *
 * A particle too narrow to reach its own grey in the middle shows a lesser step: midway is then not
 * half of the true step, but half of what the model shows in the middle.
 */
#include "subpixel_priv.h"

static const double most_gain = 4.5; /* of a detail; e^1.5: more would be noise */
/* Width to length up to which the ellipse stands for what blur hides, and from which it does not.
 */
static const double narrow = 0.4;
static const double wide = 0.6;
enum { ROUNDS_NARROW = 2 };

void kb_deblur_gentle(struct kb_loop *loop, double sigma) {
    size_t n = loop->count;
    double step = 2.0 * KB_PI * sigma / loop->length;
    for (size_t i = 1; i < n; i++) {
        if (kb_noise_pass(loop, i, sigma) <= 0.0) {
            continue;
        }
        double w = step * kb_fourier_order(i, n);
        double gain = fmin(exp(0.5 * w * w), most_gain);
        loop->z[i].x *= gain;
        loop->z[i].y *= gain;
    }
}

/* (1 - exp(-w)) / w and exp(-w) for w >= 0. */
static double kernel(double w, double *decay) {
    const double tiny = 1e-6; /* here 1 - w / 2 is right to 13 digits */
    const double far = 32.0;  /* here exp(-w) is below 2e-14 */
    *decay = w < far ? exp(-w) : 0.0;
    return w > tiny ? (1.0 - *decay) / w : 1.0 - 0.5 * w;
}

/* ---- the ellipse ------------------------------------------------------------------------------
 */

/* A blurred ellipse somewhere on one of its axes, and how that grows with the half axes. */
struct shown {
    double value, by_a, by_b;
};

/* By the midpoint rule over half a turn that begins on the axis of the place: the other half is its
 * mirror image. */
static struct shown show(const struct kb_loop *loop, double a, double b, struct kb_point at,
                         double sigma) {
    enum { POINTS = 64 }; /* whole turn: at most 1.6 px apart on what comes here */
    const double scale = 0.5 / (sigma * sigma);
    const size_t stride = 2 * loop->turns / POINTS;
    struct shown shown = {0.0, 0.0, 0.0};
    for (size_t i = 0; i < POINTS / 2; i++) {
        struct kb_point t = loop->turn[i * stride + stride / 2];
        /* the half turn that begins on the axis of the place */
        double c = at.x > 0.0 ? t.x : -t.y;
        double s = at.x > 0.0 ? t.y : t.x;
        double dx = a * c - at.x;
        double dy = b * s - at.y;
        double decay = 0.0;
        double k = kernel((dx * dx + dy * dy) * scale, &decay);
        shown.value += k * (dx * b * c + dy * a * s);
        shown.by_a += decay * c * b * c;
        shown.by_b += decay * s * a * s;
    }
    const double weight = 2.0 * scale * 2.0 / POINTS; /* 2: for the other half */
    return (struct shown){0.5 * weight * shown.value, weight * shown.by_a, weight * shown.by_b};
}

/* Half axes of the ellipse that, blurred, passes the level where the seen one does. */
static bool solve_axes(const struct kb_loop *loop, const struct kb_axes *seen, double sigma,
                       double level, double *a, double *b) {
    enum { ROUNDS = 20 };
    const double close = 1e-4;         /* px */
    const double stride = 0.5 * sigma; /* at most, a round: beyond, nothing is straight */
    const double least = 0.25 * sigma;
    *a = seen->semi_a + 0.5 * sigma * sigma / seen->semi_a;
    *b = seen->semi_b + 0.5 * sigma * sigma / seen->semi_b;
    for (int round = 0; round < ROUNDS; round++) {
        struct shown half = {level, 0.0, 0.0};
        if (!(level > 0.0)) {
            half = show(loop, *a, *b, (struct kb_point){0.0, 0.0}, sigma);
            half = (struct shown){0.5 * half.value, 0.5 * half.by_a, 0.5 * half.by_b};
        }
        struct shown tip = show(loop, *a, *b, (struct kb_point){seen->semi_a, 0.0}, sigma);
        struct shown flank = show(loop, *a, *b, (struct kb_point){0.0, seen->semi_b}, sigma);
        double tip_lacks = half.value - tip.value;
        double flank_lacks = half.value - flank.value;
        double aa = tip.by_a - half.by_a;
        double ab = tip.by_b - half.by_b;
        double ba = flank.by_a - half.by_a;
        double bb = flank.by_b - half.by_b;
        double determinant = aa * bb - ab * ba;
        double more_a = (tip_lacks * bb - flank_lacks * ab) / determinant;
        double more_b = (flank_lacks * aa - tip_lacks * ba) / determinant;
        double move = fmax(fabs(more_a), fabs(more_b));
        if (!isfinite(move)) {
            return false;
        }
        double cut = move > stride ? stride / move : 1.0;
        *a = fmax(*a + cut * more_a, least);
        *b = fmax(*b + cut * more_b, least);
        if (move < close) {
            return true;
        }
    }
    return false;
}

/* Stretch the series about the centre by `along` in the direction of the major axis and `across` to
 * it: w = m z + d conj(z), with m the mean and d half the difference, turned twice the angle. */
static void stretch(struct kb_loop *loop, const struct kb_axes *axes, double along, double across) {
    size_t n = loop->count;
    double m = 0.5 * (along + across);
    double dx = 0.5 * (along - across) * cos(2.0 * axes->angle);
    double dy = 0.5 * (along - across) * sin(2.0 * axes->angle);
    loop->z[0].x -= axes->centre.x;
    loop->z[0].y -= axes->centre.y;
    for (size_t i = 0; i <= n / 2; i++) {
        size_t k = (n - i) % n;
        struct kb_point p = loop->z[i];
        struct kb_point q = loop->z[k]; /* its conjugate is what conj(z) has at i */
        loop->z[i] =
            (struct kb_point){m * p.x + dx * q.x + dy * q.y, m * p.y + dy * q.x - dx * q.y};
        if (k != i) {
            loop->z[k] =
                (struct kb_point){m * q.x + dx * p.x + dy * p.y, m * q.y + dy * p.x - dx * p.y};
        }
    }
    loop->z[0].x += axes->centre.x;
    loop->z[0].y += axes->centre.y;
}

/* Leave that share of what the curve has beside its ellipse. */
static void lean_on_ellipse(struct kb_loop *loop, double share) {
    for (size_t i = 2; i + 1 < loop->count && share < 1.0; i++) {
        loop->z[i].x *= share;
        loop->z[i].y *= share;
    }
}

/* ---- the curve itself -------------------------------------------------------------------------
 */

/* B at a place, from `n` points of the curve and their derivatives by the turn. */
static double blurred(const struct kb_point *curve, const struct kb_point *slope, size_t n,
                      struct kb_point at, double sigma) {
    const double scale = 0.5 / (sigma * sigma);
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        double dx = curve[i].x - at.x;
        double dy = curve[i].y - at.y;
        double decay = 0.0;
        sum += kernel((dx * dx + dy * dy) * scale, &decay) * (dx * slope[i].y - dy * slope[i].x);
    }
    return sum * scale / (double)n;
}

/* Move every place by what B lacks there. */
static void settle(struct kb_loop *loop, const struct kb_axes *axes, double sigma, double level) {
    size_t n = loop->count;
    struct kb_point *curve = loop->fine;
    struct kb_point *slope = loop->fine + n;
    struct kb_point *move = loop->fine + 2 * n;
    for (size_t i = 0; i < n; i++) {
        double order = i == n / 2 ? 0.0 : kb_fourier_order(i, n);
        curve[i] = loop->z[i];
        slope[i] = (struct kb_point){-order * loop->z[i].y, order * loop->z[i].x};
    }
    kb_fourier(loop, curve, n, true);
    kb_fourier(loop, slope, n, true);
    if (!(level > 0.0)) {
        level = 0.5 * blurred(curve, slope, n, axes->centre, sigma);
    }
    const double px = sigma * sqrt(2.0 * KB_PI) / (double)n; /* over the slope of a straight edge */
    for (size_t i = 0; i < n; i++) {
        double lacks = 0.0;
        if (loop->kind[i] == KB_EDGE_GREY) {
            lacks = level - blurred(curve, slope, n, loop->point[i], sigma);
        }
        move[i] = (struct kb_point){px * lacks * loop->out[i].x, px * lacks * loop->out[i].y};
    }
    kb_fourier(loop, move, n, false);
    loop->noise = kb_noise_power(loop, move);
    for (size_t i = 0; i < n; i++) {
        double kept = i < 2 ? 1.0 : kb_noise_kept(loop, i, move[i], sigma);
        loop->z[i].x += kept * move[i].x;
        loop->z[i].y += kept * move[i].y;
    }
}

/* The half length `a` of the solved ellipse as far as the grey beyond the seen ends bears it out.
 */
static double bear_out(const struct kb_loop *loop, const struct kb_axes *seen, double sigma,
                       double a, double b, const struct kb_shares *shares) {
    const struct kb_point axis = {cos(seen->angle), sin(seen->angle)};
    struct kb_end end = {
        .way = axis,
        .seen = seen->semi_a,
        .beyond = a - seen->semi_a,
        .if_pointed = show(loop, a, b, (struct kb_point){a, 0.0}, sigma).value,
        .sigma = sigma,
    };
    if (!(end.beyond > 0.0)) {
        return a;
    }
    const double one = kb_end_beyond(loop, shares, &end);
    end.way = (struct kb_point){-axis.x, -axis.y};
    const double other = kb_end_beyond(loop, shares, &end);
    return seen->semi_a + 0.5 * (one + other);
}

bool kb_deblur_model(struct kb_loop *loop, double sigma, double level,
                     const struct kb_shares *shares) {
    struct kb_curve_sums sums = {0};
    kb_loop_draw(loop);
    kb_curve_add(loop, &sums);
    if (!(sums.area > 0.0)) {
        return false;
    }
    const struct kb_axes seen = kb_curve_axes(&sums);
    double a = 0.0;
    double b = 0.0;
    if (!(seen.semi_b > 0.0) || !solve_axes(loop, &seen, sigma, level, &a, &b)) {
        return false;
    }
    a = bear_out(loop, &seen, sigma, a, b, shares);
    stretch(loop, &seen, a / seen.semi_a, b / seen.semi_b);
    const double kept = fmin(fmax((b / a - narrow) / (wide - narrow), 0.0), 1.0);
    lean_on_ellipse(loop, kept);
    for (int round = 0; round < (kept < 1.0 ? ROUNDS_NARROW : 1); round++) {
        settle(loop, &seen, sigma, level);
    }
    return true;
}
