/* optics.c - light falls off, the lens blurs, the sensor adds noise.
 *
 * Fall-off is quadratic about a point near the middle. The blur is a separable Gaussian with the
 * rows kept in a ring, so that the picture is blurred in place. Noise is normal in all but its far
 * tails (sum of eight bytes of one hash) and grows a little with the light, as that of a sensor
 * does. What a scanned beam adds is in beam.c.
 */
#include "render_priv.h"

/* ---- light --------------------------------------------------------------------------------------
 */

static void shade(struct kb_canvas *canvas) {
    const struct kb_render_params *params = canvas->params;
    struct kb_random random = kb_random_start(params->seed, KB_CHANCE_LIGHT, 0);
    double half_x = params->width / 2.0, half_y = params->height / 2.0;
    double cx = half_x * (1.0 + kb_random_between(&random, -0.25, 0.25));
    double cy = half_y * (1.0 + kb_random_between(&random, -0.25, 0.25));
    double far_x = fmax(cx, params->width - cx), far_y = fmax(cy, params->height - cy);
    double loss = params->fall_off / (far_x * far_x + far_y * far_y); /* in the farthest corner */
#pragma omp parallel for schedule(static)
    for (int32_t y = 0; y < params->height; y++) {
        uint16_t *light = canvas->light.px + (size_t)y * (size_t)params->width;
        double dy = y + 0.5 - cy;
        for (int32_t x = 0; x < params->width; x++) {
            double dx = x + 0.5 - cx;
            light[x] = (uint16_t)(light[x] * (1.0 - loss * (dx * dx + dy * dy)) + 0.5);
        }
    }
}

/* ---- lens ---------------------------------------------------------------------------------------
 */

struct lens {
    float *weight; /* radius + 1, from the middle outwards; with both sides they sum to 1 */
    int32_t radius;
    float *ring;   /* 2 * radius + 1 rows, blurred along x only */
    float *padded; /* one row with its ends repeated */
    float *sum;    /* one row */
};

static void lens_release(struct lens *lens) {
    kb_free(lens->weight);
    kb_free(lens->ring);
    kb_free(lens->padded);
    kb_free(lens->sum);
}

static enum kb_status lens_make(double sigma, int32_t width, struct lens *lens,
                                struct kb_err *err) {
    int32_t radius = (int32_t)ceil(3.5 * sigma);
    size_t rows = 2 * (size_t)radius + 1, columns = (size_t)width;
    *lens = (struct lens){.radius = radius};
    lens->weight = kb_alloc((size_t)radius + 1, sizeof *lens->weight);
    lens->ring = kb_alloc(rows * columns, sizeof *lens->ring);
    lens->padded = kb_alloc(columns + rows, sizeof *lens->padded);
    lens->sum = kb_alloc(columns, sizeof *lens->sum);
    if (lens->weight == NULL || lens->ring == NULL || lens->padded == NULL || lens->sum == NULL) {
        lens_release(lens);
        return kb_fail_memory(err, KB_RENDER_STAGE, rows * columns * sizeof *lens->ring);
    }
    double total = 0.0;
    for (int32_t i = 0; i <= radius; i++) {
        total += kb_exp(-0.5 * i * i / (sigma * sigma)) * (i == 0 ? 1.0 : 2.0);
    }
    for (int32_t i = 0; i <= radius; i++) {
        lens->weight[i] = (float)(kb_exp(-0.5 * i * i / (sigma * sigma)) / total);
    }
    return KB_OK;
}

static float *ring_row(const struct lens *lens, int32_t y, int32_t width) {
    return lens->ring + (size_t)(y % (2 * lens->radius + 1)) * (size_t)width;
}

