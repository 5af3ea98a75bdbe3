/* record_priv.h - lines of a record, and what they do to what is in force. */
#ifndef KB_RECORD_PRIV_H
#define KB_RECORD_PRIV_H

#include "keelblock/review.h"

#include <jansson.h>

#define KB_REVIEW_STAGE "review"
#define KB_COUNT_OF(array) (sizeof(array) / sizeof(array)[0])

/* JSON to the end of `text`, with flags of jansson; false when memory is out or there is none. */
bool kb_review_dump(const json_t *json, size_t flags, struct kb_text *text);

/* A line without its end, new text; "link" is what the entry follows. */
KB_NODISCARD enum kb_status kb_record_line(const struct kb_record_entry *entry, const char *link,
                                           struct kb_text *line, struct kb_err *err);
/* The entry of a line, zeroed on failure; `link` gets what the line says it follows. `number` of
 * the line and `path` stand in errors. */
KB_NODISCARD enum kb_status kb_record_parse(const char *line, size_t length, const char *path,
                                            size_t number, struct kb_record_entry *entry,
                                            char link[65], struct kb_err *err);
/* NULL when the entry is a whole one of its kind; else what is wrong with it. */
const char *kb_record_flaw(const struct kb_record_entry *entry);
/* Whether a field's path ends in `end`, in whole steps. */
bool kb_record_names(const char *path, const char *end);
bool kb_record_is_change(enum kb_record_kind kind);
KB_NODISCARD bool kb_record_copy(const struct kb_record_entry *from, struct kb_record_entry *to);
void kb_record_entry_release(struct kb_record_entry *entry);
/* Take an entry over as the last one: what is in force follows. KB_E_USAGE for an undo or redo of
 * what cannot be; the record and the entry are then as they were. */
KB_NODISCARD enum kb_status kb_record_take(struct kb_record *record, struct kb_record_entry *entry,
                                           struct kb_err *err);

#endif
