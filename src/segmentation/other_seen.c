/* other_seen.c - how grey and how rough ferrite and pearlite are in this field, from every n-th
 * row: what regions that may be neither are held against (other.c).
 */
#include "other_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A pair of pixels is smooth when it differs by no more than this share of what pairs of pearlite
 * typically do. */
#define SMOOTHER 0.5
/* Local means of pearlite reach this many standard deviations from their middle. */
#define REACH 2.5
/* Single greys of ferrite reach further than means do. */
#define REACH_WHITE 2.5
/* ... and from ferrite to pearlite at least this share of the way, since light colonies and dark
 * grains are nothing foreign. */
#define APART_LEAST 0.25
/* Grains of ferrite differ from each other by up to this share of their grey (thresholds.c). */
#define GRAIN_CONTRAST 0.15
/* White is brighter than ferrite by at least this share of the way from graphite. */
#define WHITE_LEAST 0.09
/* Below this share of the matrix the samples show nothing. */
#define SHOWN_LEAST 0.001
/* Fewer samples give no spread. */
#define SAMPLES_LEAST 200.0
/* A dark hill of pearlite holds at least this share of it. */
#define HILL_LEAST 0.25

/* ---- what the field shows ----------------------------------------------------------------------
 */

static double level_of_share(const struct kb_other_population *p, double share) {
    double wanted = share * p->count;
    double seen = 0.0;
    int level = 0;
    while (level < 255 && seen + (double)p->bins[level] < wanted) {
        seen += (double)p->bins[level++];
    }
    double part = p->bins[level] > 0 ? (wanted - seen) / (double)p->bins[level] : 0.5;
    return (double)level - 0.5 + part;
}

/* Quartiles of a normal population lie 0.6745 standard deviations from its middle. */
void kb_other_measure(struct kb_other_population *p) {
    for (int i = 0; i < 256; i++) {
        p->count += (double)p->bins[i];
    }
    p->middle = level_of_share(p, 0.5);
    p->low = (p->middle - level_of_share(p, 0.25)) / 0.6745;
    p->high = (level_of_share(p, 0.75) - p->middle) / 0.6745;
}

/* The darkest hill of the local means, with the spread of its dark side: what lies beyond it on the
 * bright side is what is asked about. */
static void population_darkest(struct kb_other_population *p) {
    double smooth[256];
    struct kb_mode mode[KB_MODES_MAX];
    kb_other_measure(p);
    int hills = kb_modes_find(p->bins, smooth, mode);
    int hill = 0;
    while (hill + 1 < hills && mode[hill].share < HILL_LEAST) {
        hill++;
    }
    p->middle = (double)mode[hill].level;
    double n = 0.0;
    double square = 0.0;
    for (int i = mode[hill].left; i <= mode[hill].level; i++) {
        double off = (double)(i - mode[hill].level);
        n += (double)p->bins[i];
        square += (double)p->bins[i] * off * off;
    }
    p->low = n > 0.0 ? sqrt(square / n) : 0.0;
}

static int32_t run_end(const uint8_t *label, int32_t x, int32_t width) {
    int32_t end = x + 1;
    while (end < width && label[end] == label[x]) {
        end++;
    }
    return end;
}

static void see_run(struct kb_other_evidence *e, const uint8_t *grey, const uint8_t *mean,
                    const uint8_t *label, int32_t x0, int32_t x1) {
    const bool pearlite = label[x0] == KB_PEARLITE;
    const bool beside = !pearlite && ((x0 > 0 && label[x0 - 1] == KB_GRAPHITE) ||
                                      (x1 < e->seg->grey.width && label[x1] == KB_GRAPHITE));
    for (int32_t x = x0; x < x1; x++) {
        if (pearlite && x + e->lag < x1) {
            e->contrasts[mean[x] / 4][abs(grey[x] - grey[x + e->lag])]++;
        }
        e->plain_grey[grey[x]] += !pearlite;
        if (abs(grey[x] - mean[x]) > e->calm) {
            continue;
        }
        e->calm_means[mean[x]]++;
        e->means.bins[mean[x]] += pearlite;
        e->plain_means.bins[mean[x]] += !pearlite;
    }
    e->beside.bins[grey[x0 + (x1 - x0) / 2]] += beside; /* farthest from its blurred edges */
    e->matrix += (double)(x1 - x0);
    e->plain_pixels += pearlite ? 0.0 : (double)(x1 - x0);
    e->plain_runs += pearlite ? 0.0 : 1.0;
}

static int32_t sample_step(const struct kb_other_evidence *e) {
    return kb_seg_row_step(&e->seg->grey, KB_SEG_PLACES / 2, 1);
}

