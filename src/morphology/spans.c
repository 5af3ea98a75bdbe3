/* spans.c - the runs of one region copied together, so that every measure walks one short array. */
#include "morphology_priv.h"

#include <stdlib.h>

enum kb_status kb_spans_add(struct kb_spans *spans, struct kb_span span, struct kb_err *err) {
    void *items = spans->item;
    if (!kb_grow(&items, spans->count, &spans->capacity, sizeof *spans->item)) {
        return kb_fail_memory(err, "morphology", sizeof *spans->item);
    }
    spans->item = items;
    spans->item[spans->count++] = span;
    return KB_OK;
}

static enum kb_status reserve(struct kb_spans *spans, size_t count, struct kb_err *err) {
    if (count <= spans->capacity) {
        return KB_OK;
    }
    size_t wanted = count + count / 2;
    struct kb_span *grown = kb_resize(spans->item, wanted, sizeof *grown);
    if (grown == NULL) {
        return kb_fail_memory(err, "morphology", wanted * sizeof *grown);
    }
    spans->item = grown;
    spans->capacity = wanted;
    return KB_OK;
}

enum kb_status kb_spans_take(struct kb_spans *spans, const struct kb_runs *runs,
                             const struct kb_run_order *order, uint32_t region,
                             struct kb_err *err) {
    size_t first = order->start[region];
    size_t count = order->start[region + 1] - first;
    enum kb_status status = reserve(spans, count, err);
    if (status != KB_OK) {
        return status;
    }
    for (size_t i = 0; i < count; i++) {
        const struct kb_run *run = &runs->run[order->order[first + i]];
        spans->item[i] = (struct kb_span){order->y[first + i], run->x0, run->x1, region};
    }
    spans->count = count;
    return KB_OK;
}

static int by_row_then_column(const void *left, const void *right) {
    const struct kb_span *a = left;
    const struct kb_span *b = right;
    if (a->y != b->y) {
        return a->y < b->y ? -1 : 1;
    }
    return (a->x0 > b->x0) - (a->x0 < b->x0);
}

void kb_spans_sort(struct kb_spans *spans) {
    if (spans->count > 1) {
        qsort(spans->item, spans->count, sizeof *spans->item, by_row_then_column);
    }
}

enum kb_status kb_spans_regions(const struct kb_spans *spans, int32_t width, int32_t height,
                                struct kb_runs *runs, struct kb_err *err) {
    *runs = (struct kb_runs){.width = width, .height = height, .count = spans->count};
    runs->row = kb_alloc((size_t)height + 1, sizeof *runs->row);
    runs->run = kb_alloc(spans->count + 1, sizeof *runs->run);
    if (runs->row == NULL || runs->run == NULL) {
        kb_runs_release(runs);
        return kb_fail_memory(err, "morphology", spans->count * sizeof *runs->run);
    }
    size_t next = 0;
    for (int32_t y = 0; y < height; y++) {
        runs->row[y] = next;
        for (; next < spans->count && spans->item[next].y == y; next++) {
            runs->run[next] = (struct kb_run){spans->item[next].x0, spans->item[next].x1, 0};
        }
    }
    runs->row[height] = next;
    enum kb_status status = kb_runs_relabel(runs, 8, err);
    if (status != KB_OK) {
        kb_runs_release(runs);
    }
    return status;
}

void kb_spans_release(struct kb_spans *spans) {
    kb_free(spans->item);
    *spans = (struct kb_spans){NULL, 0, 0};
}
