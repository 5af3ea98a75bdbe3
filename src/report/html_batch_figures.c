/* html_batch_figures.c - the figures over all specimens of a batch: mean with interval, spread
 * between specimens and within one, a drawing a limited quantity; and the charts of the register.
 */
#include "html_batch_priv.h"

#include <string.h>

/* ---- drawings ---- */

static struct kb_dot dot_of(const struct kb_batch_specimen *specimen, size_t number,
                            enum kb_quantity quantity) {
    const struct kb_limit_result *limit = kb_batch_limit(specimen, quantity);
    const struct kb_estimate *value = limit != NULL ? &limit->value : &specimen->figure[quantity];
    const struct kb_shown shown = kb_show(value);
    return (struct kb_dot){
        .number = number,
        .value = shown.measured ? value->value * shown.scale : KB_NAN,
        .lo = shown.has_interval ? value->lo * shown.scale : KB_NAN,
        .hi = shown.has_interval ? value->hi * shown.scale : KB_NAN,
        .low = limit != NULL ? limit->limit.low : KB_NAN,
        .high = limit != NULL ? limit->limit.high : KB_NAN,
        .outcome = limit != NULL ? limit->outcome : KB_OUTCOME_NONE,
    };
}

static void drawing(struct kb_text *out, const struct kb_batch *batch, enum kb_quantity quantity,
                    struct kb_dot *dot) {
    const struct kb_batch_figure *figure = kb_batch_figure(batch, quantity);
    const bool mean = figure != NULL && figure->split.groups > 1;
    const struct kb_shown shown =
        mean ? kb_show(&figure->split.mean) : (struct kb_shown){.measured = false};
    char title[160];
    (void)snprintf(title, sizeof title, "%s of each specimen against the limit",
                   kb_quantity_words(quantity));
    struct kb_dots dots = {
        .dot = dot,
        .mean = shown.measured ? figure->split.mean.value * shown.scale : KB_NAN,
        .mean_lo = shown.has_interval ? figure->split.mean.lo * shown.scale : KB_NAN,
        .mean_hi = shown.has_interval ? figure->split.mean.hi * shown.scale : KB_NAN,
        .unit = kb_show_unit(kb_quantity_unit(quantity)),
        .title = title,
    };
    for (size_t i = 0; i < batch->specimens; i++) {
        dot[dots.count] = dot_of(&batch->specimen[i], i + 1, quantity);
        dots.count += isfinite(dot[dots.count].value) ? 1 : 0;
    }
    if (dots.count == 0) {
        return;
    }
    kb_text_add(out, "<figure>");
    kb_svg_dots(out, &dots);
    kb_text_add(out, "<figcaption>");
    kb_html_text(out, kb_quantity_words(quantity));
    kb_text_format(out, ", %s</figcaption></figure>\n", dots.unit);
}

static void drawings(struct kb_text *out, const struct kb_batch *batch) {
    const struct kb_batch_limited limited = kb_batch_limited(batch);
    struct kb_dot *dot = limited.count > 0 ? kb_alloc(batch->specimens, sizeof *dot) : NULL;
    if (limited.count == 0 || dot == NULL) {
        out->failed = out->failed || limited.count > 0;
        return;
    }
    const bool narrow = batch->specimens <= KB_DOTS_NARROW && limited.count > 1;
    kb_text_add(out, narrow ? "<div class=\"charts\">\n" : "");
    for (size_t i = 0; i < limited.count; i++) {
        drawing(out, batch, limited.quantity[i], dot);
    }
    kb_text_add(out, narrow ? "</div>\n" : "");
    kb_text_add(out, "<p class=\"small soft\">A mark a specimen, with its interval; disc: accept, "
                     "square: reject, open diamond: undecided, ring: no limit. What a limit does "
                     "not allow is shaded grey, the line at its edge is the limit; where limits "
                     "differ between specimens they are strokes at each. ");
    kb_text_add(out,
                batch->specimens > 1
                    ? "At the right the mean of the specimens; an interval without a stroke at "
                      "its end goes on beyond the drawing.</p>\n"
                    : "</p>\n");
    kb_free(dot);
}

/* ---- the table ---- */

static void spread_cell(struct kb_text *out, const char *label, double spread,
                        const struct kb_shown *shown) {
    kb_text_format(out, "<td class=\"n\" data-label=\"%s\">", label);
    if (isfinite(spread)) {
        const double value = spread * shown->scale;
        char number[32];
        kb_show_number(number, sizeof number, value,
                       value > 0.0 ? kb_show_decimals(value) - 1 : shown->decimals);
        kb_text_add(out, number);
        if (strcmp(shown->unit, "%") == 0) {
            kb_text_add(out, "&#160;points");
        } else {
            kb_text_add(out, "&#160;");
            kb_html_text(out, shown->unit);
        }
    } else {
        kb_text_add(out, "<span class=\"none\">unknown</span>");
    }
    kb_text_add(out, "</td>");
}

