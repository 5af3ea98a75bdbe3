/* stroke.c - the pixels under a stroke that a person drew.
 *
 * A stroke is a chain of straight lines between pixel centres. Under it lie all pixels whose square
 * the line enters or touches, so that neither four nor eight neighbours lead across it, and the
 * same pixels come out however the picture is turned or mirrored and from whichever end it was
 * drawn. Whole numbers throughout: row by row, the columns between where the line enters the row
 * and where it leaves it, in halves of a pixel.
 */
#include "morphology_priv.h"

#include <stdlib.h>

static enum kb_status add(struct kb_stroke *stroke, int32_t x, int32_t y, struct kb_err *err) {
    void *items = stroke->pixel;
    if (!kb_grow(&items, stroke->count, &stroke->capacity, sizeof *stroke->pixel)) {
        return kb_fail_memory(err, "morphology", sizeof *stroke->pixel);
    }
    stroke->pixel = items;
    stroke->pixel[stroke->count++] = (struct kb_place){x, y};
    return KB_OK;
}

/* Rounded down; `by` is positive. */
static int64_t quotient(int64_t value, int64_t by) {
    int64_t q = value / by;
    return value % by < 0 ? q - 1 : q;
}

static int64_t larger(int64_t a, int64_t b) {
    return a > b ? a : b;
}

static int64_t lesser(int64_t a, int64_t b) {
    return a < b ? a : b;
}

/* Columns of row y that the line from a down to b touches, both inclusive. */
static void columns_of_row(struct kb_place a, struct kb_place b, int64_t y, int64_t *from,
                           int64_t *to) {
    const int64_t dx = (int64_t)b.x - a.x;
    const int64_t dy = (int64_t)b.y - a.y;
    if (dy == 0) {
        *from = lesser(a.x, b.x);
        *to = larger(a.x, b.x);
        return;
    }
    /* twice the heights at which it is in this row, less twice that of a */
    const int64_t top = larger(2 * (y - a.y) - 1, 0);
    const int64_t bottom = lesser(2 * (y - a.y) + 1, 2 * dy);
    const int64_t left = lesser(top * dx, bottom * dx);
    const int64_t right = larger(top * dx, bottom * dx);
    /* x - 1/2 <= right / 2 dy and x + 1/2 >= left / 2 dy, from a.x on */
    *from = a.x - quotient(dy - left, 2 * dy);
    *to = a.x + quotient(right + dy, 2 * dy);
}

static enum kb_status draw_line(struct kb_place a, struct kb_place b, int32_t width, int32_t height,
                                struct kb_stroke *stroke, struct kb_err *err) {
    if (a.y > b.y) {
        const struct kb_place upper = b;
        b = a;
        a = upper;
    }
    const int64_t last = lesser(b.y, height - 1);
    for (int64_t y = larger(a.y, 0); y <= last; y++) {
        int64_t from = 0;
        int64_t to = 0;
        columns_of_row(a, b, y, &from, &to);
        for (int64_t x = larger(from, 0); x <= lesser(to, width - 1); x++) {
            enum kb_status status = add(stroke, (int32_t)x, (int32_t)y, err);
            if (status != KB_OK) {
                return status;
            }
        }
    }
    return KB_OK;
}

static int by_row_and_column(const void *left, const void *right) {
    const struct kb_place *a = left;
    const struct kb_place *b = right;
    if (a->y != b->y) {
        return a->y < b->y ? -1 : 1;
    }
    return (a->x > b->x) - (a->x < b->x);
}

static void drop_doubles(struct kb_stroke *stroke) {
    size_t kept = 0;
    for (size_t i = 0; i < stroke->count; i++) {
        if (kept == 0 || by_row_and_column(&stroke->pixel[kept - 1], &stroke->pixel[i]) != 0) {
            stroke->pixel[kept++] = stroke->pixel[i];
        }
    }
    stroke->count = kept;
}

enum kb_status kb_stroke_draw(const struct kb_place *point, size_t points, int32_t width,
                              int32_t height, struct kb_stroke *stroke, struct kb_err *err) {
    enum kb_status status = KB_OK;
    stroke->count = 0;
    for (size_t i = 0; i + 1 < points && status == KB_OK; i++) {
        status = draw_line(point[i], point[i + 1], width, height, stroke, err);
    }
    if (status == KB_OK && stroke->count > 1) {
        qsort(stroke->pixel, stroke->count, sizeof *stroke->pixel, by_row_and_column);
        drop_doubles(stroke);
    }
    return status;
}

size_t kb_stroke_from(const struct kb_stroke *stroke, int32_t x, int32_t y) {
    const struct kb_place wanted = {x, y};
    size_t low = 0;
    size_t high = stroke->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (by_row_and_column(&stroke->pixel[middle], &wanted) < 0) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

void kb_stroke_release(struct kb_stroke *stroke) {
    kb_free(stroke->pixel);
    *stroke = (struct kb_stroke){0};
}
