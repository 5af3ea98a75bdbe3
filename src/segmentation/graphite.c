/* graphite.c - which dark regions are graphite, judged by more than one grey level.
 *
 * A threshold between graphite and pearlite also catches the darkest lamellae of pearlite, and
 * unetched it may catch scratches. Each connected dark region (8-connected, by runs) is asked:
 *
 *   - depth: what share of its pixels is nearer to the grey of graphite than to the threshold.
 *     Dark pearlite and scratches hover below the threshold, graphite goes well beyond;
 *   - body: an etched region that is solid and compact is graphite however light it is, since
 *     dark pearlite is ragged;
 *   - shape: unetched, a shallow region is taken for a scratch only when it is long and thin too,
 *     by the axes of the ellipse of equal second moments (not in flake graphite);
 *   - thickness: where much of what is dark lies in large but thin regions, the lamellae of
 *     pearlite are resolved and as dark as graphite; then every region thinner than line_um is
 *     pearlite (etched nodular and compacted iron only).
 *
 * In flake graphite thin branches are all edge, so that depth is asked of the whole region and the
 * share required is lower.
 * Holes: enclosed bright spots smaller than clean_um belong to the graphite around them; in nodular
 * iron so do larger ones of up to a tenth of the nodule's area (reflections, polished-out centres).
 */
#include "segmentation_priv.h"

#include <math.h>
#include <string.h>

/* Shares of a region's pixels that must be deep; common practice, no published source: set so that
 * a nodule four pixels across with a blur of one pixel still passes. */
#define DEEP_SHARE 0.15
#define DEEP_SHARE_FLAKE 0.03
/* Axes of a scratch: at least this much longer than wide. */
#define SCRATCH_ASPECT 4.0
/* A bright spot of up to this share of a nodule's area is part of it. */
#define HOLE_SHARE 0.1
/* Compactness of a body that is no dark pearlite; nodules have 0.5 and more, irregular ones 0.4. */
#define COMPACT_LEAST 0.35
/* Thin regions beyond this share of all that is dark are lamellae. */
#define LAMELLAE_SHARE 0.15
#define PI KB_SEG_PI

struct dark_region {
    uint32_t pixels, deep;
    uint32_t edges;          /* sides of pixels on its outline */
    double x, y, xx, xy, yy; /* sums over pixels, from the first pixel */
    int32_t x0, y0;
};

static void region_add_run(const struct kb_run *run, int32_t y, const uint8_t *grey, int deep,
                           struct dark_region *region) {
    if (region->pixels == 0) {
        region->x0 = run->x0;
        region->y0 = y;
    }
    double n = (double)(run->x1 - run->x0);
    double first = (double)(run->x0 - region->x0);
    double sum = n * (first + 0.5 * (n - 1.0));
    double square = n * first * first + first * n * (n - 1.0) +
                    (n - 1.0) * n * (2.0 * n - 1.0) / 6.0; /* sum of (first + i)^2 */
    double dy = (double)(y - region->y0);
    region->x += sum;
    region->y += n * dy;
    region->xx += square;
    region->xy += sum * dy;
    region->yy += n * dy * dy;
    region->pixels += (uint32_t)(run->x1 - run->x0);
    for (int32_t x = run->x0; x < run->x1; x++) {
        region->deep += grey[x] <= deep;
    }
}

/* Pixels of a run that are not continued in row y; the frame is no outline. */
static uint32_t open_sides(const struct kb_image *label, const struct kb_run *run, int32_t y) {
    uint32_t open = 0;
    if (y >= 0 && y < label->height) {
        const uint8_t *row = kb_row(label, y);
        for (int32_t x = run->x0; x < run->x1; x++) {
            open += row[x] != KB_GRAPHITE;
        }
    }
    return open;
}

/* Mean thickness of a long region, half the diameter of a round one, pixels: twice area over
 * perimeter, where the sides of pixels are 4 / pi times as long as the outline. */
static double region_thickness(const struct dark_region *region) {
    return 2.0 * (double)region->pixels / (0.25 * PI * (double)region->edges);
}

