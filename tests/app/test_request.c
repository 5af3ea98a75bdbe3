/* test_request.c - what a person says becomes settings: command line over job file over defaults.
 */
#include "fail_alloc.h"
#include "job_fixture.h"

#include <string.h>

#define COUNT(words) ((int)(sizeof(words) / sizeof((words)[0])))

static const char job[] = "[specimen]\n"
                          "id = bracket 17\n"
                          "material = ductile-iron\n"
                          "contrast = light\n"
                          "[fields]\n"
                          "light-unetched = polished/*.tif\n"
                          "light = etched/a.tif | /abs/b.tif\n"
                          "[calibration]\n"
                          "pixel_size = 500nm\n"
                          "[segmentation]\n"
                          "exclude = 0,900,1280,60 | 5,6,7,8\n"
                          "[particles]\n"
                          "min_feret = 5 um\n"
                          "[chemistry]\n"
                          "C = 3.62 %\n"
                          "Si = 2.45\n"
                          "[limits]\n"
                          "nodularity = >= 85 %\n"
                          "pearlite_of_matrix = 20..45 %\n";

static void a_job_file_says_all_that_the_line_can_say(void **state) {
    (void)state;
    write_job(job);
    struct kb_request request;
    struct kb_err err;
    char *line[] = {"--job", job_path};
    assert_int_equal(resolve(&request, COUNT(line), line, &err), KB_OK);
    assert_string_equal(request.settings.specimen_id, "bracket 17");
    assert_int_equal(request.settings.material, KB_DUCTILE_IRON);
    assert_near(request.settings.intake.px_um, 0.5, 1e-12);
    assert_near(request.settings.morphology.min_feret_um, 5.0, 0);
    assert_near(request.settings.chemistry.c, 3.62, 0);
    assert_near(request.settings.chemistry.si, 2.45, 0);
    assert_int_equal(request.settings.limits, 2);
    assert_near(request.settings.limit[1].high, 45, 1e-9);
    assert_int_equal(request.settings.by_hands, 2);
    assert_int_equal(request.settings.by_hand[1].kind, KB_HAND_EXCLUSION);
    assert_int_equal(request.settings.by_hand[1].place.height, 8);
    assert_int_equal(request.fields, 3);
    assert_int_equal(request.field[0].contrast.contrast, KB_LIGHT_UNETCHED);
    assert_int_equal(request.field[1].contrast.contrast, KB_LIGHT);
    assert_non_null(strstr(request.field[1].path, "/etched/a.tif")); /* beside the job file */
    assert_string_equal(request.field[2].path, "/abs/b.tif");
    kb_request_release(&request);
}

static void the_command_line_overrides_the_job_file(void **state) {
    (void)state;
    write_job(job);
    struct kb_request request;
    struct kb_err err;
    char *line[] = {"--pixel-size=0.25um", "x.tif", "--job", job_path, "--limit",
                    "nodularity >= 90 %"};
    assert_int_equal(resolve(&request, COUNT(line), line, &err), KB_OK);
    assert_near(request.settings.intake.px_um, 0.25, 1e-12);
    assert_int_equal(request.fields, 1);
    assert_string_equal(request.field[0].path, "x.tif");
    assert_int_equal(request.settings.limits, 2);
    assert_near(request.settings.limit[0].low, 90, 1e-9);
    kb_request_release(&request);
}

static void every_setting_is_recorded_with_who_said_it(void **state) {
    (void)state;
    write_job(job);
    struct kb_request request;
    char *line[] = {"--job", job_path, "--min-feret", "8um"};
    assert_int_equal(resolve(&request, COUNT(line), line, NULL), KB_OK);
    int seen = 0;
    for (size_t i = 0; i < request.settings.records; i++) {
        const struct kb_setting_record *record = &request.settings.record[i];
        if (strcmp(record->name, "min-feret") == 0) {
            assert_string_equal(record->value, "8um");
            assert_string_equal(record->origin, "command line");
            seen++;
        } else if (strcmp(record->name, "pixel-size") == 0) {
            assert_string_equal(record->origin, "job file");
            seen++;
        } else if (strcmp(record->name, "clean") == 0) {
            assert_string_equal(record->origin, "default");
            seen++;
        }
    }
    assert_int_equal(seen, 3);
    kb_request_release(&request);
}

