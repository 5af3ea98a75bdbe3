/* cmd_carbon.c - `keelblock carbon`: the lever rule both ways, written down as one would on paper.
 */
#include "request.h"

#include <jansson.h>
#include <stdlib.h>

/* Everything that the answer consists of; what was not asked is NaN. */
struct answer {
    struct kb_carbon_constants k; /* eutectoid shifted by silicon */
    double silicon;
    enum kb_proeutectoid beside;
    double pearlite_area, pearlite_mass;
    double carbon;
    struct kb_lever lever;
};

static const char *beside_words(enum kb_proeutectoid beside) {
    return beside == KB_PRO_CEMENTITE ? "cementite" : "ferrite";
}

static double rho_beside(const struct answer *a) {
    return a->beside == KB_PRO_CEMENTITE ? a->k.rho_cementite : a->k.rho_ferrite;
}

static enum kb_status ask(const struct kb_request *request, struct answer *a, struct kb_err *err) {
    const struct kb_carbon_question *question = &request->question;
    *a = (struct answer){.k = request->settings.carbon.constants,
                         .silicon = request->settings.chemistry.si,
                         .beside = request->settings.segmentation.proeutectoid,
                         .pearlite_area = question->pearlite,
                         .carbon = question->carbon};
    if (isnan(question->pearlite) == isnan(question->carbon)) {
        return kb_fail(
            err, KB_E_USAGE, "app", NULL,
            "give one of the two: --pearlite 41%% (gives the carbon) or --carbon 0.45%% (gives "
            "the phases)");
    }
    enum kb_status status = kb_carbon_constants_check(&a->k, err);
    if (status != KB_OK) {
        return status;
    }
    if (!isnan(a->silicon)) {
        a->k.eutectoid_c = kb_eutectoid_at(a->silicon, &a->k);
    }
    if (!isnan(a->carbon)) {
        status = kb_lever_from_carbon(a->carbon, &a->k, &a->lever, err);
        a->beside = a->lever.hypereutectoid ? KB_PRO_CEMENTITE : KB_PRO_FERRITE;
        a->pearlite_mass = a->lever.pearlite;
        a->pearlite_area = kb_volume_fraction(a->pearlite_mass, a->k.rho_pearlite, rho_beside(a));
        return status;
    }
    a->pearlite_mass = kb_mass_fraction(a->pearlite_area, a->k.rho_pearlite, rho_beside(a));
    a->carbon = kb_lever_carbon(a->pearlite_mass, a->beside, &a->k);
    return kb_lever_from_carbon(a->carbon, &a->k, &a->lever, err);
}

static void print_constants(const struct answer *a, const struct kb_carbon_constants *stated) {
    printf("Constants, mass %% C: ferrite %.4g, eutectoid %.4g, cementite %.4g (%s)\n",
           a->k.ferrite_c, stated->eutectoid_c, a->k.cementite_c, a->k.source);
    if (!isnan(a->silicon)) {
        printf("Silicon moves the eutectoid: %.4g %+.4g x %.4g = %.4g %% C (from memory, "
               "unverified)\n",
               stated->eutectoid_c, a->k.si_shift, a->silicon, a->k.eutectoid_c);
    }
    printf("\n");
}

static void print_from_pearlite(const struct answer *a) {
    const char *beside = beside_words(a->beside);
    printf("Pearlite by area %.2f %% of the matrix; area fraction = volume fraction.\n",
           100.0 * a->pearlite_area);
    printf("By mass, densities pearlite %.4g and %s %.4g g/cm3:\n", a->k.rho_pearlite, beside,
           rho_beside(a));
    printf("  W_pearlite = %.4f x %.4g / (%.4f x %.4g + %.4f x %.4g) = %.4f\n", a->pearlite_area,
           a->k.rho_pearlite, a->pearlite_area, a->k.rho_pearlite, 1.0 - a->pearlite_area,
           rho_beside(a), a->pearlite_mass);
    if (a->beside == KB_PRO_CEMENTITE) {
        printf("Hypereutectoid (cementite beside pearlite):\n"
               "  C = %.4g - W_pearlite x (%.4g - %.4g) = %.4g - %.4f x %.4g = %.3f %%\n",
               a->k.cementite_c, a->k.cementite_c, a->k.eutectoid_c, a->k.cementite_c,
               a->pearlite_mass, a->k.cementite_c - a->k.eutectoid_c, a->carbon);
    } else {
        printf("Hypoeutectoid (ferrite beside pearlite):\n"
               "  C = %.4g + W_pearlite x (%.4g - %.4g) = %.4g + %.4f x %.4g = %.3f %%\n",
               a->k.ferrite_c, a->k.eutectoid_c, a->k.ferrite_c, a->k.ferrite_c, a->pearlite_mass,
               a->k.eutectoid_c - a->k.ferrite_c, a->carbon);
    }
}

