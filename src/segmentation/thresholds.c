/* thresholds.c - where the grey classes of the evened picture part.
 *
 * The start is the exact multi-level Otsu threshold. Otsu's criterion wants classes of like size:
 * with 2 % graphite, or bull's-eye rings of a few per cent ferrite, it would rather halve the large
 * class. So the hills of the histogram (modes.c) are asked:
 *
 *   - as many hills as classes: the thresholds go half way between neighbouring hills, where a
 *     blurred edge between two constituents lies truly; where the foot of a broad hill reaches
 *     over that point, they go to the lowest point between the hills;
 *   - more hills: the valleys are kept that part the classes most (Otsu's criterion again);
 *   - one short in the matrix: the hill is one constituent, and the threshold goes where the hill
 *     has certainly ended, so that solid regions of the other are still found (recut.c, single.c);
 *   - one short because graphite has none: the dark hill is too large to be graphite, and the dark
 *     threshold goes where that hill has certainly ended;
 *   - a single hill in all: Otsu's thresholds stand, and a finding says that they mean little.
 *
 * Thresholds given by hand are taken as they are.
 */
#include "segmentation_priv.h"

#include <math.h>

/* Graphite beyond this share of a field is not known in cast iron (a hypereutectic grey iron has
 * some 17 % by volume); common practice, no published source. */
#define GRAPHITE_MOST 0.3
/* Several dark hills together are graphite only up to this share. */
#define GRAPHITE_LIKELY 0.2
/* A middle hill nearer than this to the dark one, in shares of the whole way, is light graphite. */
#define PEARLITE_NEAREST 0.25
/* ... and up to here it may be either. */
#define PEARLITE_LIKELY 0.4
/* A hill has ended this many of its half-height half widths away (1.18 of them to a sigma ...). */
#define HILL_END 3.5
#define HWHM_PER_SIGMA 1.1774
/* ... but a constituent is told apart only when it differs by this share of the grey range beside
 * it. */
#define LEAST_CONTRAST 0.22
/* Grains of ferrite differ from each other by up to this share of their grey (orientation). */
#define GRAIN_CONTRAST 0.15

struct hills {
    double smooth[256];
    struct kb_mode mode[KB_MODES_MAX];
    int count;
};

static int clamp_level(double level) {
    return level < 0.0 ? 0 : level > 254.0 ? 254 : (int)level;
}

static int lowest_between(const struct hills *h, int first, int last) {
    int lowest = first;
    for (int i = first; i <= last; i++) {
        lowest = h->smooth[i] < h->smooth[lowest] ? i : lowest;
    }
    return lowest;
}

/* Whether the point half way between two hills lies in the valley: nearer to its floor than a tenth
 * of the lesser hill. */
static bool middle_in_valley(const struct hills *h, int low, int high) {
    double lesser = fmin(h->smooth[low], h->smooth[high]);
    double floor = h->smooth[lowest_between(h, low, high)];
    return h->smooth[(low + high) / 2] <= floor + 0.1 * lesser;
}

/* Between two hills: half way, or the lowest point where half way is not in the valley. */
static int cut_between(const struct hills *h, int low, int high) {
    return middle_in_valley(h, low, high) ? (low + high) / 2 : lowest_between(h, low, high);
}

/* The same between pearlite and the plain constituent. The greys between them that are not of
 * blurred borders are of pearlite, which is the broad one: where half way is not in the valley, the
 * lowest point is looked for on the plain side only. */
static int cut_matrix(const struct kb_seg *seg, const struct hills *h, int low, int high) {
    int middle = (low + high) / 2;
    if (middle_in_valley(h, low, high)) {
        return middle;
    }
    bool pearlite_dark = seg->scheme.pearlite < seg->scheme.classes - 1;
    return pearlite_dark ? lowest_between(h, middle, high) : lowest_between(h, low, middle);
}

