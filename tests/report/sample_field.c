/* sample_field.c - a drawn field: ellipses of graphite with rings of ferrite in pearlite, or
 * ferrite grains in pearlite; measured here by moments, for tests only. */
#include "sample_result.h"

#include <assert.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* Numerical Recipes' quick generator: enough for test pictures. */
static uint32_t next_random(uint32_t *state) {
    *state = *state * 1664525u + 1013904223u;
    return *state >> 8;
}

static double uniform(uint32_t *state) {
    return next_random(state) / 16777216.0; /* 2^24 */
}

/* Paint an ellipse; `inside` wins over what stands there only when `over`. */
static void ellipse(struct kb_image *label, double cx, double cy, double a, double b, double angle,
                    uint8_t value) {
    for (int32_t y = (int32_t)(cy - a) - 1; y <= cy + a + 1; y++) {
        for (int32_t x = (int32_t)(cx - a) - 1; x <= cx + a + 1; x++) {
            if (x < 0 || y < 0 || x >= label->width || y >= label->height) {
                continue;
            }
            double dx = x + 0.5 - cx, dy = y + 0.5 - cy;
            double u = (dx * cos(angle) + dy * sin(angle)) / a;
            double v = (dy * cos(angle) - dx * sin(angle)) / b;
            if (u * u + v * v <= 1.0 && kb_row(label, y)[x] != KB_GRAPHITE) {
                kb_row(label, y)[x] = value;
            }
        }
    }
}

static void draw_labels(struct kb_image *label, uint32_t *state, bool steel) {
    const int32_t cell = 90;
    kb_image_fill(label, KB_PEARLITE);
    for (int pass = steel ? 1 : 0; pass < 2; pass++) {
        for (int32_t y = 0; y < label->height; y += cell) {
            for (int32_t x = 0; x < label->width; x += cell) {
                double cx = x + cell * uniform(state), cy = y + cell * uniform(state);
                double a = 5.0 + 26.0 * uniform(state) * uniform(state);
                double ratio = uniform(state) < 0.2 ? 0.35 : 0.75 + 0.25 * uniform(state);
                double angle = 3.14159 * uniform(state);
                if (steel) {
                    ellipse(label, cx, cy, 2.0 * a, 2.0 * a * ratio, angle, KB_FERRITE);
                } else {
                    ellipse(label, cx, cy, 1.7 * a, 1.7 * a, angle, KB_FERRITE);
                    ellipse(label, cx, cy, a, a * ratio, angle, KB_GRAPHITE);
                }
            }
        }
    }
    /* a data bar left out, lower right */
    for (int32_t y = label->height - label->height / 12; y < label->height; y++) {
        memset(kb_row(label, y) + label->width * 2 / 3, KB_EXCLUDED,
               (size_t)(label->width - label->width * 2 / 3));
    }
}

static void draw_grey(const struct kb_image *label, uint32_t *state, struct kb_image *grey) {
    static const uint8_t level[KB_PHASES] = {
        [KB_EXCLUDED] = 20, [KB_GRAPHITE] = 45, [KB_FERRITE] = 205, [KB_PEARLITE] = 118};
    for (int32_t y = 0; y < label->height; y++) {
        for (int32_t x = 0; x < label->width; x++) {
            double noise = 14.0 * (uniform(state) + uniform(state) - 1.0);
            kb_row(grey, y)[x] = (uint8_t)(level[kb_row(label, y)[x]] + noise);
        }
    }
}

struct moments {
    double n, x, y, xx, yy, xy;
    int32_t x0, x1, y0, y1;
    bool on_frame;
};

static void add_run(struct moments *m, const struct kb_run *run, int32_t y, int32_t width,
                    int32_t height) {
    for (int32_t x = run->x0; x < run->x1; x++) {
        double px = x + 0.5, py = y + 0.5;
        m->n += 1.0;
        m->x += px;
        m->y += py;
        m->xx += px * px;
        m->yy += py * py;
        m->xy += px * py;
    }
    m->x0 = m->n > run->x1 - run->x0 && m->x0 < run->x0 ? m->x0 : run->x0;
    m->x1 = m->x1 > run->x1 ? m->x1 : run->x1;
    m->y0 = m->n > run->x1 - run->x0 ? m->y0 : y;
    m->y1 = y + 1;
    m->on_frame = m->on_frame || run->x0 == 0 || run->x1 == width || y == 0 || y == height - 1;
}

