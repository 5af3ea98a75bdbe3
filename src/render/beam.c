/* beam.c - what a scanned beam of electrons leaves in a picture: shot noise and charging.
 *
 * Electrons arrive by chance, so that the variance of the noise grows in proportion to the signal
 * (Poisson); at some tens of electrons a pixel it is nearly normal. The amplifier is of limited
 * bandwidth: it remembers a part of the pixel before, which makes neighbours along a row alike and
 * leaves rows independent of each other, since the beam flies back in between. A fast scan is
 * noisy. Charging: a place that does not conduct (drawn on the border, where resin would be) glows
 * far around, and the level drifts from row to row while charge builds up and drains. Common
 * practice put in figures, no published source; neither streaks behind bright edges nor drift of
 * the place are drawn.
 */
#include "render_priv.h"

/* Share of the deviation of one pixel that the amplifier carries over to the next. */
#define MEMORY 0.25

/* ---- charging -----------------------------------------------------------------------------------
 */

/* A place on the border, the same chance for each length of it. */
static struct kb_point charged_place(const struct kb_render_params *params) {
    struct kb_random random = kb_random_start(params->seed, KB_CHANCE_CHARGE, 0);
    double along = kb_random_between(&random, 0.0, 2.0 * params->width + 2.0 * params->height);
    double width = params->width, height = params->height;
    if (along < 2.0 * width) {
        return (struct kb_point){along < width ? along : along - width, along < width ? 0 : height};
    }
    along -= 2.0 * width;
    return (struct kb_point){along < height ? 0 : width, along < height ? along : along - height};
}

void kb_charge(struct kb_canvas *canvas) {
    const struct kb_render_params *params = canvas->params;
    if (!(params->charging > 0.0)) {
        return;
    }
    struct kb_point at = charged_place(params);
    uint64_t key = kb_random_key(params->seed, KB_CHANCE_CHARGE, 1);
    /* The glow is halved at 0.3 of the diagonal; the drift has a few waves down the picture. */
    double reach =
        0.3 * sqrt((double)params->width * params->width + (double)params->height * params->height);
    double wave = params->height / 5.0;
#pragma omp parallel for schedule(static)
    for (int32_t y = 0; y < params->height; y++) {
        uint16_t *light = canvas->light.px + (size_t)y * (size_t)params->width;
        double dy = (y + 0.5 - at.y) / reach, drift = 0.2 * kb_noise(key, 0.5, y / wave);
        for (int32_t x = 0; x < params->width; x++) {
            double dx = (x + 0.5 - at.x) / reach;
            double gain = params->charging * (1.0 / (1.0 + dx * dx + dy * dy) + drift);
            double value = light[x] + gain * KB_LIGHT_UNIT;
            light[x] = (uint16_t)(fmin(fmax(value, 0.0), 255.0 * KB_LIGHT_UNIT) + 0.5);
        }
    }
}

/* ---- noise --------------------------------------------------------------------------------------
 */

struct kb_beam kb_beam_start(const struct kb_render_params *params, int32_t y) {
    uint64_t row = (params->exposure << 32) + (uint64_t)y; /* other exposures have other rows */
    struct kb_beam beam = {kb_random_start(params->seed, KB_CHANCE_BEAM, row), params->beam_noise,
                           0.0};
    beam.carried = kb_byte_normal(kb_random_bits(&beam.random));
    return beam;
}

double kb_beam_noise(struct kb_beam *beam, double grey) {
    double fresh = kb_byte_normal(kb_random_bits(&beam->random));
    beam->carried = MEMORY * beam->carried + sqrt(1.0 - MEMORY * MEMORY) * fresh;
    return beam->level * sqrt(fmax(grey, 0.0) / 200.0) * beam->carried;
}
