/* prove.h - software validation: a designed set of specimens whose truth is known is drawn,
 * measured in the way of `measure`, and held against limits.
 *
 *   prove_design.c   which specimens            prove_rows.c    figures of bias, spread, coverage
 *   prove_measure.c  draw one and measure it    prove_judge.c   limits, passed or failed
 *   prove_match.c    particles and their truth  prove_run.c     all of it, on all cores
 *   prove_ellipses.c smooth particles of few pixels
 */
#ifndef KB_PROVE_H
#define KB_PROVE_H

#include "keelblock/keelblock.h"

/* What is compared with truth. Every one is a ratio of sums over fields. */
enum kb_prove_figure {
    KB_PROVE_GRAPHITE,   /* of the field */
    KB_PROVE_PEARLITE,   /* of the field */
    KB_PROVE_MATRIX,     /* pearlite of the matrix */
    KB_PROVE_NODULARITY, /* ISO 945-4, complete particles */
    KB_PROVE_COUNT,      /* nodules per mm2 */
    KB_PROVE_COMPLETE,   /* complete nodules found, a field */
    KB_PROVE_AREA,       /* error of a particle's area, relative */
    KB_PROVE_FERET,      /* ... of its maximum Feret diameter, relative */
    KB_PROVE_PERIMETER,  /* ... of its perimeter, relative */
    KB_PROVE_SHAPE,      /* ... of its shape factor */
    KB_PROVE_FIGURES
};
#define KB_PROVE_BIT(figure) (1U << (unsigned)(figure))

struct kb_prove_words {
    const char *quantity, *unit; /* of the row */
    const char *value_unit;      /* of truth and measured; NULL: they are not shown */
    double scale;                /* from the ratio to value_unit, or to unit where there is none */
    bool relative;               /* the bias is a share of the truth */
};
const struct kb_prove_words *kb_prove_words_of(enum kb_prove_figure figure);

/* ---- the design --------------------------------------------------------------------------------
 */

/* One specimen: so many fields of one population, each in so many variants. */
struct kb_prove_task {
    enum kb_proof_kind kind;
    const char *group; /* static text */
    char subject[80];  /* tasks of one kind, group and subject that follow each other are one row */
    enum kb_material material;
    enum kb_contrast contrast;
    struct kb_render_params params; /* seed: of the first field */
    unsigned figures;               /* KB_PROVE_BIT() of each that gives a row */
    size_t fields, variants;
    double across_px; /* typical particle; 0 where it does not matter */
    bool ellipses;    /* smooth discs and ellipses, not the renderer's nodules */
    /* Fields of one section are not alike: standard deviations between fields of the share of
     * pearlite and of round particles, and, relative, of the number of particles. */
    double vary_pearlite, vary_nodularity, vary_count;
    bool accept_unfit; /* measure what the check of preparation refuses; the row says so */
};

struct kb_prove_plan {
    struct kb_prove_task *task;
    size_t count, capacity;
};
KB_NODISCARD enum kb_status kb_prove_design(bool quick, struct kb_prove_plan *plan,
                                            struct kb_err *err);
void kb_prove_plan_release(struct kb_prove_plan *plan);

/* ---- one specimen ------------------------------------------------------------------------------
 */

struct kb_prove_pair {
    double top, bottom;
};

struct kb_prove_field {
    bool measured; /* false: refused as not fit */
    struct kb_prove_pair found[KB_PROVE_FIGURES], truth[KB_PROVE_FIGURES];
};

/* Numbers of fields whose intervals are tried for coverage: the first so many of a specimen. */
#define KB_PROVE_SIZES 3
extern const size_t kb_prove_sizes[KB_PROVE_SIZES];

struct kb_prove_outcome {
    struct kb_prove_field *field; /* variant v of field i at v * fields + i */
    size_t refused, accepted;     /* fields found not fit: left out, or measured all the same */
    char why[200];                /* what the first refusal said */
    struct kb_estimate interval[KB_PROVE_SIZES][KB_PROVE_FIGURES]; /* coverage tasks only */
};

/* Draw and measure. `progress` is told of each field, of `total` in all; *done is shared between
 * threads. Initialises `out`; empty on failure. */
struct kb_prove_count {
    const struct kb_progress *progress;
    size_t done, total;
};
KB_NODISCARD enum kb_status kb_prove_measure(const struct kb_prove_task *task,
                                             struct kb_prove_count *count,
                                             struct kb_prove_outcome *out, struct kb_err *err);
void kb_prove_outcome_release(struct kb_prove_outcome *outcome);

/* A field of discs and ellipses as the task says instead of the renderer's; release as a render. */
KB_NODISCARD enum kb_status kb_prove_ellipses(const struct kb_prove_task *task, uint64_t seed,
                                              struct kb_render *render, struct kb_err *err);
/* Chance that is the same everywhere: `state` is the seed. Uniform in [0, 1), normal (0, 1). */
uint64_t kb_prove_random(uint64_t *state);
double kb_prove_uniform(uint64_t *state);
double kb_prove_normal(uint64_t *state);

/* Mean errors of the complete particles of a field, into the particle figures of `out`. */
void kb_prove_match(const struct kb_render_truth *truth, const struct kb_particles *particles,
                    struct kb_prove_field *out);

/* ---- rows --------------------------------------------------------------------------------------
 */

/* Limits for a figure, in the row's unit. */
struct kb_prove_limit {
    double low, high;
    const char *words; /* static text: where it comes from */
};
struct kb_prove_limit kb_prove_limit_of(enum kb_proof_kind kind, enum kb_prove_figure figure,
                                        double across_px);
/* Sets row->passed from everything else in the row. A row without figure, or with a refused field,
 * never passes. */
void kb_prove_judge(struct kb_proof_row *row);
/* Whether `hits` of `trials` can come from a coverage within [low, high] (shares): neither too few
 * for low nor too many for high, each at 2.5 % of the binomial law. */
bool kb_prove_covers(size_t hits, size_t trials, double low, double high);

/* Rows of `tasks` tasks of one kind, group and subject. */
KB_NODISCARD enum kb_status kb_prove_rows(const struct kb_prove_task *task,
                                          const struct kb_prove_outcome *outcome, size_t tasks,
                                          struct kb_proof *proof, struct kb_err *err);

/* The whole proof. `threads` 0: as many as the machine has. Initialises `proof`; empty on failure.
 */
KB_NODISCARD enum kb_status kb_prove_run(bool quick, int threads,
                                         const struct kb_progress *progress, struct kb_proof *proof,
                                         struct kb_err *err);

#endif
