/* chart_words.c - what a chart says, in sentences for the page and the terminal: the drift first,
 * then the latest casting, then what the limits rest on. */
#include "register_priv.h"

#include <string.h>

enum { WORDS = 200 };

/* "%" stays, "um" is for readers "µm", a count "/mm²". */
static const char *unit_of(const struct kb_chart *chart) {
    const char *unit = kb_quantity_unit(chart->quantity);
    return strcmp(unit, "um") == 0 ? "µm" : strcmp(unit, "1/mm2") == 0 ? "/mm²" : unit;
}

/* "Pearlite, of the matrix without graphite" */
static void name_of(const struct kb_chart *chart, char name[WORDS]) {
    (void)snprintf(name, WORDS, "%s", kb_quantity_words(chart->quantity));
    name[0] = (char)(name[0] >= 'a' && name[0] <= 'z' ? name[0] - 'a' + 'A' : name[0]);
}

static void when(const struct kb_chart *chart, char text[WORDS]) {
    const struct kb_chart_trend *trend = &chart->trend;
    const char *unit = unit_of(chart);
    if (isnan(trend->limit)) {
        (void)snprintf(text, WORDS, "no limit lies that way");
    } else if (trend->castings <= 0.0) {
        (void)snprintf(text, WORDS, "the limit of %.4g %s is reached", trend->limit, unit);
    } else if (isfinite(trend->latest)) {
        (void)snprintf(text, WORDS,
                       "at this drift the limit of %.4g %s is reached in about %.0f castings (%.0f "
                       "to %.0f)",
                       trend->limit, unit, ceil(trend->castings), ceil(trend->soonest),
                       ceil(trend->latest));
    } else {
        (void)snprintf(text, WORDS,
                       "at this drift the limit of %.4g %s is reached in about %.0f castings (%.0f "
                       "at the soonest)",
                       trend->limit, unit, ceil(trend->castings), ceil(trend->soonest));
    }
}

/* A difference between two percentages is in points. */
static const char *step_unit(const struct kb_chart *chart) {
    const char *unit = unit_of(chart);
    return strcmp(unit, "%") == 0 ? "points" : unit;
}

static enum kb_status tell_drift(struct kb_chart *chart, struct kb_err *err) {
    const struct kb_chart_trend *trend = &chart->trend;
    char name[WORDS], limit[WORDS];
    if (!trend->known || !trend->drifts) {
        return KB_OK;
    }
    name_of(chart, name);
    when(chart, limit);
    const bool falls = trend->slope < 0.0;
    const double by = fabs(trend->slope), least = falls ? -trend->hi : trend->lo,
                 most = falls ? -trend->lo : trend->hi;
    return kb_findings_add(
        &chart->findings, err, trend->castings <= 0.0 ? KB_SERIOUS : KB_WARNING, "chart-drift",
        "%s %s by %.2g %s a casting (95 %% interval %.2g to %.2g) over the last %zu castings; %s.",
        name, falls ? "falls" : "rises", by, step_unit(chart), least, most, trend->count, limit);
}

static void add_words(char *text, size_t size, const char *words) {
    const size_t length = strlen(text);
    (void)snprintf(text + length, size - length, "%s%s", length > 0 ? "; " : "", words);
}

static void rules_words(const struct kb_chart_point *point, char text[WORDS]) {
    text[0] = '\0';
    for (int rule = KB_CHART_BEYOND; rule < KB_CHART_RULES_END; rule++) {
        if ((point->broken & KB_CHART_BIT(rule)) != 0) {
            add_words(text, WORDS, kb_chart_rule_words((enum kb_chart_rule)rule));
        }
    }
}

static bool told(const struct kb_chart_point *point) {
    return point->broken != 0;
}

static enum kb_status tell_latest(struct kb_chart *chart, struct kb_err *err) {
    const struct kb_chart_point *last = &chart->point[chart->points - 1];
    char name[WORDS], rules[WORDS];
    if (!told(last)) {
        return KB_OK;
    }
    name_of(chart, name);
    rules_words(last, rules);
    return kb_findings_add(&chart->findings, err, KB_WARNING, "chart-unsteady",
                           "%s of the latest casting, %.60s (%.10s), is not as the process has "
                           "been: %s. Look for a cause before the next one.",
                           name, last->specimen, last->date, rules);
}

/* Earlier breaches of the last stretch, apart from those of its baseline. */
static enum kb_status tell_earlier(struct kb_chart *chart, struct kb_err *err) {
    const struct kb_chart_stretch *stretch = &chart->stretch[chart->stretches - 1];
    size_t later = 0, own = 0;
    for (size_t i = stretch->first; i + 1 < chart->points; i++) {
        const struct kb_chart_point *point = &chart->point[i];
        later += told(point) && !point->baseline ? 1 : 0;
        own += point->baseline && (point->broken & KB_CHART_BIT(KB_CHART_BEYOND)) != 0 ? 1 : 0;
    }
    enum kb_status status = KB_OK;
    if (later > 0) {
        status = kb_findings_add(&chart->findings, err, KB_NOTE, "chart-unsteady-before",
                                 "%zu earlier casting%s since the baseline broke a rule.", later,
                                 later == 1 ? "" : "s");
    }
    if (status == KB_OK && own > 0) {
        status = kb_findings_add(&chart->findings, err, KB_WARNING, "chart-baseline-unsteady",
                                 "%zu casting%s of the baseline itself lie%s beyond its limits: "
                                 "where the cause is known, state a baseline without.",
                                 own, own == 1 ? "" : "s", own == 1 ? "s" : "");
    }
    return status;
}

static enum kb_status tell_limits(struct kb_chart *chart, struct kb_err *err) {
    const struct kb_chart_stretch *stretch = &chart->stretch[chart->stretches - 1];
    if (!stretch->limited) {
        return kb_findings_add(&chart->findings, err, KB_NOTE, "chart-no-limits",
                               "No control limits: %s (%zu of at least %zu).", stretch->why,
                               stretch->count, chart->params.baseline_least);
    }
    return !stretch->provisional
               ? KB_OK
               : kb_findings_add(&chart->findings, err, KB_NOTE, "chart-provisional",
                                 "The control limits are provisional: they come from %zu castings "
                                 "and settle with %zu.",
                                 stretch->baseline, chart->params.baseline);
}

/* The same specimen twice, with other pictures: two points for one casting. */
static enum kb_status tell_twice(struct kb_chart *chart, struct kb_err *err) {
    for (size_t i = 1; i < chart->points; i++) {
        const struct kb_chart_point *a = &chart->point[i - 1], *b = &chart->point[i];
        if (a->specimen[0] != '\0' && strcmp(a->specimen, b->specimen) == 0 &&
            strcmp(a->batch, b->batch) == 0) {
            return kb_findings_add(&chart->findings, err, KB_NOTE, "chart-specimen-twice",
                                   "Specimen %.60s stands more than once, with other pictures "
                                   "each time.",
                                   b->specimen);
        }
    }
    return KB_OK;
}

enum kb_status kb_chart_words(struct kb_chart *chart, struct kb_err *err) {
    static enum kb_status (*const tell[])(struct kb_chart *, struct kb_err *) = {
        tell_drift, tell_latest, tell_earlier, tell_limits, tell_twice};
    enum kb_status status = KB_OK;
    struct kb_locale locale = kb_locale_enter();
    for (size_t i = 0; chart->points > 0 && i < sizeof tell / sizeof tell[0] && status == KB_OK;
         i++) {
        status = tell[i](chart, err);
    }
    kb_locale_leave(locale);
    return status;
}
