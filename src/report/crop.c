/* crop.c - pictures about a point that was asked about: a square piece of the field as it was taken
 * and as it was measured, with the point marked.
 *
 * The square holds the particle with room to spare, at least SIDE_LEAST pixels. Small pieces are
 * enlarged by a whole number without smoothing, so that pixels can be counted; large ones shrunk by
 * the area mean. The mark is four strokes that leave the point itself free to be seen.
 */
#include "paint_priv.h"

#include <string.h>

enum {
    SIDE_LEAST = 64, /* px of the field: some tens of um at common magnifications */
    SHOWN = 320,     /* px of the page, about */
};

/* A square about the particle and the point, moved into the frame. */
static struct kb_rect square_about(const struct kb_field *field, struct kb_rect box) {
    const int32_t larger = box.width > box.height ? box.width : box.height;
    int32_t side = larger + larger / 2;
    side = side > SIDE_LEAST ? side : SIDE_LEAST;
    struct kb_rect piece = {
        .width = side < field->grey.width ? side : field->grey.width,
        .height = side < field->grey.height ? side : field->grey.height,
    };
    piece.x = box.x + box.width / 2 - piece.width / 2;
    piece.y = box.y + box.height / 2 - piece.height / 2;
    const int32_t most_x = field->grey.width - piece.width;
    const int32_t most_y = field->grey.height - piece.height;
    piece.x = piece.x < 0 ? 0 : piece.x < most_x ? piece.x : most_x;
    piece.y = piece.y < 0 ? 0 : piece.y < most_y ? piece.y : most_y;
    return piece;
}

/* Rows of the piece, three bytes a pixel. */
static void copy_grey(const struct kb_field *field, const struct kb_rect *piece, uint8_t *to) {
    for (int32_t y = 0; y < piece->height; y++) {
        const uint8_t *row = kb_row(&field->grey, piece->y + y) + piece->x;
        for (int32_t x = 0; x < piece->width; x++, to += 3) {
            to[0] = to[1] = to[2] = row[x];
        }
    }
}

static void copy_drawn(const struct kb_picture *drawn, const struct kb_rect *piece, uint8_t *to) {
    const size_t length = (size_t)piece->width * 3;
    for (int32_t y = 0; y < piece->height; y++, to += length) {
        const size_t first = (size_t)(piece->y + y) * (size_t)drawn->width + (size_t)piece->x;
        memcpy(to, drawn->rgb + first * 3, length);
    }
}

static void enlarge(const uint8_t *from, const struct kb_rect *piece, int32_t times,
                    struct kb_picture *to) {
    uint8_t *at = to->rgb;
    for (int32_t y = 0; y < to->height; y++) {
        const uint8_t *row = from + (size_t)(y / times) * (size_t)piece->width * 3;
        for (int32_t x = 0; x < to->width; x++, at += 3) {
            memcpy(at, row + (size_t)(x / times) * 3, 3);
        }
    }
}

/* Four strokes about the point, dark with a pale rim. */
static void mark(struct kb_picture *picture, double x, double y) {
    const int32_t gap = 6, length = 14, half = 1; /* px of the page */
    const int32_t cx = (int32_t)x, cy = (int32_t)y;
    for (int rim = 1; rim >= 0; rim--) {
        const struct kb_rgb colour = rim == 1 ? KB_PAPER : KB_INK;
        const int32_t wide = half + rim, begin = gap - rim, span = length + 2 * rim;
        const int32_t across = 2 * wide + 1;
        kb_paint_block(picture, cx + begin, cy - wide, span, across, colour);
        kb_paint_block(picture, cx - begin - span + 1, cy - wide, span, across, colour);
        kb_paint_block(picture, cx - wide, cy + begin, across, span, colour);
        kb_paint_block(picture, cx - wide, cy - begin - span + 1, across, span, colour);
    }
}

/* `from` holds the piece; enlarged or shrunk, marked, encoded. */
static enum kb_status show(const uint8_t *from, const struct kb_rect *piece,
                           const struct kb_why *at, uint8_t **jpeg, size_t *size,
                           struct kb_err *err) {
    const int32_t side = piece->width > piece->height ? piece->width : piece->height;
    const int32_t times = side < SHOWN ? SHOWN / side : 1;
    const double scale = side > SHOWN ? (double)SHOWN / (double)side : (double)times;
    struct kb_picture shown = {
        .width = (int32_t)fmax((double)piece->width * scale, 1.0),
        .height = (int32_t)fmax((double)piece->height * scale, 1.0),
    };
    const size_t bytes = (size_t)shown.width * (size_t)shown.height * 3;
    shown.rgb = kb_alloc(bytes, 1);
    if (shown.rgb == NULL) {
        return kb_fail_memory(err, "report", bytes);
    }
    enum kb_status status = KB_OK;
    if (side > SHOWN) {
        status = kb_shrink(from, piece->width, piece->height, (size_t)piece->width * 3, 3,
                           shown.width, shown.height, shown.rgb, err);
    } else {
        enlarge(from, piece, times, &shown);
    }
    if (status == KB_OK) {
        mark(&shown, (at->x + 0.5 - piece->x) * scale, (at->y + 0.5 - piece->y) * scale);
        status = kb_jpeg_encode(shown.rgb, shown.width, shown.height, 3, jpeg, size, err);
    }
    kb_picture_release(&shown);
    return status;
}

enum kb_status kb_explained_pictures(const struct kb_field *field, const struct kb_picture *overlay,
                                     struct kb_rect particle, struct kb_explained *explained,
                                     struct kb_err *err) {
    const struct kb_rect piece = square_about(field, particle);
    const size_t bytes = (size_t)piece.width * (size_t)piece.height * 3;
    uint8_t *rows = kb_alloc(bytes, 1);
    if (rows == NULL) {
        return kb_fail_memory(err, "report", bytes);
    }
    explained->shown = piece;
    copy_grey(field, &piece, rows);
    enum kb_status status =
        show(rows, &piece, &explained->way, &explained->photo_jpeg, &explained->photo_size, err);
    if (status == KB_OK && overlay->rgb != NULL) {
        copy_drawn(overlay, &piece, rows);
        status = show(rows, &piece, &explained->way, &explained->overlay_jpeg,
                      &explained->overlay_size, err);
    }
    kb_free(rows);
    return status;
}