/* Row y of the light, blurred along x, into the ring. */
static void blur_along(struct lens *lens, const struct kb_light *light, int32_t y) {
    int32_t width = light->width, radius = lens->radius;
    const uint16_t *from = light->px + (size_t)y * (size_t)width;
    float *middle = lens->padded + radius, *to = ring_row(lens, y, width);
    for (int32_t x = 0; x < width; x++) {
        middle[x] = from[x];
    }
    for (int32_t i = 1; i <= radius; i++) {
        middle[-i] = from[0];
        middle[width - 1 + i] = from[width - 1];
    }
    for (int32_t x = 0; x < width; x++) {
        to[x] = lens->weight[0] * middle[x];
    }
    for (int32_t i = 1; i <= radius; i++) {
        float weight = lens->weight[i];
        for (int32_t x = 0; x < width; x++) {
            to[x] += weight * (middle[x - i] + middle[x + i]);
        }
    }
}

static void blur_across(struct lens *lens, struct kb_light *light, int32_t y) {
    int32_t width = light->width, last = light->height - 1;
    uint16_t *to = light->px + (size_t)y * (size_t)width;
    const float *middle = ring_row(lens, y, width);
    for (int32_t x = 0; x < width; x++) {
        lens->sum[x] = lens->weight[0] * middle[x];
    }
    for (int32_t i = 1; i <= lens->radius; i++) {
        const float *above = ring_row(lens, y - i < 0 ? 0 : y - i, width);
        const float *below = ring_row(lens, y + i > last ? last : y + i, width);
        float weight = lens->weight[i];
        for (int32_t x = 0; x < width; x++) {
            lens->sum[x] += weight * (above[x] + below[x]);
        }
    }
    for (int32_t x = 0; x < width; x++) {
        to[x] = (uint16_t)(lens->sum[x] + 0.5F);
    }
}

/* Below this many pixels a Gaussian leaves the picture as it is. */
#define LEAST_SIGMA_PX 0.2

static enum kb_status blur(struct kb_canvas *canvas, struct kb_err *err) {
    double sigma = canvas->params->blur_um / canvas->params->px_um;
    struct lens lens;
    if (sigma < LEAST_SIGMA_PX) {
        return KB_OK;
    }
    enum kb_status status = lens_make(sigma, canvas->light.width, &lens, err);
    if (status != KB_OK) {
        return status;
    }
    int32_t read = 0, height = canvas->light.height;
    for (int32_t y = 0; y < height; y++) {
        for (; read < height && read <= y + lens.radius; read++) {
            blur_along(&lens, &canvas->light, read);
        }
        blur_across(&lens, &canvas->light, y);
    }
    lens_release(&lens);
    return KB_OK;
}

/* ---- sensor -------------------------------------------------------------------------------------
 */

static void sense(const struct kb_canvas *canvas, struct kb_image *grey) {
    uint64_t seed = canvas->params->seed;
    uint64_t first = canvas->params->exposure << 32; /* rows of other exposures */
    double noise = canvas->params->noise;
    bool scanned = canvas->params->beam_noise > 0.0;
#pragma omp parallel for schedule(static)
    for (int32_t y = 0; y < grey->height; y++) {
        const uint16_t *light = canvas->light.px + (size_t)y * (size_t)grey->width;
        uint8_t *to = kb_row(grey, y);
        struct kb_random random = kb_random_start(seed, KB_CHANCE_SENSOR, first + (uint64_t)y);
        struct kb_beam beam = kb_beam_start(canvas->params, y);
        for (int32_t x = 0; x < grey->width; x++) {
            double clean = light[x] * (1.0 / KB_LIGHT_UNIT), value = clean;
            /* 0.75 of the stated noise in the dark, all of it at grey 200 */
            value += noise * (0.75 + clean / 800.0) * kb_byte_normal(kb_random_bits(&random));
            value += scanned ? kb_beam_noise(&beam, clean) : 0.0;
            to[x] = (uint8_t)(fmin(fmax(value, 0.0), 255.0) + 0.5);
        }
    }
}

enum kb_status kb_expose(struct kb_canvas *canvas, struct kb_image *grey, struct kb_err *err) {
    shade(canvas);
    enum kb_status status = blur(canvas, err);
    if (status == KB_OK) {
        kb_charge(canvas);
        sense(canvas, grey);
    }
    return status;
}
