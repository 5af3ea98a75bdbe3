/* svg_dots.c - the specimens of a batch side by side: one mark each with its interval, the limits
 * as lines or, where they differ, as a tick at each mark, at the right the mean of all with its
 * interval.
 *
 * Shapes are those of the verdicts: disc accepted, square rejected, open diamond undecided, ring
 * without a limit; so that they stay apart without colour.
 */
#include "html_batch_priv.h"

enum {
    NARROW = 480,
    WIDE = 980,
    HEIGHT = 250,
    LEFT = 52,
    RIGHT = 14,
    TOP = 30,
    BOTTOM = 44,
    TICKS_MOST = 5,
    LABEL_ROOM = 26, /* along the axis, a label */
    MEAN_ROOM = 52,  /* at the right, for the mean of all */
};

struct plot {
    const struct kb_dots *dots;
    int width, right; /* of the drawing; where the specimens end */
    double low, high; /* of the axis */
    double step;
    int decimals;
};

static void widen(struct plot *plot, double value) {
    if (isfinite(value)) {
        plot->low = fmin(plot->low, value);
        plot->high = fmax(plot->high, value);
    }
}

/* Least of 1, 2, 5 times a power of ten that divides `range` into at most TICKS_MOST parts. */
static double round_step(double range) {
    const double raw = range / TICKS_MOST, decade = pow(10.0, floor(log10(raw)));
    static const double step[] = {1.0, 2.0, 5.0, 10.0};
    for (size_t i = 0; i < KB_COUNT_OF(step); i++) {
        if (step[i] * decade >= raw * (1.0 - 1e-9)) { /* not past a step that fits exactly */
            return step[i] * decade;
        }
    }
    return 10.0 * decade;
}

static struct plot plot_of(const struct kb_dots *dots) {
    struct plot plot = {.dots = dots, .width = dots->count > KB_DOTS_NARROW ? WIDE : NARROW};
    plot.right = plot.width - RIGHT - (isfinite(dots->mean) ? MEAN_ROOM : 0);
    plot.low = (double)INFINITY;
    plot.high = -(double)INFINITY;
    for (size_t i = 0; i < dots->count; i++) {
        const struct kb_dot *dot = &dots->dot[i];
        const double value[] = {dot->value, dot->lo, dot->hi, dot->low, dot->high};
        for (size_t k = 0; k < KB_COUNT_OF(value); k++) {
            widen(&plot, value[k]);
        }
    }
    if (!(plot.low <= plot.high)) {
        plot.low = 0.0;
        plot.high = 1.0;
    }
    double margin = 0.08 * (plot.high - plot.low); /* marks stay clear of the frame */
    margin = margin > 0.0 ? margin : 0.05 * fabs(plot.high) + 1.0;
    plot.low -= margin;
    plot.high += margin;
    plot.step = round_step(plot.high - plot.low);
    plot.decimals = plot.step < 1.0 ? (int)ceil(-log10(plot.step) - 1e-9) : 0;
    return plot;
}

static double y_at(const struct plot *plot, double value) {
    const double clipped = fmin(fmax(value, plot->low), plot->high);
    return TOP + (plot->high - clipped) / (plot->high - plot->low) * (HEIGHT - TOP - BOTTOM);
}

static double x_at(const struct plot *plot, size_t i) {
    return LEFT + ((double)i + 0.5) / (double)plot->dots->count * (plot->right - LEFT);
}

static void y_axis(struct kb_text *out, const struct plot *plot) {
    const long first = lround(ceil(plot->low / plot->step));
    const long last = lround(floor(plot->high / plot->step));
    for (long i = first; i <= last; i++) {
        const double at = (double)i * plot->step;
        char label[32];
        kb_show_number(label, sizeof label, at, plot->decimals);
        kb_text_format(out,
                       "<line x1=\"%d\" x2=\"%d\" y1=\"%.1f\" y2=\"%.1f\" stroke=\"#d3d6da\" />"
                       "<text x=\"%d\" y=\"%.1f\" font-size=\"12\" text-anchor=\"end\">%s</text>\n",
                       LEFT, plot->width - RIGHT, y_at(plot, at), y_at(plot, at), LEFT - 6,
                       y_at(plot, at) + 4.0, label);
    }
    kb_text_format(out, "<text x=\"%d\" y=\"14\" font-size=\"12\">", LEFT);
    kb_html_text(out, plot->dots->unit);
    kb_text_add(out, "</text>\n");
}

