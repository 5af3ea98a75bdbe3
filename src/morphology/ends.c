/* ends.c - how far a small, narrow particle reaches: pointed ends and blunt ones.
 *
 * The model of deblur.c makes an ellipse of what is seen. The ends of a narrow ellipse are so thin
 * that blur hides much of them, and the model gives them back. A particle with blunt ends (a
 * stroke, two dots in touch) is hidden far less, and the same length would be too much. The grey
 * tells the two apart: beyond the seen end it fades slowly along a point, and as fast as the blur
 * itself off a blunt end. So at the place where the ellipse would end it is asked how dark the grey
 * is, between what the blurred ellipse would show there and what a blunt end would show that lies
 * where the grey has fallen to half of what the end shows at its darkest.
 *
 * Limits: what lies beyond the end (another particle, a speck) makes it look pointed; nothing is
 * ever lengthened.
 */
#include "subpixel_priv.h"

/* A point within this share of what the ellipse would show is a point: noise of the grey. */
static const double pointed_enough = 0.6;
static const double walk_px = 0.1;
/* Shares that differ by less cannot be told apart. */
static const double least_difference = 0.03;

/* Place of the outline that reaches farthest along `way`. */
static struct kb_point farthest(const struct kb_loop *loop, struct kb_point way) {
    struct kb_point tip = loop->fine[0];
    double most = -HUGE_VAL;
    for (size_t i = 0; i < loop->fine_count; i++) {
        const double reach = loop->fine[i].x * way.x + loop->fine[i].y * way.y;
        if (reach > most) {
            most = reach;
            tip = loop->fine[i];
        }
    }
    return tip;
}

static double share_beyond(const struct kb_shares *shares, struct kb_point tip, struct kb_point way,
                           double by) {
    return kb_share_at(shares, (struct kb_point){tip.x + by * way.x, tip.y + by * way.y});
}

double kb_end_beyond(const struct kb_loop *loop, const struct kb_shares *shares,
                     const struct kb_end *end) {
    const struct kb_point tip = farthest(loop, end->way);
    double darkest = 0.0;
    const int steps = (int)(end->seen / walk_px);
    for (int i = 0; i <= steps; i++) {
        darkest = fmax(darkest, share_beyond(shares, tip, end->way, -walk_px * i));
    }
    double blunt = 0.0; /* so far beyond the seen end would a blunt one lie */
    while (blunt < end->beyond && share_beyond(shares, tip, end->way, blunt) > 0.5 * darkest) {
        blunt += walk_px;
    }
    const double past = (end->beyond - blunt) / end->sigma;
    const double if_blunt = 0.5 * darkest * erfc(past / sqrt(2.0));
    if (end->if_pointed - if_blunt < least_difference) {
        return end->beyond;
    }
    const double shown = share_beyond(shares, tip, end->way, end->beyond);
    const double pointed = (shown - if_blunt) / (end->if_pointed - if_blunt) / pointed_enough;
    return blunt + fmin(fmax(pointed, 0.0), 1.0) * (end->beyond - blunt);
}
