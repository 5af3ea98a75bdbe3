/* prove_judge.c - the limits, and whether a row keeps them.
 *
 * The limits were set before the first run and are not fitted to results. No standard sets any for
 * software of this kind, so they are ours. For bias: half of the precision that `measure` wants of
 * a specimen by default is left to the software, rounded to a plain figure (phase fractions 1 point
 * of 2, nodularity 2 points of 5, count 3 % of 10). Repeatability r = 2.8 s_r (the difference that
 * two results exceed once in twenty; ISO 5725-6, from memory) must not exceed the bias allowed.
 * Turning the picture may take a fifth of it. Particles: from 8 pixels across the goals of the
 * sub-pixel outline; below, where an outline has few pixels to lean on, ten times to five times as
 * much.
 *
 * Coverage is judged for what a number of specimens can show: it fails only when so few or so many
 * hits are improbable (2.5 % on either side, exact binomial) for every coverage from 93 to 97 %.
 */
#include "prove.h"

#include <gsl/gsl_cdf.h>

static const char ours[] = "set by us beforehand";
static const char ours_fifth[] = "set by us beforehand: a fifth of the bias allowed";
static const char ours_repeat[] = "set by us beforehand: the bias allowed";
static const char ours_cover[] = "93 to 97 %, within the binomial error of the number of specimens";

/* Smallest particle, pixels across, that the sub-pixel goals are set for. */
static const double fine_px = 8.0;

static double bias_allowed(enum kb_prove_figure figure, bool fine) {
    switch (figure) {
    case KB_PROVE_GRAPHITE:
    case KB_PROVE_PEARLITE:
    case KB_PROVE_MATRIX:
        return 1.0; /* points */
    case KB_PROVE_NODULARITY:
        return 2.0; /* points */
    case KB_PROVE_COUNT:
    case KB_PROVE_COMPLETE:
        return 3.0; /* per cent */
    case KB_PROVE_AREA:
    case KB_PROVE_FERET:
        return fine ? 0.5 : 5.0; /* per cent */
    case KB_PROVE_PERIMETER:
        return fine ? 1.0 : 5.0; /* per cent */
    case KB_PROVE_SHAPE:
        return fine ? 0.01 : 0.05;
    case KB_PROVE_FIGURES:
        break;
    }
    return 0.0;
}

struct kb_prove_limit kb_prove_limit_of(enum kb_proof_kind kind, enum kb_prove_figure figure,
                                        double across_px) {
    const double allowed = bias_allowed(figure, !(across_px > 0.0) || across_px >= fine_px);
    switch (kind) {
    case KB_PROOF_REPEATABILITY:
        return (struct kb_prove_limit){0.0, allowed, ours_repeat};
    case KB_PROOF_TURNING:
        return (struct kb_prove_limit){0.0, 0.2 * allowed, ours_fifth};
    case KB_PROOF_COVERAGE:
        return (struct kb_prove_limit){93.0, 97.0, ours_cover};
    default:
        return (struct kb_prove_limit){-allowed, allowed, ours};
    }
}

bool kb_prove_covers(size_t hits, size_t trials, double low, double high) {
    const double tail = 0.025;
    if (trials == 0 || hits > trials) {
        return false;
    }
    unsigned n = (unsigned)trials, k = (unsigned)hits;
    double so_few = gsl_cdf_binomial_P(k, low, n);
    double so_many = k > 0 ? gsl_cdf_binomial_Q(k - 1, high, n) : 1.0;
    return so_few >= tail && so_many >= tail;
}

void kb_prove_judge(struct kb_proof_row *row) {
    if (row->refused > 0 || !isfinite(row->figure)) {
        row->passed = false;
    } else if (row->kind == KB_PROOF_COVERAGE) {
        row->passed = kb_prove_covers(row->hits, row->trials, 0.01 * row->low, 0.01 * row->high);
    } else {
        row->passed = row->figure >= row->low && row->figure <= row->high;
    }
}
