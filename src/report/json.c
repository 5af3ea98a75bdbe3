/* json.c - result.json, schema "keelblock.result/1".
 *
 * The keys are a contract: later versions add, never rename. Every key is always there; what was
 * not measured is null, and a `why` beside it says the reason. Fractions are 0..1, percentages say
 * `_percent`, lengths `_um`, areas `_mm2`. All intervals are two-sided, 95 %.
 */
#include "json_write.h"

#include "keelblock/version.h"

static const char *const nodularity_key[KB_NOD_METHODS] = {
    [KB_NOD_ISO945_4] = "iso945_4",
    [KB_NOD_E2567] = "e2567",
    [KB_NOD_ISO16112] = "iso16112",
};

const char *kb_json_nodularity_key(enum kb_nodularity_method method) {
    return nodularity_key[method];
}

static const char *why(const struct kb_estimate *estimate) {
    return estimate->measured ? NULL : estimate->why;
}

static void head(struct kb_json *json, const struct kb_result *result) {
    enum kb_contrast contrast = KB_LIGHT;
    double px_um = KB_NAN;
    enum kb_scale_source source = KB_SCALE_UNKNOWN;
    kb_json_string(json, "schema", "keelblock.result/1");
    kb_json_open(json, "tool", '{');
    kb_json_string(json, "name", "keelblock");
    kb_json_string(json, "version", KB_VERSION);
    kb_json_close(json, '}');
    kb_json_string(json, "made_at", result->made_at[0] != '\0' ? result->made_at : NULL);
    kb_json_open(json, "specimen", '{');
    kb_json_string(json, "id", result->specimen_id);
    kb_json_string(json, "material", kb_material_name(result->material));
    kb_json_string(json, "contrast",
                   kb_result_contrast(result, &contrast) ? kb_contrast_name(contrast) : "mixed");
    kb_json_string(json, "laboratory", result->laboratory);
    kb_json_string(json, "operator", result->operator_name);
    kb_json_string(json, "customer", result->customer);
    kb_json_string(json, "remark", result->remark);
    kb_json_string(json, "batch", result->batch_name);
    kb_json_string(json, "casting", result->casting);
    kb_json_string(json, "cast_on", result->cast_on);
    kb_json_close(json, '}');
    bool same = kb_result_scale(result, &px_um, &source);
    bool none = true;
    for (size_t i = 0; i < result->fields; i++) {
        none = none && !(result->field[i].px_um > 0.0);
    }
    kb_json_open(json, "calibration", '{');
    kb_json_number(json, "pixel_size_um", same ? px_um : KB_NAN);
    kb_json_string(json, "source",
                   same   ? kb_scale_source_name(source)
                   : none ? kb_scale_source_name(KB_SCALE_UNKNOWN)
                          : "differs between fields");
    kb_json_close(json, '}');
}

static void spread(struct kb_json *json, const char *key, const struct kb_estimate *estimate) {
    kb_json_open(json, key, '{');
    kb_json_value(json, "mean", estimate, 1.0);
    kb_json_number(json, "s", estimate->measured ? estimate->s : KB_NAN);
    kb_json_interval(json, "ci95", estimate, 1.0);
    kb_json_number(json, "ra_percent", kb_relative_accuracy_percent(estimate));
    kb_json_count(json, "fields", estimate->n);
    kb_json_string(json, "why", why(estimate));
    kb_json_close(json, '}');
}

static void phases(struct kb_json *json, const struct kb_specimen *specimen) {
    kb_json_open(json, "phases", '{');
    for (int phase = KB_GRAPHITE; phase < KB_PHASES; phase++) {
        spread(json, kb_phase_name((enum kb_phase)phase), &specimen->phase[phase]);
    }
    spread(json, "pearlite_of_matrix", &specimen->pearlite_of_matrix);
    spread(json, "other_of_matrix", &specimen->other_of_matrix);
    kb_json_close(json, '}');
}

static void nodularity(struct kb_json *json, const struct kb_specimen *specimen) {
    kb_json_open(json, "nodularity_percent", '{');
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        kb_json_value(json, nodularity_key[method], &specimen->nodularity_percent[method], 1.0);
    }
    kb_json_close(json, '}');
    kb_json_open(json, "nodularity_ci95_percent", '{');
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        kb_json_interval(json, nodularity_key[method], &specimen->nodularity_percent[method], 1.0);
    }
    kb_json_close(json, '}');
    kb_json_string(json, "nodularity_why", why(&specimen->nodularity_percent[KB_NOD_ISO945_4]));
    kb_json_value(json, "nodularity_by_count_percent", &specimen->nodularity_by_count_percent, 1.0);
    kb_json_interval(json, "nodularity_by_count_ci95_percent",
                     &specimen->nodularity_by_count_percent, 1.0);
}

