/* report.h - one result, several writers: JSON, CSV, overlay PNG, HTML.   ... > judge > REPORT
 *
 * The only stage (with review) that writes files.
 */
#ifndef KEELBLOCK_REPORT_H
#define KEELBLOCK_REPORT_H

#include "keelblock/judge.h"
#include "keelblock/paper.h"
#include "keelblock/prepare.h"
#include "keelblock/quality.h"
#include "keelblock/register.h"
#include "keelblock/render.h"
#include "keelblock/words.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- the document ------------------------------------------------------------------------------
 */

struct kb_field_result {
    char *path; /* as given */
    char sha256[65];
    const char *format;
    uint32_t page, pages, bits;
    int32_t width, height; /* pixels */
    double px_um;          /* 0 unknown */
    double px_um_u;
    enum kb_scale_source scale_source;
    enum kb_contrast contrast;
    struct kb_contrast_found contrast_found; /* count 0: the contrast was stated, not found */
    struct kb_mark *mark;                    /* parts of the frame that are no specimen */
    size_t marks;
    uint64_t outside_px; /* pixels in them */
    struct kb_quality quality;
    bool unfit_accepted; /* not fit, and measured all the same on demand */
    struct kb_rect *exclusion;
    size_t exclusions;
    struct kb_segmentation_figures segmentation;
    struct kb_particles particles; /* rows; runs dropped once drawn. Empty for steel */
    struct kb_field_figures figures;
    struct kb_findings findings; /* of every stage on this field, in the order of the stages */
    /* Pictures for the report, JPEG bytes, at most some 1000 pixels wide; NULL when not wanted. */
    uint8_t *photo_jpeg, *overlay_jpeg;
    size_t photo_size, overlay_size;
    int32_t shown_width,
        shown_height;   /* pixels of the photo; the overlay is higher by its legend */
    char *overlay_file; /* name in the output folder, NULL when none */
};

/* The laboratory's own picture for the head of its reports, as it stands in its file. */
struct kb_house_mark {
    uint8_t *data; /* NULL: none */
    size_t size;
    const char *type; /* static text: "image/png" or "image/jpeg" */
};
/* Read a PNG or JPEG of at most 2 MB. KB_E_INPUT for anything else. Release with kb_free(data). */
KB_API KB_NODISCARD enum kb_status kb_house_mark_read(const char *path, struct kb_house_mark *mark,
                                                      struct kb_err *err);

/* One resolved setting, for traceability. */
struct kb_setting_record {
    char *name, *value;
    const char *origin; /* static text: "default", "job file", "command line" */
};

enum kb_hand_kind {
    KB_HAND_PHASE,     /* a region's phase */
    KB_HAND_FORM,      /* a particle's ISO 945-1 form */
    KB_HAND_EXCLUSION, /* a rectangle left out */
    KB_HAND_DARK,      /* the dark threshold ... */
    KB_HAND_BRIGHT,    /* ... and the bright one */
    KB_HAND_OUTLINE,   /* a free outline left out */
    KB_HAND_CUT,       /* a stroke that parts the graphite under it */
    KB_HAND_JOIN,      /* two particles that are one */
    KB_HAND_SCALE,     /* a line whose length is known */
    KB_HAND_KINDS
};
KB_API const char *kb_hand_kind_name(enum kb_hand_kind kind); /* "phase", "dark-threshold", ... */

/* A decision that a person took in the program's place, with the reason, and what came of it.
 *
 * Thresholds and scales: one that names its field stands above one for every field, and of two
 * about the same the one said last holds. Cuts and joins are done in the order in which they were
 * said, after the program's own parting; phases, forms and what is left out know no order, but that
 * with `may_miss` the last word about a region or particle holds. */
