/* html_budget.c - the uncertainty budget: what each main figure owes to the spread between fields,
 * to the pixel size and to the thresholds, and what they come to together (JCGM 100:2008). */
#include "html_priv.h"

#include <string.h>

static const char *const titles[KB_U_SOURCES] = {
    [KB_U_FIELDS] = "fields",
    [KB_U_SCALE] = "pixel size",
    [KB_U_THRESHOLD] = "thresholds",
};

static const char *words_of(const char *name) {
    for (int i = 0; i < KB_QUANTITIES; i++) {
        if (strcmp(name, kb_quantity_name((enum kb_quantity)i)) == 0) {
            return kb_quantity_words((enum kb_quantity)i);
        }
    }
    return name;
}

static bool any_stated(const struct kb_specimen *specimen, enum kb_budget_source source) {
    for (size_t i = 0; i < specimen->budgets; i++) {
        if (specimen->budget[i].line[source].stated) {
            return true;
        }
    }
    return false;
}

/* A row of the table: every amount with the same decimals, two digits of the combined one. */
struct amounts {
    double scale; /* to what is shown */
    int decimals;
};

static struct amounts amounts_of(const struct kb_budget *budget, double scale) {
    double leading = budget->u;
    for (int i = 0; i < KB_U_SOURCES && !isfinite(budget->u); i++) {
        leading = fmax(leading, budget->line[i].u); /* fmax passes over NaN */
    }
    struct amounts amounts = {scale, 1};
    if (leading * scale > 0.0) {
        int decimals = 1 - (int)floor(log10(leading * scale));
        amounts.decimals = decimals < 0   ? 0
                           : decimals > 3 ? 3
                                          : decimals; /* beyond that: nothing */
    }
    return amounts;
}

static void amount(struct kb_text *out, double value, struct amounts amounts) {
    char number[32];
    kb_show_number(number, sizeof number, value * amounts.scale, amounts.decimals);
    kb_text_add(out, number);
}

static void source_cell(struct kb_text *out, enum kb_budget_source source,
                        const struct kb_budget_line *line, struct amounts amounts) {
    kb_text_format(out, "<td class=\"n\" data-label=\"%s\"><span>", titles[source]);
    if (line->stated && line->u > 0.0) {
        amount(out, line->u, amounts);
    } else if (line->stated) {
        kb_text_add(out, "<span class=\"none\">none</span>");
    } else {
        kb_text_format(out, "<span class=\"none\">%.*s</span>", (int)strcspn(line->why, ":"),
                       line->why);
    }
    if (line->share > 0.0) {
        kb_text_format(out, "<br /><span class=\"ci small\">%.0f&#160;%%</span>",
                       100.0 * line->share);
    }
    kb_text_add(out, "</span></td>");
}

/* "–" for none, "∞" where only stated parts contribute. */
static void freedom_cell(struct kb_text *out, double freedom) {
    kb_text_add(out, "<td class=\"n\" data-label=\"degrees of freedom\">");
    if (isinf(freedom) || freedom > 1e4) { /* beyond that Student's factor no longer changes */
        kb_text_add(out, "∞");
    } else if (isfinite(freedom)) {
        kb_text_significant(out, freedom, freedom < 100.0 ? 2 : 3);
    } else {
        kb_text_add(out, "–");
    }
    kb_text_add(out, "</td>");
}

static void row(struct kb_text *out, const struct kb_budget *budget) {
    const struct kb_shown shown = kb_show(&budget->value);
    const struct amounts amounts = amounts_of(budget, shown.scale);
    kb_text_add(out, "<tr><td class=\"lone\">");
    kb_html_text(out, words_of(budget->quantity));
    kb_text_format(out, "</td><td class=\"n\" data-label=\"value\">%s&#160;%s</td>", shown.value,
                   shown.unit);
    for (int i = 0; i < KB_U_SOURCES; i++) {
        source_cell(out, (enum kb_budget_source)i, &budget->line[i], amounts);
    }
    kb_html_number_cell(out, "combined", budget->u * amounts.scale, amounts.decimals, NULL);
    freedom_cell(out, budget->freedom);
    kb_html_number_cell(out, "factor", budget->factor, 2, NULL);
    kb_text_add(out, "<td class=\"n\" data-label=\"expanded, 95 %\"><b>");
    if (isfinite(budget->expanded)) {
        kb_text_add(out, "±&#160;");
        kb_text_significant(out, budget->expanded * shown.scale, 2);
    } else {
        kb_text_add(out, "–");
    }
    kb_text_add(out, "</b></td></tr>\n");
}

