/* history_way.h - results and batches into the register. */
#ifndef KB_HISTORY_WAY_H
#define KB_HISTORY_WAY_H

#include "keelblock/keelblock.h"

/* `batch` and `measured_at` stand in where the result states none; see kb_register_add(). */
KB_NODISCARD enum kb_status kb_history_add(struct kb_register *reg, const struct kb_result *result,
                                           const char *batch, const char *measured_at,
                                           struct kb_register_added *added, struct kb_err *err);
/* Every specimen that was measured as a whole, all or none. */
KB_NODISCARD enum kb_status kb_history_add_batch(struct kb_register *reg,
                                                 const struct kb_batch *batch, struct kb_err *err);

#endif