static void x_axis(struct kb_text *out, const struct plot *plot) {
    const double room = (double)(plot->right - LEFT) / (double)plot->dots->count;
    const size_t every =
        room >= LABEL_ROOM ? 1 : (size_t)round_step(TICKS_MOST * LABEL_ROOM / room);
    for (size_t i = 0; i < plot->dots->count; i++) {
        const size_t number = plot->dots->dot[i].number;
        if (every <= 1 || number % every == 0) {
            kb_text_format(out,
                           "<text x=\"%.1f\" y=\"%d\" font-size=\"12\" text-anchor=\"middle\">%zu"
                           "</text>\n",
                           x_at(plot, i), HEIGHT - BOTTOM + 17, number);
        }
    }
    kb_text_format(out,
                   "<line x1=\"%d\" x2=\"%d\" y1=\"%d\" y2=\"%d\" stroke=\"#1d2026\" />\n"
                   "<text x=\"%d\" y=\"%d\" font-size=\"12\" text-anchor=\"middle\">specimen, "
                   "number in the table</text>\n",
                   LEFT, plot->width - RIGHT, HEIGHT - BOTTOM, HEIGHT - BOTTOM,
                   (LEFT + plot->right) / 2, HEIGHT - 8);
}

/* A limit of all as a line, the side that is not allowed shaded. */
static void limit_line(struct kb_text *out, const struct plot *plot, double value, bool least) {
    if (!isfinite(value)) {
        return;
    }
    const double y = y_at(plot, value);
    const double top = least ? y : TOP, height = least ? HEIGHT - BOTTOM - y : y - TOP;
    kb_text_format(out,
                   "<rect x=\"%d\" y=\"%.1f\" width=\"%d\" height=\"%.1f\" fill=\"#1d2026\" "
                   "fill-opacity=\"0.06\" />"
                   "<line x1=\"%d\" x2=\"%d\" y1=\"%.1f\" y2=\"%.1f\" stroke=\"#1d2026\" "
                   "stroke-width=\"1.500\" />\n",
                   LEFT, top, plot->width - LEFT - RIGHT, fmax(height, 0.0), LEFT,
                   plot->width - RIGHT, y, y);
}

static bool limits_of_all(const struct kb_dots *dots) {
    for (size_t i = 1; i < dots->count; i++) {
        const struct kb_dot *one = &dots->dot[0], *other = &dots->dot[i];
        if (isfinite(one->low) != isfinite(other->low) || one->low > other->low ||
            one->low < other->low || isfinite(one->high) != isfinite(other->high) ||
            one->high > other->high || one->high < other->high) {
            return false;
        }
    }
    return dots->count > 0;
}

static void own_tick(struct kb_text *out, const struct plot *plot, size_t i, double value) {
    if (isfinite(value)) {
        kb_text_format(out,
                       "<line x1=\"%.1f\" x2=\"%.1f\" y1=\"%.1f\" y2=\"%.1f\" stroke=\"#1d2026\" "
                       "stroke-width=\"1.500\" />\n",
                       x_at(plot, i) - 8.0, x_at(plot, i) + 8.0, y_at(plot, value),
                       y_at(plot, value));
    }
}

static void limits(struct kb_text *out, const struct plot *plot) {
    const struct kb_dots *dots = plot->dots;
    if (limits_of_all(dots)) {
        limit_line(out, plot, dots->dot[0].low, true);
        limit_line(out, plot, dots->dot[0].high, false);
        return;
    }
    for (size_t i = 0; i < dots->count; i++) {
        own_tick(out, plot, i, dots->dot[i].low);
        own_tick(out, plot, i, dots->dot[i].high);
    }
}

