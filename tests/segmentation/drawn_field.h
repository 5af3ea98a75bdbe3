/* drawn_field.h - a drawn micrograph as a field, with its truth. */
#ifndef KB_DRAWN_FIELD_H
#define KB_DRAWN_FIELD_H

#include "keelblock/render.h"
#include "keelblock/segmentation.h"

struct drawn_field {
    struct kb_field field; /* its grey belongs to `render` */
    struct kb_render render;
};

/* False when it could not be drawn. Release with drawn_field_release(). */
bool drawn_field_make(const struct kb_render_params *params, struct drawn_field *drawn);
void drawn_field_release(struct drawn_field *drawn);

/* Share of a label among the measured pixels. */
double label_share(const struct kb_phase_map *map, enum kb_phase phase);

#endif
