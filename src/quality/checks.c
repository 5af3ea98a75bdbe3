/* checks.c - each figure against its limits, and one sentence on what is seen.
 *
 * Every check that applies gets a value, two limits in the same unit, a fitness and words; one that
 * does not apply says why. Advice is in advice.c.
 */
#include "quality_priv.h"

#include <string.h>

#define SHARE_LEAST 0.02   /* a phase of less has no say */
#define FERRITE_LEAST 0.08 /* less lies in thin rings and bands, all of it near other phases */
/* Graphite by area. 3.5 % carbon all as graphite is 11 % by volume (refs/graphite_volume.csv), 4.3
 * % about 14; single fields of coarse graphite scatter by about 3 points. */
#define GRAPHITE_MOST 0.20
#define GRAPHITE_LEAST 0.03
/* Histogram between two phases over the lower of their hills: from here on there is no valley. */
#define VALLEY_NONE 0.7
/* Pixels that stand in for the smallest particle where the scale is unknown. */
#define SMALLEST_PX 20.0
/* Quantiles between which grey levels are counted, and the least share that populates one. */
#define LOW_QUANTILE 0.01
#define HIGH_QUANTILE 0.99
#define POPULATED 2e-5
/* Without a scale the limit of boundaries is applied as if a pixel were half a micrometre. */
#define FALLBACK_PX_UM 0.5
/* Under secondary electrons the limits are tighter. Charging adds to the signal, where light is a
 * factor: evening divides, and leaves a part of what was added (tests/ladder). Edges and particles
 * of a sound picture are at the top on 1 or 2 % of it; metal that shines in light is on more. */
#define CHARGING 0.6
#define CHARGED_TOP 0.1
#define CHARGED_UNFIT 5.0 /* % */

/* A region of 7 pixels is measured as well as a particle of 10 whose shape counts: with either
 * border known to 0.15 pixels its area is off by 4 %; from 3.5 downwards whole bands go unseen
 * (tests/ladder, small grains). */
#define THICKNESS 0.7

#define TOP 254 /* JPEG makes 254 of 255 and the other way round */
#define BOTTOM 1

static double limit_of(double limit, double scale) {
    return limit < 0.0 ? (double)NAN : limit * scale;
}

static bool beyond(double value, double limit, bool more_is_worse) {
    return more_is_worse ? value >= limit : value <= limit; /* NaN: never */
}

void kb_quality_judge(const struct kb_quality_params *params, enum kb_check which, double value,
                      double scale, const char *unit, struct kb_check_result *r) {
    r->looked = true;
    r->value = value;
    r->warn = limit_of(params->warn[which], scale);
    r->unfit = limit_of(params->unfit[which], scale);
    r->more_is_worse = kb_quality_more_is_worse(which);
    r->unit = unit;
    r->fitness = beyond(value, r->unfit, r->more_is_worse)  ? KB_NOT_FIT
                 : beyond(value, r->warn, r->more_is_worse) ? KB_USABLE
                                                            : KB_FIT;
}

/* The check with its figure judged; `says` is left to the caller. */
static struct kb_check_result *judge(const struct kb_look *look, enum kb_check which, double value,
                                     double scale, const char *unit) {
    struct kb_check_result *r = &look->out->check[which];
    kb_quality_judge(look->params, which, value, scale, unit, r);
    return r;
}

static void not_looked(const struct kb_look *look, enum kb_check which, const char *unit,
                       const char *why) {
    struct kb_check_result *r = &look->out->check[which];
    *r = (struct kb_check_result){.value = NAN,
                                  .warn = NAN,
                                  .unfit = NAN,
                                  .more_is_worse = kb_quality_more_is_worse(which),
                                  .unit = unit};
    (void)snprintf(r->says, sizeof r->says, "%s", why);
}

static bool has(const struct kb_look *look, enum kb_phase phase) {
    return look->seen.share[phase] >= SHARE_LEAST;
}

/* ---- camera and lens ----------------------------------------------------------------------------
 */

