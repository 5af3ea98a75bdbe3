/* flake_letters.c - from figures to a degree of belief in each distribution A to E of ISO 945-1.
 *
 * The chart's pictures could not be had, and the standard itself gives no figures, so these curves
 * are ours. Each piece of evidence is a smooth step from 0 to 1 in one figure; the standard error
 * between fields widens the step, so that what the fields do not agree on counts for less:
 *
 *   parallel   order about 0.40        strings   voids about 0.30
 *   rosettes   radial index about 0.09    kish      share of plates about 0.12
 *
 *   A = none of the four      B = rosettes alone, strings or not   C = kish alone
 *   D = strings alone         E = parallel, strings strengthen it
 *
 * Tried on 60 drawn specimens of three fields (tests/specimen/test_flake_letters.c): none was
 * called by another letter; 49 by their own, 11 by none, most of these coarse A with fewer than 100
 * flakes. Drawn fields are cleaner than cast ones.
 *
 * The steps stand between the values of drawn fields of each letter (flake sizes of 1 : 3, seeds
 * that no test uses). What no product claims, and a fixed share that grows where flakes are few,
 * is "not told". No letter at all where the evidence is thin: see refuse().
 */
#include "flakes_priv.h"

#include <string.h>

/* The middle of a step and how wide it is. */
struct step {
    double middle, width;
    double unknown; /* what it is taken for where the figure is missing */
};
static const struct step parallel_step = {0.40, 0.05, 0.5};
static const struct step rosette_step = {0.09, 0.018, 0.15}; /* rosettes are of many fine flakes:
    where there are too few in a field to look for centres, they are not likely */
static const struct step kish_step = {0.12, 0.025, 0.5};
static const struct step string_step = {0.30, 0.06, 0.5};

/* A letter is told from this belief on. */
static const double enough = 0.7;
/* Fewer flakes in all show no pattern. */
static const size_t least_flakes = 100;
/* What remains untold at best, and the number of flakes at which it has doubled. */
static const double untold = 0.03;
static const double few_flakes = 100.0;
/* The figures speak of lamellar graphite: so much of it, and so little that is nodular. */
static const double least_lamellar = 0.5;
static const double most_nodular = 0.2;
/* Flakes thinner than this many pixels are seen in pieces. */
static const double least_thickness_px = 2.0;

static double step(const struct kb_estimate *figure, const struct step *step) {
    if (!figure->measured) {
        return step->unknown;
    }
    const double error =
        figure->n > 1 && isfinite(figure->s) ? figure->s / sqrt((double)figure->n) : 0.0;
    const double width = sqrt(step->width * step->width + error * error);
    return 1.0 / (1.0 + exp(-(figure->value - step->middle) / width));
}

static const char *refuse(double lamellar, double nodular, double px_um,
                          const struct kb_flake_distribution *out) {
    const struct kb_estimate *thickness = &out->figure[KB_FLAKE_THICKNESS];
    if (nodular > most_nodular || !(lamellar >= least_lamellar)) {
        return "the graphite is not mainly lamellar (form I)";
    }
    if (out->flakes < least_flakes) {
        return "fewer than 100 complete flakes";
    }
    if (!thickness->measured || !out->figure[KB_FLAKE_ORDER].measured ||
        !out->figure[KB_FLAKE_VOIDS].measured) {
        return "the fields are too small, or the flakes too close together for their pixels";
    }
    if (thickness->value < least_thickness_px * px_um) {
        return "the flakes are thinner than two pixels";
    }
    return NULL;
}

