/* unfold_kernel.c - what a plane shows of a sphere.
 *
 * A plane at random meets spheres of diameter D, N_V of them a volume, in N_V D sections an area;
 * of these, sections of diameter a to b number N_V (sqrt(D^2 - a^2) - sqrt(D^2 - b^2)) (Wicksell,
 * Biometrika 17 (1925) 84; from memory). Two tables over classes of diameter follow:
 *
 * - lumped: all spheres of a class have its upper bound as diameter, the assumption of Scheil,
 *   Schwartz and Saltykov. With bounds in even steps its inverse holds their coefficients, with
 *   bounds in the ratio 10^0.1 those of Saltykov's second method (refs/saltykov.csv);
 * - spread: spheres are spread evenly over their class; the integral over D is in closed form.
 *
 * Both are upper triangular: a sphere shows no section larger than itself.
 */
#include "specimen_priv.h"

static double half_chord(double diameter, double section) {
    return sqrt(fmax(diameter * diameter - section * section, 0.0));
}

/* Integral of sqrt(D^2 - section^2) over D, up to a constant; diameter >= section >= 0. */
static double chord_integral(double diameter, double section) {
    double root = half_chord(diameter, section);
    double square = section * section;
    return 0.5 * (diameter * root - (square > 0.0 ? square * log(diameter + root) : 0.0));
}

/* Mean of sqrt(D^2 - section^2) over D from `from` to `to`, section at most `from`, or 0 when it
 * is `to` or more. */
static double mean_chord(double from, double to, double section) {
    return section >= to
               ? 0.0
               : (chord_integral(to, section) - chord_integral(from, section)) / (to - from);
}

void kb_unfold_kernel(const double *bound, size_t bins, bool spread, double *kernel) {
    for (size_t section = 0; section < bins; section++) {
        for (size_t sphere = 0; sphere < bins; sphere++) {
            double from = bound[sphere];
            double to = bound[sphere + 1];
            double low = bound[section];
            double high = bound[section + 1];
            double *entry = &kernel[section * bins + sphere];
            if (sphere < section) {
                *entry = 0.0;
            } else if (spread) {
                *entry = mean_chord(from, to, low) - mean_chord(from, to, high);
            } else {
                *entry = half_chord(to, low) - half_chord(to, high);
            }
        }
    }
}

void kb_unfold_back(const double *kernel, size_t bins, const double *sections, double *spheres) {
    for (size_t i = bins; i-- > 0;) {
        double rest = sections[i];
        for (size_t k = i + 1; k < bins; k++) {
            rest -= kernel[i * bins + k] * spheres[k];
        }
        spheres[i] = rest / kernel[i * bins + i];
    }
}