static void check_focus(const struct kb_look *look) {
    const struct kb_edge_widths w = look->edges;
    bool known = look->px_um > 0.0;
    const char *unit = known ? "um" : "px";
    if (isnan(w.px)) {
        not_looked(look, KB_CHECK_FOCUS, unit,
                   "too few edges between phases to judge the focus by");
        return;
    }
    double value = known ? w.px * look->px_um : w.px;
    double scale = known ? look->params->min_feret_um : SMALLEST_PX;
    struct kb_check_result *r = judge(look, KB_CHECK_FOCUS, value, scale, unit);
    bool tilted = r->fitness != KB_FIT && w.px > 1.6 * w.sharpest_px;
    (void)snprintf(r->says, sizeof r->says,
                   "phase edges pass from 10 to 90 %% of their step over %.2g %s%s", value, unit,
                   tilted ? ", over much less elsewhere in the field: the section is tilted or the "
                            "lens is soft at its rim"
                          : "");
}

/* By the surface that segmentation found, or by what is left in phases of the same name. */
static void check_light(const struct kb_look *look, const struct kb_patches *patches) {
    double value = 100.0 * fmax(look->map->figures.unevenness, patches->unevenness);
    bool local = look->map->figures.network.found; /* smoothness is looked at place by place */
    double scale = look->contrast == KB_SEM && !local ? CHARGING : 1.0;
    struct kb_check_result *r = judge(look, KB_CHECK_LIGHT, value, scale, "%");
    (void)snprintf(r->says, sizeof r->says, "the illumination varies by %.0f %% over the field",
                   value);
}

static void check_ends(const struct kb_look *look) {
    const uint64_t *all = look->seen.all;
    double measured = fmax(1.0, (double)look->seen.measured), top = 0.0, bottom = 0.0;
    for (int i = TOP; i < 256; i++) {
        top += 100.0 * (double)all[i] / measured;
    }
    for (int i = 0; i <= BOTTOM; i++) {
        bottom += 100.0 * (double)all[i] / measured;
    }
    bool scanned = look->contrast == KB_SEM;
    struct kb_check_result *r =
        judge(look, KB_CHECK_SATURATION, top, scanned ? CHARGED_TOP : 1.0, "%");
    if (scanned && top >= CHARGED_UNFIT) {
        r->unfit = CHARGED_UNFIT;
        r->fitness = KB_NOT_FIT;
    }
    (void)snprintf(r->says, sizeof r->says, "%.2g %% of the field is at the top of the grey scale",
                   top);
    r = judge(look, KB_CHECK_SHADOWS, bottom, 1.0, "%");
    (void)snprintf(r->says, sizeof r->says,
                   "%.2g %% of the field is at the bottom of the grey scale", bottom);
}

static void check_levels(const struct kb_look *look) {
    const uint64_t *all = look->seen.all;
    double measured = fmax(1.0, (double)look->seen.measured), below = 0.0;
    int levels = 0, span = 0;
    for (int i = 0; i < 256; i++) {
        double here = (double)all[i] / measured;
        if (below + here >= LOW_QUANTILE && below <= HIGH_QUANTILE) {
            levels += here >= POPULATED;
            span++;
        }
        below += here;
    }
    struct kb_check_result *r = judge(look, KB_CHECK_GREY_LEVELS, levels, 1.0, "levels");
    (void)snprintf(r->says, sizeof r->says,
                   "%d of %d grey levels between dark and bright are used%s", levels, span,
                   2 * levels < span ? "; gaps tell of a stretched picture" : "");
}

static void check_blocks(const struct kb_look *look) {
    double value = 100.0 * look->seen.blocks;
    struct kb_check_result *r = judge(look, KB_CHECK_BLOCKS, value, 1.0, "%");
    (void)snprintf(r->says, sizeof r->says,
                   "grey steps at the edges of 8 x 8 blocks exceed the others by %.0f %%", value);
}

