/* prepare_show.h - words that all writers of a preparation sheet share (table_prepare.c). */
#ifndef KB_PREPARE_SHOW_H
#define KB_PREPARE_SHOW_H

#include "report_priv.h"

#define KB_PREPARE_DEFERS                                                                          \
    "All values are ranges from common practice. Local rules and trained staff decide."

/* "Ductile iron, medium hardness (187 HBW), cut with a saw, hot mount, nital." */
void kb_prepare_about(struct kb_text *out, const struct kb_prepare_sheet *sheet);
/* "1 to 4"; one number where both are the same. */
void kb_prepare_range(char *to, size_t size, double low, double high);
/* "1 to 4 min", "2 to 20 s" from minutes. */
void kb_prepare_time(char *to, size_t size, const struct kb_prepare_step *step);
/* "step 7, P1200", "step 13, clean and dry" */
void kb_prepare_step_name(struct kb_text *out, const struct kb_prepare_sheet *sheet, size_t step);
/* What the measurement found, in one sentence: where to begin, or that there is nothing to do. */
void kb_prepare_verdict(struct kb_text *out, const struct kb_prepare_sheet *sheet);
/* "(not fit in 3 of 5 fields)"; "" when a person said it */
void kb_prepare_where(char *to, size_t size, const struct kb_prepare_fault *fault);
/* "focus: width of phase edges" as "focus". */
const char *kb_prepare_fault_words(const struct kb_prepare_fault *fault);
/* What to do about a fault, sentences. */
void kb_prepare_remedy(struct kb_text *out, const struct kb_prepare_sheet *sheet,
                       const struct kb_prepare_fault *fault);
/* Whether the part has a step that is still to be done. */
bool kb_prepare_open(const struct kb_prepare_sheet *sheet, const struct kb_prepare_part *part);

#endif
