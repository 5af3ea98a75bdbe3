/* batch_priv.h - what the writers of a batch share. */
#ifndef KB_BATCH_PRIV_H
#define KB_BATCH_PRIV_H

#include "report_priv.h"

#include "keelblock/batch.h"

/* "unfit", "unusable", "settings", "system": why a field was not measured. */
const char *kb_fault_word(enum kb_status status);
/* "accept", "reject", "undecided", "none", or "unjudged" for one with faults. */
const char *kb_batch_verdict_word(const struct kb_batch_specimen *specimen);
/* fields.csv, a piece for each specimen, so that the whole is never in memory. `specimen` is a
 * place in the batch. */
void kb_batch_fields_csv_header(struct kb_text *out);
enum kb_status kb_batch_fields_csv_specimen(const struct kb_batch *batch, size_t specimen,
                                            const struct kb_result *result, struct kb_text *out,
                                            struct kb_err *err);

#endif
