/* pearlite.c - pearlite as regions.
 *
 * Where the lamellae are not resolved the pixels have decided already and their boundaries are kept
 * as they are, so that a ring of ferrite a few pixels wide survives. Whether lamellae are resolved
 * is read from the picture: the mean grey over a window of colony_um (matrix only) has its own
 * histogram; where that mean is well inside pearlite, many bright pixels mean stripes. Then:
 *
 *   closing   fills stripes up to half the window wide, where the local mean agrees with pearlite;
 *             where only single colonies show them, those up to line_um wide beside others;
 *   opening   (always) takes away dark lines narrower than line_um, which are grain boundaries or
 *             scratches, and gives them to the constituent around; what is within a pixel of a
 *             solid part is kept. Where boundaries are etched broad, their junctions outlast that:
 *             when lines make up a third of all that is dark and most of the rest would not
 *             outlast twice the width, twice the width is taken, and a finding says so.
 *
 * Graphite is outside both masks, so that a ring between graphite and pearlite is not closed.
 */
#include "segmentation_priv.h"

#include <math.h>

/* Share of bright pixels deep inside pearlite from which on its lamellae count as resolved. Noise
 * and unresolved texture stay below; true lamellae show a third to a half. */
#define RESOLVED_SHARE 0.12
/* With more bright pixels than this there is no pearlite to speak of where the mean is darkest. */
#define RESOLVED_MOST 0.8
/* When less than this share of pearlite is left by an opening of twice the line width, it is mostly
 * junctions and broad stretches of boundaries. */
#define HEAVY_SURVIVES 0.5
/* When the closing misses more than this share of the bright pixels, they are no stripes but grains
 * between dark boundaries. */
#define OPEN_MOST 0.6
/* Where the local mean has one hill and the closing reaches all but this share, the matrix is
 * pearlite throughout, and stripes too wide for the closing belong to it. */
#define OPEN_ONE_HILL 0.4
/* Share of the way from pearlite's mean to the plain grey: a film a quarter as wide as the window
 * brings the mean that far. */
#define WELL_INSIDE 0.25
/* Pixels across a stripe of line_um from which on single stripes can be told. */
#define STRIPE_PX 6.0

static int32_t radius_px(const struct kb_seg *seg, double width_um) {
    double radius = 0.5 * width_um / seg->px_um;
    double most =
        0.25 * (double)(seg->grey.width < seg->grey.height ? seg->grey.width : seg->grey.height);
    return (int32_t)fmax(1.0, floor(fmin(radius, most)));
}

/* ---- resolved lamellae -------------------------------------------------------------------------
 */

struct mean_cut {
    int cut;       /* local means on pearlite's side of it are pearlite's */
    bool dark;     /* that side is the dark one */
    double inside; /* level that is well inside pearlite */
    bool one_hill; /* at the scale of colonies the matrix is one constituent */
};

/* How often each local mean stands at a pixel of either constituent. */
struct means_seen {
    const struct kb_image *label;
    uint8_t which[256]; /* by label: 1 plain, 2 pearlite, 0 neither */
    uint64_t bins[3][256];
};

static void see_means(void *context, int32_t y, const uint8_t *mean) {
    struct means_seen *seen = context;
    const uint8_t *label = kb_row(seen->label, y);
    for (int32_t x = 0; x < seen->label->width; x++) {
        seen->bins[seen->which[label[x]]][mean[x]]++;
    }
}

static enum kb_status local_means(const struct kb_seg *seg, int32_t step,
                                  void (*take)(void *context, int32_t y, const uint8_t *mean),
                                  void *context, struct kb_err *err) {
    bool matrix[256] = {false};
    matrix[KB_PEARLITE] = matrix[seg->scheme.plain] = true;
    return kb_local_mean_rows(&seg->grey, &seg->map->label, matrix,
                              radius_px(seg, seg->params->colony_um), step, take, context, err);
}

