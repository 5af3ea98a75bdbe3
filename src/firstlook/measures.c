/* measures.c - what tells etched, polished and secondary-electron pictures apart, as plain figures.
 *
 * All but the noise are taken from the small picture, smoothed once and evened:
 * - the brightest peak of the histogram that holds at least a twentieth of the pixels, and what it
 *   holds: polished metal and ferrite are exposed near white, secondary electrons about mid-grey;
 * - how far the bright class spreads away from edges, noise taken off, measured against its
 * distance from the dark: polished metal is even, etched metal has grains, boundaries and pearlite;
 * - flat areas midway between dark and bright: pearlite; between graphite and polished metal there
 *   are only edges; and how dark the dark is: graphite is darker than pearlite;
 * - whether the dark is thick anywhere: boundaries are not;
 * - thin dark lines in the bright part: boundaries, or the texture of pearlite; polished metal has
 *   scratches at most;
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

/* The small picture on its way through the measures. */
struct sight {
    const struct kb_image *shown;
    struct kb_image even; /* smoothed once, light taken out */
    struct kb_image work, mask;
    struct classes classes;
    double noise; /* what averaging and smoothing left of it in `even`, standard deviation */
    struct kb_firstlook_measures *out;
};

/* 1 in `to` where the picture is dark, and where it is not shown if `hidden_too`. */
static void mark_dark(const struct sight *s, bool hidden_too, struct kb_image *to) {
    const uint8_t threshold = (uint8_t)s->classes.threshold;
    for (int32_t y = 0; y < s->even.height; y++) {
        const uint8_t *row = kb_row(&s->even, y), *seen = kb_row(s->shown, y);
        uint8_t *dark = kb_row(to, y);
        for (int32_t x = 0; x < s->even.width; x++) {
            uint8_t hidden = seen[x] == 0, here = row[x] <= threshold;
            dark[x] = hidden ? (uint8_t)hidden_too : here;
        }
    }
}

/* Spread of the bright class three pixels and more away from the dark one. Leaves 0 in the mask
 * there. */
static enum kb_status measure_spread(struct sight *s, struct kb_err *err) {
    const struct classes *classes = &s->classes;
    mark_dark(s, true, &s->work);
    enum kb_status status = kb_dilate(&s->work, 3, &s->mask, err);
    if (status == KB_OK) {
        status = kb_smooth(&s->even, &s->work, err);
    }
    if (status == KB_OK) {
        static const bool chosen[256] = {[0] = true};
        uint64_t bins[256];
        kb_histogram(&s->work, &s->mask, chosen, bins);
        int low = quantile(bins, 0, 255, 0.1), high = quantile(bins, 0, 255, 0.9);
        int gap = classes->bright - classes->dark, whole = classes->bright - classes->darkest;
        /* 10 to 90 % of normal noise is 2.56 deviations; smoothed twice it is 0.273 / 0.375 of what
         * it is smoothed once */
        double half = (high - low) / 2.0, noise = 1.28 * 0.73 * s->noise;
        s->out->spread = gap > 0 ? sqrt(fmax(0.0, half * half - noise * noise)) / gap : 1.0;
        s->out->depth = classes->bright > 0 ? whole / (double)classes->bright : 0.0;
    }
    return status;
}

/* Share of the dark class that is left when two pixels are taken off all round. */
static enum kb_status measure_thick(struct sight *s, struct kb_err *err) {
    static const bool chosen[256] = {[1] = true};
    uint64_t bins[256], dark = 0, thick = 0;
    mark_dark(s, false, &s->work);
    enum kb_status status = kb_erode(&s->work, 2, &s->mask, err);
    if (status == KB_OK) {
        kb_histogram(&s->work, &s->work, chosen, bins);
        dark = bins[1];
        kb_histogram(&s->mask, &s->mask, chosen, bins);
        thick = bins[1];
        s->out->thick = dark > 0 ? (double)thick / (double)dark : 0.0;
    }
    return status;
}

static enum kb_status measure_flat_mid(struct sight *s, struct kb_err *err) {
    const struct classes *classes = &s->classes;
    enum kb_status status = kb_local_deviation(&s->even, NULL, NULL, 2, &s->work, err);
    if (status != KB_OK) {
        return status;
    }
    double gap = classes->bright - classes->darkest;
    double low = classes->darkest + 0.3 * gap, high = classes->darkest + 0.8 * gap;
    double flat = fmax(2.0, 0.08 * gap); /* an edge deviates by about a third of the gap */
    uint64_t count = 0;
    for (int32_t y = 0; y < s->even.height; y++) {
        const uint8_t *row = kb_row(&s->even, y), *seen = kb_row(s->shown, y);
        const uint8_t *off = kb_row(&s->work, y);
        for (int32_t x = 0; x < s->even.width; x++) {
            count += seen[x] != 0 && row[x] > low && row[x] < high && off[x] <= flat;
        }
    }
    s->out->flat_mid = (double)count / (double)classes->count;
    return KB_OK;
}

/* Sums over fine detail: the picture less its local mean. */
struct detail {
    double first, second, third, count;
    uint64_t lines, bright; /* pixels: on thin dark lines in the bright class; of it */
};

