/* quality.c - is this field fit to measure? The whole way of this stage.
 *
 *   sample    one sparse pass: grey by phase, noise, block edges
 *   edges     profiles across phase outlines: focus
 *   tiles     grey by phase and place: etch, stains
 *   traces, tracks, families    straight scratches
 *   graphite  particles looked at along rays: pulled out, comet tails
 *   checks    each figure against its limits; words; the worst is the field's
 *
 * Everything is read from rows, columns and places at even distances, never from a second picture
 * of full size. The limits are those at which drawn fields of known truth, made worse one fault at
 * a time, begin to be measured wrongly (tests/ladder); they stand in quality_params.c.
 */
#include "quality_priv.h"

#include <string.h>

static enum kb_status check_job(const struct kb_field *field, const struct kb_phase_map *map,
                                const struct kb_quality_params *params, struct kb_err *err) {
    enum kb_status status = kb_quality_params_check(params, err);
    if (status == KB_OK && (field->grey.px == NULL || field->grey.width != map->label.width ||
                            field->grey.height != map->label.height)) {
        status = kb_fail(err, KB_E_USAGE, KB_QUALITY_STAGE, field->path,
                         "the phase map is not of this field (segment the field first)");
    }
    return status;
}

enum kb_status kb_quality_run(const struct kb_field *field, const struct kb_phase_map *map,
                              enum kb_material material, enum kb_contrast contrast,
                              const struct kb_quality_params *params, struct kb_quality *quality,
                              struct kb_err *err) {
    memset(quality, 0, sizeof *quality);
    enum kb_status status = check_job(field, map, params, err);
    if (status != KB_OK) {
        return status;
    }
    struct kb_look look = {
        .field = field,
        .map = map,
        .material = material,
        .contrast = contrast,
        .params = params,
        .px_um = field->px_um > 0.0 ? field->px_um : 0.0,
        .out = quality,
    };
    status = kb_quality_sample(&field->grey, &map->label, &look.seen, err);
    if (status == KB_OK) {
        status = kb_quality_checks(&look, err);
    }
    if (status != KB_OK) {
        memset(quality, 0, sizeof *quality);
    }
    return status;
}
