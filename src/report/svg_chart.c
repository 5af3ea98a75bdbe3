/* svg_chart.c - a control chart as inline SVG: individuals above, moving ranges below.
 *
 * Lines are told apart by their strokes and by the words beside them, marks by their shapes, so
 * that the chart reads in grey print: dashed control limits, a thin mean, a heavy specification
 * limit with ticks on its forbidden side; a disc for a casting as the process gives it, a lozenge
 * with the number of the rule for one that breaks a rule, a cross for one outside its
 * specification. A measured interval is a hairline through its casting. The latest castings are
 * shown; limits and rules come from all.
 */
#include "html_priv.h"

#include <stdlib.h>
#include <string.h>

/* The drawing's own units; it scales with the page. */
enum {
    WIDTH = 760,
    LEFT = 52,
    RIGHT = 128, /* room for the words beside the lines */
    TOP = 40,
    PLOT = 230, /* height of the individuals ... */
    GAP = 56,
    RANGES = 78, /* ... and of the ranges */
    FOOT = 64,
    HEIGHT = TOP + PLOT + GAP + RANGES + FOOT,
    SHOWN_MOST = 100, /* castings: 5 units apart are still told apart */
    LABEL_STEP = 13,  /* between lines of 11 units' type */
    LABELS_MOST = 12,
    DATES_MOST = 7,
    TICKS_MOST = 6,
};

#define INK "#1d2026"
#define LINE "#14328c"

struct axis {
    double low, high;  /* values */
    double top, depth; /* of the plot */
    int decimals;
};

struct drawing {
    const struct kb_chart *chart;
    struct kb_text *out;
    size_t first, count; /* castings shown */
    struct axis value, range;
};

static double x_of(const struct drawing *drawing, double place) {
    const double wide = WIDTH - LEFT - RIGHT;
    return LEFT + wide * (place - (double)drawing->first + 0.5) / (double)drawing->count;
}

static double y_of(const struct axis *axis, double value) {
    return axis->top + axis->depth * (axis->high - value) / (axis->high - axis->low);
}

/* ---- axes ---- */

static void take(struct axis *axis, double value) {
    if (isfinite(value)) {
        axis->low = fmin(axis->low, value);
        axis->high = fmax(axis->high, value);
    }
}

/* Of 1, 2 and 5 times a power of ten the least that parts the span into few ticks. */
static double round_step(double span) {
    const double decade = pow(10.0, floor(log10(span / TICKS_MOST)));
    static const double step[] = {1.0, 2.0, 5.0};
    for (size_t i = 0; i < KB_COUNT_OF(step); i++) {
        if (step[i] * decade * TICKS_MOST >= span) {
            return step[i] * decade;
        }
    }
    return 10.0 * decade;
}

/* Room around what is shown, from 0 where that is near. */
static void settle(struct axis *axis, double least, double most) {
    double span = axis->high - axis->low;
    span = span > 0.0 ? span : fmax(1e-3, 0.1 * fabs(axis->high));
    axis->low -= 0.08 * span;
    axis->high += 0.08 * span;
    axis->low = axis->low < least ? least : axis->low;
    axis->high = axis->high > most ? most : axis->high;
    if (!(axis->high > axis->low)) {
        axis->high = axis->low + 1.0;
    }
    const double step = round_step(axis->high - axis->low);
    axis->decimals = step < 1.0 ? (int)ceil(-log10(step) - 1e-9) : 0;
}

static void find_axes(struct drawing *drawing) {
    const struct kb_chart *chart = drawing->chart;
    const double far = (double)INFINITY;
    struct axis value = {far, -far, TOP, PLOT, 0};
    struct axis range = {0.0, 0.0, TOP + PLOT + GAP, RANGES, 0};
    for (size_t i = 0; i < drawing->count; i++) {
        const struct kb_chart_point *point = &chart->point[drawing->first + i];
        const struct kb_chart_stretch *stretch = &chart->stretch[point->stretch];
        take(&value, point->value);
        take(&value, point->low);
        take(&value, point->high);
        take(&range, point->range);
        if (stretch->limited) {
            take(&value, stretch->upper);
            take(&value, stretch->lower);
            take(&range, stretch->range_upper);
        }
    }
    settle(&value, chart->params.least, chart->params.most);
    settle(&range, 0.0, far);
    drawing->value = value;
    drawing->range = range;
}

