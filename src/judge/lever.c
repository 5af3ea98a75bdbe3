/* lever.c - the lever rule of the iron-carbon diagram, and mass against volume.
 *
 * Just below the eutectoid, near equilibrium: left of the eutectoid composition steel is ferrite
 * and pearlite, right of it cementite and pearlite, in the proportions of the opposite lever arms.
 * The constants are an input, since books differ and silicon moves them (carbon_sets.c).
 * Limits: plain carbon steel, slow cooling. Faster cooling makes pearlite leaner in carbon than
 * 0.76 %, so that the lever rule then gives too much carbon for the pearlite seen.
 */
#include "judge_priv.h"

static bool density(double rho) {
    return isfinite(rho) && rho > 0.0;
}

enum kb_status kb_carbon_constants_check(const struct kb_carbon_constants *constants,
                                         struct kb_err *err) {
    if (!(isfinite(constants->cementite_c) && constants->ferrite_c >= 0.0 &&
          constants->ferrite_c < constants->eutectoid_c &&
          constants->eutectoid_c < constants->cementite_c && constants->cementite_c < 100.0)) {
        return kb_fail(err, KB_E_USAGE, "judge", "carbon constants",
                       "carbon must rise from ferrite to eutectoid to cementite (0.022, 0.76 and "
                       "6.70 %% are usual)");
    }
    if (!density(constants->rho_graphite) || !density(constants->rho_ferrite) ||
        !density(constants->rho_pearlite) || !density(constants->rho_cementite) ||
        !density(constants->rho_iron_matrix)) {
        return kb_fail(err, KB_E_USAGE, "judge", "carbon constants",
                       "a density is not above 0 (in g/cm3: graphite 2.25, ferrite 7.87)");
    }
    if (!isfinite(constants->si_shift) || fabs(constants->si_shift) > 1.0) {
        return kb_fail(
            err, KB_E_USAGE, "judge", "silicon shift",
            "the shift of eutectoid carbon is not between -1 and 1 %% per %% Si (-0.08 is "
            "usual)");
    }
    return KB_OK;
}

enum kb_status kb_lever_from_carbon(double carbon, const struct kb_carbon_constants *constants,
                                    struct kb_lever *lever, struct kb_err *err) {
    double ferrite = constants->ferrite_c;
    double eutectoid = constants->eutectoid_c;
    double cementite = constants->cementite_c;
    if (!(carbon >= ferrite && carbon <= cementite)) {
        return kb_fail(err, KB_E_USAGE, "judge", "carbon",
                       "the lever rule does not reach this carbon (give %.3f to %.2f mass %%)",
                       ferrite, cementite);
    }
    lever->hypereutectoid = carbon > eutectoid;
    if (lever->hypereutectoid) {
        lever->pearlite = (cementite - carbon) / (cementite - eutectoid);
        lever->proeutectoid = (carbon - eutectoid) / (cementite - eutectoid);
    } else {
        lever->pearlite = (carbon - ferrite) / (eutectoid - ferrite);
        lever->proeutectoid = (eutectoid - carbon) / (eutectoid - ferrite);
    }
    lever->total_ferrite = (cementite - carbon) / (cementite - ferrite);
    lever->total_cementite = (carbon - ferrite) / (cementite - ferrite);
    return KB_OK;
}

double kb_lever_carbon(double pearlite_mass, enum kb_proeutectoid beside,
                       const struct kb_carbon_constants *constants) {
    double end = beside == KB_PRO_CEMENTITE ? constants->cementite_c : constants->ferrite_c;
    return end + pearlite_mass * (constants->eutectoid_c - end);
}

double kb_mass_fraction(double volume_fraction, double rho, double rho_rest) {
    return volume_fraction * rho / (volume_fraction * rho + (1.0 - volume_fraction) * rho_rest);
}

double kb_volume_fraction(double mass_fraction, double rho, double rho_rest) {
    return (mass_fraction / rho) / (mass_fraction / rho + (1.0 - mass_fraction) / rho_rest);
}

double kb_eutectoid_at(double silicon, const struct kb_carbon_constants *constants) {
    double shifted = constants->eutectoid_c + constants->si_shift * silicon;
    return fmin(fmax(shifted, constants->ferrite_c), constants->cementite_c);
}
