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

static void what_is_drawn_has_its_points(void **state) {
    (void)state;
    static const struct {
        const char *option, *said, *field;
        enum kb_hand_kind kind;
        size_t points;
        int32_t last_x, last_y;
    } good[] = {
        {"--exclude", "1,2 30,4 5,60: stain", NULL, KB_HAND_OUTLINE, 3, 5, 60},
        {"--exclude", "a b.tif -1,2 30,4 5 , 60 8,9", "a b.tif", KB_HAND_OUTLINE, 4, 8, 9},
        {"--cut", "a.tif 1,2 3,4: two nodules", "a.tif", KB_HAND_CUT, 2, 3, 4},
        {"--cut", "field 7.tif 1,2 3,4 \t 5,6 -7,8: x", "field 7.tif", KB_HAND_CUT, 4, -7, 8},
        {"--join", "c.tif 1,2 3,4: one: cracked", "c.tif", KB_HAND_JOIN, 2, 3, 4},
        {"--scale-line", "d.tif 10,2 110,2 50um: bar", "d.tif", KB_HAND_SCALE, 2, 110, 2},
        {"--scale-line", "10,2 110,2 0.05 mm: bar", NULL, KB_HAND_SCALE, 2, 110, 2},
    };
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        struct kb_request request;
        assert_int_equal(say(&request, good[i].option, good[i].said, NULL), KB_OK);
        assert_int_equal(request.settings.by_hands, 1);
        const struct kb_by_hand *hand = request.settings.by_hand;
        assert_int_equal(hand->kind, good[i].kind);
        assert_int_equal(hand->points, good[i].points);
        assert_int_equal(hand->point[hand->points - 1].x, good[i].last_x);
        assert_int_equal(hand->point[hand->points - 1].y, good[i].last_y);
        assert_true((hand->field_name == NULL) == (good[i].field == NULL));
        assert_true(good[i].field == NULL || strcmp(hand->field_name, good[i].field) == 0);
        assert_false(hand->may_miss);
        if (hand->kind == KB_HAND_SCALE) {
            assert_near(hand->length_um, 50.0, 1e-12);
            assert_near(hand->length_um_u, 0.0, 0.0);
        }
        kb_request_release(&request);
    }
}

/* Expanded with the coverage factor 2 unless another is named, as of a certificate. */
static void a_line_may_state_its_uncertainty(void **state) {
    (void)state;
    struct kb_request request;
    assert_int_equal(say(&request, "--scale-line", "1,2 9,2 50um±0.4um: bar", NULL), KB_OK);
    assert_near(request.settings.by_hand->length_um_u, 0.2, 1e-12);
    kb_request_release(&request);
    assert_int_equal(say(&request, "--scale-line", "1,2 9,2 50um+-0.4um (k=1): bar", NULL), KB_OK);
    assert_near(request.settings.by_hand->length_um_u, 0.4, 1e-12);
    kb_request_release(&request);
}

