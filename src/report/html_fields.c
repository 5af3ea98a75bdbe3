/* html_fields.c - every field: a row in a table, and for the first ones the photograph beside what
 * was counted in it. */
#include "html_priv.h"

static double percent(double fraction) {
    return 100.0 * fraction; /* NaN stays NaN, and is shown as a dash */
}

static void field_name(struct kb_text *out, const struct kb_field_result *field) {
    if (field->path != NULL) {
        kb_html_own(out, kb_base_name(field->path));
    } else {
        kb_text_add(out, "unnamed");
    }
    if (field->pages > 1) {
        kb_text_format(out, ", page %u of %u", (unsigned)field->page, (unsigned)field->pages);
    }
}

static void overview_row(struct kb_text *out, const struct kb_field_result *field, size_t number,
                         bool iron) {
    const struct kb_field_figures *figures = &field->figures;
    kb_text_format(out, "<tr><td class=\"lone path\">%zu&#160; ", number);
    field_name(out, field);
    kb_text_add(out, "</td>");
    kb_html_number_cell(out, "area, mm²", figures->area_mm2, 3, NULL);
    if (iron) {
        kb_html_number_cell(out, "graphite of field, %", percent(figures->fraction[KB_GRAPHITE]), 1,
                            NULL);
    }
    kb_html_number_cell(out, "ferrite of field, %", percent(figures->fraction[KB_FERRITE]), 1,
                        NULL);
    kb_html_number_cell(out, "pearlite of field, %", percent(figures->fraction[KB_PEARLITE]), 1,
                        NULL);
    kb_html_number_cell(out, "pearlite of matrix, %", percent(figures->pearlite_of_matrix), 1,
                        NULL);
    if (iron) {
        bool rated = figures->graphite_measured;
        double whole = figures->graphite_um2[KB_NOD_ISO945_4];
        kb_html_number_cell(
            out, "nodularity of graphite area, %",
            rated && whole > 0.0 ? percent(figures->nodular_um2[KB_NOD_ISO945_4] / whole) : KB_NAN,
            1, NULL);
        kb_html_number_cell(out, "nodules, /mm²", figures->nodules_per_mm2, 0, NULL);
        kb_html_number_cell(out, "particles counted",
                            rated ? (double)figures->particles[KB_COUNTS] : KB_NAN, 0, NULL);
    }
    kb_html_number_cell(out, "findings", (double)field->findings.count, 0, NULL);
    kb_text_add(out, "</tr>\n");
}

static void overview(struct kb_text *out, const struct kb_result *result) {
    bool iron = kb_material_is_iron(result->material);
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>field</th>"
                     "<th class=\"n\">area<br />mm²</th>");
    kb_text_add(out, iron ? "<th class=\"n\">graphite<br />% of field</th>" : "");
    kb_text_add(out, "<th class=\"n\">ferrite<br />% of field</th>"
                     "<th class=\"n\">pearlite<br />% of field</th>"
                     "<th class=\"n\">pearlite<br />% of matrix</th>");
    kb_text_add(out, iron ? "<th class=\"n\">nodularity<br />% of graphite<br />ISO 945-4</th>"
                            "<th class=\"n\">nodules<br />/mm²</th>"
                            "<th class=\"n\">particles<br />counted</th>"
                          : "");
    kb_text_add(out, "<th class=\"n\">findings</th></tr></thead><tbody>\n");
    for (size_t i = 0; i < result->fields; i++) {
        overview_row(out, &result->field[i], i + 1, iron);
    }
    kb_text_add(out, "</tbody></table></div>\n");
}

static void picture(struct kb_text *out, const uint8_t *jpeg, size_t size, size_t number,
                    const char *what) {
    kb_text_format(out, "<img alt=\"field %zu, %s\" src=\"data:image/jpeg;base64,", number, what);
    kb_html_base64(out, jpeg, size);
    kb_text_add(out, "\" />");
}

/* A name that can stand in a link as it is. */
static bool plain_name(const char *name) {
    for (const char *c = name; *c != '\0'; c++) {
        bool plain = (*c >= 'a' && *c <= 'z') || (*c >= 'A' && *c <= 'Z') ||
                     (*c >= '0' && *c <= '9') || *c == '.' || *c == '_' || *c == '-';
        if (!plain) {
            return false;
        }
    }
    return name[0] != '\0' && name[0] != '.';
}

