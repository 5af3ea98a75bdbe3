/* simulated.h - charts of processes whose truth is known. */
#ifndef KB_TEST_SIMULATED_H
#define KB_TEST_SIMULATED_H

#include "keelblock/register.h"
#include "seeded.h"

/* Add `count` castings of N(mean, 1), the mean moving by `drift` a casting, to the chart. */
void simulate_castings(struct kb_chart *chart, struct random *random, size_t count, double mean,
                       double drift);
/* Run the chart by the defaults, for a quantity that may be anything. */
void run_chart(struct kb_chart *chart);
struct kb_chart_params free_params(void);

#endif
