/* particles.c - the way of this stage: label, fill, measure, part, cut and join by hand, measure
 * again what changed, then by the grey at the borders where there is a picture.
 *
 * Graphite is 8-connected. Measuring by pixels costs a few operations a run, so after parting
 * everything is measured anew rather than carried over; what to part is always decided by pixels.
 * Memory goes with runs and particles, not with pixels; only parting and outlines draw a window
 * about one region at a time.
 */
#include "morphology_priv.h"

#include <string.h>

/* Below this many pixels across the least particle its shape factor is not to be trusted. By pixels
 * it scatters by 0.03 at 10 px and leans by up to 0.1 (computed; refs/feret_bias.csv); by a
 * sub-pixel outline it scatters by 0.02 at 8 px with strong noise and leans by 0.01
 * (refs/subpixel_bias.csv). */
static const double few_pixels = 10.0;
static const double few_pixels_outlined = 8.0;

static double filled_pixels(const struct kb_spans *spans, const struct kb_image *label) {
    int64_t filled = 0;
    for (size_t i = 0; i < spans->count; i++) {
        const struct kb_span *span = &spans->item[i];
        const uint8_t *row = kb_row(label, span->y);
        for (int32_t x = span->x0; x < span->x1; x++) {
            filled += row[x] != KB_GRAPHITE;
        }
    }
    return (double)filled;
}

/* ---- measuring --------------------------------------------------------------------------------
 */

struct bench {
    const struct kb_image *label;
    bool any_excluded;
    const struct kb_morphology_params *params;
    struct kb_spans spans;
    struct kb_hull hull;
};

static enum kb_status measure_region(struct bench *bench, const struct kb_run_order *order,
                                     uint32_t region, struct kb_particles *out,
                                     struct kb_err *err) {
    struct kb_particle *particle = &out->particle[region];
    enum kb_status status = kb_spans_take(&bench->spans, &out->runs, order, region, err);
    if (status == KB_OK) {
        status = kb_measure_region(&bench->spans, &bench->hull, particle, err);
    }
    if (status == KB_OK) {
        particle->id = region + 1;
        particle->hole_area_px2 = filled_pixels(&bench->spans, bench->label);
        particle->parted = particle->cut_by_hand = particle->joined_by_hand = false;
        kb_state_settle(&bench->spans, bench->label, bench->any_excluded ? bench->label : NULL,
                        out->px_um, bench->params->min_feret_um, particle);
    }
    return status;
}

static enum kb_status measure_regions(const struct kb_image *label,
                                      const struct kb_morphology_params *params,
                                      const struct kb_run_order *order, struct kb_particles *out,
                                      struct kb_err *err) {
    struct kb_particle *grown = kb_resize(out->particle, out->runs.regions, sizeof *out->particle);
    if (grown == NULL) {
        return kb_fail_memory(err, "morphology", out->runs.regions * sizeof *grown);
    }
    out->particle = grown;
    out->count = out->runs.regions;
    struct bench bench = {label, kb_state_any_excluded(label), params, {NULL, 0, 0}, {NULL, 0, 0}};
    enum kb_status status = KB_OK;
    for (uint32_t region = 0; region < out->runs.regions && status == KB_OK; region++) {
        status = measure_region(&bench, order, region, out, err);
    }
    kb_spans_release(&bench.spans);
    kb_hull_release(&bench.hull);
    return status;
}

/* ---- findings ---------------------------------------------------------------------------------
 */

static enum kb_status find_parting(const struct kb_part_result *result, struct kb_particles *out,
                                   struct kb_err *err) {
    enum kb_status status = KB_OK;
    if (result->clusters > 0) {
        status = kb_findings_add(
            &out->findings, err, KB_NOTE, "parted",
            "%zu cluster%s of touching nodules %s parted into %zu particles. Look at the cuts in "
            "the overlay; parting can be switched off.",
            result->clusters, result->clusters == 1 ? "" : "s",
            result->clusters == 1 ? "was" : "were", result->pieces);
    }
    if (status == KB_OK && result->given_up > 0) {
        status = kb_findings_add(&out->findings, err, KB_WARNING, "not-parted",
                                 "%zu graphite region%s too large or too tangled to be parted and "
                                 "left whole. Check that the "
                                 "threshold does not run graphite particles together.",
                                 result->given_up, result->given_up == 1 ? " was" : "s were");
    }
    return status;
}

