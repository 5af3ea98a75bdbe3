/* html_batch_specimens.c - the specimens of a batch in a table: what each is, its limited figures
 * with interval against limit, its verdict; then the fields that could not be measured. */
#include "html_batch_priv.h"

enum {
    COLUMNS_MOST = 4,   /* quantities a table takes on A4; more go into a further one */
    DRAWINGS_MOST = 30, /* specimens; of more, the drawings of all side by side say it better */
    DRAWING_PX = 104,
    SHAPE_PX = 15,
};

/* Without limits: what a foundry asks for first, as far as some specimen has it. */
static struct kb_batch_limited shown_of(const struct kb_batch *batch) {
    static const enum kb_quantity first[] = {KB_Q_NODULARITY, KB_Q_NODULES_PER_MM2,
                                             KB_Q_PEARLITE_OF_MATRIX, KB_Q_GRAPHITE, KB_Q_CARBON};
    struct kb_batch_limited shown = kb_batch_limited(batch);
    for (size_t k = 0; k < KB_COUNT_OF(first) && shown.count < COLUMNS_MOST; k++) {
        if (shown.count <= k && kb_batch_figure(batch, first[k]) != NULL &&
            kb_batch_limited(batch).count == 0) {
            shown.quantity[shown.count++] = first[k];
        }
    }
    return shown;
}

struct column {
    enum kb_quantity quantity;
    bool common; /* all specimens have one limit */
    bool drawn;  /* a drawing in each cell */
};

static void quantity_head(struct kb_text *out, const struct kb_batch *batch,
                          enum kb_quantity quantity, struct column *column) {
    struct kb_limit limit = {.quantity = quantity};
    *column = (struct column){quantity, kb_batch_limit_of_all(batch, quantity, &limit),
                              batch->specimens <= DRAWINGS_MOST};
    kb_text_add(out, "<th class=\"n wrap\">");
    kb_html_text(out, kb_quantity_words(quantity));
    if (column->common) {
        kb_text_add(out, "<br />");
        kb_limit_words(&limit, out);
    }
    kb_text_add(out, "</th>");
}

/* "◆ 93.2 % / 91.8 to 94.6 / drawing": shape, value, interval, and the limit where it is its own.
 */
static void figure_cell(struct kb_text *out, const struct kb_batch_specimen *specimen,
                        const struct column *column) {
    static const char *const words[] = {"", "", "reject", "undecided"};
    static const char *const style[] = {"nolimits", "accept", "reject", "undecided"};
    const enum kb_quantity quantity = column->quantity;
    const struct kb_limit_result *limit = kb_batch_limit(specimen, quantity);
    const struct kb_estimate *value = limit != NULL ? &limit->value : &specimen->figure[quantity];
    const struct kb_shown shown = kb_show(value);
    kb_text_add(out, "<td class=\"n figure\" data-label=\"");
    kb_html_text(out, kb_quantity_words(quantity));
    kb_text_add(out, "\"><span>");
    if (limit != NULL) {
        kb_text_format(out, "<b class=\"%s\">", style[limit->outcome]);
        kb_svg_verdict(out, limit->outcome, SHAPE_PX);
        kb_text_format(out, "&#160;%s</b>%s", words[limit->outcome],
                       words[limit->outcome][0] != '\0' ? "<br />" : "");
    }
    if (shown.measured) {
        kb_text_format(out, "%s&#160;", shown.value);
        kb_html_text(out, shown.unit);
        kb_text_format(out, "<br /><span class=\"ci small\">%s%s%s</span>",
                       shown.has_interval ? shown.low : "no interval",
                       shown.has_interval ? " to " : "", shown.has_interval ? shown.high : "");
    } else {
        kb_text_add(out, "<span class=\"none\">not measured</span>");
    }
    if (limit != NULL && !column->common) {
        kb_text_add(out, "<br /><span class=\"ci small\">limit ");
        kb_limit_words(&limit->limit, out);
        kb_text_add(out, "</span>");
    }
    if (limit != NULL && shown.measured && column->drawn) {
        kb_text_add(out, "<br />");
        kb_svg_limit_sized(out, limit, DRAWING_PX);
    }
    kb_text_add(out, "</span></td>");
}

static void name_cell(struct kb_text *out, const struct kb_batch_specimen *specimen) {
    kb_text_add(out, "<td class=\"lone name\">");
    if (specimen->judged) {
        kb_text_add(out, "<a href=\"");
        kb_html_address(out, specimen->folder, "report.html");
        kb_text_add(out, "\">");
    }
    kb_html_own(out, specimen->id);
    kb_text_add(out, specimen->judged ? "</a>" : "");
    const bool section = isfinite(specimen->section_mm);
    if (specimen->grade != NULL || section) {
        kb_text_add(out, "<br /><span class=\"soft small\">");
        kb_html_own(out, specimen->grade);
        kb_text_add(out, specimen->grade != NULL && section ? ", " : "");
        if (section) {
            kb_text_significant(out, specimen->section_mm, 4);
            kb_text_add(out, "&#160;mm section");
        }
        kb_text_add(out, "</span>");
    }
    kb_text_add(out, "</td>");
}

