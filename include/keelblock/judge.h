/* judge.h - what the figures mean: carbon by the lever rule, cross-check with chemistry, limits,
 * verdict.   ... > specimen > JUDGE > report
 */
#ifndef KEELBLOCK_JUDGE_H
#define KEELBLOCK_JUDGE_H

#include "keelblock/specimen.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- lever rule --------------------------------------------------------------------------------
 */

/* Mass per cent, g/cm3. Inputs, not truths: silicon and sources shift them; printed with every
 * result. */
struct kb_carbon_constants {
    double ferrite_c;       /* carbon in ferrite at the eutectoid: 0.022 */
    double eutectoid_c;     /* 0.76 */
    double cementite_c;     /* 6.70 */
    double rho_graphite;    /* 2.25 */
    double rho_ferrite;     /* 7.87 */
    double rho_pearlite;    /* 7.84 */
    double rho_cementite;   /* 7.68 */
    double rho_iron_matrix; /* silicon-bearing matrix of cast iron: 7.8 */
    double si_shift; /* change of eutectoid carbon per mass % Si: -0.08 (from memory, unverified) */
    const char *source;              /* static text: of the densities and the shift */
    const struct kb_carbon_set *set; /* that the carbon values came from; NULL: from none */
};

/* Carbon values that belong together, with the book they stand in (refs/lever_constants.csv). */
struct kb_carbon_set {
    const char *name; /* "0.76", ... by the carbon of the eutectoid */
    double ferrite_c, eutectoid_c, cementite_c;
    const char *source, *status; /* status: "read" or "memory-unverified" */
};
/* All sets, the default first; static. */
KB_API const struct kb_carbon_set *kb_carbon_sets(size_t *count);
KB_API const struct kb_carbon_set *kb_carbon_set_named(const char *name); /* NULL: no such set */
/* Take the three carbon values from the set; densities and shift stay. */
KB_API void kb_carbon_use_set(struct kb_carbon_constants *constants,
                              const struct kb_carbon_set *set);
/* The carbon values, their set and its source as a line of text: what is printed beside each
 * figure of carbon. Values changed after the set was taken are said to be. */
KB_API void kb_carbon_constants_text(const struct kb_carbon_constants *constants, char *text,
                                     size_t size);

KB_API struct kb_carbon_constants kb_carbon_constants_default(void);
KB_API KB_NODISCARD enum kb_status
kb_carbon_constants_check(const struct kb_carbon_constants *constants, struct kb_err *err);

/* Mass fractions near equilibrium of plain carbon steel. */
struct kb_lever {
    bool hypereutectoid;
    double pearlite, proeutectoid; /* proeutectoid ferrite or, hypereutectoid, cementite */
    double total_ferrite, total_cementite;
};
/* carbon in mass %, ferrite_c .. cementite_c; KB_E_USAGE outside. */
KB_API KB_NODISCARD enum kb_status kb_lever_from_carbon(double carbon,
                                                        const struct kb_carbon_constants *constants,
                                                        struct kb_lever *lever, struct kb_err *err);
/* Carbon in mass % from the mass fraction of pearlite 0..1. */
KB_API double kb_lever_carbon(double pearlite_mass, enum kb_proeutectoid beside,
                              const struct kb_carbon_constants *constants);
/* Mass fraction of the phase of density `rho` from its volume fraction beside one of `rho_rest`,
 * and back. */
KB_API double kb_mass_fraction(double volume_fraction, double rho, double rho_rest);
KB_API double kb_volume_fraction(double mass_fraction, double rho, double rho_rest);
/* Eutectoid carbon at `silicon` mass %. */
KB_API double kb_eutectoid_at(double silicon, const struct kb_carbon_constants *constants);

/* ---- carbon of a specimen ----------------------------------------------------------------------
 */

struct kb_chemistry { /* mass %, NaN when not known */
    double c, si, mn, p, s, cu, sn, mg;
};
KB_API struct kb_chemistry kb_chemistry_unknown(void);

struct kb_carbon_params {
    struct kb_carbon_constants constants;
    double tolerance_percent; /* cross-check: agreed difference in mass % C beyond the interval,
                                 0.05 steel */
};

