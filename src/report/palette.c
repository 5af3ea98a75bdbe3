/* palette.c - one look a phase, for the overlay and for the page.
 *
 * Chosen so that the phases of one picture differ in lightness by at least 12 of CIE L*, which
 * keeps them apart in grey print and for every kind of colour blindness, and, where two might still
 * be mistaken, by a hatch as well. The tint is weak: the micrograph must stay readable through it.
 */
#include "report_priv.h"

const struct kb_look *kb_phase_look(enum kb_phase phase) {
    static const struct kb_look look[KB_PHASES] = {
        [KB_EXCLUDED] = {{128, 128, 128}, 96, KB_HATCH_CROSS},
        [KB_GRAPHITE] = {{20, 50, 140}, 104, KB_HATCH_NONE},
        [KB_FERRITE] = {{252, 220, 120}, 92, KB_HATCH_NONE},
        [KB_PEARLITE] = {{192, 80, 60}, 76, KB_HATCH_RISING},
        [KB_CEMENTITE] = {{110, 200, 205}, 112, KB_HATCH_DOTS},
        [KB_MATRIX] = {{236, 226, 200}, 80, KB_HATCH_NONE},
        [KB_OTHER] = {{120, 60, 130}, 112, KB_HATCH_FALLING},
    };
    return &look[phase < KB_PHASES ? phase : KB_OTHER];
}