static void believe(struct kb_flake_distribution *out) {
    const double parallel = step(&out->figure[KB_FLAKE_ORDER], &parallel_step);
    const double rosettes = step(&out->figure[KB_FLAKE_RADIAL], &rosette_step);
    const double kish = step(&out->figure[KB_FLAKE_PLATES], &kish_step);
    const double strings = step(&out->figure[KB_FLAKE_VOIDS], &string_step);
    const double apart = (1.0 - rosettes) * (1.0 - kish);
    double *belief = out->belief;
    belief[KB_FLAKE_A] = (1.0 - parallel) * apart * (1.0 - strings);
    belief[KB_FLAKE_B] = (1.0 - parallel) * rosettes * (1.0 - kish);
    belief[KB_FLAKE_C] = (1.0 - parallel) * (1.0 - rosettes) * kish;
    belief[KB_FLAKE_D] = (1.0 - parallel) * apart * strings;
    belief[KB_FLAKE_E] = parallel * apart * (0.5 + 0.5 * strings);
    /* the products sum to at most 1: the rest is what they do not claim */
    const double fixed = untold * (1.0 + few_flakes / (double)out->flakes);
    double sum = 0.0;
    for (int i = 0; i < KB_FLAKE_LETTERS; i++) {
        belief[i] *= 1.0 - fixed;
        sum += belief[i];
    }
    out->not_told = 1.0 - sum;
}

static void tell(double lamellar, struct kb_flake_distribution *out) {
    /* form I is named where nearly all of the graphite is of it */
    static const double named = 0.8;
    int best = 0;
    for (int i = 1; i < KB_FLAKE_LETTERS; i++) {
        best = out->belief[i] > out->belief[best] ? i : best;
    }
    if (out->belief[best] < enough) {
        out->why = "no letter is believed enough: see the figures";
        return;
    }
    out->told = true;
    out->letter = (enum kb_flake_letter)best;
    if (lamellar >= named && out->size_class > 0) {
        (void)snprintf(out->designation, sizeof out->designation, "I %c %d", 'A' + best,
                       out->size_class);
    }
}

void kb_flake_letters_judge(double lamellar, double nodular, double px_um,
                            struct kb_flake_distribution *out) {
    out->not_told = 1.0;
    out->why = refuse(lamellar, nodular, px_um, out);
    if (out->why == NULL) {
        believe(out);
        tell(lamellar, out);
    }
}

/* ---- pooling ----------------------------------------------------------------------------------
 */

void kb_flakes_miss(const char *why, struct kb_flake_distribution *out) {
    *out = (struct kb_flake_distribution){.not_told = 1.0, .why = why};
    for (int i = 0; i < KB_FLAKE_MEASURES; i++) {
        out->figure[i] = kb_estimate_missing(kb_flake_measure_unit((enum kb_flake_measure)i), why);
    }
}

static double least_of(enum kb_flake_measure measure) {
    return measure == KB_FLAKE_RADIAL ? -KB_INFINITY : 0.0;
}

static double most_of(enum kb_flake_measure measure) {
    return measure == KB_FLAKE_ORDER || measure == KB_FLAKE_PLATES ? 1.0 : KB_INFINITY;
}

static void pool_measure(const struct kb_used *used, enum kb_flake_measure measure,
                         struct kb_estimate *out) {
    size_t n = 0;
    for (size_t i = 0; i < used->count; i++) {
        const struct kb_flake_figures *flakes = &used->field[i]->flakes;
        if (flakes->looked && isfinite(flakes->value[measure])) {
            used->top[n++] = flakes->value[measure];
        }
    }
    if (n > 0) {
        *out = kb_estimate_mean(used->top, n, kb_flake_measure_unit(measure), least_of(measure),
                                most_of(measure));
    }
}

static const char *bar_words(enum kb_flake_bar bar) {
    static const char *const words[KB_FLAKE_BARS] = {
        "", "pixel size unknown", "no graphite in these fields",
        "flakes lie too close together for this pixel size"};
    return words[bar];
}