static void row(struct kb_text *out, const struct kb_batch_figure *figure, bool limits) {
    const struct kb_split *split = &figure->split;
    const struct kb_shown shown = kb_show(&split->mean);
    kb_text_add(out, "<tr><td class=\"lone\">");
    kb_html_text(out, kb_quantity_words(figure->quantity));
    kb_text_add(out, "</td><td class=\"n\" data-label=\"mean\"><span>");
    kb_html_estimate(out, &split->mean, false);
    if (shown.has_interval) {
        kb_text_format(out, "<br /><span class=\"ci\">%s to %s</span>", shown.low, shown.high);
    }
    kb_text_add(out, "</span></td>");
    spread_cell(out, "between specimens", split->between, &shown);
    spread_cell(out, "within a specimen", split->within, &shown);
    kb_text_format(out,
                   "<td class=\"n\" data-label=\"specimens\">%zu</td>"
                   "<td class=\"n\" data-label=\"fields\">%zu</td>",
                   split->groups, split->fields);
    if (limits) {
        kb_text_add(out, "<td data-label=\"mean against the limit\">");
        if (figure->limited) {
            kb_html_outcome(out, figure->limit.outcome, kb_outcome_name(figure->limit.outcome), 18);
            kb_text_add(out, "<span class=\"ci small\">");
            kb_limit_words(&figure->limit.limit, out);
            kb_text_add(out, "</span>");
        } else {
            kb_text_add(out, "–");
        }
        kb_text_add(out, "</td>");
    }
    kb_text_add(out, "</tr>\n");
}

static void rows(struct kb_text *out, const struct kb_batch *batch) {
    const struct kb_batch_limited limited = kb_batch_limited(batch);
    bool shown[KB_QUANTITIES] = {false};
    for (size_t i = 0; i < limited.count; i++) {
        const struct kb_batch_figure *figure = kb_batch_figure(batch, limited.quantity[i]);
        if (figure != NULL) {
            row(out, figure, true);
            shown[figure->quantity] = true;
        }
    }
    for (size_t i = 0; i < batch->judgement.figures; i++) {
        const struct kb_batch_figure *figure = &batch->judgement.figure[i];
        if (!shown[figure->quantity]) {
            row(out, figure, limited.count > 0);
        }
    }
}

static void notes(struct kb_text *out, const struct kb_batch *batch) {
    const struct kb_batch_judgement *judgement = &batch->judgement;
    const bool by_mean = judgement->params.rule == KB_BATCH_MEAN;
    kb_text_add(out, "<p class=\"small soft\">Spreads are standard deviations, split by one-way "
                     "random effects: between fields of one specimen, and between specimens with "
                     "the spread of their fields taken off. The interval of a mean holds both. ");
    if (kb_batch_limited(batch).count > 0) {
        kb_text_add(out, by_mean ? "The mean against its limit decides on this batch."
                                 : "The mean against its limit is for orientation; by the rule of "
                                   "this batch the specimens decide.");
    }
    kb_text_add(out, "</p>\n");
}

void kb_html_batch_figures(struct kb_text *out, const struct kb_batch *batch) {
    if (batch->judgement.figures == 0) {
        return;
    }
    const size_t judged = batch->specimens - batch->judgement.unjudged;
    kb_html_section(out, "all", "Over all specimens");
    if (judged == 1) {
        kb_text_add(out,
                    "<p class=\"caution\"><b>One specimen says nothing about the spread between "
                    "specimens.</b> Its figures stand for its own section; how far the rest "
                    "of the batch differs from it is not known.</p>\n");
    }
    drawings(out, batch);
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>quantity</th>"
                     "<th class=\"n\">mean of specimens,<br />95&#160;% interval</th>"
                     "<th class=\"n\">spread between<br />specimens</th>"
                     "<th class=\"n\">spread within<br />a specimen</th>"
                     "<th class=\"n\">specimens</th><th class=\"n\">fields</th>");
    kb_text_add(out, kb_batch_limited(batch).count > 0
                         ? "<th>mean against<br />the limit</th></tr></thead><tbody>\n"
                         : "</tr></thead><tbody>\n");
    rows(out, batch);
    kb_text_add(out, "</tbody></table></div>\n");
    notes(out, batch);
    kb_html_section_end(out);
}
