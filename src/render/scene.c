/* scene.c - which particles of graphite lie where, and what is true of them.
 *
 * Sizes are log-normal, drawn for the frame and a margin about it, so that particles cut by the
 * frame are as common as in a real field. The largest are placed first, each at random where it
 * touches no other (random sequential placement); the discs that cover a particle stand for it,
 * kept in a grid of squares so that a trial looks at its neighbourhood only. Touching nodules are
 * set against a nodule that is already there, worms in groups, flakes partly as branches of another
 * flake.
 */
#include "render_priv.h"

#include <stdlib.h>

#define PI 3.14159265358979323846
#define NONE SIZE_MAX

enum {
    TRIES = 300,      /* places tried before a particle is given up */
    GROUP = 6,        /* worms that stay near each other */
    SIZES_MAX = 50000 /* particles in one picture: two gigabytes of outlines when all are flakes */
};

/* Sizes are cut at this many geometric standard deviations, so that the margin is finite. */
#define SIZE_CUT 2.6

struct disc_link {
    struct kb_disc disc;
    size_t owner;
    size_t next;
};

struct placing {
    const struct kb_render_params *params;
    struct kb_scene *scene;
    double *size; /* equivalent diameters, largest first */
    size_t sizes;
    double margin, gap;
    double square; /* side of a square of the grid */
    int32_t columns, rows;
    size_t *head;
    struct disc_link *link;
    size_t links, links_capacity;
    double group_x, group_y;
    struct kb_arrange arrange;
};

/* ---- sizes and kinds ----------------------------------------------------------------------------
 */

static bool by_fraction(const struct kb_render_params *params) {
    return params->graphite == KB_RENDER_FLAKES || params->graphite == KB_RENDER_COMPACTED;
}

static double draw_size(const struct placing *p, size_t index) {
    const struct kb_render_params *params = p->params;
    struct kb_random random = kb_random_start(params->seed, KB_CHANCE_SIZE, index);
    double z = kb_random_normal(&random);
    z = z > SIZE_CUT ? SIZE_CUT : z < -SIZE_CUT ? -SIZE_CUT : z;
    if (kb_arranged(params)) {
        return kb_arrange_size(&p->arrange, z, kb_random_uniform(&random));
    }
    return params->nodule_um * kb_exp(z * kb_log(params->nodule_spread));
}

static int larger_first(const void *a, const void *b) {
    double da = *(const double *)a, db = *(const double *)b;
    return (da < db) - (da > db);
}

static enum kb_status draw_sizes(struct placing *p, struct kb_err *err) {
    const struct kb_render_params *params = p->params;
    double area = (p->scene->width + 2.0 * p->margin) * (p->scene->height + 2.0 * p->margin);
    struct kb_random random = kb_random_start(params->seed, KB_CHANCE_LAYOUT, 0);
    /* rounded by chance, so that small frames are right on average */
    double wanted = floor(params->nodules_per_mm2 * area * 1e-6 + kb_random_uniform(&random));
    double to_fill = params->graphite_fraction * area, filled = 0.0;
    size_t capacity = 0;
    while (by_fraction(params) ? filled < to_fill : (double)p->sizes < wanted) {
        if (p->sizes >= SIZES_MAX) {
            return kb_fail(
                err, KB_E_USAGE, KB_RENDER_STAGE, NULL,
                "more than %d particles in one picture (draw a smaller frame, or fewer or "
                "larger particles)",
                (int)SIZES_MAX);
        }
        if (!kb_grow((void **)&p->size, p->sizes, &capacity, sizeof *p->size)) {
            return kb_fail_memory(err, KB_RENDER_STAGE, sizeof *p->size);
        }
        double size = draw_size(p, p->sizes);
        p->size[p->sizes++] = size;
        filled += PI / 4.0 * size * size;
    }
    if (p->sizes > 0) {
        qsort(p->size, p->sizes, sizeof *p->size, larger_first);
    }
    return KB_OK;
}

