/* sample.c - what one sparse pass over the field tells: grey by phase, noise, block edges.
 *
 * Bands of 16 rows at even distances are read, as many as make about SAMPLE_PX pixels; what is
 * asked here are quantiles and means of the whole field, which a million and a half pixels tell to
 * far more digits than the limits have.
 *   noise    the mask 1 -2 1 / -2 4 -2 / 1 -2 1, blind to planes and to edges along rows or columns
 *            (Immerkaer, Comput. Vis. Image Underst. 64 (1996) 300), inside one phase only; the
 *            lower quartile of its magnitude, so that texture has little say; the calmest phase
 *            counts, since noise is everywhere and texture is not.
 *   blocks   JPEG codes squares of 8 x 8 pixels on their own (ITU-T T.81). Mean step between
 *            neighbours by position modulo 8; the excess of the largest of the eight over the
 *            median of the others, as a share of it. Steps are cut off at a height that real edges
 *            exceed. Cropped pictures have their block edges elsewhere: hence the largest of eight.
 */
#include "quality_priv.h"

#include <stdlib.h>
#include <string.h>

#define BAND 16
#define SAMPLE_PX 1500000u
#define QUARTILE_PER_SIGMA (0.3186 * 6.0) /* of the mask's answer to normal noise */
#define STEP_MOST 16     /* grey levels; block edges are lower, phase edges higher */
#define SHARE_LEAST 0.02 /* a phase of less than this has no say */
#define COUNT_LEAST 400  /* answers that make a quartile */

struct sampling {
    const struct kb_image *grey, *label;
    uint32_t (*answers)[KB_NOISE_ANSWERS]; /* of the noise mask by phase */
    uint32_t *step;            /* per column: sum of steps from the column to its left */
    double down[8], across[8]; /* mean step by row, by column, modulo 8 */
    uint64_t rows[8];
    struct kb_seen *seen;
};

static void count_row(const struct sampling *s, int32_t y) {
    const uint8_t *grey = kb_row(s->grey, y), *label = kb_row(s->label, y);
    for (int32_t x = 0; x < s->grey->width; x++) {
        s->seen->bins[label[x] < KB_PHASES ? label[x] : KB_EXCLUDED][grey[x]]++;
    }
}

/* 1 where the neighbours up, down, left and right are of the same phase and nothing is cut off. */
KB_WIDE static void calm_row(const uint8_t *restrict up, const uint8_t *restrict label,
                             const uint8_t *restrict down, const uint8_t *restrict grey,
                             int32_t count, uint8_t *restrict calm) {
    for (int32_t x = 0; x < count; x++) {
        uint8_t here = label[x + 1];
        uint8_t inside = (here == label[x]) & (here == label[x + 2]) & (here == up[x + 1]) &
                         (here == down[x + 1]);
        /* noise is cut off at the ends of the scale */
        calm[x] = inside & (here < KB_PHASES) & (grey[x + 1] >= 3) & (grey[x + 1] <= 252);
    }
}

static void noise_row(const struct sampling *s, int32_t y) {
    uint16_t answer[512]; /* a stretch of the row */
    uint8_t calm[512];
    for (int32_t start = 0; start < s->grey->width - 2; start += 512) {
        int32_t left = s->grey->width - 2 - start;
        int32_t count = left < 512 ? left : 512;
        const uint8_t *label = kb_row(s->label, y) + start;
        kb_noise_answers(kb_row(s->grey, y - 1) + start, kb_row(s->grey, y) + start,
                         kb_row(s->grey, y + 1) + start, count, answer);
        calm_row(kb_row(s->label, y - 1) + start, label, kb_row(s->label, y + 1) + start,
                 kb_row(s->grey, y) + start, count, calm);
        for (int32_t x = 0; x < count; x++) {
            if (calm[x] != 0) {
                s->answers[label[x + 1]][answer[x]]++;
            }
        }
    }
}

static inline uint8_t step_between(uint8_t a, uint8_t b) {
    uint8_t step = (uint8_t)(a > b ? a - b : b - a);
    return step < STEP_MOST ? step : STEP_MOST;
}

/* From each of `count` pixels to the next. */
KB_WIDE static void steps_along(const uint8_t *restrict row, int32_t count,
                                uint32_t *restrict step) {
    for (int32_t x = 0; x < count; x++) {
        step[x] += step_between(row[x + 1], row[x]);
    }
}

KB_WIDE static uint32_t steps_down(const uint8_t *restrict above, const uint8_t *restrict row,
                                   int32_t width) {
    uint32_t sum = 0;
    for (int32_t x = 0; x < width; x++) {
        sum += step_between(row[x], above[x]);
    }
    return sum;
}

static void steps_row(struct sampling *s, int32_t y) {
    const uint8_t *row = kb_row(s->grey, y);
    steps_along(row, s->grey->width - 1, s->step + 1);
    if (y > 0) {
        s->down[y & 7] += steps_down(kb_row(s->grey, y - 1), row, s->grey->width);
        s->rows[y & 7]++;
    }
}

static void read_bands(struct sampling *s) {
    int32_t height = s->grey->height;
    uint64_t wanted = SAMPLE_PX / (uint64_t)s->grey->width / BAND + 1;
    uint64_t bands = ((uint64_t)height + BAND - 1) / BAND;
    int32_t every = (int32_t)(bands > wanted ? bands / wanted : 1) * BAND;
    for (int32_t top = 0; top < height; top += every) {
        int32_t end = top + BAND < height ? top + BAND : height;
        for (int32_t y = top; y < end; y++) {
            count_row(s, y);
            steps_row(s, y);
            if (y > 0 && y + 1 < height) {
                noise_row(s, y);
            }
        }
    }
}

