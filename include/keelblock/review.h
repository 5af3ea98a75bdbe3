/* review.h - look, correct, sign.   ... > report > REVIEW > app
 *
 * What a person did to a result, on record; the record back to decisions by hand, which the
 * pipeline obeys; the seal over a signed result.
 */
#ifndef KEELBLOCK_REVIEW_H
#define KEELBLOCK_REVIEW_H

#include "keelblock/report.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- the record --------------------------------------------------------------------------------
 * review.jsonl in the folder of a result: a line of JSON a change, only ever added to. Each line
 * carries the SHA-256 of the line before it, so that a line that was changed or taken out by other
 * means is found out. Undoing is a line of its own. */

#define KB_RECORD_NAME "review.jsonl"

enum kb_record_kind {
    KB_RECORD_THRESHOLDS, /* of some fields */
    KB_RECORD_EXCLUDE,    /* a rectangle or a free outline */
    KB_RECORD_CUT,        /* a stroke that parts the graphite under it */
    KB_RECORD_JOIN,       /* two particles are one */
    KB_RECORD_PHASE,      /* a region's phase */
    KB_RECORD_FORM,       /* a particle's form */
    KB_RECORD_SCALE,      /* a length drawn in the picture */
    KB_RECORD_UNDO,       /* takes a change out of force ... */
    KB_RECORD_REDO,       /* ... and back into it */
    KB_RECORD_SIGN,       /* name and remark of the person who stands for the result */
    KB_RECORD_KINDS
};
KB_API const char *kb_record_kind_name(enum kb_record_kind kind); /* "thresholds", ... */
KB_API KB_NODISCARD bool kb_record_kind_parse(const char *name, enum kb_record_kind *kind);

struct kb_record_entry {
    uint64_t seq; /* from 1, in the order of the file */
    char *at;     /* local time, ISO 8601 with offset */
    char *who;
    char *why; /* the reason; of a signature the remark; NULL: none was given */
    enum kb_record_kind kind;
    char **field; /* names of fields that it is about, as of kb_by_hand.field_name */
    size_t fields;
    struct kb_place *point; /* outline, stroke, ends or place: pixels of the upright picture */
    size_t points;
    struct kb_rect rect; /* KB_RECORD_EXCLUDE without points */
    enum kb_phase phase;
    enum kb_form form;
    double dark, bright;  /* grey levels of the file; NaN: as found */
    double length_um;     /* KB_RECORD_SCALE */
    uint64_t of;          /* KB_RECORD_UNDO, KB_RECORD_REDO: seq of the change */
    char *before, *after; /* figures around it, a JSON object each; NULL: none */
    bool active;          /* a change, and in force when all lines have been read */
};

struct kb_record {
    char *path;
    struct kb_record_entry *entry;
    size_t count, capacity;
    uint64_t *undone; /* seqs that can be taken back into force, the latest last */
    size_t undones, undones_capacity;
    char link[65];   /* SHA-256 of the last line; "" before the first */
    char sha256[65]; /* of the whole lines of the file */
    uint64_t length; /* bytes of them */
    bool torn;       /* the file ends in half a line: what was under way when a program was killed;
                        left out, and overwritten by the next line */
    int file;        /* -1: read only, or nothing written yet */
};

/* The record in a folder, to add to; no file: an empty record, and nothing is made before the first
 * line. The file is locked meanwhile: KB_E_SYSTEM when another program has it open. KB_E_INPUT with
 * the line's number for one that is no record or was changed. Release with kb_record_release(). */
KB_API KB_NODISCARD enum kb_status kb_record_open(const char *folder, struct kb_record *record,
                                                  struct kb_err *err);
/* A record file, to read only. */
KB_API KB_NODISCARD enum kb_status kb_record_read(const char *path, struct kb_record *record,
                                                  struct kb_err *err);
KB_API void kb_record_release(struct kb_record *record);

/* Add a line: copies of what `draft` holds (its seq and active are not used). On disk (fsync) when
 * this returns KB_OK; otherwise file and record are as they were. KB_E_USAGE for a draft that is no
 * whole change, and for an undo or redo of what cannot be. */
KB_API KB_NODISCARD enum kb_status
kb_record_append(struct kb_record *record, const struct kb_record_entry *draft, struct kb_err *err);
/* What an undo or a redo would be about now: a seq, or 0. Redo: until another change is made. */
KB_API uint64_t kb_record_undoable(const struct kb_record *record);
KB_API uint64_t kb_record_redoable(const struct kb_record *record);
KB_API size_t kb_record_in_force(const struct kb_record *record); /* changes */
/* The last signature, when nothing was changed after it; else NULL. */
KB_API const struct kb_record_entry *kb_record_signature(const struct kb_record *record);

/* The changes in force as decisions by hand, in the order in which they were made; of several about
 * the same thing (a field's thresholds, its scale, the same point) the last one only. An `extra`
 * line is taken as if it stood at the end (NULL: none), so that it can be tried before it is
 * appended. New array, to be released with kb_free(); its strings and points are views into
 * `record` and `extra`. */
KB_API KB_NODISCARD enum kb_status kb_record_hands(const struct kb_record *record,
                                                   const struct kb_record_entry *extra,
                                                   struct kb_by_hand **hand, size_t *count,
                                                   struct kb_err *err);
/* The shortest end of path i, in whole steps, that no other path ends in; a view. */
KB_API const char *kb_record_field_name(const char *const *path, size_t count, size_t i);

/* ---- the seal ----------------------------------------------------------------------------------
 * seal.json in the folder of a result: digests of everything that was signed. It tells whether
 * something was changed since, not who signed: whoever can write in the folder can write a seal. */

#define KB_SEAL_NAME "seal.json"

enum kb_seal_state {
    KB_SEAL_SAME,
    KB_SEAL_CHANGED,
    KB_SEAL_MISSING /* it is not where it was: a picture that was moved cannot be compared */
};

struct kb_seal_item {
    char *name; /* file in the folder, or the picture as the result names it */
    bool picture;
    char sha256[65]; /* when it was sealed */
    enum kb_seal_state state;
};

struct kb_seal {
    bool exists; /* false: the result was never signed; all else is empty */
    char *who, *remark;
    char at[32];
    char digest[65]; /* over all of the above and of the items */
    bool digest_fits;
    struct kb_seal_item *item;
    size_t items, capacity;
    bool intact;
};

/* Seal the result in `folder`: all its files and the pictures that result.json names. Whole or not
 * at all. KB_E_INPUT for a folder without result.json, and for a picture that cannot be found. */
KB_API KB_NODISCARD enum kb_status kb_seal_write(const char *folder, const char *who,
                                                 const char *remark, const char *at,
                                                 struct kb_err *err);
/* Compare a sealed result with its seal. Release with kb_seal_release(). KB_E_INPUT for a seal that
 * cannot be read. */
KB_API KB_NODISCARD enum kb_status kb_seal_verify(const char *folder, struct kb_seal *seal,
                                                  struct kb_err *err);
KB_API void kb_seal_release(struct kb_seal *seal);

/* Where the picture of a result lies: `path` as it stands, or else from the result's folder or one
 * of those around it; new memory, NULL when there is none (or no memory). */
KB_API KB_NODISCARD char *kb_find_picture(const char *folder, const char *path);

#ifdef __cplusplus
}
#endif
#endif
