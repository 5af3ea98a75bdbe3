/* sem_network.c - proeutectoid cementite under secondary electrons, where no grey tells it.
 *
 * A network of cementite is as grey as what lies between, but smooth: it takes no etch, while
 * pearlite and spheroidite are rough, and a rim of edges parts them. Steps:
 *
 *   seeds      smooth places, whose roughness over a window of 2 um is within a quarter of the
 *              smoothest of the field, and rough ones, of more than twice that
 *   flooding   seeds grow until they meet on the steepest edge between them
 *   rim        the bright rim goes to the network
 *   plates     thin straight plates are found apart, being all rim (sem_plates.c)
 *
 * The result counts only if it bears itself out: cut with "smooth" 10 % less and more, the network
 * must keep its place; its outline must lie on edges; what lies outside must be clearly rougher;
 * and there cannot be more of it than a steel holds. Else the matrix stays one constituent,
 * unnamed. Factors were set on four of eight open micrographs with labels made by hand and looked
 * at on the other four (tests/real/README.md); no published source. Limits: pieces narrower than
 * the window are lost; a smooth ferrite behind a rim would look the same, so that this is only
 * asked where cementite is said to be the proeutectoid phase.
 */
#include "sem_priv.h"

#include <math.h>
#include <stdlib.h>

#define WINDOW_UM 2.0
/* Pixels across a window: the mean roughness of n pixels of noise is uncertain by 0.75 / sqrt(n),
 * which must be less than the 10 % by which "smooth" is moved. */
#define WINDOW_LEAST_PX 8.0
#define WINDOWS_ACROSS 8.0 /* a field holds at least */
/* The smoothest of the field: the share of it that is smoother yet. */
#define SMOOTHEST 0.01
/* One pixel counts at most this many times the smoothest, so that no rim outweighs a window. */
#define CAP 3.0
#define SMOOTH 1.25 /* times the smoothest, at most, and 10 % less and more */
#define MOVE 0.1
#define ROUGH 2.2 /* ... at least */
#define SMOOTH_SEED_UM2 10.0
#define ROUGH_SEED_UM2 1.0

#define RIM_UM 0.5     /* width of the bright rim */
#define RIM_SIGMA 2.5  /* brighter than the network beside it by so many of its deviations */
#define RIM_AROUND 7   /* half the side of "beside it", pixels */
#define MARGIN 3       /* pixels either side of the outline that belong to neither side */
#define EDGE_REACH 2   /* an outline lies on an edge within so many pixels */
#define EDGE_SHARE 0.9 /* ... steeper than this share of the places inside */

/* What must be reached: by labelled micrographs, with room to both sides; see README.md there. */
#define STABLE_LEAST 0.8
#define RIM_LEAST 0.6
#define CONTRAST_LEAST 2.0
#define SHARE_LEAST 0.01
/* Plates are found in part only: more of them than this are not measured well enough. */
#define PLATES_MOST 0.02
/* Lever rule: (2.11 - 0.77) / (6.67 - 0.77) = 0.227, and some more for a section. */
#define SHARE_MOST 0.3

struct finder {
    struct kb_seg *seg;
    struct kb_image fine, steep, smooth;
    struct kb_sem_rough rough;
    double smoothest;
    struct kb_image region[3]; /* "smooth" means less, what it should, more */
    struct kb_image work, other;
    struct kb_network *out;
};

static void release(struct finder *f) {
    enum { IMAGES = 8 };
    struct kb_image *const image[IMAGES] = {&f->fine,      &f->steep,     &f->smooth, &f->region[0],
                                            &f->region[1], &f->region[2], &f->work,   &f->other};
    for (size_t i = 0; i < IMAGES; i++) {
        kb_image_release(image[i]);
    }
    kb_free(f->rough.px);
}

/* ---- seeds and regions --------------------------------------------------------------------------
 */

static enum kb_status look_how_rough(struct finder *f, struct kb_err *err) {
    const struct kb_image *label = &f->seg->map->label;
    const int32_t window = (int32_t)(WINDOW_UM / f->seg->px_um + 0.5) | 1;
    enum kb_status status = kb_sem_fine(&f->seg->field->grey, &f->fine, err);
    if (status == KB_OK) {
        status = kb_sem_rough_make(&f->fine, label, window, 255, &f->rough, err);
    }
    if (status != KB_OK) {
        return status;
    }
    /* eighths of a level */
    double cap = 8.0 * CAP * kb_sem_rough_share(&f->rough, SMOOTHEST) / KB_SEM_UNIT;
    kb_free(f->rough.px);
    status = kb_sem_rough_make(&f->fine, label, window, cap < 1.0 ? 1 : (int)fmin(cap, 255.0),
                               &f->rough, err);
    f->smoothest = status == KB_OK ? kb_sem_rough_share(&f->rough, SMOOTHEST) : 0.0;
    return status;
}

