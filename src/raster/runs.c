/* runs.c - connected regions as runs of pixels.
 *
 * One pass over the pixels turns each row into bits and each change of bit into the end of a run,
 * 64 pixels at a time; uniform stretches cost one comparison. Regions are then joined by union-find
 * over runs of neighbouring rows (the scheme of He, Chao & Suzuki, IEEE Trans. Image Processing 17
 * (2008) 749; quoted from memory), with path halving. The root of a region is always its first run,
 * so that regions are numbered in the order of their first pixel, and the links live in the field
 * `region` until they are replaced by numbers: no scratch a run.
 *
 * Limits: 12 bytes a run. A field of particles has a few runs a row; a checkerboard, the worst, has
 * one for every second pixel.
 */
#include "raster_priv.h"

#include <string.h>

/* ---- runs of a row ------------------------------------------------------------------------- */

static bool reserve(struct kb_runs *runs, size_t *capacity, size_t wanted) {
    if (wanted <= *capacity) {
        return true;
    }
    size_t more = *capacity + *capacity / 2;
    size_t size = wanted > more ? wanted : more;
    struct kb_run *grown = kb_resize(runs->run, size, sizeof *grown);
    if (grown == NULL) {
        return false;
    }
    runs->run = grown;
    *capacity = size;
    return true;
}

/* Returns the number of runs written. `run` has room for (width + 1) / 2. */
static size_t row_runs(const uint64_t *bits, int32_t width, struct kb_run *run) {
    size_t words = kb_bit_words(width);
    uint64_t before = 0; /* the last pixel of the word before, as bit 0 */
    size_t ends = 0;     /* starts and ends so far */
    for (size_t i = 0; i < words; i++) {
        uint64_t changes = bits[i] ^ (bits[i] << 1 | before);
        before = bits[i] >> 63;
        for (; changes != 0; changes &= changes - 1) {
            int32_t x = (int32_t)(i * 64) + kb_lowest_bit(changes);
            if (ends % 2 == 0) {
                run[ends / 2].x0 = x;
            } else {
                run[ends / 2].x1 = x;
            }
            ends++;
        }
    }
    if (ends % 2 == 1) {
        run[ends / 2].x1 = width;
        ends++;
    }
    return ends / 2;
}

static enum kb_status extract(const struct kb_image *image, const bool *chosen, uint64_t *bits,
                              struct kb_runs *runs, struct kb_err *err) {
    const struct kb_pick pick = kb_pick_make(chosen);
    const size_t row_most = ((size_t)image->width + 1) / 2;
    size_t capacity = 0;
    for (int32_t y = 0; y < image->height; y++) {
        if (!reserve(runs, &capacity, runs->count + row_most)) {
            return kb_fail_memory(err, "raster", (runs->count + row_most) * sizeof(struct kb_run));
        }
        runs->row[y] = runs->count;
        kb_pick_bits(&pick, kb_row(image, y), image->width, bits);
        runs->count += row_runs(bits, image->width, runs->run + runs->count);
    }
    runs->row[image->height] = runs->count;
    return KB_OK;
}

/* ---- regions ------------------------------------------------------------------------------- */

static uint32_t find_root(struct kb_run *run, uint32_t i) {
    while (run[i].region != i) {
        run[i].region = run[run[i].region].region;
        i = run[i].region;
    }
    return i;
}

static void unite(struct kb_run *run, uint32_t a, uint32_t b) {
    uint32_t root_a = find_root(run, a);
    uint32_t root_b = find_root(run, b);
    if (root_a < root_b) {
        run[root_b].region = root_a;
    } else {
        run[root_a].region = root_b;
    }
}

/* Join runs here .. end - 1 of one row with runs above .. here - 1 of the row before it. `reach` is
 * 1 when corners join. */
