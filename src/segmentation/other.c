/* other.c - regions of the matrix that are neither ferrite nor pearlite.
 *
 * Grey classes put every pixel of an etched matrix into one of two. Two kinds of region do not
 * belong to either, and the field itself says so:
 *
 *   mid-grey   over a window of colony_um the grey lies between what pearlite and what ferrite show
 *              in this field, each pixel is near to that mean (so that it is no mixture of the two,
 *              no border and no lamella), and the region is clearly smoother than the field's
 *              pearlite: bainite, martensite and their like;
 *   white      brighter than the ferrite beside the graphite by more than that ferrite scatters,
 * and enclosed by pearlite rather than by ferrite or graphite: carbide, ledeburite.
 *
 * Such a region becomes "other": seen, and not forced into a phase. What is mid-grey and as rough
 * as pearlite stays pearlite, and what is white without ferrite to compare with stays ferrite;
 * findings tell of both. Nothing is looked for in a matrix of one constituent, where ferrite and
 * pearlite do not stand clear of each other, or under secondary electrons. Statistics come from
 * every n-th row; the field is gone through only where they show something. Common practice, no
 * published source. Limits: acicular structures as contrasty as lamellae, and blocks of carbide
 * thinner than the blur or adjoining ferrite, are not told from pearlite and ferrite.
 */
#include "segmentation_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Local means of pearlite reach this many standard deviations from their middle. */
#define REACH 2.5
/* Single greys of ferrite reach further than means do. */
#define REACH_WHITE 2.5
/* ... and from ferrite to pearlite at least this share of the way, since light colonies and dark
 * grains are nothing foreign. */
#define APART_LEAST 0.25
/* Grains of ferrite differ from each other by up to this share of their grey (thresholds.c). */
#define GRAIN_CONTRAST 0.15
/* White is brighter than ferrite by at least this share of the way from graphite. */
#define WHITE_LEAST 0.09
/* A pixel is near to its local mean within this share of the way from pearlite to ferrite. */
#define CALM 0.25
/* A pair of pixels is smooth when it differs by no more than this share of what pairs of pearlite
 * typically do: a quarter of those of pearlite are (26 % of normal differences), and most of a
 * smooth region but for its border. */
#define SMOOTHER 0.5
#define SMOOTH_SHARE 0.38
/* Ends of the rows of a white region: at least so many at pearlite, at most so many at graphite. */
#define IN_PEARLITE 0.5
#define AT_GRAPHITE 0.1
/* Below this share of the matrix the samples show nothing. */
#define SHOWN_LEAST 0.001
/* With more bright stripes left open than this, pearlite is not yet known. */
#define OPEN_MOST 0.1
/* Mid-grey regions are something only from this share of the matrix on. */
#define MID_LEAST 0.004
/* Ferrite is none beside graphite when so few of its rows touch it. */
#define BESIDE_LEAST 0.1
/* Fewer samples give no spread. */
#define SAMPLES_LEAST 200.0
/* A dark hill of pearlite holds at least this share of it. */
#define HILL_LEAST 0.25

/* So much of an island is white when all of it is: the rest is its blurred edge. */
#define WHITE_SHARE 0.15

enum { FOUND, WORK, PEARLITE, SETS };

/* What is asked of regions: bright islands as they stand, white patches cut from ferrite, and
 * mid-grey. */
enum kind { ISLAND, PATCH, MID };

struct population {
    uint64_t bins[256];
    double count, middle, low, high; /* standard deviation below and above the middle */
};

