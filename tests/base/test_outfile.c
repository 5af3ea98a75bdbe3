/* test_outfile.c - files appear whole or not at all. */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "keelblock/base.h"

#include <dirent.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <unistd.h>

static char folder[64];

static int make_scratch(void **state) {
    (void)state;
    (void)snprintf(folder, sizeof folder, "/tmp/kb-outfile-XXXXXX");
    return mkdtemp(folder) == NULL;
}

static int entries(const char *path) {
    DIR *dir = opendir(path);
    assert_non_null(dir);
    int n = 0;
    while (readdir(dir) != NULL) {
        n++;
    }
    (void)closedir(dir);
    return n - 2;
}

static int drop_scratch(void **state) {
    (void)state;
    char command[128];
    (void)snprintf(command, sizeof command, "rm -rf %s", folder);
    return system(command);
}

static char *in_scratch(const char *name) {
    char *path = kb_join_path(folder, name);
    assert_non_null(path);
    return path;
}

static void content_of(const char *path, char *text, size_t size) {
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    text[fread(text, 1, size - 1, file)] = '\0';
    (void)fclose(file);
}

static void a_written_file_replaces_the_old_one_whole(void **state) {
    (void)state;
    char *path = in_scratch("a.txt");
    char text[32];
    assert_int_equal(kb_write_file(path, "old", 3, NULL), KB_OK);
    assert_int_equal(kb_write_file(path, "new words", 9, NULL), KB_OK);
    content_of(path, text, sizeof text);
    assert_string_equal(text, "new words");
    assert_int_equal(entries(folder), 1);
    kb_free(path);
}

static void an_abandoned_file_leaves_the_old_one(void **state) {
    (void)state;
    char *path = in_scratch("a.txt");
    assert_int_equal(kb_write_file(path, "old", 3, NULL), KB_OK);
    struct kb_outfile out;
    assert_int_equal(kb_outfile_open(path, &out, NULL), KB_OK);
    (void)fputs("half", out.stream);
    kb_outfile_abandon(&out);
    kb_outfile_abandon(&out);
    char text[32];
    content_of(path, text, sizeof text);
    assert_string_equal(text, "old");
    assert_int_equal(entries(folder), 1);
    kb_free(path);
}

static void a_full_disk_is_an_error_and_leaves_nothing(void **state) {
    (void)state;
    char *path = in_scratch("b.bin");
    char *data = kb_alloc_zero(1 << 20, 1);
    struct rlimit before;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    struct rlimit small = {4096, before.rlim_max};
    (void)signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
    struct kb_err err;
    enum kb_status status = kb_write_file(path, data, 1 << 20, &err);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    assert_int_equal(status, KB_E_SYSTEM);
    assert_non_null(strstr(err.text, "free some space"));
    assert_int_equal(access(path, F_OK), -1);
    assert_int_equal(entries(folder), 1); /* a.txt of before */
    kb_free(data);
    kb_free(path);
}

static void a_file_in_the_way_of_a_folder_is_named(void **state) {
    (void)state;
    char *file = in_scratch("a.txt");
    char *below = in_scratch("a.txt/deeper");
    struct kb_err err;
    assert_int_equal(kb_make_folder(below, &err), KB_E_SYSTEM);
    assert_string_equal(err.subject, below);
    assert_int_equal(kb_make_folder("", &err), KB_E_SYSTEM);
    char *deep = in_scratch("x/y/z");
    assert_int_equal(kb_make_folder(deep, &err), KB_OK);
    assert_int_equal(kb_make_folder(deep, &err), KB_OK);
    assert_int_equal(kb_write_file(deep, "x", 1, &err), KB_E_SYSTEM); /* a folder stands there */
    assert_int_equal(entries(deep), 0);
    kb_free(deep);
    kb_free(below);
    kb_free(file);
}

static void every_failed_allocation_is_reported_and_nothing_leaks(void **state) {
    (void)state;
    char *path = in_scratch("c.txt");
    for (size_t n = 1;; n++) {
        fail_alloc_at(n);
        enum kb_status status = kb_write_file(path, "x", 1, NULL);
        long open_blocks = fail_alloc_open_blocks();
        int failed = fail_alloc_happened();
        fail_alloc_at(0);
        assert_int_equal(open_blocks, 0);
        if (!failed) {
            assert_int_equal(status, KB_OK);
            break;
        }
        assert_int_equal(status, KB_E_MEMORY);
        assert_int_equal(access(path, F_OK), -1);
    }
    kb_free(path);
}

/* What a killed program leaves goes, and nothing else does, however much it looks like it. */
static void what_a_killed_program_left_is_tidied_away(void **state) {
    (void)state;
    static const char *const stay[] = {".hidden", "plain.1-2",  ".a.1-", ".a.-2",
                                       ".a.x1-2", ".a.1-2.txt", ".1-2"};
    enum { STAY = sizeof stay / sizeof stay[0] };
    const int before = entries(folder);
    char *target = in_scratch("killed.txt");
    struct kb_outfile out;
    assert_int_equal(kb_outfile_open(target, &out, NULL), KB_OK);
    (void)fclose(out.stream); /* as after a kill: neither committed nor abandoned */
    kb_free(out.path);
    kb_free(out.aside);
    for (int i = 0; i < STAY; i++) {
        char *path = in_scratch(stay[i]);
        assert_int_equal(kb_write_file(path, "x", 1, NULL), KB_OK);
        kb_free(path);
    }
    assert_int_equal(entries(folder), before + STAY + 1);
    kb_outfile_tidy(folder, 3600.0); /* too young */
    assert_int_equal(entries(folder), before + STAY + 1);
    kb_outfile_tidy(folder, 0.0);
    assert_int_equal(entries(folder), before + STAY);
    kb_outfile_tidy("/no/such/folder", 0.0);
    for (int i = 0; i < STAY; i++) {
        char *path = in_scratch(stay[i]);
        assert_int_equal(unlink(path), 0);
        kb_free(path);
    }
    kb_free(target);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_written_file_replaces_the_old_one_whole),
        cmocka_unit_test(an_abandoned_file_leaves_the_old_one),
        cmocka_unit_test(a_full_disk_is_an_error_and_leaves_nothing),
        cmocka_unit_test(a_file_in_the_way_of_a_folder_is_named),
        cmocka_unit_test(what_a_killed_program_left_is_tidied_away),
        cmocka_unit_test(every_failed_allocation_is_reported_and_nothing_leaks),
    };
    return cmocka_run_group_tests(tests, make_scratch, drop_scratch);
}
