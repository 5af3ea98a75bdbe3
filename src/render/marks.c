/* marks.c - what preparation leaves: scratches of the last abrasive, pores and specks of dirt.
 *
 * Both are drawn on the light, never on the truth. Scratches are long, straight, thin, in one or
 * two nearly parallel sets; each is faint or clear, and fades along its length. Specks are smaller
 * than 3 um and come singly and in swarms.
 */
#include "render_priv.h"

static uint16_t *light_at(struct kb_canvas *canvas, int32_t x, int32_t y) {
    return &canvas->light.px[(size_t)y * (size_t)canvas->light.width + (size_t)x];
}

static void scale_light(uint16_t *light, double factor) {
    double value = *light * factor;
    *light = (uint16_t)(fmin(fmax(value, 0.0), 255.0 * KB_LIGHT_UNIT) + 0.5);
}

/* ---- scratches ----------------------------------------------------------------------------------
 */

struct scratch {
    double x, y, dx, dy; /* pixels: a point on it, unit vector along it */
    double half, length; /* pixels */
    double depth;        /* relative loss of light in its middle */
    double ridge;        /* relative gain beside it */
    uint64_t key;
};

static struct scratch draw_scratch(const struct kb_canvas *canvas, size_t index) {
    const struct kb_render_params *params = canvas->params;
    struct kb_random set = kb_random_start(params->seed, KB_CHANCE_SCRATCH, 0);
    struct kb_random random = kb_random_start(params->seed, KB_CHANCE_SCRATCH, index + 1);
    double first = kb_random_uniform(&set), second = first + kb_random_between(&set, 0.1, 0.25);
    double turns = kb_random_uniform(&random) < 0.7 ? first : second;
    double clear = kb_random_uniform(&random);
    struct scratch s;
    turns += 0.012 * kb_random_normal(&random);
    kb_turn(turns, &s.dx, &s.dy);
    s.x = kb_random_uniform(&random) * params->width;
    s.y = kb_random_uniform(&random) * params->height;
    s.half = kb_random_between(&random, 0.2, 0.7) / params->px_um;
    s.length = kb_random_between(&random, 200.0, 1600.0) / params->px_um;
    s.depth = 0.05 + 0.30 * clear * clear;
    s.ridge = kb_random_between(&random, 0.0, 0.3) * s.depth;
    s.key = kb_random_bits(&random);
    return s;
}

/* Darken the pixels about one place along the scratch. */
static void stroke_pixel(struct kb_canvas *canvas, const struct scratch *s, int32_t x, int32_t y) {
    if (x < 0 || y < 0 || x >= canvas->light.width || y >= canvas->light.height) {
        return;
    }
    double dx = x + 0.5 - s->x, dy = y + 0.5 - s->y;
    double along = (dx * s->dx + dy * s->dy) / s->length; /* -1/2 .. 1/2 */
    double off = fabs(dy * s->dx - dx * s->dy);
    double fade = 1.0 - 4.0 * along * along;
    if (fade <= 0.0) {
        return;
    }
    fade *= 0.8 + 0.4 * kb_noise(s->key, along * 25.0, 0.5);
    /* cover of the pixel by the groove, and by the ridge beside it */
    double cover = fmin(fmax(s->half + 0.5 - off, 0.0), fmin(1.0, 2.0 * s->half));
    double side = fmax(0.0, 1.0 - fabs(off - s->half - 1.0));
    scale_light(light_at(canvas, x, y), 1.0 + fade * (s->ridge * side - s->depth * cover));
}

static void draw_along(struct kb_canvas *canvas, const struct scratch *s) {
    bool steep = fabs(s->dy) > fabs(s->dx);
    double lead = steep ? s->dy : s->dx, slope = steep ? s->dx / s->dy : s->dy / s->dx;
    double start = steep ? s->y : s->x, across = steep ? s->x : s->y;
    double half_run = fabs(lead) * s->length / 2.0;
    int32_t reach =
        (int32_t)ceil((s->half + 2.5) * 1.4143); /* to the ridge, slanted by 45 degrees */
    double limit = steep ? canvas->light.height : canvas->light.width;
    int32_t from = (int32_t)fmax(0.0, floor(start - half_run));
    int32_t to = (int32_t)fmin(limit, ceil(start + half_run));
    for (int32_t i = from; i < to; i++) {
        int32_t middle = (int32_t)floor(across + slope * (i + 0.5 - start));
        for (int32_t j = middle - reach; j <= middle + reach; j++) {
            stroke_pixel(canvas, s, steep ? j : i, steep ? i : j);
        }
    }
}

