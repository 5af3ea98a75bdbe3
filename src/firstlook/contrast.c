/* contrast.c - weigh what was measured, and say how the field was seen, or that it is not plain.
 *
 * Each observation lends each contrast so much of the logarithm of its odds; the sums are turned
 * into shares of belief. The weights were set by reasoning about how the pictures come about and
 * then looked at on drawn fields of every kind and on open data sets, in round figures and with
 * broad ramps, so that no single picture decides: an observation that is common with one contrast
 * and rare with another (one in ten) gets about 2, a mere tendency about 0.7. They are common
 * practice put in figures, no published source. Observations are not independent, so that belief is
 * not a frequency; the lead asked for (9 : 1) stands against that.
 */
#include "firstlook_priv.h"

/* Rises or falls in a straight line between two values, and is flat beyond them. */
struct ramp {
    double from, to;       /* of the figure */
    double at_from, at_to; /* logarithm of odds */
};

struct rule {
    const char *what, *unit;
    struct ramp ramp[3]; /* by enum kb_contrast; all zero: says nothing */
};

enum {
    PEAK,
    SHARE,
    SPREAD,
    FLAT_MID,
    DEPTH,
    THICK,
    LINES,
    NOISE,
    WHITE,
    SCAN,
    TURNED,
    SKEW,
    TEXTURE,
    RULES
};

static const struct rule rules[RULES] = {
    /* Metal that reflects is exposed near white, electrons about mid-grey; a light picture may be
     * dark, a polished one seldom is. */
    [PEAK] =
        {"grey level of the brightest peak of the histogram",
         "levels",
         {[KB_LIGHT_UNETCHED] = {120.0, 170.0, -1.0, 0.4}, [KB_SEM] = {140.0, 200.0, 0.5, -1.0}}},
    [SHARE] = {"share of pixels in the brightest peak",
               "",
               {[KB_LIGHT_UNETCHED] = {0.5, 0.8, -1.5, 0.7}}},
    /* The plainest sign of polish, and of secondary electrons never being so even. */
    [SPREAD] =
        {"spread of the bright part, noise taken off, over the distance from bright to dark",
         "",
         {[KB_LIGHT_UNETCHED] = {0.015, 0.06, 2.0, -2.5}, [KB_SEM] = {0.02, 0.08, -1.0, 0.0}}},
    /* The plainest sign of pearlite: nothing polished has areas of that grey. */
    [FLAT_MID] = {"share of flat areas midway between dark and bright",
                  "",
                  {[KB_LIGHT_UNETCHED] = {0.012, 0.1, 0.5, -6.0}}},
    /* Graphite reflects a fifth to a half of what metal does, pearlite more than half; thin flakes
     * are blurred to less. */
    [DEPTH] = {"distance from bright to darkest over the bright level",
               "",
               {[KB_LIGHT_UNETCHED] = {0.5, 0.65, -1.5, 0.3}}},
    /* A network of boundaries is thin all over; of graphite only the finest flakes are. */
    [THICK] = {"share of the dark that is not thin",
               "",
               {[KB_LIGHT_UNETCHED] = {0.02, 0.15, -1.5, 0.0}}},
    /* Boundaries of grains cover some per cent of ferrite; scratches and dirt of a polished section
     * that is fit to measure stay below one. */
    [LINES] = {"share of thin dark lines in the bright part",
               "",
               {[KB_LIGHT_UNETCHED] = {0.008, 0.022, 0.3, -3.6}}},
    /* Cameras are quieter; but frames are averaged, and cameras are turned up. */
    [NOISE] = {"noise, standard deviation", "levels", {[KB_SEM] = {2.0, 14.0, -0.6, 1.5}}},
    /* Says only how far the next two may be trusted. */
    [WHITE] = {"whiteness of it (1: noise alone, less: structure)", "", {{0}}},
    /* Noise that runs with the rows is rare with any camera, and as good as always there with a
     * beam, since one amplifier passes all pixels of a row; averaging frames does not take it
     * away. */
    [SCAN] = {"noise down the columns over noise along the rows, natural logarithm of power",
              "",
              {[KB_SEM] = {0.02, 0.2, -2.8, 4.8}}},
    /* A picture that was turned by a quarter after it was scanned. */
    [TURNED] = {"the same seen from the side, where the picture may have been turned",
                "",
                {[KB_SEM] = {0.1, 0.35, 0.0, 3.2}}},
    /* Against secondary electrons these two say little: graphite is dark in both. */
    [SKEW] = {"skewness of fine detail (bright on dark is positive)",
              "",
              {[KB_SEM] = {-0.4, 1.0, -0.8, 1.2}}},
    [TEXTURE] = {"texture in bright places over texture in dark ones, natural logarithm",
                 "",
                 {[KB_SEM] = {-0.6, 0.9, -0.8, 1.2}}},
};