/* Ratio of the axes of the ellipse of equal second moments; 1/12 is the moment of a pixel. */
static double region_aspect(const struct dark_region *r, double *minor) {
    double n = (double)r->pixels;
    double xx = r->xx / n - r->x * r->x / n / n + 1.0 / 12.0;
    double yy = r->yy / n - r->y * r->y / n / n + 1.0 / 12.0;
    double xy = r->xy / n - r->x * r->y / n / n;
    double half = 0.5 * (xx + yy);
    double root = sqrt(0.25 * (xx - yy) * (xx - yy) + xy * xy);
    double small = fmax(half - root, 1.0 / 12.0);
    *minor = 4.0 * sqrt(small);
    return sqrt((half + root) / small);
}

static bool is_scratch(const struct kb_seg *seg, const struct dark_region *region) {
    double minor;
    double aspect = region_aspect(region, &minor);
    return aspect >= SCRATCH_ASPECT && minor * seg->px_um <= 2.0 * seg->params->line_um;
}

/* 4 pi area over perimeter squared, 1 for a disc. */
static double region_compactness(const struct dark_region *region) {
    double perimeter = 0.25 * PI * (double)region->edges;
    return 4.0 * PI * (double)region->pixels / (perimeter * perimeter);
}

/* A solid, compact body is graphite however light: dark pearlite is ragged. */
static bool is_compact(const struct kb_seg *seg, const struct dark_region *region) {
    return region_compactness(region) >= COMPACT_LEAST &&
           region_thickness(region) * seg->px_um >= seg->params->line_um;
}

static double deep_least(const struct kb_seg *seg) {
    return seg->params->material == KB_GREY_IRON ? DEEP_SHARE_FLAKE : DEEP_SHARE;
}

static double deep_share(const struct dark_region *region) {
    return (double)region->deep / (double)region->pixels;
}

static bool is_graphite(const struct kb_seg *seg, const struct dark_region *region) {
    bool flake = seg->params->material == KB_GREY_IRON;
    if (deep_share(region) >= deep_least(seg)) {
        return true;
    }
    bool unetched = seg->scheme.classes == 2;
    if (!unetched && !flake && is_compact(seg, region)) {
        return true;
    }
    return unetched && (flake || !is_scratch(seg, region));
}

static bool is_thin(const struct kb_seg *seg, const struct dark_region *region) {
    return region_thickness(region) * seg->px_um < seg->params->line_um;
}

/* Etched nodular or compacted iron: do thin regions make up so much of what is dark that they must
 * be resolved lamellae? Only regions larger than a speck of twice the line width are asked. */
static bool lamellae_are_dark(const struct kb_seg *seg, const struct kb_runs *runs,
                              const struct dark_region *region) {
    if (seg->scheme.classes != 3 || seg->params->material == KB_GREY_IRON) {
        return false;
    }
    double speck = PI * seg->params->line_um * seg->params->line_um / (seg->px_um * seg->px_um);
    double thin = 0.0;
    double all = 0.0;
    for (uint32_t r = 0; r < runs->regions; r++) {
        double pixels = (double)region[r].pixels;
        all += pixels;
        thin += pixels > speck && is_thin(seg, &region[r]) ? pixels : 0.0;
    }
    return thin > LAMELLAE_SHARE * all;
}

static void regions_measure(const struct kb_seg *seg, const struct kb_runs *runs,
                            struct dark_region *region) {
    int deep = (int)(0.5 * (seg->class_level[0] + (double)seg->threshold[0]));
    for (int32_t y = 0; y < runs->height; y++) {
        const uint8_t *grey = kb_row(&seg->grey, y);
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            const struct kb_run *run = &runs->run[i];
            region_add_run(run, y, grey, deep, &region[run->region]);
            region[run->region].edges += 2 + open_sides(&seg->map->label, run, y - 1) +
                                         open_sides(&seg->map->label, run, y + 1);
        }
    }
}

