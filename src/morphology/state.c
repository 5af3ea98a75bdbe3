/* state.c - whether a particle counts, and why not.
 *
 * The reasons are asked in the order frame, excluded area, scale, size: the first that holds is
 * given. A particle cut by the frame or by an excluded area has an unknown shape whatever its size.
 * Without a scale the minimum Feret diameter cannot be applied, so no particle counts and no form
 * is given.
 */
#include "morphology_priv.h"

#include <string.h>

bool kb_state_any_excluded(const struct kb_image *label) {
    for (int32_t y = 0; y < label->height; y++) {
        if (memchr(kb_row(label, y), KB_EXCLUDED, (size_t)label->width) != NULL) {
            return true;
        }
    }
    return false;
}

static bool on_frame(struct kb_rect box, const struct kb_image *frame) {
    return box.x == 0 || box.y == 0 || box.x + box.width == frame->width ||
           box.y + box.height == frame->height;
}

/* Whether an excluded pixel is among the pixels of the spans or their eight neighbours. */
static bool on_exclusion(const struct kb_spans *spans, const struct kb_image *label) {
    for (size_t i = 0; i < spans->count; i++) {
        const struct kb_span *span = &spans->item[i];
        int32_t x0 = span->x0 > 0 ? span->x0 - 1 : 0;
        int32_t x1 = span->x1 < label->width ? span->x1 + 1 : label->width;
        int32_t y0 = span->y > 0 ? span->y - 1 : 0;
        int32_t y1 = span->y + 1 < label->height ? span->y + 1 : span->y;
        for (int32_t y = y0; y <= y1; y++) {
            if (memchr(kb_row(label, y) + x0, KB_EXCLUDED, (size_t)(x1 - x0)) != NULL) {
                return true;
            }
        }
    }
    return false;
}

static enum kb_particle_state state_of(const struct kb_spans *spans, const struct kb_image *frame,
                                       const struct kb_image *label, double px_um,
                                       double min_feret_um, const struct kb_particle *particle) {
    if (on_frame(particle->box, frame)) {
        return KB_ON_FRAME;
    }
    if (label != NULL && on_exclusion(spans, label)) {
        return KB_ON_EXCLUSION;
    }
    if (!(px_um > 0.0)) {
        return KB_NO_SCALE;
    }
    return particle->feret_max_px * px_um < min_feret_um ? KB_UNDER_SIZE : KB_COUNTS;
}

void kb_state_settle(const struct kb_spans *spans, const struct kb_image *frame,
                     const struct kb_image *label, double px_um, double min_feret_um,
                     struct kb_particle *particle) {
    particle->state = state_of(spans, frame, label, px_um, min_feret_um, particle);
    particle->size_class = kb_size_class(particle->feret_max_px * px_um);
    particle->form = KB_FORM_NONE;
    if (particle->state == KB_COUNTS) {
        particle->form = kb_form_classify(particle->shape_factor, particle->solidity,
                                          particle->aspect, particle->circularity);
    }
}

const char *kb_particle_state_name(enum kb_particle_state state) {
    static const char *const name[KB_PARTICLE_STATES] = {"counts", "on-frame", "on-exclusion",
                                                         "under-size", "no-scale"};
    return (unsigned)state < KB_PARTICLE_STATES ? name[state] : "unknown";
}
