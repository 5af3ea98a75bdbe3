/* test_prepare_faults.c - which step a fault sends back to. What is right is common practice, no
 * published source; grain sizes are those of the FEPA P series.
 */
#include "every_sheet.h"

#include "kb_cmocka.h"

#include <string.h>

static struct kb_prepare_sheet sheet;

static const struct kb_abrasive *paper_named(const char *name) {
    size_t count = 0;
    const struct kb_abrasive *paper = kb_abrasives(&count);
    for (size_t i = 0; i < count; i++) {
        if (strcmp(paper[i].name, name) == 0) {
            return &paper[i];
        }
    }
    return NULL;
}

static void after(const struct kb_prepare_seen *seen, size_t count) {
    struct kb_prepare_params params = kb_prepare_params_default(KB_DUCTILE_IRON);
    params.cut = KB_CUT_SAW;
    assert_int_equal(kb_prepare_plan(&params, seen, count, &sheet, NULL), KB_OK);
    assert_true(sheet.after);
}

static void after_one(struct kb_prepare_seen seen) {
    after(&seen, 1);
    assert_int_equal(sheet.faults, 1);
}

/* The abrasive to begin with, or the kind of the step. */
static const char *begins(void) {
    if (sheet.begin >= sheet.steps) {
        return "nothing";
    }
    const struct kb_prepare_step *step = &sheet.step[sheet.begin];
    return step->abrasive != NULL ? step->abrasive : kb_prepare_kind_name(step->kind);
}

static void scratches_go_back_to_the_paper_that_could_have_left_them(void **state) {
    (void)state;
    static const char *const back[][2] = {
        /* grade named, rung of this ladder: P120 P220 P320 P600 P1200 9 3 1 */
        {"P120", "P120"}, {"P280", "P320"},   {"P320", "P320"},          {"P500", "P600"},
        {"P600", "P600"}, {"P1200", "P1200"}, {"P2500", "9 µm diamond"}, {"P60", "P120"},
    };
    for (size_t i = 0; i < sizeof back / sizeof *back; i++) {
        after_one((struct kb_prepare_seen){.check = KB_CHECK_SCRATCHES,
                                           .fitness = KB_NOT_FIT,
                                           .abrasive = paper_named(back[i][0])});
        assert_string_equal(begins(), back[i][1]);
        assert_non_null(strstr(sheet.fault[0].why, back[i][0]));
    }
}

static void scratches_finer_than_paper_go_back_to_the_polish(void **state) {
    (void)state;
    after_one(
        (struct kb_prepare_seen){.check = KB_CHECK_SCRATCHES, .fitness = KB_NOT_FIT, .fine = true});
    assert_string_equal(begins(), "3 µm diamond");
}

static void scratches_of_unknown_width_go_back_as_far_as_their_number_asks(void **state) {
    (void)state;
    after_one((struct kb_prepare_seen){.check = KB_CHECK_SCRATCHES, .fitness = KB_NOT_FIT});
    assert_string_equal(begins(), "P1200");
    after_one((struct kb_prepare_seen){.check = KB_CHECK_SCRATCHES, .fitness = KB_USABLE});
    assert_string_equal(begins(), "1 µm diamond");
    after_one((struct kb_prepare_seen){
        .check = KB_CHECK_SCRATCHES, .fitness = KB_NOT_FIT, .crossed = true});
    assert_string_equal(begins(), "P600");
    assert_non_null(strstr(sheet.fault[0].why, "right angle"));
}

static void each_other_fault_goes_back_to_its_step(void **state) {
    (void)state;
    static const struct {
        enum kb_check check;
        const char *back;
    } row[] = {
        {KB_CHECK_PULL_OUT, "P1200"},
        {KB_CHECK_ETCH_WEAK, "nital"},
        {KB_CHECK_ETCH_STRONG, "1 µm diamond"},
        {KB_CHECK_ETCH_FERRITE, "1 µm diamond"},
        {KB_CHECK_BOUNDARIES, "1 µm diamond"},
        {KB_CHECK_STAINS, "dry"},
        {KB_CHECK_FOCUS, "nothing"},
        {KB_CHECK_LIGHT, "nothing"},
        {KB_CHECK_SATURATION, "nothing"},
        {KB_CHECK_SHADOWS, "nothing"},
        {KB_CHECK_GREY_LEVELS, "nothing"},
        {KB_CHECK_BLOCKS, "nothing"},
        {KB_CHECK_NOISE, "nothing"},
        {KB_CHECK_RESOLUTION, "nothing"},
        {KB_CHECK_TOUCHING, "nothing"},
    };
    bool known[KB_CHECKS] = {[KB_CHECK_SCRATCHES] = true};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        after_one((struct kb_prepare_seen){.check = row[i].check, .fitness = KB_NOT_FIT});
        assert_string_equal(begins(), row[i].back);
        assert_true(sheet.fault[0].why[0] != '\0');
        known[row[i].check] = true;
    }
    for (int i = 0; i < KB_CHECKS; i++) {
        assert_true(known[i]); /* a new check must be given its step */
    }
}

