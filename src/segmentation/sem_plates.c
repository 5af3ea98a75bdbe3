/* sem_plates.c - thin straight plates of cementite (Widmanstaetten cementite) under secondary
 * electrons.
 *
 * Both flanks of a plate are bright, and the plate is not much wider than they are. Pixels brighter
 * than their surroundings by more than a standard deviation are closed over the width of a flank;
 * of the regions so found, those are plates that are long, and slender by the second moments of
 * their area. Plates side by side, and the two flanks of a wide one, are closed once more. Lengths
 * in micrometres, common practice, no published source. Limits: a bundle of plates closer than the
 * pixels part, and plates dotted by other particles, are found in part only.
 */
#include "sem_priv.h"

#include <math.h>
#include <string.h>

#define AROUND_UM 3.0 /* half the side of the surroundings */
#define FLANK_UM 0.2  /* gaps closed within a flank */
#define BESIDE_UM 0.5 /* half the gap closed between plates */
#define LENGTH_UM 5.0 /* a plate at least */
#define SLENDER 5.0   /* length over width at least */
#define APART_PX 3    /* from the network, whose rim is bright too */

static int32_t pixels(const struct kb_seg *seg, double um) {
    double px = um / seg->px_um + 0.5;
    return px < 1.0 ? 1 : (int32_t)px;
}

static bool *but_excluded(bool chosen[256]) {
    memset(chosen, 1, 256 * sizeof *chosen);
    chosen[KB_EXCLUDED] = false;
    return chosen;
}

/* Pixels that stand out from their surroundings, 0 / 1 in `plate`. */
static enum kb_status bright(const struct kb_seg *seg, struct kb_image *mean,
                             struct kb_image *deviation, struct kb_image *plate,
                             struct kb_err *err) {
    bool chosen[256];
    const struct kb_image *label = &seg->map->label;
    const int32_t around = pixels(seg, AROUND_UM);
    enum kb_status status = kb_smooth(&seg->field->grey, plate, err);
    if (status == KB_OK) {
        status = kb_local_mean(plate, label, but_excluded(chosen), around, mean, err);
    }
    if (status == KB_OK) {
        status = kb_local_deviation(plate, label, but_excluded(chosen), around, deviation, err);
    }
    for (int32_t y = 0; y < plate->height && status == KB_OK; y++) {
        uint8_t *to = kb_row(plate, y);
        for (int32_t x = 0; x < plate->width; x++) {
            to[x] = to[x] > kb_row(mean, y)[x] + kb_row(deviation, y)[x];
        }
    }
    return status;
}

static enum kb_status close_gaps(struct kb_image *mask, int32_t radius, struct kb_err *err) {
    static const bool set[256] = {false, true};
    struct kb_bits bits = {0}, closed = {0};
    enum kb_status status = kb_bits_alloc(mask->width, mask->height, &bits, err);
    if (status == KB_OK) {
        status = kb_bits_alloc(mask->width, mask->height, &closed, err);
    }
    if (status == KB_OK) {
        kb_bits_pick(mask, set, &bits);
        status = kb_bits_close(&bits, radius, radius, &closed, err);
    }
    if (status == KB_OK) {
        kb_bits_paint(&closed, 1, mask);
    }
    kb_bits_release(&bits);
    kb_bits_release(&closed);
    return status;
}

/* Nothing of `mask` stays where `near` is set. */
static void without(struct kb_image *mask, const struct kb_image *near, uint8_t value) {
    for (int32_t y = 0; y < mask->height; y++) {
        uint8_t *to = kb_row(mask, y);
        const uint8_t *from = kb_row(near, y);
        for (int32_t x = 0; x < mask->width; x++) {
            to[x] = from[x] == value ? 0 : to[x];
        }
    }
}

/* ---- shape --------------------------------------------------------------------------------------
 */

struct moments {
    double area, x, y, xx, xy, yy;
};

