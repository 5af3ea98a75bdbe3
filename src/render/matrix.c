/* matrix.c - which part of the matrix is ferrite and which is pearlite.
 *
 * Three layouts. Rings: every particle of graphite carries a ring of ferrite, uneven in thickness;
 * one factor for all rings is found on a coarse drawing so that the share of pearlite
 * comes near the aim. Grains: the plane is cut into grains, and those farthest from the borders of
 * the former austenite grains become pearlite until the share is reached. Network: above
 * NETWORK_FROM the ferrite is a band of uneven width along those borders, as in steel with 0.6 to
 * 0.75 % carbon. The truth is summed from what was drawn, never from the aim.
 */
#include "render_priv.h"

#include <stdlib.h>

#define NETWORK_FROM 0.68 /* share of pearlite above which ferrite is a network */
#define COLONY_UM 13.0    /* mean size of a pearlite colony: 5 to 30 um is common */
#define GRAIN_UM 20.0     /* ferrite grain where no boundaries are drawn */

enum { COARSE = 320 };     /* samples a side where a share is estimated */
enum { RING_POINTS = 28 }; /* vertices of the ring round one disc of a worm or flake */

/* ---- rings --------------------------------------------------------------------------------------
 */

struct rings {
    const struct kb_render_params *params;
    const struct kb_scene *scene;
    uint64_t key;
};

/* One vertex of the ring: `from` moved away from the centre by an uneven thickness. */
static struct kb_point grow(const struct rings *rings, uint64_t key, struct kb_point centre,
                            struct kb_point from, double thickness) {
    double dx = from.x - centre.x, dy = from.y - centre.y, r = sqrt(dx * dx + dy * dy);
    dx /= r, dy /= r;
    double uneven = 1.0 + 0.4 * kb_noise(key, 1.3 * dx + 50.0, 1.3 * dy + 50.0) +
                    0.2 * kb_noise(key, 4.0 * dx + 90.0, 4.0 * dy + 90.0);
    double out = r + thickness * uneven;
    struct kb_point p = {centre.x + dx * out, centre.y + dy * out};
    /* ragged edge: pearlite starts from the ferrite grains, here on a scale of 5 um */
    double ragged = kb_noise(rings->key, p.x / 6.0, p.y / 6.0) +
                    0.35 * kb_noise(rings->key + 1, p.x / 2.0, p.y / 2.0);
    out += ragged * fmin(1.6, 0.3 * thickness);
    return (struct kb_point){centre.x + dx * out, centre.y + dy * out};
}

static enum kb_status ring_nodule(const struct rings *rings, const struct kb_graphite *g,
                                  size_t index, double factor, struct kb_cover *cover,
                                  struct kb_err *err) {
    struct kb_point ring[KB_OUTLINE_POINTS], centre = {g->x, g->y};
    uint64_t key = kb_random_key(rings->params->seed, KB_CHANCE_RING, index);
    double thickness =
        factor * g->ring *
        (0.5 * rings->scene->disc[g->first_disc].r + 0.25 * rings->params->nodule_um);
    for (size_t i = 0; i < KB_OUTLINE_POINTS; i++) {
        ring[i] = grow(rings, key, centre, rings->scene->point[g->first_point + i], thickness);
    }
    return kb_cover_add(cover, ring, KB_OUTLINE_POINTS, rings->params->px_um, err);
}

static enum kb_status ring_disc(const struct rings *rings, struct kb_disc disc, uint64_t key,
                                double thickness, struct kb_cover *cover, struct kb_err *err) {
    struct kb_point ring[RING_POINTS], centre = {disc.x, disc.y};
    for (int i = 0; i < RING_POINTS; i++) {
        double c, s;
        kb_turn((double)i / RING_POINTS, &c, &s);
        struct kb_point from = {disc.x + disc.r * c, disc.y + disc.r * s};
        ring[i] = grow(rings, key, centre, from, thickness);
    }
    return kb_cover_add(cover, ring, RING_POINTS, rings->params->px_um, err);
}

/* The band between two discs of a spine: its corners lie beside the two centres. */
static enum kb_status ring_link(const struct rings *rings, struct kb_disc a, struct kb_disc b,
                                struct kb_cover *cover, struct kb_err *err) {
    double dx = b.x - a.x, dy = b.y - a.y, length = sqrt(dx * dx + dy * dy);
    dx /= length, dy /= length;
    const struct kb_point corner[4] = {{a.x - a.r * dy, a.y + a.r * dx},
                                       {a.x + a.r * dy, a.y - a.r * dx},
                                       {b.x + b.r * dy, b.y - b.r * dx},
                                       {b.x - b.r * dy, b.y + b.r * dx}};
    return kb_cover_add(cover, corner, 4, rings->params->px_um, err);
}

