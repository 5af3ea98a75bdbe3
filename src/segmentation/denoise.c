/* denoise.c - how noisy a picture is, and the smoothing that follows from it.
 *
 * Noise: a mask that answers neither to planes nor to edges along rows or columns (1 -2 1 / -2 4 -2
 * / 1 -2 1; Immerkaer, Comput. Vis. Image Underst. 64 (1996) 300) is laid over every fourth row.
 * Its answer to noise of standard deviation s has standard deviation 6 s. Immerkaer takes the mean
 * magnitude; structure would raise that, so the lower quartile is taken instead: for normal noise
 * it is 0.3186 standard deviations, and the calmer half of the picture decides. Smoothing: the
 * median of 3 x 3 always (single pixels are never structure); the binomial of 3 x 3 on top where
 * the noise is more than a median alone should have to bear.
 */
#include "segmentation_priv.h"

#include <stdlib.h>
#include <string.h>

#define ROW_STEP 4
#define QUARTILE_PER_SIGMA (0.3186 * 6.0)
#define ANSWER_MOST 2048
/* Grey levels of 255: with more noise than this two classes 40 levels apart begin to touch. */
#define NOISE_FOR_BINOMIAL 5.0

static void answers_of_row(const struct kb_image *grey, const uint8_t *label,
                           const bool chosen[256], int32_t y, uint32_t seen[ANSWER_MOST]) {
    const uint8_t *a = kb_row(grey, y - 1);
    const uint8_t *b = kb_row(grey, y);
    const uint8_t *c = kb_row(grey, y + 1);
    for (int32_t x = 1; x + 1 < grey->width; x++) {
        int answer = a[x - 1] + a[x + 1] + c[x - 1] + c[x + 1] -
                     2 * (a[x] + b[x - 1] + b[x + 1] + c[x]) + 4 * b[x];
        seen[abs(answer)] += chosen[label[x]];
    }
}

double kb_seg_noise(const struct kb_image *grey, const struct kb_image *labels,
                    const bool chosen[256]) {
    uint32_t seen[ANSWER_MOST] = {0};
    uint64_t total = 0;
    for (int32_t y = 1; y + 1 < grey->height; y += ROW_STEP) {
        answers_of_row(grey, kb_row(labels, y), chosen, y, seen);
    }
    for (int i = 0; i < ANSWER_MOST; i++) {
        total += seen[i];
    }
    double wanted = 0.25 * (double)total;
    double below = 0.0;
    int i = 0;
    while (i < ANSWER_MOST - 1 && below + (double)seen[i] < wanted) {
        below += (double)seen[i++];
    }
    /* between levels: the quartile lies inside the bin */
    double part = seen[i] > 0 ? (wanted - below) / (double)seen[i] : 0.0;
    return i == 0 ? 0.0 : ((double)i - 0.5 + part) / QUARTILE_PER_SIGMA;
}

enum kb_status kb_seg_denoise(struct kb_seg *seg, struct kb_err *err) {
    bool measured[256];
    memset(measured, 1, sizeof measured);
    measured[KB_EXCLUDED] = false;
    seg->noise = kb_seg_noise(&seg->spare, &seg->map->label, measured);
    enum kb_status status = kb_median(&seg->spare, &seg->grey, err);
    if (status == KB_OK && seg->noise > NOISE_FOR_BINOMIAL) {
        struct kb_image median = seg->grey;
        status = kb_smooth(&median, &seg->spare, err);
        seg->grey = seg->spare;
        seg->spare = median;
    }
    return status;
}
