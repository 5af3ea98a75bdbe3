/* state_json.c - all that the page shows beside pictures, as one object of JSON.
 *
 * Figures are those of the result, rounded by nobody: the page rounds to the digits that are given
 * beside them. What is not measured is null, with the reason.
 */
#include "record_priv.h"
#include "serve_priv.h"

#include "keelblock/version.h"

static json_t *number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

/* Words from outside; what is no UTF-8 is shown as far as it is plain. */
static json_t *text(const char *words) {
    if (words == NULL) {
        return json_null();
    }
    json_t *json = json_string(words);
    if (json == NULL) {
        char plain[256];
        size_t length = 0;
        for (; words[length] != '\0' && length + 1 < sizeof plain; length++) {
            plain[length] = (words[length] & 0x80) != 0 ? '?' : words[length];
        }
        plain[length] = '\0';
        json = json_string(plain);
    }
    return json;
}

static void put(json_t *object, const char *key, json_t *value) {
    (void)json_object_set_new(object, key, value); /* no memory: found out when it is written */
}

static json_t *error_json(const struct kb_err *error) {
    if (error == NULL) {
        return json_null();
    }
    struct kb_err parts = *error;
    const char *what = NULL, *what_to_do = NULL;
    kb_err_parts(parts.text, &what, &what_to_do);
    json_t *json = json_object();
    put(json, "what", text(what));
    put(json, "do", text(what_to_do));
    return json;
}

static json_t *findings_json(const struct kb_findings *findings) {
    json_t *list = json_array();
    for (size_t i = 0; findings != NULL && i < findings->count; i++) {
        const struct kb_finding *finding = &findings->item[i];
        json_t *json = json_object();
        put(json, "code", text(finding->code));
        put(json, "severity", text(kb_severity_name(finding->severity)));
        put(json, "text", text(finding->text));
        (void)json_array_append_new(list, json);
    }
    return list;
}

/* ---- a field -----------------------------------------------------------------------------------
 */

static const char *threshold_name(const struct kb_segmentation_figures *figures, int i) {
    return figures->thresholds < 2 ? "threshold" : i == 0 ? "dark" : "bright";
}

/* Last level of the evened picture that is below threshold i: a bright one by hand names the first
 * level above it (struct kb_segmentation_params), all others that level itself. NaN: no scale. */
static double last_below(const struct kb_segmentation_figures *figures, int i) {
    const double span = figures->grey_high - figures->grey_low;
    const double level = (figures->threshold[i] - figures->grey_low) * 255.0 / span;
    const bool first_above = i > 0 && figures->origin[i] == KB_THRESHOLD_BY_HAND;
    if (!(span > 0.0)) {
        return (double)NAN;
    }
    return first_above ? ceil(level - 1e-6) - 1.0 : floor(level + 1e-6);
}

static json_t *thresholds_json(const struct kb_segmentation_figures *figures) {
    json_t *list = json_array();
    for (int i = 0; i < figures->thresholds; i++) {
        json_t *json = json_object();
        put(json, "name", text(threshold_name(figures, i)));
        put(json, "level", number(figures->threshold[i]));
        put(json, "level8", number(last_below(figures, i)));
        put(json, "found", number(figures->threshold_found[i]));
        put(json, "origin", text(figures->origin[i] == KB_THRESHOLD_BY_HAND ? "by hand" : "found"));
        (void)json_array_append_new(list, json);
    }
    return list;
}

static json_t *classes_json(const struct kb_segmentation_figures *figures) {
    json_t *list = json_array();
    for (int i = 0; i < figures->classes && i < 3; i++) {
        (void)json_array_append_new(list, text(kb_phase_name(figures->class_phase[i])));
    }
    return list;
}

static json_t *histogram_json(const struct kb_segmentation_figures *figures) {
    json_t *list = json_array();
    for (int i = 0; i < 256; i++) {
        (void)json_array_append_new(list, json_integer((json_int_t)figures->histogram[i]));
    }
    return list;
}

