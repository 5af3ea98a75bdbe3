/* findings.c - what a reader of a result must know, kept in the order in which it was noticed. */
#include "keelblock/base.h"

#include <string.h>

enum kb_status kb_findings_add(struct kb_findings *findings, struct kb_err *err,
                               enum kb_severity severity, const char *code, const char *format,
                               ...) {
    void *items = findings->item;
    if (!kb_grow(&items, findings->count, &findings->capacity, sizeof *findings->item)) {
        return kb_fail_memory(err, "base", sizeof *findings->item);
    }
    findings->item = items;
    struct kb_finding *fresh = &findings->item[findings->count++];
    fresh->severity = severity;
    (void)snprintf(fresh->code, sizeof fresh->code, "%s", code);
    va_list args;
    va_start(args, format);
    (void)vsnprintf(fresh->text, sizeof fresh->text, format, args);
    va_end(args);
    return KB_OK;
}

bool kb_findings_has(const struct kb_findings *findings, const char *code) {
    for (size_t i = 0; i < findings->count; i++) {
        if (strcmp(findings->item[i].code, code) == 0) {
            return true;
        }
    }
    return false;
}

void kb_findings_release(struct kb_findings *findings) {
    kb_free(findings->item);
    *findings = (struct kb_findings)KB_FINDINGS_INIT;
}

const char *kb_severity_name(enum kb_severity severity) {
    switch (severity) {
    case KB_NOTE:
        return "note";
    case KB_WARNING:
        return "warning";
    case KB_SERIOUS:
        break;
    }
    return "serious";
}
