/* table_cells.c - rows and cells of what a spreadsheet saved as text, after RFC 4180 and what is
 * met beside it: semicolons (where the comma is the decimal sign) and tabs, single carriage
 * returns, a first line "sep=;", empty rows and columns at the ends.
 *
 * A cell is quoted when its first character behind blanks is a quote; a quote inside an unquoted
 * cell is an inch sign. Rows are counted as the spreadsheet counts them: a line break inside quotes
 * does not begin a row, and empty rows count.
 */
#include "intake_priv.h"

#include <errno.h>
#include <string.h>

/* A manifest of a hundred thousand fields fits. */
#define TABLE_MAX ((size_t)1 << 26)

struct reading {
    struct kb_table *table;
    const char *at; /* what is left */
    int number;     /* of the row being read */
    struct kb_text cell;
    struct kb_err *err;
};

static enum kb_status bad(struct reading *reading, int number, const char *what) {
    return kb_fail(reading->err, KB_E_USAGE, KB_INTAKE, reading->table->path, "row %d: %s", number,
                   what);
}

static bool ends_row(char c) {
    return c == '\0' || c == '\n' || c == '\r';
}

static void skip_line_end(struct reading *reading) {
    if (*reading->at == '\r') {
        reading->at++;
    }
    if (*reading->at == '\n') {
        reading->at++;
    }
}

/* ---- cells ---- */

/* Blanks, also those that do not break, off both ends. */
static char *trim_cell(char *cell) {
    static const char no_break[] = "\xc2\xa0";
    char *begin = kb_trim(cell);
    while (strncmp(begin, no_break, 2) == 0) {
        begin = kb_trim(begin + 2);
    }
    for (size_t length = strlen(begin); length >= 2 && strcmp(begin + length - 2, no_break) == 0;
         length = strlen(begin)) {
        begin[length - 2] = '\0';
        begin = kb_trim(begin);
    }
    return begin;
}

/* Behind the opening quote; leaves `at` on what ends the cell. */
static enum kb_status read_quoted(struct reading *reading) {
    const int began = reading->number;
    for (;;) {
        const size_t length = strcspn(reading->at, "\"");
        kb_text_add_bytes(&reading->cell, reading->at, length);
        reading->at += length;
        if (*reading->at == '\0') {
            return bad(reading, began, "a quote is opened and not closed (close or double it)");
        }
        if (reading->at[1] != '"') {
            break;
        }
        kb_text_add(&reading->cell, "\"");
        reading->at += 2;
    }
    reading->at++;
    while (*reading->at == ' ' || (*reading->at == '\t' && reading->table->separator != '\t')) {
        reading->at++;
    }
    if (!ends_row(*reading->at) && *reading->at != reading->table->separator) {
        return bad(reading, began, "text stands behind a closing quote (double quotes inside)");
    }
    return KB_OK;
}

/* The next cell into reading->cell. */
static enum kb_status read_cell(struct reading *reading) {
    const char stop[] = {reading->table->separator, '\n', '\r', '\0'};
    const char *begin = reading->at;
    while (*begin == ' ' || (*begin == '\t' && reading->table->separator != '\t')) {
        begin++;
    }
    if (*begin == '"') {
        reading->at = begin + 1;
        return read_quoted(reading);
    }
    const size_t length = strcspn(reading->at, stop);
    kb_text_add_bytes(&reading->cell, reading->at, length);
    reading->at += length;
    return KB_OK;
}

static enum kb_status add_cell(struct reading *reading, struct kb_table_row *row,
                               size_t *capacity) {
    void *items = row->cell;
    char *copy = NULL;
    if (!reading->cell.failed) {
        copy = kb_copy_string(reading->cell.data != NULL ? trim_cell(reading->cell.data) : "");
    }
    kb_text_release(&reading->cell);
    if (copy == NULL || !kb_grow(&items, row->cells, capacity, sizeof *row->cell)) {
        kb_free(copy);
        return kb_fail_memory(reading->err, KB_INTAKE, row->cells * sizeof *row->cell);
    }
    row->cell = items;
    row->cell[row->cells++] = copy;
    return KB_OK;
}

/* ---- rows ---- */

static void release_row(struct kb_table_row *row) {
    for (size_t i = 0; i < row->cells; i++) {
        kb_free(row->cell[i]);
    }
    kb_free(row->cell);
    *row = (struct kb_table_row){.cell = NULL};
}

static void drop_empty_end(struct kb_table_row *row) {
    while (row->cells > 0 && row->cell[row->cells - 1][0] == '\0') {
        kb_free(row->cell[--row->cells]);
    }
}

static enum kb_status read_row(struct reading *reading, struct kb_table_row *row) {
    size_t capacity = 0;
    enum kb_status status = KB_OK;
    *row = (struct kb_table_row){.number = reading->number};
    for (bool more = true; more && status == KB_OK;) {
        status = read_cell(reading);
        if (status == KB_OK) {
            status = add_cell(reading, row, &capacity);
        }
        more = *reading->at == reading->table->separator;
        reading->at += more ? 1 : 0;
    }
    kb_text_release(&reading->cell);
    skip_line_end(reading);
    drop_empty_end(row);
    return status;
}

