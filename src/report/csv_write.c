/* csv_write.c - cells and rows after RFC 4180: CRLF line ends, UTF-8, quotes where a cell holds a
 * comma, a quote or a line break.
 *
 * Text from outside that a spreadsheet would take for a formula (first character = + - @ or a tab)
 * gets an apostrophe before it.
 */
#include "csv_write.h"

#include <string.h>

enum { CSV_DIGITS = 6 };

void kb_csv_next(struct kb_csv *row) {
    if (row->some) {
        kb_text_add(row->out, ",");
    }
    row->some = true;
}

void kb_csv_end_row(struct kb_csv *row) {
    kb_text_add(row->out, "\r\n");
    row->some = false;
}

void kb_csv_text(struct kb_csv *row, const char *string) {
    kb_csv_next(row);
    if (string == NULL) {
        return;
    }
    bool formula = string[0] != '\0' && strchr("=+-@\t\r", string[0]) != NULL;
    bool quote = formula || strpbrk(string, ",\"\r\n") != NULL;
    kb_text_add(row->out, quote ? "\"" : "");
    kb_text_add(row->out, formula ? "'" : "");
    uint32_t code = 0;
    while (kb_text_next(&string, &code)) {
        if (code == '"') {
            kb_text_add(row->out, "\"");
        }
        kb_text_put(row->out, code);
    }
    kb_text_add(row->out, quote ? "\"" : "");
}

void kb_csv_number(struct kb_csv *row, double value) {
    kb_csv_next(row);
    if (isfinite(value)) {
        kb_text_significant(row->out, value, CSV_DIGITS);
    }
}

void kb_csv_count(struct kb_csv *row, size_t value) {
    kb_csv_next(row);
    kb_text_format(row->out, "%zu", value);
}
