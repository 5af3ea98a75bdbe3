/* even_light.c - the illumination of a field, found and divided out.
 *
 * Light multiplies what the specimen reflects, so the field is divided by a smooth surface of
 * mean 1. The surface must follow the light and not the structure: a corner that holds more
 * pearlite is darker too. Hence it is fitted to how far each grey class strays from its own mean,
 * block by block:
 *
 *   1. histograms of up to 32 x 32 blocks, one pass over the pixels; all else works on these;
 *   2. a first surface as the upper envelope of a high quantile of the blocks, which is the
 *      brightest constituent wherever a block holds some;
 *   3. six times over: even the block histograms by the surface, cut their sum into classes
 *      (Otsu), and fit the surface anew to (mean grey of a class in a block) / (mean grey of the
 *      class), each weighted by its pixels and by the square of its grey, as noise is additive.
 *
 * It is divided out only where it varies by more than 3 %, explains a fair part of the scatter
 * between blocks, is borne out by the envelope, and makes the classes more separate. A blank-field
 * picture, where there is one, takes the surface's place: the field is divided by it, smoothed.
 * Limits: light that varies faster than nine terms can say, and shadows of dust, stay.
 */
#include "segmentation_priv.h"

#include <math.h>
#include <string.h>

#define GRID 32           /* blocks along the larger side */
#define LEAST_BLOCKS 24   /* nine terms want more than twice as many points */
#define LEAST_BLOCK_PX 16 /* side of the smallest block, pixels: 256 pixels make a histogram */
#define ROWS_ENOUGH 32    /* of a block: of a larger one every n-th row is counted */
#define ROUNDS 6
/* Less than this is below what a threshold in the middle of two classes notices. */
#define LEAST_UNEVENNESS 0.03
/* A surface that explains less of the scatter between blocks than this follows structure, not
 * light: nine terms through a hundred independent grains explain a tenth of it by chance ... */
#define EXPLAINED_LEAST 0.15
/* ... and the stronger the light varies, the plainer it must be: so much more for each unit of
 * range beyond FAINT, up to EXPLAINED_MOST. */
#define FAINT 0.1
#define EXPLAINED_SLOPE 1.4
#define EXPLAINED_MOST 0.7
/* Light that the envelope of the brightest constituent does not show at two thirds is structure. */
#define ENVELOPE_FACTOR 1.5
#define SURFACE_LEAST 0.1F /* never divide by less: such light cannot be evened */

struct blocks {
    int32_t side, across, down;
    size_t count;
    uint32_t (*bins)[256];
    uint32_t *pixels;               /* measured pixels of each block */
    struct kb_surface_point *point; /* 4 a block: three classes, or one quantile */
    double *light;                  /* the surface at the block's centre */
    double explained;               /* share of the points' scatter that the surface explains */
};

static void blocks_release(struct blocks *blocks) {
    kb_free(blocks->bins);
    kb_free(blocks->pixels);
    kb_free(blocks->point);
    kb_free(blocks->light);
}

static enum kb_status blocks_alloc(const struct kb_image *image, struct blocks *blocks,
                                   struct kb_err *err) {
    int32_t larger = image->width > image->height ? image->width : image->height;
    int32_t side = (larger + GRID - 1) / GRID;
    blocks->side = side < LEAST_BLOCK_PX ? LEAST_BLOCK_PX : side;
    blocks->across = (image->width + blocks->side - 1) / blocks->side;
    blocks->down = (image->height + blocks->side - 1) / blocks->side;
    blocks->count = (size_t)blocks->across * (size_t)blocks->down;
    blocks->bins = kb_alloc(blocks->count, sizeof *blocks->bins);
    blocks->pixels = kb_alloc_zero(blocks->count, sizeof *blocks->pixels);
    blocks->point = kb_alloc(blocks->count * 3, sizeof *blocks->point);
    blocks->light = kb_alloc(blocks->count, sizeof *blocks->light);
    if (blocks->bins == NULL || blocks->pixels == NULL || blocks->point == NULL ||
        blocks->light == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, blocks->count * sizeof *blocks->bins);
    }
    return KB_OK;
}