struct kb_by_hand {
    enum kb_hand_kind kind;
    char *field_name;     /* as said: path, end of a path or base name; NULL: every field */
    struct kb_rect place; /* pixels of the upright picture; a point is 1 x 1; the box of `point`
                             for kinds that have several (made by kb_measure()); thresholds: zeroed
                           */
    /* KB_HAND_OUTLINE: 3 or more corners, in corners of pixels (0, 0 is the upper left corner of
     * the picture; width, height the lower right one): left out are the pixels whose centres lie
     * inside, by the even-odd rule. KB_HAND_CUT: 2 or more pixels that the stroke goes through.
     * KB_HAND_JOIN: a pixel in each of the two particles. KB_HAND_SCALE: the two ends of the line.
     * NULL for the other kinds. */
    struct kb_place *point;
    size_t points;
    enum kb_phase phase; /* KB_HAND_PHASE */
    enum kb_form form;   /* KB_HAND_FORM */
    double level;        /* thresholds: grey of the file; NaN: as the program finds it, though
                            another decision says otherwise; other kinds: not used */
    double length_um;    /* KB_HAND_SCALE: the true length of the line ... */
    double length_um_u;  /* ... and its standard uncertainty with that of the drawing; 0: not
                            stated, and half a pixel at each end is reckoned with */
    bool may_miss;       /* where its place holds nothing to decide about (any more), it is without
                            effect and a finding says so, instead of an error */
    char *reason;        /* NULL: none was given */
    const char *origin;  /* static text: "job file", "command line", "record" */
    char *who, *at;      /* from a record: who decided, and when (ISO 8601); NULL: the operator */
    /* Filled in by kb_measure(): */
    size_t field;              /* 1-based; 0: every field */
    enum kb_phase phase_found; /* KB_HAND_PHASE: what it was ... */
    uint64_t pixels;           /* ... and how many pixels changed */
    enum kb_form form_found;   /* KB_HAND_FORM: by its figures ... */
    uint32_t particle;         /* ... and the particle's id. KB_HAND_JOIN: that of the one */
    size_t parts;              /* KB_HAND_CUT: particles that came of those it parted */
    double level_found;        /* thresholds of one field: what the histogram gives; else NaN */
    double px_um, px_um_u;     /* KB_HAND_SCALE: what it makes a pixel, um */
    bool without_effect;       /* it changed nothing */
};
/* A copy with its own strings and points; false when out of memory, `to` is then zeroed. */
KB_API KB_NODISCARD bool kb_by_hand_copy(const struct kb_by_hand *from, struct kb_by_hand *to);
KB_API void kb_by_hand_release(struct kb_by_hand *hand); /* what it owns; leaves it zeroed */

/* A point that was asked about, and its way from the first look to the particle. */
struct kb_explained {
    size_t field;       /* 1-based */
    const char *origin; /* static text: "job file", "command line" */
    struct kb_why way;
    enum kb_phase phase; /* at the end of it */
    uint32_t particle;   /* id of the particle that holds it; 0: none */
    /* Surroundings with the point marked, JPEG bytes: as taken, and as measured; NULL: none. */
    uint8_t *photo_jpeg, *overlay_jpeg;
    size_t photo_size, overlay_size;
    struct kb_rect shown; /* what they show, pixels of the field */
};

/* The record of a review that a result was measured with. */
struct kb_reviewed {
    char *record;    /* name of its file; NULL: none */
    char sha256[65]; /* of its bytes */
    size_t changes;  /* in force */
    char *signed_by; /* whose signature is its last line; NULL: nobody's */
    char *remark;    /* of the signature; NULL */
    char *signed_at; /* ISO 8601; NULL */
};
/* A copy with its own strings; false when out of memory, `to` is then zeroed. */
KB_API KB_NODISCARD bool kb_reviewed_copy(const struct kb_reviewed *from, struct kb_reviewed *to);
KB_API void kb_reviewed_release(struct kb_reviewed *reviewed);

struct kb_stage_time {
    const char *stage; /* static text */
    double seconds;    /* summed over fields */
};

struct kb_result {
    char *specimen_id;                                    /* NULL when not given */
    char *laboratory, *operator_name, *customer, *remark; /* free words from the job file; NULL */
    char *batch_name, *casting, *cast_on;                 /* for the register; NULL: not stated */
    struct kb_house_mark house_mark;
    enum kb_paper paper;       /* on which report.pdf is set; KB_PAPER_NONE: there is none */
    enum kb_language language; /* of report.html and report.pdf */
    char *job_path;            /* NULL */
    char made_at[32];          /* local time, ISO 8601 with offset */
    enum kb_material material;
    enum kb_proeutectoid proeutectoid;
    struct kb_segmentation_params segmentation_params; /* views in it are not valid here */
    struct kb_morphology_params morphology_params;
    struct kb_specimen_params specimen_params;
    struct kb_field_result *field;
    size_t fields;
    struct kb_specimen specimen;
    bool carbon_known;
    struct kb_carbon carbon;
    struct kb_chemistry chemistry;
    struct kb_judgement judgement;
    struct kb_setting_record *setting;
    size_t settings, settings_capacity;
    struct kb_by_hand *by_hand; /* in the order in which they were said */
    size_t by_hands;
    struct kb_reviewed reviewed;
    struct kb_explained *explained; /* in the order in which they were asked */
    size_t explaineds;
    struct kb_stage_time *time;
    size_t times;
    bool of_batch; /* a page of a batch: no tables of its own lie beside it, and no overlays */
};
KB_API void kb_field_result_release(struct kb_field_result *field);
KB_API void kb_result_release(struct kb_result *result);

