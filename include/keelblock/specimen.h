/* specimen.h - from fields to the specimen: figures with intervals, fields still needed.
 *   ... > morphology > SPECIMEN > judge > report
 *
 * The field is the sampling unit throughout. Fields of one section speak for that section only.
 */
#ifndef KEELBLOCK_SPECIMEN_H
#define KEELBLOCK_SPECIMEN_H

#include "keelblock/morphology.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Named ways to turn particles into nodularity; see specimen/nodularity.c for each rule. A
 * form set by hand takes the place of the shape factor in all of them. */
enum kb_nodularity_method { KB_NOD_ISO945_4, KB_NOD_E2567, KB_NOD_ISO16112, KB_NOD_METHODS };
KB_API const char *kb_nodularity_name(enum kb_nodularity_method method); /* "ISO 945-4", ... */

/* ---- counting rules ----------------------------------------------------------------------------
 * A particle cut by the edge of the picture lies partly in this field and partly in its neighbour.
 */

enum kb_count_rule {
    KB_COUNT_INSIDE,    /* complete particles only: too low, the more so the larger they are */
    KB_COUNT_HALF_CUT,  /* and half of the cut ones: a little too high */
    KB_COUNT_TWO_EDGES, /* cut by the right or lower edge: counts; by the left or upper: not */
    KB_COUNT_WEIGHTED,  /* complete ones, each for as many as it stands for: the one used */
    KB_COUNT_RULES
};
KB_API const char *kb_count_rule_name(enum kb_count_rule rule);  /* "inside", "half_cut", ... */
KB_API const char *kb_count_rule_words(enum kb_count_rule rule); /* a line for readers */

/* Rectangles that a field's exclusions are cut into; more than that is treated in the mean. */
#define KB_FRAME_RECTS 32

/* Where a field measures: the picture without what is excluded. */
struct kb_frame {
    int32_t width, height;
    struct kb_rect hole[KB_FRAME_RECTS];
    size_t holes;
    bool ragged;        /* the exclusions did not fit into hole[] */
    double measured_px; /* pixels not excluded */
};

/* Parallel test lines through a field, one through each row (or column) of pixel centres. */
struct kb_test_lines {
    double length_um;  /* in all, excluded parts left out; 0 without scale */
    uint64_t crossing; /* of the edge between graphite and anything else measured */
};
enum kb_line_direction { KB_ALONG_ROWS, KB_ALONG_COLUMNS, KB_LINE_DIRECTIONS };

/* ---- how flakes lie -----------------------------------------------------------------------------
 * ISO 945-1 tells the distribution of form I, A to E, by pictures. These figures stand in for them;
 * they are ours, no published source (flake_field.c has the formulas).
 */

enum kb_flake_measure {
    KB_FLAKE_FERET,     /* um: maximum Feret diameter of complete flakes, weighted by area */
    KB_FLAKE_LENGTH,    /* um: the same along the flake, from area and perimeter */
    KB_FLAKE_THICKNESS, /* um: 2 area / outline */
    KB_FLAKE_SPACING,   /* um: mean free path from flake to flake */
    KB_FLAKE_VOIDS,     /* 1: boxes without graphite over those that chance would leave */
    KB_FLAKE_ORDER,     /* 0..1: 0 all directions alike, 1 all parallel; sampling error taken off */
    KB_FLAKE_RADIAL,    /* 1: how far flakes point to common centres; 0 by chance */
    KB_FLAKE_MIDDLE,    /* 1: outline an area about those centres over that round about them */
    KB_FLAKE_PLATES,    /* 0..1: share of the graphite in few long, straight, thick plates */
    KB_FLAKE_MEASURES
};
KB_API const char *kb_flake_measure_name(enum kb_flake_measure measure);  /* "length_um", ... */
KB_API const char *kb_flake_measure_words(enum kb_flake_measure measure); /* for readers */
KB_API const char *kb_flake_measure_unit(
    enum kb_flake_measure measure); /* "um", "1" for a share, "" for a bare number */
KB_API const char *kb_flake_measure_tells(enum kb_flake_measure measure); /* what it speaks for */

/* Why the flakes of a field were not measured. */
enum kb_flake_bar {
    KB_FLAKE_NO_BAR,
    KB_FLAKE_NO_SCALE,
    KB_FLAKE_NO_GRAPHITE,
    KB_FLAKE_TOO_CLOSE, /* flakes too close together for this pixel size */
    KB_FLAKE_BARS
};