/* Part of a picture, every `step`-th row of it. */
static struct kb_image view(const struct kb_image *image, int32_t x, int32_t y, int32_t side,
                            int32_t step) {
    int32_t right = image->width - x < side ? image->width - x : side;
    int32_t down = image->height - y < side ? image->height - y : side;
    return (struct kb_image){.width = right,
                             .height = (down + step - 1) / step,
                             .stride = image->stride * (size_t)step,
                             .px = kb_row(image, y) + x};
}

static void blocks_count(const struct kb_seg *seg, struct blocks *blocks) {
    bool measured[256];
    memset(measured, 1, sizeof measured);
    measured[KB_EXCLUDED] = false;
    const int32_t side = blocks->side;
    const int32_t step = side < 2 * ROWS_ENOUGH ? 1 : side / ROWS_ENOUGH;
    for (size_t b = 0; b < blocks->count; b++) {
        int32_t x = (int32_t)(b % (size_t)blocks->across) * side;
        int32_t y = (int32_t)(b / (size_t)blocks->across) * side;
        struct kb_image grey = view(&seg->field->grey, x, y, side, step);
        struct kb_image label = view(&seg->map->label, x, y, side, step);
        uint64_t bins[256];
        kb_histogram(&grey, kb_seg_has_exclusions(seg) ? &label : NULL, measured, bins);
        for (int i = 0; i < 256; i++) {
            blocks->bins[b][i] = (uint32_t)bins[i];
            blocks->pixels[b] += (uint32_t)bins[i];
        }
    }
}

/* Centre of block b in the coordinates of the surface. */
static void block_centre(const struct kb_image *image, const struct blocks *blocks, size_t b,
                         double *u, double *v) {
    double half = 0.5 * (double)(image->width > image->height ? image->width : image->height);
    size_t column = b % (size_t)blocks->across;
    size_t line = b / (size_t)blocks->across;
    double x = ((double)column + 0.5) * (double)blocks->side;
    double y = ((double)line + 0.5) * (double)blocks->side;
    *u = (fmin(x, (double)image->width) - 0.5 * (double)image->width) / half;
    *v = (fmin(y, (double)image->height) - 0.5 * (double)image->height) / half;
}

static int quantile_level(const uint32_t bins[256], uint32_t pixels, double share) {
    double wanted = share * (double)pixels;
    double seen = 0.0;
    int level = 0;
    while (level < 255 && seen + (double)bins[level] < wanted) {
        seen += (double)bins[level++];
    }
    return level;
}

/* Blocks with few measured pixels say nothing. */
static bool block_speaks(const struct blocks *blocks, size_t b) {
    return blocks->pixels[b] >= LEAST_BLOCK_PX * LEAST_BLOCK_PX / 4;
}

static bool fit_envelope(const struct kb_image *image, struct blocks *blocks,
                         struct kb_surface *surface) {
    size_t points = 0;
    double sum = 0.0;
    for (size_t b = 0; b < blocks->count; b++) {
        if (block_speaks(blocks, b)) {
            struct kb_surface_point *p = &blocks->point[points++];
            block_centre(image, blocks, b, &p->u, &p->v);
            /* 90 %: bright constituents down to a tenth of a block are seen, glints are not */
            p->value = quantile_level(blocks->bins[b], blocks->pixels[b], 0.9);
            p->weight = 1.0;
            sum += p->value;
        }
    }
    if (points < LEAST_BLOCKS || sum <= 0.0) {
        return false;
    }
    for (size_t i = 0; i < points; i++) {
        blocks->point[i].value *= (double)points / sum;
    }
    return kb_surface_fit(blocks->point, points, 6, true, surface); /* 6: second order */
}

