/* local_mean.c - mean and standard deviation in a square window about each pixel, of the chosen
 * pixels only.
 *
 * Running sums in both directions (McDonnell, Computer Graphics and Image Processing 17 (1981) 65,
 * box filtering; quoted from memory): for each column the sum over the window's rows is kept, one
 * row added and one taken away as the window moves down; along the row the same is done with
 * columns. So the cost does not depend on the radius and the scratch is a few rows. A column's sum
 * and number share one word, so that one addition moves both.
 *
 * All sums are exact integers; the only division is the last one. Its rounding cannot carry the
 * mean s / n across a half: a mean below a half is so by 1 / (2 n) at least, while the quotient and
 * the half added to it are off by 2^-16 together at most in single precision (used for n < 2^15)
 * and by 2^-44 in double. Nor can it carry a deviation sqrt(n q - s^2) / n in double for n < 2^15:
 * 4 (n q - s^2) < 2^46 is a whole number, so that below a half it is so by 2^-47 of itself at
 * least. For greater n the integers decide.
 *
 * Limits: radii above KB_WINDOW_RADIUS_MAX count as that, so that sum and number fit in 31 bits.
 */
#include "raster_priv.h"

#include <string.h>

/* (2 x 90 + 1)^2 < 2^15, and 255 times as much is still exact in single precision; 255^2 times as
 * much is below 2^31. */
#define SMALL_RADIUS 90

/* A column holds its number above these bits and its sum in them: 255 x (2 x 1450 + 1) < 2^20. */
#define SUM_BITS 20
#define ONE_PIXEL ((uint32_t)1 << SUM_BITS)
#define SUM_MASK (ONE_PIXEL - 1)

struct window {
    const struct kb_image *grey, *labels;
    struct kb_pick pick;
    int32_t radius;
    int32_t margin;           /* empty columns before the first and after the last: see slide() */
    bool squares;             /* the deviation wants them; else `square` and `squared` are NULL */
    uint8_t *mask, *mask_out; /* of the row that enters, of the one that leaves */
    uint8_t *result;          /* of a row */
    /* down one column of the window, margins included: number and sum, squares */
    uint32_t *column, *square;
    /* over the whole window about a column */
    uint32_t *sums, *counts;
    uint64_t *squared;
};

/* What becomes of the results: rows of a picture, or given to a function. */
struct outlet {
    struct kb_image *to;
    int32_t step; /* rows between those that are taken; 0: none */
    void (*take)(void *context, int32_t y, const uint8_t *row);
    void *context;
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
    size_t plain = row * (3 + 2 * sizeof(uint32_t)) + columns * sizeof(uint32_t);
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
    window->column = next;
    window->sums = window->column + columns;
    window->counts = window->sums + row;
    window->mask = (uint8_t *)(window->counts + row);
    window->mask_out = window->mask + row;
    window->result = window->mask_out + row;
}

/* ---- down the columns ---------------------------------------------------------------------- */

/* A mask byte of 255 becomes a word of ones. */
static inline uint32_t widened(uint8_t mask) {
    return (uint32_t)(int32_t)(int8_t)mask;
}

KB_WIDE static void move_columns(const uint8_t *restrict grey, const uint8_t *restrict mask,
                                 const uint8_t *restrict grey_out, const uint8_t *restrict mask_out,
                                 int32_t width, uint32_t *restrict column) {
    for (int32_t x = 0; x < width; x++) {
        uint32_t enters = (ONE_PIXEL | grey[x]) & widened(mask[x]);
        uint32_t leaves = (ONE_PIXEL | grey_out[x]) & widened(mask_out[x]);
        column[x] += enters - leaves;
    }
}

KB_WIDE static void move_squares(const uint8_t *restrict grey, const uint8_t *restrict mask,
                                 const uint8_t *restrict grey_out, const uint8_t *restrict mask_out,
                                 int32_t width, uint32_t *restrict square) {
    for (int32_t x = 0; x < width; x++) {
        uint32_t enters = (uint32_t)(grey[x] & mask[x]);
        uint32_t leaves = (uint32_t)(grey_out[x] & mask_out[x]);
        square[x] += enters * enters - leaves * leaves;
    }
}

