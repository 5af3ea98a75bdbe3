/* bits.c - sets of pixels, one bit each: made from pictures, counted, combined, painted.
 *
 * A word of 64 pixels at a time; most words of a mask of regions are all clear or all set, so that
 * painting, the only step that leaves the words, skips or fills them whole.
 */
#include "raster_priv.h"

#include <string.h>

enum kb_status kb_bits_alloc(int32_t width, int32_t height, struct kb_bits *bits,
                             struct kb_err *err) {
    *bits = (struct kb_bits){0};
    enum kb_status status = kb_check_side(width, height, err);
    if (status != KB_OK) {
        return status;
    }
    const size_t pitch = kb_bit_words(width);
    uint64_t *word = kb_alloc((size_t)height * pitch, sizeof *word);
    if (word == NULL) {
        return kb_fail_memory(err, "raster", (size_t)height * pitch * sizeof *word);
    }
    *bits = (struct kb_bits){.width = width, .height = height, .pitch = pitch, .word = word};
    return KB_OK;
}

void kb_bits_release(struct kb_bits *bits) {
    kb_free(bits->word);
    *bits = (struct kb_bits){0};
}

void kb_bits_pick(const struct kb_image *image, const bool chosen[256], struct kb_bits *bits) {
    const struct kb_pick pick = kb_pick_make(chosen);
    for (int32_t y = 0; y < bits->height; y++) {
        kb_pick_bits(&pick, kb_row(image, y), bits->width, kb_bits_row(bits, y));
    }
}

void kb_bits_pick_row(const uint8_t *px, int32_t y, struct kb_bits *bits) {
    const struct kb_pick set = kb_pick_range(1, 255);
    kb_pick_bits(&set, px, bits->width, kb_bits_row(bits, y));
}

static size_t words_of(const struct kb_bits *bits) {
    return (size_t)bits->height * bits->pitch;
}

/* Sums of pairs, of fours, of eights, of all (Warren, Hacker's Delight, 2nd ed. 2013, section 5-1;
 * quoted from memory). */
static inline uint64_t count_word(uint64_t word) {
    word -= word >> 1 & 0x5555555555555555u;
    word = (word & 0x3333333333333333u) + (word >> 2 & 0x3333333333333333u);
    word = (word + (word >> 4)) & 0x0F0F0F0F0F0F0F0Fu;
    return word * 0x0101010101010101u >> 56;
}

KB_WIDE static uint64_t count_words(const uint64_t *word, size_t words) {
    uint64_t count = 0;
    for (size_t i = 0; i < words; i++) {
        count += count_word(word[i]);
    }
    return count;
}

uint64_t kb_bits_count(const struct kb_bits *bits) {
    return count_words(bits->word, words_of(bits));
}

void kb_bits_both(struct kb_bits *bits, const struct kb_bits *other) {
    for (size_t i = 0; i < words_of(bits); i++) {
        bits->word[i] &= other->word[i];
    }
}

void kb_bits_without(struct kb_bits *bits, const struct kb_bits *other) {
    for (size_t i = 0; i < words_of(bits); i++) {
        bits->word[i] &= ~other->word[i];
    }
}

void kb_bits_paint(const struct kb_bits *bits, uint8_t value, struct kb_image *image) {
    for (int32_t y = 0; y < bits->height; y++) {
        const uint64_t *word = kb_bits_row(bits, y);
        uint8_t *row = kb_row(image, y);
        for (size_t i = 0; i < bits->pitch; i++) {
            if (word[i] == UINT64_MAX) {
                memset(row + 64 * i, value, 64);
                continue;
            }
            for (uint64_t rest = word[i]; rest != 0; rest &= rest - 1) {
                row[64 * i + (size_t)kb_lowest_bit(rest)] = value;
            }
        }
    }
}
