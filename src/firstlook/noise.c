/* noise.c - how much noise a field has, and whether it runs with the rows.
 *
 * Tiles are spread evenly over the field at full resolution. In each the second differences along
 * rows and down columns are squared and summed; noise shows in both, structure raises one or both.
 * The quietest quarter of the tiles stands for the noise: the second difference of white noise of
 * standard deviation s has variance 6 s^2, its first difference 2 s^2; where structure shows
 * through, the second is less than three times the first, since structure is smooth. A beam that
 * writes the picture row by row, through an amplifier of limited bandwidth, leaves neighbours in a
 * row more alike than neighbours in a column; the sensor of a camera does not.
 */
#include "firstlook_priv.h"

#include <stdlib.h>

#define TILE 24 /* pixels */
#define TILES_MAX 1024

struct tile {
    double along, down; /* mean squares of second differences */
    double step;        /* of first differences, down */
    double level;
};

static struct tile tile_at(const struct kb_image *grey, int32_t x0, int32_t y0) {
    int64_t along = 0, down = 0, step = 0, level = 0;
    for (int32_t y = y0 + 1; y < y0 + TILE - 1; y++) {
        const uint8_t *above = kb_row(grey, y - 1) + x0, *row = kb_row(grey, y) + x0;
        const uint8_t *below = kb_row(grey, y + 1) + x0;
        for (int32_t x = 1; x < TILE - 1; x++) {
            int a = row[x - 1] - 2 * row[x] + row[x + 1];
            int d = above[x] - 2 * row[x] + below[x];
            along += a * a;
            down += d * d;
            step += (row[x] - above[x]) * (row[x] - above[x]);
            level += row[x];
        }
    }
    const double count = (TILE - 2) * (TILE - 2);
    return (struct tile){(double)along / count, (double)down / count, (double)step / count,
                         (double)level / count};
}

static bool is_outside(const struct kb_image *outside, int32_t x, int32_t y) {
    return outside->px != NULL &&
           (kb_row(outside, y)[x] != 0 || kb_row(outside, y + TILE - 1)[x + TILE - 1] != 0 ||
            kb_row(outside, y)[x + TILE - 1] != 0 || kb_row(outside, y + TILE - 1)[x] != 0);
}

/* A tile that is clipped shows no noise. */
static bool is_clipped(const struct tile *tile) {
    const double reach = 8.0; /* levels from black or white */
    return tile->level < reach || tile->level > 255.0 - reach;
}

static int by_power(const void *a, const void *b) {
    const struct tile *p = a, *q = b;
    double left = p->along + p->down, right = q->along + q->down;
    return (left > right) - (left < right);
}

void kb_firstlook_noise(const struct kb_firstlook_frame *frame,
                        struct kb_firstlook_measures *measures) {
    struct tile tile[TILES_MAX];
    struct kb_rect in = frame->inside;
    int32_t across = in.width / TILE, down = in.height / TILE;
    int32_t columns = across < 32 ? across : 32, rows = down < 32 ? down : 32; /* 32 x 32 in all */
    size_t count = 0;
    for (int32_t j = 0; j < rows; j++) {
        for (int32_t i = 0; i < columns; i++) {
            int32_t x = in.x + TILE * (int32_t)((2 * (int64_t)i + 1) * across / (2 * columns));
            int32_t y = in.y + TILE * (int32_t)((2 * (int64_t)j + 1) * down / (2 * rows));
            if (!is_outside(&frame->look->outside, x, y)) {
                tile[count] = tile_at(kb_firstlook_grey(frame), x, y);
                count += is_clipped(&tile[count]) ? 0 : 1;
            }
        }
    }
    qsort(tile, count, sizeof *tile, by_power);
    size_t quiet = (count + 3) / 4;
    double sum_along = 0.0, sum_down = 0.0, sum_step = 0.0;
    for (size_t i = 0; i < quiet; i++) {
        sum_along += tile[i].along;
        sum_down += tile[i].down;
        sum_step += tile[i].step;
    }
    if (quiet > 0) {
        measures->noise = sqrt((sum_along + sum_down) / (double)quiet / 12.0);
        measures->scan = log((sum_down + 1e-3) / (sum_along + 1e-3));
        measures->white = (sum_down + 1e-3) / (3.0 * sum_step + 1e-3);
    }
}