/* Scale the surface to mean 1 over the blocks; false when it is not positive everywhere. */
static bool surface_settle(const struct kb_image *image, struct blocks *blocks,
                           struct kb_surface *surface) {
    double sum = 0.0;
    for (size_t b = 0; b < blocks->count; b++) {
        double u, v;
        block_centre(image, blocks, b, &u, &v);
        blocks->light[b] = kb_surface_at(surface, u, v);
        sum += blocks->light[b];
    }
    double scale = (double)blocks->count / sum;
    if (!(sum > 0.0)) {
        return false;
    }
    for (int i = 0; i < KB_SURFACE_TERMS; i++) {
        surface->term[i] *= scale;
    }
    bool positive = true;
    for (size_t b = 0; b < blocks->count; b++) {
        blocks->light[b] *= scale;
        positive = positive && blocks->light[b] > (double)SURFACE_LEAST;
    }
    return positive;
}

static void evened_histogram(const struct blocks *blocks, bool even, uint64_t bins[256]) {
    memset(bins, 0, 256 * sizeof *bins);
    for (size_t b = 0; b < blocks->count; b++) {
        double light = even ? blocks->light[b] : 1.0;
        for (int i = 0; i < 256; i++) {
            if (blocks->bins[b][i] > 0) {
                double level = (double)i / light + 0.5;
                bins[level < 255.0 ? (int)level : 255] += blocks->bins[b][i];
            }
        }
    }
}

struct classes {
    int count, threshold[2];
    double mean[3], separability;
};

static bool classes_cut(const uint64_t bins[256], int count, struct classes *classes) {
    classes->count = count;
    if (!kb_otsu(bins, count, classes->threshold, &classes->separability)) {
        return false;
    }
    int first = 0;
    for (int c = 0; c < count; c++) {
        int last = c < count - 1 ? classes->threshold[c] : 255;
        double n = 0.0;
        double sum = 0.0;
        for (int i = first; i <= last; i++) {
            n += (double)bins[i];
            sum += (double)bins[i] * (double)i;
        }
        classes->mean[c] = n > 0.0 ? fmax(sum / n, 1.0) : 1.0;
        first = last + 1;
    }
    return true;
}

/* Of the levels first .. last: pixels, and sum of their levels. A block of 200000 / 32 pixels a
 * side, every n-th row of it, is far from the limits of 32 bits. */
KB_WIDE static void sum_levels(const uint32_t *restrict bins, int first, int last,
                               uint32_t *restrict count, uint32_t *restrict sum) {
    uint32_t n = 0, s = 0;
    for (int i = first; i <= last; i++) {
        n += bins[i];
        s += bins[i] * (uint32_t)i;
    }
    *count = n;
    *sum = s;
}

/* Mean grey (as in the file) and number of the pixels of block b that are of class c. */
static double class_in_block(const struct blocks *blocks, size_t b, const struct classes *classes,
                             int c, double *mean) {
    double low = c > 0 ? ((double)classes->threshold[c - 1] + 0.5) * blocks->light[b] : -1.0;
    double high =
        c < classes->count - 1 ? ((double)classes->threshold[c] + 0.5) * blocks->light[b] : 255.0;
    uint32_t n, sum;
    sum_levels(blocks->bins[b], (int)(low + 1.0), high < 255.0 ? (int)high : 255, &n, &sum);
    *mean = n > 0 ? (double)sum / (double)n : 0.0;
    return (double)n;
}

/* Coefficient of determination: 1 - weighted squares about the surface / about the mean. */
static double explained_share(const struct kb_surface_point *point, size_t count,
                              const struct kb_surface *surface) {
    double weight = 0.0;
    double sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        weight += point[i].weight;
        sum += point[i].weight * point[i].value;
    }
    double about_mean = 0.0;
    double about_surface = 0.0;
    for (size_t i = 0; i < count; i++) {
        double m = point[i].value - sum / weight;
        double s = point[i].value - kb_surface_at(surface, point[i].u, point[i].v);
        about_mean += point[i].weight * m * m;
        about_surface += point[i].weight * s * s;
    }
    return about_mean > 0.0 ? 1.0 - about_surface / about_mean : 0.0;
}

