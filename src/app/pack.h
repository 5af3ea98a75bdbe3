/* pack.h - values to bytes and back, by the same words in both directions: what a function packs it
 * also unpacks, so the two cannot drift apart. */
#ifndef KB_PACK_H
#define KB_PACK_H

#include "keelblock/base.h"

/* Texts that the stages take for static when they come back from bytes. One copy of each; they are
 * few, and live until the words are released. */
struct kb_words {
    char **word;
    size_t count, capacity;
};
void kb_words_release(struct kb_words *words);

struct kb_pack {
    struct kb_text *to;      /* packing; NULL: unpacking ... */
    const uint8_t *at, *end; /* ... what is left */
    struct kb_words *words;  /* unpacking: where words go */
    bool failed;             /* bytes that make no sense, or memory ran out */
};
struct kb_pack kb_packing(struct kb_text *to);
struct kb_pack kb_unpacking(const void *bytes, size_t size, struct kb_words *words);

void kb_pack_number(struct kb_pack *pack, double *value); /* every bit, but one NaN for all */
void kb_pack_numbers(struct kb_pack *pack, double *value, size_t count);
void kb_pack_whole(struct kb_pack *pack, uint64_t *value);
void kb_pack_size(struct kb_pack *pack, size_t *value);
void kb_pack_int(struct kb_pack *pack, int32_t *value);
void kb_pack_bool(struct kb_pack *pack, bool *value);
/* A value of an enumeration, 0 <= value < count. */
int kb_pack_choice(struct kb_pack *pack, int value, int count);
/* How many elements follow, at most `most`; 0 when that makes no sense. */
size_t kb_pack_count(struct kb_pack *pack, size_t count, size_t most);
void kb_pack_chars(struct kb_pack *pack, char *text, size_t size); /* a fixed array */
void kb_pack_string(struct kb_pack *pack, char **string);          /* owned, may be NULL */
void kb_pack_word(struct kb_pack *pack, const char **word);        /* static text, may be NULL */
/* An owned block of at most `most` bytes, NULL when empty. */
void kb_pack_block(struct kb_pack *pack, uint8_t **block, size_t *size, size_t most);
/* New memory for `count` elements when unpacking; `items` as it is when packing. NULL on failure.
 */
void *kb_pack_items(struct kb_pack *pack, void *items, size_t count, size_t size);

#endif
