/* err.c - the error value that every failure travels in.
 *
 * The detector fills it once, with stage, subject and a line that ends in advice; nobody above
 * rewrites it, so that what a person reads is what the code that knew best had to say.
 */
#include "keelblock/base.h"

#include <string.h>

static void copy_cut(char *to, size_t size, const char *from) {
    (void)snprintf(to, size, "%s", from != NULL ? from : "");
}

enum kb_status kb_fail(struct kb_err *err, enum kb_status code, const char *stage,
                       const char *subject, const char *format, ...) {
    if (err == NULL) {
        return code;
    }
    err->code = code;
    copy_cut(err->stage, sizeof err->stage, stage);
    copy_cut(err->subject, sizeof err->subject, subject);
    va_list args;
    va_start(args, format);
    (void)vsnprintf(err->text, sizeof err->text, format, args);
    va_end(args);
    return code;
}

enum kb_status kb_fail_memory(struct kb_err *err, const char *stage, size_t size) {
    return kb_fail(
        err, KB_E_MEMORY, stage, NULL,
        "out of memory while asking for %zu bytes (close other programs, or measure fewer "
        "or smaller fields at once)",
        size);
}

void kb_err_line(const struct kb_err *err, char *line, size_t size) {
    if (err->subject[0] != '\0') {
        (void)snprintf(line, size, "%s: '%s': %s", err->stage, err->subject, err->text);
    } else {
        (void)snprintf(line, size, "%s: %s", err->stage, err->text);
    }
    for (char *c = line; *c != '\0'; c++) { /* a subject may hold anything: keep it one line */
        if ((unsigned char)*c < ' ' || *c == 0x7f) {
            *c = '?';
        }
    }
}