static json_t *phases_json(const struct kb_field_figures *figures) {
    json_t *json = json_object();
    for (int phase = KB_GRAPHITE; phase < KB_PHASES; phase++) {
        put(json, kb_phase_name((enum kb_phase)phase), number(figures->fraction[phase]));
    }
    return json;
}

static json_t *counts_json(const struct kb_field_figures *figures) {
    static const char *const key[KB_PARTICLE_STATES] = {"counts", "on_frame", "on_exclusion",
                                                        "under_size", "no_scale"};
    json_t *json = json_object();
    for (int state = 0; state < KB_PARTICLE_STATES; state++) {
        put(json, key[state], json_integer((json_int_t)figures->particles[state]));
    }
    return json;
}

static json_t *bars_json(const struct kb_field_result *field) {
    json_t *list = json_array();
    for (size_t i = 0; i < field->marks; i++) {
        const struct kb_mark *mark = &field->mark[i];
        if (mark->kind == KB_MARK_SCALE_BAR) {
            (void)json_array_append_new(
                list, json_pack("{s:i,s:i,s:i,s:i,s:f}", "x", (int)mark->box.x, "y",
                                (int)mark->box.y, "w", (int)mark->box.width, "h",
                                (int)mark->box.height, "length_px", mark->bar_px));
        }
    }
    return list;
}

static double nodularity_of(const struct kb_field_figures *figures) {
    const double all = figures->graphite_um2[KB_NOD_ISO945_4];
    return all > 0.0 ? 100.0 * figures->nodular_um2[KB_NOD_ISO945_4] / all : (double)NAN;
}

static void put_head(json_t *json, const struct kb_field_result *field) {
    put(json, "width", json_integer(field->width));
    put(json, "height", json_integer(field->height));
    put(json, "pixel_size_um", number(field->px_um > 0.0 ? field->px_um : (double)NAN));
    put(json, "scale_source", text(kb_scale_source_name(field->scale_source)));
    put(json, "contrast", text(kb_contrast_name(field->contrast)));
    put(json, "grey_low", number(field->segmentation.grey_low));
    put(json, "grey_high", number(field->segmentation.grey_high));
}

static void put_figures(json_t *json, const struct kb_field_result *field, bool measured) {
    const struct kb_field_figures *figures = &field->figures;
    put(json, "thresholds", thresholds_json(&field->segmentation));
    put(json, "classes", classes_json(&field->segmentation));
    put(json, "histogram", histogram_json(&field->segmentation));
    put(json, "bars", bars_json(field));
    if (!measured) {
        return;
    }
    put(json, "fitness",
        text(field->quality.fitness == KB_NOT_FIT ? "not fit"
                                                  : kb_fitness_name(field->quality.fitness)));
    put(json, "findings", findings_json(&field->findings));
    put(json, "phases", phases_json(figures));
    put(json, "pearlite_of_matrix", number(figures->pearlite_of_matrix));
    put(json, "counts", counts_json(figures));
    put(json, "nodularity_percent", number(nodularity_of(figures)));
    put(json, "nodules_per_mm2", number(figures->nodules_per_mm2));
}

static json_t *field_json(const struct kb_review_field *field, size_t index) {
    static const char *const unknown[] = {
        "fitness",        "phases", "pearlite_of_matrix", "counts", "nodularity_percent",
        "nodules_per_mm2"};
    json_t *json = json_object();
    const bool measured = field->figures != NULL && field->error == NULL;
    put(json, "index", json_integer((json_int_t)index));
    put(json, "name", text(kb_base_name(field->path)));
    put(json, "file", text(field->path));
    put(json, "r", json_integer((json_int_t)field->revision));
    put(json, "measured", json_boolean(measured));
    put(json, "error", error_json(field->error));
    put(json, "findings", json_array());
    for (size_t i = 0; i < sizeof unknown / sizeof unknown[0]; i++) {
        put(json, unknown[i], json_null());
    }
    if (field->figures != NULL) {
        put_head(json, field->figures);
        put_figures(json, field->figures, measured);
    }
    return json;
}

/* ---- the specimen ------------------------------------------------------------------------------
 */

