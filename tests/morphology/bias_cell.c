/* bias_cell.c - see bias_cell.h. */
#include "kb_cmocka.h"

#include "bias_cell.h"

#include <stdlib.h>

static const double graphite = 60.0;
static const double ground = 210.0;
enum { OTHERS = 9 };
static const double other_px = 24.0;

struct scene {
    struct ellipse *ellipse;
    size_t count; /* the others come last */
    int32_t side;
};

/* On a square grid, far enough apart not to touch. */
static struct scene arrange(const struct bias_kind *kind, int particles, uint64_t *seed) {
    struct scene scene = {.count = (size_t)particles + OTHERS};
    scene.ellipse = calloc(scene.count, sizeof *scene.ellipse);
    assert_non_null(scene.ellipse);
    int32_t cell = (int32_t)(fmax(kind->d_px, other_px) + 18.0);
    int32_t across = (int32_t)ceil(sqrt((double)scene.count));
    scene.side = cell * across;
    for (size_t i = 0; i < scene.count; i++) {
        bool other = i >= (size_t)particles;
        double semi = (other ? other_px : kind->d_px) / 2.0;
        scene.ellipse[i] = (struct ellipse){
            .centre = {(double)cell * ((double)(i % (size_t)across) + 0.5) + spread(seed),
                       (double)cell * ((double)(i / (size_t)across) + 0.5) + spread(seed)},
            .semi_a = semi,
            .semi_b = other ? semi : kind->axis_ratio * semi,
            .angle = SHAPE_PI * spread(seed),
        };
    }
    return scene;
}

/* The largest particle about a place: noise may leave specks beside it. */
static const struct kb_particle *particle_at(const struct kb_particles *particles,
                                             struct place place) {
    const struct kb_particle *best = NULL;
    for (size_t i = 0; i < particles->count; i++) {
        const struct kb_particle *p = &particles->particle[i];
        if (hypot(p->x_px - place.x, p->y_px - place.y) < 3.0 &&
            (best == NULL || p->area_px2 > best->area_px2)) {
            best = p;
        }
    }
    assert_non_null(best);
    return best;
}

static void add(struct bias *bias, const struct ellipse *e, const struct kb_particle *p) {
    double area = SHAPE_PI * e->semi_a * e->semi_b;
    /* the shape factor is clipped at 1 by definition; its bias is that of what is reported */
    const double off[BIASES] = {
        p->area_px2 / area - 1.0,
        p->feret_max_px / (2.0 * e->semi_a) - 1.0,
        p->feret_min_px / (2.0 * e->semi_b) - 1.0,
        p->perimeter_px / ellipse_perimeter(e->semi_a, e->semi_b) - 1.0,
        p->shape_factor - e->semi_b / e->semi_a,
    };
    for (int i = 0; i < BIASES; i++) {
        bias->mean[i] += off[i];
        bias->s[i] += off[i] * off[i];
    }
}

static void conclude(struct bias *bias, double count) {
    for (int i = 0; i < BIASES; i++) {
        bias->mean[i] /= count;
        double square = bias->s[i] / count - bias->mean[i] * bias->mean[i];
        bias->s[i] = sqrt(fmax(square, 0.0) * count / (count - 1.0));
    }
}

void bias_measure(const struct bias_kind *kind, int particles, uint64_t *seed, struct bias *outline,
                  struct bias *pixels, double *outlined) {
    struct scene scene = arrange(kind, particles, seed);
    struct canvas canvas = canvas_blank(scene.side, scene.side, ground);
    for (size_t i = 0; i < scene.count; i++) {
        canvas_add(&canvas, &scene.ellipse[i], graphite, kind->blur_px);
    }
    struct kb_image grey = canvas_expose(&canvas, kind->noise, seed);
    struct kb_phase_map map = map_below(&grey, 0.5 * (graphite + ground));
    struct kb_morphology_params params = rules_plain();
    struct kb_particles fine = measured_with(&map, &grey, 1.0, &params);
    struct kb_particles plain = measured_with(&map, NULL, 1.0, &params);
    *outline = (struct bias){.mean = {0.0}};
    *pixels = (struct bias){.mean = {0.0}};
    *outlined = 0.0;
    for (int i = 0; i < particles; i++) {
        const struct kb_particle *p = particle_at(&fine, scene.ellipse[i].centre);
        add(outline, &scene.ellipse[i], p);
        add(pixels, &scene.ellipse[i], particle_at(&plain, scene.ellipse[i].centre));
        *outlined += p->subpixel ? 1.0 / particles : 0.0;
    }
    conclude(outline, particles);
    conclude(pixels, particles);
    kb_particles_release(&fine);
    kb_particles_release(&plain);
    kb_phase_map_release(&map);
    kb_image_release(&grey);
    canvas_release(&canvas);
    free(scene.ellipse);
}