static void graphite(struct kb_json *json, const struct kb_specimen *specimen) {
    kb_json_open(json, "graphite", '{');
    nodularity(json, specimen);
    kb_json_value(json, "nodules_per_mm2", &specimen->nodules_per_mm2, 1.0);
    kb_json_interval(json, "nodules_ci95_per_mm2", &specimen->nodules_per_mm2, 1.0);
    kb_json_string(json, "nodules_why", why(&specimen->nodules_per_mm2));
    if (specimen->mean_feret_um.measured || specimen->particles[KB_COUNTS] > 0) {
        kb_json_count(json, "particles_counted", specimen->particles[KB_COUNTS]);
    } else {
        kb_json_null(json, "particles_counted");
    }
    kb_json_open(json, "form_area_percent", '{');
    for (int form = KB_FORM_I; form < KB_FORMS; form++) {
        kb_json_value(json, kb_form_roman((enum kb_form)form), &specimen->form_area_percent[form],
                      1.0);
    }
    kb_json_close(json, '}');
    kb_json_number(json, "size_class", specimen->size_class > 0 ? specimen->size_class : KB_NAN);
    kb_json_value(json, "mean_feret_um", &specimen->mean_feret_um, 1.0);
    kb_json_interval(json, "mean_feret_ci95_um", &specimen->mean_feret_um, 1.0);
    kb_json_value(json, "largest_feret_um", &specimen->largest_feret_um, 1.0);
    kb_json_number(json, "area_mm2", specimen->area_mm2);
    kb_json_flakes(json, specimen);
    kb_json_counts(json, specimen);
    kb_json_spatial(json, specimen);
    kb_json_close(json, '}');
}

static void fields_needed(struct kb_json *json, const char *key, size_t needed) {
    kb_json_number(json, key, needed > 0 ? (double)needed : KB_NAN);
}

static void constants(struct kb_json *json, const struct kb_carbon_constants *constants) {
    kb_json_open(json, "constants", '{');
    kb_json_number(json, "ferrite_c_percent", constants->ferrite_c);
    kb_json_number(json, "eutectoid_c_percent", constants->eutectoid_c);
    kb_json_number(json, "cementite_c_percent", constants->cementite_c);
    kb_json_number(json, "rho_graphite_g_cm3", constants->rho_graphite);
    kb_json_number(json, "rho_ferrite_g_cm3", constants->rho_ferrite);
    kb_json_number(json, "rho_pearlite_g_cm3", constants->rho_pearlite);
    kb_json_number(json, "rho_cementite_g_cm3", constants->rho_cementite);
    kb_json_number(json, "rho_iron_matrix_g_cm3", constants->rho_iron_matrix);
    kb_json_number(json, "si_shift_percent_per_percent", constants->si_shift);
    char text[400];
    kb_carbon_constants_text(constants, text, sizeof text);
    kb_json_string(json, "set", constants->set != NULL ? constants->set->name : NULL);
    kb_json_string(json, "text", text);
    kb_json_string(json, "source", constants->source);
    kb_json_close(json, '}');
}

static void carbon(struct kb_json *json, const struct kb_result *result) {
    static const char *const agreement[] = {
        [KB_AGREE_UNKNOWN] = NULL, [KB_AGREES] = "agree", [KB_DISAGREES] = "disagree"};
    const struct kb_carbon *c = &result->carbon;
    if (!result->carbon_known) {
        kb_json_null(json, "carbon");
        return;
    }
    kb_json_open(json, "carbon", '{');
    kb_json_value(json, "total_percent", &c->total_percent, 1.0);
    kb_json_interval(json, "total_ci95_percent", &c->total_percent, 1.0);
    kb_json_value(json, "combined_percent", &c->combined_percent, 1.0);
    kb_json_value(json, "graphite_percent", &c->graphite_percent, 1.0);
    kb_json_value(json, "pearlite_mass_fraction", &c->pearlite_mass, 1.0);
    kb_json_number(json, "eutectoid_used_percent", c->eutectoid_used);
    kb_json_bool(json, "silicon_assumed", c->silicon_assumed);
    constants(json, &c->constants);
    kb_json_number(json, "chemistry_percent", result->chemistry.c);
    kb_json_string(json, "agreement", agreement[c->agreement]);
    kb_json_number(json, "difference_percent", c->difference_percent);
    kb_json_number(json, "tolerance_percent", c->tolerance_percent);
    kb_json_number(json, "carbon_equivalent_percent", c->carbon_equivalent);
    kb_json_string(json, "why", why(&c->total_percent));
    kb_json_open(json, "working", '[');
    for (int i = 0; i < c->working.count && i < KB_WORKING_LINES; i++) {
        kb_json_string(json, NULL, c->working.line[i]);
    }
    kb_json_close(json, ']');
    kb_json_string(json, "note",
                   "an estimate from structure near equilibrium, never a chemical analysis");
    kb_json_close(json, '}');
}

static void outcomes(struct kb_json *json, const char *key,
                     const enum kb_outcome outcome[KB_DECISION_RULES]) {
    kb_json_open(json, key, '{');
    for (int rule = 0; rule < KB_DECISION_RULES; rule++) {
        kb_json_string(json, kb_decision_rule_name((enum kb_decision_rule)rule),
                       kb_outcome_name(outcome[rule]));
    }
    kb_json_close(json, '}');
}

