/* spacing.c - surface and spacing of the graphite from intercepts on test lines.
 *
 * With N_L graphite intercepts a length of line and V_V the graphite fraction: surface per volume
 * S_V = 4 N_L (2 P_L), mean intercept L3 = V_V / N_L = 4 V_V / S_V, mean free path (1 - V_V) / N_L,
 * mean spacing 1 / N_L from centre to centre along the line, which is the sum of the last two.
 * (Underwood, Quantitative Stereology, 1970; ASTM E1245; from memory, unverified.) No shape is
 * assumed. All graphite counts, also cut and small particles: a test line has no use for either
 * rule. Sums over the fields before dividing; the field is the sampling unit (ratio.c).
 */
#include "specimen_priv.h"

static const double um_per_mm = 1000.0;

static double length_of(const struct kb_field_figures *field) {
    return field->lines[KB_ALONG_ROWS].length_um + field->lines[KB_ALONG_COLUMNS].length_um;
}

static double intercepts_of(const struct kb_field_figures *field) {
    return 0.5 *
           (double)(field->lines[KB_ALONG_ROWS].crossing + field->lines[KB_ALONG_COLUMNS].crossing);
}

/* Length of line in graphite (or beside it) an intercept. */
static struct kb_estimate length_per_intercept(const struct kb_used *used, bool inside,
                                               bool beside) {
    for (size_t i = 0; i < used->count; i++) {
        double graphite = used->field[i]->fraction[KB_GRAPHITE];
        double share = (inside ? graphite : 0.0) + (beside ? 1.0 - graphite : 0.0);
        used->top[i] = share * length_of(used->field[i]);
        used->bottom[i] = intercepts_of(used->field[i]);
    }
    struct kb_estimate estimate =
        kb_estimate_ratio(used->top, used->bottom, used->count, 1.0, "um", 0.0, KB_INFINITY);
    if (!estimate.measured) {
        estimate.why = "no test line meets graphite";
    }
    return estimate;
}

static struct kb_estimate intercepts(const struct kb_used *used, double scale) {
    for (size_t i = 0; i < used->count; i++) {
        used->top[i] = intercepts_of(used->field[i]);
        used->bottom[i] = length_of(used->field[i]);
    }
    return kb_estimate_ratio(used->top, used->bottom, used->count, scale, "1/mm", 0.0, KB_INFINITY);
}

static struct kb_estimate intercepts_along(const struct kb_used *used, int direction) {
    for (size_t i = 0; i < used->count; i++) {
        used->top[i] = 0.5 * (double)used->field[i]->lines[direction].crossing;
        used->bottom[i] = used->field[i]->lines[direction].length_um;
    }
    return kb_estimate_ratio(used->top, used->bottom, used->count, um_per_mm, "1/mm", 0.0,
                             KB_INFINITY);
}

void kb_spacing_run(const struct kb_used *used, struct kb_spacing *out) {
    out->intercepts_per_mm = intercepts(used, um_per_mm);
    out->surface_per_mm = intercepts(used, 4.0 * um_per_mm);
    for (int direction = 0; direction < KB_LINE_DIRECTIONS; direction++) {
        out->along_per_mm[direction] = intercepts_along(used, direction);
    }
    out->mean_intercept_um = length_per_intercept(used, true, false);
    out->mean_free_path_um = length_per_intercept(used, false, true);
    out->mean_spacing_um = length_per_intercept(used, true, true);
}

void kb_spacing_miss(const char *why, struct kb_spacing *out) {
    out->intercepts_per_mm = out->surface_per_mm = kb_estimate_missing("1/mm", why);
    for (int direction = 0; direction < KB_LINE_DIRECTIONS; direction++) {
        out->along_per_mm[direction] = kb_estimate_missing("1/mm", why);
    }
    out->mean_intercept_um = out->mean_free_path_um = out->mean_spacing_um =
        kb_estimate_missing("um", why);
}
