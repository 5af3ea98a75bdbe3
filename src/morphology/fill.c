/* fill.c - close the holes of graphite particles.
 *
 * Nodules show light spots, cracks and polished-out centres that belong to them. A hole is a
 * 4-connected clear area, whatever its phase, that cannot reach the edge of the particle's box. It
 * is found from the gaps between the runs of a row: gaps of adjacent rows that overlap are joined
 * (union-find), and those that hang together with the outside are no holes. Particles inside a
 * filled hole become part of it.
 *
 * A network of flakes encloses matrix, which is no hole. So a hole is filled only when it is small
 * beside the graphite about it: its area is at most `hole_share` of the particle's own pixels in
 * the hole's box grown on each side by half the hole's equivalent diameter. With the default 0.5 a
 * ring is filled while its bore is below 0.58 of its outer diameter; matrix between thin flakes is
 * not. The rule is ours; no published source.
 */
#include "morphology_priv.h"

#include <math.h>

/* A gap between two runs of a row, or (the first entry) all that lies outside. */
struct gap {
    int32_t y, x0, x1;
    uint32_t parent;
};

struct hole {
    int64_t area;
    int32_t x0, y0, x1, y1; /* box, half-open */
    bool filled;
};

struct filler {
    struct kb_spans spans; /* of the region at hand */
    struct kb_spans fills; /* of all regions */
    struct gap *gap;
    struct hole *hole; /* by root gap */
    size_t capacity;   /* of both */
    size_t *row;       /* first span of each row of the region, and the end */
    size_t row_capacity;
    double hole_share;
};

static uint32_t root_of(struct gap *gap, uint32_t i) {
    while (gap[i].parent != i) {
        gap[i].parent = gap[gap[i].parent].parent;
        i = gap[i].parent;
    }
    return i;
}

/* The lower index becomes the root, so that what joins the outside has root 0. */
static void join(struct gap *gap, uint32_t a, uint32_t b) {
    a = root_of(gap, a);
    b = root_of(gap, b);
    if (a < b) {
        gap[b].parent = a;
    } else {
        gap[a].parent = b;
    }
}

static enum kb_status reserve(struct filler *filler, size_t gaps, size_t rows, struct kb_err *err) {
    if (gaps > filler->capacity) {
        size_t wanted = gaps + gaps / 4;
        struct gap *gap = kb_resize(filler->gap, wanted, sizeof *gap);
        filler->gap = gap != NULL ? gap : filler->gap;
        struct hole *hole = kb_resize(filler->hole, wanted, sizeof *hole);
        filler->hole = hole != NULL ? hole : filler->hole;
        if (gap == NULL || hole == NULL) {
            return kb_fail_memory(err, "morphology", wanted * sizeof *hole);
        }
        filler->capacity = wanted;
    }
    if (rows > filler->row_capacity) {
        size_t *row = kb_resize(filler->row, 2 * rows, sizeof *row);
        if (row == NULL) {
            return kb_fail_memory(err, "morphology", 2 * rows * sizeof *row);
        }
        filler->row = row;
        filler->row_capacity = 2 * rows;
    }
    return KB_OK;
}

/* Index the rows of the region; rows of a connected region follow each other. */
static size_t index_rows(struct filler *filler) {
    size_t rows = 0;
    for (size_t i = 0; i < filler->spans.count; i++) {
        if (i == 0 || filler->spans.item[i].y != filler->spans.item[i - 1].y) {
            filler->row[rows++] = i;
        }
    }
    filler->row[rows] = filler->spans.count;
    return rows;
}

/* Join a gap with what it overlaps in the row above: `above` .. `above_end` are the spans there,
 * `first_gap` the gap behind the first of them. */
static void join_above(struct filler *filler, uint32_t at, size_t above, size_t above_end,
                       uint32_t first_gap) {
    const struct kb_span *span = filler->spans.item;
    struct gap *gap = filler->gap;
    if (gap[at].x0 < span[above].x0 || gap[at].x1 > span[above_end - 1].x1) {
        join(gap, at, 0);
    }
    /* the first gap above that ends behind our beginning, by bisection */
    size_t low = 0;
    size_t high = above_end - above - 1;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (gap[first_gap + middle].x1 > gap[at].x0) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    for (size_t i = low; i < above_end - above - 1 && gap[first_gap + i].x0 < gap[at].x1; i++) {
        join(gap, at, first_gap + (uint32_t)i);
    }
}

/* Whether the gap reaches past the ends of the row below. */
static bool open_below(const struct filler *filler, const struct gap *gap, size_t below,
                       size_t below_end) {
    return gap->x0 < filler->spans.item[below].x0 || gap->x1 > filler->spans.item[below_end - 1].x1;
}

/* List the gaps of the region and join them; gap 0 is the outside. Returns their number. */
static uint32_t find_gaps(struct filler *filler, size_t rows) {
    const struct kb_span *span = filler->spans.item;
    struct gap *gap = filler->gap;
    gap[0] = (struct gap){0, 0, 0, 0};
    uint32_t count = 1;
    uint32_t above_gap = 1;
    for (size_t r = 0; r < rows; r++) {
        uint32_t row_gap = count;
        for (size_t i = filler->row[r]; i + 1 < filler->row[r + 1]; i++) {
            gap[count] = (struct gap){span[i].y, span[i].x1, span[i + 1].x0, count};
            bool edge = r == 0 || r + 1 == rows;
            if (edge || open_below(filler, &gap[count], filler->row[r + 1], filler->row[r + 2])) {
                join(gap, count, 0);
            }
            if (r > 0) {
                join_above(filler, count, filler->row[r - 1], filler->row[r], above_gap);
            }
            count++;
        }
        above_gap = row_gap;
    }
    return count;
}

