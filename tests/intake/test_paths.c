/* test_paths.c - from files, folders and patterns to sorted lists of pictures. */
#include "kb_cmocka.h"
#include "pictures_to_files.h"

#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static int make_tree(void **state) {
    static const char *const names[] = {
        "b.TIF", "a.tif",       "c.tiff", "d.png",    "E.JPG",  "f.jpeg",       "notes.txt",
        "g.gif", ".hidden.tif", "plain",  "h[1].tif", "f*.tif", "\xc3\xa4.png", "two words.jpg",
    };
    if (scratch_make(state) != 0) {
        return 1;
    }
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        write_bytes(scratch_path(names[i]), "", 0);
    }
    return mkdir(scratch_path("deeper.tif"), 0700) | mkdir(scratch_path("none"), 0700);
}

static void expect(const struct kb_paths *paths, const char *const *names, size_t count) {
    assert_int_equal(paths->count, count);
    for (size_t i = 0; i < count; i++) {
        assert_string_equal(kb_base_name(paths->path[i]), names[i]);
    }
}

static void expand(const char *pattern, struct kb_paths *paths) {
    struct kb_err err = {.code = KB_OK};
    if (kb_paths_expand(pattern, paths, &err) != KB_OK) {
        fail_msg("%s: %s", pattern, err.text);
    }
}

static void a_folder_means_its_pictures_sorted_by_bytes(void **state) {
    (void)state;
    static const char *const names[] = {"E.JPG",         "a.tif",       "b.TIF",  "c.tiff",
                                        "d.png",         "f*.tif",      "f.jpeg", "h[1].tif",
                                        "two words.jpg", "\xc3\xa4.png"};
    struct kb_paths paths = {NULL, 0, 0};
    expand(scratch_path("."), &paths);
    expect(&paths, names, sizeof names / sizeof names[0]);
    kb_paths_release(&paths);
    assert_null(paths.path);
}

static void a_pattern_means_what_it_matches_but_folders(void **state) {
    (void)state;
    static const char *const names[] = {"a.tif", "f*.tif", "h[1].tif"};
    struct kb_paths paths = {NULL, 0, 0};
    expand(scratch_path("*.tif"), &paths);
    expect(&paths, names, 3);
    expand(scratch_path("[bd].*"), &paths); /* a second call appends */
    static const char *const more[] = {"a.tif", "f*.tif", "h[1].tif", "b.TIF", "d.png"};
    expect(&paths, more, 5);
    kb_paths_release(&paths);
}

static void a_name_that_exists_is_taken_as_it_stands(void **state) {
    (void)state;
    static const char *const names[] = {"h[1].tif", "f*.tif", "notes.txt", "two words.jpg"};
    for (size_t i = 0; i < 4; i++) {
        struct kb_paths paths = {NULL, 0, 0};
        expand(scratch_path(names[i]), &paths);
        expect(&paths, &names[i], 1);
        kb_paths_release(&paths);
    }
}

static void what_means_no_picture_is_an_error_and_appends_nothing(void **state) {
    (void)state;
    static const struct {
        const char *pattern, *words;
    } rows[] = {{"none", "holds no picture"},
                {"x*.tif", "no file matches"},
                {"deeper*", "no file matches"},
                {"nothing.tif", "no such file"},
                {"none/a.tif", "no such file"}};
    struct kb_paths paths = {NULL, 0, 0};
    expand(scratch_path("a.tif"), &paths);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct kb_err err = {.code = KB_OK};
        assert_int_equal(kb_paths_expand(scratch_path(rows[i].pattern), &paths, &err), KB_E_INPUT);
        assert_non_null(strstr(err.text, rows[i].words));
        assert_int_equal(paths.count, 1);
    }
    assert_int_equal(kb_paths_expand("", &paths, NULL), KB_E_INPUT);
    kb_paths_release(&paths);
}

static void a_folder_that_may_not_be_listed_is_a_failure_of_the_system(void **state) {
    (void)state;
    const char *folder = scratch_path("none");
    assert_int_equal(chmod(scratch_path("."), 0711), 0);
    assert_int_equal(chmod(folder, 0), 0);
    struct kb_paths paths = {NULL, 0, 0};
    struct kb_err err = {.code = KB_OK};
    const uid_t self = geteuid();
    /* the superuser may list everything: be nobody for a moment */
    assert_int_equal(self == 0 ? seteuid(65534) : 0, 0);
    const enum kb_status status = kb_paths_expand(folder, &paths, &err);
    assert_int_equal(self == 0 ? seteuid(self) : 0, 0);
    assert_int_equal(status, KB_E_SYSTEM);
    assert_non_null(strstr(err.text, "cannot be listed"));
    assert_int_equal(chmod(folder, 0700), 0);
    kb_paths_release(&paths);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_folder_means_its_pictures_sorted_by_bytes),
        cmocka_unit_test(a_pattern_means_what_it_matches_but_folders),
        cmocka_unit_test(a_name_that_exists_is_taken_as_it_stands),
        cmocka_unit_test(what_means_no_picture_is_an_error_and_appends_nothing),
        cmocka_unit_test(a_folder_that_may_not_be_listed_is_a_failure_of_the_system),
    };
    return cmocka_run_group_tests(tests, make_tree, scratch_remove);
}
