/* test_source.c - the open file: order of reading, and files that change under the reader. */
#include "intake_priv.h"

#include "kb_cmocka.h"
#include "pictures_to_files.h"

#include <string.h>
#include <unistd.h>

static void bytes_come_in_order_and_stop_at_the_end(void **state) {
    (void)state;
    const char *path = scratch_path("bytes");
    write_bytes(path, "0123456789", 10);
    struct kb_source source;
    assert_int_equal(kb_source_open(path, &source, NULL), KB_OK);
    assert_int_equal(source.size, 10);
    assert_int_equal(source.head_size, 10);
    char got[16] = "";
    assert_int_equal(kb_source_read(&source, got, 4), 4);
    assert_string_equal(got, "0123");
    assert_int_equal(kb_source_read(&source, got, 16), 6);
    assert_int_equal(kb_source_read(&source, got, 16), 0);
    source.at = 1000; /* beyond the end is the end */
    assert_int_equal(kb_source_read(&source, got, 1), 0);
    kb_source_close(&source);
    assert_int_equal(kb_source_read(&source, got, 1), -1);
}

static void the_digest_is_that_of_the_standard(void **state) {
    (void)state;
    /* FIPS 180-2, appendix B: B.1 "abc" and B.3, a million times "a" */
    static char million[1000000];
    memset(million, 'a', sizeof million);
    const struct {
        const char *bytes;
        size_t size;
        const char *digest;
    } rows[] = {
        {"abc", 3, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
        {million, sizeof million,
         "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"},
    };
    for (size_t i = 0; i < 2; i++) {
        const char *path = scratch_path("digest");
        write_bytes(path, rows[i].bytes, rows[i].size);
        struct kb_source source;
        char hex[65];
        assert_int_equal(kb_source_open(path, &source, NULL), KB_OK);
        assert_int_equal(kb_source_digest(&source, hex, NULL), KB_OK);
        assert_string_equal(hex, rows[i].digest);
        assert_int_equal(kb_source_unchanged(&source, NULL), KB_OK);
        kb_source_close(&source);
    }
}

static void a_file_that_grows_shrinks_or_is_rewritten_is_noticed(void **state) {
    (void)state;
    for (int way = 0; way < 3; way++) {
        const char *path = scratch_path("growing");
        write_bytes(path, "0123456789", 10);
        struct kb_source source;
        assert_int_equal(kb_source_open(path, &source, NULL), KB_OK);
        if (way == 2) {
            source.changed.tv_nsec ^= 1; /* rewritten in place a moment later, same size */
        } else {
            assert_int_equal(truncate(path, way == 0 ? 11 : 9), 0);
        }
        struct kb_err err = {.code = KB_OK};
        assert_int_equal(kb_source_unchanged(&source, &err), KB_E_INPUT);
        assert_non_null(strstr(err.text, "changed while it was read"));
        kb_source_close(&source);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(bytes_come_in_order_and_stop_at_the_end),
        cmocka_unit_test(the_digest_is_that_of_the_standard),
        cmocka_unit_test(a_file_that_grows_shrinks_or_is_rewritten_is_noticed),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
