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

static void count_answers(const struct kb_image *grey, const uint8_t *label, int32_t y,
                          struct answers *answers) {
    uint16_t answer[512]; /* a stretch of the row */
    const int32_t most = (int32_t)(sizeof answer / sizeof *answer);
    const int32_t inside = grey->width - 2;
    for (int32_t start = 0; start < inside; start += most) {
        int32_t count = inside - start < most ? inside - start : most;
        kb_noise_answers(kb_row(grey, y - 1) + start, kb_row(grey, y) + start,
                         kb_row(grey, y + 1) + start, count, answer);
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
    const int32_t step = kb_seg_row_step(grey, ROW_STEP);
    for (int32_t y = 1; y + 1 < grey->height; y += step) {
        count_answers(grey, kb_row(labels, y), y, &answers);
    }
    for (int i = 0; i < KB_PHASES; i++) {
        noise[i] = noise_of(answers.seen[i]);
    }
}

enum kb_status kb_seg_denoise(struct kb_seg *seg, struct kb_err *err) {
    double noise[KB_PHASES];
    kb_seg_noise(&seg->grey, &seg->map->label, noise);
    seg->noise = noise[KB_SEG_UNDECIDED];
    enum kb_status status = kb_median(&seg->grey, &seg->grey, err);
    if (status == KB_OK && seg->noise > NOISE_FOR_BINOMIAL) {
        status = kb_smooth(&seg->grey, &seg->grey, err);
    }
    return status;
}
