/* small.c - the field at a size at which it can be looked at as a whole.
 *
 * Pixels are averaged over squares; squares that a mark touches are not shown. Light is evened by
 * dividing a surface of second degree out, fitted to the medians of blocks by least squares with
 * weights that fade for blocks far off the surface (Holland & Welsch, Comm. Statistics A6 (1977)
 * 813, Cauchy weights; quoted from memory). It is only for a look: segmentation evens the field its
 * own way.
 */
#include "firstlook_priv.h"

#include <string.h>

#define SMALL_SIDE 900 /* longest side of the small picture, about, pixels */

void kb_firstlook_small_release(struct kb_firstlook_small *small) {
    kb_image_release(&small->grey);
    kb_image_release(&small->shown);
}

/* ---- averaging ---------------------------------------------------------------------------------
 */

/* Sums of the rows of one row of squares, pixel by pixel. */
KB_WIDE static void sum_rows(const struct kb_image *grey, struct kb_rect from, int32_t y,
                             int32_t rows, uint16_t *restrict sum) {
    memset(sum, 0, (size_t)from.width * sizeof *sum);
    for (int32_t j = 0; j < rows; j++) {
        const uint8_t *restrict row = kb_row(grey, y + j) + from.x;
        for (int32_t x = 0; x < from.width; x++) {
            sum[x] = (uint16_t)(sum[x] + row[x]);
        }
    }
}

static void average(const struct kb_image *grey, struct kb_firstlook_small *small, uint16_t *sum) {
    uint32_t n = small->factor > 1 ? (uint32_t)small->factor : 1, area = n * n;
    for (int32_t y = 0; y < small->grey.height; y++) {
        sum_rows(grey, small->from, small->from.y + y * small->factor, small->factor, sum);
        uint8_t *to = kb_row(&small->grey, y);
        for (int32_t x = 0; x < small->grey.width; x++) {
            uint32_t total = area / 2;
            for (uint32_t i = 0; i < n; i++) {
                total += sum[(uint32_t)x * n + i];
            }
            to[x] = (uint8_t)(total / area);
        }
    }
}

static void show(const struct kb_image *outside, struct kb_firstlook_small *small) {
    kb_image_fill(&small->shown, 1);
    if (outside->px == NULL) {
        return;
    }
    for (int32_t y = 0; y < small->grey.height * small->factor; y++) {
        const uint8_t *row = kb_row(outside, small->from.y + y) + small->from.x;
        uint8_t *shown = kb_row(&small->shown, y / small->factor);
        for (int32_t x = 0; x < small->grey.width * small->factor; x++) {
            if (row[x] != 0) {
                shown[x / small->factor] = 0;
            }
        }
    }
}

enum kb_status kb_firstlook_small_make(const struct kb_firstlook_frame *frame,
                                       struct kb_firstlook_small *small, struct kb_err *err) {
    *small = (struct kb_firstlook_small){.from = frame->inside};
    int32_t longest =
        small->from.width > small->from.height ? small->from.width : small->from.height;
    int32_t shortest = small->from.width + small->from.height - longest;
    small->factor = (longest + SMALL_SIDE - 1) / SMALL_SIDE;
    const int32_t most = shortest < 255 ? shortest : 255; /* a thread; sums that fit 16 bits */
    small->factor = small->factor > most ? most : small->factor;
    int32_t width = small->from.width / small->factor, height = small->from.height / small->factor;
    uint16_t *sum = kb_alloc((size_t)small->from.width, sizeof *sum);
    if (sum == NULL) {
        return kb_fail_memory(err, "firstlook", (size_t)small->from.width * sizeof *sum);
    }
    enum kb_status status = kb_image_alloc(width, height, &small->grey, err);
    if (status == KB_OK) {
        status = kb_image_alloc(width, height, &small->shown, err);
    }
    if (status == KB_OK) {
        average(kb_firstlook_grey(frame), small, sum);
        show(&frame->look->outside, small);
    } else {
        kb_firstlook_small_release(small);
    }
    kb_free(sum);
    return status;
}

/* ---- evening -----------------------------------------------------------------------------------
 */

#define TERMS 6       /* 1, x, y, x^2, y^2, xy */
#define BLOCKS_MAX 20 /* along a side */

struct block {
    double x, y; /* -1..1 across the picture */
    double level, weight;
};

static void terms_at(double x, double y, double term[TERMS]) {
    const double value[TERMS] = {1.0, x, y, x * x, y * y, x * y};
    memcpy(term, value, sizeof value);
}

/* Median of the shown pixels of a block; -1 when fewer than half are shown. */
static int block_median(const struct kb_image *grey, const struct kb_image *shown,
                        struct kb_rect box) {
    uint32_t bins[256] = {0}, count = 0;
    for (int32_t y = box.y; y < box.y + box.height; y++) {
        for (int32_t x = box.x; x < box.x + box.width; x++) {
            if (shown == NULL || kb_row(shown, y)[x] != 0) {
                bins[kb_row(grey, y)[x]]++;
                count++;
            }
        }
    }
    if ((int64_t)count * 2 < (int64_t)box.width * box.height || count == 0) {
        return -1;
    }
    int level = 0;
    for (uint32_t seen = bins[0]; seen * 2 < count; seen += bins[level]) {
        level++;
    }
    return level;
}