/* Standard deviation of a hill from its half width on the side `step` (-1 or +1). */
static double hill_sigma(const struct hills *h, int level, int step) {
    int i = level;
    while (i > 0 && i < 255 && h->smooth[i] > 0.5 * h->smooth[level]) {
        i += step;
    }
    return fmax(fabs((double)(i - level)) / HWHM_PER_SIGMA, 1.0);
}

/* A hill's width without what leans on it: the narrower side. */
static double hill_width(const struct hills *h, int level) {
    return fmin(hill_sigma(h, level, -1), hill_sigma(h, level, 1));
}

/* Between-class variance, up to a constant, when hills first .. last make one class. */
static double group_term(const struct kb_mode *mode, int first, int last) {
    double share = 0.0;
    double sum = 0.0;
    for (int i = first; i <= last; i++) {
        share += mode[i].share;
        sum += mode[i].share * (double)mode[i].level;
    }
    return share > 0.0 ? sum * sum / share : 0.0;
}

/* Hills first .. last become one: the largest stands for them. */
static struct kb_mode group(const struct kb_mode *mode, int first, int last) {
    struct kb_mode whole = mode[first];
    double share = 0.0;
    for (int i = first; i <= last; i++) {
        whole = mode[i].share > whole.share ? mode[i] : whole;
        share += mode[i].share;
    }
    whole.left = mode[first].left;
    whole.right = mode[last].right;
    whole.share = share;
    return whole;
}

/* More hills than classes: of the valleys between hills, keep those that part the classes most,
 * which is Otsu's criterion asked of the valleys only. */
static void group_hills(const struct kb_seg *seg, struct hills *h) {
    int classes = seg->scheme.classes;
    int best[2] = {0, 1};
    double most = -1.0;
    double darkest = 0.0;
    for (int i = 0; i < h->count - 1; i++) {
        darkest += h->mode[i].share;
        if (i > 0 && seg->scheme.graphite && darkest > GRAPHITE_LIKELY) {
            break; /* shades of pearlite are parted from graphite, however near */
        }
        for (int k = i + 1; k < (classes == 3 ? h->count - 1 : i + 2); k++) {
            int last = classes == 3 ? k : i;
            double term = group_term(h->mode, 0, i) + group_term(h->mode, last + 1, h->count - 1);
            term += classes == 3 ? group_term(h->mode, i + 1, k) : 0.0;
            if (term > most) {
                most = term;
                best[0] = i;
                best[1] = last;
            }
        }
    }
    struct kb_mode whole[3];
    whole[0] = group(h->mode, 0, best[0]);
    whole[1] = group(h->mode, best[0] + 1, classes == 3 ? best[1] : h->count - 1);
    whole[2] = classes == 3 ? group(h->mode, best[1] + 1, h->count - 1) : whole[1];
    for (int c = 0; c < classes; c++) {
        h->mode[c] = whole[c];
    }
    h->count = classes;
}

/* Two hills of the matrix so near to each other that they are grains of one constituent. */
static void merge_near_hills(struct kb_seg *seg, struct hills *h) {
    int last = h->count - 1;
    double black = seg->scheme.graphite ? (double)h->mode[0].level : 0.0;
    double bright = (double)h->mode[last].level;
    if (last > (seg->scheme.graphite ? 1 : 0) &&
        bright - (double)h->mode[last - 1].level < GRAIN_CONTRAST * (bright - black)) {
        seg->merged_share = fmin(h->mode[last - 1].share, h->mode[last].share);
        h->mode[last - 1] = group(h->mode, last - 1, last);
        h->count--;
    }
}

/* Matrix of one hill: cut on the side where the other constituent would lie. */
static int cut_beside(const struct kb_seg *seg, const struct hills *h, int level, double dark_end,
                      double bright_end) {
    bool pearlite_dark = seg->scheme.pearlite < seg->scheme.classes - 1;
    bool cut_below = pearlite_dark != seg->main_is_pearlite;
    double room = cut_below ? (double)level - dark_end : bright_end - (double)level;
    double away = fmax(HILL_END * hill_width(h, level), LEAST_CONTRAST * room);
    return clamp_level(cut_below ? (double)level - away : (double)level + away);
}