static double frame_mm2(const struct kb_render_params *params) {
    return (double)params->width * params->height * params->px_um * params->px_um * 1e-6;
}

void kb_mark_scratches(struct kb_canvas *canvas) {
    struct kb_random random = kb_random_start(canvas->params->seed, KB_CHANCE_LAYOUT, 1);
    double wanted = canvas->params->scratches_per_mm2 * frame_mm2(canvas->params);
    size_t count = (size_t)(wanted + kb_random_uniform(&random));
    for (size_t i = 0; i < count; i++) {
        struct scratch scratch = draw_scratch(canvas, i);
        draw_along(canvas, &scratch);
    }
}

/* ---- specks -------------------------------------------------------------------------------------
 */

/* Single specks and swarms in a square millimetre of a well prepared section, and specks in a swarm
 * (judged by eye from ordinary micrographs; common practice, no published source). */
#define SPECKS_PER_MM2 60.0
#define SWARMS_PER_MM2 25.0
enum { SWARM_MAX = 9, SPECKS_MAX = 100000 };

static void draw_speck(struct kb_canvas *canvas, struct kb_random *random, double x, double y) {
    double px_um = canvas->params->px_um;
    double size = kb_random_uniform(random);
    double radius = 0.3 + 0.9 * size * size; /* um */
    double depth = kb_random_between(random, 0.3, 0.75);
    double reach = radius + px_um;
    int32_t x0 = (int32_t)fmax(0.0, floor((x - reach) / px_um));
    int32_t y0 = (int32_t)fmax(0.0, floor((y - reach) / px_um));
    int32_t x1 = (int32_t)fmin(canvas->light.width, ceil((x + reach) / px_um));
    int32_t y1 = (int32_t)fmin(canvas->light.height, ceil((y + reach) / px_um));
    double small = fmin(1.0, radius * radius / (0.25 * px_um * px_um)); /* less than a pixel */
    for (int32_t v = y0; v < y1; v++) {
        for (int32_t u = x0; u < x1; u++) {
            double dx = (u + 0.5) * px_um - x, dy = (v + 0.5) * px_um - y;
            double cover = 0.5 + (radius - sqrt(dx * dx + dy * dy)) / px_um;
            cover = fmin(fmax(cover, 0.0), 1.0);
            scale_light(light_at(canvas, u, v), 1.0 - depth * cover * small);
        }
    }
}

void kb_mark_specks(struct kb_canvas *canvas) {
    const struct kb_render_params *params = canvas->params;
    double width = params->width * params->px_um, height = params->height * params->px_um;
    struct kb_random layout = kb_random_start(params->seed, KB_CHANCE_LAYOUT, 2);
    double mm2 = frame_mm2(params);
    size_t single = (size_t)fmin(SPECKS_PER_MM2 * mm2 + kb_random_uniform(&layout), SPECKS_MAX);
    size_t swarms = (size_t)fmin(SWARMS_PER_MM2 * mm2 + kb_random_uniform(&layout), SPECKS_MAX);
    for (size_t i = 0; i < single + swarms; i++) {
        struct kb_random random = kb_random_start(params->seed, KB_CHANCE_SPECK, i);
        double x = kb_random_uniform(&random) * width, y = kb_random_uniform(&random) * height;
        int n = i < single ? 1 : (int)kb_random_between(&random, 3.0, SWARM_MAX + 1.0);
        double c, s;
        kb_turn(kb_random_uniform(&random), &c, &s);
        for (int k = 0; k < n; k++) { /* a swarm is longer than wide */
            double a = 7.0 * kb_random_normal(&random), b = 2.5 * kb_random_normal(&random);
            draw_speck(canvas, &random, k == 0 ? x : x + a * c - b * s,
                       k == 0 ? y : y + a * s + b * c);
        }
    }
}
