/* drawn_flakes.c - from a drawn field to the pooled specimen, by the product's own steps. */
#include "drawn_flakes.h"

#include <string.h>

enum { FIELDS_MOST = 8 };

static bool measure(const struct kb_render *render, double px_um, struct kb_particles *particles,
                    struct kb_field_figures *figures) {
    struct kb_field field;
    struct kb_phase_map map;
    const struct kb_segmentation_params how =
        kb_segmentation_params_default(KB_GREY_IRON, KB_LIGHT_UNETCHED);
    const struct kb_morphology_params shape = kb_morphology_params_default(KB_GREY_IRON);
    memset(&field, 0, sizeof field);
    field.grey = render->grey;
    field.grey_high = 255.0;
    field.bits = 8;
    field.px_um = px_um;
    if (kb_segment(&field, &how, &map, NULL) != KB_OK) {
        return false;
    }
    bool good = kb_morphology_run(&map, &render->grey, px_um, &shape, particles, NULL) == KB_OK;
    if (good) {
        kb_field_figures_make(&map, KB_LIGHT_UNETCHED, KB_GREY_IRON, px_um, particles, figures);
        good = kb_flake_figures_make(&map, particles, figures, &figures->flakes, NULL) == KB_OK;
    }
    kb_phase_map_release(&map);
    return good;
}

bool drawn_flakes(enum kb_render_distribution letter, uint64_t seed, size_t fields, double size_um,
                  struct kb_specimen *specimen) {
    struct kb_particles particles[FIELDS_MOST];
    struct kb_field_figures figures[FIELDS_MOST];
    memset(particles, 0, sizeof particles);
    bool good = true;
    for (size_t i = 0; i < fields && good; i++) {
        struct kb_render_params params = kb_render_params_default();
        struct kb_render render;
        params.graphite = KB_RENDER_FLAKES;
        params.look = KB_RENDER_UNETCHED;
        params.distribution = letter;
        params.nodule_um = size_um;
        params.seed = seed + i;
        params.bulls_eye = false; /* the matrix is not seen, and takes most of the time */
        params.pearlite_of_matrix = 1.0;
        good = kb_render_draw(&params, &render, NULL) == KB_OK;
        if (good) {
            good = measure(&render, params.px_um, &particles[i], &figures[i]);
            kb_render_release(&render);
        }
    }
    if (good) {
        const struct kb_specimen_params params = kb_specimen_params_default();
        good = kb_specimen_run(figures, fields, KB_GREY_IRON, &params, specimen, NULL) == KB_OK;
    }
    for (size_t i = 0; i < fields; i++) {
        kb_particles_release(&particles[i]);
    }
    return good;
}
