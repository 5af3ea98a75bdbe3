/* local_mean.c - mean and standard deviation in a square window about each pixel, of the chosen
 * pixels only.
 *
 * Running sums in both directions (McDonnell, Computer Graphics and Image Processing 17 (1981)
 * 65, box filtering): for each column the sum over the window's rows is kept, one row added and one
 * taken away as the window moves down; along the row the same is done with columns. So the cost
 * does not depend on the radius and the scratch is a few rows. All sums are exact integers; the
 * only division is the last one, in doubles, whose quotient cannot round across a half (its
 * distance from one is at least 1 / (2 n) and n < 2^24, far more than the 2^-45 of the rounding).
 *
 * Limits: radii above KB_WINDOW_RADIUS_MAX count as that, so that sum and count fit in 31 bits.
 */
#include "raster_priv.h"

#include <string.h>

/* What one strip works with; every row has one entry a column of the picture. */
struct window {
    const struct kb_image *grey, *labels;
    struct kb_pick pick;
    int32_t radius;
    bool squares; /* the deviation wants them; else square and squared are NULL */
    uint8_t *mask;
    /* down one column of the window: greys of the chosen pixels, their number, their squares */
    uint32_t *sum, *count, *square;
    /* over the whole window about a column */
    uint32_t *sums, *counts;
    uint64_t *squared;
};

/* Bytes of scratch a pixel of the row: mask, four rows of 32 bits, and for squares 32 + 64. */
static size_t scratch_bytes(int32_t width, bool squares) {
    size_t row = ((size_t)width + 7) / 8 * 8; /* keeps every row aligned */
    return row * (1 + 4 * sizeof(uint32_t) + (squares ? sizeof(uint32_t) + sizeof(uint64_t) : 0));
}

static void window_place(struct window *window, void *scratch) {
    size_t row = ((size_t)window->grey->width + 7) / 8 * 8;
    uint32_t *rows = scratch;
    if (window->squares) {
        window->squared = scratch;
        rows = (uint32_t *)(window->squared + row);
    }
    window->sum = rows;
    window->count = rows + row;
    window->sums = rows + 2 * row;
    window->counts = rows + 3 * row;
    window->square = window->squares ? rows + 4 * row : NULL;
    window->mask = (uint8_t *)(rows + (window->squares ? 5 : 4) * row);
}

/* ---- down the columns ---------------------------------------------------------------------- */

static void add_row(const uint8_t *restrict grey, const uint8_t *restrict mask, int32_t width,
                    uint32_t *restrict sum, uint32_t *restrict count) {
    for (int32_t x = 0; x < width; x++) {
        sum[x] += (uint32_t)(grey[x] & mask[x]);
        count[x] += mask[x] & 1u;
    }
}

static void take_row(const uint8_t *restrict grey, const uint8_t *restrict mask, int32_t width,
                     uint32_t *restrict sum, uint32_t *restrict count) {
    for (int32_t x = 0; x < width; x++) {
        sum[x] -= (uint32_t)(grey[x] & mask[x]);
        count[x] -= mask[x] & 1u;
    }
}

static void add_squares(const uint8_t *restrict grey, const uint8_t *restrict mask, int32_t width,
                        uint32_t sign, uint32_t *restrict square) {
    for (int32_t x = 0; x < width; x++) {
        uint32_t chosen = (uint32_t)(grey[x] & mask[x]);
        square[x] += sign * (chosen * chosen);
    }
}

static void row_enters(struct window *window, int32_t y, bool enters) {
    const struct kb_image *grey = window->grey;
    if (y < 0 || y >= grey->height) {
        return;
    }
    const uint8_t *px = kb_row(grey, y);
    const uint8_t *labels = window->labels != NULL ? kb_row(window->labels, y) : px;
    kb_pick_bytes(&window->pick, labels, grey->width, window->mask);
    if (enters) {
        add_row(px, window->mask, grey->width, window->sum, window->count);
    } else {
        take_row(px, window->mask, grey->width, window->sum, window->count);
    }
    if (window->squares) {
        add_squares(px, window->mask, grey->width, enters ? 1u : UINT32_MAX, window->square);
    }
}

/* ---- along the row ------------------------------------------------------------------------- */

static void slide(const uint32_t *restrict sum, const uint32_t *restrict count, int32_t width,
                  int32_t radius, uint32_t *restrict sums, uint32_t *restrict counts) {
    uint32_t s = 0;
    uint32_t n = 0;
    int32_t reach = radius < width ? radius : width; /* columns 0 .. reach - 1 enter first */
    for (int32_t x = 0; x < reach; x++) {
        s += sum[x];
        n += count[x];
    }
    for (int32_t x = 0; x < width; x++) {
        if (x + radius < width) {
            s += sum[x + radius];
            n += count[x + radius];
        }
        if (x > radius) {
            s -= sum[x - radius - 1];
            n -= count[x - radius - 1];
        }
        sums[x] = s;
        counts[x] = n;
    }
}

static void slide_squares(const uint32_t *restrict square, int32_t width, int32_t radius,
                          uint64_t *restrict squared) {
    uint64_t q = 0;
    int32_t reach = radius < width ? radius : width;
    for (int32_t x = 0; x < reach; x++) {
        q += square[x];
    }
    for (int32_t x = 0; x < width; x++) {
        q += x + radius < width ? square[x + radius] : 0;
        q -= x > radius ? square[x - radius - 1] : 0;
        squared[x] = q;
    }
}

