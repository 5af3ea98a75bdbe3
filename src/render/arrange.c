/* arrange.c - how flakes lie to one another: the distributions A to E of ISO 945-1.
 *
 * A is scene.c's own way: anywhere, any direction. The others are drawn after what the trade says
 * of them (common practice, no published source for any figure here):
 *
 *   B  rosettes: each irregular cell has a centre; flakes point to it, the fine ones near it
 *   C  kish: few long, straight, thick plates, and small flakes anywhere between them
 *   D  interdendritic, random: fine flakes, only along the borders of small cells, whose inside
 *      stands for the arm of a dendrite
 *   E  the same with cells drawn out in one direction, and flakes along it
 *
 * What differs between pictures of one letter (size of cells, of flakes, scatter) is drawn by
 * chance.
 */
#include "render_priv.h"

/* Flakes of each distribution beside those of A, by median equivalent diameter, and how they
 * spread: enough that the letters overlap in size. */
static const double size_beside_a[] = {1.0, 0.36, 0.38, 0.18, 0.26};
/* Kish: so many of the particles are plates, so many times the size of a flake of A. */
#define PLATES 0.03
#define PLATE_SIZE 2.0
#define PLATE_LEAST 1.3 /* what is larger than this is drawn as a plate */
#define STRETCH 3.0     /* E: length of an arm over its thickness */

bool kb_arranged(const struct kb_render_params *params) {
    return params->graphite == KB_RENDER_FLAKES && params->distribution > KB_RENDER_A;
}

double kb_arrange_reach(const struct kb_render_params *params) {
    return kb_arranged(params) && params->distribution == KB_RENDER_C ? 1.5 * PLATE_SIZE : 1.0;
}

enum kb_status kb_arrange_make(const struct kb_render_params *params, double width, double height,
                               struct kb_arrange *arrange, struct kb_err *err) {
    *arrange = (struct kb_arrange){.params = params, .width = width, .height = height};
    if (!kb_arranged(params)) {
        return KB_OK;
    }
    struct kb_random random = kb_random_start(params->seed, KB_CHANCE_LAYOUT, 1);
    arrange->size = params->nodule_um * size_beside_a[params->distribution] *
                    kb_random_between(&random, 0.85, 1.2);
    double length = 6.0 * arrange->size; /* of a flake, about: see draw_stroke() */
    double turns = kb_random_uniform(&random), cell = 0.0;
    kb_turn(turns, &arrange->along_x, &arrange->along_y);
    arrange->direction = turns;
    arrange->scatter = kb_random_between(&random, 0.02, 0.05); /* turns */
    switch (params->distribution) {
    case KB_RENDER_B:
        cell = length * kb_random_between(&random, 3.6, 5.5);
        arrange->scatter += 0.02;
        break;
    case KB_RENDER_D:
        cell = length * kb_random_between(&random, 1.8, 2.6);
        arrange->band = cell * kb_random_between(&random, 0.12, 0.17);
        break;
    case KB_RENDER_E:
        cell = length * kb_random_between(&random, 0.8, 1.2);
        arrange->band = cell * kb_random_between(&random, 0.10, 0.15);
        break;
    case KB_RENDER_A:
    case KB_RENDER_C:
        return KB_OK;
    }
    double across = sqrt(width * width + height * height);
    return kb_cells_make(across, across, cell, kb_random_bits(&random), &arrange->cells, err);
}

void kb_arrange_release(struct kb_arrange *arrange) {
    kb_cells_release(&arrange->cells);
}

double kb_arrange_size(const struct kb_arrange *arrange, double normal, double chance) {
    if (arrange->params->distribution == KB_RENDER_C && chance < PLATES) {
        return arrange->params->nodule_um * PLATE_SIZE * kb_exp(0.2 * normal);
    }
    return arrange->size * kb_exp(normal * kb_log(arrange->params->nodule_spread));
}