static void thresholds_of_a_field_may_be_one_or_both(void **state) {
    (void)state;
    static const struct {
        const char *said;
        size_t count;
        double dark, bright;
    } good[] = {{"a.tif 77: lamp", 1, 77, 0},
                {"a 7.tif 77.5,160: lamp", 2, 77.5, 160},
                {"a.tif -,160 : lamp: changed", 1, 0, 160}};
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        struct kb_request request;
        assert_int_equal(say(&request, "--field-threshold", good[i].said, NULL), KB_OK);
        assert_int_equal(request.settings.by_hands, good[i].count);
        for (size_t k = 0; k < good[i].count; k++) {
            const struct kb_by_hand *hand = &request.settings.by_hand[k];
            const bool dark = hand->kind == KB_HAND_DARK;
            assert_true(dark || hand->kind == KB_HAND_BRIGHT);
            assert_near(hand->level, dark ? good[i].dark : good[i].bright, 0.0);
            assert_non_null(hand->field_name);
            assert_non_null(hand->reason);
        }
        assert_true(isnan(request.settings.segmentation.dark_threshold));
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
        {"--exclude", "1,2 3,4: two corners", "three corners"},
        {"--exclude", "1,2 3,4 5,6 x: a word", "three corners"},
        {"--cut", "a.tif 1,2: x", "no cut by hand"},
        {"--cut", "1,2 3,4: x", "no cut by hand"},
        {"--cut", "a.tif 1,2 3,4", "gives no reason"},
        {"--cut", "a.tif 1,2 3,4 through: x", "no cut by hand"},
        {"--cut", "a.tif 1.5,2 3,4: x", "no cut by hand"},
        {"--cut", "a.tif nan,2 3,4: x", "no cut by hand"},
        {"--join", "a.tif 1,2 3,4 5,6: x", "no join by hand"},
        {"--join", "a.tif 1,2 3,4:", "gives no reason"},
        {"--scale-line", "a.tif 1,2 3,4: x", "known length"},
        {"--scale-line", "a.tif 1,2 3,4 100: x", "known length"},
        {"--scale-line", "a.tif 1,2 3,4 0um: x", "known length"},
        {"--scale-line", "a.tif 1,2 3,4 nanum: x", "known length"},
        {"--scale-line", "a.tif 1,2 3,4 100um±100um: x", "known length"},
        {"--scale-line", "a.tif 1,2 3,4 5,6 100um: x", "known length"},
        {"--scale-line", "a.tif 3,4 3,4 100um: x", "same pixel"},
        {"--scale-line", "a.tif 1,2 3,4 100um", "gives no reason"},
        {"--field-threshold", "77: x", "no threshold of a field"},
        {"--field-threshold", "a.tif 77", "no threshold of a field"},
        {"--field-threshold", "a.tif 77:", "no threshold of a field"},
        {"--field-threshold", "a.tif -,-: x", "no threshold of a field"},
        {"--field-threshold", "a.tif nan: x", "no threshold of a field"},
        {"--field-threshold", "a.tif -5: x", "no threshold of a field"},
        {"--field-threshold", "a.tif 77,160,180: x", "no threshold of a field"},
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

/* An outline of many corners is longer than a line of a job file. */
static void a_long_outline_goes_on_behind_a_backslash(void **state) {
    (void)state;
    enum { CORNERS = 120 };
    char text[4096] = "[by_hand]\nexclude = a.tif";
    size_t length = strlen(text);
    for (int i = 0; i < CORNERS; i++) {
        length += (size_t)snprintf(text + length, sizeof text - length, "%s%d,%d",
                                   i % 12 == 11 ? " \\\n\t" : " ", 1000 + i, 2000 + i * i % 97);
    }
    (void)snprintf(text + length, sizeof text - length,
                   " \\\n  : a stain\ncut = b.tif 1,2 3,4: x\n");
    struct kb_request request;
    assert_int_equal(say_job(&request, text, NULL), KB_OK);
    assert_int_equal(request.settings.by_hands, 2);
    const struct kb_by_hand *hand = request.settings.by_hand;
    assert_int_equal(hand[0].points, CORNERS);
    for (int i = 0; i < CORNERS; i++) {
        assert_int_equal(hand[0].point[i].x, 1000 + i);
        assert_int_equal(hand[0].point[i].y, 2000 + i * i % 97);
    }
    assert_string_equal(hand[0].reason, "a stain");
    assert_string_equal(hand[1].field_name, "b.tif");
    kb_request_release(&request);
}

/* What is cut first is joined later: the settings of a result are said again in that order. */
static void settings_list_decisions_in_the_order_in_which_they_were_said(void **state) {
    (void)state;
    struct kb_request request;
    assert_int_equal(say_job(&request,
                             "[by_hand]\njoin = a.tif 1,2 3,4: x\ncut = a.tif 1,2 3,4: x\n"
                             "set_form = a.tif 1,2 VI: x\njoin = a.tif 5,6 7,8: x\n",
                             NULL),
                     KB_OK);
    static const char *const wanted[] = {"join", "cut", "set-form", "join"};
    assert_true(request.settings.records >= 4);
    const struct kb_setting_record *last = request.settings.record + request.settings.records - 4;
    for (int i = 0; i < 4; i++) {
        assert_string_equal(last[i].name, wanted[i]);
    }
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
        cmocka_unit_test(what_is_drawn_has_its_points),
        cmocka_unit_test(a_long_outline_goes_on_behind_a_backslash),
        cmocka_unit_test(settings_list_decisions_in_the_order_in_which_they_were_said),
        cmocka_unit_test(a_line_may_state_its_uncertainty),
        cmocka_unit_test(thresholds_of_a_field_may_be_one_or_both),
        cmocka_unit_test(a_correction_has_a_field_a_place_a_word_and_a_reason),
        cmocka_unit_test(an_exclusion_may_name_a_field_and_a_reason),
        cmocka_unit_test(what_is_not_whole_is_refused_with_what_would_be),
        cmocka_unit_test(a_job_file_keeps_one_decision_a_line),
        cmocka_unit_test(a_reason_needs_a_threshold),
        cmocka_unit_test(every_failed_allocation_ends_in_a_status_and_leaks_nothing),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
