/* html_carbon.c - the carbon that the structure implies, with its working, beside the chemistry. */
#include "html_priv.h"

static void figure_row(struct kb_text *out, const char *name, const struct kb_estimate *estimate) {
    kb_text_format(out, "<tr><td class=\"lone\">%s</td>", name);
    kb_text_add(out, "<td class=\"n\" data-label=\"mass %\"><span>");
    kb_html_estimate(out, estimate, true);
    kb_text_add(out, "</span></td></tr>\n");
}

static void chemistry(struct kb_text *out, const struct kb_chemistry *chemistry) {
    const struct {
        const char *symbol;
        double value;
    } element[] = {
        {"C", chemistry->c}, {"Si", chemistry->si}, {"Mn", chemistry->mn}, {"P", chemistry->p},
        {"S", chemistry->s}, {"Cu", chemistry->cu}, {"Sn", chemistry->sn}, {"Mg", chemistry->mg},
    };
    bool some = false;
    for (size_t i = 0; i < KB_COUNT_OF(element); i++) {
        if (isfinite(element[i].value)) {
            kb_text_add(out, some ? ", " : "<p>Chemistry given, mass&#160;%: ");
            kb_text_format(out, "%s&#160;", element[i].symbol);
            kb_text_significant(out, element[i].value, 4);
            some = true;
        }
    }
    kb_text_add(out, some ? ".</p>\n" : "<p class=\"soft\">No chemistry was given.</p>\n");
}

static void cross_check(struct kb_text *out, const struct kb_result *result) {
    const struct kb_carbon *carbon = &result->carbon;
    kb_text_add(out, "<h3>Cross-check with the chemistry</h3>\n");
    chemistry(out, &result->chemistry);
    if (isfinite(carbon->carbon_equivalent)) {
        kb_text_format(out, "<p>Carbon equivalent C + (Si + P)/3: %.2f&#160;%%.</p>\n",
                       carbon->carbon_equivalent);
    }
    if (carbon->agreement == KB_AGREE_UNKNOWN) {
        kb_text_add(out, "<p class=\"soft\">Structure and chemistry could not be compared.</p>\n");
        return;
    }
    bool agrees = carbon->agreement == KB_AGREES;
    kb_text_format(out, "<p><b>%s</b>", agrees ? "They agree." : "They disagree.");
    if (isfinite(carbon->difference_percent)) {
        kb_text_format(out,
                       " Structure minus chemistry is %+.2f mass&#160;%% C; differences up to the "
                       "interval and %.2f more are taken as agreement.",
                       carbon->difference_percent, carbon->tolerance_percent);
    }
    kb_text_add(out, "</p>\n");
    if (!agrees && carbon->reason[0] != NULL) {
        kb_text_add(out, "<p>What to look at first:</p>\n<ul>\n");
        for (size_t i = 0; i < KB_COUNT_OF(carbon->reason) && carbon->reason[i] != NULL; i++) {
            kb_text_add(out, "<li>");
            kb_html_text(out, carbon->reason[i]);
            kb_text_add(out, "</li>\n");
        }
        kb_text_add(out, "</ul>\n");
    }
}

/* The constants that every figure here rests on. */
static void constants(struct kb_text *out, const struct kb_carbon_constants *constants) {
    char text[400];
    kb_carbon_constants_text(constants, text, sizeof text);
    kb_text_add(out, "<p class=\"small soft\">Constants, ");
    kb_html_text(out, text);
    if (constants->source != NULL) {
        kb_text_add(out, "; ");
        kb_html_text(out, constants->source);
    }
    kb_text_add(out, ".</p>\n");
}

static void working(struct kb_text *out, const struct kb_carbon *carbon) {
    if (carbon->working.count == 0) {
        return;
    }
    kb_text_add(out, "<h3>Working</h3>\n<ol class=\"working\">\n");
    for (int i = 0; i < carbon->working.count && i < KB_WORKING_LINES; i++) {
        kb_text_add(out, "<li>");
        kb_html_text(out, carbon->working.line[i]);
        kb_text_add(out, "</li>\n");
    }
    kb_text_add(out, "</ol>\n");
}

void kb_html_carbon(struct kb_text *out, const struct kb_result *result) {
    const struct kb_carbon *carbon = &result->carbon;
    kb_html_section(out, "carbon", "Carbon that the structure implies");
    kb_text_add(out, "<p class=\"caution\"><b>An estimate from structure near equilibrium, never a "
                     "chemical analysis.</b></p>\n");
    if (!result->carbon_known) {
        kb_text_add(out, "<p class=\"soft\">It was not estimated: the phases that it rests on were "
                         "not all measured.</p>\n");
        kb_html_section_end(out);
        return;
    }
    kb_text_add(out,
                "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>carbon</th>"
                "<th class=\"n\">mass&#160;% of the whole, 95&#160;% interval</th></tr></thead>"
                "<tbody>\n");
    figure_row(out, "as graphite", &carbon->graphite_percent);
    figure_row(out, "combined, in the matrix", &carbon->combined_percent);
    figure_row(out, "in all", &carbon->total_percent);
    kb_text_add(out, "</tbody></table></div>\n");
    constants(out, &carbon->constants);
    if (carbon->silicon_assumed) {
        kb_text_add(out, "<p class=\"small\">No silicon content was given; the shift of the "
                         "eutectoid by silicon is not applied.</p>\n");
    }
    working(out, carbon);
    cross_check(out, result);
    kb_html_section_end(out);
}