struct evidence {
    const struct kb_seg *seg;
    uint8_t plain;
    int calm;                      /* grey levels */
    int32_t lag;                   /* pixels between the two of a contrast */
    struct population means;       /* local means of pearlite */
    struct population plain_means; /* of ferrite */
    struct population beside;      /* grey of ferrite beside graphite */
    uint64_t calm_means[256];      /* of either */
    uint64_t plain_grey[256];
    double plain_pixels, plain_runs; /* of ferrite */
    uint32_t contrasts[64][256];     /* of pearlite: by a quarter of the local mean */
    double matrix;                   /* samples */
    double ferrite;                  /* its grey */
    int smooth;                      /* a difference up to this is smooth; grey levels */
    int low, high;                   /* mid-grey lies between */
    int white;                       /* white is above */
};

/* ---- what the field shows ----------------------------------------------------------------------
 */

static double level_of_share(const struct population *p, double share) {
    double wanted = share * p->count;
    double seen = 0.0;
    int level = 0;
    while (level < 255 && seen + (double)p->bins[level] < wanted) {
        seen += (double)p->bins[level++];
    }
    double part = p->bins[level] > 0 ? (wanted - seen) / (double)p->bins[level] : 0.5;
    return (double)level - 0.5 + part;
}

/* Quartiles of a normal population lie 0.6745 standard deviations from its middle. */
static void population_measure(struct population *p) {
    for (int i = 0; i < 256; i++) {
        p->count += (double)p->bins[i];
    }
    p->middle = level_of_share(p, 0.5);
    p->low = (p->middle - level_of_share(p, 0.25)) / 0.6745;
    p->high = (level_of_share(p, 0.75) - p->middle) / 0.6745;
}

/* The darkest hill of the local means, with the spread of its dark side: what lies beyond it on the
 * bright side is what is asked about. */
static void population_darkest(struct population *p) {
    double smooth[256];
    struct kb_mode mode[KB_MODES_MAX];
    population_measure(p);
    int hills = kb_modes_find(p->bins, smooth, mode);
    int hill = 0;
    while (hill + 1 < hills && mode[hill].share < HILL_LEAST) {
        hill++;
    }
    p->middle = (double)mode[hill].level;
    double n = 0.0;
    double square = 0.0;
    for (int i = mode[hill].left; i <= mode[hill].level; i++) {
        double off = (double)(i - mode[hill].level);
        n += (double)p->bins[i];
        square += (double)p->bins[i] * off * off;
    }
    p->low = n > 0.0 ? sqrt(square / n) : 0.0;
}

static int32_t run_end(const uint8_t *label, int32_t x, int32_t width) {
    int32_t end = x + 1;
    while (end < width && label[end] == label[x]) {
        end++;
    }
    return end;
}

static void see_run(struct evidence *e, const uint8_t *grey, const uint8_t *mean,
                    const uint8_t *label, int32_t x0, int32_t x1) {
    const bool pearlite = label[x0] == KB_PEARLITE;
    const bool beside = !pearlite && ((x0 > 0 && label[x0 - 1] == KB_GRAPHITE) ||
                                      (x1 < e->seg->grey.width && label[x1] == KB_GRAPHITE));
    for (int32_t x = x0; x < x1; x++) {
        if (pearlite && x + e->lag < x1) {
            e->contrasts[mean[x] / 4][abs(grey[x] - grey[x + e->lag])]++;
        }
        e->plain_grey[grey[x]] += !pearlite;
        if (abs(grey[x] - mean[x]) > e->calm) {
            continue;
        }
        e->calm_means[mean[x]]++;
        e->means.bins[mean[x]] += pearlite;
        e->plain_means.bins[mean[x]] += !pearlite;
    }
    e->beside.bins[grey[x0 + (x1 - x0) / 2]] += beside; /* farthest from its blurred edges */
    e->matrix += (double)(x1 - x0);
    e->plain_pixels += pearlite ? 0.0 : (double)(x1 - x0);
    e->plain_runs += pearlite ? 0.0 : 1.0;
}