/* "+0.031 points"; what rounds to nothing says so. */
static void points(struct kb_text *out, double change) {
    if (fabs(change) < 0.0005) {
        kb_text_add(out, "less than 0.001 points");
    } else {
        kb_text_format(out, "%s%.3f points", change < 0.0 ? "−" : "+", fabs(change));
    }
}

/* What the figures change by when the thresholds rise by one level. */
static void sensitivity(struct kb_text *out, const struct kb_result *result) {
    static const char *const shown_first[] = {"graphite", "pearlite_of_matrix", "nodularity"};
    const struct kb_specimen *specimen = &result->specimen;
    kb_text_format(
        out,
        "<p class=\"small\">All thresholds were moved down and up by %.4g grey levels of "
        "the file and everything was measured again. The true thresholds are taken to "
        "lie anywhere between (rectangular). Change with each grey level up: ",
        result->specimen_params.threshold_step);
    size_t said = 0;
    for (size_t k = 0; k < KB_COUNT_OF(shown_first); k++) {
        for (size_t i = 0; i < specimen->budgets; i++) {
            const struct kb_budget *budget = &specimen->budget[i];
            if (strcmp(budget->quantity, shown_first[k]) != 0 || !isfinite(budget->per_level)) {
                continue;
            }
            kb_text_format(out, "%s%s ", said++ > 0 ? "; " : "", words_of(budget->quantity));
            points(out, budget->per_level * kb_show(&budget->value).scale);
        }
    }
    kb_text_add(out, said > 0 ? ".</p>\n" : "not known.</p>\n");
}

static void scale_words(struct kb_text *out, bool stated) {
    kb_text_add(out, stated
                         ? "<p class=\"small\">A relative error of the pixel size goes once into "
                           "lengths, twice into counts per area, and not at all into area "
                           "fractions and nodularity. What stands behind ± in a pixel size counts "
                           "as an expanded uncertainty with the coverage factor 2, unless another "
                           "one is written behind it, as (k=1).</p>\n"
                         : "<p class=\"small\">The uncertainty of the pixel size is not stated; "
                           "the intervals on this page do not contain it.</p>\n");
}

void kb_html_budget(struct kb_text *out, const struct kb_result *result) {
    const struct kb_specimen *specimen = &result->specimen;
    if (specimen->budgets == 0) {
        return;
    }
    kb_html_section(out, "budget", "Uncertainty budget");
    kb_text_add(out, "<p>The fields are of one section and speak for that section only: what "
                     "differs between sections, castings and batches is in none of these "
                     "figures.</p>\n<div class=\"wide\"><table class=\"stack\"><thead><tr>"
                     "<th>figure</th><th class=\"n\">value</th>");
    for (int i = 0; i < KB_U_SOURCES; i++) {
        kb_text_format(out, "<th class=\"n\">%s</th>", titles[i]);
    }
    kb_text_add(out, "<th class=\"n\">combined</th><th class=\"n\">degrees of<br />freedom</th>"
                     "<th class=\"n\">factor</th><th class=\"n\">expanded,<br />95&#160;%</th></tr>"
                     "</thead><tbody>\n");
    for (size_t i = 0; i < specimen->budgets; i++) {
        row(out, &specimen->budget[i]);
    }
    kb_text_add(out,
                "</tbody></table></div>\n<p class=\"small soft\">Standard uncertainties in the "
                "unit of the value (points where that is a percentage), below them their share of "
                "the combined variance. They add in squares; effective degrees of freedom "
                "by Welch and Satterthwaite, factor by Student's t, never so that the result is "
                "surer than the fields alone. Near 0 and 100&#160;% the interval is lopsided and "
                "each side is combined by itself, so that it may differ from the value ± the "
                "expanded uncertainty. Sizes in space carry the spread between fields only.</p>\n");
    scale_words(out, any_stated(specimen, KB_U_SCALE));
    if (result->specimen_params.threshold_step > 0.0) {
        sensitivity(out, result);
    } else {
        kb_text_add(out, "<p class=\"small\">The thresholds were not moved; how much the figures "
                         "hang on them is not stated.</p>\n");
    }
    kb_html_section_end(out);
}