/* What made a dark region graphite, or not. */
static void tell_region(const struct kb_seg *seg, const struct dark_region *region, bool lamellae,
                        enum kb_phase to, struct kb_why *why) {
    const char *name = kb_phase_name(to);
    const bool deep = deep_share(region) >= deep_least(seg);
    struct kb_why_step step = kb_seg_why_step(why, "dark region: depth", to);
    step.figure = deep_share(region);
    step.limit = deep_least(seg);
    if (is_graphite(seg, region) && to != KB_GRAPHITE && lamellae) {
        step.step = "dark region: thickness";
        step.figure = region_thickness(region) * seg->px_um;
        step.limit = seg->params->line_um;
        step.unit = "um";
        kb_why_add(why, &step,
                   "%.2g um thick, less than %.3g um, where thin dark regions are many: a lamella "
                   "of pearlite and no graphite: %s",
                   step.figure, step.limit, name);
    } else if (deep || to != KB_GRAPHITE) {
        kb_why_add(why, &step,
                   "%.0f %% of its dark region is nearer to the grey of graphite than to the "
                   "threshold, %.0f %% make it graphite: %s",
                   100.0 * step.figure, 100.0 * step.limit, name);
    } else if (seg->scheme.classes == 3) {
        step.step = "dark region: body";
        step.figure = region_compactness(region);
        step.limit = COMPACT_LEAST;
        kb_why_add(why, &step,
                   "light for graphite (%.0f %% deep), but a solid body: compactness %.2f, at "
                   "least %.2f; dark pearlite is ragged: %s",
                   100.0 * deep_share(region), step.figure, step.limit, name);
    } else {
        double minor;
        step.step = "dark region: shape";
        step.figure = region_aspect(region, &minor);
        step.limit = SCRATCH_ASPECT;
        kb_why_add(why, &step,
                   "light for graphite (%.0f %% deep), but no scratch: %.1f times as long as wide "
                   "(a scratch: %.0f) and %.2g um wide: %s",
                   100.0 * deep_share(region), step.figure, step.limit, minor * seg->px_um, name);
    }
}

/* `to` before it is painted: the new label of each region, or KB_KEEP. */
static void tell_regions(const struct kb_seg *seg, const struct kb_runs *runs,
                         const struct dark_region *region, bool lamellae, const uint16_t *to) {
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        uint32_t r = 0;
        if (kb_runs_at(runs, why->x, why->y, &r)) {
            const enum kb_phase phase = to[r] == KB_KEEP ? KB_GRAPHITE : (enum kb_phase)to[r];
            tell_region(seg, &region[r], lamellae, phase, why);
        }
    }
}

/* Repaint what is not graphite. */
static enum kb_status drop_others(struct kb_seg *seg, const struct kb_runs *runs,
                                  const struct dark_region *region, struct kb_err *err) {
    uint16_t *to = kb_alloc((size_t)runs->regions + 1, sizeof *to);
    if (to == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, runs->regions * sizeof *to);
    }
    struct kb_segmentation_figures *f = &seg->map->figures;
    bool lamellae = lamellae_are_dark(seg, runs, region);
    for (uint32_t r = 0; r < runs->regions; r++) {
        bool keep = is_graphite(seg, &region[r]) && !(lamellae && is_thin(seg, &region[r]));
        to[r] = keep ? (uint16_t)KB_KEEP : (uint16_t)seg->scheme.phase[1];
        if (!keep && seg->scheme.phase[1] == KB_PEARLITE) {
            f->dark_pearlite_px += region[r].pixels;
        } else if (!keep) {
            f->recovered_line_px += region[r].pixels;
        }
    }
    tell_regions(seg, runs, region, lamellae, to);
    kb_runs_paint(runs, to, &seg->map->label);
    kb_free(to);
    return KB_OK;
}

/* ---- holes -------------------------------------------------------------------------------------
 */

/* The graphite region whose run ends at x in row y; -1 when there is none (an exclusion). */
static int64_t region_ending_at(const struct kb_runs *graphite, int32_t x, int32_t y) {
    size_t low = graphite->row[y];
    size_t high = graphite->row[y + 1];
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (graphite->run[middle].x1 < x) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    bool found = low < graphite->row[y + 1] && graphite->run[low].x1 == x;
    return found ? (int64_t)graphite->run[low].region : -1;
}

struct hole {
    uint32_t pixels;
    bool open;      /* touches the frame */
    int64_t around; /* graphite region left of its first run */
};

static void holes_measure(const struct kb_runs *rest, const struct kb_runs *graphite,
                          struct hole *hole) {
    for (int32_t y = 0; y < rest->height; y++) {
        for (size_t i = rest->row[y]; i < rest->row[y + 1]; i++) {
            const struct kb_run *run = &rest->run[i];
            struct hole *h = &hole[run->region];
            bool frame = y == 0 || y == rest->height - 1 || run->x0 == 0 || run->x1 == rest->width;
            if (h->pixels == 0) {
                h->around = frame ? -1 : region_ending_at(graphite, run->x0, y);
            }
            h->open = h->open || frame;
            uint32_t length = (uint32_t)(run->x1 - run->x0);
            h->pixels = h->pixels > UINT32_MAX - length ? UINT32_MAX : h->pixels + length;
        }
    }
}

