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
#include "other_priv.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A pixel is near to its local mean within this share of the way from pearlite to ferrite. */
#define CALM 0.25
/* So many pairs of a smooth region differ by no more than half of what pairs of pearlite typically
 * do: a quarter of those of pearlite are (26 % of normal differences), most of a smooth region but
 * for its border. */
#define SMOOTH_SHARE 0.46
/* Ends of the rows of a white region: at least so many at pearlite, at most so many at graphite. */
#define IN_PEARLITE 0.5
#define AT_GRAPHITE 0.1
/* With more bright stripes left open than this, pearlite is not yet known. */
#define OPEN_MOST 0.1
/* Mid-grey regions are something only from this share of the matrix on. */
#define MID_LEAST 0.004
/* Ferrite is none beside graphite when so few of its rows touch it. */
#define BESIDE_LEAST 0.1
/* So much of an island is white when all of it is: the rest is its blurred edge. */
#define WHITE_SHARE 0.15

enum { FOUND, WORK, PEARLITE, SETS };

/* What is asked of regions: bright islands as they stand, white patches cut from ferrite, and
 * mid-grey. */
enum kind { ISLAND, PATCH, MID };

/* ---- candidates --------------------------------------------------------------------------------
 */

struct picking {
    const struct kb_other_evidence *e;
    uint8_t *row;
    struct kb_bits *set;
};

KB_WIDE static void mark_row(const uint8_t *restrict grey, const uint8_t *restrict mean,
                             const uint8_t *restrict label, int32_t width, int calm, int low,
                             int high, uint8_t plain, uint8_t *restrict to) {
    for (int32_t x = 0; x < width; x++) {
        int off = grey[x] - mean[x];
        bool mid = (off <= calm) & (off >= -calm) & (mean[x] >= low) & (mean[x] <= high);
        to[x] = (uint8_t)(mid & ((label[x] == KB_PEARLITE) | (label[x] == plain)));
    }
}

static void mark_mid(const struct picking *p, int32_t y, const uint8_t *mean) {
    const struct kb_other_evidence *e = p->e;
    mark_row(kb_row(&e->seg->grey, y), mean, kb_row(&e->seg->map->label, y), e->seg->grey.width,
             e->calm, e->low, e->high, e->plain, p->row);
}

static void pick_mid(void *context, int32_t y, const uint8_t *mean) {
    const struct picking *p = context;
    mark_mid(p, y, mean);
    kb_bits_pick_row(p->row, y, p->set);
}

/* Pixels of mid-grey stretches of a row that are as long as a region is wide, and as smooth. */
struct stretches {
    struct picking picking;
    int32_t least;
    double pixels;
};

static bool is_smooth(const struct kb_other_evidence *e, int32_t y, int32_t x0, int32_t x1) {
    const uint8_t *grey = kb_row(&e->seg->grey, y);
    double smooth = 0.0;
    double pairs = 0.0;
    for (int32_t x = x0; x + e->lag < x1; x++) {
        smooth += abs(grey[x] - grey[x + e->lag]) <= e->smooth ? 1.0 : 0.0;
        pairs += 1.0;
    }
    return smooth >= SMOOTH_SHARE * pairs;
}

static void see_stretches(void *context, int32_t y, const uint8_t *mean) {
    struct stretches *s = context;
    const int32_t width = s->picking.e->seg->grey.width;
    mark_mid(&s->picking, y, mean);
    int32_t length = 0;
    for (int32_t x = 0; x <= width; x++) {
        bool mid = x < width && s->picking.row[x] != 0;
        if (!mid && length >= s->least && is_smooth(s->picking.e, y, x - length, x)) {
            s->pixels += (double)length;
        }
        length = mid ? length + 1 : 0;
    }
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
    struct kb_other_population p = {.count = 0.0};
    for (int32_t y = 0; y < set->height; y++) {
        const uint64_t *word = kb_bits_row(set, y);
        const uint8_t *row = kb_row(grey, y);
        for (int32_t x = 0; x < set->width; x++) {
            p.bins[row[x]] += word[x / 64] >> (x % 64) & 1;
        }
    }
    kb_other_measure(&p);
    return p.count > 0.0 ? (int)p.middle : 0;
}

/* Solid candidates, grown by `reach` into the greys that are nearer to theirs than to pearlite's or
 * ferrite's: the window of the local mean kept them from their border. */
