/* batch_run.h - a batch on its way: which fields, what became of each, specimens from shares. */
#ifndef KB_BATCH_RUN_H
#define KB_BATCH_RUN_H

#include "share.h"

/* One field of the run and what became of it. */
struct kb_batch_field {
    size_t specimen, index; /* its specimen in the order; its place among the specimen's fields */
    char share[KB_SHARE_NAME]; /* "": not measured */
    enum kb_status status;     /* why not; KB_OK: not looked at yet, or measured */
    char *text;
};

struct kb_batch_run {
    const struct kb_order *order;
    struct kb_plan *plan;         /* one a specimen; without blank field, folder and hands */
    char (*blank_sha256)[65];     /* one a specimen; "" without blank field */
    struct kb_batch_field *field; /* of all specimens, in their order */
    size_t fields;
    size_t *first;               /* of each specimen its first field; one more at the end */
    char plan_sha256[65];        /* of the names of all fields and the settings that measure them */
    char *shares;                /* folder */
    struct kb_words words;       /* of the shares that were read */
    struct kb_register *history; /* a view; NULL: none */
};

/* batch_plan.c: settings checked, names and patterns expanded; opens no picture but the blank
 * field. A name that means no file stays as a field that will fail. Release also on failure. */
KB_NODISCARD enum kb_status kb_batch_plan(const struct kb_order *order, struct kb_batch_run *run,
                                          struct kb_err *err);
void kb_batch_run_release(struct kb_batch_run *run);
/* The specimen's plan with its decisions by hand, which live in `scratch`; a shallow copy. */
KB_NODISCARD enum kb_status kb_batch_plan_hands(const struct kb_batch_run *run, size_t specimen,
                                                struct kb_plan *plan, struct kb_result *scratch,
                                                struct kb_err *err);

/* batch_measure.c: measure what is missing of the order's part, in parallel. */
KB_NODISCARD enum kb_status
kb_batch_measure(struct kb_batch_run *run, const struct kb_batch_watch *watch, struct kb_err *err);
/* Whether the pages of a specimen of so many fields show pictures. */
bool kb_batch_shows_pictures(const struct kb_order_specimen *specimen, size_t fields);
/* Whether the field belongs to the part of the order. */
bool kb_batch_is_mine(const struct kb_order *order, size_t field);

/* batch_list.c: what became of the fields of a part, on disk beside the shares. */
KB_NODISCARD enum kb_status kb_batch_list_write(const struct kb_batch_run *run, struct kb_err *err);
/* Those of all parts; KB_E_INPUT naming the parts that are missing. */
KB_NODISCARD enum kb_status kb_batch_list_read(struct kb_batch_run *run, struct kb_err *err);

/* batch_join.c: batches from shares, written. */
KB_NODISCARD enum kb_status kb_batch_join(struct kb_batch_run *run,
                                          const struct kb_batch_watch *watch, struct kb_err *err);

/* batch_names.c: a name as a folder's: '/' and what file systems dislike become '-'; apart from
 * `taken` by a number behind it. New memory. */
char *kb_batch_folder_name(const char *name, char *const *taken, size_t count);

#endif