static void axis_lines(const struct drawing *drawing, const struct axis *axis, int most) {
    double step = round_step(axis->high - axis->low);
    while ((axis->high - axis->low) / step > most) {
        step *= 2.0;
    }
    const int first = (int)ceil(axis->low / step), last = (int)floor(axis->high / step);
    for (int i = first; i <= last; i++) {
        char label[32];
        const double at = step * i;
        const double y = y_of(axis, at);
        kb_show_number(label, sizeof label, at, axis->decimals);
        kb_text_format(drawing->out,
                       "<line x1=\"%d\" x2=\"%d\" y1=\"%.1f\" y2=\"%.1f\" stroke=\"#e3e5e8\" />"
                       "<text x=\"%d\" y=\"%.1f\" font-size=\"11\" text-anchor=\"end\">%s</text>\n",
                       LEFT, WIDTH - RIGHT, y, y, LEFT - 6, y + 4.0, label);
    }
}

static void dates(const struct drawing *drawing) {
    const size_t every = (drawing->count + DATES_MOST - 1) / DATES_MOST;
    const int y = TOP + PLOT + GAP + RANGES;
    kb_text_format(drawing->out,
                   "<line x1=\"%d\" x2=\"%d\" y1=\"%d\" y2=\"%d\" stroke=\"" INK "\" />\n", LEFT,
                   WIDTH - RIGHT, y, y);
    for (size_t i = 0; i < drawing->count; i += every) {
        const size_t at = drawing->first + i;
        const double x = x_of(drawing, (double)at);
        kb_text_format(drawing->out,
                       "<line x1=\"%.1f\" x2=\"%.1f\" y1=\"%d\" y2=\"%d\" stroke=\"" INK "\" />"
                       "<text x=\"%.1f\" y=\"%d\" font-size=\"11\" text-anchor=\"middle\">%zu"
                       "</text><text x=\"%.1f\" y=\"%d\" font-size=\"11\" "
                       "text-anchor=\"middle\">%.10s</text>\n",
                       x, x, y, y + 4, x, y + 16, at + 1, x, y + 29,
                       drawing->chart->point[at].date);
    }
}

/* ---- lines ---- */

static void level(const struct drawing *drawing, const struct axis *axis, double from, double to,
                  double value, const char *stroke) {
    if (isfinite(value)) {
        const double y = y_of(axis, value);
        kb_text_format(drawing->out,
                       "<line x1=\"%.1f\" x2=\"%.1f\" y1=\"%.1f\" y2=\"%.1f\" %s />\n",
                       x_of(drawing, from), x_of(drawing, to), y, y, stroke);
    }
}

/* A heavy line with ticks towards what is forbidden: -1 up, 1 down. */
static void specified(const struct drawing *drawing, double from, double to, double value,
                      int forbidden) {
    if (!isfinite(value)) {
        return;
    }
    const double y = y_of(&drawing->value, value), tick = 6.0;
    level(drawing, &drawing->value, from, to, value, "stroke=\"" INK "\" stroke-width=\"2\"");
    kb_text_add(drawing->out, "<path fill=\"none\" stroke=\"" INK "\" stroke-width=\"0.8\" d=\"");
    const double left = x_of(drawing, from);
    const int ticks = (int)((x_of(drawing, to) - left) / tick);
    for (int i = 1; i <= ticks; i++) {
        kb_text_format(drawing->out, "M%.1f %.1fl%.1f %.1f", left + tick * i, y, -5.0,
                       5.0 * forbidden);
    }
    kb_text_add(drawing->out, "\" />\n");
}

static bool same(double a, double b) {
    return a == b || (isnan(a) && isnan(b));
}