/* How much of the specimen the pictures show, for readers of a page that was shrunk or printed. */
static void picture_size(struct kb_text *out, const struct kb_field_result *field) {
    if (field->px_um > 0.0) {
        kb_text_format(out, ", %.4g µm wide", field->px_um * field->width);
    } else {
        kb_text_add(out, ", scale unknown");
    }
}

static void pictures(struct kb_text *out, const struct kb_field_result *field, size_t number) {
    if (field->photo_jpeg == NULL || field->overlay_jpeg == NULL) {
        kb_text_add(out, "<p class=\"soft small\">No pictures were asked for.</p>\n");
        return;
    }
    kb_text_add(out, "<div class=\"pair\"><figure>");
    picture(out, field->photo_jpeg, field->photo_size, number, "photograph");
    kb_text_add(out, "<figcaption>Photograph");
    picture_size(out, field);
    kb_text_add(out, "</figcaption></figure><figure>");
    picture(out, field->overlay_jpeg, field->overlay_size, number, "what was measured");
    kb_text_add(out, "<figcaption>What was measured");
    if (field->overlay_file != NULL && plain_name(field->overlay_file)) {
        kb_text_format(out, "; full size: <a translate=\"no\" href=\"%s\">%s</a>",
                       field->overlay_file, field->overlay_file);
    }
    kb_text_add(out, "</figcaption></figure></div>\n");
}

static void fact(struct kb_text *out, const char *name, double value, int decimals,
                 const char *unit) {
    if (!isfinite(value)) {
        return;
    }
    char number[32];
    kb_show_number(number, sizeof number, value, decimals);
    kb_text_format(out, "<div><dt>%s</dt><dd>%s%s%s</dd></div>\n", name, number,
                   unit[0] != '\0' ? "&#160;" : "", unit);
}

static void facts(struct kb_text *out, const struct kb_field_result *field) {
    const struct kb_field_figures *figures = &field->figures;
    kb_text_add(out, "<dl class=\"facts\">\n");
    for (int phase = KB_GRAPHITE; phase < KB_PHASES; phase++) {
        if (phase == KB_OTHER && !(figures->fraction[phase] > 0.0)) {
            continue; /* nothing that is not one of the phases looked for: not worth a line */
        }
        char name[64];
        (void)snprintf(name, sizeof name, "%s, of the field", kb_phase_name((enum kb_phase)phase));
        fact(out, name, percent(figures->fraction[phase]), 1, "%");
    }
    fact(out, "pearlite, of the matrix", percent(figures->pearlite_of_matrix), 1, "%");
    if (figures->other_of_matrix > 0.0) {
        fact(out, "other, of the matrix", percent(figures->other_of_matrix), 1, "%");
    }
    if (figures->graphite_measured) {
        double whole = figures->graphite_um2[KB_NOD_ISO945_4];
        fact(out, "nodularity, of graphite area",
             whole > 0.0 ? percent(figures->nodular_um2[KB_NOD_ISO945_4] / whole) : KB_NAN, 1, "%");
        fact(out, "nodules", figures->nodules_per_mm2, 0, "/mm²");
        fact(out, "particles counted", (double)figures->particles[KB_COUNTS], 0, "");
        fact(out, "largest Feret", figures->feret_largest_um, 1, "µm");
    }
    fact(out, "measured area", figures->area_mm2, 3, "mm²");
    kb_text_add(out, "</dl>\n");
}

static void field_block(struct kb_text *out, const struct kb_field_result *field, size_t number) {
    kb_text_format(
        out, "<div class=\"field\" id=\"field-%zu\">\n<div class=\"head\"><h3>Field %zu: ", number,
        number);
    field_name(out, field);
    kb_text_format(out, " <span class=\"soft\">%s, %d × %d px</span></h3>\n",
                   kb_contrast_words(field->contrast), (int)field->width, (int)field->height);
    pictures(out, field, number);
    kb_text_add(out, "</div>\n");
    facts(out, field);
    kb_html_rules(out, field);
    kb_html_findings(out, &field->findings);
    kb_text_add(out, "</div>\n");
}

