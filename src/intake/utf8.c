/* utf8.c - what is a character of UTF-8 (RFC 3629), for text that people wrote. */
#include "intake_priv.h"

size_t kb_utf8_size(const uint8_t *at, size_t left) {
    if (left == 0) {
        return 0;
    }
    if (at[0] < 0x80) {
        return at[0] >= ' ' || at[0] == '\t' ? 1 : 0;
    }
    const size_t size = at[0] >= 0xf0 ? 4 : at[0] >= 0xe0 ? 3 : 2;
    if (at[0] < 0xc2 || at[0] > 0xf4 || size > left) {
        return 0;
    }
    for (size_t i = 1; i < size; i++) {
        if ((at[i] & 0xc0) != 0x80) {
            return 0;
        }
    }
    /* overlong forms, surrogates, beyond U+10FFFF */
    const bool wrong = (at[0] == 0xe0 && at[1] < 0xa0) || (at[0] == 0xed && at[1] > 0x9f) ||
                       (at[0] == 0xf0 && at[1] < 0x90) || (at[0] == 0xf4 && at[1] > 0x8f);
    return wrong ? 0 : size;
}
