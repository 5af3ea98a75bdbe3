/* cells.c - the plane cut into irregular cells: ferrite grains, former austenite grains, colonies.
 *
 * One centre in each square of a grid, moved by chance; a place belongs to the nearest centre
 * (Voronoi 1908), after the plane has been bent by smooth noise so that borders curve a little. The
 * search looks at the square of the place and its eight neighbours, which suffices because a centre
 * stays in the middle nine tenths of its square in all but rare cases, whose only harm is a border
 * shifted slightly.
 */
#include "render_priv.h"

/* Centres keep this far from the sides of their square, as a share of its side. */
#define KEEP_OFF 0.06

static void draw_cell(struct kb_cells *cells, int32_t column, int32_t row, struct kb_cell *cell) {
    uint64_t index = (uint64_t)row * (uint64_t)cells->columns + (uint64_t)column;
    struct kb_random random = {kb_mix(cells->key ^ kb_mix(index))};
    double c, s;
    cell->x =
        (float)((column - 1 + kb_random_between(&random, KEEP_OFF, 1.0 - KEEP_OFF)) * cells->size);
    cell->y =
        (float)((row - 1 + kb_random_between(&random, KEEP_OFF, 1.0 - KEEP_OFF)) * cells->size);
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
    *cells = (struct kb_cells){.size = size, .bend = 0.22 * size, .key = key};
    cells->columns = (int32_t)(width / size) + 4; /* a margin of one square and the bending */
    cells->rows = (int32_t)(height / size) + 4;
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

/* Bend the place and return the upper left square of the nine to be searched. */
static const struct kb_cell *nine(const struct kb_cells *cells, double *x, double *y) {
    double u = *x / cells->size, v = *y / cells->size;
    double dx = kb_noise(cells->key, u * 1.7, v * 1.7);
    double dy = kb_noise(cells->key + 1, u * 1.7, v * 1.7);
    *x += cells->bend * dx;
    *y += cells->bend * dy;
    int32_t column = (int32_t)floor(*x / cells->size); /* square column + 1 is the place's own */
    int32_t row = (int32_t)floor(*y / cells->size);
    column = column < 0 ? 0 : column > cells->columns - 3 ? cells->columns - 3 : column;
    row = row < 0 ? 0 : row > cells->rows - 3 ? cells->rows - 3 : row;
    return &cells->cell[(size_t)row * (size_t)cells->columns + (size_t)column];
}

static double square_to(const struct kb_cell *cell, double x, double y) {
    double dx = (double)cell->x - x, dy = (double)cell->y - y;
    return dx * dx + dy * dy;
}

/* Distance from the place to the line half way between two centres, given the squares to both. */
static double to_border(const struct kb_cell *a, const struct kb_cell *b, double to_a,
                        double to_b) {
    double apart = sqrt(square_to(a, (double)b->x, (double)b->y));
    return apart > 0.0 ? (to_b - to_a) / (2.0 * apart) : 0.0;
}

struct kb_cell_hit kb_cells_find(const struct kb_cells *cells, double x, double y) {
    const struct kb_cell *start = nine(cells, &x, &y);
    const struct kb_cell *first = start, *second = start;
    double best = INFINITY, next = INFINITY;
    for (int32_t j = 0; j < 3; j++) {
        const struct kb_cell *cell = start + (size_t)j * (size_t)cells->columns;
        for (int i = 0; i < 3; i++, cell++) {
            double d = square_to(cell, x, y);
            if (d < best) {
                next = best, second = first;
                best = d, first = cell;
            } else if (d < next) {
                next = d, second = cell;
            }
        }
    }
    return (struct kb_cell_hit){first, second, to_border(first, second, best, next)};
}

double kb_cells_depth(const struct kb_cells *cells, double x, double y) {
    const struct kb_cell *start = nine(cells, &x, &y);
    const struct kb_cell *nearest[2] = {NULL, NULL};
    double best[2] = {INFINITY, INFINITY};
    for (int32_t j = 0; j < 3; j++) {
        const struct kb_cell *cell = start + (size_t)j * (size_t)cells->columns;
        for (int i = 0; i < 3; i++, cell++) {
            double d = square_to(cell, x, y);
            if (d < best[cell->pearlite]) {
                best[cell->pearlite] = d;
                nearest[cell->pearlite] = cell;
            }
        }
    }
    if (nearest[0] == NULL || nearest[1] == NULL) {
        return nearest[1] == NULL ? -cells->size : cells->size;
    }
    return to_border(nearest[1], nearest[0], best[1], best[0]);
}
