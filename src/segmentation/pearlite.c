/* pearlite.c - pearlite as regions.
 *
 * Where the lamellae are not resolved the pixels have decided already and their boundaries are kept
 * as they are, so that a ring of ferrite a few pixels wide survives. Whether lamellae are resolved
 * is read from the picture: the mean grey over a window of colony_um (matrix only) has its own
 * histogram; where that mean is well inside pearlite, many bright pixels mean stripes. Then:
 *
 *   closing   fills stripes up to half the window wide, where the local mean agrees with pearlite;
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
#include <string.h>

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
#define MEAN_FLAG 0x80U /* on a label: the local mean says pearlite */

static int32_t radius_px(const struct kb_seg *seg, double width_um) {
    double radius = 0.5 * width_um / seg->px_um;
    double most =
        0.25 * (double)(seg->grey.width < seg->grey.height ? seg->grey.width : seg->grey.height);
    return (int32_t)fmax(1.0, floor(fmin(radius, most)));
}

static void mask_of(const struct kb_image *label, uint8_t wanted, struct kb_image *mask) {
    for (int32_t y = 0; y < label->height; y++) {
        const uint8_t *from = kb_row(label, y);
        uint8_t *to = kb_row(mask, y);
        for (int32_t x = 0; x < label->width; x++) {
            to[x] = (from[x] & ~MEAN_FLAG) == wanted;
        }
    }
}

struct mean_cut {
    int cut;       /* local means on pearlite's side of it are pearlite's */
    bool dark;     /* that side is the dark one */
    double inside; /* level that is well inside pearlite */
    bool one_hill; /* at the scale of colonies the matrix is one constituent */
};

static void matrix_labels(const struct kb_seg *seg, bool chosen[256]) {
    memset(chosen, 0, 256);
    chosen[KB_PEARLITE] = chosen[seg->scheme.plain] = true;
}

