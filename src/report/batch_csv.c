/* batch_csv.c - specimens.csv and fields.csv of a batch, after RFC 4180 (csv_write.c).
 *
 * The columns do not depend on what was measured, so that files of several weeks can be put under
 * one another. A specimen with a field that could not be measured has its row without figures; in
 * fields.csv it has a row for each such field, with the reason in the last column, and none for the
 * others, which were not pooled.
 */
#include "batch_priv.h"
#include "csv_write.h"

#include <string.h>

/* ---- specimens ---- */

static void specimens_header(struct kb_csv *row) {
    kb_text_add(row->out,
                "batch,specimen,folder,grade,section_mm,material,fields,unusable_fields,verdict,"
                "why,more_fields_to_decide,preparation,particles,area_mm2");
    for (int i = 0; i < KB_QUANTITIES; i++) {
        const char *name = kb_quantity_name((enum kb_quantity)i);
        kb_text_format(row->out, ",%s,%s_low,%s_high", name, name, name);
    }
    kb_csv_end_row(row);
}

/* What keeps it from being accepted: the first limit, or field, that does. */
static void why_cell(struct kb_csv *row, const struct kb_batch_specimen *specimen) {
    struct kb_text why = KB_TEXT_INIT;
    if (specimen->faults > 0) {
        kb_text_format(&why, "%s: %s", specimen->fault[0].path, specimen->fault[0].text);
    }
    const enum kb_outcome verdict = specimen->judgement.verdict;
    for (size_t i = 0; i < specimen->judgement.count && why.length == 0; i++) {
        const struct kb_limit_result *limit = &specimen->judgement.limit[i];
        if (limit->outcome == verdict && verdict != KB_ACCEPT) {
            kb_text_format(&why, "%s: %s", kb_quantity_name(limit->limit.quantity), limit->reason);
        }
    }
    kb_csv_text(row, why.length > 0 ? why.data : NULL);
    row->out->failed = row->out->failed || why.failed;
    kb_text_release(&why);
}

static void specimen_row(struct kb_csv *row, const char *batch,
                         const struct kb_batch_specimen *specimen) {
    kb_csv_text(row, batch);
    kb_csv_text(row, specimen->id);
    kb_csv_text(row, specimen->folder);
    kb_csv_text(row, specimen->grade);
    kb_csv_number(row, specimen->section_mm);
    kb_csv_text(row, kb_material_name(specimen->material));
    kb_csv_count(row, specimen->fields);
    kb_csv_count(row, specimen->faults);
    kb_csv_text(row, kb_batch_verdict_word(specimen));
    why_cell(row, specimen);
    kb_csv_number(row, specimen->more_fields > 0 ? (double)specimen->more_fields : KB_NAN);
    kb_csv_text(row, specimen->judged ? kb_fitness_name(specimen->fitness) : NULL);
    kb_csv_number(row, specimen->judged ? (double)specimen->particles : KB_NAN);
    kb_csv_number(row, specimen->area_mm2);
    for (int i = 0; i < KB_QUANTITIES; i++) {
        const struct kb_estimate *figure = &specimen->figure[i];
        const bool sure = figure->measured && figure->has_interval;
        kb_csv_number(row, figure->measured ? figure->value : KB_NAN);
        kb_csv_number(row, sure ? figure->lo : KB_NAN);
        kb_csv_number(row, sure ? figure->hi : KB_NAN);
    }
    kb_csv_end_row(row);
}

enum kb_status kb_report_batch_specimens_csv(const struct kb_batch *batch, struct kb_text *out,
                                             struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct kb_csv row = {out, false};
    specimens_header(&row);
    for (size_t i = 0; i < batch->specimens; i++) {
        specimen_row(&row, batch->name, &batch->specimen[i]);
    }
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}

/* ---- fields ---- */

void kb_batch_fields_csv_header(struct kb_text *out) {
    struct kb_csv row = {out, false};
    kb_csv_text(&row, "batch");
    kb_csv_text(&row, "specimen");
    kb_csv_field_header(&row);
    kb_csv_text(&row, "unusable");
    kb_csv_end_row(&row);
}

static void fault_row(struct kb_csv *row, const struct kb_batch_fault *fault) {
    kb_csv_next(row); /* no number: it has no place among measured fields */
    kb_csv_text(row, fault->path);
    for (size_t i = 2; i < kb_csv_field_columns(); i++) {
        kb_csv_next(row);
    }
    kb_csv_text(row, fault->text);
    kb_csv_end_row(row);
}

enum kb_status kb_batch_fields_csv_specimen(const struct kb_batch *batch, size_t specimen,
                                            const struct kb_result *result, struct kb_text *out,
                                            struct kb_err *err) {
    const struct kb_batch_specimen *of = &batch->specimen[specimen];
    struct kb_csv row = {out, false};
    for (size_t i = 0; i < of->faults; i++) {
        kb_csv_text(&row, batch->name);
        kb_csv_text(&row, of->id);
        fault_row(&row, &of->fault[i]);
    }
    for (size_t i = 0; result != NULL && i < result->fields; i++) {
        kb_csv_text(&row, batch->name);
        kb_csv_text(&row, of->id);
        kb_csv_field(&row, &result->field[i], i + 1);
        kb_csv_next(&row);
        kb_csv_end_row(&row);
    }
    return kb_text_end(out, err);
}

enum kb_status kb_report_batch_fields_csv(const struct kb_batch *batch, struct kb_text *out,
                                          struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    enum kb_status status = KB_OK;
    kb_batch_fields_csv_header(out);
    for (size_t i = 0; i < batch->specimens && status == KB_OK; i++) {
        struct kb_result result = {0};
        if (batch->specimen[i].judged) {
            status = batch->open(batch->context, i, &result, err);
        }
        if (status == KB_OK) {
            status = kb_batch_fields_csv_specimen(
                batch, i, batch->specimen[i].judged ? &result : NULL, out, err);
        }
        kb_result_release(&result);
    }
    kb_locale_leave(locale);
    if (status != KB_OK) {
        kb_text_release(out);
    }
    return status;
}