enum kb_shape kb_arrange_shape(const struct kb_arrange *arrange, double size) {
    bool plate = arrange->params->distribution == KB_RENDER_C &&
                 size > PLATE_LEAST * arrange->params->nodule_um;
    return plate ? KB_SHAPE_PLATE : KB_SHAPE_SLIVER;
}

/* Radially about the centre of a cell; the larger, the farther out. */
static bool try_rosette(const struct kb_arrange *arrange, struct kb_random *random, double size,
                        struct kb_spot *spot) {
    double rank = kb_log(size / arrange->size) / kb_log(fmax(arrange->params->nodule_spread, 1.05));
    double out = 0.60 + 0.34 * rank + 0.20 * kb_random_normal(random); /* of the cell's radius */
    const struct kb_cells *cells = &arrange->cells;
    struct kb_cell_hit hit = kb_cells_find(cells, kb_random_uniform(random) * arrange->width,
                                           kb_random_uniform(random) * arrange->height);
    double turns = kb_random_uniform(random), c, s;
    kb_turn(turns, &c, &s);
    double r = fmax(fabs(out), 0.05) * cells->size * 0.62;
    spot->x = (double)hit.cell->x + r * c;
    spot->y = (double)hit.cell->y + r * s;
    spot->turns = turns + arrange->scatter * kb_random_normal(random);
    return kb_cells_find(cells, spot->x, spot->y).cell == hit.cell;
}

static bool try_between_arms(const struct kb_arrange *arrange, struct kb_random *random,
                             struct kb_spot *spot) {
    bool along = arrange->params->distribution == KB_RENDER_E;
    spot->x = kb_random_uniform(random) * arrange->width;
    spot->y = kb_random_uniform(random) * arrange->height;
    spot->turns = kb_random_uniform(random);
    double u = spot->x, v = spot->y;
    if (along) {
        double half = arrange->cells.size * (arrange->cells.columns - 5) / 2.0;
        double dx = spot->x - arrange->width / 2.0, dy = spot->y - arrange->height / 2.0;
        u = half + (dx * arrange->along_x + dy * arrange->along_y) / STRETCH;
        v = half - dx * arrange->along_y + dy * arrange->along_x;
        spot->turns = arrange->direction + arrange->scatter * kb_random_normal(random);
    }
    return kb_cells_find(&arrange->cells, u, v).edge < arrange->band;
}

bool kb_arrange_try(const struct kb_arrange *arrange, struct kb_random *random, double size,
                    struct kb_spot *spot) {
    if (arrange->params->distribution == KB_RENDER_B) {
        return try_rosette(arrange, random, size, spot);
    }
    if (arrange->params->distribution != KB_RENDER_C) {
        return try_between_arms(arrange, random, spot);
    }
    spot->x = kb_random_uniform(random) * arrange->width;
    spot->y = kb_random_uniform(random) * arrange->height;
    spot->turns = kb_random_uniform(random);
    return true;
}

void kb_form_turn(const struct kb_form *form, double turns, struct kb_form *to) {
    const struct kb_disc *first = &form->disc[0], *last = &form->disc[form->discs - 1];
    double dx = last->x - first->x, dy = last->y - first->y, c, s;
    double length = sqrt(dx * dx + dy * dy);
    kb_turn(turns, &c, &s);
    if (length > 0.0) { /* from the chord's own direction to the wanted one */
        double cosine = (c * dx + s * dy) / length;
        s = (s * dx - c * dy) / length;
        c = cosine;
    }
    to->discs = form->discs;
    for (int i = 0; i < KB_OUTLINE_POINTS; i++) {
        struct kb_point p = form->point[i];
        to->point[i] = (struct kb_point){c * p.x - s * p.y, s * p.x + c * p.y};
    }
    for (size_t i = 0; i < form->discs; i++) {
        struct kb_disc d = form->disc[i];
        to->disc[i] = (struct kb_disc){c * d.x - s * d.y, s * d.x + c * d.y, d.r};
    }
}
