/* shapes.c - see shapes.h. */
#include "kb_cmocka.h"

#include "shapes.h"

struct kb_phase_map map_blank(int32_t width, int32_t height) {
    struct kb_phase_map map = {0};
    assert_int_equal(kb_image_alloc(width, height, &map.label, NULL), KB_OK);
    kb_image_fill(&map.label, KB_FERRITE);
    return map;
}

/* Bounds of a shape, cut at the frame. */
static int32_t clip(double value, int32_t limit) {
    return value < 0.0 ? 0 : value > limit ? limit : (int32_t)value;
}

void map_paint_ellipse(struct kb_phase_map *map, enum kb_phase phase, struct place centre,
                       double semi_a, double semi_b, double angle) {
    double reach = fmax(semi_a, semi_b) + 1.0;
    int32_t x1 = clip(centre.x + reach + 1.0, map->label.width);
    int32_t y1 = clip(centre.y + reach + 1.0, map->label.height);
    for (int32_t y = clip(centre.y - reach, map->label.height); y < y1; y++) {
        for (int32_t x = clip(centre.x - reach, map->label.width); x < x1; x++) {
            double dx = x + 0.5 - centre.x;
            double dy = -(y + 0.5 - centre.y);
            double u = (dx * cos(angle) + dy * sin(angle)) / semi_a;
            double v = (-dx * sin(angle) + dy * cos(angle)) / semi_b;
            if (u * u + v * v <= 1.0) {
                kb_row(&map->label, y)[x] = (uint8_t)phase;
            }
        }
    }
}

void map_paint_disc(struct kb_phase_map *map, enum kb_phase phase, struct place centre,
                    double radius) {
    map_paint_ellipse(map, phase, centre, radius, radius, 0.0);
}

static bool inside(const struct place *corner, size_t count, double x, double y) {
    bool odd = false;
    for (size_t i = 0, j = count - 1; i < count; j = i++) {
        if ((corner[i].y > y) != (corner[j].y > y) &&
            x < (corner[j].x - corner[i].x) * (y - corner[i].y) / (corner[j].y - corner[i].y) +
                    corner[i].x) {
            odd = !odd;
        }
    }
    return odd;
}

void map_paint_polygon(struct kb_phase_map *map, enum kb_phase phase, const struct place *corner,
                       size_t count) {
    for (int32_t y = 0; y < map->label.height; y++) {
        for (int32_t x = 0; x < map->label.width; x++) {
            if (inside(corner, count, x + 0.5, y + 0.5)) {
                kb_row(&map->label, y)[x] = (uint8_t)phase;
            }
        }
    }
}

void map_paint_star(struct kb_phase_map *map, enum kb_phase phase, struct place centre,
                    double radius, double inner, int tips, double angle) {
    struct place corner[64];
    int count = inner < 1.0 ? 2 * tips : tips;
    assert_true(count <= 64);
    for (int i = 0; i < count; i++) {
        double r = inner < 1.0 && i % 2 == 1 ? inner * radius : radius;
        double a = angle + 2.0 * SHAPE_PI * i / count;
        corner[i] = (struct place){centre.x + r * cos(a), centre.y - r * sin(a)};
    }
    map_paint_polygon(map, phase, corner, (size_t)count);
}

void map_paint_rectangle(struct kb_phase_map *map, enum kb_phase phase, struct place centre,
                         double length, double width, double angle) {
    static const double side[4][2] = {{0.5, 0.5}, {-0.5, 0.5}, {-0.5, -0.5}, {0.5, -0.5}};
    struct place corner[4];
    for (int i = 0; i < 4; i++) {
        double u = side[i][0] * length;
        double v = side[i][1] * width;
        corner[i] = (struct place){centre.x + u * cos(angle) - v * sin(angle),
                                   centre.y - u * sin(angle) - v * cos(angle)};
    }
    map_paint_polygon(map, phase, corner, 4);
}

static double distance_to(struct place a, struct place b, double x, double y) {
    double dx = b.x - a.x;
    double dy = b.y - a.y;
    double t = ((x - a.x) * dx + (y - a.y) * dy) / fmax(dx * dx + dy * dy, 1e-12);
    t = fmin(fmax(t, 0.0), 1.0);
    return hypot(x - a.x - t * dx, y - a.y - t * dy);
}

void map_paint_stroke(struct kb_phase_map *map, enum kb_phase phase, const struct place *corner,
                      size_t count, double width) {
    for (int32_t y = 0; y < map->label.height; y++) {
        for (int32_t x = 0; x < map->label.width; x++) {
            for (size_t i = 0; i + 1 < count; i++) {
                if (distance_to(corner[i], corner[i + 1], x + 0.5, y + 0.5) <= width / 2.0) {
                    kb_row(&map->label, y)[x] = (uint8_t)phase;
                }
            }
        }
    }
}

struct kb_phase_map map_turned(const struct kb_phase_map *map) {
    struct kb_phase_map turned = map_blank(map->label.height, map->label.width);
    for (int32_t y = 0; y < map->label.height; y++) {
        for (int32_t x = 0; x < map->label.width; x++) {
            kb_row(&turned.label, map->label.width - 1 - x)[y] = kb_row(&map->label, y)[x];
        }
    }
    return turned;
}

struct kb_phase_map map_mirrored(const struct kb_phase_map *map) {
    struct kb_phase_map mirrored = map_blank(map->label.width, map->label.height);
    for (int32_t y = 0; y < map->label.height; y++) {
        for (int32_t x = 0; x < map->label.width; x++) {
            kb_row(&mirrored.label, y)[map->label.width - 1 - x] = kb_row(&map->label, y)[x];
        }
    }
    return mirrored;
}

struct kb_phase_map map_doubled(const struct kb_phase_map *map) {
    struct kb_phase_map doubled = map_blank(2 * map->label.width, 2 * map->label.height);
    for (int32_t y = 0; y < doubled.label.height; y++) {
        for (int32_t x = 0; x < doubled.label.width; x++) {
            kb_row(&doubled.label, y)[x] = kb_row(&map->label, y / 2)[x / 2];
        }
    }
    return doubled;
}

struct kb_morphology_params rules_plain(void) {
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    params.min_feret_um = 0.0;
    params.part_touching = false;
    return params;
}

struct kb_particles measured(const struct kb_phase_map *map, double px_um,
                             const struct kb_morphology_params *params) {
    struct kb_particles particles;
    struct kb_err err = {0};
    if (kb_morphology_run(map, NULL, px_um, params, &particles, &err) != KB_OK) {
        fail_msg("%s", err.text);
    }
    return particles;
}

struct kb_particle only_particle(const struct kb_phase_map *map) {
    struct kb_morphology_params params = rules_plain();
    struct kb_particles particles = measured(map, 0.5, &params);
    assert_int_equal(particles.count, 1);
    struct kb_particle particle = particles.particle[0];
    kb_particles_release(&particles);
    return particle;
}

double spread(uint64_t *state) {
    /* splitmix64: Steele, Lea & Flood, OOPSLA 2014 */
    uint64_t z = (*state += UINT64_C(0x9e3779b97f4a7c15));
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    z ^= z >> 31;
    return (double)(z >> 11) * 0x1p-53;
}