static void mark(struct kb_text *out, double x, double y, enum kb_outcome outcome, double size) {
    switch (outcome) {
    case KB_ACCEPT:
        kb_text_format(out, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"%.1f\" fill=\"#17603f\" />\n", x,
                       y, size);
        break;
    case KB_REJECT:
        kb_text_format(out,
                       "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" "
                       "fill=\"#9c2226\" />\n",
                       x - size, y - size, 2.0 * size, 2.0 * size);
        break;
    case KB_UNDECIDED:
        kb_text_format(out,
                       "<path d=\"M%.1f %.1fl%.1f %.1fl%.1f %.1fl%.1f %.1fz\" fill=\"#fff\" "
                       "stroke=\"#7a5200\" stroke-width=\"2\" />\n",
                       x, y - 1.3 * size, 1.3 * size, 1.3 * size, -1.3 * size, 1.3 * size,
                       -1.3 * size, -1.3 * size);
        break;
    default:
        kb_text_format(out,
                       "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"%.1f\" fill=\"#fff\" "
                       "stroke=\"#59606a\" stroke-width=\"2\" />\n",
                       x, y, size);
    }
}

static void dot(struct kb_text *out, const struct plot *plot, size_t i) {
    const struct kb_dot *dot = &plot->dots->dot[i];
    const double x = x_at(plot, i), room = (plot->right - LEFT) / (double)plot->dots->count;
    const double cap = fmin(4.0, 0.3 * room); /* half of an interval's end stroke */
    if (!isfinite(dot->value)) {
        return;
    }
    if (isfinite(dot->lo) && isfinite(dot->hi)) {
        const double y0 = y_at(plot, dot->lo), y1 = y_at(plot, dot->hi);
        kb_text_format(out,
                       "<path d=\"M%.1f %.1fV%.1fM%.1f %.1fh%.1fM%.1f %.1fh%.1f\" fill=\"none\" "
                       "stroke=\"#1d2026\" stroke-width=\"%s\" />",
                       x, y0, y1, x - cap, y0, 2.0 * cap, x - cap, y1, 2.0 * cap,
                       room < 6.0 ? "0.7" : "1.3");
    }
    mark(out, x, y_at(plot, dot->value), dot->outcome, fmin(4.5, fmax(1.5, 0.4 * room)));
}

/* At the right, apart from the specimens; an interval that goes beyond the drawing is open there.
 */
static void mean(struct kb_text *out, const struct plot *plot) {
    const struct kb_dots *dots = plot->dots;
    if (!isfinite(dots->mean)) {
        return;
    }
    const double x = plot->right + 0.5 * MEAN_ROOM, y = y_at(plot, dots->mean);
    kb_text_format(out,
                   "<line x1=\"%d\" x2=\"%d\" y1=\"%d\" y2=\"%d\" stroke=\"#59606a\" "
                   "stroke-dasharray=\"1 3\" /><text x=\"%.1f\" y=\"%d\" font-size=\"12\" "
                   "text-anchor=\"middle\">mean</text>\n",
                   plot->right, plot->right, TOP, HEIGHT - BOTTOM, x, HEIGHT - BOTTOM + 17);
    if (isfinite(dots->mean_lo) && isfinite(dots->mean_hi)) {
        const double top = y_at(plot, dots->mean_hi), foot = y_at(plot, dots->mean_lo);
        kb_text_format(out, "<path d=\"M%.1f %.1fV%.1f", x, top, foot);
        if (dots->mean_hi <= plot->high) {
            kb_text_format(out, "M%.1f %.1fh12", x - 6.0, top);
        }
        if (dots->mean_lo >= plot->low) {
            kb_text_format(out, "M%.1f %.1fh12", x - 6.0, foot);
        }
        kb_text_add(out, "\" fill=\"none\" stroke=\"#14328c\" stroke-width=\"1.500\" />");
    }
    kb_text_format(out, "<path d=\"M%.1f %.1fh16\" stroke=\"#14328c\" stroke-width=\"4\" />\n",
                   x - 8.0, y);
}

void kb_svg_dots(struct kb_text *out, const struct kb_dots *dots) {
    const struct plot plot = plot_of(dots);
    kb_text_format(out, "<svg viewBox=\"0 0 %d %d\" role=\"img\"><title>", plot.width, HEIGHT);
    kb_html_text(out, dots->title);
    kb_text_add(out, "</title>\n");
    y_axis(out, &plot);
    limits(out, &plot); /* over the grid, which may run along a limit */
    mean(out, &plot);
    x_axis(out, &plot);
    for (size_t i = 0; i < dots->count; i++) {
        dot(out, &plot, i);
    }
    kb_text_add(out, "</svg>");
}