static void each_contrast_holds_for_the_fields_named_after_it(void **state) {
    (void)state;
    struct kb_request request;
    char *line[] = {"--material", "grey-iron", "--contrast", "light-unetched",
                    "a.tif",      "b.tif",     "--contrast", "light",
                    "c.tif",      "--",        "-d.tif"};
    assert_int_equal(resolve(&request, COUNT(line), line, NULL), KB_OK);
    assert_int_equal(request.fields, 4);
    assert_int_equal(request.field[1].contrast.contrast, KB_LIGHT_UNETCHED);
    assert_int_equal(request.field[2].contrast.contrast, KB_LIGHT);
    assert_string_equal(request.field[3].path, "-d.tif");
    assert_int_equal(request.settings.material, KB_GREY_IRON);
    kb_request_release(&request);
}

static void a_contrast_behind_its_field_still_holds_for_it(void **state) {
    (void)state;
    struct kb_request request;
    char *line[] = {"a.tif", "--contrast", "sem", "--material", "carbon-steel"};
    assert_int_equal(resolve(&request, COUNT(line), line, NULL), KB_OK);
    assert_true(request.field[0].contrast.said && !request.field[0].contrast.find);
    assert_int_equal(request.field[0].contrast.contrast, KB_SEM);
    kb_request_release(&request);
}

static void a_contrast_not_said_is_to_be_found(void **state) {
    (void)state;
    struct kb_request request;
    char *line[] = {"a.tif", "--contrast", "auto", "b.tif"};
    assert_int_equal(resolve(&request, COUNT(line), line, NULL), KB_OK);
    assert_true(request.field[0].contrast.find && request.field[1].contrast.find);
    kb_request_release(&request);
    assert_int_equal(resolve(&request, 1, line, NULL), KB_OK);
    assert_true(request.field[0].contrast.find);
    kb_request_release(&request);
}

static void a_scale_bar_takes_the_uncertainty_of_either_side(void **state) {
    (void)state;
    static const struct {
        const char *said;
        double bar_px, bar_um, share; /* relative standard uncertainty */
    } bar[] = {
        {"200px=100um", 200.0, 100.0, 0.0},
        {"400px=100um±0.5um", 400.0, 100.0, 0.0025},
        {"100um±0.5um=400px", 400.0, 100.0, 0.0025},
        {"400px = 0.1mm +- 500nm (k=1)", 400.0, 100.0, 0.005},
        {"400px±3.2px=100um", 400.0, 100.0, 0.004},
        {"400px±4px (k=1) = 100um±1um (k=2)", 400.0, 100.0, 0.011180339887}, /* 1 %, 0.5 % */
    };
    for (size_t i = 0; i < COUNT(bar); i++) {
        struct kb_request request;
        char option[] = "--scale-bar", value[64];
        (void)snprintf(value, sizeof value, "%s", bar[i].said);
        char *line[] = {"x.tif", option, value};
        assert_int_equal(resolve(&request, COUNT(line), line, NULL), KB_OK);
        const struct kb_intake_params *intake = &request.settings.intake;
        assert_near(intake->bar_px, bar[i].bar_px, 1e-9);
        assert_near(intake->bar_um, bar[i].bar_um, 1e-9);
        double pitch = bar[i].bar_um / bar[i].bar_px;
        assert_near(intake->px_um_u, bar[i].share * pitch, 1e-9 * pitch);
        assert_int_equal(kb_intake_params_check(intake, NULL), KB_OK);
        kb_request_release(&request);
    }
}

static void the_uncertainty_of_a_scale_can_be_said_apart(void **state) {
    (void)state;
    char *line[] = {"x.tif", "--scale-uncertainty", "0.5%"};
    char *plain[] = {"x.tif", "--scale-uncertainty", "0.25% (k=1)"};
    struct kb_request request;
    assert_int_equal(resolve(&request, COUNT(line), line, NULL), KB_OK);
    assert_near(request.settings.intake.scale_u, 0.0025, 1e-12);
    kb_request_release(&request);
    assert_int_equal(resolve(&request, COUNT(plain), plain, NULL), KB_OK);
    assert_near(request.settings.intake.scale_u, 0.0025, 1e-12);
    kb_request_release(&request);
}

