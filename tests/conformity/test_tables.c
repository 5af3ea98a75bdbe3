/* test_tables.c - the tables of refs/ themselves: every row has a source and a status, README.md
 * lists every table and no other, and the grades are in a sane order. */
#include "keelblock/base.h"
#include "refs_table.h"

#include <dirent.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static bool is_table(const char *name) {
    size_t length = strlen(name);
    return length > 4 && strcmp(name + length - 4, ".csv") == 0;
}

static void expect_sources(const char *name) {
    static const char *const known[] = {"read", "memory-unverified", "computed"};
    struct table table;
    table_read(name, &table);
    assert_string_equal(table.heading[table.columns - 2], "source");
    assert_string_equal(table.heading[table.columns - 1], "status");
    for (size_t row = 0; row < table.rows; row++) {
        const char *status = table_text(&table, row, "status");
        bool found = false;
        for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
            found = found || strcmp(status, known[i]) == 0;
        }
        if (!found || table_empty(&table, row, "source")) {
            fail_msg("%s, row %zu: status '%s' or no source", name, row + 1, status);
        }
    }
    table_release(&table);
}

static void every_row_names_its_source_and_status(void **state) {
    (void)state;
    DIR *folder = opendir(KB_REFS);
    assert_non_null(folder);
    size_t tables = 0;
    for (struct dirent *entry = readdir(folder); entry != NULL; entry = readdir(folder)) {
        if (is_table(entry->d_name)) {
            expect_sources(entry->d_name);
            tables++;
        }
    }
    (void)closedir(folder);
    assert_true(tables >= 13);
}

static char *read_readme(void) {
    FILE *stream = fopen(KB_REFS "/README.md", "rb");
    assert_non_null(stream);
    enum { LARGEST = 65536 };
    char *text = calloc(1, LARGEST);
    assert_non_null(text);
    assert_true(fread(text, 1, LARGEST - 1, stream) > 0);
    (void)fclose(stream);
    return text;
}

static void the_readme_lists_every_table(void **state) {
    (void)state;
    char *text = read_readme();
    DIR *folder = opendir(KB_REFS);
    assert_non_null(folder);
    for (struct dirent *entry = readdir(folder); entry != NULL; entry = readdir(folder)) {
        char row[300];
        (void)snprintf(row, sizeof row, "| `%s` |", entry->d_name);
        if (is_table(entry->d_name) && strstr(text, row) == NULL) {
            fail_msg("refs/README.md has no row for %s", entry->d_name);
        }
    }
    (void)closedir(folder);
    free(text);
}

static void stronger_grades_stretch_less(void **state) {
    (void)state;
    struct table table;
    table_read("grades_en1563.csv", &table);
    for (size_t row = 1; row < table.rows; row++) {
        assert_true(table_number(&table, row, "rm_mpa") >= table_number(&table, row - 1, "rm_mpa"));
        assert_true(table_number(&table, row, "elongation_percent") <=
                    table_number(&table, row - 1, "elongation_percent"));
        assert_true(table_number(&table, row, "rp02_mpa") < table_number(&table, row, "rm_mpa"));
    }
    table_release(&table);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_row_names_its_source_and_status),
        cmocka_unit_test(the_readme_lists_every_table),
        cmocka_unit_test(stronger_grades_stretch_less),
    };
    return cmocka_run_group_tests_name("tables", tests, NULL, NULL);
}
