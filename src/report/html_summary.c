/* html_summary.c - the first screen: specimen, verdict, leading figures, most serious findings. */
#include "html_priv.h"

enum { FINDINGS_FIRST = 4 };

static void head(struct kb_text *out, const struct kb_result *result) {
    enum kb_contrast contrast = KB_LIGHT;
    kb_text_add(out, "<header>\n");
    kb_html_house_mark(out, &result->house_mark);
    kb_text_add(out, "<p class=\"kind\"><span>Metallographic report");
    kb_html_part(out, " · ", result->laboratory);
    kb_text_add(out, "</span><span>");
    kb_html_time(out, result->made_at);
    kb_text_add(out, "</span></p>\n<h1>");
    kb_html_own(out, result->specimen_id);
    kb_text_add(out, result->specimen_id == NULL ? "Unnamed specimen" : "");
    kb_text_add(out, "</h1>\n<p class=\"sub\">");
    kb_text_words(out, kb_material_name(result->material));
    kb_text_format(out, " · %s",
                   kb_result_contrast(result, &contrast) ? kb_contrast_words(contrast)
                                                         : "several contrasts");
    kb_html_part(out, " · for ", result->customer);
    kb_html_part(out, " · ", result->remark);
    kb_text_add(out, "</p>\n</header>\n");
}

static void verdict(struct kb_text *out, const struct kb_judgement *judgement) {
    static const char *const style[] = {"nolimits", "accept", "reject", "undecided"};
    kb_text_format(out, "<div class=\"verdict %s\">", style[judgement->verdict]);
    kb_svg_verdict(out, judgement->verdict, 64);
    kb_text_format(out, "<div><strong>%s</strong><span>", kb_verdict_words(judgement->verdict));
    kb_verdict_sentence(judgement, out);

    kb_text_add(out, "</span></div></div>\n");
}

static void lead(struct kb_text *out, const struct kb_headline *headline) {
    struct kb_shown shown = kb_show(&headline->estimate);
    kb_text_format(out, "<div><dt>%s</dt><dd class=\"value\">", headline->words);
    if (shown.measured) {
        kb_text_format(out, "%s <small>", shown.value);
        kb_html_text(out, shown.unit);
        kb_text_add(out, "</small></dd><dd>");
        if (shown.has_interval) {
            kb_text_format(out, "%s to %s", shown.low, shown.high);
        } else {
            kb_text_add(out, "<span class=\"soft\">no interval</span>");
        }
    } else {
        kb_text_add(out, "<span class=\"none\">–</span></dd><dd class=\"small\">not measured: ");
        kb_html_text(out, headline->estimate.why != NULL ? headline->estimate.why : "no reason");
    }
    kb_text_format(out, "</dd><dd class=\"soft small\">%s</dd></div>\n", headline->of);
}

/* Of flake iron: the designation or the letter, where told. */
static void designation(struct kb_text *out, const struct kb_result *result) {
    const struct kb_flake_distribution *flakes = &result->specimen.distribution;
    if (!flakes->told) {
        return;
    }
    const bool whole = flakes->designation[0] != '\0';
    kb_text_format(out,
                   "<p class=\"counts\">Graphite %s%s after ISO 945-1: %s; the letter is believed "
                   "to %.0f&#160;%%, <a href=\"#graphite\">on these figures</a>.</p>\n",
                   whole ? "" : "distribution ",
                   whole ? flakes->designation : kb_flake_letter_name(flakes->letter),
                   kb_flake_letter_words(flakes->letter), 100.0 * flakes->belief[flakes->letter]);
}

static void counts(struct kb_text *out, const struct kb_result *result) {
    const struct kb_specimen *specimen = &result->specimen;
    kb_text_format(out, "<p class=\"counts\">%zu field%s", specimen->fields,
                   specimen->fields == 1 ? "" : "s");
    if (isfinite(specimen->area_mm2)) {
        char area[24];
        kb_show_number(area, sizeof area, specimen->area_mm2, 2);
        kb_text_format(out, ", %s&#160;mm²", area);
    }
    if (specimen->particles[KB_COUNTS] > 0) {
        kb_text_format(out, ", %zu particles counted", specimen->particles[KB_COUNTS]);
    }
    if (result->by_hands > 0) {
        kb_text_format(out, ", <a href=\"#by-hand\">%zu decision%s by hand</a>", result->by_hands,
                       result->by_hands == 1 ? "" : "s");
    }
    kb_text_add(out, ". Ranges are two-sided 95&#160;% confidence intervals between fields of this "
                     "section; they do not speak for other sections or castings.</p>\n");
}

static size_t findings_of(struct kb_text *out, const struct kb_result *result,
                          enum kb_severity severity, size_t room) {
    struct kb_finding_group group = {0};
    size_t shown = 0;
    while (shown < room && kb_result_finding_next(result, KB_ALIKE_CODE, &group)) {
        if (group.finding->severity == severity) {
            char where[64];
            kb_finding_where(&group, where, sizeof where);
            kb_html_finding(out, group.finding, where);
            shown++;
        }
    }
    return shown;
}

static void findings(struct kb_text *out, const struct kb_result *result) {
    size_t all = kb_result_findings(result, KB_ALIKE_TEXT);
    if (all == 0) {
        return;
    }
    kb_text_add(out, "<ul class=\"findings\">\n");
    size_t shown = findings_of(out, result, KB_SERIOUS, FINDINGS_FIRST);
    shown += findings_of(out, result, KB_WARNING, FINDINGS_FIRST - shown);
    if (all > shown) {
        kb_text_format(
            out,
            "<li class=\"note\"><span class=\"mark\">–</span><div>"
            "<a href=\"#findings\">All %zu findings</a> stand further down.</div></li>\n",
            all);
    }
    kb_text_add(out, "</ul>\n");
}

void kb_html_summary(struct kb_text *out, const struct kb_result *result) {
    struct kb_headline headline[KB_HEADLINES];
    size_t count = kb_result_headlines(result, headline);
    head(out, result);
    verdict(out, &result->judgement);
    kb_text_add(out, "<dl class=\"lead\">\n");
    for (size_t i = 0; i < count; i++) {
        lead(out, &headline[i]);
    }
    kb_text_add(out, "</dl>\n");
    designation(out, result);
    counts(out, result);
    findings(out, result);
}