static void check_noise(const struct kb_look *look) {
    if (look->map->figures.network.found) {
        not_looked(look, KB_CHECK_NOISE, "%",
                   "cementite was found by its smoothness, which stands clear of the noise");
        return;
    }
    if (isnan(look->seen.step)) {
        not_looked(look, KB_CHECK_NOISE, "%", "one phase only: no step to hold the noise against");
        return;
    }
    double value = 100.0 * look->seen.noise / fmax(1.0, look->seen.step);
    struct kb_check_result *r = judge(look, KB_CHECK_NOISE, value, 1.0, "%");
    (void)snprintf(r->says, sizeof r->says,
                   "noise of %.1f grey levels, %.0f %% of the smallest step between phases (%.0f)",
                   look->seen.noise, value, look->seen.step);
}

/* Without particles the areas decide, and these depend on borders on both sides. */
static void check_thickness(const struct kb_look *look) {
    struct kb_thickness t = kb_quality_thickness(look);
    if (isnan(t.seen)) {
        not_looked(look, KB_CHECK_RESOLUTION, "px",
                   "no particles are counted in this material, and too few regions are seen");
        return;
    }
    struct kb_check_result *r = judge(look, KB_CHECK_RESOLUTION, t.seen, THICKNESS, "px");
    (void)snprintf(r->says, sizeof r->says, "regions of %s are %.1f pixels thick on the average%s",
                   kb_phase_name(t.phase), t.px,
                   t.seen < t.px ? ", held against the blur, which is wider than a pixel" : "");
}

static void check_resolution(const struct kb_look *look) {
    if (!kb_material_is_iron(look->material)) {
        check_thickness(look);
        return;
    }
    if (look->px_um <= 0.0) {
        not_looked(look, KB_CHECK_RESOLUTION, "px",
                   "the pixel size is not known: give it, or a scale bar");
        return;
    }
    double value = look->params->min_feret_um / look->px_um;
    struct kb_check_result *r = judge(look, KB_CHECK_RESOLUTION, value, 1.0, "px");
    (void)snprintf(r->says, sizeof r->says, "a particle of %g um is %.1f pixels across",
                   look->params->min_feret_um, value);
}

/* ---- bench --------------------------------------------------------------------------------------
 */

static double degrees(double angle) {
    return 180.0 / KB_PI * angle;
}

static enum kb_status check_scratches(const struct kb_look *look, struct kb_err *err) {
    double value = 0.0;
    enum kb_status status = kb_quality_scratches(look, &value, err);
    if (status != KB_OK) {
        return status;
    }
    const struct kb_quality *q = look->out;
    struct kb_check_result *r = judge(look, KB_CHECK_SCRATCHES, value, 1.0, "mm/mm2");
    int used = snprintf(r->says, sizeof r->says, "%.1f mm of straight scratches per mm2%s", value,
                        look->px_um > 0.0 ? "" : " (as if a pixel were 0.5 um)");
    for (int i = 0; i < q->scratch_families && used > 0 && used < (int)sizeof r->says; i++) {
        used += snprintf(r->says + used, sizeof r->says - (size_t)used,
                         "%s %zu at %.0f degrees, %.2g %s wide", i == 0 ? ":" : ";",
                         q->scratch[i].lines, degrees(q->scratch[i].angle),
                         q->scratch[i].width_px * (look->px_um > 0.0 ? look->px_um : 1.0),
                         look->px_um > 0.0 ? "um" : "px");
    }
    return KB_OK;
}

static enum kb_status check_pull_out(const struct kb_look *look, struct kb_err *err) {
    if (!kb_material_is_iron(look->material)) {
        not_looked(look, KB_CHECK_PULL_OUT, "%", "no graphite in this material");
        return KB_OK;
    }
    struct kb_pull_out p;
    enum kb_status status = kb_quality_pull_out(look, &p, err);
    if (status != KB_OK) {
        return status;
    }
    if (p.looked < 10) {
        not_looked(look, KB_CHECK_PULL_OUT, "%", "too few compact graphite particles to judge by");
        return KB_OK;
    }
    double value = 100.0 * fmax(p.hollow, p.tailed);
    struct kb_check_result *r = judge(look, KB_CHECK_PULL_OUT, value, 1.0, "%");
    (void)snprintf(r->says, sizeof r->says,
                   "of %zu particles %.0f %% are dark hollows with a bright rim, %.0f %% have a "
                   "tail in one common direction",
                   p.looked, 100.0 * p.hollow, 100.0 * p.tailed);
    return KB_OK;
}

