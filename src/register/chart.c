/* chart.c - control chart of individuals and moving range: stretches, baselines, limits.
 *
 * The spread is taken from the mean of the moving ranges of neighbours, not from the standard
 * deviation: a drift changes each range little, so that it cannot hide in limits that it widened
 * itself. Limits come from the baseline, the first castings of a stretch or those of the days
 * stated, and stay as they are for all that follow. With fewer castings so far than a baseline
 * takes, all of them give limits that are called provisional. Where all values are equal there is
 * no spread to measure and no limit is drawn.
 *
 * d2 and D4 for ranges of two: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, and any
 * table of control chart factors (refs/chart_factors.csv; from memory, d2 equals 2/sqrt(pi)).
 */
#include "register_priv.h"

#include <string.h>

#define STAGE "register"

static const double d2 = 1.128, D4 = 3.267;

enum { COUNT_MOST = 100000 }; /* castings; beyond it a slip of the keyboard */

struct kb_chart_params kb_chart_params_default(enum kb_quantity quantity) {
    const char *unit = kb_quantity_unit(quantity);
    const bool percent = strcmp(unit, "%") == 0;
    return (struct kb_chart_params){
        .rules = KB_CHART_BIT(KB_CHART_BEYOND) | KB_CHART_BIT(KB_CHART_ONE_SIDE),
        .ranges = true,
        .one_side = 9,
        .baseline = 25,
        .baseline_least = 8,
        .trend = 20,
        .trend_least = 8,
        .trend_certainty = 0.999,
        .least = 0.0,
        .most = percent ? 100.0 : (double)NAN,
    };
}

static bool between(size_t value, size_t low, size_t high) {
    return value >= low && value <= high;
}

enum kb_status kb_chart_params_check(const struct kb_chart_params *params, struct kb_err *err) {
    const unsigned known = KB_CHART_BIT(KB_CHART_RULES_END) - KB_CHART_BIT(KB_CHART_BEYOND);
    const char *wrong = NULL;
    if ((params->rules & ~known) != 0) {
        wrong = "rules are numbered 1 to 8";
    } else if (!between(params->one_side, 2, COUNT_MOST)) {
        wrong = "a run on one side takes at least 2 castings";
    } else if (!between(params->baseline_least, 2, COUNT_MOST) ||
               !between(params->baseline, params->baseline_least, COUNT_MOST)) {
        wrong = "the baseline takes at least so many castings as limits need (8)";
    } else if (!between(params->trend_least, 3, COUNT_MOST) ||
               !between(params->trend, params->trend_least, COUNT_MOST)) {
        wrong = "the trend takes at least so many castings as a slope needs (8)";
    } else if (!(params->trend_certainty > 0.5 && params->trend_certainty < 1.0)) {
        wrong = "the certainty of a drift lies between 0.5 and 1";
    } else if (params->from[0] != '\0' && params->to[0] != '\0' &&
               strcmp(params->from, params->to) > 0) {
        wrong = "the baseline ends before it begins";
    }
    return wrong == NULL ? KB_OK : kb_fail(err, KB_E_USAGE, STAGE, NULL, "%s", wrong);
}

/* ---- points ---- */

enum kb_status kb_chart_add(struct kb_chart *chart, double value, const char *specimen,
                            const char *date, struct kb_err *err) {
    const double open = (double)NAN;
    void *items = chart->point;
    if (!kb_grow(&items, chart->points, &chart->capacity, sizeof *chart->point)) {
        return kb_fail_memory(err, STAGE, sizeof *chart->point);
    }
    chart->point = items;
    struct kb_chart_point *fresh = &chart->point[chart->points];
    *fresh = (struct kb_chart_point){
        .value = value,
        .lo = open,
        .hi = open,
        .low = open,
        .high = open,
        .specimen = kb_copy_string(specimen),
        .batch = kb_copy_string(""),
        .range = open,
    };
    (void)snprintf(fresh->date, sizeof fresh->date, "%s", date);
    chart->points++;
    return fresh->specimen != NULL && fresh->batch != NULL ? KB_OK : kb_fail_memory(err, STAGE, 1);
}

void kb_chart_release(struct kb_chart *chart) {
    for (size_t i = 0; i < chart->points; i++) {
        kb_free(chart->point[i].specimen);
        kb_free(chart->point[i].batch);
        kb_free(chart->point[i].words);
    }
    kb_free(chart->point);
    kb_free(chart->stretch);
    kb_free(chart->casting);
    kb_findings_release(&chart->findings);
    *chart = (struct kb_chart){.points = 0};
}

/* ---- stretches ---- */

