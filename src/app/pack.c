/* pack.c - values to bytes and back.
 *
 * Whole numbers take seven bits a byte, the last byte below 128; signed ones fold the sign into the
 * lowest bit. Floating point goes as the eight bytes of IEEE 754, lowest first, so that nothing is
 * lost; every NaN as the same one. Texts go with their length before them. What is read may be
 * damaged: every length is checked against what is left, and after the first nonsense all values
 * come out as zero and `failed` stays set.
 */
#include "pack.h"

#include <string.h>

enum { BITS = 7, MORE = 0x80, NUMBER_BYTES = 8, WHOLE_BYTES = 10, TEXT_MOST = 1 << 20 };

void kb_words_release(struct kb_words *words) {
    for (size_t i = 0; i < words->count; i++) {
        kb_free(words->word[i]);
    }
    kb_free(words->word);
    *words = (struct kb_words){NULL, 0, 0};
}

struct kb_pack kb_packing(struct kb_text *to) {
    return (struct kb_pack){.to = to};
}

struct kb_pack kb_unpacking(const void *bytes, size_t size, struct kb_words *words) {
    const uint8_t *at = bytes;
    return (struct kb_pack){.at = at, .end = at + size, .words = words};
}

static void put(struct kb_pack *pack, const uint8_t *bytes, size_t size) {
    kb_text_add_bytes(pack->to, (const char *)bytes, size);
    pack->failed = pack->failed || pack->to->failed;
}

/* The next `size` bytes; NULL when there are not so many. */
static const uint8_t *take(struct kb_pack *pack, size_t size) {
    if (pack->failed || (size_t)(pack->end - pack->at) < size) {
        pack->failed = true;
        return NULL;
    }
    const uint8_t *taken = pack->at;
    pack->at += size;
    return taken;
}

void kb_pack_whole(struct kb_pack *pack, uint64_t *value) {
    if (pack->to != NULL) {
        uint8_t byte[WHOLE_BYTES];
        size_t length = 0;
        uint64_t left = *value;
        for (; left >= MORE; left >>= BITS) {
            byte[length++] = (uint8_t)(left | MORE);
        }
        byte[length++] = (uint8_t)left;
        put(pack, byte, length);
        return;
    }
    *value = 0;
    for (unsigned shift = 0; shift < WHOLE_BYTES * BITS; shift += BITS) {
        const uint8_t *byte = take(pack, 1);
        if (byte == NULL) {
            *value = 0;
            return;
        }
        *value |= (uint64_t)(*byte & (MORE - 1)) << shift;
        if (*byte < MORE) {
            return;
        }
    }
    pack->failed = true;
}

void kb_pack_size(struct kb_pack *pack, size_t *value) {
    uint64_t whole = *value;
    kb_pack_whole(pack, &whole);
    *value = (size_t)whole;
}

void kb_pack_int(struct kb_pack *pack, int32_t *value) {
    const int64_t wide = *value;
    uint64_t folded = wide < 0 ? ((uint64_t)(-wide) << 1) - 1 : (uint64_t)wide << 1;
    kb_pack_whole(pack, &folded);
    const int64_t half = (int64_t)(folded >> 1);
    const int64_t read = (folded & 1) != 0 ? -half - 1 : half;
    if (read < INT32_MIN || read > INT32_MAX) {
        pack->failed = true;
        return;
    }
    *value = (int32_t)read;
}

void kb_pack_bool(struct kb_pack *pack, bool *value) {
    *value = kb_pack_choice(pack, *value ? 1 : 0, 2) == 1;
}

int kb_pack_choice(struct kb_pack *pack, int value, int count) {
    uint64_t whole = (uint64_t)value;
    kb_pack_whole(pack, &whole);
    if (whole >= (uint64_t)count) {
        pack->failed = true;
        return 0;
    }
    return (int)whole;
}

size_t kb_pack_count(struct kb_pack *pack, size_t count, size_t most) {
    kb_pack_size(pack, &count);
    if (count > most) {
        pack->failed = true;
    }
    return pack->failed ? 0 : count;
}

