/* flake_field.c - how the flakes of one field lie, in figures.
 *
 * ISO 945-1 shows the distributions A to E as pictures, which could not be had; these figures are
 * ours, after what the trade says of the letters (no published source):
 *
 *   length     of complete flakes, weighted by area: the maximum Feret diameter, and along the
 *              flake. A stroke of length l and width w has area l w and perimeter 2 (l + w), so
 *              l is the larger root of x^2 - (P / 2) x + A. Of flakes that touch it is the sum.
 *   thickness  2 A / P of all graphite, cut flakes too
 *   spacing    mean free path from flake to flake, of rows and columns
 *   voids      boxes without graphite, over as many as flakes laid by chance would leave. A box of
 *              side a misses them all with probability exp(-(N_A a^2 + 4 a L_A / pi)) (a Boolean
 *              model of segments; Matheron), L_A half the outline an area, N_A the particles,
 *              cut ones by half. a is chosen so that this
 *              is 5 %. Above 1: strings of flakes about empty places.
 *   order      |sum of b exp(2 i p)| / sum of b over the outline (flake_tiles.c): 0 all directions
 *              alike, 1 all parallel. Its error is the scatter between 6 x 6 parts of the field,
 *              and the square of it is taken off the square of the order.
 *   radial, middle   flake_rosettes.c
 *   plates     share of the graphite in straight particles three times as long and twice as thick
 *              as the median: kish
 */
#include "flakes_priv.h"

#include <stdlib.h>

enum { TILES_A_BOX = 8, PARTS = 6 };

/* Exponent for boxes of which 5 % would miss every flake. */
static const double box_exponent = 2.9957;
static const double pi = 3.14159265358979323846;
/* Below this many pixels across, a tile says nothing of directions. */
static const int32_t least_tile_px = 2;

/* ---- the particles ----------------------------------------------------------------------------
 */

static bool complete(const struct kb_particle *particle) {
    return particle->state == KB_COUNTS || particle->state == KB_UNDER_SIZE;
}

double kb_flake_length(double area, double perimeter) {
    const double half = perimeter / 2.0;
    const double root = half * half - 4.0 * area;
    return root > 0.0 ? 0.5 * (half + sqrt(root)) : half / 2.0; /* a square has none */
}

/* Particles at least so long, in pixels, show whether they are flakes. */
static const double least_flake_px = 8.0;

/* A flake that is bent, but neither branched nor grown together with another, is at most so many
 * times as long as its Feret diameter. */
static const double single_stroke = 1.3;

static int ascending(const void *a, const void *b) {
    double da = *(const double *)a, db = *(const double *)b;
    return (da > db) - (da < db);
}

static double median(double *value, size_t n) {
    qsort(value, n, sizeof *value, ascending);
    return n == 0 ? KB_NAN : 0.5 * (value[(n - 1) / 2] + value[n / 2]);
}

static double thickness(const struct kb_particle *particle) {
    return particle->area_px2 / kb_flake_length(particle->area_px2, particle->perimeter_px);
}

/* Fewer flakes have no usual length that plates could stand out from. */
static const size_t least_for_median = 20;

/* Of all particles in sight, cut ones too: plates are long, the frame cuts most of them. */
static double plate_share(const struct kb_particles *particles, double length, double thick) {
    static const double longer = 3.0, thicker = 2.0, straight = 0.85, turned = 0.5;
    double plates = 0.0, all = 0.0;
    for (size_t i = 0; i < particles->count; i++) {
        const struct kb_particle *p = &particles->particle[i];
        double own = kb_flake_length(p->area_px2, p->perimeter_px);
        bool cut = !complete(p);
        all += p->area_px2;
        if (own >= (cut ? turned : 1.0) * longer * length && thickness(p) >= thicker * thick &&
            p->feret_max_px >= straight * own) {
            plates += p->area_px2;
        }
    }
    return all > 0.0 ? plates / all : KB_NAN;
}