/* Limits of the specification, over the castings that share them. */
static void specification(const struct drawing *drawing) {
    const struct kb_chart_point *point = drawing->chart->point;
    const size_t end = drawing->first + drawing->count;
    for (size_t i = drawing->first; i < end;) {
        size_t next = i + 1;
        while (next < end && same(point[next].low, point[i].low) &&
               same(point[next].high, point[i].high)) {
            next++;
        }
        specified(drawing, (double)i - 0.5, (double)next - 0.5, point[i].high, -1);
        specified(drawing, (double)i - 0.5, (double)next - 0.5, point[i].low, 1);
        i = next;
    }
}

static void stretch_lines(const struct drawing *drawing, const struct kb_chart_stretch *stretch) {
    static const char dashed[] = "stroke=\"" INK "\" stroke-width=\"1.2\" stroke-dasharray=\"7 4\"";
    static const char thin[] = "stroke=\"#59606a\" stroke-width=\"0.9\"";
    const size_t end = stretch->first + stretch->count;
    if (end <= drawing->first) {
        return;
    }
    const bool cut = stretch->first < drawing->first;
    const double from = (double)(cut ? drawing->first : stretch->first) - 0.5,
                 to = (double)end - 0.5;
    if (stretch->limited) {
        level(drawing, &drawing->value, from, to, stretch->upper, dashed);
        level(drawing, &drawing->value, from, to, stretch->lower, dashed);
        level(drawing, &drawing->value, from, to, stretch->mean, thin);
        level(drawing, &drawing->range, from, to, stretch->range_upper, dashed);
        level(drawing, &drawing->range, from, to, stretch->range_mean, thin);
    }
    if (!cut && stretch->first > drawing->first) {
        const double x = x_of(drawing, from);
        kb_text_format(drawing->out,
                       "<line x1=\"%.1f\" x2=\"%.1f\" y1=\"%d\" y2=\"%d\" stroke=\"" INK
                       "\" stroke-dasharray=\"1 3\" /><text x=\"%.1f\" y=\"%d\" "
                       "font-size=\"11\">",
                       x, x, TOP - 8, TOP + PLOT + GAP + RANGES, x + 4.0, TOP - 4);
        kb_svg_own(drawing->out, stretch->words != NULL ? stretch->words : "");
        kb_text_add(drawing->out, "</text>\n");
    }
}

/* A bar under the castings that give the limits. */
static void baseline(const struct drawing *drawing) {
    const struct kb_chart_stretch *last = &drawing->chart->stretch[drawing->chart->stretches - 1];
    const struct kb_chart_point *point = drawing->chart->point;
    const int y = TOP + PLOT + 10;
    size_t from = last->first, to = 0;
    while (from < last->first + last->count && !point[from].baseline) {
        from++;
    }
    for (to = from; to + 1 < last->first + last->count && point[to + 1].baseline;) {
        to++;
    }
    if (!last->limited || to < drawing->first) {
        return;
    }
    from = from < drawing->first ? drawing->first : from;
    const double left = x_of(drawing, (double)from - 0.4), right = x_of(drawing, (double)to + 0.4);
    kb_text_format(drawing->out,
                   "<path d=\"M%.1f %dv-4h%.1fv4\" fill=\"none\" stroke=\"#59606a\" />"
                   "<text x=\"%.1f\" y=\"%d\" font-size=\"11\">limits from these%s</text>\n",
                   left, y, right - left, left, y + 13, last->provisional ? ", provisional" : "");
}

/* ---- words beside the lines ---- */

struct label {
    double y, at; /* where it stands; what it names */
    char text[64];
};

static int higher(const void *a, const void *b) {
    const struct label *left = a, *right = b;
    return (left->at > right->at) - (left->at < right->at);
}

static void add_label(struct label *label, size_t *count, const struct axis *axis, double value,
                      const char *words) {
    if (isfinite(value) && *count < LABELS_MOST) {
        char number[32];
        struct label *fresh = &label[(*count)++];
        fresh->at = y_of(axis, value);
        kb_show_number(number, sizeof number, value, axis->decimals + 1);
        (void)snprintf(fresh->text, sizeof fresh->text, "%s %s", words, number);
    }
}