static bool fit_classes(const struct kb_image *image, struct blocks *blocks,
                        const struct classes *classes, struct kb_surface *surface) {
    size_t points = 0;
    double top = classes->mean[classes->count - 1];
    for (size_t b = 0; b < blocks->count; b++) {
        double u, v;
        block_centre(image, blocks, b, &u, &v);
        for (int c = 0; c < classes->count && block_speaks(blocks, b); c++) {
            double mean;
            double n = class_in_block(blocks, b, classes, c, &mean);
            if (n * 50.0 >=
                (double)blocks->pixels[b]) { /* 2 % of a block is a sample, less is rims */
                double trust = classes->mean[c] / top;
                blocks->point[points++] = (struct kb_surface_point){
                    .u = u,
                    .v = v,
                    .value = mean / classes->mean[c],
                    .weight = trust * trust * n / (double)blocks->pixels[b]};
            }
        }
    }
    if (points < LEAST_BLOCKS ||
        !kb_surface_fit(blocks->point, points, KB_SURFACE_TERMS, false, surface)) {
        return false;
    }
    blocks->explained = explained_share(blocks->point, points, surface);
    return true;
}

/* (max - min) / mean over the blocks; their mean is 1. */
static double light_range(const struct blocks *blocks) {
    double low = blocks->light[0];
    double high = blocks->light[0];
    for (size_t b = 1; b < blocks->count; b++) {
        low = fmin(low, blocks->light[b]);
        high = fmax(high, blocks->light[b]);
    }
    return high - low;
}

static double explained_needed(double range) {
    double more = EXPLAINED_SLOPE * fmax(range - FAINT, 0.0);
    return fmin(EXPLAINED_LEAST + more, EXPLAINED_MOST);
}

/* True when a surface was found that makes the classes more separate. */
static bool find_surface(const struct kb_image *image, int count, struct blocks *blocks,
                         struct kb_surface *surface) {
    uint64_t bins[256];
    struct classes classes;
    evened_histogram(blocks, false, bins);
    if (!classes_cut(bins, count, &classes)) {
        return false;
    }
    double before = classes.separability;
    if (!fit_envelope(image, blocks, surface) || !surface_settle(image, blocks, surface)) {
        return false;
    }
    double envelope = light_range(blocks);
    for (int round = 0; round < ROUNDS; round++) {
        evened_histogram(blocks, true, bins);
        if (!classes_cut(bins, count, &classes) || !fit_classes(image, blocks, &classes, surface) ||
            !surface_settle(image, blocks, surface)) {
            return false;
        }
    }
    evened_histogram(blocks, true, bins);
    if (light_range(blocks) > ENVELOPE_FACTOR * envelope + LEAST_UNEVENNESS) {
        return false;
    }
    return classes_cut(bins, count, &classes) && classes.separability > before &&
           blocks->explained >= explained_needed(light_range(blocks));
}

/* One row divided by a quartic in u = x * step - start. */
KB_WIDE static void divide_row(const uint8_t *restrict from, int32_t width, const float c[5],
                               float start, float step, uint8_t *restrict to) {
    for (int32_t x = 0; x < width; x++) {
        float u = (float)x * step - start;
        float light = c[0] + u * (c[1] + u * (c[2] + u * (c[3] + u * c[4])));
        light = light > SURFACE_LEAST ? light : SURFACE_LEAST;
        float level = (float)from[x] / light + 0.5F;
        to[x] = (uint8_t)(int)(level < 255.0F ? level : 255.0F);
    }
}

static void divide_by_surface(const struct kb_image *from, const struct kb_surface *surface,
                              int32_t y, uint8_t *to) {
    double half = 0.5 * (double)(from->width > from->height ? from->width : from->height);
    const double *t = surface->term;
    float start = (float)((0.5 * (double)from->width - 0.5) / half);
    double v = ((double)y + 0.5 - 0.5 * (double)from->height) / half;
    const float c[5] = {
        (float)(t[0] + v * (t[2] + v * (t[5] + v * (t[8] + v * t[6])))),
        (float)(t[1] + v * (t[4] + v * t[7])),
        (float)(t[3] + v * (t[8] + v * 2.0 * t[6])),
        (float)t[7],
        (float)t[6],
    };
    divide_row(kb_row(from, y), from->width, c, start, (float)(1.0 / half), to);
}