static void take_class_levels(struct kb_seg *seg, const struct hills *h, int first, int count) {
    for (int c = 0; c < count; c++) {
        seg->class_level[first + c] = (double)h->mode[c].level;
    }
}

static void three_of_two(struct kb_seg *seg, const struct hills *h) {
    int low = h->mode[0].level;
    int high = h->mode[1].level;
    int cut = cut_between(h, low, high);
    if (h->mode[0].share > GRAPHITE_MOST) {
        seg->graphite_hidden = true;
        seg->threshold[1] = cut_matrix(seg, h, low, high);
        seg->threshold[0] = clamp_level((double)low - HILL_END * hill_width(h, low));
        take_class_levels(seg, h, 1, 2);
        seg->class_level[0] = 0.5 * (double)seg->threshold[0];
        return;
    }
    seg->matrix_is_one = true;
    seg->threshold[0] = cut;
    int beside = cut_beside(seg, h, high, (double)low, 255.0);
    seg->threshold[1] = beside > cut ? beside : cut + 1;
    seg->class_level[0] = (double)low;
    seg->class_level[1] = seg->class_level[2] = (double)high;
}

static void three_classes(struct kb_seg *seg, struct hills *h) {
    if (h->count > 3) {
        group_hills(seg, h);
    }
    if (h->count == 3) {
        double whole = (double)(h->mode[2].level - h->mode[0].level);
        double part = (double)(h->mode[1].level - h->mode[0].level);
        if (part < PEARLITE_NEAREST * whole && h->mode[1].share < GRAPHITE_MOST) {
            h->mode[0] = h->mode[0].share > h->mode[1].share ? h->mode[0] : h->mode[1];
            h->mode[1] = h->mode[2];
            h->count = 2;
        }
    }
    merge_near_hills(seg, h);
    if (h->count == 3) {
        double whole = (double)(h->mode[2].level - h->mode[0].level);
        double part = (double)(h->mode[1].level - h->mode[0].level);
        seg->light_graphite_share =
            part < PEARLITE_LIKELY * whole && seg->scheme.pearlite == 1 ? h->mode[1].share : 0.0;
        seg->threshold[0] = cut_between(h, h->mode[0].level, h->mode[1].level);
        seg->threshold[1] = cut_matrix(seg, h, h->mode[1].level, h->mode[2].level);
        take_class_levels(seg, h, 0, 3);
    } else if (h->count == 2) {
        three_of_two(seg, h);
    } else {
        seg->matrix_is_one = true;
    }
}

static void two_classes(struct kb_seg *seg, struct hills *h) {
    if (h->count > 2) {
        double bright = (double)h->mode[h->count - 1].level;
        double dark = (double)h->mode[0].level;
        group_hills(seg, h);
        /* a hill of the matrix well below the bright end, beside the bright one */
        seg->looks_etched = seg->params->contrast == KB_LIGHT_UNETCHED &&
                            h->mode[1].level < bright - GRAIN_CONTRAST * (bright - dark);
    }
    if (seg->scheme.matrix_pair) {
        merge_near_hills(seg, h);
    }
    if (h->count == 2) {
        seg->threshold[0] = seg->scheme.matrix_pair
                                ? cut_matrix(seg, h, h->mode[0].level, h->mode[1].level)
                                : cut_between(h, h->mode[0].level, h->mode[1].level);
        take_class_levels(seg, h, 0, 2);
    } else if (seg->scheme.matrix_pair) {
        int level = h->mode[0].level;
        seg->matrix_is_one = true;
        seg->threshold[0] = cut_beside(seg, h, level, 0.0, 255.0);
        seg->class_level[0] = seg->class_level[1] = (double)level;
    }
}

