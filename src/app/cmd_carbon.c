/* cmd_carbon.c - `keelblock carbon`: the lever rule both ways, with the working that judge writes
 * down. From fractions (of a steel, or of an iron with its graphite) to carbon, or from carbon to
 * the phases of a steel.
 */
#include "request.h"

#include <jansson.h>
#include <stdlib.h>

/* What is shown whichever way the question went; NaN where it does not apply. */
struct answer {
    double carbon, graphite, combined; /* mass % */
    double eutectoid;                  /* mass % C, after the silicon shift */
    double pearlite_area, pearlite_mass;
    struct kb_lever lever; /* steel only */
    bool steel;
    struct kb_working working;
};

static enum kb_status from_fractions(const struct kb_request *request, struct answer *answer,
                                     struct kb_err *err) {
    const struct kb_settings *settings = &request->settings;
    const struct kb_carbon_question *question = &request->question;
    const enum kb_material material = request->material_said ? settings->material : KB_CARBON_STEEL;
    struct kb_carbon carbon;
    enum kb_status status = kb_carbon_from_fractions(
        material, question->graphite, question->pearlite, settings->segmentation.proeutectoid,
        &settings->chemistry, &settings->carbon, &carbon, err);
    if (status != KB_OK) {
        return status;
    }
    if (!carbon.total_percent.measured) {
        return kb_fail(err, KB_E_USAGE, "app", NULL, "%s (an iron takes --graphite and --pearlite)",
                       carbon.total_percent.why);
    }
    answer->steel = material == KB_CARBON_STEEL;
    answer->carbon = carbon.total_percent.value;
    answer->graphite = carbon.graphite_percent.value;
    answer->combined = carbon.combined_percent.value;
    answer->pearlite_mass = carbon.pearlite_mass.value;
    answer->eutectoid = carbon.eutectoid_used;
    answer->working = carbon.working;
    if (!answer->steel) {
        return KB_OK;
    }
    struct kb_carbon_constants constants = settings->carbon.constants;
    constants.eutectoid_c = carbon.eutectoid_used;
    return kb_lever_from_carbon(answer->carbon, &constants, &answer->lever, err);
}

static enum kb_status from_carbon(const struct kb_request *request, struct answer *answer,
                                  struct kb_err *err) {
    struct kb_carbon_constants constants = request->settings.carbon.constants;
    if (request->material_said && kb_material_is_iron(request->settings.material)) {
        return kb_fail(
            err, KB_E_USAGE, "app", "--carbon",
            "an iron's carbon does not tell its phases (give --graphite and --pearlite)");
    }
    if (!isnan(request->settings.chemistry.si)) {
        constants.eutectoid_c = kb_eutectoid_at(request->settings.chemistry.si, &constants);
    }
    enum kb_status status = kb_lever_from_carbon(answer->carbon, &constants, &answer->lever, err);
    if (status != KB_OK) {
        return status;
    }
    const double beside =
        answer->lever.hypereutectoid ? constants.rho_cementite : constants.rho_ferrite;
    answer->steel = true;
    answer->eutectoid = constants.eutectoid_c;
    answer->pearlite_mass = answer->lever.pearlite;
    answer->pearlite_area =
        kb_volume_fraction(answer->pearlite_mass, constants.rho_pearlite, beside);
    kb_lever_working(answer->carbon, &constants, &answer->lever, &answer->working);
    return KB_OK;
}

static enum kb_status ask(const struct kb_request *request, struct answer *answer,
                          struct kb_err *err) {
    const struct kb_carbon_question *question = &request->question;
    *answer = (struct answer){.carbon = question->carbon,
                              .graphite = NAN,
                              .combined = NAN,
                              .pearlite_area = question->pearlite};
    if (isnan(question->pearlite) == isnan(question->carbon)) {
        return kb_fail(
            err, KB_E_USAGE, "app", NULL,
            "give one of the two: --pearlite 41%% (gives the carbon) or --carbon 0.45%% (gives "
            "the phases)");
    }
    enum kb_status status = kb_carbon_params_check(&request->settings.carbon, err);
    if (status != KB_OK) {
        return status;
    }
    return isnan(question->carbon) ? from_fractions(request, answer, err)
                                   : from_carbon(request, answer, err);
}

