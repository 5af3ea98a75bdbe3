/* measures.c - what tells etched, polished and secondary-electron pictures apart, as plain figures.
 *
 * All but the noise are taken from the small picture, smoothed once and evened:
 * - the brightest peak of the histogram that holds at least a twentieth of the pixels, and what it
 *   holds: polished metal and ferrite are exposed near white, secondary electrons about mid-grey;
 * - how far the bright class spreads away from edges, measured against its distance from the dark:
 *   polished metal is even, etched metal has grains, boundaries and pearlite;
 * - flat areas midway between dark and bright: pearlite; between graphite and polished metal there
 *   are only edges; and how dark the dark is: graphite is darker than pearlite;
 * - whether the dark is thick anywhere: boundaries are not;
 * - skewness of detail finer than about nine pixels: etching draws dark lines, electrons make edges
 *   and carbides shine;
 * - texture in bright places over texture in dark ones: under the light microscope the bright
 *   constituent, ferrite, is smooth; in secondary electrons the bright one, pearlite, is not.
 * Two classes are told apart by the threshold of Otsu, IEEE Trans. SMC 9 (1979) 62.
 */
#include "firstlook_priv.h"

#include <stdlib.h>

struct classes {
    uint64_t bins[256], count;
    int threshold;    /* at or below: dark */
    int dark, bright; /* medians */
    int darkest;      /* level below which a twentieth of the dark class lies */
};

/* ---- histogram ---------------------------------------------------------------------------------
 */

static void count_levels(const struct kb_image *grey, const struct kb_image *shown,
                         struct classes *classes) {
    static const bool chosen[256] = {[1] = true};
    kb_histogram(grey, shown, chosen, classes->bins);
    for (int i = 0; i < 256; i++) {
        classes->count += classes->bins[i];
    }
}

static int otsu(const uint64_t bins[256], uint64_t count) {
    double total = 0.0, below = 0.0, share = 0.0, best = -1.0;
    int threshold = 0;
    for (int i = 0; i < 256; i++) {
        total += i * (double)bins[i] / (double)count;
    }
    for (int i = 0; i < 255; i++) {
        share += (double)bins[i] / (double)count;
        below += i * (double)bins[i] / (double)count;
        double off = total * share - below, spread = share * (1.0 - share);
        double between = spread > 0.0 ? off * off / spread : 0.0;
        if (between > best) {
            best = between;
            threshold = i;
        }
    }
    return threshold;
}

/* Level below which `part` of the pixels of levels from..to lie. */
static int quantile(const uint64_t bins[256], int from, int to, double part) {
    uint64_t count = 0, seen = 0;
    for (int i = from; i <= to; i++) {
        count += bins[i];
    }
    for (int i = from; i <= to; i++) {
        seen += bins[i];
        if ((double)seen > part * (double)count) {
            return i;
        }
    }
    return to;
}

static void find_classes(struct classes *classes) {
    classes->threshold = otsu(classes->bins, classes->count);
    classes->dark = quantile(classes->bins, 0, classes->threshold, 0.5);
    classes->darkest = quantile(classes->bins, 0, classes->threshold, 0.05);
    classes->bright = quantile(classes->bins, classes->threshold + 1, 255, 0.5);
}

/* Pixels within 8 % of a level: about the spread that grains of one phase show. */
static double share_near(const struct classes *classes, int level) {
    int reach = level * 8 / 100 + 2;
    uint64_t sum = 0;
    for (int i = level - reach; i <= level + reach; i++) {
        sum += i >= 0 && i < 256 ? classes->bins[i] : 0;
    }
    return (double)sum / (double)classes->count;
}