static json_t *specimen_json(const struct kb_result *result) {
    json_t *json = json_object();
    put(json, "id", text(result->specimen_id));
    put(json, "material", text(kb_material_name(result->material)));
    put(json, "laboratory", text(result->laboratory));
    put(json, "operator", text(result->operator_name));
    return json;
}

static json_t *figures_json(const struct kb_review_sheet *sheet) {
    struct kb_shown_figure figure[KB_QUANTITIES];
    const size_t count = kb_report_figures(sheet->result, sheet->concluded, figure);
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++) {
        json_t *json = json_object();
        put(json, "key", text(figure[i].key));
        put(json, "words", text(figure[i].words));
        put(json, "of", text(figure[i].of));
        put(json, "value", number(figure[i].value));
        put(json, "low", number(figure[i].low));
        put(json, "high", number(figure[i].high));
        put(json, "unit", text(figure[i].unit));
        put(json, "digits", json_integer(figure[i].decimals));
        put(json, "reason", text(figure[i].reason));
        (void)json_array_append_new(list, json);
    }
    return list;
}

static json_t *limits_json(const struct kb_judgement *judgement) {
    json_t *list = json_array();
    for (size_t i = 0; i < judgement->count; i++) {
        const struct kb_limit_result *limit = &judgement->limit[i];
        struct kb_text bounds = KB_TEXT_INIT;
        kb_report_limit_words(&limit->limit, &bounds);
        json_t *json = json_object();
        put(json, "key", text(kb_quantity_name(limit->limit.quantity)));
        put(json, "words", text(kb_quantity_words(limit->limit.quantity)));
        put(json, "text", text(bounds.data));
        put(json, "outcome", text(kb_outcome_name(limit->outcome)));
        put(json, "reason", text(limit->reason));
        (void)json_array_append_new(list, json);
        kb_text_release(&bounds);
    }
    return list;
}

/* ---- the record --------------------------------------------------------------------------------
 */

static json_t *named_fields(const struct kb_review_sheet *sheet,
                            const struct kb_record_entry *entry) {
    json_t *list = json_array();
    for (size_t i = 0; i < entry->fields; i++) {
        for (size_t k = 0; k < sheet->fields; k++) {
            if (kb_record_names(sheet->field[k].path, entry->field[i])) {
                (void)json_array_append_new(list, json_integer((json_int_t)k));
            }
        }
    }
    return list;
}

static json_t *points_json(const struct kb_record_entry *entry) {
    json_t *list = json_array();
    for (size_t i = 0; i < entry->points; i++) {
        (void)json_array_append_new(
            list, json_pack("[i,i]", (int)entry->point[i].x, (int)entry->point[i].y));
    }
    return list;
}

static json_t *around(const char *figures) {
    json_t *json = figures != NULL ? json_loads(figures, 0, NULL) : NULL;
    return json != NULL ? json : json_object();
}

static json_t *entry_json(const struct kb_review_sheet *sheet,
                          const struct kb_record_entry *entry) {
    char words[200];
    kb_record_words(entry, words, sizeof words);
    json_t *json = json_object();
    put(json, "seq", json_integer((json_int_t)entry->seq));
    put(json, "at", text(entry->at));
    put(json, "who", text(entry->who));
    put(json, "why", text(entry->why));
    put(json, "kind", text(kb_record_kind_name(entry->kind)));
    put(json, "fields", named_fields(sheet, entry));
    put(json, "points", points_json(entry));
    if (entry->kind == KB_RECORD_EXCLUDE && entry->points == 0) {
        put(json, "rect",
            json_pack("[i,i,i,i]", (int)entry->rect.x, (int)entry->rect.y, (int)entry->rect.width,
                      (int)entry->rect.height));
    }
    if (entry->of > 0) {
        put(json, "of", json_integer((json_int_t)entry->of));
    }
    put(json, "words", text(words));
    put(json, "active", json_boolean(entry->active));
    put(json, "before", around(entry->before));
    put(json, "after", around(entry->after));
    return json;
}

static json_t *seq_json(uint64_t seq) {
    return seq > 0 ? json_integer((json_int_t)seq) : json_null();
}