static void print_working(const struct answer *answer, const struct kb_carbon_constants *stated,
                          bool asked_for_carbon) {
    char text[400];
    kb_carbon_constants_text(stated, text, sizeof text);
    printf("constants, %s\n%s\n\n", text, stated->source);
    for (int i = 0; i < answer->working.count; i++) {
        printf("%s\n", answer->working.line[i]);
    }
    if (asked_for_carbon && answer->steel) {
        printf("in all: ferrite %.2f %%, cementite %.2f %% of the mass\n",
               100.0 * answer->lever.total_ferrite, 100.0 * answer->lever.total_cementite);
    }
}

static void set(json_t *object, const char *key, double value) {
    (void)json_object_set_new(object, key, isnan(value) ? json_null() : json_real(value));
}

static bool print_json(const struct answer *answer, const struct kb_carbon_constants *stated) {
    json_t *root = json_object(), *constants = json_object(), *working = json_array();
    (void)json_object_set_new(root, "schema", json_string("keelblock.carbon/1"));
    set(root, "carbon_percent", answer->carbon);
    set(root, "graphite_percent", answer->graphite);
    set(root, "combined_percent", answer->combined);
    set(root, "pearlite_area", answer->pearlite_area);
    set(root, "pearlite_mass", answer->pearlite_mass);
    if (answer->steel) {
        const struct kb_lever *lever = &answer->lever;
        (void)json_object_set_new(root, "proeutectoid",
                                  json_string(lever->hypereutectoid ? "cementite" : "ferrite"));
        set(root, "proeutectoid_mass", lever->proeutectoid);
        set(root, "total_ferrite_mass", lever->total_ferrite);
        set(root, "total_cementite_mass", lever->total_cementite);
    }
    set(constants, "ferrite_c", stated->ferrite_c);
    set(constants, "eutectoid_c", stated->eutectoid_c);
    set(constants, "eutectoid_used_c", answer->eutectoid);
    set(constants, "cementite_c", stated->cementite_c);
    char said[400];
    kb_carbon_constants_text(stated, said, sizeof said);
    (void)json_object_set_new(constants, "set",
                              stated->set != NULL ? json_string(stated->set->name) : json_null());
    (void)json_object_set_new(constants, "text", json_string(said));
    (void)json_object_set_new(constants, "source", json_string(stated->source));
    (void)json_object_set_new(root, "constants", constants);
    for (int i = 0; i < answer->working.count; i++) {
        (void)json_array_append_new(working, json_string(answer->working.line[i]));
    }
    (void)json_object_set_new(root, "working", working);
    char *text = json_dumps(root, JSON_INDENT(2) | JSON_REAL_PRECISION(6));
    bool written = text != NULL && puts(text) >= 0;
    free(text); /* jansson's */
    json_decref(root);
    return written;
}

int kb_command_carbon(struct kb_request *request) {
    const struct kb_carbon_constants *stated = &request->settings.carbon.constants;
    struct kb_err err = {.code = KB_OK};
    struct answer answer;
    if (ask(request, &answer, &err) != KB_OK) {
        return kb_complain(&err);
    }
    bool written = true;
    if (request->json) {
        written = print_json(&answer, stated);
    } else if (request->quiet) {
        printf("%.4f\n", isnan(request->question.carbon) ? answer.carbon : answer.pearlite_area);
    } else {
        print_working(&answer, stated, isnan(request->question.carbon));
    }
    if (!written || fflush(stdout) != 0) {
        (void)kb_fail(&err, KB_E_SYSTEM, "app", NULL, "cannot write to standard output");
        return kb_complain(&err);
    }
    return 0;
}