/* Parts the histogram of local means; false when it holds one level only. */
static bool part_means(const struct kb_seg *seg, const bool matrix[256], struct mean_cut *part) {
    uint64_t bins[256];
    kb_histogram(&seg->spare, &seg->map->label, matrix, bins);
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

static bool mean_is_pearlite(const struct mean_cut *part, uint8_t mean) {
    return part->dark ? mean <= part->cut : mean > part->cut;
}

/* Pixels of either constituent in a row where the local mean lies between two levels. */
static void count_inside(const uint8_t *mean, const uint8_t *label, int32_t width, uint8_t low,
                         uint8_t high, uint8_t plain, uint32_t count[2]) {
    uint32_t plains = 0;
    uint32_t pearlites = 0;
    for (int32_t x = 0; x < width; x++) {
        uint32_t inside = (uint32_t)((mean[x] >= low) & (mean[x] <= high));
        plains += inside & (uint32_t)(label[x] == plain);
        pearlites += inside & (uint32_t)(label[x] == KB_PEARLITE);
    }
    count[0] = plains;
    count[1] = pearlites;
}

/* Share of plain pixels where the local mean is well inside pearlite. */
static double stripes(const struct kb_seg *seg, const struct mean_cut *part) {
    double plain = 0.0;
    double pearlite = 0.0;
    uint8_t low = part->dark ? 0 : (uint8_t)ceil(part->inside);
    uint8_t high = part->dark ? (uint8_t)part->inside : UINT8_MAX;
    for (int32_t y = 0; y < seg->spare.height; y++) {
        uint32_t count[2];
        count_inside(kb_row(&seg->spare, y), kb_row(&seg->map->label, y), seg->spare.width, low,
                     high, (uint8_t)seg->scheme.plain, count);
        plain += (double)count[0];
        pearlite += (double)count[1];
    }
    return plain > 0.0 ? plain / (plain + pearlite) : 0.0;
}

static void flag_means(struct kb_seg *seg, const struct mean_cut *part) {
    uint8_t flag[256];
    for (int i = 0; i < 256; i++) {
        flag[i] = mean_is_pearlite(part, (uint8_t)i) ? MEAN_FLAG : 0;
    }
    for (int32_t y = 0; y < seg->spare.height; y++) {
        const uint8_t *mean = kb_row(&seg->spare, y);
        uint8_t *label = kb_row(&seg->map->label, y);
        for (int32_t x = 0; x < seg->spare.width; x++) {
            label[x] |= label[x] == seg->scheme.plain ? flag[mean[x]] : 0;
        }
    }
}

/* Of the plain pixels that the local mean calls pearlite, the share that the closing missed. */
static double share_open(const struct kb_seg *seg, const struct kb_image *closed) {
    uint64_t flagged = 0;
    uint64_t taken = 0;
    for (int32_t y = 0; y < closed->height; y++) {
        const uint8_t *set = kb_row(closed, y);
        const uint8_t *label = kb_row(&seg->map->label, y);
        uint32_t row_flagged = 0;
        uint32_t row_taken = 0;
        for (int32_t x = 0; x < closed->width; x++) {
            uint32_t flag = (uint32_t)(label[x] >= MEAN_FLAG);
            row_flagged += flag;
            row_taken += flag & (uint32_t)(set[x] != 0);
        }
        flagged += row_flagged;
        taken += row_taken;
    }
    return flagged > 0 ? 1.0 - (double)taken / (double)flagged : 0.0;
}

/* Plain pixels that the closing reached and the local mean calls pearlite become pearlite, where
 * `take`; the flags are dropped. */
static void take_closed(struct kb_seg *seg, const struct kb_image *closed, bool take) {
    for (int32_t y = 0; y < closed->height; y++) {
        const uint8_t *set = kb_row(closed, y);
        uint8_t *label = kb_row(&seg->map->label, y);
        for (int32_t x = 0; x < closed->width; x++) {
            bool reached = take && set[x] && label[x] >= MEAN_FLAG;
            label[x] = reached ? KB_PEARLITE : (uint8_t)(label[x] & ~MEAN_FLAG);
        }
    }
}

/* After this seg->grey is scratch too. */
static enum kb_status close_lamellae(struct kb_seg *seg, struct kb_err *err) {
    bool matrix[256];
    struct mean_cut part;
    matrix_labels(seg, matrix);
    int32_t window = radius_px(seg, seg->params->colony_um);
    enum kb_status status =
        kb_local_mean(&seg->grey, &seg->map->label, matrix, window, &seg->spare, err);
    if (status != KB_OK || !part_means(seg, matrix, &part)) {
        return status;
    }
    seg->stripes = stripes(seg, &part);
    seg->stripes_closed = seg->stripes >= RESOLVED_SHARE && seg->stripes <= RESOLVED_MOST;
    if (!seg->stripes_closed) {
        return KB_OK;
    }
    flag_means(seg, &part);
    int32_t radius = radius_px(seg, 0.5 * seg->params->colony_um);
    mask_of(&seg->map->label, KB_PEARLITE, &seg->spare);
    status = kb_dilate(&seg->spare, radius, &seg->grey, err);
    if (status == KB_OK) {
        status = kb_erode(&seg->grey, radius, &seg->spare, err);
    }
    if (status == KB_OK) {
        seg->stripes_open = share_open(seg, &seg->spare);
        seg->stripes_closed = seg->stripes_open <= OPEN_MOST;
        if (part.one_hill && seg->stripes_open <= OPEN_ONE_HILL) {
            kb_image_fill(&seg->spare, 1); /* nothing but lamellae, wide ones too */
            seg->stripes_open = 0.0;
        }
        take_closed(seg, &seg->spare, seg->stripes_closed);
    }
    return status;
}

static void drop_lines(struct kb_seg *seg, const struct kb_image *solid) {
    uint64_t lines = 0;
    uint8_t plain = (uint8_t)seg->scheme.plain;
    for (int32_t y = 0; y < solid->height; y++) {
        const uint8_t *set = kb_row(solid, y);
        uint8_t *label = kb_row(&seg->map->label, y);
        for (int32_t x = 0; x < solid->width; x++) {
            bool line = label[x] == KB_PEARLITE && !set[x];
            lines += line;
            label[x] = line ? plain : label[x];
        }
    }
    seg->map->figures.recovered_line_px += lines;
}

/* Opening of the pearlite mask by `radius`, into seg->spare. */
static enum kb_status open_pearlite(struct kb_seg *seg, int32_t radius, struct kb_err *err) {
    mask_of(&seg->map->label, KB_PEARLITE, &seg->spare);
    enum kb_status status = kb_erode(&seg->spare, radius, &seg->grey, err);
    if (status == KB_OK) {
        /* one pixel of reach keeps the corners that an octagon rounds off */
        status = kb_dilate(&seg->grey, radius + 1, &seg->spare, err);
    }
    return status;
}

/* Pearlite pixels in all, and those inside the mask. */
static void count_pearlite(const struct kb_seg *seg, uint64_t *all, uint64_t *inside) {
    *all = *inside = 0;
    for (int32_t y = 0; y < seg->spare.height; y++) {
        const uint8_t *set = kb_row(&seg->spare, y);
        const uint8_t *label = kb_row(&seg->map->label, y);
        uint32_t row_all = 0;
        uint32_t row_inside = 0;
        for (int32_t x = 0; x < seg->spare.width; x++) {
            row_all += label[x] == KB_PEARLITE;
            row_inside += label[x] == KB_PEARLITE && set[x];
        }
        *all += row_all;
        *inside += row_inside;
    }
}

/* Boundaries etched broad: lines were at least half as much as what is left, and most of what is
 * left falls to an opening twice as wide. Then that opening stands; and when even it leaves less
 * than a third of all that was dark, the rest are junctions of boundaries. */
static enum kb_status open_heavy(struct kb_seg *seg, int32_t radius, uint64_t dark,
                                 struct kb_err *err) {
    uint64_t all, inside;
    enum kb_status status = open_pearlite(seg, 2 * radius, err);
    if (status != KB_OK) {
        return status;
    }
    count_pearlite(seg, &all, &inside);
    seg->heavy_boundaries = (double)inside < HEAVY_SURVIVES * (double)all;
    if (seg->heavy_boundaries) {
        if (3 * inside < dark) {
            kb_image_fill(&seg->spare, 0);
        }
        drop_lines(seg, &seg->spare);
    }
    return KB_OK;
}

static enum kb_status open_lines(struct kb_seg *seg, struct kb_err *err) {
    uint64_t all, inside;
    int32_t radius = radius_px(seg, seg->params->line_um);
    enum kb_status status = open_pearlite(seg, radius, err);
    if (status != KB_OK) {
        return status;
    }
    count_pearlite(seg, &all, &inside);
    drop_lines(seg, &seg->spare);
    seg->heavy_boundaries = false;
    bool many_lines = 2 * (all - inside) >= inside && inside > 0;
    return many_lines ? open_heavy(seg, radius, all, err) : KB_OK;
}

enum kb_status kb_seg_pearlite(struct kb_seg *seg, struct kb_err *err) {
    if (!seg->scheme.matrix_pair) {
        return KB_OK;
    }
    enum kb_status status = KB_OK;
    if (seg->params->colony_um > 0.0) {
        status = close_lamellae(seg, err);
    }
    if (status == KB_OK && seg->params->line_um > 0.0) {
        status = open_lines(seg, err);
    }
    return status;
}
