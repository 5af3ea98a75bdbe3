/* test_flakes_shown.c - the distribution of flakes in JSON, page and terminal table: the letter and
 * the designation where they are told, the reason where not, and no nodularity of flakes. */
#include "kb_cmocka.h"

#include "sample_result.h"

#include <jansson.h>
#include <string.h>

/* A grey iron whose flakes are of distribution B. */
static void make(bool told, struct kb_result *result) {
    const struct sample_options options = {.fields = 3};
    sample_result_make(&options, result);
    result->material = KB_GREY_IRON;
    struct kb_specimen *specimen = &result->specimen;
    specimen->material = KB_GREY_IRON;
    for (int i = 0; i < KB_NOD_METHODS; i++) {
        specimen->nodularity_percent[i] = kb_estimate_missing("%", "flakes have none");
    }
    struct kb_flake_distribution *flakes = &specimen->distribution;
    memset(flakes, 0, sizeof *flakes);
    for (int i = 0; i < KB_FLAKE_MEASURES; i++) {
        flakes->figure[i] = kb_estimate_point(0.5 * (i + 1), 3,
                                              kb_flake_measure_unit((enum kb_flake_measure)i), "");
    }
    flakes->flakes = told ? 640 : 60;
    flakes->fields = 3;
    flakes->not_told = told ? 0.05 : 1.0;
    if (told) {
        flakes->told = true;
        flakes->letter = KB_FLAKE_B;
        flakes->belief[KB_FLAKE_B] = 0.9;
        flakes->belief[KB_FLAKE_D] = 0.05;
        flakes->size_class = 5;
        (void)strcpy(flakes->designation, "I B 5");
    } else {
        flakes->why = "fewer than 100 complete flakes";
    }
}

static void expect(const struct kb_text *text, const char *part, bool wanted) {
    if ((strstr(text->data, part) != NULL) != wanted) {
        fail_msg("'%s' is %s", part, wanted ? "missing" : "there");
    }
}

static void the_data_hold_letter_belief_and_every_figure(void **state) {
    (void)state;
    struct kb_result result;
    struct kb_text text = KB_TEXT_INIT;
    make(true, &result);
    assert_int_equal(kb_report_json(&result, &text, NULL), KB_OK);
    json_t *json = json_loads(text.data, 0, NULL);
    const json_t *flakes = json_object_get(json_object_get(json, "graphite"), "distribution");
    assert_string_equal(json_string_value(json_object_get(flakes, "letter")), "B");
    assert_string_equal(json_string_value(json_object_get(flakes, "designation")), "I B 5");
    const json_t *belief = json_object_get(flakes, "belief");
    const char *key;
    json_t *value;
    double sum = 0.0;
    json_object_foreach((json_t *)(uintptr_t)belief, key, value) {
        sum += json_number_value(value);
    }
    assert_near(sum, 1.0, 1e-12);
    assert_int_equal(json_object_size(json_object_get(flakes, "figures")), KB_FLAKE_MEASURES);
    const json_t *order = json_object_get(json_object_get(flakes, "figures"), "order");
    assert_near(json_number_value(json_object_get(order, "value")), 3.0, 1e-12);
    json_decref(json);
    kb_text_release(&text);
    kb_result_release(&result);
}

static void the_table_says_it_in_one_line(void **state) {
    (void)state;
    for (int told = 0; told < 2; told++) {
        struct kb_result result;
        struct kb_text text = KB_TEXT_INIT;
        make(told == 1, &result);
        assert_int_equal(kb_report_table(&result, 200, false, &text, NULL), KB_OK);
        expect(&text, "flakes after ISO 945-1: I B 5, rosettes; letter believed to 90 %",
               told == 1);
        expect(&text, "not told, fewer than 100 complete flakes", told == 0);
        kb_text_release(&text);
        kb_result_release(&result);
    }
}

static void the_page_shows_what_each_figure_speaks_for(void **state) {
    (void)state;
    for (int told = 0; told < 2; told++) {
        struct kb_result result;
        struct kb_text text = KB_TEXT_INIT;
        make(told == 1, &result);
        assert_int_equal(kb_report_html(&result, &text, NULL), KB_OK);
        expect(&text, "Graphite I B 5 after ISO 945-1", told == 1);
        expect(&text, "No letter is given: fewer than 100 complete flakes", told == 0);
        expect(&text, "Not given: flakes have none", true);
        expect(&text, "after ASTM E2567, by area", false);
        expect(&text, "nodularity to ±", false);
        for (int i = 0; i < KB_FLAKE_MEASURES; i++) {
            expect(&text, kb_flake_measure_words((enum kb_flake_measure)i), true);
            expect(&text, kb_flake_measure_tells((enum kb_flake_measure)i), true);
        }
        kb_text_release(&text);
        kb_result_release(&result);
    }
}

static void other_irons_have_no_distribution(void **state) {
    (void)state;
    const struct sample_options options = {.fields = 2};
    struct kb_result result;
    struct kb_text text = KB_TEXT_INIT;
    sample_result_make(&options, &result);
    assert_int_equal(kb_report_html(&result, &text, NULL), KB_OK);
    expect(&text, "Distribution of the flakes", false);
    kb_text_release(&text);
    kb_result_release(&result);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_data_hold_letter_belief_and_every_figure),
        cmocka_unit_test(the_table_says_it_in_one_line),
        cmocka_unit_test(the_page_shows_what_each_figure_speaks_for),
        cmocka_unit_test(other_irons_have_no_distribution),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
