/* batch_ask.c - what the papers of a batch ask of it: which quantities have limits, whether the
 * limits are the same for all, the figure over all specimens. */
#include "html_batch_priv.h"

const struct kb_limit_result *kb_batch_limit(const struct kb_batch_specimen *specimen,
                                             enum kb_quantity quantity) {
    for (size_t i = 0; i < specimen->judgement.count; i++) {
        if (specimen->judgement.limit[i].limit.quantity == quantity) {
            return &specimen->judgement.limit[i];
        }
    }
    return NULL;
}

struct kb_batch_limited kb_batch_limited(const struct kb_batch *batch) {
    struct kb_batch_limited limited = {.count = 0};
    bool taken[KB_QUANTITIES] = {false};
    for (size_t i = 0; i < batch->specimens; i++) {
        const struct kb_judgement *judgement = &batch->specimen[i].judgement;
        for (size_t k = 0; k < judgement->count; k++) {
            const enum kb_quantity quantity = judgement->limit[k].limit.quantity;
            if (!taken[quantity]) {
                taken[quantity] = true;
                limited.quantity[limited.count++] = quantity;
            }
        }
    }
    return limited;
}

static bool same(double a, double b) {
    return isfinite(a) && isfinite(b) ? !(fabs(a - b) > 0.0) : isfinite(a) == isfinite(b);
}

bool kb_batch_limit_of_all(const struct kb_batch *batch, enum kb_quantity quantity,
                           struct kb_limit *limit) {
    bool some = false;
    for (size_t i = 0; i < batch->specimens; i++) {
        const struct kb_limit_result *own = kb_batch_limit(&batch->specimen[i], quantity);
        if (own == NULL) {
            if (batch->specimen[i].judged) {
                return false;
            }
            continue;
        }
        if (some && (!same(own->limit.low, limit->low) || !same(own->limit.high, limit->high))) {
            return false;
        }
        *limit = own->limit;
        some = true;
    }
    return some;
}

const struct kb_batch_figure *kb_batch_figure(const struct kb_batch *batch,
                                              enum kb_quantity quantity) {
    for (size_t i = 0; i < batch->judgement.figures; i++) {
        if (batch->judgement.figure[i].quantity == quantity) {
            return &batch->judgement.figure[i];
        }
    }
    return NULL;
}

const char *kb_batch_decision_rule(const struct kb_batch *batch) {
    for (size_t i = 0; i < batch->specimens; i++) {
        if (batch->specimen[i].judgement.count > 0) {
            return batch->specimen[i].judgement.rule;
        }
    }
    return NULL;
}
