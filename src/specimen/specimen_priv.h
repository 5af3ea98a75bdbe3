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

/* ---- student.c ---- */

/* Two-sided 95 %: upper 97.5 % point of Student's t. NaN for freedom <= 0. */
double kb_student_factor(double freedom);
/* 97.5 % point of the standard normal distribution. */
double kb_normal_factor(void);

/* ---- count_bound.c ---- */

/* Widen the interval of a share (in the unit of least..most) to what `trials` independent particles
 * can support at best; does nothing to a figure without an interval. */
void kb_widen_to_count(struct kb_estimate *estimate, double trials, double least, double most);
/* The same for a count per area that rests on `counted` particles, only where the fields show no
 * spread. */
void kb_widen_to_poisson(struct kb_estimate *estimate, double counted);

/* ---- frame_weight.c ---- */

/* Rectangles that a field's exclusions are cut into; more than that is treated in the mean. */
#define KB_FRAME_RECTS 32

struct kb_frame {
    int32_t width, height;
    struct kb_rect hole[KB_FRAME_RECTS];
    size_t holes;
    bool ragged;        /* the exclusions did not fit into hole[] */
    double measured_px; /* pixels not excluded */
};
void kb_frame_make(const struct kb_phase_map *map, struct kb_frame *frame);
/* How many particles of this bounding box one complete one stands for, >= 1. */
double kb_frame_weight(const struct kb_frame *frame, int32_t width, int32_t height);

/* ---- nodularity.c ---- */

/* What the method makes of a particle: 1 nodule, 0.5 intermediate, 0 neither; negative: not rated.
 */
double kb_nodularity_credit(enum kb_nodularity_method method, double shape_factor, double feret_um);

/* ---- specimen_findings.c ---- */

struct kb_specimen_counts { /* what the findings ask about the fields */
    size_t etched, unetched;
    size_t without_scale; /* graphite fields whose pixel size is unknown */
    bool mixed_scales;
    bool mixed_areas;
};
enum kb_status kb_specimen_remark(const struct kb_specimen_params *params,
                                  const struct kb_specimen_counts *counts,
                                  struct kb_specimen *specimen, struct kb_err *err);

#endif