static void see_row(void *context, int32_t y, const uint8_t *mean) {
    struct evidence *e = context;
    const uint8_t *label = kb_row(&e->seg->map->label, y);
    const int32_t width = e->seg->map->label.width;
    for (int32_t x = 0; x < width;) {
        int32_t end = run_end(label, x, width);
        if (label[x] == KB_PEARLITE || label[x] == e->plain) {
            see_run(e, kb_row(&e->seg->grey, y), mean, label, x, end);
        }
        x = end;
    }
}

static double share_between(const struct evidence *e, const uint64_t bins[256], int low, int high) {
    double sum = 0.0;
    for (int i = low; i <= high && i < 256; i++) {
        sum += (double)bins[i];
    }
    return e->matrix > 0.0 ? sum / e->matrix : 0.0;
}

/* Of what surely is pearlite: not lighter than its middle by more than it scatters. */
static double contrast_of_pearlite(const struct evidence *e) {
    struct population p = {.count = 0.0};
    int last = (int)(e->means.middle + e->means.low) / 4;
    for (int i = 0; i <= last && i < 64; i++) {
        for (int k = 0; k < 256; k++) {
            p.bins[k] += e->contrasts[i][k];
        }
    }
    population_measure(&p);
    return p.middle;
}

/* Where mid-grey and white lie; an empty range where they are not to be looked for. */
static void set_ranges(struct evidence *e) {
    const struct kb_seg *seg = e->seg;
    const double black = seg->scheme.graphite ? seg->class_level[0] : 0.0;
    population_darkest(&e->means);
    population_measure(&e->plain_means);
    population_measure(&e->beside);
    const bool compared = e->beside.count >= SAMPLES_LEAST;
    e->ferrite = compared ? e->beside.middle : e->plain_means.middle;
    const double way = e->ferrite - e->means.middle;
    e->smooth = (int)(SMOOTHER * contrast_of_pearlite(e) + 0.5);
    e->low = 256;
    e->high = -1;
    e->white = 255;
    if (e->means.count < SAMPLES_LEAST || e->plain_means.count < SAMPLES_LEAST || way <= 0.0) {
        return;
    }
    const double below = fmax(APART_LEAST * way, GRAIN_CONTRAST * (e->ferrite - black));
    e->low = (int)ceil(e->means.middle + fmax(REACH * e->means.low, APART_LEAST * way));
    e->high = (int)(e->ferrite - below);
    if (share_between(e, e->calm_means, e->low, e->high) < SHOWN_LEAST) {
        e->high = -1;
    }
    if (compared) {
        double above = fmax(REACH_WHITE * e->beside.high, WHITE_LEAST * (e->ferrite - black));
        e->white = (int)fmin(255.0, e->ferrite + above);
        e->white =
            share_between(e, e->plain_grey, e->white + 1, 255) < SHOWN_LEAST ? 255 : e->white;
    }
}

static enum kb_status means_of_rows(const struct evidence *e, int32_t step,
                                    void (*take)(void *context, int32_t y, const uint8_t *mean),
                                    void *context, struct kb_err *err) {
    bool matrix[256] = {false};
    matrix[KB_PEARLITE] = matrix[e->plain] = true;
    const struct kb_seg *seg = e->seg;
    return kb_local_mean_rows(&seg->grey, &seg->map->label, matrix,
                              kb_seg_radius_px(seg, seg->params->colony_um), step, take, context,
                              err);
}

/* ---- candidates --------------------------------------------------------------------------------
 */

struct picking {
    const struct evidence *e;
    uint8_t *row;
    struct kb_bits *set;
};

static void pick_mid(void *context, int32_t y, const uint8_t *mean) {
    struct picking *p = context;
    const struct evidence *e = p->e;
    const uint8_t *label = kb_row(&e->seg->map->label, y);
    const uint8_t *grey = kb_row(&e->seg->grey, y);
    for (int32_t x = 0; x < p->set->width; x++) {
        int off = grey[x] - mean[x];
        bool calm = off <= e->calm && off >= -e->calm && mean[x] >= e->low && mean[x] <= e->high;
        p->row[x] = (uint8_t)(calm & ((label[x] == KB_PEARLITE) | (label[x] == e->plain)));
    }
    kb_bits_pick_row(p->row, y, p->set);
}

