/* batch.c - the way of a batch:
 *
 *   order > plan of fields > shares on disk > specimens > verdict > report
 *
 * A single run, the parts of several machines and their merging go through the same steps; a single
 * run is one part and its merging. So they cannot come out differently.
 */
#include "batch_run.h"

static enum kb_status check_order(const struct kb_order *order, struct kb_err *err) {
    if (order->out_folder == NULL || order->out_folder[0] == '\0') {
        return kb_fail(err, KB_E_USAGE, "app", NULL,
                       "a batch needs a folder for its results (name one)");
    }
    if (order->task == KB_TASK_PART &&
        (order->parts < 1 || order->part < 1 || order->part > order->parts)) {
        return kb_fail(err, KB_E_USAGE, "app", NULL, "there is no part %d of %d", order->part,
                       order->parts);
    }
    return KB_OK;
}

enum kb_status kb_measure_batches(const struct kb_order *order, const struct kb_batch_watch *watch,
                                  struct kb_err *err) {
    static const struct kb_batch_watch nobody = {.progress = NULL};
    const struct kb_batch_watch *seen = watch != NULL ? watch : &nobody;
    struct kb_batch_run run = {.order = order};
    struct kb_register *history = NULL;
    struct kb_locale locale = kb_locale_enter();
    enum kb_status status = check_order(order, err);
    if (status == KB_OK && order->history != NULL && order->task != KB_TASK_PART) {
        status = kb_register_open(order->history, true, &history, err);
    }
    if (status == KB_OK) {
        status = kb_batch_plan(order, &run, err);
        run.history = history;
    }
    if (status == KB_OK && order->task == KB_TASK_MERGE) {
        status = kb_batch_list_read(&run, err);
    } else if (status == KB_OK) {
        status = kb_batch_measure(&run, seen, err);
        if (status == KB_OK) {
            status = kb_batch_list_write(&run, err);
        }
    }
    if (status == KB_OK && order->task != KB_TASK_PART) {
        status = kb_batch_join(&run, seen, err);
    }
    kb_batch_run_release(&run);
    kb_register_close(history);
    kb_locale_leave(locale);
    return status;
}
