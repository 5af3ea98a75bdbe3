/* html_by_hand_lines.c - decisions by hand that no file holds yet, as the lines of a job file that
 * keep them. A line of a job file holds 197 bytes: a longer one goes on behind a backslash.
 */
#include "html_priv.h"

#include <string.h>

/* Bytes of a line behind which it is broken at the next blank. */
enum { BREAK_BEHIND = 120 };

static bool unkept(const struct kb_by_hand *hand) {
    return strcmp(hand->origin, "job file") != 0 && strcmp(hand->origin, "record") != 0;
}

/* A threshold for every field, which stands with the settings. */
static bool is_general_level(const struct kb_by_hand *hand) {
    return (hand->kind == KB_HAND_DARK || hand->kind == KB_HAND_BRIGHT) && hand->field_name == NULL;
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

static const char *key_of(enum kb_hand_kind kind) {
    static const char *const key[KB_HAND_KINDS] = {
        [KB_HAND_PHASE] = "set_phase",
        [KB_HAND_FORM] = "set_form",
        [KB_HAND_EXCLUSION] = "exclude",
        [KB_HAND_OUTLINE] = "exclude",
        [KB_HAND_DARK] = "field_threshold",
        [KB_HAND_BRIGHT] = "field_threshold",
        [KB_HAND_CUT] = "cut",
        [KB_HAND_JOIN] = "join",
        [KB_HAND_SCALE] = "scale_line",
    };
    return key[kind];
}

static void points(struct kb_text *out, const struct kb_by_hand *hand) {
    size_t begun = out->length;
    for (size_t i = 0; i < hand->points; i++) {
        if (out->length - begun > BREAK_BEHIND) {
            kb_text_add(out, " \\\n    ");
            begun = out->length;
        }
        kb_text_format(out, "%s%d,%d", i > 0 ? " " : "", (int)hand->point[i].x,
                       (int)hand->point[i].y);
    }
}

/* The place and the word. */
static void said(struct kb_text *out, const struct kb_by_hand *hand) {
    const struct kb_rect *at = &hand->place;
    switch (hand->kind) {
    case KB_HAND_PHASE:
        kb_text_format(out, "%d,%d %s", (int)at->x, (int)at->y, kb_phase_name(hand->phase));
        break;
    case KB_HAND_FORM:
        kb_text_format(out, "%d,%d %s", (int)at->x, (int)at->y, kb_form_roman(hand->form));
        break;
    case KB_HAND_EXCLUSION:
        kb_text_format(out, "%d,%d,%d,%d", (int)at->x, (int)at->y, (int)at->width, (int)at->height);
        break;
    case KB_HAND_DARK:
        kb_text_significant(out, hand->level, 17);
        break;
    case KB_HAND_BRIGHT:
        kb_text_add(out, "-,");
        kb_text_significant(out, hand->level, 17);
        break;
    default:
        points(out, hand);
        break;
    }
    if (hand->kind == KB_HAND_SCALE) {
        kb_text_add(out, " ");
        kb_text_significant(out, hand->length_um, 17);
        kb_text_add(out, "um");
        if (hand->length_um_u > 0.0) {
            kb_text_add(out, "±");
            kb_text_significant(out, hand->length_um_u, 17);
            kb_text_add(out, "um (k=1)");
        }
    }
}

static void hand_line(struct kb_text *out, const struct kb_by_hand *hand) {
    kb_text_format(out, "%s = ", key_of(hand->kind));
    kb_html_text(out, hand->field_name);
    kb_text_add(out, hand->field_name != NULL ? " " : "");
    said(out, hand);
    if (hand->reason != NULL) {
        const bool lengthy = hand->points > 4; /* room for the reason on a line of its own */
        kb_text_add(out, lengthy ? " \\\n    : " : ": ");
        kb_html_text(out, hand->reason);
    }
    kb_text_add(out, "\n");
}

static void lines(struct kb_text *out, const struct kb_result *result, bool general) {
    bool some = false, reasoned = false;
    for (size_t i = 0; i < result->by_hands; i++) {
        const struct kb_by_hand *hand = &result->by_hand[i];
        if (is_general_level(hand) != general || !unkept(hand)) {
            continue;
        }
        kb_text_add(out, some ? "" : general ? "[segmentation]\n" : "[by_hand]\n");
        some = true;
        if (general) {
            threshold_line(out, hand, &reasoned);
        } else {
            hand_line(out, hand);
        }
    }
}

void kb_html_by_hand_lines(struct kb_text *out, const struct kb_result *result) {
    size_t loose = 0;
    for (size_t i = 0; i < result->by_hands; i++) {
        loose += unkept(&result->by_hand[i]) ? 1 : 0;
    }
    if (loose == 0) {
        return;
    }
    kb_text_add(out, "<p class=\"small\">Not kept in a job file. These lines in the job file "
                     "measure the same again:</p>\n<pre>");
    lines(out, result, true);
    lines(out, result, false);
    kb_text_add(out, "</pre>\n");
}