static bool fills(const struct kb_seg *seg, const struct hole *hole,
                  const struct dark_region *region) {
    if (hole->open || hole->around < 0) {
        return false;
    }
    double pixels = (double)hole->pixels;
    if (pixels < kb_seg_clean_px(seg)) {
        return true;
    }
    return seg->params->material == KB_DUCTILE_IRON &&
           pixels <= HOLE_SHARE * (double)region[hole->around].pixels;
}

static void tell_holes(const struct kb_seg *seg, const struct kb_runs *rest,
                       const struct hole *hole, const struct dark_region *region,
                       const uint16_t *to) {
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        uint32_t r = 0;
        if (!kb_runs_at(rest, why->x, why->y, &r) || to[r] == KB_KEEP) {
            continue;
        }
        const double um2 = seg->px_um * seg->px_um;
        const bool speck = (double)hole[r].pixels < kb_seg_clean_px(seg);
        struct kb_why_step step = kb_seg_why_step(why, "bright spot in graphite", KB_GRAPHITE);
        step.figure = (double)hole[r].pixels * um2;
        step.limit = speck ? kb_seg_clean_px(seg) * um2
                           : HOLE_SHARE * (double)region[hole[r].around].pixels * um2;
        step.unit = "um2";
        kb_why_add(why, &step,
                   "enclosed by graphite and of %.3g um2, %s %.3g um2: a reflection or a "
                   "polished-out centre, graphite",
                   step.figure, speck ? "less than a speck's" : "at most a tenth of the nodule,",
                   step.limit);
    }
}

static enum kb_status fill_holes(struct kb_seg *seg, const struct kb_runs *graphite,
                                 const struct dark_region *region, struct kb_err *err) {
    bool rest_of[256];
    memset(rest_of, 1, sizeof rest_of);
    rest_of[KB_GRAPHITE] = rest_of[KB_EXCLUDED] = false;
    struct kb_runs rest;
    enum kb_status status = kb_runs_label(&seg->map->label, rest_of, 4, &rest, err);
    if (status != KB_OK) {
        return status;
    }
    struct hole *hole = kb_alloc_zero((size_t)rest.regions + 1, sizeof *hole);
    uint16_t *to = kb_alloc((size_t)rest.regions + 1, sizeof *to);
    if (hole == NULL || to == NULL) {
        status = kb_fail_memory(err, KB_SEG_STAGE, rest.regions * sizeof *hole);
    } else {
        holes_measure(&rest, graphite, hole);
        for (uint32_t r = 0; r < rest.regions; r++) {
            bool fill = fills(seg, &hole[r], region);
            to[r] = fill ? (uint16_t)KB_GRAPHITE : (uint16_t)KB_KEEP;
            seg->map->figures.recovered_speck_px += fill ? hole[r].pixels : 0;
        }
        tell_holes(seg, &rest, hole, region, to);
        kb_runs_paint(&rest, to, &seg->map->label);
    }
    kb_free(hole);
    kb_free(to);
    kb_runs_release(&rest);
    return status;
}

enum kb_status kb_seg_graphite(struct kb_seg *seg, struct kb_err *err) {
    if (!seg->scheme.graphite) {
        return KB_OK;
    }
    bool graphite[256] = {false};
    graphite[KB_GRAPHITE] = true;
    struct kb_runs runs;
    enum kb_status status = kb_runs_label(&seg->map->label, graphite, 8, &runs, err);
    if (status != KB_OK) {
        return status;
    }
    struct dark_region *region = kb_alloc_zero((size_t)runs.regions + 1, sizeof *region);
    if (region == NULL) {
        status = kb_fail_memory(err, KB_SEG_STAGE, runs.regions * sizeof *region);
    } else {
        regions_measure(seg, &runs, region);
        status = drop_others(seg, &runs, region, err);
        if (status == KB_OK) {
            status = fill_holes(seg, &runs, region, err);
        }
    }
    kb_free(region);
    kb_runs_release(&runs);
    return status;
}
