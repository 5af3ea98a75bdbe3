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
};
KB_API struct kb_paper_params kb_paper_params_default(void);

/* Append the PDF of `page` (XML-clean markup of `length` bytes, as kb_report_html() writes) to
 * `out`. The same page gives the same bytes on the same machine. KB_E_INPUT where the markup is
 * none, KB_E_USAGE for no paper, KB_E_MEMORY. What it draws with (cairo, Pango, librsvg) ends the
 * process when memory runs out, which it cannot hand back. */
KB_API KB_NODISCARD enum kb_status kb_paper_pdf(const char *page, size_t length,
                                                const struct kb_paper_params *params,
                                                struct kb_text *out, struct kb_err *err);

#ifdef __cplusplus
}
#endif
#endif
