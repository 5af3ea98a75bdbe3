/* free_part.c - what of the matrix is neither ferrite nor pearlite: bainite and free carbide.
 *
 * Both take the place of pearlite, and nothing else. Bainite takes whole colonies, in an order of
 * chance, until its share is reached: grey between pearlite and ferrite, with fine needles in two
 * directions. Carbide lies where two smooth noises together are highest, away from the graphite
 * because the ferrite is there: blocks of some ten micrometres with hollow, sharp borders and, as
 * in ledeburite, small islands of pearlite; nital leaves it white. The truth is summed from what
 * was drawn, never from the aim; where pearlite is scarce less is drawn than aimed at. Greys and
 * sizes are common practice, no published source.
 */
#include "render_priv.h"

#include <stdlib.h>

/* Mean size of a block of carbide and of the bays in its border, um. */
#define BLOCK_UM 15.0
#define BAY_UM 5.0
/* Islands of pearlite in ledeburite: spacing, um, and the noise above which they stand. */
#define ISLAND_UM 3.4
#define ISLAND_FROM 0.6
/* Needles of bainite: thickness and length, um. */
#define NEEDLE_UM 0.9
#define NEEDLE_LONG_UM 8.0
/* Samples a side from which the limits are found. */
#define SAMPLES 640

/* Grey by look: light, unetched, sem. */
static const double bainite_grey[] = {165.0, 212.0, 101.0};
static const double needle_grey[] = {9.0, 0.0, 8.0};
static const double carbide_grey[] = {234.0, 212.0, 176.0};

/* ---- where -------------------------------------------------------------------------------------
 */

struct sampled {
    const struct kb_image *pearlite, *graphite;
    int32_t step;
    double px_um;
};

static struct sampled samples_of(const struct kb_canvas *canvas) {
    const struct kb_image *p = &canvas->pearlite;
    int32_t side = p->width > p->height ? p->width : p->height;
    return (struct sampled){p, &canvas->graphite, side / SAMPLES + 1, canvas->params->px_um};
}

/* Samples that are not graphite. */
static double matrix_samples(const struct sampled *s) {
    double count = 0.0;
    for (int32_t y = 0; y < s->pearlite->height; y += s->step) {
        for (int32_t x = 0; x < s->pearlite->width; x += s->step) {
            count += kb_row(s->graphite, y)[x] < 128 ? 1.0 : 0.0;
        }
    }
    return count;
}

struct colony {
    double score, samples;
    struct kb_cell *cell;
};

static int colony_first(const void *a, const void *b) {
    double sa = ((const struct colony *)a)->score, sb = ((const struct colony *)b)->score;
    return (sa < sb) - (sa > sb);
}

/* Mark the colonies that become bainite. */
static enum kb_status choose_colonies(const struct kb_canvas *canvas, struct kb_cells *cells,
                                      struct kb_err *err) {
    const struct sampled s = samples_of(canvas);
    size_t count = (size_t)cells->columns * (size_t)cells->rows;
    struct colony *colony = kb_alloc_zero(count, sizeof *colony);
    if (colony == NULL) {
        return kb_fail_memory(err, KB_RENDER_STAGE, count * sizeof *colony);
    }
    for (size_t i = 0; i < count; i++) {
        struct kb_random random =
            kb_random_start(canvas->params->seed, KB_CHANCE_FREE_PART, (uint64_t)i);
        colony[i] = (struct colony){kb_random_uniform(&random), 0.0, &cells->cell[i]};
    }
    for (int32_t y = 0; y < s.pearlite->height; y += s.step) {
        for (int32_t x = 0; x < s.pearlite->width; x += s.step) {
            struct kb_cell_hit hit = kb_cells_find(cells, (x + 0.5) * s.px_um, (y + 0.5) * s.px_um);
            colony[hit.cell - cells->cell].samples += kb_row(s.pearlite, y)[x] / 255.0;
        }
    }
    qsort(colony, count, sizeof *colony, colony_first);
    double wanted = canvas->params->bainite_of_matrix * matrix_samples(&s), sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        if (sum + 0.5 * colony[i].samples <= wanted) {
            colony[i].cell->pearlite = true;
            sum += colony[i].samples;
        }
    }
    kb_free(colony);
    return KB_OK;
}