/* Seeds of less than `least` pixels are none. */
static enum kb_status drop_small(struct kb_image *region, uint8_t value, double least,
                                 struct kb_err *err) {
    bool chosen[256] = {false};
    struct kb_runs runs;
    chosen[value] = true;
    enum kb_status status = kb_runs_label(region, chosen, 4, &runs, err);
    if (status != KB_OK) {
        return status;
    }
    double *area = kb_alloc_zero(runs.regions + 1, sizeof *area);
    uint16_t *to = kb_alloc(runs.regions + 1, sizeof *to);
    if (area == NULL || to == NULL) {
        status = kb_fail_memory(err, KB_SEG_STAGE, runs.regions * sizeof *area);
    } else {
        for (size_t i = 0; i < runs.count; i++) {
            area[runs.run[i].region] += (double)(runs.run[i].x1 - runs.run[i].x0);
        }
        for (uint32_t i = 0; i < runs.regions; i++) {
            to[i] = area[i] >= least ? KB_KEEP : 0;
        }
        kb_runs_paint(&runs, to, region);
    }
    kb_free(area);
    kb_free(to);
    kb_runs_release(&runs);
    return status;
}

static enum kb_status grow(struct finder *f, double smooth, struct kb_image *region,
                           struct kb_err *err) {
    const struct kb_image *label = &f->seg->map->label;
    const double um2 = f->seg->px_um * f->seg->px_um;
    enum kb_status status = kb_image_alloc(label->width, label->height, region, err);
    for (int32_t y = 0; y < label->height && status == KB_OK; y++) {
        const uint16_t *rough = f->rough.px + (size_t)y * (size_t)label->width;
        for (int32_t x = 0; x < label->width; x++) {
            kb_row(region, y)[x] = kb_row(label, y)[x] == KB_EXCLUDED ? KB_SEM_OUT
                                   : rough[x] < smooth * f->smoothest ? KB_SEM_NETWORK
                                   : rough[x] > ROUGH * f->smoothest  ? KB_SEM_REST
                                                                      : 0;
        }
    }
    if (status == KB_OK) {
        status = drop_small(region, KB_SEM_NETWORK, SMOOTH_SEED_UM2 / um2, err);
    }
    if (status == KB_OK) {
        status = drop_small(region, KB_SEM_REST, ROUGH_SEED_UM2 / um2, err);
    }
    return status == KB_OK ? kb_sem_flood(&f->steep, region, err) : status;
}

/* ---- rim ----------------------------------------------------------------------------------------
 */

/* Standard deviation of the network's grey about its local mean, from the median of magnitudes. */
static double scatter(const struct kb_image *smooth, const struct kb_image *mean,
                      const struct kb_image *region) {
    uint64_t bins[256] = {0}, count = 0, seen = 0;
    for (int32_t y = 0; y < region->height; y++) {
        for (int32_t x = 0; x < region->width; x++) {
            if (kb_row(region, y)[x] == KB_SEM_NETWORK) {
                bins[abs(kb_row(smooth, y)[x] - kb_row(mean, y)[x])]++;
                count++;
            }
        }
    }
    int level = 0;
    while (level < 255 && 2 * (seen + bins[level]) < count) {
        seen += bins[level++];
    }
    double part = bins[level] > 0 ? (0.5 * (double)count - (double)seen) / (double)bins[level] : 0;
    return 1.4826 * (level == 0 ? 0.5 * part : level - 0.5 + part); /* of a normal deviate */
}

static bool touches(const struct kb_image *region, int32_t x, int32_t y) {
    return (x > 0 && kb_row(region, y)[x - 1] == KB_SEM_NETWORK) ||
           (x + 1 < region->width && kb_row(region, y)[x + 1] == KB_SEM_NETWORK) ||
           (y > 0 && kb_row(region, y - 1)[x] == KB_SEM_NETWORK) ||
           (y + 1 < region->height && kb_row(region, y + 1)[x] == KB_SEM_NETWORK);
}

enum { FRESH = 4 }; /* joins the network when the round is over */

