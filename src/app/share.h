/* share.h - what one field adds to a batch, kept on disk: the figures of a field without its
 * pictures, so that it is measured once however often the batch is stopped, started, split between
 * machines or judged anew. */
#ifndef KB_SHARE_H
#define KB_SHARE_H

#include "pack.h"
#include "pipeline_priv.h"

/* A file name without folder or ending: 64 hexadecimal digits. */
#define KB_SHARE_NAME 65

struct kb_share {
    struct kb_field_result *field;
    struct kb_moved *moved; /* NULL: thresholds are not moved */
    struct kb_by_hand
        *hand; /* all of the specimen's; what came of those about this field is kept */
    size_t hands;
    size_t index; /* of the field in its specimen */
};

/* The name under which the field of these bytes, under these settings, by this version is kept.
 * `named` and `index` as in the plan. */
KB_NODISCARD enum kb_status kb_share_name(const struct kb_plan *plan, size_t index,
                                          const char *picture_sha256, const char *blank_sha256,
                                          char name[KB_SHARE_NAME], struct kb_err *err);
/* Into `folder` as NAME.share, whole or not at all; before it, where the field has small pictures,
 * those as NAME.pictures. */
KB_NODISCARD enum kb_status kb_share_write(const char *folder, const char *name,
                                           const struct kb_share *share, struct kb_err *err);
/* Whether a sound share of this name is there, and pictures when they are wanted. */
bool kb_share_is_there(const char *folder, const char *name, bool pictures);
/* The small pictures of a share into its field, which is left without when there are none. */
void kb_share_read_pictures(const char *folder, const char *name, struct kb_field_result *field);
/* Back into zeroed slots; KB_E_INPUT when it is not there or damaged, the slots are then as they
 * were. The particles hold what counts only: see batch.h. */
KB_NODISCARD enum kb_status kb_share_read(const char *folder, const char *name,
                                          struct kb_words *words, const struct kb_share *share,
                                          struct kb_err *err);

/* share_pack.c: the bytes of a share; those of its pictures. */
void kb_share_pack(struct kb_pack *pack, const struct kb_share *share);
void kb_share_pack_pictures(struct kb_pack *pack, struct kb_field_result *field);
/* share_settings.c: all that decides what is measured in a field, as bytes. */
void kb_share_pack_settings(struct kb_pack *pack, const struct kb_plan *plan, size_t index);
/* SHA-256 of some bytes, in lower-case hexadecimal. */
void kb_share_digest(const void *bytes, size_t size, char hex[65]);

#endif
