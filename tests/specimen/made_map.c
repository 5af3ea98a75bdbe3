#include "made_map.h"

#include <stdlib.h>
#include <string.h>

struct kb_phase_map made_map(const uint64_t counts[KB_PHASES]) {
    struct kb_phase_map map = {.label = {0, 1, 0, NULL}};
    uint64_t total = 0;
    for (int phase = 0; phase < KB_PHASES; phase++) {
        total += counts[phase];
        map.figures.pixels[phase] = counts[phase];
    }
    map.label.width = (int32_t)total;
    map.label.stride = (size_t)total;
    map.label.px = malloc((size_t)total);
    if (map.label.px == NULL) {
        abort();
    }
    size_t at = 0;
    for (int phase = 0; phase < KB_PHASES; phase++) {
        memset(map.label.px + at, phase, (size_t)counts[phase]);
        at += (size_t)counts[phase];
    }
    return map;
}

void made_map_release(struct kb_phase_map *map) {
    free(map->label.px);
    map->label.px = NULL;
}

struct kb_particle made_particle(double shape, double feret) {
    const double pi = 3.14159265358979323846;
    struct kb_particle particle = {.state = KB_COUNTS};
    particle.shape_factor = shape;
    particle.feret_max_px = feret;
    particle.feret_min_px = shape * feret;
    particle.area_px2 = shape * pi * feret * feret / 4.0;
    particle.box = (struct kb_rect){1, 1, (int32_t)feret, (int32_t)(shape * feret)};
    particle.form = shape >= 0.6 ? KB_FORM_VI : KB_FORM_III;
    particle.size_class = 7;
    return particle;
}
