/* phase_rule.c - what made a region of a field that phase, in one line: the grey classes and what
 * the later steps of segmentation gave and took.
 *
 * Single points are told step by step (kb_explained); this is the rule that most of the region
 * follows, from the figures of the field alone.
 */
#include "report_priv.h"

/* Share of the measured pixels, per cent. */
static double share(const struct kb_segmentation_figures *f, uint64_t pixels) {
    double measured = 0.0;
    for (int i = KB_EXCLUDED + 1; i < KB_PHASES; i++) {
        measured += (double)f->pixels[i];
    }
    return measured > 0.0 ? 100.0 * (double)pixels / measured : 0.0;
}

static void grey_level(struct kb_text *out, double level) {
    kb_text_significant(out, level, 4);
}

/* The grey class that stands for a phase; -1: none. */
static int class_of(const struct kb_segmentation_figures *f, enum kb_phase phase) {
    for (int i = 0; i < f->classes; i++) {
        if (f->class_phase[i] == phase) {
            return i;
        }
    }
    return -1;
}

static void grey_rule(const struct kb_segmentation_figures *f, int class, struct kb_text *out) {
    const int last = f->classes - 1;
    if (class == 0) {
        kb_text_add(out, "grey up to ");
        grey_level(out, f->threshold[0]);
    } else if (class == last) {
        kb_text_add(out, "grey above ");
        grey_level(out, f->threshold[last - 1]);
    } else {
        kb_text_add(out, "grey between ");
        grey_level(out, f->threshold[class - 1]);
        kb_text_add(out, " and ");
        grey_level(out, f->threshold[class]);
    }
    bool hand = f->origin[class == 0 ? 0 : class - 1] == KB_THRESHOLD_BY_HAND;
    kb_text_add(out, hand ? " (set by hand)" : "");
}

static void part(struct kb_text *out, const char *words, double percent) {
    if (percent >= 0.05) { /* as it would be shown: 0.1 % */
        kb_text_format(out, "; %s (", words);
        kb_text_significant(out, percent, 2);
        kb_text_add(out, " % of the field)");
    }
}

/* What the later steps did to the grey classes. */
static void later_steps(const struct kb_segmentation_figures *f, enum kb_phase phase,
                        struct kb_text *out) {
    const bool iron = f->class_phase[0] == KB_GRAPHITE;
    if (phase == KB_GRAPHITE) {
        kb_text_add(out, ", in regions deep or solid enough, with their enclosed bright spots");
    } else if (phase == KB_PEARLITE) {
        kb_text_add(out, f->lamellae_closed ? "; lamellae are resolved, and stripes between them "
                                              "belong to it by the local mean"
                                            : "; lamellae are not resolved");
        part(out, "dark regions that are no graphite belong to it",
             iron ? share(f, f->dark_pearlite_px) : 0.0);
    } else if (phase != KB_MATRIX || !iron) {
        part(out, "lines too narrow for pearlite belong to it", share(f, f->recovered_line_px));
    }
}

void kb_phase_rule(const struct kb_segmentation_figures *f, enum kb_phase phase,
                   struct kb_text *out) {
    const int class = class_of(f, phase);
    const bool matrix = phase != KB_GRAPHITE && phase != KB_OTHER;
    if (f->network.found && matrix) {
        kb_text_add(out, phase == KB_CEMENTITE
                             ? "smooth regions behind a rim, and thin straight plates; not by grey"
                             : "all that is rougher than the cementite");
    } else if (f->one_constituent && matrix) {
        kb_text_add(out,
                    phase == KB_MATRIX
                        ? "the matrix shows one constituent, and its texture does not say which"
                        : "the matrix shows one constituent, named by its texture");
    } else if (class >= 0) {
        grey_rule(f, class, out);
        later_steps(f, phase, out);
    } else if (phase == KB_OTHER) {
        kb_text_add(out, "fits none of the constituents looked for");
        part(out, "between ferrite and pearlite in grey and smoother than pearlite",
             share(f, f->mid_grey_px));
        part(out, "in pearlite, and whiter than the ferrite beside graphite",
             share(f, f->white_px));
        part(out, "with what was set by hand", share(f, f->by_hand_px));
    } else {
        kb_text_add(out, "set by hand");
    }
}
