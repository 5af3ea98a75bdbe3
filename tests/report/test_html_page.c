/* test_html_page.c - the page read back by expat: well-formed, self-contained, nothing from outside
 * the program becomes markup, and what a reader must find is there. */
#include "sample_result.h"

#include "html_priv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>
#include <expat.h>

struct reading {
    struct kb_text text; /* all character data */
    size_t pictures, elements, scripts, foreign, bold;
    bool in_style;
};

static void foreign_link(struct reading *reading, const char *name, const char *value) {
    bool address = strcmp(name, "src") == 0 || strcmp(name, "href") == 0;
    bool own = strncmp(value, "data:image/jpeg;base64,", 23) == 0 || value[0] == '#' ||
               strncmp(value, "overlay-", 8) == 0;
    if ((address && !own) || strstr(value, "://") != NULL || strncmp(name, "on", 2) == 0) {
        reading->foreign++;
    }
}

static void on_start(void *user, const char *name, const char **attribute) {
    struct reading *reading = user;
    reading->elements++;
    reading->pictures += strcmp(name, "img") == 0 ? 1 : 0;
    reading->bold += strcmp(name, "b") == 0 ? 1 : 0;
    reading->scripts += strcmp(name, "script") == 0 || strcmp(name, "iframe") == 0 ||
                                strcmp(name, "link") == 0 || strcmp(name, "object") == 0
                            ? 1
                            : 0;
    reading->in_style = strcmp(name, "style") == 0;
    for (size_t i = 0; attribute[i] != NULL; i += 2) {
        foreign_link(reading, attribute[i], attribute[i + 1]);
    }
}

static void on_end(void *user, const char *name) {
    struct reading *reading = user;
    (void)name;
    reading->in_style = false;
}

static void on_text(void *user, const char *text, int length) {
    struct reading *reading = user;
    if (!reading->in_style) {
        kb_text_add_bytes(&reading->text, text, (size_t)length);
    }
}

static void read_page(const struct sample_options *options, struct reading *reading, size_t *size) {
    struct kb_result result;
    struct kb_text page = KB_TEXT_INIT;
    sample_result_make(options, &result);
    assert_int_equal(kb_report_html(&result, &page, NULL), KB_OK);
    *reading = (struct reading){.text = KB_TEXT_INIT};
    XML_Parser parser = XML_ParserCreate("UTF-8");
    XML_SetUserData(parser, reading);
    XML_SetElementHandler(parser, on_start, on_end);
    XML_SetCharacterDataHandler(parser, on_text);
    if (XML_Parse(parser, page.data, (int)page.length, 1) != XML_STATUS_OK) {
        fail_msg("line %lu: %s", (unsigned long)XML_GetCurrentLineNumber(parser),
                 XML_ErrorString(XML_GetErrorCode(parser)));
    }
    XML_ParserFree(parser);
    assert_null(strstr(page.data, "http:"));
    assert_null(strstr(page.data, "https:"));
    assert_null(strstr(page.data, "url(h"));
    assert_null(strstr(page.data, "@import"));
    assert_null(strstr(reading->text.data, "nan"));
    assert_null(strstr(reading->text.data, "-0.0 "));
    assert_null(strstr(page.data, "=\"nan"));
    assert_int_equal(reading->scripts, 0);
    assert_int_equal(reading->foreign, 0);
    *size = page.length;
    kb_text_release(&page);
    kb_result_release(&result);
}

static void the_page_is_well_formed_and_self_contained_whatever_was_measured(void **state) {
    (void)state;
    static const struct sample_options options[] = {
        {.fields = 1, .pictures = true},
        {.fields = 3, .steel = true, .pictures = true},
        {.fields = 2, .no_scale = true},
        {.fields = 2, .no_limits = true},
        {.fields = 2, .hostile = true, .pictures = true},
        {.fields = 2, .by_hand = true, .hostile = true},
        {.fields = 1, .by_hand = true, .steel = true},
    };
    for (size_t i = 0; i < sizeof options / sizeof options[0]; i++) {
        struct reading reading;
        size_t size = 0;
        read_page(&options[i], &reading, &size);
        assert_int_equal(reading.pictures, options[i].pictures ? 2 * options[i].fields : 0);
        kb_text_release(&reading.text);
    }
}

static void hostile_names_stay_text(void **state) {
    (void)state;
    struct reading plain, hostile;
    size_t size = 0;
    read_page(&(struct sample_options){.fields = 2, .by_hand = true}, &plain, &size);
    read_page(&(struct sample_options){.fields = 2, .by_hand = true, .hostile = true}, &hostile,
              &size);
    assert_int_equal(hostile.elements, plain.elements);
    assert_int_equal(hostile.bold, plain.bold);
    assert_non_null(strstr(hostile.text.data, "<b>\"K&B\" 'x'</b>,]]>"));
    kb_text_release(&plain.text);
    kb_text_release(&hostile.text);
}

