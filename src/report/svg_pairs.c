/* svg_pairs.c - two distributions over the same classes, side by side: hatched and full bars. */
#include "html_priv.h"

/* The drawing's own units; it scales with the page. */
enum { WIDTH = 480, HEIGHT = 250, LEFT = 46, RIGHT = 12, TOP = 34, BOTTOM = 46, LABELS_MOST = 8 };

struct frame {
    double low, high; /* of the classes */
    double top;       /* of the shares, per cent */
};

static double x_at(const struct frame *frame, double value) {
    return LEFT + (value - frame->low) / (frame->high - frame->low) * (WIDTH - LEFT - RIGHT);
}

static double y_at(const struct frame *frame, double share) {
    return HEIGHT - BOTTOM - share / frame->top * (HEIGHT - TOP - BOTTOM);
}

static double round_up(double value) {
    static const double step[] = {10.0, 20.0, 25.0, 40.0, 50.0, 60.0, 80.0, 100.0};
    for (size_t i = 0; i < KB_COUNT_OF(step); i++) {
        if (value <= step[i]) {
            return step[i];
        }
    }
    return ceil(value / 50.0) * 50.0;
}

static void axes(struct kb_text *out, const struct frame *frame, const struct kb_pairs *pairs) {
    const int parts = 5;
    for (int i = 0; i <= parts; i++) {
        double share = frame->top * i / parts;
        double y = y_at(frame, share);
        kb_text_format(out,
                       "<line x1=\"%d\" x2=\"%d\" y1=\"%.1f\" y2=\"%.1f\" stroke=\"#d3d6da\" />"
                       "<text x=\"%d\" y=\"%.1f\" font-size=\"12\" text-anchor=\"end\">%.0f</text>"
                       "\n",
                       LEFT, WIDTH - RIGHT, y, y, LEFT - 6, y + 4.0, share);
    }
    size_t every = (pairs->count + LABELS_MOST - 1) / LABELS_MOST;
    for (size_t i = 0; i <= pairs->count; i += every) {
        char label[32];
        kb_show_number(label, sizeof label, pairs->bound[i], pairs->decimals);
        kb_text_format(
            out, "<text x=\"%.1f\" y=\"%d\" font-size=\"12\" text-anchor=\"middle\">%s</text>\n",
            x_at(frame, pairs->bound[i]), HEIGHT - BOTTOM + 17, label);
    }
    kb_text_format(out,
                   "<line x1=\"%d\" x2=\"%d\" y1=\"%d\" y2=\"%d\" stroke=\"#1d2026\" />"
                   "<text x=\"%d\" y=\"%d\" font-size=\"12\" text-anchor=\"middle\">",
                   LEFT, WIDTH - RIGHT, HEIGHT - BOTTOM, HEIGHT - BOTTOM,
                   (LEFT + WIDTH - RIGHT) / 2, HEIGHT - 8);
    kb_html_text(out, pairs->x_title);
    kb_text_add(out, "</text>\n");
}

static void bar(struct kb_text *out, const struct frame *frame, double x0, double x1, double share,
                const char *fill) {
    double y = y_at(frame, share);
    if (share > 0.0) {
        kb_text_format(out,
                       "<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" fill=\"%s\" "
                       "stroke=\"#14328c\" stroke-width=\"1\" />\n",
                       x0, y, x1 - x0, HEIGHT - BOTTOM - y, fill);
    }
}

static void whisker(struct kb_text *out, const struct frame *frame, double x, double low,
                    double high) {
    if (isfinite(low) && isfinite(high) && high > low) {
        double from = y_at(frame, low), to = y_at(frame, fmin(high, frame->top));
        kb_text_format(out,
                       "<path d=\"M%.1f %.1fV%.1fm-3 0h6\" fill=\"none\" stroke=\"#1d2026\" "
                       "stroke-width=\"1.2\" />\n",
                       x, from, to);
    }
}

static void key(struct kb_text *out, int x, const char *fill, const char *words) {
    kb_text_format(out,
                   "<rect x=\"%d\" y=\"6\" width=\"14\" height=\"10\" fill=\"%s\" "
                   "stroke=\"#14328c\" /><text x=\"%d\" y=\"15\" font-size=\"12\">",
                   x, fill, x + 20);
    kb_html_text(out, words);
    kb_text_add(out, "</text>\n");
}

void kb_svg_pairs(struct kb_text *out, const struct kb_pairs *pairs) {
    struct frame frame = {pairs->bound[0], pairs->bound[pairs->count], 0.0};
    for (size_t i = 0; i < pairs->count; i++) {
        frame.top = fmax(frame.top, fmax(pairs->left[i], pairs->right[i]));
        frame.top = fmax(frame.top, isfinite(pairs->high[i]) ? fmin(pairs->high[i], 100.0) : 0.0);
    }
    frame.top = round_up(frame.top);
    kb_text_format(out, "<svg viewBox=\"0 0 %d %d\" role=\"img\"><title>", WIDTH, HEIGHT);
    kb_html_text(out, pairs->title);
    kb_text_add(out, "</title>\n");
    axes(out, &frame, pairs);
    for (size_t i = 0; i < pairs->count; i++) {
        double x0 = x_at(&frame, pairs->bound[i]), x1 = x_at(&frame, pairs->bound[i + 1]);
        double middle = 0.5 * (x0 + x1), gap = fmin(2.0, 0.1 * (x1 - x0));
        bar(out, &frame, x0 + gap, middle, pairs->left[i], "url(#hatch-bar)");
        bar(out, &frame, middle, x1 - gap, pairs->right[i], "#5a74bd");
        whisker(out, &frame, 0.5 * (middle + x1 - gap), pairs->low[i], pairs->high[i]);
    }
    key(out, LEFT, "url(#hatch-bar)", pairs->left_words);
    key(out, LEFT + 200, "#5a74bd", pairs->right_words);
    kb_text_add(out, "</svg>");
}
