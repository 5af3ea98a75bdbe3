/* house_mark.c - the laboratory's own picture, read as it is: the report carries the file's bytes.
 *
 * PNG (ISO/IEC 15948) and JPEG (ITU-T T.81) are known by their first bytes; their content is shown
 * by whoever shows the page.
 */
#include "report_priv.h"

#include <errno.h>
#include <string.h>

static const size_t most_bytes = (size_t)2 << 20; /* every report carries it: ours */

static const char *type_of(const uint8_t *data, size_t size) {
    static const uint8_t png[] = {0x89, 'P', 'N', 'G', 0x0d, 0x0a, 0x1a, 0x0a};
    static const uint8_t jpeg[] = {0xff, 0xd8, 0xff};
    if (size > 24 && memcmp(data, png, sizeof png) == 0) {
        return "image/png";
    }
    return size > 24 && memcmp(data, jpeg, sizeof jpeg) == 0 ? "image/jpeg" : NULL;
}

enum kb_status kb_house_mark_read(const char *path, struct kb_house_mark *mark,
                                  struct kb_err *err) {
    *mark = (struct kb_house_mark){0};
    FILE *file = fopen(path, "rb");
    if (file == NULL) {
        return kb_fail(err, KB_E_INPUT, "report", path,
                       "the laboratory's picture cannot be opened: %s", strerror(errno));
    }
    uint8_t *data = kb_alloc(most_bytes + 1, 1);
    size_t size = data != NULL ? fread(data, 1, most_bytes + 1, file) : 0;
    bool failed = ferror(file) != 0;
    (void)fclose(file);
    const char *type = data != NULL && !failed ? type_of(data, size) : NULL;
    if (data == NULL) {
        return kb_fail_memory(err, "report", most_bytes);
    }
    if (type == NULL || size > most_bytes) {
        kb_free(data);
        return kb_fail(err, KB_E_INPUT, "report", path,
                       size > most_bytes
                           ? "the laboratory's picture is larger than 2 MB (save it smaller)"
                           : "the laboratory's picture is neither PNG nor JPEG (convert it)");
    }
    uint8_t *fitted = kb_resize(data, size, 1);
    mark->data = fitted != NULL ? fitted : data;
    mark->size = size;
    mark->type = type;
    return KB_OK;
}
