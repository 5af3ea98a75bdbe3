/* test_csv_writer.c - the tables read back after the grammar of RFC 4180, section 2. */
#include "sample_result.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { COLUMNS_MOST = 64, CELL_MOST = 512 };

struct record {
    char cell[COLUMNS_MOST][CELL_MOST];
    size_t cells;
};

/* One record; fails the test where the grammar is broken. Returns what follows. */
static const char *next_record(const char *at, struct record *record) {
    record->cells = 0;
    for (;;) {
        char *to = record->cell[record->cells];
        size_t used = 0;
        assert_true(record->cells < COLUMNS_MOST);
        if (*at == '"') {
            for (at++; *at != '"' || at[1] == '"'; at++) {
                assert_int_not_equal(*at, '\0');
                at += *at == '"' ? 1 : 0;
                to[used++] = *at;
                assert_true(used < CELL_MOST);
            }
            at++;
        } else {
            for (; *at != ',' && *at != '\r'; at++) {
                assert_null(strchr("\"\n", *at)); /* also catches the end of the text */
                to[used++] = *at;
                assert_true(used < CELL_MOST);
            }
        }
        to[used] = '\0';
        record->cells++;
        if (*at == '\r') {
            assert_int_equal(at[1], '\n');
            return at + 2;
        }
        assert_int_equal(*at, ',');
        at++;
    }
}

static size_t column(const struct record *header, const char *name) {
    for (size_t i = 0; i < header->cells; i++) {
        if (strcmp(header->cell[i], name) == 0) {
            return i;
        }
    }
    fail_msg("no column %s", name);
    return 0;
}

static struct record header, row;

static void fields_have_one_row_each_and_as_many_cells_as_the_header(void **state) {
    (void)state;
    static const struct sample_options options[] = {{.fields = 1},
                                                    {.fields = 60},
                                                    {.fields = 3, .steel = true},
                                                    {.fields = 3, .no_scale = true},
                                                    {.fields = 2, .hostile = true}};
    for (size_t i = 0; i < sizeof options / sizeof options[0]; i++) {
        struct kb_result result;
        struct kb_text text = KB_TEXT_INIT;
        sample_result_make(&options[i], &result);
        assert_int_equal(kb_report_fields_csv(&result, &text, NULL), KB_OK);
        const char *at = next_record(text.data, &header);
        for (size_t k = 0; k < options[i].fields; k++) {
            at = next_record(at, &row);
            assert_int_equal(row.cells, header.cells);
            assert_int_equal(strtoul(row.cell[0], NULL, 10), k + 1);
        }
        assert_int_equal(*at, '\0');
        assert_null(strstr(text.data, "nan"));
        kb_text_release(&text);
        kb_result_release(&result);
    }
}

static void unmeasured_figures_are_empty_cells(void **state) {
    (void)state;
    struct kb_result result;
    struct kb_text text = KB_TEXT_INIT;
    sample_result_make(&(struct sample_options){.fields = 1, .no_scale = true}, &result);
    assert_int_equal(kb_report_fields_csv(&result, &text, NULL), KB_OK);
    (void)next_record(next_record(text.data, &header), &row);
    assert_string_equal(row.cell[column(&header, "pixel_size_um")], "");
    assert_string_equal(row.cell[column(&header, "area_mm2")], "");
    assert_string_equal(row.cell[column(&header, "nodules_per_mm2")], "");
    assert_string_equal(row.cell[column(&header, "findings")], "scale-unknown");
    assert_string_not_equal(row.cell[column(&header, "pearlite_fraction")], "");
    kb_text_release(&text);
    kb_result_release(&result);
}

static void particles_have_one_row_each_with_lengths_in_pixels_and_um(void **state) {
    (void)state;
    struct kb_result result;
    struct kb_text text = KB_TEXT_INIT;
    sample_result_make(&(struct sample_options){.fields = 3}, &result);
    assert_int_equal(kb_report_particles_csv(&result, &text, NULL), KB_OK);
    const char *at = next_record(text.data, &header);
    size_t px = column(&header, "feret_max_px"), um = column(&header, "feret_max_um");
    size_t area_px = column(&header, "area_px2"), area_um = column(&header, "area_um2");
    for (size_t i = 0; i < 3; i++) {
        for (size_t k = 0; k < result.field[i].particles.count; k++) {
            at = next_record(at, &row);
            assert_int_equal(row.cells, header.cells);
            /* 0.5 um a pixel; six digits are written */
            double length = strtod(row.cell[px], NULL), area = strtod(row.cell[area_px], NULL);
            assert_true(fabs(strtod(row.cell[um], NULL) / length - 0.5) <= 1e-5);
            assert_true(fabs(strtod(row.cell[area_um], NULL) / area - 0.25) <= 1e-5);
        }
    }
    assert_int_equal(*at, '\0');
    kb_text_release(&text);
    kb_result_release(&result);
}

static void text_that_a_spreadsheet_would_run_is_made_harmless(void **state) {
    (void)state;
    struct kb_result result;
    struct kb_text text = KB_TEXT_INIT;
    sample_result_make(&(struct sample_options){.fields = 1}, &result);
    kb_free(result.field[0].path);
    result.field[0].path = kb_copy_string("=HYPERLINK(\"x\"),1.tif");
    assert_int_equal(kb_report_fields_csv(&result, &text, NULL), KB_OK);
    (void)next_record(next_record(text.data, &header), &row);
    assert_string_equal(row.cell[column(&header, "file")], "'=HYPERLINK(\"x\"),1.tif");
    kb_text_release(&text);
    kb_result_release(&result);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fields_have_one_row_each_and_as_many_cells_as_the_header),
        cmocka_unit_test(unmeasured_figures_are_empty_cells),
        cmocka_unit_test(particles_have_one_row_each_with_lengths_in_pixels_and_um),
        cmocka_unit_test(text_that_a_spreadsheet_would_run_is_made_harmless),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
