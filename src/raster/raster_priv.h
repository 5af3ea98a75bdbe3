/* raster_priv.h - what the files of this stage share: choosing pixels, bit rows, checks. */
#ifndef KEELBLOCK_RASTER_PRIV_H
#define KEELBLOCK_RASTER_PRIV_H

#include "keelblock/raster.h"

/* ---- choosing pixels (pick.c) ------------------------------------------------------------------
 * A set of byte values. Sets that are one interval, as "graphite" or "not clear" are, go through a
 * comparison the compiler vectorises; any other set goes through the table. */
struct kb_pick {
    const bool *chosen; /* table of 256; NULL for an interval */
    uint8_t low, span;  /* interval: low .. low + span */
};

/* The set of values with chosen[value]; NULL: all values. `chosen` must outlive the result. */
struct kb_pick kb_pick_make(const bool *chosen);
/* The values low .. high. */
struct kb_pick kb_pick_range(uint8_t low, uint8_t high);
/* 255 where px[x] is in the set, else 0. */
void kb_pick_bytes(const struct kb_pick *pick, const uint8_t *restrict px, int32_t count,
                   uint8_t *restrict to);

/* Bit rows are those of struct kb_bits. */
static inline size_t kb_bit_words(int32_t count) {
    return ((size_t)count + 63) / 64;
}
/* The bits of the last word that stand for pixels. */
static inline uint64_t kb_bit_last(int32_t count) {
    return count % 64 == 0 ? UINT64_MAX : ((uint64_t)1 << (count % 64)) - 1;
}
/* Number of the lowest set bit; there must be one. */
static inline int kb_lowest_bit(uint64_t word) {
#if defined(__GNUC__)
    return __builtin_ctzll(word);
#else
    int bit = 0;
    while ((word >> bit & 1) == 0) {
        bit++;
    }
    return bit;
#endif
}
void kb_pick_bits(const struct kb_pick *pick, const uint8_t *px, int32_t count, uint64_t *to);
/* Byte 1 where the bit is set, else 0. */
void kb_unpick_bits(const uint64_t *bits, int32_t count, uint8_t *to);

/* ---- checks (image.c) ------------------------------------------------------------------------ */

/* Whether a picture of that size is within the limits. */
KB_NODISCARD enum kb_status kb_check_side(int32_t width, int32_t height, struct kb_err *err);
KB_NODISCARD enum kb_status kb_check_sizes(const struct kb_image *from, const struct kb_image *to,
                                           struct kb_err *err);
/* `to` must have the size of `from` and other pixels. */
KB_NODISCARD enum kb_status kb_check_pair(const struct kb_image *from, const struct kb_image *to,
                                          struct kb_err *err);
KB_NODISCARD enum kb_status kb_check_radius(int32_t radius, struct kb_err *err);

static inline uint8_t kb_min8(uint8_t a, uint8_t b) {
    return a < b ? a : b;
}
static inline uint8_t kb_max8(uint8_t a, uint8_t b) {
    return a > b ? a : b;
}

#endif
