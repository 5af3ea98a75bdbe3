/* words.h - the pages in another language: one table of phrases, one pass over the markup.
 *
 *   base > WORDS > report > app
 *
 * The pages are written in English. What a reader sees of them (text, alt, title, aria-label and
 * data-label) is looked up phrase by phrase in the table of the language, src/words/de.csv for
 * German; what stands in <code>, <pre>, <style> or under translate="no" stays as it is.
 */
#ifndef KEELBLOCK_WORDS_H
#define KEELBLOCK_WORDS_H

#include "keelblock/base.h"

#ifdef __cplusplus
extern "C" {
#endif

enum kb_language { KB_ENGLISH, KB_GERMAN };

KB_API const char *kb_language_name(enum kb_language language); /* "en", "de" */
/* "en", "de"; also with a country behind it, "de-AT", "en_GB". False for any other. */
KB_API KB_NODISCARD bool kb_language_parse(const char *name, enum kb_language *language);

/* At the foot of each sheet of a PDF, with two %zu: for `page_words` of struct kb_paper_params. A
 * format, so it stands in the code and not in the table. */
KB_API const char *kb_words_sheets(enum kb_language language);

/* One phrase, plain text in and out, added to `out`. `left`, when not NULL, gets a line for each
 * phrase that has no row; such a phrase stays English. */
KB_API KB_NODISCARD enum kb_status kb_words_phrase(enum kb_language language, const char *phrase,
                                                   struct kb_text *out, struct kb_text *left,
                                                   struct kb_err *err);
/* A whole page in place: figures keep their digits and get the language's decimal sign, lang= of
 * the root element is set. English pages are left as they are. On failure the page is
 * released. */
KB_API KB_NODISCARD enum kb_status kb_words_page(enum kb_language language, struct kb_text *page,
                                                 struct kb_text *left, struct kb_err *err);

#ifdef __cplusplus
}
#endif
#endif