static enum kb_status part(struct kb_chart *chart, struct kb_err *err) {
    size_t count = 0;
    for (size_t i = 0; i < chart->points; i++) {
        chart->point[i].begins = chart->point[i].begins || i == 0;
        count += chart->point[i].begins ? 1 : 0;
    }
    kb_free(chart->stretch);
    chart->stretches = 0;
    chart->stretch = count > 0 ? kb_alloc_zero(count, sizeof *chart->stretch) : NULL;
    if (count > 0 && chart->stretch == NULL) {
        return kb_fail_memory(err, STAGE, count * sizeof *chart->stretch);
    }
    for (size_t i = 0; i < chart->points; i++) {
        struct kb_chart_point *point = &chart->point[i];
        if (point->begins) {
            chart->stretch[chart->stretches++] =
                (struct kb_chart_stretch){.first = i, .words = point->words};
        }
        struct kb_chart_stretch *stretch = &chart->stretch[chart->stretches - 1];
        stretch->count++;
        point->stretch = chart->stretches - 1;
        point->range = point->begins ? (double)NAN : fabs(point->value - chart->point[i - 1].value);
        point->broken = 0;
        point->range_beyond = false;
        point->baseline = false;
    }
    return KB_OK;
}

/* Days are compared as text, as far as the bound says: "2026-03" holds the whole month. */
static bool in_days(const struct kb_chart_params *params, const char *date) {
    return strcmp(date, params->from) >= 0 &&
           (params->to[0] == '\0' || strncmp(date, params->to, strlen(params->to)) <= 0);
}

/* The points that give the limits; how many. */
static size_t choose_baseline(struct kb_chart *chart, const struct kb_chart_stretch *stretch) {
    const struct kb_chart_params *params = &chart->params;
    struct kb_chart_point *point = &chart->point[stretch->first];
    size_t chosen = 0;
    if (params->from[0] != '\0' || params->to[0] != '\0') {
        for (size_t i = 0; i < stretch->count; i++) {
            point[i].baseline = in_days(params, point[i].date);
            chosen += point[i].baseline ? 1 : 0;
        }
    }
    for (size_t i = 0; chosen < params->baseline && i < stretch->count && chosen == i; i++) {
        point[i].baseline = true; /* no such day in this stretch: its first castings */
        chosen++;
    }
    return chosen;
}

static double within(double limit, const struct kb_chart_params *params) {
    return limit < params->least || limit > params->most ? (double)NAN : limit;
}

static void limits(struct kb_chart *chart, struct kb_chart_stretch *stretch) {
    const struct kb_chart_params *params = &chart->params;
    const struct kb_chart_point *point = &chart->point[stretch->first];
    double sum = 0.0, ranges = 0.0;
    size_t pairs = 0;
    for (size_t i = 0; i < stretch->count; i++) {
        if (!point[i].baseline) {
            continue;
        }
        sum += point[i].value;
        if (i > 0 && point[i - 1].baseline) {
            ranges += point[i].range;
            pairs++;
        }
    }
    const size_t count = stretch->baseline;
    stretch->mean = count > 0 ? sum / (double)count : (double)NAN;
    stretch->range_mean = pairs > 0 ? ranges / (double)pairs : (double)NAN;
    stretch->sigma = stretch->range_mean / d2;
    stretch->upper = within(stretch->mean + 3.0 * stretch->sigma, params);
    stretch->lower = within(stretch->mean - 3.0 * stretch->sigma, params);
    stretch->range_upper = D4 * stretch->range_mean;
    stretch->why = count < params->baseline_least || pairs == 0 ? "too few castings"
                   : stretch->range_mean > 0.0                  ? NULL
                                                                : "the values do not vary";
    stretch->limited = stretch->why == NULL;
    stretch->provisional = stretch->limited && count < params->baseline && count == stretch->count;
}

static enum kb_status check(const struct kb_chart *chart, const struct kb_chart_params *params,
                            struct kb_err *err) {
    for (size_t i = 0; i < chart->points; i++) {
        if (!isfinite(chart->point[i].value)) {
            return kb_fail(err, KB_E_USAGE, STAGE, chart->point[i].specimen,
                           "has no value to chart (leave it out)");
        }
    }
    return kb_chart_params_check(params, err);
}

enum kb_status kb_chart_run(struct kb_chart *chart, const struct kb_chart_params *params,
                            struct kb_err *err) {
    enum kb_status status = check(chart, params, err);
    chart->params = *params;
    if (status == KB_OK) {
        status = part(chart, err);
    }
    if (status != KB_OK) {
        return status;
    }
    for (size_t i = 0; i < chart->stretches; i++) {
        chart->stretch[i].baseline = choose_baseline(chart, &chart->stretch[i]);
        limits(chart, &chart->stretch[i]);
        if (chart->stretch[i].limited) {
            kb_chart_rules(chart, &chart->stretch[i]);
        }
    }
    kb_chart_trend_run(chart);
    kb_findings_release(&chart->findings);
    return kb_chart_words(chart, err);
}
