/* html_calibration.c - pixel size and its source, and for each field the grey histogram with the
 * thresholds that parted the phases. */
#include "html_priv.h"

static void scale_row(struct kb_text *out, const struct kb_field_result *field, size_t first,
                      size_t last) {
    bool known = field->px_um > 0.0;
    kb_text_add(out, "<tr><td class=\"lone\">");
    if (first == last) {
        kb_text_format(out, "field %zu", first);
    } else {
        kb_text_format(out, "fields %zu to %zu", first, last);
    }
    kb_text_add(out, "</td><td class=\"n\" data-label=\"pixel size\">");
    if (known) {
        kb_text_significant(out, field->px_um, 5);
        kb_text_add(out, "&#160;µm");
    } else {
        kb_text_add(out, "unknown");
    }
    kb_text_add(out, "</td>");
    kb_html_cell(out, "source", kb_scale_source_name(field->scale_source));
    kb_text_add(out, "<td class=\"n\" data-label=\"standard uncertainty\">");
    if (known && field->px_um_u > 0.0) {
        kb_text_significant(out, field->px_um_u, 2);
        kb_text_add(out, "&#160;µm");
    } else {
        kb_text_add(out, "not stated");
    }
    kb_text_add(out, "</td></tr>\n");
}

static bool same_scale(const struct kb_field_result *a, const struct kb_field_result *b) {
    bool equal = !(fabs(a->px_um - b->px_um) > 0.0) && !(fabs(a->px_um_u - b->px_um_u) > 0.0);
    return equal && a->scale_source == b->scale_source;
}

static void scales(struct kb_text *out, const struct kb_result *result) {
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>field</th>"
                     "<th class=\"n\">pixel size</th><th>source</th>"
                     "<th class=\"n\">standard uncertainty</th></tr></thead><tbody>\n");
    size_t first = 0;
    for (size_t i = 0; i < result->fields; i++) {
        bool last =
            i + 1 == result->fields || !same_scale(&result->field[first], &result->field[i + 1]);
        if (last) {
            scale_row(out, &result->field[first], first + 1, i + 1);
            first = i + 1;
        }
    }
    kb_text_add(out,
                "</tbody></table></div>\n<p class=\"small soft\">A relative error of the pixel "
                "size goes once into lengths, twice into counts per area, and not at all into "
                "area fractions; the uncertainty budget has what is stated here.</p>\n");
}

static const char *origin_words(enum kb_threshold_origin origin) {
    return origin == KB_THRESHOLD_BY_HAND ? "set by hand" : "found";
}

static void thresholds_text(struct kb_text *out, const struct kb_segmentation_figures *grey) {
    for (int i = 0; i < grey->thresholds && i < 2; i++) {
        kb_text_add(out, i > 0 ? "; " : "");
        kb_html_text(out, kb_phase_name(grey->class_phase[i]));
        kb_text_add(out, " | ");
        kb_html_text(out, kb_phase_name(grey->class_phase[i + 1]));
        kb_text_add(out, " at ");
        if (isfinite(grey->threshold[i])) {
            kb_text_significant(out, grey->threshold[i], 5);
        } else {
            kb_text_add(out, "–");
        }
        kb_text_format(out, ", %s", origin_words(grey->origin[i]));
        if (isfinite(grey->valley[i])) {
            kb_text_format(out, ", valley %.2f", grey->valley[i]);
        }
    }
}

static void grey_figure(struct kb_text *out, const struct kb_field_result *field, size_t number) {
    const struct kb_segmentation_figures *grey = &field->segmentation;
    kb_text_add(out, "<figure>");
    kb_svg_grey(out, grey);
    kb_text_format(out, "<figcaption>Field %zu: ", number);
    thresholds_text(out, grey);
    if (isfinite(grey->separability)) {
        kb_text_format(out, "; separability %.2f", grey->separability);
    }
    if (isfinite(grey->unevenness)) {
        kb_text_format(out, "; illumination uneven by %.0f&#160;%%, %s", 100.0 * grey->unevenness,
                       grey->evened ? "evened" : "left as it was");
    }
    kb_text_add(out, "</figcaption></figure>\n");
}

static void rest_row(struct kb_text *out, const struct kb_field_result *field, size_t number) {
    kb_text_format(out, "<tr><td>%zu</td><td>", number);
    thresholds_text(out, &field->segmentation);
    kb_text_add(out, "</td>");
    kb_html_number_cell(out, NULL, field->segmentation.separability, 2, NULL);
    kb_text_add(out, "</tr>\n");
}

void kb_html_calibration(struct kb_text *out, const struct kb_result *result) {
    kb_html_section(out, "calibration", "Calibration and thresholds");
    scales(out, result);
    kb_text_add(out,
                "<h3>Grey levels and thresholds</h3>\n<p class=\"small\">Height is the square "
                "root of the number of pixels. Separability is the share of the grey variance "
                "that lies between the classes (1: perfectly apart). A valley is the histogram "
                "at the threshold over the lower peak beside it (0: clean, 1: no valley at "
                "all). The final phases also use shape and surroundings, so that their shares "
                "differ from those of the grey levels alone.</p>\n<div class=\"charts\">\n");
    size_t shown = result->fields < KB_FIELDS_SHOWN ? result->fields : KB_FIELDS_SHOWN;
    for (size_t i = 0; i < shown; i++) {
        grey_figure(out, &result->field[i], i + 1);
    }
    kb_text_add(out, "</div>\n");
    if (shown < result->fields) {
        kb_text_add(out, "<div class=\"wide\"><table><thead><tr><th>field</th><th>thresholds</th>"
                         "<th class=\"n\">separability</th></tr></thead><tbody>\n");
        for (size_t i = shown; i < result->fields; i++) {
            rest_row(out, &result->field[i], i + 1);
        }
        kb_text_add(out, "</tbody></table></div>\n");
    }
    kb_html_section_end(out);
}