/* Greys of a row, and what of it is chosen; nothing where the row is outside the frame. */
static const uint8_t *row_of(const struct window *window, int32_t y, uint8_t *mask) {
    const struct kb_image *grey = window->grey;
    if (y < 0 || y >= grey->height) {
        memset(mask, 0, (size_t)grey->width);
        return kb_row(grey, 0);
    }
    const struct kb_image *labels = window->labels != NULL ? window->labels : grey;
    kb_pick_bytes(&window->pick, kb_row(labels, y), grey->width, mask);
    return kb_row(grey, y);
}

static void window_move(struct window *window, int32_t enters, int32_t leaves) {
    const int32_t width = window->grey->width;
    const uint8_t *grey = row_of(window, enters, window->mask);
    const uint8_t *grey_out = row_of(window, leaves, window->mask_out);
    move_columns(grey, window->mask, grey_out, window->mask_out, width,
                 window->column + window->margin);
    if (window->squares) {
        move_squares(grey, window->mask, grey_out, window->mask_out, width,
                     window->square + window->margin);
    }
}

/* ---- along the row ------------------------------------------------------------------------- */

/* Margins of min(radius, width) empty columns stand before the first column and after the last, so
 * that one column leaves the window and one enters it without a test for the frame. */
static void slide(const uint32_t *restrict column, int32_t width, int32_t margin,
                  uint32_t *restrict sums, uint32_t *restrict counts) {
    uint32_t s = 0;
    uint32_t n = 0;
    for (int32_t x = 0; x < 2 * margin; x++) {
        s += column[x] & SUM_MASK;
        n += column[x] >> SUM_BITS;
    }
    for (int32_t x = 0; x < width; x++) {
        uint32_t enters = column[x + 2 * margin];
        uint32_t leaves = column[x];
        s += enters & SUM_MASK;
        n += enters >> SUM_BITS;
        sums[x] = s;
        counts[x] = n;
        s -= leaves & SUM_MASK;
        n -= leaves >> SUM_BITS;
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

KB_WIDE static void mean_row(const uint32_t *restrict sums, const uint32_t *restrict counts,
                             const uint8_t *restrict grey, int32_t width, uint8_t *restrict to) {
    for (int32_t x = 0; x < width; x++) {
        double n = (double)(int32_t)(counts[x] + (counts[x] == 0));
        double mean = (double)(int32_t)sums[x] / n + 0.5;
        to[x] = or_own((int32_t)mean, counts[x], grey[x]);
    }
}

KB_WIDE static void small_mean_row(const uint32_t *restrict sums, const uint32_t *restrict counts,
                                   const uint8_t *restrict grey, int32_t width,
                                   uint8_t *restrict to) {
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

/* The same in double; see the head of the file. */
KB_WIDE static void small_deviation_row(const uint32_t *restrict sums,
                                        const uint32_t *restrict counts,
                                        const uint64_t *restrict squared, int32_t width,
                                        uint8_t *restrict to) {
    for (int32_t x = 0; x < width; x++) {
        double n = (double)(int32_t)counts[x];
        double s = (double)(int32_t)sums[x];
        double q = (double)(int32_t)squared[x];
        double over = n + (counts[x] == 0 ? 1.0 : 0.0);
        to[x] = (uint8_t)(int32_t)(sqrt(n * q - s * s) / over + 0.5);
    }
}

static void deviation_row(const struct window *window, uint8_t *to) {
    const int32_t width = window->grey->width;
    slide_squares(window->square, width, window->margin, window->squared);
    if (window->radius <= SMALL_RADIUS) {
        small_deviation_row(window->sums, window->counts, window->squared, width, to);
        return;
    }
    for (int32_t x = 0; x < width; x++) {
        to[x] = deviation(window->counts[x], window->sums[x], window->squared[x]);
    }
}

static void window_row(const struct window *window, int32_t y, uint8_t *to) {
    const int32_t width = window->grey->width;
    const uint8_t *own = kb_row(window->grey, y);
    slide(window->column, width, window->margin, window->sums, window->counts);
    if (window->squares) {
        deviation_row(window, to);
    } else if (window->radius <= SMALL_RADIUS) {
        small_mean_row(window->sums, window->counts, own, width, to);
    } else {
        mean_row(window->sums, window->counts, own, width, to);
    }
}

/* A row enters the window and none leaves it. */
KB_WIDE static void add_columns(const uint8_t *restrict grey, const uint8_t *restrict mask,
                                int32_t width, uint32_t *restrict column) {
    for (int32_t x = 0; x < width; x++) {
        column[x] += (ONE_PIXEL | grey[x]) & widened(mask[x]);
    }
}

KB_WIDE static void add_squares(const uint8_t *restrict grey, const uint8_t *restrict mask,
                                int32_t width, uint32_t *restrict square) {
    for (int32_t x = 0; x < width; x++) {
        uint32_t enters = (uint32_t)(grey[x] & mask[x]);
        square[x] += enters * enters;
    }
}

static void window_add(struct window *window, int32_t enters) {
    const int32_t width = window->grey->width;
    const uint8_t *grey = row_of(window, enters, window->mask);
    add_columns(grey, window->mask, width, window->column + window->margin);
    if (window->squares) {
        add_squares(grey, window->mask, width, window->square + window->margin);
    }
}

/* The rows of the window about row y but the last, which the next move brings; and the one that it
 * takes away. */
static void window_begin(struct window *window, int32_t y) {
    memset(window->column, 0, column_entries(window) * sizeof window->column[0]);
    if (window->squares) {
        memset(window->square, 0, column_entries(window) * sizeof window->square[0]);
    }
    const int32_t below = window->grey->height - y;
    const int32_t end = y + (window->radius < below ? window->radius : below);
    for (int32_t i = y > window->radius ? y - window->radius - 1 : 0; i < end; i++) {
        window_add(window, i);
    }
}

static enum kb_status window_run(struct window *window, const struct outlet *outlet,
                                 struct kb_err *err) {
    const int32_t height = window->grey->height;
    const size_t size = scratch_bytes(window);
    void *scratch = kb_alloc(size, 1);
    if (scratch == NULL) {
        return kb_fail_memory(err, "raster", size);
    }
    window_place(window, scratch);
    /* rows too far apart to share a window begin it anew */
    const int32_t step = outlet->step > 1 ? outlet->step : 1;
    const bool apart = step > 2 * window->radius + 1;
    for (int32_t y = 0; y < height; y += apart ? step : 1) {
        if (y == 0 || apart) {
            window_begin(window, y);
        }
        window_move(window, y + window->radius, y - window->radius - 1);
        if (outlet->to != NULL) {
            window_row(window, y, kb_row(outlet->to, y));
        } else if (outlet->take != NULL && y % step == 0) {
            window_row(window, y, window->result);
            outlet->take(outlet->context, y, window->result);
        }
    }
    kb_free(scratch);
    return KB_OK;
}

static enum kb_status window_check(const struct kb_image *grey, const struct kb_image *labels,
                                   int32_t radius, const struct kb_image *to, struct kb_err *err) {
    enum kb_status status = kb_check_radius(radius, err);
    if (status == KB_OK && to != NULL) {
        status = kb_check_pair(grey, to, err);
    }
    if (status == KB_OK && labels != NULL && to != NULL) {
        status = kb_check_pair(labels, to, err);
    }
    if (status == KB_OK && labels != NULL) {
        status = kb_check_sizes(grey, labels, err);
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

static enum kb_status window_filter(const struct kb_image *grey, const struct kb_image *labels,
                                    const bool chosen[256], int32_t radius, bool squares,
                                    const struct outlet *outlet, struct kb_err *err) {
    enum kb_status status = window_check(grey, labels, radius, outlet->to, err);
    if (status != KB_OK) {
        return status;
    }
    struct window window = window_make(grey, labels, chosen, radius, squares);
    return window_run(&window, outlet, err);
}

enum kb_status kb_local_mean(const struct kb_image *grey, const struct kb_image *labels,
                             const bool chosen[256], int32_t radius, struct kb_image *to,
                             struct kb_err *err) {
    const struct outlet outlet = {.to = to};
    return window_filter(grey, labels, chosen, radius, false, &outlet, err);
}

enum kb_status kb_local_mean_rows(const struct kb_image *grey, const struct kb_image *labels,
                                  const bool chosen[256], int32_t radius, int32_t step,
                                  void (*take)(void *context, int32_t y, const uint8_t *mean),
                                  void *context, struct kb_err *err) {
    const struct outlet outlet = {.step = step, .take = take, .context = context};
    return window_filter(grey, labels, chosen, radius, false, &outlet, err);
}

enum kb_status kb_local_deviation(const struct kb_image *grey, const struct kb_image *labels,
                                  const bool chosen[256], int32_t radius, struct kb_image *to,
                                  struct kb_err *err) {
    const struct outlet outlet = {.to = to};
    return window_filter(grey, labels, chosen, radius, true, &outlet, err);
}
