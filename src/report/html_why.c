/* html_why.c - points that were asked about: a picture of the place, and the steps by which it came
 * to be what it is; and the rule of each phase in one line, for every field. */
#include "html_priv.h"

static void picture(struct kb_text *out, const uint8_t *jpeg, size_t size, const char *what) {
    if (jpeg == NULL) {
        return;
    }
    kb_text_format(out, "<img alt=\"%s\" src=\"data:image/jpeg;base64,", what);
    kb_html_base64(out, jpeg, size);
    kb_text_add(out, "\" />");
}

static void pictures(struct kb_text *out, const struct kb_explained *why, double px_um) {
    if (why->photo_jpeg == NULL) {
        return;
    }
    kb_text_add(out, "<figure class=\"crop\">");
    picture(out, why->photo_jpeg, why->photo_size, "the place as taken, the point marked");
    picture(out, why->overlay_jpeg, why->overlay_size, "the place as measured, the point marked");
    kb_text_add(out, "<figcaption>As taken and as measured, ");
    if (px_um > 0.0) {
        kb_text_significant(out, px_um * why->shown.width, 3);
        kb_text_add(out, " µm wide");
    } else {
        kb_text_format(out, "%d px wide", (int)why->shown.width);
    }
    kb_text_add(out, "</figcaption></figure>\n");
}

/* "um" of the stages as a reader writes it. */
static void sentence(struct kb_text *out, const char *says) {
    struct kb_text words = KB_TEXT_INIT;
    kb_text_units(&words, says);
    if (words.failed) {
        out->failed = true;
    } else {
        kb_html_text(out, words.data);
    }
    kb_text_release(&words);
}

static void steps(struct kb_text *out, const struct kb_why *way) {
    kb_text_add(out, "<ol class=\"steps\">\n");
    for (size_t i = 0; i < way->steps; i++) {
        const struct kb_why_step *step = &way->step[i];
        kb_text_add(out, "<li><b>");
        kb_html_text(out, step->step);
        kb_text_add(out, "</b>");
        if (step->from != step->to && i > 1) {
            kb_text_format(out, " <span class=\"soft\">%s → %s</span>", kb_phase_name(step->from),
                           kb_phase_name(step->to));
        }
        kb_text_add(out, "<br />");
        sentence(out, step->says);
        kb_text_add(out, "</li>\n");
    }
    kb_text_add(out, "</ol>\n");
}

static void point(struct kb_text *out, const struct kb_result *result,
                  const struct kb_explained *why) {
    const struct kb_field_result *field = &result->field[why->field - 1];
    kb_text_format(out, "<div class=\"why\"><h3>At %d, %d of field %zu, ", (int)why->way.x,
                   (int)why->way.y, why->field);
    if (field->path != NULL) {
        kb_html_own(out, kb_base_name(field->path));
    } else {
        kb_text_add(out, "unnamed");
    }
    kb_text_format(out, ": %s", kb_phase_name(why->phase));
    if (why->particle > 0) {
        kb_text_format(out, ", particle %u", (unsigned)why->particle);
    }
    kb_text_add(out, "</h3>\n");
    pictures(out, why, field->px_um);
    steps(out, &why->way);
    kb_text_add(out, "</div>\n");
}

void kb_html_why(struct kb_text *out, const struct kb_result *result) {
    if (result->explaineds == 0) {
        return;
    }
    kb_html_section(out, "why", "Why it is what it is");
    kb_text_add(out,
                "<p class=\"small\">Points that were asked about, with every step that decided "
                "there, in their order, and the number that decided beside its limit.</p>\n");
    for (size_t i = 0; i < result->explaineds && !out->failed; i++) {
        point(out, result, &result->explained[i]);
    }
    kb_html_section_end(out);
}

void kb_html_rules(struct kb_text *out, const struct kb_field_result *field) {
    kb_text_add(out, "<dl class=\"rules\">\n");
    for (int phase = KB_GRAPHITE; phase < KB_PHASES; phase++) {
        if (field->segmentation.pixels[phase] == 0) {
            continue;
        }
        struct kb_text rule = KB_TEXT_INIT;
        kb_phase_rule(&field->segmentation, (enum kb_phase)phase, &rule);
        kb_text_format(out, "<div><dt>%s</dt><dd>", kb_phase_name((enum kb_phase)phase));
        if (rule.failed) {
            out->failed = true;
        } else {
            kb_html_text(out, rule.data);
        }
        kb_text_add(out, "</dd></div>\n");
        kb_text_release(&rule);
    }
    if (field->segmentation.by_hand_px > 0) {
        kb_text_add(out, "<div><dt>by hand</dt><dd>regions that a person set follow none of these "
                         "rules</dd></div>\n");
    }
    kb_text_add(out, "</dl>\n");
}
