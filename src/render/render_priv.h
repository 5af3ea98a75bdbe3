/* render_priv.h - what the files of the render stage share.
 *
 *   params > scene (particles and their outlines) > cover (graphite, ferrite rings)
 *          > matrix (which phase the rest is) > paint (grey of each phase) > marks > optics
 *
 * Lengths are micrometres with the origin at the upper left corner of the frame, y downwards,
 * unless a name says px. Angles are turns (1 = full circle). Only + - * / and sqrt touch a number
 * that reaches a pixel, so that the picture is the same on every machine with IEEE arithmetic.
 */
#ifndef KEELBLOCK_RENDER_PRIV_H
#define KEELBLOCK_RENDER_PRIV_H

#include "keelblock/render.h"

#define KB_RENDER_STAGE "render"

/* ---- random.c: numbers keyed by (seed, purpose, index) ------------------------------------------
 */

/* One word a use of chance; append only, so that pictures of older versions stay as they are. */
enum kb_chance {
    KB_CHANCE_SIZE = 1,
    KB_CHANCE_KIND,
    KB_CHANCE_OUTLINE,
    KB_CHANCE_PLACE,
    KB_CHANCE_RING,
    KB_CHANCE_GRAIN,
    KB_CHANCE_PARENT_GRAIN,
    KB_CHANCE_COLONY,
    KB_CHANCE_WARP,
    KB_CHANCE_TEXTURE,
    KB_CHANCE_SCRATCH,
    KB_CHANCE_SPECK,
    KB_CHANCE_LIGHT,
    KB_CHANCE_SENSOR,
    KB_CHANCE_LAYOUT,
    KB_CHANCE_BEAM,
    KB_CHANCE_CHARGE,
    KB_CHANCE_FREE_PART,
};

struct kb_random {
    uint64_t state;
};

/* The key itself, for hash and noise. */
uint64_t kb_random_key(uint64_t seed, enum kb_chance purpose, uint64_t index);
struct kb_random kb_random_start(uint64_t seed, enum kb_chance purpose, uint64_t index);
uint64_t kb_random_bits(struct kb_random *random);
double kb_random_uniform(struct kb_random *random); /* [0, 1) */
double kb_random_between(struct kb_random *random, double low, double high);
double kb_random_normal(struct kb_random *random); /* mean 0, s 1, within +-6 */
double kb_byte_normal(uint64_t bits);              /* sum of eight bytes: mean 0, s 1, within +-5 */
uint64_t kb_mix(uint64_t bits);                    /* one-to-one scrambling of 64 bits */

/* Smooth noise over the plane, mean 0, mostly within -1..1 (never beyond 1.2); 0 at whole numbers,
 * which are also its scale. */
double kb_noise(uint64_t key, double x, double y);

/* floor() without the call that it is on machines without SSE 4.1; |x| < 2^62. */
int64_t kb_round_down(double x);

/* Elementary functions from + - * / alone: the same bits with every C library. */
double kb_exp(double x);
double kb_log(double x);
void kb_turn(double turns, double *cosine, double *sine);

/* ---- outline.c: closed outlines and their measures ----------------------------------------------
 */

struct kb_point {
    double x, y;
};

/* Vertices of every outline; a smooth outline of this many is within 0.05 % of its area. */
#define KB_OUTLINE_POINTS 160
#define KB_HULL_ROOM (2 * KB_OUTLINE_POINTS + 1)

struct kb_outline_measures {
    double x, y; /* centre of area */
    double area, perimeter;
    double feret_max, feret_min;
    double shape_factor;
    double x0, y0, x1, y1; /* bounding box */
};

/* Of a closed polygon without crossings, either way round. `hull` has room for 2 * n + 1 points. */
void kb_outline_measure(const struct kb_point *point, size_t n, struct kb_point *hull,
                        struct kb_outline_measures *measures);

/* A centre line with half-widths, for worms and flakes. */
struct kb_disc {
    double x, y, r;
};
#define KB_SPINE_DISCS 24

enum kb_shape {
    KB_SHAPE_NODULE,
    KB_SHAPE_IRREGULAR,
    KB_SHAPE_WORM,
    KB_SHAPE_FLAKE,
    KB_SHAPE_SLIVER, /* a short flake */
    KB_SHAPE_PLATE   /* of kish: straight and thick */
};