static enum kb_status measure_particles(const struct kb_particles *particles, double px_um,
                                        struct kb_flake_figures *out, struct kb_err *err) {
    double *room = kb_alloc(2 * particles->count + 1, sizeof *room);
    if (room == NULL) {
        return kb_fail_memory(err, "specimen", 2 * particles->count * sizeof *room);
    }
    double *length = room, *thick = room + particles->count;
    double area = 0.0, by_length = 0.0, by_feret = 0.0;
    for (size_t i = 0; i < particles->count; i++) {
        const struct kb_particle *p = &particles->particle[i];
        if (complete(p) && p->feret_max_px >= least_flake_px) {
            length[out->flakes] = kb_flake_length(p->area_px2, p->perimeter_px);
            thick[out->flakes] = thickness(p);
            area += p->area_px2;
            by_length += p->area_px2 * length[out->flakes];
            by_feret += p->area_px2 * p->feret_max_px;
            if (length[out->flakes] < single_stroke * p->feret_max_px &&
                !(out->longest_um >= p->feret_max_px * px_um)) {
                out->longest_um = p->feret_max_px * px_um;
            }
            out->flakes++;
        }
    }
    if (out->flakes > 0) {
        out->value[KB_FLAKE_LENGTH] = by_length / area * px_um;
        out->value[KB_FLAKE_FERET] = by_feret / area * px_um;
    }
    if (out->flakes >= least_for_median) {
        out->value[KB_FLAKE_PLATES] =
            plate_share(particles, median(length, out->flakes), median(thick, out->flakes));
    }
    kb_free(room);
    return KB_OK;
}

/* ---- the field --------------------------------------------------------------------------------
 */

/* Side of the box in pixels, from outline and particles a pixel's area. */
static double box_side(double number_px2, double length_px) {
    const double linear = 4.0 / pi * length_px;
    const double square = number_px2;
    if (square <= 0.0) {
        return box_exponent / linear;
    }
    return (sqrt(linear * linear + 4.0 * square * box_exponent) - linear) / (2.0 * square);
}

/* Empty boxes among all that lie where everything is measured; NaN for none. */
static double empty_share(const struct kb_tiles *tiles, const uint32_t *sum) {
    const size_t wide = (size_t)tiles->columns + 1;
    uint64_t empty = 0, seen = 0;
    for (int32_t row = 0; row + TILES_A_BOX <= tiles->rows; row++) {
        const uint32_t *top = sum + (size_t)row * wide, *low = top + TILES_A_BOX * wide;
        for (int32_t column = 0; column + TILES_A_BOX <= tiles->columns; column++) {
            const int32_t end = column + TILES_A_BOX;
            empty += low[end] - low[column] == top[end] - top[column];
            seen++;
        }
    }
    return seen > 0 ? (double)empty / (double)seen : KB_NAN;
}

static enum kb_status measure_voids(const struct kb_tiles *tiles, double graphite,
                                    struct kb_flake_figures *out, struct kb_err *err) {
    const size_t wide = (size_t)tiles->columns + 1;
    uint32_t *sum = kb_alloc_zero(wide * ((size_t)tiles->rows + 1), sizeof *sum);
    if (sum == NULL) {
        return kb_fail_memory(err, "specimen", wide * (size_t)tiles->rows * sizeof *sum);
    }
    for (int32_t row = 0; row < tiles->rows; row++) {
        uint32_t so_far = 0; /* an excluded place is as good as occupied: it is no void */
        for (int32_t column = 0; column < tiles->columns; column++) {
            const struct kb_tile *tile =
                &tiles->tile[(size_t)row * (size_t)tiles->columns + (size_t)column];
            so_far += tile->area > 0 || tile->out > 0;
            sum[((size_t)row + 1) * wide + (size_t)column + 1] =
                sum[(size_t)row * wide + (size_t)column + 1] + so_far;
        }
    }
    out->value[KB_FLAKE_VOIDS] = empty_share(tiles, sum) / (exp(-box_exponent) * (1.0 - graphite));
    kb_free(sum);
    return KB_OK;
}

static struct kb_outline_sum outline_of(const struct kb_tiles *tiles, int32_t x0, int32_t y0,
                                        int32_t x1, int32_t y1) {
    struct kb_outline_sum all = {0.0, 0.0, 0.0};
    for (int32_t row = y0; row < y1; row++) {
        for (int32_t column = x0; column < x1; column++) {
            struct kb_outline_sum part = kb_tile_outline(
                &tiles->tile[(size_t)row * (size_t)tiles->columns + (size_t)column]);
            all.length += part.length;
            all.cosine += part.cosine;
            all.sine += part.sine;
        }
    }
    return all;
}

