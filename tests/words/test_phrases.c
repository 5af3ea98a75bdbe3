/* test_phrases.c - a phrase finds its row; numbers and dates get the language's form. */
#include "kb_cmocka.h"

#include "fail_alloc.h"
#include "words_priv.h"

#include <string.h>

static const char table[] = "en,de\n"
                            "fit,tauglich\n"
                            "fields,Felder\n"
                            "pearlite,Perlit\n"
                            "graphite,Graphit\n"
                            "\"One, two. Three\",\"Eins, \"\"zwei\"\". Drei\"\n"
                            "One,Eins\n"
                            "{n} fields,{n} Felder\n"
                            "{t} of field {n},Feld {2}: {1}\n"
                            "file {s} is missing,Datei {s} fehlt\n"
                            "made on {d},erstellt am {d}\n"
                            "limit {n},Grenze {n}\n"
                            "limit {n} of {n},Grenze {n} von {n}\n";

static void say(const char *phrase, const char *expected, const char *expected_left) {
    struct kb_words words;
    struct kb_text out = KB_TEXT_INIT, left = KB_TEXT_INIT;
    assert_int_equal(kb_words_read(table, sizeof table - 1, &words, NULL), KB_OK);
    kb_words_say(&words, phrase, strlen(phrase), &out, &left);
    assert_string_equal(out.data != NULL ? out.data : "", expected);
    assert_string_equal(left.data != NULL ? left.data : "", expected_left);
    kb_text_release(&out);
    kb_text_release(&left);
    kb_words_close(&words);
}

static void a_phrase_is_said_as_its_row_has_it(void **state) {
    (void)state;
    say("fit", "tauglich", "");
    say("One, two. Three", "Eins, \"zwei\". Drei", "");
}

static void places_keep_numbers_names_and_phrases(void **state) {
    (void)state;
    say("12 fields", "12 Felder", "");
    say("pearlite of field 3", "Feld 3: Perlit", "");
    say("file fit.tif is missing", "Datei fit.tif fehlt", "");
    say("limit 2.50 of -3", "Grenze 2,50 von -3", "");
    say("limit \xe2\x88\x92"
        "0.5",
        "Grenze \xe2\x88\x92"
        "0,5",
        "");
}

static void a_phrase_in_a_place_needs_a_row_too(void **state) {
    (void)state;
    say("marble of field 3", "marble of field 3", "marble of field 3\n");
}

static void marks_at_the_edges_stay(void **state) {
    (void)state;
    say("fit.", "tauglich.", "");
    say("; fit, ", "; tauglich, ", "");
    say(" (fit)", " (tauglich)", "");
    say("\xc2\xb7 fit:", "\xc2\xb7 tauglich:", "");
}

static void sentences_are_said_one_by_one_the_longest_known_first(void **state) {
    (void)state;
    say("fit; One, two. Three: pearlite", "tauglich; Eins, \"zwei\". Drei: Perlit", "");
    say("fit. Marble is a stone. pearlite", "tauglich. Marble is a stone. Perlit",
        "Marble is a stone.\n");
}

static void numbers_get_a_comma_and_keep_their_digits(void **state) {
    (void)state;
    say("1.50", "1,50", "");
    say("(0.1 \xe2\x80\x93 20.0)", "(0,1 \xe2\x80\x93 20,0)", "");
    say("1.2.3", "1.2.3", "");
    say("3.", "3.", "");
    say("\xc2\xb1 4.3e+02", "\xc2\xb1 4,3e+02", "");
    say("limit 3.17e-05.", "Grenze 3,17e-05.", "");
}

static void dates_are_turned(void **state) {
    (void)state;
    say("2026-03-04", "04.03.2026", "");
    say("2026-03-04 09:41:00 +01:00", "04.03.2026 09:41:00 +01:00", "");
    say("made on 2026-03-04 09:41:00 +01:00.", "erstellt am 04.03.2026 09:41:00 +01:00.", "");
    say("made on 2026-03-04; fit", "erstellt am 04.03.2026; tauglich", "");
    say("2026-03-045", "2026-03-045", "");
}

static void an_empty_table_leaves_all(void **state) {
    (void)state;
    struct kb_words words;
    struct kb_text out = KB_TEXT_INIT;
    assert_int_equal(kb_words_read("en,de\n", 6, &words, NULL), KB_OK);
    kb_words_say(&words, "fit. 1.5", 8, &out, NULL);
    assert_string_equal(out.data, "fit. 1,5");
    kb_text_release(&out);
    kb_words_close(&words);
}

static void languages_are_known_by_name_and_country(void **state) {
    (void)state;
    enum kb_language language = KB_ENGLISH;
    assert_true(kb_language_parse("de", &language));
    assert_int_equal(language, KB_GERMAN);
    assert_true(kb_language_parse("en_GB", &language));
    assert_int_equal(language, KB_ENGLISH);
    assert_true(kb_language_parse("de-AT", &language));
    assert_int_equal(language, KB_GERMAN);
    assert_false(kb_language_parse("den", &language));
    assert_false(kb_language_parse("", &language));
    assert_false(kb_language_parse("d", &language));
    assert_string_equal(kb_language_name(KB_GERMAN), "de");
}

static void want_of_memory_is_told(void **state) {
    (void)state;
    enum kb_status status = KB_E_MEMORY;
    for (size_t n = 1; status != KB_OK; n++) {
        struct kb_words words;
        fail_alloc_at(n);
        status = kb_words_read(table, sizeof table - 1, &words, NULL);
        assert_int_equal(status, fail_alloc_happened() ? KB_E_MEMORY : KB_OK);
        if (status == KB_OK) {
            kb_words_close(&words);
        }
        assert_int_equal(fail_alloc_open_blocks(), 0);
        assert_true(n < 100);
    }
    fail_alloc_at(0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_phrase_is_said_as_its_row_has_it),
        cmocka_unit_test(places_keep_numbers_names_and_phrases),
        cmocka_unit_test(a_phrase_in_a_place_needs_a_row_too),
        cmocka_unit_test(marks_at_the_edges_stay),
        cmocka_unit_test(sentences_are_said_one_by_one_the_longest_known_first),
        cmocka_unit_test(numbers_get_a_comma_and_keep_their_digits),
        cmocka_unit_test(dates_are_turned),
        cmocka_unit_test(an_empty_table_leaves_all),
        cmocka_unit_test(languages_are_known_by_name_and_country),
        cmocka_unit_test(want_of_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