/* Parts the histogram of local means; false when it holds one level only. */
static bool part_means(const struct kb_seg *seg, const struct means_seen *seen,
                       struct mean_cut *part) {
    uint64_t bins[256];
    for (int i = 0; i < 256; i++) {
        bins[i] = seen->bins[1][i] + seen->bins[2][i];
    }
    int cut[2] = {0, 0};
    double separability;
    if (!kb_otsu(bins, 2, cut, &separability)) {
        return false;
    }
    part->cut = cut[0];
    part->dark = seg->scheme.pearlite < seg->scheme.classes - 1;
    double n = 0.0;
    double sum = 0.0;
    for (int i = part->dark ? 0 : cut[0] + 1; i <= (part->dark ? cut[0] : 255); i++) {
        n += (double)bins[i];
        sum += (double)bins[i] * (double)i;
    }
    part->inside = sum / n;
    double smooth[256];
    struct kb_mode mode[KB_MODES_MAX];
    part->one_hill = kb_modes_find(bins, smooth, mode) < 2;
    if (part->one_hill) { /* the mean parts nothing: all of the matrix is asked for stripes */
        part->cut = part->dark ? 255 : -1;
    }
    return true;
}

/* Share of plain pixels where the local mean is well inside pearlite. */
static double stripes(const struct means_seen *seen, const struct mean_cut *part) {
    double plain = 0.0;
    double pearlite = 0.0;
    int low = part->dark ? 0 : (int)ceil(part->inside);
    int high = part->dark ? (int)part->inside : 255;
    for (int i = low; i <= high; i++) {
        plain += (double)seen->bins[1][i];
        pearlite += (double)seen->bins[2][i];
    }
    return plain > 0.0 ? plain / (plain + pearlite) : 0.0;
}

/* Plain pixels whose local mean is pearlite's. */
struct means_pearlite {
    const struct kb_image *label;
    uint8_t plain;
    uint8_t is_pearlite[256]; /* by local mean */
    uint8_t *row;
    struct kb_bits *set;
};

static void set_pearlite_means(void *context, int32_t y, const uint8_t *mean) {
    struct means_pearlite *means = context;
    const uint8_t *label = kb_row(means->label, y);
    for (int32_t x = 0; x < means->label->width; x++) {
        means->row[x] = label[x] == means->plain ? means->is_pearlite[mean[x]] : 0;
    }
    kb_bits_pick_row(means->row, y, means->set);
}

static enum kb_status pearlite_by_mean(const struct kb_seg *seg, const struct mean_cut *part,
                                       struct kb_bits *set, struct kb_err *err) {
    struct means_pearlite means = {
        .label = &seg->map->label, .plain = (uint8_t)seg->scheme.plain, .set = set};
    for (int i = 0; i < 256; i++) {
        means.is_pearlite[i] = part->dark ? i <= part->cut : i > part->cut;
    }
    means.row = kb_alloc((size_t)set->width, 1);
    if (means.row == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, (size_t)set->width);
    }
    enum kb_status status = local_means(seg, 1, set_pearlite_means, &means, err);
    kb_free(means.row);
    return status;
}

/* Three sets of pixels of the field's size. */
enum { PEARLITE, SOLID, REST, SETS };

static void sets_release(struct kb_bits set[SETS]) {
    for (int i = 0; i < SETS; i++) {
        kb_bits_release(&set[i]);
    }
}

static enum kb_status sets_alloc(const struct kb_image *like, struct kb_bits set[SETS],
                                 struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (int i = 0; i < SETS && status == KB_OK; i++) {
        status = kb_bits_alloc(like->width, like->height, &set[i], err);
    }
    return status;
}

static void pick_pearlite(const struct kb_seg *seg, struct kb_bits *set) {
    bool pearlite[256] = {false};
    pearlite[KB_PEARLITE] = true;
    kb_bits_pick(&seg->map->label, pearlite, set);
}

static void tell_closed(const struct kb_seg *seg, const struct mean_cut *part, bool colonies) {
    kb_seg_why_closed(seg, &(struct kb_seg_closing){
                               .radius = radius_px(seg, seg->params->colony_um),
                               .cut = part->cut,
                               .dark = part->dark,
                               .one_hill = part->one_hill,
                               .colonies = colonies,
                           });
}