struct kb_flake_figures {
    bool looked;                     /* false, as after zeroing: nothing below is known */
    enum kb_flake_bar bar;           /* why it could not be measured */
    size_t flakes;                   /* complete particles of 8 pixels and more */
    double value[KB_FLAKE_MEASURES]; /* NaN where not measured */
    double order_error;              /* standard error of the order by sampling */
    double direction;  /* preferred one, radians 0..pi, counter-clockwise from the row, y up */
    double longest_um; /* maximum Feret diameter of the largest complete flake that is a single
                          stroke; NaN for none */
};

enum kb_flake_letter { KB_FLAKE_A, KB_FLAKE_B, KB_FLAKE_C, KB_FLAKE_D, KB_FLAKE_E };
#define KB_FLAKE_LETTERS 5
KB_API const char *kb_flake_letter_name(enum kb_flake_letter letter);  /* "A" .. "E" */
KB_API const char *kb_flake_letter_words(enum kb_flake_letter letter); /* "random, even", ... */

/* Distribution of form I over the specimen. The letter is printed only where one of them is
 * believed enough; see flake_letters.c for the curves. */
struct kb_flake_distribution {
    struct kb_estimate figure[KB_FLAKE_MEASURES]; /* mean of the fields */
    size_t flakes, fields;                        /* behind it */
    double belief[KB_FLAKE_LETTERS], not_told;    /* sum 1 */
    bool told;
    enum kb_flake_letter letter; /* if told */
    int size_class;              /* ISO 945-1, of the longest single flake; 0 not measured */
    char designation[16];        /* "I A 4"; "" unless form, letter and size are all told */
    const char *why;             /* static text where nothing is told, else NULL */
};

/* What one field contributes: sums, so that specimens pool them. NaN where not measured. */
struct kb_field_figures {
    enum kb_contrast contrast;
    double px_um;               /* pixel size; 0 unknown */
    double area_mm2;            /* measured area (exclusions left out); NaN without scale */
    double fraction[KB_PHASES]; /* of the measured area; NaN for a phase that is not looked for */
    double pearlite_of_matrix;  /* over ferrite + pearlite + cementite + other; NaN if not told
                                   apart */
    double other_of_matrix;     /* over the same; NaN if not told apart or other not looked for */
    bool graphite_measured;     /* the field shows graphite particles with a known scale */
    size_t particles[KB_PARTICLE_STATES];
    double nodular_um2[KB_NOD_METHODS];  /* credited area of nodules, no frame weights ... */
    double graphite_um2[KB_NOD_METHODS]; /* ... over the area of all that the method rates */
    double nodular_framed_um2;           /* the ISO 945-4 pair with Miles-Lantuejoul weights: ... */
    double graphite_framed_um2;          /* ... large particles are not lost to the frame */
    double graphite_um4;       /* sum of squared areas of counting particles: effective number */
    size_t nodules;            /* counting particles with shape factor >= 0.6, or V, VI by hand */
    size_t rated;              /* counting particles */
    double nodules_per_mm2;    /* those nodules, Miles-Lantuejoul weights: unbiased by the frame */
    double form_um2[KB_FORMS]; /* area of counting particles by ISO 945 form */
    size_t size_count[9];      /* counting particles by size class, index 1..8 */
    double feret_sum_um;       /* of counting particles */
    double feret_largest_um;   /* NaN when none counts */

    /* For the counting rules: all graphite of the minimum size, whatever its shape. The size of a
     * cut particle is that of the part that shows. */
    double rated_weighted; /* counting particles, Miles-Lantuejoul weights */
    size_t cut;            /* cut by the frame or by an excluded area ... */
    size_t cut_kept;       /* ... of these, kept by the rule of two adjacent edges */
    bool edges_plain; /* false: what is measured is no plain rectangle, the rule says nothing */

    struct kb_test_lines lines[KB_LINE_DIRECTIONS];
    struct kb_flake_figures flakes; /* by kb_flake_figures_make(), for grey iron alone */

    /* For unfolding. A view of the field's particles: it must live until the specimen is made.
     * NULL: none, and the specimen has no sizes in space. */
    const struct kb_particle *particle;
    size_t particle_count;
    double least_um; /* minimum maximum Feret diameter of a counting particle */
    struct kb_frame frame;
};

/* How the flakes of a field lie, given its other figures. Grey iron; cost: one more pass over the
 * map. KB_E_MEMORY only. */
