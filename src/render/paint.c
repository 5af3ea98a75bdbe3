/* paint.c - the grey of each phase, before light and lens.
 *
 * Etched under the light microscope ferrite is bright with thin dark boundaries between its grains,
 * pearlite grey to dark with colonies of different grey and lamellae where they are resolved,
 * graphite darkest. As polished the whole matrix is bright. An etch that was left on too long eats
 * ferrite too: it gets dark, unevenly from grain to grain, and mottled with pits and deposits of a
 * few micrometres; boundaries are dug wide; pearlite goes black until it is as dark as graphite.
 * With secondary electrons the carbide stands out bright from dark ferrite, and edges are bright.
 * Grey levels are those of ordinary exposures (common practice, no published source).
 */
#include "render_priv.h"

/* Grey levels of one look, 0..255. */
struct palette {
    double ferrite, ferrite_spread; /* mean, difference between grains */
    double boundary;                /* loss of grey in a grain boundary */
    double groove;                  /* half width of a boundary, um */
    double pearlite, pearlite_spread;
    double lamella; /* half difference between the two kinds of lamella */
    double mottle;  /* pearlite whose lamellae are not resolved */
    double graphite, graphite_spread;
    double rim;  /* gain at the border of two phases */
    double pits; /* mottle of ferrite that was etched too long; 0 in every table */
};

static const struct palette palettes[] = {
    [KB_RENDER_LIGHT] = {211.0, 7.0, 62.0, 0.42, 120.0, 17.0, 42.0, 15.0, 48.0, 12.0, -10.0, 0.0},
    [KB_RENDER_UNETCHED] = {212.0, 0.0, 0.0, 1.0, 212.0, 0.0, 0.0, 0.0, 75.0, 12.0, -6.0, 0.0},
    [KB_RENDER_SEM] = {76.0, 8.0, -40.0, 0.1, 126.0, 9.0, -50.0, 16.0, 26.0, 7.0, 34.0, 0.0},
};

static double towards(double from, double to, double part) {
    return from + part * (to - from);
}

/* The palette of a look, and how far too long it was etched. */
static struct palette palette_of(const struct kb_render_params *params) {
    struct palette p = palettes[params->look];
    double part = params->look == KB_RENDER_LIGHT ? params->over_etch : 0.0;
    p.ferrite = towards(p.ferrite, 112.0, part);
    p.ferrite_spread = towards(p.ferrite_spread, 24.0, part);
    p.pits = towards(0.0, 38.0, part);
    p.boundary = towards(p.boundary, 85.0, part);
    p.groove = towards(p.groove, 2.2, part);
    p.pearlite = towards(p.pearlite, 54.0, part);
    p.pearlite_spread = towards(p.pearlite_spread, 10.0, part);
    p.lamella = towards(p.lamella, 12.0, part);
    return p;
}

/* ---- graphite -----------------------------------------------------------------------------------
 */

/* How one particle looks inside. */
struct inside {
    uint64_t key;
    double base, core, streaks, mottle;
};

static struct inside draw_inside(const struct kb_canvas *canvas, size_t index) {
    const struct palette *palette = &palettes[canvas->params->look];
    struct kb_random random = kb_random_start(canvas->params->seed, KB_CHANCE_TEXTURE, index + 1);
    struct inside in;
    in.key = kb_random_bits(&random);
    in.base = palette->graphite + palette->graphite_spread * kb_random_between(&random, -1.0, 1.0);
    in.core = kb_random_uniform(&random) < 0.6 ? kb_random_between(&random, 8.0, 38.0) : 0.0;
    in.streaks = kb_random_between(&random, 4.0, 11.0);
    in.mottle = kb_random_between(&random, 4.0, 11.0);
    return in;
}

static uint8_t tone_at(const struct inside *in, double dx, double dy, double radius) {
    double r = sqrt(dx * dx + dy * dy), ux = r > 0.0 ? dx / r : 0.0, uy = r > 0.0 ? dy / r : 0.0;
    double share = fmin(r / radius, 1.0);
    /* sectors about the centre: noise of the direction, fading towards the middle */
    double streak = kb_noise(in->key, 5.0 * ux + 20.0, 5.0 * uy + 20.0) * share;
    double mottle = kb_noise(in->key + 1, dx / 1.7, dy / 1.7);
    double patch = kb_noise(in->key + 2, dx / 4.5 + 0.5, dy / 4.5 + 0.5);
    double core = in->core * fmax(0.0, 1.0 - 1.6 * share) * (1.0 + 0.8 * patch);
    double pit = patch > 0.5 ? 70.0 * (patch - 0.5) : 0.0; /* torn out by polishing */
    double tone = in->base + in->streaks * streak + in->mottle * mottle - core - pit;
    return (uint8_t)(fmin(fmax(tone, 4.0), 120.0) + 0.5);
}

