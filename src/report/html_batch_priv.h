/* html_batch_priv.h - pieces of the page of a batch and of its certificate. */
#ifndef KB_HTML_BATCH_PRIV_H
#define KB_HTML_BATCH_PRIV_H

#include "batch_priv.h"
#include "html_priv.h"

/* ---- what is gathered from the specimens while each is open (batch_gather.c) -------------------
 */

/* Findings of one code over the batch. */
struct kb_batch_group {
    struct kb_finding finding; /* the first of the worst severity */
    size_t specimen;           /* whose it is */
    size_t specimens, times;   /* that have it; how often in all */
    size_t last;               /* specimen that had it last, from 1 */
};

struct kb_batch_setting {
    char *name, *value;
    const char *origin; /* static text */
    bool differs;       /* between specimens: the value is none of all */
};

struct kb_batch_gathered {
    struct kb_batch_setting *setting; /* of the first specimen, in its order */
    size_t settings;
    struct kb_batch_group *group;
    size_t groups, capacity;
    size_t opened; /* specimens */
    size_t sheets; /* of their pages on paper, where one is named */
};
KB_NODISCARD enum kb_status kb_batch_gather(size_t specimen, const struct kb_result *result,
                                            struct kb_batch_gathered *gathered, struct kb_err *err);
void kb_batch_gathered_release(struct kb_batch_gathered *gathered);
/* The page with what was gathered; see kb_report_batch_html(). */
KB_NODISCARD enum kb_status kb_batch_page(const struct kb_batch *batch,
                                          const struct kb_batch_gathered *gathered,
                                          struct kb_text *out, struct kb_err *err);

/* ---- what is asked of a batch (batch_ask.c) ----------------------------------------------------
 */

/* Quantities that some specimen has a limit on, in the order of the limits. */
struct kb_batch_limited {
    enum kb_quantity quantity[KB_QUANTITIES];
    size_t count;
};
struct kb_batch_limited kb_batch_limited(const struct kb_batch *batch);
/* The specimen's limit on a quantity; NULL: it has none. */
const struct kb_limit_result *kb_batch_limit(const struct kb_batch_specimen *specimen,
                                             enum kb_quantity quantity);
/* The limit that all specimens with one on the quantity share: false when they differ. */
bool kb_batch_limit_of_all(const struct kb_batch *batch, enum kb_quantity quantity,
                           struct kb_limit *limit);
/* The figure over the batch; NULL: no specimen gives it. */
const struct kb_batch_figure *kb_batch_figure(const struct kb_batch *batch,
                                              enum kb_quantity quantity);
/* The rule by which limits decide, as the first judged specimen states it; NULL: none. */
const char *kb_batch_decision_rule(const struct kb_batch *batch);

/* ---- files (batch_papers.c) -----------------------------------------------------------------
 */

/* The text into a file of the folder, unless the file holds the same already; `text` is released
 * (batch_folder.c). */
KB_NODISCARD enum kb_status kb_batch_put(const char *folder, const char *name, struct kb_text *text,
                                         struct kb_err *err);
/* Remove what an earlier run left under a name; fine when there is none (batch_folder.c). */
KB_NODISCARD enum kb_status kb_batch_drop(const char *folder, const char *name, struct kb_err *err);
/* report.html and certificate.html of the batch and, where it names a paper, both as PDF, the
 * report with the pages of its specimens, which must lie in their folders. */
KB_NODISCARD enum kb_status kb_batch_put_papers(const struct kb_batch *batch,
                                                const struct kb_batch_gathered *gathered,
                                                const char *folder, struct kb_err *err);

/* ---- sections and pieces -----------------------------------------------------------------------
 */

/* Everything up to <main>; `style` (NULL: none) stands behind the style sheet of all pages. */
void kb_html_document(struct kb_text *out, const char *title, const char *outcome,
                      const char *made_at, const char *style);
void kb_html_document_end(struct kb_text *out);
/* Address of a page in a folder beside this one, escaped as an address. */
void kb_html_address(struct kb_text *out, const char *folder, const char *page);
/* Shape and word of an outcome. */
void kb_html_outcome(struct kb_text *out, enum kb_outcome outcome, const char *word, int size_px);

void kb_html_batch_specimens(struct kb_text *out, const struct kb_batch *batch);
void kb_html_batch_faults(struct kb_text *out, const struct kb_batch *batch);
void kb_html_batch_figures(struct kb_text *out, const struct kb_batch *batch);
void kb_html_batch_given(struct kb_text *out, const struct kb_batch *batch);
KB_NODISCARD enum kb_status kb_html_batch_history(struct kb_text *out, const struct kb_batch *batch,
                                                  struct kb_err *err);
void kb_html_batch_findings(struct kb_text *out, const struct kb_batch *batch,
                            const struct kb_batch_gathered *gathered);
void kb_html_batch_trace(struct kb_text *out, const struct kb_batch *batch,
                         const struct kb_batch_gathered *gathered);

/* ---- one mark a specimen, with its interval, against limits (svg_dots.c) -----------------------
 */

struct kb_dot {
    size_t number;        /* as in the table */
    double value, lo, hi; /* lo and hi NaN: no interval */
    double low, high;     /* its limits; NaN: open */
    enum kb_outcome outcome;
};
struct kb_dots {
    const struct kb_dot *dot;
    size_t count;
    double mean, mean_lo, mean_hi; /* of all; NaN: not drawn */
    const char *unit;
    const char *title; /* for readers who cannot see it */
};
/* More than so many are drawn as wide as the page. */
#define KB_DOTS_NARROW 24
void kb_svg_dots(struct kb_text *out, const struct kb_dots *dots);

#endif