static enum kb_status even_by_fit(struct kb_seg *seg, struct kb_err *err) {
    struct blocks blocks = {0};
    const struct kb_image *grey = &seg->field->grey;
    enum kb_status status = blocks_alloc(grey, &blocks, err);
    if (status == KB_OK) {
        blocks_count(seg, &blocks);
        bool found = find_surface(grey, seg->scheme.classes, &blocks, &seg->light.surface);
        double range = found ? light_range(&blocks) : 0.0;
        seg->map->figures.unevenness = range;
        seg->map->figures.evened = seg->params->even_light && range >= LEAST_UNEVENNESS;
        seg->light.fitted = seg->map->figures.evened;
    }
    blocks_release(&blocks);
    return status;
}

static void settle_blank(struct kb_seg *seg) {
    uint64_t bins[256];
    kb_histogram(&seg->light.blank, NULL, NULL, bins);
    double sum = 0.0;
    int low = 255;
    int high = 0;
    for (int i = 0; i < 256; i++) {
        sum += (double)bins[i] * (double)i;
        low = bins[i] > 0 && i < low ? i : low;
        high = bins[i] > 0 ? i : high;
    }
    double mean = fmax(sum / (double)kb_image_pixels(&seg->light.blank), 1.0);
    for (int i = 0; i < 256; i++) { /* no light at all there: leave the pixel as it is */
        seg->light.gain[i] = i > 0 ? (float)(mean / (double)i) : 1.0F;
    }
    seg->map->figures.unevenness = (double)(high - low) / mean;
    seg->map->figures.evened = true;
}

static enum kb_status even_by_blank(struct kb_seg *seg, struct kb_err *err) {
    const struct kb_image *blank = seg->params->blank;
    const struct kb_image *grey = &seg->field->grey;
    if (blank->width != grey->width || blank->height != grey->height) {
        return kb_fail(err, KB_E_INPUT, KB_SEG_STAGE, "blank field",
                       "is %d x %d pixels, the field %d x %d (take the blank field with the same "
                       "camera setting)",
                       blank->width, blank->height, grey->width, grey->height);
    }
    int32_t larger = grey->width > grey->height ? grey->width : grey->height;
    /* 1/64 of the side: dust and noise of the blank field go, its light stays. */
    enum kb_status status = kb_image_alloc(grey->width, grey->height, &seg->light.blank, err);
    if (status == KB_OK) {
        status = kb_local_mean(blank, NULL, NULL, larger / 64, &seg->light.blank, err);
    }
    if (status == KB_OK) {
        settle_blank(seg);
    }
    return status;
}

enum kb_status kb_seg_even_light(struct kb_seg *seg, struct kb_err *err) {
    return seg->params->blank != NULL ? even_by_blank(seg, err) : even_by_fit(seg, err);
}

void kb_seg_even_row(const struct kb_seg *seg, int32_t y, uint8_t *to) {
    const struct kb_image *grey = &seg->field->grey;
    const struct kb_seg_light *light = &seg->light;
    const uint8_t *from = kb_row(grey, y);
    if (light->fitted) {
        divide_by_surface(grey, &light->surface, y, to);
    } else if (light->blank.px == NULL) {
        memcpy(to, from, (size_t)grey->width);
    } else {
        const uint8_t *blank = kb_row(&light->blank, y);
        for (int32_t x = 0; x < grey->width; x++) {
            float level = (float)from[x] * light->gain[blank[x]] + 0.5F;
            to[x] = (uint8_t)(int)(level < 255.0F ? level : 255.0F);
        }
    }
}

double kb_seg_gain_at(const struct kb_seg *seg, int32_t x, int32_t y) {
    const struct kb_image *grey = &seg->field->grey;
    const struct kb_seg_light *light = &seg->light;
    if (light->fitted) {
        double half = 0.5 * (double)(grey->width > grey->height ? grey->width : grey->height);
        double u = ((double)x + 0.5 - 0.5 * (double)grey->width) / half;
        double v = ((double)y + 0.5 - 0.5 * (double)grey->height) / half;
        return 1.0 / fmax(kb_surface_at(&light->surface, u, v), (double)SURFACE_LEAST);
    }
    return light->blank.px != NULL ? (double)light->gain[kb_row(&light->blank, y)[x]] : 1.0;
}
