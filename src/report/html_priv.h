/* html_priv.h - pieces of report.html. Markup is XML-clean, so that any XML reader can parse it. */
#ifndef KB_HTML_PRIV_H
#define KB_HTML_PRIV_H

#include "report_priv.h"

/* ---- building blocks (html_text.c) -------------------------------------------------------------
 */

/* Text from outside, escaped for element content and for attribute values in double quotes. */
void kb_html_text(struct kb_text *out, const char *string);
/* The same of what is not the program's own words (names, paths, remarks): marked as not to be said
 * in another language. An SVG text takes kb_svg_own. */
void kb_html_own(struct kb_text *out, const char *string);
void kb_svg_own(struct kb_text *out, const char *string);
void kb_html_section(struct kb_text *out, const char *id, const char *title);
void kb_html_section_end(struct kb_text *out);
/* "91.3 %" or "not measured" with the reason; `interval`: with "(88.6 to 94.0)". */
void kb_html_estimate(struct kb_text *out, const struct kb_estimate *estimate, bool interval);
void kb_html_cell(struct kb_text *out, const char *label, const char *string); /* <td>, escaped */
void kb_html_own_cell(struct kb_text *out, const char *label, const char *string);
void kb_html_number_cell(struct kb_text *out, const char *label, double value, int decimals,
                         const char *unit);
void kb_html_findings(struct kb_text *out, const struct kb_findings *findings);
void kb_html_finding(struct kb_text *out, const struct kb_finding *finding, const char *where);
/* "2026-03-04 09:41:00 +01:00" from the same with a T. */
void kb_html_time(struct kb_text *out, const char *made_at);
void kb_html_house_mark(struct kb_text *out, const struct kb_house_mark *mark);
/* `before` and the string, which is not ours, or nothing where that is missing or empty. */
void kb_html_part(struct kb_text *out, const char *before, const char *string);
void kb_html_base64(struct kb_text *out, const uint8_t *data, size_t size);
/* Grey level 0..255 of a field on the file's own scale, and back. */
double kb_grey_level(const struct kb_segmentation_figures *figures, double file_grey);

extern const char *const kb_html_style[]; /* style sheet in parts, NULL-ended (html_style.c) */

/* ---- drawings (svg_*.c) ------------------------------------------------------------------------
 */

struct kb_bar_span {
    double low, high;
    const char *words;
};

struct kb_bars {
    const double *height; /* counts */
    size_t count;
    double low, width; /* left edge of the first bar, width of each, in axis units */
    int decimals;      /* of the axis labels */
    const char *x_title, *y_title;
    const char *title;              /* for readers who cannot see it */
    const struct kb_bar_span *span; /* named parts of the axis, left to right; NULL: none */
    size_t spans;
    double cut; /* bars left of it are hatched; NaN: none */
    const char *cut_words;
};
void kb_svg_bars(struct kb_text *out, const struct kb_bars *bars);

/* Two distributions in per cent over the same classes, bars side by side. */
struct kb_pairs {
    const double *bound;        /* count + 1, ascending */
    const double *left, *right; /* per cent in each class */
    const double *low, *high;   /* interval of `right`; NaN: none */
    size_t count;
    int decimals; /* of the axis labels */
    const char *x_title, *left_words, *right_words;
    const char *title; /* for readers who cannot see it */
};
void kb_svg_pairs(struct kb_text *out, const struct kb_pairs *pairs);
/* A control chart; see kb_report_chart_svg(). */
void kb_svg_chart(struct kb_text *out, const struct kb_chart *chart, bool alone);
void kb_svg_patterns(struct kb_text *out); /* once a page */
void kb_svg_verdict(struct kb_text *out, enum kb_outcome outcome, int size_px);
void kb_svg_swatch(struct kb_text *out, enum kb_phase phase);
void kb_svg_limit(struct kb_text *out, const struct kb_limit_result *limit);
/* The same, so many pixels wide. */
void kb_svg_limit_sized(struct kb_text *out, const struct kb_limit_result *limit, int width_px);
void kb_svg_grey(struct kb_text *out, const struct kb_segmentation_figures *figures);

/* ---- sections, in their order on the page ------------------------------------------------------
 */

void kb_html_summary(struct kb_text *out, const struct kb_result *result);
void kb_html_limits(struct kb_text *out, const struct kb_result *result);
void kb_html_phases(struct kb_text *out, const struct kb_result *result);
void kb_html_graphite(struct kb_text *out, const struct kb_result *result);
void kb_html_flakes(struct kb_text *out, const struct kb_result *result);     /* part of it */
void kb_html_counts(struct kb_text *out, const struct kb_specimen *specimen); /* part of it */
void kb_html_space(struct kb_text *out, const struct kb_result *result);
void kb_html_fields(struct kb_text *out, const struct kb_result *result);
void kb_html_carbon(struct kb_text *out, const struct kb_result *result);
void kb_html_quality(struct kb_text *out, const struct kb_result *result);
void kb_html_budget(struct kb_text *out, const struct kb_result *result);
void kb_html_calibration(struct kb_text *out, const struct kb_result *result);
/* points that were asked about; the rule of each phase, for a field (html_why.c) */
void kb_html_why(struct kb_text *out, const struct kb_result *result);
void kb_html_rules(struct kb_text *out, const struct kb_field_result *field);
/* by hand: part of the way to traceability, between findings and settings */
void kb_html_by_hand(struct kb_text *out, const struct kb_result *result);
void kb_html_by_hand_lines(struct kb_text *out, const struct kb_result *result);
void kb_html_trace(struct kb_text *out, const struct kb_result *result);

/* Fields that get pictures and drawings of their own; the rest are rows of a table. At some 0.6 MB
 * a field this keeps the page near 15 MB, which every browser and mail server still takes. */
#define KB_FIELDS_SHOWN 24

#endif
