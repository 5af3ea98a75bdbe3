/* test_said_by_hand.c - decisions by hand as a person writes them, on the line and in a job file.
 */
#include "fail_alloc.h"
#include "job_fixture.h"

#include <string.h>

static enum kb_status say(struct kb_request *request, const char *option, const char *value,
                          struct kb_err *err) {
    char name[32], text[512];
    (void)snprintf(name, sizeof name, "%s", option);
    (void)snprintf(text, sizeof text, "%s", value);
    char *line[] = {name, text};
    return resolve(request, 2, line, err);
}

static enum kb_status say_job(struct kb_request *request, const char *text, struct kb_err *err) {
    char option[] = "--job";
    char *line[] = {option, job_path};
    write_job(text);
    return resolve(request, 2, line, err);
}

static void a_correction_has_a_field_a_place_a_word_and_a_reason(void **state) {
    (void)state;
    static const struct {
        const char *said, *field;
        int32_t x, y;
        enum kb_phase phase;
        const char *reason;
    } good[] = {
        {"a.tif 120,88 pearlite: lamellae at 500x", "a.tif", 120, 88, KB_PEARLITE,
         "lamellae at 500x"},
        {"  my field 07.tif \t 3 , 4  other :  a pore: deep, 2 um ", "my field 07.tif", 3, 4,
         KB_OTHER, "a pore: deep, 2 um"},
        {"etched/b.tif 0,0 excluded: stain", "etched/b.tif", 0, 0, KB_EXCLUDED, "stain"},
        {"c 1.tif -5,7 ferrite:x", "c 1.tif", -5, 7, KB_FERRITE, "x"}, /* the stage refuses -5 */
    };
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        struct kb_request request;
        assert_int_equal(say(&request, "--set-phase", good[i].said, NULL), KB_OK);
        assert_int_equal(request.settings.by_hands, 1);
        const struct kb_by_hand *hand = request.settings.by_hand;
        assert_int_equal(hand->kind, KB_HAND_PHASE);
        assert_string_equal(hand->field_name, good[i].field);
        assert_int_equal(hand->place.x, good[i].x);
        assert_int_equal(hand->place.y, good[i].y);
        assert_int_equal(hand->phase, good[i].phase);
        assert_string_equal(hand->reason, good[i].reason);
        assert_string_equal(hand->origin, "command line");
        kb_request_release(&request);
    }
}

static void an_exclusion_may_name_a_field_and_a_reason(void **state) {
    (void)state;
    static const struct {
        const char *said, *field;
        int32_t x, height;
        const char *reason;
    } good[] = {
        {"1,2,3,4", NULL, 1, 4, NULL},
        {"1, 2 ,3, 4", NULL, 1, 4, NULL},
        {"1,2,3,4: data bar", NULL, 1, 4, "data bar"},
        {"a b.tif 1,2,3,4", "a b.tif", 1, 4, NULL},
        {"a.tif 9,2,3,7 : dirt", "a.tif", 9, 7, "dirt"},
        {"1,2,3,4:", NULL, 1, 4, NULL},
    };
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        struct kb_request request;
        assert_int_equal(say(&request, "--exclude", good[i].said, NULL), KB_OK);
        const struct kb_by_hand *hand = request.settings.by_hand;
        assert_int_equal(hand->kind, KB_HAND_EXCLUSION);
        assert_true((hand->field_name == NULL) == (good[i].field == NULL));
        assert_true(hand->field_name == NULL || strcmp(hand->field_name, good[i].field) == 0);
        assert_int_equal(hand->place.x, good[i].x);
        assert_int_equal(hand->place.height, good[i].height);
        assert_true((hand->reason == NULL) == (good[i].reason == NULL));
        assert_true(hand->reason == NULL || strcmp(hand->reason, good[i].reason) == 0);
        kb_request_release(&request);
    }
}

static void what_is_not_whole_is_refused_with_what_would_be(void **state) {
    (void)state;
    static const struct {
        const char *option, *value, *says;
    } slip[] = {
        {"--set-phase", "a.tif 1,2 pearlite", "gives no reason"},
        {"--set-phase", "a.tif 1,2 pearlite:  ", "gives no reason"},
        {"--set-phase", "a.tif 1,2 perlite: x", "names no phase"},
        {"--set-phase", "1,2 pearlite: x", "FIELD X,Y PHASE: reason"},
        {"--set-phase", "a.tif 1 2 pearlite: x", "FIELD X,Y PHASE: reason"},
        {"--set-phase", "a.tif 1,2,3,4 pearlite: x", "FIELD X,Y PHASE: reason"},
        {"--set-phase", "a.tif 1,2: x", "FIELD X,Y PHASE: reason"},
        {"--set-phase", "a.tif 9999999999,2 other: x", "FIELD X,Y PHASE: reason"},
        {"--set-phase", "", "FIELD X,Y PHASE: reason"},
        {"--set-phase", "a.tif 1,2 other: x | ", "FIELD X,Y PHASE: reason"},
        {"--set-phase", "a.tif 1,2 other: torn\noff", "line break"},
        {"--set-phase", "a.tif 1,2 other: torn ; off", "semicolon"},
        {"--set-form", "a.tif 1,2 6: x", "names no form"},
        {"--set-form", "a.tif 1,2 VI", "gives no reason"},
        {"--set-form", "VI: x", "FIELD X,Y FORM: reason"},
        {"--exclude", "1,2,3,4 x", "x,y,width,height"},
        {"--exclude", "-1,2,3,4", "x,y,width,height"},
        {"--exclude", "1,2,3,4,5", "x,y,width,height"},
        {"--exclude", "1,2,200001,4", "x,y,width,height"},
    };
    for (size_t i = 0; i < sizeof slip / sizeof slip[0]; i++) {
        struct kb_request request;
        struct kb_err err;
        assert_int_equal(say(&request, slip[i].option, slip[i].value, &err), KB_E_USAGE);
        assert_string_equal(err.subject, slip[i].option);
        if (strstr(err.text, slip[i].says) == NULL) {
            fail_msg("%s %s says: %s", slip[i].option, slip[i].value, err.text);
        }
        kb_request_release(&request);
    }
    char lengthy[300] = "a.tif 1,2 other: ";
    memset(lengthy + 17, 'x', sizeof lengthy - 18);
    struct kb_request request;
    struct kb_err err;
    assert_int_equal(say(&request, "--set-phase", lengthy, &err), KB_E_USAGE);
    assert_non_null(strstr(err.text, "too long"));
    kb_request_release(&request);
}