static void find_peak(const struct classes *classes, struct kb_firstlook_measures *measures) {
    enum { HALF = 3, REACH = 12, LEAST = 5 }; /* levels; LEAST: black is no constituent */
    static const double holds = 0.05;
    uint64_t smooth[256] = {0};
    int highest = 128;
    for (int i = 0; i < 256; i++) {
        for (int j = i - HALF; j <= i + HALF; j++) {
            smooth[i] += j >= 0 && j < 256 ? classes->bins[j] : 0;
        }
        highest = smooth[i] > smooth[highest] ? i : highest;
    }
    int peak = highest;
    for (int i = 255; i > LEAST; i--) {
        bool top = true;
        for (int j = i - REACH; top && j <= i + REACH; j++) {
            top = j < 0 || j > 255 || smooth[j] <= smooth[i];
        }
        if (top && smooth[i] > 0 && share_near(classes, i) >= holds) {
            peak = i;
            break;
        }
    }
    measures->peak = peak;
    measures->peak_share = share_near(classes, peak);
}

/* ---- pictures ----------------------------------------------------------------------------------
 */

/* Spread of the bright class three pixels and more away from the dark one. */
static enum kb_status measure_spread(const struct kb_image *grey, const struct kb_image *shown,
                                     const struct classes *classes, struct kb_image *work,
                                     struct kb_image *mask, struct kb_firstlook_measures *measures,
                                     struct kb_err *err) {
    const uint8_t threshold = (uint8_t)classes->threshold;
    for (int32_t y = 0; y < grey->height; y++) {
        const uint8_t *row = kb_row(grey, y), *seen = kb_row(shown, y);
        uint8_t *dark = kb_row(work, y);
        for (int32_t x = 0; x < grey->width; x++) {
            dark[x] = (row[x] <= threshold) | (seen[x] == 0);
        }
    }
    enum kb_status status = kb_dilate(work, 3, mask, err);
    if (status == KB_OK) {
        status = kb_smooth(grey, work, err);
    }
    if (status == KB_OK) {
        static const bool chosen[256] = {[0] = true};
        uint64_t bins[256];
        kb_histogram(work, mask, chosen, bins);
        int low = quantile(bins, 0, 255, 0.1), high = quantile(bins, 0, 255, 0.9);
        int gap = classes->bright - classes->dark, whole = classes->bright - classes->darkest;
        measures->spread = gap > 0 ? (high - low) / 2.0 / gap : 1.0;
        measures->depth = classes->bright > 0 ? whole / (double)classes->bright : 0.0;
    }
    return status;
}

/* Share of the dark class that is left when two pixels are taken off all round. */
static enum kb_status measure_thick(const struct kb_image *grey, const struct kb_image *shown,
                                    const struct classes *classes, struct kb_image *work,
                                    struct kb_image *mask, struct kb_firstlook_measures *measures,
                                    struct kb_err *err) {
    static const bool chosen[256] = {[1] = true};
    const uint8_t threshold = (uint8_t)classes->threshold;
    uint64_t bins[256], dark = 0, thick = 0;
    for (int32_t y = 0; y < grey->height; y++) {
        const uint8_t *row = kb_row(grey, y), *seen = kb_row(shown, y);
        uint8_t *to = kb_row(work, y);
        for (int32_t x = 0; x < grey->width; x++) {
            to[x] = (row[x] <= threshold) & (seen[x] != 0);
        }
    }
    enum kb_status status = kb_erode(work, 2, mask, err);
    if (status == KB_OK) {
        kb_histogram(work, work, chosen, bins);
        dark = bins[1];
        kb_histogram(mask, mask, chosen, bins);
        thick = bins[1];
        measures->thick = dark > 0 ? (double)thick / (double)dark : 0.0;
    }
    return status;
}

