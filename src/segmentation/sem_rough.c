/* sem_rough.c - how rough a picture is in the smoothest window about each pixel.
 *
 * Fine roughness is what the 3 x 3 binomial mean of a pixel differs from the mean of 7 x 7: the
 * texture of an etched matrix and its noise, freed of single noisy pixels and of slow shades. Its
 * mean over a window of so many micrometres is low in a smooth region; but a window on the border
 * of that region sees what lies beyond. So each pixel takes the least of all windows that hold it:
 * the region keeps its border (Kuwahara's choice of a window, in squares of any size). One bright
 * rim must not outweigh a whole window, so that fine roughness is capped. Running sums, and minima
 * by doubling: the cost hardly grows with the window.
 */
#include "sem_priv.h"

#include <stdlib.h>
#include <string.h>

#define NEAR 1 /* half the side of the small mean, pixels */
#define FAR 3  /* ... of the large one */

/* Rows and columns beyond the frame repeat its last. */
static int32_t within(int32_t at, int32_t count) {
    return at < 0 ? 0 : at >= count ? count - 1 : at;
}

/* Sums of `from` down 2 * FAR + 1 rows about y. */
static void add_down(const struct kb_image *from, int32_t y, uint16_t *sum) {
    memset(sum, 0, (size_t)from->width * sizeof *sum);
    for (int32_t i = -FAR; i <= FAR; i++) {
        const uint8_t *row = kb_row(from, within(y + i, from->height));
        for (int32_t x = 0; x < from->width; x++) {
            sum[x] = (uint16_t)(sum[x] + row[x]);
        }
    }
}

static void fine_row(const struct kb_image *grey, int32_t y, const uint16_t *down, uint8_t *to) {
    const int32_t width = grey->width;
    const uint8_t *up = kb_row(grey, within(y - NEAR, grey->height)), *mid = kb_row(grey, y);
    const uint8_t *low = kb_row(grey, within(y + NEAR, grey->height));
    for (int32_t x = 0; x < width; x++) {
        int32_t left = within(x - 1, width), right = within(x + 1, width);
        int small = up[left] + 2 * up[x] + up[right] + 2 * (mid[left] + 2 * mid[x] + mid[right]) +
                    low[left] + 2 * low[x] + low[right];
        int large = 0;
        for (int32_t i = -FAR; i <= FAR; i++) {
            large += down[within(x + i, width)];
        }
        /* 1/8 of a level: small counts 16 pixels, large counts 49 */
        int off = abs(49 * small - 16 * large) / (2 * 49);
        to[x] = (uint8_t)(off > 255 ? 255 : off);
    }
}

enum kb_status kb_sem_fine(const struct kb_image *grey, struct kb_image *fine, struct kb_err *err) {
    uint16_t *down = kb_alloc((size_t)grey->width, sizeof *down);
    if (down == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, (size_t)grey->width * sizeof *down);
    }
    enum kb_status status = kb_image_alloc(grey->width, grey->height, fine, err);
    for (int32_t y = 0; y < grey->height && status == KB_OK; y++) {
        add_down(grey, y, down);
        fine_row(grey, y, down, kb_row(fine, y));
    }
    kb_free(down);
    return status;
}

/* ---- means over windows -------------------------------------------------------------------------
 */

/* Running sums down the columns, of fine roughness and of measured pixels. */
struct columns {
    uint32_t *sum, *count;
};

static void take_row(const struct kb_image *fine, const struct kb_image *label, int32_t y, int cap,
                     bool leaves, struct columns *columns) {
    const uint8_t *px = kb_row(fine, y), *is = kb_row(label, y);
    const uint32_t sign = leaves ? (uint32_t)-1 : 1u; /* wraps round, which subtracts */
    for (int32_t x = 0; x < fine->width; x++) {
        uint32_t measured = is[x] != KB_EXCLUDED;
        uint32_t value = (uint32_t)(px[x] < cap ? px[x] : cap);
        columns->sum[x] += sign * measured * value;
        columns->count[x] += sign * measured;
    }
}

/* 1/8 of a level to 1/256 of one. */
#define FINE_TO_UNIT 32u

static void mean_row(const struct columns *columns, int32_t width, int32_t half, uint16_t *to) {
    uint64_t sum = 0, count = 0;
    for (int32_t x = 0; x < half && x < width; x++) {
        sum += columns->sum[x];
        count += columns->count[x];
    }
    for (int32_t x = 0; x < width; x++) {
        if (x + half < width) {
            sum += columns->sum[x + half];
            count += columns->count[x + half];
        }
        to[x] = (uint16_t)(count > 0 ? sum * FINE_TO_UNIT / count : UINT16_MAX);
        if (x >= half) {
            sum -= columns->sum[x - half];
            count -= columns->count[x - half];
        }
    }
}

/* The window down the picture, one row in and one out. */
static void slide(const struct kb_image *fine, const struct kb_image *label, int32_t half, int cap,
                  struct columns *columns, uint16_t *to) {
    for (int32_t y = 0; y < half && y < fine->height; y++) {
        take_row(fine, label, y, cap, false, columns);
    }
    for (int32_t y = 0; y < fine->height; y++) {
        if (y + half < fine->height) {
            take_row(fine, label, y + half, cap, false, columns);
        }
        mean_row(columns, fine->width, half, to + (size_t)y * (size_t)fine->width);
        if (y >= half) {
            take_row(fine, label, y - half, cap, true, columns);
        }
    }
}

