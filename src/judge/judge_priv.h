/* judge_priv.h - what the files of this stage share. */
#ifndef KB_JUDGE_PRIV_H
#define KB_JUDGE_PRIV_H

#include "keelblock/judge.h"

/* As a double: the C library's is a float, whose promotion the compilers rightly point out. */
#define KB_NAN ((double)NAN)

/* ---- constants.c, made from refs/ ---- */

extern const struct kb_carbon_set kb_judge_sets[];
extern const size_t kb_judge_set_count;
struct kb_judge_densities { /* g/cm3 */
    double ferrite, pearlite, graphite, cementite, iron_matrix;
};
extern const struct kb_judge_densities kb_judge_densities;

/* ---- names.c ---- */

enum kb_quantity_kind {
    KB_KIND_PERCENT,
    KB_KIND_COUNT,
    KB_KIND_LENGTH,
    KB_KIND_HBW,
    KB_KIND_HV,
    KB_KIND_STRESS,
    KB_KIND_ENERGY,
};
enum kb_quantity_kind kb_quantity_kind_of(enum kb_quantity quantity);
/* False when no quantity has this name. */
bool kb_quantity_parse(const char *name, enum kb_quantity *quantity);
/* The quantity's name that `name` most likely meant; NULL when none comes near. */
const char *kb_quantity_nearest(const char *name);

/* ---- conformance.c ---- */

/* Probability that the figure lies within the limit, from its interval; NaN without one. */
double kb_limit_probability(const struct kb_estimate *value, const struct kb_limit *limit);

/* ---- judge.c ---- */

/* Outcome of one limit by `rule` from the limit and value that stand in `result`. */
void kb_judge_limit(enum kb_decision_rule rule, struct kb_limit_result *result);

/* ---- batch_figures.c ---- */

/* Each quantity that some member gives: spread split, mean against its limit, what would decide. */
KB_NODISCARD enum kb_status kb_batch_figures(const struct kb_batch_member *member, size_t count,
                                             struct kb_batch_judgement *out, struct kb_err *err);

/* ---- batch_advice.c ---- */

/* The cheapest way from undecided to a decision, into out->advice. */
void kb_batch_advice(const struct kb_batch_member *member, size_t count,
                     struct kb_batch_judgement *out);

/* ---- working.c: the calculation as lines on paper ---- */

void kb_working_line(struct kb_working *working, const char *format, ...) KB_PRINTF(2, 3);
void kb_working_eutectoid(struct kb_working *working, const struct kb_carbon *carbon,
                          double silicon);
void kb_working_steel(struct kb_working *working, const struct kb_carbon *carbon,
                      enum kb_proeutectoid beside, double pearlite_volume);
void kb_working_graphite(struct kb_working *working, const struct kb_carbon *carbon,
                         double graphite_volume);
void kb_working_iron(struct kb_working *working, const struct kb_carbon *carbon,
                     double pearlite_volume);
void kb_working_check(struct kb_working *working, const struct kb_carbon *carbon, double chemical);

/* ---- cross_check.c ---- */

void kb_carbon_cross_check(const struct kb_chemistry *chemistry, enum kb_material material,
                           enum kb_proeutectoid beside, struct kb_carbon *carbon);

#endif
