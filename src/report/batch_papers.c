/* batch_papers.c - the papers of a batch as files: its report, its certificate, both as PDF.
 *
 * The report's PDF holds the batch's own page and behind it the page of each specimen, read back
 * from the specimen's folder: what is on paper is what lies there. Each sheet says how many there
 * are, which is known from the specimens' own PDFs, and goes to the file as it is drawn. A page
 * that differs from the one before in nothing but its date keeps that date, so that a paper bears
 * the day on which it came to say what it says.
 */
#include "folder_priv.h"
#include "html_batch_priv.h"

#include <errno.h>
#include <string.h>

static const char report_name[] = "report.html", certificate_name[] = "certificate.html",
                  certificate_paper[] = "certificate.pdf";

/* ---- reading back ---- */

static enum kb_status read_back(const char *path, struct kb_text *text, struct kb_err *err) {
    char block[4096];
    size_t got = 0;
    FILE *stream = fopen(path, "rbe");
    if (stream == NULL) {
        return kb_fail(err, KB_E_SYSTEM, "report", path, "cannot be read back: %s",
                       strerror(errno));
    }
    while ((got = fread(block, 1, sizeof block, stream)) > 0) {
        kb_text_add_bytes(text, block, got);
    }
    const bool bad = ferror(stream) != 0;
    (void)fclose(stream);
    if (bad) {
        kb_text_release(text);
        return kb_fail(err, KB_E_SYSTEM, "report", path, "cannot be read back");
    }
    return kb_text_end(text, err);
}

/* The date that an earlier page states of itself; "" when there is none. */
static void earlier_date(const struct kb_text *page, char date[32]) {
    static const char before[] = "<meta name=\"date\" content=\"";
    const char *at = page->data != NULL ? strstr(page->data, before) : NULL;
    const char *end = at != NULL ? strchr(at + sizeof before - 1, '"') : NULL;
    date[0] = '\0';
    if (end != NULL && end - (at + sizeof before - 1) < 32) {
        (void)snprintf(date, 32, "%.*s", (int)(end - (at + sizeof before - 1)),
                       at + sizeof before - 1);
    }
}

/* ---- pages ---- */

static enum kb_status render(const struct kb_batch *batch, const struct kb_batch_gathered *gathered,
                             struct kb_text *out, struct kb_err *err) {
    enum kb_status status = gathered != NULL ? kb_batch_page(batch, gathered, out, err)
                                             : kb_report_certificate_html(batch, out, err);
    return status == KB_OK ? kb_words_page(batch->language, out, NULL, err) : status;
}

/* The page, with the date of the one that lies there when it says the same. `batch` gets the date
 * that holds. */
static enum kb_status render_dated(struct kb_batch *batch, const struct kb_batch_gathered *gathered,
                                   const char *path, struct kb_text *page, struct kb_err *err) {
    char now[32];
    struct kb_text earlier = KB_TEXT_INIT;
    enum kb_status status = KB_OK;
    if (read_back(path, &earlier, NULL) == KB_OK) {
        memcpy(now, batch->made_at, sizeof now);
        earlier_date(&earlier, batch->made_at);
        status = render(batch, gathered, page, err);
        const bool same = status == KB_OK && earlier.data != NULL &&
                          page->length == earlier.length &&
                          memcmp(page->data, earlier.data, page->length) == 0;
        kb_text_release(&earlier);
        if (same || status != KB_OK) {
            return status;
        }
        kb_text_release(page);
        memcpy(batch->made_at, now, sizeof now);
    }
    return render(batch, gathered, page, err);
}

/* ---- sheets ---- */

static enum kb_status specimen_page(const struct kb_batch *batch, size_t specimen,
                                    const char *folder, struct kb_text *page, struct kb_err *err) {
    char *own = kb_join_path(folder, batch->specimen[specimen].folder);
    char *path = own != NULL ? kb_join_path(own, report_name) : NULL;
    enum kb_status status =
        path != NULL ? read_back(path, page, err) : kb_fail_memory(err, "report", strlen(folder));
    kb_free(path);
    kb_free(own);
    return status;
}