/* Thickness of the ferrite at one disc of a spine. Flakes carry it in places, and some not at all.
 */
static double spine_thickness(const struct rings *rings, const struct kb_graphite *g, uint64_t key,
                              struct kb_disc disc, double factor) {
    double step = rings->params->nodule_um;
    double uneven = kb_noise(rings->key + 2, disc.x / step, disc.y / step);
    uneven += 0.5 * kb_noise(key, 3.0 * disc.x / step, 3.0 * disc.y / step);
    double share = g->shape >= KB_SHAPE_FLAKE ? fmax(0.0, 0.35 + 1.3 * uneven) : 1.0 + 0.4 * uneven;
    return factor * g->ring * 0.4 * step * share;
}

static enum kb_status ring_spine(const struct rings *rings, const struct kb_graphite *g,
                                 size_t index, double factor, struct kb_cover *cover,
                                 struct kb_err *err) {
    uint64_t key = kb_random_key(rings->params->seed, KB_CHANCE_RING, index);
    const struct kb_disc *disc = &rings->scene->disc[g->first_disc];
    struct kb_disc last = {0};
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < g->discs && status == KB_OK; i++) {
        double thickness = spine_thickness(rings, g, key, disc[i], factor);
        struct kb_disc grown = {disc[i].x, disc[i].y, disc[i].r + thickness};
        status = ring_disc(rings, disc[i], key, thickness, cover, err);
        if (status == KB_OK && i > 0) {
            status = ring_link(rings, last, grown, cover, err);
        }
        last = grown;
    }
    return status;
}

static enum kb_status ring_particle(const struct rings *rings, size_t index, double factor,
                                    struct kb_cover *cover, struct kb_err *err) {
    const struct kb_graphite *g = &rings->scene->graphite[index];
    enum kb_status status = kb_cover_add(cover, &rings->scene->point[g->first_point],
                                         KB_OUTLINE_POINTS, rings->params->px_um, err);
    if (status != KB_OK || factor <= 0.0) {
        return status;
    }
    if (g->discs == 1) {
        return ring_nodule(rings, g, index, factor, cover, err);
    }
    return ring_spine(rings, g, index, factor, cover, err);
}

/* Share of graphite and rings together; drawn into `to` when that is not NULL. */
static enum kb_status draw_rings(const struct rings *rings, double factor, int32_t width,
                                 int32_t height, struct kb_image *to, double *share,
                                 struct kb_err *err) {
    struct kb_cover cover = {0};
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < rings->scene->count && status == KB_OK; i++) {
        status = ring_particle(rings, i, factor, &cover, err);
    }
    if (status == KB_OK) {
        status = kb_cover_draw(&cover, width, height, to, share, err);
    }
    kb_cover_release(&cover);
    return status;
}

/* Shares nearer than this to the wanted one are near enough. */
#define SHARE_TOLERANCE 5e-4

/* Two factors with the wanted share between theirs. */
struct bracket {
    double low, high;
    double miss_low, miss_high; /* share less the wanted one: < 0, >= 0 */
    int last;                   /* which end moved last: -1 low, 1 high */
};

/* One step of false position; the end that stays twice counts half (Illinois variant, Dowell &
 * Jarratt 1971). */
static void narrow(struct bracket *b, double factor, double miss) {
    int end = miss < 0.0 ? -1 : 1;
    double weight = end == b->last ? 0.5 : 1.0;
    if (end < 0) {
        b->low = factor, b->miss_low = miss;
        b->miss_high *= weight;
    } else {
        b->high = factor, b->miss_high = miss;
        b->miss_low *= weight;
    }
    b->last = end;
}

