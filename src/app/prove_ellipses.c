/* prove_ellipses.c - discs and ellipses in exact arithmetic, for the size series.
 *
 * The renderer's nodules have rough outlines, and roughness finer than the blur is lost to any
 * measurement. What an outline of few pixels can do is asked of smooth shapes: axis ratios 1, 0.8
 * and 0.6, major diameters within a tenth of the one named, at random places and angles, dark on
 * light. Every eighth particle of a field is a disc of 24 pixels, as fields of small particles hold
 * larger ones too; the sharpness of a picture cannot be told from a few pixels. It is not compared.
 * A pixel takes the exact share of its area that an ellipse covers along each of 16 lines;
 * then the blur of the task (Gaussian) and its noise. Area, Feret diameter and shape factor of an
 * ellipse are exact; its perimeter is Ramanujan's second approximation (1914, from memory), right
 * to 1e-6 down to an axis ratio of 0.5.
 */
#include "prove.h"

#define PI 3.14159265358979323846

enum { LINES = 16, REACH = 4 /* standard deviations that the blur takes in */ };
static const double graphite_grey = 60.0, matrix_grey = 200.0; /* of 255 */
static const double large_px = 24.0;

/* splitmix64 (Steele, Lea and Flood 2014, from memory) */
uint64_t kb_prove_random(uint64_t *state) {
    uint64_t z = (*state += 0x9e3779b97f4a7c15U);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
    return z ^ (z >> 31);
}

double kb_prove_uniform(uint64_t *state) {
    return (double)(kb_prove_random(state) >> 11) * 0x1p-53; /* 53 bits: a double's mantissa */
}

double kb_prove_normal(uint64_t *state) {
    double sum = 0.0;
    for (int i = 0; i < 12; i++) { /* variance 1/12 each */
        sum += kb_prove_uniform(state);
    }
    return sum - 6.0;
}

/* A picture of doubles while it is drawn. */
struct canvas {
    int32_t width, height;
    double *cover, *other;
};

/* Pixels, angle in radians. */
struct ellipse {
    double x, y, a, b, angle;
};

/* Squares that hold a particle each. */
struct grid {
    double cell;
    int32_t columns, rows;
};

/* Add `share` of the span [x0, x1] to a row, pixel by pixel. */
static void add_span(double *row, int32_t width, double x0, double x1, double share) {
    x0 = fmax(x0, 0.0);
    x1 = fmin(x1, (double)width);
    for (int32_t x = (int32_t)x0; (double)x < x1; x++) {
        row[x] += share * (fmin(x1, x + 1.0) - fmax(x0, (double)x));
    }
}

static void add_ellipse(struct canvas *canvas, const struct ellipse *e) {
    const double c = cos(e->angle), s = sin(e->angle);
    const double aa = 1.0 / (e->a * e->a), bb = 1.0 / (e->b * e->b);
    const double xx = c * c * aa + s * s * bb, yy = s * s * aa + c * c * bb;
    const double xy = c * s * (aa - bb);
    const int32_t first = (int32_t)fmax(floor(e->y - e->a), 0.0);
    const int32_t last = (int32_t)fmin(ceil(e->y + e->a), canvas->height - 1.0);
    for (int32_t row = first; row <= last; row++) {
        for (int line = 0; line < LINES; line++) {
            double y = row + (line + 0.5) / LINES - e->y;
            double root = xy * xy * y * y - xx * (yy * y * y - 1.0);
            if (root > 0.0) {
                double middle = e->x - xy * y / xx, half = sqrt(root) / xx;
                add_span(canvas->cover + (size_t)row * (size_t)canvas->width, canvas->width,
                         middle - half, middle + half, 1.0 / LINES);
            }
        }
    }
}

/* Along rows of `from`, written as columns of `to`: twice gives the picture back, blurred. */
static void blur_and_turn(const double *from, double *to, int32_t width, int32_t height,
                          double sigma) {
    const int32_t reach = (int32_t)ceil(REACH * sigma);
    for (int32_t y = 0; y < height; y++) {
        const double *row = from + (size_t)y * (size_t)width;
        for (int32_t x = 0; x < width; x++) {
            double sum = 0.0, weights = 0.0;
            for (int32_t k = -reach; k <= reach; k++) {
                int32_t at = x + k < 0 ? 0 : x + k >= width ? width - 1 : x + k;
                double weight = exp(-0.5 * k * k / (sigma * sigma));
                sum += weight * row[at];
                weights += weight;
            }
            to[(size_t)x * (size_t)height + (size_t)y] = sum / weights;
        }
    }
}

