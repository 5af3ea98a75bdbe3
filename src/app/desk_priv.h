/* desk_priv.h - what the desk keeps of a field, in layers, each with what it depends on.
 *
 *   picture   the file as read, and the first look       by scale
 *   found     phases and preparation as found            by picture, exclusions, thresholds
 *   measured  particles, figures, findings: small        by found and everything else by hand
 *   pixels    labels and lines of `measured`, for the eye
 *
 * A change makes new ones of the layers that depend on it and shares the others. Each is counted by
 * those who hold it and never changes once it is shared.
 */
#ifndef KB_DESK_PRIV_H
#define KB_DESK_PRIV_H

#include "desk.h"
#include "pipeline_priv.h"

#include <pthread.h>
#include <stdatomic.h>

/* ---- layers (desk_hold.c) ----------------------------------------------------------------------
 */

struct kb_desk_picture {
    atomic_int held;
    struct kb_text key;
    struct kb_field field;
    struct kb_first_look look;
    enum kb_contrast contrast;
    struct kb_contrast_found contrast_found;
    struct kb_err error; /* why the first look could not settle the contrast; KB_OK: it did */
    struct kb_pyramid *pyramid;
};

struct kb_desk_found {
    atomic_int held;
    struct kb_text key;
    struct kb_desk_picture *picture;
    struct kb_phase_map map;
    struct kb_quality quality;
    bool unfit_accepted;
    struct kb_pyramid *label, *evened;
};

struct kb_desk_pixels {
    atomic_int held;
    struct kb_desk_picture *picture;
    struct kb_desk_found *found; /* NULL: it did not come so far */
    struct kb_image own_label;   /* where phases were set by hand; else empty */
    struct kb_pyramid *own;
    struct kb_particles lines; /* runs and outlines only */
};

struct kb_desk_measured {
    atomic_int held;
    struct kb_text key;
    struct kb_field_result out;
    bool seen;                  /* the picture could be read: size, scale and marks hold */
    struct kb_err error;        /* KB_OK: measured */
    struct kb_by_hand *outcome; /* decisions about this field, with what came of them; views */
    size_t outcomes;
    struct kb_moved moved;
    uint64_t revision;
};

struct kb_desk_picture *kb_desk_picture_hold(struct kb_desk_picture *picture);
struct kb_desk_found *kb_desk_found_hold(struct kb_desk_found *found);
struct kb_desk_pixels *kb_desk_pixels_hold(struct kb_desk_pixels *pixels);
struct kb_desk_measured *kb_desk_measured_hold(struct kb_desk_measured *measured);
/* NULL is fine. */
void kb_desk_picture_drop(struct kb_desk_picture *picture);
void kb_desk_found_drop(struct kb_desk_found *found);
void kb_desk_pixels_drop(struct kb_desk_pixels *pixels);
void kb_desk_measured_drop(struct kb_desk_measured *measured);
uint64_t kb_desk_pixels_size(const struct kb_desk_pixels *pixels); /* bytes */

/* ---- decisions by hand (desk_hands.c) ----------------------------------------------------------
 */

/* All in force, each with its field. */
struct kb_desk_hands {
    atomic_int held;
    struct kb_result list; /* by_hand only */
    size_t fresh;          /* from this one on they are those of the line that is tried */
};
struct kb_desk_hands *kb_desk_hands_hold(struct kb_desk_hands *hands);
void kb_desk_hands_drop(struct kb_desk_hands *hands);
/* The settings' own, then those of the record with `extra`, a line that is tried (NULL: none). */
enum kb_status kb_desk_hands_make(const struct kb_desk *desk, const struct kb_record_entry *extra,
                                  struct kb_desk_hands **hands, struct kb_err *err);
/* What the layers of field `index` depend on, as text that is equal when they are. */
enum kb_desk_layer { KB_DESK_PICTURE, KB_DESK_FOUND, KB_DESK_MEASURED };
bool kb_desk_key(const struct kb_desk_hands *hands, size_t index, enum kb_desk_layer layer,
                 struct kb_text *key);
bool kb_desk_same_key(const struct kb_text *a, const struct kb_text *b);

/* ---- measuring one field (desk_measure.c) ------------------------------------------------------
 */

struct kb_desk_job {
    size_t index;
    struct kb_desk_hands *hands;
    struct kb_desk_pixels *before; /* layers to share; NULL: none */
    /* Made: */
    struct kb_desk_measured *measured;
    struct kb_desk_pixels *pixels; /* NULL: the picture could not be read */
};
/* Measures; a field that cannot be measured is no failure, its error stands in `measured`.
 * KB_E_MEMORY only. */
enum kb_status kb_desk_measure(const struct kb_desk *desk, struct kb_desk_job *job,
                               struct kb_err *err);