/* Spread evenly over the sizes, so that the share by area is near the share by number. */
static enum kb_shape choose_shape(const struct placing *p, size_t index) {
    const struct kb_render_params *params = p->params;
    if (kb_arranged(params)) {
        return kb_arrange_shape(&p->arrange, p->size[index]);
    }
    if (params->graphite == KB_RENDER_FLAKES) {
        return KB_SHAPE_FLAKE;
    }
    struct kb_random start = kb_random_start(params->seed, KB_CHANCE_KIND, 0);
    double offset = kb_random_uniform(&start), share = params->nodularity;
    if (floor((double)(index + 1) * share + offset) > floor((double)index * share + offset)) {
        return KB_SHAPE_NODULE;
    }
    struct kb_random random = kb_random_start(params->seed, KB_CHANCE_KIND, index + 1);
    double worms = params->graphite == KB_RENDER_COMPACTED ? 0.9 : 0.3;
    return kb_random_uniform(&random) < worms ? KB_SHAPE_WORM : KB_SHAPE_IRREGULAR;
}

/* ---- the grid of discs --------------------------------------------------------------------------
 */

static int32_t clamp_square(double at, double square, int32_t count) {
    double i = floor(at / square);
    return i < 0.0 ? 0 : i >= (double)count ? count - 1 : (int32_t)i;
}

static size_t *square_at(const struct placing *p, double x, double y) {
    int32_t column = clamp_square(x + p->margin, p->square, p->columns);
    int32_t row = clamp_square(y + p->margin, p->square, p->rows);
    return &p->head[(size_t)row * (size_t)p->columns + (size_t)column];
}

static bool disc_is_free(const struct placing *p, struct kb_disc disc, size_t except) {
    double reach = disc.r + p->gap + p->square / 2.0; /* no disc is larger than half a square */
    int32_t c0 = clamp_square(disc.x - reach + p->margin, p->square, p->columns);
    int32_t c1 = clamp_square(disc.x + reach + p->margin, p->square, p->columns);
    int32_t r0 = clamp_square(disc.y - reach + p->margin, p->square, p->rows);
    int32_t r1 = clamp_square(disc.y + reach + p->margin, p->square, p->rows);
    for (int32_t row = r0; row <= r1; row++) {
        for (int32_t column = c0; column <= c1; column++) {
            size_t i = p->head[(size_t)row * (size_t)p->columns + (size_t)column];
            for (; i != NONE; i = p->link[i].next) {
                const struct disc_link *link = &p->link[i];
                double dx = link->disc.x - disc.x, dy = link->disc.y - disc.y;
                double apart = link->disc.r + disc.r + p->gap;
                if (link->owner != except && dx * dx + dy * dy < apart * apart) {
                    return false;
                }
            }
        }
    }
    return true;
}

static bool is_free(const struct placing *p, const struct kb_form *form, double x, double y,
                    size_t except) {
    for (size_t i = 0; i < form->discs; i++) {
        struct kb_disc disc = form->disc[i];
        disc.x += x;
        disc.y += y;
        if (!disc_is_free(p, disc, except)) {
            return false;
        }
    }
    return true;
}

/* ---- finding a place ----------------------------------------------------------------------------
 */

/* How far the outline reaches from its centre along a unit vector. */
static double reach_along(const struct kb_point *point, struct kb_point centre, struct kb_point d) {
    double reach = 0.0;
    for (int i = 0; i < KB_OUTLINE_POINTS; i++) {
        struct kb_point a = point[i], b = point[(i + 1) % KB_OUTLINE_POINTS];
        a.x -= centre.x, a.y -= centre.y, b.x -= centre.x, b.y -= centre.y;
        double side_a = d.x * a.y - d.y * a.x, side_b = d.x * b.y - d.y * b.x;
        if ((side_a <= 0.0) == (side_b <= 0.0)) {
            continue;
        }
        double t = side_a / (side_a - side_b);
        reach = fmax(reach, d.x * (a.x + t * (b.x - a.x)) + d.y * (a.y + t * (b.y - a.y)));
    }
    return reach;
}

