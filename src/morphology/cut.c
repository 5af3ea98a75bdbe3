/* cut.c - straight cuts.
 *
 * Flooding leaves borders between basins that wander by a pixel or more and depend on the order in
 * which equal distances are taken. Across a neck the border is replaced by a straight line, square
 * to the line between the centroids of the two pieces, where the neck is narrowest within a few
 * pixels of the saddle: the chord that a metallographer would draw, and very nearly the same
 * however the picture lies.
 */
#include "morphology_priv.h"

#include <math.h>

/* How far from the saddle the narrowest place is looked for, px: on the grid the distance map is
 * flat along a neck over about this length. In steps of half a pixel. */
enum { SEARCH_PX = 6, STEPS_PX = 2, BINS = 2 * SEARCH_PX * STEPS_PX + 1 };

struct chord {
    double x, y, dx, dy;  /* a point on it; unit vector from piece a to piece b */
    double reach;         /* pixels farther from the point are left alone */
    uint32_t a, b, on_it; /* owners on this side, beyond, and of pixels right on the line */
};

/* Whether a wider neck between the same two pieces stands earlier in the list. */
bool kb_cut_seen_before(struct kb_flood *flood, size_t at, uint32_t a, uint32_t b) {
    for (size_t i = 0; i < at; i++) {
        uint32_t c = kb_flood_root(flood, flood->saddle[i].a);
        uint32_t d = kb_flood_root(flood, flood->saddle[i].b);
        if ((c == a && d == b) || (c == b && d == a)) {
            return true;
        }
    }
    return false;
}

struct around {
    int32_t x0, y0, x1, y1; /* inclusive */
};

static struct around around_of(const struct kb_window *window, const struct chord *chord) {
    return (struct around){
        (int32_t)fmax(ceil(chord->x - chord->reach), 0.0),
        (int32_t)fmax(ceil(chord->y - chord->reach), 0.0),
        (int32_t)fmin(floor(chord->x + chord->reach), (double)(window->width - 1)),
        (int32_t)fmin(floor(chord->y + chord->reach), (double)(window->height - 1)),
    };
}

/* Distance beyond the chord, towards b; false for pixels that are none of its business. */
static bool beyond(const struct chord *chord, int32_t x, int32_t y, uint32_t owner,
                   double *distance) {
    double u = (double)x - chord->x;
    double v = (double)y - chord->y;
    *distance = u * chord->dx + v * chord->dy;
    return (owner == chord->a || owner == chord->b) && hypot(u, v) <= chord->reach;
}

/* Middle of the narrowest place, as a distance from the chord; over three bins, to calm the grid.
 */
static double narrowest(const double width[BINS], double *wide) {
    double least = HUGE_VAL;
    double sum = 0.0;
    double count = 0.0;
    for (int i = 0; i < BINS; i++) {
        if (width[i] < least) {
            least = width[i];
            sum = 0.0;
            count = 0.0;
        }
        if (width[i] == least) {
            sum += (double)i / STEPS_PX - SEARCH_PX;
            count += 1.0;
        }
    }
    *wide = least;
    return sum / count;
}

/* Share a pixel out over the steps within 1 px of it, falling off linearly: the sum over pixels is
 * then the width there in any direction, without the beat of pixel rows against steps. */
static void spread(double distance, double width[BINS]) {
    int first = (int)ceil((distance - 1.0 + SEARCH_PX) * STEPS_PX);
    int last = (int)floor((distance + 1.0 + SEARCH_PX) * STEPS_PX);
    for (int i = first > 0 ? first : 0; i <= last && i < BINS; i++) {
        width[i] += 1.0 - fabs((double)i / STEPS_PX - SEARCH_PX - distance);
    }
}

/* Move the chord along the line of centroids to where the two pieces are narrowest. */
static double slide(const struct kb_window *window, struct chord *chord) {
    double width[BINS] = {0.0};
    struct around box = around_of(window, chord);
    for (int32_t y = box.y0; y <= box.y1; y++) {
        const uint32_t *row = window->owner + (size_t)y * (size_t)window->width;
        for (int32_t x = box.x0; x <= box.x1; x++) {
            double distance = 0.0;
            if (!beyond(chord, x, y, row[x], &distance)) {
                continue;
            }
            spread(distance, width);
        }
    }
    double wide = 0.0;
    double by = narrowest(width, &wide);
    chord->x += by * chord->dx;
    chord->y += by * chord->dy;
    return wide;
}

static void cut_along(struct kb_window *window, const struct chord *chord) {
    struct around box = around_of(window, chord);
    for (int32_t y = box.y0; y <= box.y1; y++) {
        uint32_t *row = window->owner + (size_t)y * (size_t)window->width;
        for (int32_t x = box.x0; x <= box.x1; x++) {
            double distance = 0.0;
            if (!beyond(chord, x, y, row[x], &distance)) {
                continue;
            }
            if (distance == 0.0) {
                row[x] = chord->on_it;
            } else {
                row[x] = distance < 0.0 ? chord->a : chord->b;
            }
        }
    }
}

/* Turn a chord square to the line between two places and slide it. Returns how wide it is. */
static double lay(const struct kb_window *window, struct kb_point from, struct kb_point to,
                  struct chord *chord) {
    double apart = hypot(to.x - from.x, to.y - from.y);
    if (!(apart > 0.0)) {
        return HUGE_VAL;
    }
    chord->dx = (to.x - from.x) / apart;
    chord->dy = (to.y - from.y) / apart;
    return slide(window, chord);
}

/* Square to the line of centroids; but the centroid of several nodules in one piece may be
 * anywhere, so where that gives the narrower cut, to the line between the widest places on either
 * side of the neck. */
static bool lay_best(const struct kb_flood *flood, const struct kb_window *window,
                     const struct kb_saddle *saddle, const struct kb_piece *a,
                     const struct kb_piece *b, struct chord *chord) {
    static const double clearly = 0.9;
    const struct kb_basin *one = &flood->basin[saddle->a];
    const struct kb_basin *other = &flood->basin[saddle->b];
    struct chord local = *chord;
    double wide = lay(window, (struct kb_point){a->x, a->y}, (struct kb_point){b->x, b->y}, chord);
    double there = lay(window, (struct kb_point){one->x, one->y},
                       (struct kb_point){other->x, other->y}, &local);
    *chord = there < clearly * wide ? local : *chord;
    return isfinite(wide) || isfinite(there);
}

void kb_cuts_straighten(struct kb_flood *flood, struct kb_window *window,
                        const struct kb_pieces_scratch *scratch) {
    for (size_t i = 0; i < flood->saddles; i++) {
        const struct kb_saddle *saddle = &flood->saddle[i];
        uint32_t root_a = kb_flood_root(flood, saddle->a);
        uint32_t root_b = kb_flood_root(flood, saddle->b);
        if (root_a == root_b || kb_cut_seen_before(flood, i, root_a, root_b)) {
            continue;
        }
        const struct kb_piece *a = &scratch->piece[scratch->number[root_a]];
        const struct kb_piece *b = &scratch->piece[scratch->number[root_b]];
        struct chord chord = {
            .x = saddle->x / saddle->n,
            .y = saddle->y / saddle->n,
            /* half as far again as the neck is wide, and room to search */
            .reach = 1.5 * sqrt((double)saddle->squared) + SEARCH_PX,
            .a = 1 + scratch->number[root_a],
            .b = 1 + scratch->number[root_b],
        };
        chord.on_it = a->area >= b->area ? chord.a : chord.b;
        if (lay_best(flood, window, saddle, a, b, &chord)) {
            cut_along(window, &chord);
        }
    }
}