static double on_ramp(const struct ramp *ramp, double value) {
    if (ramp->from >= ramp->to) {
        return 0.0;
    }
    double part = fmin(fmax((value - ramp->from) / (ramp->to - ramp->from), 0.0), 1.0);
    return ramp->at_from + part * (ramp->at_to - ramp->at_from);
}

static struct kb_evidence *add(struct kb_contrast_found *found, const char *what, double value,
                               const char *unit) {
    struct kb_evidence *fresh = &found->evidence[found->count++];
    *fresh = (struct kb_evidence){.what = what, .value = value, .unit = unit};
    return fresh;
}

/* How far the direction of the noise may be trusted, 0..1: below half a level there is nothing but
 * the rounding, and structure has directions of its own. */
static double trust(const struct kb_firstlook_measures *m) {
    static const struct ramp loud = {0.4, 0.8, 0.0, 1.0}, white = {0.3, 0.6, 0.0, 1.0};
    return on_ramp(&loud, m->noise) * on_ramp(&white, m->white);
}

static void apply_rules(const struct kb_firstlook_measures *m, struct kb_contrast_found *found) {
    const double value[RULES] = {
        [PEAK] = m->peak,         [SHARE] = m->peak_share, [SPREAD] = m->spread,
        [FLAT_MID] = m->flat_mid, [DEPTH] = m->depth,      [THICK] = m->thick,
        [LINES] = m->lines,       [NOISE] = m->noise,      [WHITE] = m->white,
        [SCAN] = m->scan,         [TURNED] = -m->scan,     [SKEW] = m->skew,
        [TEXTURE] = m->texture,
    };
    for (int i = 0; i < RULES; i++) {
        struct kb_evidence *evidence = add(found, rules[i].what, value[i], rules[i].unit);
        double weight = i == SCAN || i == TURNED ? trust(m) : 1.0;
        for (int c = 0; c < 3; c++) {
            evidence->speaks[c] = weight * on_ramp(&rules[i].ramp[c], value[i]);
        }
    }
}

static bool has_data_bar(const struct kb_first_look *look) {
    for (size_t i = 0; i < look->marks; i++) {
        if (look->mark[i].kind == KB_MARK_DATA_BAR) {
            return true;
        }
    }
    return false;
}

/* Colour in the file hints at a camera, but grey pictures are saved as colour too. Polished fields
 * are taken for the graphite in them; steel has none. Iron is mostly looked at in light. Strips of
 * lettering are the custom of electron microscopes, scale bars alone that of cameras. */
static void apply_circumstances(const struct kb_firstlook_frame *frame, bool iron,
                                struct kb_contrast_found *found) {
    bool colour = frame->field->was_colour, bar = has_data_bar(frame->look);
    add(found, "the file holds colour", colour, "")->speaks[KB_SEM] = colour ? -0.5 : 0.0;
    add(found, "there is an instrument's data bar", bar, "")->speaks[KB_SEM] = bar ? 1.2 : 0.0;
    struct kb_evidence *material = add(found, "graphite is expected", iron, "");
    material->speaks[KB_LIGHT_UNETCHED] = iron ? 0.0 : -1.5;
    material->speaks[KB_SEM] = iron ? -0.7 : -0.2;
}

static void settle(double lead, struct kb_contrast_found *found) {
    double sum[3] = {0.0}, whole = 0.0, second = 0.0;
    for (int i = 0; i < found->count; i++) {
        for (int c = 0; c < 3; c++) {
            sum[c] += found->evidence[i].speaks[c];
        }
    }
    int best = 0;
    for (int c = 1; c < 3; c++) {
        best = sum[c] > sum[best] ? c : best;
    }
    for (int c = 0; c < 3; c++) {
        found->belief[c] = exp(sum[c] - sum[best]);
        whole += found->belief[c];
    }
    for (int c = 0; c < 3; c++) {
        found->belief[c] /= whole;
        second = c != best ? fmax(second, found->belief[c]) : second;
    }
    found->contrast = (enum kb_contrast)best;
    found->sure = found->belief[best] >= lead * second;
}

void kb_firstlook_weigh(const struct kb_firstlook_frame *frame,
                        const struct kb_firstlook_measures *measures,
                        const struct kb_first_look_params *params) {
    struct kb_contrast_found *found = &frame->look->contrast;
    *found = (struct kb_contrast_found){.sure = false};
    apply_rules(measures, found);
    apply_circumstances(frame, params->iron, found);
    settle(params->lead, found);
}