static enum kb_status find_scale(const struct kb_morphology_params *params, bool parts,
                                 double few_px, struct kb_particles *out, struct kb_err *err) {
    if (out->count == 0) {
        return KB_OK;
    }
    if (!(out->px_um > 0.0)) {
        if (!parts) {
            return kb_findings_add(&out->findings, err, KB_WARNING, "particles-without-scale",
                                   "The pixel size is unknown, so no particle counts: the "
                                   "minimum of %g um cannot be applied. Give the pixel size.",
                                   params->min_feret_um);
        }
        return kb_findings_add(
            &out->findings, err, KB_WARNING, "particles-without-scale",
            "The pixel size is unknown, so no particle counts: the minimum of %g um cannot be "
            "applied. Touching nodules were parted as if a pixel were %g um. Give the pixel size.",
            params->min_feret_um, params->fallback_px_um);
    }
    double across = params->min_feret_um / out->px_um;
    if (params->min_feret_um > 0.0 && across < few_px) {
        return kb_findings_add(
            &out->findings, err, KB_WARNING, "few-pixels-across",
            "The smallest particles that count are only %.1f pixels across, too few for a shape "
            "factor. Take pictures with at most %.3g um a pixel, better %.3g um.",
            across, params->min_feret_um / few_px, params->min_feret_um / (2.0 * few_px));
    }
    return KB_OK;
}

static enum kb_status find_outlines(struct kb_particles *out, struct kb_err *err) {
    if (out->by_pixels <= out->by_outline) {
        return KB_OK;
    }
    return kb_findings_add(
        &out->findings, err, KB_NOTE, "pixel-rules",
        "%zu of %zu particles that count were measured by whole pixels: the grey has no clear edge "
        "along their borders. Check focus, contrast and thresholds.",
        out->by_pixels, out->by_pixels + out->by_outline);
}

/* ---- the whole way ----------------------------------------------------------------------------
 */

static void tally(struct kb_particles *out) {
    for (size_t i = 0; i < out->count; i++) {
        const struct kb_particle *particle = &out->particle[i];
        out->in_state[particle->state]++;
        out->by_outline += particle->state == KB_COUNTS && particle->subpixel;
        out->by_pixels += particle->state == KB_COUNTS && !particle->subpixel;
    }
}

/* The doubt as shares of the particles and of their area. What was left whole without a look is in
 * doubt as a whole: it could hold so many particles of the size of the others. */
static void settle_doubt(const struct kb_part_result *result, struct kb_particles *out) {
    double area = 0.0;
    double count = 0.0;
    for (size_t i = 0; i < out->count; i++) {
        const struct kb_particle *particle = &out->particle[i];
        bool sized = particle->state != KB_UNDER_SIZE;
        area += sized ? particle->area_px2 : 0.0;
        count += sized ? 1.0 : 0.0;
    }
    double others = area - result->whole_px;
    double size = others > 0.0 ? others / (count - (double)result->given_up) : area;
    double held = result->given_up > 0 ? result->whole_px / size : 0.0;
    if (area > 0.0) {
        out->doubtful = result->doubt.count + held;
        out->doubtful_share = out->doubtful / (count - (double)result->given_up + held);
        out->doubtful_area = (result->doubt.area_px2 + result->whole_px) / area;
    }
}

static enum kb_status part(const struct kb_image *label, const struct kb_morphology_params *params,
                           struct kb_run_order *order, struct kb_particles *out,
                           struct kb_err *err) {
    struct kb_part_result result = {0};
    enum kb_status status =
        kb_part_touching(label, out->px_um, params, out->particle, &out->runs, order, &result, err);
    if (status == KB_OK && result.clusters > 0) {
        status = measure_regions(label, params, order, out, err);
    }
    if (status == KB_OK && result.clusters > 0) {
        for (size_t i = 0; i < out->count; i++) {
            out->particle[i].parted = result.parted[i];
        }
    }
    out->parted_clusters = result.clusters;
    out->parted_pieces = result.pieces;
    settle_doubt(&result, out);
    if (status == KB_OK) {
        status = find_parting(&result, out, err);
    }
    kb_free(result.parted);
    return status;
}

