/* svg_bars.c - a histogram as inline SVG, with axes that a person can read off. */
#include "html_priv.h"

/* The drawing's own units; it scales with the page. */
enum {
    WIDTH = 480,
    HEIGHT = 250,
    LEFT = 46,
    RIGHT = 12,
    TOP = 30,
    LEAST_SPAN = 26,
    BOTTOM = 46,
    X_LABELS_MOST = 10,
    Y_LABELS_MOST = 5
};

static double highest(const struct kb_bars *bars) {
    double most = 1.0;
    for (size_t i = 0; i < bars->count; i++) {
        most = bars->height[i] > most ? bars->height[i] : most;
    }
    return most;
}

/* Least of 1, 2, 5, 10, ... that divides `range` into at most `most` parts. */
static size_t round_step(size_t range, size_t most) {
    static const size_t step[] = {1, 2, 5};
    for (size_t decade = 1;; decade *= 10) {
        for (size_t i = 0; i < KB_COUNT_OF(step); i++) {
            if (step[i] * decade * most >= range) {
                return step[i] * decade;
            }
        }
    }
}

static double x_at(const struct kb_bars *bars, double value) {
    double span = bars->width * (double)bars->count;
    return LEFT + (value - bars->low) / span * (WIDTH - LEFT - RIGHT);
}

static double y_at(double height, double top) {
    return HEIGHT - BOTTOM - height / top * (HEIGHT - TOP - BOTTOM);
}

static void y_axis(struct kb_text *out, const struct kb_bars *bars, size_t step, size_t top) {
    for (size_t at = 0; at <= top; at += step) {
        double y = y_at((double)at, (double)top);
        kb_text_format(
            out,
            "<line x1=\"%d\" x2=\"%d\" y1=\"%.1f\" y2=\"%.1f\" stroke=\"#d3d6da\" />"
            "<text x=\"%d\" y=\"%.1f\" font-size=\"12\" text-anchor=\"end\">%zu</text>\n",
            LEFT, WIDTH - RIGHT, y, y, LEFT - 6, y + 4.0, at);
    }
    kb_text_format(out, "<text x=\"%d\" y=\"14\" font-size=\"12\">", LEFT);
    kb_html_text(out, bars->y_title);
    kb_text_add(out, "</text>\n");
}

static void x_axis(struct kb_text *out, const struct kb_bars *bars) {
    size_t every = round_step(bars->count, X_LABELS_MOST);
    for (size_t i = 0; i <= bars->count; i += every) {
        char label[32];
        double value = bars->low + (double)i * bars->width;
        kb_show_number(label, sizeof label, value, bars->decimals);
        kb_text_format(
            out, "<text x=\"%.1f\" y=\"%d\" font-size=\"12\" text-anchor=\"middle\">%s</text>\n",
            x_at(bars, value), HEIGHT - BOTTOM + 17, label);
    }
    kb_text_format(out, "<text x=\"%d\" y=\"%d\" font-size=\"12\" text-anchor=\"middle\">",
                   (LEFT + WIDTH - RIGHT) / 2, HEIGHT - 8);
    kb_html_text(out, bars->x_title);
    kb_text_add(out, "</text>\n");
}

static void cut_line(struct kb_text *out, const struct kb_bars *bars) {
    if (!isfinite(bars->cut)) {
        return;
    }
    double x = x_at(bars, bars->cut);
    kb_text_format(out,
                   "<line x1=\"%.1f\" x2=\"%.1f\" y1=\"%d\" y2=\"%d\" stroke=\"#1d2026\" "
                   "stroke-width=\"1.5\" stroke-dasharray=\"5 3\" />\n"
                   "<text x=\"%.1f\" y=\"14\" font-size=\"12\" text-anchor=\"middle\">",
                   x, x, TOP - 6, HEIGHT - BOTTOM, x);
    kb_html_text(out, bars->cut_words);
    kb_text_add(out, "</text>\n");
}

/* Dotted lines between the named parts, their names above. */
static void spans(struct kb_text *out, const struct kb_bars *bars) {
    double end = bars->low + bars->width * (double)bars->count;
    for (size_t i = 0; i < bars->spans && bars->span[i].low < end; i++) {
        double low = fmax(bars->span[i].low, bars->low), high = fmin(bars->span[i].high, end);
        double x = x_at(bars, low);
        if (low > bars->low) {
            kb_text_format(out,
                           "<line x1=\"%.1f\" x2=\"%.1f\" y1=\"%d\" y2=\"%d\" stroke=\"#59606a\" "
                           "stroke-dasharray=\"1 3\" />\n",
                           x, x, TOP - 8, HEIGHT - BOTTOM);
        }
        if (x_at(bars, high) - x > LEAST_SPAN) {
            kb_text_format(out,
                           "<text x=\"%.1f\" y=\"%d\" font-size=\"11\" text-anchor=\"middle\">",
                           0.5 * (x + x_at(bars, high)), TOP - 5);
            kb_html_text(out, bars->span[i].words);
            kb_text_add(out, "</text>\n");
        }
    }
}

void kb_svg_bars(struct kb_text *out, const struct kb_bars *bars) {
    size_t most = (size_t)ceil(highest(bars));
    size_t step = round_step(most, Y_LABELS_MOST);
    size_t top = (most + step - 1) / step * step;
    kb_text_format(out, "<svg viewBox=\"0 0 %d %d\" role=\"img\"><title>", WIDTH, HEIGHT);
    kb_html_text(out, bars->title);
    kb_text_add(out, "</title>\n");
    y_axis(out, bars, step, top);
    for (size_t i = 0; i < bars->count; i++) {
        double left = bars->low + (double)i * bars->width;
        bool below = isfinite(bars->cut) && left + 0.5 * bars->width < bars->cut;
        double x = x_at(bars, left), y = y_at(bars->height[i], (double)top);
        if (bars->height[i] > 0.0) {
            kb_text_format(out,
                           "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" fill=\"%s\" "
                           "stroke=\"#14328c\" stroke-width=\"1\" />\n",
                           x + 1.0, y, x_at(bars, left + bars->width) - x - 2.0,
                           HEIGHT - BOTTOM - y, below ? "url(#hatch-bar)" : "#5a74bd");
        }
    }
    kb_text_format(out, "<line x1=\"%d\" x2=\"%d\" y1=\"%d\" y2=\"%d\" stroke=\"#1d2026\" />\n",
                   LEFT, WIDTH - RIGHT, HEIGHT - BOTTOM, HEIGHT - BOTTOM);
    x_axis(out, bars);
    spans(out, bars);
    cut_line(out, bars);
    kb_text_add(out, "</svg>");
}
