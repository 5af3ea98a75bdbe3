/* What a record keeps, refuses and survives. */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "keelblock/review.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char folder[64];
static char *file;

static int make_folder(void **state) {
    (void)state;
    (void)snprintf(folder, sizeof folder, "/tmp/kb-record-XXXXXX");
    file = mkdtemp(folder) != NULL ? kb_join_path(folder, KB_RECORD_NAME) : NULL;
    return file != NULL ? 0 : -1;
}

static int remove_folder(void **state) {
    (void)state;
    (void)unlink(file);
    kb_free(file);
    return rmdir(folder);
}

static char *one_field[] = {(char *)"polished/1.tif"};
static char *two_fields[] = {(char *)"polished/1.tif", (char *)"polished/2.tif"};

static struct kb_record_entry draft(enum kb_record_kind kind) {
    static struct kb_place point[] = {{10, 20}, {30, 40}, {50, 5}};
    struct kb_record_entry entry = {.at = (char *)"2031-05-04T14:03:09+02:00",
                                    .who = (char *)"R. Ash",
                                    .why = (char *)"scratch across the nodule",
                                    .kind = kind,
                                    .field = one_field,
                                    .fields = 1,
                                    .dark = NAN,
                                    .bright = NAN,
                                    .phase = KB_PEARLITE,
                                    .form = KB_FORM_VI,
                                    .length_um = 50.0};
    entry.point = point;
    entry.points = kind == KB_RECORD_EXCLUDE                           ? 3
                   : kind == KB_RECORD_CUT || kind == KB_RECORD_JOIN   ? 2
                   : kind == KB_RECORD_SCALE                           ? 2
                   : kind == KB_RECORD_PHASE || kind == KB_RECORD_FORM ? 1
                                                                       : 0;
    if (kind >= KB_RECORD_UNDO) {
        entry.fields = 0;
    }
    return entry;
}

static void append(struct kb_record *record, const struct kb_record_entry *entry) {
    struct kb_err err = {.code = KB_OK};
    assert_int_equal(kb_record_append(record, entry, &err), KB_OK);
}

static void reopen(struct kb_record *record) {
    struct kb_err err = {.code = KB_OK};
    kb_record_release(record);
    assert_int_equal(kb_record_open(folder, record, &err), KB_OK);
}

static void undo(struct kb_record *record, enum kb_record_kind kind, uint64_t of) {
    struct kb_record_entry entry = draft(kind);
    entry.of = of;
    append(record, &entry);
}

static void open_empty(struct kb_record *record) {
    struct kb_err err = {.code = KB_OK};
    assert_int_equal(kb_record_open(folder, record, &err), KB_OK);
    assert_int_equal(record->count, 0);
    assert_int_not_equal(access(file, F_OK), 0); /* nothing is made before the first line */
}

static void every_kind_comes_back_as_it_was_said(void **state) {
    (void)state;
    struct kb_record record;
    open_empty(&record);
    for (int kind = 0; kind < KB_RECORD_UNDO; kind++) {
        struct kb_record_entry entry = draft((enum kb_record_kind)kind);
        entry.dark = 0.1 + 1e-13; /* all digits must come back */
        entry.before = (char *)"{\"pearlite\":0.25}";
        append(&record, &entry);
    }
    reopen(&record);
    assert_int_equal(record.count, KB_RECORD_UNDO);
    for (int kind = 0; kind < KB_RECORD_UNDO; kind++) {
        const struct kb_record_entry *got = &record.entry[kind];
        const struct kb_record_entry said = draft((enum kb_record_kind)kind);
        assert_int_equal(got->kind, kind);
        assert_int_equal(got->seq, kind + 1);
        assert_true(got->active);
        assert_string_equal(got->who, said.who);
        assert_string_equal(got->why, said.why);
        assert_string_equal(got->at, said.at);
        assert_string_equal(got->before, "{\"pearlite\":0.25}");
        assert_null(got->after);
        assert_string_equal(got->field[0], "polished/1.tif");
        assert_int_equal(got->points, said.points);
        assert_true(got->points == 0 ||
                    memcmp(got->point, said.point, said.points * sizeof *said.point) == 0);
    }
    assert_true(record.entry[KB_RECORD_THRESHOLDS].dark == 0.1 + 1e-13);
    assert_true(isnan(record.entry[KB_RECORD_THRESHOLDS].bright));
    assert_int_equal(record.entry[KB_RECORD_FORM].form, KB_FORM_VI);
    assert_int_equal(record.entry[KB_RECORD_PHASE].phase, KB_PEARLITE);
    kb_record_release(&record);
}

