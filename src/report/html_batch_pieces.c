/* html_batch_pieces.c - what the papers of a batch share: the document around them,
 * addresses of pages beside them, outcomes. */
#include "html_batch_priv.h"

#include <string.h>

void kb_html_document(struct kb_text *out, const char *title, const char *outcome,
                      const char *made_at, const char *style) {
    kb_text_add(out, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\" />\n"
                     "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\" />\n"
                     "<meta name=\"date\" content=\"");
    kb_html_text(out, made_at);
    kb_text_add(out, "\" />\n<title>");
    kb_html_text(out, title);
    kb_text_format(out, ": %s</title>\n<style>\n", outcome);
    for (size_t i = 0; kb_html_style[i] != NULL; i++) {
        kb_text_add(out, kb_html_style[i]);
    }
    kb_text_add(out, style != NULL ? style : "");
    kb_text_add(out, "</style>\n</head>\n<body>\n<main>\n");
    kb_svg_patterns(out);
}

void kb_html_document_end(struct kb_text *out) {
    kb_text_add(out, "</main>\n</body>\n</html>\n");
}

/* Unreserved characters of RFC 3986, 2.3, as they are; every other byte as %XX. */
static void escaped(struct kb_text *out, const char *name) {
    static const char plain[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~";
    for (const char *c = name; *c != '\0'; c++) {
        if (strchr(plain, *c) != NULL) {
            kb_text_add_bytes(out, c, 1);
        } else {
            kb_text_format(out, "%%%02X", (unsigned)(unsigned char)*c);
        }
    }
}

void kb_html_address(struct kb_text *out, const char *folder, const char *page) {
    escaped(out, folder);
    kb_text_add(out, "/");
    escaped(out, page);
}

void kb_html_outcome(struct kb_text *out, enum kb_outcome outcome, const char *word, int size_px) {
    static const char *const style[] = {"nolimits", "accept", "reject", "undecided"};
    kb_text_format(out, "<span class=\"outcome %s\">", style[outcome]);
    kb_svg_verdict(out, outcome, size_px);
    kb_text_add(out, "&#160;"); /* on paper shape and word stay on one line */
    for (const char *c = word; *c != '\0'; c++) {
        kb_text_add(out, *c == ' ' ? "&#160;" : "");
        kb_text_add_bytes(out, c, *c == ' ' ? 0 : 1);
    }
    kb_text_add(out, "</span>");
}
