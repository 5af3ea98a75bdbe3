/* pick.c - which pixels take part: from a set of byte values to a row of mask bytes or of bits.
 *
 * Most sets asked for are one interval of values (one label, "not clear", "darker than"), where
 * (value - low) <= span in bytes that wrap round is one comparison a pixel and vectorises. Bits are
 * gathered eight at a time: with one 0/1 in each byte of a 64-bit word, a multiplication moves the
 * eight into the top byte (Warren, Hacker's Delight, 2nd ed. 2013, section 7-4 on bit matrices,
 * uses the same device; quoted from memory). Byte order is fixed by building words from bytes,
 * which compilers turn into plain loads.
 */
#include "raster_priv.h"

#include <string.h>

#define ONES 0x0101010101010101u
/* Bit 8i of the multiplicand lands on bit 56 + i of the product. */
#define GATHER 0x0102040810204080u
/* Bit i (i < 7) of the multiplicand lands on bit 8i of the product, among bits to be masked. */
#define SCATTER 0x0002040810204081u

struct kb_pick kb_pick_range(uint8_t low, uint8_t high) {
    return (struct kb_pick){.chosen = NULL, .low = low, .span = (uint8_t)(high - low)};
}

struct kb_pick kb_pick_make(const bool *chosen) {
    if (chosen == NULL) {
        return kb_pick_range(0, 255);
    }
    int low = 0;
    while (low < 256 && !chosen[low]) {
        low++;
    }
    int high = low;
    while (high + 1 < 256 && chosen[high + 1]) {
        high++;
    }
    for (int value = high + 1; value < 256; value++) {
        if (chosen[value]) {
            return (struct kb_pick){.chosen = chosen};
        }
    }
    /* an empty set is no interval: its table says so */
    return low < 256 ? kb_pick_range((uint8_t)low, (uint8_t)high)
                     : (struct kb_pick){.chosen = chosen};
}

void kb_pick_bytes(const struct kb_pick *pick, const uint8_t *restrict px, int32_t count,
                   uint8_t *restrict to) {
    if (pick->chosen != NULL) {
        const bool *chosen = pick->chosen;
        for (int32_t x = 0; x < count; x++) {
            to[x] = chosen[px[x]] ? 255 : 0;
        }
        return;
    }
    const uint8_t low = pick->low;
    const uint8_t span = pick->span;
    for (int32_t x = 0; x < count; x++) {
        to[x] = (uint8_t)(px[x] - low) <= span ? 255 : 0;
    }
}

static inline uint64_t load_word(const uint8_t *byte) {
    return (uint64_t)byte[0] | (uint64_t)byte[1] << 8 | (uint64_t)byte[2] << 16 |
           (uint64_t)byte[3] << 24 | (uint64_t)byte[4] << 32 | (uint64_t)byte[5] << 40 |
           (uint64_t)byte[6] << 48 | (uint64_t)byte[7] << 56;
}

static inline void store_word(uint64_t word, uint8_t *byte) {
    byte[0] = (uint8_t)word;
    byte[1] = (uint8_t)(word >> 8);
    byte[2] = (uint8_t)(word >> 16);
    byte[3] = (uint8_t)(word >> 24);
    byte[4] = (uint8_t)(word >> 32);
    byte[5] = (uint8_t)(word >> 40);
    byte[6] = (uint8_t)(word >> 48);
    byte[7] = (uint8_t)(word >> 56);
}

static inline uint64_t gather_64(const uint8_t mask[64]) {
    uint64_t bits = 0;
    for (int group = 0; group < 8; group++) {
        uint64_t ones = load_word(mask + 8 * group) & ONES;
        bits |= (ones * GATHER >> 56) << (8 * group);
    }
    return bits;
}

void kb_pick_bits(const struct kb_pick *pick, const uint8_t *px, int32_t count, uint64_t *to) {
    uint8_t mask[64] = {0};
    int32_t x = 0;
    for (; x + 64 <= count; x += 64) {
        kb_pick_bytes(pick, px + x, 64, mask);
        to[x / 64] = gather_64(mask);
    }
    if (x < count) {
        memset(mask, 0, sizeof mask);
        kb_pick_bytes(pick, px + x, count - x, mask);
        to[x / 64] = gather_64(mask);
    }
}

static inline void scatter_64(uint64_t bits, uint8_t to[64]) {
    for (int group = 0; group < 8; group++) {
        uint64_t eight = bits >> (8 * group) & 0xFF;
        /* the eighth bit goes by itself: in the product it would meet the first */
        uint64_t bytes = ((eight & 0x7F) * SCATTER & ONES) | (eight >> 7) << 56;
        store_word(bytes, to + 8 * group);
    }
}

void kb_unpick_bits(const uint64_t *bits, int32_t count, bool inverted, uint8_t *to) {
    const uint64_t flip = inverted ? UINT64_MAX : 0;
    int32_t x = 0;
    for (; x + 64 <= count; x += 64) {
        scatter_64(bits[x / 64] ^ flip, to + x);
    }
    if (x < count) {
        uint8_t rest[64];
        scatter_64(bits[x / 64] ^ flip, rest);
        memcpy(to + x, rest, (size_t)(count - x));
    }
}
