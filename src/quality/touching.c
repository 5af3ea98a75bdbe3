/* touching.c - the check that stands behind the particles: can touching nodules be parted here?
 *
 * Parting says itself how sure it is: each cut it made, or left, stands by a margin, and of drawn
 * necks of known truth it is known how often such a margin is wrong (morphology/pieces.c). The sum
 * over a field is what is to be expected wrong: as a share of the particles it tells of their
 * number, as a share of their area of nodularity; the worse one is judged. The limits were found on
 * drawn fields of one set of seeds and tried on another (tests/ladder): below the warning number
 * and nodularity are within 3 % and 2 points of the truth, but for the chance that single particles
 * bring; not fit where they are about to leave 5. A field in which not even one particle is to be
 * expected wrong is not refused, however few it has. The phases do not care: a field that is not
 * fit here stays usable for them.
 *
 * Limit: nodules that lie over each other without a concave place leave no trace, and no doubt.
 */
#include "quality_priv.h"

void kb_quality_touching(double wrong, double share, double area_share,
                         const struct kb_quality_params *params, struct kb_quality *quality) {
    struct kb_check_result *r = &quality->check[KB_CHECK_TOUCHING];
    kb_quality_judge(params, KB_CHECK_TOUCHING, 100.0 * fmax(share, area_share), 1.0, "%", r);
    if (r->fitness == KB_NOT_FIT && wrong < 1.0) {
        r->fitness = KB_USABLE;
    }
    (void)snprintf(
        r->says, sizeof r->says,
        "where nodules touch or bulge, an estimated %.1f cuts are wrong or missing: %.2g %% of "
        "the particles, beside %.2g %% of the graphite",
        wrong, 100.0 * share, 100.0 * area_share);
    r->advice[0] = '\0';
    if (r->fitness != KB_FIT) {
        (void)snprintf(r->advice, sizeof r->advice, "%s",
                       kb_quality_advice_on_touching(r->fitness));
    }
    quality->fitness = KB_FIT;
    for (int i = 0; i < KB_CHECKS; i++) {
        enum kb_fitness fitness = quality->check[i].fitness;
        fitness = i == KB_CHECK_TOUCHING && fitness == KB_NOT_FIT ? KB_USABLE : fitness;
        quality->fitness = fitness > quality->fitness ? fitness : quality->fitness;
    }
}
