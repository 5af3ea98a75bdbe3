/* html_batch.c - report.html of a batch: one self-contained page, the answer first.
 *
 * The same calm document as the page of a specimen, with the same rules: no scripts, no network,
 * every figure with its unit and interval, every percentage with what it is of. Whole results are
 * open one at a time.
 */
#include "html_batch_priv.h"

enum { LEAD_MOST = 5, FINDINGS_FIRST = 3 };

static void head(struct kb_text *out, const struct kb_batch *batch) {
    kb_text_add(out, "<header>\n");
    kb_html_house_mark(out, &batch->house_mark);
    kb_text_add(out, "<p class=\"kind\"><span>Batch report");
    kb_html_part(out, " · ", batch->laboratory);
    kb_text_add(out, "</span><span>");
    kb_html_time(out, batch->made_at);
    kb_text_add(out, "</span></p>\n<h1>");
    kb_html_own(out, batch->name);
    kb_text_format(out, "</h1>\n<p class=\"sub\">%zu specimen%s · %zu field%s", batch->specimens,
                   batch->specimens == 1 ? "" : "s", batch->fields, batch->fields == 1 ? "" : "s");
    kb_html_part(out, " · for ", batch->customer);
    kb_html_part(out, " · ", batch->certificate.part);
    kb_html_part(out, " · order ", batch->certificate.order);
    kb_text_add(out, "</p>\n</header>\n");
}

static void verdict(struct kb_text *out, const struct kb_batch *batch) {
    static const char *const style[] = {"nolimits", "accept", "reject", "undecided"};
    static const char *const words[] = {"Batch measured", "Batch accepted", "Batch rejected",
                                        "Batch undecided"};
    const struct kb_batch_judgement *judgement = &batch->judgement;
    kb_text_format(out, "<div class=\"verdict %s\">", style[judgement->verdict]);
    kb_svg_verdict(out, judgement->verdict, 64);
    kb_text_format(out, "<div><strong>%s</strong><span>", words[judgement->verdict]);
    kb_html_text(out, judgement->reason);
    if (judgement->verdict != KB_OUTCOME_NONE) {
        kb_text_add(out, "</span><span class=\"small\">Rule: ");
        kb_html_text(out, judgement->rule);
    }
    kb_text_add(out, "</span></div></div>\n");
    if (judgement->advice[0] != '\0') {
        kb_text_add(out, "<p class=\"caution\"><b>The cheapest way to a decision:</b> ");
        kb_html_text(out, judgement->advice);
        kb_text_add(out, ".</p>\n");
    }
}

static void lead_figure(struct kb_text *out, const struct kb_batch_figure *figure) {
    const struct kb_shown shown = kb_show(&figure->split.mean);
    if (!shown.measured) {
        return;
    }
    kb_text_add(out, "<div><dt>");
    if (figure->quantity < KB_Q_GIVEN) { /* short, what it is of stands below */
        kb_text_words(out, kb_quantity_name(figure->quantity));
    } else {
        kb_html_text(out, kb_quantity_words(figure->quantity));
    }
    kb_text_format(out, "</dt><dd class=\"value\">%s <small>", shown.value);
    kb_html_text(out, shown.unit);
    kb_text_add(out, "</small></dd><dd>");
    if (shown.has_interval) {
        kb_text_format(out, "%s to %s", shown.low, shown.high);
    } else {
        kb_text_add(out, "<span class=\"soft\">no interval</span>");
    }
    kb_text_add(out, "</dd><dd class=\"soft small\">");
    if (figure->quantity < KB_Q_GIVEN) {
        kb_html_text(out, kb_quantity_words(figure->quantity));
        kb_text_add(out, "; ");
    }
    if (figure->split.groups == 1) {
        kb_text_add(out, "of the one specimen</dd></div>\n");
    } else {
        kb_text_format(out, "mean of %zu specimens</dd></div>\n", figure->split.groups);
    }
}

/* The means of what is limited; without limits, of the first figures there are. */
static void lead(struct kb_text *out, const struct kb_batch *batch) {
    const struct kb_batch_limited limited = kb_batch_limited(batch);
    const struct kb_batch_judgement *judgement = &batch->judgement;
    const size_t count = limited.count > 0 ? limited.count : judgement->figures;
    if (judgement->figures == 0) {
        return;
    }
    kb_text_add(out, "<dl class=\"lead\">\n");
    for (size_t i = 0; i < count && i < LEAD_MOST; i++) {
        const struct kb_batch_figure *figure =
            limited.count > 0 ? kb_batch_figure(batch, limited.quantity[i]) : &judgement->figure[i];
        if (figure != NULL) {
            lead_figure(out, figure);
        }
    }
    kb_text_add(out, "</dl>\n");
}