static void verdict_cell(struct kb_text *out, const struct kb_batch_specimen *specimen) {
    kb_text_add(out, "<td data-label=\"verdict\">");
    if (!specimen->judged) {
        kb_html_outcome(out, KB_UNDECIDED, "not judged", 18);
        kb_text_format(out,
                       "<span class=\"ci small\">%zu of %zu field%s not<br />measured</span></td>",
                       specimen->faults, specimen->fields, specimen->fields == 1 ? "" : "s");
        return;
    }
    const enum kb_outcome verdict = specimen->judgement.verdict;
    kb_html_outcome(out, verdict,
                    verdict == KB_OUTCOME_NONE ? "no limits" : kb_outcome_name(verdict), 18);
    if (specimen->more_fields > 0) {
        kb_text_format(out,
                       "<span class=\"ci small\">about %zu more<br />field%s would decide</span>",
                       specimen->more_fields, specimen->more_fields == 1 ? "" : "s");
    }
    kb_text_add(out, "</td>");
}

static void table(struct kb_text *out, const struct kb_batch *batch,
                  const enum kb_quantity *quantity, size_t count) {
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th class=\"n\">no."
                     "</th><th>specimen</th><th class=\"n\">fields</th>");
    struct column column[COLUMNS_MOST];
    for (size_t k = 0; k < count; k++) {
        quantity_head(out, batch, quantity[k], &column[k]);
    }
    kb_text_add(out, "<th>verdict</th></tr></thead><tbody>\n");
    for (size_t i = 0; i < batch->specimens; i++) {
        const struct kb_batch_specimen *specimen = &batch->specimen[i];
        kb_text_format(out, "<tr><td class=\"n\" data-label=\"no.\">%zu</td>", i + 1);
        name_cell(out, specimen);
        kb_text_format(out, "<td class=\"n\" data-label=\"fields\">%zu</td>", specimen->fields);
        for (size_t k = 0; k < count; k++) {
            figure_cell(out, specimen, &column[k]);
        }
        verdict_cell(out, specimen);
        kb_text_add(out, "</tr>\n");
    }
    kb_text_add(out, "</tbody></table></div>\n");
}

static void legend(struct kb_text *out, const struct kb_batch *batch) {
    const char *rule = kb_batch_decision_rule(batch);
    if (rule == NULL) {
        kb_text_add(out,
                    "<p class=\"small soft\">No limits were given. The figures are reported as "
                    "measured.</p>\n");
        return;
    }
    kb_text_add(out, "<p class=\"small soft\">Disc: accept; square: reject; diamond: undecided. ");
    if (batch->specimens <= DRAWINGS_MOST) {
        kb_text_add(out, "In the drawings the shaded part is what the limit allows; the bar is the "
                         "interval, the dot the measured value. ");
    }
    kb_text_add(out, "How a limit decides on a specimen: ");
    kb_html_text(out, rule);
    kb_text_add(out, ".</p>\n");
}

void kb_html_batch_specimens(struct kb_text *out, const struct kb_batch *batch) {
    const struct kb_batch_limited shown = shown_of(batch);
    kb_html_section(out, "specimens", "Specimens");
    size_t at = 0;
    do {
        const size_t left = shown.count - at;
        const size_t count = left < COLUMNS_MOST ? left : COLUMNS_MOST;
        table(out, batch, shown.quantity + at, count);
        at += count;
    } while (at < shown.count);
    legend(out, batch);
    kb_html_section_end(out);
}

/* ---- what could not be measured ---- */

void kb_html_batch_faults(struct kb_text *out, const struct kb_batch *batch) {
    size_t faults = 0;
    for (size_t i = 0; i < batch->specimens; i++) {
        faults += batch->specimen[i].faults;
    }
    if (faults == 0) {
        return;
    }
    kb_html_section(out, "not-measured", "What could not be measured");
    kb_text_add(out, "<p>A specimen with such a field is not judged: figures from what happens to "
                     "be left would look like those of the specimen.</p>\n<div class=\"wide\">"
                     "<table class=\"stack\"><thead><tr><th>specimen</th><th>field</th><th>why</th>"
                     "</tr></thead><tbody>\n");
    for (size_t i = 0; i < batch->specimens; i++) {
        const struct kb_batch_specimen *specimen = &batch->specimen[i];
        for (size_t k = 0; k < specimen->faults; k++) {
            kb_text_add(out, "<tr>");
            kb_html_own_cell(out, "specimen", specimen->id);
            kb_text_add(out, "<td class=\"path\" data-label=\"field\"><span>");
            kb_html_own(out, specimen->fault[k].path);
            kb_text_add(out, "</span></td>");
            kb_html_cell(out, "why", specimen->fault[k].text);
            kb_text_add(out, "</tr>\n");
        }
    }
    kb_text_add(out, "</tbody></table></div>\n");
    kb_html_section_end(out);
}
