/* svg_small.c - small drawings of the page: sign of the verdict, phase swatches, an interval
 * against its limit, a grey histogram with thresholds. Each says by shape what it also says by
 * colour. */
#include "html_priv.h"

void kb_svg_verdict(struct kb_text *out, enum kb_outcome outcome, int size_px) {
    /* accept: disc with tick; reject: octagon with cross; undecided: open lozenge with
     * question mark (filled, it would look like the sign for a broken letter) */
    static const char *const shape[] = {
        "<circle cx=\"32\" cy=\"32\" r=\"27\" fill=\"none\" stroke=\"currentColor\" "
        "stroke-width=\"4\" stroke-dasharray=\"9 7\" /><path d=\"M20 32h24\" fill=\"none\" "
        "stroke=\"currentColor\" stroke-width=\"5\" />",
        "<circle cx=\"32\" cy=\"32\" r=\"30\" fill=\"currentColor\" /><path d=\"M17 33l10 11 "
        "20-23\" "
        "fill=\"none\" stroke=\"#fff\" stroke-width=\"6\" />",
        "<path d=\"M20 3h24l17 17v24l-17 17h-24l-17-17v-24z\" fill=\"currentColor\" />"
        "<path d=\"M21 21l22 22m0-22l-22 22\" fill=\"none\" stroke=\"#fff\" stroke-width=\"6\" />",
        "<path d=\"M32 4l28 28-28 28-28-28z\" fill=\"none\" stroke=\"currentColor\" "
        "stroke-width=\"5\" /><path d=\"M24 25a8 8 0 1 1 11 8q-3 1.500-3 6\" fill=\"none\" "
        "stroke=\"currentColor\" stroke-width=\"5\" />"
        "<circle cx=\"32\" cy=\"46\" r=\"3.300\" fill=\"currentColor\" />",
    };
    kb_text_format(out,
                   "<svg viewBox=\"0 0 64 64\" width=\"%d\" height=\"%d\" aria-hidden=\"true\">%s"
                   "</svg>",
                   size_px, size_px, shape[outcome]);
}

static const char *pattern_name(enum kb_hatch hatch) {
    static const char *const name[] = {"", "rising", "dots", "cross", "falling"};
    return name[hatch];
}

void kb_svg_patterns(struct kb_text *out) {
    static const char *const line[] = {
        [KB_HATCH_NONE] = "",
        [KB_HATCH_RISING] = "<path d=\"M-1 1l2-2M0 6l6-6M5 7l2-2\" />",
        [KB_HATCH_DOTS] = "<circle cx=\"3\" cy=\"3\" r=\"1\" fill=\"#1d2026\" stroke=\"none\" />",
        [KB_HATCH_CROSS] = "<path d=\"M0 0l6 6M0 6l6-6\" />",
        [KB_HATCH_FALLING] = "<path d=\"M-1 5l2 2M0 0l6 6M5-1l2 2\" />",
    };
    kb_text_add(out,
                "<svg width=\"0\" height=\"0\" style=\"position:absolute\" "
                "aria-hidden=\"true\"><defs>\n"
                "<pattern id=\"hatch-bar\" width=\"6\" height=\"6\" "
                "patternUnits=\"userSpaceOnUse\"><rect width=\"6\" height=\"6\" fill=\"#fff\" />"
                "<path d=\"M-1 1l2-2M0 6l6-6M5 7l2-2\" stroke=\"#14328c\" "
                "stroke-width=\"1.200\" /></pattern>\n");
    for (int hatch = KB_HATCH_RISING; hatch <= KB_HATCH_FALLING; hatch++) {
        kb_text_format(out,
                       "<pattern id=\"hatch-%s\" width=\"6\" height=\"6\" "
                       "patternUnits=\"userSpaceOnUse\"><g fill=\"none\" stroke=\"#1d2026\" "
                       "stroke-width=\"0.8\">%s</g></pattern>\n",
                       pattern_name((enum kb_hatch)hatch), line[hatch]);
    }
    kb_text_add(out, "</defs></svg>\n");
}

static void rgb(struct kb_text *out, enum kb_phase phase) {
    const struct kb_look *look = kb_phase_look(phase);
    kb_text_format(out, "#%02x%02x%02x", look->rgb[0], look->rgb[1], look->rgb[2]);
}

