/* denoise.c - how noisy a picture is, and the smoothing that follows from it.
 *
 * Noise: a mask that answers neither to planes nor to edges along rows or columns (1 -2 1 / -2 4 -2
 * / 1 -2 1; Immerkaer, Comput. Vis. Image Underst. 64 (1996) 300) is laid over every fourth row or
 * fewer. Its answer to noise of standard deviation s has standard deviation 6 s. Immerkaer takes
 * the mean magnitude; structure would raise that, so the lower quartile is taken instead: for
 * normal noise it is 0.3186 standard deviations, and the calmer half of the picture decides.
 * Smoothing: the median of 3 x 3 always (single pixels are never structure); the binomial of 3 x 3
 * on top where the noise is more than a median alone should have to bear.
 */
#include "segmentation_priv.h"

#define ROW_STEP 4 /* at least */
#define QUARTILE_PER_SIGMA (0.3186 * 6.0)
/* Grey levels of 255: with more noise than this two classes 40 levels apart begin to touch. */
#define NOISE_FOR_BINOMIAL 5.0

/* By label and answer. */
struct answers {
    uint32_t seen[KB_PHASES][KB_NOISE_ANSWERS];
};

static void count_answers(const uint8_t *up, const uint8_t *mid, const uint8_t *down,
                          const uint8_t *label, int32_t width, struct answers *answers) {
    uint16_t answer[512]; /* a stretch of the row */
    const int32_t most = (int32_t)(sizeof answer / sizeof *answer);
    for (int32_t start = 0; start < width - 2; start += most) {
        int32_t count = width - 2 - start < most ? width - 2 - start : most;
        kb_noise_answers(up + start, mid + start, down + start, count, answer);
        for (int32_t x = 0; x < count; x++) {
            answers->seen[label[start + x + 1]][answer[x]]++;
        }
    }
}

static double noise_of(const uint32_t seen[KB_NOISE_ANSWERS]) {
    uint64_t total = 0;
    for (int i = 0; i < KB_NOISE_ANSWERS; i++) {
        total += seen[i];
    }
    double wanted = 0.25 * (double)total;
    double below = 0.0;
    int i = 0;
    while (i < KB_NOISE_ANSWERS - 1 && below + (double)seen[i] < wanted) {
        below += (double)seen[i++];
    }
    /* between levels: the quartile lies inside the bin */
    double part = seen[i] > 0 ? (wanted - below) / (double)seen[i] : 0.0;
    return i == 0 ? 0.0 : ((double)i - 0.5 + part) / QUARTILE_PER_SIGMA;
}

void kb_seg_noise(const struct kb_image *grey, const struct kb_image *labels,
                  double noise[KB_PHASES]) {
    struct answers answers = {{{0}}};
    const int32_t step = kb_seg_row_step(grey, KB_SEG_PLACES, ROW_STEP);
    for (int32_t y = 1; y + 1 < grey->height; y += step) {
        count_answers(kb_row(grey, y - 1), kb_row(grey, y), kb_row(grey, y + 1), kb_row(labels, y),
                      grey->width, &answers);
    }
    for (int i = 0; i < KB_PHASES; i++) {
        noise[i] = noise_of(answers.seen[i]);
    }
}

/* Three rows of the evened field, row y in row[y % 3]; and scratch of the median. */
struct evened {
    uint8_t *row[3], *scratch;
};

/* The same on the evened field, of the pixels that are not classified yet. */
static double evened_noise(const struct kb_seg *seg, const struct evened *evened) {
    struct answers answers = {{{0}}};
    const struct kb_image *grey = &seg->field->grey;
    const int32_t step = kb_seg_row_step(grey, KB_SEG_PLACES / 2, ROW_STEP);
    for (int32_t y = 1; y + 1 < grey->height; y += step) {
        for (int32_t i = y - 1; i <= y + 1; i++) {
            kb_seg_even_row(seg, i, evened->row[i % 3]);
        }
        count_answers(evened->row[(y - 1) % 3], evened->row[y % 3], evened->row[(y + 1) % 3],
                      kb_row(&seg->map->label, y), grey->width, &answers);
    }
    return noise_of(answers.seen[KB_SEG_UNDECIDED]);
}

/* Evened and filtered row by row: the evened field itself is never written. */
static void evened_median(struct kb_seg *seg, const struct evened *evened) {
    const int32_t last = seg->grey.height - 1;
    kb_seg_even_row(seg, 0, evened->row[0]);
    for (int32_t y = 0; y <= last; y++) {
        if (y < last) {
            kb_seg_even_row(seg, y + 1, evened->row[(y + 1) % 3]);
        }
        const uint8_t *mid = evened->row[y % 3];
        const uint8_t *up = y > 0 ? evened->row[(y - 1) % 3] : mid;
        const uint8_t *down = y < last ? evened->row[(y + 1) % 3] : mid;
        kb_median_row(up, mid, down, seg->grey.width, evened->scratch, kb_row(&seg->grey, y));
    }
}

enum kb_status kb_seg_denoise(struct kb_seg *seg, struct kb_err *err) {
    const size_t width = (size_t)seg->grey.width;
    uint8_t *block = kb_alloc(3 * width + 3 * (width + 2), 1);
    if (block == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, 3 * width + 3 * (width + 2));
    }
    const struct evened evened = {{block, block + width, block + 2 * width}, block + 3 * width};
    seg->noise = evened_noise(seg, &evened);
    evened_median(seg, &evened);
    kb_free(block);
    seg->noise_is_strong = seg->noise > NOISE_FOR_BINOMIAL;
    return seg->noise_is_strong ? kb_smooth(&seg->grey, &seg->grey, err) : KB_OK;
}