/* Plain pixels that the closing reached and the local mean calls pearlite become pearlite. */
static enum kb_status close_stripes(struct kb_seg *seg, const struct mean_cut *part,
                                    struct kb_bits set[SETS], struct kb_err *err) {
    int32_t radius = radius_px(seg, 0.5 * seg->params->colony_um);
    enum kb_status status = pearlite_by_mean(seg, part, &set[REST], err);
    if (status == KB_OK) {
        pick_pearlite(seg, &set[PEARLITE]);
        status = kb_bits_close(&set[PEARLITE], radius, radius, &set[SOLID], err);
    }
    if (status != KB_OK) {
        return status;
    }
    double flagged = (double)kb_bits_count(&set[REST]);
    kb_bits_both(&set[SOLID], &set[REST]);
    double reached = (double)kb_bits_count(&set[SOLID]);
    seg->stripes_open = flagged > 0.0 ? 1.0 - reached / flagged : 0.0;
    seg->stripes_closed = seg->stripes_open <= OPEN_MOST;
    bool lamellae_only = part->one_hill && seg->stripes_open <= OPEN_ONE_HILL;
    if (lamellae_only) { /* wide stripes too */
        seg->stripes_open = 0.0;
    }
    if (seg->stripes_closed) {
        kb_bits_paint(lamellae_only ? &set[REST] : &set[SOLID], KB_PEARLITE, &seg->map->label);
        tell_closed(seg, part, false);
    }
    return KB_OK;
}

/* Where most lamellae are not resolved, those of single coarse colonies are: plain stripes too wide
 * for the threshold to miss, beside pearlite as thin as themselves. Such stripes are closed where
 * the local mean is well inside pearlite's. A film between two solid parts of pearlite has nothing
 * thin beside it and stays. */
static enum kb_status close_colonies(struct kb_seg *seg, const struct mean_cut *whole,
                                     struct kb_bits set[SETS], struct kb_err *err) {
    int32_t radius = radius_px(seg, seg->params->line_um);
    struct mean_cut part = *whole;
    double plain = seg->class_level[part.dark ? seg->scheme.classes - 1 : seg->scheme.classes - 2];
    part.cut = (int)(part.inside + WELL_INSIDE * (plain - part.inside));
    enum kb_status status = pearlite_by_mean(seg, &part, &set[REST], err);
    if (status == KB_OK) {
        pick_pearlite(seg, &set[PEARLITE]);
        status = kb_bits_close(&set[PEARLITE], radius, radius, &set[SOLID], err);
    }
    if (status == KB_OK) {
        kb_bits_both(&set[REST], &set[SOLID]);
        status = kb_bits_open(&set[PEARLITE], radius, radius + 1, &set[SOLID], err);
    }
    if (status == KB_OK) { /* the thin part of pearlite, and what lies about it */
        kb_bits_without(&set[PEARLITE], &set[SOLID]);
        status = kb_bits_close(&set[PEARLITE], radius, 0, &set[SOLID], err);
    }
    if (status == KB_OK) {
        kb_bits_both(&set[REST], &set[SOLID]);
        kb_bits_paint(&set[REST], KB_PEARLITE, &seg->map->label);
        tell_closed(seg, &part, true);
    }
    return status;
}

static enum kb_status close_lamellae(struct kb_seg *seg, struct kb_bits set[SETS],
                                     struct kb_err *err) {
    struct mean_cut part;
    struct means_seen seen = {.label = &seg->map->label};
    seen.which[seg->scheme.plain] = 1;
    seen.which[KB_PEARLITE] = 2;
    enum kb_status status =
        local_means(seg, kb_seg_row_step(&seg->grey, KB_SEG_PLACES / 2, 1), see_means, &seen, err);
    if (status != KB_OK || !part_means(seg, &seen, &part)) {
        return status;
    }
    seg->stripes = stripes(&seen, &part);
    seg->stripes_closed = seg->stripes >= RESOLVED_SHARE && seg->stripes <= RESOLVED_MOST;
    if (seg->stripes_closed) {
        return close_stripes(seg, &part, set, err);
    }
    /* proeutectoid cementite is itself films and particles */
    bool may_be_seen =
        seg->scheme.plain == KB_FERRITE && seg->params->line_um >= STRIPE_PX * seg->px_um;
    return may_be_seen ? close_colonies(seg, &part, set, err) : KB_OK;
}

