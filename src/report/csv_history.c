/* csv_history.c - results of the register as a table, a row a figure: long and narrow, as every
 * statistics program and pivot table wants it.
 */
#include "csv_write.h"

static const char *const heading[] = {
    "result",   "superseded_by", "casting",         "batch",
    "specimen", "material",      "cast_on",         "measured_at",
    "operator", "fields",        "verdict",         "quantity",
    "value",    "ci95_low",      "ci95_high",       "s",
    "n",        "unit",          "limit_low",       "limit_high",
    "outcome",  "version",       "pictures_sha256", "settings_sha256",
    "digest",
};

static void result_cells(struct kb_csv *row, const struct kb_register_entry *entry) {
    kb_csv_count(row, (size_t)entry->id);
    if (entry->superseded_by != 0) {
        kb_csv_count(row, (size_t)entry->superseded_by);
    } else {
        kb_csv_next(row);
    }
    kb_csv_text(row, entry->casting);
    kb_csv_text(row, entry->batch);
    kb_csv_text(row, entry->specimen);
    kb_csv_text(row, entry->material);
    kb_csv_text(row, entry->cast_on);
    kb_csv_text(row, entry->measured_at);
    kb_csv_text(row, entry->operator_name);
    kb_csv_count(row, entry->fields);
    kb_csv_text(row, kb_outcome_name(entry->verdict));
}

static void figure_cells(struct kb_csv *row, const struct kb_register_figure *figure) {
    kb_csv_text(row, kb_quantity_name(figure->quantity));
    kb_csv_number(row, figure->value);
    kb_csv_number(row, figure->lo);
    kb_csv_number(row, figure->hi);
    kb_csv_number(row, figure->s);
    kb_csv_count(row, figure->n);
    kb_csv_text(row, kb_quantity_unit(figure->quantity));
    kb_csv_number(row, figure->low);
    kb_csv_number(row, figure->high);
    kb_csv_text(row, kb_outcome_name(figure->outcome));
}

enum kb_status kb_report_history_csv(const struct kb_register_list *list, struct kb_text *out,
                                     struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct kb_csv row = {out, false};
    for (size_t i = 0; i < KB_COUNT_OF(heading); i++) {
        kb_csv_text(&row, heading[i]);
    }
    kb_csv_end_row(&row);
    for (size_t i = 0; i < list->count; i++) {
        const struct kb_register_entry *entry = &list->entry[i];
        for (size_t k = 0; k < entry->figures; k++) {
            result_cells(&row, entry);
            figure_cells(&row, &entry->figure[k]);
            kb_csv_text(&row, entry->version);
            kb_csv_text(&row, entry->pictures_sha256);
            kb_csv_text(&row, entry->settings_sha256);
            kb_csv_text(&row, entry->digest);
            kb_csv_end_row(&row);
        }
    }
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