static void legend_line(struct kb_text *out, const char *colour, bool dashed, const char *words) {
    kb_text_format(out,
                   "<li><svg class=\"swatch\" width=\"26\" height=\"15\" viewBox=\"0 0 26 15\" "
                   "aria-hidden=\"true\"><rect width=\"26\" height=\"15\" fill=\"#464a60\" />"
                   "<path d=\"M0 7.500h26\" stroke=\"%s\" stroke-width=\"3\"%s /></svg>%s</li>\n",
                   colour, dashed ? " stroke-dasharray=\"5 4\"" : "", words);
}

static bool any_hand(const struct kb_result *result, enum kb_hand_kind kind) {
    for (size_t i = 0; i < result->by_hands; i++) {
        if (result->by_hand[i].kind == kind && !result->by_hand[i].without_effect) {
            return true;
        }
    }
    return false;
}

/* Marks of decisions by hand, as overlay_by_hand.c draws them. */
static void legend_by_hand(struct kb_text *out, const struct kb_result *result) {
    static const struct {
        enum kb_hand_kind kind;
        const char *line;
    } item[] = {
        {KB_HAND_PHASE, "<b>+</b>&#160; cross: the phase of this region was set by hand"},
        {KB_HAND_CUT, "<b>- -</b>&#160; dashed line: parted by hand along it"},
        {KB_HAND_JOIN, "<b>□–□</b>&#160; line between boxes: two particles made one by hand"},
        {KB_HAND_SCALE, "<b>|–|</b>&#160; line between bars: of known length, gives the scale"},
    };
    for (size_t i = 0; i < sizeof item / sizeof item[0]; i++) {
        if (any_hand(result, item[i].kind)) {
            kb_text_format(out, "<li>%s</li>\n", item[i].line);
        }
    }
}

static void legend(struct kb_text *out, const struct kb_result *result) {
    uint64_t pixels[KB_PHASES] = {0};
    for (size_t i = 0; i < result->fields; i++) {
        for (int phase = 0; phase < KB_PHASES; phase++) {
            pixels[phase] += result->field[i].segmentation.pixels[phase];
        }
    }
    kb_text_add(out, "<h3>How to read the pictures</h3>\n<ul class=\"legend\">\n");
    for (int phase = 0; phase < KB_PHASES; phase++) {
        if (pixels[phase] > 0) {
            kb_text_add(out, "<li>");
            kb_svg_swatch(out, (enum kb_phase)phase);
            kb_text_format(out, "%s</li>\n",
                           phase == KB_EXCLUDED ? "excluded" : kb_phase_name((enum kb_phase)phase));
        }
    }
    if (kb_material_is_iron(result->material)) {
        legend_line(out, "#00e8be", false, "counts, shape factor ≥ 0.6, with its number");
        legend_line(out, "#ff60d0", false, "counts, below 0.6, number underlined");
        kb_text_add(out, kb_hand_forms(result) > 0
                             ? "<li><b>(12)</b>&#160; number in brackets: form by hand</li>\n"
                             : "");
        legend_line(out, "#fff", true,
                    "does not count: F cut by the frame, X at an excluded area, S under size, N no "
                    "scale");
    }
    legend_by_hand(out, result);
    kb_text_add(out, "</ul>\n");
}

void kb_html_fields(struct kb_text *out, const struct kb_result *result) {
    kb_html_section(out, "fields", "Fields");
    overview(out, result);
    size_t shown = result->fields < KB_FIELDS_SHOWN ? result->fields : KB_FIELDS_SHOWN;
    if (shown < result->fields) {
        kb_text_format(out,
                       "<p class=\"small\">The first %zu of %zu fields follow with their pictures, "
                       "so that this page stays small enough to send. All are in the table above, "
                       "in fields.csv and, where pictures were asked for, in the overlay files "
                       "beside this page.</p>\n",
                       shown, result->fields);
    }
    legend(out, result);
    for (size_t i = 0; i < shown && !out->failed; i++) {
        field_block(out, &result->field[i], i + 1);
    }
    kb_html_section_end(out);
}
