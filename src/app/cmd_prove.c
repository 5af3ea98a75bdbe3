/* cmd_prove.c - `keelblock prove`: run the proof, show the table, write prove.html and prove.json.
 */
#include "prove.h"
#include "request.h"
#include "terminal.h"

static enum kb_status write_text(const struct kb_text *text, struct kb_err *err) {
    bool written = fwrite(text->data, 1, text->length, stdout) == text->length;
    return written && fflush(stdout) == 0
               ? KB_OK
               : kb_fail(err, KB_E_SYSTEM, "app", NULL,
                         "cannot write to standard output (is the disk full?)");
}

static enum kb_status show(const struct kb_request *request, const struct kb_proof *proof,
                           struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    enum kb_status status = KB_OK;
    if (request->json) {
        status = kb_report_proof_json(proof, &text, err);
    } else if (!request->quiet) {
        status = kb_report_proof_table(proof, &text, err);
    }
    if (status == KB_OK && text.length > 0) {
        status = write_text(&text, err);
    }
    kb_text_release(&text);
    return status;
}

static bool fill(const struct kb_outfile *file, const struct kb_text *text) {
    return fwrite(text->data, 1, text->length, file->stream) == text->length &&
           fflush(file->stream) == 0;
}

/* Both files or none: both are written aside whole before the first appears. */
static enum kb_status write_files(const char *folder, const struct kb_proof *proof,
                                  enum kb_language language, struct kb_err *err) {
    struct kb_text page = KB_TEXT_INIT, json = KB_TEXT_INIT;
    struct kb_outfile page_file = {0}, json_file = {0};
    char *page_path = kb_join_path(folder, "prove.html");
    char *json_path = kb_join_path(folder, "prove.json");
    enum kb_status status = page_path != NULL && json_path != NULL
                                ? kb_report_proof_html(proof, &page, err)
                                : kb_fail_memory(err, "app", sizeof "prove.html");
    if (status == KB_OK) {
        status = kb_words_page(language, &page, NULL, err);
    }
    if (status == KB_OK) {
        status = kb_report_proof_json(proof, &json, err);
    }
    if (status == KB_OK) {
        status = kb_outfile_open(page_path, &page_file, err);
    }
    if (status == KB_OK) {
        status = kb_outfile_open(json_path, &json_file, err);
    }
    if (status == KB_OK) {
        bool written = fill(&page_file, &page) && fill(&json_file, &json);
        status = written ? kb_outfile_commit(&page_file, err)
                         : kb_fail(err, KB_E_SYSTEM, "app", folder,
                                   "cannot write in the folder (is the disk full?)");
    }
    if (status == KB_OK) {
        status = kb_outfile_commit(&json_file, err);
    }
    kb_outfile_abandon(&page_file);
    kb_outfile_abandon(&json_file);
    kb_text_release(&page);
    kb_text_release(&json);
    kb_free(page_path);
    kb_free(json_path);
    return status;
}

int kb_command_prove(struct kb_request *request) {
    const char *folder = request->settings.out_folder;
    struct kb_err err = {.code = KB_OK};
    struct kb_proof proof = {.rows = 0};
    struct kb_terminal_progress bar;
    /* a folder that cannot be made is told now, not after some minutes */
    enum kb_status status = folder != NULL ? kb_make_folder(folder, &err) : KB_OK;
    const struct kb_progress *progress =
        kb_terminal_progress_start(&bar, request->quiet || request->json);
    struct kb_locale locale = kb_locale_enter();
    if (status == KB_OK) {
        status = kb_prove_run(request->quick, (int)request->threads, progress, &proof, &err);
    }
    kb_terminal_progress_end(&bar);
    if (status == KB_OK && folder != NULL) {
        status = write_files(folder, &proof, request->settings.language, &err);
    }
    if (status == KB_OK) {
        status = show(request, &proof, &err);
    }
    kb_locale_leave(locale);
    int code = status != KB_OK ? kb_complain(&err) : kb_proof_failed(&proof) > 0 ? 1 : 0;
    if (status == KB_OK && folder != NULL && !request->quiet && !request->json) {
        char *page = kb_join_path(folder, "prove.html");
        printf("Report: %s\n", page != NULL ? page : folder);
        kb_free(page);
    }
    kb_proof_release(&proof);
    return code;
}
