/* carbon.c - the carbon that the structure of a specimen implies, with its interval.
 *
 * Steel: pearlite by area is pearlite by volume; by mass through the densities; carbon by the lever
 * rule on the side of the phase that stands beside it. Iron: graphite by volume to mass against the
 * silicon-bearing matrix is the graphite carbon; the matrix holds, by mass, pearlite at eutectoid
 * carbon and ferrite at its own: the combined carbon; their sum is the total. Eutectoid carbon
 * falls with silicon: C_e = eutectoid_c + si_shift * Si, applied where silicon is known.
 *
 * Intervals: each relation is monotone, so the ends of the interval are carried through; for the
 * total of an iron the two parts are taken as independent and their distances joined in quadrature,
 * each side for itself. The uncertainty of the constants is not in it: it is what the tolerance of
 * the cross-check is for. Limits: an estimate near equilibrium, never an analysis. Free carbides of
 * irons are not counted.
 */
#include "judge_priv.h"

static const char method_steel[] =
    "lever rule from the pearlite fraction, near equilibrium; interval carried through";
static const char method_graphite[] =
    "graphite by volume turned to mass by densities; interval carried through";
static const char method_combined[] =
    "pearlite and ferrite of the matrix at their own carbon, near equilibrium; interval carried "
    "through";
static const char method_total[] = "graphite carbon plus combined carbon; intervals joined in "
                                   "quadrature";

/* Agreed differences, mass % C, ours. Steel: about what 5 points of pearlite mean, with the choice
 * among textbook constants. Iron: 0.05 g/cm3 in the density of graphite is 0.08 % C at 11 %
 * graphite, and the span of silicon shifts in the literature, 0.05 per % Si, another 0.1 in a
 * pearlitic iron. */
static const double tolerance_steel = 0.05;
static const double tolerance_iron = 0.20;

struct kb_chemistry kb_chemistry_unknown(void) {
    return (struct kb_chemistry){KB_NAN, KB_NAN, KB_NAN, KB_NAN, KB_NAN, KB_NAN, KB_NAN, KB_NAN};
}

struct kb_carbon_params kb_carbon_params_default(enum kb_material material) {
    return (struct kb_carbon_params){
        .constants = kb_carbon_constants_default(),
        .tolerance_percent = kb_material_is_iron(material) ? tolerance_iron : tolerance_steel,
    };
}

enum kb_status kb_carbon_params_check(const struct kb_carbon_params *params, struct kb_err *err) {
    if (!isfinite(params->tolerance_percent) || params->tolerance_percent < 0.0) {
        return kb_fail(err, KB_E_USAGE, "judge", "carbon tolerance",
                       "the tolerance is not 0 or above (0.05 mass %% C for steel, 0.2 for iron)");
    }
    return kb_carbon_constants_check(&params->constants, err);
}

/* A monotone relation of one fraction. */
typedef double relation(double fraction, const void *context);

/* `from` carried through `relation`, which may rise or fall; bounded below by 0. */
static struct kb_estimate carry(const struct kb_estimate *from, relation *relate,
                                const void *context, const char *unit, const char *method) {
    struct kb_estimate to = kb_estimate_point(relate(from->value, context), from->n, unit, method);
    if (from->has_interval) {
        double a = relate(from->lo, context);
        double b = relate(from->hi, context);
        /* slope over the interval, or at the point where the interval has no width */
        double width = from->hi - from->lo;
        to.lo = fmax(fmin(a, b), 0.0);
        to.hi = fmax(a, b);
        double slope = width > 0.0 ? fabs(b - a) / width : 0.0;
        to.s = from->s * slope;
        to.u_other = from->u_other * slope;
        to.freedom = from->freedom;
        to.has_interval = true;
    }
    return to;
}

/* ---- steel ---- */

struct steel {
    const struct kb_carbon_constants *constants; /* with the eutectoid carbon used */
    enum kb_proeutectoid beside;
};

static double pearlite_to_mass(double volume, const void *context) {
    const struct steel *steel = context;
    const struct kb_carbon_constants *c = steel->constants;
    return kb_mass_fraction(volume, c->rho_pearlite,
                            steel->beside == KB_PRO_CEMENTITE ? c->rho_cementite : c->rho_ferrite);
}

