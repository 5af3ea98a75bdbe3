/* test_table.c - tables as spreadsheets save them: the cells, the rows as a person counts them, and
 * what is refused. tests/cli/test_manifest.py has every encoding with every separator. */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "pictures_to_files.h"

#include <string.h>

static struct kb_table table;

static enum kb_status read_from(const void *bytes, size_t size, struct kb_err *err) {
    write_bytes(scratch_path("a.csv"), bytes, size);
    return kb_table_read(scratch_path("a.csv"), &table, err);
}

static void read_table(const char *text) {
    struct kb_err err = {.code = KB_OK};
    if (read_from(text, strlen(text), &err) != KB_OK) {
        fail_msg("%s", err.text);
    }
}

static void expect_row(size_t index, int number, size_t cells, const char *const *cell) {
    assert_true(index < table.rows);
    assert_int_equal(table.row[index].number, number);
    assert_int_equal(table.row[index].cells, cells);
    for (size_t i = 0; i < cells; i++) {
        assert_string_equal(table.row[index].cell[i], cell[i]);
    }
}

static void quotes_hold_separators_quotes_and_line_breaks(void **state) {
    (void)state;
    read_table("a,b,c\r\n\"1,2\",\"say \"\"x\"\"\",\"two\r\nlines\"\r\n 5\" pipe , \"q\" ,\n");
    assert_int_equal(table.rows, 3);
    expect_row(0, 1, 3, (const char *const[]){"a", "b", "c"});
    expect_row(1, 2, 3, (const char *const[]){"1,2", "say \"x\"", "two\r\nlines"});
    expect_row(2, 3, 2, (const char *const[]){"5\" pipe", "q"});
    assert_int_equal(table.separator, ',');
    assert_string_equal(table.encoding, "UTF-8");
    kb_table_release(&table);
}

static void rows_count_as_in_the_spreadsheet_and_empty_ones_are_left_out(void **state) {
    (void)state;
    read_table("\n;;\nx;y\n\n;;;\n1;;\n\"a\n\nb\"\n2\n");
    assert_int_equal(table.rows, 4);
    expect_row(0, 3, 2, (const char *const[]){"x", "y"});
    expect_row(1, 6, 1, (const char *const[]){"1"});
    expect_row(2, 7, 1, (const char *const[]){"a\n\nb"});
    expect_row(3, 8, 1, (const char *const[]){"2"});
    kb_table_release(&table);
}

static void a_line_that_names_the_separator_is_no_row_but_counts(void **state) {
    (void)state;
    read_table("sep=\t\r\na\tb,c\r\n");
    assert_int_equal(table.rows, 1);
    expect_row(0, 2, 2, (const char *const[]){"a", "b,c"});
    kb_table_release(&table);
    read_table("sep=none,x\n");
    expect_row(0, 1, 2, (const char *const[]){"sep=none", "x"});
    kb_table_release(&table);
}

static void the_separator_is_looked_for_outside_quotes(void **state) {
    (void)state;
    read_table("\"a,b,c,d\";e\n1;2\n");
    assert_int_equal(table.separator, ';');
    expect_row(0, 1, 2, (const char *const[]){"a,b,c,d", "e"});
    kb_table_release(&table);
    read_table("alone\n");
    expect_row(0, 1, 1, (const char *const[]){"alone"});
    kb_table_release(&table);
}

static void letters_of_every_encoding_arrive_as_utf_8(void **state) {
    (void)state;
    static const char windows[] = "Tr\xe4ger,\x80\n";
    static const char wide[] = "\xff\xfeT\0\xe4\0,\0\x3d\xd8\x2c\xdd"; /* a microscope */
    assert_int_equal(read_from(windows, sizeof windows - 1, NULL), KB_OK);
    expect_row(0, 1, 2, (const char *const[]){"Tr\xc3\xa4ger", "\xe2\x82\xac"});
    assert_string_equal(table.encoding, "Windows-1252");
    kb_table_release(&table);
    assert_int_equal(read_from(wide, sizeof wide - 1, NULL), KB_OK);
    expect_row(0, 1, 2, (const char *const[]){"T\xc3\xa4", "\xf0\x9f\x94\xac"});
    assert_string_equal(table.encoding, "UTF-16");
    kb_table_release(&table);
}

static void the_digest_is_that_of_the_file(void **state) {
    (void)state;
    read_table("abc");
    /* FIPS 180-2, example B.1 */
    assert_string_equal(table.sha256,
                        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    kb_table_release(&table);
    char digest[65];
    assert_int_equal(kb_file_digest(scratch_path("a.csv"), digest, NULL), KB_OK);
    assert_string_equal(digest, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

static void what_is_no_table_is_refused_and_leaves_nothing(void **state) {
    (void)state;
    static const char *const bad[] = {"",      "\n \n;;\n", "\"open", "a\n\"b\"c\n",
                                      "a\x81", "PK\x03\x04"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct kb_err err = {.code = KB_OK};
        assert_int_equal(read_from(bad[i], strlen(bad[i]), &err), KB_E_USAGE);
        assert_null(table.row);
        assert_true(err.text[0] != '\0');
    }
    assert_int_equal(read_from("a\0b", 3, NULL), KB_E_USAGE);
    assert_int_equal(read_from("\xff\xfe\x3d\xd8", 4, NULL), KB_E_USAGE);
    assert_int_equal(read_from("\xfe\xff\xdc\x00", 4, NULL), KB_E_USAGE);
    assert_int_equal(kb_table_read(scratch_path("none.csv"), &table, NULL), KB_E_SYSTEM);
}

static void random_bytes_never_harm(void **state) {
    (void)state;
    static const char letters[] = "\",;\t\n\r ab\xe4\xc3\xa4=\xef\xbb\xbf\xff\xfe";
    uint32_t random = 99;
    char bytes[64];
    for (int round = 0; round < 2000; round++) {
        size_t size = 0;
        for (; size < (size_t)(round % 61); size++) {
            random = random * 1664525u + 1013904223u; /* Numerical Recipes' generator */
            bytes[size] = letters[(random >> 16) % (sizeof letters - 1)];
        }
        if (read_from(bytes, size, NULL) == KB_OK) {
            assert_true(table.rows > 0);
            kb_table_release(&table);
        }
    }
}

static void every_failed_allocation_is_told(void **state) {
    (void)state;
    static const char text[] = "a;b\n\"1;2\";3\n4;\xe4\n";
    write_bytes(scratch_path("a.csv"), text, sizeof text - 1);
    enum kb_status status = KB_E_MEMORY;
    for (size_t n = 1; status != KB_OK; n++) {
        fail_alloc_at(n);
        status = kb_table_read(scratch_path("a.csv"), &table, NULL);
        if (status == KB_OK) {
            kb_table_release(&table);
        } else {
            assert_int_equal(status, KB_E_MEMORY);
        }
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(quotes_hold_separators_quotes_and_line_breaks),
        cmocka_unit_test(rows_count_as_in_the_spreadsheet_and_empty_ones_are_left_out),
        cmocka_unit_test(a_line_that_names_the_separator_is_no_row_but_counts),
        cmocka_unit_test(the_separator_is_looked_for_outside_quotes),
        cmocka_unit_test(letters_of_every_encoding_arrive_as_utf_8),
        cmocka_unit_test(the_digest_is_that_of_the_file),
        cmocka_unit_test(what_is_no_table_is_refused_and_leaves_nothing),
        cmocka_unit_test(random_bytes_never_harm),
        cmocka_unit_test(every_failed_allocation_is_told),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