static void grow_rim(const struct finder *f, double above, struct kb_image *region) {
    for (int32_t y = 0; y < region->height; y++) {
        for (int32_t x = 0; x < region->width; x++) {
            uint8_t *is = &kb_row(region, y)[x];
            if (*is == KB_SEM_REST && touches(region, x, y) &&
                kb_row(&f->smooth, y)[x] > kb_row(&f->work, y)[x] + above) {
                *is = FRESH;
            }
        }
    }
    for (int32_t y = 0; y < region->height; y++) {
        uint8_t *row = kb_row(region, y);
        for (int32_t x = 0; x < region->width; x++) {
            row[x] = row[x] == FRESH ? KB_SEM_NETWORK : row[x];
        }
    }
}

static enum kb_status give_rim(struct finder *f, struct kb_err *err) {
    static const bool network[256] = {[KB_SEM_NETWORK] = true};
    struct kb_image *region = &f->region[1];
    enum kb_status status = kb_smooth(&f->seg->field->grey, &f->smooth, err);
    if (status == KB_OK) {
        status = kb_local_mean(&f->smooth, region, network, RIM_AROUND, &f->work, err);
    }
    if (status == KB_OK) {
        double above = RIM_SIGMA * scatter(&f->smooth, &f->work, region);
        for (int32_t i = (int32_t)(RIM_UM / f->seg->px_um + 0.5); i > 0; i--) {
            grow_rim(f, above, region);
        }
    }
    return status;
}

/* ---- evidence -----------------------------------------------------------------------------------
 */

static double both_over_either(const struct kb_image *a, const struct kb_image *b) {
    double both = 0.0, either = 0.0;
    for (int32_t y = 0; y < a->height; y++) {
        for (int32_t x = 0; x < a->width; x++) {
            bool in_a = kb_row(a, y)[x] == KB_SEM_NETWORK, in_b = kb_row(b, y)[x] == KB_SEM_NETWORK;
            both += in_a && in_b;
            either += in_a || in_b;
        }
    }
    return either > 0.0 ? both / either : 0.0;
}

static int steepest_near(const struct kb_image *steep, int32_t x, int32_t y) {
    int most = 0;
    for (int32_t v = y - EDGE_REACH; v <= y + EDGE_REACH; v++) {
        for (int32_t u = x - EDGE_REACH; u <= x + EDGE_REACH; u++) {
            if (u >= 0 && v >= 0 && u < steep->width && v < steep->height) {
                int here = kb_row(steep, v)[u];
                most = here > most ? here : most;
            }
        }
    }
    return most;
}

/* Roughness outside over inside, and the share of the outline that is steeper than the inside. With
 * the network eroded in `work` and dilated in `other`. */
static void hold_against(struct finder *f) {
    const struct kb_image *region = &f->region[1];
    uint64_t inside[256] = {0}, outline[256] = {0};
    double rough[2] = {0.0}, count[2] = {0.0}, border = 0.0, steep = 0.0, seen = 0.0;
    for (int32_t y = 0; y < region->height; y++) {
        for (int32_t x = 0; x < region->width; x++) {
            uint8_t is = kb_row(region, y)[x];
            bool deep = kb_row(&f->work, y)[x] != 0, near = kb_row(&f->other, y)[x] != 0;
            if (is != KB_SEM_OUT && (deep || !near)) {
                rough[deep] += kb_row(&f->fine, y)[x];
                count[deep] += 1.0;
                inside[steepest_near(&f->steep, x, y)] += deep;
            } else if (is == KB_SEM_REST && touches(region, x, y)) {
                outline[steepest_near(&f->steep, x, y)]++;
                border += 1.0;
            }
        }
    }
    int level = 0;
    while (level < 255 && seen + (double)inside[level] < EDGE_SHARE * count[1]) {
        seen += (double)inside[level++];
    }
    for (int i = level + 1; i < 256; i++) {
        steep += (double)outline[i];
    }
    f->out->rim = border > 0.0 ? steep / border : 0.0;
    f->out->contrast =
        count[0] > 0.0 && rough[1] > 0.0 ? rough[0] / count[0] / (rough[1] / count[1]) : 0.0;
}

static enum kb_status weigh(struct finder *f, struct kb_err *err) {
    f->out->stability = both_over_either(&f->region[0], &f->region[2]);
    for (int32_t y = 0; y < f->smooth.height; y++) { /* not needed any more */
        for (int32_t x = 0; x < f->smooth.width; x++) {
            kb_row(&f->smooth, y)[x] = kb_row(&f->region[1], y)[x] == KB_SEM_NETWORK;
        }
    }
    enum kb_status status = kb_erode(&f->smooth, MARGIN, &f->work, err);
    if (status == KB_OK) {
        status = kb_dilate(&f->smooth, MARGIN, &f->other, err);
    }
    if (status == KB_OK) {
        hold_against(f);
    }
    return status;
}

