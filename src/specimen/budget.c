/* budget.c - how sure a figure is when more than the spread between fields is known.
 *
 * Parts, independent of each other, as JCGM 100:2008 (GUM) adds them: u^2 = sum u_i^2, effective
 * degrees of freedom by Welch and Satterthwaite, rounded down, interval by Student's t (5.1.2,
 * G.4.1; from memory, unverified).
 *   fields      the figure's own interval, each side of it over Student's factor (type A);
 *   pixel size  a relative error e goes once into lengths and intercepts, twice into counts per
 *               area, not at all into ratios of areas or shape factors (type B, no limit of
 *               freedom). What it does to the least size that counts is of second order: left out;
 *   thresholds  the true ones lie anywhere within the step: rectangular, half the difference
 *               between both ends over the square root of 3 (4.3.7). The difference from end to
 *               end, since thresholds given by hand switch off choices that found ones leave open.
 * The size of a pixel itself makes no part: where it rounds a border is chance, different for every
 * particle, and already in the spread between fields.
 *
 * With two to four fields a small part more can make the Welch-Satterthwaite interval narrower than
 * that of the fields alone, since t falls faster than u grows. To know of one more error must not
 * flatter: the interval of the fields is the least.
 */
#include "specimen_priv.h"

#include <stddef.h>

static const char why_scale[] = "not stated";
static const char why_step[] = "not stated";
static const char why_moved[] = "not known: some field could not be measured with moved thresholds";
static const char why_one[] = "not known: one field shows no spread";

static const char method_both[] =
    "combined from fields, pixel size and thresholds after the GUM; 95 % interval by Student's t";
static const char method_scale[] =
    "combined from fields and pixel size after the GUM; 95 % interval by Student's t";
static const char method_step[] =
    "combined from fields and thresholds after the GUM; 95 % interval by Student's t";

const char *kb_budget_source_name(enum kb_budget_source source) {
    static const char *const name[KB_U_SOURCES] = {"fields", "pixel_size", "thresholds"};
    return (unsigned)source < KB_U_SOURCES ? name[source] : "unknown";
}

double kb_u_combine(const double *u, const double *freedom, size_t n, double *effective_freedom) {
    double square = 0.0;
    double weighted = 0.0; /* INFINITY as freedom adds nothing */
    for (size_t i = 0; i < n; i++) {
        square += u[i] * u[i];
    }
    for (size_t i = 0; i < n && square > 0.0; i++) {
        double share = u[i] * u[i] / square; /* no overflow, whatever the unit */
        weighted += share * share / freedom[i];
    }
    *effective_freedom = weighted > 0.0 ? 1.0 / weighted : KB_INFINITY;
    return sqrt(square);
}

/* ---- the figures of a specimen ---- */

/* Where a figure stands in struct kb_specimen, and how often the scale error goes into it. */
struct figure {
    const char *quantity; /* of its budget; NULL: widened without one */
    size_t offset;
    int scale_power;
};
#define AT(member) offsetof(struct kb_specimen, member)

