/* pyramid.c - tiles of a picture at every size.
 *
 * Level L has ceil(width / 2^L) pixels a row. Grey: a pixel is the mean of the up to 2^L x 2^L
 * pixels that it stands for, from exact sums, so that no rounding adds up from level to level.
 * Labels: halved again and again, each time the most frequent of the up to four, the first in
 * reading order among equals: borders stay sharp and no label appears that is not there.
 *
 * The first three levels come from the picture itself: a tile then looks at no more than 2048 x
 * 2048 pixels, some milliseconds. Further ones come from a base at the third halving, a sixty-
 * fourth of the picture (sums in 16 bits: 64 pixels of 255 fit), made once at the first call.
 */
#include "keelblock/review.h"

#include <pthread.h>
#include <string.h>

#define STAGE "review"

enum { BASE = 3, BASE_SIDE = 1 << BASE };

struct kb_pyramid {
    const struct kb_image *picture;
    enum kb_pyramid_kind kind;
    int levels;
    pthread_mutex_t lock;
    bool based;
    int32_t base_width, base_height;
    uint16_t *sum;  /* of each base pixel's pixels */
    uint8_t *label; /* or its label */
};

static int32_t shrunk(int32_t side, int level) {
    const int64_t box = (int64_t)1 << level;
    return (int32_t)(((int64_t)side + box - 1) / box);
}

enum kb_status kb_pyramid_make(const struct kb_image *picture, enum kb_pyramid_kind kind,
                               struct kb_pyramid **pyramid, struct kb_err *err) {
    struct kb_pyramid *made = kb_alloc_zero(1, sizeof *made);
    *pyramid = NULL;
    if (made == NULL || pthread_mutex_init(&made->lock, NULL) != 0) {
        kb_free(made);
        return kb_fail_memory(err, STAGE, sizeof *made);
    }
    made->picture = picture;
    made->kind = kind;
    made->levels = 1;
    const int32_t longer = picture->width > picture->height ? picture->width : picture->height;
    while (shrunk(longer, made->levels - 1) > 1) {
        made->levels++;
    }
    *pyramid = made;
    return KB_OK;
}

void kb_pyramid_release(struct kb_pyramid *pyramid) {
    if (pyramid == NULL) {
        return;
    }
    (void)pthread_mutex_destroy(&pyramid->lock);
    kb_free(pyramid->sum);
    kb_free(pyramid->label);
    kb_free(pyramid);
}

int kb_pyramid_levels(const struct kb_pyramid *pyramid) {
    return pyramid->levels;
}

/* ---- means -------------------------------------------------------------------------------------
 */

/* Pixels of a part of the picture, half-open. */
struct part {
    int32_t x0, y0, x1, y1;
};

/* Columns of rows y0 .. y1 - 1 added up. */
static void add_rows(const struct kb_image *picture, const struct part *part, int32_t y0,
                     int32_t y1, uint16_t *column) {
    const int32_t width = part->x1 - part->x0;
    memset(column, 0, (size_t)width * sizeof *column);
    for (int32_t y = y0; y < y1; y++) {
        const uint8_t *row = kb_row(picture, y) + part->x0;
        for (int32_t x = 0; x < width; x++) {
            column[x] = (uint16_t)(column[x] + row[x]);
        }
    }
}

/* Sums over boxes of side 2^level, level <= BASE, of a part that begins on a box. */
static void sum_boxes(const struct kb_image *picture, const struct part *part, int level,
                      uint16_t *column, uint16_t *to) {
    const int32_t box = 1 << level;
    for (int32_t y = part->y0; y < part->y1; y += box) {
        add_rows(picture, part, y, y + box < part->y1 ? y + box : part->y1, column);
        for (int32_t x = 0; x < part->x1 - part->x0; x += box) {
            const int32_t end = x + box < part->x1 - part->x0 ? x + box : part->x1 - part->x0;
            uint32_t sum = 0;
            for (int32_t i = x; i < end; i++) {
                sum += column[i];
            }
            *to++ = (uint16_t)sum;
        }
    }
}

/* Pixels of the picture that pixel `at` of a level stands for along one side. */
static int64_t covered(int32_t at, int level, int32_t side) {
    const int64_t from = (int64_t)at << level, to = (int64_t)(at + 1) << level;
    return (to < side ? to : side) - from;
}

static uint8_t mean_of(uint64_t sum, int64_t pixels) {
    return (uint8_t)((sum + (uint64_t)pixels / 2) / (uint64_t)pixels);
}

/* Sum of the base pixels that pixel (x, y) of a level above the base stands for. */
static uint64_t sum_base(const struct kb_pyramid *p, int level, int32_t x, int32_t y) {
    const int up = level - BASE;
    const int32_t x0 = x << up, y0 = y << up;
    const int32_t x1 = (x + 1) << up < p->base_width ? (x + 1) << up : p->base_width;
    const int32_t y1 = (y + 1) << up < p->base_height ? (y + 1) << up : p->base_height;
    uint64_t sum = 0;
    for (int32_t v = y0; v < y1; v++) {
        const uint16_t *row = p->sum + (size_t)v * (size_t)p->base_width;
        for (int32_t u = x0; u < x1; u++) {
            sum += row[u];
        }
    }
    return sum;
}

