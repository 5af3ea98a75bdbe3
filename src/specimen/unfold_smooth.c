/* unfold_smooth.c - from sections to spheres by expectation and maximisation, smoothed.
 *
 * Solving the triangular system (Schwartz, Saltykov) multiplies the noise of the counts, class by
 * class, and may give fewer than no spheres. The remedy has two parts.
 *
 * Expectation-maximisation: counts are Poisson, so each round multiplies the spheres of a class by
 * how much more sections were seen than they should give (Richardson 1972, Lucy 1974, Shepp &
 * Vardi 1982). The likelihood only rises, and no class falls below 0.
 *
 * Smoothing after each round, with the weights (1 2 1)/4 mixed in by a share 0..1, since a
 * distribution of nodule sizes is smoother than the noise: Silverman, Jones, Wilson & Nychka, J.
 * Royal Statistical Society B 52 (1990) 271, who made it for this problem. (Sources from memory.)
 *
 * Each class is solved in KB_UNFOLD_PARTS parts: with whole classes spheres would have to be even
 * over a class, and the number comes out some 4 % too high (1 % with parts; 500 sections,
 * log-normal diameters). In return the smoothing reaches a third as far.
 *
 * How much: the strongest of 1, 1/2, 1/4, 1/8, 1/16, 1/32 whose sections still agree with those
 * seen as well as counting noise would have it: Pearson's chi squared at most one a class (the
 * discrepancy principle). Where none agrees, the weakest is taken, and the misfit tells the reader.
 */
#include "specimen_priv.h"

static const double strongest = 1.0;
static const double weakest = 1.0 / 32.0;
/* Some hundred rounds settle it; with the weakest smoothing what is left to gain after 500 is far
 * below the noise. */
static const int most_rounds = 500;
/* Change of every class, relative to the largest, at which a solution has settled. */
static const double settled = 1e-5;

static void predict(const double *kernel, size_t bins, const double *spheres, double *sections) {
    for (size_t i = 0; i < bins; i++) {
        sections[i] = 0.0;
        for (size_t k = i; k < bins; k++) {
            sections[i] += kernel[i * bins + k] * spheres[k];
        }
    }
}

/* Multiply each class by the mean of seen over predicted, weighed by where its sections fall. */
static void expect(const double *kernel, size_t bins, const double *seen, double *spheres) {
    double ratio[KB_UNFOLD_BINS];
    predict(kernel, bins, spheres, ratio);
    for (size_t i = 0; i < bins; i++) {
        ratio[i] = ratio[i] > 0.0 ? seen[i] / ratio[i] : 0.0;
    }
    for (size_t k = 0; k < bins; k++) {
        double weight = 0.0;
        double sum = 0.0;
        for (size_t i = 0; i <= k; i++) {
            weight += kernel[i * bins + k];
            sum += kernel[i * bins + k] * ratio[i];
        }
        spheres[k] *= sum / weight;
    }
}

/* (1 2 1)/4 with the share `smoothing`; at either end what would leave stays. */
static void smooth(size_t bins, double smoothing, double *spheres) {
    double before = spheres[0];
    for (size_t k = 0; k < bins; k++) {
        double here = spheres[k];
        double after = k + 1 < bins ? spheres[k + 1] : here;
        spheres[k] = here + 0.25 * smoothing * (before - 2.0 * here + after);
        before = here;
    }
}

void kb_unfold_rounds(const double *kernel, size_t bins, const double *seen, double smoothing,
                      double *spheres) {
    for (int round = 0; round < most_rounds; round++) {
        double last[KB_UNFOLD_BINS];
        double change = 0.0;
        double largest = 0.0;
        for (size_t k = 0; k < bins; k++) {
            last[k] = spheres[k];
        }
        expect(kernel, bins, seen, spheres);
        smooth(bins, smoothing, spheres);
        for (size_t k = 0; k < bins; k++) {
            change = fmax(change, fabs(spheres[k] - last[k]));
            largest = fmax(largest, spheres[k]);
        }
        if (change <= settled * largest) {
            return;
        }
    }
}

/* Pearson's chi squared a class; `one` is what a single section weighs. */
static double misfit_of(const double *kernel, size_t bins, const double *seen, double one,
                        const double *spheres) {
    double expected[KB_UNFOLD_BINS];
    double sum = 0.0;
    predict(kernel, bins, spheres, expected);
    for (size_t i = 0; i + KB_UNFOLD_PARTS <= bins; i += KB_UNFOLD_PARTS) {
        double off = 0.0;
        double size = 0.0;
        for (size_t part = i; part < i + KB_UNFOLD_PARTS; part++) {
            off += seen[part] - expected[part];
            size += expected[part];
        }
        sum += size > 0.0 ? off * off / (size * one) : 0.0;
    }
    size_t classes = bins / KB_UNFOLD_PARTS;
    return sum / (double)classes;
}

double kb_unfold_smooth(const double *kernel, size_t bins, const double *seen, double one,
                        double *spheres, double *misfit) {
    double total = 0.0;
    double weight = 0.0;
    for (size_t i = 0; i < bins; i++) {
        total += seen[i];
        for (size_t k = i; k < bins; k++) {
            weight += kernel[i * bins + k];
        }
    }
    double smoothing = strongest;
    for (;;) {
        for (size_t k = 0; k < bins; k++) {
            spheres[k] = total / weight; /* an even start, of the right number in all */
        }
        kb_unfold_rounds(kernel, bins, seen, smoothing, spheres);
        *misfit = misfit_of(kernel, bins, seen, one, spheres);
        if (*misfit <= 1.0 || smoothing <= weakest) {
            return smoothing;
        }
        smoothing *= 0.5;
    }
}
