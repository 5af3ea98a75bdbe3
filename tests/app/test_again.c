/* test_again.c - a result asked for again: the same figures to the digit, or a plain refusal. */
#include "again.h"
#include "job_fixture.h"

static char picture[80], output[80];

static void draw(uint64_t seed) {
    struct kb_render_params params = kb_render_params_default();
    struct kb_render drawn;
    params.seed = seed;
    params.width = 320;
    params.height = 240;
    assert_int_equal(kb_render_draw(&params, &drawn, NULL), KB_OK);
    assert_int_equal(kb_write_tiff(picture, &drawn.grey, params.px_um, false, NULL), KB_OK);
    kb_render_release(&drawn);
}

static int set_up(void **state) {
    (void)snprintf(folder, sizeof folder, "/tmp/kb-job-XXXXXX"); /* a new one each time */
    const int failed = make_folder(state);
    (void)snprintf(picture, sizeof picture, "%s/a field.tif", folder);
    (void)snprintf(output, sizeof output, "%s/result", folder);
    draw(77);
    return failed;
}

static int take_down(void **state) {
    static const char *const made[] = {"result.json", "report.html", "fields.csv", "particles.csv"};
    for (size_t i = 0; i < sizeof made / sizeof made[0]; i++) {
        char *path = kb_join_path(output, made[i]);
        (void)unlink(path);
        kb_free(path);
    }
    (void)rmdir(output);
    (void)unlink(picture);
    return drop_folder(state);
}

static const char job[] =
    "[specimen]\nid = Bracket; leg\nmaterial = ductile-iron\noperator = R. Ash\n"
    "[fields]\nauto = a field.tif\n"
    "[chemistry]\nC = 3.5 %\nSi = 2.4 %\n"
    "[given]\nhardness_hbw = 190±4\n"
    "[limits]\nnodularity = >= 60 %\npearlite_of_matrix = 5..95 %\n"
    "[segmentation]\naccept_unfit = yes\n"
    "[by_hand]\nexclude = a field.tif 0,0,40,30: edge of the mount\n";

static void measure(const struct kb_request *request, const char *to, struct kb_text *json) {
    struct kb_err err = {.code = KB_OK};
    struct kb_settings settings = request->settings;
    struct kb_result result;
    settings.out_folder = to;
    settings.pictures = false;
    const struct kb_settings_field field = {request->field[0].path,
                                            request->field[0].contrast.contrast,
                                            request->field[0].contrast.find};
    const enum kb_status status = kb_measure(&field, 1, &settings, NULL, &result, &err);
    assert_string_equal(err.text, "");
    assert_int_equal(status, KB_OK);
    result.made_at[0] = '\0'; /* the only thing that may differ */
    assert_int_equal(kb_report_json(&result, json, &err), KB_OK);
    kb_result_release(&result);
}

static void the_same_result_comes_of_it_to_the_digit(void **state) {
    (void)state;
    struct kb_request request;
    struct kb_err err = {.code = KB_OK};
    struct kb_text first = KB_TEXT_INIT, again = KB_TEXT_INIT;
    write_job(job);
    char said[64],
        *argv[] = {(char *)"--job", said, (char *)"--min-feret", (char *)"8um", (char *)"--rule",
                   (char *)"simple"};
    (void)snprintf(said, sizeof said, "%s", job_path);
    assert_int_equal(resolve(&request, 6, argv, &err), KB_OK);
    measure(&request, output, &first);
    kb_request_release(&request);
    assert_int_equal(kb_request_again(output, &request, &err), KB_OK);
    measure(&request, NULL, &again);
    kb_request_release(&request);
    assert_string_equal(first.data, again.data);
    assert_non_null(strstr(again.data, "edge of the mount"));
    assert_non_null(strstr(again.data, "\"simple\""));
    kb_text_release(&first);
    kb_text_release(&again);
}

static void another_picture_under_the_same_name_is_refused(void **state) {
    (void)state;
    struct kb_request request;
    struct kb_err err = {.code = KB_OK};
    struct kb_text json = KB_TEXT_INIT;
    write_job(job);
    char said[64], *argv[] = {(char *)"--job", said};
    (void)snprintf(said, sizeof said, "%s", job_path);
    assert_int_equal(resolve(&request, 2, argv, &err), KB_OK);
    measure(&request, output, &json);
    kb_request_release(&request);
    kb_text_release(&json);
    draw(78);
    assert_int_equal(kb_request_again(output, &request, &err), KB_E_INPUT);
    assert_non_null(strstr(err.text, "changed since"));
    (void)unlink(picture);
    assert_int_equal(kb_request_again(output, &request, &err), KB_E_INPUT);
    assert_non_null(strstr(err.text, "not found"));
    assert_int_equal(kb_request_again(folder, &request, &err), KB_E_INPUT);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(the_same_result_comes_of_it_to_the_digit, set_up,
                                        take_down),
        cmocka_unit_test_setup_teardown(another_picture_under_the_same_name_is_refused, set_up,
                                        take_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
