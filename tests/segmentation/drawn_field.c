/* drawn_field.c - a drawn micrograph as a field, with its truth. */
#include "drawn_field.h"

#include <string.h>

bool drawn_field_make(const struct kb_render_params *params, struct drawn_field *drawn) {
    memset(drawn, 0, sizeof *drawn);
    if (kb_render_draw(params, &drawn->render, NULL) != KB_OK) {
        return false;
    }
    drawn->field.grey = drawn->render.grey;
    drawn->field.grey_high = 255.0;
    drawn->field.bits = 8;
    drawn->field.px_um = params->px_um;
    return true;
}

void drawn_field_release(struct drawn_field *drawn) {
    kb_render_release(&drawn->render);
    memset(&drawn->field, 0, sizeof drawn->field);
}

double label_share(const struct kb_phase_map *map, enum kb_phase phase) {
    uint64_t measured = 0;
    for (int i = KB_EXCLUDED + 1; i < KB_PHASES; i++) {
        measured += map->figures.pixels[i];
    }
    return (double)map->figures.pixels[phase] / (double)measured;
}
