/* specimen_priv.h - what the files of this stage share. */
#ifndef KB_SPECIMEN_PRIV_H
#define KB_SPECIMEN_PRIV_H

#include "keelblock/specimen.h"

/* As doubles: the C library's are floats, whose promotion the compilers rightly point out. */
#define KB_NAN ((double)NAN)
#define KB_INFINITY ((double)INFINITY)

/* ---- exact_sum.c: a sum that does not depend on the order of its terms ---- */

/* A double spans 2098 binary places and each part covers 53 that no other part touches, so 40 parts
 * hold any sum; some to spare. */
#define KB_SUM_PARTS 48

struct kb_sum {
    double part[KB_SUM_PARTS]; /* not overlapping, smallest first */
    int parts;
    bool broken; /* a term was not finite, or the sum overflowed */
};
void kb_sum_add(struct kb_sum *sum, double term);
double kb_sum_value(const struct kb_sum *sum); /* correctly rounded; NaN when broken */
double kb_sum_of(const double *value, size_t n);

/* ---- published.c, made from refs/ ---- */

struct kb_specimen_grid {
    double from_percent; /* of the phase, up to where the next begins */
    size_t points;
};
extern const struct kb_specimen_grid kb_specimen_grids[];
extern const size_t kb_specimen_grid_count;

/* What a method makes of particles from a shape factor on; rows of one method follow each other,
 * the highest shape factor first. */
struct kb_specimen_credit {
    const char *method; /* as kb_nodularity_name() */
    double shape_factor, feret_um, credit;
};
extern const struct kb_specimen_credit kb_specimen_credits[];
extern const size_t kb_specimen_credit_count;

/* Sampling as standards and practice ask for it; the unit stands in the name. */
struct kb_specimen_rules {
    double min_fields, min_particles, min_area_mm2;
    double most_nodularity_compacted_percent, small_least_feret_um;
    double nodularity_step_percent, least_nodularity_percent;
};
extern const struct kb_specimen_rules kb_specimen_rules;

/* ---- student.c ---- */

/* 97.5 % point of the standard normal distribution. */
double kb_normal_factor(void);

/* ---- count_bound.c ---- */

/* Where the fields show no spread: widen the interval of a share (in the unit of least..most) to
 * what `trials` independent particles support; else, and without an interval, do nothing. */
void kb_widen_to_count(struct kb_estimate *estimate, double trials, double least, double most);
/* The same for a count per area that rests on `counted` particles. */
void kb_widen_to_poisson(struct kb_estimate *estimate, double counted);

/* ---- frame_weight.c ---- */

void kb_frame_make(const struct kb_phase_map *map, struct kb_frame *frame);
/* How many particles of this bounding box one complete one stands for, >= 1. */
double kb_frame_weight(const struct kb_frame *frame, int32_t width, int32_t height);

/* ---- ratio.c ---- */

/* lo, hi and method of an estimate from its value, standard error and Student factor. */
void kb_set_interval(struct kb_estimate *estimate, double se, double t, double least, double most);

/* ---- budget.c ---- */

/* 95 % half-length of an interval over n >= 2 fields, never shorter than that of the fields alone:
 * `u_fields` has n - 1 degrees of freedom, `u_other` none to count. Both standard uncertainties. */
double kb_half_length(double u_fields, double u_other, size_t n, double *freedom, double *combined);

/* ---- frame_edges.c ---- */

/* The rectangle that is measured, in pixels; false when it is none. */
bool kb_frame_open(const struct kb_frame *frame, struct kb_rect *open);
/* Whether the rule of two adjacent edges counts the particle in `box`, complete or cut. */
bool kb_two_edges_keep(const struct kb_rect *open, const struct kb_rect *box);

/* ---- lines.c ---- */

/* px_um 0: unknown, the lengths are then 0. */
void kb_test_lines_run(const struct kb_image *label, double px_um,
                       struct kb_test_lines lines[KB_LINE_DIRECTIONS]);

/* ---- the fields that show graphite particles with a scale, for what is pooled from them ---- */

struct kb_used {
    const struct kb_field_figures **field;
    size_t count;
    double *top, *bottom; /* room for one figure of every field */
};

/* count_rules.c */
void kb_count_rules_run(const struct kb_used *used, struct kb_specimen *out);
void kb_count_rules_miss(const char *why, struct kb_specimen *out);
/* spacing.c */
void kb_spacing_run(const struct kb_used *used, struct kb_spacing *out);
void kb_spacing_miss(const char *why, struct kb_spacing *out);
/* unfold.c */
enum kb_status kb_spheres_run(const struct kb_used *used, enum kb_material material,
                              struct kb_spheres *out, struct kb_err *err);
void kb_spheres_miss(const char *why, struct kb_spheres *out);

/* flake_letters.c; form_area_percent must be known */
void kb_flakes_run(const struct kb_used *used, enum kb_material material, struct kb_specimen *out);
void kb_flakes_miss(const char *why, struct kb_flake_distribution *out);

/* ---- unfold_kernel.c ---- */

/* Sections a sphere: kernel[section * bins + sphere], in the unit of the bounds (bins + 1,
 * ascending). `spread`: spheres fill their class evenly; else all have its upper bound. */
void kb_unfold_kernel(const double *bound, size_t bins, bool spread, double *kernel);
/* Solve for the spheres, largest first. */
void kb_unfold_back(const double *kernel, size_t bins, const double *sections, double *spheres);

/* ---- unfold_smooth.c ---- */

/* A class is unfolded in as many parts, so that spheres need not be even over a whole class. */
#define KB_UNFOLD_PARTS 3
#define KB_UNFOLD_BINS ((size_t)KB_SPHERE_CLASSES * KB_UNFOLD_PARTS)

/* Spheres from the sections `seen`; `one` is what a single section weighs in them. Returns the
 * smoothing that was used; `misfit` is chi squared a class of KB_UNFOLD_PARTS bins, of which `bins`
 * is a multiple, at most KB_UNFOLD_BINS. */
double kb_unfold_smooth(const double *kernel, size_t bins, const double *seen, double one,
                        double *spheres, double *misfit);
/* The same from a start in `spheres`, at a given smoothing. */
void kb_unfold_rounds(const double *kernel, size_t bins, const double *seen, double smoothing,
                      double *spheres);

/* ---- nodularity.c ---- */

/* What the method makes of a particle: 1 nodule, 0.5 intermediate, 0 neither; negative: not rated.
 */
double kb_nodularity_credit(enum kb_nodularity_method method, double shape_factor, double feret_um);
/* The same of a particle, whose form may have been set by hand; px_um must be known. */
double kb_nodularity_credit_of(enum kb_nodularity_method method, const struct kb_particle *particle,
                               double px_um);

/* ---- specimen_findings.c ---- */

struct kb_specimen_counts { /* what the findings ask about the fields */
    size_t etched, unetched;
    size_t without_scale; /* graphite fields whose pixel size is unknown */
    double least_um;      /* least maximum Feret diameter that counts; 0 unknown */
    bool mixed_scales;
    bool mixed_areas;
};
enum kb_status kb_specimen_remark(const struct kb_specimen_params *params,
                                  const struct kb_specimen_counts *counts,
                                  struct kb_specimen *specimen, struct kb_err *err);

#endif
