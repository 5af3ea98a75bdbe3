/* chart_trend.c - is it drifting, and when is the limit reached?
 *
 * Least squares over the latest castings of the last stretch, the number of the casting as
 * abscissa; interval of the slope by Student's t with n - 2 degrees of freedom (any textbook of
 * regression). A drift is named only when the interval of the params' certainty leaves out zero,
 * since the line is laid anew at every casting and would else be steep by chance often. The
 * castings until the limit come from the slope and the ends of its 95 % interval; how well the
 * line's level is known is left out of them, so they are said with "about".
 */
#include "register_priv.h"

#include <gsl/gsl_cdf.h>

/* Least squares over y[0..n). */
struct line {
    double slope, level, se; /* level: at the last point; se: standard error of the slope */
    double mean, mean_se;    /* at the middle, and its standard error */
    double behind;           /* castings from the middle to the last */
};

static struct line lay(const struct kb_chart_point *point, size_t n) {
    const double middle = 0.5 * (double)(n - 1);
    double mean = 0.0, sxy = 0.0, sxx = 0.0, rest = 0.0;
    for (size_t i = 0; i < n; i++) {
        mean += point[i].value / (double)n;
    }
    for (size_t i = 0; i < n; i++) {
        const double x = (double)i - middle;
        sxx += x * x;
        sxy += x * (point[i].value - mean);
    }
    const double slope = sxy / sxx;
    for (size_t i = 0; i < n; i++) {
        const double off = point[i].value - mean - slope * ((double)i - middle);
        rest += off * off;
    }
    const double variance = rest / (double)(n - 2);
    return (struct line){.slope = slope,
                         .level = mean + slope * middle,
                         .se = sqrt(variance / sxx),
                         .mean = mean,
                         .mean_se = sqrt(variance / (double)n),
                         .behind = middle};
}

/* Where the band of `t` standard errors about the line meets the limit, in castings behind the
 * last: (mean + slope x - limit)^2 = t^2 (mean_se^2 + se^2 x^2). */
static void meet(const struct line *line, double t, struct kb_chart_trend *trend) {
    const double off = trend->limit - line->mean;
    const double a = line->slope * line->slope - t * t * line->se * line->se;
    const double b = line->slope * off;
    const double c = off * off - t * t * line->mean_se * line->mean_se;
    const double root = sqrt(fmax(b * b - a * c, 0.0));
    trend->soonest = fmax(c / (b + root) - line->behind, 0.0); /* the nearer one, without a / 0 */
    trend->latest = a > 0.0 ? fmax((b + root) / a - line->behind, 0.0) : (double)INFINITY;
}

static void reach(const struct line *line, double t, const struct kb_chart_point *last,
                  struct kb_chart_trend *trend) {
    const bool falls = trend->slope < 0.0;
    trend->limit = falls ? last->low : last->high;
    if (!trend->drifts || isnan(trend->limit)) {
        return;
    }
    if (falls ? trend->level <= trend->limit : trend->level >= trend->limit) {
        trend->castings = trend->soonest = trend->latest = 0.0;
        return;
    }
    trend->castings = (trend->limit - trend->level) / trend->slope;
    meet(line, t, trend);
}

void kb_chart_trend_run(struct kb_chart *chart) {
    struct kb_chart_trend *trend = &chart->trend;
    const double none = (double)NAN;
    *trend =
        (struct kb_chart_trend){false, 0, none, none, none, false, none, none, none, none, none};
    if (chart->stretches == 0) {
        return;
    }
    const struct kb_chart_stretch *stretch = &chart->stretch[chart->stretches - 1];
    const struct kb_chart_params *params = &chart->params;
    const size_t n = stretch->count < params->trend ? stretch->count : params->trend;
    trend->count = n;
    if (n < params->trend_least) {
        return;
    }
    const struct kb_chart_point *end = &chart->point[stretch->first + stretch->count];
    const struct line line = lay(end - n, n);
    const double freedom = (double)(n - 2);
    const double t = gsl_cdf_tdist_Qinv(0.025, freedom), half = t * line.se; /* two-sided 95 % */
    const double sure = gsl_cdf_tdist_Qinv(0.5 * (1.0 - params->trend_certainty), freedom);
    trend->known = true;
    trend->slope = line.slope;
    trend->lo = line.slope - half;
    trend->hi = line.slope + half;
    trend->level = line.level;
    trend->drifts = fabs(line.slope) > sure * line.se;
    reach(&line, t, end - 1, trend);
}
