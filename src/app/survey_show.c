/* survey_show.c - the survey as a table for people and as JSON for programs.
 *
 * What cannot be said is a dash or null with its reason, never 0.
 */
#include "survey.h"

#include <jansson.h>
#include <string.h>

static const char *why_not(const struct kb_survey_row *row) {
    if (!row->value.measured) {
        return row->value.why;
    }
    if (!isfinite(row->half)) {
        return row->value.n < 2 ? "one field shows no spread: measure a second"
                                : "one field holds it all: measure more";
    }
    return row->needed == 0 && isfinite(row->want) ? "more than a million fields" : NULL;
}

/* Which fields a quantity is measured in where both kinds were given. */
enum kind { ANY_KIND, ETCHED, POLISHED };

static enum kind kind_of(const struct kb_survey *survey, const struct kb_survey_row *row) {
    if (survey->etched == 0 || survey->polished == 0) {
        return ANY_KIND;
    }
    bool matrix = row->quantity == KB_Q_FERRITE || row->quantity == KB_Q_PEARLITE ||
                  row->quantity == KB_Q_CEMENTITE || row->quantity == KB_Q_PEARLITE_OF_MATRIX;
    return matrix ? ETCHED : POLISHED;
}

/* ---- for people --------------------------------------------------------------------------------
 */

static const char *shown_unit(enum kb_quantity quantity) {
    return quantity == KB_Q_NODULES_PER_MM2 ? "/mm²" : quantity == KB_Q_MEAN_FERET_UM ? "µm" : "%";
}

static void table_row(const struct kb_survey_row *row, struct kb_text *out) {
    /* as many decimals as two digits of the half-width, at most two */
    double guide = isfinite(row->half) ? row->half : 1.0;
    int decimals = guide >= 9.95 ? 0 : guide >= 0.995 ? 1 : 2;
    kb_text_format(out, "  %-40s", kb_quantity_words(row->quantity));
    if (!row->value.measured) {
        kb_text_format(out, "not measured: %s\n", row->value.why);
        return;
    }
    char value[32], half[32] = "–", want[32] = "–", more[32] = "–";
    (void)snprintf(value, sizeof value, "%.*f %s", decimals, row->value.value,
                   shown_unit(row->quantity));
    if (isfinite(row->half)) {
        (void)snprintf(half, sizeof half, "±%.*f", decimals, row->half);
    }
    if (isfinite(row->want)) {
        (void)snprintf(want, sizeof want, "±%.*f", decimals, row->want);
    }
    if (row->needed > 0) {
        (void)snprintf(more, sizeof more, "%zu", kb_survey_more(row));
    }
    /* bytes beyond ASCII take no column: the dash two, plus-minus and micro one, square one */
    int extra = row->quantity == KB_Q_NODULES_PER_MM2 || row->quantity == KB_Q_MEAN_FERET_UM;
    kb_text_format(out, "%*s%*s%*s%7zu%*s\n", 10 + extra, value, isfinite(row->half) ? 9 : 10, half,
                   isfinite(row->want) ? 9 : 10, want, row->value.n, row->needed > 0 ? 5 : 7, more);
}

static bool all_known(const struct kb_survey_row *row, size_t rows) {
    for (size_t i = 0; i < rows; i++) {
        if (row[i].needed == 0) {
            return false;
        }
    }
    return rows > 0;
}

/* The row that takes the most further fields of a kind; NULL: none does. */
static const struct kb_survey_row *hardest(const struct kb_survey *survey,
                                           const struct kb_survey_row *row, size_t rows,
                                           enum kind kind) {
    const struct kb_survey_row *most = NULL;
    for (size_t i = 0; i < rows; i++) {
        if (kind_of(survey, &row[i]) == kind &&
            kb_survey_more(&row[i]) > (most != NULL ? kb_survey_more(most) : 0)) {
            most = &row[i];
        }
    }
    return most;
}

static void notes(const struct kb_survey *survey, struct kb_text *out) {
    if (survey->several_names) {
        kb_text_add(out, "  note: the results are of specimens of different names; the spread "
                         "between specimens is in it\n");
    }
    if (survey->several_sizes) {
        kb_text_add(out, "  note: the results were measured with different minimum sizes of "
                         "particles\n");
    }
    if (survey->repeated > 0) {
        kb_text_format(out, "  note: %zu field%s given twice and counted once\n", survey->repeated,
                       survey->repeated == 1 ? " was" : "s were");
    }
    if (survey->without_sums > 0) {
        kb_text_add(out, "  note: results of an earlier version do not hold what nodularity and "
                         "sizes take; measure those fields again\n");
    }
}

/* Counting points by hand for the same precision; 0 fields: not for this quantity, or unknown. */
static size_t by_points(const struct kb_survey_row *row, size_t *points) {
    const double fraction = 0.01 * row->value.value;
    *points = 0;
    if (!kb_survey_is_phase(row->quantity) || !row->value.measured || !(fraction > 0.0) ||
        !isfinite(row->want)) {
        return 0;
    }
    *points = kb_point_grid(fraction);
    return kb_point_fields(fraction, row->want / row->value.value, *points);
}

static void points_note(const struct kb_survey_row *row, size_t rows, struct kb_text *out) {
    const struct kb_survey_row *most = NULL;
    size_t fields = 0, points = 0;
    for (size_t i = 0; i < rows; i++) {
        size_t grid = 0;
        size_t needed = by_points(&row[i], &grid);
        if (needed > fields) {
            most = &row[i];
            fields = needed;
            points = grid;
        }
    }
    if (most != NULL) {
        kb_text_format(out, "  counting points by hand for %s:\n",
                       kb_quantity_words(most->quantity));
        kb_text_format(out, "    about %zu field%s with a grid of %zu points (after ASTM E562)\n",
                       fields, fields == 1 ? "" : "s", points);
    }
}