KB_API KB_NODISCARD enum kb_status kb_flake_figures_make(const struct kb_phase_map *map,
                                                         const struct kb_particles *particles,
                                                         const struct kb_field_figures *field,
                                                         struct kb_flake_figures *out,
                                                         struct kb_err *err);

/* Figures of one field from its map and, for irons, its particles (NULL for steel). `px_um` 0:
 * unknown; everything in um is then NaN. Ferrite and pearlite are NaN in an unetched field and
 * where the map did not tell them apart (label matrix); graphite is NaN for steel. */
KB_API void kb_field_figures_make(const struct kb_phase_map *map, enum kb_contrast contrast,
                                  enum kb_material material, double px_um,
                                  const struct kb_particles *particles,
                                  struct kb_field_figures *figures);

struct kb_specimen_params {
    double want_points; /* wanted half-width of the 95 % interval of a phase fraction, as a fraction
                           (0.02) */
    double want_nodularity_points; /* the same of nodularity, percentage points (5) */
    double want_count_share;       /* the same of nodule count, relative (0.1) */
    size_t min_fields;             /* fewer fields are a finding: 5 */
    size_t min_particles;          /* fewer counting particles are a finding: 500 */
    double min_area_mm2;           /* less area of graphite fields is a finding for nodular and
                                      compacted irons: 3.266, five classic prints at 100x */
    double threshold_step;         /* all is measured again with thresholds moved by so many grey
                                      levels of the file, down and up; 0: not */
};
KB_API struct kb_specimen_params kb_specimen_params_default(void);
KB_API KB_NODISCARD enum kb_status kb_specimen_params_check(const struct kb_specimen_params *params,
                                                            struct kb_err *err);

/* ---- from plane to space -----------------------------------------------------------------------
 */

/* Size classes of an unfolding. */
#define KB_SPHERE_CLASSES 20

struct kb_sphere_class {
    double from_um, to_um;   /* diameter */
    double sections_per_mm2; /* in the plane: sections of this diameter */
    double spheres_per_mm3;  /* in space: nodules of this diameter, by smoothed EM ... */
    double lo, hi;           /* ... 95 % interval; NaN below three fields */
    double saltykov_per_mm3; /* the same by Schwartz-Saltykov, where noise may pass below 0 */
};

/* Sizes and numbers of nodules in space, from those of their sections, on the assumption that
 * nodules are spheres. Speaks of spheres of `least_um` and more: smaller sections are not counted,
 * and the larger classes do not need them. See unfold.c. */
struct kb_spheres {
    const char *why; /* static text when nothing could be unfolded, else NULL */
    double least_um;
    size_t sections; /* nodules behind it, equivalent diameter of least_um and more */
    struct kb_sphere_class bin[KB_SPHERE_CLASSES];
    size_t bins;
    struct kb_estimate per_mm2, plane_mean_um; /* what the plane shows of the same nodules */
    struct kb_estimate per_mm3, mean_um;       /* in space, by smoothed EM */
    struct kb_estimate volume_fraction;        /* of those spheres: compare with the graphite */
    struct kb_estimate saltykov_per_mm3, saltykov_mean_um; /* linear classes */
    struct kb_estimate log_per_mm3, log_mean_um;           /* Saltykov's classes, ratio 10^0.1 */
    double smoothing; /* share of the full (1 2 1)/4 smoothing that was used, 0..1 */
    double misfit;    /* Pearson's chi squared of the sections a class: about 1 or less is good */
};

/* Graphite along test lines, rows and columns together. */
struct kb_spacing {
    struct kb_estimate intercepts_per_mm;                /* N_L */
    struct kb_estimate along_per_mm[KB_LINE_DIRECTIONS]; /* N_L of rows and of columns */
    struct kb_estimate surface_per_mm;    /* S_V = 4 N_L, mm2 of graphite surface a mm3 */
    struct kb_estimate mean_intercept_um; /* V_V / N_L, through the graphite */
    struct kb_estimate mean_free_path_um; /* (1 - V_V) / N_L, from graphite to graphite */
    struct kb_estimate mean_spacing_um;   /* 1 / N_L, centre to centre along the line */
};

/* ---- uncertainty -------------------------------------------------------------------------------
 */

enum kb_budget_source {
    KB_U_FIELDS,    /* spread between fields, as the figure's own interval has it */
    KB_U_SCALE,     /* the pixel size */
    KB_U_THRESHOLD, /* the thresholds */
    KB_U_SOURCES
};
KB_API const char *kb_budget_source_name(enum kb_budget_source source); /* "fields", ... */

