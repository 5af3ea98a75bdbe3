/* polygon.c - free outlines that are left out: which pixels lie inside.
 *
 * Corners of the outline are corners of pixels, and a pixel is inside when its centre is, by the
 * even-odd rule. So no corner ever lies level with a centre, and an outline along the sides of a
 * rectangle holds just the pixels of the rectangle. Sides are followed in whole numbers: a centre
 * that lies on a side belongs to the pixels on its right.
 */
#include "segmentation_priv.h"

#include <stdlib.h>
#include <string.h>

/* Rounded up; `by` is positive. */
static int64_t quotient_up(int64_t value, int64_t by) {
    const int64_t q = value / by;
    return value % by > 0 ? q + 1 : q;
}

/* The first column whose centre, in row y, lies on the side from a to b or to the right of it;
 * false where the side does not pass the row's centres. */
static bool passes(struct kb_place a, struct kb_place b, int32_t y, int64_t *column) {
    if ((a.y <= y) == (b.y <= y)) {
        return false;
    }
    const struct kb_place upper = a.y < b.y ? a : b;
    const struct kb_place lower = a.y < b.y ? b : a;
    const int64_t dx = (int64_t)lower.x - upper.x;
    const int64_t dy = (int64_t)lower.y - upper.y;
    const int64_t down = 2 * ((int64_t)y - upper.y) + 1; /* to the centres, in halves of a pixel */
    *column = upper.x + quotient_up(down * dx - dy, 2 * dy);
    return true;
}

static struct kb_place corner_after(const struct kb_polygon *polygon, size_t i) {
    return polygon->corner[i + 1 < polygon->corners ? i + 1 : 0];
}

bool kb_polygon_holds(const struct kb_polygon *polygon, int32_t x, int32_t y) {
    bool inside = false;
    for (size_t i = 0; i < polygon->corners; i++) {
        int64_t column = 0;
        if (passes(polygon->corner[i], corner_after(polygon, i), y, &column) && column <= x) {
            inside = !inside;
        }
    }
    return inside;
}

struct kb_rect kb_polygon_box(const struct kb_polygon *polygon) {
    int32_t x0 = INT32_MAX;
    int32_t y0 = INT32_MAX;
    int32_t x1 = INT32_MIN;
    int32_t y1 = INT32_MIN;
    for (size_t i = 0; i < polygon->corners; i++) {
        const struct kb_place at = polygon->corner[i];
        x0 = at.x < x0 ? at.x : x0;
        y0 = at.y < y0 ? at.y : y0;
        x1 = at.x > x1 ? at.x : x1;
        y1 = at.y > y1 ? at.y : y1;
    }
    return (struct kb_rect){x0, y0, x1 - x0, y1 - y0};
}

static int by_value(const void *left, const void *right) {
    const int64_t a = *(const int64_t *)left;
    const int64_t b = *(const int64_t *)right;
    return (a > b) - (a < b);
}

static void paint_row(const struct kb_polygon *polygon, int32_t y, int64_t *column,
                      struct kb_image *label) {
    size_t sides = 0;
    for (size_t i = 0; i < polygon->corners; i++) {
        sides += passes(polygon->corner[i], corner_after(polygon, i), y, &column[sides]);
    }
    qsort(column, sides, sizeof *column, by_value);
    for (size_t i = 0; i + 1 < sides; i += 2) {
        const int64_t x0 = column[i] > 0 ? column[i] : 0;
        const int64_t x1 = column[i + 1] < label->width ? column[i + 1] : label->width;
        if (x0 < x1) {
            memset(kb_row(label, y) + x0, KB_EXCLUDED, (size_t)(x1 - x0));
        }
    }
}

enum kb_status kb_seg_leave_out(const struct kb_polygon *polygon, struct kb_image *label,
                                struct kb_err *err) {
    int64_t *column = kb_alloc(polygon->corners, sizeof *column);
    if (column == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, polygon->corners * sizeof *column);
    }
    const struct kb_rect box = kb_polygon_box(polygon);
    const int32_t top = box.y > 0 ? box.y : 0;
    const int32_t end = box.y + box.height < label->height ? box.y + box.height : label->height;
    for (int32_t y = top; y < end; y++) {
        paint_row(polygon, y, column, label);
    }
    kb_free(column);
    return KB_OK;
}
