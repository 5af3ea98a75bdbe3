/* overlay_by_hand.c - what a person decided, drawn where it was decided, so that it can be found
 * again: a cross where a region's phase was set, a dashed line for the stroke of a cut, a line
 * between two boxes for a join, a line between two bars for a known length, and a thin line round
 * an outline that was left out. All are ink with a pale rim: told apart by shape, not by colour.
 */
#include "paint_priv.h"

/* In units of the overlay's line. */
enum { CROSS_ARM = 5, DASH = 5, BOX = 4, BAR = 5 };

void kb_overlay_cross(struct kb_picture *picture, int32_t x, int32_t y, int32_t unit) {
    const int32_t arm = CROSS_ARM * unit; /* about a letter high */
    for (int rim = 1; rim >= 0; rim--) {
        struct kb_rgb colour = rim == 1 ? KB_PAPER : KB_INK;
        int32_t half = unit / 2 + rim * unit, length = arm + rim * unit;
        kb_paint_block(picture, x - length, y - half, 2 * length + 1, 2 * half + 1, colour);
        kb_paint_block(picture, x - half, y - length, 2 * half + 1, 2 * length + 1, colour);
    }
}

/* ---- lines -------------------------------------------------------------------------------------
 */

struct line_style {
    int32_t unit;
    bool rim;    /* the pale one, or the ink on it */
    bool dashed; /* gaps as long as the dashes, counted along the whole line */
};

static void dot(struct kb_picture *picture, double x, double y, const struct line_style *style) {
    const int32_t width = style->rim ? 3 * style->unit : style->unit;
    kb_paint_block(picture, (int32_t)floor(x) - width / 2, (int32_t)floor(y) - width / 2, width,
                   width, style->rim ? KB_PAPER : KB_INK);
}

/* From a to b; *walked counts the way, in pixels, from line to line. */
static void line(struct kb_picture *picture, struct kb_place a, struct kb_place b,
                 const struct line_style *style, double *walked) {
    const double dx = (double)b.x - a.x;
    const double dy = (double)b.y - a.y;
    const double length = sqrt(dx * dx + dy * dy);
    const int32_t steps = (int32_t)length + 1;
    for (int32_t i = 0; i <= steps; i++) {
        const double t = (double)i / steps;
        const int64_t dash = (int64_t)((*walked + t * length) / (DASH * style->unit));
        if (!style->dashed || dash % 2 == 0) {
            dot(picture, a.x + t * dx, a.y + t * dy, style);
        }
    }
    *walked += length;
}

static void chain(struct kb_picture *picture, const struct kb_by_hand *hand, bool closed,
                  const struct line_style *style) {
    double walked = 0.0;
    for (size_t i = 0; i + 1 < hand->points + (closed ? 1 : 0); i++) {
        line(picture, hand->point[i], hand->point[i + 1 < hand->points ? i + 1 : 0], style,
             &walked);
    }
}

/* An open box about each end of a join. */
static void boxes(struct kb_picture *picture, const struct kb_by_hand *hand,
                  const struct line_style *style) {
    const int32_t half = BOX * style->unit;
    for (size_t i = 0; i < hand->points; i++) {
        const struct kb_place at = hand->point[i];
        const struct kb_place corner[4] = {{at.x - half, at.y - half},
                                           {at.x + half, at.y - half},
                                           {at.x + half, at.y + half},
                                           {at.x - half, at.y + half}};
        double walked = 0.0;
        for (int k = 0; k < 4; k++) {
            line(picture, corner[k], corner[(k + 1) % 4], style, &walked);
        }
    }
}

/* A bar square to the line at each end. */
static void bars(struct kb_picture *picture, const struct kb_by_hand *hand,
                 const struct line_style *style) {
    const double dx = (double)hand->point[1].x - hand->point[0].x;
    const double dy = (double)hand->point[1].y - hand->point[0].y;
    const double length = sqrt(dx * dx + dy * dy);
    const int32_t x = (int32_t)lround(-dy / length * BAR * style->unit);
    const int32_t y = (int32_t)lround(dx / length * BAR * style->unit);
    for (size_t i = 0; i < 2; i++) {
        const struct kb_place at = hand->point[i];
        double walked = 0.0;
        line(picture, (struct kb_place){at.x - x, at.y - y}, (struct kb_place){at.x + x, at.y + y},
             style, &walked);
    }
}

void kb_overlay_drawn(struct kb_picture *picture, const struct kb_by_hand *hand, int32_t unit) {
    if (hand->point == NULL || hand->points < 2) {
        return;
    }
    for (int rim = hand->kind == KB_HAND_OUTLINE ? 0 : 1; rim >= 0; rim--) {
        const struct line_style solid = {unit, rim == 1, false};
        const struct line_style dashed = {unit, rim == 1, true};
        switch (hand->kind) {
        case KB_HAND_CUT:
            chain(picture, hand, false, &dashed);
            break;
        case KB_HAND_JOIN:
            chain(picture, hand, false, &solid);
            boxes(picture, hand, &solid);
            break;
        case KB_HAND_SCALE:
            chain(picture, hand, false, &solid);
            bars(picture, hand, &solid);
            break;
        case KB_HAND_OUTLINE:
            chain(picture, hand, true, &solid);
            break;
        default:
            break;
        }
    }
}

bool kb_overlay_shows(const struct kb_overlay_hands *hands, const struct kb_by_hand *hand) {
    /* in this order: decisions about other fields may be under way */
    return (hand->field == 0 || hand->field == hands->field) && !hand->without_effect;
}

void kb_overlay_by_hand(const struct kb_phase_map *map, const struct kb_overlay_hands *hands,
                        int32_t unit, struct kb_picture *picture) {
    for (size_t i = 0; i < hands->count; i++) {
        if (kb_overlay_shows(hands, &hands->hand[i])) {
            kb_overlay_drawn(picture, &hands->hand[i], unit);
        }
    }
    for (size_t i = 0; i < map->changes; i++) {
        if (!map->change[i].missed) {
            kb_overlay_cross(picture, map->change[i].x, map->change[i].y, unit);
        }
    }
}
