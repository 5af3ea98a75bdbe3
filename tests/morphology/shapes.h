/* shapes.h - phase maps with shapes of known geometry: a pixel is graphite when its centre (integer
 * + 0.5) lies inside. */
#ifndef KB_TEST_SHAPES_H
#define KB_TEST_SHAPES_H

#include "keelblock/morphology.h"

#define SHAPE_PI 3.14159265358979323846

struct place {
    double x, y;
};

/* All ferrite. */
struct kb_phase_map map_blank(int32_t width, int32_t height);
void map_paint_ellipse(struct kb_phase_map *map, enum kb_phase phase, struct place centre,
                       double semi_a, double semi_b, double angle);
void map_paint_disc(struct kb_phase_map *map, enum kb_phase phase, struct place centre,
                    double radius);
/* Any closed polygon, even-odd rule. */
void map_paint_polygon(struct kb_phase_map *map, enum kb_phase phase, const struct place *corner,
                       size_t count);
/* Regular polygon or, with `inner` < 1, star: every second corner at inner * radius. */
void map_paint_star(struct kb_phase_map *map, enum kb_phase phase, struct place centre,
                    double radius, double inner, int tips, double angle);
/* Rectangle about a centre. */
void map_paint_rectangle(struct kb_phase_map *map, enum kb_phase phase, struct place centre,
                         double length, double width, double angle);
/* Line with round ends through the corners. */
void map_paint_stroke(struct kb_phase_map *map, enum kb_phase phase, const struct place *corner,
                      size_t count, double width);
/* Copies: turned a quarter counter-clockwise (y up), mirrored left to right, each pixel 2 x 2. */
struct kb_phase_map map_turned(const struct kb_phase_map *map);
struct kb_phase_map map_mirrored(const struct kb_phase_map *map);
struct kb_phase_map map_doubled(const struct kb_phase_map *map);

/* Default ductile-iron rules, no minimum size, nothing parted. */
struct kb_morphology_params rules_plain(void);
/* Run, must succeed. */
struct kb_particles measured(const struct kb_phase_map *map, double px_um,
                             const struct kb_morphology_params *params);
/* Run on a map with exactly one particle and return it. */
struct kb_particle only_particle(const struct kb_phase_map *map);

/* Numbers evenly spread over [0, 1), the same everywhere. */
double spread(uint64_t *state);

#endif