struct kb_form {
    struct kb_point point[KB_OUTLINE_POINTS];
    struct kb_disc disc[KB_SPINE_DISCS]; /* cover the particle; one for round shapes */
    size_t discs;
};

/* Draw by chance a form of the given kind about the origin, with area pi/4 * diameter^2. */
void kb_form_draw(struct kb_random *random, enum kb_shape shape, double diameter,
                  struct kb_form *form);

/* ---- scene.c: the particles of the section ------------------------------------------------------
 */

struct kb_graphite {
    enum kb_shape shape;
    double x, y, radius; /* all of the particle is within radius of x, y */
    size_t first_point;  /* KB_OUTLINE_POINTS of them */
    size_t first_disc, discs;
    double ring; /* thickness of its ferrite ring relative to the others' */
};

struct kb_scene {
    double width, height; /* frame, um */
    struct kb_graphite *graphite;
    size_t count, capacity;
    struct kb_point *point;
    size_t points, points_capacity;
    struct kb_disc *disc;
    size_t discs, discs_capacity;
};

KB_NODISCARD enum kb_status kb_scene_make(const struct kb_render_params *params,
                                          struct kb_scene *scene, struct kb_err *err);
void kb_scene_release(struct kb_scene *scene);
KB_NODISCARD enum kb_status kb_scene_truth(const struct kb_scene *scene,
                                           struct kb_render_truth *truth, struct kb_err *err);

/* ---- cover.c: exact share of each pixel that a union of outlines covers -------------------------
 */

struct kb_edge {
    double x, slope; /* x at y = 0 in pixels, dx/dy */
    double y0, y1;   /* pixels, y0 < y1 */
    int winding;
};

struct kb_cover {
    struct kb_edge *edge;
    size_t edges, capacity;
};

/* Add a closed polygon; coordinates are divided by px_um. */
KB_NODISCARD enum kb_status kb_cover_add(struct kb_cover *cover, const struct kb_point *point,
                                         size_t n, double px_um, struct kb_err *err);
/* Cover of each pixel, 0..255, into `to` (NULL: only the sum). *share: covered part of the frame.
 */
KB_NODISCARD enum kb_status kb_cover_draw(struct kb_cover *cover, int32_t width, int32_t height,
                                          struct kb_image *to, double *share, struct kb_err *err);
void kb_cover_release(struct kb_cover *cover);

/* ---- cells.c: a plane of irregular cells (grains, colonies)
 * -------------------------------------- */

struct kb_cell {
    float x, y;
    float weight;           /* um^2: the larger, the larger the cell */
    float tone;             /* -1..1 */
    float along_x, along_y; /* unit vector across the lamellae */
    float stretch;          /* apparent over true lamella spacing, >= 1 */
    float score;            /* order in which cells become ferrite */
    bool pearlite;
};

struct kb_cells {
    double size; /* mean side, um */
    double bend; /* um by which borders are bent */
    uint64_t key;
    int32_t columns, rows;
    struct kb_cell *cell;
};

struct kb_cell_hit {
    const struct kb_cell *cell, *other; /* nearest, second nearest centre */
    double edge;                        /* distance to the border between the two, um */
};

KB_NODISCARD enum kb_status kb_cells_make(double width, double height, double size, uint64_t key,
                                          struct kb_cells *cells, struct kb_err *err);
void kb_cells_release(struct kb_cells *cells);
struct kb_cell_hit kb_cells_find(const struct kb_cells *cells, double x, double y);
/* Signed distance to the nearest border between ferrite and pearlite cells, um, > 0 in pearlite. */
double kb_cells_depth(const struct kb_cells *cells, double x, double y);

/* ---- matrix.c: ferrite and pearlite
 * --------------------------------------------------------------- */

struct kb_matrix {
    struct kb_cells grain, parent, colony;
    bool network; /* ferrite along the borders of the parent grains, up to `limit` */
    double limit;
    uint64_t key;
};

/* Fill `pearlite` with the share of each pixel, 0..255, given the graphite's share; the two sum to
 * 255 at most. The truth's fractions are set. */
