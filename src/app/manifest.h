/* manifest.h - a table of specimens and their fields, as a laboratory keeps it in a spreadsheet. */
#ifndef KB_MANIFEST_H
#define KB_MANIFEST_H

#include "request.h"

/* ---- columns (manifest_columns.c) --------------------------------------------------------------
 */

enum kb_column_kind {
    KB_COLUMN_BATCH,
    KB_COLUMN_SPECIMEN,
    KB_COLUMN_FIELD,
    KB_COLUMN_CONTRAST,
    KB_COLUMN_WORD,   /* an option whose value is one of some words */
    KB_COLUMN_TEXT,   /* an option whose value is taken as it is */
    KB_COLUMN_NUMBER, /* an option whose value holds numbers, perhaps with decimal commas */
};

struct kb_column {
    const char *name; /* as a person writes it */
    enum kb_column_kind kind;
    const char *option; /* that takes the value; NULL: none */
    const char *key;    /* of an option that takes any of several keys; NULL: none */
};

/* A column of the file: what it is, and the unit that stands in brackets behind its name. */
struct kb_column_here {
    const struct kb_column *column; /* NULL: the file's column has no name */
    char unit[24];                  /* "" none */
};

/* What a name of the header means. KB_E_USAGE, naming the column, for one that is not known. */
KB_NODISCARD enum kb_status kb_column_find(const struct kb_table *table, size_t index,
                                           struct kb_column_here *here, struct kb_err *err);
/* Fail over a cell: "row 7, column 'Si': " and what is the matter. */
enum kb_status kb_manifest_bad_cell(const struct kb_table *table, const struct kb_table_row *row,
                                    size_t index, const char *what, struct kb_err *err);

/* ---- numbers (manifest_numbers.c) --------------------------------------------------------------
 */

/* Which decimal sign the file is seen to use, beyond doubt. */
struct kb_decimals {
    bool comma, point;
    char separator; /* of the table */
};
void kb_decimals_look(const char *cell, struct kb_decimals *decimals);
/* The cell with decimal points; NULL, or what is wrong with its numbers. */
const char *kb_decimals_to_point(const char *cell, const struct kb_decimals *decimals, char *to,
                                 size_t size);

/* ---- the manifest (manifest.c) -----------------------------------------------------------------
 */

struct kb_manifest_specimen {
    char *batch, *id;
    int row;                         /* where it is named first */
    struct kb_request request;       /* as of a measurement of its own, resolved */
    struct kb_settings_field *field; /* request.fields */
};

struct kb_manifest {
    struct kb_table table;
    struct kb_column_here *column; /* one a column of the header */
    struct kb_decimals decimals;
    struct kb_manifest_specimen *specimen; /* in the order in which they are named first */
    size_t specimens, capacity;
};

/* Paths in it are taken as they stand: be in its folder. `line`: what the command line says of
 * every specimen. KB_E_USAGE names row and column. Release also on failure. */
KB_NODISCARD enum kb_status kb_manifest_read(const char *path, const struct kb_request *line,
                                             struct kb_manifest *manifest, struct kb_err *err);
void kb_manifest_release(struct kb_manifest *manifest);

/* What would be measured, to standard output; the exit code (batch_dry.c). */
int kb_batch_dry_run(const struct kb_order *order, const struct kb_table *table, bool quiet);

#endif
