/* show_text.c - text from outside made safe to show.
 *
 * Paths and names in a result are whatever bytes the file system or a job file held. Every writer
 * takes them through kb_text_next(), which decodes UTF-8 strictly (RFC 3629: shortest form, no
 * surrogates, at most U+10FFFF) and puts U+FFFD for anything else, also for the control characters
 * that XML 1.0 forbids, so that no output is ever malformed or sends commands to a terminal.
 */
#include "report_priv.h"

#include <string.h>

/* Length of the sequence that `lead` begins and the bits it contributes; 0 for a bad lead. */
static int sequence_length(unsigned char lead, uint32_t *bits) {
    if (lead < 0x80) {
        *bits = lead;
        return 1;
    }
    if (lead >= 0xc2 && lead < 0xe0) {
        *bits = lead & 0x1fu;
        return 2;
    }
    if (lead >= 0xe0 && lead < 0xf0) {
        *bits = lead & 0x0fu;
        return 3;
    }
    if (lead >= 0xf0 && lead < 0xf5) {
        *bits = lead & 0x07u;
        return 4;
    }
    return 0;
}

static bool allowed(uint32_t code, int length) {
    static const uint32_t least[5] = {0, 0, 0x80, 0x800, 0x10000}; /* shortest form, by length */
    if (code < least[length] || code > 0x10ffff || (code >= 0xd800 && code < 0xe000)) {
        return false;
    }
    if (code < 0x20) {
        return code == '\t' || code == '\n' || code == '\r';
    }
    return code < 0x7f || (code > 0x9f && code != 0xfffe && code != 0xffff);
}

bool kb_text_next(const char **at, uint32_t *code) {
    const unsigned char *byte = (const unsigned char *)*at;
    if (*byte == '\0') {
        return false;
    }
    uint32_t value = 0;
    int length = sequence_length(*byte, &value);
    int read = 1;
    while (read < length && (byte[read] & 0xc0) == 0x80) {
        value = (value << 6) | (byte[read] & 0x3fu);
        read++;
    }
    *code = read == length && allowed(value, length) ? value : KB_REPLACEMENT;
    *at += read;
    return true;
}

uint32_t kb_text_tame(uint32_t code) {
    bool turns = (code >= 0x202a && code <= 0x202e) || (code >= 0x2066 && code <= 0x2069);
    return turns || code == 0x200e || code == 0x200f ? KB_REPLACEMENT : code;
}

void kb_text_put(struct kb_text *out, uint32_t code) {
    char bytes[4];
    size_t length = 0;
    if (code < 0x80) {
        bytes[length++] = (char)code;
    } else if (code < 0x800) {
        bytes[length++] = (char)(0xc0 | code >> 6);
        bytes[length++] = (char)(0x80 | (code & 0x3f));
    } else if (code < 0x10000) {
        bytes[length++] = (char)(0xe0 | code >> 12);
        bytes[length++] = (char)(0x80 | (code >> 6 & 0x3f));
        bytes[length++] = (char)(0x80 | (code & 0x3f));
    } else {
        bytes[length++] = (char)(0xf0 | code >> 18);
        bytes[length++] = (char)(0x80 | (code >> 12 & 0x3f));
        bytes[length++] = (char)(0x80 | (code >> 6 & 0x3f));
        bytes[length++] = (char)(0x80 | (code & 0x3f));
    }
    kb_text_add_bytes(out, bytes, length);
}

void kb_text_plain(struct kb_text *out, const char *string) {
    uint32_t code = 0;
    while (string != NULL && kb_text_next(&string, &code)) {
        kb_text_put(out, code < 0x20 ? ' ' : kb_text_tame(code));
    }
}

static bool is_letter(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

void kb_text_units(struct kb_text *out, const char *string) {
    const char *at = string;
    uint32_t code = 0;
    while (*at != '\0') {
        if (at > string && at[-1] == ' ' && strncmp(at, "um", 2) == 0 && !is_letter(at[2])) {
            const bool square = at[2] == '2';
            kb_text_add(out, square ? "µm²" : "µm");
            at += square ? 3 : 2;
        } else if (kb_text_next(&at, &code)) {
            kb_text_put(out, code < 0x20 ? ' ' : kb_text_tame(code));
        }
    }
}

int kb_text_columns(const char *string) {
    int columns = 0;
    uint32_t code = 0;
    while (kb_text_next(&string, &code)) {
        columns++;
    }
    return columns;
}

/* Columns up to the next blank or the end. */
static int word_columns(const char *at) {
    int columns = 0;
    uint32_t code = 0;
    while (kb_text_next(&at, &code) && code > ' ') {
        columns++;
    }
    return columns;
}

void kb_text_wrap(struct kb_text *out, const char *sentence, int columns, int used, int indent) {
    const char *at = sentence;
    uint32_t code = 0;
    bool start = true;
    while (kb_text_next(&at, &code)) {
        if (code <= ' ') {
            int word = word_columns(at);
            if (used + 1 + word > columns && word <= columns - indent) {
                kb_text_format(out, "\n%*s", indent, "");
                used = indent;
                start = true;
            } else if (!start) {
                kb_text_add(out, " ");
                used++;
            }
            continue;
        }
        if (used >= columns) {
            kb_text_format(out, "\n%*s", indent, "");
            used = indent;
        }
        kb_text_put(out, kb_text_tame(code));
        used++;
        start = false;
    }
    kb_text_add(out, "\n");
}

void kb_text_words(struct kb_text *out, const char *name) {
    for (const char *c = name; *c != '\0'; c++) {
        if (strncmp(c, "mm2", 3) == 0) {
            kb_text_add(out, "mm²");
            c += 2;
            continue;
        }
        bool gap = *c == '-' || *c == '_';
        kb_text_put(out, gap ? ' ' : (uint32_t)(unsigned char)*c);
    }
}

void kb_text_significant(struct kb_text *out, double value, int digits) {
    kb_text_format(out, "%.*g", digits, value == 0.0 ? 0.0 : value); /* no "-0" */
}

enum kb_status kb_text_end(struct kb_text *out, struct kb_err *err) {
    if (!out->failed) {
        return KB_OK;
    }
    size_t size = out->capacity;
    kb_text_release(out);
    return kb_fail_memory(err, "report", size * 2); /* the growth that was refused */
}
