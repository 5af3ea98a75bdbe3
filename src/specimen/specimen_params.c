/* specimen_params.c - the wanted precision, its defaults and its check.
 *
 * Five fields: read of the Japanese practice for nodularity, from memory for ISO 945-4; 500
 * particles: from memory, both standards; 3.266 mm2: read of the Japanese practice, five prints of
 * 92 x 71 mm at 100x (made from refs/specimen_rules.csv). The wanted half-widths are
 * ours: 2 points of a phase and 5 points of nodularity, the step in which nodularity is reported by
 * eye in ISO 945-4.
 */
#include "specimen_priv.h"

struct kb_specimen_params kb_specimen_params_default(void) {
    return (struct kb_specimen_params){
        .want_points = 0.02,
        .want_nodularity_points = kb_specimen_rules.nodularity_step_percent,
        .want_count_share = 0.1,
        .min_fields = (size_t)kb_specimen_rules.min_fields,
        .min_particles = (size_t)kb_specimen_rules.min_particles,
        .min_area_mm2 = kb_specimen_rules.min_area_mm2,
    };
}

static bool within(double value, double most) {
    return isfinite(value) && value > 0.0 && value <= most;
}

enum kb_status kb_specimen_params_check(const struct kb_specimen_params *params,
                                        struct kb_err *err) {
    if (!within(params->want_points, 1.0)) {
        return kb_fail(err, KB_E_USAGE, "specimen", "want_points",
                       "the wanted half-width of a phase fraction is not above 0 and at most 1 "
                       "(0.02 means 2 points)");
    }
    if (!within(params->want_nodularity_points, 100.0)) {
        return kb_fail(err, KB_E_USAGE, "specimen", "want_nodularity_points",
                       "the wanted half-width of nodularity is not above 0 and at most 100 points "
                       "(5 is usual)");
    }
    if (!within(params->want_count_share, 1.0)) {
        return kb_fail(err, KB_E_USAGE, "specimen", "want_count_share",
                       "the wanted relative half-width of the count is not above 0 and at most 1 "
                       "(0.1 means 10 %%)");
    }
    if (!isfinite(params->threshold_step) || params->threshold_step < 0.0) {
        return kb_fail(err, KB_E_USAGE, "specimen", "threshold_step",
                       "the step is not 0 or above (grey levels; 0 does not move the thresholds)");
    }
    if (!isfinite(params->min_area_mm2) || params->min_area_mm2 < 0.0) {
        return kb_fail(err, KB_E_USAGE, "specimen", "min_area_mm2",
                       "the least area is not 0 or above (mm2; 0 asks for none)");
    }
    if (params->min_fields == 0) {
        return kb_fail(err, KB_E_USAGE, "specimen", "min_fields",
                       "a specimen takes at least one field (5 is usual)");
    }
    return KB_OK;
}
