/* refs_table.c - comma-separated cells, quoted where they hold a comma; lines that begin with # are
 * remarks; the first other line holds the headings. */
#include "refs_table.h"

#include "keelblock/base.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static char *read_file(const char *name) {
    char path[1024];
    (void)snprintf(path, sizeof path, "%s/%s", KB_REFS, name);
    FILE *stream = fopen(path, "rb");
    if (stream == NULL) {
        fail_msg("cannot open %s", path);
        return NULL;
    }
    enum { LARGEST = 65536 };
    char *text = calloc(1, LARGEST);
    assert_non_null(text);
    size_t length = fread(text, 1, LARGEST - 1, stream);
    (void)fclose(stream);
    assert_in_range(length, 1, LARGEST - 2);
    return text;
}

/* Cut one cell off at *at; returns it. *end: the character that ended it. */
static char *cut_cell(char **at, char *end) {
    char *cell = *at;
    char *c = cell;
    if (*c == '"') {
        cell++;
        c = strchr(cell, '"');
        assert_non_null(c);
        *c++ = '\0';
    } else {
        c += strcspn(c, ",\n");
    }
    *end = *c;
    if (*c != '\0') {
        *c++ = '\0';
    }
    *at = c;
    return cell;
}

static size_t cut_row(char **at, const char *cell[TABLE_COLUMNS]) {
    size_t count = 0;
    char end = ',';
    while (end == ',') {
        assert_in_range(count, 0, TABLE_COLUMNS - 1);
        cell[count++] = cut_cell(at, &end);
    }
    return count;
}

static void skip_remarks(char **at) {
    while (**at == '#') {
        *at += strcspn(*at, "\n");
        *at += **at == '\n' ? 1 : 0;
    }
}

void table_read(const char *name, struct table *table) {
    table->text = read_file(name);
    table->rows = 0;
    char *at = table->text;
    skip_remarks(&at);
    table->columns = cut_row(&at, table->heading);
    for (skip_remarks(&at); *at != '\0'; skip_remarks(&at)) {
        assert_in_range(table->rows, 0, TABLE_ROWS - 1);
        size_t count = cut_row(&at, table->cell[table->rows]);
        if (count != table->columns) {
            fail_msg("%s: row %zu has %zu cells, not %zu", name, table->rows + 1, count,
                     table->columns);
        }
        table->rows++;
    }
    assert_true(table->rows > 0);
}

void table_release(struct table *table) {
    free(table->text);
    table->text = NULL;
}

const char *table_text(const struct table *table, size_t row, const char *heading) {
    for (size_t i = 0; i < table->columns; i++) {
        if (strcmp(table->heading[i], heading) == 0) {
            return table->cell[row][i];
        }
    }
    fail_msg("no column '%s'", heading);
    return "";
}

bool table_empty(const struct table *table, size_t row, const char *heading) {
    return table_text(table, row, heading)[0] == '\0';
}

double table_number(const struct table *table, size_t row, const char *heading) {
    double number = 0.0;
    const char *text = table_text(table, row, heading);
    if (!kb_parse_number(text, &number)) {
        fail_msg("row %zu, '%s': '%s' is no number", row + 1, heading, text);
    }
    return number;
}

double table_number_or_open(const struct table *table, size_t row, const char *heading) {
    return table_empty(table, row, heading) ? (double)NAN : table_number(table, row, heading);
}

void table_expect(const struct table *table, size_t row, const char *heading, double found,
                  double wanted, double tolerance) {
    if (!(fabs(found - wanted) <= tolerance)) {
        fail_msg("row %zu, %s: found %.10g, published %.10g within %g (%s)", row + 1, heading,
                 found, wanted, tolerance, table_text(table, row, "source"));
    }
}
