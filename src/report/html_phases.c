/* html_phases.c - phase fractions of the specimen: mean, spread, interval, fields still needed. */
#include "html_priv.h"

static void row(struct kb_text *out, const char *name, const char *of, int phase,
                const struct kb_estimate *estimate) {
    struct kb_shown shown = kb_show(estimate);
    kb_text_add(out, "<tr><td class=\"lone\">");
    if (phase > 0) {
        kb_svg_swatch(out, (enum kb_phase)phase);
    }
    kb_text_format(out, "%s</td><td data-label=\"share of\">%s</td>", name, of);
    if (!shown.measured) {
        kb_text_add(out, "<td colspan=\"5\" class=\"none\">not measured");
        if (estimate->why != NULL) {
            kb_text_add(out, ": ");
            kb_html_text(out, estimate->why);
        }
        kb_text_add(out, "</td></tr>\n");
        return;
    }
    kb_text_format(out, "<td class=\"n\" data-label=\"mean\">%s&#160;%s</td>", shown.value,
                   shown.unit);
    kb_html_number_cell(out, "s between fields", estimate->s * shown.scale, shown.decimals, NULL);
    kb_text_format(out, "<td class=\"n\" data-label=\"95 %% interval\">%s", shown.low);
    if (shown.has_interval) {
        kb_text_format(out, " to %s", shown.high);
    }
    kb_text_add(out, "</td>");
    kb_html_number_cell(out, "relative accuracy", kb_relative_accuracy_percent(estimate), 1, "%");
    kb_html_number_cell(out, "fields", (double)estimate->n, 0, NULL);
    kb_text_add(out, "</tr>\n");
}

static void needed(struct kb_text *out, const char *what, size_t fields, size_t have) {
    if (fields == 0) {
        kb_text_format(out, "<li>%s: cannot be said from the fields given.</li>\n", what);
    } else if (fields <= have) {
        kb_text_format(out, "<li>%s: reached with the %zu fields given.</li>\n", what, have);
    } else {
        kb_text_format(out, "<li>%s: %zu fields in all, %zu more than given.</li>\n", what, fields,
                       fields - have);
    }
}

void kb_html_phases(struct kb_text *out, const struct kb_result *result) {
    const struct kb_specimen *specimen = &result->specimen;
    kb_html_section(out, "phases", "Phase fractions");
    kb_text_add(out,
                "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>phase</th>"
                "<th>share of</th><th class=\"n\">mean</th>"
                "<th class=\"n\">s between fields</th><th class=\"n\">95&#160;% interval</th>"
                "<th class=\"n\">relative accuracy</th><th class=\"n\">fields</th></tr></thead>"
                "<tbody>\n");
    for (int phase = KB_GRAPHITE; phase < KB_PHASES; phase++) {
        if (specimen->phase[phase].measured &&
            (phase != KB_OTHER || specimen->phase[phase].value > 0.0)) {
            row(out, kb_phase_name((enum kb_phase)phase), "area of the fields", phase,
                &specimen->phase[phase]);
        }
    }
    row(out, "pearlite of the matrix", "matrix, graphite left out", 0,
        &specimen->pearlite_of_matrix);
    if (specimen->other_of_matrix.measured && specimen->other_of_matrix.value > 0.0) {
        row(out, "other, of the matrix", "matrix, graphite left out", 0,
            &specimen->other_of_matrix);
    }
    kb_text_add(out,
                "</tbody></table></div>\n<p class=\"small soft\">Relative accuracy is half the "
                "interval over the mean. Area fractions on a random section equal volume "
                "fractions.</p>\n<h3>Fields that the wanted precision takes</h3>\n"
                "<ul class=\"small\">\n");
    char words[120];
    (void)snprintf(words, sizeof words, "phase fractions to ±%.3g points",
                   100.0 * result->specimen_params.want_points);
    needed(out, words, specimen->fields_needed_phase, specimen->fields);
    if (kb_material_is_iron(result->material) && result->material != KB_GREY_IRON) {
        (void)snprintf(words, sizeof words, "nodularity to ±%.3g points",
                       result->specimen_params.want_nodularity_points);
        needed(out, words, specimen->fields_needed_nodularity, specimen->fields_graphite);
        (void)snprintf(words, sizeof words, "nodule count to ±%.3g %%",
                       100.0 * result->specimen_params.want_count_share);
        needed(out, words, specimen->fields_needed_count, specimen->fields_graphite);
    }
    kb_text_add(out, "</ul>\n");
    kb_html_section_end(out);
}