/* Pushed apart so that none covers another, each with a line to what it names. */
static void put_labels(const struct drawing *drawing, struct label *label, size_t count,
                       const struct axis *axis) {
    const double end = WIDTH - RIGHT;
    qsort(label, count, sizeof *label, higher);
    double floor_y = axis->top - LABEL_STEP;
    for (size_t i = 0; i < count; i++) {
        label[i].y = fmax(label[i].at, floor_y + LABEL_STEP);
        floor_y = label[i].y;
    }
    double roof_y = axis->top + axis->depth + LABEL_STEP;
    for (size_t i = count; i-- > 0;) {
        label[i].y = fmin(label[i].y, roof_y - LABEL_STEP);
        roof_y = label[i].y;
    }
    for (size_t i = 0; i < count; i++) {
        kb_text_format(drawing->out,
                       "<path d=\"M%.1f %.1fl10 %.1f\" fill=\"none\" stroke=\"#59606a\" "
                       "stroke-width=\"0.7\" /><text x=\"%.1f\" y=\"%.1f\" font-size=\"11\">",
                       end + 1.0, label[i].at, label[i].y - label[i].at, end + 14.0,
                       label[i].y + 4.0);
        kb_html_text(drawing->out, label[i].text);
        kb_text_add(drawing->out, "</text>\n");
    }
}

static void labels(const struct drawing *drawing) {
    const struct kb_chart *chart = drawing->chart;
    const struct kb_chart_stretch *last = &chart->stretch[chart->stretches - 1];
    const struct kb_chart_point *point = &chart->point[chart->points - 1];
    struct label label[LABELS_MOST];
    size_t count = 0;
    add_label(label, &count, &drawing->value, point->high, "specified most");
    add_label(label, &count, &drawing->value, point->low, "specified least");
    if (last->limited) {
        add_label(label, &count, &drawing->value, last->upper, "upper control");
        add_label(label, &count, &drawing->value, last->mean, "mean");
        add_label(label, &count, &drawing->value, last->lower, "lower control");
    }
    put_labels(drawing, label, count, &drawing->value);
    count = 0;
    if (last->limited) {
        add_label(label, &count, &drawing->range, last->range_upper, "upper control");
        add_label(label, &count, &drawing->range, last->range_mean, "mean range");
    }
    put_labels(drawing, label, count, &drawing->range);
}

/* ---- castings ---- */

static void joined(const struct drawing *drawing, const struct axis *axis, bool ranges) {
    kb_text_add(drawing->out, "<path fill=\"none\" stroke=\"#5a74bd\" stroke-width=\"1.1\" d=\"");
    bool open = false;
    for (size_t i = 0; i < drawing->count; i++) {
        const size_t at = drawing->first + i;
        const struct kb_chart_point *point = &drawing->chart->point[at];
        const double value = ranges ? point->range : point->value;
        const bool begins = !open || (point->begins && !ranges);
        open = isfinite(value);
        if (open) {
            kb_text_format(drawing->out, "%s%.1f %.1f", begins ? "M" : "L",
                           x_of(drawing, (double)at), y_of(axis, value));
        }
    }
    kb_text_add(drawing->out, "\" />\n");
}

static void lozenge(struct kb_text *out, double x, double y) {
    kb_text_format(out, "<path d=\"M%.1f %.1fl6 6-6 6-6-6z\" fill=\"" INK "\" />", x, y - 6.0);
}

static void cross(struct kb_text *out, double x, double y) {
    kb_text_format(out,
                   "<path d=\"M%.1f %.1fl12 12m0-12l-12 12\" fill=\"none\" stroke=\"#fff\" "
                   "stroke-width=\"4\" /><path d=\"M%.1f %.1fl12 12m0-12l-12 12\" fill=\"none\" "
                   "stroke=\"#9c2226\" stroke-width=\"2\" />",
                   x - 6.0, y - 6.0, x - 6.0, y - 6.0);
}

static void disc(struct kb_text *out, double x, double y) {
    kb_text_format(out, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"3\" fill=\"" LINE "\" />", x, y);
}

static bool outside(const struct kb_chart_point *point) {
    return point->value < point->low || point->value > point->high;
}