static void see_row(void *context, int32_t y, const uint8_t *mean) {
    struct kb_other_evidence *e = context;
    const uint8_t *label = kb_row(&e->seg->map->label, y);
    const int32_t width = e->seg->map->label.width;
    memcpy(e->kept + (size_t)(y / sample_step(e)) * (size_t)width, mean, (size_t)width);
    for (int32_t x = 0; x < width;) {
        int32_t end = run_end(label, x, width);
        if (label[x] == KB_PEARLITE || label[x] == e->plain) {
            see_run(e, kb_row(&e->seg->grey, y), mean, label, x, end);
        }
        x = end;
    }
}

static double share_between(const struct kb_other_evidence *e, const uint64_t bins[256], int low,
                            int high) {
    double sum = 0.0;
    for (int i = low; i <= high && i < 256; i++) {
        sum += (double)bins[i];
    }
    return e->matrix > 0.0 ? sum / e->matrix : 0.0;
}

/* Of what surely is pearlite: not lighter than its middle by more than it scatters. */
static double contrast_of_pearlite(const struct kb_other_evidence *e) {
    struct kb_other_population p = {.count = 0.0};
    int last = (int)(e->means.middle + e->means.low) / 4;
    for (int i = 0; i <= last && i < 64; i++) {
        for (int k = 0; k < 256; k++) {
            p.bins[k] += e->contrasts[i][k];
        }
    }
    kb_other_measure(&p);
    return p.middle;
}

/* Where mid-grey and white lie; an empty range where they are not to be looked for. */
static void set_ranges(struct kb_other_evidence *e) {
    const struct kb_seg *seg = e->seg;
    const double black = seg->scheme.graphite ? seg->class_level[0] : 0.0;
    population_darkest(&e->means);
    kb_other_measure(&e->plain_means);
    kb_other_measure(&e->beside);
    const bool compared = e->beside.count >= SAMPLES_LEAST;
    e->ferrite = compared ? e->beside.middle : e->plain_means.middle;
    const double way = e->ferrite - e->means.middle;
    e->smooth = (int)(SMOOTHER * contrast_of_pearlite(e) + 0.5);
    e->low = 256;
    e->high = -1;
    e->white = 255;
    if (e->means.count < SAMPLES_LEAST || e->plain_means.count < SAMPLES_LEAST || way <= 0.0) {
        return;
    }
    const double below = fmax(APART_LEAST * way, GRAIN_CONTRAST * (e->ferrite - black));
    e->low = (int)ceil(e->means.middle + fmax(REACH * e->means.low, APART_LEAST * way));
    e->high = (int)(e->ferrite - below);
    if (share_between(e, e->calm_means, e->low, e->high) < SHOWN_LEAST) {
        e->high = -1;
    }
    if (compared) {
        double above = fmax(REACH_WHITE * e->beside.high, WHITE_LEAST * (e->ferrite - black));
        e->white = (int)fmin(255.0, e->ferrite + above);
        e->white =
            share_between(e, e->plain_grey, e->white + 1, 255) < SHOWN_LEAST ? 255 : e->white;
    }
}

enum kb_status kb_other_means(const struct kb_other_evidence *e, int32_t step,
                              void (*take)(void *context, int32_t y, const uint8_t *mean),
                              void *context, struct kb_err *err) {
    bool matrix[256] = {false};
    matrix[KB_PEARLITE] = matrix[e->plain] = true;
    const struct kb_seg *seg = e->seg;
    return kb_local_mean_rows(&seg->grey, &seg->map->label, matrix,
                              kb_seg_radius_px(seg, seg->params->colony_um), step, take, context,
                              err);
}

enum kb_status kb_other_sampled(const struct kb_other_evidence *e,
                                void (*take)(void *context, int32_t y, const uint8_t *mean),
                                void *context, struct kb_err *err) {
    const int32_t step = sample_step(e);
    if (e->kept == NULL) {
        return kb_other_means(e, step, take, context, err);
    }
    const uint8_t *mean = e->kept;
    for (int32_t y = 0; y < e->seg->grey.height; y += step, mean += e->seg->grey.width) {
        take(context, y, mean);
    }
    return KB_OK;
}

enum kb_status kb_other_see(struct kb_other_evidence *e, struct kb_err *err) {
    const struct kb_image *grey = &e->seg->grey;
    const size_t rows = (size_t)(grey->height / sample_step(e)) + 1;
    e->kept = kb_alloc(rows, (size_t)grey->width);
    if (e->kept == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, rows * (size_t)grey->width);
    }
    enum kb_status status = kb_other_means(e, sample_step(e), see_row, e, err);
    if (status == KB_OK) {
        set_ranges(e);
    }
    return status;
}
