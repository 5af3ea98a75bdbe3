/* batch.h - the document of a batch: its specimens side by side, each with figures and verdict, and
 * the verdict of the batch; and its writers.   ... > judge > REPORT (beside report.h)
 *
 * A batch may have ten thousand fields, so the document holds no fields: a row a specimen, and
 * `open` for whoever wants the whole of one, one at a time. Nothing in it depends on when, where or
 * in how many parts the fields were measured: the same pictures, settings and version give the same
 * bytes. That is why it bears no date; a paper that needs one takes `made_at`.
 */
#ifndef KEELBLOCK_BATCH_H
#define KEELBLOCK_BATCH_H

#include "keelblock/report.h"

#ifdef __cplusplus
extern "C" {
#endif

/* A field that could not be measured, and why. */
struct kb_batch_fault {
    char *path;            /* as the manifest means it, from the manifest's folder */
    enum kb_status status; /* KB_E_INPUT, KB_E_UNFIT, KB_E_USAGE or KB_E_SYSTEM */
    char *text;            /* what failed, then what to do; lower case, no full stop */
};

/* One specimen's row. */
struct kb_batch_specimen {
    char *id;          /* never NULL; unique within its batch */
    char *folder;      /* its folder beside batch.json: a name without '/' */
    char *grade;       /* as the manifest states it, NULL: not stated */
    char *casting;     /* type of casting: the series that is charted; NULL: not stated */
    double section_mm; /* section thickness that the manifest states; NaN: not stated */
    int first_row;     /* of the manifest, 1 is the header */
    enum kb_material material;
    size_t fields; /* in all, with those that could not be measured */
    struct kb_batch_fault
        *fault; /* fields that could not be measured; none: the specimen is judged */
    size_t faults;
    /* A specimen with a fault stays unjudged: everything below is then unmeasured or zeroed. */
    bool judged;                              /* measured as a whole; its verdict may be "none" */
    struct kb_estimate figure[KB_QUANTITIES]; /* in the unit shown to readers */
    struct kb_judgement judgement;            /* limits, outcomes, verdict */
    struct kb_chemistry chemistry;            /* as given; NaN not given */
    enum kb_agreement carbon_agreement;       /* carbon of the structure with that of chemistry */
    enum kb_fitness fitness;                  /* the worst of its fields */
    size_t particles;                         /* counting ones */
    double area_mm2;    /* of the fields used for graphite; NaN without scale */
    size_t findings[3]; /* of specimen and fields, by enum kb_severity */
    size_t more_fields; /* that would decide what is undecided; 0: cannot be said, or decided */
};

/* What customer and laboratory want to read on a certificate. Views; NULL: not stated. */
struct kb_certificate_words {
    const char *title;         /* in place of "Certificate of conformity" */
    const char *statement;     /* the customer's wording */
    const char *part, *order;  /* what was cast; number of the order */
    const char *specification; /* that the limits come from, with its clause */
    const char *number;        /* of the certificate; NULL: made of the batch's digest */
    const char *approved_by;   /* name below the second line to sign on */
};

struct kb_batch {
    char *name;                                  /* of the batch */
    char *laboratory, *operator_name, *customer; /* of its first specimen that states them; NULL */
    char made_at[32];                            /* local time, ISO 8601; not in batch.json */
    char *manifest;                              /* its file name, without folders */
    char manifest_sha256[65];
    struct kb_batch_specimen *specimen; /* in the order of the manifest */
    size_t specimens;
    size_t fields;                           /* of all specimens */
    struct kb_batch_judgement judgement;     /* see judge.h */
    struct kb_certificate_words certificate; /* each of its first specimen that states it */
    struct kb_house_mark house_mark;         /* the same; owned */
    enum kb_paper paper;                     /* of its PDFs; KB_PAPER_NONE: there are none */
    enum kb_language language;               /* of its pages */
    /* The register that this batch has just been added to, for charts on its page
     * (kb_report_history_chart); NULL: none. A view. */
    struct kb_register *history;
    /* The whole result of one specimen, as `measure` would give it, with the small pictures of each
     * field where they were wanted (not for specimens of more than 60 fields), without overlay
     * files, and of the particles those that count, with state, size, shape factor, form and box
     * only. `made_at` in it is empty. Release it with kb_result_release() before the next: memory
     * stays flat. KB_E_USAGE for a specimen with faults. Not for several threads at once. */
    enum kb_status (*open)(void *context, size_t specimen, struct kb_result *result,
                           struct kb_err *err);
    void *context;
};
KB_API void kb_batch_specimen_release(struct kb_batch_specimen *specimen);
KB_API void kb_batch_release(struct kb_batch *batch);

/* ---- writers to memory -------------------------------------------------------------------------
 * Each appends to `out`, as those in report.h. */

/* batch.json, schema "keelblock.batch/1". */
KB_API KB_NODISCARD enum kb_status kb_report_batch_json(const struct kb_batch *batch,
                                                        struct kb_text *out, struct kb_err *err);
/* specimens.csv: a row a specimen, value and both ends of the interval a quantity. */
KB_API KB_NODISCARD enum kb_status kb_report_batch_specimens_csv(const struct kb_batch *batch,
                                                                 struct kb_text *out,
                                                                 struct kb_err *err);
/* fields.csv: a row a field of every specimen, in the columns of a specimen's fields.csv behind
 * `batch` and `specimen`; at the end why a field was not measured. Opens one specimen after the
 * other. */
KB_API KB_NODISCARD enum kb_status
kb_report_batch_fields_csv(const struct kb_batch *batch, struct kb_text *out, struct kb_err *err);
/* The table for a terminal: a line a specimen, what stands in the way of a verdict, the verdict of
 * the batch last. */
KB_API KB_NODISCARD enum kb_status kb_report_batch_table(const struct kb_batch *batch, int columns,
                                                         bool colour, struct kb_text *out,
                                                         struct kb_err *err);
/* The batch's page: verdict first, its specimens, what stands over all of them, with links to each
 * specimen's own page in its folder. Opens one specimen after the other. */
KB_API KB_NODISCARD enum kb_status kb_report_batch_html(const struct kb_batch *batch,
                                                        struct kb_text *out, struct kb_err *err);
/* One sheet for the customer: a certificate of conformity, or a statement that the requirements are
 * not met, or, while the batch is undecided or not wholly measured, that there is no certificate
 * and why. KB_E_USAGE for a batch without limits, and for wording that a sheet does not take: more
 * than KB_STATEMENT_MOST characters of the statement, 160 of another slot, 80 of title, number and
 * names. */
#define KB_STATEMENT_MOST 900
KB_API KB_NODISCARD enum kb_status
kb_report_certificate_html(const struct kb_batch *batch, struct kb_text *out, struct kb_err *err);

/* ---- files -------------------------------------------------------------------------------------
 */

/* Into `folder` (made if missing): for every specimen its folder with result.json and report.html,
 * then fields.csv, specimens.csv, report.html of the batch, certificate.html where there are
 * limits, with `paper` all pages as PDF too, and, last, batch.json. Each file appears whole or not
 * at all; a run that ends in between leaves the batch.json of the run before. A page of the batch
 * that says the same as before keeps its date. */
KB_API KB_NODISCARD enum kb_status kb_report_batch_folder(const struct kb_batch *batch,
                                                          const char *folder, struct kb_err *err);

#ifdef __cplusplus
}
#endif
#endif
