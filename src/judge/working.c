/* working.c - the carbon calculation as lines on paper: relation, numbers put in, result with unit.
 *
 * The reader should be able to follow it with a pocket calculator, so the numbers put in are shown
 * with as many digits as make the last digit of the result right. The caller has set the "C"
 * locale.
 */
#include "judge_priv.h"

void kb_working_line(struct kb_working *working, const char *format, ...) {
    if (working->count >= KB_WORKING_LINES) {
        return;
    }
    va_list args;
    va_start(args, format);
    (void)vsnprintf(working->line[working->count++], sizeof working->line[0], format, args);
    va_end(args);
}

void kb_working_eutectoid(struct kb_working *working, const struct kb_carbon *carbon,
                          double silicon) {
    const struct kb_carbon_constants *c = &carbon->constants;
    if (isfinite(silicon)) {
        kb_working_line(working, "carbon of the eutectoid at %.2f %% Si:", silicon);
        kb_working_line(working, "  C_e = C_e0 + k · Si = %.3f + (%.3f) · %.2f = %.3f %% C",
                        c->eutectoid_c, c->si_shift, silicon, carbon->eutectoid_used);
    } else {
        kb_working_line(working, "carbon of the eutectoid: C_e = %.3f %% C%s", c->eutectoid_c,
                        carbon->silicon_assumed ? " (silicon not known: not corrected for it)"
                                                : "");
    }
}

void kb_working_steel(struct kb_working *working, const struct kb_carbon *carbon,
                      enum kb_proeutectoid beside, double pearlite_volume) {
    const struct kb_carbon_constants *c = &carbon->constants;
    bool hyper = beside == KB_PRO_CEMENTITE;
    double rest = hyper ? c->rho_cementite : c->rho_ferrite;
    double end = hyper ? c->cementite_c : c->ferrite_c;
    double mass = carbon->pearlite_mass.value;
    kb_working_line(working,
                    "pearlite by volume V_P = %.4f, by mass with densities %.2f (pearlite) "
                    "and %.2f g/cm³ (%s):",
                    pearlite_volume, c->rho_pearlite, rest, hyper ? "cementite" : "ferrite");
    kb_working_line(
        working,
        "  f_P = V_P · ρ_P / (V_P · ρ_P + (1 − V_P) · ρ) = %.4f · %.2f / (%.4f · %.2f + "
        "%.4f · %.2f) = %.4f",
        pearlite_volume, c->rho_pearlite, pearlite_volume, c->rho_pearlite, 1.0 - pearlite_volume,
        rest, mass);
    kb_working_line(working,
                    "lever rule between %s and the eutectoid:", hyper ? "cementite" : "ferrite");
    if (hyper) {
        kb_working_line(
            working, "  C = C_cem − f_P · (C_cem − C_e) = %.2f − %.4f · (%.2f − %.3f) = %.3f %% C",
            end, mass, end, carbon->eutectoid_used, carbon->total_percent.value);
    } else {
        kb_working_line(working,
                        "  C = C_α + f_P · (C_e − C_α) = %.3f + %.4f · (%.3f − %.3f) = %.3f "
                        "%% C",
                        end, mass, carbon->eutectoid_used, end, carbon->total_percent.value);
    }
}

void kb_working_graphite(struct kb_working *working, const struct kb_carbon *carbon,
                         double graphite_volume) {
    const struct kb_carbon_constants *c = &carbon->constants;
    kb_working_line(working,
                    "graphite by volume V_G = %.4f, by mass with densities %.2f (graphite) "
                    "and %.2f g/cm³ (matrix):",
                    graphite_volume, c->rho_graphite, c->rho_iron_matrix);
    kb_working_line(
        working,
        "  w_G = V_G · ρ_G / (V_G · ρ_G + (1 − V_G) · ρ_M) = %.4f · %.2f / (%.4f · %.2f + "
        "%.4f · %.2f)",
        graphite_volume, c->rho_graphite, graphite_volume, c->rho_graphite, 1.0 - graphite_volume,
        c->rho_iron_matrix);
    kb_working_line(working, "  w_G = %.4f: %.2f %% C as graphite",
                    carbon->graphite_percent.value / 100.0, carbon->graphite_percent.value);
}

