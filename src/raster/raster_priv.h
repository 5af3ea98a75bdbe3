/* raster_priv.h - what the files of this stage share: choosing pixels, bit rows, strips. */
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

/* Bit rows: pixel x is bit x % 64 of word x / 64; bits past the last pixel are 0. */
static inline size_t kb_bit_words(int32_t count) {
    return ((size_t)count + 63) / 64;
}
void kb_pick_bits(const struct kb_pick *pick, const uint8_t *px, int32_t count, uint64_t *to);
/* Byte 1 where the bit differs from `inverted`, else 0. */
void kb_unpick_bits(const uint64_t *bits, int32_t count, bool inverted, uint8_t *to);

/* ---- strips (strips.c) -------------------------------------------------------------------------
 * A picture is worked on in strips of rows, one a thread. Inside a parallel region of the caller
 * there is one strip: fields are the better grain. */
int kb_strips(int32_t height);
/* First row of strip `index` of `count`; index == count gives height. */
int32_t kb_strip_start(int32_t height, int count, int index);

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