/* The factor that gives the wanted share of graphite and rings together, on a coarse drawing. */
static enum kb_status solve_rings(const struct rings *rings, double wanted, double *factor,
                                  struct kb_err *err) {
    struct kb_render_params coarse = *rings->params;
    struct rings trial = {&coarse, rings->scene, rings->key};
    double longest = fmax(rings->scene->width, rings->scene->height);
    coarse.px_um = fmax(coarse.px_um, longest / COARSE);
    int32_t width = (int32_t)fmax(1.0, floor(rings->scene->width / coarse.px_um + 0.5));
    int32_t height = (int32_t)fmax(1.0, floor(rings->scene->height / coarse.px_um + 0.5));
    struct bracket b = {.high = 0.25, .miss_low = -wanted, .miss_high = -1.0};
    double share = 0.0;
    enum kb_status status = KB_OK;
    for (int i = 0; i < 13 && status == KB_OK && b.miss_high < 0.0;
         i++) { /* to 2000 nodules' size */
        b.low = i == 0 ? 0.0 : b.high;
        b.miss_low = i == 0 ? -wanted : b.miss_high;
        b.high *= 2.0;
        status = draw_rings(&trial, b.high, width, height, NULL, &share, err);
        b.miss_high = share - wanted;
    }
    *factor = b.high;
    for (int i = 0; i < 20 && status == KB_OK && fabs(share - wanted) > SHARE_TOLERANCE; i++) {
        *factor = (b.low * b.miss_high - b.high * b.miss_low) / (b.miss_high - b.miss_low);
        status = draw_rings(&trial, *factor, width, height, NULL, &share, err);
        narrow(&b, *factor, share - wanted);
    }
    return status;
}

static enum kb_status lay_rings(const struct kb_render_params *params, const struct kb_scene *scene,
                                struct kb_image *pearlite, struct kb_render_truth *truth,
                                struct kb_err *err) {
    struct rings rings = {params, scene, kb_random_key(params->seed, KB_CHANCE_WARP, 0)};
    double factor = 0.0, share = 0.0;
    double wanted = truth->graphite + (1.0 - params->pearlite_of_matrix) * (1.0 - truth->graphite);
    enum kb_status status = solve_rings(&rings, wanted, &factor, err);
    if (status == KB_OK) {
        status = draw_rings(&rings, factor, params->width, params->height, pearlite, &share, err);
    }
    if (status != KB_OK) {
        return status;
    }
    for (int32_t y = 0; y < params->height; y++) {
        uint8_t *row = kb_row(pearlite, y);
        for (int32_t x = 0; x < params->width; x++) {
            row[x] = (uint8_t)(255 - row[x]);
        }
    }
    truth->pearlite = 1.0 - share;
    truth->ferrite = share - truth->graphite;
    return KB_OK;
}

/* ---- grains and network -------------------------------------------------------------------------
 */

/* Where the samples of a share lie: at most COARSE a side. */
struct sampling {
    int32_t columns, rows;
    double step_x, step_y;
};

static struct sampling plan_samples(const struct kb_render_params *params) {
    struct sampling s;
    s.columns = params->width < COARSE ? params->width : COARSE;
    s.rows = params->height < COARSE ? params->height : COARSE;
    s.step_x = (double)params->width / s.columns;
    s.step_y = (double)params->height / s.rows;
    return s;
}

/* Place of a sample in um; whether it is matrix. */
static bool sample_at(const struct kb_render_params *params, const struct kb_image *graphite,
                      struct sampling s, int32_t column, int32_t row, double *x, double *y) {
    double px = (column + 0.5) * s.step_x, py = (row + 0.5) * s.step_y;
    *x = px * params->px_um;
    *y = py * params->px_um;
    return kb_row(graphite, (int32_t)py)[(int32_t)px] < 128;
}

struct ranked {
    double score;
    size_t samples; /* how much of the frame the cell holds */
    struct kb_cell *cell;
};

static int higher_first(const void *a, const void *b) {
    double sa = ((const struct ranked *)a)->score, sb = ((const struct ranked *)b)->score;
    return (sa < sb) - (sa > sb);
}

/* Cells from the top of the ranking become pearlite until their share is nearest to the aim. */
static void choose_cells(const struct ranked *ranked, size_t count, double wanted) {
    double sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        double n = (double)ranked[i].samples;
        if (sum + n / 2.0 <= wanted) {
            ranked[i].cell->pearlite = true;
            sum += n;
        }
    }
}

