/* smooth.c - the 3 x 3 filters: binomial mean, median, and the mask that answers to noise.
 *
 * Both go row by row with a few rows of scratch, and keep a copy of the row they stand on and of
 * the one above, so that a picture can be filtered in place. The binomial mean adds three rows,
 * then three columns, in 16 bits (at most 16 x 255 + 8), and rounds once. The median sorts each
 * column of three, then takes the median of (largest of the least, median of the middles, least of
 * the largest), which is the median of the nine (the well-known network, e.g. Devillard's note on
 * fast median search, 1998; quoted from memory). Minimum and maximum of bytes vectorise.
 */
#include "raster_priv.h"

#include <string.h>

/* ---- binomial mean ------------------------------------------------------------------------- */

/* sums has width + 2 entries: the row's own with the edges repeated. */
KB_WIDE static void add_rows(const uint8_t *restrict up, const uint8_t *restrict mid,
                             const uint8_t *restrict down, int32_t width, uint16_t *restrict sums) {
    for (int32_t x = 0; x < width; x++) {
        sums[x + 1] = (uint16_t)(up[x] + 2 * mid[x] + down[x]);
    }
    sums[0] = sums[1];
    sums[width + 1] = sums[width];
}

KB_WIDE static void add_columns(const uint16_t *restrict sums, int32_t width,
                                uint8_t *restrict to) {
    for (int32_t x = 0; x < width; x++) {
        uint16_t sum = (uint16_t)(sums[x] + 2 * sums[x + 1] + sums[x + 2] + 8);
        to[x] = (uint8_t)(sum >> 4);
    }
}

static void smooth_row(const uint8_t *up, const uint8_t *mid, const uint8_t *down, int32_t width,
                       uint8_t *scratch, uint8_t *to) {
    uint16_t *sums = (uint16_t *)(void *)scratch;
    add_rows(up, mid, down, width, sums);
    add_columns(sums, width, to);
}

/* ---- median -------------------------------------------------------------------------------- */

static inline uint8_t median_of_3(uint8_t a, uint8_t b, uint8_t c) {
    return kb_max8(kb_min8(a, b), kb_min8(kb_max8(a, b), c));
}

/* least, middle, largest: width + 2 entries each, edges repeated. */
KB_WIDE static void sort_columns(const uint8_t *restrict up, const uint8_t *restrict mid,
                                 const uint8_t *restrict down, int32_t width,
                                 uint8_t *restrict least, uint8_t *restrict middle,
                                 uint8_t *restrict largest) {
    for (int32_t x = 0; x < width; x++) {
        uint8_t low = kb_min8(up[x], down[x]);
        uint8_t high = kb_max8(up[x], down[x]);
        least[x + 1] = kb_min8(low, mid[x]);
        largest[x + 1] = kb_max8(high, mid[x]);
        middle[x + 1] = kb_max8(low, kb_min8(high, mid[x]));
    }
    least[0] = least[1];
    middle[0] = middle[1];
    largest[0] = largest[1];
    least[width + 1] = least[width];
    middle[width + 1] = middle[width];
    largest[width + 1] = largest[width];
}

KB_WIDE static void median_across(const uint8_t *restrict least, const uint8_t *restrict middle,
                                  const uint8_t *restrict largest, int32_t width,
                                  uint8_t *restrict to) {
    for (int32_t x = 0; x < width; x++) {
        uint8_t low = kb_max8(kb_max8(least[x], least[x + 1]), least[x + 2]);
        uint8_t mid = median_of_3(middle[x], middle[x + 1], middle[x + 2]);
        uint8_t high = kb_min8(kb_min8(largest[x], largest[x + 1]), largest[x + 2]);
        to[x] = median_of_3(low, mid, high);
    }
}

void kb_median_row(const uint8_t *up, const uint8_t *mid, const uint8_t *down, int32_t width,
                   uint8_t *scratch, uint8_t *to) {
    size_t row = (size_t)width + 2;
    uint8_t *least = scratch;
    uint8_t *middle = least + row;
    uint8_t *largest = middle + row;
    sort_columns(up, mid, down, width, least, middle, largest);
    median_across(least, middle, largest, width, to);
}

/* ---- noise mask ---------------------------------------------------------------------------- */

KB_WIDE void kb_noise_answers(const uint8_t *restrict up, const uint8_t *restrict mid,
                              const uint8_t *restrict down, int32_t count,
                              uint16_t *restrict answer) {
    for (int32_t x = 0; x < count; x++) {
        int16_t outer = (int16_t)(up[x] + up[x + 2] + down[x] + down[x + 2]);
        int16_t inner = (int16_t)(up[x + 1] + mid[x] + mid[x + 2] + down[x + 1]);
        int16_t both = (int16_t)(outer - 2 * inner + 4 * mid[x + 1]);
        answer[x] = (uint16_t)(both < 0 ? -both : both);
    }
}

/* ---- both ---------------------------------------------------------------------------------- */

typedef void filter_row(const uint8_t *up, const uint8_t *mid, const uint8_t *down, int32_t width,
                        uint8_t *scratch, uint8_t *to);

/* Three bytes of scratch for each of width + 2 pixels are what either filter needs. */
static enum kb_status filter_rows(const struct kb_image *from, filter_row *filter,
                                  struct kb_image *to, struct kb_err *err) {
    enum kb_status status = kb_check_sizes(from, to, err);
    if (status != KB_OK) {
        return status;
    }
    const size_t width = (size_t)from->width;
    const size_t scratch_bytes = 3 * (width + 2);
    uint8_t *scratch = kb_alloc(scratch_bytes + 2 * width, 1);
    if (scratch == NULL) {
        return kb_fail_memory(err, "raster", scratch_bytes + 2 * width);
    }
    uint8_t *up = scratch + scratch_bytes;
    uint8_t *mid = up + width;
    memcpy(up, kb_row(from, 0), width);
    for (int32_t y = 0; y < from->height; y++) {
        memcpy(mid, kb_row(from, y), width);
        const uint8_t *down = y + 1 < from->height ? kb_row(from, y + 1) : mid;
        filter(up, mid, down, from->width, scratch, kb_row(to, y));
        uint8_t *done = up;
        up = mid;
        mid = done;
    }
    kb_free(scratch);
    return KB_OK;
}

enum kb_status kb_smooth(const struct kb_image *from, struct kb_image *to, struct kb_err *err) {
    return filter_rows(from, smooth_row, to, err);
}

enum kb_status kb_median(const struct kb_image *from, struct kb_image *to, struct kb_err *err) {
    return filter_rows(from, kb_median_row, to, err);
}
