/* orient.c - turns and mirrors a picture upright.
 *
 * The eight orientations of TIFF tag 274: mirror left-right, mirror top-bottom, and exchange of
 * rows and columns, alone and together. Mirrors are done in place; the exchange goes to a second
 * picture in square blocks, so that neither side leaves the cache.
 */
#include "intake_priv.h"

#include <string.h>

/* 64 x 64 bytes from and to: 8 KiB, a quarter of a small first-level cache. */
#define SIDE 64

static void mirror_left_right(const struct kb_image *image) {
    for (int32_t y = 0; y < image->height; y++) {
        uint8_t *row = kb_row(image, y);
        for (int32_t a = 0, b = image->width - 1; a < b; a++, b--) {
            const uint8_t keep = row[a];
            row[a] = row[b];
            row[b] = keep;
        }
    }
}

static void mirror_top_bottom(const struct kb_image *image) {
    for (int32_t a = 0, b = image->height - 1; a < b; a++, b--) {
        uint8_t *upper = kb_row(image, a);
        uint8_t *lower = kb_row(image, b);
        for (int32_t x = 0; x < image->width; x++) {
            const uint8_t keep = upper[x];
            upper[x] = lower[x];
            lower[x] = keep;
        }
    }
}

static void exchange_block(const struct kb_image *from, const struct kb_image *to, int32_t x0,
                           int32_t y0) {
    const int32_t x1 = from->width - x0 < SIDE ? from->width : x0 + SIDE;
    const int32_t y1 = from->height - y0 < SIDE ? from->height : y0 + SIDE;
    for (int32_t x = x0; x < x1; x++) {
        uint8_t *row = kb_row(to, x);
        for (int32_t y = y0; y < y1; y++) {
            row[y] = kb_row(from, y)[x];
        }
    }
}

static enum kb_status exchange_rows_and_columns(struct kb_image *image, struct kb_err *err) {
    struct kb_image turned;
    enum kb_status status = kb_image_alloc(image->height, image->width, &turned, err);
    if (status != KB_OK) {
        return status;
    }
    for (int32_t y0 = 0; y0 < image->height; y0 += SIDE) {
        for (int32_t x0 = 0; x0 < image->width; x0 += SIDE) {
            exchange_block(image, &turned, x0, y0);
        }
    }
    kb_image_release(image);
    *image = turned;
    return KB_OK;
}

enum kb_status kb_orient(struct kb_image *image, int orientation, struct kb_err *err) {
    /* what to do, in this order, to bring orientation 1..8 upright */
    static const struct {
        bool exchange, left_right, top_bottom;
    } steps[9] = {
        [1] = {false, false, false}, [2] = {false, true, false}, [3] = {false, true, true},
        [4] = {false, false, true},  [5] = {true, false, false}, [6] = {true, true, false},
        [7] = {true, true, true},    [8] = {true, false, true},
    };
    if (steps[orientation].exchange) {
        enum kb_status status = exchange_rows_and_columns(image, err);
        if (status != KB_OK) {
            return status;
        }
    }
    if (steps[orientation].left_right) {
        mirror_left_right(image);
    }
    if (steps[orientation].top_bottom) {
        mirror_top_bottom(image);
    }
    return KB_OK;
}
