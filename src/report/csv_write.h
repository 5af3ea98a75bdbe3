/* csv_write.h - cells and rows after RFC 4180, on a text buffer. */
#ifndef KB_CSV_WRITE_H
#define KB_CSV_WRITE_H

#include "report_priv.h"

struct kb_csv {
    struct kb_text *out;
    bool some; /* a cell stands before in this row */
};

void kb_csv_next(struct kb_csv *row); /* an empty cell, or the comma before what is added by hand */
void kb_csv_text(struct kb_csv *row, const char *string); /* NULL: empty */
void kb_csv_number(struct kb_csv *row, double value);     /* not finite: empty */
void kb_csv_count(struct kb_csv *row, size_t value);
void kb_csv_end_row(struct kb_csv *row);

/* The columns of fields.csv from "field" to "forms_by_hand", without the end of the row (csv.c). */
void kb_csv_field_header(struct kb_csv *row);
void kb_csv_field(struct kb_csv *row, const struct kb_field_result *field, size_t number);
/* So many of them. */
size_t kb_csv_field_columns(void);

#endif