/* ---- the result ---------------------------------------------------------------------------------
 */

static void label_network(const struct finder *f, const struct kb_image *plate) {
    struct kb_seg *seg = f->seg;
    for (int32_t y = 0; y < plate->height; y++) {
        uint8_t *label = kb_row(&seg->map->label, y);
        for (int32_t x = 0; x < plate->width; x++) {
            bool is = kb_row(&f->region[1], y)[x] == KB_SEM_NETWORK || kb_row(plate, y)[x] != 0;
            label[x] = (uint8_t)(label[x] == KB_EXCLUDED ? KB_EXCLUDED
                                 : is                    ? KB_CEMENTITE
                                                         : KB_MATRIX);
        }
    }
    kb_seg_count_labels(&seg->map->label, seg->map->figures.pixels);
    seg->single = false;
    seg->map->figures.one_constituent = false;
}

/* Share of the measured pixels that have that value. */
static double share_of(const struct finder *f, const struct kb_image *image, uint8_t value) {
    double seen = 0.0, measured = 0.0;
    for (int32_t y = 0; y < image->height; y++) {
        for (int32_t x = 0; x < image->width; x++) {
            seen += kb_row(image, y)[x] == value;
            measured += kb_row(&f->region[1], y)[x] != KB_SEM_OUT;
        }
    }
    return measured > 0.0 ? seen / measured : 0.0;
}

static enum kb_status decide(struct finder *f, struct kb_err *err) {
    const double share = share_of(f, &f->region[1], KB_SEM_NETWORK);
    bool holds = f->out->stability >= STABLE_LEAST && f->out->rim >= RIM_LEAST &&
                 f->out->contrast >= CONTRAST_LEAST && share >= SHARE_LEAST && share <= SHARE_MOST;
    if (!holds) {
        return KB_OK;
    }
    struct kb_image plate = {0};
    enum kb_status status = kb_sem_plates(f->seg, &f->region[1], &plate, err);
    if (status == KB_OK) {
        f->out->plates = share_of(f, &plate, 1);
        f->out->found = f->out->plates <= PLATES_MOST;
    }
    if (status == KB_OK && f->out->found) {
        label_network(f, &plate);
    }
    kb_image_release(&plate);
    return status;
}

static enum kb_status find(struct finder *f, struct kb_err *err) {
    const struct kb_image *grey = &f->seg->field->grey;
    struct kb_image *const room[] = {&f->smooth, &f->work, &f->other};
    enum kb_status status = look_how_rough(f, err);
    if (status == KB_OK) {
        status = kb_sem_steep(grey, &f->steep, err);
    }
    for (size_t i = 0; i < 3 && status == KB_OK; i++) {
        status = grow(f, SMOOTH * (1.0 + MOVE * ((double)i - 1.0)), &f->region[i], err);
    }
    for (size_t i = 0; i < 3 && status == KB_OK; i++) {
        status = kb_image_alloc(grey->width, grey->height, room[i], err);
    }
    if (status == KB_OK) {
        status = give_rim(f, err);
    }
    if (status == KB_OK) {
        status = weigh(f, err);
    }
    return status == KB_OK ? decide(f, err) : status;
}

/* Whether it is asked for, and enough of it would be seen. */
static bool worth_a_look(const struct kb_seg *seg) {
    const struct kb_image *grey = &seg->field->grey;
    const int32_t side = grey->width < grey->height ? grey->width : grey->height;
    const double window = WINDOW_UM / seg->px_um;
    return seg->params->contrast == KB_SEM && seg->scheme.plain == KB_CEMENTITE && seg->single &&
           seg->single_phase == KB_MATRIX && seg->field->px_um > 0.0 && window >= WINDOW_LEAST_PX &&
           window * WINDOWS_ACROSS <= side && kb_image_pixels(grey) < UINT32_MAX;
}

enum kb_status kb_seg_network(struct kb_seg *seg, struct kb_err *err) {
    struct kb_network *out = &seg->map->figures.network;
    *out = (struct kb_network){false, (double)NAN, (double)NAN, (double)NAN, (double)NAN};
    if (!worth_a_look(seg)) {
        return KB_OK;
    }
    struct finder f = {.seg = seg, .out = out};
    enum kb_status status = find(&f, err);
    release(&f);
    return status;
}
