/* canvas.c - see canvas.h. */
#include "kb_cmocka.h"

#include "canvas.h"

#include <stdlib.h>

enum { FINE = 5 };      /* fine rows and columns a pixel */
enum { CUTS = 4 };      /* exact cuts a fine row */
enum { MARGIN_PX = 6 }; /* of a tile about its ellipse: more than four times the blur */

struct tile {
    int32_t x, y, width, height; /* fine pixels; the origin in whole pixels */
    double *value;
};

static double *numbers(size_t count) {
    double *value = calloc(count, sizeof *value);
    assert_non_null(value);
    return value;
}

struct canvas canvas_blank(int32_t width, int32_t height, double grey) {
    struct canvas canvas = {width, height, numbers((size_t)width * (size_t)height)};
    for (size_t i = 0; i < (size_t)width * (size_t)height; i++) {
        canvas.value[i] = grey;
    }
    return canvas;
}

void canvas_release(struct canvas *canvas) {
    free(canvas->value);
    canvas->value = NULL;
}

/* Share of each fine pixel of a row that lies between u0 and u1. */
static void cover_row(double *row, int32_t width, double u0, double u1, double weight) {
    int32_t first = (int32_t)fmax(floor(u0), 0.0);
    for (int32_t x = first; x < width && x < u1; x++) {
        row[x] += weight * fmax(fmin(u1, x + 1.0) - fmax(u0, x), 0.0);
    }
}

/* Chords of the ellipse a u^2 + b u v + c v^2 = 1 along the rows. */
static void cover(struct tile *tile, const struct ellipse *e) {
    double cosine = cos(e->angle);
    double sine = -sin(e->angle); /* rows run down */
    double p = 1.0 / (e->semi_a * e->semi_a);
    double q = 1.0 / (e->semi_b * e->semi_b);
    double a = p * cosine * cosine + q * sine * sine;
    double b = 2.0 * (p - q) * cosine * sine;
    double c = p * sine * sine + q * cosine * cosine;
    for (int32_t y = 0; y < tile->height; y++) {
        for (int cut = 0; cut < CUTS; cut++) {
            double v = tile->y + (y + (cut + 0.5) / CUTS) / FINE - e->centre.y;
            double root = b * b * v * v - 4.0 * a * (c * v * v - 1.0);
            if (root > 0.0) {
                double middle = e->centre.x - tile->x - b * v / (2.0 * a);
                double half = sqrt(root) / (2.0 * a);
                cover_row(tile->value + (size_t)y * (size_t)tile->width, tile->width,
                          FINE * (middle - half), FINE * (middle + half), 1.0 / CUTS);
            }
        }
    }
}

/* Gaussian along one direction: `count` lines of `length` values `step` apart. */
static void blur_lines(double *value, int32_t count, size_t line, int32_t length, size_t step,
                       double sigma) {
    int32_t reach = (int32_t)ceil(5.0 * sigma);
    double *weight = numbers((size_t)(2 * reach + 1));
    double *copy = numbers((size_t)length);
    double sum = 0.0;
    for (int32_t i = -reach; i <= reach; i++) {
        weight[i + reach] = exp(-0.5 * i * i / (sigma * sigma));
        sum += weight[i + reach];
    }
    for (int32_t k = 0; k < count; k++) {
        double *at = value + (size_t)k * line;
        for (int32_t i = 0; i < length; i++) {
            copy[i] = at[(size_t)i * step];
        }
        for (int32_t i = 0; i < length; i++) {
            double total = 0.0;
            int32_t low = i - reach < 0 ? -i : -reach;
            int32_t high = i + reach >= length ? length - 1 - i : reach;
            for (int32_t j = low; j <= high; j++) {
                total += weight[j + reach] * copy[i + j];
            }
            at[(size_t)i * step] = total / sum;
        }
    }
    free(copy);
    free(weight);
}

