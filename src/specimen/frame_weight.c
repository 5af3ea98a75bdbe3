/* frame_weight.c - how many particles one complete particle stands for.
 *
 * A particle cut by the frame is not measured, and a large one is cut more often: counting complete
 * ones alone is too low, and favours small ones. The remedy is to weigh each complete particle by
 * (measured area) / (area of the places where it would have been complete) - Miles (1974),
 * Lantuejoul (1978), from memory: W H / ((W - Fx)(H - Fy)) for a plain frame. On pixels a particle
 * w wide is complete when it touches neither the first nor the last column, which leaves W - w - 1
 * places.
 *
 * Exclusions take places too. They are cut into rectangles row by row (a data bar is one), and each
 * forbids the places where the box would touch it; the union is counted exactly, so a data bar
 * simply shortens the frame. A mask too ragged for KB_FRAME_RECTS rectangles is taken in the mean:
 * its share of the field is taken off the places, which neglects how large the particle is beside
 * it.
 */
#include "specimen_priv.h"

#include <string.h>

/* Next excluded run in `row` from `x` on: [*x0, *x1); false when there is none. */
static bool next_hole(const uint8_t *row, int32_t x, int32_t width, int32_t *x0, int32_t *x1) {
    if (x >= width) {
        return false;
    }
    const uint8_t *found = memchr(row + x, KB_EXCLUDED, (size_t)(width - x));
    if (found == NULL) {
        return false;
    }
    *x0 = (int32_t)(found - row);
    *x1 = *x0;
    while (*x1 < width && row[*x1] == KB_EXCLUDED) {
        (*x1)++;
    }
    return true;
}

/* Lengthen the rectangle that ends just above row y with the same columns, or begin one. */
static void take_hole(struct kb_frame *frame, int32_t y, int32_t x0, int32_t x1) {
    for (size_t i = 0; i < frame->holes; i++) {
        struct kb_rect *hole = &frame->hole[i];
        if (hole->x == x0 && hole->width == x1 - x0 && hole->y + hole->height == y) {
            hole->height++;
            return;
        }
    }
    if (frame->holes == KB_FRAME_RECTS) {
        frame->ragged = true;
        return;
    }
    frame->hole[frame->holes++] = (struct kb_rect){x0, y, x1 - x0, 1};
}

void kb_frame_make(const struct kb_phase_map *map, struct kb_frame *frame) {
    const struct kb_image *label = &map->label;
    uint64_t excluded = map->figures.pixels[KB_EXCLUDED];
    *frame = (struct kb_frame){.width = label->width, .height = label->height};
    frame->measured_px = (double)(kb_image_pixels(label) - excluded);
    for (int32_t y = 0; excluded > 0 && y < label->height && !frame->ragged; y++) {
        const uint8_t *row = kb_row(label, y);
        int32_t x0 = 0;
        int32_t x1 = 0;
        while (next_hole(row, x1, label->width, &x0, &x1)) {
            take_hole(frame, y, x0, x1);
        }
    }
}

/* Places of a box along one axis that touch [at, at + length): a range of first pixels [*from,
 * *to), kept within the places 1 .. side - 1 - box that a complete particle has. */
static void forbidden(int32_t at, int32_t length, int32_t box, int32_t side, int32_t *from,
                      int32_t *to) {
    int32_t first = at - box; /* the box then ends beside it: touching, as at the frame */
    int32_t last = at + length + 1;
    *from = first > 1 ? first : 1;
    *to = last < side - box ? last : side - box;
}

/* Columns that are forbidden in row `y` of places: the union of the ranges of the holes that reach
 * it. */
static int64_t forbidden_columns(const struct kb_frame *frame, int32_t y, int32_t width,
                                 int32_t height) {
    int64_t total = 0;
    int32_t done = 1; /* columns below are already counted */
    for (;;) {
        int32_t best_from = INT32_MAX;
        int32_t best_to = 0;
        for (size_t i = 0; i < frame->holes; i++) {
            int32_t from;
            int32_t to;
            forbidden(frame->hole[i].y, frame->hole[i].height, height, frame->height, &from, &to);
            if (y < from || y >= to) {
                continue;
            }
            forbidden(frame->hole[i].x, frame->hole[i].width, width, frame->width, &from, &to);
            from = from > done ? from : done;
            if (from < to && (from < best_from || (from == best_from && to > best_to))) {
                best_from = from;
                best_to = to;
            }
        }
        if (best_from == INT32_MAX) {
            return total;
        }
        total += best_to - best_from;
        done = best_to;
    }
}

/* First row of places above `y` at which some hole begins or ends to forbid; `end` when none. */
static int32_t next_edge(const struct kb_frame *frame, int32_t y, int32_t height, int32_t end) {
    int32_t edge = end;
    for (size_t i = 0; i < frame->holes; i++) {
        int32_t from;
        int32_t to;
        forbidden(frame->hole[i].y, frame->hole[i].height, height, frame->height, &from, &to);
        if (from > y && from < edge) {
            edge = from;
        }
        if (to > y && to < edge) {
            edge = to;
        }
    }
    return edge;
}

double kb_frame_weight(const struct kb_frame *frame, int32_t width, int32_t height) {
    int64_t across = frame->width - width - 1;
    int64_t down = frame->height - height - 1;
    if (across < 1 || down < 1) {
        return 1.0; /* as large as the field: it cannot stand for others */
    }
    double places = (double)across * (double)down;
    if (frame->ragged) {
        places *= frame->measured_px / ((double)frame->width * (double)frame->height);
    } else {
        int32_t end = frame->height - height;
        for (int32_t y = 1; y < end && frame->holes > 0;) {
            int32_t edge = next_edge(frame, y, height, end);
            places -= (double)(edge - y) * (double)forbidden_columns(frame, y, width, height);
            y = edge;
        }
    }
    return places >= 1.0 ? fmax(frame->measured_px / places, 1.0) : 1.0;
}