/* What to do, the kinds of fields apart. */
static void conclusion(const struct kb_survey *survey, const struct kb_survey_row *row, size_t rows,
                       struct kb_text *out) {
    static const char *const words[] = {"", " etched", " as polished"};
    bool some = false;
    for (int kind = ANY_KIND; kind <= POLISHED; kind++) {
        const struct kb_survey_row *most = hardest(survey, row, rows, (enum kind)kind);
        if (most != NULL) {
            size_t more = kb_survey_more(most);
            kb_text_format(out, "  measure %zu more field%s%s: %s decides\n", more,
                           more == 1 ? "" : "s", words[kind], kb_quantity_words(most->quantity));
            some = true;
        }
    }
    if (!some && all_known(row, rows)) {
        kb_text_add(out, "  the wanted precision is reached\n");
    }
    for (size_t i = 0; i < rows; i++) {
        if (row[i].value.measured && why_not(&row[i]) != NULL) {
            kb_text_format(out, "  cannot be said: %s\n", why_not(&row[i]));
            break; /* one reason is enough for a table */
        }
    }
}

void kb_survey_table(const struct kb_survey *survey, const struct kb_survey_row *row, size_t rows,
                     struct kb_text *out) {
    kb_text_format(out, "%s · %zu result%s · %zu field%s\n", kb_material_name(survey->material),
                   survey->results, survey->results == 1 ? "" : "s", survey->fields,
                   survey->fields == 1 ? "" : "s");
    kb_text_format(out, "  %-40s%10s%8s%8s%7s%5s\n", "", "value", "now", "wanted", "fields",
                   "more");
    for (size_t i = 0; i < rows; i++) {
        table_row(&row[i], out);
    }
    conclusion(survey, row, rows, out);
    points_note(row, rows, out);
    notes(survey, out);
}

/* ---- for programs ------------------------------------------------------------------------------
 */

static json_t *number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

static json_t *row_object(const struct kb_survey *survey, const struct kb_survey_row *row) {
    static const char *const kind[] = {"any", "etched", "as polished"};
    const struct kb_estimate *value = &row->value;
    bool interval = isfinite(row->half);
    const char *why = why_not(row);
    json_t *ci95 = interval ? json_pack("[f, f]", value->lo, value->hi) : json_null();
    json_t *needed = row->needed > 0 ? json_integer((json_int_t)row->needed) : json_null();
    json_t *more = row->needed > 0 ? json_integer((json_int_t)kb_survey_more(row)) : json_null();
    size_t points = 0;
    const size_t counted = by_points(row, &points);
    json_t *by_hand = counted > 0 ? json_pack("{s:I, s:I}", "grid_points", (json_int_t)points,
                                              "fields", (json_int_t)counted)
                                  : json_null();
    return json_pack(
        "{s:s, s:s, s:o, s:o, s:o, s:o, s:I, s:o, s:o, s:o, s:s, s:o, s:s?}", "quantity",
        kb_quantity_name(row->quantity), "unit", kb_quantity_unit(row->quantity), "value",
        number(value->measured ? value->value : (double)NAN), "ci95", ci95, "half_width",
        number(row->half), "s", number(interval ? value->s : (double)NAN), "fields",
        (json_int_t)value->n, "wanted_half_width", number(row->want), "fields_needed", needed,
        "more_fields", more, "kind_of_fields", kind[kind_of(survey, row)], "point_count", by_hand,
        "why", why);
}

/* Further fields of all kinds together; null when some quantity's number cannot be said. */
static json_t *all_more(const struct kb_survey *survey, const struct kb_survey_row *row,
                        size_t rows) {
    size_t more = 0;
    for (int kind = ANY_KIND; kind <= POLISHED; kind++) {
        const struct kb_survey_row *most = hardest(survey, row, rows, (enum kind)kind);
        more += most != NULL ? kb_survey_more(most) : 0;
    }
    return all_known(row, rows) ? json_integer((json_int_t)more) : json_null();
}

static int put(const char *bytes, size_t size, void *out) {
    kb_text_add_bytes(out, bytes, size);
    return 0;
}

bool kb_survey_json(const struct kb_survey *survey, const struct kb_survey_row *row, size_t rows,
                    struct kb_text *out) {
    json_t *quantities = json_array();
    int bad = 0;
    for (size_t i = 0; i < rows; i++) {
        bad |= json_array_append_new(quantities, row_object(survey, &row[i]));
    }
    json_t *root =
        json_pack("{s:s, s:s, s:I, s:I, s:I, s:I, s:I, s:b, s:b, s:b, s:o, s:o}", "schema",
                  "keelblock.survey/1", "material", kb_material_name(survey->material), "results",
                  (json_int_t)survey->results, "fields", (json_int_t)survey->fields,
                  "fields_etched", (json_int_t)survey->etched, "fields_as_polished",
                  (json_int_t)survey->polished, "fields_given_twice", (json_int_t)survey->repeated,
                  "several_specimens", (int)survey->several_names, "several_minimum_sizes",
                  (int)survey->several_sizes, "without_sums", (int)(survey->without_sums > 0),
                  "quantities", quantities, "more_fields", all_more(survey, row, rows));
    const size_t flags = JSON_INDENT(2) | JSON_REAL_PRECISION(10);
    bool made = root != NULL && bad == 0 && json_dump_callback(root, put, out, flags) == 0;
    kb_text_add(out, "\n");
    json_decref(root);
    return made && !out->failed;
}
