/* morphology_params.c - defaults and checks of the particle rules.
 *
 * The 10 um of the smallest rated particle are read for ASTM E2567 and from memory for ISO 945-4
 * (refs/particle_rules.csv); the other defaults are ours. Touching nodules are parted in ductile
 * iron only: in grey and compacted iron graphite hangs together by nature. How round pieces must be
 * beside what neck was chosen on some 10,000 necks of rendered fields (15 to 60 um across, 0.3 to 1
 * um a pixel; 30 to 100 % of the particles round; none to 40 % of them touching; worms taken for
 * ductile iron) so that cuts missed and cuts too many are about as many, and judged on others, of
 * other sizes and seeds (tests/cli/test_parting_truth.py). Looser marks cut ragged graphite into
 * false nodules, which would accept bad iron; stricter ones leave clusters whole.
 */
#include "morphology_priv.h"

struct kb_morphology_params kb_morphology_params_default(enum kb_material material) {
    return (struct kb_morphology_params){
        .min_feret_um = 10.0,
        .part_touching = material == KB_DUCTILE_IRON,
        .part_depth_um = 0.5,
        .flake = material == KB_GREY_IRON || material == KB_COMPACTED_IRON,
        .part_neck = 0.9,
        .part_round = 0.71,
        .part_round_neck = 0.15,
        .part_frame = 0.65,
        .part_frame_neck = 0.3,
        .part_alone = 0.7,
        .part_alone_neck = 0.5,
        .part_sure = 0.02,
        .part_chord = 0.73,
        .part_chord_least = 0.72,
        .part_gain = 0.05,
        .hole_share = 0.5,
        .fallback_px_um = 0.5,
        .outline_reach_px = 1.5,
        .outline_contrast = 12.0,
    };
}

static enum kb_status check_by_hand(const struct kb_morphology_params *params, struct kb_err *err) {
    if (params->by_hands > 0 && params->by_hand == NULL) {
        return kb_fail(err, KB_E_USAGE, "morphology", "forms by hand", "points are missing");
    }
    for (size_t i = 0; i < params->by_hands; i++) {
        int form = (int)params->by_hand[i].form;
        if (form < KB_FORM_I || form > KB_FORM_VI) {
            return kb_fail(err, KB_E_USAGE, "morphology", "forms by hand",
                           "unknown form (I, II, III, IV, V or VI of ISO 945-1)");
        }
    }
    return KB_OK;
}

static enum kb_status check_shapes(const struct kb_morphology_params *params, struct kb_err *err) {
    /* strokes may begin outside the picture, but not farther off than a picture is wide */
    const int32_t least = -KB_SIDE_MAX;
    const int32_t most = 2 * KB_SIDE_MAX;
    if (params->shapes > 0 && params->shape == NULL) {
        return kb_fail(err, KB_E_USAGE, "morphology", "cuts and joins by hand", "are missing");
    }
    for (size_t i = 0; i < params->shapes; i++) {
        const struct kb_shape_by_hand *said = &params->shape[i];
        if (said->point == NULL || said->points < 2 || (said->joins && said->points != 2)) {
            return kb_fail(err, KB_E_USAGE, "morphology", "cuts and joins by hand",
                           "a join needs two points, a cut two or more");
        }
        for (size_t k = 0; k < said->points; k++) {
            const struct kb_place *at = &said->point[k];
            if (at->x < least || at->y < least || at->x > most || at->y > most) {
                return kb_fail(err, KB_E_USAGE, "morphology", "cuts and joins by hand",
                               "%d,%d lies outside every picture (give x,y in pixels)", (int)at->x,
                               (int)at->y);
            }
        }
    }
    return KB_OK;
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
        {"roundness of two pieces", params->part_round, 0.0, 1.0, ""},
        {"roundness of two pieces by neck", params->part_round_neck, 0.0, 1.0, ""},
        {"roundness beside a cut piece", params->part_frame, 0.0, 1.0, ""},
        {"roundness beside a cut piece by neck", params->part_frame_neck, 0.0, 1.0, ""},
        {"roundness of a piece alone", params->part_alone, 0.0, 1.0, ""},
        {"roundness of a piece alone by neck", params->part_alone_neck, 0.0, 1.0, ""},
        {"margin of a sure cut", params->part_sure, 0.0, 1.0, ""},
        {"roundness of two pieces at a chord", params->part_chord, 0.0, 1.0, ""},
        {"least roundness at a chord", params->part_chord_least, 0.0, 1.0, ""},
        {"gain in roundness", params->part_gain, 0.0, 1.0, ""},
        {"share of a hole", params->hole_share, 0.0, 100.0, ""},
        {"stand-in pixel size", params->fallback_px_um, 1e-4, 100.0, " um"},
        {"reach of an outline", params->outline_reach_px, 0.5, 3.0, " px"},
        {"contrast of an outline", params->outline_contrast, 1.0, 255.0, " grey levels"},
    };
    for (size_t i = 0; i < sizeof range / sizeof range[0]; i++) {
        if (!(range[i].value >= range[i].low && range[i].value <= range[i].high)) {
            return kb_fail(err, KB_E_USAGE, "morphology", range[i].name,
                           "%g%s is out of range (give %g to %g%s)", range[i].value, range[i].unit,
                           range[i].low, range[i].high, range[i].unit);
        }
    }
    enum kb_status status = check_by_hand(params, err);
    return status == KB_OK ? check_shapes(params, err) : status;
}