static enum kb_phase plain_phase(const struct kb_look *look) {
    return look->seen.share[KB_CEMENTITE] > look->seen.share[KB_FERRITE] ? KB_CEMENTITE
                                                                         : KB_FERRITE;
}

/* Step over spread. Segmentation smooths over 3 x 3 pixels, so noise counts a third; what it cannot
 * smooth counts in full. */
static double over_spread(const struct kb_look *look, const struct kb_apart *a) {
    double noise = look->seen.noise;
    double own = fmax(0.0, a->spread * a->spread - noise * noise);
    return fabs(a->step) / fmax(0.5, sqrt(own + noise * noise / 9.0));
}

/* A histogram without a valley between two phases speaks against them: up to 40 % off. */
static double with_valley(const struct kb_look *look, double value, int threshold) {
    double valley = look->map->figures.valley[threshold < 0 ? 0 : threshold];
    return isfinite(valley) ? value * (1.0 - 0.8 * fmin(0.5, fmax(0.0, valley - 0.5))) : value;
}

static void check_etch_weak(const struct kb_look *look, const struct kb_tiles *tiles) {
    static const char unit[] = "x";
    enum kb_phase plain = plain_phase(look);
    if (look->contrast == KB_LIGHT_UNETCHED) {
        not_looked(look, KB_CHECK_ETCH_WEAK, unit, "the section is not etched");
        return;
    }
    if (look->map->figures.network.found) {
        not_looked(look, KB_CHECK_ETCH_WEAK, unit,
                   "cementite was found by its smoothness and its rim, not by its grey");
        return;
    }
    if (has(look, KB_MATRIX)) {
        const struct kb_network *n = &look->map->figures.network;
        struct kb_check_result *r = judge(look, KB_CHECK_ETCH_WEAK, 0.0, 1.0, unit);
        if (isfinite(n->stability) && n->stability > 0.0 && n->contrast > 0.0) {
            (void)snprintf(r->says, sizeof r->says,
                           "the matrix shows one grey, and smooth cementite in it does not bear "
                           "itself out: %.0f %% stays in place, %.0f %% of its outline is on an "
                           "edge, %.1f times smoother than the rest",
                           100.0 * n->stability, 100.0 * n->rim, n->contrast);
            return;
        }
        (void)snprintf(r->says, sizeof r->says,
                       "the matrix shows one grey, and its texture does not say which constituent");
        return;
    }
    struct kb_apart a = kb_quality_apart(tiles, KB_PEARLITE, plain);
    if (!has(look, KB_PEARLITE) || !has(look, plain) || a.tiles < 3) {
        not_looked(look, KB_CHECK_ETCH_WEAK, unit, "one constituent only in the matrix");
        return;
    }
    double value = with_valley(look, over_spread(look, &a), look->map->figures.thresholds - 1);
    struct kb_check_result *r = judge(look, KB_CHECK_ETCH_WEAK, value, 1.0, unit);
    (void)snprintf(r->says, sizeof r->says,
                   "%s and pearlite are %.0f grey levels apart; told apart %.1f times over",
                   kb_phase_name(plain), fabs(a.step), value);
}

/* More graphite than there can be; or next to none, and no hill of its own in the histogram. */
static bool graphite_merges(const struct kb_look *look) {
    double share = look->seen.share[KB_GRAPHITE];
    bool hidden = look->map->figures.valley[0] > VALLEY_NONE && has(look, KB_PEARLITE);
    return kb_material_is_iron(look->material) &&
           (share > GRAPHITE_MOST || (share < GRAPHITE_LEAST && hidden));
}