/* ---- writers to memory -------------------------------------------------------------------------
 * Each appends to `out` (start with KB_TEXT_INIT). KB_E_MEMORY is the only failure; `out` is then
 * released. Text from outside is shown as UTF-8, with U+FFFD for bytes that are none. */

/* result.json, schema "keelblock.result/1". Not-measured numbers are null. */
KB_API KB_NODISCARD enum kb_status kb_report_json(const struct kb_result *result,
                                                  struct kb_text *out, struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_report_fields_csv(const struct kb_result *result,
                                                        struct kb_text *out, struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_report_particles_csv(const struct kb_result *result,
                                                           struct kb_text *out, struct kb_err *err);
/* Self-contained page, readable without scripts and without network, printable on A4. */
KB_API KB_NODISCARD enum kb_status kb_report_html(const struct kb_result *result,
                                                  struct kb_text *out, struct kb_err *err);
/* The short table for a terminal. `columns`: width to keep to; `colour`: ANSI allowed. */
KB_API KB_NODISCARD enum kb_status kb_report_table(const struct kb_result *result, int columns,
                                                   bool colour, struct kb_text *out,
                                                   struct kb_err *err);

/* ---- for a page that shows figures as they change ----------------------------------------------
 */

struct kb_shown_figure {
    const char *key;         /* as limits name it: "nodularity" */
    char words[80];          /* "nodularity by area" ... */
    const char *of;          /* ... "ISO 945-4"; static text, may be "" */
    double value, low, high; /* in `unit`; NaN: not measured, no interval */
    const char *unit;        /* static text as shown: "%", "/mm²" */
    int decimals;            /* that the interval supports; below 0: digits before the point */
    const char *reason;      /* static text when not measured, else NULL */
};
/* Those of the material, most important first; unless `concluded` none of them is measured. Returns
 * how many. */
KB_API size_t kb_report_figures(const struct kb_result *result, bool concluded,
                                struct kb_shown_figure out[KB_QUANTITIES]);
/* ">= 85 %" as readers write it, appended. */
KB_API void kb_report_limit_words(const struct kb_limit *limit, struct kb_text *out);
KB_API const char *kb_report_state_words(enum kb_particle_state state); /* why it does not count */
/* Whether it is a nodule of ISO 945-4, as outlines on paper tell: shape factor 0.6 and above; where
 * a person set the form, V and VI. */
KB_API bool kb_is_nodule(const struct kb_particle *particle);
/* Its shape factor less that border; NaN where a person set the form. */
KB_API double kb_nodule_margin(const struct kb_particle *particle);
/* The field at most `max_width` pixels wide as JPEG, tinted by `label` (NULL: not); *bytes in new
 * memory. */
KB_API KB_NODISCARD enum kb_status kb_report_thumb(const struct kb_image *grey,
                                                   const struct kb_image *label, int32_t max_width,
                                                   uint8_t **bytes, size_t *size,
                                                   struct kb_err *err);

/* ---- charts and the register -------------------------------------------------------------------
 * As the writers to memory above. */

/* Inline SVG of a chart that has been run: individuals with control limits and limits of the
 * specification, moving ranges below. Nothing for a chart without points. `alone`: a file of its
 * own, with namespace, background and fonts; else for a page with the report's style sheet. */
KB_API KB_NODISCARD enum kb_status kb_report_chart_svg(const struct kb_chart *chart, bool alone,
                                                       struct kb_text *out, struct kb_err *err);
/* For a page: the chart of a quantity of a casting out of the register as inline SVG, and what it
 * says in words, added to `findings`. Both stay empty when the casting has no result with that
 * figure. Needs no kb_svg_patterns() on the page. */
KB_API KB_NODISCARD enum kb_status
kb_report_history_chart(struct kb_register *reg, const char *casting, enum kb_quantity quantity,
                        struct kb_text *svg, struct kb_findings *findings, struct kb_err *err);
/* The same chart for a terminal, and as JSON. */
KB_API KB_NODISCARD enum kb_status kb_report_chart_table(const struct kb_chart *chart, int columns,
                                                         struct kb_text *out, struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_report_charts_json(const struct kb_chart *chart, size_t count,
                                                         struct kb_text *out, struct kb_err *err);
/* Results of the register: a line each; JSON, schema "keelblock.history/1"; CSV, a row a figure. */
KB_API KB_NODISCARD enum kb_status kb_report_history_table(const struct kb_register_list *list,
                                                           int columns, struct kb_text *out,
                                                           struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_report_history_json(const struct kb_register_list *list,
                                                          struct kb_text *out, struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_report_history_csv(const struct kb_register_list *list,
                                                         struct kb_text *out, struct kb_err *err);

/* ---- pictures ----------------------------------------------------------------------------------
 */

/* Three bytes a pixel, R G B. */
struct kb_picture {
    int32_t width, height;
    uint8_t *rgb; /* width * height * 3 */
};
KB_API void kb_picture_release(struct kb_picture *picture);

/* The field with phases tinted and hatched (apart in colour-blind eyes and in grey print), counting
 * particles outlined and numbered, the rest dashed with a letter for why, exclusions hatched; below
 * it a strip with legend and scale bar, so that the picture is higher than the field. `particles`
 * (with their runs) NULL for steel: lines between phases are drawn instead. Release `picture` with
 * kb_picture_release(); it is zeroed on failure. */
KB_API KB_NODISCARD enum kb_status kb_draw_overlay(const struct kb_field *field,
                                                   const struct kb_phase_map *map,
                                                   const struct kb_particles *particles,
                                                   struct kb_picture *picture, struct kb_err *err);
/* The same with what was drawn by hand in this field: strokes of cuts dashed, joins as a line
 * between two boxes, lines of known length between two bars, outlines that were left out. */
struct kb_overlay_hands {
    const struct kb_by_hand *hand; /* view: as kb_measure() has settled them */
    size_t count;
    size_t field; /* 1-based: those about other fields are passed over */
};
KB_API KB_NODISCARD enum kb_status
kb_draw_overlay_by_hand(const struct kb_field *field, const struct kb_phase_map *map,
                        const struct kb_particles *particles, const struct kb_overlay_hands *hands,
                        struct kb_picture *picture, struct kb_err *err);
/* Write `picture` as PNG with pHYs from px_um (0: none). Whole or not at all. */
KB_API KB_NODISCARD enum kb_status kb_write_png(const char *path, const struct kb_picture *picture,
                                                double px_um, struct kb_err *err);
/* Fill the JPEG pictures of `result` from field and overlay, shrunk (area mean) to `max_width`. */
KB_API KB_NODISCARD enum kb_status
kb_report_pictures(const struct kb_field *field, const struct kb_picture *overlay,
                   int32_t max_width, struct kb_field_result *result, struct kb_err *err);
/* Fill the pictures of `explained`: a square about the point that holds `particle` with room to
 * spare, the point marked in each; `overlay` as of kb_draw_overlay(). */
KB_API KB_NODISCARD enum kb_status
kb_explained_pictures(const struct kb_field *field, const struct kb_picture *overlay,
                      struct kb_rect particle, struct kb_explained *explained, struct kb_err *err);
/* Rendered field: 8-bit grey TIFF, Deflate when `compress`, with resolution tags in pixels per
 * centimetre; and its truth as JSON (schema "keelblock.truth/1") with the parameters that drew it.
 */
KB_API KB_NODISCARD enum kb_status kb_write_tiff(const char *path, const struct kb_image *grey,
                                                 double px_um, bool compress, struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_write_truth(const char *path,
                                                  const struct kb_render_params *params,
                                                  const struct kb_render_truth *truth,
                                                  struct kb_err *err);

/* ---- software validation -----------------------------------------------------------------------
 * What a laboratory files of `keelblock prove`: figures found on specimens whose truth is known,
 * against limits that were set before. */

enum kb_proof_kind {
    KB_PROOF_BIAS,          /* measured less true, the same fields */
    KB_PROOF_REPEATABILITY, /* 2.8 standard deviations of the same section, other noise */
    KB_PROOF_TURNING,       /* largest change when the same picture is turned or mirrored */
    KB_PROOF_COVERAGE,      /* share of 95 % intervals that hold the truth */
    KB_PROOF_KINDS
};
KB_API const char *kb_proof_kind_name(enum kb_proof_kind kind); /* "bias", ... */

struct kb_proof_row {
    enum kb_proof_kind kind;
    const char *group;    /* static text: the series, "Pearlite in steel" */
    char subject[80];     /* "20 % pearlite" */
    const char *quantity; /* static text: "nodularity by area, ISO 945-4" */
    size_t specimens, fields;
    size_t refused;          /* fields that were not measured: not fit by the tool's own rules */
    size_t accepted;         /* fields not fit that were measured all the same, on purpose */
    double truth, measured;  /* in value_unit; NaN where a row has none */
    const char *value_unit;  /* static text as shown: "%", "/mm²" */
    double figure, error;    /* the row's figure and its standard error, in `unit`; NaN unknown */
    const char *unit;        /* static text as shown: "points", "%", "" */
    double low, high;        /* limits, inclusive */
    size_t hits, trials;     /* coverage: intervals that hold the truth, of so many */
    const char *limit_words; /* static text: where the limit comes from */
    bool passed;
    char why[200]; /* what the first refusal said; "" */
};

struct kb_proof {
    char made_at[32]; /* local time, ISO 8601 with offset */
    bool quick;
    size_t specimens, fields, refused;
    double seconds;
    int threads;
    struct kb_proof_row *row; /* of one group, all of one kind, side by side */
    size_t rows, capacity;
};
KB_API size_t kb_proof_failed(const struct kb_proof *proof); /* rows that did not pass */
KB_API void kb_proof_release(struct kb_proof *proof);
/* prove.json, schema "keelblock.proof/1"; prove.html; the short table for a terminal: the worst row
 * of each series and quantity, and every row that failed. As the writers to memory above. */
KB_API KB_NODISCARD enum kb_status kb_report_proof_json(const struct kb_proof *proof,
                                                        struct kb_text *out, struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_report_proof_html(const struct kb_proof *proof,
                                                        struct kb_text *out, struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_report_proof_table(const struct kb_proof *proof,
                                                         struct kb_text *out, struct kb_err *err);

/* ---- preparation sheets ------------------------------------------------------------------------
 * The same sheet for a terminal, for the bench (prepare.html, which kb_paper_pdf() sets too), and
 * as schema "keelblock.preparation/1". Names may be NULL. As the writers to memory above. */

struct kb_sheet_names {
    const char *specimen, *laboratory;
};
KB_API KB_NODISCARD enum kb_status kb_report_prepare_text(const struct kb_prepare_sheet *sheet,
                                                          const struct kb_sheet_names *names,
                                                          int columns, struct kb_text *out,
                                                          struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_report_prepare_html(const struct kb_prepare_sheet *sheet,
                                                          const struct kb_sheet_names *names,
                                                          struct kb_text *out, struct kb_err *err);
KB_API KB_NODISCARD enum kb_status kb_report_prepare_json(const struct kb_prepare_sheet *sheet,
                                                          const struct kb_sheet_names *names,
                                                          struct kb_text *out, struct kb_err *err);

/* ---- the output folder -------------------------------------------------------------------------
 * Files are made in a hidden folder inside (".keelblock-XXXXXX") and moved into place together at
 * the end, result.json last. When anything fails nothing new is left, and files of an earlier
 * result stand as they stood. Hidden folders that a killed run left behind are removed by the next
 * one; that of a run which is still at work is known by its lock and left alone. */

struct kb_report_folder {
    char *path;      /* the folder; NULL: not open */
    char *aside;     /* the hidden one inside */
    bool made;       /* whether `path` was made by us */
    size_t existing; /* that many characters of `path` named a folder before */
    int lock;        /* descriptor of `aside`, locked while we are at work; -1 none */
};
/* Make the folder (and its parents) and the hidden one. KB_E_SYSTEM with advice where that cannot
 * be done; nothing is then left. End with commit or abandon. */
KB_API KB_NODISCARD enum kb_status
kb_report_folder_open(const char *path, struct kb_report_folder *folder, struct kb_err *err);
/* Path for a file that is to appear as `name`; new memory. */
KB_API KB_NODISCARD char *kb_report_folder_file(const struct kb_report_folder *folder,
                                                const char *name);
/* Write JSON, CSVs and HTML beside the pictures already there, then move everything into place.
 * Files of the same names are replaced; overlays of an earlier result that this one does not write
 * again are removed. `folder` is released either way; on failure as by kb_report_folder_abandon().
 */
KB_API KB_NODISCARD enum kb_status kb_report_folder_commit(struct kb_report_folder *folder,
                                                           const struct kb_result *result,
                                                           struct kb_err *err);
/* Drop what was written, with every folder that was made. Does nothing when not open. */
KB_API void kb_report_folder_abandon(struct kb_report_folder *folder);

#ifdef __cplusplus
}
#endif
#endif
