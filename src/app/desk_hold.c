/* desk_hold.c - the layers that the desk keeps of a field: held, counted, let go by the last. */
#include "desk_priv.h"

#include <string.h>

/* Whether that was the last one. */
static bool drop(atomic_int *held) {
    return atomic_fetch_sub(held, 1) == 1;
}

struct kb_desk_picture *kb_desk_picture_hold(struct kb_desk_picture *picture) {
    (void)atomic_fetch_add(&picture->held, 1);
    return picture;
}

struct kb_desk_found *kb_desk_found_hold(struct kb_desk_found *found) {
    (void)atomic_fetch_add(&found->held, 1);
    return found;
}

struct kb_desk_pixels *kb_desk_pixels_hold(struct kb_desk_pixels *pixels) {
    (void)atomic_fetch_add(&pixels->held, 1);
    return pixels;
}

struct kb_desk_measured *kb_desk_measured_hold(struct kb_desk_measured *measured) {
    (void)atomic_fetch_add(&measured->held, 1);
    return measured;
}

struct kb_desk_hands *kb_desk_hands_hold(struct kb_desk_hands *hands) {
    (void)atomic_fetch_add(&hands->held, 1);
    return hands;
}

void kb_desk_picture_drop(struct kb_desk_picture *picture) {
    if (picture != NULL && drop(&picture->held)) {
        kb_pyramid_release(picture->pyramid);
        kb_first_look_release(&picture->look);
        kb_field_release(&picture->field);
        kb_text_release(&picture->key);
        kb_free(picture);
    }
}

void kb_desk_found_drop(struct kb_desk_found *found) {
    if (found != NULL && drop(&found->held)) {
        kb_pyramid_release(found->label);
        kb_pyramid_release(found->evened);
        kb_phase_map_release(&found->map);
        kb_desk_picture_drop(found->picture);
        kb_text_release(&found->key);
        kb_free(found);
    }
}

void kb_desk_pixels_drop(struct kb_desk_pixels *pixels) {
    if (pixels != NULL && drop(&pixels->held)) {
        kb_pyramid_release(pixels->own);
        kb_image_release(&pixels->own_label);
        kb_particles_release(&pixels->lines);
        kb_desk_found_drop(pixels->found);
        kb_desk_picture_drop(pixels->picture);
        kb_free(pixels);
    }
}

void kb_desk_measured_drop(struct kb_desk_measured *measured) {
    if (measured != NULL && drop(&measured->held)) {
        kb_field_result_release(&measured->out);
        for (size_t i = 0; i < measured->outcomes; i++) {
            kb_by_hand_release(&measured->outcome[i]);
        }
        kb_free(measured->outcome);
        kb_text_release(&measured->key);
        kb_free(measured);
    }
}

void kb_desk_hands_drop(struct kb_desk_hands *hands) {
    if (hands != NULL && drop(&hands->held)) {
        kb_result_release(&hands->list);
        kb_free(hands);
    }
}

/* The pyramids' bases are a thirtieth of that and not counted. */
uint64_t kb_desk_pixels_size(const struct kb_desk_pixels *pixels) {
    uint64_t size = kb_image_pixels(&pixels->picture->field.grey);
    size += kb_image_pixels(&pixels->own_label);
    if (pixels->picture->look.outside.px != NULL) {
        size += kb_image_pixels(&pixels->picture->look.outside);
    }
    if (pixels->found != NULL) {
        size += kb_image_pixels(&pixels->found->map.label);
        size += kb_image_pixels(&pixels->found->map.evened);
    }
    size += pixels->lines.runs.count * sizeof *pixels->lines.runs.run;
    return size + pixels->lines.outline_points * sizeof *pixels->lines.outline_point;
}
