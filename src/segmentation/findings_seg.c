/* findings_seg.c - what a reader of the phase map must know, in words a metallographer can act on.
 *
 * Each rule looks at one figure and has one limit, named here. The limits are common practice, no
 * published source, unless said otherwise. Advice to etch again carries the pointer to the
 * cautions.
 */
#include "segmentation_priv.h"

/* Histogram between two classes over the lower of the two hills: above, the classes overlap. */
#define VALLEY_WARNS 0.7
/* Grey levels of 255 between the outer classes: below, noise and dirt decide. */
#define CONTRAST_LEAST 40.0
/* Light that varies by more than this is beyond what evening should be trusted with. */
#define UNEVEN_WARNS 0.45
/* Light left as it is and varying by more than this moves thresholds by half as much. */
#define UNEVEN_LEFT_WARNS 0.1
/* Standard deviation of noise, grey levels of 255. */
#define NOISE_WARNS 12.0
/* Graphite by area: 3.5 % carbon all as graphite is about 11 % by volume; flakes cut obliquely and
 * pulled-out graphite add to it. */
#define GRAPHITE_MOST 0.25
#define GRAPHITE_LEAST 0.01
/* Dark pixels given to pearlite: from this share of the picture on, worth a look. */
#define DARK_PEARLITE_TELLS 0.005

/* Share of bright stripes left open from which on the lamellae are wider than the window. */
#define STRIPES_OPEN_WARNS 0.1

/* Two near hills of the matrix, taken as one: from this share of the lesser on it matters. */
#define MERGED_WARNS 0.05
/* A middle hill of less than this share that is nearly as dark as graphite may be graphite. */
#define EITHER_MOST 0.15

#define CAUTION "(the usual cautions for etchants apply; trained staff decide)"

struct teller {
    const struct kb_seg *seg;
    const struct kb_segmentation_figures *f;
    struct kb_findings *to;
    double measured; /* pixels */
};

static double share(const struct teller *t, enum kb_phase phase) {
    return (double)t->f->pixels[phase] / t->measured;
}

static enum kb_status tell_scale(const struct teller *t, struct kb_err *err) {
    if (t->seg->field->px_um > 0.0) {
        return KB_OK;
    }
    return kb_findings_add(t->to, err, KB_NOTE, "scale-assumed-for-cleaning",
                           "The pixel size is not known. For cleaning specks and lines, and for "
                           "nothing else, %g um a pixel was assumed. Give the pixel size or a "
                           "scale bar.",
                           t->seg->params->fallback_px_um);
}

static enum kb_status tell_by_hand(const struct teller *t, struct kb_err *err) {
    bool dark = t->f->origin[0] == KB_THRESHOLD_BY_HAND;
    bool bright = t->f->thresholds == 2 && t->f->origin[1] == KB_THRESHOLD_BY_HAND;
    if (!dark && !bright) {
        return KB_OK;
    }
    return kb_findings_add(t->to, err, KB_NOTE, "threshold-by-hand",
                           "%s given by hand and applied to the evened picture. Keep it for all "
                           "fields of a specimen, and only with unchanged lamp and exposure.",
                           dark && bright ? "Both thresholds were"
                           : dark         ? "The dark threshold was"
                                          : "The bright threshold was");
}

static enum kb_status tell_light(const struct teller *t, struct kb_err *err) {
    double percent = 100.0 * t->f->unevenness;
    if (t->f->evened && t->f->unevenness > UNEVEN_WARNS) {
        return kb_findings_add(t->to, err, KB_WARNING, "uneven-light",
                               "The illumination varies by %.0f %% over the field. It was evened, "
                               "but the dark parts have little contrast left. Centre lamp and "
                               "diaphragms, or exclude the dark corners.",
                               percent);
    }
    if (!t->f->evened && t->f->unevenness > UNEVEN_LEFT_WARNS) {
        return kb_findings_add(t->to, err, KB_WARNING, "uneven-light",
                               "The illumination varies by %.0f %% over the field and was left as "
                               "it is, as asked. Thresholds do not mean the same everywhere. Let "
                               "it be evened, or give a blank-field picture.",
                               percent);
    }
    return KB_OK;
}

static enum kb_status tell_noise(const struct teller *t, struct kb_err *err) {
    if (t->seg->noise <= NOISE_WARNS) {
        return KB_OK;
    }
    return kb_findings_add(t->to, err, KB_WARNING, "noisy",
                           "Noise of %.0f grey levels of 255. Borders are uncertain by about a "
                           "pixel. Use more light, lower gain or averaging of frames.",
                           t->seg->noise);
}

static enum kb_status tell_contrast(const struct teller *t, struct kb_err *err) {
    const struct kb_seg *seg = t->seg;
    int last = seg->scheme.classes - 1;
    double apart = seg->class_level[last] - seg->class_level[0];
    if (apart >= CONTRAST_LEAST || seg->single || t->f->network.found) {
        return KB_OK;
    }
    return kb_findings_add(t->to, err, KB_WARNING, "low-contrast",
                           "Only %.0f grey levels of 255 lie between %s and %s. Use the full "
                           "range of the camera%s.",
                           apart, kb_phase_name(seg->scheme.phase[0]),
                           kb_phase_name(seg->scheme.phase[last]),
                           seg->params->contrast == KB_LIGHT ? ", or etch longer " CAUTION : "");
}