/* Against a nodule that is there already, with a neck of a few per cent of the diameter. */
static size_t try_touching(const struct placing *p, struct kb_random *random,
                           const struct kb_form *form, double *x, double *y) {
    const struct kb_scene *scene = p->scene;
    size_t partner = (size_t)(kb_random_uniform(random) * (double)scene->count);
    const struct kb_graphite *other = &scene->graphite[partner];
    struct kb_point there = {other->x, other->y}, d, back, zero = {0.0, 0.0};
    kb_turn(kb_random_uniform(random), &d.x, &d.y);
    back.x = -d.x, back.y = -d.y;
    double apart = reach_along(&scene->point[other->first_point], there, d) +
                   reach_along(form->point, zero, back);
    apart *= 0.96;
    *x = other->x + apart * d.x;
    *y = other->y + apart * d.y;
    return other->shape == KB_SHAPE_NODULE ? partner : NONE;
}

/* As a branch: one end on the centre line of another flake. */
static size_t try_branch(const struct placing *p, struct kb_random *random,
                         const struct kb_form *form, double *x, double *y) {
    const struct kb_scene *scene = p->scene;
    size_t parent = (size_t)(kb_random_uniform(random) * (double)scene->count);
    const struct kb_graphite *other = &scene->graphite[parent];
    size_t at = (size_t)(kb_random_uniform(random) * (double)other->discs);
    *x = scene->disc[other->first_disc + at].x - form->disc[0].x;
    *y = scene->disc[other->first_disc + at].y - form->disc[0].y;
    return parent;
}

static void try_anywhere(struct placing *p, struct kb_random *random, enum kb_shape shape,
                         double diameter, size_t index, double *x, double *y) {
    const struct kb_scene *scene = p->scene;
    if (shape == KB_SHAPE_WORM && index % GROUP != 0 && kb_random_uniform(random) < 0.8) {
        *x = p->group_x + kb_random_normal(random) * 1.6 * diameter;
        *y = p->group_y + kb_random_normal(random) * 1.6 * diameter;
        return;
    }
    *x = kb_random_between(random, -p->margin, scene->width + p->margin);
    *y = kb_random_between(random, -p->margin, scene->height + p->margin);
    if (shape == KB_SHAPE_WORM && index % GROUP == 0) {
        p->group_x = *x;
        p->group_y = *y;
    }
}

static bool find_place(struct placing *p, const struct kb_form *form, enum kb_shape shape,
                       size_t index, double *x, double *y) {
    struct kb_random random = kb_random_start(p->params->seed, KB_CHANCE_PLACE, index);
    bool flake = shape == KB_SHAPE_FLAKE, any = p->scene->count > 0;
    bool touching =
        shape == KB_SHAPE_NODULE && any && kb_random_uniform(&random) < p->params->clusters;
    bool branch = flake && any && kb_random_uniform(&random) < 0.35;
    for (int i = 0; i < TRIES; i++) {
        size_t except = NONE;
        if (touching) {
            except = try_touching(p, &random, form, x, y);
            if (except == NONE) {
                continue;
            }
        } else if (branch && i < TRIES / 4) {
            except = try_branch(p, &random, form, x, y);
        } else {
            try_anywhere(p, &random, shape, p->size[index], index, x, y);
        }
        if (is_free(p, form, *x, *y, except)) {
            return true;
        }
    }
    return flake; /* sheets of graphite do meet: the last place will do */
}

/* The place and the direction of a flake of B to E; `form` is turned. */
static bool find_arranged(const struct placing *p, struct kb_form *form, size_t index, double *x,
                          double *y) {
    struct kb_random random = kb_random_start(p->params->seed, KB_CHANCE_PLACE, index);
    struct kb_form drawn = *form;
    for (int i = 0; i < TRIES; i++) {
        struct kb_spot spot;
        if (!kb_arrange_try(&p->arrange, &random, p->size[index], &spot)) {
            continue;
        }
        *x = spot.x - p->margin;
        *y = spot.y - p->margin;
        kb_form_turn(&drawn, spot.turns, form);
        if (is_free(p, form, *x, *y, NONE)) {
            return true;
        }
    }
    return false;
}