static void paint_particle(struct kb_canvas *canvas, size_t index) {
    const struct kb_graphite *g = &canvas->scene->graphite[index];
    double px_um = canvas->params->px_um, reach = g->radius + px_um;
    struct inside in = draw_inside(canvas, index);
    int32_t x0 = (int32_t)fmax(0.0, floor((g->x - reach) / px_um));
    int32_t y0 = (int32_t)fmax(0.0, floor((g->y - reach) / px_um));
    int32_t x1 = (int32_t)fmin(canvas->tone.width, ceil((g->x + reach) / px_um));
    int32_t y1 = (int32_t)fmin(canvas->tone.height, ceil((g->y + reach) / px_um));
    for (int32_t y = y0; y < y1; y++) {
        const uint8_t *share = kb_row(&canvas->graphite, y);
        uint8_t *to = kb_row(&canvas->tone, y);
        for (int32_t x = x0; x < x1; x++) {
            double dx = (x + 0.5) * px_um - g->x, dy = (y + 0.5) * px_um - g->y;
            if (share[x] > 0 && dx * dx + dy * dy <= reach * reach) {
                to[x] = tone_at(&in, dx, dy, g->radius);
            }
        }
    }
}

void kb_paint_graphite(struct kb_canvas *canvas) {
    kb_image_fill(&canvas->tone, 0);
    for (size_t i = 0; i < canvas->scene->count; i++) {
        paint_particle(canvas, i);
    }
}

/* ---- ferrite and pearlite -----------------------------------------------------------------------
 */

struct brush {
    const struct kb_canvas *canvas;
    const struct palette *palette;
    uint64_t key;
    double px_um;
};

static double ferrite_grey(const struct brush *b, double x, double y) {
    const struct kb_render_params *params = b->canvas->params;
    double grey = b->palette->ferrite + 1.5 * kb_noise(b->key, x / 9.0, y / 9.0);
    if (b->palette->pits > 0.0) {
        grey += b->palette->pits * (0.6 * kb_noise(b->key + 7, x / 4.5, y / 4.5) +
                                    0.4 * kb_noise(b->key + 8, x / 1.6, y / 1.6));
    }
    if (params->look == KB_RENDER_UNETCHED || params->grain_um <= 0.0) {
        return grey;
    }
    struct kb_cell_hit hit = kb_cells_find(&b->canvas->matrix->grain, x, y);
    grey += b->palette->ferrite_spread * (double)hit.cell->tone;
    if (hit.cell->pearlite || hit.other->pearlite) {
        return grey; /* the straight border of these cells is not that of the ragged pearlite */
    }
    /* each groove has its own depth; below the size of a pixel it gets fainter, not narrower */
    double pair = (double)hit.cell->tone * (double)hit.other->tone; /* the same from both sides */
    double half = fmax(b->palette->groove, 0.5 * b->px_um);
    double depth =
        b->palette->boundary * (0.75 + 0.35 * pair) * fmin(1.0, b->palette->groove / half + 0.2);
    return grey - depth * fmax(0.0, 1.0 - hit.edge / (2.0 * half));
}

/* Across the lamellae: -1 in cementite, 1 in ferrite, mean near 0; position in lamella spacings. */
static double lamella_profile(double position) {
    double in = position - (double)kb_round_down(position);
    double ridge = fabs(2.0 * in - 1.0);                    /* 1 at both ends, 0 in the middle */
    double t = fmin(fmax((ridge - 0.22) / 0.42, 0.0), 1.0); /* dark part about 0.4 of the spacing */
    return 2.0 * t * t * (3.0 - 2.0 * t) - 1.14;
}

/* Fine texture of a colony whose lamellae the lens does not part: streaks along the lamellae. */
static double streaks(const struct brush *b, const struct kb_cell *colony, double x, double y) {
    double across = x * (double)colony->along_x + y * (double)colony->along_y;
    double along = y * (double)colony->along_x - x * (double)colony->along_y;
    double fine = fmax(0.55, 1.3 * b->px_um), shift = 37.0 * (double)colony->tone;
    return kb_noise(b->key + 2, across / fine + shift, along / (5.0 * fine)) +
           0.6 * kb_noise(b->key + 5, across / (3.0 * fine) + shift, along / (7.0 * fine));
}

