/* paper.h - a page of the report on paper: PDF with selectable text, embedded fonts, numbered
 * pages.
 *
 * The page that keelblock writes as HTML is the document; this stage reads its markup and sets it
 * on A4 or Letter, so that screen and paper cannot disagree. It knows nothing of micrographs.
 */
#ifndef KEELBLOCK_PAPER_H
#define KEELBLOCK_PAPER_H

#include "keelblock/base.h"

#ifdef __cplusplus
extern "C" {
#endif

enum kb_paper { KB_PAPER_NONE, KB_PAPER_A4, KB_PAPER_LETTER, KB_PAPERS };
/* "none", "a4" (210 x 297 mm, ISO 216), "letter" (8.5 x 11 in). */
KB_API const char *kb_paper_name(enum kb_paper paper);
/* False when no paper has that name, whatever its case. */
KB_API KB_NODISCARD bool kb_paper_by_name(const char *name, enum kb_paper *paper);

struct kb_paper_params {
    enum kb_paper paper;    /* A4 or Letter */
    const char *page_words; /* at the foot of each page, with two %zu: "page %zu of %zu"; NULL */
    const char *made_at;    /* ISO 8601, goes into the file's properties; NULL: no date */
    size_t *sheets;         /* is told how many sheets a page makes; NULL: is not */
    bool one_sheet; /* set smaller, down to 70 %, until it fits one sheet; KB_E_USAGE if not */
};
KB_API struct kb_paper_params kb_paper_params_default(void);

/* Append the PDF of `page` (XML-clean markup of `length` bytes, as kb_report_html() writes) to
 * `out`. The same page gives the same bytes on the same machine. KB_E_INPUT where the markup is
 * none, KB_E_USAGE for no paper, KB_E_MEMORY. What it draws with (cairo, Pango, librsvg) ends the
 * process when memory runs out, which it cannot hand back. */
KB_API KB_NODISCARD enum kb_status kb_paper_pdf(const char *page, size_t length,
                                                const struct kb_paper_params *params,
                                                struct kb_text *out, struct kb_err *err);

/* ---- several pages in one file -----------------------------------------------------------------
 * Each begins on a sheet of its own; numbers go on from one to the next. Only one is in memory at a
 * time, so that a file may have thousands of sheets. */

/* Sheets that kb_paper_pdf() would make of the page. */
KB_API KB_NODISCARD enum kb_status kb_paper_count(const char *page, size_t length,
                                                  const struct kb_paper_params *params,
                                                  size_t *pages, struct kb_err *err);
struct kb_paper_book;
/* Begin a file on `stream`, of `pages` sheets in all (printed on each). Strings in `params` are
 * views that must outlive the book. End it also after a failure. */
KB_API KB_NODISCARD enum kb_status kb_paper_begin(const struct kb_paper_params *params,
                                                  size_t pages, FILE *stream,
                                                  struct kb_paper_book **book, struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_paper_add(struct kb_paper_book *book, const char *page,
                                                size_t length, struct kb_err *err);
/* KB_E_SYSTEM when the stream did not take all. NULL is fine. */
KB_API KB_NODISCARD enum kb_status kb_paper_end(struct kb_paper_book *book, struct kb_err *err);

#ifdef __cplusplus
}
#endif
#endif
