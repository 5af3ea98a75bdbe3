/* cmd_prepare.c - `keelblock prepare`: the sheet for the specimen at hand, in the terminal, as
 * prepare.html and prepare.pdf, or as JSON. */
#include "prepare_after.h"
#include "request.h"
#include "terminal.h"

#include <string.h>

/* A sheet is read beside the bench: lines no longer than this, however wide the terminal. */
enum { COLUMNS_MOST = 80 };

/* ---- the specimen ------------------------------------------------------------------------------
 */

static enum kb_status take_material(struct kb_request *request, const struct kb_after *after,
                                    struct kb_err *err) {
    struct kb_prepare_params *prepare = &request->prepare;
    prepare->material = request->settings.material;
    if (request->after_path == NULL) {
        return request->material_said
                   ? KB_OK
                   : kb_fail(err, KB_E_USAGE, "app", NULL,
                             "the material is not said (say --material ductile-iron, grey-iron, "
                             "compacted-iron or carbon-steel)");
    }
    if (request->material_said && prepare->material != after->material) {
        return kb_fail(err, KB_E_USAGE, "app", request->after_path,
                       "is of %s, not of %s (leave --material out)",
                       kb_material_name(after->material), kb_material_name(prepare->material));
    }
    prepare->material = after->material;
    return KB_OK;
}

/* A hardness that the result holds, where none is said. */
static void take_hardness(struct kb_request *request, const struct kb_after *after) {
    struct kb_prepare_params *prepare = &request->prepare;
    bool brinell = isfinite(after->hardness_hbw);
    double value = brinell ? after->hardness_hbw : after->hardness_hv;
    char said[40];
    (void)snprintf(said, sizeof said, "%.6g %s", value, brinell ? "HBW" : "HV");
    if (request->after_path == NULL || request->hardness_said || !isfinite(value) ||
        !kb_hardness_parse(said, &prepare->hardness, &prepare->hardness_value,
                           &prepare->hardness_by)) {
        return; /* what cannot be a hardness is left to the default */
    }
}

/* What a person says was seen stands as not fit, beside what the result holds. */
static void add_said(const struct kb_request *request, struct kb_after *after) {
    for (int i = 0; i < KB_CHECKS; i++) {
        bool known = false;
        for (size_t k = 0; k < after->count; k++) {
            known = known || after->seen[k].check == (enum kb_check)i;
        }
        if ((request->faults & 1U << i) != 0U && !known) {
            after->seen[after->count++] = (struct kb_prepare_seen){
                .check = (enum kb_check)i,
                .fitness = KB_NOT_FIT,
            };
        }
    }
}

static enum kb_status plan(struct kb_request *request, struct kb_after *after,
                           struct kb_prepare_sheet *sheet, struct kb_err *err) {
    enum kb_status status = KB_OK;
    *after = (struct kb_after){.hardness_hbw = (double)NAN, .hardness_hv = (double)NAN};
    if (request->after_path != NULL) {
        status = kb_after_read(request->after_path, after, err);
    }
    if (status == KB_OK) {
        status = take_material(request, after, err);
    }
    if (status != KB_OK) {
        return status;
    }
    take_hardness(request, after);
    add_said(request, after);
    bool measured = request->after_path != NULL || request->faults != 0U;
    return kb_prepare_plan(&request->prepare, measured ? after->seen : NULL, after->count, sheet,
                           err);
}

/* ---- files -------------------------------------------------------------------------------------
 */

static enum kb_status write_in(const char *folder, const char *name, const struct kb_text *text,
                               struct kb_err *err) {
    char *path = kb_join_path(folder, name);
    enum kb_status status = path != NULL ? kb_write_file(path, text->data, text->length, err)
                                         : kb_fail_memory(err, "app", strlen(folder));
    kb_free(path);
    return status;
}

/* Both are made before the first is written; each appears whole or not at all. */
static enum kb_status write_files(const struct kb_request *request,
                                  const struct kb_prepare_sheet *sheet,
                                  const struct kb_sheet_names *names, struct kb_err *err) {
    const char *folder = request->settings.out_folder;
    struct kb_text page = KB_TEXT_INIT, pdf = KB_TEXT_INIT;
    enum kb_status status = kb_report_prepare_html(sheet, names, &page, err);
    if (status == KB_OK) {
        status = kb_words_page(request->settings.language, &page, NULL, err);
    }
    bool paper = request->settings.paper != KB_PAPER_NONE;
    if (status == KB_OK && paper) {
        struct kb_paper_params params = kb_paper_params_default();
        params.paper = request->settings.paper;
        params.page_words = kb_words_sheets(request->settings.language);
        status = kb_paper_pdf(page.data, page.length, &params, &pdf, err);
    }
    if (status == KB_OK) {
        status = kb_make_folder(folder, err);
    }
    if (status == KB_OK && paper) {
        status = write_in(folder, "prepare.pdf", &pdf, err);
    }
    if (status == KB_OK) {
        status = write_in(folder, "prepare.html", &page, err);
    }
    kb_text_release(&page);
    kb_text_release(&pdf);
    return status;
}

static enum kb_status show(const struct kb_request *request, const struct kb_prepare_sheet *sheet,
                           const struct kb_sheet_names *names, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    enum kb_status status = KB_OK;
    if (request->json) {
        status = kb_report_prepare_json(sheet, names, &text, err);
    } else if (!request->quiet) {
        int columns = kb_terminal_columns();
        status = kb_report_prepare_text(
            sheet, names, columns < COLUMNS_MOST ? columns : COLUMNS_MOST, &text, err);
    }
    if (status == KB_OK && text.length > 0 &&
        (fwrite(text.data, 1, text.length, stdout) != text.length || fflush(stdout) != 0)) {
        status = kb_fail(err, KB_E_SYSTEM, "app", NULL,
                         "cannot write to standard output (is the disk full?)");
    }
    kb_text_release(&text);
    return status;
}

static enum kb_status run(struct kb_request *request, struct kb_after *after, struct kb_err *err) {
    struct kb_prepare_sheet sheet;
    enum kb_status status = plan(request, after, &sheet, err);
    const char *folder = request->settings.out_folder;
    const char *said = request->settings.specimen_id;
    const struct kb_sheet_names names = {said != NULL ? said : after->specimen,
                                         request->settings.laboratory};
    if (status == KB_OK && request->settings.paper != KB_PAPER_NONE && folder == NULL) {
        status = kb_fail(err, KB_E_USAGE, "app", "--paper", "needs a folder to write in (say -o)");
    }
    if (status == KB_OK && folder != NULL) {
        status = write_files(request, &sheet, &names, err);
    }
    return status == KB_OK ? show(request, &sheet, &names, err) : status;
}

int kb_command_prepare(struct kb_request *request) {
    struct kb_err err = {.code = KB_OK};
    struct kb_after after;
    struct kb_locale locale = kb_locale_enter();
    enum kb_status status = run(request, &after, &err);
    kb_after_release(&after);
    kb_locale_leave(locale);
    return status == KB_OK ? 0 : kb_complain(&err);
}
