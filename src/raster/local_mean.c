/* local_mean.c - mean and standard deviation in a square window about each pixel, of the chosen
 * pixels only.
 *
 * Running sums in both directions (McDonnell, Computer Graphics and Image Processing 17 (1981) 65,
 * box filtering; quoted from memory): for each column the sum over the window's rows is kept, one
 * row added and one taken away as the window moves down; along the row the same is done with
 * columns. So the cost does not depend on the radius and the scratch is a few rows.
 *
 * All sums are exact integers; the only division is the last one. Its rounding cannot carry the
 * mean s / n across a half: a mean below a half is so by 1 / (2 n) at least, while the quotient and
 * the half added to it are off by 2^-16 together at most in single precision (used for n < 2^15)
 * and by 2^-44 in double.
 *
 * Limits: radii above KB_WINDOW_RADIUS_MAX count as that, so that sum and number fit in 31 bits.
 */
#include "raster_priv.h"

#include <string.h>

/* (2 x 90 + 1)^2 < 2^15, and 255 times as much is still exact in single precision. */
#define SMALL_RADIUS 90

/* What one strip works with. */
struct window {
    const struct kb_image *grey, *labels;
    struct kb_pick pick;
    int32_t radius;
    int32_t margin; /* empty columns before the first and after the last: see slide() */
    bool squares;   /* the deviation wants them; else square and squared are NULL */
    uint8_t *mask;
    /* down one column of the window, margins included: greys of the chosen pixels, their number,
     * their squares */
    uint32_t *sum, *count, *square;
    /* over the whole window about a column */
    uint32_t *sums, *counts;
    uint64_t *squared;
};

/* Entries of a row without and with margins, rounded up so that every row is aligned. */
static size_t row_entries(const struct window *window) {
    return ((size_t)window->grey->width + 7) / 8 * 8;
}

static size_t column_entries(const struct window *window) {
    return ((size_t)window->grey->width + 2 * (size_t)window->margin + 7) / 8 * 8;
}

static size_t scratch_bytes(const struct window *window) {
    size_t row = row_entries(window);
    size_t columns = column_entries(window);
    size_t plain = row * (1 + 2 * sizeof(uint32_t)) + 2 * columns * sizeof(uint32_t);
    return plain + (window->squares ? row * sizeof(uint64_t) + columns * sizeof(uint32_t) : 0);
}

static void window_place(struct window *window, void *scratch) {
    size_t row = row_entries(window);
    size_t columns = column_entries(window);
    uint32_t *next = scratch;
    if (window->squares) {
        window->squared = scratch;
        window->square = (uint32_t *)(window->squared + row);
        next = window->square + columns;
    }
    window->sum = next;
    window->count = window->sum + columns;
    window->sums = window->count + columns;
    window->counts = window->sums + row;
    window->mask = (uint8_t *)(window->counts + row);
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
    uint32_t *sum = window->sum + window->margin;
    uint32_t *count = window->count + window->margin;
    if (enters) {
        add_row(px, window->mask, grey->width, sum, count);
    } else {
        take_row(px, window->mask, grey->width, sum, count);
    }
    if (window->squares) {
        add_squares(px, window->mask, grey->width, enters ? 1u : UINT32_MAX,
                    window->square + window->margin);
    }
}

/* ---- along the row ------------------------------------------------------------------------- */

/* Margins of min(radius, width) empty columns stand before the first column and after the last, so
 * that one column leaves the window and one enters it without a test for the frame. */
static void slide(const uint32_t *restrict sum, const uint32_t *restrict count, int32_t width,
                  int32_t margin, uint32_t *restrict sums, uint32_t *restrict counts) {
    uint32_t s = 0;
    uint32_t n = 0;
    for (int32_t x = 0; x < 2 * margin; x++) {
        s += sum[x];
        n += count[x];
    }
    for (int32_t x = 0; x < width; x++) {
        s += sum[x + 2 * margin];
        n += count[x + 2 * margin];
        sums[x] = s;
        counts[x] = n;
        s -= sum[x];
        n -= count[x];
    }
}

static void slide_squares(const uint32_t *restrict square, int32_t width, int32_t margin,
                          uint64_t *restrict squared) {
    uint64_t q = 0;
    for (int32_t x = 0; x < 2 * margin; x++) {
        q += square[x];
    }
    for (int32_t x = 0; x < width; x++) {
        q += square[x + 2 * margin];
        squared[x] = q;
        q -= square[x];
    }
}

/* ---- results ------------------------------------------------------------------------------- */

/* Where the window is empty, sum 0 over number 1 gives 0, and the pixel's own grey is put in. Sum
 * and number are below 2^31 and convert as signed integers, which vectorises. */
static inline uint8_t or_own(int32_t mean, uint32_t n, uint8_t own) {
    return (uint8_t)(mean | (n == 0 ? own : 0));
}

static void mean_row(const uint32_t *restrict sums, const uint32_t *restrict counts,
                     const uint8_t *restrict grey, int32_t width, uint8_t *restrict to) {
    for (int32_t x = 0; x < width; x++) {
        double n = (double)(int32_t)(counts[x] + (counts[x] == 0));
        double mean = (double)(int32_t)sums[x] / n + 0.5;
        to[x] = or_own((int32_t)mean, counts[x], grey[x]);
    }
}

static void small_mean_row(const uint32_t *restrict sums, const uint32_t *restrict counts,
                           const uint8_t *restrict grey, int32_t width, uint8_t *restrict to) {
    for (int32_t x = 0; x < width; x++) {
        float n = (float)(int32_t)(counts[x] + (counts[x] == 0));
        float mean = (float)(int32_t)sums[x] / n + 0.5f;
        to[x] = or_own((int32_t)mean, counts[x], grey[x]);
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
    const int32_t width = window->grey->width;
    const uint8_t *own = kb_row(window->grey, y);
    uint8_t *px = kb_row(to, y);
    slide(window->sum, window->count, width, window->margin, window->sums, window->counts);
    if (!window->squares && window->radius <= SMALL_RADIUS) {
        small_mean_row(window->sums, window->counts, own, width, px);
        return;
    }
    if (!window->squares) {
        mean_row(window->sums, window->counts, own, width, px);
        return;
    }
    slide_squares(window->square, width, window->margin, window->squared);
    for (int32_t x = 0; x < width; x++) {
        px[x] = deviation(window->counts[x], window->sums[x], window->squared[x]);
    }
}

static void window_strip(struct window *window, int32_t start, int32_t end, struct kb_image *to) {
    size_t columns = column_entries(window);
    memset(window->sum, 0, columns * sizeof window->sum[0]);
    memset(window->count, 0, columns * sizeof window->count[0]);
    if (window->squares) {
        memset(window->square, 0, columns * sizeof window->square[0]);
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
    const size_t size = scratch_bytes(what);
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
    int32_t reach = radius < KB_WINDOW_RADIUS_MAX ? radius : KB_WINDOW_RADIUS_MAX;
    return (struct window){
        .grey = grey,
        .labels = labels,
        .pick = kb_pick_make(labels != NULL ? chosen : NULL),
        .radius = reach,
        .margin = reach < grey->width ? reach : grey->width,
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
