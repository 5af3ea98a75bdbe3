/* survey_want.c - what precision is wished, and how many fields it takes.
 *
 * The figures are those that `measure` would give if all fields had been one specimen (specimen.h);
 * the number of fields is the smallest n with t(n) s / sqrt(n) <= half-width, s as seen so far
 * (ASTM E562's interval turned round, from memory). Where the interval is still wider than wished
 * although n fields would do by that formula (an interval widened to what the number of particles
 * allows), one more field is asked for: it cannot be said better.
 */
#include "survey.h"

#include <string.h>

static const enum kb_quantity known[KB_SURVEY_ROWS] = {
    KB_Q_NODULARITY,
    KB_Q_NODULARITY_E2567,
    KB_Q_NODULARITY_ISO16112,
    KB_Q_NODULARITY_BY_COUNT,
    KB_Q_NODULES_PER_MM2,
    KB_Q_MEAN_FERET_UM,
    KB_Q_GRAPHITE,
    KB_Q_FERRITE,
    KB_Q_PEARLITE,
    KB_Q_CEMENTITE,
    KB_Q_PEARLITE_OF_MATRIX,
};

bool kb_survey_relative(enum kb_quantity quantity) {
    return quantity == KB_Q_NODULES_PER_MM2 || quantity == KB_Q_MEAN_FERET_UM;
}

/* ---- what was said -----------------------------------------------------------------------------
 */

/* "±3%", "+-3 %", "+/-3%", "3%" to 3. */
static bool parse_half_width(char *text, double *percent) {
    static const char *const sign[] = {"\xc2\xb1", "+/-", "+-"};
    char *at = kb_trim(text);
    for (size_t i = 0; i < sizeof sign / sizeof sign[0]; i++) {
        if (strncmp(at, sign[i], strlen(sign[i])) == 0) {
            at = kb_trim(at + strlen(sign[i]));
            break;
        }
    }
    size_t length = strlen(at);
    if (length < 2 || at[length - 1] != '%') {
        return false;
    }
    at[length - 1] = '\0';
    return kb_parse_number(kb_trim(at), percent) && *percent > 0.0 && *percent <= 100.0;
}

static bool find_quantity(const char *name, enum kb_quantity *quantity) {
    for (size_t i = 0; i < KB_SURVEY_ROWS; i++) {
        if (strcmp(name, kb_quantity_name(known[i])) == 0) {
            *quantity = known[i];
            return true;
        }
    }
    return false;
}

static enum kb_status unknown_quantity(const struct kb_assignment *from, const char *name,
                                       struct kb_err *err) {
    const char *names[KB_SURVEY_ROWS];
    for (size_t i = 0; i < KB_SURVEY_ROWS; i++) {
        names[i] = kb_quantity_name(known[i]);
    }
    const char *near = kb_nearest_name(name, names, KB_SURVEY_ROWS);
    return kb_fail(err, KB_E_USAGE, "app", from->where, "there is no quantity '%.40s' (%s%s%s)",
                   name,
                   near != NULL ? "did you mean "
                                : "nodularity, nodules_per_mm2, graphite, "
                                  "ferrite, pearlite, pearlite_of_matrix",
                   near != NULL ? near : "", near != NULL ? "?" : ", for example");
}

enum kb_status kb_own_want(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err) {
    char text[96];
    struct kb_want want = {KB_Q_NODULARITY, 0.0};
    bool fits = (size_t)snprintf(text, sizeof text, "%s", from->value) < sizeof text;
    char *equals = fits ? strchr(text, '=') : NULL;
    if (equals == NULL) {
        return kb_refuse(from, err, "is no wish (write nodularity=±3%)");
    }
    *equals = '\0';
    char *name = kb_trim(text);
    if (!find_quantity(name, &want.quantity)) {
        return unknown_quantity(from, name, err);
    }
    if (!parse_half_width(equals + 1, &want.percent)) {
        return kb_refuse(from, err, "is no half-width (write ±3%, above 0 and up to 100 %)");
    }
    for (size_t i = 0; i < request->wants; i++) {
        if (request->want[i].quantity == want.quantity) { /* the last one said wins */
            request->want[i] = want;
            return KB_OK;
        }
    }
    request->want[request->wants++] = want; /* KB_WANTS_MAX exceeds the quantities there are */
    return KB_OK;
}