static void particle_from(const struct moments *m, double px_um, struct kb_particle *p) {
    double cx = m->x / m->n, cy = m->y / m->n;
    double sxx = m->xx / m->n - cx * cx + 1.0 / 12, syy = m->yy / m->n - cy * cy + 1.0 / 12;
    double sxy = m->xy / m->n - cx * cy;
    double middle = 0.5 * (sxx + syy), turn = hypot(0.5 * (sxx - syy), sxy);
    p->area_px2 = m->n;
    p->x_px = cx;
    p->y_px = cy;
    p->box = (struct kb_rect){m->x0, m->y0, m->x1 - m->x0, m->y1 - m->y0};
    p->major_px = p->feret_max_px = 4.0 * sqrt(middle + turn);
    p->minor_px = p->feret_min_px = 4.0 * sqrt(fmax(middle - turn, 1.0 / 12));
    p->perimeter_px = 3.14159265 * 0.5 * (p->major_px + p->minor_px);
    p->diameter_px = sqrt(4.0 * m->n / 3.14159265);
    p->shape_factor = fmin(1.0, 4.0 * m->n / (3.14159265 * p->feret_max_px * p->feret_max_px));
    p->circularity = fmin(1.0, 4.0 * 3.14159265 * m->n / (p->perimeter_px * p->perimeter_px));
    p->solidity = 0.97;
    p->aspect = p->feret_max_px / p->feret_min_px;
    p->feret_max_angle = 0.5 * atan2(2.0 * sxy, sxx - syy) + 3.14159265 / 2.0;
    bool small = p->feret_max_px * px_um < 10.0;
    p->state = m->on_frame    ? KB_ON_FRAME
               : px_um <= 0.0 ? KB_NO_SCALE
               : small        ? KB_UNDER_SIZE
                              : KB_COUNTS;
    bool counts = p->state == KB_COUNTS;
    p->form = !counts                 ? KB_FORM_NONE
              : p->shape_factor > 0.8 ? KB_FORM_VI
              : p->shape_factor > 0.6 ? KB_FORM_V
                                      : KB_FORM_III;
    p->size_class = counts ? (p->feret_max_px * px_um < 15.0   ? 8
                              : p->feret_max_px * px_um < 30.0 ? 7
                                                               : 6)
                           : 0;
}

static void measure(struct kb_particles *particles, double px_um) {
    const struct kb_runs *runs = &particles->runs;
    struct moments *m = calloc(runs->regions + 1u, sizeof *m);
    assert_non_null(m);
    for (int32_t y = 0; y < runs->height; y++) {
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            add_run(&m[runs->run[i].region], &runs->run[i], y, runs->width, runs->height);
        }
    }
    particles->particle = kb_alloc_zero(runs->regions, sizeof *particles->particle);
    assert_non_null(particles->particle);
    particles->count = runs->regions;
    for (size_t i = 0; i < particles->count; i++) {
        particles->particle[i].id = (uint32_t)i + 1;
        particle_from(&m[i], px_um, &particles->particle[i]);
        particles->in_state[particles->particle[i].state]++;
    }
    free(m);
}

static void figures(const struct kb_image *grey, const struct kb_image *label,
                    struct kb_segmentation_figures *f) {
    *f = (struct kb_segmentation_figures){
        .classes = 3,
        .thresholds = 2,
        .threshold = {81.0, 162.0},
        .origin = {KB_THRESHOLD_FOUND, KB_THRESHOLD_BY_HAND},
        .class_phase = {KB_GRAPHITE, KB_PEARLITE, KB_FERRITE},
        .class_mean = {45.0, 118.0, 205.0},
        .class_share = {0.1, 0.5, 0.4},
        .separability = 0.93,
        .valley = {0.02, 0.04},
        .unevenness = 0.06,
        .evened = true,
        .grey_low = 0.0,
        .grey_high = 255.0,
    };
    for (int32_t y = 0; y < label->height; y++) {
        for (int32_t x = 0; x < label->width; x++) {
            uint8_t phase = kb_row(label, y)[x];
            f->pixels[phase]++;
            if (phase != KB_EXCLUDED) {
                f->histogram[kb_row(grey, y)[x]]++;
            }
        }
    }
}

void sample_field_make(uint32_t seed, int32_t width, int32_t height, double px_um, bool steel,
                       struct sample_field *sample) {
    static const bool graphite[256] = {[KB_GRAPHITE] = true};
    uint32_t state = seed * 2654435761u + 1u;
    *sample = (struct sample_field){0};
    sample->field.px_um = px_um;
    sample->field.path = kb_copy_string("field.tif");
    assert_int_equal(kb_image_alloc(width, height, &sample->field.grey, NULL), KB_OK);
    assert_int_equal(kb_image_alloc(width, height, &sample->map.label, NULL), KB_OK);
    draw_labels(&sample->map.label, &state, steel);
    draw_grey(&sample->map.label, &state, &sample->field.grey);
    figures(&sample->field.grey, &sample->map.label, &sample->map.figures);
    if (steel) {
        sample->map.figures.classes = 2;
        sample->map.figures.thresholds = 1;
        sample->map.figures.threshold[0] = 162.0;
        sample->map.figures.class_phase[0] = KB_PEARLITE;
        sample->map.figures.class_phase[1] = KB_FERRITE;
        return;
    }
    sample->particles.px_um = px_um;
    sample->particles.width = width;
    sample->particles.height = height;
    assert_int_equal(kb_runs_label(&sample->map.label, graphite, 8, &sample->particles.runs, NULL),
                     KB_OK);
    measure(&sample->particles, px_um);
}

void sample_field_release(struct sample_field *sample) {
    kb_field_release(&sample->field);
    kb_phase_map_release(&sample->map);
    kb_particles_release(&sample->particles);
}
