/* table_text.c - the bytes of a spreadsheet's text file as UTF-8.
 *
 * A byte order mark says what it is. Without one, bytes that are well-formed UTF-8 are UTF-8 (other
 * encodings hardly ever look like it by chance), and everything else is taken for Windows-1252,
 * which spreadsheets in Western Europe and America write as plain CSV; the five bytes that it
 * leaves undefined are refused. UTF-16 is told by its mark alone.
 */
#include "intake_priv.h"

#include <string.h>

/* Windows-1252 from 0x80 to 0x9f; 0: undefined. The rest is as in Unicode. (Mapping of the Unicode
 * Consortium, from memory.) */
static const uint16_t windows_1252[32] = {
    0x20ac, 0,      0x201a, 0x0192, 0x201e, 0x2026, 0x2020, 0x2021, 0x02c6, 0x2030, 0x0160,
    0x2039, 0x0152, 0,      0x017d, 0,      0,      0x2018, 0x2019, 0x201c, 0x201d, 0x2022,
    0x2013, 0x2014, 0x02dc, 0x2122, 0x0161, 0x203a, 0x0153, 0,      0x017e, 0x0178,
};

/* RFC 3629 */
static void put_character(struct kb_text *text, uint32_t code) {
    char byte[4];
    size_t length = 0;
    if (code < 0x80) {
        byte[length++] = (char)code;
    } else if (code < 0x800) {
        byte[length++] = (char)(0xc0 | code >> 6);
    } else if (code < 0x10000) {
        byte[length++] = (char)(0xe0 | code >> 12);
        byte[length++] = (char)(0x80 | (code >> 6 & 0x3f));
    } else {
        byte[length++] = (char)(0xf0 | code >> 18);
        byte[length++] = (char)(0x80 | (code >> 12 & 0x3f));
        byte[length++] = (char)(0x80 | (code >> 6 & 0x3f));
    }
    if (code >= 0x80) {
        byte[length++] = (char)(0x80 | (code & 0x3f));
    }
    kb_text_add_bytes(text, byte, length);
}

/* Whether all of it is UTF-8; controls are looked for elsewhere. */
static bool is_utf8(const uint8_t *at, size_t size) {
    const uint8_t *end = at + size;
    while (at < end) {
        const size_t length = *at < 0x80 ? 1 : kb_utf8_size(at, (size_t)(end - at));
        if (length == 0) {
            return false;
        }
        at += length;
    }
    return true;
}

/* NULL, or what is wrong. */
static const char *from_windows(const uint8_t *bytes, size_t size, struct kb_text *text) {
    for (size_t i = 0; i < size; i++) {
        const bool shifted = bytes[i] >= 0x80 && bytes[i] < 0xa0;
        const uint32_t code = shifted ? windows_1252[bytes[i] - 0x80] : bytes[i];
        if (shifted && code == 0) {
            return "its letters are neither UTF-8 nor Windows-1252 (save it as CSV UTF-8)";
        }
        put_character(text, code);
    }
    return NULL;
}

static const char *from_utf16(const uint8_t *bytes, size_t size, bool high_first,
                              struct kb_text *text) {
    uint32_t lead = 0;
    for (size_t i = 0; i + 1 < size; i += 2) {
        const uint32_t unit = high_first ? (uint32_t)(bytes[i] << 8 | bytes[i + 1])
                                         : (uint32_t)(bytes[i + 1] << 8 | bytes[i]);
        const bool trails = unit >= 0xdc00 && unit < 0xe000;
        if (trails != (lead != 0)) {
            return "its UTF-16 is broken (save it as CSV UTF-8)";
        }
        if (unit >= 0xd800 && unit < 0xdc00) {
            lead = unit;
            continue;
        }
        put_character(text, trails ? 0x10000 + ((lead - 0xd800) << 10) + (unit - 0xdc00) : unit);
        lead = 0;
    }
    return size % 2 != 0 || lead != 0 ? "its UTF-16 is cut short (save it again)" : NULL;
}

const char *kb_table_text(const uint8_t *bytes, size_t size, struct kb_text *text,
                          const char **encoding) {
    const char *trouble = NULL;
    if (size >= 2 &&
        ((bytes[0] == 0xff && bytes[1] == 0xfe) || (bytes[0] == 0xfe && bytes[1] == 0xff))) {
        *encoding = "UTF-16";
        trouble = from_utf16(bytes + 2, size - 2, bytes[0] == 0xfe, text);
    } else if (size >= 3 && memcmp(bytes, "\xef\xbb\xbf", 3) == 0) {
        *encoding = "UTF-8";
        trouble =
            is_utf8(bytes + 3, size - 3) ? NULL : "its UTF-8 is broken (save it as CSV UTF-8)";
        kb_text_add_bytes(text, (const char *)bytes + 3, size - 3);
    } else if (is_utf8(bytes, size)) {
        *encoding = "UTF-8";
        kb_text_add_bytes(text, (const char *)bytes, size);
    } else {
        *encoding = "Windows-1252";
        trouble = from_windows(bytes, size, text);
    }
    if (trouble == NULL && text->data != NULL && strlen(text->data) != text->length) {
        trouble = "it holds zero bytes, so it is no text (save it as CSV from the spreadsheet)";
    }
    return trouble;
}
