/* columns.c - columns as rows, and sums along strokes: what looks for lines needs.
 *
 * Squares of 16 x 16 pixels are turned in registers where x86-64 has them, by pairing bytes, then
 * pairs of them, fours and eights; what is left at the ends goes byte by byte.
 */
#include "raster_priv.h"

#if defined(__SSE2__)
#include <emmintrin.h>

/* Row i of `from` and row i + 8 are paired four times over: after the first time a vector holds
 * columns of two rows, at the end one column of sixteen. */
static inline void turn_square(const uint8_t *from, size_t stride, uint8_t *to, size_t pitch) {
    __m128i row[16], next[16];
    for (size_t i = 0; i < 16; i++) {
        row[i] = _mm_loadu_si128((const __m128i *)(const void *)(from + i * stride));
    }
    for (int round = 0; round < 4; round++) {
        for (size_t i = 0; i < 8; i++) {
            next[2 * i] = _mm_unpacklo_epi8(row[i], row[i + 8]);
            next[2 * i + 1] = _mm_unpackhi_epi8(row[i], row[i + 8]);
        }
        for (size_t i = 0; i < 16; i++) {
            row[i] = next[i];
        }
    }
    for (size_t i = 0; i < 16; i++) {
        _mm_storeu_si128((__m128i *)(void *)(to + i * pitch), row[i]);
    }
}
#else
static inline void turn_square(const uint8_t *from, size_t stride, uint8_t *to, size_t pitch) {
    for (size_t i = 0; i < 16; i++) {
        for (size_t j = 0; j < 16; j++) {
            to[j * pitch + i] = from[i * stride + j];
        }
    }
}
#endif

void kb_columns(const struct kb_image *image, int32_t x, int32_t count, uint8_t *to, size_t pitch) {
    const int32_t whole = count / 16 * 16;
    const int32_t high = image->height / 16 * 16;
    for (int32_t y = 0; y < high; y += 16) {
        for (int32_t c = 0; c < whole; c += 16) {
            turn_square(kb_row(image, y) + x + c, image->stride, to + (size_t)c * pitch + y, pitch);
        }
    }
    for (int32_t y = 0; y < image->height; y++) {
        for (int32_t c = y < high ? whole : 0; c < count; c++) {
            to[(size_t)c * pitch + (size_t)y] = kb_row(image, y)[x + c];
        }
    }
}

void kb_add_up(const uint8_t *px, const ptrdiff_t *place, int count, uint16_t sum[KB_ABREAST]) {
#if defined(__SSE2__)
    const __m128i zero = _mm_setzero_si128();
    __m128i low = zero, high = zero;
    for (int k = 0; k < count; k++) {
        __m128i bytes = _mm_loadu_si128((const __m128i *)(const void *)(px + place[k]));
        low = _mm_add_epi16(low, _mm_unpacklo_epi8(bytes, zero));
        high = _mm_add_epi16(high, _mm_unpackhi_epi8(bytes, zero));
    }
    _mm_storeu_si128((__m128i *)(void *)sum, low);
    _mm_storeu_si128((__m128i *)(void *)(sum + 8), high);
#else
    for (int i = 0; i < KB_ABREAST; i++) {
        sum[i] = 0;
        for (int k = 0; k < count; k++) {
            sum[i] = (uint16_t)(sum[i] + px[place[k] + i]);
        }
    }
#endif
}
