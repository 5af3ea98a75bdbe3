/* html_limits.c - each limit with its figure, a drawing of the interval against it, and the outcome
 * with its reason. */
#include "html_priv.h"

/* Of conformity; never a round 0 or 100 % for what is only very likely. */
static void probability(struct kb_text *out, double p) {
    if (!isfinite(p)) {
        return;
    }
    kb_text_add(out, "<span class=\"ci small\">");
    if (p > 0.999) {
        kb_text_add(out, "&gt;&#160;99.9&#160;%");
    } else if (p < 0.001) {
        kb_text_add(out, "&lt;&#160;0.1&#160;%");
    } else {
        kb_text_format(out, "%.1f&#160;%%", 100.0 * p);
    }
    kb_text_add(out, "</span>");
}

/* Where the other rule would say otherwise, the reader is told. */
static void other_rules(struct kb_text *out, const struct kb_judgement *judgement) {
    for (int rule = 0; rule < KB_DECISION_RULES; rule++) {
        if (rule != (int)judgement->decision_rule) {
            kb_text_format(out,
                           "<p class=\"small\">By the rule not chosen, %s, the verdict would be "
                           "<b>%s</b>",
                           kb_decision_rule_name((enum kb_decision_rule)rule),
                           kb_outcome_name(judgement->verdict_by_rule[rule]));
            for (size_t i = 0; i < judgement->count; i++) {
                const struct kb_limit_result *limit = &judgement->limit[i];
                if (limit->by_rule[rule] != limit->outcome) {
                    kb_text_add(out, "; ");
                    kb_html_text(out, kb_quantity_words(limit->limit.quantity));
                    kb_text_format(out, ": %s", kb_outcome_name(limit->by_rule[rule]));
                }
            }
            kb_text_add(out, ".</p>\n");
        }
    }
}

static void row(struct kb_text *out, const struct kb_limit_result *limit) {
    static const char *const style[] = {"nolimits", "accept", "reject", "undecided"};
    static const char *const words[] = {"none", "accept", "reject", "undecided"};
    kb_text_add(out, "<tr><td class=\"lone\">");
    kb_html_text(out, kb_quantity_words(limit->limit.quantity));
    kb_text_add(out, "</td><td class=\"n\" data-label=\"limit\">");
    kb_limit_words(&limit->limit, out);
    kb_text_add(out, "</td><td class=\"n\" data-label=\"measured\"><span>");
    kb_html_estimate(out, &limit->value, false);
    struct kb_shown shown = kb_show(&limit->value);
    if (shown.has_interval) {
        kb_text_format(out, "<br /><span class=\"ci\">%s to %s</span>", shown.low, shown.high);
    }
    kb_text_add(out, "</span></td><td class=\"bar\" data-label=\"against the limit\">");
    kb_svg_limit(out, limit);
    kb_text_format(out, "</td><td data-label=\"outcome\"><span class=\"outcome %s\">",
                   style[limit->outcome]);
    kb_svg_verdict(out, limit->outcome, 20);
    kb_text_format(out, "%s</span>", words[limit->outcome]);
    probability(out, limit->probability);
    kb_text_add(out, "</td><td data-label=\"because\"><span>");
    kb_html_text(out, limit->reason);
    if (limit->outcome == KB_UNDECIDED && shown.measured) {
        if (limit->fields_to_decide > 0) {
            kb_text_format(out, "; at this spread about <b>%zu more field%s</b> would decide",
                           limit->fields_to_decide, limit->fields_to_decide == 1 ? "" : "s");
        } else {
            kb_text_add(out, "; how many more fields would decide cannot be said");
        }
    }
    kb_text_add(out, "</span></td></tr>\n");
}

void kb_html_limits(struct kb_text *out, const struct kb_result *result) {
    const struct kb_judgement *judgement = &result->judgement;
    kb_html_section(out, "limits", "Limits");
    if (judgement->count == 0) {
        kb_text_add(out,
                    "<p>No limits were given. The figures below are reported as measured.</p>");
        kb_html_section_end(out);
        return;
    }
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>quantity</th>"
                     "<th class=\"n\">limit</th><th class=\"n\">measured, 95&#160;% interval</th>"
                     "<th>against the limit</th><th>outcome, probability<br />"
                     "of conformity</th><th>because</th></tr></thead>"
                     "<tbody>\n");
    for (size_t i = 0; i < judgement->count; i++) {
        row(out, &judgement->limit[i]);
    }
    kb_text_add(out, "</tbody></table></div>\n<p class=\"small soft\">In the drawings the shaded "
                     "part is what the limit allows; the bar is the interval, the dot the measured "
                     "value. Below each outcome stands the probability that the true value meets "
                     "the limit, from value and interval (JCGM 106).");
    if (judgement->rule != NULL) {
        kb_text_add(out, " Rule of decision: ");
        kb_html_text(out, judgement->rule);
        kb_text_add(out, ".");
    }
    kb_text_add(out, "</p>\n");
    other_rules(out, judgement);
    kb_html_section_end(out);
}
