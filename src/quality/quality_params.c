/* quality_params.c - names of the checks, and their limits.
 *
 * The limits stand where drawn fields of known truth, made worse one fault at a time, begin to be
 * measured wrongly: "unfit" before the share of a phase is off by 3 points or nodularity by 5,
 * "warn" where errors leave the level of the undisturbed field. tests/ladder makes the fields and
 * the charts. Where a fault does no harm on that ladder (a clipped matrix, say) the limit is common
 * practice, no published source. Pixels across the smallest particle: refs/feret_bias.csv; at 10
 * pixels the shape factor scatters by 0.03, at 5 by more than the classes of form are apart.
 */
#include "quality_priv.h"

struct check_fact {
    const char *name, *words;
    bool more_is_worse;
    double warn, unfit; /* KB_NO_LIMIT: none */
};

static const struct check_fact fact[KB_CHECKS] = {
    [KB_CHECK_FOCUS] = {"focus", "focus: width of phase edges, 10 to 90 % of the step", true, 0.30,
                        0.50},
    [KB_CHECK_LIGHT] = {"light", "light: unevenness of the illumination", true, 45.0, 100.0},
    [KB_CHECK_SATURATION] = {"saturation", "saturation: share of the field at the top level", true,
                             10.0, 60.0},
    [KB_CHECK_SHADOWS] = {"shadows", "shadows: share of the field at the bottom level", true, 5.0,
                          25.0},
    [KB_CHECK_GREY_LEVELS] = {"grey-levels", "grey levels that carry the picture", false, 48.0,
                              16.0},
    [KB_CHECK_BLOCKS] = {"blocks", "blocks: steps at the edges of JPEG blocks above the others",
                         true, 60.0, 200.0},
    [KB_CHECK_NOISE] = {"noise", "noise against the step between phases", true, 20.0, 45.0},
    [KB_CHECK_SCRATCHES] = {"scratches", "scratches: length of straight lines in the matrix", true,
                            4.0, 30.0},
    [KB_CHECK_PULL_OUT] = {"pull-out", "pull-out: graphite torn out or with comet tails", true, 8.0,
                           25.0},
    [KB_CHECK_ETCH_WEAK] = {"etch-weak", "etch: step from pearlite to ferrite over their spread",
                            false, 5.0, 4.4},
    [KB_CHECK_ETCH_STRONG] = {"etch-strong",
                              "etch: step from graphite to pearlite over their spread", false, 4.5,
                              3.2},
    [KB_CHECK_STAINS] = {"stains", "stains: share of the matrix in soft patches", true, 1.0, 2.0},
    [KB_CHECK_ETCH_FERRITE] = {"etch-ferrite",
                               "etch: unevenness of ferrite over its step to the next phase", true,
                               20.0, 30.0},
    [KB_CHECK_BOUNDARIES] = {"boundaries", "boundaries: width of the dark lines in ferrite", true,
                             1.1, 1.4},
    [KB_CHECK_RESOLUTION] = {"resolution",
                             "resolution: pixels across the smallest particle or region", false,
                             10.0, 5.0},
    [KB_CHECK_TOUCHING] = {"touching", "touching: share of graphite that may be parted wrongly",
                           true, 1.5, 4.0},
};

const char *kb_check_name(enum kb_check check) {
    return check >= 0 && check < KB_CHECKS ? fact[check].name : "unknown";
}

const char *kb_check_words(enum kb_check check) {
    return check >= 0 && check < KB_CHECKS ? fact[check].words : "unknown check";
}

bool kb_quality_more_is_worse(enum kb_check which) {
    return fact[which].more_is_worse;
}

const char *kb_fitness_name(enum kb_fitness fitness) {
    static const char *const name[] = {"fit", "usable", "not-fit"};
    return fitness >= KB_FIT && fitness <= KB_NOT_FIT ? name[fitness] : "unknown";
}

struct kb_quality_params kb_quality_params_default(enum kb_material material,
                                                   enum kb_contrast contrast) {
    struct kb_quality_params params = {.min_feret_um = 10.0, .grain_per_width = 3.0};
    for (int i = 0; i < KB_CHECKS; i++) {
        params.warn[i] = fact[i].warn;
        params.unfit[i] = fact[i].unfit;
    }
    if (contrast ==
        KB_LIGHT_UNETCHED) { /* stains a third darker than metal are far from graphite */
        params.warn[KB_CHECK_STAINS] = 2.0;
        params.unfit[KB_CHECK_STAINS] = 15.0;
    }
    (void)material;
    return params;
}

enum kb_status kb_quality_params_check(const struct kb_quality_params *p, struct kb_err *err) {
    if (!(p->min_feret_um >= 0.01 && p->min_feret_um <= 10000.0)) {
        return kb_fail(err, KB_E_USAGE, KB_QUALITY_STAGE, "min_feret_um",
                       "a smallest particle of %g um is out of range (give 0.01 to 10000 um)",
                       p->min_feret_um);
    }
    if (!(p->grain_per_width >= 1.0 && p->grain_per_width <= 20.0)) {
        return kb_fail(err, KB_E_USAGE, KB_QUALITY_STAGE, "grain_per_width",
                       "a grain of %g times the width of its scratch is out of range (give 1 to "
                       "20)",
                       p->grain_per_width);
    }
    for (int i = 0; i < KB_CHECKS; i++) {
        double warn = p->warn[i], unfit = p->unfit[i];
        if (!isfinite(warn) || !isfinite(unfit)) {
            return kb_fail(err, KB_E_USAGE, KB_QUALITY_STAGE, fact[i].name,
                           "a limit is not a number (give one, or %g for no limit)", KB_NO_LIMIT);
        }
        bool both = warn >= 0.0 && unfit >= 0.0;
        if (both && (fact[i].more_is_worse ? unfit < warn : unfit > warn)) {
            return kb_fail(err, KB_E_USAGE, KB_QUALITY_STAGE, fact[i].name,
                           "not fit at %g comes before the warning at %g (give them the other way "
                           "round)",
                           unfit, warn);
        }
    }
    return KB_OK;
}