static void means_above(const struct kb_pyramid *p, int level, const struct part *tile,
                        uint8_t *to) {
    for (int32_t y = tile->y0; y < tile->y1; y++) {
        for (int32_t x = tile->x0; x < tile->x1; x++) {
            *to++ = mean_of(sum_base(p, level, x, y), covered(x, level, p->picture->width) *
                                                          covered(y, level, p->picture->height));
        }
    }
}

static struct part native_part(const struct kb_pyramid *p, int level, const struct part *tile) {
    const int64_t x1 = (int64_t)tile->x1 << level, y1 = (int64_t)tile->y1 << level;
    return (struct part){tile->x0 << level, tile->y0 << level,
                         x1 < p->picture->width ? (int32_t)x1 : p->picture->width,
                         y1 < p->picture->height ? (int32_t)y1 : p->picture->height};
}

static enum kb_status means_below(const struct kb_pyramid *p, int level, const struct part *tile,
                                  uint8_t *to, struct kb_err *err) {
    const struct part part = native_part(p, level, tile);
    const size_t width = (size_t)(tile->x1 - tile->x0), height = (size_t)(tile->y1 - tile->y0);
    const size_t columns = (size_t)(part.x1 - part.x0);
    uint16_t *scratch = kb_alloc(columns + width * height, sizeof *scratch);
    if (scratch == NULL) {
        return kb_fail_memory(err, STAGE, (columns + width * height) * sizeof *scratch);
    }
    const uint16_t *sum = scratch + columns;
    sum_boxes(p->picture, &part, level, scratch, scratch + columns);
    for (int32_t y = tile->y0; y < tile->y1; y++) {
        const int64_t rows = covered(y, level, p->picture->height);
        for (int32_t x = tile->x0; x < tile->x1; x++) {
            *to++ = mean_of(*sum++, rows * covered(x, level, p->picture->width));
        }
    }
    kb_free(scratch);
    return KB_OK;
}

/* ---- labels ------------------------------------------------------------------------------------
 */

/* Most frequent of four, the first of equals. Where one is missing another stands twice, which
 * changes neither. */
static inline uint8_t most(uint8_t a, uint8_t b, uint8_t c, uint8_t d) {
    const uint8_t later = b == c || b == d ? b : c == d ? c : a;
    return a == b || a == c || a == d ? a : later;
}

/* A part of width x height labels to half of it, rounded up; `to` may be `from`. */
static void halve(const uint8_t *from, size_t stride, int32_t width, int32_t height, uint8_t *to) {
    for (int32_t y = 0; y < height; y += 2) {
        const uint8_t *upper = from + (size_t)y * stride;
        const uint8_t *lower = y + 1 < height ? upper + stride : upper;
        int32_t x = 0;
        for (; x + 1 < width; x += 2) {
            *to++ = most(upper[x], upper[x + 1], lower[x], lower[x + 1]);
        }
        if (x < width) {
            *to++ = upper[x]; /* of two, the first stands where they differ */
        }
    }
}

/* `times` halvings of a part; the result is what `tile` covers. `scratch` holds half the part. */
static void halve_often(const uint8_t *from, size_t stride, int32_t width, int32_t height,
                        int times, uint8_t *scratch, uint8_t *to) {
    for (int i = 0; i < times; i++) {
        uint8_t *next = i + 1 == times ? to : scratch;
        halve(from, stride, width, height, next);
        width = (width + 1) / 2;
        height = (height + 1) / 2;
        stride = (size_t)width;
        from = next;
    }
}

static void copy_part(const uint8_t *from, size_t stride, int32_t width, int32_t height,
                      uint8_t *to) {
    for (int32_t y = 0; y < height; y++) {
        memcpy(to + (size_t)y * (size_t)width, from + (size_t)y * stride, (size_t)width);
    }
}

static enum kb_status labels_from(const uint8_t *from, size_t stride, int32_t width, int32_t height,
                                  int times, uint8_t *to, struct kb_err *err) {
    if (times == 0) {
        copy_part(from, stride, width, height, to);
        return KB_OK;
    }
    const size_t half = ((size_t)width / 2 + 1) * ((size_t)height / 2 + 1);
    uint8_t *scratch = kb_alloc(half, 1);
    if (scratch == NULL) {
        return kb_fail_memory(err, STAGE, half);
    }
    halve_often(from, stride, width, height, times, scratch, to);
    kb_free(scratch);
    return KB_OK;
}

