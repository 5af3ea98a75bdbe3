/* show_figure.c - how many digits a figure may show.
 *
 * Three significant digits, which is what a person takes in; but never beyond the second
 * significant digit of the interval's half-width (the habit of the GUM, JCGM 100:2008, 7.2.6: an
 * uncertainty carries at most two digits, the value is rounded to match), and never short of its
 * first, so that no interval looks empty. Where the interval is far wider than the value, the value
 * keeps two digits all the same: 87 is not 0. result.json keeps six digits.
 */
#include "report_priv.h"

#include <string.h>

enum {
    VALUE_DIGITS = 3,
    VALUE_LEAST = 2,
    MOST_DECIMALS = 4,
    LEAST_DECIMALS = -9,
    INTERVAL_DIGITS = 2
};

/* Decimals that keep `digits` significant digits of `value`; below 0: that many digits before the
 * point are rounded off. */
static int decimals_for(double value, int digits) {
    double size = fabs(value);
    if (!(size > 0.0) || !isfinite(size)) {
        return 1;
    }
    int decimals = digits - 1 - (int)floor(log10(size));
    return decimals < LEAST_DECIMALS  ? LEAST_DECIMALS
           : decimals > MOST_DECIMALS ? MOST_DECIMALS
                                      : decimals;
}

void kb_show_number(char *to, size_t size, double value, int decimals) {
    if (!isfinite(value)) {
        (void)snprintf(to, size, "–");
        return;
    }
    double step = pow(10.0, -decimals);
    if (fabs(value) < 0.5 * step) {
        value = 0.0; /* "-0.0" is no figure */
    }
    if (decimals < 0) {
        value = step * round(value / step);
    }
    (void)snprintf(to, size, "%.*f", decimals < 0 ? 0 : decimals, value);
}

int kb_show_decimals(double value) {
    return decimals_for(value, VALUE_DIGITS);
}

const char *kb_show_unit(const char *unit) {
    static const struct {
        const char *stage, *shown;
    } known[] = {
        {"1", "%"},     {"%", "%"},     {"um", "µm"},      {"1/mm2", "/mm²"},
        {"mm2", "mm²"}, {"um2", "µm²"}, {"1/mm3", "/mm³"}, {"1/mm", "/mm"},
    };
    for (size_t i = 0; unit != NULL && i < KB_COUNT_OF(known); i++) {
        if (strcmp(unit, known[i].stage) == 0) {
            return known[i].shown;
        }
    }
    return unit != NULL ? unit : "";
}

/* One end of an interval; one that is much longer than the value gets no more digits than it. */
static void show_end(char *to, size_t size, double end, double value, int decimals) {
    int most = decimals_for(end, VALUE_DIGITS);
    bool longer = fabs(end) > 10.0 * fabs(value) && most < 0 && most < decimals;
    kb_show_number(to, size, end, longer ? most : decimals);
}

struct kb_shown kb_show(const struct kb_estimate *estimate) {
    struct kb_shown shown = {0};
    bool fraction = estimate->unit != NULL && strcmp(estimate->unit, "1") == 0;
    shown.scale = fraction ? 100.0 : 1.0;
    shown.unit = kb_show_unit(estimate->unit);
    shown.measured = estimate->measured && isfinite(estimate->value);
    shown.has_interval = shown.measured && estimate->has_interval && isfinite(estimate->lo) &&
                         isfinite(estimate->hi);
    const double value = estimate->value * shown.scale;
    double half = 0.5 * (estimate->hi - estimate->lo) * shown.scale;
    /* an interval that is empty but for rounding says nothing of the digits */
    bool guided = shown.has_interval && half > 1e-9 * fabs(value);
    shown.decimals = decimals_for(value, VALUE_DIGITS);
    if (guided) {
        int most = decimals_for(half, INTERVAL_DIGITS), least = decimals_for(half, 1);
        int kept = decimals_for(value, VALUE_LEAST);
        kept = kept < 0 ? kept : 0; /* digits before the point only: after it the interval rules */
        most = most < kept ? kept : most;
        shown.decimals = shown.decimals > most    ? most
                         : shown.decimals < least ? least
                                                  : shown.decimals;
    }
    kb_show_number(shown.value, sizeof shown.value, value, shown.decimals);
    show_end(shown.low, sizeof shown.low, estimate->lo * shown.scale, value, shown.decimals);
    show_end(shown.high, sizeof shown.high, estimate->hi * shown.scale, value, shown.decimals);
    return shown;
}

double kb_relative_accuracy_percent(const struct kb_estimate *estimate) {
    if (!estimate->measured || !estimate->has_interval || !(fabs(estimate->value) > 0.0)) {
        return KB_NAN;
    }
    return 100.0 * 0.5 * (estimate->hi - estimate->lo) / fabs(estimate->value);
}