/* ---- what it takes -----------------------------------------------------------------------------
 */

/* Wished half-width in the unit of the estimate, NaN where nothing is wished. */
static double wish(const struct kb_want *want, size_t wants, enum kb_quantity quantity,
                   const struct kb_estimate *value) {
    for (size_t i = 0; i < wants; i++) {
        if (want[i].quantity == quantity) {
            return kb_survey_relative(quantity) ? 0.01 * want[i].percent * value->value
                                                : want[i].percent;
        }
    }
    return (double)NAN;
}

/* The wishes of `measure` when none are said. */
static size_t default_wants(struct kb_want want[KB_WANTS_MAX]) {
    const struct kb_specimen_params params = kb_specimen_params_default();
    const double phase = 100.0 * params.want_points;
    const struct kb_want usual[] = {
        {KB_Q_NODULARITY, params.want_nodularity_points},
        {KB_Q_NODULES_PER_MM2, 100.0 * params.want_count_share},
        {KB_Q_GRAPHITE, phase},
        {KB_Q_FERRITE, phase},
        {KB_Q_PEARLITE, phase},
        {KB_Q_CEMENTITE, phase},
        {KB_Q_PEARLITE_OF_MATRIX, phase},
    };
    memcpy(want, usual, sizeof usual);
    return sizeof usual / sizeof usual[0];
}

static size_t fields_needed(const struct kb_survey_row *row) {
    if (!isfinite(row->half) || !isfinite(row->want)) {
        return 0;
    }
    size_t needed = kb_fields_for(row->value.s, row->want);
    bool wide = row->half > row->want;
    return wide && needed > 0 && needed <= row->value.n ? row->value.n + 1 : needed;
}

static struct kb_survey_row make_row(const struct kb_specimen *specimen, enum kb_quantity quantity,
                                     const struct kb_want *want, size_t wants) {
    static const struct kb_carbon no_carbon = {0};
    struct kb_survey_row row = {.quantity = quantity};
    row.value = kb_quantity_value(quantity, specimen, &no_carbon);
    bool interval = row.value.measured && row.value.has_interval;
    row.half = interval ? 0.5 * (row.value.hi - row.value.lo) : (double)NAN;
    row.want = wish(want, wants, quantity, &row.value);
    row.needed = fields_needed(&row);
    return row;
}

static bool is_wished(const struct kb_want *want, size_t wants, enum kb_quantity quantity) {
    for (size_t i = 0; i < wants; i++) {
        if (want[i].quantity == quantity) {
            return true;
        }
    }
    return false;
}

enum kb_status kb_survey_run(const struct kb_survey *survey, const struct kb_want *want,
                             size_t wants, struct kb_survey_row row[KB_SURVEY_ROWS], size_t *rows,
                             struct kb_err *err) {
    const struct kb_specimen_params params = kb_specimen_params_default();
    struct kb_want usual[KB_WANTS_MAX];
    bool asked = wants > 0;
    if (!asked) {
        wants = default_wants(usual);
        want = usual;
    }
    struct kb_specimen specimen;
    enum kb_status status =
        kb_specimen_run(survey->field, survey->fields, survey->material, &params, &specimen, err);
    *rows = 0;
    if (status != KB_OK) {
        return status;
    }
    for (size_t i = 0; i < KB_SURVEY_ROWS; i++) {
        struct kb_survey_row made = make_row(&specimen, known[i], want, wants);
        bool wished = is_wished(want, wants, known[i]);
        if (asked ? wished : wished && made.value.measured) {
            row[(*rows)++] = made;
        }
    }
    kb_specimen_release(&specimen);
    return KB_OK;
}

bool kb_survey_is_phase(enum kb_quantity quantity) {
    return quantity == KB_Q_GRAPHITE || quantity == KB_Q_FERRITE || quantity == KB_Q_PEARLITE ||
           quantity == KB_Q_CEMENTITE;
}

size_t kb_survey_more(const struct kb_survey_row *row) {
    return row->needed > row->value.n ? row->needed - row->value.n : 0;
}
