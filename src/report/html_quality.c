/* html_quality.c - preparation and picture quality: each check at its worst field, how the contrast
 * was found, what of the frame was left out. */
#include "html_priv.h"

/* The field at which a check came out worst; SIZE_MAX when it applies to none. */
static size_t worst_field(const struct kb_result *result, int check) {
    size_t worst = SIZE_MAX;
    for (size_t i = 0; i < result->fields; i++) {
        const struct kb_check_result *here = &result->field[i].quality.check[check];
        if (!here->looked) {
            continue;
        }
        const struct kb_check_result *there =
            worst != SIZE_MAX ? &result->field[worst].quality.check[check] : NULL;
        bool worse =
            there == NULL || here->fitness > there->fitness ||
            (here->fitness == there->fitness &&
             (here->more_is_worse ? here->value > there->value : here->value < there->value));
        worst = worse ? i : worst;
    }
    return worst;
}

static void limit_cell(struct kb_text *out, const char *label, double limit) {
    kb_text_format(out, "<td class=\"n\" data-label=\"%s\">", label);
    if (isfinite(limit)) {
        kb_text_significant(out, limit, 3);
    } else {
        kb_text_add(out, "–");
    }
    kb_text_add(out, "</td>");
}

static void check_row(struct kb_text *out, const struct kb_result *result, int index) {
    size_t worst = worst_field(result, index);
    if (worst == SIZE_MAX) {
        return;
    }
    const struct kb_check_result *check = &result->field[worst].quality.check[index];
    kb_text_add(out, "<tr>");
    kb_html_cell(out, NULL, kb_check_words((enum kb_check)index));
    kb_text_add(out, "<td class=\"n\" data-label=\"worst\">");
    kb_text_significant(out, check->value, 3);
    kb_text_add(out, "&#160;");
    kb_html_text(out, check->unit);
    kb_text_format(out, "</td><td class=\"n\" data-label=\"field\">%zu</td>", worst + 1);
    limit_cell(out, "doubtful from", check->warn);
    limit_cell(out, "not fit from", check->unfit);
    static const char *const words[] = {"fit", "usable, mind it", "not fit"};
    kb_text_format(out, "<td data-label=\"judged\">%s%s%s</td>",
                   check->fitness != KB_FIT ? "<strong>" : "", words[check->fitness],
                   check->fitness != KB_FIT ? "</strong>" : "");
    kb_html_cell(out, "advice", check->advice);
    kb_text_add(out, "</tr>\n");
}

static void checks(struct kb_text *out, const struct kb_result *result) {
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>looked at</th>"
                     "<th class=\"n\">worst</th><th class=\"n\">in field</th>"
                     "<th class=\"n\">doubtful from</th><th class=\"n\">not fit from</th>"
                     "<th>judged</th><th>what to do</th></tr></thead><tbody>\n");
    for (int i = 0; i < KB_CHECKS; i++) {
        check_row(out, result, i);
    }
    kb_text_add(out, "</tbody></table></div>\n");
}

static void accepted(struct kb_text *out, const struct kb_result *result) {
    size_t count = 0;
    for (size_t i = 0; i < result->fields; i++) {
        count += result->field[i].unfit_accepted ? 1 : 0;
    }
    if (count > 0) {
        kb_text_format(out,
                       "<p class=\"reject\"><strong>%zu of %zu fields are not fit to measure "
                       "and were measured all the same, on demand. The figures of this report may "
                       "be wrong.</strong></p>\n",
                       count, result->fields);
    }
}

static void contrast(struct kb_text *out, const struct kb_result *result) {
    bool any = false;
    for (size_t i = 0; i < result->fields; i++) {
        const struct kb_contrast_found *found = &result->field[i].contrast_found;
        if (found->count == 0) {
            continue;
        }
        if (!any) {
            kb_text_add(out, "<h3>How the contrast was found</h3>\n<p class=\"small\">It was not "
                             "stated, and the pictures were sure enough:</p>\n<ul>\n");
        }
        any = true;
        kb_text_format(out, "<li>field %zu: %s, belief %.1f&#160;%%", i + 1,
                       kb_contrast_name(found->contrast), 100.0 * found->belief[found->contrast]);
        for (int k = 0; k < found->count; k++) {
            const struct kb_evidence *evidence = &found->evidence[k];
            if (evidence->speaks[found->contrast] > 0.0) {
                kb_text_add(out, "; ");
                kb_html_text(out, evidence->what);
                kb_text_add(out, " ");
                kb_text_significant(out, evidence->value, 3);
                kb_html_text(out, evidence->unit);
            }
        }
        kb_text_add(out, "</li>\n");
    }
    kb_text_add(out, any ? "</ul>\n" : "");
}

static void left_out(struct kb_text *out, const struct kb_result *result) {
    bool any = false;
    for (size_t i = 0; i < result->fields; i++) {
        const struct kb_field_result *field = &result->field[i];
        if (field->outside_px == 0) {
            continue;
        }
        kb_text_add(out, any ? "" : "<h3>Left out of the frame</h3>\n<ul>\n");
        any = true;
        double share = 100.0 * (double)field->outside_px / ((double)field->width * field->height);
        kb_text_format(out, "<li>field %zu: %.1f&#160;%% of the frame is no specimen (", i + 1,
                       share);
        for (size_t k = 0; k < field->marks; k++) {
            kb_text_format(out, "%s%s", k > 0 ? ", " : "", kb_mark_kind_name(field->mark[k].kind));
        }
        kb_text_add(out, ")</li>\n");
    }
    kb_text_add(out, any ? "</ul>\n" : "");
}

void kb_html_quality(struct kb_text *out, const struct kb_result *result) {
    kb_html_section(out, "preparation", "Preparation and picture");
    accepted(out, result);
    kb_text_add(out, "<p class=\"small\">Each field is looked at before it is measured. The figure "
                     "is that of the worst field.</p>\n");
    checks(out, result);
    contrast(out, result);
    left_out(out, result);
    kb_text_add(out, "<p class=\"small soft\">Etching, grinding and polishing again: gloves, eye "
                     "protection and a fume hood for etchants; local rules and trained staff "
                     "decide.</p>\n");
    kb_html_section_end(out);
}