/* Height above which carbide stands, islands apart. */
static double block_height(uint64_t key, double x, double y) {
    return kb_noise(key, x / BLOCK_UM, y / BLOCK_UM) +
           0.45 * kb_noise(key + 1, x / BAY_UM, y / BAY_UM);
}

static double island_height(uint64_t key, double x, double y) {
    return kb_noise(key + 2, x / ISLAND_UM, y / ISLAND_UM) - ISLAND_FROM;
}

static int falling(const void *a, const void *b) {
    double va = *(const double *)a, vb = *(const double *)b;
    return (va < vb) - (va > vb);
}

/* The height that gives the wanted share of the matrix; above all heights where there is no
 * pearlite. */
static enum kb_status block_limit(const struct kb_canvas *canvas, uint64_t key, double *limit,
                                  struct kb_err *err) {
    const struct sampled s = samples_of(canvas);
    size_t room = (size_t)(SAMPLES + 1) * (size_t)(SAMPLES + 1), n = 0;
    double *height = kb_alloc(room, sizeof *height);
    if (height == NULL) {
        return kb_fail_memory(err, KB_RENDER_STAGE, room * sizeof *height);
    }
    for (int32_t y = 0; y < s.pearlite->height; y += s.step) {
        for (int32_t x = 0; x < s.pearlite->width; x += s.step) {
            double u = (x + 0.5) * s.px_um, v = (y + 0.5) * s.px_um;
            if (kb_row(s.pearlite, y)[x] >= 128 && island_height(key, u, v) <= 0.0) {
                height[n++] = block_height(key, u, v);
            }
        }
    }
    qsort(height, n, sizeof *height, falling);
    size_t wanted = (size_t)(canvas->params->carbide_of_matrix * matrix_samples(&s));
    *limit = n == 0 ? 2.0 : height[wanted < n ? wanted : n - 1];
    kb_free(height);
    return KB_OK;
}

/* ---- what is taken from pearlite ---------------------------------------------------------------
 */

/* `share` of what is pearlite in a pixel, 0..1, goes to `to`. */
static uint8_t take(double depth_um, double px_um, uint8_t *pearlite) {
    double share = fmin(fmax(0.5 + depth_um / px_um, 0.0), 1.0);
    uint8_t taken = (uint8_t)(share * *pearlite + 0.5);
    *pearlite = (uint8_t)(*pearlite - taken);
    return taken;
}

/* Micrometres a height of 1 stands for on the slopes of a noise of that scale. */
static double slope_um(double scale) {
    return 0.6 * scale;
}

static double carbide_depth(uint64_t key, double limit, double u, double v) {
    double block = (block_height(key, u, v) - limit) * slope_um(BAY_UM);
    return fmin(block, -island_height(key, u, v) * slope_um(ISLAND_UM));
}

static double sum_of(const struct kb_image *share) {
    double sum = 0.0;
    for (int32_t y = 0; y < share->height; y++) {
        const uint8_t *row = kb_row(share, y);
        for (int32_t x = 0; x < share->width; x++) {
            sum += row[x];
        }
    }
    return sum / (255.0 * (double)kb_image_pixels(share));
}

static enum kb_status lay_bainite(struct kb_canvas *canvas, struct kb_cells *cells,
                                  struct kb_err *err) {
    struct kb_image *to = &canvas->bainite;
    const double px_um = canvas->params->px_um;
    enum kb_status status =
        kb_image_alloc(canvas->pearlite.width, canvas->pearlite.height, to, err);
    if (status == KB_OK) {
        status = choose_colonies(canvas, cells, err);
    }
    for (int32_t y = 0; y < to->height && status == KB_OK; y++) {
        uint8_t *pearlite = kb_row(&canvas->pearlite, y);
        for (int32_t x = 0; x < to->width; x++) {
            double u = (x + 0.5) * px_um, v = (y + 0.5) * px_um;
            kb_row(to, y)[x] =
                pearlite[x] > 0 ? take(kb_cells_depth(cells, u, v), px_um, &pearlite[x]) : 0;
        }
    }
    return status;
}