struct kb_budget_line {
    bool stated;    /* false: `why` says why nothing is known, every number is NaN */
    double u;       /* standard uncertainty, in the unit of the figure */
    double freedom; /* degrees of freedom; INFINITY for what is stated, not observed */
    double share;   /* of the combined variance, 0..1; NaN when there is none */
    const char *why;
};

/* How sure one figure is, and why. */
struct kb_budget {
    const char *quantity;     /* static text: "nodularity", as limits name it */
    struct kb_estimate value; /* as the fields alone give it */
    struct kb_budget_line line[KB_U_SOURCES];
    double per_level; /* change of the figure when thresholds rise by one grey level; NaN unknown */
    double u;         /* combined standard uncertainty; NaN when an interval is missing */
    double freedom;   /* effective degrees of freedom */
    double factor;    /* coverage factor of 95 % */
    double expanded;  /* factor * u */
};
#define KB_BUDGETS_MAX 12

/* Combined standard uncertainty of `n` independent parts with their degrees of freedom, and its
 * effective ones by Welch and Satterthwaite (JCGM 100:2008, 5.1.2 and G.4.1; from memory).
 * INFINITY when no part with finite ones contributes. */
KB_API double kb_u_combine(const double *u, const double *freedom, size_t n,
                           double *effective_freedom);

/* What a laboratory measured elsewhere on the same casting and wants judged beside the structure.
 */
enum kb_given {
    KB_GIVEN_HARDNESS_HBW,
    KB_GIVEN_HARDNESS_HV,
    KB_GIVEN_TENSILE_STRENGTH, /* MPa */
    KB_GIVEN_PROOF_STRENGTH,   /* MPa, 0.2 % */
    KB_GIVEN_ELONGATION,       /* % after fracture */
    KB_GIVEN_IMPACT_ENERGY,    /* J */
    KB_GIVENS
};

struct kb_specimen {
    enum kb_material material;
    size_t fields, fields_graphite, fields_matrix; /* in all; used for graphite; for the matrix */
    bool graphite_from_unetched; /* there are unetched fields: graphite is measured on them alone */
    double area_mm2;             /* of the fields used for graphite; NaN without scale */
    /* Fractions 0..1 of the field, unit "1". Where unetched fields are given too, graphite comes
     * from them, and the matrix from the etched ones. */
    struct kb_estimate phase[KB_PHASES];
    struct kb_estimate pearlite_of_matrix, other_of_matrix; /* the matrix: ferrite, pearlite,
                                                               cementite and other together */
    struct kb_estimate nodularity_percent[KB_NOD_METHODS];
    /* ISO 945-4 rule, each particle weighted for the frame that hides large ones: what the section
     * would give without frames. Beside the standard's figure, never in its place. */
    struct kb_estimate nodularity_framed_percent;
    struct kb_estimate nodularity_by_count_percent;
    struct kb_estimate nodules_per_mm2; /* Miles-Lantuejoul weights */
    /* The same and all graphite of the minimum size by each counting rule. Whether a cut particle
     * is a nodule cannot be seen: as many are taken to be as among the complete ones. */
    struct kb_estimate nodule_count_per_mm2[KB_COUNT_RULES];
    struct kb_estimate graphite_count_per_mm2[KB_COUNT_RULES];
    struct kb_spheres spheres;
    struct kb_spacing spacing;
    struct kb_flake_distribution distribution;      /* of grey iron */
    struct kb_estimate form_area_percent[KB_FORMS]; /* of the counting graphite area */
    struct kb_estimate mean_feret_um;
    struct kb_estimate largest_feret_um;
    int size_class; /* ISO 945-1 class of the largest particle; 0 not measured */
    size_t size_count[9];
    size_t particles[KB_PARTICLE_STATES]; /* over the graphite fields */
    /* Fields in all that the wanted precision takes at the spread seen so far; 0 unknown (one
     * field). */
    size_t fields_needed_phase, fields_needed_nodularity, fields_needed_count;
    struct kb_budget budget[KB_BUDGETS_MAX]; /* of the measured main figures */
    size_t budgets;
    struct kb_estimate given[KB_GIVENS]; /* zeroed by kb_specimen_run(): not given */
    struct kb_findings findings;
};