/* What was measured elsewhere; [] when nothing was given. */
static void given(struct kb_json *json, const struct kb_specimen *specimen) {
    kb_json_open(json, "given", '[');
    for (int i = 0; i < KB_GIVENS; i++) {
        const enum kb_quantity quantity = (enum kb_quantity)(KB_Q_GIVEN + i);
        const struct kb_estimate *value = &specimen->given[i];
        if (!value->measured) {
            continue;
        }
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "quantity", kb_quantity_name(quantity));
        kb_json_value(json, "value", value, 1.0);
        kb_json_interval(json, "ci95", value, 1.0);
        kb_json_string(json, "unit", kb_quantity_unit(quantity));
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
}

void kb_json_judgement(struct kb_json *json, const struct kb_judgement *judgement) {
    kb_json_open(json, "limits", '[');
    for (size_t i = 0; i < judgement->count; i++) {
        const struct kb_limit_result *limit = &judgement->limit[i];
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "quantity", kb_quantity_name(limit->limit.quantity));
        kb_json_string(json, "unit", kb_quantity_unit(limit->limit.quantity));
        kb_json_number(json, "low", limit->limit.low);
        kb_json_number(json, "high", limit->limit.high);
        kb_json_value(json, "value", &limit->value, 1.0);
        kb_json_interval(json, "ci95", &limit->value, 1.0);
        kb_json_string(json, "outcome", kb_outcome_name(limit->outcome));
        kb_json_string(json, "rule", kb_decision_rule_name(judgement->decision_rule));
        outcomes(json, "outcome_by_rule", limit->by_rule);
        kb_json_number(json, "probability", limit->probability);
        kb_json_string(json, "reason", limit->reason);
        fields_needed(json, "more_fields_to_decide", limit->fields_to_decide);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
    kb_json_string(json, "verdict", kb_outcome_name(judgement->verdict));
    outcomes(json, "verdict_by_rule", judgement->verdict_by_rule);
    kb_json_string(json, "decision_rule", kb_decision_rule_name(judgement->decision_rule));
    kb_json_string(json, "rule", judgement->rule);
}

static void settings(struct kb_json *json, const struct kb_result *result) {
    kb_json_string(json, "job_file", result->job_path);
    kb_json_open(json, "settings", '[');
    for (size_t i = 0; i < result->settings; i++) {
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "name", result->setting[i].name);
        kb_json_string(json, "value", result->setting[i].value);
        kb_json_string(json, "origin", result->setting[i].origin);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
}

void kb_json_figure(struct kb_json *json, enum kb_quantity quantity,
                    const struct kb_estimate *estimate) {
    kb_json_open(json, kb_quantity_name(quantity), '{');
    kb_json_value(json, "value", estimate, 1.0);
    kb_json_interval(json, "ci95", estimate, 1.0);
    kb_json_number(json, "s", estimate->measured ? estimate->s : KB_NAN);
    kb_json_number(json, "u_other", estimate->measured ? estimate->u_other : KB_NAN);
    kb_json_count(json, "n", estimate->n);
    kb_json_string(json, "unit", kb_quantity_unit(quantity));
    kb_json_string(json, "why", why(estimate));
    kb_json_close(json, '}');
}

/* Everything that limits can name, in the unit of the limits. */
static void figures(struct kb_json *json, const struct kb_result *result) {
    const struct kb_carbon *known = result->carbon_known ? &result->carbon : NULL;
    kb_json_open(json, "figures", '{');
    for (int i = 0; i < KB_QUANTITIES; i++) {
        const struct kb_estimate estimate =
            kb_quantity_value((enum kb_quantity)i, &result->specimen, known);
        if (estimate.measured) {
            kb_json_figure(json, (enum kb_quantity)i, &estimate);
        }
    }
    kb_json_close(json, '}');
}

enum kb_status kb_report_json(const struct kb_result *result, struct kb_text *out,
                              struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct kb_json json = {out, 0, false, false};
    kb_json_open(&json, NULL, '{');
    head(&json, result);
    kb_json_open(&json, "fields", '[');
    for (size_t i = 0; i < result->fields; i++) {
        kb_json_field(&json, result, i);
    }
    kb_json_close(&json, ']');
    phases(&json, &result->specimen);
    graphite(&json, &result->specimen);
    kb_json_budgets(&json, &result->specimen);
    kb_json_open(&json, "fields_needed", '{');
    fields_needed(&json, "phases", result->specimen.fields_needed_phase);
    fields_needed(&json, "nodularity", result->specimen.fields_needed_nodularity);
    fields_needed(&json, "nodule_count", result->specimen.fields_needed_count);
    kb_json_close(&json, '}');
    carbon(&json, result);
    figures(&json, result);
    given(&json, &result->specimen);
    kb_json_judgement(&json, &result->judgement);
    kb_json_findings(&json, &result->specimen.findings);
    kb_json_by_hand(&json, result);
    kb_json_review(&json, &result->reviewed);
    kb_json_why(&json, result);
    settings(&json, result);
    kb_json_close(&json, '}');
    kb_text_add(out, "\n");
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
