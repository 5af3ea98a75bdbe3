/* histogram.c - how many pixels have which grey level.
 *
 * Eight tables take turns, because equal neighbours would otherwise wait for each other's store.
 * Where a picture of labels chooses, eight labels are looked at together: on a map of phases they
 * are nearly always alike, and then eight greys are counted or skipped without further tests.
 * A table counts every eighth pixel of a row, so 32 bits are enough for KB_PIXELS_MAX pixels.
 */
#include "raster_priv.h"

#include <string.h>

#define TURNS 8

struct tables {
    uint32_t count[TURNS][256];
};

static void count_row(const uint8_t *grey, int32_t width, struct tables *tables) {
    int32_t x = 0;
    for (; x + TURNS <= width; x += TURNS) {
        for (int turn = 0; turn < TURNS; turn++) {
            tables->count[turn][grey[x + turn]]++;
        }
    }
    for (; x < width; x++) {
        tables->count[x % TURNS][grey[x]]++;
    }
}

static bool eight_alike(const uint8_t *labels) {
    uint64_t word = 0;
    memcpy(&word, labels, sizeof word);
    return word == labels[0] * UINT64_C(0x0101010101010101);
}

static void count_chosen_row(const uint8_t *grey, const uint8_t *labels, int32_t width,
                             const bool *chosen, struct tables *tables) {
    int32_t x = 0;
    for (; x + 8 <= width; x += 8) {
        if (!eight_alike(labels + x)) {
            for (int32_t i = x; i < x + 8; i++) {
                tables->count[i % TURNS][grey[i]] += chosen[labels[i]];
            }
        } else if (chosen[labels[x]]) {
            count_row(grey + x, 8, tables);
        }
    }
    for (; x < width; x++) {
        tables->count[x % TURNS][grey[x]] += chosen[labels[x]];
    }
}

static void add_tables(const struct tables *tables, uint64_t bins[256]) {
    for (int level = 0; level < 256; level++) {
        for (int turn = 0; turn < TURNS; turn++) {
            bins[level] += tables->count[turn][level];
        }
    }
}

void kb_histogram(const struct kb_image *grey, const struct kb_image *labels,
                  const bool chosen[256], uint64_t bins[256]) {
    struct tables tables = {0};
    memset(bins, 0, 256 * sizeof bins[0]);
    for (int32_t y = 0; y < grey->height; y++) {
        if (labels == NULL) {
            count_row(kb_row(grey, y), grey->width, &tables);
        } else {
            count_chosen_row(kb_row(grey, y), kb_row(labels, y), grey->width, chosen, &tables);
        }
    }
    add_tables(&tables, bins);
}
