/* What a seal finds out. */
#include "kb_cmocka.h"
#include "keelblock/review.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char folder[64];
static const char *const names[] = {"result.json",          "report.html", KB_RECORD_NAME,
                                    "overlay-01-a-tif.png", "a.tif",       KB_SEAL_NAME};
enum { PICTURE = 4, NAMES = 6 };

static void put(const char *name, const char *text) {
    struct kb_err err = {.code = KB_OK};
    char *path = kb_join_path(folder, name);
    assert_non_null(path);
    assert_int_equal(kb_write_file(path, text, strlen(text), &err), KB_OK);
    kb_free(path);
}

static void put_result(const char *sha256) {
    char text[512];
    (void)snprintf(text, sizeof text,
                   "{\"fields\":[{\"file\":\"a.tif\",\"sha256\":\"%s\",\"overlay\":"
                   "\"overlay-01-a-tif.png\"}]}",
                   sha256);
    put("result.json", text);
}

static int make_result(void **state) {
    (void)state;
    char sha256[65];
    (void)snprintf(folder, sizeof folder, "/tmp/kb-seal-XXXXXX");
    if (mkdtemp(folder) == NULL) {
        return -1;
    }
    for (int i = 0; i < NAMES - 1; i++) {
        put(names[i], names[i]);
    }
    kb_digest(names[PICTURE], strlen(names[PICTURE]), sha256);
    put_result(sha256);
    return 0;
}

static int remove_result(void **state) {
    (void)state;
    for (int i = 0; i < NAMES; i++) {
        char *path = kb_join_path(folder, names[i]);
        (void)unlink(path);
        kb_free(path);
    }
    return rmdir(folder);
}

static void seal_it(void) {
    struct kb_err err = {.code = KB_OK};
    assert_int_equal(
        kb_seal_write(folder, "R. Ash", "two scratches", "2031-05-04T14:03:09+02:00", &err), KB_OK);
}

static void verify(struct kb_seal *seal) {
    struct kb_err err = {.code = KB_OK};
    assert_int_equal(kb_seal_verify(folder, seal, &err), KB_OK);
}

static void a_result_as_it_was_signed_is_intact(void **state) {
    (void)state;
    struct kb_seal seal;
    verify(&seal);
    assert_false(seal.exists);
    assert_false(seal.intact);
    kb_seal_release(&seal);
    seal_it();
    verify(&seal);
    assert_true(seal.intact);
    assert_int_equal(seal.items, 5);
    assert_string_equal(seal.who, "R. Ash");
    assert_string_equal(seal.remark, "two scratches");
    kb_seal_release(&seal);
}

static void every_file_that_is_changed_or_gone_is_named(void **state) {
    (void)state;
    for (int i = 0; i < NAMES - 1; i++) {
        for (int gone = 0; gone < 2; gone++) {
            struct kb_seal seal;
            assert_int_equal(make_result(NULL), 0);
            seal_it();
            char *path = kb_join_path(folder, names[i]);
            if (gone) {
                assert_int_equal(unlink(path), 0);
            } else {
                put(names[i], "something else");
            }
            kb_free(path);
            verify(&seal);
            assert_false(seal.intact);
            assert_true(seal.digest_fits);
            size_t named = 0;
            for (size_t k = 0; k < seal.items; k++) {
                if (seal.item[k].state != KB_SEAL_SAME) {
                    assert_string_equal(seal.item[k].name, names[i]);
                    assert_int_equal(seal.item[k].state, gone ? KB_SEAL_MISSING : KB_SEAL_CHANGED);
                    named++;
                }
            }
            assert_int_equal(named, 1);
            kb_seal_release(&seal);
            (void)remove_result(NULL);
        }
    }
    assert_int_equal(make_result(NULL), 0); /* for the teardown */
}

/* A digest put right by hand in the seal shows in the digest over all. */
static void a_seal_that_was_edited_does_not_fit_itself(void **state) {
    (void)state;
    struct kb_seal seal;
    seal_it();
    char *path = kb_join_path(folder, KB_SEAL_NAME);
    FILE *stream = fopen(path, "r+");
    char text[4096];
    assert_non_null(stream);
    const size_t length = fread(text, 1, sizeof text - 1, stream);
    text[length] = '\0';
    char *name = strstr(text, "R. Ash");
    assert_non_null(name);
    assert_int_equal(fseek(stream, name - text, SEEK_SET), 0);
    assert_true(fputs("R. Elm", stream) >= 0);
    assert_int_equal(fclose(stream), 0);
    kb_free(path);
    verify(&seal);
    assert_string_equal(seal.who, "R. Elm");
    assert_false(seal.digest_fits);
    assert_false(seal.intact);
    kb_seal_release(&seal);
}

static void what_cannot_be_sealed_is_said(void **state) {
    (void)state;
    struct kb_err err = {.code = KB_OK};
    put("a.tif", "another picture than was measured");
    assert_int_equal(kb_seal_write(folder, "R. Ash", NULL, "now", &err), KB_E_INPUT);
    put("result.json", "{}");
    assert_int_equal(kb_seal_write(folder, "R. Ash", NULL, "now", &err), KB_E_INPUT);
    struct kb_seal seal;
    verify(&seal);
    assert_false(seal.exists);
    kb_seal_release(&seal);
    static const char *const wrong[] = {"", "{", "{}", "[]", "{\"schema\":\"keelblock.seal/1\"}"};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        put(KB_SEAL_NAME, wrong[i]);
        assert_int_equal(kb_seal_verify(folder, &seal, &err), KB_E_INPUT);
    }
    put(KB_SEAL_NAME,
        "{\"schema\":\"keelblock.seal/1\",\"who\":\"a\",\"at\":\"b\",\"digest\":"
        "\"0000000000000000000000000000000000000000000000000000000000000000\",\"items\":[{\"name\":"
        "\"../a.tif\",\"kind\":\"file\",\"sha256\":"
        "\"0000000000000000000000000000000000000000000000000000000000000000\"}]}");
    assert_int_equal(kb_seal_verify(folder, &seal, &err),
                     KB_E_INPUT); /* no way out of the folder */
}

static void pictures_are_found_from_the_folders_around(void **state) {
    (void)state;
    char *found = kb_find_picture(folder, "a.tif");
    assert_non_null(found);
    kb_free(found);
    assert_null(kb_find_picture(folder, "no such picture.tif"));
    found = kb_find_picture(folder, strrchr(folder, '/') + 1);
    assert_null(found); /* a folder is no picture */
    char *inside = kb_join_path(strrchr(folder, '/') + 1, "a.tif");
    found = kb_find_picture(folder, inside);
    assert_non_null(found);
    kb_free(found);
    kb_free(inside);
}

int main(void) {
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, make_result, remove_result)
        TEST(a_result_as_it_was_signed_is_intact),
        TEST(every_file_that_is_changed_or_gone_is_named),
        TEST(a_seal_that_was_edited_does_not_fit_itself),
        TEST(what_cannot_be_sealed_is_said),
        TEST(pictures_are_found_from_the_folders_around),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
