/* simulated.c - charts of processes whose truth is known. */
#include "simulated.h"

#include "kb_cmocka.h"

void simulate_castings(struct kb_chart *chart, struct random *random, size_t count, double mean,
                       double drift) {
    for (size_t i = 0; i < count; i++) {
        const double value = mean + drift * (double)(i + 1) + random_normal(random);
        assert_int_equal(kb_chart_add(chart, value, "made", "2026-03-04", NULL), KB_OK);
    }
}

struct kb_chart_params free_params(void) {
    struct kb_chart_params params = kb_chart_params_default(KB_Q_NODULES_PER_MM2);
    params.least = (double)NAN;
    return params;
}

void run_chart(struct kb_chart *chart) {
    const struct kb_chart_params params = free_params();
    struct kb_err err;
    const enum kb_status status = kb_chart_run(chart, &params, &err);
    if (status != KB_OK) {
        fail_msg("%s", err.text);
    }
}
