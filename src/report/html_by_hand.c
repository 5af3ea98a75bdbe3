/* html_by_hand.c - what a person decided in the program's place: where, from what to what, why, and
 * who stands for it; and the lines that keep those decisions which no job file holds yet.
 */
#include "html_priv.h"

#include <string.h>

static void where(struct kb_text *out, const struct kb_result *result,
                  const struct kb_by_hand *hand) {
    const struct kb_rect *at = &hand->place;
    if (hand->field == 0) {
        kb_text_add(out, "every field");
    } else {
        const char *path = result->field[hand->field - 1].path;
        kb_text_format(out, "field %zu", hand->field);
        kb_text_add(out, " <span class=\"soft\">");
        kb_html_own(out, path != NULL ? kb_base_name(path) : "");
        kb_text_add(out, "</span>");
    }
    if (hand->kind == KB_HAND_EXCLUSION) {
        kb_text_format(out, ", %d × %d px at %d, %d", (int)at->width, (int)at->height, (int)at->x,
                       (int)at->y);
    } else if (hand->kind == KB_HAND_PHASE || hand->kind == KB_HAND_FORM) {
        kb_text_format(out, ", at %d, %d", (int)at->x, (int)at->y);
    }
}

/* Share of the picture, per cent. */
static double share(const struct kb_result *result, const struct kb_by_hand *hand) {
    const struct kb_field_result *field = &result->field[hand->field - 1];
    return 100.0 * (double)hand->pixels / ((double)field->width * (double)field->height);
}

static void phase(struct kb_text *out, const struct kb_result *result,
                  const struct kb_by_hand *hand) {
    if (hand->without_effect || hand->field == 0) {
        kb_text_format(out, "region is <b>%s</b>: changed nothing", kb_phase_name(hand->phase));
        return;
    }
    kb_text_format(out, "region is <b>%s</b>, found as %s; ", kb_phase_name(hand->phase),
                   kb_phase_name(hand->phase_found));
    kb_text_significant(out, share(result, hand), 2);
    kb_text_format(out, "&#160;%% of the picture");
}

static void form(struct kb_text *out, const struct kb_by_hand *hand) {
    const char *credit = kb_form_is_nodule(hand->form) ? "a nodule" : "no nodule";
    if (hand->without_effect) {
        kb_text_format(out,
                       "particle %u is of <b>form %s</b>: it does not count, so this changed "
                       "nothing",
                       (unsigned)hand->particle, kb_form_roman(hand->form));
        return;
    }
    kb_text_format(out, "particle %u is of <b>form %s</b>, by its figures %s; %s in every method",
                   (unsigned)hand->particle, kb_form_roman(hand->form),
                   kb_form_roman(hand->form_found), credit);
}

static void what(struct kb_text *out, const struct kb_result *result,
                 const struct kb_by_hand *hand) {
    switch (hand->kind) {
    case KB_HAND_PHASE:
        phase(out, result, hand);
        break;
    case KB_HAND_FORM:
        form(out, hand);
        break;
    case KB_HAND_EXCLUSION:
        kb_text_add(out, "left out of every figure");
        break;
    case KB_HAND_DARK:
    case KB_HAND_BRIGHT:
        kb_text_format(out, "%s threshold at grey level <b>",
                       hand->kind == KB_HAND_DARK ? "dark" : "bright");
        kb_text_significant(out, hand->level, 6);
        kb_text_add(out, "</b>, not searched for");
        break;
    default:
        break;
    }
}

static void row(struct kb_text *out, const struct kb_result *result,
                const struct kb_by_hand *hand) {
    kb_text_add(out, "<tr><td class=\"lone path\">");
    where(out, result, hand);
    kb_text_add(out, "</td><td data-label=\"decided\"><span>");
    what(out, result, hand);
    kb_text_add(out, "</span></td><td data-label=\"why\"><span>");
    if (hand->reason != NULL) {
        kb_html_own(out, hand->reason);
    } else {
        kb_text_add(out, "<span class=\"none\">no reason given</span>");
    }
    kb_text_add(out, "</span></td><td data-label=\"by\"><span>");
    const char *who = hand->who != NULL ? hand->who : result->operator_name;
    if (who != NULL) {
        kb_html_own(out, who);
        if (hand->at != NULL) {
            kb_text_add(out, ", ");
            kb_html_time(out, hand->at);
        }
    } else {
        kb_text_add(out, "<span class=\"none\">nobody named</span>");
    }
    kb_text_add(out, "</span></td>");
    kb_html_cell(out, "said in", hand->origin);
    kb_text_add(out, "</tr>\n");
}

