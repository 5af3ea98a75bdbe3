/* cmd_survey.c - `keelblock survey`: read results back, pool their fields, say how many more. */
#include "survey.h"

static enum kb_status read_all(const struct kb_request *request, struct kb_survey *survey,
                               struct kb_err *err) {
    if (request->fields == 0) {
        return kb_fail(
            err, KB_E_USAGE, "app", NULL,
            "no result to survey (name the result.json of a measurement, or its folder)");
    }
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < request->fields && status == KB_OK; i++) {
        status = kb_survey_read(request->field[i].path, survey, err);
    }
    return status;
}

static enum kb_status show(const struct kb_request *request, const struct kb_survey *survey,
                           const struct kb_survey_row *row, size_t rows, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    enum kb_status status = KB_OK;
    if (request->json) {
        if (!kb_survey_json(survey, row, rows, &text)) {
            status = kb_fail_memory(err, "app", text.length);
        }
    } else if (!request->quiet) {
        kb_survey_table(survey, row, rows, &text);
        status = text.failed ? kb_fail_memory(err, "app", text.length) : KB_OK;
    }
    bool written = text.length == 0 || fwrite(text.data, 1, text.length, stdout) == text.length;
    if (status == KB_OK && (!written || fflush(stdout) != 0)) {
        status = kb_fail(err, KB_E_SYSTEM, "app", NULL,
                         "cannot write to standard output (is the disk full?)");
    }
    kb_text_release(&text);
    return status;
}

int kb_command_survey(struct kb_request *request) {
    struct kb_err err = {.code = KB_OK};
    struct kb_survey survey = {.fields = 0};
    struct kb_survey_row row[KB_SURVEY_ROWS];
    size_t rows = 0;
    struct kb_locale locale = kb_locale_enter();
    enum kb_status status = read_all(request, &survey, &err);
    if (status == KB_OK) {
        status = kb_survey_run(&survey, request->want, request->wants, row, &rows, &err);
    }
    if (status == KB_OK) {
        status = show(request, &survey, row, rows, &err);
    }
    kb_locale_leave(locale);
    kb_survey_release(&survey);
    return status == KB_OK ? 0 : kb_complain(&err);
}
