/* test_job.c - job files: every accepted spelling, every refused line with its number. */
#include "kb_cmocka.h"
#include "pictures_to_files.h"

#include <string.h>
#include <sys/stat.h>

static struct kb_job job;

static void read_job(const char *text) {
    struct kb_err err = {.code = KB_OK};
    write_bytes(scratch_path("a.ini"), text, strlen(text));
    if (kb_job_read(scratch_path("a.ini"), &job, &err) != KB_OK) {
        fail_msg("%s", err.text);
    }
}

static void expect(size_t i, const char *section, const char *key, const char *value, int line) {
    assert_true(i < job.count);
    assert_string_equal(job.entry[i].section, section);
    assert_string_equal(job.entry[i].key, key);
    assert_string_equal(job.entry[i].value, value);
    assert_int_equal(job.entry[i].line, line);
}

static void entries_come_with_section_key_value_and_line(void **state) {
    (void)state;
    read_job("; steering knuckle\n"
             "material = ductile-iron\n"
             "\n"
             "[limits]   # what the buyer wrote\n"
             "nodularity = >= 85 %\n"
             "  pearlite_of_matrix=20..45 %   ; of the matrix\n"
             "empty =\n"
             "# done\n"
             "[specimen]\n"
             "id = Heat #12; block 3\n"
             "nodularity : as agreed\n");
    assert_int_equal(job.count, 6);
    expect(0, "", "material", "ductile-iron", 2);
    expect(1, "limits", "nodularity", ">= 85 %", 5);
    expect(2, "limits", "pearlite_of_matrix", "20..45 %", 6);
    expect(3, "limits", "empty", "", 7);
    expect(4, "specimen", "id", "Heat #12; block 3", 10);
    expect(5, "specimen", "nodularity", "as agreed", 11);
    assert_string_equal(job.path, scratch_path("a.ini"));
    kb_job_release(&job);
    assert_null(job.entry);
}

static void byte_order_mark_carriage_returns_and_a_missing_last_newline_are_fine(void **state) {
    (void)state;
    read_job("\xef\xbb\xbf[a]\r\nk = 0.5 \xc2\xb5m\r\n\r\nlast = \xe2\x82\xac \xf0\x9f\x94\xac");
    assert_int_equal(job.count, 2);
    expect(0, "a", "k", "0.5 \xc2\xb5m", 2);
    expect(1, "a", "last", "\xe2\x82\xac \xf0\x9f\x94\xac", 4);
    kb_job_release(&job);
    read_job("");
    assert_int_equal(job.count, 0);
    kb_job_release(&job);
}

static void the_longest_line_is_kept_whole(void **state) {
    (void)state;
    char text[400] = "k=";
    memset(text + 2, 'v', 195);
    read_job(text); /* 197 bytes */
    assert_int_equal(strlen(job.entry[0].value), 195);
    kb_job_release(&job);
    char section[80] = "[";
    memset(section + 1, 's', 49);
    (void)snprintf(section + 50, sizeof section - 50, "]\nk=v\n");
    read_job(section);
    assert_int_equal(strlen(job.entry[0].section), 49);
    kb_job_release(&job);
}

static void bad_lines_are_refused_with_their_number(void **state) {
    (void)state;
    char long_line[600] = "\nk=";
    memset(long_line + 3, 'v', 400);
    char long_section[120] = "[";
    memset(long_section + 1, 's', 50);
    long_section[51] = ']';
    const struct {
        const char *text, *words;
    } rows[] = {
        {"a = 1\nb = 2\n\na = 3\n", "line 4: 'a' was already said in line 1"},
        {"[x]\na=1\n[y]\na=1\n[x]\nb=1\na=2\n", "line 7: 'a' was already said in line 2"},
        {"a = 1\nnonsense\nb = 2\n", "line 2: neither"},
        {"[open\na = 1\n", "line 1: the section's name has no closing bracket"},
        {"[]\n", "line 1: the section has no name"},
        {"\n[a] b = 1\n", "line 2: text behind the section's bracket"},
        {long_section, "line 1: the section's name is too long"},
        {long_line, "line 2: the line is too long"},
        {" = 5\n", "line 1: a value without a key"},
        {"a = 1\nb = \xb5m\n", "line 2: not UTF-8"},     /* Latin-1 */
        {"a = \xc0\x80\n", "line 1: not UTF-8"},         /* overlong */
        {"a = \xed\xa0\x80\n", "line 1: not UTF-8"},     /* surrogate */
        {"a = \xf5\x80\x80\x80\n", "line 1: not UTF-8"}, /* beyond Unicode */
        {"a = \xe2\x82\n", "line 1: not UTF-8"},         /* cut */
        {"a = 1\rb = 2\n", "line 1: not UTF-8"},         /* lone carriage return */
        {"a = \x1b[31m\n", "line 1: not UTF-8"},         /* control character */
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct kb_err err = {.code = KB_OK};
        const char *path = scratch_path("bad.ini");
        write_bytes(path, rows[i].text, strlen(rows[i].text));
        const enum kb_status status = kb_job_read(path, &job, &err);
        if (status != KB_E_USAGE || strstr(err.text, rows[i].words) == NULL) {
            fail_msg("row %zu: status %d, '%s'; expected '%s'", i, (int)status, err.text,
                     rows[i].words);
        }
        assert_string_equal(err.subject, path);
        assert_null(job.entry);
        assert_null(job.path);
    }
}

static void files_that_are_no_job_file_are_refused(void **state) {
    (void)state;
    struct kb_err err = {.code = KB_OK};
    assert_int_equal(kb_job_read(scratch_path("missing.ini"), &job, &err), KB_E_SYSTEM);
    assert_int_equal(mkfifo(scratch_path("pipe.ini"), 0600), 0);
    assert_int_equal(kb_job_read(scratch_path("pipe.ini"), &job, &err), KB_E_SYSTEM);
    assert_int_equal(kb_job_read(scratch_path("."), &job, &err), KB_E_SYSTEM);
    write_bytes(scratch_path("wide.ini"),
                "\xff\xfe"
                "a\0=\0",
                6); /* UTF-16 */
    assert_int_equal(kb_job_read(scratch_path("wide.ini"), &job, &err), KB_E_USAGE);
    assert_non_null(strstr(err.text, "not a text file"));
    static char large[(1 << 20) + 1];
    memset(large, ' ', sizeof large);
    for (size_t i = 127; i < sizeof large; i += 128) { /* lines that are allowed */
        large[i] = '\n';
    }
    write_bytes(scratch_path("large.ini"), large, sizeof large - 1);
    assert_int_equal(kb_job_read(scratch_path("large.ini"), &job, &err), KB_OK);
    kb_job_release(&job);
    write_bytes(scratch_path("large.ini"), large, sizeof large);
    assert_int_equal(kb_job_read(scratch_path("large.ini"), &job, &err), KB_E_USAGE);
    assert_non_null(strstr(err.text, "too large"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(entries_come_with_section_key_value_and_line),
        cmocka_unit_test(byte_order_mark_carriage_returns_and_a_missing_last_newline_are_fine),
        cmocka_unit_test(the_longest_line_is_kept_whole),
        cmocka_unit_test(bad_lines_are_refused_with_their_number),
        cmocka_unit_test(files_that_are_no_job_file_are_refused),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
