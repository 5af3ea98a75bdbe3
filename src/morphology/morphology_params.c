/* morphology_params.c - defaults and checks of the particle rules.
 *
 * The 10 um of the smallest rated particle are read for ASTM E2567 and from memory for ISO 945-4
 * (refs/particle_rules.csv); the other defaults are ours. Touching nodules are parted in ductile
 * iron only: in grey and compacted iron graphite hangs together by nature.
 */
#include "morphology_priv.h"

struct kb_morphology_params kb_morphology_params_default(enum kb_material material) {
    return (struct kb_morphology_params){
        .min_feret_um = 10.0,
        .part_touching = material == KB_DUCTILE_IRON,
        .part_depth_um = 0.5,
        .flake = material == KB_GREY_IRON || material == KB_COMPACTED_IRON,
        .part_neck = 0.8,
        .part_shape = 0.6,
        .part_solidity = 0.9,
        .part_shape_other = 0.4,
        .part_solidity_other = 0.85,
        .part_gain = 0.1,
        .hole_share = 0.5,
        .fallback_px_um = 0.5,
    };
}

struct range {
    const char *name;
    double value, low, high;
    const char *unit;
};

enum kb_status kb_morphology_params_check(const struct kb_morphology_params *params,
                                          struct kb_err *err) {
    /* beyond these a value is a slip of the pen, not a choice */
    const struct range range[] = {
        {"minimum Feret diameter", params->min_feret_um, 0.0, 1e4, " um"},
        {"depth of a neck", params->part_depth_um, 0.0, 1e3, " um"},
        {"width of a neck", params->part_neck, 0.0, 1.0, ""},
        {"shape factor of a round piece", params->part_shape, 0.0, 1.0, ""},
        {"solidity of a round piece", params->part_solidity, 0.0, 1.0, ""},
        {"shape factor of a compact piece", params->part_shape_other, 0.0, 1.0, ""},
        {"solidity of a compact piece", params->part_solidity_other, 0.0, 1.0, ""},
        {"gain in shape factor", params->part_gain, 0.0, 1.0, ""},
        {"share of a hole", params->hole_share, 0.0, 100.0, ""},
        {"stand-in pixel size", params->fallback_px_um, 1e-4, 100.0, " um"},
    };
    for (size_t i = 0; i < sizeof range / sizeof range[0]; i++) {
        if (!(range[i].value >= range[i].low && range[i].value <= range[i].high)) {
            return kb_fail(err, KB_E_USAGE, "morphology", range[i].name,
                           "%g%s is out of range (give %g to %g%s)", range[i].value, range[i].unit,
                           range[i].low, range[i].high, range[i].unit);
        }
    }
    return KB_OK;
}
