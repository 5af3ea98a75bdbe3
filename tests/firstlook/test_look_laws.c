/* test_look_laws.c - what holds for any first look: tiny and extreme frames, parameters, mirroring,
 * rows with padding, memory that runs out.
 */
#include "marked.h"

#include "fail_alloc.h"
#include "kb_cmocka.h"

#include <stdlib.h>
#include <string.h>

static const struct kb_first_look_params defaults = {.find_marks = true, .lead = 9.0, .iron = true};

/* A field with a bar, a margin, lettering, a scale bar of its own and a frame. */
static void make_busy(struct kb_field *field) {
    struct kb_render_params params = kb_render_params_default();
    params.width = 640;
    params.height = 480;
    params.look = KB_RENDER_UNETCHED;
    assert_true(marked_draw(&params, field));
    marked_strip(field, (struct kb_rect){0, 440, 640, 40}, 0, 255, 111, true);
    marked_fill(field, (struct kb_rect){0, 0, 7, 440}, 0);
    (void)marked_text(field, 100, 50, 3, 0, "HEAT 5A");
    marked_fill(field, (struct kb_rect){400, 380, 90, 5}, 0);
}

static void defaults_are_as_documented_and_pass_their_check(void **state) {
    (void)state;
    struct kb_first_look_params params = kb_first_look_params_default();
    assert_true(params.find_marks);
    assert_near(params.lead, 9.0, 0.0);
    assert_int_equal(kb_first_look_params_check(&params, NULL), KB_OK);
}

static void leads_that_mean_nothing_are_refused(void **state) {
    (void)state;
    const double bad[] = {0.0, 0.99, -9.0, 1e7, (double)NAN, (double)INFINITY};
    struct kb_field field;
    assert_true(marked_even(64, 64, 100, &field));
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        struct kb_first_look_params params = defaults;
        struct kb_first_look look;
        struct kb_err err;
        params.lead = bad[i];
        assert_int_equal(kb_first_look_params_check(&params, &err), KB_E_USAGE);
        assert_string_equal(err.subject, "lead");
        assert_int_equal(kb_first_look_run(&field, &params, &look, &err), KB_E_USAGE);
        assert_null(look.outside.px);
    }
    marked_release(&field);
}

static void frames_of_any_size_are_looked_at(void **state) {
    (void)state;
    const int32_t size[] = {1, 2, 3, 7, 23, 24, 63, 64, 65, 100};
    for (size_t i = 0; i < sizeof size / sizeof *size; i++) {
        for (size_t j = 0; j < sizeof size / sizeof *size; j++) {
            struct kb_field field;
            struct kb_first_look look;
            assert_true(marked_even(size[i], size[j], 100, &field));
            for (int32_t y = 0; y < size[j]; y++) {
                for (int32_t x = 0; x < size[i]; x++) {
                    kb_row(&field.grey, y)[x] = (uint8_t)(60 + (x * 37 + y * 91) % 120);
                }
            }
            assert_int_equal(kb_first_look_run(&field, &defaults, &look, NULL), KB_OK);
            assert_int_equal(look.marks, 0);
            kb_first_look_release(&look);
            marked_release(&field);
        }
    }
}

static void a_thread_of_a_picture_is_looked_at(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_first_look look;
    assert_true(marked_even(30000, 1, 100, &field));
    assert_int_equal(kb_first_look_run(&field, &defaults, &look, NULL), KB_OK);
    kb_first_look_release(&look);
    marked_release(&field);
    assert_true(marked_even(2, 30000, 100, &field));
    assert_int_equal(kb_first_look_run(&field, &defaults, &look, NULL), KB_OK);
    kb_first_look_release(&look);
    marked_release(&field);
}

static void a_black_or_white_frame_is_not_fit(void **state) {
    (void)state;
    for (int level = 0; level < 256; level += 255) {
        struct kb_field field;
        struct kb_first_look look;
        struct kb_err err;
        assert_true(marked_even(300, 200, (uint8_t)level, &field));
        assert_int_equal(kb_first_look_run(&field, &defaults, &look, &err), KB_E_UNFIT);
        assert_string_equal(err.stage, "firstlook");
        assert_null(look.mark);
        assert_null(look.outside.px);
        assert_null(look.findings.item);
        marked_release(&field);
    }
}

static void marks_are_not_looked_for_when_not_asked(void **state) {
    (void)state;
    struct kb_first_look_params params = defaults;
    struct kb_field field;
    struct kb_first_look look;
    params.find_marks = false;
    make_busy(&field);
    assert_int_equal(kb_first_look_run(&field, &params, &look, NULL), KB_OK);
    assert_int_equal(look.marks, 0);
    assert_null(look.outside.px);
    kb_first_look_release(&look);
    marked_release(&field);
}

static void the_field_is_not_changed_and_looks_repeat(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_first_look first, second;
    make_busy(&field);
    size_t size = field.grey.stride * (size_t)field.grey.height;
    uint8_t *before = malloc(size);
    assert_non_null(before);
    for (int32_t y = 0; y < field.grey.height; y++) {
        memcpy(before + (size_t)y * field.grey.stride, kb_row(&field.grey, y),
               (size_t)field.grey.width);
    }
    assert_int_equal(kb_first_look_run(&field, &defaults, &first, NULL), KB_OK);
    assert_int_equal(kb_first_look_run(&field, &defaults, &second, NULL), KB_OK);
    for (int32_t y = 0; y < field.grey.height; y++) {
        assert_memory_equal(before + (size_t)y * field.grey.stride, kb_row(&field.grey, y),
                            (size_t)field.grey.width);
        assert_memory_equal(kb_row(&first.outside, y), kb_row(&second.outside, y),
                            (size_t)field.grey.width);
    }
    assert_int_equal(first.marks, second.marks);
    assert_memory_equal(first.contrast.belief, second.contrast.belief,
                        sizeof first.contrast.belief);
    free(before);
    kb_first_look_release(&first);
    kb_first_look_release(&second);
    marked_release(&field);
}