static void measure_order(const struct kb_tiles *tiles, const struct kb_outline_sum *all,
                          struct kb_flake_figures *out) {
    const double cosine = all->cosine / all->length, sine = all->sine / all->length;
    double scatter = 0.0; /* of both components together */
    for (int32_t j = 0; j < PARTS; j++) {
        for (int32_t i = 0; i < PARTS; i++) {
            struct kb_outline_sum part =
                outline_of(tiles, tiles->columns * i / PARTS, tiles->rows * j / PARTS,
                           tiles->columns * (i + 1) / PARTS, tiles->rows * (j + 1) / PARTS);
            double c = part.cosine - cosine * part.length, s = part.sine - sine * part.length;
            scatter += c * c + s * s;
        }
    }
    const double square = cosine * cosine + sine * sine;
    const double noise = scatter / (all->length * all->length);
    out->value[KB_FLAKE_ORDER] = sqrt(fmax(0.0, square - noise));
    out->order_error = sqrt(noise / 2.0);
    double angle = 0.5 * atan2(sine, cosine);
    out->direction = angle < 0.0 ? angle + pi : angle;
}

/* With fewer complete flakes in a field some place is pointed at by chance (drawn fields: the index
 * scatters by 0.11 with 20 flakes, by 0.04 with 90). */
static const size_t least_about_centres = 50;

static enum kb_status measure_tiles(const struct kb_tiles *tiles, double px_um,
                                    struct kb_flake_figures *out, struct kb_err *err) {
    struct kb_outline_sum all = outline_of(tiles, 0, 0, tiles->columns, tiles->rows);
    double graphite = 0.0;
    const size_t count = (size_t)tiles->columns * (size_t)tiles->rows;
    for (size_t i = 0; i < count; i++) {
        graphite += (double)tiles->tile[i].area;
    }
    if (!(all.length > 0.0)) {
        return KB_OK;
    }
    const double area = (double)count * tiles->side * tiles->side;
    struct kb_rosettes rosettes;
    out->value[KB_FLAKE_THICKNESS] = 2.0 * graphite / all.length * px_um;
    measure_order(tiles, &all, out);
    enum kb_status status = measure_voids(tiles, graphite / area, out, err);
    if (status == KB_OK) {
        status = kb_rosettes_run(tiles, &all, &rosettes, err);
    }
    if (status == KB_OK && out->flakes >= least_about_centres) {
        out->value[KB_FLAKE_RADIAL] = rosettes.radial;
        out->value[KB_FLAKE_MIDDLE] = rosettes.middle;
    }
    return status;
}

static void clear(struct kb_flake_figures *out) {
    *out = (struct kb_flake_figures){
        .looked = true, .order_error = KB_NAN, .direction = KB_NAN, .longest_um = KB_NAN};
    for (int i = 0; i < KB_FLAKE_MEASURES; i++) {
        out->value[i] = KB_NAN;
    }
}

/* Test lines of both directions together: intercepts a pixel, and graphite a pixel. */
static double intercepts_px(const struct kb_field_figures *field) {
    double crossings = 0.0, length_um = 0.0;
    for (int i = 0; i < KB_LINE_DIRECTIONS; i++) {
        crossings += (double)field->lines[i].crossing;
        length_um += field->lines[i].length_um;
    }
    return length_um > 0.0 ? crossings / 2.0 / (length_um / field->px_um) : 0.0;
}

enum kb_status kb_flake_figures_make(const struct kb_phase_map *map,
                                     const struct kb_particles *particles,
                                     const struct kb_field_figures *field,
                                     struct kb_flake_figures *out, struct kb_err *err) {
    clear(out);
    const double across = intercepts_px(field);
    if (!field->graphite_measured || !(across > 0.0)) {
        out->bar = field->px_um > 0.0 ? KB_FLAKE_NO_GRAPHITE : KB_FLAKE_NO_SCALE;
        return KB_OK;
    }
    enum kb_status status = measure_particles(particles, field->px_um, out, err);
    const double area_px = field->area_mm2 * 1e6 / (field->px_um * field->px_um);
    out->value[KB_FLAKE_SPACING] = (1.0 - field->fraction[KB_GRAPHITE]) / across * field->px_um;
    /* outline an area is pi times the intercepts a length, and a flake has two sides */
    const double number = (double)out->flakes + 0.5 * (double)field->cut;
    const double side = box_side(number / area_px, 0.5 * pi * across);
    const int32_t tile = (int32_t)lround(fmin(side / TILES_A_BOX, (double)map->label.width));
    if (status != KB_OK || tile < least_tile_px) {
        if (status == KB_OK) {
            out->bar = KB_FLAKE_TOO_CLOSE;
        }
        return status;
    }
    struct kb_tiles tiles;
    status = kb_tiles_make(&map->label, tile, &tiles, err);
    if (status == KB_OK && tiles.tile != NULL) {
        status = measure_tiles(&tiles, field->px_um, out, err);
    }
    kb_tiles_release(&tiles);
    return status;
}
