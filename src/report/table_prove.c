/* table_prove.c - a proof in a terminal: the worst row of each series and quantity, then every row
 * that failed. All rows stand in prove.html and prove.json.
 */
#include "prove_show.h"

#include "keelblock/version.h"

#include <string.h>

bool kb_proof_same_series(const struct kb_proof_row *a, const struct kb_proof_row *b) {
    return a->kind == b->kind && strcmp(a->group, b->group) == 0;
}

void kb_proof_figure(const struct kb_proof_row *row, char *to, size_t size) {
    char number[32];
    bool bare = row->unit[0] == '\0';
    int decimals = bare ? 4 : row->kind == KB_PROOF_COVERAGE ? 1 : 2;
    if (!isfinite(row->figure)) {
        (void)snprintf(to, size, "no figure");
        return;
    }
    kb_show_number(number, sizeof number, row->figure, decimals);
    bool zero = strspn(number, "0.") == strlen(number);
    bool minus = number[0] == '-';
    const char *sign = minus ? "−" : row->kind == KB_PROOF_BIAS && !zero ? "+" : "";
    (void)snprintf(to, size, "%s%s%s%s", sign, number + (minus ? 1 : 0), bare ? "" : " ",
                   row->unit);
}

void kb_proof_limits(const struct kb_proof_row *row, char *to, size_t size) {
    if (row->kind == KB_PROOF_COVERAGE) {
        (void)snprintf(to, size, "%g to %g", row->low, row->high);
    } else if (row->kind == KB_PROOF_BIAS) {
        (void)snprintf(to, size, "±%g", row->high);
    } else {
        (void)snprintf(to, size, "≤ %g", row->high);
    }
}

double kb_proof_strain(const struct kb_proof_row *row) {
    if (!isfinite(row->figure)) {
        return (double)INFINITY;
    }
    double middle = row->kind == KB_PROOF_REPEATABILITY || row->kind == KB_PROOF_TURNING
                        ? 0.0
                        : 0.5 * (row->low + row->high);
    double room = row->high - middle;
    return room > 0.0 ? fabs(row->figure - middle) / room : (double)INFINITY;
}

bool kb_proof_worst(const struct kb_proof *proof, size_t start, const char *quantity,
                    struct kb_proof_series *series) {
    *series = (struct kb_proof_series){.worst = NULL};
    const struct kb_proof_row *first = &proof->row[start];
    for (size_t i = start; i < proof->rows && kb_proof_same_series(first, &proof->row[i]); i++) {
        const struct kb_proof_row *row = &proof->row[i];
        if (strcmp(row->quantity, quantity) != 0) {
            continue;
        }
        series->rows++;
        series->passed += row->passed ? 1 : 0;
        bool worse = series->worst == NULL || (!row->passed && series->worst->passed) ||
                     (row->passed == series->worst->passed &&
                      kb_proof_strain(row) > kb_proof_strain(series->worst));
        series->worst = worse ? row : series->worst;
    }
    return series->worst != NULL;
}

/* Whether the quantity of row `at` came up before in its series. */
static bool seen(const struct kb_proof *proof, size_t start, size_t at) {
    for (size_t i = start; i < at; i++) {
        if (strcmp(proof->row[i].quantity, proof->row[at].quantity) == 0) {
            return true;
        }
    }
    return false;
}

static void pad(struct kb_text *out, const char *string, int columns, bool right) {
    int fill = columns - kb_text_columns(string);
    kb_text_format(out, "%*s", right && fill > 0 ? fill : 0, "");
    kb_text_add(out, string);
    kb_text_format(out, "%*s", !right && fill > 0 ? fill : 0, "");
}

static void series_line(struct kb_text *out, const struct kb_proof_series *series) {
    char figure[48], limits[48], share[48];
    kb_proof_figure(series->worst, figure, sizeof figure);
    kb_proof_limits(series->worst, limits, sizeof limits);
    (void)snprintf(share, sizeof share, "%zu of %zu", series->passed, series->rows);
    kb_text_add(out, series->passed == series->rows ? "  ✔ " : "  ✘ ");
    pad(out, series->worst->quantity, 30, false);
    pad(out, figure, 15, true);
    pad(out, limits, 11, true);
    pad(out, share, 10, true);
    kb_text_add(out, "\n");
}

static void all_series(struct kb_text *out, const struct kb_proof *proof) {
    size_t start = 0;
    for (size_t i = 0; i < proof->rows; i++) {
        struct kb_proof_series series;
        if (i == 0 || !kb_proof_same_series(&proof->row[start], &proof->row[i])) {
            start = i;
            kb_text_format(out, "%s\n", proof->row[i].group);
        }
        if (!seen(proof, start, i) &&
            kb_proof_worst(proof, start, proof->row[i].quantity, &series)) {
            series_line(out, &series);
        }
    }
}

static bool same_subject(const struct kb_proof_row *a, const struct kb_proof_row *b) {
    return kb_proof_same_series(a, b) && strcmp(a->subject, b->subject) == 0;
}

static void failures(struct kb_text *out, const struct kb_proof *proof) {
    const struct kb_proof_row *before = NULL;
    for (size_t i = 0; i < proof->rows; i++) {
        const struct kb_proof_row *row = &proof->row[i];
        char figure[48], limits[48];
        if (row->passed) {
            continue;
        }
        if (before == NULL || !same_subject(before, row)) {
            kb_text_format(out, "  %s, %s\n", row->group, row->subject);
            if (row->refused > 0) {
                kb_text_format(out, "    %zu of %zu fields refused: %s\n", row->refused,
                               row->fields, row->why);
            }
        }
        kb_proof_figure(row, figure, sizeof figure);
        kb_proof_limits(row, limits, sizeof limits);
        kb_text_format(out, "    %s: %s, limit %s\n", row->quantity, figure, limits);
        before = row;
    }
}

enum kb_status kb_report_proof_table(const struct kb_proof *proof, struct kb_text *out,
                                     struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    const size_t failed = kb_proof_failed(proof);
    kb_text_format(out, "keelblock %s · %sproof · %zu specimens · %zu fields · %.0f s\n",
                   KB_VERSION, proof->quick ? "quick " : "", proof->specimens, proof->fields,
                   proof->seconds);
    pad(out, "", 34, false);
    pad(out, "worst", 15, true);
    pad(out, "limit", 11, true);
    pad(out, "passed", 10, true);
    kb_text_add(out, "\n");
    all_series(out, proof);
    if (failed == 0) {
        kb_text_format(out, "✔ all %zu rows keep their limits\n", proof->rows);
    } else {
        kb_text_format(out, "✘ %zu of %zu rows failed:\n", failed, proof->rows);
        failures(out, proof);
    }
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