/* Pool fields. Initialises `out`, zeroed on failure; release with kb_specimen_release(). KB_E_USAGE
 * for no fields. The order of the fields changes nothing, to the last digit. Phase fractions: plain
 * mean of the fields; where measured areas differ by more than a tenth, weighted by area. */
KB_API KB_NODISCARD enum kb_status kb_specimen_run(const struct kb_field_figures *fields,
                                                   size_t count, enum kb_material material,
                                                   const struct kb_specimen_params *params,
                                                   struct kb_specimen *out, struct kb_err *err);
KB_API void kb_specimen_release(struct kb_specimen *specimen);

/* What is known beyond the spread between fields. */
struct kb_beyond_fields {
    double scale_u;        /* relative standard uncertainty of the pixel size; 0: not stated */
    double threshold_step; /* grey levels; 0: thresholds were not moved */
    /* The same fields with thresholds lower and higher by the step. NULL: not known. */
    const struct kb_specimen *lower, *higher;
};
/* Draw up specimen->budget and widen the intervals of fractions, nodularity, forms, counts, lengths
 * and spacing in the plane to the combined ones; `method` then says so. Sizes in space are left
 * alone. With nothing stated no figure changes. Call once. KB_E_USAGE for numbers that are not
 * finite or below 0. */
KB_API KB_NODISCARD enum kb_status kb_specimen_combine(struct kb_specimen *specimen,
                                                       const struct kb_beyond_fields *beyond,
                                                       struct kb_err *err);

/* Mean, s and 95 % Student interval of n values; a point without interval for n = 1; missing for
 * n = 0 or values that are not finite. The interval is clipped to [least, most]; use -INFINITY and
 * INFINITY for no bound. After ASTM E562 (formulas from memory, see refs/). */
KB_API struct kb_estimate kb_estimate_mean(const double *value, size_t n, const char *unit,
                                           double least, double most);
/* scale * sum(numerator) / sum(denominator) with the field as the sampling unit; `s` is sqrt(n)
 * times the standard error. `least` and `most` bound the scaled figure; between two finite bounds
 * the interval is found on the logit, above a finite lower one on the logarithm (ratio.c says why).
 * Missing when the denominators sum to 0; without interval when one field holds all of them. Where
 * the fields show no spread the interval has width 0: the caller must add what counts allow. */
KB_API struct kb_estimate kb_estimate_ratio(const double *numerator, const double *denominator,
                                            size_t n, double scale, const char *unit, double least,
                                            double most);
/* Spread of a figure, split: between the fields of a specimen, and between specimens. */
struct kb_split {
    size_t groups, fields;   /* specimens that give the figure, and their fields */
    struct kb_estimate mean; /* of the specimens' values; one specimen gives no interval */
    double within;           /* standard deviation between fields of one specimen; NaN: unknown */
    double within_freedom;   /* its degrees of freedom */
    double between;          /* between specimens, spread of the fields taken off; NaN: unknown */
    double fields_each;      /* that a specimen has, as the split weighs them */
};
/* One-way random effects from `count` estimates of one quantity, a specimen each: s between the n
 * fields of each, value as its mean (Montgomery, "Design and Analysis of Experiments", components
 * of variance by the analysis of variance method, from memory; a negative component counts as 0).
 * The interval of the mean has one less degrees of freedom than specimens and so holds both
 * spreads, whatever their share. Estimates that are not measured are passed over. The interval is
 * clipped to [least, most]. */
KB_API struct kb_split kb_split_run(const struct kb_estimate *member, size_t count, double least,
                                    double most);

/* Two-sided 95 % Student factor, n - 1 degrees of freedom (GSL). NaN for n < 2. */
KB_API double kb_student_95(size_t n);
/* The same for any degrees of freedom, INFINITY included. NaN for freedom <= 0. */
KB_API double kb_student_factor(double freedom);
/* Fields in all (at least 2) so that t(n) * s / sqrt(n) <= half_width; 0 when it cannot be said: s
 * or half_width no number, or more than a million fields. */
KB_API size_t kb_fields_for(double s, double half_width);
/* Counting points by hand, after ASTM E562 (from memory): points of the grid for a phase of this
 * fraction, and fields for a relative accuracy of the 95 % interval; 0 when it cannot be said. */
KB_API size_t kb_point_grid(double fraction);
KB_API size_t kb_point_fields(double fraction, double accuracy, size_t points);

#ifdef __cplusplus
}
#endif
#endif
