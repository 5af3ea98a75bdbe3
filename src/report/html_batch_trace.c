/* html_batch_trace.c - what makes a batch traceable: findings by their kind, the manifest and its
 * digest, settings that all specimens share, and the lines to sign on. */
#include "html_batch_priv.h"

#include "keelblock/version.h"

/* One specimen that has it, and how often it was found. */
static void where_of(struct kb_text *out, const struct kb_batch *batch,
                     const struct kb_batch_group *group) {
    kb_html_own(out, batch->specimen[group->specimen].id);
    if (group->times > 1) {
        kb_text_format(out, "; %zu times in %zu specimen%s", group->times, group->specimens,
                       group->specimens == 1 ? "" : "s");
    }
}

void kb_html_batch_findings(struct kb_text *out, const struct kb_batch *batch,
                            const struct kb_batch_gathered *gathered) {
    kb_html_section(out, "findings", "Findings");
    kb_text_add(out, gathered->groups > 0
                         ? "<p>One of each kind, the worst first seen; each specimen's page has "
                           "all of its own.</p>\n<ul class=\"findings\">\n"
                         : "<p>None.</p>\n");
    for (int severity = KB_SERIOUS; severity >= KB_NOTE; severity--) {
        for (size_t i = 0; i < gathered->groups; i++) {
            const struct kb_batch_group *group = &gathered->group[i];
            if ((int)group->finding.severity == severity) {
                struct kb_text where = KB_TEXT_INIT;
                where_of(&where, batch, group);
                kb_html_finding(out, &group->finding, where.data != NULL ? where.data : "");
                out->failed = out->failed || where.failed;
                kb_text_release(&where);
            }
        }
    }
    kb_text_add(out, gathered->groups > 0 ? "</ul>\n" : "");
    kb_html_section_end(out);
}

static void settings(struct kb_text *out, const struct kb_batch_gathered *gathered) {
    if (gathered->settings == 0) {
        return;
    }
    kb_text_add(out, "<h3>Settings</h3>\n<div class=\"wide\"><table class=\"stack\"><thead><tr>"
                     "<th>setting</th><th>value</th><th>origin</th></tr></thead><tbody>\n");
    for (size_t i = 0; i < gathered->settings; i++) {
        const struct kb_batch_setting *setting = &gathered->setting[i];
        kb_text_add(out, "<tr>");
        kb_html_own_cell(out, "setting", setting->name);
        if (setting->differs) {
            kb_text_add(out, "<td class=\"none\" data-label=\"value\">differs between specimens: "
                             "see the page of each</td>");
        } else {
            kb_html_own_cell(out, "value", setting->value);
        }
        kb_html_cell(out, "origin", setting->differs ? "" : setting->origin);
        kb_text_add(out, "</tr>\n");
    }
    kb_text_add(out, "</tbody></table></div>\n");
}

static void signatures(struct kb_text *out, const struct kb_batch *batch) {
    static const char *const words[] = {"measured", "accepted", "rejected", "undecided"};
    /* nobody signs a sheet that does not say what for: this stays together with the lines */
    kb_text_add(out, "<div class=\"head\"><p><b>Batch ");
    kb_html_own(out, batch->name);
    kb_text_format(out, ": %s.</b> ", words[batch->judgement.verdict]);
    kb_html_text(out, batch->judgement.reason);
    kb_text_add(out, ".</p>\n<div class=\"sign\">\n<div><b>");
    kb_html_own(out, batch->operator_name);
    kb_text_add(out, "</b>measured by, name and signature</div>\n<div><b>");
    kb_html_own(out, batch->certificate.approved_by);
    kb_text_add(out, "</b>checked by, name and signature</div>\n<div><b></b>date</div>\n</div>\n"
                     "</div>\n");
}

void kb_html_batch_trace(struct kb_text *out, const struct kb_batch *batch,
                         const struct kb_batch_gathered *gathered) {
    kb_html_section(out, "trace", "Traceability");
    kb_text_add(out, "<p>Measured with keelblock " KB_VERSION);
    if (batch->manifest != NULL) {
        kb_text_add(out, " from the manifest <code>");
        kb_html_text(out, batch->manifest);
        kb_text_add(out, "</code>");
    }
    kb_text_add(out, batch->made_at[0] != '\0' ? "; this page was made on " : "");
    kb_html_time(out, batch->made_at);
    kb_text_add(out, ".</p>\n");
    if (batch->manifest_sha256[0] != '\0') {
        kb_text_format(out,
                       "<p class=\"small\">SHA-256 of the manifest: <code class=\"digest\">%s"
                       "</code></p>\n",
                       batch->manifest_sha256);
    }
    kb_text_add(out, "<p>The same figures in machine-readable form stand in batch.json, "
                     "specimens.csv and fields.csv beside this page; the page of each specimen, in "
                     "its folder, names each picture with its SHA-256, shows how it was read, and "
                     "carries the uncertainty budget.</p>\n");
    settings(out, gathered);
    signatures(out, batch);
    kb_html_section_end(out);
}
