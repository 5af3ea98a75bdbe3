/* test_ragged.c - ragged particles stay ragged: their shape factor against that of the outline.
 *
 * Outlines of 13 to 17 px on the average, two lobes and a serration of orders 8 to 19, beside discs
 * of 24 px; sampled on an 8 times finer grid, blurred by 0.7 px, noise of 2.5 levels. Truth from
 * the outline itself (polygon of 720 corners). Blur hides the finest of it from any measure, so
 * 0.05 is allowed; a measure that takes raggedness for noise reads 0.06 too round.
 */
#include "kb_cmocka.h"

#include "canvas.h"

#include <string.h>

enum { CORNERS = 720, ACROSS = 8, DOWN = 6, CELL = 44, FINE = 8, ORDERS = 20 };

struct ragged {
    struct place centre;
    double r, lobes, phase[ORDERS];
};

static double radius_at(const struct ragged *p, double t) {
    double sum = 0.14 * cos(2.0 * t + p->phase[2]) + 0.05 * cos(3.0 * t + p->phase[3]);
    for (int k = 8; k < ORDERS; k++) { /* serration */
        sum += 0.018 * cos(k * t + p->phase[k]);
    }
    return p->r * (1.0 + p->lobes * sum);
}

static void paint(struct canvas *canvas, const struct ragged *p) {
    for (int32_t y = (int32_t)p->centre.y - 20; y < (int32_t)p->centre.y + 20; y++) {
        for (int32_t x = (int32_t)p->centre.x - 20; x < (int32_t)p->centre.x + 20; x++) {
            double share = 0.0;
            for (int i = 0; i < FINE * FINE; i++) {
                double dx = x + (i % FINE + 0.5) / FINE - p->centre.x;
                double dy = y + (i / FINE + 0.5) / FINE - p->centre.y;
                share += hypot(dx, dy) < radius_at(p, atan2(dy, dx)) ? 1.0 / (FINE * FINE) : 0.0;
            }
            canvas->value[y * canvas->width + x] += share * (60.0 - 210.0);
        }
    }
}

/* Along x, or along y when `step` is a row; sigma 0.7 px. */
static void blur(struct canvas *canvas, int32_t step) {
    static double out[ACROSS * CELL * DOWN * CELL];
    int32_t pixels = canvas->width * canvas->height;
    for (int32_t i = 0; i < pixels; i++) {
        double sum = 0.0;
        double weights = 0.0;
        for (int32_t k = -4; k <= 4; k++) {
            int32_t at = i + k * step;
            double weight = exp(-0.5 * k * k / (0.7 * 0.7));
            sum += at >= 0 && at < pixels ? weight * canvas->value[at] : 0.0;
            weights += at >= 0 && at < pixels ? weight : 0.0;
        }
        out[i] = sum / weights;
    }
    memcpy(canvas->value, out, (size_t)pixels * sizeof *out);
}

static double true_shape(const struct ragged *p) {
    static double x[CORNERS], y[CORNERS];
    double twice = 0.0;
    double farthest = 0.0;
    for (int i = 0; i < CORNERS; i++) {
        double t = 2.0 * SHAPE_PI * i / CORNERS;
        x[i] = radius_at(p, t) * cos(t);
        y[i] = radius_at(p, t) * sin(t);
    }
    for (int i = 0; i < CORNERS; i++) {
        int next = (i + 1) % CORNERS;
        twice += x[i] * y[next] - x[next] * y[i];
        for (int k = 0; k < i; k++) {
            farthest = fmax(farthest, hypot(x[i] - x[k], y[i] - y[k]));
        }
    }
    return 0.5 * twice / (SHAPE_PI / 4.0 * farthest * farthest);
}

static void ragged_particles_are_not_read_as_round(void **state) {
    (void)state;
    uint64_t seed = 5;
    struct ragged all[ACROSS * DOWN];
    struct canvas canvas = canvas_blank(ACROSS * CELL, DOWN * CELL, 210.0);
    for (int i = 0; i < ACROSS * DOWN; i++) {
        bool disc = i % 6 == 0; /* shows the blur, as larger particles of a field do */
        all[i] = (struct ragged){
            .centre = {CELL * (i % ACROSS + 0.5) + spread(&seed),
                       CELL * (i / ACROSS + 0.5) + spread(&seed)},
            .r = disc ? 12.0 : 6.5 + 2.0 * spread(&seed),
            .lobes = disc ? 0.0 : 1.0,
        };
        for (int k = 0; k < ORDERS; k++) {
            all[i].phase[k] = 2.0 * SHAPE_PI * spread(&seed);
        }
        paint(&canvas, &all[i]);
    }
    blur(&canvas, 1);
    blur(&canvas, canvas.width);
    struct kb_image image = canvas_expose(&canvas, 2.5, &seed);
    struct kb_phase_map map = map_below(&image, 135.0);
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    params.min_feret_um = 0.0;
    struct kb_particles particles = measured_with(&map, &image, 0.5, &params);
    assert_int_equal(particles.count, ACROSS * DOWN);
    double bias = 0.0;
    int ragged = 0;
    for (size_t i = 0; i < particles.count; i++) {
        const struct kb_particle *p = &particles.particle[i];
        int cell = (int)(p->y_px / CELL) * ACROSS + (int)(p->x_px / CELL);
        if (all[cell].lobes > 0.0) {
            bias += p->shape_factor - true_shape(&all[cell]);
            ragged++;
        }
    }
    bias /= ragged;
    if (!(fabs(bias) <= 0.05)) {
        fail_msg("shape factors of ragged particles lean by %+.3f", bias);
    }
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
    kb_image_release(&image);
    canvas_release(&canvas);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ragged_particles_are_not_read_as_round),
    };
    return cmocka_run_group_tests_name("ragged", tests, NULL, NULL);
}
