/* smooth.c - the two 3 x 3 filters: binomial mean and median.
 *
 * Both go row by row with a few rows of scratch. The binomial mean adds three rows, then three
 * columns, in 16 bits (at most 16 x 255 + 8), and rounds once. The median sorts each column of
 * three, then takes the median of (largest of the least, median of the middles, least of the
 * largest), which is the median of the nine (the well-known network, e.g. Devillard's note on fast
 * median search, 1998; quoted from memory). Minimum and maximum of bytes vectorise.
 */
#include "raster_priv.h"

static int32_t clamp_row(int32_t y, int32_t height) {
    return y < 0 ? 0 : y >= height ? height - 1 : y;
}

/* ---- binomial mean ------------------------------------------------------------------------- */

/* sums has width + 2 entries: the row's own with the edges repeated. */
static void add_rows(const uint8_t *restrict up, const uint8_t *restrict mid,
                     const uint8_t *restrict down, int32_t width, uint16_t *restrict sums) {
    for (int32_t x = 0; x < width; x++) {
        sums[x + 1] = (uint16_t)(up[x] + 2 * mid[x] + down[x]);
    }
    sums[0] = sums[1];
    sums[width + 1] = sums[width];
}

static void add_columns(const uint16_t *restrict sums, int32_t width, uint8_t *restrict to) {
    for (int32_t x = 0; x < width; x++) {
        uint16_t sum = (uint16_t)(sums[x] + 2 * sums[x + 1] + sums[x + 2] + 8);
        to[x] = (uint8_t)(sum >> 4);
    }
}

static void smooth_row(const struct kb_image *from, int32_t y, void *scratch, struct kb_image *to) {
    uint16_t *sums = scratch;
    add_rows(kb_row(from, clamp_row(y - 1, from->height)), kb_row(from, y),
             kb_row(from, clamp_row(y + 1, from->height)), from->width, sums);
    add_columns(sums, from->width, kb_row(to, y));
}

/* ---- median -------------------------------------------------------------------------------- */

static inline uint8_t median_of_3(uint8_t a, uint8_t b, uint8_t c) {
    return kb_max8(kb_min8(a, b), kb_min8(kb_max8(a, b), c));
}

/* least, middle, largest: width + 2 entries each, edges repeated. */
static void sort_columns(const uint8_t *restrict up, const uint8_t *restrict mid,
                         const uint8_t *restrict down, int32_t width, uint8_t *restrict least,
                         uint8_t *restrict middle, uint8_t *restrict largest) {
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

static void median_across(const uint8_t *restrict least, const uint8_t *restrict middle,
                          const uint8_t *restrict largest, int32_t width, uint8_t *restrict to) {
    for (int32_t x = 0; x < width; x++) {
        uint8_t low = kb_max8(kb_max8(least[x], least[x + 1]), least[x + 2]);
        uint8_t mid = median_of_3(middle[x], middle[x + 1], middle[x + 2]);
        uint8_t high = kb_min8(kb_min8(largest[x], largest[x + 1]), largest[x + 2]);
        to[x] = median_of_3(low, mid, high);
    }
}

static void median_row(const struct kb_image *from, int32_t y, void *scratch, struct kb_image *to) {
    size_t row = (size_t)from->width + 2;
    uint8_t *least = scratch;
    uint8_t *middle = least + row;
    uint8_t *largest = middle + row;
    sort_columns(kb_row(from, clamp_row(y - 1, from->height)), kb_row(from, y),
                 kb_row(from, clamp_row(y + 1, from->height)), from->width, least, middle, largest);
    median_across(least, middle, largest, from->width, kb_row(to, y));
}

/* ---- both ---------------------------------------------------------------------------------- */

/* bytes_a_pixel: scratch for each of width + 2 pixels. */
static enum kb_status filter_rows(const struct kb_image *from,
                                  void (*filter)(const struct kb_image *, int32_t, void *,
                                                 struct kb_image *),
                                  size_t bytes_a_pixel, struct kb_image *to, struct kb_err *err) {
    enum kb_status status = kb_check_pair(from, to, err);
    if (status != KB_OK) {
        return status;
    }
    const int strips = kb_strips(from->height);
    const size_t size = ((size_t)from->width + 2) * bytes_a_pixel;
    uint8_t *scratch = kb_alloc((size_t)strips, size);
    if (scratch == NULL) {
        return kb_fail_memory(err, "raster", (size_t)strips * size);
    }
#pragma omp parallel for num_threads(strips) if (strips > 1)
    for (int strip = 0; strip < strips; strip++) {
        int32_t end = kb_strip_start(from->height, strips, strip + 1);
        for (int32_t y = kb_strip_start(from->height, strips, strip); y < end; y++) {
            filter(from, y, scratch + (size_t)strip * size, to);
        }
    }
    kb_free(scratch);
    return KB_OK;
}

enum kb_status kb_smooth(const struct kb_image *from, struct kb_image *to, struct kb_err *err) {
    return filter_rows(from, smooth_row, sizeof(uint16_t), to, err);
}

enum kb_status kb_median(const struct kb_image *from, struct kb_image *to, struct kb_err *err) {
    return filter_rows(from, median_row, 3, to, err);
}
