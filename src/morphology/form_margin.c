/* form_margin.c - how far a particle is from being of another form.
 *
 * kb_form_classify() is asked along each of its four figures in turn, the other three held,
 * outwards from the particle's own; where the answer changes, the place is closed in by halving.
 * The cuts stand in form.c only: whatever they are, this follows them. Changes of two figures
 * together are not looked for.
 */
#include "morphology_priv.h"

enum { FIGURES = 4, ASPECT = 2 };

/* No two changes of form lie closer along one figure: the forms' bands are wider. */
static const double step_of_shares = 0.01;
static const double step_of_aspect = 0.05;
static const double aspect_most = 20.0; /* twice as drawn out as the thinnest cut asks */
static const double precision = 1e-5;

static enum kb_form form_at(const double figure[FIGURES], int moved, double value) {
    double f[FIGURES] = {figure[0], figure[1], figure[2], figure[3]};
    f[moved] = value;
    return kb_form_classify(f[0], f[1], f[2], f[3]);
}

/* Distance to the first change beyond `from` towards `end`; infinite when there is none. */
static double change_towards(const double figure[FIGURES], int moved, double end) {
    const double from = figure[moved];
    const enum kb_form form = form_at(figure, moved, from);
    const double length = fabs(end - from);
    const double sign = end < from ? -1.0 : 1.0;
    const double step = moved == ASPECT ? step_of_aspect : step_of_shares;
    double same = 0.0;
    double other = 0.0;
    while (other < length && form_at(figure, moved, from + sign * other) == form) {
        same = other;
        other = fmin(other + step, length);
    }
    if (form_at(figure, moved, from + sign * other) == form) {
        return HUGE_VAL;
    }
    while (other - same > precision) {
        const double middle = 0.5 * (same + other);
        if (form_at(figure, moved, from + sign * middle) == form) {
            same = middle;
        } else {
            other = middle;
        }
    }
    return other;
}

double kb_form_margin(double shape_factor, double solidity, double aspect, double circularity,
                      const char **which) {
    static const char *const name[FIGURES] = {"shape factor", "solidity", "aspect", "circularity"};
    const double figure[FIGURES] = {shape_factor, solidity, aspect, circularity};
    double least = HUGE_VAL;
    const char *nearest = NULL;
    const bool sound =
        kb_form_classify(shape_factor, solidity, aspect, circularity) != KB_FORM_NONE;
    for (int i = 0; i < FIGURES && sound; i++) {
        const double low = i == ASPECT ? 1.0 : 0.0;
        const double high = i == ASPECT ? aspect_most : 1.0;
        const double down = figure[i] > low ? change_towards(figure, i, low) : HUGE_VAL;
        const double up = figure[i] < high ? change_towards(figure, i, high) : HUGE_VAL;
        const double margin = fmin(down, up);
        if (margin < least) {
            least = margin;
            nearest = name[i];
        }
    }
    if (which != NULL) {
        *which = nearest;
    }
    return nearest != NULL ? least : (double)NAN;
}