static enum kb_status grow_mid(const struct picking *p, struct kb_bits set[SETS],
                               struct kb_err *err) {
    const struct kb_other_evidence *e = p->e;
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
    const struct kb_other_evidence *e = p->e;
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

static void candidates_measure(const struct kb_other_evidence *e, const struct kb_runs *runs,
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

static bool is_large(const struct kb_other_evidence *e, const struct candidate *c, enum kind kind) {
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

static void tell_points(const struct kb_other_evidence *e, const struct kb_runs *runs,
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
static uint64_t decide(const struct kb_other_evidence *e, const struct candidate *candidate,
                       uint32_t count, enum kind kind, uint16_t else_to, uint16_t *to) {
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
static double rough_of(const struct kb_other_evidence *e, const struct candidate *candidate,
                       uint32_t count, enum kind kind, const uint16_t *to) {
    double rough = 0.0;
    for (uint32_t r = 0; r < count && kind == MID; r++) {
        bool large = to[r] != KB_OTHER && is_large(e, &candidate[r], kind);
        rough += large ? candidate[r].pixels : 0.0;
    }
    return rough;
}

/* Judge the regions of label `asked`: other, or `else_to`. */
static enum kb_status judge(struct kb_seg *seg, const struct kb_other_evidence *e, enum kind kind,
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
    const struct kb_other_evidence *e = p->e;
    enum kb_status status = KB_OK;
    if (mid) {
        status = kb_other_means(e, 1, pick_mid, p, err);
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

/* Whether the sampled rows hold stretches enough to go through the whole field. */
static enum kb_status mid_is_worth_it(const struct kb_other_evidence *e, uint8_t *row, bool *worth,
                                      struct kb_err *err) {
    const int32_t solid = kb_seg_radius_px(e->seg, e->seg->params->line_um);
    struct stretches s = {{e, row, NULL}, 2 * solid + 1, 0.0};
    enum kb_status status = kb_other_sampled(e, see_stretches, &s, err);
    *worth = s.pixels >= 0.5 * MID_LEAST * e->matrix; /* half: growing adds the border */
    return status;
}

/* White first: what is left of the bright class is ferrite, beside which grey is judged. */
static enum kb_status find_both(struct kb_seg *seg, struct kb_other_evidence *e, struct picking *p,
                                struct kb_bits set[SETS], struct kb_err *err) {
    enum kb_status status = KB_OK;
    const bool white = e->white < 255;
    if (white) {
        kb_free(e->kept); /* labels change */
        e->kept = NULL;
        status = look_for(seg, p, set, false, err);
    }
    bool mid = e->low <= e->high;
    if (status == KB_OK && mid) {
        status = mid_is_worth_it(e, p->row, &mid, err);
    }
    if (status == KB_OK && mid) {
        status = look_for(seg, p, set, true, err);
    }
    if (status == KB_OK && (white || mid)) {
        kb_seg_count_labels(&seg->map->label, seg->map->figures.pixels);
    }
    return status;
}

static enum kb_status find(struct kb_seg *seg, struct kb_other_evidence *e, struct kb_err *err) {
    struct kb_bits set[SETS] = {{0}};
    enum kb_status status = KB_OK;
    for (int i = 0; i < SETS && status == KB_OK; i++) {
        status = kb_bits_alloc(seg->grey.width, seg->grey.height, &set[i], err);
    }
    struct picking p = {e, kb_alloc((size_t)seg->grey.width, 1), &set[FOUND]};
    if (status == KB_OK) {
        status = p.row != NULL ? find_both(seg, e, &p, set, err)
                               : kb_fail_memory(err, KB_SEG_STAGE, (size_t)seg->grey.width);
    }
    kb_free(p.row);
    for (int i = 0; i < SETS; i++) {
        kb_bits_release(&set[i]);
    }
    return status;
}

/* Look at samples, and through the whole field where they show something. */
static enum kb_status look(struct kb_seg *seg, struct kb_other_evidence *e, struct kb_err *err) {
    struct kb_segmentation_figures *f = &seg->map->figures;
    enum kb_status status = kb_other_see(e, err);
    if (status != KB_OK) {
        return status;
    }
    f->other_sought = true;
    const double bright = e->matrix > 0.0 ? (e->plain_pixels / e->matrix) : 0.0;
    const bool alone = seg->scheme.graphite && e->beside.count < BESIDE_LEAST * e->plain_runs;
    seg->bright_alone_px =
        alone ? bright * (double)(f->pixels[KB_PEARLITE] + f->pixels[e->plain]) : 0.0;
    return e->white < 255 || e->low <= e->high ? find(seg, e, err) : KB_OK;
}

enum kb_status kb_seg_other(struct kb_seg *seg, struct kb_err *err) {
    if (!seg->scheme.matrix_pair || seg->params->contrast != KB_LIGHT || seg->single ||
        seg->stripes_open > OPEN_MOST || seg->scheme.plain != KB_FERRITE ||
        !(seg->params->colony_um > 0.0)) {
        return KB_OK;
    }
    const int last = seg->scheme.classes - 1;
    struct kb_other_evidence e = {.seg = seg, .plain = (uint8_t)seg->scheme.plain};
    e.calm = (int)(CALM * (seg->class_level[last] - seg->class_level[last - 1]));
    e.lag = kb_seg_radius_px(seg, seg->params->colony_um);
    enum kb_status status = look(seg, &e, err);
    kb_free(e.kept);
    return status;
}