static void the_first_screen_says_what_a_reader_asks(void **state) {
    (void)state;
    static const char *const said[] = {"Hub 40, heat B 1127",
                                       "Undecided",
                                       "nodularity",
                                       "86.4",
                                       "82.1 to 90.7",
                                       "of the graphite area, after ISO 945-4",
                                       "of the matrix, graphite left out",
                                       "3 fields",
                                       "particles counted"};
    struct reading reading;
    size_t size = 0;
    read_page(&(struct sample_options){.fields = 3}, &reading, &size);
    const char *limits = strstr(reading.text.data, "\nLimits\n");
    assert_non_null(limits);
    for (size_t i = 0; i < sizeof said / sizeof said[0]; i++) {
        const char *place = strstr(reading.text.data, said[i]);
        if (place == NULL || place > limits) {
            fail_msg("'%s' does not stand before the limits", said[i]);
        }
    }
    kb_text_release(&reading.text);
}

static void warnings_that_keep_people_from_harm_are_printed(void **state) {
    (void)state;
    struct reading reading;
    size_t size = 0;
    read_page(&(struct sample_options){.fields = 3}, &reading, &size);
    assert_non_null(strstr(reading.text.data, "ASTM A247 numbers its types the other way round"));
    assert_non_null(strstr(reading.text.data, "never a chemical analysis"));
    assert_non_null(strstr(reading.text.data, "no statement of conformity"));
    assert_non_null(strstr(reading.text.data, "signature"));
    kb_text_release(&reading.text);
}

static void counting_rules_sizes_in_space_and_both_verdicts_are_shown(void **state) {
    (void)state;
    struct reading reading;
    size_t size = 0;
    read_page(&(struct sample_options){.fields = 3}, &reading, &size);
    static const char *const said[] = {
        "complete particles only",
        "(used in this report)",
        "From plane to space",
        "meets large nodules more often",
        "9400",
        "Schwartz–Saltykov",
        "612 sections of 10 µm",
        "1/4 of full strength",
        "mean free path",
        "By the rule not chosen, simple",
        "91.3\xc2\xa0%",
    };
    for (size_t i = 0; i < sizeof said / sizeof said[0]; i++) {
        if (strstr(reading.text.data, said[i]) == NULL) {
            fail_msg("the page does not say: %s", said[i]);
        }
    }
    kb_text_release(&reading.text);
    read_page(&(struct sample_options){.fields = 3, .no_scale = true}, &reading, &size);
    assert_non_null(strstr(reading.text.data, "Not unfolded: the pixel size is unknown"));
    kb_text_release(&reading.text);
}

static void many_fields_keep_the_page_small_and_say_so(void **state) {
    (void)state;
    struct reading reading;
    size_t size = 0;
    read_page(&(struct sample_options){.fields = 60, .pictures = true}, &reading, &size);
    assert_int_equal(reading.pictures, 2 * KB_FIELDS_SHOWN);
    assert_true(size < (size_t)25 << 20); /* what a mail server still takes */
    assert_non_null(strstr(reading.text.data, "The first 24 of 60 fields follow"));
    assert_non_null(strstr(reading.text.data, "field 60.tif"));
    kb_text_release(&reading.text);
}

static void base64_follows_the_test_vectors_of_rfc_4648(void **state) {
    (void)state;
    /* RFC 4648, section 10 */
    static const char *const vector[][2] = {{"", ""},
                                            {"f", "Zg=="},
                                            {"fo", "Zm8="},
                                            {"foo", "Zm9v"},
                                            {"foob", "Zm9vYg=="},
                                            {"fooba", "Zm9vYmE="},
                                            {"foobar", "Zm9vYmFy"}};
    for (size_t i = 0; i < sizeof vector / sizeof vector[0]; i++) {
        struct kb_text text = KB_TEXT_INIT;
        kb_html_base64(&text, (const uint8_t *)vector[i][0], strlen(vector[i][0]));
        assert_string_equal(text.data, vector[i][1]);
        kb_text_release(&text);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_page_is_well_formed_and_self_contained_whatever_was_measured),
        cmocka_unit_test(hostile_names_stay_text),
        cmocka_unit_test(the_first_screen_says_what_a_reader_asks),
        cmocka_unit_test(warnings_that_keep_people_from_harm_are_printed),
        cmocka_unit_test(counting_rules_sizes_in_space_and_both_verdicts_are_shown),
        cmocka_unit_test(many_fields_keep_the_page_small_and_say_so),
        cmocka_unit_test(base64_follows_the_test_vectors_of_rfc_4648),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
