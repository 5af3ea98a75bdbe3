/* otsu.c - the exact multi-level threshold of a histogram.
 *
 * Otsu (IEEE Trans. Syst. Man Cybern. 9 (1979) 62): choose the cuts that make the between-class
 * variance largest. With prefix sums of counts and of level times count, the between-class variance
 * of a class is S^2 / N up to a constant, so two classes take 255 trials and three take 255 * 254 /
 * 2: exhaustive and exact, no search heuristics. A cut may lie anywhere in a gap of empty levels
 * without changing the classes; the middle of the gap is taken, so that mirroring the grey scale
 * mirrors the thresholds. Limits: the criterion likes classes of like size and like spread;
 * thresholds.c looks after that.
 */
#include "segmentation_priv.h"

#define LEVELS 256

struct prefix {
    double count[LEVELS + 1]; /* of levels below the index; exact below 2^53 */
    double sum[LEVELS + 1];
};

static void prefix_make(const uint64_t bins[LEVELS], struct prefix *prefix) {
    prefix->count[0] = prefix->sum[0] = 0.0;
    for (int i = 0; i < LEVELS; i++) {
        prefix->count[i + 1] = prefix->count[i] + (double)bins[i];
        prefix->sum[i + 1] = prefix->sum[i] + (double)bins[i] * (double)i;
    }
}

/* S^2 / N of levels first .. last; 0 for an empty class. */
static double class_term(const struct prefix *prefix, int first, int last) {
    double count = prefix->count[last + 1] - prefix->count[first];
    double sum = prefix->sum[last + 1] - prefix->sum[first];
    return count > 0.0 ? sum * sum / count : 0.0;
}

static double best_two(const struct prefix *prefix, int threshold[2]) {
    double best = -1.0;
    for (int t = 0; t < LEVELS - 1; t++) {
        double term = class_term(prefix, 0, t) + class_term(prefix, t + 1, LEVELS - 1);
        if (term > best) {
            best = term;
            threshold[0] = t;
        }
    }
    return best;
}

static double best_three(const struct prefix *prefix, int threshold[2]) {
    double best = -1.0;
    for (int t = 0; t < LEVELS - 2; t++) {
        double low = class_term(prefix, 0, t);
        for (int u = t + 1; u < LEVELS - 1; u++) {
            double term =
                low + class_term(prefix, t + 1, u) + class_term(prefix, u + 1, LEVELS - 1);
            if (term > best) {
                best = term;
                threshold[0] = t;
                threshold[1] = u;
            }
        }
    }
    return best;
}

/* The first of equal cuts stands at an occupied level; move it to the middle of the gap above it.
 */
static int middle_of_gap(const uint64_t bins[LEVELS], int threshold) {
    int high = threshold;
    while (high < LEVELS - 2 && bins[high + 1] == 0) {
        high++;
    }
    return threshold + (high - threshold) / 2;
}

static int levels_used(const uint64_t bins[LEVELS]) {
    int used = 0;
    for (int i = 0; i < LEVELS; i++) {
        used += bins[i] > 0;
    }
    return used;
}

static double total_square(const uint64_t bins[LEVELS]) {
    double square = 0.0;
    for (int i = 0; i < LEVELS; i++) {
        square += (double)bins[i] * (double)i * (double)i;
    }
    return square;
}

bool kb_otsu(const uint64_t bins[256], int classes, int threshold[2], double *separability) {
    *separability = 0.0;
    if (classes < 2 || classes > 3 || levels_used(bins) < classes) {
        return false;
    }
    struct prefix prefix;
    prefix_make(bins, &prefix);
    double best = classes == 2 ? best_two(&prefix, threshold) : best_three(&prefix, threshold);
    for (int i = 0; i < classes - 1; i++) {
        threshold[i] = middle_of_gap(bins, threshold[i]);
    }
    double mean_term = class_term(&prefix, 0, LEVELS - 1);
    *separability = (best - mean_term) / (total_square(bins) - mean_term);
    return true;
}