void kb_flakes_run(const struct kb_used *used, enum kb_material material,
                   struct kb_specimen *specimen) {
    struct kb_flake_distribution *out = &specimen->distribution;
    kb_flakes_miss(material == KB_GREY_IRON ? "not measured in these fields"
                                            : "the distribution is told of flake graphite only",
                   out);
    if (material != KB_GREY_IRON) {
        return;
    }
    double longest = 0.0, px_um = 0.0;
    enum kb_flake_bar bar = KB_FLAKE_NO_BAR;
    for (size_t i = 0; i < used->count; i++) {
        const struct kb_flake_figures *flakes = &used->field[i]->flakes;
        if (!flakes->looked) {
            continue;
        }
        out->fields++;
        out->flakes += flakes->flakes;
        longest = fmax(longest, flakes->longest_um); /* fmax passes over NaN */
        px_um = fmax(px_um, used->field[i]->px_um);
        bar = flakes->bar != KB_FLAKE_NO_BAR ? flakes->bar : bar;
    }
    if (out->fields == 0) {
        return;
    }
    for (int i = 0; i < KB_FLAKE_MEASURES; i++) {
        pool_measure(used, (enum kb_flake_measure)i, &out->figure[i]);
        if (!out->figure[i].measured && bar != KB_FLAKE_NO_BAR) {
            out->figure[i].why = bar_words(bar);
        }
    }
    out->size_class = kb_size_class(longest);
    const struct kb_estimate *form = specimen->form_area_percent;
    kb_flake_letters_judge(0.01 * form[KB_FORM_I].value,
                           0.01 * (form[KB_FORM_V].value + form[KB_FORM_VI].value), px_um, out);
}

/* ---- words ------------------------------------------------------------------------------------
 */

static const struct {
    const char *name, *unit, *words, *tells;
} measures[KB_FLAKE_MEASURES] = {
    [KB_FLAKE_FERET] = {"feret_um", "um", "flake length, maximum Feret diameter, by area",
                        "fine: B, D, E; coarse: A, C"},
    [KB_FLAKE_LENGTH] = {"length_um", "um", "flake length along the flake, by area",
                         "fine: B, D, E; coarse: A, C"},
    [KB_FLAKE_THICKNESS] = {"thickness_um", "um", "flake thickness, 2 area / outline",
                            "fine: D, E; thick: C"},
    [KB_FLAKE_SPACING] = {"spacing_um", "um", "mean free path between flakes",
                          "narrow: D, E; wide: A"},
    [KB_FLAKE_VOIDS] = {"voids", "", "graphite-free places, over those left by chance",
                        "high: D, E, B; low: A, C"},
    [KB_FLAKE_ORDER] = {"order", "", "order of directions, 0 none to 1 parallel", "high: E"},
    [KB_FLAKE_RADIAL] = {"radial", "", "flakes pointing to common centres, 0 by chance", "high: B"},
    [KB_FLAKE_MIDDLE] = {"middle", "", "outline about those centres, over that around", "high: B"},
    [KB_FLAKE_PLATES] = {"plates", "1", "share of graphite in long thick straight plates",
                         "high: C"},
};

const char *kb_flake_measure_name(enum kb_flake_measure measure) {
    return (unsigned)measure < KB_FLAKE_MEASURES ? measures[measure].name : "unknown";
}

const char *kb_flake_measure_words(enum kb_flake_measure measure) {
    return (unsigned)measure < KB_FLAKE_MEASURES ? measures[measure].words : "unknown";
}

const char *kb_flake_measure_unit(enum kb_flake_measure measure) {
    return (unsigned)measure < KB_FLAKE_MEASURES ? measures[measure].unit : "1";
}

const char *kb_flake_measure_tells(enum kb_flake_measure measure) {
    return (unsigned)measure < KB_FLAKE_MEASURES ? measures[measure].tells : "";
}

const char *kb_flake_letter_name(enum kb_flake_letter letter) {
    static const char *const names[KB_FLAKE_LETTERS] = {"A", "B", "C", "D", "E"};
    return (unsigned)letter < KB_FLAKE_LETTERS ? names[letter] : "-";
}

const char *kb_flake_letter_words(enum kb_flake_letter letter) {
    static const char *const words[KB_FLAKE_LETTERS] = {
        "evenly spread, random directions", "rosettes", "kish beside small flakes",
        "between dendrites, random directions", "between dendrites, one direction"};
    return (unsigned)letter < KB_FLAKE_LETTERS ? words[letter] : "unknown";
}
