/* html_text.c - building blocks of the page: escaping, cells, estimates, findings, pictures as
 * data. */
#include "html_priv.h"

#include <string.h>

void kb_html_text(struct kb_text *out, const char *string) {
    uint32_t code = 0;
    while (string != NULL && kb_text_next(&string, &code)) {
        switch (code) {
        case '&':
            kb_text_add(out, "&amp;");
            break;
        case '<':
            kb_text_add(out, "&lt;");
            break;
        case '>':
            kb_text_add(out, "&gt;");
            break;
        case '"':
            kb_text_add(out, "&quot;");
            break;
        case '\'':
            kb_text_add(out, "&#39;");
            break;
        default:
            kb_text_put(out, kb_text_tame(code));
        }
    }
}

void kb_html_own(struct kb_text *out, const char *string) {
    if (string != NULL && string[0] != '\0') {
        kb_text_add(out, "<span translate=\"no\">");
        kb_html_text(out, string);
        kb_text_add(out, "</span>");
    }
}

void kb_svg_own(struct kb_text *out, const char *string) {
    kb_text_add(out, "<tspan translate=\"no\">");
    kb_html_text(out, string);
    kb_text_add(out, "</tspan>");
}

void kb_html_section(struct kb_text *out, const char *id, const char *title) {
    kb_text_format(out, "<section id=\"%s\">\n<h2>%s</h2>\n", id, title);
}

void kb_html_section_end(struct kb_text *out) {
    kb_text_add(out, "</section>\n");
}

void kb_html_estimate(struct kb_text *out, const struct kb_estimate *estimate, bool interval) {
    struct kb_shown shown = kb_show(estimate);
    if (!shown.measured) {
        kb_text_add(out, "<span class=\"none\">not measured");
        if (estimate->why != NULL) {
            kb_text_add(out, ": ");
            kb_html_text(out, estimate->why);
        }
        kb_text_add(out, "</span>");
        return;
    }
    kb_text_format(out, "%s%s", shown.value, shown.unit[0] != '\0' ? "&#160;" : "");
    kb_html_text(out, shown.unit);
    if (interval && shown.has_interval) {
        kb_text_format(out, " <span class=\"ci\">(%s to %s)</span>", shown.low, shown.high);
    }
}

static void open_cell(struct kb_text *out, const char *label, bool number) {
    kb_text_add(out, number ? "<td class=\"n\"" : "<td");
    if (label != NULL) {
        kb_text_format(out, " data-label=\"%s\"", label);
    }
    kb_text_add(out, ">");
}

void kb_html_cell(struct kb_text *out, const char *label, const char *string) {
    open_cell(out, label, false);
    kb_html_text(out, string);
    kb_text_add(out, "</td>");
}

void kb_html_own_cell(struct kb_text *out, const char *label, const char *string) {
    open_cell(out, label, false);
    kb_html_own(out, string);
    kb_text_add(out, "</td>");
}

void kb_html_number_cell(struct kb_text *out, const char *label, double value, int decimals,
                         const char *unit) {
    char number[32];
    kb_show_number(number, sizeof number, value, decimals);
    open_cell(out, label, true);
    kb_text_add(out, number);
    if (isfinite(value) && unit != NULL) {
        kb_text_format(out, "&#160;%s", unit);
    }
    kb_text_add(out, "</td>");
}

void kb_html_finding(struct kb_text *out, const struct kb_finding *finding, const char *where) {
    static const char *const mark[] = {[KB_NOTE] = "–", [KB_WARNING] = "!", [KB_SERIOUS] = "‼"};
    const char *severity = kb_severity_name(finding->severity);
    kb_text_format(out, "<li class=\"%s\"><span class=\"mark\">%s</span><div><b>", severity,
                   mark[finding->severity]);
    kb_text_format(out, "%s</b> ", severity);
    if (where[0] != '\0') {
        kb_text_format(out, "<span class=\"soft\">%s</span> ", where);
    }
    kb_html_text(out, finding->text);
    kb_text_add(out, " <code>");
    kb_html_text(out, finding->code);
    kb_text_add(out, "</code></div></li>\n");
}

void kb_html_findings(struct kb_text *out, const struct kb_findings *findings) {
    if (findings->count == 0) {
        return;
    }
    kb_text_add(out, "<ul class=\"findings\">\n");
    for (size_t i = 0; i < findings->count; i++) {
        kb_html_finding(out, &findings->item[i], "");
    }
    kb_text_add(out, "</ul>\n");
}

void kb_html_time(struct kb_text *out, const char *made_at) {
    const char *t = strchr(made_at, 'T');
    const char *zone = t != NULL ? strpbrk(t, "+-") : NULL;
    if (zone == NULL) {
        kb_html_text(out, made_at);
        return;
    }
    kb_text_format(out, "%.*s %.*s ", (int)(t - made_at), made_at, (int)(zone - t - 1), t + 1);
    kb_html_text(out, zone);
}

/* RFC 4648, with padding. */
void kb_html_base64(struct kb_text *out, const uint8_t *data, size_t size) {
    static const char digit[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    char chunk[1024];
    size_t used = 0;
    for (size_t i = 0; i < size; i += 3) {
        size_t left = size - i;
        uint32_t bits = (uint32_t)data[i] << 16;
        bits |= left > 1 ? (uint32_t)data[i + 1] << 8 : 0;
        bits |= left > 2 ? data[i + 2] : 0;
        chunk[used++] = digit[bits >> 18];
        chunk[used++] = digit[bits >> 12 & 63];
        chunk[used++] = left > 1 ? digit[bits >> 6 & 63] : '=';
        chunk[used++] = left > 2 ? digit[bits & 63] : '=';
        if (used == sizeof chunk) {
            kb_text_add_bytes(out, chunk, used);
            used = 0;
        }
    }
    kb_text_add_bytes(out, chunk, used);
}

void kb_html_house_mark(struct kb_text *out, const struct kb_house_mark *mark) {
    if (mark->data != NULL) {
        kb_text_format(out, "<img class=\"mark\" alt=\"\" src=\"data:%s;base64,", mark->type);
        kb_html_base64(out, mark->data, mark->size);
        kb_text_add(out, "\" />\n");
    }
}

void kb_html_part(struct kb_text *out, const char *before, const char *string) {
    if (string != NULL && string[0] != '\0') {
        kb_text_add(out, before);
        kb_html_own(out, string);
    }
}

double kb_grey_level(const struct kb_segmentation_figures *figures, double file_grey) {
    double range = figures->grey_high - figures->grey_low;
    if (!(fabs(range) > 0.0)) {
        return KB_NAN;
    }
    return (file_grey - figures->grey_low) * 255.0 / range;
}
