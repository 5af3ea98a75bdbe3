/* html_flakes.c - how the flakes lie: figures, what each speaks for, belief in the letters. */
#include "html_priv.h"

static void figure_row(struct kb_text *out, enum kb_flake_measure measure,
                       const struct kb_estimate *figure) {
    kb_text_format(out, "<tr><td class=\"lone\">%s</td>", kb_flake_measure_words(measure));
    kb_text_add(out, "<td class=\"n\" data-label=\"value\"><span>");
    kb_html_estimate(out, figure, true);
    kb_text_format(out, "</span></td><td data-label=\"speaks for\"><span>%s</span></td></tr>\n",
                   kb_flake_measure_tells(measure));
}

static void belief_row(struct kb_text *out, const char *letter, const char *words, double belief,
                       bool told) {
    kb_text_format(out, "<tr><td class=\"lone\">%s%s%s: %s</td>", told ? "<b>" : "", letter,
                   told ? "</b>" : "", words);
    kb_html_number_cell(out, "belief", 100.0 * belief, 0, "%");
    kb_text_add(out, "</tr>\n");
}

static void told(struct kb_text *out, const struct kb_flake_distribution *flakes) {
    kb_text_add(out, "<p>");
    if (flakes->told) {
        kb_text_format(out, "Distribution <b>%s</b> (%s), believed to %.0f&#160;%%",
                       kb_flake_letter_name(flakes->letter), kb_flake_letter_words(flakes->letter),
                       100.0 * flakes->belief[flakes->letter]);
        if (flakes->designation[0] != '\0') {
            kb_text_format(out,
                           "; with form and size the graphite reads <b>%s</b> after ISO 945-1, the "
                           "size by the longest single flake",
                           flakes->designation);
        }
    } else {
        kb_text_add(out, "No letter is given");
        if (flakes->why != NULL) {
            kb_text_format(out, ": %s", flakes->why);
        }
    }
    kb_text_format(out, ". It rests on %zu complete flakes of %zu field%s.</p>\n", flakes->flakes,
                   flakes->fields, flakes->fields == 1 ? "" : "s");
}

static void beliefs(struct kb_text *out, const struct kb_flake_distribution *flakes) {
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>distribution</th>"
                     "<th class=\"n\">belief</th></tr></thead><tbody>\n");
    for (int i = 0; i < KB_FLAKE_LETTERS; i++) {
        const enum kb_flake_letter letter = (enum kb_flake_letter)i;
        belief_row(out, kb_flake_letter_name(letter), kb_flake_letter_words(letter),
                   flakes->belief[i], flakes->told && flakes->letter == letter);
    }
    belief_row(out, "not told", "mixed, or the figures do not say", flakes->not_told, false);
    kb_text_add(out, "</tbody></table></div>\n");
}

void kb_html_flakes(struct kb_text *out, const struct kb_result *result) {
    const struct kb_flake_distribution *flakes = &result->specimen.distribution;
    if (result->material != KB_GREY_IRON) {
        return;
    }
    kb_text_add(out, "<h3>Distribution of the flakes</h3>\n");
    told(out, flakes);
    beliefs(out, flakes);
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>figure</th>"
                     "<th class=\"n\">value, 95&#160;% interval</th><th>speaks for</th></tr>"
                     "</thead><tbody>\n");
    for (int i = 0; i < KB_FLAKE_MEASURES; i++) {
        figure_row(out, (enum kb_flake_measure)i, &flakes->figure[i]);
    }
    kb_text_add(
        out,
        "</tbody></table></div>\n<p class=\"small\">ISO 945-1 tells the distributions A to E by "
        "pictures, which could not be had here, and gives no figures. These figures and the curves "
        "from figure to belief are ours, no published source; of 60 drawn specimens none was "
        "called by another letter, 11 by none. "
        "Belief says how well the figures fit a letter, not how often the letter is right on your "
        "castings: compare with your own chart before you rely on it. Flakes that touch are "
        "measured as one, along the flake as the sum of all arms.</p>\n");
}