/* ---- figures ------------------------------------------------------------------------------------
 */

static double quantile_of(const uint64_t bins[256], double share) {
    double total = 0.0, below = 0.0;
    for (int i = 0; i < 256; i++) {
        total += (double)bins[i];
    }
    if (total <= 0.0) {
        return NAN;
    }
    int i = 0;
    while (i < 255 && below + (double)bins[i] < share * total) {
        below += (double)bins[i++];
    }
    return i - 0.5 + (share * total - below) / (double)bins[i];
}

static double noise_of(const uint32_t answers[KB_NOISE_ANSWERS]) {
    double total = 0.0, below = 0.0;
    for (int i = 0; i < KB_NOISE_ANSWERS; i++) {
        total += answers[i];
    }
    if (total < COUNT_LEAST) {
        return NAN;
    }
    int i = 0;
    while (i < KB_NOISE_ANSWERS - 1 && below + answers[i] < 0.25 * total) {
        below += answers[i++];
    }
    double quartile = i == 0 ? 0.0 : i - 0.5 + (0.25 * total - below) / answers[i];
    return quartile / QUARTILE_PER_SIGMA;
}

static void find_noise(const struct sampling *s) {
    s->seen->noise = NAN;
    for (int i = KB_EXCLUDED + 1; i < KB_PHASES; i++) {
        if (s->seen->share[i] >= SHARE_LEAST) {
            s->seen->noise = fmin(s->seen->noise, noise_of(s->answers[i])); /* NaN loses */
        }
    }
    s->seen->noise = isnan(s->seen->noise) ? 0.0 : s->seen->noise;
}

static void find_shares(struct kb_seen *seen) {
    for (int i = KB_EXCLUDED + 1; i < KB_PHASES; i++) {
        for (int level = 0; level < 256; level++) {
            seen->all[level] += seen->bins[i][level];
            seen->measured += seen->bins[i][level];
        }
    }
    for (int i = 0; i < KB_PHASES; i++) {
        uint64_t count = 0;
        for (int level = 0; level < 256; level++) {
            count += seen->bins[i][level];
        }
        seen->share[i] = seen->measured > 0 ? (double)count / (double)seen->measured : 0.0;
        seen->median[i] = quantile_of(seen->bins[i], 0.5);
    }
}

static void find_step(struct kb_seen *seen) {
    seen->step = NAN;
    for (int i = KB_EXCLUDED + 1; i < KB_PHASES; i++) {
        for (int j = i + 1; j < KB_PHASES; j++) {
            if (seen->share[i] >= SHARE_LEAST && seen->share[j] >= SHARE_LEAST) {
                seen->step = fmin(seen->step, fabs(seen->median[i] - seen->median[j]));
            }
        }
    }
}

static int by_size(const void *a, const void *b) {
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double kb_quality_quantile(double *value, size_t count, double share) {
    if (count == 0) {
        return NAN;
    }
    qsort(value, count, sizeof *value, by_size);
    double place = share * (double)(count - 1);
    size_t low = (size_t)place;
    size_t high = low + 1 < count ? low + 1 : low;
    return value[low] + (place - (double)low) * (value[high] - value[low]);
}

/* A fiftieth of a level keeps a blank picture from having an excess. */
static double excess(const double step[8]) {
    double sorted[8];
    memcpy(sorted, step, sizeof sorted);
    (void)kb_quality_quantile(sorted, 8, 0.5);
    return (sorted[7] - sorted[3]) / (sorted[3] + 0.02);
}

static void find_blocks(struct sampling *s) {
    uint64_t columns[8] = {0}, rows = 0;
    for (int i = 0; i < 8; i++) {
        rows += s->rows[i];
        s->down[i] /= fmax(1.0, (double)s->rows[i] * s->grey->width);
    }
    for (int32_t x = 1; x < s->grey->width; x++) {
        s->across[x & 7] += s->step[x];
        columns[x & 7]++;
    }
    for (int i = 0; i < 8; i++) {
        s->across[i] /= fmax(1.0, (double)columns[i] * (double)rows);
    }
    /* true blocks show both ways; lines of one direction do not make them */
    bool large = s->grey->width >= 64 && s->grey->height >= 64;
    s->seen->blocks = large ? fmin(excess(s->across), excess(s->down)) : 0.0;
}

enum kb_status kb_quality_sample(const struct kb_image *grey, const struct kb_image *label,
                                 struct kb_seen *seen, struct kb_err *err) {
    struct sampling s = {.grey = grey, .label = label, .seen = seen};
    memset(seen, 0, sizeof *seen);
    s.answers = kb_alloc_zero(KB_PHASES, sizeof *s.answers);
    s.step = kb_alloc_zero((size_t)grey->width, sizeof *s.step);
    if (s.answers == NULL || s.step == NULL) {
        kb_free(s.answers);
        kb_free(s.step);
        return kb_fail_memory(err, KB_QUALITY_STAGE, sizeof *s.answers * KB_PHASES);
    }
    read_bands(&s);
    find_shares(seen);
    find_noise(&s);
    find_step(seen);
    find_blocks(&s);
    kb_free(s.answers);
    kb_free(s.step);
    return KB_OK;
}
