/* html_prepare.c - prepare.html: a preparation sheet to print, take to the bench and tick.
 *
 * A box, a number and a name head every step; cautions stand before what they are about, behind a
 * bar. The ladder is a table with room for a remark at each rung; at the foot room for notes, who
 * and when. Meant for one or two sheets of A4 and for reading at arm's length. XML-clean.
 */
#include "html_priv.h"
#include "prepare_show.h"

#include "keelblock/version.h"

#include <string.h>

static void head(struct kb_text *out, const struct kb_sheet_names *names) {
    kb_text_add(out, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\" />\n"
                     "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\" />\n"
                     "<title>Preparation sheet");
    if (names->specimen != NULL) {
        kb_text_add(out, ": ");
        kb_html_text(out, names->specimen);
    }
    kb_text_add(out, "</title>\n<style>\n");
    for (size_t i = 0; kb_html_style[i] != NULL; i++) {
        kb_text_add(out, kb_html_style[i]);
    }
    kb_text_add(out, "</style>\n</head>\n<body>\n<main>\n");
}

/* An empty square to tick. */
static void tick(struct kb_text *out) {
    kb_text_add(out,
                "<svg class=\"swatch\" width=\"17\" height=\"17\" viewBox=\"0 0 17 17\" "
                "role=\"img\" aria-label=\"to tick\"><rect x=\"1\" y=\"1\" width=\"15\" "
                "height=\"15\" fill=\"none\" stroke=\"#1d2026\" stroke-width=\"1.4\" /></svg>");
}

/* An empty line to write on. */
static void rule(struct kb_text *out, int width, int height) {
    kb_text_format(out,
                   "<svg width=\"%d\" height=\"%d\" viewBox=\"0 0 %d %d\" aria-hidden=\"true\">"
                   "<path d=\"M0 %d.5H%d\" stroke=\"#59606a\" stroke-width=\"0.8\" /></svg>",
                   width, height, width, height, height - 1, width);
}

static void summary(struct kb_text *out, const struct kb_prepare_sheet *sheet,
                    const struct kb_sheet_names *names) {
    kb_text_add(out, "<header>\n<p class=\"kind\"><span>");
    kb_html_own(out, names->laboratory);
    kb_text_add(out, names->laboratory == NULL ? "Preparation sheet" : "");
    kb_text_format(out, "</span><span>keelblock %s</span></p>\n<h1>", KB_VERSION);
    kb_html_own(out, names->specimen);
    kb_text_add(out, names->specimen == NULL ? "Preparation sheet" : "");
    kb_text_add(out, "</h1>\n<p class=\"sub\">");
    if (names->specimen != NULL && names->laboratory != NULL) {
        kb_text_add(out, "Preparation sheet. ");
    }
    kb_prepare_about(out, sheet);
    kb_text_add(out, "</p>\n<p class=\"sub\">" KB_PREPARE_DEFERS "</p>\n</header>\n");
}

static void found(struct kb_text *out, const struct kb_prepare_sheet *sheet) {
    kb_text_add(out, "<h3>What the measurement found</h3>\n<ul class=\"findings\">\n");
    for (size_t i = 0; i < sheet->faults; i++) {
        const struct kb_prepare_fault *fault = &sheet->fault[i];
        bool serious = fault->seen.fitness == KB_NOT_FIT;
        char where[64];
        kb_prepare_where(where, sizeof where, fault);
        kb_text_format(out, "<li class=\"%s\"><span class=\"mark\">!</span><div><b>%s</b>%s%s. ",
                       serious ? "serious" : "warning", kb_prepare_fault_words(fault),
                       where[0] != '\0' ? " " : "", where);
        struct kb_text words = KB_TEXT_INIT;
        kb_prepare_remedy(&words, sheet, fault);
        kb_html_text(out, words.data != NULL ? words.data : "");
        out->failed = out->failed || words.failed;
        kb_text_release(&words);
        kb_text_add(out, "</div></li>\n");
    }
    kb_text_add(out, "</ul>\n<p><b>");
    kb_prepare_verdict(out, sheet);
    kb_text_add(out, "</b></p>\n");
}

