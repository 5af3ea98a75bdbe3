/* again.h - the request that a result was made by. */
#ifndef KB_AGAIN_H
#define KB_AGAIN_H

#include "request.h"

/* From `path`, a result.json or the folder that it lies in, the request that measures the same
 * fields under the same settings: resolved, with the origin of each setting, as keelblock measure
 * had it. A record of a review in that folder is left out, another one is in. KB_E_INPUT for what
 * is no result, and for a picture that is not found or is not the one that was measured. Release
 * the request with kb_request_release() when this returns KB_OK. */
KB_NODISCARD enum kb_status kb_request_again(const char *path, struct kb_request *request,
                                             struct kb_err *err);

#endif