/* Each line of [by_hand] is a decision; elsewhere a key may stand once. */
static void a_job_file_keeps_one_decision_a_line(void **state) {
    (void)state;
    struct kb_request request;
    assert_int_equal(say_job(&request,
                             "[segmentation]\ndark_threshold = 77\n"
                             "threshold_reason = lamp was changed\n"
                             "[by_hand]\nset_phase = a.tif 1,2 other: pore\n"
                             "set_phase = a.tif 3,4 other: slag | b.tif 5,6 ferrite: halo\n"
                             "set_form = a.tif 7,8 V: pull-out\nexclude = b.tif 0,0,9,9: text\n",
                             NULL),
                     KB_OK);
    static const enum kb_hand_kind kind[] = {KB_HAND_PHASE, KB_HAND_PHASE,     KB_HAND_PHASE,
                                             KB_HAND_FORM,  KB_HAND_EXCLUSION, KB_HAND_DARK};
    assert_int_equal(request.settings.by_hands, 6);
    for (size_t i = 0; i < 6; i++) {
        assert_int_equal(request.settings.by_hand[i].kind, kind[i]);
        assert_string_equal(request.settings.by_hand[i].origin, "job file");
    }
    assert_string_equal(request.settings.by_hand[2].field_name, "b.tif");
    assert_string_equal(request.settings.by_hand[1].reason, "slag");
    assert_int_equal(request.settings.by_hand[3].form, KB_FORM_V);
    assert_near(request.settings.by_hand[5].level, 77, 0);
    assert_near(request.settings.segmentation.dark_threshold, 77, 0);
    assert_string_equal(request.settings.by_hand[5].reason, "lamp was changed");
    kb_request_release(&request);

    struct kb_err err;
    assert_int_equal(say_job(&request, "[by_hand]\nset_fase = a.tif 1,2 other: pore\n", &err),
                     KB_E_USAGE);
    assert_non_null(strstr(err.text, "set_phase"));
    kb_request_release(&request);
    assert_int_equal(say_job(&request, "[by_hand]\n\nset_phase = a.tif 1,2 other\n", &err),
                     KB_E_USAGE);
    assert_non_null(strstr(err.subject, "part.ini:3"));
    kb_request_release(&request);
}

static void a_reason_needs_a_threshold(void **state) {
    (void)state;
    struct kb_request request;
    struct kb_err err;
    assert_int_equal(say(&request, "--threshold-reason", "x", &err), KB_E_USAGE);
    assert_non_null(strstr(err.text, "--dark-threshold"));
    kb_request_release(&request);
    assert_int_equal(say(&request, "--bright-threshold", "200", &err), KB_OK);
    assert_int_equal(request.settings.by_hand[0].kind, KB_HAND_BRIGHT);
    assert_null(request.settings.by_hand[0].reason);
    kb_request_release(&request);
}

static void every_failed_allocation_ends_in_a_status_and_leaks_nothing(void **state) {
    (void)state;
    int failed = 1;
    for (size_t n = 1; failed; n++) {
        struct kb_request request;
        fail_alloc_at(n);
        enum kb_status status =
            say(&request, "--set-phase", "a.tif 1,2 other: x | b.tif 3,4 ferrite: y", NULL);
        kb_request_release(&request);
        long open_blocks = fail_alloc_open_blocks();
        failed = fail_alloc_happened();
        fail_alloc_at(0);
        assert_int_equal(open_blocks, 0);
        assert_int_equal(status, failed ? KB_E_MEMORY : KB_OK);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_correction_has_a_field_a_place_a_word_and_a_reason),
        cmocka_unit_test(an_exclusion_may_name_a_field_and_a_reason),
        cmocka_unit_test(what_is_not_whole_is_refused_with_what_would_be),
        cmocka_unit_test(a_job_file_keeps_one_decision_a_line),
        cmocka_unit_test(a_reason_needs_a_threshold),
        cmocka_unit_test(every_failed_allocation_ends_in_a_status_and_leaks_nothing),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