static enum kb_status lay_grains(const struct kb_render_params *params,
                                 const struct kb_image *graphite, struct kb_matrix *matrix,
                                 struct kb_err *err) {
    struct kb_cells *cells = &matrix->grain;
    size_t count = (size_t)cells->columns * (size_t)cells->rows, total = 0;
    struct sampling s = plan_samples(params);
    struct ranked *ranked = kb_alloc_zero(count, sizeof *ranked);
    if (ranked == NULL) {
        return kb_fail_memory(err, KB_RENDER_STAGE, count * sizeof *ranked);
    }
    /* little carbon: islands anywhere; more: pearlite inside the former austenite grains */
    double inner = fmin(fmax((params->pearlite_of_matrix - 0.15) / 0.3, 0.15), 0.85);
    for (size_t i = 0; i < count; i++) {
        struct kb_cell *cell = &cells->cell[i];
        double depth = kb_cells_find(&matrix->parent, (double)cell->x, (double)cell->y).edge;
        ranked[i].cell = cell;
        ranked[i].score =
            inner * 3.0 * depth / matrix->parent.size + (1.0 - inner) * (double)cell->score;
    }
    for (int32_t row = 0; row < s.rows; row++) {
        for (int32_t column = 0; column < s.columns; column++) {
            double x, y;
            if (sample_at(params, graphite, s, column, row, &x, &y)) {
                ranked[kb_cells_find(cells, x, y).cell - cells->cell].samples++;
                total++;
            }
        }
    }
    qsort(ranked, count, sizeof *ranked, higher_first);
    choose_cells(ranked, count, params->pearlite_of_matrix * (double)total);
    kb_free(ranked);
    return KB_OK;
}

/* Distance from the parent grain's border as the ferrite band sees it: uneven, so that the band is
 * thick here and broken there. */
static double band_depth(const struct kb_matrix *matrix, double x, double y) {
    double size = matrix->parent.size;
    double depth = kb_cells_find(&matrix->parent, x, y).edge;
    double uneven = kb_noise(matrix->key, x * 5.0 / size, y * 5.0 / size) +
                    0.5 * kb_noise(matrix->key + 1, x * 14.0 / size, y * 14.0 / size);
    return depth - 0.055 * size * uneven;
}

static int by_value(const void *a, const void *b) {
    double va = *(const double *)a, vb = *(const double *)b;
    return (va > vb) - (va < vb);
}

static enum kb_status lay_network(const struct kb_render_params *params,
                                  const struct kb_image *graphite, struct kb_matrix *matrix,
                                  struct kb_err *err) {
    struct sampling s = plan_samples(params);
    size_t n = 0;
    double *depth = kb_alloc((size_t)s.columns * (size_t)s.rows + 1, sizeof *depth);
    if (depth == NULL) {
        return kb_fail_memory(err, KB_RENDER_STAGE, sizeof *depth);
    }
    for (int32_t row = 0; row < s.rows; row++) {
        for (int32_t column = 0; column < s.columns; column++) {
            double x, y;
            if (sample_at(params, graphite, s, column, row, &x, &y)) {
                depth[n++] = band_depth(matrix, x, y);
            }
        }
    }
    depth[n] = 0.0;
    qsort(depth, n, sizeof *depth, by_value);
    matrix->limit = depth[(size_t)((1.0 - params->pearlite_of_matrix) * (double)n)];
    kb_free(depth);
    return KB_OK;
}

/* Share of one pixel from the distance to the border: the border is nearly straight across a pixel.
 */
static uint8_t share_of(double depth_um, double px_um, int graphite) {
    double share = fmin(fmax(0.5 + depth_um / px_um, 0.0), 1.0);
    return (uint8_t)(share * (255 - graphite) + 0.5);
}

/* Pearlite grows into ferrite unevenly: its border is ragged by about a micrometre. */
static double ragged(const struct kb_matrix *matrix, double x, double y) {
    double size = fmin(1.0, matrix->grain.size / 20.0);
    return size * (1.1 * kb_noise(matrix->key + 2, x / (5.0 * size), y / (5.0 * size)) +
                   0.6 * kb_noise(matrix->key + 3, x / (1.8 * size), y / (1.8 * size)));
}

static void draw_row(const struct kb_render_params *params, const struct kb_image *graphite,
                     const struct kb_matrix *matrix, int32_t y, struct kb_image *pearlite) {
    const uint8_t *g = kb_row(graphite, y);
    uint8_t *to = kb_row(pearlite, y);
    double v = (y + 0.5) * params->px_um;
    for (int32_t x = 0; x < params->width; x++) {
        double u = (x + 0.5) * params->px_um;
        double depth = matrix->network
                           ? band_depth(matrix, u, v) - matrix->limit
                           : kb_cells_depth(&matrix->grain, u, v) + ragged(matrix, u, v);
        to[x] = share_of(depth, params->px_um, g[x]);
    }
}