static double pearlite_grey(const struct brush *b, double x, double y) {
    const struct kb_render_params *params = b->canvas->params;
    const struct palette *palette = b->palette;
    struct kb_cell_hit hit = kb_cells_find(&b->canvas->matrix->colony, x, y);
    const struct kb_cell *colony = hit.cell;
    double grey = palette->pearlite + palette->pearlite_spread * (double)colony->tone;
    double spacing = params->lamella_um * (double)colony->stretch;
    double seen = fmin(fmax((spacing / b->px_um - 2.0) / 4.0, 0.0), 1.0); /* none below 2 pixels */
    double patches = kb_noise(b->key + 1, x / 3.1, y / 3.1);
    grey += palette->mottle * (0.6 * patches + 1.1 * (1.0 - 0.8 * seen) * streaks(b, colony, x, y));
    if (seen > 0.0) {
        double across = x * (double)colony->along_x + y * (double)colony->along_y;
        double along = y * (double)colony->along_x - x * (double)colony->along_y;
        /* plates are wavy, and end here and there */
        double bend = 0.8 * kb_noise(b->key + 3, x / 8.0, y / 8.0);
        double wave =
            0.35 * kb_noise(b->key + 4, across / (2.0 * spacing), along / (5.0 * spacing));
        double depth = 0.85 + 0.45 * kb_noise(b->key + 6, across / (3.0 * spacing), along / 4.0);
        grey += seen * depth * palette->lamella *
                lamella_profile((across + bend) / spacing + wave + 11.0 * (double)colony->tone);
    }
    return grey;
}

/* ---- rows ---------------------------------------------------------------------------------------
 */

/* 0 within a phase, up to 1 where its share changes from pixel to pixel. */
static double step_at(const struct kb_image *share, int32_t x, int32_t y) {
    int32_t left = x > 0 ? x - 1 : x, right = x + 1 < share->width ? x + 1 : x;
    int32_t up = y > 0 ? y - 1 : y, down = y + 1 < share->height ? y + 1 : y;
    int dx = kb_row(share, y)[right] - kb_row(share, y)[left];
    int dy = kb_row(share, down)[x] - kb_row(share, up)[x];
    dx = dx < 0 ? -dx : dx;
    dy = dy < 0 ? -dy : dy;
    return (dx > dy ? dx : dy) / 255.0;
}

static void paint_row(const struct brush *b, int32_t y) {
    const struct kb_canvas *canvas = b->canvas;
    const uint8_t *graphite = kb_row(&canvas->graphite, y);
    const uint8_t *pearlite = kb_row(&canvas->pearlite, y);
    const uint8_t *tone = kb_row(&canvas->tone, y);
    uint16_t *light = canvas->light.px + (size_t)y * (size_t)canvas->light.width;
    const uint8_t *bainite = canvas->bainite.px != NULL ? kb_row(&canvas->bainite, y) : NULL;
    const uint8_t *carbide = canvas->carbide.px != NULL ? kb_row(&canvas->carbide, y) : NULL;
    bool unetched = canvas->params->look == KB_RENDER_UNETCHED;
    double v = (y + 0.5) * b->px_um;
    for (int32_t x = 0; x < canvas->light.width; x++) {
        double u = (x + 0.5) * b->px_um;
        int g = graphite[x], p = unetched ? 0 : pearlite[x];
        int needles = bainite != NULL ? bainite[x] : 0, blocks = carbide != NULL ? carbide[x] : 0;
        int f = 255 - g - p - needles - blocks;
        double grey = g * (double)tone[x];
        grey += needles > 0 ? needles * kb_bainite_grey(canvas, b->key, u, v) : 0.0;
        grey += blocks > 0 ? blocks * kb_carbide_grey(canvas, b->key, u, v) : 0.0;
        grey += f > 0 ? f * ferrite_grey(b, u, v) : 0.0;
        grey += p > 0 ? p * pearlite_grey(b, u, v) : 0.0;
        grey /= 255.0;
        grey += b->palette->rim * step_at(&canvas->graphite, x, y);
        if (canvas->params->look == KB_RENDER_SEM) {
            grey += b->palette->rim * step_at(&canvas->pearlite, x, y);
        }
        grey = fmin(fmax(grey, 0.0), 255.0);
        light[x] = (uint16_t)(grey * KB_LIGHT_UNIT + 0.5);
    }
}

void kb_paint(struct kb_canvas *canvas) {
    struct palette palette = palette_of(canvas->params);
    struct brush brush = {canvas, &palette,
                          kb_random_key(canvas->params->seed, KB_CHANCE_TEXTURE, 0),
                          canvas->params->px_um};
#pragma omp parallel for schedule(dynamic, 16)
    for (int32_t y = 0; y < canvas->light.height; y++) {
        paint_row(&brush, y);
    }
}