/* ---- adding -------------------------------------------------------------------------------------
 */

static enum kb_status add(struct placing *p, const struct kb_form *form, enum kb_shape shape,
                          size_t index, double x, double y, struct kb_err *err) {
    struct kb_scene *s = p->scene;
    struct kb_random random = kb_random_start(p->params->seed, KB_CHANCE_RING, index);
    struct kb_graphite g = {.shape = shape,
                            .x = x,
                            .y = y,
                            .first_point = s->points,
                            .first_disc = s->discs,
                            .discs = form->discs,
                            .ring = kb_random_between(&random, 0.65, 1.35)};
    for (size_t i = 0; i < KB_OUTLINE_POINTS; i++) {
        if (!kb_grow((void **)&s->point, s->points, &s->points_capacity, sizeof *s->point)) {
            return kb_fail_memory(err, KB_RENDER_STAGE, sizeof *s->point);
        }
        struct kb_point q = form->point[i];
        g.radius = fmax(g.radius, sqrt(q.x * q.x + q.y * q.y));
        s->point[s->points++] = (struct kb_point){q.x + x, q.y + y};
    }
    for (size_t i = 0; i < form->discs; i++) {
        struct kb_disc disc = {form->disc[i].x + x, form->disc[i].y + y, form->disc[i].r};
        if (!kb_grow((void **)&s->disc, s->discs, &s->discs_capacity, sizeof *s->disc) ||
            !kb_grow((void **)&p->link, p->links, &p->links_capacity, sizeof *p->link)) {
            return kb_fail_memory(err, KB_RENDER_STAGE, sizeof *p->link);
        }
        s->disc[s->discs++] = disc;
        size_t *head = square_at(p, disc.x, disc.y);
        p->link[p->links] = (struct disc_link){disc, s->count, *head};
        *head = p->links++;
    }
    if (!kb_grow((void **)&s->graphite, s->count, &s->capacity, sizeof *s->graphite)) {
        return kb_fail_memory(err, KB_RENDER_STAGE, sizeof *s->graphite);
    }
    s->graphite[s->count++] = g;
    return KB_OK;
}

static enum kb_status make_grid(struct placing *p, struct kb_err *err) {
    /* twice the reach of the largest particle, even of a long one; a thousand squares a side at
     * most */
    double largest = p->sizes > 0 ? p->size[0] : 1.0;
    double side = fmax(p->scene->width, p->scene->height) + 2.0 * p->margin;
    /* flakes that are arranged are many and thin */
    double reach = kb_arranged(p->params) ? 0.8 : 3.0;
    p->square = fmax(reach * largest, side / 1000.0);
    p->columns = (int32_t)((p->scene->width + 2.0 * p->margin) / p->square) + 1;
    p->rows = (int32_t)((p->scene->height + 2.0 * p->margin) / p->square) + 1;
    size_t squares = (size_t)p->columns * (size_t)p->rows;
    p->head = kb_alloc(squares, sizeof *p->head);
    if (p->head == NULL) {
        return kb_fail_memory(err, KB_RENDER_STAGE, squares * sizeof *p->head);
    }
    for (size_t i = 0; i < squares; i++) {
        p->head[i] = NONE;
    }
    return KB_OK;
}

static enum kb_status place_all(struct placing *p, struct kb_err *err) {
    for (size_t i = 0; i < p->sizes; i++) {
        struct kb_random random = kb_random_start(p->params->seed, KB_CHANCE_OUTLINE, i);
        enum kb_shape shape = choose_shape(p, i);
        struct kb_form form;
        double x, y;
        kb_form_draw(&random, shape, p->size[i], &form);
        bool found = kb_arranged(p->params) ? find_arranged(p, &form, i, &x, &y)
                                            : find_place(p, &form, shape, i, &x, &y);
        if (!found) {
            continue; /* no room: the truth says what was drawn */
        }
        enum kb_status status = add(p, &form, shape, i, x, y, err);
        if (status != KB_OK) {
            return status;
        }
    }
    return KB_OK;
}