static void print_from_carbon(const struct answer *a) {
    const struct kb_carbon_constants *k = &a->k;
    if (a->lever.hypereutectoid) {
        printf("%.4g %% C lies above the eutectoid: hypereutectoid, pearlite and cementite.\n"
               "  W_pearlite = (%.4g - %.4g) / (%.4g - %.4g) = %.4f\n"
               "  W_proeutectoid cementite = (%.4g - %.4g) / (%.4g - %.4g) = %.4f\n",
               a->carbon, k->cementite_c, a->carbon, k->cementite_c, k->eutectoid_c,
               a->lever.pearlite, a->carbon, k->eutectoid_c, k->cementite_c, k->eutectoid_c,
               a->lever.proeutectoid);
    } else {
        printf("%.4g %% C lies below the eutectoid: hypoeutectoid, ferrite and pearlite.\n"
               "  W_pearlite = (%.4g - %.4g) / (%.4g - %.4g) = %.4f\n"
               "  W_proeutectoid ferrite = (%.4g - %.4g) / (%.4g - %.4g) = %.4f\n",
               a->carbon, a->carbon, k->ferrite_c, k->eutectoid_c, k->ferrite_c, a->lever.pearlite,
               k->eutectoid_c, a->carbon, k->eutectoid_c, k->ferrite_c, a->lever.proeutectoid);
    }
    printf("  pearlite by area %.2f %% (densities %.4g and %.4g g/cm3)\n", 100.0 * a->pearlite_area,
           k->rho_pearlite, rho_beside(a));
}

static void print_totals(const struct answer *a) {
    printf("In all:\n"
           "  W_cementite = (%.4g - %.4g) / (%.4g - %.4g) = %.4f, W_ferrite = %.4f\n",
           a->carbon, a->k.ferrite_c, a->k.cementite_c, a->k.ferrite_c, a->lever.total_cementite,
           a->lever.total_ferrite);
}

static bool print_json(const struct answer *a) {
    json_t *root = json_pack(
        "{s:s, s:f, s:f, s:f, s:s, s:f, s:f, s:f, s:{s:f, s:f, s:f, s:s}}", "schema",
        "keelblock.carbon/1", "carbon_percent", a->carbon, "pearlite_area", a->pearlite_area,
        "pearlite_mass", a->pearlite_mass, "proeutectoid", beside_words(a->beside),
        "proeutectoid_mass", a->lever.proeutectoid, "total_ferrite_mass", a->lever.total_ferrite,
        "total_cementite_mass", a->lever.total_cementite, "constants", "ferrite_c", a->k.ferrite_c,
        "eutectoid_c", a->k.eutectoid_c, "cementite_c", a->k.cementite_c, "source", a->k.source);
    char *text = root != NULL ? json_dumps(root, JSON_INDENT(2) | JSON_REAL_PRECISION(6)) : NULL;
    bool written = text != NULL && puts(text) >= 0;
    free(text); /* jansson's */
    json_decref(root);
    return written;
}

int kb_command_carbon(struct kb_request *request) {
    struct kb_err err = {.code = KB_OK};
    struct answer a;
    enum kb_status status = ask(request, &a, &err);
    if (status != KB_OK) {
        return kb_complain(&err);
    }
    bool written = true;
    if (request->json) {
        written = print_json(&a);
    } else if (request->quiet) {
        printf("%.4f\n", isnan(request->question.carbon) ? a.carbon : a.pearlite_area);
    } else {
        print_constants(&a, &request->settings.carbon.constants);
        if (isnan(request->question.carbon)) {
            print_from_pearlite(&a);
        } else {
            print_from_carbon(&a);
        }
        print_totals(&a);
        printf("\nAn estimate from structure near equilibrium, never a chemical analysis.\n");
    }
    if (!written || fflush(stdout) != 0) {
        (void)kb_fail(&err, KB_E_SYSTEM, "app", NULL, "cannot write to standard output");
        return kb_complain(&err);
    }
    return 0;
}
