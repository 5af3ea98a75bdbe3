/* html_trace.c - what makes the result traceable: findings, settings with their origin, program,
 * files with digests, and the lines to sign on. */
#include "html_priv.h"

#include "keelblock/version.h"

static void findings(struct kb_text *out, const struct kb_result *result) {
    struct kb_finding_group group = {0};
    kb_html_section(out, "findings", "Findings");
    bool some = false;
    while (kb_result_finding_next(result, KB_ALIKE_TEXT, &group)) {
        char where[64];
        kb_finding_where(&group, where, sizeof where);
        kb_text_add(out, some ? "" : "<ul class=\"findings\">\n");
        kb_html_finding(out, group.finding, where);
        some = true;
    }
    kb_text_add(out, some ? "</ul>\n" : "<p>None.</p>\n");
    kb_html_section_end(out);
}

static void settings(struct kb_text *out, const struct kb_result *result) {
    if (result->settings == 0) {
        return;
    }
    kb_text_add(out, "<h3>Settings</h3>\n");
    if (result->job_path != NULL) {
        kb_text_add(out, "<p class=\"small\">Job file: <code>");
        kb_html_text(out, result->job_path);
        kb_text_add(out, "</code></p>\n");
    }
    kb_text_add(out, "<div class=\"wide\"><table class=\"stack\"><thead><tr><th>setting</th>"
                     "<th>value</th><th>origin</th></tr></thead><tbody>\n");
    for (size_t i = 0; i < result->settings; i++) {
        const struct kb_setting_record *setting = &result->setting[i];
        kb_text_add(out, "<tr>");
        kb_html_own_cell(out, "setting", setting->name);
        kb_html_own_cell(out, "value", setting->value);
        kb_html_cell(out, "origin", setting->origin);
        kb_text_add(out, "</tr>\n");
    }
    kb_text_add(out, "</tbody></table></div>\n");
}

static void files(struct kb_text *out, const struct kb_result *result) {
    kb_text_add(
        out,
        "<div class=\"head\"><h3>Files</h3>\n<div class=\"wide\"><table class=\"stack\"><thead><tr>"
        "<th>field</th><th>file</th><th>picture</th><th>SHA-256</th></tr></thead>"
        "<tbody>\n");
    for (size_t i = 0; i < result->fields; i++) {
        const struct kb_field_result *field = &result->field[i];
        kb_text_format(out, "<tr><td data-label=\"field\">%zu</td>", i + 1);
        kb_text_add(out, "<td class=\"path\" data-label=\"file\"><span>");
        kb_html_own(out, field->path);
        kb_text_add(out, "</span></td><td data-label=\"picture\"><span>");
        kb_html_text(out, field->format);
        kb_text_format(out,
                       ", %u bit, %d × %d px</span></td><td class=\"path\" data-label=\"SHA-256\">"
                       "<code class=\"digest\">",
                       (unsigned)field->bits, (int)field->width, (int)field->height);
        kb_html_text(out, field->sha256);
        kb_text_add(out, "</code></td></tr>\n");
    }
    kb_text_add(out, "</tbody></table></div>\n");
}

static void review(struct kb_text *out, const struct kb_reviewed *reviewed) {
    if (reviewed->record == NULL) {
        return;
    }
    kb_text_format(out,
                   "<h3>Review</h3>\n<p>%zu change%s made in review and in force, each with "
                   "its reason, person and time on record (",
                   reviewed->changes, reviewed->changes == 1 ? "" : "s");
    kb_html_own(out, reviewed->record);
    kb_text_add(out, ", SHA-256 <code class=\"digest\">");
    kb_html_text(out, reviewed->sha256);
    kb_text_add(out, "</code>). ");
    if (reviewed->signed_by == NULL) {
        kb_text_add(out, "Not signed.</p>\n");
        return;
    }
    kb_text_add(out, "Signed by ");
    kb_html_own(out, reviewed->signed_by);
    kb_text_add(out, " on ");
    kb_html_time(out, reviewed->signed_at);
    kb_html_part(out, ", with the remark: ", reviewed->remark);
    kb_text_add(out, ". The seal beside this page, seal.json, tells whether anything was changed "
                     "since then; it does not prove who signed.</p>\n");
}

static void signatures(struct kb_text *out, const struct kb_result *result) {
    kb_text_add(out, "<div class=\"sign\">\n<div><b>");
    kb_html_own(out, result->operator_name);
    kb_text_add(out, "</b>measured by, name and signature</div>\n<div><b>");
    kb_html_own(out, result->reviewed.signed_by);
    kb_text_add(out, "</b>checked by, name and signature</div>\n<div><b></b>date</div>\n</div>\n"
                     "</div>\n");
}

void kb_html_trace(struct kb_text *out, const struct kb_result *result) {
    findings(out, result);
    kb_html_by_hand(out, result);
    kb_html_section(out, "trace", "Traceability");
    kb_text_add(out, "<p>Measured with keelblock " KB_VERSION);
    if (result->made_at[0] != '\0') {
        kb_text_add(out, " on ");
        kb_html_time(out, result->made_at);
    }
    kb_text_add(out, ". The same figures in machine-readable form stand in ");
    kb_text_add(out, result->of_batch
                         ? "result.json beside this page, and in fields.csv of the batch.</p>\n"
                         : "result.json, fields.csv and particles.csv beside this page.</p>\n");
    settings(out, result);
    files(out, result);
    review(out, &result->reviewed);
    signatures(out, result);
    kb_html_section_end(out);
}
