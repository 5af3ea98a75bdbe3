/* form.c - ISO 945-1 form of a particle from four shape figures.
 *
 * No standard gives figures for all six forms; the shape factor alone cannot tell them, since some
 * outlines of forms III and IV in ISO 945-1 reach 0.6 and some of form V do not. These cuts are
 * ours, common practice behind them, no published source except where named:
 *
 *   spheroidal  shape factor >= 0.525 (lowest class of ISO 16112 above compacted, from memory),
 * solid outline and not ragged. Of these VI, regular: shape factor >= 0.625 (ISO 16112's nodule,
 * from memory) and an even outline; V the rest. An ellipse of axes 1 : 0.6 is V, of 1 : 0.65 VI; a
 * square is V. I lamellar  thinner than 1 : 10, which a straight stroke shows as circularity below
 * 0.28, and either drawn out or, as curled flakes and networks are, nearly empty in its hull III
 * drawn out at least 1 : 2 and thicker than a flake: compacted graphite, and ovals too long to be
 * spheroidal II crab     compact in its length but more than a third of the hull is empty: spikes
 *   IV          what is left: compact, ragged; temper carbon, degenerate nodules
 *
 * Limit: a worm curled into a ring cannot be told from a crab by these figures.
 */
#include "morphology_priv.h"

#include <string.h>

static const double spheroidal_shape = 0.525;
static const double spheroidal_solidity = 0.88;
static const double spheroidal_circularity = 0.55;
static const double regular_shape = 0.625;
static const double regular_solidity = 0.92;
static const double regular_circularity = 0.80; /* just above the pi / 4 of a square */
static const double flake_circularity = 0.28;   /* a stroke of length to width 10 with round ends */
static const double flake_solidity = 0.40;
static const double long_aspect = 2.0;
static const double crab_solidity = 0.66;

enum kb_form kb_form_classify(double shape_factor, double solidity, double aspect,
                              double circularity) {
    if (!isfinite(shape_factor) || !isfinite(solidity) || !isfinite(aspect) ||
        !isfinite(circularity)) {
        return KB_FORM_NONE;
    }
    if (shape_factor >= spheroidal_shape && solidity >= spheroidal_solidity &&
        circularity >= spheroidal_circularity) {
        bool regular = shape_factor >= regular_shape && solidity >= regular_solidity &&
                       circularity >= regular_circularity;
        return regular ? KB_FORM_VI : KB_FORM_V;
    }
    if (circularity < flake_circularity && (aspect >= long_aspect || solidity < flake_solidity)) {
        return KB_FORM_I;
    }
    if (aspect >= long_aspect) {
        return KB_FORM_III;
    }
    return solidity < crab_solidity ? KB_FORM_II : KB_FORM_IV;
}

const char *kb_form_roman(enum kb_form form) {
    static const char *const roman[KB_FORMS] = {"-", "I", "II", "III", "IV", "V", "VI"};
    return (unsigned)form < KB_FORMS ? roman[form] : "-";
}

bool kb_form_parse(const char *roman, enum kb_form *form) {
    for (int i = KB_FORM_I; i < KB_FORMS; i++) {
        if (strcmp(roman, kb_form_roman((enum kb_form)i)) == 0) {
            *form = (enum kb_form)i;
            return true;
        }
    }
    return false;
}

bool kb_form_is_nodule(enum kb_form form) {
    return form == KB_FORM_V || form == KB_FORM_VI;
}

const char *kb_form_words(enum kb_form form) {
    static const char *const words[KB_FORMS] = {
        "not classified",         "lamellar (flake)",          "crab (spiky)",
        "vermicular (compacted)", "irregular (temper carbon)", "slightly irregular spheroidal",
        "regular spheroidal",
    };
    return (unsigned)form < KB_FORMS ? words[form] : words[KB_FORM_NONE];
}