/* One above the other, away from the mean: neighbours stand close. */
static void rule_numbers(struct kb_text *out, unsigned broken, double x, double y, bool up) {
    const double line = 10.5;
    y += up ? -10.0 : 18.0;
    for (unsigned rule = KB_CHART_BEYOND; rule < KB_CHART_RULES_END; rule++) {
        if ((broken & KB_CHART_BIT(rule)) != 0) {
            kb_text_format(out,
                           "<text x=\"%.1f\" y=\"%.1f\" font-size=\"10\" "
                           "text-anchor=\"middle\">%u</text>",
                           x, y, rule);
            y += up ? -line : line;
        }
    }
}

static void casting(const struct drawing *drawing, size_t at) {
    const struct kb_chart_point *point = &drawing->chart->point[at];
    const struct axis *axis = &drawing->value;
    const double x = x_of(drawing, (double)at), y = y_of(axis, point->value);
    if (isfinite(point->lo) && isfinite(point->hi)) {
        kb_text_format(drawing->out,
                       "<line x1=\"%.1f\" x2=\"%.1f\" y1=\"%.1f\" y2=\"%.1f\" stroke=\"#9aa6cf\" "
                       "stroke-width=\"1\" />",
                       x, x, y_of(axis, fmin(point->hi, axis->high)),
                       y_of(axis, fmax(point->lo, axis->low)));
    }
    if (point->broken != 0) {
        const bool above = point->value >= drawing->chart->stretch[point->stretch].mean;
        lozenge(drawing->out, x, y);
        rule_numbers(drawing->out, point->broken, x, y, above);
    }
    if (outside(point)) {
        cross(drawing->out, x, y);
    } else if (point->broken == 0) {
        disc(drawing->out, x, y);
    }
    if (isfinite(point->range)) {
        const double range = y_of(&drawing->range, point->range);
        if (point->range_beyond) {
            lozenge(drawing->out, x, range);
        } else {
            disc(drawing->out, x, range);
        }
    }
    kb_text_add(drawing->out, "\n");
}

/* The drift as a heavy line with an open arrow, over the castings that it comes from. */
static void drift(const struct drawing *drawing) {
    const struct kb_chart *chart = drawing->chart;
    const struct kb_chart_trend *trend = &chart->trend;
    if (!trend->known || !trend->drifts) {
        return;
    }
    const double end = (double)chart->points - 1.0,
                 begin = fmax(end - (double)trend->count + 1.0, (double)drawing->first);
    const double x = x_of(drawing, end), y = y_of(&drawing->value, trend->level);
    const double x0 = x_of(drawing, begin),
                 y0 = y_of(&drawing->value, trend->level - trend->slope * (end - begin));
    const double turn = atan2(y - y0, x - x0), spread = 0.45, head = 11.0; /* of the arrow */
    kb_text_format(drawing->out,
                   "<path d=\"M%.1f %.1fL%.1f %.1fm%.1f %.1fl%.1f %.1fl%.1f %.1f\" fill=\"none\" "
                   "stroke=\"" INK "\" stroke-width=\"2\" stroke-dasharray=\"none\" "
                   "opacity=\"0.75\" />\n",
                   x0, y0, x, y, -head * cos(turn - spread), -head * sin(turn - spread),
                   head * cos(turn - spread), head * sin(turn - spread), -head * cos(turn + spread),
                   -head * sin(turn + spread));
}

/* ---- the whole ---- */

