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

/* Named ways to turn particles into nodularity; see specimen/nodularity.c for each rule. */
enum kb_nodularity_method { KB_NOD_ISO945_4, KB_NOD_E2567, KB_NOD_ISO16112, KB_NOD_METHODS };
KB_API const char *kb_nodularity_name(enum kb_nodularity_method method); /* "ISO 945-4", ... */

/* What one field contributes: sums, so that specimens pool them. NaN where not measured. */
struct kb_field_figures {
    enum kb_contrast contrast;
    double px_um;               /* pixel size; 0 unknown */
    double area_mm2;            /* measured area (exclusions left out); NaN without scale */
    double fraction[KB_PHASES]; /* of the measured area; NaN for a phase that is not looked for */
    double pearlite_of_matrix;  /* over ferrite + pearlite + cementite; NaN if not told apart */
    bool graphite_measured;     /* the field shows graphite particles with a known scale */
    size_t particles[KB_PARTICLE_STATES];
    double nodular_um2[KB_NOD_METHODS];  /* credited area of nodules, no frame weights ... */
    double graphite_um2[KB_NOD_METHODS]; /* ... over the area of all that the method rates */
    double nodular_framed_um2;           /* the ISO 945-4 pair with Miles-Lantuejoul weights: ... */
    double graphite_framed_um2;          /* ... large particles are not lost to the frame */
    double graphite_um4;       /* sum of squared areas of counting particles: effective number */
    size_t nodules;            /* counting particles with shape factor >= 0.6 */
    size_t rated;              /* counting particles */
    double nodules_per_mm2;    /* those nodules, Miles-Lantuejoul weights: unbiased by the frame */
    double form_um2[KB_FORMS]; /* area of counting particles by ISO 945 form */
    size_t size_count[9];      /* counting particles by size class, index 1..8 */
    double feret_sum_um;       /* of counting particles */
    double feret_largest_um;   /* NaN when none counts */
};

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
};
KB_API struct kb_specimen_params kb_specimen_params_default(void);
KB_API KB_NODISCARD enum kb_status kb_specimen_params_check(const struct kb_specimen_params *params,
                                                            struct kb_err *err);

struct kb_specimen {
    enum kb_material material;
    size_t fields, fields_graphite, fields_matrix; /* in all; used for graphite; for the matrix */
    double area_mm2; /* of the fields used for graphite; NaN without scale */
    /* Fractions 0..1 of the field, unit "1". Where unetched fields are given too, graphite comes
     * from them, and the matrix from the etched ones. */
    struct kb_estimate phase[KB_PHASES];
    struct kb_estimate pearlite_of_matrix;
    struct kb_estimate nodularity_percent[KB_NOD_METHODS];
    /* ISO 945-4 rule, each particle weighted for the frame that hides large ones: what the section
     * would give without frames. Beside the standard's figure, never in its place. */
    struct kb_estimate nodularity_framed_percent;
    struct kb_estimate nodularity_by_count_percent;
    struct kb_estimate nodules_per_mm2;
    struct kb_estimate form_area_percent[KB_FORMS]; /* of the counting graphite area */
    struct kb_estimate mean_feret_um;
    struct kb_estimate largest_feret_um;
    int size_class; /* ISO 945-1 class of the largest particle; 0 not measured */
    size_t size_count[9];
    size_t particles[KB_PARTICLE_STATES]; /* over the graphite fields */
    /* Fields in all that the wanted precision takes at the spread seen so far; 0 unknown (one
     * field). */
    size_t fields_needed_phase, fields_needed_nodularity, fields_needed_count;
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
/* Two-sided 95 % Student factor, n - 1 degrees of freedom (GSL). NaN for n < 2. */
KB_API double kb_student_95(size_t n);
/* Fields in all (at least 2) so that t(n) * s / sqrt(n) <= half_width; 0 when it cannot be said: s
 * or half_width no number, or more than a million fields. */
KB_API size_t kb_fields_for(double s, double half_width);

#ifdef __cplusplus
}
#endif
#endif