/* Pixels of either constituent (`pearlite_too`) or of ferrite with a grey in the range. */
static void pick_greys(const struct picking *p, bool pearlite_too, int low, int high) {
    const struct kb_seg *seg = p->e->seg;
    for (int32_t y = 0; y < p->set->height; y++) {
        const uint8_t *label = kb_row(&seg->map->label, y);
        const uint8_t *grey = kb_row(&seg->grey, y);
        for (int32_t x = 0; x < p->set->width; x++) {
            bool mine = label[x] == p->e->plain || (pearlite_too && label[x] == KB_PEARLITE);
            p->row[x] = (uint8_t)(mine & (grey[x] >= low) & (grey[x] <= high));
        }
        kb_bits_pick_row(p->row, y, p->set);
    }
}

/* Median of the greys of a set. */
static int middle_grey(const struct kb_image *grey, const struct kb_bits *set) {
    struct population p = {.count = 0.0};
    for (int32_t y = 0; y < set->height; y++) {
        const uint64_t *word = kb_bits_row(set, y);
        const uint8_t *row = kb_row(grey, y);
        for (int32_t x = 0; x < set->width; x++) {
            p.bins[row[x]] += word[x / 64] >> (x % 64) & 1;
        }
    }
    population_measure(&p);
    return p.count > 0.0 ? (int)p.middle : 0;
}

/* Solid candidates, grown by `reach` into the greys that are nearer to theirs than to pearlite's or
 * ferrite's: the window of the local mean kept them from their border. */
static enum kb_status grow_mid(const struct picking *p, struct kb_bits set[SETS],
                               struct kb_err *err) {
    const struct evidence *e = p->e;
    const struct kb_seg *seg = e->seg;
    int32_t solid = kb_seg_radius_px(seg, seg->params->line_um);
    int32_t reach = solid + kb_seg_radius_px(seg, 0.5 * seg->params->colony_um);
    enum kb_status status = kb_bits_open(&set[FOUND], solid, solid, &set[WORK], err);
    int middle = status == KB_OK ? middle_grey(&seg->grey, &set[WORK]) : 0;
    if (status == KB_OK) {
        status = kb_bits_close(&set[WORK], reach, 0, &set[FOUND], err);
    }
    if (status == KB_OK) {
        const struct picking around = {e, p->row, &set[WORK]};
        pick_greys(&around, true, (int)(0.5 * (e->means.middle + (double)middle)) + 1,
                   (int)(0.5 * (e->ferrite + (double)middle)));
        kb_bits_both(&set[FOUND], &set[WORK]);
    }
    return status;
}

/* White that is solid, and the bright edge around it: all that is near and no solid ferrite. */
static enum kb_status grow_white(const struct picking *p, struct kb_bits set[SETS],
                                 struct kb_err *err) {
    const struct evidence *e = p->e;
    const struct kb_seg *seg = e->seg;
    int32_t solid = kb_seg_radius_px(seg, 0.5 * seg->params->line_um);
    int32_t reach = kb_seg_radius_px(seg, 2.0 * seg->params->line_um);
    enum kb_status status = kb_bits_open(&set[FOUND], solid, solid, &set[WORK], err);
    if (status == KB_OK) {
        status = kb_bits_close(&set[WORK], reach, 0, &set[FOUND], err);
    }
    if (status == KB_OK) {
        const struct picking around = {e, p->row, &set[WORK]};
        pick_greys(&around, false, 0, 255);
        kb_bits_both(&set[FOUND], &set[WORK]);
        pick_greys(&around, false, 0, e->white);
        status = kb_bits_open(&set[WORK], solid + 1, solid + 1, &set[PEARLITE], err);
    }
    if (status == KB_OK) {
        kb_bits_without(&set[FOUND], &set[PEARLITE]);
    }
    return status;
}