/* ---- dark lines --------------------------------------------------------------------------------
 */

/* Opening of what is pearlite; set[REST] is what does not outlast it. */
static enum kb_status open_pearlite(const struct kb_seg *seg, int32_t radius,
                                    struct kb_bits set[SETS], uint64_t *all, uint64_t *lines,
                                    struct kb_err *err) {
    pick_pearlite(seg, &set[REST]);
    *all = kb_bits_count(&set[REST]);
    /* one pixel of reach keeps the corners that an octagon rounds off */
    enum kb_status status = kb_bits_open(&set[REST], radius, radius + 1, &set[SOLID], err);
    if (status == KB_OK) {
        kb_bits_without(&set[REST], &set[SOLID]);
        *lines = kb_bits_count(&set[REST]);
    }
    return status;
}

static void drop_lines(struct kb_seg *seg, const struct kb_bits *lines, uint64_t count,
                       double width_um) {
    kb_seg_why_lines(seg, lines, width_um);
    kb_bits_paint(lines, (uint8_t)seg->scheme.plain, &seg->map->label);
    seg->map->figures.recovered_line_px += count;
}

/* Boundaries etched broad: lines were at least half as much as what is left, and most of what is
 * left falls to an opening twice as wide. Then that opening stands; and when even it leaves less
 * than a third of all that was dark, the rest are junctions of boundaries. */
static enum kb_status open_heavy(struct kb_seg *seg, int32_t radius, uint64_t dark,
                                 struct kb_bits set[SETS], struct kb_err *err) {
    uint64_t all, lines;
    enum kb_status status = open_pearlite(seg, 2 * radius, set, &all, &lines, err);
    if (status != KB_OK) {
        return status;
    }
    uint64_t inside = all - lines;
    seg->heavy_boundaries = (double)inside < HEAVY_SURVIVES * (double)all;
    if (seg->heavy_boundaries && 3 * inside < dark) {
        pick_pearlite(seg, &set[REST]);
        lines = all;
    }
    if (seg->heavy_boundaries) {
        drop_lines(seg, &set[REST], lines, 2.0 * seg->params->line_um);
    }
    return KB_OK;
}

static enum kb_status open_lines(struct kb_seg *seg, struct kb_bits set[SETS], struct kb_err *err) {
    uint64_t all, lines;
    int32_t radius = radius_px(seg, seg->params->line_um);
    enum kb_status status = open_pearlite(seg, radius, set, &all, &lines, err);
    if (status != KB_OK) {
        return status;
    }
    drop_lines(seg, &set[REST], lines, seg->params->line_um);
    seg->heavy_boundaries = false;
    uint64_t inside = all - lines;
    bool many_lines = 2 * lines >= inside && inside > 0;
    return many_lines ? open_heavy(seg, radius, all, set, err) : KB_OK;
}

enum kb_status kb_seg_pearlite(struct kb_seg *seg, struct kb_err *err) {
    if (!seg->scheme.matrix_pair) {
        return KB_OK;
    }
    struct kb_bits set[SETS] = {{0}};
    enum kb_status status = sets_alloc(&seg->map->label, set, err);
    kb_seg_why_around(seg, radius_px(seg, seg->params->colony_um));
    if (status == KB_OK && seg->params->colony_um > 0.0) {
        status = close_lamellae(seg, set, err);
    }
    if (status == KB_OK && seg->params->line_um > 0.0) {
        status = open_lines(seg, set, err);
    }
    sets_release(set);
    return status;
}