static enum kb_status lay_cells(const struct kb_render_params *params,
                                const struct kb_image *graphite, struct kb_matrix *matrix,
                                struct kb_image *pearlite, struct kb_err *err) {
    matrix->network = params->pearlite_of_matrix > NETWORK_FROM;
    enum kb_status status = matrix->network ? lay_network(params, graphite, matrix, err)
                                            : lay_grains(params, graphite, matrix, err);
    if (status != KB_OK) {
        return status;
    }
#pragma omp parallel for schedule(dynamic, 16)
    for (int32_t y = 0; y < params->height; y++) {
        draw_row(params, graphite, matrix, y, pearlite);
    }
    return KB_OK;
}

/* ---- the whole ----------------------------------------------------------------------------------
 */

static void sum_up(const struct kb_image *pearlite, struct kb_render_truth *truth) {
    uint64_t sum = 0;
    for (int32_t y = 0; y < pearlite->height; y++) {
        const uint8_t *row = kb_row(pearlite, y);
        for (int32_t x = 0; x < pearlite->width; x++) {
            sum += row[x];
        }
    }
    truth->pearlite = (double)sum / (255.0 * (double)kb_image_pixels(pearlite));
    truth->ferrite = fmax(0.0, 1.0 - truth->graphite - truth->pearlite);
}

static void lay_one_phase(const struct kb_image *graphite, bool all_pearlite,
                          struct kb_image *pearlite, struct kb_render_truth *truth) {
    for (int32_t y = 0; y < pearlite->height; y++) {
        const uint8_t *g = kb_row(graphite, y);
        uint8_t *to = kb_row(pearlite, y);
        for (int32_t x = 0; x < pearlite->width; x++) {
            to[x] = (uint8_t)(all_pearlite ? 255 - g[x] : 0);
        }
    }
    truth->pearlite = all_pearlite ? 1.0 - truth->graphite : 0.0;
    truth->ferrite = all_pearlite ? 0.0 : 1.0 - truth->graphite;
}

static enum kb_status make_cells(const struct kb_render_params *params, struct kb_matrix *matrix,
                                 struct kb_err *err) {
    double width = params->width * params->px_um, height = params->height * params->px_um;
    double least = 4.0 * params->px_um; /* smaller cells than pixels would be noise at great cost */
    double grain = params->grain_um > 0.0 ? params->grain_um : fmax(GRAIN_UM, least);
    matrix->key = kb_random_key(params->seed, KB_CHANCE_WARP, 1);
    enum kb_status status = kb_cells_make(
        width, height, grain, kb_random_key(params->seed, KB_CHANCE_GRAIN, 0), &matrix->grain, err);
    if (status == KB_OK) {
        status = kb_cells_make(width, height, 3.2 * grain,
                               kb_random_key(params->seed, KB_CHANCE_PARENT_GRAIN, 0),
                               &matrix->parent, err);
    }
    if (status == KB_OK) {
        status =
            kb_cells_make(width, height, fmax(COLONY_UM, least),
                          kb_random_key(params->seed, KB_CHANCE_COLONY, 0), &matrix->colony, err);
    }
    return status;
}

enum kb_status kb_matrix_make(const struct kb_render_params *params, const struct kb_scene *scene,
                              const struct kb_image *graphite, struct kb_matrix *matrix,
                              struct kb_image *pearlite, struct kb_render_truth *truth,
                              struct kb_err *err) {
    enum kb_status status = make_cells(params, matrix, err);
    if (status != KB_OK) {
        return status;
    }
    double aim = params->pearlite_of_matrix;
    if (aim <= 0.0 || aim >= 1.0) {
        lay_one_phase(graphite, aim >= 1.0, pearlite, truth);
    } else if (params->bulls_eye && scene->count > 0) {
        status = lay_rings(params, scene, pearlite, truth, err);
    } else {
        status = lay_cells(params, graphite, matrix, pearlite, err);
        if (status == KB_OK) {
            sum_up(pearlite, truth);
        }
    }
    double all = truth->pearlite + truth->ferrite;
    truth->pearlite_of_matrix = all > 0.0 ? truth->pearlite / all : (double)NAN;
    return status;
}

void kb_matrix_release(struct kb_matrix *matrix) {
    kb_cells_release(&matrix->grain);
    kb_cells_release(&matrix->parent);
    kb_cells_release(&matrix->colony);
}