/* The way of a point of the field, measured for it. */
enum kb_status kb_desk_explain(const struct kb_desk *desk, const struct kb_desk_job *job,
                               struct kb_place place, struct kb_explained *out, struct kb_err *err);

/* ---- the specimen (desk_sheet.c) ---------------------------------------------------------------
 */

/* Figures of the specimen from those of all fields. */
struct kb_desk_sheet {
    struct kb_result result; /* fields are views of `measured` */
    struct kb_desk_measured **measured;
    size_t fields;
    bool concluded;
    uint64_t generation; /* of the fields that it is of */
    struct kb_err error; /* why it could not be concluded */
};
/* `measured` NULL or one of them without figures: not concluded. KB_E_MEMORY only. */
enum kb_status kb_desk_sheet_make(const struct kb_desk *desk, struct kb_desk_hands *hands,
                                  struct kb_desk_measured *const *measured,
                                  struct kb_desk_sheet **sheet, struct kb_err *err);
void kb_desk_sheet_release(struct kb_desk_sheet *sheet);

/* ---- the desk ----------------------------------------------------------------------------------
 */

struct kb_desk_slot {
    struct kb_desk_measured *measured; /* NULL: not yet */
    struct kb_desk_pixels *pixels;     /* NULL: let go, or not yet */
    uint64_t looked;                   /* when it was looked at last; 0: never */
    bool wanted;                       /* somebody waits for its pixels */
    bool busy;                         /* being measured in the background */
    uint8_t *thumb;
    size_t thumb_size;
    uint64_t thumb_revision;
};

struct kb_desk {
    struct kb_settings settings;
    struct kb_desk_params params;
    struct kb_plan plan;
    char *folder;
    pthread_mutex_t change; /* one change at a time; taken before `lock` */
    pthread_mutex_t lock;   /* over all that follows; never held while measuring */
    pthread_cond_t news;
    bool shut;
    struct kb_record record; /* written under both locks */
    struct kb_seal seal;
    struct kb_desk_hands *hands;
    struct kb_desk_slot *slot;
    uint64_t looks, generation, revision, label_revision;
    struct kb_desk_sheet *sheet;
    bool sealing;    /* the seal is still to be compared */
    uint64_t sealed; /* how often the seal was made or broken */
    bool concluding; /* a thread is at the specimen */
    pthread_t *thread;
    int threads;
};

/* desk_work.c: threads that measure what is not measured, what is looked at first. */
enum kb_status kb_desk_work_begin(struct kb_desk *desk, struct kb_err *err);
void kb_desk_work_end(struct kb_desk *desk);
/* Under the lock: a new state of field `index`, which takes both over; pixels that were not looked
 * at for long are let go. */
void kb_desk_install(struct kb_desk *desk, size_t index, struct kb_desk_measured *measured,
                     struct kb_desk_pixels *pixels);
/* Without the lock: a stamp of the field at a revision, unless there is one of a later. */
void kb_desk_draw_thumb(struct kb_desk *desk, size_t index, const struct kb_desk_pixels *pixels,
                        uint64_t revision);
/* Under the lock: whoever waits for news gets it. */
void kb_desk_tell(struct kb_desk *desk);
bool kb_desk_stale(const struct kb_desk *desk, size_t index);

/* Under the lock: the seal was over a record without the line that it has now (desk_change.c). */
void kb_desk_break_seal(struct kb_desk *desk);

/* desk_look.c, desk_change.c, desk_sign.c: the interface. */
enum kb_status kb_desk_look(void *context, size_t field, bool evened, struct kb_review_view *view,
                            struct kb_err *err);
void kb_desk_let_go(void *context, struct kb_review_view *view);
enum kb_status kb_desk_thumb(void *context, size_t field, struct kb_text *out, struct kb_err *err);
enum kb_status kb_desk_why(void *context, size_t field, struct kb_place place,
                           struct kb_explained *out, struct kb_err *err);
enum kb_status kb_desk_state(void *context, struct kb_text *out, struct kb_err *err);
uint64_t kb_desk_wait(void *context, uint64_t after, double seconds);
enum kb_status kb_desk_change(void *context, const struct kb_review_change *change,
                              struct kb_err *err);
enum kb_status kb_desk_undo(void *context, const char *who, struct kb_err *err);
enum kb_status kb_desk_redo(void *context, const char *who, struct kb_err *err);
enum kb_status kb_desk_sign(void *context, const char *who, const char *remark, struct kb_err *err);
enum kb_status kb_desk_report(void *context, struct kb_text *out, struct kb_err *err);
/* Under the lock: what the page shows; `field` has room for all. */
void kb_desk_show(const struct kb_desk *desk, struct kb_review_field *field,
                  struct kb_review_sheet *sheet);

#endif