void kb_svg_swatch(struct kb_text *out, enum kb_phase phase) {
    enum kb_hatch hatch = kb_phase_look(phase)->hatch;
    kb_text_add(out, "<svg class=\"swatch\" width=\"26\" height=\"15\" viewBox=\"0 0 26 15\" "
                     "aria-hidden=\"true\"><rect x=\"0.5\" y=\"0.5\" width=\"25\" height=\"14\" "
                     "stroke=\"#1d2026\" fill=\"");
    rgb(out, phase);
    kb_text_add(out, "\" />");
    if (hatch != KB_HATCH_NONE) {
        kb_text_format(
            out, "<rect x=\"1\" y=\"1\" width=\"24\" height=\"13\" fill=\"url(#hatch-%s)\" />",
            pattern_name(hatch));
    }
    kb_text_add(out, "</svg>");
}

/* ---- interval against limit --------------------------------------------------------------------
 */

struct span {
    double low, high;
};

static void widen(struct span *span, double value) {
    if (isfinite(value)) {
        span->low = fmin(span->low, value);
        span->high = fmax(span->high, value);
    }
}

/* Range to draw: everything finite, with a quarter more on either side. */
static struct span limit_range(const struct kb_limit_result *limit, bool interval) {
    struct span span = {(double)INFINITY, -(double)INFINITY};
    widen(&span, limit->limit.low);
    widen(&span, limit->limit.high);
    widen(&span, limit->value.value);
    if (interval) {
        widen(&span, limit->value.lo);
        widen(&span, limit->value.hi);
    }
    if (!(span.low <= span.high)) {
        return (struct span){0.0, 1.0};
    }
    double margin = 0.25 * (span.high - span.low);
    margin = margin > 0.0 ? margin : 0.05 * fabs(span.high) + 1.0;
    return (struct span){span.low - margin, span.high + margin};
}

enum { LIMIT_WIDTH = 150, LIMIT_HEIGHT = 26 };

static double along(struct span range, double value) {
    return (value - range.low) / (range.high - range.low) * LIMIT_WIDTH;
}

static void limit_mark(struct kb_text *out, struct span range, double value) {
    if (isfinite(value)) {
        kb_text_format(out,
                       "<line x1=\"%.1f\" x2=\"%.1f\" y1=\"1\" y2=\"%d\" stroke=\"#1d2026\" "
                       "stroke-width=\"1.500\" />",
                       along(range, value), along(range, value), LIMIT_HEIGHT - 1);
    }
}

void kb_svg_limit(struct kb_text *out, const struct kb_limit_result *limit) {
    kb_svg_limit_sized(out, limit, LIMIT_WIDTH);
}

void kb_svg_limit_sized(struct kb_text *out, const struct kb_limit_result *limit, int width_px) {
    const struct kb_estimate *value = &limit->value;
    bool measured = value->measured && isfinite(value->value);
    bool interval = measured && value->has_interval && isfinite(value->lo) && isfinite(value->hi);
    struct span range = limit_range(limit, interval);
    double low = isfinite(limit->limit.low) ? along(range, limit->limit.low) : 0.0;
    double high = isfinite(limit->limit.high) ? along(range, limit->limit.high) : LIMIT_WIDTH;
    const double middle = 0.5 * LIMIT_HEIGHT;
    kb_text_format(out,
                   "<svg viewBox=\"0 0 %d %d\" width=\"%d\" height=\"%d\" aria-hidden=\"true\">"
                   "<rect x=\"0\" y=\"%.1f\" width=\"%d\" height=\"1\" fill=\"#d3d6da\" />"
                   "<rect x=\"%.1f\" y=\"4\" width=\"%.1f\" height=\"%d\" fill=\"#dfe3dc\" />",
                   LIMIT_WIDTH, LIMIT_HEIGHT, width_px, LIMIT_HEIGHT * width_px / LIMIT_WIDTH,
                   middle - 0.5, LIMIT_WIDTH, low, fmax(high - low, 0.0), LIMIT_HEIGHT - 8);
    limit_mark(out, range, limit->limit.low);
    limit_mark(out, range, limit->limit.high);
    if (interval) {
        double x0 = along(range, value->lo), x1 = along(range, value->hi);
        kb_text_format(out,
                       "<path d=\"M%.1f %.1fH%.1fM%.1f %.1fv8M%.1f %.1fv8\" fill=\"none\" "
                       "stroke=\"#14328c\" stroke-width=\"2\" />",
                       x0, middle, x1, x0, middle - 4.0, x1, middle - 4.0);
    }
    if (measured) {
        kb_text_format(out, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"4\" fill=\"#14328c\" />",
                       along(range, value->value), middle);
    }
    kb_text_add(out, "</svg>");
}

