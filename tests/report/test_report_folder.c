/* test_report_folder.c - a result appears whole or not at all, whatever goes wrong on the way. */
#include "sample_result.h"

#include "folder_priv.h"

#include <dirent.h>
#include <fcntl.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

static char scratch[64];
static struct kb_result result;

static int setup(void **state) {
    (void)state;
    (void)snprintf(scratch, sizeof scratch, "report_folder_XXXXXX");
    sample_result_make(&(struct sample_options){.fields = 2}, &result);
    return mkdtemp(scratch) == NULL || chmod(scratch, 0777) != 0;
}

static int teardown(void **state) {
    (void)state;
    kb_result_release(&result);
    kb_folder_remove(scratch);
    return 0;
}

static const char *inside(const char *name) {
    static char path[2][256];
    static int turn;
    turn = 1 - turn;
    (void)snprintf(path[turn], sizeof path[turn], "%s/%s", scratch, name);
    return path[turn];
}

static void put(const char *path, const char *content) {
    assert_int_equal(kb_write_file(path, content, strlen(content), NULL), KB_OK);
}

static bool holds(const char *path, const char *content) {
    char read[64] = "";
    FILE *file = fopen(path, "rb");
    if (file == NULL) {
        return false;
    }
    size_t length = fread(read, 1, sizeof read - 1, file);
    (void)fclose(file);
    return length == strlen(content) && strcmp(read, content) == 0;
}

/* Entries of a folder, hidden ones too. */
static size_t entries(const char *path) {
    DIR *folder = opendir(path);
    size_t count = 0;
    while (folder != NULL && readdir(folder) != NULL) {
        count++;
    }
    if (folder != NULL) {
        (void)closedir(folder);
    }
    return count >= 2 ? count - 2 : 0; /* less "." and ".." */
}

static enum kb_status write_all(const char *path, struct kb_err *err) {
    struct kb_report_folder folder;
    enum kb_status status = kb_report_folder_open(path, &folder, err);
    if (status != KB_OK) {
        return status;
    }
    char *overlay = kb_report_folder_file(&folder, "overlay-01-a.png");
    put(overlay, "picture");
    kb_free(overlay);
    return kb_report_folder_commit(&folder, &result, err);
}

static void a_folder_and_its_parents_are_made_and_filled(void **state) {
    (void)state;
    assert_int_equal(write_all(inside("a/b/c"), NULL), KB_OK);
    assert_int_equal(access(inside("a/b/c/result.json"), R_OK), 0);
    assert_int_equal(access(inside("a/b/c/report.html"), R_OK), 0);
    assert_int_equal(access(inside("a/b/c/fields.csv"), R_OK), 0);
    assert_int_equal(access(inside("a/b/c/particles.csv"), R_OK), 0);
    assert_true(holds(inside("a/b/c/overlay-01-a.png"), "picture"));
    assert_int_equal(entries(inside("a/b/c")), 5); /* no hidden folder is left */
    kb_folder_remove(inside("a/b/c"));
    kb_folder_remove(inside("a/b"));
}

static void a_second_result_replaces_the_first_and_its_overlays_only(void **state) {
    (void)state;
    assert_int_equal(write_all(scratch, NULL), KB_OK);
    put(inside("overlay-02-b.png"), "of the earlier result");
    put(inside("notes.txt"), "mine");
    put(inside("overlay-sketch.png"), "mine too");
    put(inside("fields.csv"), "old");
    assert_int_equal(write_all(scratch, NULL), KB_OK);
    assert_int_equal(access(inside("overlay-02-b.png"), F_OK), -1);
    assert_true(holds(inside("notes.txt"), "mine"));
    assert_true(holds(inside("overlay-sketch.png"), "mine too"));
    assert_false(holds(inside("fields.csv"), "old"));
    assert_int_equal(entries(scratch), 7);
}

static void abandoning_takes_away_every_folder_that_was_made(void **state) {
    (void)state;
    struct kb_report_folder folder;
    assert_int_equal(kb_report_folder_open(inside("x/y/z/"), &folder, NULL), KB_OK);
    char *path = kb_report_folder_file(&folder, "overlay-01-a.png");
    put(path, "picture");
    kb_free(path);
    kb_report_folder_abandon(&folder);
    kb_report_folder_abandon(&folder); /* a second time does nothing */
    assert_int_equal(entries(scratch), 0);
}

static void a_file_where_the_folder_should_be_is_left_alone(void **state) {
    (void)state;
    struct kb_err err;
    put(inside("out"), "a file");
    assert_int_equal(write_all(inside("out"), &err), KB_E_SYSTEM);
    assert_non_null(strchr(err.text, '('));
    assert_int_equal(write_all(inside("out/deeper"), &err), KB_E_SYSTEM);
    assert_true(holds(inside("out"), "a file"));
    assert_int_equal(entries(scratch), 1);
}

