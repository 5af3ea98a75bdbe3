/* cells.c - the plane cut into irregular cells: ferrite grains, former austenite grains, colonies.
 *
 * One centre in each brick of a wall (odd courses moved by half a brick), placed by chance within
 * it; a place belongs to the centre with the least squared distance less a weight, so that grains
 * differ in size and borders stay straight (power diagram, Aurenhammer 1987). The plane is bent a
 * little by smooth noise first. The search looks at three bricks in each of three courses; a centre
 * outside these could win only in rare corners, where the border then shifts slightly.
 */
#include "render_priv.h"

/* Largest difference of the weights, in squared sides of a brick. */
#define WEIGHTS 0.16

static double course_shift(int32_t row) {
    return (row & 1) != 0 ? 0.5 : 0.0;
}

static void draw_cell(struct kb_cells *cells, int32_t column, int32_t row, struct kb_cell *cell) {
    uint64_t index = (uint64_t)row * (uint64_t)cells->columns + (uint64_t)column;
    struct kb_random random = {kb_mix(cells->key ^ kb_mix(index))};
    double c, s;
    double across = column - 1 + course_shift(row) + kb_random_uniform(&random);
    cell->x = (float)(across * cells->size);
    cell->y = (float)((row - 1 + kb_random_uniform(&random)) * cells->size);
    cell->weight = (float)(WEIGHTS * cells->size * cells->size * kb_random_uniform(&random));
    cell->tone = (float)kb_random_between(&random, -1.0, 1.0);
    kb_turn(kb_random_uniform(&random) * 0.5, &c, &s);
    cell->along_x = (float)c;
    cell->along_y = (float)s;
    /* Plates met at a random angle by the section: its cosine is uniform, 1 / sine the stretch. */
    double cosine = kb_random_uniform(&random) * 0.97;
    cell->stretch = (float)(1.0 / sqrt(1.0 - cosine * cosine));
    cell->score = (float)kb_random_uniform(&random);
    cell->pearlite = false;
}

enum kb_status kb_cells_make(double width, double height, double size, uint64_t key,
                             struct kb_cells *cells, struct kb_err *err) {
    *cells = (struct kb_cells){.size = size, .bend = 0.14 * size, .key = key};
    cells->columns =
        (int32_t)(width / size) + 5; /* a margin of one brick, the shift and the bending */
    cells->rows = (int32_t)(height / size) + 5;
    size_t count = (size_t)cells->columns * (size_t)cells->rows;
    cells->cell = kb_alloc(count, sizeof *cells->cell);
    if (cells->cell == NULL) {
        return kb_fail_memory(err, KB_RENDER_STAGE, count * sizeof *cells->cell);
    }
    for (int32_t row = 0; row < cells->rows; row++) {
        for (int32_t column = 0; column < cells->columns; column++) {
            draw_cell(cells, column, row,
                      &cells->cell[(size_t)row * (size_t)cells->columns + (size_t)column]);
        }
    }
    return KB_OK;
}

void kb_cells_release(struct kb_cells *cells) {
    kb_free(cells->cell);
    *cells = (struct kb_cells){0};
}

/* The nine centres about a place, after the plane has been bent. */
struct near {
    double x, y;
    const struct kb_cell *course[3]; /* the first of three bricks in each */
};

/* Whole part within 0 .. high. */
static int32_t clamp(double at, int32_t high) {
    return at < 0.0 ? 0 : at > (double)high ? high : (int32_t)at;
}

static struct near nine(const struct kb_cells *cells, double x, double y) {
    struct near near;
    double u = x / cells->size, v = y / cells->size;
    near.x = x + cells->bend * kb_noise(cells->key, u * 1.1, v * 1.1);
    near.y = y + cells->bend * kb_noise(cells->key + 1, u * 1.1, v * 1.1);
    int32_t row = clamp(near.y / cells->size, cells->rows - 3); /* own row is one further */
    for (int32_t j = 0; j < 3; j++) {
        double column = near.x / cells->size - course_shift(row + j);
        near.course[j] = &cells->cell[(size_t)(row + j) * (size_t)cells->columns +
                                      (size_t)clamp(column, cells->columns - 3)];
    }
    return near;
}

static double square_apart(const struct kb_cell *cell, double x, double y) {
    double dx = (double)cell->x - x, dy = (double)cell->y - y;
    return dx * dx + dy * dy;
}

/* Distance from the place to the border of two cells, given the power of each. */
static double to_border(const struct kb_cell *a, const struct kb_cell *b, double power_a,
                        double power_b) {
    double apart = sqrt(square_apart(a, (double)b->x, (double)b->y));
    return apart > 0.0 ? (power_b - power_a) / (2.0 * apart) : 0.0;
}

struct kb_cell_hit kb_cells_find(const struct kb_cells *cells, double x, double y) {
    struct near near = nine(cells, x, y);
    const struct kb_cell *first = near.course[0], *second = first;
    double best = INFINITY, next = INFINITY;
    for (int j = 0; j < 3; j++) {
        for (int i = 0; i < 3; i++) {
            const struct kb_cell *cell = near.course[j] + i;
            double power = square_apart(cell, near.x, near.y) - (double)cell->weight;
            if (power < best) {
                next = best, second = first;
                best = power, first = cell;
            } else if (power < next) {
                next = power, second = cell;
            }
        }
    }
    return (struct kb_cell_hit){first, second, to_border(first, second, best, next)};
}

double kb_cells_depth(const struct kb_cells *cells, double x, double y) {
    struct near near = nine(cells, x, y);
    const struct kb_cell *nearest[2] = {NULL, NULL};
    double best[2] = {INFINITY, INFINITY};
    for (int j = 0; j < 3; j++) {
        for (int i = 0; i < 3; i++) {
            const struct kb_cell *cell = near.course[j] + i;
            double power = square_apart(cell, near.x, near.y) - (double)cell->weight;
            if (power < best[cell->pearlite]) {
                best[cell->pearlite] = power;
                nearest[cell->pearlite] = cell;
            }
        }
    }
    if (nearest[0] == NULL || nearest[1] == NULL) {
        return nearest[1] == NULL ? -cells->size : cells->size;
    }
    return to_border(nearest[1], nearest[0], best[1], best[0]);
}
