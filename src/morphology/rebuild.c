/* rebuild.c - put other spans in the place of some runs: filled holes, pieces of parted clusters.
 *
 * Runs and spans are both sorted, so one merge by row does it. Afterwards either runs that touch
 * are joined (holes), or regions are renumbered in the order of their first pixel (pieces, which
 * lie side by side and must not be joined).
 */
#include "morphology_priv.h"

struct merge {
    struct kb_run *run; /* the fresh list */
    size_t count;
    bool join;
};

static void append(struct merge *merge, size_t row_first, struct kb_run run) {
    if (merge->join && merge->count > row_first && run.x0 <= merge->run[merge->count - 1].x1) {
        struct kb_run *last = &merge->run[merge->count - 1];
        last->x1 = run.x1 > last->x1 ? run.x1 : last->x1;
        return;
    }
    merge->run[merge->count++] = run;
}

/* Merge row y; `next` is the first span not used yet. Returns the one after. */
static size_t merge_row(const struct kb_runs *runs, int32_t y, const struct kb_spans *extra,
                        size_t next, const bool *dropped, struct merge *merge) {
    size_t row_first = merge->count;
    size_t i = runs->row[y];
    size_t end = runs->row[y + 1];
    for (;;) {
        while (i < end && dropped != NULL && dropped[runs->run[i].region]) {
            i++;
        }
        bool span_left = next < extra->count && extra->item[next].y == y;
        if (i == end && !span_left) {
            return next;
        }
        if (i < end && (!span_left || runs->run[i].x0 < extra->item[next].x0)) {
            append(merge, row_first, runs->run[i++]);
        } else {
            const struct kb_span *span = &extra->item[next++];
            append(merge, row_first, (struct kb_run){span->x0, span->x1, span->region});
        }
    }
}

static void merge_rows(struct kb_runs *runs, const struct kb_spans *extra, const bool *dropped,
                       struct merge *merge) {
    size_t next = 0;
    size_t before = 0;
    for (int32_t y = 0; y < runs->height; y++) {
        next = merge_row(runs, y, extra, next, dropped, merge);
        /* only now is the old beginning of row y no longer needed */
        runs->row[y] = before;
        before = merge->count;
    }
    runs->row[runs->height] = merge->count;
}

/* Number regions by first appearance; old numbers are below `limit`. */
static enum kb_status renumber(struct kb_runs *runs, uint32_t limit, uint32_t **former,
                               struct kb_err *err) {
    uint32_t *fresh = kb_alloc_zero((size_t)limit + 1, sizeof *fresh); /* 0: not seen yet */
    uint32_t *old = kb_alloc((size_t)limit + 1, sizeof *old);
    if (fresh == NULL || old == NULL) {
        kb_free(fresh);
        kb_free(old);
        return kb_fail_memory(err, "morphology", ((size_t)limit + 1) * sizeof *fresh);
    }
    uint32_t count = 0;
    for (size_t i = 0; i < runs->count; i++) {
        uint32_t *number = &fresh[runs->run[i].region];
        if (*number == 0) {
            old[count] = runs->run[i].region;
            *number = ++count;
        }
        runs->run[i].region = *number - 1;
    }
    runs->regions = count;
    kb_free(fresh);
    *former = old;
    return KB_OK;
}

static uint32_t region_limit(const struct kb_runs *runs, const struct kb_spans *extra) {
    uint32_t limit = runs->regions;
    for (size_t i = 0; i < extra->count; i++) {
        limit = extra->item[i].region >= limit ? extra->item[i].region + 1 : limit;
    }
    return limit;
}

enum kb_status kb_runs_rebuild(struct kb_runs *runs, const struct kb_spans *extra,
                               const bool *dropped, bool join, uint32_t **former,
                               struct kb_err *err) {
    size_t most = runs->count + extra->count;
    struct merge merge = {kb_alloc(most, sizeof *merge.run), 0, join};
    if (merge.run == NULL) {
        return kb_fail_memory(err, "morphology", most * sizeof *merge.run);
    }
    uint32_t limit = region_limit(runs, extra);
    merge_rows(runs, extra, dropped, &merge);
    kb_free(runs->run);
    runs->run = merge.run;
    runs->count = merge.count;
    if (join) {
        return KB_OK;
    }
    return renumber(runs, limit, former, err);
}
