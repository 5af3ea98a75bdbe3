/* keelblock.h - the whole way in one call.
 *
 *     struct kb_settings settings = kb_settings_default(KB_DUCTILE_IRON, KB_LIGHT);
 *     struct kb_result result;
 *     kb_measure_file("field.tif", &settings, &result, &err);
 *
 * Link with -lkeelblock (pkg-config keelblock).
 */
#ifndef KEELBLOCK_KEELBLOCK_H
#define KEELBLOCK_KEELBLOCK_H

#include "keelblock/batch.h"
#include "keelblock/report.h"
#include "keelblock/version.h"

#ifdef __cplusplus
extern "C" {
#endif

struct kb_settings_field {
    const char *path; /* view: file, folder or shell pattern */
    enum kb_contrast contrast;
    bool find_contrast; /* find it by evidence instead; a field that is not sure is refused */
};

/* A point that is asked about: why is it what it is? */
struct kb_asked {
    const char *field_name; /* path, end of a path or base name; NULL: in every field */
    struct kb_place place;
    const char *origin; /* static text: "job file", "command line" */
};

/* A value measured elsewhere. */
struct kb_given_value {
    double value; /* in the unit of the quantity; NaN: not given */
    double u;     /* standard uncertainty; 0: not stated */
};

/* Everything that decides a result. Strings and arrays are views that must outlive the call. */
struct kb_settings {
    enum kb_material material;
    struct kb_intake_params intake;
    struct kb_segmentation_params segmentation; /* material and contrast in it are set per field */
    struct kb_first_look_params first_look;
    bool accept_unfit; /* measure fields that the look at preparation finds not fit; said loudly */
    struct kb_morphology_params morphology;
    struct kb_specimen_params specimen;
    struct kb_carbon_params carbon;
    struct kb_chemistry chemistry;
    struct kb_given_value given[KB_GIVENS]; /* to be judged with what is measured here */
    const struct kb_limit *limit;
    size_t limits;
    enum kb_decision_rule rule;   /* by which the limits decide */
    struct kb_batch_params batch; /* of a batch; its decision_rule is the one above */
    const char *blank_path;       /* blank-field picture, or NULL */
    const char *specimen_id, *laboratory, *operator_name, *customer, *remark,
        *job_path;                           /* NULL: none */
    struct kb_certificate_words certificate; /* for the certificate of a batch */
    const char *batch_name, *casting;        /* for the register; NULL: not stated */
    const char *cast_on;            /* day or time of pouring, ISO 8601; NULL: not stated */
    const char *laboratory_picture; /* path of a PNG or JPEG for the report's head; NULL: none */
    const struct kb_setting_record *record; /* how each setting was arrived at, for the report */
    size_t records;
    /* Decisions by hand. A field name must fit one field: its path, or the end of it from a folder
     * on. Their exclusions come on top of segmentation.exclusion, which holds for every field;
     * forms take the place of morphology.by_hand. Thresholds are listed here for the report and set
     * in `segmentation`. */
    const struct kb_by_hand *by_hand;
    size_t by_hands;
    const struct kb_reviewed *reviewed; /* the record that decisions come from; NULL: none */
    const struct kb_asked *asked;       /* points whose way to their phase is to be told */
    size_t asked_count;
    const char *out_folder;    /* NULL: write nothing */
    bool pictures;             /* overlays and pictures in the report (only with out_folder) */
    enum kb_paper paper;       /* KB_PAPER_NONE: no report.pdf */
    enum kb_language language; /* of the pages */
    int threads;               /* 0: as many as the machine has */
};
KB_API struct kb_settings kb_settings_default(enum kb_material material, enum kb_contrast contrast);

/* Measure the fields of one specimen; with settings->out_folder also write the report there.
 * `progress` may be NULL. Release the result with kb_result_release(); it is zeroed on failure. */
KB_API KB_NODISCARD enum kb_status kb_measure(const struct kb_settings_field *field, size_t fields,
                                              const struct kb_settings *settings,
                                              const struct kb_progress *progress,
                                              struct kb_result *result, struct kb_err *err);
/* The same for one picture. */
KB_API KB_NODISCARD enum kb_status kb_measure_file(const char *path,
                                                   const struct kb_settings *settings,
                                                   struct kb_result *result, struct kb_err *err);

/* ---- batches -----------------------------------------------------------------------------------
 * Many specimens in one run that may be stopped at any moment and started again. What was measured
 * lies in `out_folder`/shares, one small file a field, named by picture, settings and version:
 * never measured twice, by whichever run or machine. */

struct kb_order_specimen {
    const char *batch, *id;      /* specimens of one batch side by side are written together */
    const char *grade;           /* NULL: not stated */
    double section_mm;           /* NaN: not stated */
    int row;                     /* where it stands in the manifest; 0: nowhere */
    struct kb_settings settings; /* out_folder NULL; threads and asked are not used */
    const struct kb_settings_field *field;
    size_t fields;
};

/* Which share of the work; see kb_measure_batches(). */
enum kb_batch_task {
    KB_TASK_ALL,   /* measure what is missing, judge, write */
    KB_TASK_PART,  /* measure one part of the fields, write nothing else */
    KB_TASK_MERGE, /* judge and write what parts have measured; no picture is opened */
};

/* All that is asked. Views that must outlive the call. */
struct kb_order {
    const char *manifest; /* shown in the documents; NULL: none */
    char manifest_sha256[65];
    const struct kb_order_specimen *specimen;
    size_t specimens;
    const char *out_folder;
    const char *history; /* register that every batch is added to; NULL: none */
    enum kb_batch_task task;
    int part, parts; /* KB_TASK_PART: 1 <= part <= parts */
    int threads;     /* 0: as many as the machine has */
};

/* Called for each batch when it is written; other than KB_OK ends the run. `failed`, in either
 * task, for each field that could not be measured. Members may be NULL. */
struct kb_batch_watch {
    const struct kb_progress *progress; /* of fields that have to be measured */
    void (*failed)(void *context, const char *specimen, const struct kb_batch_fault *fault);
    enum kb_status (*written)(void *context, const struct kb_batch *batch, const char *folder,
                              struct kb_err *err);
    void *context;
};

/* Measure and judge. Into out_folder/<batch>: see kb_report_batch_folder(). A field that cannot be
 * measured leaves its specimen unjudged and is no failure of the run; a full disk and the like end
 * it, and what was measured until then is kept. The result depends neither on the number of threads
 * nor on parts nor on interruptions, to the byte. KB_E_USAGE before anything is measured for
 * settings that cannot be. `watch` may be NULL. */
KB_API KB_NODISCARD enum kb_status kb_measure_batches(const struct kb_order *order,
                                                      const struct kb_batch_watch *watch,
                                                      struct kb_err *err);

#ifdef __cplusplus
}
#endif
#endif
