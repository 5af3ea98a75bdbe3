/* run_order.c - the runs of each region together, top to bottom.
 *
 * A counting sort by region: count, add up, place. Two sweeps over the runs, linear in their
 * number.
 */
#include "raster_priv.h"

static void count_runs(const struct kb_runs *runs, size_t *start) {
    for (size_t i = 0; i < runs->count; i++) {
        start[runs->run[i].region + (size_t)1]++;
    }
    for (size_t region = 0; region < runs->regions; region++) {
        start[region + 1] += start[region];
    }
}

/* Uses start[region] as the next free place, which leaves every start at the next region's. */
static void place_runs(const struct kb_runs *runs, struct kb_run_order *order) {
    for (int32_t y = 0; y < runs->height; y++) {
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            size_t place = order->start[runs->run[i].region]++;
            order->order[place] = i;
            order->y[place] = y;
        }
    }
    for (size_t region = runs->regions; region > 0; region--) {
        order->start[region] = order->start[region - 1];
    }
    order->start[0] = 0;
}

enum kb_status kb_run_order_make(const struct kb_runs *runs, struct kb_run_order *order,
                                 struct kb_err *err) {
    size_t starts = (size_t)runs->regions + 1;
    *order = (struct kb_run_order){
        .start = kb_alloc_zero(starts, sizeof order->start[0]),
        .order = kb_alloc(runs->count, sizeof order->order[0]),
        .y = kb_alloc(runs->count, sizeof order->y[0]),
    };
    if (order->start == NULL || order->order == NULL || order->y == NULL) {
        kb_run_order_release(order);
        return kb_fail_memory(err, "raster",
                              starts * sizeof order->start[0] +
                                  runs->count * (sizeof order->order[0] + sizeof order->y[0]));
    }
    count_runs(runs, order->start);
    place_runs(runs, order);
    return KB_OK;
}

void kb_run_order_release(struct kb_run_order *order) {
    kb_free(order->start);
    kb_free(order->order);
    kb_free(order->y);
    *order = (struct kb_run_order){0};
}
