/* overlay_by_hand.c - a cross with a pale rim where a region's phase was set by hand: at the pixel
 * that was named, so that it can be found again. */
#include "paint_priv.h"

void kb_overlay_cross(struct kb_picture *picture, int32_t x, int32_t y, int32_t unit) {
    const int32_t arm = 5 * unit; /* about a letter high */
    for (int rim = 1; rim >= 0; rim--) {
        struct kb_rgb colour = rim == 1 ? KB_PAPER : KB_INK;
        int32_t half = unit / 2 + rim * unit, length = arm + rim * unit;
        kb_paint_block(picture, x - length, y - half, 2 * length + 1, 2 * half + 1, colour);
        kb_paint_block(picture, x - half, y - length, 2 * half + 1, 2 * length + 1, colour);
    }
}

void kb_overlay_by_hand(const struct kb_phase_map *map, int32_t unit, struct kb_picture *picture) {
    for (size_t i = 0; i < map->changes; i++) {
        kb_overlay_cross(picture, map->change[i].x, map->change[i].y, unit);
    }
}