static void begin(const struct drawing *drawing, bool alone) {
    struct kb_text *out = drawing->out;
    const struct kb_chart *chart = drawing->chart;
    kb_text_format(out, "<svg viewBox=\"0 0 %d %d\" role=\"img\"%s", WIDTH, HEIGHT,
                   alone ? " xmlns=\"http://www.w3.org/2000/svg\"" : "");
    if (alone) {
        kb_text_format(out,
                       " width=\"%d\" height=\"%d\"><style>text{font-family:system-ui,sans-serif;"
                       "fill:#59606a}</style><rect width=\"%d\" height=\"%d\" fill=\"#fff\" />",
                       WIDTH, HEIGHT, WIDTH, HEIGHT);
    } else {
        kb_text_add(out, ">");
    }
    kb_text_add(out, "<title>Control chart: ");
    kb_html_text(out, kb_quantity_words(chart->quantity));
    kb_text_add(out, "</title>\n<text x=\"4\" y=\"14\" font-size=\"13\" font-weight=\"600\">");
    if (chart->casting != NULL && chart->casting[0] != '\0') {
        kb_svg_own(out, chart->casting);
        kb_text_add(out, ": ");
    }
    kb_html_text(out, kb_quantity_words(chart->quantity));
    kb_text_format(out, ", %s</text>\n", kb_show_unit(kb_quantity_unit(chart->quantity)));
    if (drawing->count < chart->points) {
        kb_text_format(out,
                       "<text x=\"%d\" y=\"14\" font-size=\"11\" text-anchor=\"end\">the last %zu "
                       "of %zu castings</text>\n",
                       WIDTH - 4, drawing->count, chart->points);
    }
    kb_text_format(out, "<text x=\"%d\" y=\"%d\" font-size=\"11\">Moving range</text>\n", LEFT,
                   TOP + PLOT + GAP - 5);
}

static void legend(const struct drawing *drawing) {
    const int y = HEIGHT - 12;
    struct kb_text *out = drawing->out;
    disc(out, LEFT + 4.0, y - 4.0);
    kb_text_format(out,
                   "<text x=\"%d\" y=\"%d\" font-size=\"11\">casting, with its 95 %% interval"
                   "</text>\n",
                   LEFT + 14, y);
    lozenge(out, LEFT + 216.0, y - 4.0);
    kb_text_format(out,
                   "<text x=\"%d\" y=\"%d\" font-size=\"11\">breaks the rule of that number"
                   "</text>\n",
                   LEFT + 228, y);
    cross(out, LEFT + 418.0, y - 4.0);
    kb_text_format(out,
                   "<text x=\"%d\" y=\"%d\" font-size=\"11\">outside the specification"
                   "</text>\n",
                   LEFT + 430, y);
}

void kb_svg_chart(struct kb_text *out, const struct kb_chart *chart, bool alone) {
    if (chart->points == 0) {
        return;
    }
    struct drawing drawing = {.chart = chart, .out = out};
    drawing.count = chart->points < SHOWN_MOST ? chart->points : SHOWN_MOST;
    drawing.first = chart->points - drawing.count;
    find_axes(&drawing);
    begin(&drawing, alone);
    axis_lines(&drawing, &drawing.value, TICKS_MOST);
    axis_lines(&drawing, &drawing.range, TICKS_MOST / 2);
    for (size_t i = 0; i < chart->stretches; i++) {
        stretch_lines(&drawing, &chart->stretch[i]);
    }
    specification(&drawing);
    baseline(&drawing);
    joined(&drawing, &drawing.value, false);
    joined(&drawing, &drawing.range, true);
    for (size_t i = 0; i < drawing.count; i++) {
        casting(&drawing, drawing.first + i);
    }
    drift(&drawing);
    labels(&drawing);
    dates(&drawing);
    legend(&drawing);
    kb_text_add(out, "</svg>");
}

enum kb_status kb_report_chart_svg(const struct kb_chart *chart, bool alone, struct kb_text *out,
                                   struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    kb_svg_chart(out, chart, alone);
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}

enum kb_status kb_report_history_chart(struct kb_register *reg, const char *casting,
                                       enum kb_quantity quantity, struct kb_text *svg,
                                       struct kb_findings *findings, struct kb_err *err) {
    struct kb_chart chart;
    enum kb_status status = kb_register_chart(reg, casting, quantity, NULL, &chart, err);
    if (status != KB_OK) {
        return status;
    }
    for (size_t i = 0; i < chart.findings.count && status == KB_OK; i++) {
        const struct kb_finding *finding = &chart.findings.item[i];
        status =
            kb_findings_add(findings, err, finding->severity, finding->code, "%s", finding->text);
    }
    if (status == KB_OK) {
        status = kb_report_chart_svg(&chart, false, svg, err);
    }
    kb_chart_release(&chart);
    return status;
}