enum kb_agreement { KB_AGREE_UNKNOWN, KB_AGREES, KB_DISAGREES };

#define KB_WORKING_LINES 24
struct kb_working { /* the calculation as one would write it on paper */
    char line[KB_WORKING_LINES][200];
    int count;
};

struct kb_carbon {
    struct kb_estimate total_percent;    /* mass % C of the whole */
    struct kb_estimate combined_percent; /* mass % C bound in the matrix, of the whole */
    struct kb_estimate graphite_percent; /* mass % C as graphite, of the whole; missing for steel */
    struct kb_estimate pearlite_mass;    /* mass fraction of the matrix */
    double eutectoid_used;               /* mass % after the silicon shift */
    bool silicon_assumed;                /* no Si given for an iron: shift not applied */
    struct kb_carbon_constants constants;
    enum kb_agreement agreement; /* with chemistry.c */
    double difference_percent;   /* structure minus chemistry, mass % C; NaN unknown */
    double tolerance_percent;
    const char *reason[6];    /* what to look at first when it disagrees; static text, NULL-ended */
    double carbon_equivalent; /* C + (Si + P) / 3 from chemistry, P 0 when not given; NaN
                                 unknown */
    struct kb_working working;
};

/* Carbon that the structure implies. An estimate near equilibrium, never a chemical analysis. What
 * is missing for it is missing in `out`, with the reason. Total and combined carbon of an iron take
 * etched fields; the silicon shift is applied where chemistry gives silicon. With chemistry.c the
 * two are compared: they agree when chemistry lies within the interval widened by the tolerance;
 * without an interval a difference beyond the tolerance leaves the agreement unknown. */
KB_API void kb_carbon_run(const struct kb_specimen *specimen, enum kb_proeutectoid beside,
                          const struct kb_chemistry *chemistry,
                          const struct kb_carbon_params *params, struct kb_carbon *out);
KB_API struct kb_carbon_params kb_carbon_params_default(enum kb_material material);
KB_API KB_NODISCARD enum kb_status kb_carbon_params_check(const struct kb_carbon_params *params,
                                                          struct kb_err *err);
/* The same from fractions by volume without fields: graphite of the whole, pearlite of the matrix;
 * NaN: not known. KB_E_USAGE outside 0..1. */
KB_API KB_NODISCARD enum kb_status
kb_carbon_from_fractions(enum kb_material material, double graphite, double pearlite,
                         enum kb_proeutectoid beside, const struct kb_chemistry *chemistry,
                         const struct kb_carbon_params *params, struct kb_carbon *out,
                         struct kb_err *err);
/* Working of kb_lever_from_carbon(), which gave `lever`. */
KB_API void kb_lever_working(double carbon, const struct kb_carbon_constants *constants,
                             const struct kb_lever *lever, struct kb_working *working);

/* ---- limits ------------------------------------------------------------------------------------
 */

enum kb_quantity {
    KB_Q_NODULARITY, /* by ISO 945-4, % of graphite area */
    KB_Q_NODULARITY_E2567,
    KB_Q_NODULARITY_ISO16112,
    KB_Q_NODULARITY_BY_COUNT,
    KB_Q_NODULES_PER_MM2,
    KB_Q_GRAPHITE, /* fraction of the field */
    KB_Q_FERRITE,
    KB_Q_PEARLITE,
    KB_Q_PEARLITE_OF_MATRIX,
    KB_Q_OTHER_OF_MATRIX, /* what is neither ferrite nor pearlite: bainite, carbide, ... */
    KB_Q_CEMENTITE,
    KB_Q_FORM_I,
    KB_Q_FORM_II,
    KB_Q_FORM_III,
    KB_Q_FORM_IV,
    KB_Q_FORM_V,
    KB_Q_FORM_VI, /* % of graphite area */
    KB_Q_MEAN_FERET_UM,
    KB_Q_LARGEST_FERET_UM,
    KB_Q_CARBON, /* mass % that the structure implies */
    KB_Q_GIVEN,  /* from here on what is measured elsewhere, in the order of enum kb_given */
    KB_Q_HARDNESS_HBW = KB_Q_GIVEN,
    KB_Q_HARDNESS_HV,
    KB_Q_TENSILE_STRENGTH,
    KB_Q_PROOF_STRENGTH,
    KB_Q_ELONGATION,
    KB_Q_IMPACT_ENERGY,
    KB_QUANTITIES
};
KB_API const char *
kb_quantity_name(enum kb_quantity quantity); /* "nodularity", ... as in a job file */
KB_API const char *
kb_quantity_words(enum kb_quantity quantity); /* "nodularity, ISO 945-4, by area" */
KB_API const char *
kb_quantity_unit(enum kb_quantity quantity); /* shown to readers: "%", "1/mm2", "um" */

