/* pick.c - which pixels take part: from a set of byte values to a row of mask bytes or of bits.
 *
 * Most sets asked for are one interval of values (one label, "not clear", "darker than"), where
 * (value - low) <= span in bytes that wrap round is one comparison a pixel and vectorises. Bits are
 * gathered from mask bytes sixteen at a time by the instruction that x86-64 has for it; elsewhere
 * eight at a time: with one 0/1 in each byte of a 64-bit word, a multiplication moves the eight
 * into the top byte (Warren, Hacker's Delight, 2nd ed. 2013, section 7-4 on bit matrices, uses the
 * same device; quoted from memory). Byte order is fixed by building words from bytes, which
 * compilers turn into plain loads.
 */
#include "raster_priv.h"

#include <string.h>
#if defined(__SSE2__)
#include <emmintrin.h>
#endif

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

KB_WIDE static void interval_bytes(uint8_t low, uint8_t span, const uint8_t *restrict px,
                                   int32_t count, uint8_t *restrict to) {
    for (int32_t x = 0; x < count; x++) {
        to[x] = (uint8_t)(px[x] - low) <= span ? 255 : 0;
    }
}

void kb_pick_bytes(const struct kb_pick *pick, const uint8_t *restrict px, int32_t count,
                   uint8_t *restrict to) {
    if (pick->chosen == NULL) {
        interval_bytes(pick->low, pick->span, px, count, to);
        return;
    }
    for (int32_t x = 0; x < count; x++) {
        to[x] = pick->chosen[px[x]] ? 255 : 0;
    }
}

#if defined(__SSE2__)
static inline uint64_t gather_64(const uint8_t mask[64]) {
    uint64_t bits = 0;
    for (int group = 0; group < 4; group++) {
        __m128i bytes = _mm_loadu_si128((const __m128i *)(const void *)(mask + 16 * group));
        bits |= (uint64_t)(uint32_t)_mm_movemask_epi8(bytes) << (16 * group);
    }
    return bits;
}
#else
#define ONES 0x0101010101010101u
/* Bit 8i of the multiplicand lands on bit 56 + i of the product. */
#define GATHER 0x0102040810204080u

static inline uint64_t load_word(const uint8_t *byte) {
    return (uint64_t)byte[0] | (uint64_t)byte[1] << 8 | (uint64_t)byte[2] << 16 |
           (uint64_t)byte[3] << 24 | (uint64_t)byte[4] << 32 | (uint64_t)byte[5] << 40 |
           (uint64_t)byte[6] << 48 | (uint64_t)byte[7] << 56;
}

static inline uint64_t gather_64(const uint8_t mask[64]) {
    uint64_t bits = 0;
    for (int group = 0; group < 8; group++) {
        uint64_t ones = load_word(mask + 8 * group) & ONES;
        bits |= (ones * GATHER >> 56) << (8 * group);
    }
    return bits;
}
#endif

/* As kb_pick_bytes() and gather_64(), with the mask in registers only. */
static void interval_bits(uint8_t low, uint8_t span, const uint8_t *px, size_t words,
                          uint64_t *to) {
#if defined(__SSE2__)
    const __m128i lows = _mm_set1_epi8((char)low);
    const __m128i spans = _mm_set1_epi8((char)span);
    for (size_t i = 0; i < words; i++) {
        uint64_t bits = 0;
        for (size_t group = 0; group < 4; group++) {
            const void *at = px + 64 * i + 16 * group;
            __m128i above = _mm_sub_epi8(_mm_loadu_si128((const __m128i *)at), lows);
            __m128i within = _mm_cmpeq_epi8(_mm_min_epu8(above, spans), above);
            bits |= (uint64_t)(uint32_t)_mm_movemask_epi8(within) << (16 * group);
        }
        to[i] = bits;
    }
#else
    uint8_t mask[64];
    for (size_t i = 0; i < words; i++) {
        interval_bytes(low, span, px + 64 * i, 64, mask);
        to[i] = gather_64(mask);
    }
#endif
}

void kb_pick_bits(const struct kb_pick *pick, const uint8_t *px, int32_t count, uint64_t *to) {
    uint8_t mask[64] = {0};
    int32_t x = 0;
    if (pick->chosen == NULL) {
        interval_bits(pick->low, pick->span, px, (size_t)count / 64, to);
        x = count / 64 * 64;
    }
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

#if defined(__SSE2__)
/* Byte i of a vector keeps bit i % 8 of a byte that was copied to all of its half. */
static inline void scatter_64(uint64_t bits, uint8_t to[64]) {
    const __m128i bit = _mm_set1_epi64x((long long)0x8040201008040201u);
    for (int group = 0; group < 4; group++) {
        __m128i pair = _mm_cvtsi32_si128((int)(bits >> (16 * group) & 0xFFFF));
        pair = _mm_unpacklo_epi8(pair, pair);
        pair = _mm_shufflelo_epi16(pair, 0x50);
        pair = _mm_shuffle_epi32(pair, 0x50);
        __m128i set = _mm_cmpeq_epi8(_mm_and_si128(pair, bit), bit);
        _mm_storeu_si128((__m128i *)(void *)(to + 16 * group),
                         _mm_and_si128(set, _mm_set1_epi8(1)));
    }
}
#else
/* Bit i (i < 7) of the multiplicand lands on bit 8i of the product, among bits to be masked. */
#define SCATTER 0x0002040810204081u

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

static inline void scatter_64(uint64_t bits, uint8_t to[64]) {
    for (int group = 0; group < 8; group++) {
        uint64_t eight = bits >> (8 * group) & 0xFF;
        /* the eighth bit goes by itself: in the product it would meet the first */
        uint64_t bytes = ((eight & 0x7F) * SCATTER & ONES) | (eight >> 7) << 56;
        store_word(bytes, to + 8 * group);
    }
}
#endif

void kb_unpick_bits(const uint64_t *bits, int32_t count, uint8_t *to) {
    int32_t x = 0;
    for (; x + 64 <= count; x += 64) {
        scatter_64(bits[x / 64], to + x);
    }
    if (x < count) {
        uint8_t rest[64];
        scatter_64(bits[x / 64], rest);
        memcpy(to + x, rest, (size_t)(count - x));
    }
}
