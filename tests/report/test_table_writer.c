/* test_table_writer.c - the terminal table keeps to its width and says the verdict first. */
#include "sample_result.h"

#include "report_priv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

static char *table(const struct sample_options *options, int columns, bool colour) {
    struct kb_result result;
    struct kb_text text = KB_TEXT_INIT;
    sample_result_make(options, &result);
    assert_int_equal(kb_report_table(&result, columns, colour, &text, NULL), KB_OK);
    kb_result_release(&result);
    return text.data;
}

static void no_line_is_wider_than_the_terminal(void **state) {
    (void)state;
    static const int width[] = {40, 60, 80, 132};
    static const struct sample_options options[] = {{.fields = 3},
                                                    {.fields = 1, .steel = true},
                                                    {.fields = 3, .no_scale = true},
                                                    {.fields = 2, .hostile = true}};
    for (size_t i = 0; i < sizeof options / sizeof options[0]; i++) {
        for (size_t k = 0; k < sizeof width / sizeof width[0]; k++) {
            char *text = table(&options[i], width[k], false);
            for (char *line = strtok(text, "\n"); line != NULL; line = strtok(NULL, "\n")) {
                if (kb_text_columns(line) > width[k]) {
                    fail_msg("%d columns in %d: %s", kb_text_columns(line), width[k], line);
                }
            }
            kb_free(text);
        }
    }
}

static void verdict_figures_and_limits_are_there(void **state) {
    (void)state;
    char *text = table(&(struct sample_options){.fields = 3}, 80, false);
    const char *verdict = strstr(text, "? Undecided: 2 of 4 limits met; undecided: nodularity");
    const char *figure = strstr(text, "86.4 %");
    assert_non_null(verdict);
    assert_non_null(figure);
    assert_true(verdict < figure);
    assert_non_null(strstr(text, "82.1 … 90.7"));
    assert_non_null(strstr(text, "7 more fields"));
    kb_free(text);
}

static void colour_is_written_only_where_allowed(void **state) {
    (void)state;
    char *plain = table(&(struct sample_options){.fields = 3, .hostile = true}, 80, false);
    assert_null(strchr(plain, '\x1b'));
    kb_free(plain);
    char *inked = table(&(struct sample_options){.fields = 3}, 80, true);
    assert_non_null(strstr(inked, "\x1b[1;33m? Undecided\x1b[0m"));
    kb_free(inked);
}

static void unmeasured_figures_say_why(void **state) {
    (void)state;
    char *text = table(&(struct sample_options){.fields = 3, .no_scale = true}, 100, false);
    assert_non_null(strstr(text, "not measured: the pixel size is unknown"));
    assert_non_null(strstr(text, "field 1 and 2 more: The pixel size is unknown"));
    assert_null(strstr(text, "nan"));
    kb_free(text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_line_is_wider_than_the_terminal),
        cmocka_unit_test(verdict_figures_and_limits_are_there),
        cmocka_unit_test(colour_is_written_only_where_allowed),
        cmocka_unit_test(unmeasured_figures_say_why),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