static double pearlite_to_carbon(double volume, const void *context) {
    const struct steel *steel = context;
    return kb_lever_carbon(pearlite_to_mass(volume, context), steel->beside, steel->constants);
}

static const char *why_missing(const struct kb_estimate *estimate) {
    return estimate->why != NULL ? estimate->why : "not measured";
}

/* The lever rule knows the carbon of ferrite, pearlite and cementite. Counted as ferrite, 1 % of
 * bainite hides up to 0.01 % of carbon and 1 % of carbide 0.07 %: up to here that is within what a
 * phase fraction is good for. */
#define OTHER_MOST 0.01

/* Pearlite of the matrix, or why the lever rule cannot use it. */
static struct kb_estimate usable_pearlite(const struct kb_specimen *specimen) {
    const struct kb_estimate *other = &specimen->other_of_matrix;
    if (other->measured && other->value > OTHER_MOST) {
        return kb_estimate_missing("1", "more than 1 % of the matrix is neither ferrite nor "
                                        "pearlite, and the lever rule does not know its carbon");
    }
    return specimen->pearlite_of_matrix;
}

static void run_steel(const struct kb_specimen *specimen, enum kb_proeutectoid beside,
                      const struct kb_carbon_constants *used, struct kb_carbon *out) {
    const struct kb_estimate usable = usable_pearlite(specimen);
    const struct kb_estimate *pearlite = &usable;
    out->graphite_percent = kb_estimate_missing("%", "steel: no free graphite is looked for");
    if (!pearlite->measured) {
        out->pearlite_mass = kb_estimate_missing("1", why_missing(pearlite));
        out->total_percent = kb_estimate_missing("%", why_missing(pearlite));
        out->combined_percent = out->total_percent;
        return;
    }
    struct steel steel = {used, beside};
    out->pearlite_mass = carry(pearlite, pearlite_to_mass, &steel, "1", pearlite->method);
    out->total_percent = carry(pearlite, pearlite_to_carbon, &steel, "%", method_steel);
    out->combined_percent = out->total_percent;
    kb_working_steel(&out->working, out, beside, pearlite->value);
}

/* ---- iron ---- */

static double graphite_to_percent(double volume, const void *context) {
    const struct kb_carbon_constants *c = context;
    return 100.0 * kb_mass_fraction(volume, c->rho_graphite, c->rho_iron_matrix);
}

/* Carbon of the matrix alone, mass %. */
static double matrix_carbon(double pearlite_volume, const void *context) {
    const struct steel *steel = context;
    return pearlite_to_carbon(pearlite_volume, steel);
}

/* Distances of both ends of `part` from its value, times `slope`, added in squares to below, above.
 */
static void join(const struct kb_estimate *part, double slope, double *below, double *above) {
    double down = slope * (part->value - part->lo);
    double up = slope * (part->hi - part->value);
    *below += down * down;
    *above += up * up;
}

/* A figure made of graphite carbon (slope by graphite per cent) and of the matrix' carbon (slope).
 */
static struct kb_estimate combine(double value, const struct kb_estimate *graphite,
                                  double by_graphite, const struct kb_estimate *matrix,
                                  double by_matrix, const char *method) {
    size_t n = graphite->n < matrix->n ? graphite->n : matrix->n;
    struct kb_estimate estimate = kb_estimate_point(value, n, "%", method);
    if (graphite->has_interval && matrix->has_interval) {
        double below = 0.0;
        double above = 0.0;
        join(graphite, by_graphite, &below, &above);
        join(matrix, by_matrix, &below, &above);
        estimate.lo = fmax(value - sqrt(below), 0.0);
        estimate.hi = value + sqrt(above);
        estimate.s = hypot(by_graphite * graphite->s, by_matrix * matrix->s);
        estimate.u_other = hypot(by_graphite * graphite->u_other, by_matrix * matrix->u_other);
        estimate.has_interval = true;
    }
    return estimate;
}