/* ---- regions -----------------------------------------------------------------------------------
 */

struct candidate {
    double pixels, white, grey, smooth, pairs;
    double ends, at_pearlite, at_graphite; /* of its rows */
};

static void add_end(struct candidate *c, uint8_t label) {
    c->ends += label != KB_EXCLUDED ? 1.0 : 0.0;
    c->at_pearlite += label == KB_PEARLITE ? 1.0 : 0.0;
    c->at_graphite += label == KB_GRAPHITE ? 1.0 : 0.0;
}

static void candidates_measure(const struct evidence *e, const struct kb_runs *runs,
                               struct candidate *candidate) {
    for (int32_t y = 0; y < runs->height; y++) {
        const uint8_t *label = kb_row(&e->seg->map->label, y);
        const uint8_t *grey = kb_row(&e->seg->grey, y);
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            const struct kb_run *run = &runs->run[i];
            struct candidate *c = &candidate[run->region];
            c->pixels += (double)(run->x1 - run->x0);
            for (int32_t x = run->x0; x < run->x1; x++) {
                c->grey += (double)grey[x];
                c->white += grey[x] > e->white ? 1.0 : 0.0;
            }
            for (int32_t x = run->x0; x + e->lag < run->x1; x++) {
                c->smooth += abs(grey[x] - grey[x + e->lag]) <= e->smooth ? 1.0 : 0.0;
                c->pairs += 1.0;
            }
            if (run->x0 > 0) {
                add_end(c, label[run->x0 - 1]);
            }
            if (run->x1 < runs->width) {
                add_end(c, label[run->x1]);
            }
        }
    }
}

static double area_of(double diameter_um, const struct kb_seg *seg) {
    return 0.25 * KB_SEG_PI * diameter_um * diameter_um / (seg->px_um * seg->px_um);
}

/* Share of its pairs that differ by less than half of what pearlite's do. */
static double smoothness(const struct candidate *c) {
    return c->pairs > 0.0 ? c->smooth / c->pairs : 0.0;
}

static bool is_large(const struct evidence *e, const struct candidate *c, enum kind kind) {
    const struct kb_segmentation_params *p = e->seg->params;
    return c->pixels >= area_of(kind == MID ? 1.5 * p->colony_um : p->clean_um, e->seg);
}

static bool is_other(const struct candidate *c, enum kind kind) {
    if (kind == MID) {
        return smoothness(c) >= SMOOTH_SHARE;
    }
    return c->at_pearlite >= IN_PEARLITE * c->ends && c->at_graphite <= AT_GRAPHITE * c->ends &&
           c->white >= WHITE_SHARE * c->pixels;
}

static void tell_points(const struct evidence *e, const struct kb_runs *runs,
                        const struct candidate *candidate, const uint16_t *to, enum kind kind) {
    const bool mid = kind == MID;
    const struct kb_seg *seg = e->seg;
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        uint32_t r = 0;
        if (!kb_runs_at(runs, why->x, why->y, &r) || to[r] != KB_OTHER) {
            continue;
        }
        struct kb_why_step step = kb_seg_why_step(why, "fits neither", KB_OTHER);
        const double grey = candidate[r].grey / candidate[r].pixels;
        step.figure = kb_seg_to_file(seg, grey);
        step.limit = kb_seg_to_file(seg, mid ? e->low : e->white);
        step.unit = "grey level";
        if (mid) {
            kb_why_add(why, &step,
                       "grey %.0f lies between this field's pearlite (to %.0f) and ferrite (from "
                       "%.0f), and %.0f %% of it is less than half as contrasty as pearlite: "
                       "like bainite or martensite; other",
                       step.figure, step.limit, kb_seg_to_file(seg, e->high),
                       100.0 * smoothness(&candidate[r]));
        } else {
            kb_why_add(
                why, &step,
                "%.0f %% of its region is brighter than the ferrite beside graphite (to %.0f), "
                "and %.0f %% of its border is pearlite: like carbide or ledeburite; other",
                100.0 * candidate[r].white / candidate[r].pixels, step.limit,
                100.0 * candidate[r].at_pearlite / fmax(candidate[r].ends, 1.0));
        }
    }
}