static const struct figure figures[] = {
    {"nodularity", AT(nodularity_percent[KB_NOD_ISO945_4]), 0},
    {"nodularity_e2567", AT(nodularity_percent[KB_NOD_E2567]), 0},
    {"nodularity_iso16112", AT(nodularity_percent[KB_NOD_ISO16112]), 0},
    {"nodularity_by_count", AT(nodularity_by_count_percent), 0},
    {"nodules_per_mm2", AT(nodules_per_mm2), 2},
    {"mean_feret_um", AT(mean_feret_um), 1},
    {"graphite", AT(phase[KB_GRAPHITE]), 0},
    {"ferrite", AT(phase[KB_FERRITE]), 0},
    {"pearlite", AT(phase[KB_PEARLITE]), 0},
    {"pearlite_of_matrix", AT(pearlite_of_matrix), 0},
    {"other_of_matrix", AT(other_of_matrix), 0},
    {"cementite", AT(phase[KB_CEMENTITE]), 0},
    {NULL, AT(phase[KB_MATRIX]), 0},
    {NULL, AT(phase[KB_OTHER]), 0},
    {NULL, AT(nodularity_framed_percent), 0},
    {NULL, AT(form_area_percent[KB_FORM_I]), 0},
    {NULL, AT(form_area_percent[KB_FORM_II]), 0},
    {NULL, AT(form_area_percent[KB_FORM_III]), 0},
    {NULL, AT(form_area_percent[KB_FORM_IV]), 0},
    {NULL, AT(form_area_percent[KB_FORM_V]), 0},
    {NULL, AT(form_area_percent[KB_FORM_VI]), 0},
    {NULL, AT(nodule_count_per_mm2[KB_COUNT_INSIDE]), 2},
    {NULL, AT(nodule_count_per_mm2[KB_COUNT_HALF_CUT]), 2},
    {NULL, AT(nodule_count_per_mm2[KB_COUNT_TWO_EDGES]), 2},
    {NULL, AT(nodule_count_per_mm2[KB_COUNT_WEIGHTED]), 2},
    {NULL, AT(graphite_count_per_mm2[KB_COUNT_INSIDE]), 2},
    {NULL, AT(graphite_count_per_mm2[KB_COUNT_HALF_CUT]), 2},
    {NULL, AT(graphite_count_per_mm2[KB_COUNT_TWO_EDGES]), 2},
    {NULL, AT(graphite_count_per_mm2[KB_COUNT_WEIGHTED]), 2},
    {NULL, AT(spacing.intercepts_per_mm), 1},
    {NULL, AT(spacing.along_per_mm[KB_ALONG_ROWS]), 1},
    {NULL, AT(spacing.along_per_mm[KB_ALONG_COLUMNS]), 1},
    {NULL, AT(spacing.surface_per_mm), 1},
    {NULL, AT(spacing.mean_intercept_um), 1},
    {NULL, AT(spacing.mean_free_path_um), 1},
    {NULL, AT(spacing.mean_spacing_um), 1},
};

static const struct kb_estimate *figure_of(const struct kb_specimen *specimen,
                                           const struct figure *figure) {
    return (const struct kb_estimate *)(const void *)((const char *)specimen + figure->offset);
}

/* The most that a figure of this unit can be. */
static double most_of(const struct kb_estimate *value) {
    if (value->unit[0] == '%') {
        return 100.0;
    }
    return value->unit[0] == '1' && value->unit[1] == '\0' ? 1.0 : KB_INFINITY;
}

/* ---- parts ---- */

static struct kb_budget_line unknown(const char *why) {
    return (struct kb_budget_line){false, KB_NAN, KB_NAN, KB_NAN, why};
}

/* Standard uncertainty of one side of the interval. Where that was cut at a bound its length says
 * too little, and the spread between fields is the least. */
static double side(const struct kb_estimate *value, double length, bool cut) {
    double u = length / kb_student_95(value->n);
    return cut ? fmax(u, value->s / sqrt((double)value->n)) : u;
}

static double side_below(const struct kb_estimate *value) {
    return side(value, value->value - value->lo, !(value->lo > 0.0));
}

static double side_above(const struct kb_estimate *value) {
    return side(value, value->hi - value->value, !(value->hi < most_of(value)));
}

static bool has_spread(const struct kb_estimate *value) {
    return value->has_interval && value->n > 1;
}

static struct kb_budget_line from_fields(const struct kb_estimate *value) {
    if (!has_spread(value)) {
        return unknown(why_one);
    }
    double u = 0.5 * (side_below(value) + side_above(value));
    return (struct kb_budget_line){true, u, (double)(value->n - 1), KB_NAN, NULL};
}

static struct kb_budget_line from_scale(const struct kb_estimate *value, int power,
                                        const struct kb_beyond_fields *beyond) {
    if (!(beyond->scale_u > 0.0)) {
        return unknown(why_scale);
    }
    double u = (double)power * beyond->scale_u * fabs(value->value);
    return (struct kb_budget_line){true, u, KB_INFINITY, KB_NAN, NULL};
}

static struct kb_budget_line from_thresholds(const struct figure *figure,
                                             const struct kb_beyond_fields *beyond,
                                             double *per_level) {
    *per_level = KB_NAN;
    if (!(beyond->threshold_step > 0.0)) {
        return unknown(why_step);
    }
    if (beyond->lower == NULL || beyond->higher == NULL) {
        return unknown(why_moved);
    }
    const struct kb_estimate *low = figure_of(beyond->lower, figure);
    const struct kb_estimate *high = figure_of(beyond->higher, figure);
    if (!low->measured || !high->measured) {
        return unknown(why_moved);
    }
    double change = high->value - low->value;
    *per_level = change / (2.0 * beyond->threshold_step);
    return (struct kb_budget_line){true, 0.5 * fabs(change) / sqrt(3.0), KB_INFINITY, KB_NAN, NULL};
}