static enum kb_status measure_flat_mid(const struct kb_image *grey, const struct kb_image *shown,
                                       const struct classes *classes, struct kb_image *work,
                                       struct kb_firstlook_measures *measures, struct kb_err *err) {
    enum kb_status status = kb_local_deviation(grey, NULL, NULL, 2, work, err);
    if (status != KB_OK) {
        return status;
    }
    double gap = classes->bright - classes->darkest;
    double low = classes->darkest + 0.3 * gap, high = classes->darkest + 0.8 * gap;
    double flat = fmax(2.0, 0.08 * gap); /* an edge deviates by about a third of the gap */
    uint64_t count = 0;
    for (int32_t y = 0; y < grey->height; y++) {
        const uint8_t *row = kb_row(grey, y), *seen = kb_row(shown, y), *off = kb_row(work, y);
        for (int32_t x = 0; x < grey->width; x++) {
            count += seen[x] != 0 && row[x] > low && row[x] < high && off[x] <= flat;
        }
    }
    measures->flat_mid = (double)count / (double)classes->count;
    return KB_OK;
}

static enum kb_status measure_skew(const struct kb_image *grey, const struct kb_image *shown,
                                   struct kb_image *work, struct kb_firstlook_measures *measures,
                                   struct kb_err *err) {
    enum kb_status status = kb_local_mean(grey, NULL, NULL, 4, work, err);
    double sum = 0.0, square = 0.0, cube = 0.0, count = 0.0;
    for (int32_t y = 0; status == KB_OK && y < grey->height; y++) {
        const uint8_t *row = kb_row(grey, y), *seen = kb_row(shown, y), *mean = kb_row(work, y);
        int64_t s1 = 0, s2 = 0, s3 = 0, n = 0;
        for (int32_t x = 0; x < grey->width; x++) {
            int off = seen[x] != 0 ? row[x] - mean[x] : 0;
            s1 += off;
            s2 += off * off;
            s3 += off * off * off;
            n += seen[x] != 0;
        }
        sum += (double)s1;
        square += (double)s2;
        cube += (double)s3;
        count += (double)n;
    }
    if (status == KB_OK && count > 0.0) {
        double mean = sum / count, variance = square / count - mean * mean;
        double third = cube / count - 3.0 * mean * variance - mean * mean * mean;
        /* Below a level's rounding there is no detail. */
        measures->skew = variance > 0.25 ? third / pow(variance, 1.5) : 0.0;
    }
    return status;
}

/* ---- texture against brightness ----------------------------------------------------------------
 */

#define BLOCK 8 /* pixels of the small picture */

struct block {
    double level, texture;
};

/* Whether all of the block is shown and none of it is as dark as graphite. */
static bool plain(const struct kb_image *grey, const struct kb_image *shown, int32_t x0, int32_t y0,
                  int dark) {
    /* One pixel more all round: edges of graphite are no texture. */
    for (int32_t y = y0 - 2; y < y0 + BLOCK + 2; y++) {
        for (int32_t x = x0 - 2; x < x0 + BLOCK + 2; x++) {
            if (kb_row(shown, y)[x] == 0 || kb_row(grey, y)[x] < dark) {
                return false;
            }
        }
    }
    return true;
}

static struct block block_at(const struct kb_image *grey, int32_t x0, int32_t y0) {
    int32_t level = 0, texture = 0;
    for (int32_t y = y0; y < y0 + BLOCK; y++) {
        const uint8_t *above = kb_row(grey, y - 1), *row = kb_row(grey, y);
        const uint8_t *below = kb_row(grey, y + 1);
        for (int32_t x = x0; x < x0 + BLOCK; x++) {
            level += row[x];
            texture += abs(4 * row[x] - row[x - 1] - row[x + 1] - above[x] - below[x]);
        }
    }
    return (struct block){level / (double)(BLOCK * BLOCK), texture / (double)(BLOCK * BLOCK)};
}

static int by_level(const void *a, const void *b) {
    double left = ((const struct block *)a)->level, right = ((const struct block *)b)->level;
    return (left > right) - (left < right);
}

static int by_texture(const void *a, const void *b) {
    double left = ((const struct block *)a)->texture, right = ((const struct block *)b)->texture;
    return (left > right) - (left < right);
}

static double median_texture(struct block *block, size_t count) {
    qsort(block, count, sizeof *block, by_texture);
    return block[count / 2].texture;
}

