/* lines.c - how often test lines cross the surface of the graphite.
 *
 * Every row and every column of pixel centres is a test line. Where two neighbours on it are both
 * measured and one of them is graphite, the line crosses an edge between them. Intercepts shorter
 * than a pixel can be missed, so the figures are of the surface as this magnification shows it.
 * Half the crossings over the length is N_L, the graphite intercepts a length of line; a particle
 * cut by the frame shows one crossing, so half an intercept, which keeps the mean right.
 *
 * Rows and columns are two directions. For graphite without a preferred direction they give the
 * mean over all directions; where they differ the section has a direction, and the reader sees
 * both. Cost: two passes over bytes that the compiler turns into vector code.
 */
#include "specimen_priv.h"

/* Neighbours at `a` and `b`, `n` pairs: both measured, and of these with graphite on one side. Some
 * at a time, whole vectors and countable in a byte. */
KB_WIDE static void cross_pairs(const uint8_t *a, const uint8_t *b, int32_t n, uint64_t *pairs,
                                uint64_t *crossings) {
    for (int32_t from = 0; from < n; from += 224) {
        const int32_t end = n - from < 224 ? n : from + 224;
        uint8_t both = 0;
        uint8_t edge = 0;
        for (int32_t i = from; i < end; i++) {
            uint8_t measured = (uint8_t)((a[i] != KB_EXCLUDED) & (b[i] != KB_EXCLUDED));
            uint8_t differ = (uint8_t)((a[i] == KB_GRAPHITE) ^ (b[i] == KB_GRAPHITE));
            both = (uint8_t)(both + measured);
            edge = (uint8_t)(edge + (measured & differ));
        }
        *pairs += both;
        *crossings += edge;
    }
}

void kb_test_lines_run(const struct kb_image *label, double px_um,
                       struct kb_test_lines lines[KB_LINE_DIRECTIONS]) {
    uint64_t pairs[KB_LINE_DIRECTIONS] = {0};
    uint64_t crossings[KB_LINE_DIRECTIONS] = {0};
    for (int32_t y = 0; y < label->height; y++) {
        const uint8_t *row = kb_row(label, y);
        cross_pairs(row, row + 1, label->width - 1, &pairs[KB_ALONG_ROWS],
                    &crossings[KB_ALONG_ROWS]);
        if (y + 1 < label->height) {
            cross_pairs(row, kb_row(label, y + 1), label->width, &pairs[KB_ALONG_COLUMNS],
                        &crossings[KB_ALONG_COLUMNS]);
        }
    }
    for (int i = 0; i < KB_LINE_DIRECTIONS; i++) {
        lines[i] = (struct kb_test_lines){(double)pairs[i] * px_um, crossings[i]};
    }
}