static void check_etch_strong(const struct kb_look *look, const struct kb_tiles *tiles) {
    static const char unit[] = "x";
    struct kb_apart a = kb_quality_apart(tiles, KB_GRAPHITE, KB_PEARLITE);
    if (look->contrast != KB_LIGHT) {
        not_looked(look, KB_CHECK_ETCH_STRONG, unit,
                   look->contrast == KB_SEM
                       ? "in the SEM pearlite is bright: no etch brings it near graphite"
                       : "the section is not etched");
        return;
    }
    if (graphite_merges(look)) {
        struct kb_check_result *r = judge(look, KB_CHECK_ETCH_STRONG, 0.0, 1.0, unit);
        (void)snprintf(r->says, sizeof r->says,
                       "%.1f %% graphite is %s: pearlite or stains are as dark as graphite",
                       100.0 * look->seen.share[KB_GRAPHITE],
                       look->seen.share[KB_GRAPHITE] > GRAPHITE_MOST ? "more than iron holds"
                                                                     : "next to none");
        return;
    }
    if (!has(look, KB_GRAPHITE) || !has(look, KB_PEARLITE) || a.tiles < 3) {
        not_looked(look, KB_CHECK_ETCH_STRONG, unit,
                   "graphite and pearlite do not lie side by side");
        return;
    }
    double value = with_valley(look, over_spread(look, &a), 0);
    struct kb_check_result *r = judge(look, KB_CHECK_ETCH_STRONG, value, 1.0, unit);
    (void)snprintf(r->says, sizeof r->says,
                   "pearlite and graphite are %.0f grey levels apart; told apart %.1f times over",
                   fabs(a.step), value);
}

/* Spread of ferrite beyond noise over the step to the phase that is nearest to it in grey. */
static void check_etch_ferrite(const struct kb_look *look, const struct kb_tiles *tiles) {
    if (look->contrast != KB_LIGHT || look->seen.share[KB_FERRITE] < FERRITE_LEAST) {
        not_looked(look, KB_CHECK_ETCH_FERRITE, "%",
                   look->contrast == KB_LIGHT_UNETCHED ? "the section is not etched"
                   : look->contrast == KB_SEM
                       ? "in the SEM ferrite is dark and uneven by orientation, whatever the etch"
                       : "there is too little ferrite to judge by");
        return;
    }
    double noise = look->seen.noise, spread = kb_quality_spread(tiles, KB_FERRITE);
    double own = sqrt(fmax(0.0, spread * spread - noise * noise));
    enum kb_phase next = has(look, KB_PEARLITE) ? KB_PEARLITE : KB_GRAPHITE;
    double step = look->seen.median[KB_FERRITE] - look->seen.median[next];
    if (isnan(spread) || isnan(step)) {
        not_looked(look, KB_CHECK_ETCH_FERRITE, "%", "ferrite is alone in the field");
        return;
    }
    double value = 100.0 * own / fmax(1.0, step);
    struct kb_check_result *r = judge(look, KB_CHECK_ETCH_FERRITE, value, 1.0, "%");
    (void)snprintf(r->says, sizeof r->says,
                   "ferrite is uneven by %.1f grey levels beyond noise, %.0f %% of its step to %s",
                   own, value, kb_phase_name(next));
}

/* Full width at half depth that the lens gives to the thinnest line, pixels: 2.355 deviations of a
 * Gaussian whose edge is 2.563 of them wide, if graphite has edges to tell; else a camera matched
 * to its lens, two pixels (the sampling theorem). */
static double lens_px(const struct kb_look *look) {
    bool told = has(look, KB_GRAPHITE) && isfinite(look->edges.sharpest_px);
    return told ? 2.355 / 2.563 * look->edges.sharpest_px : 2.0;
}