static void undo_and_redo_go_back_and_forth_until_another_change(void **state) {
    (void)state;
    struct kb_record record;
    struct kb_err err = {.code = KB_OK};
    open_empty(&record);
    struct kb_record_entry cut = draft(KB_RECORD_CUT);
    append(&record, &cut);
    append(&record, &cut);
    assert_int_equal(kb_record_undoable(&record), 2);
    assert_int_equal(kb_record_redoable(&record), 0);
    undo(&record, KB_RECORD_UNDO, 2);
    undo(&record, KB_RECORD_UNDO, 1);
    assert_int_equal(kb_record_in_force(&record), 0);
    assert_int_equal(kb_record_undoable(&record), 0);
    assert_int_equal(kb_record_redoable(&record), 1);
    undo(&record, KB_RECORD_REDO, 1);
    reopen(&record); /* the file alone gives the same */
    assert_int_equal(kb_record_redoable(&record), 2);
    assert_true(record.entry[0].active);
    assert_false(record.entry[1].active);
    append(&record, &cut);
    assert_int_equal(kb_record_redoable(&record), 0);
    cut = draft(KB_RECORD_UNDO);
    cut.of = 2; /* is out of force already */
    assert_int_equal(kb_record_append(&record, &cut, &err), KB_E_USAGE);
    cut.of = 99;
    assert_int_equal(kb_record_append(&record, &cut, &err), KB_E_USAGE);
    assert_int_equal(record.count, 6);
    kb_record_release(&record);
}

static void half_a_line_is_left_out_and_written_over(void **state) {
    (void)state;
    struct kb_record record;
    open_empty(&record);
    struct kb_record_entry cut = draft(KB_RECORD_CUT);
    append(&record, &cut);
    append(&record, &cut);
    const uint64_t whole = record.length;
    kb_record_release(&record);
    for (uint64_t length = whole - 1; length > whole / 2 + 1; length -= 7) {
        struct kb_err err = {.code = KB_OK};
        assert_int_equal(truncate(file, (off_t)length), 0);
        assert_int_equal(kb_record_open(folder, &record, &err), KB_OK);
        assert_int_equal(record.count, 1);
        assert_true(record.torn);
        append(&record, &cut);
        reopen(&record);
        assert_int_equal(record.count, 2);
        assert_int_equal(record.length, whole);
        assert_false(record.torn);
        kb_record_release(&record);
    }
}

static void a_line_changed_by_other_means_is_found_out(void **state) {
    (void)state;
    struct kb_record record;
    struct kb_err err = {.code = KB_OK};
    open_empty(&record);
    struct kb_record_entry cut = draft(KB_RECORD_CUT);
    append(&record, &cut);
    append(&record, &cut);
    kb_record_release(&record);
    FILE *stream = fopen(file, "r+");
    char line[600];
    assert_non_null(stream);
    assert_non_null(fgets(line, sizeof line, stream));
    char *reason = strstr(line, "scratch");
    assert_non_null(reason);
    assert_int_equal(fseek(stream, reason - line, SEEK_SET), 0);
    assert_true(fputs("Scratch", stream) >= 0);
    assert_int_equal(fclose(stream), 0);
    assert_int_equal(kb_record_read(file, &record, &err), KB_E_INPUT);
    assert_non_null(strstr(err.text, "line 2"));
}