static void a_folder_where_a_file_should_go_is_left_alone(void **state) {
    (void)state;
    struct kb_err err;
    assert_int_equal(mkdir(inside("report.html"), 0777), 0);
    put(inside("fields.csv"), "old");
    assert_int_equal(write_all(scratch, &err), KB_E_SYSTEM);
    assert_non_null(strstr(err.subject, "report.html"));
    assert_true(holds(inside("fields.csv"), "old"));
    assert_int_equal(entries(scratch), 2);
}

static void a_file_system_that_takes_nothing_is_an_error_with_advice(void **state) {
    (void)state;
    struct kb_err err;
    assert_int_equal(write_all("/proc/keelblock-report", &err), KB_E_SYSTEM);
    assert_non_null(strchr(err.text, '('));
    assert_int_equal(write_all("", &err), KB_E_USAGE);
}

static void a_full_disk_leaves_the_earlier_result_as_it_was(void **state) {
    (void)state;
    struct kb_err err;
    struct rlimit before, small;
    put(inside("result.json"), "old");
    put(inside("fields.csv"), "old too");
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    void (*handler)(int) = signal(SIGXFSZ, SIG_IGN);
    small = before;
    small.rlim_cur = 4096; /* fields.csv fits, the larger files do not */
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
    enum kb_status status = write_all(scratch, &err);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    (void)signal(SIGXFSZ, handler);
    assert_int_equal(status, KB_E_SYSTEM);
    assert_non_null(strstr(err.text, "free some space"));
    assert_true(holds(inside("result.json"), "old"));
    assert_true(holds(inside("fields.csv"), "old too"));
    assert_int_equal(entries(scratch), 2);
}

static void a_move_that_fails_half_way_is_undone(void **state) {
    (void)state;
    if (geteuid() != 0) {
        skip(); /* takes another user's file in a sticky folder */
    }
    struct kb_err err;
    put(inside("report.html"), "another's"); /* may be replaced by its owner only */
    assert_int_equal(chmod(scratch, 01777), 0);
    assert_int_equal(seteuid(65534), 0);
    put(inside("fields.csv"), "old");
    enum kb_status status = write_all(scratch, &err);
    assert_int_equal(seteuid(0), 0);
    assert_int_equal(status, KB_E_SYSTEM);
    assert_true(holds(inside("fields.csv"), "old"));
    assert_true(holds(inside("report.html"), "another's"));
    assert_int_equal(entries(scratch), 2);
}

static void age(const char *path) {
    const struct timespec old[2] = {{.tv_sec = 1000000000}, {.tv_sec = 1000000000}};
    assert_int_equal(utimensat(AT_FDCWD, path, old, 0), 0);
}

static void a_killed_run_is_cleaned_up_and_a_living_one_is_not(void **state) {
    (void)state;
    assert_int_equal(mkdir(inside(".keelblock-aaaaaa"), 0700), 0);
    put(inside(".keelblock-aaaaaa/overlay-01-a.png"), "left");
    age(inside(".keelblock-aaaaaa"));
    assert_int_equal(mkdir(inside(".keelblock-bbbbbb"), 0700), 0);
    age(inside(".keelblock-bbbbbb"));
    int held = open(inside(".keelblock-bbbbbb"), O_RDONLY | O_DIRECTORY);
    assert_int_equal(flock(held, LOCK_EX), 0);
    assert_int_equal(mkdir(inside(".keelblock-cccccc"), 0700), 0); /* just made, not locked yet */
    assert_int_equal(write_all(scratch, NULL), KB_OK);
    assert_int_equal(access(inside(".keelblock-aaaaaa"), F_OK), -1);
    assert_int_equal(access(inside(".keelblock-bbbbbb"), F_OK), 0);
    assert_int_equal(access(inside(".keelblock-cccccc"), F_OK), 0);
    (void)close(held);
}

int main(void) {
#define AROUND(test) cmocka_unit_test_setup_teardown(test, setup, teardown)
    const struct CMUnitTest tests[] = {
        AROUND(a_folder_and_its_parents_are_made_and_filled),
        AROUND(a_second_result_replaces_the_first_and_its_overlays_only),
        AROUND(abandoning_takes_away_every_folder_that_was_made),
        AROUND(a_file_where_the_folder_should_be_is_left_alone),
        AROUND(a_folder_where_a_file_should_go_is_left_alone),
        AROUND(a_file_system_that_takes_nothing_is_an_error_with_advice),
        AROUND(a_full_disk_leaves_the_earlier_result_as_it_was),
        AROUND(a_move_that_fails_half_way_is_undone),
        AROUND(a_killed_run_is_cleaned_up_and_a_living_one_is_not),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
