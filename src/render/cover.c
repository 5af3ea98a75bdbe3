/* cover.c - how much of each pixel a union of polygons covers.
 *
 * Scan conversion with the non-zero winding rule over all polygons together, so that what overlaps
 * counts once. Each row of pixels is cut into ROWS lines; along a line the covered length is exact
 * to 1/256 of a pixel. A span adds a step up and a step down to a row of differences, and one
 * running sum turns them into cover: cost does not grow with the width of the spans.
 */
#include "render_priv.h"

#include <stdlib.h>
#include <string.h>

enum { ROWS = 8, UNIT = 256, FULL = ROWS * UNIT };

/* An edge that meets the line in hand. */
struct crossing {
    int64_t x; /* 1/256 pixel */
    size_t edge;
};

struct scan {
    struct kb_cover *cover;
    struct crossing *active; /* from left to right */
    size_t actives, next;
    int32_t *step; /* width + 2 differences */
    int32_t width;
};

enum kb_status kb_cover_add(struct kb_cover *cover, const struct kb_point *point, size_t n,
                            double px_um, struct kb_err *err) {
    double area = 0.0;
    for (size_t i = 0; i < n; i++) {
        struct kb_point a = point[i], b = point[(i + 1) % n];
        area += a.x * b.y - a.y * b.x;
    }
    for (size_t i = 0; i < n; i++) {
        struct kb_point a = point[i], b = point[(i + 1) % n];
        if (a.y == b.y) {
            continue;
        }
        if (!kb_grow((void **)&cover->edge, cover->edges, &cover->capacity, sizeof *cover->edge)) {
            return kb_fail_memory(err, KB_RENDER_STAGE, sizeof *cover->edge);
        }
        struct kb_edge *edge = &cover->edge[cover->edges++];
        edge->slope = (b.x - a.x) / (b.y - a.y);
        edge->x = a.x / px_um - edge->slope * (a.y / px_um);
        edge->y0 = fmin(a.y, b.y) / px_um;
        edge->y1 = fmax(a.y, b.y) / px_um;
        /* every polygon turns the same way, whichever way it was given */
        edge->winding = (a.y < b.y) == (area > 0.0) ? 1 : -1;
    }
    return KB_OK;
}

static int by_top(const void *a, const void *b) {
    double ya = ((const struct kb_edge *)a)->y0, yb = ((const struct kb_edge *)b)->y0;
    return (ya > yb) - (ya < yb);
}

/* Edges that meet the line at y, sorted from left to right. The order of the line before is nearly
 * right already, so that sorting by insertion costs little. */
static void cross_line(struct scan *scan, double y) {
    const struct kb_edge *edge = scan->cover->edge;
    size_t kept = 0;
    while (scan->next < scan->cover->edges && edge[scan->next].y0 <= y) {
        scan->active[scan->actives++].edge = scan->next++;
    }
    for (size_t i = 0; i < scan->actives; i++) {
        const struct kb_edge *e = &edge[scan->active[i].edge];
        if (e->y1 <= y) {
            continue;
        }
        double x = (e->x + e->slope * y) * UNIT;
        x = fmin(fmax(x, 0.0), (double)scan->width * UNIT);
        struct crossing c = {(int64_t)floor(x + 0.5), scan->active[i].edge};
        size_t j = kept++;
        for (; j > 0 && scan->active[j - 1].x > c.x; j--) {
            scan->active[j] = scan->active[j - 1];
        }
        scan->active[j] = c;
    }
    scan->actives = kept;
}

/* From x on, every pixel is covered by `sign` lines more. */
static void add_step(struct scan *scan, int64_t x, int32_t sign) {
    int32_t part = (int32_t)(x % UNIT);
    scan->step[x / UNIT] += sign * (UNIT - part);
    scan->step[x / UNIT + 1] += sign * part;
}

static void scan_line(struct scan *scan, double y) {
    int winding = 0;
    cross_line(scan, y);
    for (size_t i = 0; i < scan->actives; i++) {
        const struct crossing *c = &scan->active[i];
        int old = winding;
        winding += scan->cover->edge[c->edge].winding;
        if (old == 0 && winding != 0) {
            add_step(scan, c->x, 1);
        } else if (old != 0 && winding == 0) {
            add_step(scan, c->x, -1);
        }
    }
}

/* Turn the differences of one row into cover. Returns the covered sum. */
static uint64_t finish_row(struct scan *scan, uint8_t *to) {
    int32_t sum = 0;
    uint64_t total = 0;
    for (int32_t x = 0; x < scan->width; x++) {
        sum += scan->step[x];
        total += (uint64_t)sum;
        if (to != NULL) {
            to[x] = (uint8_t)((sum * 255 + FULL / 2) / FULL);
        }
    }
    memset(scan->step, 0, ((size_t)scan->width + 2) * sizeof *scan->step);
    return total;
}

enum kb_status kb_cover_draw(struct kb_cover *cover, int32_t width, int32_t height,
                             struct kb_image *to, double *share, struct kb_err *err) {
    struct scan scan = {.cover = cover, .width = width};
    enum kb_status status = KB_OK;
    uint64_t total = 0;
    scan.active = kb_alloc(cover->edges + 1, sizeof *scan.active);
    scan.step = kb_alloc_zero((size_t)width + 2, sizeof *scan.step);
    if (scan.active == NULL || scan.step == NULL) {
        status = kb_fail_memory(err, KB_RENDER_STAGE, (cover->edges + 1) * sizeof *scan.active);
        goto done;
    }
    if (cover->edges > 0) {
        qsort(cover->edge, cover->edges, sizeof *cover->edge, by_top);
    }
    for (int32_t y = 0; y < height; y++) {
        for (int line = 0; line < ROWS; line++) {
            scan_line(&scan, y + (line + 0.5) / ROWS);
        }
        total += finish_row(&scan, to == NULL ? NULL : kb_row(to, y));
    }
    *share = (double)total / ((double)FULL * (double)width * (double)height);
done:
    kb_free(scan.active);
    kb_free(scan.step);
    return status;
}

void kb_cover_release(struct kb_cover *cover) {
    kb_free(cover->edge);
    *cover = (struct kb_cover){0};
}
