/* batch_folder.c - the files of a batch: each whole or not at all, batch.json last.
 *
 * Specimens are opened one after the other, and fields.csv grows by a piece for each, so that ten
 * thousand fields take no more memory than the fields of one specimen. A file that already holds
 * the same bytes is left alone: a batch that is run again touches what has changed.
 */
#include "folder_priv.h"
#include "html_batch_priv.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

enum { COMPARE_BYTES = 4096 };

static bool holds_already(const char *path, const struct kb_text *text) {
    FILE *stream = fopen(path, "rbe");
    if (stream == NULL) {
        return false;
    }
    char block[COMPARE_BYTES];
    size_t at = 0;
    size_t got = 0;
    bool same = true;
    do {
        got = fread(block, 1, sizeof block, stream);
        same = got <= text->length - at && (got == 0 || memcmp(block, text->data + at, got) == 0);
        at += same ? got : 0;
    } while (same && got == sizeof block);
    same = same && at == text->length && !ferror(stream);
    (void)fclose(stream);
    return same;
}

enum kb_status kb_batch_put(const char *folder, const char *name, struct kb_text *text,
                            struct kb_err *err) {
    char *path = kb_join_path(folder, name);
    enum kb_status status = KB_OK;
    if (path == NULL) {
        status = kb_fail_memory(err, "report", strlen(folder));
    } else if (!holds_already(path, text)) {
        status = kb_write_file(path, text->data, text->length, err);
    }
    kb_free(path);
    kb_text_release(text);
    return status;
}

enum kb_status kb_batch_drop(const char *folder, const char *name, struct kb_err *err) {
    char *path = kb_join_path(folder, name);
    enum kb_status status = KB_OK;
    if (path == NULL) {
        status = kb_fail_memory(err, "report", strlen(folder));
    } else if (unlink(path) != 0 && errno != ENOENT && errno != ENOTDIR) {
        status = kb_fail(err, KB_E_SYSTEM, "report", path, "cannot remove: %s", strerror(errno));
    }
    kb_free(path);
    return status;
}

/* Page and, where a paper is named, the same as PDF; `page` is released. */
static enum kb_status put_page(const char *own, enum kb_paper paper, enum kb_language language,
                               struct kb_text *page, size_t *sheets, struct kb_err *err) {
    struct kb_text pdf = KB_TEXT_INIT;
    struct kb_paper_params params = kb_paper_params_default();
    params.paper = paper;
    params.page_words = kb_words_sheets(language);
    params.sheets = sheets;
    enum kb_status status = KB_OK;
    if (paper == KB_PAPER_NONE) {
        status = kb_batch_drop(own, KB_PAPER_FILE, err);
    } else {
        status = kb_paper_pdf(page->data, page->length, &params, &pdf, err);
        if (status == KB_OK) {
            status = kb_batch_put(own, KB_PAPER_FILE, &pdf, err);
        }
    }
    if (status == KB_OK) {
        return kb_batch_put(own, "report.html", page, err);
    }
    kb_text_release(&pdf);
    kb_text_release(page);
    return status;
}

static enum kb_status put_specimen(const struct kb_batch_specimen *specimen, const char *folder,
                                   enum kb_paper paper, const struct kb_result *result,
                                   size_t *sheets, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    char *own = kb_join_path(folder, specimen->folder);
    if (own == NULL) {
        return kb_fail_memory(err, "report", strlen(folder));
    }
    enum kb_status status = kb_make_folder(own, err);
    if (status == KB_OK) {
        status = kb_report_html(result, &text, err);
    }
    if (status == KB_OK) {
        status = put_page(own, paper, result->language, &text, sheets, err);
    }
    if (status == KB_OK) {
        status = kb_report_json(result, &text, err);
    }
    if (status == KB_OK) {
        status = kb_batch_put(own, "result.json", &text, err);
    }
    kb_free(own);
    return status;
}

/* What an earlier run found of a specimen that cannot be judged now must not stand for it. */
static enum kb_status take_away(const struct kb_batch_specimen *specimen, const char *folder,
                                struct kb_err *err) {
    static const char *const name[] = {"result.json", "report.html", KB_PAPER_FILE};
    char *own = kb_join_path(folder, specimen->folder);
    enum kb_status status = KB_OK;
    if (own == NULL) {
        return kb_fail_memory(err, "report", strlen(folder));
    }
    for (size_t i = 0; i < KB_COUNT_OF(name) && status == KB_OK; i++) {
        status = kb_batch_drop(own, name[i], err);
    }
    if (status == KB_OK) {
        (void)rmdir(own); /* it may hold what is not ours */
    }
    kb_free(own);
    return status;
}

