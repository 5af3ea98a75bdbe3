/* refs_table.h - a table of refs/ in memory. Fails the running test when the file is not as it
 * should be. */
#ifndef KB_TEST_REFS_TABLE_H
#define KB_TEST_REFS_TABLE_H

#include <stdbool.h>
#include <stddef.h>

#define TABLE_COLUMNS 32
#define TABLE_ROWS 256

struct table {
    char *text; /* the file, cut into cells */
    const char *heading[TABLE_COLUMNS];
    const char *cell[TABLE_ROWS][TABLE_COLUMNS];
    size_t columns, rows;
};

void table_read(const char *name, struct table *table);
void table_release(struct table *table);
const char *table_text(const struct table *table, size_t row, const char *heading);
bool table_empty(const struct table *table, size_t row, const char *heading);
double table_number(const struct table *table, size_t row, const char *heading);
/* NaN for an empty cell. */
double table_number_or_open(const struct table *table, size_t row, const char *heading);
/* Fail with row, heading and source when found is further than tolerance from wanted. */
void table_expect(const struct table *table, size_t row, const char *heading, double found,
                  double wanted, double tolerance);

#endif