static void expose(const struct canvas *canvas, double noise, uint64_t *chance,
                   struct kb_image *grey) {
    for (int32_t y = 0; y < canvas->height; y++) {
        const double *row = canvas->cover + (size_t)y * (size_t)canvas->width;
        uint8_t *to = kb_row(grey, y);
        for (int32_t x = 0; x < canvas->width; x++) {
            double value = matrix_grey + row[x] * (graphite_grey - matrix_grey);
            value += noise * kb_prove_normal(chance);
            to[x] = (uint8_t)(fmin(fmax(value, 0.0), 255.0) + 0.5);
        }
    }
}

static struct kb_render_particle truth_of(const struct ellipse *e, double px_um) {
    const double a = e->a * px_um, b = e->b * px_um;
    const double h = (a - b) * (a - b) / ((a + b) * (a + b));
    return (struct kb_render_particle){
        .x_um = e->x * px_um,
        .y_um = e->y * px_um,
        .area_um2 = PI * a * b,
        .perimeter_um = PI * (a + b) * (1.0 + 3.0 * h / (10.0 + sqrt(4.0 - 3.0 * h))),
        .feret_max_um = 2.0 * a,
        .feret_min_um = 2.0 * b,
        .shape_factor = b / a,
        .inside = true,
    };
}

/* One to a cell, so that none comes near another or the frame. */
static void draw_all(const struct kb_prove_task *task, uint64_t *chance, struct canvas *canvas,
                     struct kb_render_truth *truth, const struct grid *grid) {
    static const double ratio[] = {1.0, 0.8, 0.6};
    for (int32_t i = 0; i < grid->columns * grid->rows; i++) {
        const int32_t column = i % grid->columns, row = i / grid->columns;
        bool beside = i % 8 == 7;
        double across =
            beside ? large_px : task->across_px * (0.9 + 0.2 * kb_prove_uniform(chance));
        double room = grid->cell - 1.15 * across - 4.0; /* leaves 4 px of matrix to a neighbour */
        struct ellipse e = {
            .x = grid->cell * (column + 0.5) + room * (kb_prove_uniform(chance) - 0.5),
            .y = grid->cell * (row + 0.5) + room * (kb_prove_uniform(chance) - 0.5),
            .a = 0.5 * across,
            .b = 0.5 * across * (beside ? 1.0 : ratio[i % 3]),
            .angle = PI * kb_prove_uniform(chance),
        };
        add_ellipse(canvas, &e);
        truth->graphite += PI * e.a * e.b / ((double)canvas->width * canvas->height);
        if (!beside) {
            truth->particle[truth->count++] = truth_of(&e, task->params.px_um);
        }
    }
}

enum kb_status kb_prove_ellipses(const struct kb_prove_task *task, uint64_t seed,
                                 struct kb_render *render, struct kb_err *err) {
    const struct kb_render_params *p = &task->params;
    const double cell = 1.4 * fmax(task->across_px, large_px) + 8.0;
    const struct grid grid = {cell, (int32_t)(p->width / cell), (int32_t)(p->height / cell)};
    const size_t pixels = (size_t)p->width * (size_t)p->height;
    const size_t particles = (size_t)grid.columns * (size_t)grid.rows;
    struct canvas canvas = {.width = p->width, .height = p->height};
    *render = (struct kb_render){0};
    canvas.cover = kb_alloc_zero(pixels, sizeof *canvas.cover);
    canvas.other = kb_alloc_zero(pixels, sizeof *canvas.other);
    render->truth.particle = kb_alloc_zero(particles, sizeof *render->truth.particle);
    enum kb_status status = kb_image_alloc(p->width, p->height, &render->grey, err);
    if (status == KB_OK &&
        (canvas.cover == NULL || canvas.other == NULL || render->truth.particle == NULL)) {
        status = kb_fail_memory(err, "app", pixels * sizeof *canvas.cover);
    } else if (status == KB_OK) {
        const double sigma = p->blur_um / p->px_um;
        draw_all(task, &seed, &canvas, &render->truth, &grid);
        blur_and_turn(canvas.cover, canvas.other, p->width, p->height, sigma);
        blur_and_turn(canvas.other, canvas.cover, p->height, p->width, sigma);
        expose(&canvas, p->noise, &seed, &render->grey);
    }
    kb_free(canvas.cover);
    kb_free(canvas.other);
    if (status != KB_OK) {
        kb_render_release(render);
    }
    return status;
}