static enum kb_status lay_carbide(struct kb_canvas *canvas, struct kb_err *err) {
    struct kb_image *to = &canvas->carbide;
    const double px_um = canvas->params->px_um;
    const uint64_t key = kb_random_key(canvas->params->seed, KB_CHANCE_FREE_PART, UINT64_MAX);
    double limit = 0.0;
    enum kb_status status =
        kb_image_alloc(canvas->pearlite.width, canvas->pearlite.height, to, err);
    if (status == KB_OK) {
        status = block_limit(canvas, key, &limit, err);
    }
    for (int32_t y = 0; y < to->height && status == KB_OK; y++) {
        uint8_t *pearlite = kb_row(&canvas->pearlite, y);
        for (int32_t x = 0; x < to->width; x++) {
            double u = (x + 0.5) * px_um, v = (y + 0.5) * px_um;
            kb_row(to, y)[x] =
                pearlite[x] > 0 ? take(carbide_depth(key, limit, u, v), px_um, &pearlite[x]) : 0;
        }
    }
    return status;
}

enum kb_status kb_free_part_make(struct kb_canvas *canvas, struct kb_matrix *matrix,
                                 struct kb_render_truth *truth, struct kb_err *err) {
    enum kb_status status = KB_OK;
    if (canvas->params->bainite_of_matrix > 0.0) {
        status = lay_bainite(canvas, &matrix->colony, err);
        truth->bainite = status == KB_OK ? sum_of(&canvas->bainite) : 0.0;
    }
    if (status == KB_OK && canvas->params->carbide_of_matrix > 0.0) {
        status = lay_carbide(canvas, err);
        truth->carbide = status == KB_OK ? sum_of(&canvas->carbide) : 0.0;
    }
    double all = truth->pearlite + truth->ferrite;
    truth->other = truth->bainite + truth->carbide;
    if (truth->other > 0.0) {
        truth->pearlite = fmax(0.0, truth->pearlite - truth->other);
        truth->pearlite_of_matrix = truth->pearlite / all;
    }
    truth->other_of_matrix = all > 0.0 ? truth->other / all : (double)NAN;
    return status;
}

/* ---- grey --------------------------------------------------------------------------------------
 */

static double needles(const struct kb_cell *colony, uint64_t key, double x, double y) {
    double across = x * (double)colony->along_x + y * (double)colony->along_y;
    double along = y * (double)colony->along_x - x * (double)colony->along_y;
    double first = kb_noise(key, across / NEEDLE_UM, along / NEEDLE_LONG_UM);
    /* the second family stands at 60 degrees to the first: cosine 1/2, sine 0.866 */
    double turned = 0.5 * across + 0.866 * along, rest = 0.5 * along - 0.866 * across;
    double second = kb_noise(key + 1, turned / NEEDLE_UM, rest / NEEDLE_LONG_UM);
    return first < second ? first : second; /* dark needles in a lighter ground */
}

double kb_bainite_grey(const struct kb_canvas *canvas, uint64_t key, double x, double y) {
    enum kb_render_look look = canvas->params->look;
    const struct kb_cell *colony = kb_cells_find(&canvas->matrix->colony, x, y).cell;
    return bainite_grey[look] +
           needle_grey[look] * (0.4 * (double)colony->tone + 0.3 + needles(colony, key + 8, x, y));
}

double kb_carbide_grey(const struct kb_canvas *canvas, uint64_t key, double x, double y) {
    return carbide_grey[canvas->params->look] + 1.5 * kb_noise(key + 10, x / 6.0, y / 6.0);
}
