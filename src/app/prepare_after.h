/* prepare_after.h - what a measurement found of the preparation, for `keelblock prepare`. */
#ifndef KB_PREPARE_AFTER_H
#define KB_PREPARE_AFTER_H

#include "request.h"

/* What one result says. */
struct kb_after {
    enum kb_material material;
    char *specimen;      /* name; NULL: it has none */
    double hardness_hbw; /* measured elsewhere and given along; NaN: not */
    double hardness_hv;
    struct kb_prepare_seen seen[KB_CHECKS];
    size_t count;
};

/* Read the result.json at `path`, or in the folder. KB_E_INPUT when it is none, or too old to tell
 * of its preparation. Release also after a failure. */
KB_NODISCARD enum kb_status kb_after_read(const char *path, struct kb_after *after,
                                          struct kb_err *err);
void kb_after_release(struct kb_after *after);

#endif