static enum kb_status measure_texture(const struct kb_image *grey, const struct kb_image *shown,
                                      const struct classes *classes,
                                      struct kb_firstlook_measures *measures, struct kb_err *err) {
    enum { FEWEST = 40 }; /* blocks below which quarters say nothing */
    size_t most = (size_t)(grey->width / BLOCK) * (size_t)(grey->height / BLOCK), count = 0;
    struct block *block = kb_alloc(most + 1, sizeof *block);
    if (block == NULL) {
        return kb_fail_memory(err, "firstlook", most * sizeof *block);
    }
    int dark = quantile(classes->bins, 0, 255, 0.5) * 55 / 100; /* graphite is darker than this */
    for (int32_t y = 2; y + BLOCK + 2 <= grey->height; y += BLOCK) {
        for (int32_t x = 2; x + BLOCK + 2 <= grey->width; x += BLOCK) {
            if (plain(grey, shown, x, y, dark)) {
                block[count++] = block_at(grey, x, y);
            }
        }
    }
    measures->texture = 0.0;
    if (count >= FEWEST) {
        qsort(block, count, sizeof *block, by_level);
        double low = median_texture(block, count / 4);
        double high = median_texture(block + count - count / 4, count / 4);
        measures->texture = log((high + 0.5) / (low + 0.5)); /* 0.5: rounding's own texture */
    }
    kb_free(block);
    return KB_OK;
}

/* ---- all together ------------------------------------------------------------------------------
 */

struct scratch {
    struct kb_image even, work, mask;
};

static enum kb_status measure_small(const struct kb_firstlook_small *small, struct scratch *scratch,
                                    struct kb_firstlook_measures *measures, struct kb_err *err) {
    struct classes classes = {.count = 0};
    enum kb_status status = kb_smooth(&small->grey, &scratch->even, err);
    if (status == KB_OK) {
        status = kb_firstlook_even(&scratch->even, &small->shown, err);
    }
    if (status != KB_OK) {
        return status;
    }
    count_levels(&scratch->even, &small->shown, &classes);
    if (classes.count == 0) {
        return KB_OK;
    }
    find_classes(&classes);
    find_peak(&classes, measures);
    status = measure_spread(&scratch->even, &small->shown, &classes, &scratch->work, &scratch->mask,
                            measures, err);
    if (status == KB_OK) {
        status = measure_thick(&scratch->even, &small->shown, &classes, &scratch->work,
                               &scratch->mask, measures, err);
    }
    if (status == KB_OK) {
        status = measure_flat_mid(&scratch->even, &small->shown, &classes, &scratch->work, measures,
                                  err);
    }
    if (status == KB_OK) {
        status = measure_skew(&scratch->even, &small->shown, &scratch->work, measures, err);
    }
    if (status == KB_OK) {
        status = measure_texture(&scratch->even, &small->shown, &classes, measures, err);
    }
    return status;
}

enum kb_status kb_firstlook_measure(const struct kb_firstlook_frame *frame,
                                    const struct kb_firstlook_small *small,
                                    struct kb_firstlook_measures *measures, struct kb_err *err) {
    struct scratch scratch = {0};
    int32_t width = small->grey.width, height = small->grey.height;
    *measures = (struct kb_firstlook_measures){.peak = 0.0};
    enum kb_status status = kb_image_alloc(width, height, &scratch.even, err);
    if (status == KB_OK) {
        status = kb_image_alloc(width, height, &scratch.work, err);
    }
    if (status == KB_OK) {
        status = kb_image_alloc(width, height, &scratch.mask, err);
    }
    if (status == KB_OK) {
        kb_firstlook_noise(frame, &measures->noise, &measures->scan);
        status = measure_small(small, &scratch, measures, err);
    }
    kb_image_release(&scratch.even);
    kb_image_release(&scratch.work);
    kb_image_release(&scratch.mask);
    return status;
}
