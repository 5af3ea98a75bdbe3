/* desk.h - the pipeline held open, so that a person can look at its fields and correct them. */
#ifndef KB_DESK_H
#define KB_DESK_H

#include "keelblock/keelblock.h"
#include "keelblock/review.h"

struct kb_desk_params {
    int threads;      /* that measure in the background; 0: as many as the machine has */
    uint64_t most_px; /* bytes of pixels to keep, beyond those of two fields: 768 million */
};
struct kb_desk_params kb_desk_params_default(void);

struct kb_desk;
/* Open the fields under `settings` (its by_hand come before those of the record; asked is not
 * used), and the record in settings->out_folder, which need not exist yet. Everything that the
 * settings point to must outlive the desk. No field is measured when this returns: that goes on in
 * the background. */
KB_NODISCARD enum kb_status kb_desk_open(const struct kb_settings_field *field, size_t fields,
                                         const struct kb_settings *settings,
                                         const struct kb_desk_params *params, struct kb_desk **desk,
                                         struct kb_err *err);
/* For the page's server. */
struct kb_review_desk kb_desk_interface(struct kb_desk *desk);
/* Whoever waits is sent on, and nothing new is begun: before the server is stopped. */
void kb_desk_shut(struct kb_desk *desk);
void kb_desk_close(struct kb_desk *desk); /* NULL is fine */
/* Until every field has been tried. */
void kb_desk_settle(struct kb_desk *desk);

#endif