void kb_seg_cut_other_side(struct kb_seg *seg) {
    struct hills h;
    h.count = kb_modes_find(seg->map->figures.histogram, h.smooth, h.mode);
    int last = seg->scheme.classes - 2;
    int level = (int)seg->class_level[last + 1];
    double dark_end = seg->scheme.graphite ? seg->class_level[0] : 0.0;
    seg->main_is_pearlite = true;
    int cut = cut_beside(seg, &h, level, dark_end, 255.0);
    int least = last > 0 ? seg->threshold[0] + 1 : 0;
    seg->threshold[last] = cut > least ? cut : least;
    kb_seg_threshold_figures(seg);
}

/* ---- thresholds by hand ------------------------------------------------------------------------
 */

static double to_level(const struct kb_seg *seg, double grey) {
    const struct kb_field *f = seg->field;
    return f->grey_high > f->grey_low ? (grey - f->grey_low) * 255.0 / (f->grey_high - f->grey_low)
                                      : grey;
}

/* With one threshold given and one found, find the other among the levels that are left. */
static void other_threshold(struct kb_seg *seg, int given) {
    const uint64_t *all = seg->map->figures.histogram;
    int other = 1 - given;
    bool fits =
        given == 0 ? seg->threshold[1] > seg->threshold[0] : seg->threshold[0] < seg->threshold[1];
    if (fits) {
        return;
    }
    uint64_t left[256] = {0};
    for (int i = 0; i < 256; i++) {
        bool mine = given == 0 ? i > seg->threshold[0] : i <= seg->threshold[1];
        left[i] = mine ? all[i] : 0;
    }
    int cut[2] = {0, 0};
    double separability;
    if (kb_otsu(left, 2, cut, &separability)) {
        seg->threshold[other] = cut[0];
    } else {
        seg->threshold[other] = given == 0 ? clamp_level((double)seg->threshold[0] + 1.0)
                                           : clamp_level((double)seg->threshold[1] - 1.0);
    }
}

static void thresholds_by_hand(struct kb_seg *seg) {
    const struct kb_segmentation_params *p = seg->params;
    struct kb_segmentation_figures *f = &seg->map->figures;
    bool dark = !isnan(p->dark_threshold);
    bool bright = !isnan(p->bright_threshold) && seg->scheme.classes == 3;
    for (int i = 0; i < seg->scheme.classes - 1; i++) {
        f->threshold_found[i] = kb_seg_to_file(seg, (double)seg->threshold[i]);
    }
    if (dark) {
        seg->threshold[0] = clamp_level(floor(to_level(seg, p->dark_threshold) + 1e-6));
        f->origin[0] = KB_THRESHOLD_BY_HAND;
    }
    if (bright) {
        seg->threshold[1] = clamp_level(ceil(to_level(seg, p->bright_threshold) - 1e-6) - 1.0);
        f->origin[1] = KB_THRESHOLD_BY_HAND;
    }
    if (dark != bright && seg->scheme.classes == 3) {
        other_threshold(seg, dark ? 0 : 1);
    }
    if (dark || bright) {
        seg->matrix_is_one = seg->matrix_is_one && !bright && seg->scheme.classes == 3;
    }
}

/* ---- figures -----------------------------------------------------------------------------------
 */

static double separability_of(const uint64_t bins[256], const double share[3], const double mean[3],
                              int classes) {
    double total = 0.0;
    double sum = 0.0;
    double square = 0.0;
    for (int i = 0; i < 256; i++) {
        total += (double)bins[i];
        sum += (double)bins[i] * (double)i;
        square += (double)bins[i] * (double)i * (double)i;
    }
    double centre = sum / total;
    double variance = square / total - centre * centre;
    double between = 0.0;
    for (int c = 0; c < classes; c++) {
        between += share[c] * (mean[c] - centre) * (mean[c] - centre);
    }
    return variance > 0.0 ? fmin(between / variance, 1.0) : 0.0;
}

static double valley_at(const double smooth[256], int low, int threshold, int high) {
    double below = 0.0;
    double above = 0.0;
    for (int i = low + 1; i <= threshold; i++) {
        below = fmax(below, smooth[i]);
    }
    for (int i = threshold + 1; i <= high; i++) {
        above = fmax(above, smooth[i]);
    }
    double lesser = fmin(below, above);
    return lesser > 0.0 ? fmin(smooth[threshold] / lesser, 1.0) : 1.0;
}

