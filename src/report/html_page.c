/* html_page.c - report.html: one self-contained page, a document that a laboratory signs.
 *
 * No scripts, no network, nothing beside the file: pictures are data, drawings are inline SVG. The
 * first screen answers what was measured, the verdict, and the leading figures with their
 * intervals; what follows is what a checker asks next, in that order. The markup is XML-clean.
 */
#include "html_priv.h"

static void head(struct kb_text *out, const struct kb_result *result) {
    kb_text_add(out, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\" />\n"
                     "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\" />\n"
                     "<title>");
    kb_html_text(out, result->specimen_id != NULL ? result->specimen_id : "Unnamed specimen");
    kb_text_format(out, ": %s</title>\n<style>\n", kb_verdict_words(result->judgement.verdict));
    for (size_t i = 0; kb_html_style[i] != NULL; i++) {
        kb_text_add(out, kb_html_style[i]);
    }
    kb_text_add(out, "</style>\n</head>\n<body>\n<main>\n");
    kb_svg_patterns(out);
}

enum kb_status kb_report_html(const struct kb_result *result, struct kb_text *out,
                              struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    head(out, result);
    kb_html_summary(out, result);
    kb_html_limits(out, result);
    kb_html_phases(out, result);
    kb_html_fields(out, result);
    kb_html_why(out, result);
    kb_html_quality(out, result);
    kb_html_graphite(out, result);
    kb_html_space(out, result);
    kb_html_carbon(out, result);
    kb_html_budget(out, result);
    kb_html_calibration(out, result);
    kb_html_trace(out, result);
    kb_text_add(out, "</main>\n</body>\n</html>\n");
    kb_locale_leave(locale);
    enum kb_status status = kb_text_end(out, err);
    return status == KB_OK ? kb_words_page(result->language, out, NULL, err) : status;
}