static enum kb_status keep_row(struct reading *reading, struct kb_table_row *row) {
    struct kb_table *table = reading->table;
    void *items = table->row;
    if (row->cells == 0) {
        release_row(row);
        return KB_OK;
    }
    if (!kb_grow(&items, table->rows, &table->capacity, sizeof *table->row)) {
        return kb_fail_memory(reading->err, KB_INTAKE, sizeof *table->row);
    }
    table->row = items;
    table->row[table->rows++] = *row;
    *row = (struct kb_table_row){.cell = NULL};
    return KB_OK;
}

/* ---- the separator ---- */

/* "sep=;" on a line of its own: says it, and is no row of the table. */
static bool take_sep_line(struct reading *reading) {
    static const char start[] = "sep=";
    const char *at = reading->at;
    if (strncmp(at, start, sizeof start - 1) != 0 || at[4] == '\0' ||
        strchr(",;\t", at[4]) == NULL || !ends_row(at[5])) {
        return false;
    }
    reading->table->separator = at[4];
    reading->at += 5;
    skip_line_end(reading);
    reading->number++;
    return true;
}

/* The one that the first row that is not empty has most of, outside quotes. */
static char find_separator(const char *at) {
    static const char candidate[] = {',', ';', '\t'};
    size_t count[sizeof candidate] = {0};
    bool quoted = false, any = false;
    for (; *at != '\0' && (quoted || !any || !ends_row(*at)); at++) {
        quoted = quoted != (*at == '"');
        any = any || (!ends_row(*at) && *at != ' ');
        for (size_t i = 0; i < sizeof candidate && !quoted; i++) {
            count[i] += *at == candidate[i] ? 1 : 0;
        }
    }
    size_t best = 0;
    for (size_t i = 1; i < sizeof candidate; i++) {
        best = count[i] > count[best] ? i : best;
    }
    return candidate[best];
}

/* ---- the file ---- */

static enum kb_status read_rows(struct kb_table *table, const char *text, struct kb_err *err) {
    struct reading reading = {.table = table, .at = text, .number = 1, .err = err};
    if (!take_sep_line(&reading)) {
        table->separator = find_separator(text);
    }
    enum kb_status status = KB_OK;
    while (*reading.at != '\0' && status == KB_OK) {
        struct kb_table_row row;
        status = read_row(&reading, &row);
        if (status == KB_OK) {
            status = keep_row(&reading, &row);
        }
        release_row(&row);
        reading.number++;
    }
    if (status == KB_OK && table->rows == 0) {
        status = kb_fail(err, KB_E_USAGE, KB_INTAKE, table->path,
                         "the table is empty (a first row of column names is needed)");
    }
    return status;
}

static enum kb_status load(const char *path, uint8_t *bytes, size_t *size, struct kb_err *err) {
    FILE *stream = fopen(path, "rbe");
    if (stream == NULL) {
        return kb_fail(err, KB_E_SYSTEM, KB_INTAKE, path,
                       "the table cannot be read: %s (check the name and its permissions)",
                       strerror(errno));
    }
    *size = fread(bytes, 1, TABLE_MAX + 1, stream);
    const bool failed = ferror(stream) != 0;
    (void)fclose(stream);
    if (failed) {
        return kb_fail(err, KB_E_SYSTEM, KB_INTAKE, path, "the table cannot be read: %s",
                       strerror(errno));
    }
    if (*size > TABLE_MAX) {
        return kb_fail(err, KB_E_USAGE, KB_INTAKE, path,
                       "too large for a table (at most 64 MiB; is it the right file?)");
    }
    if (*size >= 4 && memcmp(bytes, "PK\x03\x04", 4) == 0) {
        return kb_fail(err, KB_E_USAGE, KB_INTAKE, path,
                       "a spreadsheet's own file, not text (save it as CSV)");
    }
    return KB_OK;
}

static enum kb_status read_text(struct kb_table *table, const uint8_t *bytes, size_t size,
                                struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    const char *trouble = kb_table_text(bytes, size, &text, &table->encoding);
    enum kb_status status = KB_OK;
    if (text.failed) {
        status = kb_fail_memory(err, KB_INTAKE, size);
    } else if (trouble != NULL) {
        status = kb_fail(err, KB_E_USAGE, KB_INTAKE, table->path, "%s", trouble);
    } else {
        status = read_rows(table, text.data != NULL ? text.data : "", err);
    }
    kb_text_release(&text);
    return status;
}

enum kb_status kb_table_read(const char *path, struct kb_table *table, struct kb_err *err) {
    *table = (struct kb_table){.path = kb_copy_string(path)};
    uint8_t *bytes = kb_alloc(TABLE_MAX + 1, 1);
    size_t size = 0;
    enum kb_status status = KB_OK;
    if (table->path == NULL || bytes == NULL) {
        status = kb_fail_memory(err, KB_INTAKE, TABLE_MAX + 1);
    }
    if (status == KB_OK) {
        status = load(path, bytes, &size, err);
    }
    if (status == KB_OK) {
        kb_digest(bytes, size, table->sha256);
        status = read_text(table, bytes, size, err);
    }
    kb_free(bytes);
    if (status != KB_OK) {
        kb_table_release(table);
    }
    return status;
}

void kb_table_release(struct kb_table *table) {
    for (size_t i = 0; i < table->rows; i++) {
        release_row(&table->row[i]);
    }
    kb_free(table->row);
    kb_free(table->path);
    *table = (struct kb_table){.path = NULL};
}
