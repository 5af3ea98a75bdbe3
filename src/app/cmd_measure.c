/* cmd_measure.c - `keelblock measure`: run the pipeline, show the table, answer with the exit code.
 */
#include "history_way.h"
#include "request.h"
#include "terminal.h"

#include <string.h>

static enum kb_status need_words(const struct kb_request *request, struct kb_err *err) {
    if (request->fields == 0) {
        return kb_fail(err, KB_E_USAGE, "app", NULL,
                       "no field to measure (name pictures or a folder, or put [fields] in the job "
                       "file)");
    }
    if (!request->material_said) {
        return kb_fail(err, KB_E_USAGE, "app", NULL,
                       "say what it is: --material ductile-iron, grey-iron, compacted-iron or "
                       "carbon-steel");
    }
    return KB_OK;
}

static struct kb_settings_field *list_fields(const struct kb_request *request) {
    struct kb_settings_field *list = kb_alloc(request->fields, sizeof *list);
    for (size_t i = 0; list != NULL && i < request->fields; i++) {
        const struct kb_named_field *field = &request->field[i];
        list[i] =
            (struct kb_settings_field){field->path, field->contrast.contrast, field->contrast.find};
    }
    return list;
}

/* False when standard output did not take it all. */
static bool put(const struct kb_text *text) {
    return fwrite(text->data, 1, text->length, stdout) == text->length && fflush(stdout) == 0;
}

static enum kb_status show(const struct kb_request *request, const struct kb_result *result,
                           struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    enum kb_status status = KB_OK;
    if (request->json) {
        status = kb_report_json(result, &text, err);
    } else if (!request->quiet) {
        status = kb_report_table(result, kb_terminal_columns(), kb_terminal_colour(), &text, err);
    }
    if (status == KB_OK && text.length > 0 && !put(&text)) {
        status = kb_fail(err, KB_E_SYSTEM, "app", NULL,
                         "cannot write to standard output (is the disk full?)");
    }
    kb_text_release(&text);
    return status;
}

static void show_extras(const struct kb_request *request, const struct kb_result *result) {
    if (request->timing) {
        for (size_t i = 0; i < result->times; i++) {
            (void)fprintf(stderr, "%-14s %8.1f ms\n", result->time[i].stage,
                          1e3 * result->time[i].seconds);
        }
    }
    if (!request->quiet && !request->json && request->settings.out_folder != NULL) {
        char *page = kb_join_path(request->settings.out_folder, "report.html");
        printf("\nReport: %s\n", page != NULL ? page : request->settings.out_folder);
        kb_free(page);
    }
}

/* Before anything is measured: a register that cannot be used is said at once. */
static enum kb_status open_history(const struct kb_request *request, struct kb_register **reg,
                                   struct kb_err *err) {
    *reg = NULL;
    if (request->history_path == NULL) {
        return KB_OK;
    }
    if (request->settings.specimen_id == NULL) {
        return kb_fail(err, KB_E_USAGE, "app", NULL,
                       "the register needs a name to find the result by (say --specimen NAME)");
    }
    return kb_register_open(request->history_path, true, reg, err);
}

static enum kb_status add_to_history(const struct kb_request *request,
                                     const struct kb_result *result, struct kb_register *reg,
                                     struct kb_err *err) {
    struct kb_register_added added;
    if (reg == NULL) {
        return KB_OK;
    }
    enum kb_status status = kb_history_add(reg, result, NULL, NULL, &added, err);
    if (status == KB_OK && !request->quiet && added.same_pictures[0] != '\0') {
        (void)fprintf(stderr, "keelblock: the same pictures are in the register as specimen %s\n",
                      added.same_pictures);
    }
    return status;
}

int kb_command_measure(struct kb_request *request) {
    struct kb_err err = {.code = KB_OK};
    struct kb_result result;
    struct kb_register *reg = NULL;
    enum kb_status status = need_words(request, &err);
    if (status == KB_OK) {
        status = open_history(request, &reg, &err);
    }
    if (status != KB_OK) {
        return kb_complain(&err);
    }
    struct kb_settings_field *fields = list_fields(request);
    if (fields == NULL) {
        kb_register_close(reg);
        (void)kb_fail_memory(&err, "app", request->fields * sizeof *fields);
        return kb_complain(&err);
    }
    struct kb_terminal_progress bar;
    const struct kb_progress *progress =
        kb_terminal_progress_start(&bar, request->quiet || request->json);
    status = kb_measure(fields, request->fields, &request->settings, progress, &result, &err);
    kb_terminal_progress_end(&bar);
    kb_free(fields);
    if (status != KB_OK) {
        kb_register_close(reg);
        return kb_complain(&err);
    }
    status = add_to_history(request, &result, reg, &err);
    kb_register_close(reg);
    if (status == KB_OK) {
        status = show(request, &result, &err);
    }
    int code = status != KB_OK ? kb_complain(&err) : 0;
    if (status == KB_OK) {
        show_extras(request, &result);
        enum kb_outcome verdict = result.judgement.verdict;
        code = verdict == KB_REJECT || verdict == KB_UNDECIDED ? 1 : 0;
    }
    kb_result_release(&result);
    return code;
}