static enum kb_status labels_of(const struct kb_pyramid *p, int level, const struct part *tile,
                                uint8_t *to, struct kb_err *err) {
    if (level <= BASE) {
        const struct part part = native_part(p, level, tile);
        return labels_from(kb_row(p->picture, part.y0) + part.x0, p->picture->stride,
                           part.x1 - part.x0, part.y1 - part.y0, level, to, err);
    }
    const int up = level - BASE;
    const int32_t x0 = tile->x0 << up, y0 = tile->y0 << up;
    const int32_t x1 = tile->x1 << up < p->base_width ? tile->x1 << up : p->base_width;
    const int32_t y1 = tile->y1 << up < p->base_height ? tile->y1 << up : p->base_height;
    const size_t stride = (size_t)p->base_width;
    return labels_from(p->label + (size_t)y0 * stride + (size_t)x0, stride, x1 - x0, y1 - y0, up,
                       to, err);
}

/* ---- the base ----------------------------------------------------------------------------------
 */

static enum kb_status base_sums(struct kb_pyramid *p, struct kb_err *err) {
    const size_t pixels = (size_t)p->base_width * (size_t)p->base_height;
    const size_t columns = (size_t)p->picture->width;
    uint16_t *column = kb_alloc(columns, sizeof *column);
    p->sum = kb_alloc(pixels, sizeof *p->sum);
    if (column == NULL || p->sum == NULL) {
        kb_free(column);
        kb_free(p->sum);
        p->sum = NULL;
        return kb_fail_memory(err, STAGE, (columns + pixels) * sizeof *column);
    }
    const struct part all = {0, 0, p->picture->width, p->picture->height};
    sum_boxes(p->picture, &all, BASE, column, p->sum);
    kb_free(column);
    return KB_OK;
}

/* Strips of BASE_SIDE rows, so that scratch stays a strip. */
static enum kb_status base_labels(struct kb_pyramid *p, struct kb_err *err) {
    const size_t pixels = (size_t)p->base_width * (size_t)p->base_height;
    p->label = kb_alloc(pixels, 1);
    enum kb_status status = p->label != NULL ? KB_OK : kb_fail_memory(err, STAGE, pixels);
    for (int32_t y = 0; y < p->base_height && status == KB_OK; y++) {
        const struct part strip = {0, y, p->base_width, y + 1};
        const struct part part = native_part(p, BASE, &strip);
        status =
            labels_from(kb_row(p->picture, part.y0), p->picture->stride, part.x1, part.y1 - part.y0,
                        BASE, p->label + (size_t)y * (size_t)p->base_width, err);
    }
    if (status != KB_OK) {
        kb_free(p->label);
        p->label = NULL;
    }
    return status;
}

static enum kb_status need_base(struct kb_pyramid *p, struct kb_err *err) {
    enum kb_status status = KB_OK;
    (void)pthread_mutex_lock(&p->lock);
    if (!p->based) {
        p->base_width = shrunk(p->picture->width, BASE);
        p->base_height = shrunk(p->picture->height, BASE);
        status = p->kind == KB_PYRAMID_MEAN ? base_sums(p, err) : base_labels(p, err);
        p->based = status == KB_OK;
    }
    (void)pthread_mutex_unlock(&p->lock);
    return status;
}

/* ---- tiles -------------------------------------------------------------------------------------
 */

static bool tile_part(const struct kb_pyramid *p, int64_t level, int64_t x, int64_t y,
                      struct part *tile) {
    if (level < 0 || level >= p->levels || x < 0 || y < 0) {
        return false;
    }
    const int32_t width = shrunk(p->picture->width, (int)level);
    const int32_t height = shrunk(p->picture->height, (int)level);
    if (x > (width - 1) / KB_TILE_SIDE || y > (height - 1) / KB_TILE_SIDE) {
        return false;
    }
    tile->x0 = (int32_t)x * KB_TILE_SIDE;
    tile->y0 = (int32_t)y * KB_TILE_SIDE;
    tile->x1 = tile->x0 + KB_TILE_SIDE < width ? tile->x0 + KB_TILE_SIDE : width;
    tile->y1 = tile->y0 + KB_TILE_SIDE < height ? tile->y0 + KB_TILE_SIDE : height;
    return true;
}

enum kb_status kb_pyramid_tile(struct kb_pyramid *pyramid, int64_t level, int64_t x, int64_t y,
                               uint8_t to[KB_TILE_SIDE * KB_TILE_SIDE], int32_t *width,
                               int32_t *height, struct kb_err *err) {
    struct part tile;
    if (!tile_part(pyramid, level, x, y, &tile)) {
        return kb_fail(err, KB_E_INPUT, STAGE, NULL, "there is no such tile (look at the size)");
    }
    enum kb_status status = level > BASE ? need_base(pyramid, err) : KB_OK;
    if (status == KB_OK && pyramid->kind == KB_PYRAMID_MOST) {
        status = labels_of(pyramid, (int)level, &tile, to, err);
    } else if (status == KB_OK && level > BASE) {
        means_above(pyramid, (int)level, &tile, to);
    } else if (status == KB_OK) {
        status = means_below(pyramid, (int)level, &tile, to, err);
    }
    *width = tile.x1 - tile.x0;
    *height = tile.y1 - tile.y0;
    return status;
}