/* ---- lines for the job file --------------------------------------------------------------------
 */

static bool unkept(const struct kb_by_hand *hand) {
    return strcmp(hand->origin, "job file") != 0;
}

static void threshold_line(struct kb_text *out, const struct kb_by_hand *hand, bool *reasoned) {
    kb_text_add(out, hand->kind == KB_HAND_DARK ? "dark_threshold = " : "bright_threshold = ");
    kb_text_significant(out, hand->level, 17);
    kb_text_add(out, "\n");
    if (hand->reason != NULL && !*reasoned) {
        kb_text_add(out, "threshold_reason = ");
        kb_html_text(out, hand->reason);
        kb_text_add(out, "\n");
        *reasoned = true;
    }
}

static void hand_line(struct kb_text *out, const struct kb_by_hand *hand) {
    const struct kb_rect *at = &hand->place;
    const char *key = hand->kind == KB_HAND_PHASE  ? "set_phase"
                      : hand->kind == KB_HAND_FORM ? "set_form"
                                                   : "exclude";
    kb_text_format(out, "%s = ", key);
    kb_html_text(out, hand->field_name);
    kb_text_format(out, "%s%d,%d", hand->field_name != NULL ? " " : "", (int)at->x, (int)at->y);
    if (hand->kind == KB_HAND_EXCLUSION) {
        kb_text_format(out, ",%d,%d", (int)at->width, (int)at->height);
    } else {
        kb_text_format(out, " %s",
                       hand->kind == KB_HAND_PHASE ? kb_phase_name(hand->phase)
                                                   : kb_form_roman(hand->form));
    }
    if (hand->reason != NULL) {
        kb_text_add(out, ": ");
        kb_html_text(out, hand->reason);
    }
    kb_text_add(out, "\n");
}

static void lines(struct kb_text *out, const struct kb_result *result, bool thresholds) {
    bool some = false, reasoned = false;
    for (size_t i = 0; i < result->by_hands; i++) {
        const struct kb_by_hand *hand = &result->by_hand[i];
        bool threshold = hand->kind == KB_HAND_DARK || hand->kind == KB_HAND_BRIGHT;
        if (threshold != thresholds || !unkept(hand)) {
            continue;
        }
        kb_text_add(out, some ? "" : thresholds ? "[segmentation]\n" : "[by_hand]\n");
        some = true;
        if (threshold) {
            threshold_line(out, hand, &reasoned);
        } else {
            hand_line(out, hand);
        }
    }
}

static void keep(struct kb_text *out, const struct kb_result *result) {
    size_t loose = 0;
    for (size_t i = 0; i < result->by_hands; i++) {
        loose += unkept(&result->by_hand[i]) ? 1 : 0;
    }
    if (loose == 0) {
        return;
    }
    kb_text_add(out, "<p class=\"small\">Said on the command line, and so kept nowhere but here. "
                     "These lines in the job file measure the same again:</p>\n<pre>");
    lines(out, result, true);
    lines(out, result, false);
    kb_text_add(out, "</pre>\n");
}

void kb_html_by_hand(struct kb_text *out, const struct kb_result *result) {
    kb_html_section(out, "by-hand", "By hand");
    if (result->by_hands == 0) {
        kb_text_add(out, "<p>Nothing: every threshold, phase and form is as the program found it, "
                         "and no area was left out by hand.</p>\n");
        kb_html_section_end(out);
        return;
    }
    kb_text_add(out, "<p>A person decided this in the program's place. Every other phase, form "
                     "and threshold is as the program found it.</p>\n<div class=\"wide\"><table "
                     "class=\"stack\"><thead><tr>"
                     "<th>where</th><th>decided</th><th>why</th><th>by</th><th>said in</th></tr>"
                     "</thead><tbody>\n");
    for (size_t i = 0; i < result->by_hands; i++) {
        row(out, result, &result->by_hand[i]);
    }
    kb_text_add(out, "</tbody></table></div>\n");
    keep(out, result);
    kb_html_section_end(out);
}