static void what_is_no_record_is_refused_with_its_line(void **state) {
    (void)state;
    static const char *const wrong[] = {
        "nonsense\n",
        "{}\n",
        "[1]\n",
        "\n",
        "{\"seq\":1,\"at\":\"x\",\"who\":\"a\",\"why\":null,\"kind\":\"cut\",\"fields\":[\"f\"],"
        "\"points\":[[1,2]],\"link\":\"\"}\n",
        "{\"seq\":1,\"at\":\"x\",\"who\":\"a\",\"why\":null,\"kind\":\"cut\",\"fields\":[\"f\"],"
        "\"points\":[[1,2],[-3,1]],\"link\":\"\"}\n",
        "{\"seq\":1,\"at\":\"x\",\"who\":\"a\",\"why\":null,\"kind\":\"cut\",\"fields\":[\"f\"],"
        "\"points\":[[1,2],[1e3,1]],\"link\":\"\"}\n",
        "{\"seq\":1,\"at\":\"x\",\"who\":\"\",\"why\":null,\"kind\":\"sign\",\"link\":\"\"}\n",
        "{\"seq\":2,\"at\":\"x\",\"who\":\"a\",\"why\":null,\"kind\":\"sign\",\"link\":\"\"}\n",
        "{\"seq\":1,\"at\":\"x\",\"who\":\"a\",\"why\":null,\"kind\":\"undo\",\"of\":1,"
        "\"link\":\"\"}\n",
        "{\"seq\":1,\"at\":\"x\",\"who\":\"a\",\"why\":null,\"kind\":\"scale\",\"fields\":[\"f\"],"
        "\"points\":[[1,2],[3,4]],\"length_um\":-1,\"link\":\"\"}\n",
        "{\"seq\":1,\"at\":\"x\",\"who\":\"a\",\"why\":null,\"kind\":\"sign\",\"later\":1,"
        "\"link\":\"\"}\n",
    };
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++) {
        struct kb_record record;
        struct kb_err err = {.code = KB_OK};
        assert_int_equal(kb_write_file(file, wrong[i], strlen(wrong[i]), &err), KB_OK);
        const enum kb_status status = kb_record_read(file, &record, &err);
        assert_true(status == KB_E_INPUT || status == KB_E_USAGE);
        assert_true(err.text[0] != '\0');
        assert_null(record.entry);
    }
    struct kb_record record;
    struct kb_err err = {.code = KB_OK};
    assert_int_equal(kb_record_read(folder, &record, &err), KB_E_INPUT);
    assert_int_equal(unlink(file), 0);
    assert_int_equal(kb_record_read(file, &record, &err), KB_E_INPUT);
}

static void a_second_review_of_the_same_result_is_turned_away(void **state) {
    (void)state;
    struct kb_record first, second;
    struct kb_err err = {.code = KB_OK};
    open_empty(&first);
    struct kb_record_entry cut = draft(KB_RECORD_CUT);
    append(&first, &cut);
    assert_int_equal(kb_record_open(folder, &second, &err), KB_E_SYSTEM);
    assert_int_equal(kb_record_read(file, &second, &err), KB_OK); /* reading is free */
    assert_int_equal(second.count, 1);
    kb_record_release(&second);
    append(&first, &cut); /* and does not let the lock go */
    assert_int_equal(kb_record_open(folder, &second, &err), KB_E_SYSTEM);
    kb_record_release(&first);
    assert_int_equal(kb_record_open(folder, &second, &err), KB_OK);
    kb_record_release(&second);
}

static void a_signature_holds_until_something_is_changed(void **state) {
    (void)state;
    struct kb_record record;
    open_empty(&record);
    struct kb_record_entry cut = draft(KB_RECORD_CUT), sign = draft(KB_RECORD_SIGN);
    append(&record, &cut);
    assert_null(kb_record_signature(&record));
    append(&record, &sign);
    assert_non_null(kb_record_signature(&record));
    assert_int_equal(kb_record_in_force(&record), 1);
    undo(&record, KB_RECORD_UNDO, 1);
    assert_null(kb_record_signature(&record));
    kb_record_release(&record);
}

static void hands_are_the_changes_in_force_and_the_last_word_holds(void **state) {
    (void)state;
    struct kb_record record;
    struct kb_err err = {.code = KB_OK};
    struct kb_by_hand *hand = NULL;
    size_t count = 0;
    open_empty(&record);
    struct kb_record_entry levels = draft(KB_RECORD_THRESHOLDS);
    levels.field = two_fields;
    levels.fields = 2;
    levels.dark = 90.0;
    append(&record, &levels);
    levels.field = one_field;
    levels.fields = 1;
    levels.dark = 95.0;
    append(&record, &levels);
    struct kb_record_entry join = draft(KB_RECORD_JOIN), phase = draft(KB_RECORD_PHASE);
    append(&record, &join);
    append(&record, &phase);
    phase.phase = KB_FERRITE;
    append(&record, &phase);
    assert_int_equal(kb_record_hands(&record, NULL, &hand, &count, &err), KB_OK);
    assert_int_equal(count, 4);
    assert_string_equal(hand[0].field_name, "polished/2.tif");
    assert_near(hand[0].level, 90.0, 0.0);
    assert_near(hand[1].level, 95.0, 0.0);
    assert_int_equal(hand[2].kind, KB_HAND_JOIN);
    assert_int_equal(hand[2].points, 2);
    assert_true(isnan(hand[2].level)); /* is no threshold */
    assert_int_equal(hand[3].phase, KB_FERRITE);
    assert_string_equal(hand[3].who, "R. Ash");
    assert_true(hand[3].may_miss);
    kb_free(hand);

    struct kb_record_entry take_back = draft(KB_RECORD_UNDO);
    take_back.of = 5;
    assert_int_equal(kb_record_hands(&record, &take_back, &hand, &count, &err), KB_OK);
    assert_int_equal(hand[3].phase, KB_PEARLITE); /* tried, not done */
    assert_int_equal(record.count, 5);
    kb_free(hand);

    levels.dark = NAN; /* as found again */
    assert_int_equal(kb_record_hands(&record, &levels, &hand, &count, &err), KB_OK);
    assert_int_equal(count, 3);
    kb_free(hand);
    kb_record_release(&record);
}

