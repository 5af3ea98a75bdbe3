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
/* What a line says was done, a sentence without its end: "left out 40 x 30 pixels at 12,7". */
KB_API void kb_record_words(const struct kb_record_entry *entry, char *to, size_t size);
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

/* ---- tiles -------------------------------------------------------------------------------------
 * A picture at every size: level 0 is the picture, each further one half as wide and high, rounded
 * up. Tiles are cut on demand, so that a picture of a hundred megapixels costs no more than a
 * small one; from the fourth halving on they come from a base that is made at the first call. */

#define KB_TILE_SIDE 256

enum kb_pyramid_kind {
    KB_PYRAMID_MEAN, /* grey: mean of the pixels, rounded half up */
    KB_PYRAMID_MOST /* labels: the most frequent of the four at each halving, the first of equals */
};
struct kb_pyramid;
/* Over a picture that must outlive it and not change. KB_E_MEMORY only. */
KB_API KB_NODISCARD enum kb_status kb_pyramid_make(const struct kb_image *picture,
                                                   enum kb_pyramid_kind kind,
                                                   struct kb_pyramid **pyramid, struct kb_err *err);
KB_API void kb_pyramid_release(struct kb_pyramid *pyramid);     /* NULL is fine */
KB_API int kb_pyramid_levels(const struct kb_pyramid *pyramid); /* until it is one pixel */
/* Tile (x, y) of a level, rows without gaps; *width and *height are less than KB_TILE_SIDE at the
 * right and lower edge. KB_E_INPUT for a tile that is not there. From any thread. */
KB_API KB_NODISCARD enum kb_status kb_pyramid_tile(struct kb_pyramid *pyramid, int64_t level,
                                                   int64_t x, int64_t y,
                                                   uint8_t to[KB_TILE_SIDE * KB_TILE_SIDE],
                                                   int32_t *width, int32_t *height,
                                                   struct kb_err *err);

/* ---- the desk ----------------------------------------------------------------------------------
 * What the review page asks of whoever holds the fields open. The page itself measures nothing. */

/* A field as it was when it was asked for. It stays so until it is let go, whatever is measured
 * meanwhile. */
struct kb_review_view {
    uint64_t revision;                     /* of its labels; counts up */
    struct kb_pyramid *grey, *evened;      /* evened: NULL unless it was asked for */
    struct kb_pyramid *label;              /* NULL: the field could not be measured */
    const struct kb_field_result *figures; /* NULL: the same */
    const struct kb_particles *particles;  /* with runs and outlines; NULL: steel, or the same */
    void *held;                            /* the desk's own */
};

/* State of a field in the document. */
struct kb_review_field {
    const char *path;
    uint64_t revision;
    const struct kb_field_result *figures; /* NULL: not measured (yet) */
    const struct kb_err *error; /* why it could not be measured; NULL: it was, or will be */
};

/* All that the page shows beside pictures. Views. */
struct kb_review_sheet {
    uint64_t revision;
    const struct kb_result *result; /* words, specimen, judgement, by_hand; not its fields */
    bool concluded;                 /* the specimen's figures hold: every field is measured */
    const struct kb_review_field *field;
    size_t fields;
    const struct kb_record *record;
    const struct kb_seal *seal;
};
/* The state of the page. */
KB_API KB_NODISCARD enum kb_status kb_review_state(const struct kb_review_sheet *sheet,
                                                   struct kb_text *out, struct kb_err *err);
/* {"key": value} of the specimen's figures, for the record; out stays empty unless concluded. */
KB_API KB_NODISCARD enum kb_status kb_review_figures(const struct kb_review_sheet *sheet,
                                                     struct kb_text *out, struct kb_err *err);

/* A change as the page asks for it. */
struct kb_review_change {
    struct kb_record_entry draft; /* `field` is not used */
    const size_t *field;          /* 0-based */
    size_t fields;
};

/* Called from several threads at once. KB_E_USAGE and KB_E_UNFIT go to the person as they are. */
struct kb_review_desk {
    void *context;
    size_t fields;
    /* Append the state as JSON. */
    enum kb_status (*state)(void *context, struct kb_text *out, struct kb_err *err);
    /* The revision, as soon as it is greater than `after`, or after so many seconds. */
    uint64_t (*wait)(void *context, uint64_t after, double seconds);
    /* Measures the field first where it is not at hand. let_go() exactly once when KB_OK. */
    enum kb_status (*look)(void *context, size_t field, bool evened, struct kb_review_view *view,
                           struct kb_err *err);
    void (*let_go)(void *context, struct kb_review_view *view);
    /* A small picture of the field, JPEG, appended. */
    enum kb_status (*thumb)(void *context, size_t field, struct kb_text *out, struct kb_err *err);
    enum kb_status (*why)(void *context, size_t field, struct kb_place place,
                          struct kb_explained *out, struct kb_err *err);
    enum kb_status (*change)(void *context, const struct kb_review_change *change,
                             struct kb_err *err);
    enum kb_status (*undo)(void *context, const char *who, struct kb_err *err);
    enum kb_status (*redo)(void *context, const char *who, struct kb_err *err);
    enum kb_status (*sign)(void *context, const char *who, const char *remark, struct kb_err *err);
    /* Append report.html of the folder; KB_E_INPUT when there is none. */
    enum kb_status (*report)(void *context, struct kb_text *out, struct kb_err *err);
};

/* ---- the server --------------------------------------------------------------------------------
 */

struct kb_review_server;
/* Serve the page on this machine alone, on a free port, under an address that cannot be guessed.
 * `desk` must outlive the server. KB_E_SYSTEM when the system has no port or no random numbers. */
KB_API KB_NODISCARD enum kb_status kb_review_start(const struct kb_review_desk *desk,
                                                   struct kb_review_server **server,
                                                   struct kb_err *err);
KB_API const char *kb_review_address(const struct kb_review_server *server); /* http://... */
/* Ends every connection; desk->wait() must return soon. */
KB_API void kb_review_stop(struct kb_review_server *server);

#ifdef __cplusplus
}
#endif
#endif
