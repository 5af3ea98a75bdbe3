/* distance.c - exact squared Euclidean distance to the nearest clear pixel.
 *
 * Distances down the columns first, by two sweeps over the rows; then, row by row, the lower
 * envelope of the parabolas (x - i)^2 + g(i)^2 (Felzenszwalb & Huttenlocher, Theory of Computing 8
 * (2012) 415; integer form after Meijster, Roerdink & Hesselink 2000). Within a row only the
 * stretch between two clear pixels matters to the set pixels in it, so the envelope is built
 * stretch by stretch and clear pixels cost nothing.
 *
 * Limits: sides up to KB_DISTANCE_SIDE_MAX, so that squares and their sum fit in 32 bits.
 */
#include "raster_priv.h"

/* Distance down a column from FAR on: no clear pixel in it. Leaves room to count rows on top, so
 * that the sweeps need no test for it. */
#define FAR 0x40000000

/* ---- down the columns ----------------------------------------------------------------------- */

static void sweep_row(const uint8_t *restrict mask, const uint32_t *restrict above, size_t width,
                      uint32_t *restrict row) {
    for (size_t x = 0; x < width; x++) {
        /* all ones or none, instead of a branch, so that the loop vectorises */
        uint32_t set = 0u - (uint32_t)(mask[x] != 0);
        row[x] = (above[x] + 1) & set;
    }
}

static void sweep_back(const uint32_t *restrict below, size_t width, uint32_t *restrict row) {
    for (size_t x = 0; x < width; x++) {
        /* signed, because that comparison vectorises everywhere */
        int32_t along = (int32_t)below[x] + 1;
        row[x] = (uint32_t)((int32_t)row[x] < along ? (int32_t)row[x] : along);
    }
}

/* `outside` is a row of distances as they stand beyond the frame. */
static void sweep_columns(const uint8_t *mask, size_t width, size_t height, const uint32_t *outside,
                          uint32_t *distance) {
    for (size_t y = 0; y < height; y++) {
        const uint32_t *above = y > 0 ? distance + (y - 1) * width : outside;
        sweep_row(mask + y * width, above, width, distance + y * width);
    }
    for (size_t y = height; y-- > 0;) {
        const uint32_t *below = y + 1 < height ? distance + (y + 1) * width : outside;
        sweep_back(below, width, distance + y * width);
    }
}

/* ---- along the row ------------------------------------------------------------------------- */

/* Parabola over column `at`, lowest from column `from` on. */
struct arch {
    int64_t at, from, height; /* height: squared distance down the column */
};

/* First column where the parabola at `i`, on the right of `arch`, lies lower than or as low. */
static int64_t overtakes(const struct arch *arch, int64_t i, int64_t height) {
    int64_t numerator = i * i - arch->at * arch->at + height - arch->height;
    int64_t denominator = 2 * (i - arch->at);
    /* rounded up; the quotient of a negative numerator already is. In double, where many processors
     * divide faster: exact, as both are below 2^34 and a quotient that is not whole is off by more
     * than 2^-33 of itself. */
    int64_t up = numerator > 0 ? numerator + denominator - 1 : numerator;
    return (int64_t)((double)up / (double)denominator);
}

static size_t push_arch(struct arch *arch, size_t count, int64_t at, uint32_t column) {
    int64_t height = (int64_t)column * column;
    int64_t from = INT64_MIN;
    while (count > 0) {
        from = overtakes(&arch[count - 1], at, height);
        if (from > arch[count - 1].from) {
            break;
        }
        count--;
        from = INT64_MIN;
    }
    arch[count] = (struct arch){.at = at, .from = from, .height = height};
    return count + 1;
}

/* Columns x0 .. x1 - 1 are set; x0 - 1 and x1 are clear, or outside the frame. */
static void fill_stretch(uint32_t *row, int32_t x0, int32_t x1, int32_t width, bool outside_clear,
                         struct arch *arch) {
    size_t count = 0;
    if (x0 > 0 || outside_clear) {
        count = push_arch(arch, count, x0 - 1, 0);
    }
    for (int32_t x = x0; x < x1; x++) {
        if (row[x] < FAR) {
            count = push_arch(arch, count, x, row[x]);
        }
    }
    if (x1 < width || outside_clear) {
        count = push_arch(arch, count, x1, 0);
    }
    size_t lowest = 0;
    for (int32_t x = x0; x < x1; x++) {
        while (lowest + 1 < count && arch[lowest + 1].from <= x) {
            lowest++;
        }
        int64_t across = x - arch[lowest].at;
        row[x] = count > 0 ? (uint32_t)(across * across + arch[lowest].height) : UINT32_MAX;
    }
}

static void fill_row(uint32_t *row, int32_t width, bool outside_clear, struct arch *arch) {
    int32_t x = 0;
    while (x < width) {
        if (row[x] == 0) {
            x++;
            continue;
        }
        int32_t x0 = x;
        while (x < width && row[x] != 0) {
            x++;
        }
        fill_stretch(row, x0, x, width, outside_clear, arch);
    }
}

enum kb_status kb_distance_squared(const uint8_t *mask, int32_t width, int32_t height,
                                   bool outside_clear, uint32_t *squared, struct kb_err *err) {
    if (width < 1 || height < 1 || width > KB_DISTANCE_SIDE_MAX || height > KB_DISTANCE_SIDE_MAX) {
        return kb_fail(err, KB_E_INPUT, "raster", NULL,
                       "distances over %d x %d pixels cannot be found (use 1 to %d pixels a side)",
                       width, height, KB_DISTANCE_SIDE_MAX);
    }
    size_t arches = (size_t)width + 2; /* one a column and one outside on either side */
    struct arch *arch = kb_alloc(arches, sizeof *arch);
    uint32_t *outside = kb_alloc((size_t)width, sizeof *outside);
    if (arch == NULL || outside == NULL) {
        kb_free(arch);
        kb_free(outside);
        return kb_fail_memory(err, "raster",
                              arches * sizeof *arch + (size_t)width * sizeof *outside);
    }
    for (int32_t x = 0; x < width; x++) {
        outside[x] = outside_clear ? 0 : FAR;
    }
    sweep_columns(mask, (size_t)width, (size_t)height, outside, squared);
    for (int32_t y = 0; y < height; y++) {
        fill_row(squared + (size_t)y * (size_t)width, width, outside_clear, arch);
    }
    kb_free(arch);
    kb_free(outside);
    return KB_OK;
}