static void run_iron(const struct kb_specimen *specimen, const struct kb_carbon_constants *used,
                     struct kb_carbon *out) {
    const struct kb_estimate *graphite = &specimen->phase[KB_GRAPHITE];
    const struct kb_estimate usable = usable_pearlite(specimen);
    const struct kb_estimate *pearlite = &usable;
    struct steel steel = {used, KB_PRO_FERRITE};
    out->graphite_percent = graphite->measured
                                ? carry(graphite, graphite_to_percent, used, "%", method_graphite)
                                : kb_estimate_missing("%", why_missing(graphite));
    out->pearlite_mass = pearlite->measured
                             ? carry(pearlite, pearlite_to_mass, &steel, "1", pearlite->method)
                             : kb_estimate_missing("1", why_missing(pearlite));
    if (graphite->measured) {
        kb_working_graphite(&out->working, out, graphite->value);
    }
    if (!graphite->measured || !pearlite->measured) {
        const char *why = why_missing(graphite->measured ? pearlite : graphite);
        out->combined_percent = kb_estimate_missing("%", why);
        out->total_percent = kb_estimate_missing("%", why);
        return;
    }
    struct kb_estimate matrix = carry(pearlite, matrix_carbon, &steel, "%", method_combined);
    double share = 1.0 - out->graphite_percent.value / 100.0; /* of the matrix, by mass */
    double combined = share * matrix.value;
    double by_graphite =
        matrix.value / 100.0; /* a per cent of graphite takes so much matrix carbon */
    out->combined_percent =
        combine(combined, &out->graphite_percent, by_graphite, &matrix, share, method_combined);
    out->total_percent = combine(out->graphite_percent.value + combined, &out->graphite_percent,
                                 1.0 - by_graphite, &matrix, share, method_total);
    kb_working_iron(&out->working, out, pearlite->value);
}

/* ---- both ---- */

static double carbon_equivalent(const struct kb_chemistry *chemistry) {
    double phosphorus = isfinite(chemistry->p) ? chemistry->p : 0.0;
    return chemistry->c + (chemistry->si + phosphorus) / 3.0; /* NaN when C or Si is unknown */
}

void kb_carbon_run(const struct kb_specimen *specimen, enum kb_proeutectoid beside,
                   const struct kb_chemistry *chemistry, const struct kb_carbon_params *params,
                   struct kb_carbon *out) {
    bool iron = kb_material_is_iron(specimen->material);
    bool silicon_known = isfinite(chemistry->si);
    *out = (struct kb_carbon){.constants = params->constants,
                              .tolerance_percent = params->tolerance_percent,
                              .difference_percent = KB_NAN};
    out->silicon_assumed = iron && !silicon_known;
    out->eutectoid_used = silicon_known ? kb_eutectoid_at(chemistry->si, &params->constants)
                                        : params->constants.eutectoid_c;
    out->carbon_equivalent = carbon_equivalent(chemistry);
    struct kb_carbon_constants used = params->constants;
    used.eutectoid_c = out->eutectoid_used;
    struct kb_locale locale = kb_locale_enter();
    kb_working_eutectoid(&out->working, out, chemistry->si);
    if (iron) {
        run_iron(specimen, &used, out);
    } else {
        run_steel(specimen, beside, &used, out);
    }
    kb_carbon_cross_check(chemistry, specimen->material, beside, out);
    kb_working_check(&out->working, out, chemistry->c);
    kb_locale_leave(locale);
}

static struct kb_estimate given(double fraction) {
    return isfinite(fraction) ? kb_estimate_point(fraction, 1, "1", "given")
                              : kb_estimate_missing("1", "not given");
}

enum kb_status kb_carbon_from_fractions(enum kb_material material, double graphite, double pearlite,
                                        enum kb_proeutectoid beside,
                                        const struct kb_chemistry *chemistry,
                                        const struct kb_carbon_params *params,
                                        struct kb_carbon *out, struct kb_err *err) {
    if (graphite < 0.0 || graphite >= 1.0 || pearlite < 0.0 || pearlite > 1.0) {
        return kb_fail(err, KB_E_USAGE, "judge", "fraction",
                       "a volume fraction is not between 0 and 1 (write 0.41 or 41 %%)");
    }
    struct kb_specimen specimen = {.material = material, .fields = 1};
    specimen.phase[KB_GRAPHITE] = given(graphite);
    specimen.pearlite_of_matrix = given(pearlite);
    specimen.other_of_matrix = kb_estimate_missing("1", "not given");
    kb_carbon_run(&specimen, beside, chemistry, params, out);
    return KB_OK;
}