static enum kb_status means(const struct kb_image *fine, const struct kb_image *label, int32_t half,
                            int cap, uint16_t *to, struct kb_err *err) {
    const size_t width = (size_t)fine->width;
    struct columns columns = {kb_alloc_zero(width, sizeof *columns.sum),
                              kb_alloc_zero(width, sizeof *columns.count)};
    enum kb_status status = KB_OK;
    if (columns.sum == NULL || columns.count == NULL) {
        status = kb_fail_memory(err, KB_SEG_STAGE, 2 * width * sizeof *columns.sum);
    } else {
        slide(fine, label, half, cap, &columns, to);
    }
    kb_free(columns.sum);
    kb_free(columns.count);
    return status;
}

/* ---- the least window ---------------------------------------------------------------------------
 */

static void least_of(uint16_t *a, const uint16_t *b, size_t count) {
    for (size_t i = 0; i < count; i++) {
        a[i] = a[i] < b[i] ? a[i] : b[i];
    }
}

/* Each of `count` rows of `length` takes the least of itself and of the `span` - 1 after it, by
 * spans doubled. What would begin beyond the last row is of no use to anybody and stays. */
static void least_ahead(uint16_t *px, size_t count, size_t length, size_t span) {
    size_t have = 1;
    while (have < span) {
        size_t step = 2 * have <= span ? have : span - have;
        for (size_t i = 0; i + step < count; i++) {
            least_of(px + i * length, px + (i + step) * length, length);
        }
        have += step;
    }
}

/* Along one row, with room for half a window of the largest value at either end. */
static void least_along(uint16_t *row, int32_t width, int32_t half, uint16_t *room) {
    const size_t all = (size_t)width + 2 * (size_t)half;
    memset(room, 0xff, all * sizeof *room);
    memcpy(room + half, row, (size_t)width * sizeof *row);
    least_ahead(room, all, 1, 2 * (size_t)half + 1);
    memcpy(row, room, (size_t)width * sizeof *row);
}

/* Columns go in strips of so many, as rows of `room`. */
#define STRIP 64

static void least_down(const struct kb_sem_rough *rough, int32_t x, int32_t half, uint16_t *room) {
    const int32_t count = rough->width - x < STRIP ? rough->width - x : STRIP;
    const size_t length = (size_t)count, all = (size_t)rough->height + 2 * (size_t)half;
    memset(room, 0xff, all * length * sizeof *room);
    for (int32_t y = 0; y < rough->height; y++) {
        memcpy(room + (size_t)(y + half) * length, rough->px + (size_t)y * (size_t)rough->width + x,
               length * sizeof *room);
    }
    least_ahead(room, all, length, 2 * (size_t)half + 1);
    for (int32_t y = 0; y < rough->height; y++) {
        memcpy(rough->px + (size_t)y * (size_t)rough->width + x, room + (size_t)y * length,
               length * sizeof *room);
    }
}

static enum kb_status least(const struct kb_sem_rough *rough, int32_t half, struct kb_err *err) {
    size_t across = (size_t)rough->width + 2 * (size_t)half;
    size_t down = ((size_t)rough->height + 2 * (size_t)half) * STRIP;
    size_t most = across > down ? across : down;
    uint16_t *room = kb_alloc(most, sizeof *room);
    if (room == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, most * sizeof *room);
    }
    for (int32_t y = 0; y < rough->height; y++) {
        least_along(rough->px + (size_t)y * (size_t)rough->width, rough->width, half, room);
    }
    for (int32_t x = 0; x < rough->width; x += STRIP) {
        least_down(rough, x, half, room);
    }
    kb_free(room);
    return KB_OK;
}

static void leave_out(const struct kb_image *label, const struct kb_sem_rough *rough) {
    for (int32_t y = 0; y < rough->height; y++) {
        uint16_t *row = rough->px + (size_t)y * (size_t)rough->width;
        const uint8_t *is = kb_row(label, y);
        for (int32_t x = 0; x < rough->width; x++) {
            row[x] = is[x] == KB_EXCLUDED ? UINT16_MAX : row[x];
        }
    }
}

enum kb_status kb_sem_rough_make(const struct kb_image *fine, const struct kb_image *label,
                                 int32_t window, int cap, struct kb_sem_rough *rough,
                                 struct kb_err *err) {
    const size_t count = (size_t)kb_image_pixels(fine);
    *rough = (struct kb_sem_rough){fine->width, fine->height, kb_alloc(count, sizeof *rough->px)};
    if (rough->px == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, count * sizeof *rough->px);
    }
    enum kb_status status = means(fine, label, window / 2, cap, rough->px, err);
    if (status == KB_OK) {
        status = least(rough, window / 2, err);
    }
    if (status != KB_OK) {
        kb_free(rough->px);
        rough->px = NULL;
        return status;
    }
    leave_out(label, rough);
    return KB_OK;
}

double kb_sem_rough_share(const struct kb_sem_rough *rough, double share) {
    enum { LAST = 256 * FINE_TO_UNIT - 1 }; /* fine roughness is below 256 eighths of a level */
    uint64_t bins[LAST + 1] = {0};
    double measured = 0.0, seen = 0.0;
    for (size_t i = 0; i < (size_t)rough->width * (size_t)rough->height; i++) {
        if (rough->px[i] != UINT16_MAX) {
            bins[rough->px[i] < LAST ? rough->px[i] : LAST]++;
            measured += 1.0;
        }
    }
    int level = 0;
    while (level < LAST && seen + (double)bins[level] < share * measured) {
        seen += (double)bins[level++];
    }
    return (double)level;
}