/* What becomes of each region; returns the pixels that are other. A few smooth places among many
 * that are as rough as pearlite are pearlite's own scatter, and so is next to nothing. */
static uint64_t decide(const struct evidence *e, const struct candidate *candidate, uint32_t count,
                       enum kind kind, uint16_t else_to, uint16_t *to) {
    double other = 0.0;
    double rest = 0.0;
    for (uint32_t r = 0; r < count; r++) {
        bool large = is_large(e, &candidate[r], kind);
        bool mine = large && is_other(&candidate[r], kind);
        to[r] = mine ? (uint16_t)KB_OTHER : else_to;
        other += mine ? candidate[r].pixels : 0.0;
        rest += large && !mine ? candidate[r].pixels : 0.0;
    }
    const uint64_t *pixels = e->seg->map->figures.pixels; /* as before this step */
    const double matrix = (double)(pixels[KB_PEARLITE] + pixels[e->plain]);
    if (kind == MID && (other < MID_LEAST * matrix || other < rest)) {
        for (uint32_t r = 0; r < count; r++) {
            to[r] = else_to;
        }
        other = 0.0;
    }
    return (uint64_t)other;
}

/* Pixels of mid-grey regions that are not other. */
static double rough_of(const struct evidence *e, const struct candidate *candidate, uint32_t count,
                       enum kind kind, const uint16_t *to) {
    double rough = 0.0;
    for (uint32_t r = 0; r < count && kind == MID; r++) {
        bool large = to[r] != KB_OTHER && is_large(e, &candidate[r], kind);
        rough += large ? candidate[r].pixels : 0.0;
    }
    return rough;
}

/* Judge the regions of label `asked`: other, or `else_to`. */
static enum kb_status judge(struct kb_seg *seg, const struct evidence *e, enum kind kind,
                            uint8_t asked, uint16_t else_to, struct kb_err *err) {
    struct kb_segmentation_figures *f = &seg->map->figures;
    bool chosen[256] = {false};
    chosen[asked] = true;
    struct kb_runs runs;
    enum kb_status status = kb_runs_label(&seg->map->label, chosen, 4, &runs, err);
    if (status != KB_OK) {
        return status;
    }
    struct candidate *candidate = kb_alloc_zero((size_t)runs.regions + 1, sizeof *candidate);
    uint16_t *to = kb_alloc((size_t)runs.regions + 1, sizeof *to);
    if (candidate == NULL || to == NULL) {
        status = kb_fail_memory(err, KB_SEG_STAGE, runs.regions * sizeof *candidate);
    } else {
        candidates_measure(e, &runs, candidate);
        const uint64_t found = decide(e, candidate, runs.regions, kind, else_to, to);
        *(kind == MID ? &f->mid_grey_px : &f->white_px) += found;
        seg->light_pearlite_px += rough_of(e, candidate, runs.regions, kind, to);
        tell_points(e, &runs, candidate, to, kind);
        kb_runs_paint(&runs, to, &seg->map->label);
    }
    kb_free(candidate);
    kb_free(to);
    kb_runs_release(&runs);
    return status;
}

