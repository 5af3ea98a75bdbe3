/* varied.c - see varied.h. Each look with each form of graphite at eight shares of pearlite; pixel
 * size, layout, boundaries, lamellae, light, blur, noise, scratches and exposure by a fixed
 * generator. A camera's noise is alike in all directions, a beam's runs with the rows. */
#include "varied.h"

#include <string.h>

static uint64_t next(uint64_t *state) {
    *state = *state * 6364136223846793005ULL + 1442695040888963407ULL; /* Knuth, MMIX */
    return *state >> 33;
}

static double one_of(uint64_t *state, const double *value, uint64_t count) {
    return value[next(state) % count];
}

struct varied varied_field(int n, uint64_t series) {
    static const double px_um[] = {0.2, 0.35, 0.5, 0.8}, grain[] = {0.0, 25.0, 40.0};
    static const double lamella[] = {0.2, 0.5, 1.0}, fall_off[] = {0.0, 0.1, 0.3};
    static const double blur[] = {0.6, 1.2, 2.4}, noise[] = {1.0, 3.0, 8.0};
    static const double scratches[] = {0.0, 0.0, 40.0}, nodules[] = {100.0, 200.0, 400.0};
    static const double pearlite[] = {0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0};
    static const char *const form[] = {"nodules", "compacted", "flakes", "no graphite"};
    static const enum kb_render_graphite graphite[] = {KB_RENDER_NODULES, KB_RENDER_COMPACTED,
                                                       KB_RENDER_FLAKES, KB_RENDER_NONE};
    /* Eleven kinds: polished fields need graphite. */
    int kind = n / 8, look = kind < 4   ? KB_RENDER_LIGHT
                             : kind < 8 ? KB_RENDER_SEM
                                        : KB_RENDER_UNETCHED;
    uint64_t state = (uint64_t)n * 977 + series * 7919 + 1;
    struct varied v = {.params = kb_render_params_default(), .iron = kind % 4 != 3};
    v.params.seed = next(&state);
    v.params.width = 900;
    v.params.height = 700;
    v.params.look = (enum kb_render_look)look;
    v.params.graphite = graphite[kind % 4];
    v.params.pearlite_of_matrix = pearlite[n % 8];
    v.params.px_um = one_of(&state, px_um, 4);
    v.params.bulls_eye = next(&state) % 2 == 0;
    v.params.grain_um = one_of(&state, grain, 3);
    v.params.lamella_um = one_of(&state, lamella, 3);
    v.params.fall_off = one_of(&state, fall_off, 3);
    v.params.blur_um = one_of(&state, blur, 3) * v.params.px_um;
    v.params.noise = one_of(&state, noise, 3);
    v.params.scratches_per_mm2 = one_of(&state, scratches, 3);
    v.params.nodules_per_mm2 = one_of(&state, nodules, 3);
    static const double beam[] = {3.0, 6.0, 12.0, 24.0}, charging[] = {0.0, 0.0, 40.0};
    static const double gain[] = {0.65, 0.85, 1.0, 1.12}, lift[] = {0.0, 15.0, 40.0};
    v.gain = one_of(&state, gain, 4);
    v.lift = 0.0;
    if (look == KB_RENDER_SEM) { /* an amplifier of any gain and offset */
        v.params.noise = 0.5;
        v.params.beam_noise = one_of(&state, beam, 4);
        v.params.charging = one_of(&state, charging, 3);
        v.gain *= 1.2;
        v.lift = one_of(&state, lift, 3);
    }
    v.truth = look == KB_RENDER_SEM        ? KB_SEM
              : look == KB_RENDER_UNETCHED ? KB_LIGHT_UNETCHED
                                           : KB_LIGHT;
    v.traceless =
        v.truth == KB_LIGHT && v.params.grain_um <= 0.0 && v.params.pearlite_of_matrix < 0.1;
    (void)snprintf(v.name, sizeof v.name, "%s, %s, %.0f %% pearlite", kb_contrast_name(v.truth),
                   form[kind % 4], 100.0 * v.params.pearlite_of_matrix);
    return v;
}

bool varied_draw(const struct varied *v, struct kb_field *field) {
    uint8_t level[256];
    if (!marked_draw(&v->params, field)) {
        return false;
    }
    for (int i = 0; i < 256; i++) {
        level[i] = (uint8_t)fmin(255.0, v->gain * i + v->lift + 0.5);
    }
    for (int32_t y = 0; y < field->grey.height; y++) {
        uint8_t *row = kb_row(&field->grey, y);
        for (int32_t x = 0; x < field->grey.width; x++) {
            row[x] = level[row[x]];
        }
    }
    return true;
}
