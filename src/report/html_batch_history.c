/* html_batch_history.c - the control charts of the register on the page of a batch: each casting of
 * its specimens, each quantity that has a limit. */
#include "html_batch_priv.h"

#include <string.h>

/* Whether an earlier specimen is of the same casting. */
static bool seen_before(const struct kb_batch *batch, size_t specimen) {
    for (size_t i = 0; i < specimen; i++) {
        if (batch->specimen[i].casting != NULL &&
            strcmp(batch->specimen[i].casting, batch->specimen[specimen].casting) == 0) {
            return true;
        }
    }
    return false;
}

static enum kb_status chart(struct kb_text *out, const struct kb_batch *batch, const char *casting,
                            enum kb_quantity quantity, bool *some, struct kb_err *err) {
    struct kb_text svg = KB_TEXT_INIT;
    struct kb_findings findings = KB_FINDINGS_INIT;
    enum kb_status status =
        kb_report_history_chart(batch->history, casting, quantity, &svg, &findings, err);
    if (status == KB_OK && svg.length > 0) {
        if (!*some) {
            kb_html_section(out, "history", "Over time");
            *some = true;
        }
        kb_text_add(out, "<figure>");
        kb_text_add_bytes(out, svg.data, svg.length);
        kb_text_add(out, "<figcaption>");
        kb_html_own(out, casting);
        kb_text_add(out, ": ");
        kb_html_text(out, kb_quantity_words(quantity));
        kb_text_add(out,
                    ", individuals and moving range, out of the register</figcaption></figure>\n");
        kb_html_findings(out, &findings);
    }
    kb_text_release(&svg);
    kb_findings_release(&findings);
    return status;
}

enum kb_status kb_html_batch_history(struct kb_text *out, const struct kb_batch *batch,
                                     struct kb_err *err) {
    const struct kb_batch_limited limited = kb_batch_limited(batch);
    enum kb_status status = KB_OK;
    bool some = false;
    for (size_t i = 0; i < batch->specimens && batch->history != NULL && status == KB_OK; i++) {
        if (batch->specimen[i].casting == NULL || seen_before(batch, i)) {
            continue;
        }
        for (size_t k = 0; k < limited.count && status == KB_OK; k++) {
            status = chart(out, batch, batch->specimen[i].casting, limited.quantity[k], &some, err);
        }
    }
    if (some) {
        kb_html_section_end(out);
    }
    return status;
}