void kb_pack_number(struct kb_pack *pack, double *value) {
    uint64_t bits = 0;
    uint8_t byte[NUMBER_BYTES];
    if (pack->to != NULL) {
        const double one = isnan(*value) ? (double)NAN : *value;
        memcpy(&bits, &one, sizeof bits);
        for (int i = 0; i < NUMBER_BYTES; i++) {
            byte[i] = (uint8_t)(bits >> (8 * i));
        }
        put(pack, byte, sizeof byte);
        return;
    }
    const uint8_t *taken = take(pack, NUMBER_BYTES);
    for (int i = 0; taken != NULL && i < NUMBER_BYTES; i++) {
        bits |= (uint64_t)taken[i] << (8 * i);
    }
    memcpy(value, &bits, sizeof bits);
}

void kb_pack_numbers(struct kb_pack *pack, double *value, size_t count) {
    for (size_t i = 0; i < count; i++) {
        kb_pack_number(pack, &value[i]);
    }
}

void kb_pack_chars(struct kb_pack *pack, char *text, size_t size) {
    size_t length = kb_pack_count(pack, pack->to != NULL ? strlen(text) : 0, size - 1);
    if (pack->to != NULL) {
        put(pack, (const uint8_t *)text, length);
        return;
    }
    const uint8_t *taken = take(pack, length);
    if (taken != NULL) {
        memcpy(text, taken, length);
    }
    text[taken != NULL ? length : 0] = '\0';
}

/* 0: NULL; else one more than the length, and the bytes. */
void kb_pack_string(struct kb_pack *pack, char **string) {
    size_t more = pack->to != NULL && *string != NULL ? strlen(*string) + 1 : 0;
    more = kb_pack_count(pack, more, TEXT_MOST);
    if (pack->to != NULL) {
        if (more > 1) {
            put(pack, (const uint8_t *)*string, more - 1);
        }
        return;
    }
    *string = NULL;
    const uint8_t *taken = more > 0 ? take(pack, more - 1) : NULL;
    if (taken == NULL) {
        return;
    }
    *string = kb_alloc(more, 1);
    if (*string == NULL) {
        pack->failed = true;
        return;
    }
    memcpy(*string, taken, more - 1);
    (*string)[more - 1] = '\0';
}

/* The one copy of `text`, which is taken over. NULL when memory runs out. */
static const char *intern(struct kb_words *words, char *text) {
    for (size_t i = 0; i < words->count; i++) {
        if (strcmp(words->word[i], text) == 0) {
            kb_free(text);
            return words->word[i];
        }
    }
    void *items = words->word;
    if (!kb_grow(&items, words->count, &words->capacity, sizeof *words->word)) {
        kb_free(text);
        return NULL;
    }
    words->word = items;
    words->word[words->count++] = text;
    return text;
}

void kb_pack_word(struct kb_pack *pack, const char **word) {
    char *text = NULL;
    if (pack->to != NULL) {
        union { /* packing only reads */
            const char *constant;
            char *plain;
        } same = {*word};
        kb_pack_string(pack, &same.plain);
        return;
    }
    kb_pack_string(pack, &text);
    *word = text != NULL ? intern(pack->words, text) : NULL;
    pack->failed = pack->failed || (text != NULL && *word == NULL);
}

void kb_pack_block(struct kb_pack *pack, uint8_t **block, size_t *size, size_t most) {
    *size = kb_pack_count(pack, *size, most);
    if (pack->to != NULL) {
        if (*size > 0) {
            put(pack, *block, *size);
        }
        return;
    }
    const uint8_t *taken = take(pack, *size);
    *block = taken != NULL && *size > 0 ? kb_alloc(*size, 1) : NULL;
    pack->failed = pack->failed || (*size > 0 && *block == NULL);
    if (*block != NULL) {
        memcpy(*block, taken, *size);
    } else {
        *size = 0;
    }
}

void *kb_pack_items(struct kb_pack *pack, void *items, size_t count, size_t size) {
    if (pack->to != NULL || count == 0) {
        return pack->to != NULL ? items : NULL;
    }
    void *fresh = kb_alloc_zero(count, size);
    pack->failed = pack->failed || fresh == NULL;
    return fresh;
}