/* A value measured elsewhere as an estimate: with its standard uncertainty, a 95 % interval by the
 * normal law; without (0), no interval. `given` below KB_GIVENS. */
KB_API struct kb_estimate kb_given_estimate(enum kb_given given, double value, double u);

struct kb_limit {
    enum kb_quantity quantity;
    double low, high; /* in the unit shown to readers (fractions as %); NaN: open on that side */
};

/* ">= 85 %", "<= 5 %", "20..45 %", ">= 100" (per mm2), "<= 60 um"; also the signs for not less and
 * not more, and a dash between the ends of a range. Per cents and lengths must say their unit.
 * `quantity` is a name as above; an unknown one is refused with the nearest that exists. KB_E_USAGE
 * says what would be right; `limit` is then untouched. */
KB_API KB_NODISCARD enum kb_status kb_limit_parse(const char *quantity, const char *text,
                                                  struct kb_limit *limit, struct kb_err *err);

enum kb_outcome { KB_OUTCOME_NONE, KB_ACCEPT, KB_REJECT, KB_UNDECIDED };
KB_API const char *
kb_outcome_name(enum kb_outcome outcome); /* "none", "accept", "reject", "undecided" */

/* How figure and uncertainty turn into an outcome. Both are worked out; one of them rules. */
enum kb_decision_rule {
    KB_RULE_GUARDED, /* the whole 95 % interval decides; between, undecided */
    KB_RULE_SIMPLE,  /* the value alone decides */
    KB_DECISION_RULES
};
KB_API const char *kb_decision_rule_name(enum kb_decision_rule rule); /* "guarded", "simple" */
KB_API const char *kb_decision_rule_text(enum kb_decision_rule rule); /* a sentence, with source */
KB_API KB_NODISCARD bool kb_decision_rule_parse(const char *name, enum kb_decision_rule *rule);

/* Probability that the true value lies within the limits (NaN: open on that side), given `value`,
 * its standard uncertainty u >= 0 and the degrees of freedom behind u: Student's t, or the normal
 * law for INFINITY. NaN when it cannot be said. (JCGM 106:2012, from memory, unverified.) */
KB_API double kb_conformance_probability(double value, double u, double freedom, double low,
                                         double high);

struct kb_limit_result {
    struct kb_limit limit;
    struct kb_estimate value; /* in the unit shown to readers */
    enum kb_outcome outcome;  /* by the rule chosen */
    enum kb_outcome by_rule[KB_DECISION_RULES];
    double probability;      /* of conformity, from value and interval; NaN without interval */
    size_t fields_to_decide; /* more fields at this spread; 0: cannot be said */
    char reason[160];        /* "the whole interval lies above the lower limit" */
};

struct kb_judgement {
    struct kb_limit_result *limit;
    size_t count;
    enum kb_decision_rule decision_rule;
    enum kb_outcome verdict; /* reject if any rejects; else undecided if any; else accept; none
                                without limits */
    enum kb_outcome verdict_by_rule[KB_DECISION_RULES];
    const char *rule; /* name of the rule with its source */
};

/* By `rule`. Guarded both ways: accept only when the whole 95 % interval is inside the limit,
 * reject only when it is wholly outside, else undecided; not measured or without an interval
 * undecided, but a value measured elsewhere whose uncertainty was not stated decides alone. Simple:
 * accept when the value is inside, else reject; not measured undecided. The largest particle, an
 * extreme, is judged for the fields seen by either rule (two at least to accept it). (JCGM
 * 106:2012; ISO 14253-1. From memory, unverified.) Release with kb_judgement_release(). */
