/* test_markup.c - a page is said in German: what a reader meets, and nothing else. */
#include "kb_cmocka.h"

#include "fail_alloc.h"
#include "keelblock/words.h"

#include <string.h>

static void page_is(const char *english, const char *german, const char *expected_left) {
    struct kb_text page = KB_TEXT_INIT, left = KB_TEXT_INIT;
    kb_text_add(&page, english);
    assert_int_equal(kb_words_page(KB_GERMAN, &page, &left, NULL), KB_OK);
    assert_string_equal(page.data, german);
    assert_string_equal(left.data != NULL ? left.data : "", expected_left);
    kb_text_release(&page);
    kb_text_release(&left);
}

static void text_and_the_attributes_of_readers_are_said(void **state) {
    (void)state;
    page_is("<p class=\"note\" title=\"note\">note<b>note</b></p>",
            "<p class=\"note\" title=\"Hinweis\">Hinweis<b>Hinweis</b></p>", "");
    page_is("<img alt=\"note\" src=\"data:note\" /><td data-label=\"note\">1.5</td>",
            "<img alt=\"Hinweis\" src=\"data:note\" /><td data-label=\"Hinweis\">1,5</td>", "");
    page_is("<svg viewBox=\"0 0 1.5 2\" aria-label=\"note\"><path d=\"M1.5\" /></svg>",
            "<svg viewBox=\"0 0 1.5 2\" aria-label=\"Hinweis\"><path d=\"M1.5\" /></svg>", "");
}

static void the_root_names_the_language(void **state) {
    (void)state;
    page_is("<!DOCTYPE html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\" /></head></html>",
            "<!DOCTYPE html>\n<html lang=\"de\">\n<head><meta charset=\"utf-8\" /></head></html>",
            "");
}

static void what_is_not_the_programs_stays(void **state) {
    (void)state;
    page_is("<p translate=\"no\">note <b>note 1.5</b><br />note</p><i>note</i>",
            "<p translate=\"no\">note <b>note 1.5</b><br />note</p><i>Hinweis</i>", "");
    page_is("<code>note</code><pre>note</pre><style>note{a:1.5}</style>",
            "<code>note</code><pre>note</pre><style>note{a:1.5}</style>", "");
    page_is("<img translate=\"no\" alt=\"note\" /><i>note</i>",
            "<img translate=\"no\" alt=\"note\" /><i>Hinweis</i>", "");
}

static void a_title_keeps_the_name_in_it(void **state) {
    (void)state;
    page_is("<title>note: accepted</title>", "<title>note: angenommen</title>", "");
}

static void signs_of_markup_in_text_survive(void **state) {
    (void)state;
    page_is("<p>a &lt; b &amp; c</p><p>note&#160;</p>",
            "<p>a &lt; b &amp; c</p><p>Hinweis&#160;</p>", "a < b & c\n");
}

static void english_is_left_to_the_byte(void **state) {
    (void)state;
    static const char text[] = "<html lang=\"en\"><p>note 1.5</p>";
    struct kb_text page = KB_TEXT_INIT;
    kb_text_add(&page, text);
    const char *data = page.data;
    assert_int_equal(kb_words_page(KB_ENGLISH, &page, NULL, NULL), KB_OK);
    assert_ptr_equal(page.data, data);
    assert_string_equal(page.data, text);
    kb_text_release(&page);
}

static void markup_that_breaks_off_is_kept(void **state) {
    (void)state;
    page_is("<p>note</p><p title=\"note", "<p>Hinweis</p><p title=\"note", "");
    page_is("note", "Hinweis", "");
    page_is("<p title=\"note>note</p>", "<p title=\"note>Hinweis</p>", "");
}

static void a_phrase_alone_is_said(void **state) {
    (void)state;
    struct kb_text out = KB_TEXT_INIT;
    assert_int_equal(kb_words_phrase(KB_GERMAN, "note", &out, NULL, NULL), KB_OK);
    assert_int_equal(kb_words_phrase(KB_ENGLISH, " note", &out, NULL, NULL), KB_OK);
    assert_string_equal(out.data, "Hinweis note");
    kb_text_release(&out);
}

static void want_of_memory_is_told(void **state) {
    (void)state;
    enum kb_status status = KB_E_MEMORY;
    for (size_t n = 2; status != KB_OK; n++) { /* the first is the page's own */
        struct kb_text page = KB_TEXT_INIT;
        fail_alloc_at(n);
        kb_text_add(&page, "<html lang=\"en\"><p title=\"note\">note</p></html>");
        status = kb_words_page(KB_GERMAN, &page, NULL, NULL);
        assert_int_equal(status, fail_alloc_happened() ? KB_E_MEMORY : KB_OK);
        kb_text_release(&page);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        assert_true(n < 100);
    }
    fail_alloc_at(0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(text_and_the_attributes_of_readers_are_said),
        cmocka_unit_test(the_root_names_the_language),
        cmocka_unit_test(what_is_not_the_programs_stays),
        cmocka_unit_test(a_title_keeps_the_name_in_it),
        cmocka_unit_test(signs_of_markup_in_text_survive),
        cmocka_unit_test(english_is_left_to_the_byte),
        cmocka_unit_test(markup_that_breaks_off_is_kept),
        cmocka_unit_test(a_phrase_alone_is_said),
        cmocka_unit_test(want_of_memory_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