static void add_run(struct moments *m, double x0, double x1, double y) {
    double n = x1 - x0, middle = 0.5 * (x0 + x1 - 1.0);
    m->area += n;
    m->x += n * middle;
    m->y += n * y;
    m->xx += n * middle * middle + n * (n * n - 1.0) / 12.0;
    m->xy += n * middle * y;
    m->yy += n * y * y;
}

/* A rectangle of length a and width b has second moments a^2 / 12 and b^2 / 12. */
static bool is_plate(const struct moments *m, double px_um) {
    double mx = m->x / m->area, my = m->y / m->area;
    double xx = m->xx / m->area - mx * mx, yy = m->yy / m->area - my * my;
    double xy = m->xy / m->area - mx * my;
    double middle = 0.5 * (xx + yy), spread = sqrt(0.25 * (xx - yy) * (xx - yy) + xy * xy);
    double length = sqrt(12.0 * (middle + spread));
    double width = sqrt(fmax(12.0 * (middle - spread), 1.0)); /* a pixel at least */
    return length * px_um >= LENGTH_UM && length >= SLENDER * width;
}

static enum kb_status keep_plates(double px_um, struct kb_image *mask, struct kb_err *err) {
    static const bool set[256] = {false, true};
    struct kb_runs runs;
    enum kb_status status = kb_runs_label(mask, set, 8, &runs, err);
    if (status != KB_OK) {
        return status;
    }
    struct moments *moment = kb_alloc_zero(runs.regions + 1, sizeof *moment);
    uint16_t *value = kb_alloc(runs.regions + 1, sizeof *value);
    if (moment == NULL || value == NULL) {
        status = kb_fail_memory(err, KB_SEG_STAGE, runs.regions * sizeof *moment);
    } else {
        for (int32_t y = 0; y < runs.height; y++) {
            for (size_t i = runs.row[y]; i < runs.row[y + 1]; i++) {
                add_run(&moment[runs.run[i].region], runs.run[i].x0, runs.run[i].x1, y);
            }
        }
        for (uint32_t i = 0; i < runs.regions; i++) {
            value[i] = is_plate(&moment[i], px_um) ? KB_KEEP : 0;
        }
        kb_runs_paint(&runs, value, mask);
    }
    kb_free(moment);
    kb_free(value);
    kb_runs_release(&runs);
    return status;
}

static enum kb_status find(const struct kb_seg *seg, const struct kb_image *region,
                           struct kb_image *work, struct kb_image *other, struct kb_image *plate,
                           struct kb_err *err) {
    enum kb_status status = bright(seg, work, other, plate, err);
    if (status == KB_OK) {
        status = close_gaps(plate, pixels(seg, FLANK_UM), err);
    }
    for (int32_t y = 0; y < work->height && status == KB_OK; y++) {
        for (int32_t x = 0; x < work->width; x++) {
            kb_row(work, y)[x] = kb_row(region, y)[x] == KB_SEM_NETWORK;
        }
    }
    if (status == KB_OK) {
        status = kb_dilate(work, APART_PX, other, err);
    }
    if (status == KB_OK) {
        without(plate, other, 1);
        status = keep_plates(seg->px_um, plate, err);
    }
    if (status == KB_OK) {
        status = close_gaps(plate, pixels(seg, BESIDE_UM), err);
    }
    if (status == KB_OK) {
        without(plate, work, 1);
        without(plate, &seg->map->label, KB_EXCLUDED);
    }
    return status;
}

enum kb_status kb_sem_plates(const struct kb_seg *seg, const struct kb_image *region,
                             struct kb_image *plate, struct kb_err *err) {
    struct kb_image work = {0}, other = {0};
    enum kb_status status = kb_image_alloc(region->width, region->height, plate, err);
    if (status == KB_OK) {
        status = kb_image_alloc(region->width, region->height, &work, err);
    }
    if (status == KB_OK) {
        status = kb_image_alloc(region->width, region->height, &other, err);
    }
    if (status == KB_OK) {
        status = find(seg, region, &work, &other, plate, err);
    }
    kb_image_release(&work);
    kb_image_release(&other);
    return status;
}