static json_t *seal_json(const struct kb_seal *seal) {
    if (seal == NULL || !seal->exists) {
        return json_null();
    }
    json_t *json = json_object(), *changed = json_array();
    put(json, "who", text(seal->who));
    put(json, "remark", text(seal->remark));
    put(json, "at", text(seal->at));
    put(json, "digest", text(seal->digest));
    put(json, "intact", json_boolean(seal->intact));
    for (size_t i = 0; i < seal->items; i++) {
        if (seal->item[i].state != KB_SEAL_SAME) {
            (void)json_array_append_new(changed, text(seal->item[i].name));
        }
    }
    put(json, "changed", changed);
    return json;
}

static void put_record(json_t *json, const struct kb_review_sheet *sheet) {
    json_t *list = json_array();
    for (size_t i = 0; i < sheet->record->count; i++) {
        (void)json_array_append_new(list, entry_json(sheet, &sheet->record->entry[i]));
    }
    put(json, "record", list);
    put(json, "record_torn", json_boolean(sheet->record->torn));
    put(json, "can_undo", seq_json(kb_record_undoable(sheet->record)));
    put(json, "can_redo", seq_json(kb_record_redoable(sheet->record)));
}

/* ---- what a person may say ---------------------------------------------------------------------
 */

static json_t *phase_words(enum kb_material material) {
    json_t *list = json_array();
    for (int phase = KB_EXCLUDED; phase < KB_PHASES; phase++) {
        if (phase == KB_GRAPHITE && !kb_material_is_iron(material)) {
            continue;
        }
        (void)json_array_append_new(
            list,
            json_pack("{s:s,s:i}", "word", kb_phase_name((enum kb_phase)phase), "label", phase));
    }
    return list;
}

static json_t *form_words(void) {
    json_t *list = json_array();
    for (int form = KB_FORM_I; form < KB_FORMS; form++) {
        (void)json_array_append_new(list, json_string(kb_form_roman((enum kb_form)form)));
    }
    return list;
}

static json_t *state_json(const struct kb_review_sheet *sheet) {
    const struct kb_result *result = sheet->result;
    json_t *json = json_object(), *fields = json_array();
    put(json, "revision", json_integer((json_int_t)sheet->revision));
    put(json, "version", json_string(KB_VERSION));
    put(json, "specimen", specimen_json(result));
    put(json, "signed", seal_json(sheet->seal));
    for (size_t i = 0; i < sheet->fields; i++) {
        (void)json_array_append_new(fields, field_json(&sheet->field[i], i));
    }
    put(json, "fields", fields);
    put(json, "concluded", json_boolean(sheet->concluded));
    put(json, "figures", figures_json(sheet));
    put(json, "limits", limits_json(&result->judgement));
    put(json, "verdict",
        text(kb_outcome_name(sheet->concluded ? result->judgement.verdict : KB_OUTCOME_NONE)));
    put(json, "findings", findings_json(sheet->concluded ? &result->specimen.findings : NULL));
    put_record(json, sheet);
    put(json, "phases", phase_words(result->material));
    put(json, "forms", form_words());
    return json;
}

static enum kb_status write(json_t *json, struct kb_text *out, struct kb_err *err) {
    kb_answer_dump(json, out);
    return out->failed ? kb_fail_memory(err, KB_SERVE_STAGE, out->length) : KB_OK;
}

enum kb_status kb_review_state(const struct kb_review_sheet *sheet, struct kb_text *out,
                               struct kb_err *err) {
    return write(state_json(sheet), out, err);
}

enum kb_status kb_review_figures(const struct kb_review_sheet *sheet, struct kb_text *out,
                                 struct kb_err *err) {
    struct kb_shown_figure figure[KB_QUANTITIES];
    const size_t count = kb_report_figures(sheet->result, sheet->concluded, figure);
    if (!sheet->concluded) {
        return KB_OK;
    }
    json_t *json = json_object();
    for (size_t i = 0; i < count; i++) {
        put(json, figure[i].key, number(figure[i].value));
    }
    return write(json, out, err);
}
