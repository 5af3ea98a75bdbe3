/* own_history.c - options about the register: day of casting, quantities, rules and baseline of a
 * chart.
 */
#include "request.h"

#include <string.h>

/* "4.3.2026", as much of the world writes a day, to "2026-03-04"; false for anything else. A day
 * with strokes is not taken: half of the world means the month by its first number. */
static bool day_with_points(const char *said, char iso[32]) {
    char text[32];
    int64_t part[3] = {0, 0, 0};
    char *at = text;
    if (strlen(said) >= sizeof text) {
        return false;
    }
    (void)snprintf(text, sizeof text, "%s", said);
    for (int i = 0; i < 3; i++) {
        char *end = i < 2 ? strchr(at, '.') : at + strlen(at);
        if (end == NULL) {
            return false;
        }
        *end = '\0';
        if (!kb_parse_integer(at, 1, 9999, &part[i])) {
            return false;
        }
        at = end + 1;
    }
    (void)snprintf(iso, 32, "%04d-%02d-%02d", (int)part[2], (int)part[1], (int)part[0]);
    return true;
}

static bool as_date(const char *said, char iso[32]) {
    int64_t seconds = 0;
    if (!day_with_points(said, iso)) {
        if (strlen(said) >= 32) {
            return false;
        }
        (void)snprintf(iso, 32, "%s", said);
    }
    return kb_register_date(iso, &seconds);
}

static const char no_date[] = "is no date (write 2026-03-04, or with a time 2026-03-04T09:41)";

enum kb_status kb_own_cast_on(struct kb_request *request, const struct kb_assignment *from,
                              struct kb_err *err) {
    char iso[32];
    if (!as_date(from->value, iso)) {
        return kb_refuse(from, err, no_date);
    }
    request->settings.cast_on = kb_request_keep(request, iso);
    return request->settings.cast_on != NULL ? KB_OK : kb_fail_memory(err, "app", sizeof iso);
}

enum kb_status kb_own_stretch_from(struct kb_request *request, const struct kb_assignment *from,
                                   struct kb_err *err) {
    return as_date(from->value, request->chart.since) ? KB_OK : kb_refuse(from, err, no_date);
}

enum kb_status kb_own_quantity(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err) {
    const char *names[KB_QUANTITIES];
    for (int i = 0; i < KB_QUANTITIES; i++) {
        names[i] = kb_quantity_name((enum kb_quantity)i);
        if (strcmp(names[i], from->value) == 0) {
            request->chart.quantity[i] = true;
            request->chart.chosen = true;
            return KB_OK;
        }
    }
    const char *near = kb_nearest_name(from->value, names, KB_QUANTITIES);
    char right[160];
    (void)snprintf(right, sizeof right, "is no quantity (%s%s%s)",
                   near != NULL ? "did you mean " : "such as nodularity or pearlite_of_matrix",
                   near != NULL ? near : "", near != NULL ? "?" : "");
    return kb_refuse(from, err, right);
}

/* "1,2,5", or the set of a handbook by its name. */
enum kb_status kb_own_rules(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err) {
    const char *at = from->value;
    struct kb_chart_question *chart = &request->chart;
    chart->rules = 0;
    chart->one_side = 0;
    if (strcmp(at, "western-electric") == 0) {
        chart->rules = KB_CHART_BIT(KB_CHART_BEYOND) | KB_CHART_BIT(KB_CHART_ONE_SIDE) |
                       KB_CHART_BIT(KB_CHART_TWO_OF_THREE) | KB_CHART_BIT(KB_CHART_FOUR_OF_FIVE);
        chart->one_side = 8; /* in a row; Nelson has nine */
        return KB_OK;
    }
    do {
        const int rule = *at - '0';
        if (rule < KB_CHART_BEYOND || rule >= KB_CHART_RULES_END ||
            (at[1] != ',' && at[1] != '\0')) {
            return kb_refuse(from, err,
                             "are no rules (numbers of Nelson's tests, as 1,2,5, or "
                             "western-electric)");
        }
        chart->rules |= KB_CHART_BIT(rule);
        at += at[1] == ',' ? 2 : 1;
    } while (*at != '\0');
    return KB_OK;
}

/* "20": the first so many castings of a stretch; "2026-01-10..2026-02-20": those of these days. */
enum kb_status kb_own_baseline(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err) {
    struct kb_chart_question *chart = &request->chart;
    const char *dots = strstr(from->value, "..");
    char first[32] = "";
    if (dots == NULL) {
        return kb_parse_integer(from->value, 2, 10000, &chart->baseline)
                   ? KB_OK
                   : kb_refuse(from, err,
                               "is no baseline (a number of castings, or days as "
                               "2026-01-10..2026-02-20)");
    }
    (void)snprintf(first, sizeof first, "%.*s", (int)(dots - from->value), from->value);
    if (!as_date(first, chart->from) || !as_date(dots + 2, chart->to) ||
        strcmp(chart->from, chart->to) > 0) {
        return kb_refuse(from, err, "are no days in their order (write 2026-01-10..2026-02-20)");
    }
    return KB_OK;
}
