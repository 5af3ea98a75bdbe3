/* json_history.c - the register and its charts as JSON. Keys are added, never renamed; what is not
 * measured or has no limit is null.
 */
#include "json_write.h"

static const char *stated(const char *text) {
    return text[0] != '\0' ? text : NULL;
}

/* ---- results ---- */

static void figure(struct kb_json *json, const struct kb_register_figure *figure) {
    const bool limited = figure->outcome != KB_OUTCOME_NONE;
    kb_json_open(json, kb_quantity_name(figure->quantity), '{');
    kb_json_number(json, "value", figure->value);
    kb_json_number(json, "ci95_low", figure->lo);
    kb_json_number(json, "ci95_high", figure->hi);
    kb_json_number(json, "s", figure->s);
    kb_json_count(json, "n", figure->n);
    kb_json_string(json, "unit", kb_quantity_unit(figure->quantity));
    kb_json_number(json, "low", figure->low);
    kb_json_number(json, "high", figure->high);
    kb_json_string(json, "outcome", limited ? kb_outcome_name(figure->outcome) : NULL);
    kb_json_close(json, '}');
}

static void result(struct kb_json *json, const struct kb_register_entry *entry) {
    kb_json_open(json, NULL, '{');
    kb_json_count(json, "result", (uint64_t)entry->id);
    kb_json_number(json, "superseded_by",
                   entry->superseded_by != 0 ? (double)entry->superseded_by : KB_NAN);
    kb_json_string(json, "casting", stated(entry->casting));
    kb_json_string(json, "batch", stated(entry->batch));
    kb_json_string(json, "specimen", entry->specimen);
    kb_json_string(json, "material", entry->material);
    kb_json_string(json, "operator", stated(entry->operator_name));
    kb_json_string(json, "cast_on", stated(entry->cast_on));
    kb_json_string(json, "measured_at", entry->measured_at);
    kb_json_string(json, "added_at", entry->added_at);
    kb_json_string(json, "version", entry->version);
    kb_json_string(json, "pictures_sha256", entry->pictures_sha256);
    kb_json_string(json, "settings_sha256", entry->settings_sha256);
    kb_json_string(json, "digest", entry->digest);
    kb_json_count(json, "fields", entry->fields);
    kb_json_string(json, "verdict", kb_outcome_name(entry->verdict));
    kb_json_open(json, "figures", '{');
    for (size_t i = 0; i < entry->figures; i++) {
        figure(json, &entry->figure[i]);
    }
    kb_json_close(json, '}');
    kb_json_close(json, '}');
}

enum kb_status kb_report_history_json(const struct kb_register_list *list, struct kb_text *out,
                                      struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct kb_json json = {out, 0, false, false};
    kb_json_open(&json, NULL, '{');
    kb_json_string(&json, "schema", "keelblock.history/1");
    kb_json_open(&json, "results", '[');
    for (size_t i = 0; i < list->count; i++) {
        result(&json, &list->entry[i]);
    }
    kb_json_close(&json, ']');
    kb_json_close(&json, '}');
    kb_text_add(out, "\n");
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}

/* ---- charts ---- */

static void stretch(struct kb_json *json, const struct kb_chart_stretch *stretch) {
    kb_json_open(json, NULL, '{');
    kb_json_count(json, "first", stretch->first + 1);
    kb_json_count(json, "castings", stretch->count);
    kb_json_string(json, "words", stretch->words);
    kb_json_count(json, "baseline", stretch->baseline);
    kb_json_bool(json, "provisional", stretch->provisional);
    kb_json_number(json, "mean", stretch->limited ? stretch->mean : KB_NAN);
    kb_json_number(json, "upper", stretch->limited ? stretch->upper : KB_NAN);
    kb_json_number(json, "lower", stretch->limited ? stretch->lower : KB_NAN);
    kb_json_number(json, "range_mean", stretch->limited ? stretch->range_mean : KB_NAN);
    kb_json_number(json, "range_upper", stretch->limited ? stretch->range_upper : KB_NAN);
    kb_json_string(json, "why", stretch->why);
    kb_json_close(json, '}');
}

static void point(struct kb_json *json, const struct kb_chart_point *point) {
    kb_json_open(json, NULL, '{');
    kb_json_string(json, "specimen", point->specimen);
    kb_json_string(json, "batch", stated(point->batch));
    kb_json_string(json, "date", point->date);
    kb_json_number(json, "value", point->value);
    kb_json_number(json, "range", point->range);
    kb_json_number(json, "low", point->low);
    kb_json_number(json, "high", point->high);
    kb_json_bool(json, "baseline", point->baseline);
    kb_json_open(json, "rules", '[');
    json->inside = true;
    for (unsigned rule = KB_CHART_BEYOND; rule < KB_CHART_RULES_END; rule++) {
        if ((point->broken & KB_CHART_BIT(rule)) != 0) {
            kb_json_count(json, NULL, rule);
        }
    }
    kb_json_close(json, ']');
    json->inside = false;
    kb_json_bool(json, "range_beyond", point->range_beyond);
    kb_json_close(json, '}');
}

static void trend(struct kb_json *json, const struct kb_chart_trend *trend) {
    kb_json_open(json, "trend", '{');
    kb_json_count(json, "castings", trend->count);
    kb_json_number(json, "slope", trend->slope);
    kb_json_number(json, "ci95_low", trend->lo);
    kb_json_number(json, "ci95_high", trend->hi);
    kb_json_bool(json, "drifts", trend->drifts);
    kb_json_number(json, "level", trend->level);
    kb_json_number(json, "limit", trend->limit);
    kb_json_number(json, "castings_to_limit", trend->castings);
    kb_json_number(json, "soonest", trend->soonest);
    kb_json_number(json, "latest", trend->latest);
    kb_json_close(json, '}');
}

static void chart_object(struct kb_json *json, const struct kb_chart *chart) {
    kb_json_open(json, NULL, '{');
    kb_json_string(json, "casting", chart->casting);
    kb_json_string(json, "quantity", kb_quantity_name(chart->quantity));
    kb_json_string(json, "unit", kb_quantity_unit(chart->quantity));
    kb_json_open(json, "stretches", '[');
    for (size_t i = 0; i < chart->stretches; i++) {
        stretch(json, &chart->stretch[i]);
    }
    kb_json_close(json, ']');
    kb_json_open(json, "castings", '[');
    for (size_t i = 0; i < chart->points; i++) {
        point(json, &chart->point[i]);
    }
    kb_json_close(json, ']');
    trend(json, &chart->trend);
    kb_json_findings(json, &chart->findings);
    kb_json_close(json, '}');
}

enum kb_status kb_report_charts_json(const struct kb_chart *chart, size_t count,
                                     struct kb_text *out, struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct kb_json json = {out, 0, false, false};
    kb_json_open(&json, NULL, '{');
    kb_json_string(&json, "schema", "keelblock.charts/1");
    kb_json_open(&json, "charts", '[');
    for (size_t i = 0; i < count; i++) {
        chart_object(&json, &chart[i]);
    }
    kb_json_close(&json, ']');
    kb_json_close(&json, '}');
    kb_text_add(out, "\n");
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