static void field_names_are_as_short_as_they_can_be(void **state) {
    (void)state;
    static const char *const path[] = {
        "a/polished/1.tif", "a/etched/1.tif", "b/etched/1.tif", "2.tif", "/3.tif", "x//4.tif"};
    static const char *const name[] = {"polished/1.tif", "a/etched/1.tif", "b/etched/1.tif",
                                       "2.tif",          "3.tif",          "4.tif"};
    for (size_t i = 0; i < 6; i++) {
        assert_string_equal(kb_record_field_name(path, 6, i), name[i]);
    }
}

static void a_record_taken_away_or_written_to_meanwhile_is_not_added_to(void **state) {
    (void)state;
    struct kb_record record;
    struct kb_err err = {.code = KB_OK};
    char aside[80];
    (void)snprintf(aside, sizeof aside, "%s/aside", folder);
    open_empty(&record);
    struct kb_record_entry cut = draft(KB_RECORD_CUT);
    append(&record, &cut);
    assert_int_equal(rename(file, aside), 0);
    assert_int_equal(kb_record_append(&record, &cut, &err), KB_E_SYSTEM);
    assert_int_equal(link(aside, file), 0); /* put back */
    assert_int_equal(unlink(aside), 0);
    append(&record, &cut);
    FILE *stream = fopen(file, "a");
    assert_non_null(stream);
    assert_true(fputs("{}\n", stream) >= 0);
    assert_int_equal(fclose(stream), 0);
    assert_int_equal(kb_record_append(&record, &cut, &err), KB_E_SYSTEM);
    assert_int_equal(record.count, 2);
    assert_int_equal(truncate(file, (off_t)record.length), 0);
    append(&record, &cut);
    reopen(&record);
    assert_int_equal(record.count, 3);
    kb_record_release(&record);
}

static void no_failing_allocation_loses_a_line_or_leaks(void **state) {
    (void)state;
    struct kb_err err = {.code = KB_OK};
    struct kb_record_entry cut = draft(KB_RECORD_CUT);
    size_t lines = 0;
    for (size_t n = 1;; n++) {
        struct kb_record record;
        (void)unlink(file);
        lines = 0;
        fail_alloc_at(n);
        enum kb_status status = kb_record_open(folder, &record, &err);
        const bool opened = status == KB_OK;
        for (int i = 0; i < 3 && status == KB_OK; i++) {
            status = kb_record_append(&record, &cut, &err);
            lines += status == KB_OK;
        }
        const int happened = fail_alloc_happened();
        fail_alloc_no_more();
        if (opened) { /* whatever failed, the next line follows */
            assert_int_equal(record.count, lines);
            append(&record, &cut);
            lines++;
        }
        kb_record_release(&record);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        fail_alloc_at(0);
        if (!happened) {
            break;
        }
        assert_true(n < 500);
        assert_int_equal(status, KB_E_MEMORY);
        if (access(file, F_OK) == 0) {
            assert_int_equal(kb_record_read(file, &record, &err), KB_OK);
            assert_int_equal(record.count, lines);
            kb_record_release(&record);
        }
    }
    assert_int_equal(lines, 4);
}

int main(void) {
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, make_folder, remove_folder)
        TEST(every_kind_comes_back_as_it_was_said),
        TEST(undo_and_redo_go_back_and_forth_until_another_change),
        TEST(half_a_line_is_left_out_and_written_over),
        TEST(a_line_changed_by_other_means_is_found_out),
        TEST(what_is_no_record_is_refused_with_its_line),
        TEST(a_second_review_of_the_same_result_is_turned_away),
        TEST(a_signature_holds_until_something_is_changed),
        TEST(hands_are_the_changes_in_force_and_the_last_word_holds),
        TEST(field_names_are_as_short_as_they_can_be),
        TEST(a_record_taken_away_or_written_to_meanwhile_is_not_added_to),
        TEST(no_failing_allocation_loses_a_line_or_leaks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