void kb_working_iron(struct kb_working *working, const struct kb_carbon *carbon,
                     double pearlite_volume) {
    const struct kb_carbon_constants *c = &carbon->constants;
    double mass = carbon->pearlite_mass.value;
    double matrix = 1.0 - carbon->graphite_percent.value / 100.0;
    kb_working_line(working,
                    "pearlite of the matrix: by volume %.4f, by mass f_P = %.4f (densities "
                    "%.2f and %.2f g/cm³)",
                    pearlite_volume, mass, c->rho_pearlite, c->rho_ferrite);
    kb_working_line(working, "combined carbon, of the whole:");
    kb_working_line(working,
                    "  C_comb = (1 − w_G) · (f_P · C_e + (1 − f_P) · C_α) = %.4f · (%.4f · %.3f + "
                    "%.4f · %.3f) = %.3f %% C",
                    matrix, mass, carbon->eutectoid_used, 1.0 - mass, c->ferrite_c,
                    carbon->combined_percent.value);
    kb_working_line(working, "total: C = w_G + C_comb = %.2f + %.2f = %.2f %% C",
                    carbon->graphite_percent.value, carbon->combined_percent.value,
                    carbon->total_percent.value);
}

void kb_working_check(struct kb_working *working, const struct kb_carbon *carbon, double chemical) {
    const struct kb_estimate *total = &carbon->total_percent;
    if (total->measured && total->has_interval) {
        kb_working_line(working, "95 %% interval from the fields: %.3f to %.3f %% C", total->lo,
                        total->hi);
    }
    if (isfinite(carbon->difference_percent)) {
        kb_working_line(
            working, "structure minus chemistry: %.3f − %.3f = %+.3f %% C, agreed tolerance %.2f",
            total->value, chemical, carbon->difference_percent, carbon->tolerance_percent);
    }
    if (isfinite(carbon->carbon_equivalent)) {
        kb_working_line(working,
                        "carbon equivalent from chemistry: CE = C + (Si + P) / 3 = %.2f %%",
                        carbon->carbon_equivalent);
    }
    if (total->measured || carbon->graphite_percent.measured) {
        kb_working_line(working, "an estimate from structure near equilibrium, not an analysis");
    }
}

void kb_lever_working(double carbon, const struct kb_carbon_constants *constants,
                      const struct kb_lever *lever, struct kb_working *working) {
    double ferrite = constants->ferrite_c;
    double eutectoid = constants->eutectoid_c;
    double cementite = constants->cementite_c;
    *working = (struct kb_working){.count = 0};
    struct kb_locale locale = kb_locale_enter();
    kb_working_line(working, "C = %.3f %%: %s the eutectoid (%.3f %%)", carbon,
                    lever->hypereutectoid ? "above" : "at or below", eutectoid);
    if (lever->hypereutectoid) {
        kb_working_line(
            working,
            "  pearlite W_P = (C_cem − C) / (C_cem − C_e) = (%.2f − %.3f) / (%.2f − %.3f)"
            " = %.4f",
            cementite, carbon, cementite, eutectoid, lever->pearlite);
        kb_working_line(working, "  proeutectoid cementite = (C − C_e) / (C_cem − C_e) = %.4f",
                        lever->proeutectoid);
    } else {
        kb_working_line(
            working,
            "  pearlite W_P = (C − C_α) / (C_e − C_α) = (%.3f − %.3f) / (%.3f − %.3f) = "
            "%.4f",
            carbon, ferrite, eutectoid, ferrite, lever->pearlite);
        kb_working_line(working, "  proeutectoid ferrite = (C_e − C) / (C_e − C_α) = %.4f",
                        lever->proeutectoid);
    }
    kb_working_line(working,
                    "  all cementite = (C − C_α) / (C_cem − C_α) = (%.3f − %.3f) / (%.2f − %.3f) = "
                    "%.4f",
                    carbon, ferrite, cementite, ferrite, lever->total_cementite);
    kb_working_line(working, "  all ferrite = 1 − %.4f = %.4f", lever->total_cementite,
                    lever->total_ferrite);
    double rest = lever->hypereutectoid ? constants->rho_cementite : constants->rho_ferrite;
    kb_working_line(working,
                    "  pearlite by volume, as a picture shows it (densities %.2f and %.2f "
                    "g/cm³): %.4f",
                    constants->rho_pearlite, rest,
                    kb_volume_fraction(lever->pearlite, constants->rho_pearlite, rest));
    kb_working_line(working, "fractions by mass, near equilibrium");
    kb_locale_leave(locale);
}