static void what_is_left_out_is_what_is_counted(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_first_look look;
    uint64_t count = 0;
    make_busy(&field);
    assert_int_equal(kb_first_look_run(&field, &defaults, &look, NULL), KB_OK);
    for (int32_t y = 0; y < field.grey.height; y++) {
        for (int32_t x = 0; x < field.grey.width; x++) {
            count += kb_row(&look.outside, y)[x] != 0;
        }
    }
    assert_int_equal(look.outside_px, count);
    assert_true(count > 0);
    kb_first_look_release(&look);
    marked_release(&field);
}

static void a_mirrored_field_has_mirrored_marks(void **state) {
    (void)state;
    struct kb_field field;
    struct kb_first_look look, mirrored;
    uint64_t apart = 0;
    make_busy(&field);
    assert_int_equal(kb_first_look_run(&field, &defaults, &look, NULL), KB_OK);
    marked_mirror(&field);
    assert_int_equal(kb_first_look_run(&field, &defaults, &mirrored, NULL), KB_OK);
    assert_int_equal(look.marks, mirrored.marks);
    int32_t width = field.grey.width;
    for (int32_t y = 0; y < field.grey.height; y++) {
        for (int32_t x = 0; x < width; x++) {
            apart += kb_row(&look.outside, y)[x] != kb_row(&mirrored.outside, y)[width - 1 - x];
        }
    }
    assert_int_equal(apart, 0);
    for (int kind = 0; kind < KB_MARK_KINDS; kind++) {
        const struct kb_mark *a = marked_find(&look, (enum kb_mark_kind)kind);
        const struct kb_mark *b = marked_find(&mirrored, (enum kb_mark_kind)kind);
        assert_int_equal(a != NULL, b != NULL);
    }
    for (int c = 0; c < 3; c++) { /* squares and tiles fall a little differently */
        assert_near(look.contrast.belief[c], mirrored.contrast.belief[c], 0.05);
    }
    kb_first_look_release(&look);
    kb_first_look_release(&mirrored);
    marked_release(&field);
}

static void padding_behind_the_rows_is_not_looked_at(void **state) {
    (void)state;
    struct kb_field field, padded;
    struct kb_first_look look, other;
    make_busy(&field);
    assert_true(marked_even(field.grey.width + 50, field.grey.height, 255, &padded));
    for (int32_t y = 0; y < field.grey.height; y++) {
        memcpy(kb_row(&padded.grey, y), kb_row(&field.grey, y), (size_t)field.grey.width);
    }
    padded.grey.width = field.grey.width;
    assert_int_equal(kb_first_look_run(&field, &defaults, &look, NULL), KB_OK);
    assert_int_equal(kb_first_look_run(&padded, &defaults, &other, NULL), KB_OK);
    assert_int_equal(look.marks, other.marks);
    assert_int_equal(look.outside_px, other.outside_px);
    assert_memory_equal(look.contrast.belief, other.contrast.belief, sizeof look.contrast.belief);
    kb_first_look_release(&look);
    kb_first_look_release(&other);
    marked_release(&field);
    marked_release(&padded);
}

static void every_allocation_may_fail(void **state) {
    (void)state;
    struct kb_field field;
    make_busy(&field);
    bool done = false;
    for (size_t n = 1; !done; n++) {
        struct kb_first_look look;
        struct kb_err err = {.code = KB_OK};
        fail_alloc_at(n);
        enum kb_status status = kb_first_look_run(&field, &defaults, &look, &err);
        done = !fail_alloc_happened();
        if (done) {
            assert_int_equal(status, KB_OK);
            assert_true(n > 10); /* there was something to fail */
        } else {
            assert_int_equal(status, KB_E_MEMORY);
            assert_int_equal(err.code, KB_E_MEMORY);
            assert_null(look.mark);
            assert_null(look.outside.px);
        }
        kb_first_look_release(&look);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
    }
    marked_release(&field);
}

static void kinds_of_marks_have_their_own_names(void **state) {
    (void)state;
    for (int a = 0; a < KB_MARK_KINDS; a++) {
        for (int b = 0; b < a; b++) {
            assert_string_not_equal(kb_mark_kind_name((enum kb_mark_kind)a),
                                    kb_mark_kind_name((enum kb_mark_kind)b));
        }
    }
    assert_string_equal(kb_mark_kind_name(KB_MARK_KINDS), "unknown");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(defaults_are_as_documented_and_pass_their_check),
        cmocka_unit_test(leads_that_mean_nothing_are_refused),
        cmocka_unit_test(frames_of_any_size_are_looked_at),
        cmocka_unit_test(a_thread_of_a_picture_is_looked_at),
        cmocka_unit_test(a_black_or_white_frame_is_not_fit),
        cmocka_unit_test(marks_are_not_looked_for_when_not_asked),
        cmocka_unit_test(the_field_is_not_changed_and_looks_repeat),
        cmocka_unit_test(what_is_left_out_is_what_is_counted),
        cmocka_unit_test(a_mirrored_field_has_mirrored_marks),
        cmocka_unit_test(padding_behind_the_rows_is_not_looked_at),
        cmocka_unit_test(every_allocation_may_fail),
        cmocka_unit_test(kinds_of_marks_have_their_own_names),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