enum kb_status kb_scene_make(const struct kb_render_params *params, struct kb_scene *scene,
                             struct kb_err *err) {
    *scene = (struct kb_scene){.width = params->width * params->px_um,
                               .height = params->height * params->px_um};
    if (params->graphite == KB_RENDER_NONE) {
        return KB_OK;
    }
    struct placing p = {.params = params, .scene = scene};
    p.margin = params->nodule_um * kb_exp(SIZE_CUT * kb_log(params->nodule_spread)) *
               kb_arrange_reach(params);
    /* what is not drawn touching stays apart after blur and sampling */
    p.gap = fmax(1.0, 2.5 * params->px_um + 2.0 * params->blur_um);
    enum kb_status status = kb_arrange_make(params, scene->width + 2.0 * p.margin,
                                            scene->height + 2.0 * p.margin, &p.arrange, err);
    if (status == KB_OK) {
        status = draw_sizes(&p, err);
    }
    if (status == KB_OK) {
        status = make_grid(&p, err);
    }
    if (status == KB_OK) {
        status = place_all(&p, err);
    }
    kb_arrange_release(&p.arrange);
    kb_free(p.size);
    kb_free(p.head);
    kb_free(p.link);
    if (status != KB_OK) {
        kb_scene_release(scene);
    }
    return status;
}

void kb_scene_release(struct kb_scene *scene) {
    kb_free(scene->graphite);
    kb_free(scene->point);
    kb_free(scene->disc);
    *scene = (struct kb_scene){0};
}

/* ---- truth --------------------------------------------------------------------------------------
 */

/* Rules of the truth: a nodule has at least this shape factor, and what is smaller than the Feret
 * diameter is not judged (both after ASTM E2567 and ISO 945-4 as the trade reads them). */
#define NODULE_SHAPE_FACTOR 0.6
#define LEAST_FERET_UM 10.0

enum kb_status kb_scene_truth(const struct kb_scene *scene, struct kb_render_truth *truth,
                              struct kb_err *err) {
    struct kb_point hull[KB_HULL_ROOM];
    double nodules = 0.0, all = 0.0;
    size_t count = 0;
    truth->particle = kb_alloc(scene->count + 1, sizeof *truth->particle);
    if (truth->particle == NULL) {
        return kb_fail_memory(err, KB_RENDER_STAGE, scene->count * sizeof *truth->particle);
    }
    truth->count = 0;
    for (size_t i = 0; i < scene->count; i++) {
        struct kb_outline_measures m;
        kb_outline_measure(&scene->point[scene->graphite[i].first_point], KB_OUTLINE_POINTS, hull,
                           &m);
        if (m.x1 <= 0.0 || m.y1 <= 0.0 || m.x0 >= scene->width || m.y0 >= scene->height) {
            continue; /* beside the frame */
        }
        bool inside = m.x0 >= 0.0 && m.y0 >= 0.0 && m.x1 <= scene->width && m.y1 <= scene->height;
        bool judged = m.feret_max >= LEAST_FERET_UM;
        bool nodule = judged && m.shape_factor >= NODULE_SHAPE_FACTOR;
        bool centred = m.x >= 0.0 && m.y >= 0.0 && m.x < scene->width && m.y < scene->height;
        all += judged && inside ? m.area : 0.0;
        nodules += nodule && inside ? m.area : 0.0;
        count += nodule && centred;
        truth->particle[truth->count++] = (struct kb_render_particle){
            m.x, m.y, m.area, m.perimeter, m.feret_max, m.feret_min, m.shape_factor, inside};
    }
    truth->nodularity_percent = all > 0.0 ? 100.0 * nodules / all : (double)NAN;
    truth->nodules_per_mm2 = (double)count / (scene->width * scene->height * 1e-6);
    return KB_OK;
}
