/* review_verify.h - whether a signed result is still what was signed. */
#ifndef KB_REVIEW_VERIFY_H
#define KB_REVIEW_VERIFY_H

#include "keelblock/review.h"

/* What the seal of the result at `path` (its folder, or result.json in it) says, to stdout unless
 * `quiet`. The exit code: 0 unchanged since it was signed, 1 changed or never signed, 3 and 4 as
 * for other errors, which go to stderr. */
int kb_review_verify(const char *path, bool quiet);

#endif
