/* firstlook.h - the first look at a field: how was it seen, and what in the frame is not specimen.
 *   base > raster > intake > FIRSTLOOK > segmentation > ...
 *
 * Two questions that come before any phase: which contrast is this (etched or polished under the
 * light microscope, or secondary electrons), answered with evidence or not at all; and which parts
 * of the frame are data bars, scale bars, lettering, arrows, margins, vignettes or mounting resin.
 */
#ifndef KEELBLOCK_FIRSTLOOK_H
#define KEELBLOCK_FIRSTLOOK_H

#include "keelblock/intake.h"

#ifdef __cplusplus
extern "C" {
#endif

/* How a field was seen. Which phase is dark follows from it. */
enum kb_contrast { KB_LIGHT, KB_LIGHT_UNETCHED, KB_SEM };
KB_API const char *
kb_contrast_name(enum kb_contrast contrast); /* "light", "light-unetched", "sem" */
KB_API KB_NODISCARD bool kb_contrast_parse(const char *name, enum kb_contrast *contrast);

/* ---- contrast found ----------------------------------------------------------------------------
 */

#define KB_EVIDENCE_MAX 16

/* One observation that speaks for or against. */
struct kb_evidence {
    const char *what; /* static text: "share of pixels in the brightest narrow peak" */
    double value;     /* the figure ... */
    const char *unit; /* ... and its unit; static text, "" for a share */
    double speaks[3]; /* logarithm of the odds it lends to each contrast, natural; 0: nothing */
};

struct kb_contrast_found {
    bool sure;                 /* the best contrast leads by params->lead or more */
    enum kb_contrast contrast; /* the best; to be used only when sure */
    double belief[3];          /* share of belief of each contrast, sums to 1 */
    struct kb_evidence evidence[KB_EVIDENCE_MAX];
    int count;
};

/* ---- what is not specimen ----------------------------------------------------------------------
 */

enum kb_mark_kind {
    KB_MARK_DATA_BAR,  /* instrument's strip of lettering along an edge */
    KB_MARK_SCALE_BAR, /* burnt into the picture */
    KB_MARK_LETTERING, /* text, arrows, frames drawn on the picture */
    KB_MARK_MARGIN,    /* even black or white border */
    KB_MARK_VIGNETTE,  /* outside a round field of view */
    KB_MARK_RESIN,     /* mounting resin beside the specimen */
    KB_MARK_KINDS
};
KB_API const char *kb_mark_kind_name(enum kb_mark_kind kind); /* "data-bar", ... */

struct kb_mark {
    enum kb_mark_kind kind;
    struct kb_rect
        box;       /* what is left out; for a vignette, a resin edge: bounding box of the part */
    double bar_px; /* scale bar: its length in pixels, end to end; else 0 */
};

struct kb_first_look {
    struct kb_contrast_found contrast;
    struct kb_mark *mark;
    size_t marks;
    /* Not 0 where a pixel is not specimen; zeroed struct when every pixel is. */
    struct kb_image outside;
    uint64_t outside_px;
    struct kb_findings
        findings; /* "data-bar-excluded", "scale-bar-seen" (offers the length in pixels), ... */
};

struct kb_first_look_params {
    bool find_marks; /* look for bars, margins, lettering, vignettes, resin */
    double lead;     /* odds by which the best contrast must lead to be sure: 9 */
    bool iron;       /* graphite expected (prior for the contrast question only) */
};
KB_API struct kb_first_look_params kb_first_look_params_default(void);
KB_API KB_NODISCARD enum kb_status
kb_first_look_params_check(const struct kb_first_look_params *params, struct kb_err *err);

/* Look at a field; it is not changed. Initialises `look`; zeroed on failure. Release with
 * kb_first_look_release(). KB_E_UNFIT when nothing in the frame is specimen.
 *
 * Marks are black or white, or pure colours in a file with colour as far as they can be read in
 * grey; a data bar may have any even ground. Scale bars are level. Boxes in `mark` are those of
 * what was found, `outside` is grown by two pixels for the ringing of lossy files. Where much of a
 * picture is burnt out or black, drawings cannot be told from it and are left in.
 * A scale bar inside a data bar is a mark of its own, listed after the bar.
 *
 * Findings: data-bar-excluded, lettering-excluded, margin-excluded, vignette-excluded,
 * resin-excluded, scale-bar-seen, marks-excluded (share of the frame) or little-specimen (more than
 * half of it), contrast-found or contrast-unsure. */
KB_API KB_NODISCARD enum kb_status kb_first_look_run(const struct kb_field *field,
                                                     const struct kb_first_look_params *params,
                                                     struct kb_first_look *look,
                                                     struct kb_err *err);
KB_API void kb_first_look_release(struct kb_first_look *look);

#ifdef __cplusplus
}
#endif
#endif