static void a_slip_on_the_line_names_the_option_and_what_would_be_right(void **state) {
    (void)state;
    static const struct {
        const char *option, *value, *says;
    } slip[] = {
        {"--pixel-size", "0.5", "say the unit"},
        {"--pixel-size", "nan um", "say the unit"},
        {"--pixel-size", "-1um", "out of range"},
        {"--pixel-size", "1e9mm", "out of range"},
        {"--min-feret", "inf um", "say the unit"},
        {"--material", "ductile", "ductile-iron"},
        {"--contrast", "dark", "light-unetched"},
        {"--exclude", "1,2,3", "x,y,width,height"},
        {"--exclude", "1,2,3,0", "x,y,width,height"},
        {"--scale-bar", "200=100um", "200px=100um"},
        {"--scale-bar", "0px=100um", "200px=100um"},
        {"--scale-bar", "200px=100um±0.5", "200px=100um±0.5um"},
        {"--scale-bar", "200px=100um±100um", "200px=100um±0.5um"},
        {"--scale-bar", "200px±0px=100um", "200px=100um±0.5um"},
        {"--scale-bar", "200px=100um±1um (k=0)", "200px=100um±0.5um"},
        {"--scale-bar", "200px=100px", "200px=100um"},
        {"--scale-uncertainty", "0.5um", "0.5%"},
        {"--scale-uncertainty", "100%", "0.5%"},
        {"--threads", "0", "out of range"},
        {"--threads", "two", "whole number"},
        {"--chemistry", "Fe=90%", "no element"},
        {"--chemistry", "C=400%", "mass percentage"},
        {"--limit", "nodularety >= 85 %", "nodularity"},
        {"--limit", "nodularity >= 85 um", ""},
        {"--want-phase", "5", "fraction"},
        {"--specimen", "", "empty"},
        {"--dark-threshold", "NaN", "number"},
    };
    for (size_t i = 0; i < sizeof slip / sizeof slip[0]; i++) {
        struct kb_request request;
        struct kb_err err;
        char option[32], value[64];
        (void)snprintf(option, sizeof option, "%s", slip[i].option);
        (void)snprintf(value, sizeof value, "%s", slip[i].value);
        char *line[] = {"x.tif", option, value};
        assert_int_equal(resolve(&request, COUNT(line), line, &err), KB_E_USAGE);
        assert_string_equal(err.subject, slip[i].option);
        if (strstr(err.text, slip[i].says) == NULL) {
            fail_msg("%s %s says: %s", option, value, err.text);
        }
        kb_request_release(&request);
    }
}

static void a_slip_in_a_job_file_names_file_and_line(void **state) {
    (void)state;
    static const struct {
        const char *text, *line, *says;
    } slip[] = {
        {"[specimen]\nid = a\nmatrial = ductile-iron\n", ":3", "material"},
        {"[calibraton]\npixel_size = 1um\n", ":2", "calibration"},
        {"[calibration]\n\npixel_size = 1\n", ":3", "say the unit"},
        {"[fields]\nbright = a.tif\n", ":2", "no contrast"},
        {"[limits]\nnodularity = about 85\n", ":2", ""},
        {"[output]\nno_pictures = maybe\n", ":2", "neither yes nor no"},
        {"[chemistry]\nFe = 1 %\n", ":2", "no element"},
    };
    for (size_t i = 0; i < sizeof slip / sizeof slip[0]; i++) {
        write_job(slip[i].text);
        struct kb_request request;
        struct kb_err err;
        char *line[] = {"--job", job_path};
        assert_int_equal(resolve(&request, COUNT(line), line, &err), KB_E_USAGE);
        assert_non_null(strstr(err.subject, "part.ini"));
        assert_non_null(strstr(err.subject, slip[i].line));
        if (strstr(err.text, slip[i].says) == NULL) {
            fail_msg("%s says: %s", slip[i].text, err.text);
        }
        kb_request_release(&request);
    }
}