static enum kb_status draw_sheets(const struct kb_batch *batch, const char *folder,
                                  const struct kb_text *first, struct kb_paper_book *book,
                                  struct kb_err *err) {
    enum kb_status status = kb_paper_add(book, first->data, first->length, err);
    for (size_t i = 0; i < batch->specimens && status == KB_OK; i++) {
        struct kb_text page = KB_TEXT_INIT;
        if (!batch->specimen[i].judged) {
            continue;
        }
        status = specimen_page(batch, i, folder, &page, err);
        if (status == KB_OK) {
            status = kb_paper_add(book, page.data, page.length, err);
        }
        kb_text_release(&page);
    }
    return status;
}

static enum kb_status put_report_paper(const struct kb_batch *batch, size_t of_specimens,
                                       const char *folder, const struct kb_text *first,
                                       struct kb_err *err) {
    struct kb_outfile file = {NULL, NULL, NULL};
    struct kb_paper_book *book = NULL;
    struct kb_paper_params params = kb_paper_params_default();
    params.paper = batch->paper;
    params.made_at = batch->made_at;
    params.page_words = kb_words_sheets(batch->language);
    size_t sheets = 0;
    char *path = kb_join_path(folder, KB_PAPER_FILE);
    enum kb_status status = path != NULL
                                ? kb_paper_count(first->data, first->length, &params, &sheets, err)
                                : kb_fail_memory(err, "report", strlen(folder));
    if (status == KB_OK) {
        status = kb_outfile_open(path, &file, err);
    }
    if (status == KB_OK) {
        status = kb_paper_begin(&params, sheets + of_specimens, file.stream, &book, err);
    }
    if (status == KB_OK) {
        status = draw_sheets(batch, folder, first, book, err);
    }
    const enum kb_status ended = kb_paper_end(book, status == KB_OK ? err : NULL);
    status = status == KB_OK ? ended : status;
    if (status == KB_OK) {
        status = kb_outfile_commit(&file, err);
    } else {
        kb_outfile_abandon(&file);
    }
    kb_free(path);
    return status;
}

static enum kb_status put_certificate_paper(const struct kb_batch *batch, const char *folder,
                                            const struct kb_text *page, struct kb_err *err) {
    struct kb_text pdf = KB_TEXT_INIT;
    struct kb_paper_params params = kb_paper_params_default();
    params.paper = batch->paper;
    params.made_at = batch->made_at;
    params.one_sheet = true;
    params.page_words = NULL; /* there is one */
    enum kb_status status = kb_paper_pdf(page->data, page->length, &params, &pdf, err);
    if (status == KB_OK) {
        return kb_batch_put(folder, certificate_paper, &pdf, err);
    }
    kb_text_release(&pdf);
    return status;
}

/* ---- both ---- */

static enum kb_status put_document(const struct kb_batch *batch,
                                   const struct kb_batch_gathered *gathered, const char *folder,
                                   struct kb_err *err) {
    const char *name = gathered != NULL ? report_name : certificate_name;
    const char *paper = gathered != NULL ? KB_PAPER_FILE : certificate_paper;
    struct kb_batch dated = *batch; /* the date may be an earlier one */
    struct kb_text page = KB_TEXT_INIT;
    char *path = kb_join_path(folder, name);
    enum kb_status status = path != NULL ? render_dated(&dated, gathered, path, &page, err)
                                         : kb_fail_memory(err, "report", strlen(folder));
    kb_free(path);
    if (status == KB_OK && batch->paper == KB_PAPER_NONE) {
        status = kb_batch_drop(folder, paper, err);
    } else if (status == KB_OK) {
        status = gathered != NULL ? put_report_paper(&dated, gathered->sheets, folder, &page, err)
                                  : put_certificate_paper(&dated, folder, &page, err);
    }
    if (status == KB_OK) {
        return kb_batch_put(folder, name, &page, err);
    }
    kb_text_release(&page);
    return status;
}

enum kb_status kb_batch_put_papers(const struct kb_batch *batch,
                                   const struct kb_batch_gathered *gathered, const char *folder,
                                   struct kb_err *err) {
    enum kb_status status = put_document(batch, gathered, folder, err);
    if (status != KB_OK) {
        return status;
    }
    if (kb_batch_limited(batch).count > 0) {
        return put_document(batch, NULL, folder, err);
    }
    status = kb_batch_drop(folder, certificate_name, err);
    return status == KB_OK ? kb_batch_drop(folder, certificate_paper, err) : status;
}
