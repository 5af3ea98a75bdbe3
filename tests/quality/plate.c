/* plate.c - a made field with an exact phase map (see plate.h). */
#include "plate.h"

#include "kb_cmocka.h"

#include <string.h>

static const double pi = 3.14159265358979323846;

void plate_make(int32_t width, int32_t height, uint8_t grey, enum kb_phase phase,
                struct plate *plate) {
    memset(plate, 0, sizeof *plate);
    assert_int_equal(kb_image_alloc(width, height, &plate->field.grey, NULL), KB_OK);
    assert_int_equal(kb_image_alloc(width, height, &plate->map.label, NULL), KB_OK);
    kb_image_fill(&plate->field.grey, grey);
    kb_image_fill(&plate->map.label, (uint8_t)phase);
    plate->field.px_um = 0.5;
    plate->field.grey_high = 255.0;
    plate->field.bits = 8;
}

void plate_release(struct plate *plate) {
    kb_image_release(&plate->field.grey);
    kb_phase_map_release(&plate->map);
}

static uint8_t to_grey(double value) {
    return (uint8_t)(fmin(fmax(value, 0.0), 255.0) + 0.5);
}

void plate_disc(struct plate *plate, double x, double y, double radius, uint8_t grey,
                enum kb_phase phase, double sigma) {
    for (int32_t v = 0; v < plate->field.grey.height; v++) {
        uint8_t *to = kb_row(&plate->field.grey, v), *label = kb_row(&plate->map.label, v);
        if (fabs(v + 0.5 - y) > radius + 6.0 * sigma + 2.0) {
            continue;
        }
        for (int32_t u = 0; u < plate->field.grey.width; u++) {
            double out = hypot(u + 0.5 - x, v + 0.5 - y) - radius;
            double cover = sigma > 0.0 ? 0.5 * erfc(out / (sigma * sqrt(2.0)))
                                       : fmin(fmax(0.5 - out, 0.0), 1.0);
            to[u] = to_grey(to[u] + cover * (grey - to[u]));
            label[u] = out <= 0.0 ? (uint8_t)phase : label[u];
        }
    }
}

void plate_nodules(struct plate *plate, double sigma) {
    for (int32_t y = 45; y + 40 < plate->field.grey.height; y += 60) {
        for (int32_t x = 45; x + 40 < plate->field.grey.width; x += 60) {
            plate_disc(plate, x + 0.3, y + 0.7, 15.0, 45, KB_GRAPHITE, sigma);
        }
    }
}

void plate_rect(struct plate *plate, struct kb_rect rect, uint8_t grey, enum kb_phase phase) {
    for (int32_t y = rect.y; y < rect.y + rect.height; y++) {
        memset(kb_row(&plate->field.grey, y) + rect.x, grey, (size_t)rect.width);
        memset(kb_row(&plate->map.label, y) + rect.x, (int)phase, (size_t)rect.width);
    }
}

void plate_line(struct plate *plate, double x0, double y0, double x1, double y1, double width,
                double depth) {
    double length = hypot(x1 - x0, y1 - y0), dx = (x1 - x0) / length, dy = (y1 - y0) / length;
    for (int32_t v = 0; v < plate->field.grey.height; v++) {
        uint8_t *to = kb_row(&plate->field.grey, v);
        for (int32_t u = 0; u < plate->field.grey.width; u++) {
            double ax = u + 0.5 - x0, ay = v + 0.5 - y0;
            double along = ax * dx + ay * dy, off = ax * dy - ay * dx;
            if (along >= 0.0 && along <= length && fabs(off) < 2.0 * width + 1.0) {
                double s = off / width;
                to[u] = to_grey(to[u] - depth * exp2(-4.0 * s * s)); /* half at width / 2 */
            }
        }
    }
}

void plate_scratch(struct plate *plate, double angle, double off, double width, double depth) {
    double cx = 0.5 * plate->field.grey.width - off * sin(angle);
    double cy = 0.5 * plate->field.grey.height - off * cos(angle);
    double reach = 2.0 * hypot(cx, cy), c = reach * cos(angle), s = reach * sin(angle);
    plate_line(plate, cx - c, cy + s, cx + c, cy - s, width, depth); /* y up */
}

static uint64_t next(uint64_t *state) { /* splitmix64, public domain */
    uint64_t z = *state += 0x9e3779b97f4a7c15U;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
    return z ^ (z >> 31);
}

static double uniform(uint64_t *state) {
    return ((double)(next(state) >> 11) + 0.5) / 9007199254740992.0;
}

void plate_noise(struct plate *plate, double sigma, uint64_t seed) {
    for (int32_t v = 0; v < plate->field.grey.height; v++) {
        uint8_t *to = kb_row(&plate->field.grey, v);
        for (int32_t u = 0; u < plate->field.grey.width; u++) {
            double size = sqrt(-2.0 * log(uniform(&seed)));
            to[u] = to_grey(to[u] + sigma * size * cos(2.0 * pi * uniform(&seed)));
        }
    }
}

void plate_expose(struct plate *plate, double gain, double shift) {
    for (int32_t v = 0; v < plate->field.grey.height; v++) {
        uint8_t *to = kb_row(&plate->field.grey, v);
        for (int32_t u = 0; u < plate->field.grey.width; u++) {
            to[u] = to_grey(gain * to[u] + shift);
        }
    }
}

static void rearrange(struct kb_image *image, bool turn) {
    struct kb_image from = *image;
    int32_t width = turn ? from.height : from.width, height = turn ? from.width : from.height;
    assert_int_equal(kb_image_alloc(width, height, image, NULL), KB_OK);
    for (int32_t v = 0; v < height; v++) {
        for (int32_t u = 0; u < width; u++) {
            kb_row(image, v)[u] =
                turn ? kb_row(&from, u)[from.width - 1 - v] : kb_row(&from, v)[from.width - 1 - u];
        }
    }
    kb_image_release(&from);
}

void plate_turn(struct plate *plate) {
    rearrange(&plate->field.grey, true);
    rearrange(&plate->map.label, true);
}

void plate_mirror(struct plate *plate) {
    rearrange(&plate->field.grey, false);
    rearrange(&plate->map.label, false);
}

void plate_drawn(const struct kb_render_params *params, enum kb_material material,
                 struct plate *plate) {
    static const enum kb_contrast contrast[] = {KB_LIGHT, KB_LIGHT_UNETCHED, KB_SEM};
    struct kb_segmentation_params segment =
        kb_segmentation_params_default(material, contrast[params->look]);
    struct kb_render render;
    memset(plate, 0, sizeof *plate);
    assert_int_equal(kb_render_draw(params, &render, NULL), KB_OK);
    plate->field.grey = render.grey;
    render.grey = (struct kb_image){0};
    kb_render_release(&render);
    plate->field.px_um = params->px_um;
    plate->field.grey_high = 255.0;
    plate->field.bits = 8;
    assert_int_equal(kb_segment(&plate->field, &segment, &plate->map, NULL), KB_OK);
}

struct kb_quality plate_look(const struct plate *plate, enum kb_material material,
                             enum kb_contrast contrast) {
    struct kb_quality_params params = kb_quality_params_default(material, contrast);
    struct kb_quality quality;
    assert_int_equal(
        kb_quality_run(&plate->field, &plate->map, material, contrast, &params, &quality, NULL),
        KB_OK);
    return quality;
}

double plate_value(const struct plate *plate, enum kb_material material, enum kb_contrast contrast,
                   enum kb_check check) {
    return plate_look(plate, material, contrast).check[check].value;
}
