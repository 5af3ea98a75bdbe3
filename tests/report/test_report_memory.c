/* test_report_memory.c - every writer with its n-th allocation failing, n = 1, 2, ... until it
 * succeeds: the right status, nothing held back, nothing left on disk. */
#include "sample_result.h"

#include "fail_alloc.h"

#include <setjmp.h>
#include <stdarg.h>
#include <unistd.h>

#include <cmocka.h>

static struct kb_result result;
static struct sample_field sample;
static struct kb_picture drawn;

static int setup(void **state) {
    (void)state;
    sample_result_make(&(struct sample_options){.fields = 2, .pictures = true, .by_hand = true},
                       &result);
    sample_field_make(1, 200, 150, 0.5, false, &sample);
    return kb_draw_overlay(&sample.field, &sample.map, &sample.particles, &drawn, NULL) != KB_OK;
}

static int teardown(void **state) {
    (void)state;
    kb_picture_release(&drawn);
    sample_field_release(&sample);
    kb_result_release(&result);
    return 0;
}

typedef enum kb_status writer(const struct kb_result *, struct kb_text *, struct kb_err *);

static enum kb_status to_text(writer *write, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    enum kb_status status = write(&result, &text, err);
    kb_text_release(&text);
    return status;
}

static enum kb_status json(struct kb_err *err) {
    return to_text(kb_report_json, err);
}

static enum kb_status fields(struct kb_err *err) {
    return to_text(kb_report_fields_csv, err);
}

static enum kb_status particles(struct kb_err *err) {
    return to_text(kb_report_particles_csv, err);
}

static enum kb_status html(struct kb_err *err) {
    return to_text(kb_report_html, err);
}

static enum kb_status table(struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    enum kb_status status = kb_report_table(&result, 80, true, &text, err);
    kb_text_release(&text);
    return status;
}

static enum kb_status overlay(struct kb_err *err) {
    struct kb_picture picture;
    enum kb_status status =
        kb_draw_overlay(&sample.field, &sample.map, &sample.particles, &picture, err);
    kb_picture_release(&picture);
    return status;
}

static enum kb_status png(struct kb_err *err) {
    enum kb_status status = kb_write_png("memory_test.png", &drawn, 0.5, err);
    assert_int_equal(access("memory_test.png", F_OK), status == KB_OK ? 0 : -1);
    (void)unlink("memory_test.png");
    return status;
}

static enum kb_status pictures(struct kb_err *err) {
    struct kb_field_result field = {0};
    enum kb_status status = kb_report_pictures(&sample.field, &drawn, 120, &field, err);
    kb_field_result_release(&field);
    return status;
}

static enum kb_status folder(struct kb_err *err) {
    static const char *const name[] = {"memory_test/fields.csv", "memory_test/particles.csv",
                                       "memory_test/report.html", "memory_test/result.json"};
    struct kb_report_folder out;
    enum kb_status status = kb_report_folder_open("memory_test", &out, err);
    if (status == KB_OK) {
        status = kb_report_folder_commit(&out, &result, err);
    }
    for (size_t i = 0; i < sizeof name / sizeof name[0]; i++) {
        assert_int_equal(unlink(name[i]), status == KB_OK ? 0 : -1);
    }
    if (rmdir("memory_test") != 0) { /* may only be missing, never hold something */
        assert_int_equal(access("memory_test", F_OK), -1);
    }
    return status;
}

static void check(enum kb_status (*work)(struct kb_err *err)) {
    enum kb_status status = KB_E_MEMORY;
    for (size_t n = 1; status != KB_OK; n++) {
        struct kb_err err = {0};
        fail_alloc_at(n);
        status = work(&err);
        int failed = fail_alloc_happened();
        long open = fail_alloc_open_blocks();
        fail_alloc_at(0);
        assert_int_equal(status, failed ? KB_E_MEMORY : KB_OK);
        assert_int_equal(open, 0);
        assert_true(n < 5000);
    }
}

static void every_writer_survives_the_failure_of_any_allocation(void **state) {
    (void)state;
    check(json);
    check(fields);
    check(particles);
    check(html);
    check(table);
    check(overlay);
    check(pictures);
}

static void files_and_folders_survive_the_failure_of_any_allocation(void **state) {
    (void)state;
    check(png);
    check(folder);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_writer_survives_the_failure_of_any_allocation),
        cmocka_unit_test(files_and_folders_survive_the_failure_of_any_allocation),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
