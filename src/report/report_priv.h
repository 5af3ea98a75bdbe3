/* report_priv.h - what the writers of this stage share: text that is safe to show, figures rounded
 * for a reader, words for the stages' enumerations, and the look of each phase. */
#ifndef KB_REPORT_PRIV_H
#define KB_REPORT_PRIV_H

#include "keelblock/report.h"

#define KB_COUNT_OF(array) (sizeof(array) / sizeof(array)[0])
#define KB_NAN ((double)NAN) /* NAN is a float */

/* ---- text (show_text.c) ------------------------------------------------------------------------
 */

/* What stands in for bytes that are not UTF-8 and for control characters. */
#define KB_REPLACEMENT 0xfffdu

/* Next character of a NUL-terminated string that need not be valid UTF-8: false at its end. Bad
 * bytes, surrogates and characters that XML forbids come out as KB_REPLACEMENT. */
bool kb_text_next(const char **at, uint32_t *code);
/* KB_REPLACEMENT for characters that turn the direction of writing: a file name must not be able to
 * rearrange what is shown beside it (Unicode, UAX 9). Others come back unchanged. */
uint32_t kb_text_tame(uint32_t code);
void kb_text_put(struct kb_text *out, uint32_t code);
/* `string` as valid UTF-8 on one line; NULL adds nothing. */
void kb_text_plain(struct kb_text *out, const char *string);
/* Columns that `string` takes in a terminal, one a character. */
int kb_text_columns(const char *string);
/* "ductile-iron" as "ductile iron", "pearlite_of_matrix" as "pearlite of matrix". */
void kb_text_words(struct kb_text *out, const char *name);
/* `value` to so many significant digits, without exponent where that is readable; never "-0". The
 * value must be finite. */
void kb_text_significant(struct kb_text *out, double value, int digits);
/* The same with "um" and "um2" as a reader writes them: "µm", "µm²". */
void kb_text_units(struct kb_text *out, const char *string);
/* A sentence that begins at column `used`, wrapped to so many columns; later lines begin at
 * `indent`. Ends the line. */
void kb_text_wrap(struct kb_text *out, const char *sentence, int columns, int used, int indent);
/* KB_OK, or KB_E_MEMORY when `out` has failed; `out` is then released. */
enum kb_status kb_text_end(struct kb_text *out, struct kb_err *err);

/* ---- figures for a reader (show_figure.c) ------------------------------------------------------
 */

/* An estimate in the digits that its interval supports, fractions as per cent. */
struct kb_shown {
    bool measured, has_interval;
    int decimals;
    double scale;   /* value * scale is what is shown: 100 for fractions */
    char value[24]; /* "91.3"; "not measured" is the caller's to say */
    char low[24], high[24];
    const char *unit; /* "%", "µm", "/mm²", ... */
};
struct kb_shown kb_show(const struct kb_estimate *estimate);
/* `value` with so many decimals (-2: rounded to hundreds); "–" when not finite, never "-0". */
void kb_show_number(char *to, size_t size, double value, int decimals);
/* Decimals of a figure that stands without an interval: three significant digits. */
int kb_show_decimals(double value);
/* Unit of the stages as a reader writes it. */
const char *kb_show_unit(const char *unit);
/* Half of the interval over the value, per cent; NaN without interval or for a value of zero. */
double kb_relative_accuracy_percent(const struct kb_estimate *estimate);

/* ---- words (show_words.c) ----------------------------------------------------------------------
 */

const char *kb_contrast_words(enum kb_contrast contrast);
const char *kb_state_words(enum kb_particle_state state); /* why a particle does not count */
const char *kb_verdict_words(enum kb_outcome outcome);    /* "Accepted" ... */
/* The contrast that all fields share: false when they differ or there are none. */
bool kb_result_contrast(const struct kb_result *result, enum kb_contrast *contrast);
/* The same of the pixel size and its source; differing or unknown sizes give false. */
bool kb_result_scale(const struct kb_result *result, double *px_um, enum kb_scale_source *source);
/* Findings of the specimen, then of its fields, alike ones of several fields taken together. */
enum kb_alike { KB_ALIKE_CODE, KB_ALIKE_TEXT }; /* same code; same code and text */
struct kb_finding_group {
    const struct kb_finding *finding; /* the first */
    size_t field;                     /* 1-based, of the first; 0: of the specimen */
    size_t more;                      /* further ones */
    size_t at_field, at_index;        /* where to go on; start zeroed */
};
bool kb_result_finding_next(const struct kb_result *result, enum kb_alike alike,
                            struct kb_finding_group *group);
/* "field 2", "field 2 and 11 more"; "" for the specimen. */
void kb_finding_where(const struct kb_finding_group *group, char *to, size_t size);
size_t kb_result_findings(const struct kb_result *result, enum kb_alike alike);

/* Particles of all fields whose form was set by hand. */
size_t kb_hand_forms(const struct kb_result *result);

/* The figures that answer first, most important first. */
struct kb_headline {
    const char *words; /* "nodularity" */
    const char *of;    /* what it is a share of, or by which rule */
    const char *brief; /* both for a narrow table */
    struct kb_estimate estimate;
};
#define KB_HEADLINES 6
size_t kb_result_headlines(const struct kb_result *result, struct kb_headline out[KB_HEADLINES]);

/* "3 of 4 limits accept, 1 undecided". */
void kb_verdict_sentence(const struct kb_judgement *judgement, struct kb_text *out);
/* ">= 85 %", "20 to 45 %". */
void kb_limit_words(const struct kb_limit *limit, struct kb_text *out);

/* The rule by which most of a phase's regions are what they are (phase_rule.c). */
void kb_phase_rule(const struct kb_segmentation_figures *figures, enum kb_phase phase,
                   struct kb_text *out);
/* Points that were asked about, for a terminal (table_why.c). */
void kb_table_why(struct kb_text *out, int columns, const struct kb_result *result);

/* ---- the look of phases (palette.c) ------------------------------------------------------------
 */

enum kb_hatch { KB_HATCH_NONE, KB_HATCH_RISING, KB_HATCH_DOTS, KB_HATCH_CROSS, KB_HATCH_FALLING };

struct kb_look {
    uint8_t rgb[3];
    uint8_t tint; /* share of the colour in the overlay, of 256 */
    enum kb_hatch hatch;
};
const struct kb_look *kb_phase_look(enum kb_phase phase);

#endif