static void an_unknown_option_meets_its_nearest(void **state) {
    (void)state;
    struct kb_request request;
    struct kb_err err;
    char *line[] = {"--pixelsize", "1um"};
    assert_int_equal(resolve(&request, COUNT(line), line, &err), KB_E_USAGE);
    assert_non_null(strstr(err.text, "--pixel-size"));
    kb_request_release(&request);
    char *other[] = {"--seed", "1"};
    assert_int_equal(resolve(&request, COUNT(other), other, &err), KB_E_USAGE);
    assert_non_null(strstr(err.text, "does not belong"));
    kb_request_release(&request);
    char *bare[] = {"--material"};
    assert_int_equal(resolve(&request, COUNT(bare), bare, &err), KB_E_USAGE);
    assert_non_null(strstr(err.text, "wants a value"));
    kb_request_release(&request);
}

static void every_option_of_a_job_file_has_a_key_of_its_own(void **state) {
    (void)state;
    for (size_t i = 0; i < kb_option_count; i++) {
        const struct kb_option *option = &kb_options[i];
        if (option->section == NULL) {
            continue;
        }
        char key[40];
        kb_option_key(option->name, key, sizeof key);
        assert_ptr_equal(kb_option_by_key(option->section, key), option);
        assert_non_null(option->help);
        assert_true(option->kind == KB_OPT_FLAG || option->value != NULL);
    }
}

static void defaults_shown_in_help_are_the_defaults_used(void **state) {
    (void)state;
    char text[48], expected[48];
    struct kb_settings settings = kb_settings_default(KB_DUCTILE_IRON, KB_LIGHT);
    kb_option_default(kb_option_by_name("min-feret", KB_MEASURE), text, sizeof text);
    (void)snprintf(expected, sizeof expected, "%gum", settings.morphology.min_feret_um);
    assert_string_equal(text, expected);
    kb_option_default(kb_option_by_name("min-fields", KB_MEASURE), text, sizeof text);
    (void)snprintf(expected, sizeof expected, "%zu", settings.specimen.min_fields);
    assert_string_equal(text, expected);
    kb_option_default(kb_option_by_name("pixel-size", KB_MEASURE), text, sizeof text);
    assert_string_equal(text, ""); /* unknown until said */
    kb_option_default(kb_option_by_name("dark-threshold", KB_MEASURE), text, sizeof text);
    assert_string_equal(text, "");
}

static void every_failed_allocation_ends_in_a_status_and_leaks_nothing(void **state) {
    (void)state;
    write_job(job);
    for (size_t n = 1;; n++) {
        struct kb_request request;
        struct kb_err err = {.code = KB_OK};
        char *line[] = {"--job", job_path, "--pixel-size", "1um", "a.tif"};
        fail_alloc_at(n);
        enum kb_status status = resolve(&request, COUNT(line), line, &err);
        kb_request_release(&request);
        long open_blocks = fail_alloc_open_blocks();
        int failed = fail_alloc_happened();
        fail_alloc_at(0);
        assert_int_equal(open_blocks, 0);
        if (!failed) {
            assert_int_equal(status, KB_OK);
            return;
        }
        assert_int_equal(status, KB_E_MEMORY);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_job_file_says_all_that_the_line_can_say),
        cmocka_unit_test(the_command_line_overrides_the_job_file),
        cmocka_unit_test(every_setting_is_recorded_with_who_said_it),
        cmocka_unit_test(each_contrast_holds_for_the_fields_named_after_it),
        cmocka_unit_test(a_contrast_behind_its_field_still_holds_for_it),
        cmocka_unit_test(a_contrast_not_said_is_to_be_found),
        cmocka_unit_test(a_scale_bar_takes_the_uncertainty_of_either_side),
        cmocka_unit_test(the_uncertainty_of_a_scale_can_be_said_apart),
        cmocka_unit_test(a_slip_on_the_line_names_the_option_and_what_would_be_right),
        cmocka_unit_test(a_slip_in_a_job_file_names_file_and_line),
        cmocka_unit_test(an_unknown_option_meets_its_nearest),
        cmocka_unit_test(every_option_of_a_job_file_has_a_key_of_its_own),
        cmocka_unit_test(defaults_shown_in_help_are_the_defaults_used),
        cmocka_unit_test(every_failed_allocation_ends_in_a_status_and_leaks_nothing),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
