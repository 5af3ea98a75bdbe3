/* frame_edges.c - which edges of the measured area cut a particle.
 *
 * A particle that reaches beyond the edge is met by this field and by its neighbour. The rule of
 * two adjacent edges settles to which of the two it belongs: cut by the right or the lower edge it
 * counts, cut by the left or the upper one it does not, even if it reaches another edge too. Every
 * particle of a plane tiled with such fields is then counted once, so the rule is unbiased without
 * any weight (common practice of stereology, no published source at hand; refs/frame_rules.csv has
 * the simulated figure).
 *
 * It needs a rectangle. A data bar across the whole field leaves one: the edge is then where the
 * bar begins. An excluded patch inside the field leaves none, and the rule says nothing.
 */
#include "specimen_priv.h"

/* Cut `hole` off the rectangle where it spans a whole side; whether it did. */
static bool trim(struct kb_rect *open, const struct kb_rect *hole) {
    int32_t right = open->x + open->width;
    int32_t low = open->y + open->height;
    int32_t hole_right = hole->x + hole->width;
    int32_t hole_low = hole->y + hole->height;
    if (hole->x <= open->x && hole_right >= right) {
        if (hole->y <= open->y && hole_low > open->y) {
            open->height = low - hole_low;
            open->y = hole_low;
            return true;
        }
        if (hole_low >= low && hole->y < low) {
            open->height = hole->y - open->y;
            return true;
        }
    }
    if (hole->y <= open->y && hole_low >= low) {
        if (hole->x <= open->x && hole_right > open->x) {
            open->width = right - hole_right;
            open->x = hole_right;
            return true;
        }
        if (hole_right >= right && hole->x < right) {
            open->width = hole->x - open->x;
            return true;
        }
    }
    return false;
}

static bool overlap(const struct kb_rect *a, const struct kb_rect *b) {
    return a->x < b->x + b->width && b->x < a->x + a->width && a->y < b->y + b->height &&
           b->y < a->y + a->height;
}

bool kb_frame_open(const struct kb_frame *frame, struct kb_rect *open) {
    *open = (struct kb_rect){0, 0, frame->width, frame->height};
    if (frame->ragged) {
        return false;
    }
    bool trimmed = true;
    while (trimmed && open->width > 0 && open->height > 0) {
        trimmed = false;
        for (size_t i = 0; i < frame->holes && open->width > 0 && open->height > 0; i++) {
            trimmed |= trim(open, &frame->hole[i]);
        }
    }
    for (size_t i = 0; i < frame->holes; i++) {
        if (overlap(open, &frame->hole[i])) {
            return false;
        }
    }
    return open->width > 0 && open->height > 0;
}

bool kb_two_edges_keep(const struct kb_rect *open, const struct kb_rect *box) {
    return box->x > open->x && box->y > open->y;
}