static size_t take_blocks(const struct kb_image *grey, const struct kb_image *shown,
                          struct block block[BLOCKS_MAX * BLOCKS_MAX]) {
    size_t count = 0;
    for (int32_t j = 0; j < BLOCKS_MAX; j++) {
        for (int32_t i = 0; i < BLOCKS_MAX; i++) {
            int32_t x = grey->width * i / BLOCKS_MAX, y = grey->height * j / BLOCKS_MAX;
            int32_t x1 = grey->width * (i + 1) / BLOCKS_MAX;
            int32_t y1 = grey->height * (j + 1) / BLOCKS_MAX;
            struct kb_rect box = {x, y, x1 - x, y1 - y};
            int level = box.width > 0 && box.height > 0 ? block_median(grey, shown, box) : -1;
            if (level >= 0) {
                block[count++] = (struct block){(x + x1) / (double)grey->width - 1.0,
                                                (y + y1) / (double)grey->height - 1.0, level, 1.0};
            }
        }
    }
    return count;
}

/* Gauss elimination with row exchange; false when the equations do not settle all terms. */
static bool solve(double a[TERMS][TERMS + 1], double c[TERMS]) {
    for (int k = 0; k < TERMS; k++) {
        int best = k;
        for (int i = k + 1; i < TERMS; i++) {
            best = fabs(a[i][k]) > fabs(a[best][k]) ? i : best;
        }
        if (fabs(a[best][k]) < 1e-9) {
            return false;
        }
        for (int j = k; j <= TERMS; j++) {
            double kept = a[k][j];
            a[k][j] = a[best][j];
            a[best][j] = kept;
        }
        for (int i = k + 1; i < TERMS; i++) {
            double part = a[i][k] / a[k][k];
            for (int j = k; j <= TERMS; j++) {
                a[i][j] -= part * a[k][j];
            }
        }
    }
    for (int k = TERMS - 1; k >= 0; k--) {
        c[k] = a[k][TERMS];
        for (int j = k + 1; j < TERMS; j++) {
            c[k] -= a[k][j] * c[j];
        }
        c[k] /= a[k][k];
    }
    return true;
}

static double surface_at(const double c[TERMS], double x, double y) {
    double term[TERMS], sum = 0.0;
    terms_at(x, y, term);
    for (int i = 0; i < TERMS; i++) {
        sum += c[i] * term[i];
    }
    return sum;
}

static bool fit_once(const struct block *block, size_t count, double c[TERMS]) {
    double a[TERMS][TERMS + 1] = {{0.0}};
    for (size_t n = 0; n < count; n++) {
        double term[TERMS];
        terms_at(block[n].x, block[n].y, term);
        for (int i = 0; i < TERMS; i++) {
            for (int j = 0; j < TERMS; j++) {
                a[i][j] += block[n].weight * term[i] * term[j];
            }
            a[i][TERMS] += block[n].weight * term[i] * block[n].level;
        }
    }
    return solve(a, c);
}

/* Weights of Cauchy: half at `scale` off the surface. The scale shrinks from round to round. */
static void reweigh(struct block *block, size_t count, const double c[TERMS], double scale) {
    for (size_t n = 0; n < count; n++) {
        double off = (block[n].level - surface_at(c, block[n].x, block[n].y)) / scale;
        block[n].weight = 1.0 / (1.0 + off * off);
    }
}

/* In single precision: a look needs no more, and it is four times as fast. */
static void divide(struct kb_image *grey, const double c[TERMS], double middle) {
    const float least = (float)(middle / 4.0), wanted = (float)middle;
    for (int32_t y = 0; y < grey->height; y++) {
        uint8_t *row = kb_row(grey, y);
        double v = (2.0 * y + 1.0) / grey->height - 1.0;
        const float c0 = (float)(c[0] + c[2] * v + c[4] * v * v), c1 = (float)(c[1] + c[5] * v);
        const float c2 = (float)c[3], step = 2.0F / (float)grey->width;
        for (int32_t x = 0; x < grey->width; x++) {
            float u = ((float)x + 0.5F) * step - 1.0F;
            float light = c0 + c1 * u + c2 * u * u;
            float level = (float)row[x] * wanted / (light > least ? light : least) + 0.5F;
            row[x] = (uint8_t)(int32_t)(level < 255.0F ? level : 255.0F);
        }
    }
}

enum kb_status kb_firstlook_even(struct kb_image *grey, const struct kb_image *shown,
                                 struct kb_err *err) {
    static const double scale[] = {40.0, 20.0, 10.0, 6.0, 4.0}; /* grey levels */
    double c[TERMS];
    struct block *block = kb_alloc((size_t)BLOCKS_MAX * BLOCKS_MAX, sizeof *block);
    if (block == NULL) {
        return kb_fail_memory(err, "firstlook", BLOCKS_MAX * BLOCKS_MAX * sizeof *block);
    }
    size_t count = take_blocks(grey, shown, block);
    bool fitted = count >= 2 * TERMS && fit_once(block, count, c);
    for (size_t i = 0; fitted && i < sizeof scale / sizeof *scale; i++) {
        reweigh(block, count, c, scale[i]);
        fitted = fit_once(block, count, c);
    }
    double middle = 0.0;
    for (size_t n = 0; fitted && n < count; n++) {
        middle += surface_at(c, block[n].x, block[n].y) / (double)count;
    }
    if (fitted && middle > 1.0) {
        divide(grey, c, middle);
    }
    kb_free(block);
    return KB_OK;
}