/* Cuts and joins by hand, over the program's own parting. */
static enum kb_status shape(const struct kb_image *label, const struct kb_morphology_params *params,
                            struct kb_run_order *order, struct kb_particles *out,
                            struct kb_err *err) {
    struct kb_shape_marks marks;
    enum kb_status status = kb_shape_by_hand(params, order, out, &marks, err);
    if (status == KB_OK && marks.mark != NULL) {
        status = measure_regions(label, params, order, out, err);
        if (status == KB_OK) {
            kb_shape_mark(&marks, out);
        }
    }
    kb_free(marks.mark);
    return status == KB_OK ? kb_shape_tell(params, out, err) : status;
}

static enum kb_status run(const struct kb_phase_map *map, const struct kb_image *grey,
                          const struct kb_morphology_params *params, struct kb_run_order *order,
                          struct kb_particles *out, struct kb_err *err) {
    bool chosen[256] = {false};
    chosen[KB_GRAPHITE] = true;
    const bool parts = params->part_touching && !params->flake;
    enum kb_status status = kb_runs_label(&map->label, chosen, 8, &out->runs, err);
    if (status == KB_OK) {
        status = kb_run_order_make(&out->runs, order, err);
    }
    if (status == KB_OK) {
        status = kb_fill_holes(&out->runs, order, params->hole_share, err);
    }
    if (status == KB_OK) {
        status = measure_regions(&map->label, params, order, out, err);
    }
    if (status == KB_OK && parts) {
        status = part(&map->label, params, order, out, err);
    }
    if (status == KB_OK && params->shapes > 0) {
        status = shape(&map->label, params, order, out, err);
    }
    if (status == KB_OK && grey != NULL) {
        status = kb_subpixel_run(grey, &map->label, params, order, out, err);
    }
    if (status == KB_OK) {
        status = kb_forms_by_hand(params, out, err);
    }
    if (status == KB_OK) {
        tally(out);
        double few_px = grey != NULL ? few_pixels_outlined : few_pixels;
        status = find_scale(params, parts, few_px, out, err);
    }
    if (status == KB_OK && grey != NULL) {
        status = find_outlines(out, err);
    }
    return status;
}

static enum kb_status check_grey(const struct kb_image *label, const struct kb_image *grey,
                                 struct kb_err *err) {
    if (grey == NULL || (grey->width == label->width && grey->height == label->height)) {
        return KB_OK;
    }
    return kb_fail(err, KB_E_USAGE, "morphology", NULL,
                   "the grey picture is %d x %d pixels, the phase map %d x %d (give the picture "
                   "that was segmented)",
                   (int)grey->width, (int)grey->height, (int)label->width, (int)label->height);
}

enum kb_status kb_morphology_run(const struct kb_phase_map *map, const struct kb_image *grey,
                                 double px_um, const struct kb_morphology_params *params,
                                 struct kb_particles *out, struct kb_err *err) {
    *out = (struct kb_particles){.px_um = px_um > 0.0 && isfinite(px_um) ? px_um : 0.0,
                                 .width = map->label.width,
                                 .height = map->label.height,
                                 .min_feret_um = params->min_feret_um};
    struct kb_run_order order = {0};
    enum kb_status status = kb_morphology_params_check(params, err);
    if (status == KB_OK) {
        status = check_grey(&map->label, grey, err);
    }
    if (status == KB_OK) {
        status = run(map, grey, params, &order, out, err);
    }
    kb_run_order_release(&order);
    if (status != KB_OK) {
        kb_particles_release(out);
    }
    return status;
}

void kb_particles_drop_runs(struct kb_particles *particles) {
    kb_runs_release(&particles->runs);
    kb_free(particles->outline);
    kb_free(particles->outline_point);
    particles->outline = NULL;
    particles->outline_point = NULL;
    particles->outlines = particles->outline_capacity = 0;
    particles->outline_points = particles->outline_point_capacity = 0;
}

void kb_particles_release(struct kb_particles *particles) {
    kb_particles_drop_runs(particles);
    kb_free(particles->particle);
    kb_free(particles->named);
    kb_free(particles->shaped);
    kb_findings_release(&particles->findings);
    memset(particles, 0, sizeof *particles);
}