static void the_earliest_step_wins_and_the_bench_is_told_first(void **state) {
    (void)state;
    const struct kb_prepare_seen seen[] = {
        {.check = KB_CHECK_FOCUS, .fitness = KB_NOT_FIT, .advice = "Focus again."},
        {.check = KB_CHECK_ETCH_WEAK, .fitness = KB_NOT_FIT},
        {.check = KB_CHECK_PULL_OUT, .fitness = KB_NOT_FIT},
    };
    after(seen, 3);
    assert_string_equal(begins(), "P1200");
    assert_true(sheet.fault[0].bench && sheet.fault[1].bench && !sheet.fault[2].bench);
    assert_string_equal(sheet.fault[2].why, "Focus again.");
}

static void signs_of_too_strong_an_etch_forbid_more_of_it(void **state) {
    (void)state;
    const struct kb_prepare_seen seen[] = {
        {.check = KB_CHECK_ETCH_WEAK, .fitness = KB_NOT_FIT},
        {.check = KB_CHECK_ETCH_FERRITE, .fitness = KB_USABLE},
    };
    after(seen, 2);
    assert_string_equal(begins(), "1 µm diamond");
    assert_non_null(strstr(sheet.fault[0].why, "Do not etch on"));
}

static void what_is_only_usable_sends_nobody_further_back(void **state) {
    (void)state;
    const struct kb_prepare_seen seen[] = {
        {.check = KB_CHECK_SCRATCHES, .fitness = KB_USABLE, .abrasive = paper_named("P320")},
        {.check = KB_CHECK_ETCH_WEAK, .fitness = KB_NOT_FIT},
    };
    after(seen, 2);
    assert_string_equal(begins(), "nital");
    after(seen, 1);
    assert_string_equal(begins(), "P320");
}

static void one_grey_under_electrons_is_no_matter_of_the_etch(void **state) {
    (void)state;
    after_one((struct kb_prepare_seen){.check = KB_CHECK_ETCH_WEAK,
                                       .fitness = KB_NOT_FIT,
                                       .electrons = true,
                                       .advice = "Photograph it in the light microscope."});
    assert_string_equal(begins(), "nothing");
    assert_string_equal(sheet.fault[0].why, "Photograph it in the light microscope.");
}

static void a_face_that_is_plane_is_not_ground_plane_again(void **state) {
    (void)state;
    after_one((struct kb_prepare_seen){.check = KB_CHECK_PULL_OUT, .fitness = KB_NOT_FIT});
    const struct kb_prepare_part *grind = part_of_kind(&sheet, KB_PREPARE_GRIND);
    for (size_t i = 0; i < grind->rules; i++) {
        assert_null(strstr(grind->rule[i], "First paper"));
    }
    assert_true(cautions(grind, "Eye protection")); /* cautions stay */
}

static void nothing_found_leaves_nothing_to_do(void **state) {
    (void)state;
    const struct kb_prepare_seen none = {.check = KB_CHECK_FOCUS};
    after(&none, 0);
    assert_int_equal(sheet.begin, sheet.steps);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(scratches_go_back_to_the_paper_that_could_have_left_them),
        cmocka_unit_test(scratches_finer_than_paper_go_back_to_the_polish),
        cmocka_unit_test(scratches_of_unknown_width_go_back_as_far_as_their_number_asks),
        cmocka_unit_test(each_other_fault_goes_back_to_its_step),
        cmocka_unit_test(the_earliest_step_wins_and_the_bench_is_told_first),
        cmocka_unit_test(signs_of_too_strong_an_etch_forbid_more_of_it),
        cmocka_unit_test(what_is_only_usable_sends_nobody_further_back),
        cmocka_unit_test(one_grey_under_electrons_is_no_matter_of_the_etch),
        cmocka_unit_test(a_face_that_is_plane_is_not_ground_plane_again),
        cmocka_unit_test(nothing_found_leaves_nothing_to_do),
    };
    return cmocka_run_group_tests_name("steps to return to", tests, NULL, NULL);
}
