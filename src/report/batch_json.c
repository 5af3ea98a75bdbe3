/* batch_json.c - batch.json, schema "keelblock.batch/1".
 *
 * The keys are a contract: later versions add, never rename. A quantity that no specimen of the
 * batch measured has no key; one that some did has it in all, null where not measured. There is no
 * date in it: the same pictures, settings and version give the same bytes.
 */
#include "batch_priv.h"
#include "json_write.h"

#include "keelblock/version.h"

static void head(struct kb_json *json, const struct kb_batch *batch) {
    kb_json_string(json, "schema", "keelblock.batch/1");
    kb_json_open(json, "tool", '{');
    kb_json_string(json, "name", "keelblock");
    kb_json_string(json, "version", KB_VERSION);
    kb_json_close(json, '}');
    kb_json_open(json, "batch", '{');
    kb_json_string(json, "name", batch->name);
    kb_json_string(json, "laboratory", batch->laboratory);
    kb_json_string(json, "operator", batch->operator_name);
    kb_json_string(json, "customer", batch->customer);
    kb_json_string(json, "manifest", batch->manifest);
    kb_json_string(json, "manifest_sha256",
                   batch->manifest_sha256[0] != '\0' ? batch->manifest_sha256 : NULL);
    kb_json_count(json, "specimens", batch->specimens);
    kb_json_count(json, "fields", batch->fields);
    kb_json_close(json, '}');
}

static void faults(struct kb_json *json, const struct kb_batch_specimen *specimen) {
    kb_json_open(json, "unusable_fields", '[');
    for (size_t i = 0; i < specimen->faults; i++) {
        const struct kb_batch_fault *fault = &specimen->fault[i];
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "file", fault->path);
        kb_json_string(json, "kind", kb_fault_word(fault->status));
        kb_json_string(json, "text", fault->text);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
}

static void chemistry(struct kb_json *json, const struct kb_chemistry *known) {
    const struct {
        const char *key;
        double value;
    } element[] = {{"C", known->c}, {"Si", known->si}, {"Mn", known->mn}, {"P", known->p},
                   {"S", known->s}, {"Cu", known->cu}, {"Sn", known->sn}, {"Mg", known->mg}};
    kb_json_open(json, "chemistry_percent", '{');
    for (size_t i = 0; i < KB_COUNT_OF(element); i++) {
        kb_json_number(json, element[i].key, element[i].value);
    }
    kb_json_close(json, '}');
}

static void specimen_object(struct kb_json *json, const struct kb_batch_specimen *specimen,
                            const bool shown[KB_QUANTITIES]) {
    kb_json_open(json, NULL, '{');
    kb_json_string(json, "id", specimen->id);
    kb_json_string(json, "folder", specimen->folder);
    kb_json_string(json, "grade", specimen->grade);
    kb_json_string(json, "casting", specimen->casting);
    kb_json_number(json, "section_mm", specimen->section_mm);
    kb_json_number(json, "manifest_row", specimen->first_row > 0 ? specimen->first_row : KB_NAN);
    kb_json_string(json, "material", kb_material_name(specimen->material));
    kb_json_count(json, "fields", specimen->fields);
    kb_json_bool(json, "judged", specimen->judged);
    faults(json, specimen);
    kb_json_string(json, "preparation",
                   specimen->judged ? kb_fitness_name(specimen->fitness) : NULL);
    kb_json_number(json, "particles", specimen->judged ? (double)specimen->particles : KB_NAN);
    kb_json_number(json, "area_mm2", specimen->area_mm2);
    chemistry(json, &specimen->chemistry);
    kb_json_open(json, "figures", '{');
    for (int i = 0; i < KB_QUANTITIES; i++) {
        if (shown[i]) {
            kb_json_figure(json, (enum kb_quantity)i, &specimen->figure[i]);
        }
    }
    kb_json_close(json, '}');
    kb_json_open(json, "findings", '{');
    for (int i = KB_NOTE; i <= KB_SERIOUS; i++) {
        kb_json_count(json, kb_severity_name((enum kb_severity)i), specimen->findings[i]);
    }
    kb_json_close(json, '}');
    kb_json_judgement(json, &specimen->judgement);
    kb_json_number(json, "more_fields_to_decide",
                   specimen->more_fields > 0 ? (double)specimen->more_fields : KB_NAN);
    kb_json_close(json, '}');
}

/* What some specimen measured. */
static void choose(const struct kb_batch *batch, bool shown[KB_QUANTITIES]) {
    for (int i = 0; i < KB_QUANTITIES; i++) {
        shown[i] = false;
        for (size_t k = 0; k < batch->specimens; k++) {
            shown[i] = shown[i] || batch->specimen[k].figure[i].measured;
        }
    }
}

/* A quantity over the specimens: mean, spread split, its limit and what would decide. */
static void batch_figure(struct kb_json *json, const struct kb_batch_figure *figure) {
    const struct kb_split *split = &figure->split;
    kb_json_open(json, kb_quantity_name(figure->quantity), '{');
    kb_json_value(json, "mean", &split->mean, 1.0);
    kb_json_interval(json, "ci95", &split->mean, 1.0);
    kb_json_count(json, "specimens", split->groups);
    kb_json_count(json, "fields", split->fields);
    kb_json_number(json, "s_between_specimens", split->between);
    kb_json_number(json, "s_within_specimens", split->within);
    kb_json_string(json, "unit", kb_quantity_unit(figure->quantity));
    kb_json_string(json, "outcome_of_mean",
                   figure->limited ? kb_outcome_name(figure->limit.outcome) : NULL);
    kb_json_number(json, "more_fields_each_to_decide",
                   figure->more_fields > 0 ? (double)figure->more_fields : KB_NAN);
    kb_json_number(json, "more_specimens_to_decide",
                   figure->more_specimens > 0 ? (double)figure->more_specimens : KB_NAN);
    kb_json_close(json, '}');
}

static void verdict(struct kb_json *json, const struct kb_batch_judgement *judgement) {
    kb_json_open(json, "over_specimens", '{');
    for (size_t i = 0; i < judgement->figures; i++) {
        batch_figure(json, &judgement->figure[i]);
    }
    kb_json_close(json, '}');
    kb_json_open(json, "counts", '{');
    kb_json_count(json, "accepted", judgement->accepted);
    kb_json_count(json, "rejected", judgement->rejected);
    kb_json_count(json, "undecided", judgement->undecided);
    kb_json_count(json, "unjudged", judgement->unjudged);
    kb_json_count(json, "without_limits", judgement->unlimited);
    kb_json_close(json, '}');
    kb_json_string(json, "verdict", kb_outcome_name(judgement->verdict));
    kb_json_string(json, "rule", judgement->rule);
    kb_json_string(json, "reason", judgement->reason);
    kb_json_string(json, "advice", judgement->advice[0] != '\0' ? judgement->advice : NULL);
}

enum kb_status kb_report_batch_json(const struct kb_batch *batch, struct kb_text *out,
                                    struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct kb_json json = {out, 0, false, false};
    bool shown[KB_QUANTITIES];
    choose(batch, shown);
    kb_json_open(&json, NULL, '{');
    head(&json, batch);
    kb_json_open(&json, "specimens", '[');
    for (size_t i = 0; i < batch->specimens; i++) {
        specimen_object(&json, &batch->specimen[i], shown);
    }
    kb_json_close(&json, ']');
    verdict(&json, &batch->judgement);
    kb_json_close(&json, '}');
    kb_text_add(out, "\n");
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