void canvas_add(struct canvas *canvas, const struct ellipse *ellipse, double inside, double blur) {
    double reach = ellipse->semi_a + MARGIN_PX;
    struct tile tile = {.x = (int32_t)fmax(floor(ellipse->centre.x - reach), 0.0),
                        .y = (int32_t)fmax(floor(ellipse->centre.y - reach), 0.0)};
    int32_t width = (int32_t)fmin(ceil(ellipse->centre.x + reach), canvas->width) - tile.x;
    int32_t height = (int32_t)fmin(ceil(ellipse->centre.y + reach), canvas->height) - tile.y;
    tile.width = FINE * width;
    tile.height = FINE * height;
    tile.value = numbers((size_t)tile.width * (size_t)tile.height);
    cover(&tile, ellipse);
    blur_lines(tile.value, tile.height, (size_t)tile.width, tile.width, 1, FINE * blur);
    blur_lines(tile.value, tile.width, 1, tile.height, (size_t)tile.width, FINE * blur);
    for (int32_t y = 0; y < height; y++) {
        for (int32_t x = 0; x < width; x++) {
            double share = 0.0;
            for (int i = 0; i < FINE * FINE; i++) {
                size_t row = (size_t)(FINE * y + i / FINE) * (size_t)tile.width;
                share += tile.value[row + (size_t)(FINE * x + i % FINE)] / (FINE * FINE);
            }
            double *at = canvas->value + (size_t)(tile.y + y) * (size_t)canvas->width + tile.x + x;
            *at += share * (inside - *at);
        }
    }
    free(tile.value);
}

double normal(uint64_t *seed) {
    /* Box and Muller, Ann. Math. Stat. 29 (1958) 610 */
    double u = 1.0 - spread(seed);
    return sqrt(-2.0 * log(u)) * cos(2.0 * SHAPE_PI * spread(seed));
}

struct kb_image canvas_expose(const struct canvas *canvas, double noise, uint64_t *seed) {
    struct kb_image image;
    assert_int_equal(kb_image_alloc(canvas->width, canvas->height, &image, NULL), KB_OK);
    for (int32_t y = 0; y < image.height; y++) {
        for (int32_t x = 0; x < image.width; x++) {
            double value = canvas->value[(size_t)y * (size_t)image.width + (size_t)x];
            value += noise > 0.0 ? noise * normal(seed) : 0.0;
            kb_row(&image, y)[x] = (uint8_t)fmin(fmax(floor(value + 0.5), 0.0), 255.0);
        }
    }
    return image;
}

struct kb_phase_map map_below(const struct kb_image *grey, double level) {
    struct kb_phase_map map = map_blank(grey->width, grey->height);
    for (int32_t y = 0; y < grey->height; y++) {
        for (int32_t x = 0; x < grey->width; x++) {
            if (kb_row(grey, y)[x] <= level) {
                kb_row(&map.label, y)[x] = KB_GRAPHITE;
            }
        }
    }
    return map;
}

double ellipse_perimeter(double semi_a, double semi_b) {
    /* Ramanujan's second approximation (Quart. J. Math. 45 (1914) 350): right to 1e-5 down to an
     * axis ratio of 0.1 */
    double h = (semi_a - semi_b) * (semi_a - semi_b) / ((semi_a + semi_b) * (semi_a + semi_b));
    return SHAPE_PI * (semi_a + semi_b) * (1.0 + 3.0 * h / (10.0 + sqrt(4.0 - 3.0 * h)));
}

struct kb_image image_turned(const struct kb_image *image) {
    struct kb_image turned;
    assert_int_equal(kb_image_alloc(image->height, image->width, &turned, NULL), KB_OK);
    for (int32_t y = 0; y < image->height; y++) {
        for (int32_t x = 0; x < image->width; x++) {
            kb_row(&turned, image->width - 1 - x)[y] = kb_row(image, y)[x];
        }
    }
    return turned;
}

struct kb_image image_mirrored(const struct kb_image *image) {
    struct kb_image mirrored;
    assert_int_equal(kb_image_alloc(image->width, image->height, &mirrored, NULL), KB_OK);
    for (int32_t y = 0; y < image->height; y++) {
        for (int32_t x = 0; x < image->width; x++) {
            kb_row(&mirrored, y)[image->width - 1 - x] = kb_row(image, y)[x];
        }
    }
    return mirrored;
}

struct kb_particles measured_with(const struct kb_phase_map *map, const struct kb_image *grey,
                                  double px_um, const struct kb_morphology_params *params) {
    struct kb_particles particles;
    struct kb_err err = {0};
    if (kb_morphology_run(map, grey, px_um, params, &particles, &err) != KB_OK) {
        fail_msg("%s", err.text);
    }
    return particles;
}