/* ---- grey histogram ----------------------------------------------------------------------------
 */

enum { GREY_WIDTH = 512, GREY_HEIGHT = 150, GREY_BASE = 122, GREY_TOP = 24, LEVELS = 256 };

/* First level of class k: one beyond the threshold before it. */
static int class_start(const struct kb_segmentation_figures *grey, int class) {
    if (class <= 0) {
        return 0;
    }
    double level = class <= grey->thresholds && class <= 2
                       ? floor(kb_grey_level(grey, grey->threshold[class - 1])) + 1.0
                       : (double)LEVELS;
    return level < 0.0 ? 0 : level < LEVELS ? (int)level : LEVELS;
}

static void class_area(struct kb_text *out, const struct kb_segmentation_figures *grey, int class,
                       double most) {
    int start = class_start(grey, class), end = class_start(grey, class + 1);
    enum kb_hatch hatch = kb_phase_look(grey->class_phase[class])->hatch;
    if (start >= end) {
        return;
    }
    kb_text_format(out, "<path d=\"M%d %d", 2 * start, GREY_BASE);
    for (int level = start; level < end; level++) {
        double height = sqrt((double)grey->histogram[level] / most) * (GREY_BASE - GREY_TOP);
        kb_text_format(out, "V%.1fh2", GREY_BASE - height);
    }
    kb_text_format(out, "V%dz\" stroke=\"#1d2026\" stroke-width=\"0.6\" fill=\"", GREY_BASE);
    rgb(out, grey->class_phase[class]);
    kb_text_add(out, "\" />\n");
    if (hatch != KB_HATCH_NONE) {
        kb_text_format(
            out, "<rect x=\"%d\" y=\"%d\" width=\"%d\" height=\"6\" fill=\"url(#hatch-%s)\" />",
            2 * start, GREY_BASE - 6, 2 * (end - start), pattern_name(hatch));
    }
}

static void level_label(struct kb_text *out, double x, int y, const char *anchor, double value) {
    kb_text_format(out, "<text x=\"%.0f\" y=\"%d\" font-size=\"13\" text-anchor=\"%s\">", x, y,
                   anchor);
    kb_text_significant(out, isfinite(value) ? value : 0.0, 5);
    kb_text_add(out, "</text>\n");
}

void kb_svg_grey(struct kb_text *out, const struct kb_segmentation_figures *grey) {
    uint64_t most = 1;
    for (int level = 0; level < LEVELS; level++) {
        most = grey->histogram[level] > most ? grey->histogram[level] : most;
    }
    kb_text_format(out,
                   "<svg viewBox=\"0 0 %d %d\" role=\"img\"><title>Grey histogram with thresholds"
                   "</title>\n",
                   GREY_WIDTH, GREY_HEIGHT);
    for (int class = 0; class < grey->classes && class < 3; class ++) {
        class_area(out, grey, class, (double)most);
    }
    kb_text_format(out, "<line x1=\"0\" x2=\"%d\" y1=\"%d\" y2=\"%d\" stroke=\"#1d2026\" />\n",
                   GREY_WIDTH, GREY_BASE, GREY_BASE);
    for (int i = 0; i < grey->thresholds && i < 2; i++) {
        int start = class_start(grey, i + 1);
        if (isfinite(grey->threshold[i])) {
            kb_text_format(out,
                           "<line x1=\"%d\" x2=\"%d\" y1=\"16\" y2=\"%d\" stroke=\"#1d2026\" "
                           "stroke-width=\"1.500\"%s />\n",
                           2 * start, 2 * start, GREY_BASE + 4,
                           grey->origin[i] == KB_THRESHOLD_BY_HAND ? ""
                                                                   : " stroke-dasharray=\"5 3\"");
            level_label(out, 2.0 * start, 12, "middle", grey->threshold[i]);
        }
    }
    level_label(out, 0.0, GREY_HEIGHT - 10, "start", grey->grey_low);
    level_label(out, GREY_WIDTH, GREY_HEIGHT - 10, "end", grey->grey_high);
    kb_text_format(
        out,
        "<text x=\"%d\" y=\"%d\" font-size=\"13\" text-anchor=\"middle\">grey level of the "
        "file</text>\n</svg>",
        GREY_WIDTH / 2, GREY_HEIGHT - 10);
}