/* Two classes beside threshold i whose hills do not part. */
static bool overlaps(const struct teller *t, int i) {
    bool matrix_cut = i == t->seg->scheme.classes - 2;
    bool asked = t->f->origin[i] == KB_THRESHOLD_FOUND && t->f->valley[i] > VALLEY_WARNS;
    if (matrix_cut && t->seg->scheme.matrix_pair) {
        /* one hill alone is told of by tell_single; a few per cent beside it make no hill */
        return asked && !t->seg->matrix_is_one && !t->seg->single;
    }
    return asked && !t->seg->graphite_hidden;
}

static enum kb_status tell_overlap(const struct teller *t, struct kb_err *err) {
    for (int i = 0; i < t->f->thresholds && !t->f->network.found; i++) {
        if (!overlaps(t, i)) {
            continue;
        }
        enum kb_status status = kb_findings_add(
            t->to, err, KB_WARNING, "classes-overlap",
            "The grey levels of %s and %s overlap: between them the histogram falls only to "
            "%.0f %% of the lower hill. The share of both depends on the threshold. Look at the "
            "overlay; etch anew " CAUTION ", or set the threshold by hand.",
            kb_phase_name(t->f->class_phase[i]), kb_phase_name(t->f->class_phase[i + 1]),
            100.0 * t->f->valley[i]);
        if (status != KB_OK) {
            return status;
        }
    }
    return KB_OK;
}

static enum kb_status tell_single(const struct teller *t, struct kb_err *err) {
    const struct kb_seg *seg = t->seg;
    if (!seg->single) {
        return KB_OK;
    }
    double lines = 100.0 * (seg->line_share > 0.0 ? seg->line_share : 0.0);
    if (seg->films) {
        return kb_findings_add(t->to, err, KB_SERIOUS, "single-constituent",
                               "The matrix is pearlite crossed by bright lines (on %.1f %% of it "
                               "more than dark ones): films of ferrite too thin for these pixels. "
                               "Their area cannot be told, and the whole is reported as matrix. "
                               "Use a higher magnification.",
                               -100.0 * seg->line_share);
    }
    if (seg->single_phase == KB_MATRIX) {
        return kb_findings_add(t->to, err, KB_SERIOUS, "single-constituent",
                               "The matrix shows one constituent only, and its texture does not "
                               "say which (lines %.1f %%, smooth or in between): it is reported "
                               "as matrix. Check that the section is etched and in focus; etch "
                               "longer " CAUTION ", use a higher magnification, or set the "
                               "threshold by hand.",
                               lines);
    }
    if (seg->merged_share > MERGED_WARNS) {
        return kb_findings_add(t->to, err, KB_WARNING, "single-constituent",
                               "The matrix shows two greys so near to each other that they were "
                               "taken for shades of one constituent, %s. If they are ferrite and "
                               "pearlite, etch longer " CAUTION ", or set the threshold by hand.",
                               kb_phase_name(seg->single_phase));
    }
    return kb_findings_add(
        t->to, err, KB_NOTE, "single-constituent",
        seg->single_phase == KB_PEARLITE
            ? "The matrix shows one constituent only. It is taken for pearlite: rough or lamellar, "
              "without a network of boundaries (lines %.1f %%). Confirm on the picture."
            : "The matrix shows one constituent only. It is taken for ferrite: crossed by a "
              "network of boundaries (lines on %.1f %% of it). Confirm on the picture.",
        lines);
}

static enum kb_status tell_network(const struct teller *t, struct kb_err *err) {
    const struct kb_network *n = &t->f->network;
    if (!n->found) {
        return KB_OK;
    }
    return kb_findings_add(t->to, err, KB_NOTE, "cementite-network",
                           "Cementite was found as smooth regions behind a rim, not by its grey: "
                           "%.1f times smoother than the rest, %.0f %% of its outline on an edge, "
                           "%.0f %% of it in place when smooth means 10 %% less or more. Thin "
                           "plates make up %.1f %% of the field. What the rest is, pearlite or "
                           "spheroidite, is not told. Confirm on the overlay.",
                           n->contrast, 100.0 * n->rim, 100.0 * n->stability, 100.0 * n->plates);
}

static enum kb_status tell_shades(const struct teller *t, struct kb_err *err) {
    if (!t->seg->shades) {
        return KB_OK;
    }
    return kb_findings_add(t->to, err, KB_WARNING, "shades-of-pearlite",
                           "What is taken for %s is as rough as the pearlite beside it and may be "
                           "pearlite of another shade. Look at the overlay; magnify more, or set "
                           "the threshold by hand.",
                           kb_phase_name(t->seg->scheme.plain));
}

