/* thickness.c - how thick the lesser of two constituents of the matrix is.
 *
 * Chords of its regions along rows and columns at even distances, of all that end at the other
 * constituent. A band of thickness t has chords of pi t / 2 on the average of all directions, so
 * that 2 / pi of the mean chord is the mean thickness; round regions of diameter d count as d / 2
 * thick. Where the passage between the phases is wider than that of one pixel, a region is as thin
 * to the lens as it is in deviations of that blur: a band of less than five never reaches its own
 * grey, and a threshold half way between what is seen misses part of it.
 */
#include "quality_priv.h"

#define SCAN_LINES 200        /* rows, and as many columns */
#define CHORDS_LEAST 100      /* fewer tell no mean */
#define WIDTH_PER_SIGMA 2.563 /* 10 to 90 % of a step blurred by a normal distribution */
#define THICKNESS_PER_CHORD (2.0 / KB_PI)

struct chords {
    uint8_t lesser, other; /* labels */
    double length;         /* pixels */
    size_t count;
};

/* Chords of the lesser constituent between two places of the other. */
static void scan(const struct kb_image *label, int32_t at, bool column, struct chords *chords) {
    int32_t length = column ? label->height : label->width;
    size_t stride = column ? label->stride : 1;
    const uint8_t *px = column ? label->px + at : kb_row(label, at);
    int32_t start = -1; /* of a chord; -1: none that begins at the other constituent */
    for (int32_t i = 1; i < length; i++) {
        uint8_t before = px[(size_t)(i - 1) * stride];
        uint8_t here = px[(size_t)i * stride];
        if (here == before) {
            continue;
        }
        if (before == chords->lesser && here == chords->other && start >= 0) {
            chords->length += (double)(i - start);
            chords->count++;
        }
        start = before == chords->other && here == chords->lesser ? i : -1;
    }
}

struct kb_thickness kb_quality_thickness(const struct kb_look *look) {
    const struct kb_image *label = &look->map->label;
    const double *share = look->seen.share;
    enum kb_phase plain = share[KB_CEMENTITE] > share[KB_FERRITE] ? KB_CEMENTITE : KB_FERRITE;
    bool pearlite_less = share[KB_PEARLITE] < share[plain];
    struct chords chords = {.lesser = (uint8_t)(pearlite_less ? KB_PEARLITE : plain),
                            .other = (uint8_t)(pearlite_less ? plain : KB_PEARLITE)};
    for (int32_t i = 0; i < SCAN_LINES; i++) {
        scan(label, (int32_t)((2 * (int64_t)i + 1) * label->height / (2 * SCAN_LINES)), false,
             &chords);
        scan(label, (int32_t)((2 * (int64_t)i + 1) * label->width / (2 * SCAN_LINES)), true,
             &chords);
    }
    struct kb_thickness t = {.phase = (enum kb_phase)chords.lesser, .px = NAN, .seen = NAN};
    if (chords.count >= CHORDS_LEAST) {
        t.px = THICKNESS_PER_CHORD * chords.length / (double)chords.count;
        t.seen = t.px / fmax(1.0, look->edges.px / WIDTH_PER_SIGMA); /* NaN loses */
    }
    return t;
}