static void rung(struct kb_text *out, const struct kb_prepare_step *step, size_t number) {
    char range[48];
    kb_text_add(out, "<tr><td class=\"lone\">");
    tick(out);
    kb_text_format(out, "<b>%zu&#160;&#160;", number);
    for (const char *c = step->abrasive; *c != '\0'; c++) {
        if (*c == ' ') {
            kb_text_add(out, "&#160;"); /* a name stays in one line */
        } else {
            kb_text_add_bytes(out, c, 1);
        }
    }
    kb_text_add(out, "</b></td>");
    if (step->kind == KB_PREPARE_GRIND) {
        kb_html_number_cell(out, "grain, µm", step->grain_um, step->grain_um < 10.0 ? 1 : 0, NULL);
    }
    kb_text_add(out, "<td data-label=\"on, with\">");
    kb_html_text(out, step->surface);
    kb_text_add(out, ", ");
    kb_html_text(out, step->lubricant);
    kb_prepare_range(range, sizeof range, step->low_n, step->high_n);
    kb_text_format(out, "</td><td class=\"n\" data-label=\"load\">%s&#160;N</td>", range);
    kb_prepare_time(range, sizeof range, step);
    kb_text_format(out, "<td class=\"n\" data-label=\"time\">%s</td><td data-label=\"remark\">",
                   range);
    enum { REMARK_PX = 130, REMARK_HIGH_PX = 17 };
    rule(out, REMARK_PX, REMARK_HIGH_PX);
    kb_text_add(out, "</td></tr>\n");
}

static void ladder(struct kb_text *out, const struct kb_prepare_sheet *sheet,
                   const struct kb_prepare_part *part) {
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr>"
                     "<th>step, abrasive</th>");
    kb_text_add(out, part->kind == KB_PREPARE_GRIND ? "<th class=\"n\">grain, µm</th>" : "");
    kb_text_add(out, "<th>on, with</th><th class=\"n\">load</th><th class=\"n\">time</th>"
                     "<th>remark</th></tr></thead><tbody>\n");
    for (size_t i = part->first; i < part->first + part->steps; i++) {
        if (i >= sheet->begin) {
            rung(out, &sheet->step[i], i + 1);
        }
    }
    kb_text_add(out, "</tbody></table></div>\n");
}

static void part_head(struct kb_text *out, const struct kb_prepare_sheet *sheet,
                      const struct kb_prepare_part *part, bool rungs) {
    const struct kb_prepare_step *step = &sheet->step[part->first];
    kb_text_add(out, "<h3>");
    if (!rungs) {
        tick(out);
        kb_text_format(out, "%zu&#160; ", part->first + 1);
    }
    kb_html_text(out, part->title);
    if (part->kind == KB_PREPARE_ETCH) {
        char range[48];
        kb_prepare_range(range, sizeof range, step->low_percent, step->high_percent);
        kb_text_format(out, ": %s, %s&#160;%%, ", step->abrasive, range);
        kb_prepare_time(range, sizeof range, step);
        kb_text_add(out, range);
    }
    kb_text_add(out, "</h3>\n");
}

static void part_body(struct kb_text *out, const struct kb_prepare_sheet *sheet,
                      const struct kb_prepare_part *part) {
    bool rungs = part->kind == KB_PREPARE_GRIND || part->kind == KB_PREPARE_POLISH;
    kb_text_add(out, "<div class=\"head\">\n"); /* stays on one sheet */
    part_head(out, sheet, part, rungs);
    for (size_t i = 0; i < part->cautions; i++) {
        kb_text_add(out, i == 0 ? "<p class=\"caution\"><b>Caution.</b> " : "<br />");
        kb_html_text(out, part->caution[i]);
    }
    kb_text_add(out, part->cautions > 0 ? "</p>\n<ul>\n" : "<ul>\n");
    for (size_t i = 0; i < part->rules; i++) {
        kb_text_add(out, "<li>");
        kb_html_text(out, part->rule[i]);
        kb_text_add(out, "</li>\n");
    }
    kb_text_add(out, "</ul>\n");
    if (rungs) {
        ladder(out, sheet, part);
    }
    kb_text_add(out, "</div>\n");
}

static void foot(struct kb_text *out) {
    enum { NOTE_PX = 640, NOTE_HIGH_PX = 26, NOTES = 5 };
    kb_text_add(out, "<div class=\"head\"><h3>Notes</h3>\n");
    for (int i = 0; i < NOTES; i++) {
        rule(out, NOTE_PX, NOTE_HIGH_PX);
    }
    kb_text_add(out,
                "\n<p class=\"small soft\">Loads are for a specimen of 30&#160;mm across; less "
                "for a smaller one. Grain sizes of papers after the FEPA P series (ISO 6344); "
                "loads, times, strengths and depths: common practice, no published "
                "source.</p></div>\n<div class=\"sign\">\n<div><b></b>prepared by</div>\n"
                "<div><b></b>looked at by</div>\n<div><b></b>date</div>\n</div>\n");
}

enum kb_status kb_report_prepare_html(const struct kb_prepare_sheet *sheet,
                                      const struct kb_sheet_names *names, struct kb_text *out,
                                      struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    head(out, names);
    summary(out, sheet, names);
    if (sheet->after) {
        found(out, sheet);
    }
    for (size_t i = 0; i < sheet->parts; i++) {
        if (kb_prepare_open(sheet, &sheet->part[i])) {
            part_body(out, sheet, &sheet->part[i]);
        }
    }
    foot(out);
    kb_text_add(out, "</main>\n</body>\n</html>\n");
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