KB_NODISCARD enum kb_status kb_matrix_make(const struct kb_render_params *params,
                                           const struct kb_scene *scene,
                                           const struct kb_image *graphite,
                                           struct kb_matrix *matrix, struct kb_image *pearlite,
                                           struct kb_render_truth *truth, struct kb_err *err);
void kb_matrix_release(struct kb_matrix *matrix);

/* ---- arrange.c: how flakes lie to one another
 * ------------------------------------------------------ */

struct kb_arrange {
    const struct kb_render_params *params;
    double width, height;               /* of the frame with its margins, um */
    double size;                        /* median equivalent diameter, um */
    struct kb_cells cells;              /* rosettes, or arms of dendrites */
    double band;                        /* flakes lie so close to a border, um */
    double direction, along_x, along_y; /* of the arms */
    double scatter;                     /* of directions, turns */
};

/* A place from the corner of the margin, and the direction of the flake there. */
struct kb_spot {
    double x, y, turns;
};

/* Whether flakes are drawn by this file at all: distributions B to E. */
bool kb_arranged(const struct kb_render_params *params);
/* How many times larger than elsewhere the margin must be. */
double kb_arrange_reach(const struct kb_render_params *params);
KB_NODISCARD enum kb_status kb_arrange_make(const struct kb_render_params *params, double width,
                                            double height, struct kb_arrange *arrange,
                                            struct kb_err *err);
void kb_arrange_release(struct kb_arrange *arrange);
/* Equivalent diameter from a normal number and one of 0..1. */
double kb_arrange_size(const struct kb_arrange *arrange, double normal, double chance);
enum kb_shape kb_arrange_shape(const struct kb_arrange *arrange, double size);
/* A place by chance; false: not one for this distribution. */
bool kb_arrange_try(const struct kb_arrange *arrange, struct kb_random *random, double size,
                    struct kb_spot *spot);
/* Turn a stroke so that the chord between its ends has that direction. */
void kb_form_turn(const struct kb_form *form, double turns, struct kb_form *to);

/* ---- paint.c, marks.c, optics.c: from phases to light to grey
 * ------------------------------------ */

/* Light in 1/128 of a grey level. */
#define KB_LIGHT_UNIT 128

struct kb_light {
    int32_t width, height;
    uint16_t *px;
};

struct kb_canvas {
    const struct kb_render_params *params;
    const struct kb_scene *scene;
    const struct kb_matrix *matrix;
    struct kb_image graphite, pearlite; /* share of each pixel, 0..255 */
    struct kb_image bainite, carbide;   /* the same; empty where the parameters ask for none */
    struct kb_image tone;               /* grey of the graphite in each pixel */
    struct kb_light light;
};

/* free_part.c: bainite and carbide in place of pearlite; the truth follows. Their greys at a place,
 * um, are given a key of chance. */
KB_NODISCARD enum kb_status kb_free_part_make(struct kb_canvas *canvas, struct kb_matrix *matrix,
                                              struct kb_render_truth *truth, struct kb_err *err);
double kb_bainite_grey(const struct kb_canvas *canvas, uint64_t key, double x, double y);
double kb_carbide_grey(const struct kb_canvas *canvas, uint64_t key, double x, double y);

void kb_paint_graphite(struct kb_canvas *canvas);
void kb_paint(struct kb_canvas *canvas);
void kb_mark_specks(struct kb_canvas *canvas);
void kb_mark_scratches(struct kb_canvas *canvas);
/* Fall-off and blur in place, then charging, noise and rounding into `grey`. */
KB_NODISCARD enum kb_status kb_expose(struct kb_canvas *canvas, struct kb_image *grey,
                                      struct kb_err *err);

/* ---- beam.c: what a scanned beam adds, if the parameters ask for it
 * ------------------------------ */

struct kb_beam {
    struct kb_random random;
    double level;   /* standard deviation at grey 200 */
    double carried; /* what the amplifier remembers, in standard deviations */
};

void kb_charge(struct kb_canvas *canvas);
struct kb_beam kb_beam_start(const struct kb_render_params *params, int32_t y);
double kb_beam_noise(struct kb_beam *beam, double grey); /* next pixel of the row, levels */

#endif