static enum kb_status tell_boundaries(const struct teller *t, struct kb_err *err) {
    const struct kb_seg *seg = t->seg;
    if (!seg->heavy_boundaries || seg->single_phase == KB_PEARLITE) {
        return KB_OK;
    }
    return kb_findings_add(t->to, err, KB_WARNING, "heavy-boundaries",
                           "Grain boundaries are etched broad. %.1f %% of the field was dark in "
                           "stretches narrower than %g um and counts as boundary; pearlite as fine "
                           "as that would be lost. Etch shorter " CAUTION " or magnify more.",
                           100.0 * (double)t->f->recovered_line_px / t->measured,
                           2.0 * seg->params->line_um);
}

static enum kb_status tell_lamellae(const struct teller *t, struct kb_err *err) {
    if (!t->seg->stripes_closed || t->f->pixels[KB_PEARLITE] == 0) {
        return KB_OK;
    }
    if (t->seg->stripes_open > STRIPES_OPEN_WARNS && !t->seg->single) {
        return kb_findings_add(t->to, err, KB_WARNING, "lamellae-coarse",
                               "The lamellae are wide: %.0f %% of the bright stripes in pearlite "
                               "could not be closed and count as %s. Give a colony window wider "
                               "than %g um, or photograph at a lower magnification.",
                               100.0 * t->seg->stripes_open, kb_phase_name(t->seg->scheme.plain),
                               t->seg->params->colony_um);
    }
    return kb_findings_add(t->to, err, KB_NOTE, "lamellae-resolved",
                           "The lamellae of pearlite are resolved (%.0f %% bright inside it). "
                           "Pearlite was taken as regions; its borders are good to about half a "
                           "lamella.",
                           100.0 * t->seg->stripes);
}

static enum kb_status tell_etched(const struct teller *t, struct kb_err *err) {
    if (!t->seg->looks_etched) {
        return KB_OK;
    }
    return kb_findings_add(t->to, err, KB_WARNING, "looks-etched",
                           "The field is called unetched, but its matrix has two greys. If it is "
                           "etched, say contrast light; if not, look for stains.");
}

static enum kb_status tell_graphite(const struct teller *t, struct kb_err *err) {
    double graphite = share(t, KB_GRAPHITE);
    enum kb_status status = KB_OK;
    if (!t->seg->scheme.graphite) {
        return status;
    }
    if (t->seg->graphite_hidden) {
        status = kb_findings_add(t->to, err, KB_WARNING, "graphite-not-distinct",
                                 "Graphite is hardly darker than pearlite, or there is next to "
                                 "none. Its share is uncertain. Measure graphite on an unetched "
                                 "section.");
    }
    double either = t->seg->light_graphite_share;
    if (status == KB_OK && either > 0.0 && either < EITHER_MOST) {
        status = kb_findings_add(t->to, err, KB_WARNING, "graphite-or-pearlite",
                                 "%.0f %% of the field is nearly as dark as graphite and counts "
                                 "as pearlite. If the overlay shows light nodules there, set the "
                                 "dark threshold by hand, or measure an unetched section.",
                                 100.0 * either);
    }
    if (status == KB_OK && graphite > GRAPHITE_MOST) {
        status = kb_findings_add(t->to, err, KB_SERIOUS, "graphite-implausible",
                                 "%.0f %% graphite is more than cast iron holds. Dark pearlite, "
                                 "stains or pores were taken for graphite. Measure graphite on an "
                                 "unetched section, or set the dark threshold by hand.",
                                 100.0 * graphite);
    }
    if (status == KB_OK && graphite < GRAPHITE_LEAST) {
        status = kb_findings_add(t->to, err, KB_WARNING, "graphite-scarce",
                                 "%.1f %% graphite is little for cast iron. Check material and "
                                 "contrast, and whether the field is representative.",
                                 100.0 * graphite);
    }
    if (status == KB_OK && (double)t->f->dark_pearlite_px > DARK_PEARLITE_TELLS * t->measured) {
        status = kb_findings_add(t->to, err, KB_NOTE, "dark-pearlite",
                                 "Regions of %.1f %% of the field are nearly as dark as graphite "
                                 "and were taken for pearlite. Compare with an unetched field.",
                                 100.0 * (double)t->f->dark_pearlite_px / t->measured);
    }
    return status;
}

enum kb_status kb_seg_findings(struct kb_seg *seg, struct kb_err *err) {
    static enum kb_status (*const rule[])(const struct teller *, struct kb_err *) = {
        tell_scale,    tell_by_hand, tell_light,    tell_noise,  tell_contrast,
        tell_overlap,  tell_single,  tell_network,  tell_shades, tell_boundaries,
        tell_lamellae, tell_etched,  tell_graphite,
    };
    struct teller teller = {seg, &seg->map->figures, &seg->map->findings, 0.0};
    for (int i = KB_EXCLUDED + 1; i < KB_PHASES; i++) {
        teller.measured += (double)seg->map->figures.pixels[i];
    }
    enum kb_status status = kb_seg_tell_other(seg, teller.to, err);
    for (size_t i = 0; i < sizeof rule / sizeof *rule && status == KB_OK; i++) {
        status = rule[i](&teller, err);
    }
    return status;
}