/* ---- results ------------------------------------------------------------------------------- */

/* Both sums are below 2^31 (KB_WINDOW_RADIUS_MAX), so they convert as signed, which vectorises. */
static void mean_row(const uint32_t *restrict sums, const uint32_t *restrict counts,
                     const uint8_t *restrict grey, int32_t width, uint8_t *restrict to) {
    for (int32_t x = 0; x < width; x++) {
        double n = (int32_t)counts[x] > 0 ? (double)(int32_t)counts[x] : 1.0;
        double s = (int32_t)counts[x] > 0 ? (double)(int32_t)sums[x] : (double)grey[x];
        to[x] = (uint8_t)(int32_t)(s / n + 0.5);
    }
}

/* Rounded half up of sqrt(n q - s^2) / n: the greatest d with (2 d - 1) n <= 2 sqrt(v). The double
 * comes within one of it, and the integers decide. At most 2^61 here: q <= 255^2 n and n < 2^23. */
static uint8_t deviation(uint64_t n, uint64_t s, uint64_t q) {
    if (n == 0) {
        return 0;
    }
    uint64_t v = n * q - s * s;
    uint64_t d = (uint64_t)(sqrt((double)v) / (double)n + 0.5);
    while (d > 0 && (2 * d - 1) * (2 * d - 1) * n * n > 4 * v) {
        d--;
    }
    while ((2 * d + 1) * (2 * d + 1) * n * n <= 4 * v) {
        d++;
    }
    return (uint8_t)d;
}

static void window_row(const struct window *window, int32_t y, struct kb_image *to) {
    int32_t width = window->grey->width;
    slide(window->sum, window->count, width, window->radius, window->sums, window->counts);
    if (!window->squares) {
        mean_row(window->sums, window->counts, kb_row(window->grey, y), width, kb_row(to, y));
        return;
    }
    slide_squares(window->square, width, window->radius, window->squared);
    uint8_t *px = kb_row(to, y);
    for (int32_t x = 0; x < width; x++) {
        px[x] = deviation(window->counts[x], window->sums[x], window->squared[x]);
    }
}

static void window_strip(struct window *window, int32_t start, int32_t end, struct kb_image *to) {
    size_t row = (size_t)window->grey->width;
    memset(window->sum, 0, row * sizeof window->sum[0]);
    memset(window->count, 0, row * sizeof window->count[0]);
    if (window->squares) {
        memset(window->square, 0, row * sizeof window->square[0]);
    }
    for (int32_t y = start - window->radius; y < start + window->radius; y++) {
        row_enters(window, y, true);
    }
    for (int32_t y = start; y < end; y++) {
        row_enters(window, y + window->radius, true);
        window_row(window, y, to);
        row_enters(window, y - window->radius, false);
    }
}

static enum kb_status window_run(const struct window *what, struct kb_image *to,
                                 struct kb_err *err) {
    const int32_t height = what->grey->height;
    const int strips = kb_strips(height);
    const size_t size = scratch_bytes(what->grey->width, what->squares);
    uint8_t *scratch = kb_alloc((size_t)strips, size);
    if (scratch == NULL) {
        return kb_fail_memory(err, "raster", (size_t)strips * size);
    }
#pragma omp parallel for num_threads(strips) if (strips > 1)
    for (int strip = 0; strip < strips; strip++) {
        struct window window = *what;
        window_place(&window, scratch + (size_t)strip * size);
        window_strip(&window, kb_strip_start(height, strips, strip),
                     kb_strip_start(height, strips, strip + 1), to);
    }
    kb_free(scratch);
    return KB_OK;
}

static enum kb_status window_check(const struct kb_image *grey, const struct kb_image *labels,
                                   int32_t radius, const struct kb_image *to, struct kb_err *err) {
    enum kb_status status = kb_check_radius(radius, err);
    if (status == KB_OK) {
        status = kb_check_pair(grey, to, err);
    }
    if (status == KB_OK && labels != NULL) {
        status = kb_check_pair(labels, to, err);
    }
    return status;
}

static struct window window_make(const struct kb_image *grey, const struct kb_image *labels,
                                 const bool *chosen, int32_t radius, bool squares) {
    return (struct window){
        .grey = grey,
        .labels = labels,
        .pick = kb_pick_make(labels != NULL ? chosen : NULL),
        .radius = radius < KB_WINDOW_RADIUS_MAX ? radius : KB_WINDOW_RADIUS_MAX,
        .squares = squares,
    };
}

enum kb_status kb_local_mean(const struct kb_image *grey, const struct kb_image *labels,
                             const bool chosen[256], int32_t radius, struct kb_image *to,
                             struct kb_err *err) {
    enum kb_status status = window_check(grey, labels, radius, to, err);
    if (status != KB_OK) {
        return status;
    }
    struct window window = window_make(grey, labels, chosen, radius, false);
    return window_run(&window, to, err);
}

enum kb_status kb_local_deviation(const struct kb_image *grey, const struct kb_image *labels,
                                  const bool chosen[256], int32_t radius, struct kb_image *to,
                                  struct kb_err *err) {
    enum kb_status status = window_check(grey, labels, radius, to, err);
    if (status != KB_OK) {
        return status;
    }
    struct window window = window_make(grey, labels, chosen, radius, true);
    return window_run(&window, to, err);
}