/* ---- the whole ---- */

/* Rounded down, and a hair more first: rounding must not take a whole degree of freedom. */
static double whole_freedom(double freedom) {
    return isfinite(freedom) ? floor(freedom * (1.0 + 1e-12)) : freedom;
}

double kb_half_length(double u_fields, double u_other, size_t n, double *freedom,
                      double *combined) {
    const double u[] = {u_fields, u_other};
    const double parts[] = {(double)(n - 1), KB_INFINITY};
    *combined = kb_u_combine(u, parts, 2, freedom);
    return fmax(kb_student_factor(whole_freedom(*freedom)) * *combined,
                kb_student_95(n) * u_fields);
}

static void combine(struct kb_budget *budget) {
    const struct kb_estimate *value = &budget->value;
    double other = 0.0;
    for (int i = KB_U_SCALE; i < KB_U_SOURCES; i++) {
        other += budget->line[i].stated ? budget->line[i].u * budget->line[i].u : 0.0;
    }
    budget->u = budget->freedom = budget->factor = budget->expanded = KB_NAN;
    if (!has_spread(value)) {
        return;
    }
    budget->expanded = kb_half_length(budget->line[KB_U_FIELDS].u, sqrt(other), value->n,
                                      &budget->freedom, &budget->u);
    budget->factor = budget->u > 0.0 ? budget->expanded / budget->u : KB_NAN;
    for (int i = 0; i < KB_U_SOURCES && budget->u > 0.0; i++) {
        double part = budget->line[i].u / budget->u;
        budget->line[i].share = budget->line[i].stated ? part * part : KB_NAN;
    }
}

/* Widen the interval by what the fields do not show; each side from its own length. */
static void widen(const struct kb_budget *budget, struct kb_estimate *value) {
    const struct kb_budget_line *scale = &budget->line[KB_U_SCALE];
    const struct kb_budget_line *step = &budget->line[KB_U_THRESHOLD];
    double other = hypot(scale->stated ? scale->u : 0.0, step->stated ? step->u : 0.0);
    bool scale_counts = scale->stated && scale->u > 0.0;
    if (!has_spread(value) || !(other > 0.0)) {
        return;
    }
    double freedom = 0.0;
    double u = 0.0;
    double below = kb_half_length(side_below(value), other, value->n, &freedom, &u);
    double above = kb_half_length(side_above(value), other, value->n, &freedom, &u);
    double most = most_of(value);
    value->lo = fmin(value->lo, fmax(value->value - below, 0.0));
    value->hi = fmax(value->hi, fmin(value->value + above, most));
    value->u_other = other;
    value->freedom = whole_freedom(budget->freedom);
    value->method = scale_counts && step->stated ? method_both
                    : scale_counts               ? method_scale
                                                 : method_step;
}

enum kb_status kb_specimen_combine(struct kb_specimen *specimen,
                                   const struct kb_beyond_fields *beyond, struct kb_err *err) {
    if (!isfinite(beyond->scale_u) || beyond->scale_u < 0.0 || !isfinite(beyond->threshold_step) ||
        beyond->threshold_step < 0.0) {
        return kb_fail(err, KB_E_USAGE, "specimen", "uncertainty",
                       "scale uncertainty and threshold step must be 0 or above");
    }
    specimen->budgets = 0;
    for (size_t i = 0; i < sizeof figures / sizeof figures[0]; i++) {
        const struct figure *figure = &figures[i];
        struct kb_estimate *value =
            (struct kb_estimate *)(void *)((char *)specimen + figure->offset);
        if (!value->measured) {
            continue;
        }
        struct kb_budget budget = {.quantity = figure->quantity, .value = *value};
        budget.line[KB_U_FIELDS] = from_fields(value);
        budget.line[KB_U_SCALE] = from_scale(value, figure->scale_power, beyond);
        budget.line[KB_U_THRESHOLD] = from_thresholds(figure, beyond, &budget.per_level);
        combine(&budget);
        widen(&budget, value);
        if (figure->quantity != NULL && specimen->budgets < KB_BUDGETS_MAX) {
            specimen->budget[specimen->budgets++] = budget;
        }
    }
    return KB_OK;
}
