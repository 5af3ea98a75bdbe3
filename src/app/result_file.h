/* result_file.h - a result.json that keelblock measure wrote, read back. */
#ifndef KB_RESULT_FILE_H
#define KB_RESULT_FILE_H

#include "request.h"

#include <jansson.h>

/* The document at `path`, a file or the folder that it lies in; *file is the file's name in new
 * memory. `stage` stands in errors. KB_E_INPUT when it cannot be read, is no result of keelblock or
 * has a schema that is not known; both outputs are then NULL. */
KB_NODISCARD enum kb_status kb_result_load(const char *path, const char *stage, json_t **root,
                                           char **file, struct kb_err *err);
/* The material that a result states. */
KB_NODISCARD enum kb_status kb_result_material(const json_t *root, const char *file,
                                               const char *stage, enum kb_material *material,
                                               struct kb_err *err);

#endif