KB_API KB_NODISCARD enum kb_status kb_judge(const struct kb_specimen *specimen,
                                            const struct kb_carbon *carbon,
                                            const struct kb_limit *limits, size_t count,
                                            enum kb_decision_rule rule, struct kb_judgement *out,
                                            struct kb_err *err);
KB_API void kb_judgement_release(struct kb_judgement *judgement);
/* The specimen's (or carbon's) figure for a quantity, in the unit shown to readers. */
KB_API struct kb_estimate kb_quantity_value(enum kb_quantity quantity,
                                            const struct kb_specimen *specimen,
                                            const struct kb_carbon *carbon);

/* ---- batches -----------------------------------------------------------------------------------
 */

/* What a batch is judged from: one specimen. Views. */
struct kb_batch_member {
    const char *specimen; /* its name */
    bool judged;          /* false: some field of it could not be measured */
    const struct kb_estimate
        *figure; /* [KB_QUANTITIES], see kb_quantity_value(); NULL: not judged */
    const struct kb_judgement *judgement; /* NULL: not judged */
};

/* How the verdicts of specimens become that of the batch. */
enum kb_batch_rule {
    KB_BATCH_EVERY, /* every specimen must pass */
    KB_BATCH_MEAN,  /* the mean of the specimens must pass */
    KB_BATCH_SHARE, /* a stated share of the specimens must pass */
    KB_BATCH_RULES
};
KB_API const char *kb_batch_rule_name(enum kb_batch_rule rule); /* "every", "mean", "share" */

struct kb_batch_params {
    enum kb_batch_rule rule;
    double share; /* KB_BATCH_SHARE: least share of specimens that must pass, 0..1; 0.9 */
    enum kb_decision_rule decision_rule; /* KB_BATCH_MEAN: how the mean meets its limits */
    double specimen_work; /* what one more specimen takes to cut, grind and polish, in fields
                             photographed; 10, our own estimate */
};
KB_API struct kb_batch_params kb_batch_params_default(void);
/* "every", "mean", "share 90 %". KB_E_USAGE says what would be right. */
KB_API KB_NODISCARD enum kb_status
kb_batch_rule_parse(const char *text, struct kb_batch_params *params, struct kb_err *err);

/* One quantity over the batch. */
struct kb_batch_figure {
    enum kb_quantity quantity;
    struct kb_split split;        /* in the unit shown to readers */
    bool limited;                 /* specimens have a limit on it, all the same one */
    struct kb_limit_result limit; /* of the mean; decides by KB_BATCH_MEAN, else for orientation */
    size_t more_fields;    /* in each specimen, that would decide the mean; 0: cannot be said */
    size_t more_specimens; /* of as many fields, that would; 0: cannot be said */
};

struct kb_batch_judgement {
    enum kb_outcome verdict; /* none when no specimen has a limit */
    size_t specimens, accepted, rejected, undecided;
    size_t unjudged;  /* specimens that could not be measured as a whole */
    size_t unlimited; /* specimens without a limit */
    struct kb_batch_params params;
    char rule[120];   /* the rule by which it was judged */
    char reason[200]; /* "1 of 3 specimens is rejected" */
    char advice[300]; /* undecided: the cheapest way to a decision; "" otherwise */
    struct kb_batch_figure figure[KB_QUANTITIES]; /* those that some specimen gives */
    size_t figures;
};

/* By the rule of `params`. Every specimen: reject when one is rejected; else undecided when one is
 * undecided, or could not be measured; else accept. The mean: each limit against the mean of the
 * specimens with an interval that holds the spread between and within them (one specimen gives
 * none: undecided, guarded), reject when one rejects; specimens that could not be measured leave it
 * undecided, and so do limits that are not the same for all. A share: accept when so many are
 * accepted, reject when so many no longer can be. KB_E_USAGE for no specimens or params out of
 * range. */
KB_API KB_NODISCARD enum kb_status kb_judge_batch(const struct kb_batch_member *member,
                                                  size_t count,
                                                  const struct kb_batch_params *params,
                                                  struct kb_batch_judgement *out,
                                                  struct kb_err *err);

#ifdef __cplusplus
}
#endif
#endif