static void gather_holes(struct filler *filler, uint32_t gaps) {
    for (uint32_t i = 1; i < gaps; i++) {
        filler->hole[i].area = 0;
    }
    for (uint32_t i = 1; i < gaps; i++) {
        const struct gap *gap = &filler->gap[i];
        uint32_t root = root_of(filler->gap, i);
        if (root == 0) {
            continue;
        }
        struct hole *hole = &filler->hole[root];
        if (hole->area == 0) {
            *hole = (struct hole){0, gap->x0, gap->y, gap->x1, gap->y + 1, false};
        }
        hole->area += gap->x1 - gap->x0;
        hole->x0 = gap->x0 < hole->x0 ? gap->x0 : hole->x0;
        hole->x1 = gap->x1 > hole->x1 ? gap->x1 : hole->x1;
        hole->y1 = gap->y + 1; /* gaps come row by row */
    }
}

/* Pixels of spans [first, end) of one row between x0 and x1. */
static int64_t row_pixels(const struct kb_span *span, size_t first, size_t end, int32_t x0,
                          int32_t x1) {
    size_t low = first;
    size_t high = end;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (span[middle].x1 > x0) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    int64_t pixels = 0;
    for (; low < end && span[low].x0 < x1; low++) {
        int32_t from = span[low].x0 > x0 ? span[low].x0 : x0;
        int32_t to = span[low].x1 < x1 ? span[low].x1 : x1;
        pixels += to - from;
    }
    return pixels;
}

static bool is_filled(const struct filler *filler, const struct hole *hole, size_t rows,
                      int64_t whole) {
    if ((double)hole->area > filler->hole_share * (double)whole) {
        return false;
    }
    static const double pi = 3.14159265358979323846;
    int32_t margin = (int32_t)ceil(sqrt((double)hole->area / pi));
    int32_t top = filler->spans.item[0].y;
    int32_t from = hole->y0 - margin > top ? hole->y0 - margin : top;
    int32_t to = hole->y1 + margin;
    to = to < top + (int32_t)rows ? to : top + (int32_t)rows;
    int64_t about = 0;
    for (int32_t y = from; y < to; y++) {
        size_t r = (size_t)(y - top);
        about += row_pixels(filler->spans.item, filler->row[r], filler->row[r + 1],
                            hole->x0 - margin, hole->x1 + margin);
    }
    return (double)hole->area <= filler->hole_share * (double)about;
}

static int64_t pixels_of(const struct kb_spans *spans) {
    int64_t pixels = 0;
    for (size_t i = 0; i < spans->count; i++) {
        pixels += spans->item[i].x1 - spans->item[i].x0;
    }
    return pixels;
}

/* Find the holes of the region in filler->spans and add what is to be filled to filler->fills. */
static enum kb_status fill_region(struct filler *filler, size_t rows, struct kb_err *err) {
    uint32_t gaps = find_gaps(filler, rows);
    gather_holes(filler, gaps);
    int64_t whole = pixels_of(&filler->spans);
    for (uint32_t i = 1; i < gaps; i++) {
        bool is_root = filler->gap[i].parent == i;
        filler->hole[i].filled = is_root && is_filled(filler, &filler->hole[i], rows, whole);
    }
    for (uint32_t i = 1; i < gaps; i++) {
        const struct gap *gap = &filler->gap[i];
        uint32_t root = root_of(filler->gap, i);
        if (root == 0 || !filler->hole[root].filled) {
            continue;
        }
        struct kb_span fill = {gap->y, gap->x0, gap->x1, 0};
        enum kb_status status = kb_spans_add(&filler->fills, fill, err);
        if (status != KB_OK) {
            return status;
        }
    }
    return KB_OK;
}

static enum kb_status fill_regions(struct filler *filler, const struct kb_runs *runs,
                                   const struct kb_run_order *order, struct kb_err *err) {
    for (uint32_t region = 0; region < runs->regions; region++) {
        size_t count = order->start[region + 1] - order->start[region];
        int32_t top = order->y[order->start[region]];
        int32_t bottom = order->y[order->start[region + 1] - 1];
        size_t rows = (size_t)(bottom - top) + 1;
        if (count < rows + 1) {
            continue; /* one run in every row: no gap */
        }
        enum kb_status status = kb_spans_take(&filler->spans, runs, order, region, err);
        if (status == KB_OK) {
            status = reserve(filler, count - rows + 1, rows + 2, err);
        }
        if (status == KB_OK) {
            (void)index_rows(filler);
            status = fill_region(filler, rows, err);
        }
        if (status != KB_OK) {
            return status;
        }
    }
    return KB_OK;
}

enum kb_status kb_fill_holes(struct kb_runs *runs, struct kb_run_order *order, double hole_share,
                             struct kb_err *err) {
    struct filler filler = {.hole_share = hole_share};
    enum kb_status status = fill_regions(&filler, runs, order, err);
    if (status == KB_OK && filler.fills.count > 0) {
        kb_spans_sort(&filler.fills);
        kb_run_order_release(order);
        status = kb_runs_rebuild(runs, &filler.fills, NULL, true, NULL, err);
        if (status == KB_OK) {
            status = kb_runs_relabel(runs, 8, err);
        }
        if (status == KB_OK) {
            status = kb_run_order_make(runs, order, err);
        }
    }
    kb_spans_release(&filler.spans);
    kb_spans_release(&filler.fills);
    kb_free(filler.gap);
    kb_free(filler.hole);
    kb_free(filler.row);
    return status;
}