static enum kb_status check_boundaries(const struct kb_look *look, struct kb_err *err) {
    bool known = look->px_um > 0.0;
    const char *unit = known ? "um" : "px";
    if (look->contrast != KB_LIGHT || !has(look, KB_FERRITE)) {
        not_looked(look, KB_CHECK_BOUNDARIES, unit,
                   look->contrast == KB_SEM ? "in the SEM boundaries are bright edges, not grooves"
                   : look->contrast == KB_LIGHT_UNETCHED ? "the section is not etched"
                                                         : "there is no ferrite to judge by");
        return KB_OK;
    }
    struct kb_line_widths lines;
    enum kb_status status = kb_quality_lines(look, &lines, err);
    if (status != KB_OK) {
        return status;
    }
    if (isnan(lines.px)) {
        not_looked(look, KB_CHECK_BOUNDARIES, unit, "too few boundaries show to judge by");
        return KB_OK;
    }
    double lens = lens_px(look);
    double own = sqrt(fmax(0.0, lines.px * lines.px - lens * lens));
    double value = known ? own * look->px_um : own;
    struct kb_check_result *r =
        judge(look, KB_CHECK_BOUNDARIES, value, known ? 1.0 : 1.0 / FALLBACK_PX_UM, unit);
    (void)snprintf(
        r->says, sizeof r->says,
        "dark lines in ferrite are %.2g %s wide, what the lens adds taken off (%zu crossed)", value,
        unit, lines.dips);
    if (r->fitness == KB_NOT_FIT && !has(look, KB_PEARLITE)) {
        r->fitness = KB_USABLE; /* nothing that they could be taken for */
    }
    return KB_OK;
}

static void check_stains(const struct kb_look *look, const struct kb_patches *patches) {
    if (look->contrast == KB_SEM) {
        not_looked(
            look, KB_CHECK_STAINS, "%",
            "the SEM shows no stain of the etch; what glows there is charging, judged as light");
        return;
    }
    if (!patches->looked) {
        not_looked(look, KB_CHECK_STAINS, "%",
                   "the field is too small to tell stains from colonies");
        return;
    }
    double value = 100.0 * patches->share;
    struct kb_check_result *r = judge(look, KB_CHECK_STAINS, value, 1.0, "%");
    (void)snprintf(r->says, sizeof r->says,
                   "%.0f %% of the matrix lies in soft patches that are no light and no phase",
                   value);
}

static enum kb_status check_tiles(const struct kb_look *look, struct kb_err *err) {
    struct kb_tiles *tiles = NULL;
    struct kb_patches patches;
    enum kb_status status = kb_quality_tiles(look, &tiles, err);
    if (status == KB_OK) {
        status = kb_quality_patches(tiles, &patches, err);
    }
    if (status == KB_OK) {
        check_light(look, &patches);
        check_stains(look, &patches);
        check_etch_weak(look, tiles);
        check_etch_strong(look, tiles);
        check_etch_ferrite(look, tiles);
        status = check_boundaries(look, err);
    }
    kb_quality_tiles_free(&tiles);
    return status;
}

enum kb_status kb_quality_checks(struct kb_look *look, struct kb_err *err) {
    kb_quality_edges(look, &look->edges);
    check_focus(look);
    check_ends(look);
    check_levels(look);
    check_blocks(look);
    check_noise(look);
    check_resolution(look);
    not_looked(look, KB_CHECK_TOUCHING, "%", "no nodules are parted here");
    enum kb_status status = check_scratches(look, err);
    if (status == KB_OK) {
        status = check_pull_out(look, err);
    }
    if (status == KB_OK) {
        status = check_tiles(look, err);
    }
    look->out->fitness = KB_FIT;
    for (int i = 0; i < KB_CHECKS; i++) {
        struct kb_check_result *r = &look->out->check[i];
        if (r->fitness != KB_FIT) {
            (void)snprintf(r->advice, sizeof r->advice, "%s",
                           kb_quality_advice(look, (enum kb_check)i));
        }
        look->out->fitness = r->fitness > look->out->fitness ? r->fitness : look->out->fitness;
    }
    return status;
}