void kb_seg_threshold_figures(struct kb_seg *seg) {
    double smooth[256];
    kb_modes_smooth(seg->map->figures.histogram, smooth);
    struct kb_segmentation_figures *f = &seg->map->figures;
    const struct kb_segmentation_params *p = seg->params;
    double mean[3] = {0.0, 0.0, 0.0};
    double total = 0.0;
    for (int i = 0; i < 256; i++) {
        total += (double)f->histogram[i];
    }
    f->classes = seg->scheme.classes;
    f->thresholds = f->classes - 1;
    int first = 0;
    for (int c = 0; c < f->classes; c++) {
        int last = c < f->thresholds ? seg->threshold[c] : 255;
        double n = 0.0;
        double sum = 0.0;
        for (int i = first; i <= last; i++) {
            n += (double)f->histogram[i];
            sum += (double)f->histogram[i] * (double)i;
        }
        mean[c] = n > 0.0 ? sum / n : 0.5 * (double)(first + last);
        f->class_phase[c] = seg->scheme.phase[c];
        f->class_mean[c] = kb_seg_to_file(seg, mean[c]);
        f->class_share[c] = n / total;
        first = last + 1;
        if (seg->class_level[c] < 0.0) {
            seg->class_level[c] = mean[c];
        }
    }
    f->separability = separability_of(f->histogram, f->class_share, mean, f->classes);
    for (int i = 0; i < f->thresholds; i++) {
        int low = i > 0 ? seg->threshold[i - 1] : -1;
        /* a matrix of one hill lies on both sides of the upper threshold */
        bool upper = i + 1 < f->thresholds && !seg->matrix_is_one;
        int high = upper ? seg->threshold[i + 1] : 255;
        f->valley[i] = valley_at(smooth, low, seg->threshold[i], high);
        f->threshold[i] = kb_seg_to_file(seg, (double)seg->threshold[i]);
        if (f->origin[i] == KB_THRESHOLD_FOUND) {
            f->threshold_found[i] = f->threshold[i];
        }
    }
    if (f->origin[0] == KB_THRESHOLD_BY_HAND) {
        f->threshold[0] = p->dark_threshold;
    }
    if (f->thresholds == 2 && f->origin[1] == KB_THRESHOLD_BY_HAND) {
        f->threshold[1] = p->bright_threshold;
    }
}

enum kb_status kb_seg_thresholds(struct kb_seg *seg, struct kb_err *err) {
    struct kb_segmentation_figures *f = &seg->map->figures;
    bool all_by_hand = !isnan(seg->params->dark_threshold) &&
                       (seg->scheme.classes == 2 || !isnan(seg->params->bright_threshold));
    double separability;
    bool found = kb_otsu(f->histogram, seg->scheme.classes, seg->threshold, &separability);
    if (!found &&
        seg->scheme.classes == 3) { /* two grey levels in all: the hills decide the rest */
        found = kb_otsu(f->histogram, 2, seg->threshold, &separability);
        seg->threshold[1] = clamp_level((double)seg->threshold[0] + 1.0);
    }
    if (!found && !all_by_hand) {
        return kb_fail(err, KB_E_UNFIT, KB_SEG_STAGE, seg->field->path,
                       "the picture has fewer grey levels than constituents to tell apart (check "
                       "exposure and etch, take the picture again, or give thresholds by hand)");
    }
    struct hills hills;
    hills.count = kb_modes_find(f->histogram, hills.smooth, hills.mode);
    for (int c = 0; c < 3; c++) {
        seg->class_level[c] = -1.0; /* filled with the class mean below where no hill gives it */
    }
    if (seg->scheme.classes == 3) {
        three_classes(seg, &hills);
    } else {
        two_classes(seg, &hills);
    }
    thresholds_by_hand(seg);
    kb_seg_threshold_figures(seg);
    return KB_OK;
}