/* One kind: candidates, judgement, and what was refused back to where it was. */
static enum kb_status look_for(struct kb_seg *seg, struct picking *p, struct kb_bits set[SETS],
                               bool mid, struct kb_err *err) {
    const struct evidence *e = p->e;
    enum kb_status status = KB_OK;
    if (mid) {
        status = means_of_rows(e, 1, pick_mid, p, err);
    } else { /* whole islands first; what is left of white adjoins ferrite */
        status = judge(seg, e, ISLAND, e->plain, KB_KEEP, err);
        pick_greys(p, false, e->white + 1, 255);
    }
    if (status == KB_OK) {
        status = mid ? grow_mid(p, set, err) : grow_white(p, set, err);
    }
    if (status != KB_OK) {
        return status;
    }
    bool pearlite[256] = {false};
    pearlite[KB_PEARLITE] = true;
    kb_bits_pick(&seg->map->label, pearlite, &set[PEARLITE]);
    kb_bits_both(&set[PEARLITE], &set[FOUND]);
    kb_bits_paint(&set[FOUND], KB_SEG_UNDECIDED, &seg->map->label);
    status = judge(seg, e, mid ? MID : PATCH, KB_SEG_UNDECIDED, e->plain, err);
    if (status == KB_OK) {
        bool plain[256] = {false};
        plain[e->plain] = true;
        kb_bits_pick(&seg->map->label, plain, &set[WORK]);
        kb_bits_both(&set[PEARLITE], &set[WORK]);
        kb_bits_paint(&set[PEARLITE], KB_PEARLITE, &seg->map->label);
    }
    return status;
}

static enum kb_status find(struct kb_seg *seg, const struct evidence *e, struct kb_err *err) {
    struct kb_bits set[SETS] = {{0}};
    enum kb_status status = KB_OK;
    for (int i = 0; i < SETS && status == KB_OK; i++) {
        status = kb_bits_alloc(seg->grey.width, seg->grey.height, &set[i], err);
    }
    struct picking p = {e, kb_alloc((size_t)seg->grey.width, 1), &set[FOUND]};
    if (status == KB_OK && p.row == NULL) {
        status = kb_fail_memory(err, KB_SEG_STAGE, (size_t)seg->grey.width);
    }
    if (status == KB_OK && e->white < 255) {
        status = look_for(seg, &p, set, false, err);
    }
    if (status == KB_OK && e->low <= e->high) {
        status = look_for(seg, &p, set, true, err);
    }
    if (status == KB_OK) {
        kb_seg_count_labels(&seg->map->label, seg->map->figures.pixels);
    }
    kb_free(p.row);
    for (int i = 0; i < SETS; i++) {
        kb_bits_release(&set[i]);
    }
    return status;
}

enum kb_status kb_seg_other(struct kb_seg *seg, struct kb_err *err) {
    struct kb_segmentation_figures *f = &seg->map->figures;
    if (!seg->scheme.matrix_pair || seg->params->contrast != KB_LIGHT || seg->single ||
        seg->stripes_open > OPEN_MOST || seg->scheme.plain != KB_FERRITE ||
        !(seg->params->colony_um > 0.0)) {
        return KB_OK;
    }
    const int last = seg->scheme.classes - 1;
    struct evidence e = {.seg = seg, .plain = (uint8_t)seg->scheme.plain};
    e.calm = (int)(CALM * (seg->class_level[last] - seg->class_level[last - 1]));
    e.lag = kb_seg_radius_px(seg, seg->params->colony_um);
    enum kb_status status =
        means_of_rows(&e, kb_seg_row_step(&seg->grey, KB_SEG_PLACES / 2, 1), see_row, &e, err);
    if (status != KB_OK) {
        return status;
    }
    set_ranges(&e);
    f->other_sought = true;
    const double bright = e.matrix > 0.0 ? (e.plain_pixels / e.matrix) : 0.0;
    const bool alone = seg->scheme.graphite && e.beside.count < BESIDE_LEAST * e.plain_runs;
    seg->bright_alone_px =
        alone ? bright * (double)(f->pixels[KB_PEARLITE] + f->pixels[e.plain]) : 0.0;
    return e.white < 255 || e.low <= e.high ? find(seg, &e, err) : KB_OK;
}
