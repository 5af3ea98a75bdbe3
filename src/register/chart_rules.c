/* chart_rules.c - tests for special causes on the points of a stretch.
 *
 * The eight tests of L. S. Nelson, Journal of Quality Technology 16 (1984) 237-239, of which 1, 5
 * and 6 and a run on one side stand in the Western Electric Statistical Quality Control Handbook of
 * 1956 (both from memory, unverified). A test that looks at several points marks the last of them,
 * the one with which the rule is broken; runs never reach back into an earlier stretch.
 *
 * Each further rule finds more and cries wolf more often. How often a steady process gives a false
 * alarm is found by simulation in tests/register/test_false_alarms.c.
 */
#include "register_priv.h"

/* Points of a stretch, and where in it we are. */
struct run {
    const struct kb_chart_point *point;
    const struct kb_chart_stretch *stretch;
    size_t at;
};

/* Distance of the point `back` steps ago from the mean, in sigma. */
static double distance(const struct run *run, size_t back) {
    return (run->point[run->at - back].value - run->stretch->mean) / run->stretch->sigma;
}

static bool has(const struct run *run, size_t points) {
    return run->at + 1 >= points;
}

/* The last point and, with it, at least `hits` of the last `points` lie beyond so many sigma on its
 * side. */
static bool beyond(const struct run *run, size_t hits, size_t points, double sigmas) {
    const double side = distance(run, 0) > 0.0 ? 1.0 : -1.0;
    size_t found = 0;
    for (size_t back = 0; back < points && has(run, back + 1); back++) {
        found += side * distance(run, back) > sigmas ? 1 : 0;
    }
    return found >= hits && side * distance(run, 0) > sigmas;
}

/* The last `points` all do the same, as far as `same` can tell. */
static bool all(const struct run *run, size_t points,
                bool (*same)(const struct run *run, size_t back)) {
    for (size_t back = 0; back < points; back++) {
        if (!has(run, points) || !same(run, back)) {
            return false;
        }
    }
    return true;
}

static bool close_to_mean(const struct run *run, size_t back) {
    return fabs(distance(run, back)) < 1.0;
}

static bool far_from_mean(const struct run *run, size_t back) {
    return fabs(distance(run, back)) > 1.0;
}

static double rise(const struct run *run, size_t back) {
    return run->point[run->at - back].value - run->point[run->at - back - 1].value;
}

static bool steady(const struct run *run, size_t points) {
    for (size_t back = 0; back + 1 < points; back++) {
        if (!has(run, points) || rise(run, back) * rise(run, 0) <= 0.0) {
            return false;
        }
    }
    return true;
}

static bool alternating(const struct run *run, size_t points) {
    for (size_t back = 0; back + 2 < points; back++) {
        if (!has(run, points) || rise(run, back) * rise(run, back + 1) >= 0.0) {
            return false;
        }
    }
    return true;
}

/* The lengths of runs are the published ones. */
static unsigned broken(const struct run *run, const struct kb_chart_params *params) {
    unsigned bits = 0;
    bits |= beyond(run, 1, 1, 3.0) ? KB_CHART_BIT(KB_CHART_BEYOND) : 0u;
    bits |=
        beyond(run, params->one_side, params->one_side, 0.0) ? KB_CHART_BIT(KB_CHART_ONE_SIDE) : 0u;
    bits |= steady(run, 6) ? KB_CHART_BIT(KB_CHART_STEADY) : 0u;
    bits |= alternating(run, 14) ? KB_CHART_BIT(KB_CHART_ALTERNATING) : 0u;
    bits |= beyond(run, 2, 3, 2.0) ? KB_CHART_BIT(KB_CHART_TWO_OF_THREE) : 0u;
    bits |= beyond(run, 4, 5, 1.0) ? KB_CHART_BIT(KB_CHART_FOUR_OF_FIVE) : 0u;
    bits |= all(run, 15, close_to_mean) ? KB_CHART_BIT(KB_CHART_HUGGING) : 0u;
    bits |= all(run, 8, far_from_mean) ? KB_CHART_BIT(KB_CHART_APART) : 0u;
    return bits & params->rules;
}

void kb_chart_rules(struct kb_chart *chart, const struct kb_chart_stretch *stretch) {
    struct kb_chart_point *point = &chart->point[stretch->first];
    for (size_t i = 0; i < stretch->count; i++) {
        const struct run run = {point, stretch, i};
        point[i].broken = broken(&run, &chart->params);
        point[i].range_beyond = chart->params.ranges && point[i].range > stretch->range_upper;
    }
}

const char *kb_chart_rule_words(enum kb_chart_rule rule) {
    static const char *const words[] = {
        [KB_CHART_BEYOND] = "beyond a control limit",
        [KB_CHART_ONE_SIDE] = "a long run on one side of the mean",
        [KB_CHART_STEADY] = "six in a row steadily rising or falling",
        [KB_CHART_ALTERNATING] = "fourteen in a row up and down by turns",
        [KB_CHART_TWO_OF_THREE] = "two of three beyond two sigma",
        [KB_CHART_FOUR_OF_FIVE] = "four of five beyond one sigma",
        [KB_CHART_HUGGING] = "fifteen in a row within one sigma",
        [KB_CHART_APART] = "eight in a row beyond one sigma on either side",
    };
    return rule >= KB_CHART_BEYOND && rule < KB_CHART_RULES_END ? words[rule] : "no rule";
}