/* The next piece to the stream. */
static enum kb_status flow(struct kb_text *piece, struct kb_outfile *fields, struct kb_err *err) {
    const bool memory = !piece->failed;
    const bool written = memory && (piece->length == 0 || fwrite(piece->data, 1, piece->length,
                                                                 fields->stream) == piece->length);
    const size_t length = piece->length;
    kb_text_release(piece);
    if (!memory) {
        return kb_fail_memory(err, "report", length);
    }
    return written ? KB_OK
                   : kb_fail(err, KB_E_SYSTEM, "report", fields->path,
                             "cannot write (is the disk full?)");
}

static enum kb_status put_one(const struct kb_batch *batch, size_t specimen, const char *folder,
                              struct kb_outfile *fields, struct kb_batch_gathered *gathered,
                              struct kb_err *err) {
    const bool judged = batch->specimen[specimen].judged;
    struct kb_text piece = KB_TEXT_INIT;
    struct kb_result result = {0};
    size_t sheets = 0;
    enum kb_status status = judged ? batch->open(batch->context, specimen, &result, err) : KB_OK;
    result.language = batch->language;
    if (status == KB_OK && judged) {
        status =
            put_specimen(&batch->specimen[specimen], folder, batch->paper, &result, &sheets, err);
        if (status == KB_OK) {
            status = kb_batch_gather(specimen, &result, gathered, err);
            gathered->sheets += sheets;
        }
    } else if (status == KB_OK) {
        status = take_away(&batch->specimen[specimen], folder, err);
    }
    if (status == KB_OK) {
        status =
            kb_batch_fields_csv_specimen(batch, specimen, judged ? &result : NULL, &piece, err);
    }
    if (status == KB_OK) {
        status = flow(&piece, fields, err);
    }
    kb_result_release(&result);
    return status;
}

static enum kb_status put_fields(const struct kb_batch *batch, const char *folder,
                                 struct kb_batch_gathered *gathered, struct kb_err *err) {
    struct kb_text piece = KB_TEXT_INIT;
    struct kb_outfile fields = {NULL, NULL, NULL};
    char *path = kb_join_path(folder, "fields.csv");
    enum kb_status status = path != NULL ? kb_outfile_open(path, &fields, err)
                                         : kb_fail_memory(err, "report", strlen(folder));
    if (status == KB_OK) {
        kb_batch_fields_csv_header(&piece);
        status = flow(&piece, &fields, err);
    }
    for (size_t i = 0; i < batch->specimens && status == KB_OK; i++) {
        status = put_one(batch, i, folder, &fields, gathered, err);
    }
    if (status == KB_OK) {
        status = kb_outfile_commit(&fields, err);
    } else {
        kb_outfile_abandon(&fields);
    }
    kb_free(path);
    return status;
}

static void tidy(const struct kb_batch *batch, const char *folder) {
    kb_outfile_tidy(folder, 0.0);
    for (size_t i = 0; i < batch->specimens; i++) {
        char *own = kb_join_path(folder, batch->specimen[i].folder);
        if (own != NULL) {
            kb_outfile_tidy(own, 0.0);
        }
        kb_free(own);
    }
}

/* Whoever writes here holds a shared lock. The one that gets the folder for itself first takes away
 * what killed runs left. -1 where that cannot be opened; where there are no locks nothing is
 * tidied.
 */
static int lock_and_tidy(const struct kb_batch *batch, const char *folder) {
    const int lock = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (lock < 0) {
        return -1;
    }
    if (flock(lock, LOCK_EX | LOCK_NB) == 0) {
        tidy(batch, folder);
    }
    (void)flock(lock, LOCK_SH);
    return lock;
}

static enum kb_status put_all(const struct kb_batch *batch, const char *folder,
                              struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    struct kb_batch_gathered gathered = {.settings = 0};
    enum kb_status status = put_fields(batch, folder, &gathered, err);
    if (status == KB_OK) {
        status = kb_report_batch_specimens_csv(batch, &text, err);
    }
    if (status == KB_OK) {
        status = kb_batch_put(folder, "specimens.csv", &text, err);
    }
    if (status == KB_OK) {
        status = kb_batch_put_papers(batch, &gathered, folder, err);
    }
    if (status == KB_OK) {
        status = kb_report_batch_json(batch, &text, err);
    }
    if (status == KB_OK) {
        status = kb_batch_put(folder, "batch.json", &text, err);
    }
    kb_batch_gathered_release(&gathered);
    return status;
}

enum kb_status kb_report_batch_folder(const struct kb_batch *batch, const char *folder,
                                      struct kb_err *err) {
    enum kb_status status = kb_make_folder(folder, err);
    if (status != KB_OK) {
        return status;
    }
    const int lock = lock_and_tidy(batch, folder);
    status = put_all(batch, folder, err);
    if (lock >= 0) {
        (void)close(lock);
    }
    return status;
}
