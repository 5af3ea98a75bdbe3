/* history_way.c - results and batches into the register.
 *
 * What enters is the text of result.json, whether it was measured a moment ago or lies in a folder:
 * one door, so that the same result is known again.
 */
#include "history_way.h"

enum kb_status kb_history_add(struct kb_register *reg, const struct kb_result *result,
                              const char *batch, const char *measured_at,
                              struct kb_register_added *added, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    enum kb_status status = kb_report_json(result, &text, err);
    if (status == KB_OK) {
        const char *name = result->specimen_id != NULL ? result->specimen_id : "this result";
        status = kb_register_add(reg, text.data, text.length, name, batch, measured_at, added, err);
    }
    kb_text_release(&text);
    return status;
}

static enum kb_status add_specimen(struct kb_register *reg, const struct kb_batch *batch,
                                   size_t index, struct kb_err *err) {
    struct kb_register_added added;
    struct kb_result *result = kb_alloc_zero(1, sizeof *result);
    if (result == NULL) {
        return kb_fail_memory(err, "app", sizeof *result);
    }
    enum kb_status status = batch->open(batch->context, index, result, err);
    if (status == KB_OK) {
        status = kb_history_add(reg, result, batch->name, batch->made_at, &added, err);
        kb_result_release(result);
    }
    kb_free(result);
    return status;
}

enum kb_status kb_history_add_batch(struct kb_register *reg, const struct kb_batch *batch,
                                    struct kb_err *err) {
    enum kb_status status = kb_register_begin(reg, err);
    for (size_t i = 0; i < batch->specimens && status == KB_OK; i++) {
        if (batch->specimen[i].judged) {
            status = add_specimen(reg, batch, i, err);
        }
    }
    if (status == KB_OK) {
        status = kb_register_commit(reg, err);
    }
    kb_register_rollback(reg);
    return status;
}
