/* recut.c - the threshold in the matrix, once regions have shown what the histogram did not.
 *
 * A few per cent of pearlite in ferrite make no hill, and the first threshold stands where the hill
 * of ferrite has certainly ended: good enough to find solid regions, too near to the ferrite for
 * their borders, since a blurred border should be cut half way. The regions found have a grey of
 * their own: the median of their pixels. The threshold goes half way between that and the hill.
 */
#include "segmentation_priv.h"

#include <string.h>

/* Below this share of the matrix a few regions are dirt, and no median. */
#define SECOND_LEAST 0.002

static int class_of_second(const struct kb_seg *seg) {
    int pearlite = seg->scheme.pearlite;
    int plain = seg->scheme.classes == 3 ? 3 - pearlite : 1 - pearlite;
    return seg->main_is_pearlite ? plain : pearlite;
}

bool kb_seg_second_found(const struct kb_seg *seg) {
    const uint64_t *pixels = seg->map->figures.pixels;
    double matrix = (double)pixels[KB_PEARLITE] + (double)pixels[seg->scheme.plain];
    int second = class_of_second(seg);
    double found = (double)pixels[seg->scheme.phase[second]];
    int cut = seg->scheme.classes - 2;
    return seg->map->figures.origin[cut] == KB_THRESHOLD_FOUND && found > SECOND_LEAST * matrix &&
           found < 0.5 * matrix;
}

static int median_level(const uint64_t bins[256]) {
    double total = 0.0;
    for (int i = 0; i < 256; i++) {
        total += (double)bins[i];
    }
    double seen = 0.0;
    int level = 0;
    while (level < 255 && seen + (double)bins[level] < 0.5 * total) {
        seen += (double)bins[level++];
    }
    return level;
}

enum kb_status kb_seg_recut(struct kb_seg *seg, struct kb_err *err) {
    (void)err;
    int second = class_of_second(seg);
    int cut = seg->scheme.classes - 2;
    bool chosen[256] = {false};
    uint64_t bins[256];
    chosen[seg->scheme.phase[second]] = true;
    kb_histogram(&seg->grey, &seg->map->label, chosen, bins);
    int level = median_level(bins);
    int least = cut > 0 ? seg->threshold[0] + 1 : 0;
    int other = second == cut ? cut + 1 : cut;
    int half = (int)(0.5 * ((double)level + seg->class_level[other]));
    seg->class_level[second] = (double)level;
    seg->threshold[cut] = half > least ? half : least;
    kb_seg_threshold_figures(seg);
    return KB_OK;
}
