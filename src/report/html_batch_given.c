/* html_batch_given.c - what the manifest states of each specimen beside the pictures: chemistry and
 * values that were measured elsewhere. */
#include "html_batch_priv.h"

enum { ELEMENTS = 8 };

static const char *const symbol[ELEMENTS] = {"C", "Si", "Mn", "P", "S", "Cu", "Sn", "Mg"};

static void elements_of(const struct kb_chemistry *chemistry, double value[ELEMENTS]) {
    const double all[ELEMENTS] = {chemistry->c, chemistry->si, chemistry->mn, chemistry->p,
                                  chemistry->s, chemistry->cu, chemistry->sn, chemistry->mg};
    for (int i = 0; i < ELEMENTS; i++) {
        value[i] = all[i];
    }
}

static void numbers(struct kb_text *out, size_t i, const struct kb_batch_specimen *specimen) {
    kb_text_format(out, "<tr><td class=\"n\" data-label=\"no.\">%zu</td><td class=\"lone\">",
                   i + 1);
    kb_html_own(out, specimen->id);
    kb_text_add(out, "</td>");
}

/* ---- chemistry ---- */

static void chemistry_row(struct kb_text *out, size_t i, const struct kb_batch_specimen *specimen,
                          const bool stated[ELEMENTS]) {
    static const char *const words[] = {"not compared", "agrees", "<b>disagrees</b>"};
    double value[ELEMENTS];
    elements_of(&specimen->chemistry, value);
    numbers(out, i, specimen);
    for (int k = 0; k < ELEMENTS; k++) {
        if (stated[k]) {
            kb_text_format(out, "<td class=\"n\" data-label=\"%s, mass %%\">", symbol[k]);
            if (isfinite(value[k])) {
                kb_text_significant(out, value[k], 4);
            } else {
                kb_text_add(out, "–");
            }
            kb_text_add(out, "</td>");
        }
    }
    kb_text_add(out, "<td class=\"n\" data-label=\"carbon implied\"><span>");
    kb_html_estimate(out, &specimen->figure[KB_Q_CARBON], true);
    kb_text_format(out, "</span></td><td data-label=\"with the chemistry\">%s</td></tr>\n",
                   words[specimen->judged ? specimen->carbon_agreement : KB_AGREE_UNKNOWN]);
}

static void chemistry(struct kb_text *out, const struct kb_batch *batch,
                      const bool stated[ELEMENTS]) {
    kb_text_add(out, "<h3>Chemistry as stated, mass&#160;%</h3>\n<div class=\"wide\">"
                     "<table class=\"stack\"><thead><tr><th class=\"n\">no.</th><th>specimen</th>");
    for (int k = 0; k < ELEMENTS; k++) {
        if (stated[k]) {
            kb_text_format(out, "<th class=\"n\">%s</th>", symbol[k]);
        }
    }
    kb_text_add(out, "<th class=\"n\">carbon that the<br />structure implies</th><th>with the "
                     "chemistry</th></tr></thead><tbody>\n");
    for (size_t i = 0; i < batch->specimens; i++) {
        chemistry_row(out, i, &batch->specimen[i], stated);
    }
    kb_text_add(out, "</tbody></table></div>\n<p class=\"caution\"><b>Carbon from structure is an "
                     "estimate near equilibrium, never a chemical analysis.</b></p>\n");
}

/* ---- values measured elsewhere ---- */

static void given(struct kb_text *out, const struct kb_batch *batch,
                  const bool stated[KB_QUANTITIES]) {
    kb_text_add(out, "<h3>Measured elsewhere</h3>\n<div class=\"wide\"><table class=\"stack\">"
                     "<thead><tr><th class=\"n\">no.</th><th>specimen</th>");
    for (int q = KB_Q_GIVEN; q < KB_QUANTITIES; q++) {
        if (stated[q]) {
            kb_text_add(out, "<th class=\"n\">");
            kb_html_text(out, kb_quantity_words((enum kb_quantity)q));
            kb_text_add(out, "</th>");
        }
    }
    kb_text_add(out, "</tr></thead><tbody>\n");
    for (size_t i = 0; i < batch->specimens; i++) {
        numbers(out, i, &batch->specimen[i]);
        for (int q = KB_Q_GIVEN; q < KB_QUANTITIES; q++) {
            if (stated[q]) {
                kb_text_add(out, "<td class=\"n\" data-label=\"");
                kb_html_text(out, kb_quantity_words((enum kb_quantity)q));
                kb_text_add(out, "\"><span>");
                if (batch->specimen[i].figure[q].measured) {
                    kb_html_estimate(out, &batch->specimen[i].figure[q], true);
                } else {
                    kb_text_add(out, "–");
                }
                kb_text_add(out, "</span></td>");
            }
        }
        kb_text_add(out, "</tr>\n");
    }
    kb_text_add(out, "</tbody></table></div>\n<p class=\"small soft\">Taken over as stated, with a "
                     "95&#160;% interval from the uncertainty that was stated with them; not "
                     "measured by this program.</p>\n");
}

void kb_html_batch_given(struct kb_text *out, const struct kb_batch *batch) {
    bool element[ELEMENTS] = {false}, quantity[KB_QUANTITIES] = {false};
    bool some_element = false, some_given = false;
    for (size_t i = 0; i < batch->specimens; i++) {
        double value[ELEMENTS];
        elements_of(&batch->specimen[i].chemistry, value);
        for (int k = 0; k < ELEMENTS; k++) {
            element[k] = element[k] || isfinite(value[k]);
            some_element = some_element || element[k];
        }
        for (int q = KB_Q_GIVEN; q < KB_QUANTITIES; q++) {
            quantity[q] = quantity[q] || batch->specimen[i].figure[q].measured;
            some_given = some_given || quantity[q];
        }
    }
    if (!some_element && !some_given) {
        return;
    }
    kb_html_section(out, "given", "What was stated");
    if (some_element) {
        chemistry(out, batch, element);
    }
    if (some_given) {
        given(out, batch, quantity);
    }
    kb_html_section_end(out);
}