static void count(struct kb_text *out, size_t number, const char *words, bool *some) {
    if (number > 0) {
        kb_text_format(out, "%s%zu %s", *some ? ", " : "", number, words);
        *some = true;
    }
}

static void counts(struct kb_text *out, const struct kb_batch *batch) {
    const struct kb_batch_judgement *judgement = &batch->judgement;
    bool some = false;
    kb_text_add(out, "<p class=\"counts\">Specimens: ");
    count(out, judgement->accepted, "accepted", &some);
    count(out, judgement->rejected, "rejected", &some);
    count(out, judgement->undecided, "undecided", &some);
    count(out, judgement->unjudged, "not judged, for want of a field", &some);
    count(out, judgement->unlimited, "without limits", &some);
    kb_text_add(out, ". Ranges are two-sided 95&#160;% confidence intervals: of a specimen between "
                     "its fields, of a mean between specimens. They speak for the sections that "
                     "were cut, and for the batch as far as these stand for it.</p>\n");
}

/* The worst, before the eye goes on to the table. */
static void first_findings(struct kb_text *out, const struct kb_batch_gathered *gathered) {
    size_t shown = 0;
    for (size_t i = 0; i < gathered->groups && shown < FINDINGS_FIRST; i++) {
        const struct kb_batch_group *group = &gathered->group[i];
        if (group->finding.severity == KB_SERIOUS) {
            char where[64];
            (void)snprintf(where, sizeof where, "%zu specimen%s", group->specimens,
                           group->specimens == 1 ? "" : "s");
            kb_text_add(out, shown++ == 0 ? "<ul class=\"findings\">\n" : "");
            kb_html_finding(out, &group->finding, where);
        }
    }
    kb_text_add(out, shown > 0 ? "</ul>\n" : "");
    if (gathered->groups > shown) {
        kb_text_format(out,
                       "<p class=\"small\"><a href=\"#findings\">All findings, of %zu kind%s,</a> "
                       "stand further down.</p>\n",
                       gathered->groups, gathered->groups == 1 ? "" : "s");
    }
}

enum kb_status kb_batch_page(const struct kb_batch *batch, const struct kb_batch_gathered *gathered,
                             struct kb_text *out, struct kb_err *err) {
    static const char *const words[] = {"measured", "accepted", "rejected", "undecided"};
    struct kb_locale locale = kb_locale_enter();
    kb_html_document(out, batch->name, words[batch->judgement.verdict], batch->made_at, NULL);
    head(out, batch);
    verdict(out, batch);
    lead(out, batch);
    counts(out, batch);
    first_findings(out, gathered);
    kb_html_batch_specimens(out, batch);
    kb_html_batch_faults(out, batch);
    kb_html_batch_figures(out, batch);
    const enum kb_status status = kb_html_batch_history(out, batch, err);
    kb_html_batch_given(out, batch);
    kb_html_batch_findings(out, batch, gathered);
    kb_html_batch_trace(out, batch, gathered);
    kb_html_document_end(out);
    kb_locale_leave(locale);
    if (status != KB_OK) {
        kb_text_release(out);
        return status;
    }
    return kb_text_end(out, err);
}

enum kb_status kb_report_batch_html(const struct kb_batch *batch, struct kb_text *out,
                                    struct kb_err *err) {
    struct kb_batch_gathered gathered = {.settings = 0};
    struct kb_result *result = kb_alloc_zero(1, sizeof *result);
    enum kb_status status = result != NULL ? KB_OK : kb_fail_memory(err, "report", sizeof *result);
    for (size_t i = 0; i < batch->specimens && status == KB_OK; i++) {
        if (!batch->specimen[i].judged) {
            continue;
        }
        status = batch->open(batch->context, i, result, err);
        if (status == KB_OK) {
            status = kb_batch_gather(i, result, &gathered, err);
            kb_result_release(result);
        }
    }
    if (status == KB_OK) {
        status = kb_batch_page(batch, &gathered, out, err);
    } else {
        kb_text_release(out);
    }
    kb_batch_gathered_release(&gathered);
    kb_free(result);
    return status;
}