static void add_detail(const struct sight *s, int32_t y, int deep, struct detail *detail) {
    const uint8_t *row = kb_row(&s->even, y), *seen = kb_row(s->shown, y);
    const uint8_t *mean = kb_row(&s->work, y), *dark = kb_row(&s->mask, y);
    int64_t s1 = 0, s2 = 0, s3 = 0, n = 0;
    uint32_t lines = 0, bright = 0;
    for (int32_t x = 0; x < s->even.width; x++) {
        int off = seen[x] != 0 ? row[x] - mean[x] : 0;
        s1 += off;
        s2 += off * off;
        s3 += off * off * off;
        n += seen[x] != 0;
        bright += dark[x] == 0;
        lines += dark[x] == 0 && off <= -deep;
    }
    detail->first += (double)s1;
    detail->second += (double)s2;
    detail->third += (double)s3;
    detail->count += (double)n;
    detail->lines += lines;
    detail->bright += bright;
}

/* Skewness, and thin dark lines where the mask is 0: a twentieth darker than around them, and more
 * than noise makes. */
static enum kb_status measure_detail(struct sight *s, struct kb_err *err) {
    enum kb_status status = kb_local_mean(&s->even, NULL, NULL, 4, &s->work, err);
    struct detail d = {0};
    int deep = (int)ceil(fmax(3.5 * s->noise, 0.05 * s->classes.bright));
    for (int32_t y = 0; status == KB_OK && y < s->even.height; y++) {
        add_detail(s, y, deep > 1 ? deep : 1, &d);
    }
    if (status == KB_OK && d.count > 0.0) {
        double mean = d.first / d.count, variance = d.second / d.count - mean * mean;
        double third = d.third / d.count - 3.0 * mean * variance - mean * mean * mean;
        /* Below a level's rounding there is no detail. */
        s->out->skew = variance > 0.25 ? third / pow(variance, 1.5) : 0.0;
        s->out->lines = d.bright > 0 ? (double)d.lines / (double)d.bright : 0.0;
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

static enum kb_status measure_texture(struct sight *s, struct kb_err *err) {
    enum { FEWEST = 40 }; /* blocks below which quarters say nothing */
    const struct kb_image *grey = &s->even;
    size_t most = (size_t)(grey->width / BLOCK) * (size_t)(grey->height / BLOCK), count = 0;
    struct block *block = kb_alloc(most + 1, sizeof *block);
    if (block == NULL) {
        return kb_fail_memory(err, "firstlook", most * sizeof *block);
    }
    /* graphite is darker than this */
    int dark = quantile(s->classes.bins, 0, 255, 0.5) * 55 / 100;
    for (int32_t y = 2; y + BLOCK + 2 <= grey->height; y += BLOCK) {
        for (int32_t x = 2; x + BLOCK + 2 <= grey->width; x += BLOCK) {
            if (plain(grey, s->shown, x, y, dark)) {
                block[count++] = block_at(grey, x, y);
            }
        }
    }
    s->out->texture = 0.0;
    if (count >= FEWEST) {
        qsort(block, count, sizeof *block, by_level);
        double low = median_texture(block, count / 4);
        double high = median_texture(block + count - count / 4, count / 4);
        s->out->texture = log((high + 0.5) / (low + 0.5)); /* 0.5: rounding's own texture */
    }
    kb_free(block);
    return KB_OK;
}

/* ---- all together ------------------------------------------------------------------------------
 */

static enum kb_status measure_small(const struct kb_firstlook_small *small, struct sight *s,
                                    struct kb_err *err) {
    /* in the order in which one leaves the mask that the next needs */
    static enum kb_status (*const step[])(struct sight *, struct kb_err *) = {
        measure_spread, measure_detail, measure_thick, measure_flat_mid, measure_texture};
    enum kb_status status = kb_smooth(&small->grey, &s->even, err);
    if (status == KB_OK) {
        status = kb_firstlook_even(&s->even, s->shown, err);
    }
    if (status != KB_OK) {
        return status;
    }
    count_levels(&s->even, s->shown, &s->classes);
    if (s->classes.count == 0) {
        return KB_OK;
    }
    find_classes(&s->classes);
    find_peak(&s->classes, s->out);
    for (size_t i = 0; status == KB_OK && i < sizeof step / sizeof *step; i++) {
        status = step[i](s, err);
    }
    return status;
}

enum kb_status kb_firstlook_measure(const struct kb_firstlook_frame *frame,
                                    const struct kb_firstlook_small *small,
                                    struct kb_firstlook_measures *measures, struct kb_err *err) {
    struct sight sight = {.shown = &small->shown, .out = measures};
    int32_t width = small->grey.width, height = small->grey.height;
    *measures = (struct kb_firstlook_measures){.peak = 0.0};
    enum kb_status status = kb_image_alloc(width, height, &sight.even, err);
    if (status == KB_OK) {
        status = kb_image_alloc(width, height, &sight.work, err);
    }
    if (status == KB_OK) {
        status = kb_image_alloc(width, height, &sight.mask, err);
    }
    if (status == KB_OK) {
        kb_firstlook_noise(frame, measures);
        /* the binomial mask leaves 6/16 of white noise, averaging its part */
        sight.noise = 0.375 * measures->noise / small->factor;
        status = measure_small(small, &sight, err);
    }
    kb_image_release(&sight.even);
    kb_image_release(&sight.work);
    kb_image_release(&sight.mask);
    return status;
}
