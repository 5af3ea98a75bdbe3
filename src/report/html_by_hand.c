/* html_by_hand.c - what a person decided in the program's place: where, from what to what, why, and
 * who stands for it.
 */
#include "html_priv.h"

static void ends(struct kb_text *out, const struct kb_by_hand *hand, const char *before,
                 const char *between) {
    if (hand->points < 2) {
        return;
    }
    const struct kb_place a = hand->point[0], b = hand->point[hand->points - 1];
    kb_text_format(out, ", %s %d, %d %s %d, %d", before, (int)a.x, (int)a.y, between, (int)b.x,
                   (int)b.y);
}

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
    switch (hand->kind) {
    case KB_HAND_EXCLUSION:
        kb_text_format(out, ", %d × %d px at %d, %d", (int)at->width, (int)at->height, (int)at->x,
                       (int)at->y);
        break;
    case KB_HAND_OUTLINE:
        kb_text_format(out, ", outline of %zu corners, %d × %d px at %d, %d", hand->points,
                       (int)at->width, (int)at->height, (int)at->x, (int)at->y);
        break;
    case KB_HAND_PHASE:
    case KB_HAND_FORM:
        kb_text_format(out, ", at %d, %d", (int)at->x, (int)at->y);
        break;
    case KB_HAND_CUT:
    case KB_HAND_SCALE:
        ends(out, hand, "from", "to");
        break;
    case KB_HAND_JOIN:
        ends(out, hand, "at", "and");
        break;
    default:
        break;
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
    if (hand->particle == 0) {
        kb_text_format(out, "particle is of <b>form %s</b>: changed nothing",
                       kb_form_roman(hand->form));
        return;
    }
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

static void area(struct kb_text *out, const struct kb_by_hand *hand) {
    kb_text_add(out, hand->without_effect ? "left out: lies outside the picture, changed nothing"
                                          : "left out of every figure");
}

static void threshold(struct kb_text *out, const struct kb_by_hand *hand) {
    kb_text_format(out, "%s threshold ", hand->kind == KB_HAND_DARK ? "dark" : "bright");
    if (isnan(hand->level)) {
        kb_text_add(out, "<b>as the program finds it</b>");
    } else {
        kb_text_add(out, "at grey level <b>");
        kb_text_significant(out, hand->level, 6);
        kb_text_add(out, "</b>");
    }
    if (hand->without_effect) {
        kb_text_add(out, ": another decision holds, or the field has no such threshold");
    } else if (!isnan(hand->level_found) && hand->field > 0 && !isnan(hand->level)) {
        kb_text_add(out, "; the histogram gives ");
        kb_text_significant(out, hand->level_found, 4);
    } else if (!isnan(hand->level)) {
        kb_text_add(out, ", not searched for");
    }
}

static void cut(struct kb_text *out, const struct kb_by_hand *hand) {
    if (hand->without_effect) {
        kb_text_add(out, "stroke that cuts through no particle: changed nothing");
    } else {
        kb_text_format(out, "<b>parted</b> along this stroke, into %zu particles", hand->parts);
    }
}

static void join(struct kb_text *out, const struct kb_by_hand *hand) {
    if (hand->without_effect) {
        kb_text_add(out, "two particles made one: changed nothing");
    } else if (hand->particle == 0) {
        kb_text_add(out, "two particles <b>made one</b>, which was parted again");
    } else {
        kb_text_format(out, "two particles <b>made one</b>, number %u", (unsigned)hand->particle);
    }
}

static void scale(struct kb_text *out, const struct kb_by_hand *hand) {
    kb_text_add(out, "line is <b>");
    kb_text_significant(out, hand->length_um, 6);
    kb_text_add(out, "&#160;µm</b> long");
    if (hand->without_effect) {
        kb_text_add(out, ": a later one holds");
        return;
    }
    kb_text_add(out, ", so a pixel is ");
    kb_text_significant(out, hand->px_um, 5);
    kb_text_add(out, "&#160;µm");
    if (hand->px_um_u > 0.0) {
        kb_text_add(out, " ± ");
        kb_text_significant(out, 2.0 * hand->px_um_u, 2);
        kb_text_format(out, "&#160;µm (k&#160;=&#160;2%s)",
                       hand->length_um_u > 0.0 ? "" : ", each end within half a pixel");
    }
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
    case KB_HAND_OUTLINE:
        area(out, hand);
        break;
    case KB_HAND_DARK:
    case KB_HAND_BRIGHT:
        threshold(out, hand);
        break;
    case KB_HAND_CUT:
        cut(out, hand);
        break;
    case KB_HAND_JOIN:
        join(out, hand);
        break;
    case KB_HAND_SCALE:
        scale(out, hand);
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

void kb_html_by_hand(struct kb_text *out, const struct kb_result *result) {
    kb_html_section(out, "by-hand", "By hand");
    if (result->by_hands == 0) {
        kb_text_add(out, "<p>Nothing: every threshold, phase and form is as the program found it, "
                         "and no area was left out by hand.</p>\n");
        kb_html_section_end(out);
        return;
    }
    kb_text_add(out, "<p>A person decided this in the program's place. Everything else "
                     "is as the program found it.</p>\n<div class=\"wide\"><table "
                     "class=\"stack\"><thead><tr>"
                     "<th>where</th><th>decided</th><th>why</th><th>by</th><th>said in</th></tr>"
                     "</thead><tbody>\n");
    for (size_t i = 0; i < result->by_hands; i++) {
        row(out, result, &result->by_hand[i]);
    }
    kb_text_add(out, "</tbody></table></div>\n");
    kb_html_by_hand_lines(out, result);
    kb_html_section_end(out);
}