static void join_rows(struct kb_run *run, size_t above, size_t here, size_t end, int32_t reach) {
    size_t upper = above;
    size_t lower = here;
    while (upper < here && lower < end) {
        if (run[upper].x0 < run[lower].x1 + reach && run[lower].x0 < run[upper].x1 + reach) {
            unite(run, (uint32_t)upper, (uint32_t)lower);
        }
        /* the one that ends first can meet nothing further, unless corners join at its end */
        if (run[upper].x1 < run[lower].x1) {
            upper++;
        } else {
            lower++;
        }
    }
}

static void number_regions(struct kb_runs *runs) {
    uint32_t regions = 0;
    for (size_t i = 0; i < runs->count; i++) {
        /* a link goes to an earlier run, which has its number already */
        uint32_t link = runs->run[i].region;
        runs->run[i].region = link == i ? regions++ : runs->run[link].region;
    }
    runs->regions = regions;
}

enum kb_status kb_runs_relabel(struct kb_runs *runs, int connectivity, struct kb_err *err) {
    if (connectivity != 4 && connectivity != 8) {
        return kb_fail(err, KB_E_USAGE, "raster", NULL,
                       "pixels cannot be joined by %d neighbours (use 4 or 8)", connectivity);
    }
    for (size_t i = 0; i < runs->count; i++) {
        runs->run[i].region = (uint32_t)i;
    }
    for (int32_t y = 0; y < runs->height; y++) {
        size_t here = runs->row[y];
        size_t end = runs->row[y + 1];
        for (size_t i = here + 1; i < end; i++) {
            if (runs->run[i].x0 <= runs->run[i - 1].x1) {
                unite(runs->run, (uint32_t)(i - 1), (uint32_t)i);
            }
        }
        if (y > 0) {
            join_rows(runs->run, runs->row[y - 1], here, end, connectivity == 8 ? 1 : 0);
        }
    }
    number_regions(runs);
    return KB_OK;
}

enum kb_status kb_runs_label(const struct kb_image *image, const bool chosen[256], int connectivity,
                             struct kb_runs *runs, struct kb_err *err) {
    *runs = (struct kb_runs){.width = image->width, .height = image->height};
    size_t rows = (size_t)image->height + 1;
    size_t words = kb_bit_words(image->width);
    runs->row = kb_alloc_zero(rows, sizeof runs->row[0]);
    uint64_t *bits = kb_alloc(words, sizeof bits[0]);
    if (runs->row == NULL || bits == NULL) {
        kb_free(bits);
        kb_runs_release(runs);
        return kb_fail_memory(err, "raster", rows * sizeof runs->row[0] + words * sizeof bits[0]);
    }
    enum kb_status status = extract(image, chosen, bits, runs, err);
    kb_free(bits);
    if (status == KB_OK) {
        status = kb_runs_relabel(runs, connectivity, err);
    }
    if (status != KB_OK) {
        kb_runs_release(runs);
    }
    return status;
}

void kb_runs_release(struct kb_runs *runs) {
    kb_free(runs->run);
    kb_free(runs->row);
    *runs = (struct kb_runs){0};
}

bool kb_runs_at(const struct kb_runs *runs, int32_t x, int32_t y, uint32_t *region) {
    if (x < 0 || y < 0 || x >= runs->width || y >= runs->height) {
        return false;
    }
    size_t low = runs->row[y];
    size_t high = runs->row[y + 1];
    while (low < high) { /* the first run that ends beyond x */
        size_t middle = low + (high - low) / 2;
        if (runs->run[middle].x1 <= x) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    if (low == runs->row[y + 1] || runs->run[low].x0 > x) {
        return false;
    }
    *region = runs->run[low].region;
    return true;
}

void kb_runs_paint(const struct kb_runs *runs, const uint16_t *to_value, struct kb_image *image) {
    for (int32_t y = 0; y < runs->height; y++) {
        uint8_t *row = kb_row(image, y);
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            const struct kb_run *run = &runs->run[i];
            uint16_t value = to_value[run->region];
            if (value != KB_KEEP) {
                memset(row + run->x0, (uint8_t)value, (size_t)(run->x1 - run->x0));
            }
        }
    }
}
