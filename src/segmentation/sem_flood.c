/* sem_flood.c - regions grow from their seeds until they meet, on the strongest edge between them.
 *
 * The picture of steepness is flooded from all seeds at once, lowest pixels first and of one height
 * in the order in which they were reached (Meyer's flooding, 1991): two regions meet on the crest
 * of the edge between their seeds, wherever in between the seeds began. Queues are linked through
 * one number a pixel; every pixel is queued once.
 */
#include "sem_priv.h"

#include <math.h>

enum kb_status kb_sem_steep(const struct kb_image *grey, struct kb_image *steep,
                            struct kb_err *err) {
    struct kb_image smooth = {0};
    enum kb_status status = kb_image_alloc(grey->width, grey->height, &smooth, err);
    if (status == KB_OK) {
        status = kb_image_alloc(grey->width, grey->height, steep, err);
    }
    if (status == KB_OK) {
        status = kb_smooth(grey, &smooth, err);
    }
    if (status == KB_OK) { /* twice: a standard deviation of one pixel */
        status = kb_smooth(&smooth, &smooth, err);
    }
    const int32_t last_x = grey->width - 1, last_y = grey->height - 1;
    for (int32_t y = 0; y <= last_y && status == KB_OK; y++) {
        const uint8_t *a = kb_row(&smooth, y > 0 ? y - 1 : 0), *b = kb_row(&smooth, y);
        const uint8_t *c = kb_row(&smooth, y < last_y ? y + 1 : y);
        uint8_t *to = kb_row(steep, y);
        for (int32_t x = 0; x <= last_x; x++) {
            int32_t l = x > 0 ? x - 1 : 0, r = x < last_x ? x + 1 : x;
            int dx = a[r] + 2 * b[r] + c[r] - a[l] - 2 * b[l] - c[l];
            int dy = c[l] + 2 * c[x] + c[r] - a[l] - 2 * a[x] - a[r];
            double length = 0.5 * sqrt((double)(dx * dx + dy * dy));
            to[x] = (uint8_t)(length < 255.0 ? length : 255.0);
        }
    }
    kb_image_release(&smooth);
    return status;
}

#define NOBODY UINT32_MAX

struct flood {
    const struct kb_image *height;
    struct kb_image *region;
    uint32_t *next;
    uint32_t first[256], last[256];
    int level;
};

static void queue(struct flood *f, uint32_t at, int level) {
    f->next[at] = NOBODY;
    if (f->first[level] == NOBODY) {
        f->first[level] = at;
    } else {
        f->next[f->last[level]] = at;
    }
    f->last[level] = at;
}

static void reach(struct flood *f, int32_t x, int32_t y, uint8_t value) {
    if (x < 0 || y < 0 || x >= f->region->width || y >= f->region->height ||
        kb_row(f->region, y)[x] != 0) {
        return;
    }
    kb_row(f->region, y)[x] = value;
    int height = kb_row(f->height, y)[x];
    queue(f, (uint32_t)y * (uint32_t)f->region->width + (uint32_t)x,
          height > f->level ? height : f->level);
}

static void spread(struct flood *f, uint32_t at) {
    int32_t x = (int32_t)(at % (uint32_t)f->region->width);
    int32_t y = (int32_t)(at / (uint32_t)f->region->width);
    uint8_t value = kb_row(f->region, y)[x];
    reach(f, x, y - 1, value);
    reach(f, x - 1, y, value);
    reach(f, x + 1, y, value);
    reach(f, x, y + 1, value);
}

enum kb_status kb_sem_flood(const struct kb_image *height, struct kb_image *region,
                            struct kb_err *err) {
    const size_t count = (size_t)kb_image_pixels(region);
    struct flood f = {.height = height, .region = region};
    f.next = kb_alloc(count, sizeof *f.next);
    if (f.next == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, count * sizeof *f.next);
    }
    for (int i = 0; i < 256; i++) {
        f.first[i] = NOBODY;
    }
    for (int32_t y = 0; y < region->height; y++) {
        for (int32_t x = 0; x < region->width; x++) {
            uint8_t value = kb_row(region, y)[x];
            if (value == KB_SEM_NETWORK || value == KB_SEM_REST) {
                queue(&f, (uint32_t)y * (uint32_t)region->width + (uint32_t)x,
                      kb_row(height, y)[x]);
            }
        }
    }
    while (f.level < 256) {
        uint32_t at = f.first[f.level];
        if (at == NOBODY) {
            f.level++;
            continue;
        }
        f.first[f.level] = f.next[at];
        spread(&f, at);
    }
    kb_free(f.next);
    return KB_OK;
}
