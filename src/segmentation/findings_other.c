/* findings_other.c - what a reader must know of regions that fit neither ferrite nor pearlite, and
 * of those that might not and could not be told (other.c).
 *
 * The limits are common practice, no published source: from TELLS on a free part changes what the
 * matrix is called; from MUCH on the greys of ferrite and pearlite, which everything is held
 * against, are no longer sure themselves (drawn fields are then off by more than a point).
 */
#include "segmentation_priv.h"

#define MUCH 0.04
/* Shares of the matrix. */
#define ROUGH_TELLS 0.03
#define BRIGHT_TELLS 0.005

static enum kb_status tell_found(const struct kb_seg *seg, double matrix, struct kb_findings *to,
                                 struct kb_err *err) {
    const struct kb_segmentation_figures *f = &seg->map->figures;
    const double other = (double)(f->mid_grey_px + f->white_px) / matrix;
    if (f->mid_grey_px + f->white_px == 0) {
        return KB_OK;
    }
    enum kb_status status = kb_findings_add(
        to, err, KB_WARNING, "other-found",
        "%.1f %% of the matrix fits neither ferrite nor pearlite and counts as other: %.1f %% "
        "between their greys and smoother than pearlite, as bainite and martensite are; %.1f %% in "
        "pearlite and whiter than the ferrite beside graphite, as carbide is. Confirm at a higher "
        "magnification.",
        100.0 * other, 100.0 * (double)f->mid_grey_px / matrix,
        100.0 * (double)f->white_px / matrix);
    if (status == KB_OK && other >= MUCH) {
        status = kb_findings_add(
            to, err, KB_SERIOUS, "other-much",
            "With %.0f %% of the matrix other, the greys of ferrite and pearlite are not sure, and "
            "their shares may be off by several points. Name the constituents at a higher "
            "magnification, and count them by hand or etch to tell them apart (the usual cautions "
            "for etchants apply; trained staff decide).",
            100.0 * other);
    }
    return status;
}

enum kb_status kb_seg_tell_other(const struct kb_seg *seg, struct kb_findings *to,
                                 struct kb_err *err) {
    const uint64_t *pixels = seg->map->figures.pixels;
    const double matrix = (double)(pixels[KB_PEARLITE] + pixels[KB_FERRITE] + pixels[KB_OTHER]);
    if (!seg->map->figures.other_sought || !(matrix > 0.0)) {
        return KB_OK;
    }
    enum kb_status status = tell_found(seg, matrix, to, err);
    if (status == KB_OK && seg->light_pearlite_px > ROUGH_TELLS * matrix) {
        status =
            kb_findings_add(to, err, KB_NOTE, "light-pearlite",
                            "%.1f %% of the matrix is lighter than other pearlite but as rough, "
                            "and counts as pearlite. Feathery bainite can look the same.",
                            100.0 * seg->light_pearlite_px / matrix);
    }
    if (status == KB_OK && seg->bright_alone_px > BRIGHT_TELLS * matrix) {
        status =
            kb_findings_add(to, err, KB_WARNING, "ferrite-or-carbide",
                            "%.1f %% of the matrix is bright and counts as ferrite, but next to "
                            "none of it lies beside graphite, where ferrite forms first. Free "
                            "carbide looks the same. Look at the overlay; tell them apart with "
                            "an etchant for carbide (the usual cautions apply; trained staff "
                            "decide).",
                            100.0 * seg->bright_alone_px / matrix);
    }
    return status;
}
