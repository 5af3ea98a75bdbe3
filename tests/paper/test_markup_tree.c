/* test_markup_tree.c - the page's markup read as a tree. */
#include "kb_cmocka.h"

#include "fail_alloc.h"
#include "paper_priv.h"

#include <string.h>

static struct kb_node *read_page(const char *page) {
    struct kb_node *root = NULL;
    assert_int_equal(kb_tree_read(page, strlen(page), &root, NULL), KB_OK);
    return root;
}

static void elements_texts_and_attributes_are_where_the_page_has_them(void **state) {
    (void)state;
    static const char page[] =
        "<main><p class=\"small soft\">a <b>c</b></p>\n<svg width=\"7\" /></main>";
    struct kb_node *root = read_page(page);
    const struct kb_node *p = kb_node_element(root, 0), *svg = kb_node_element(root, 1);
    assert_string_equal(p->tag, "p");
    assert_string_equal(p->first->text, "a ");
    assert_string_equal(kb_node_find(p, "b")->first->text, "c");
    assert_string_equal(kb_node_attribute(svg, "width"), "7");
    assert_string_equal(kb_node_attribute(svg, "height"), "");
    assert_ptr_equal(svg->parent, root);
    assert_null(kb_node_element(root, 2));
    kb_tree_release(root);
}

static void an_element_knows_its_bytes_in_the_page(void **state) {
    (void)state;
    static const char page[] = "<main><svg width=\"7\" /><svg><g>\xc3\xa4</g></svg></main>";
    struct kb_node *root = read_page(page);
    const struct kb_node *empty = kb_node_element(root, 0), *full = kb_node_element(root, 1);
    assert_memory_equal(page + empty->start, "<svg width=\"7\" />", empty->end - empty->start);
    assert_int_equal(empty->end - empty->start, strlen("<svg width=\"7\" />"));
    assert_memory_equal(page + full->start, "<svg><g>\xc3\xa4</g></svg>", full->end - full->start);
    assert_int_equal(full->end - full->start, strlen("<svg><g>\xc3\xa4</g></svg>"));
    kb_tree_release(root);
}

static void a_class_is_a_whole_word_of_the_class_attribute(void **state) {
    (void)state;
    struct kb_node *root = read_page("<p class=\"smaller soft\" />");
    assert_false(kb_node_class(root, "small"));
    assert_true(kb_node_class(root, "smaller"));
    assert_true(kb_node_class(root, "soft"));
    assert_false(kb_node_class(root, "oft"));
    kb_tree_release(root);
}

static void words_of_a_node_are_folded(void **state) {
    (void)state;
    struct kb_node *root = read_page("<h1>\n  HB-7 <i>/  ladle</i>\n 41 &amp; 42</h1>");
    struct kb_text words = KB_TEXT_INIT;
    kb_node_words(root, &words);
    assert_string_equal(words.data, "HB-7 / ladle 41 & 42");
    kb_text_release(&words);
    kb_tree_release(root);
}

static void what_is_no_markup_is_refused_with_its_line(void **state) {
    (void)state;
    static const char *const page[] = {"",        "plain",        "<p>",
                                       "<p></b>", "<p>&uml;</p>", "<p>\n\n<b></p>"};
    for (size_t i = 0; i < sizeof page / sizeof page[0]; i++) {
        struct kb_node *root = NULL;
        struct kb_err err = {0};
        assert_int_equal(kb_tree_read(page[i], strlen(page[i]), &root, &err), KB_E_INPUT);
        assert_null(root);
        assert_non_null(strstr(err.text, "line"));
    }
}

static void elements_nested_without_end_are_refused(void **state) {
    (void)state;
    struct kb_text page = KB_TEXT_INIT;
    for (int i = 0; i < 100000; i++) {
        kb_text_add(&page, "<b>");
    }
    struct kb_node *root = NULL;
    struct kb_err err = {0};
    assert_int_equal(kb_tree_read(page.data, page.length, &root, &err), KB_E_INPUT);
    assert_non_null(strstr(err.text, "nested"));
    kb_text_release(&page);
}

static void every_failed_allocation_is_reported_and_leaves_nothing(void **state) {
    (void)state;
    static const char page[] = "<main><p class=\"a\">x <b>y</b> z &lt; w</p></main>";
    enum kb_status status = KB_E_MEMORY;
    for (size_t n = 1; status != KB_OK; n++) {
        struct kb_node *root = NULL;
        fail_alloc_at(n);
        status = kb_tree_read(page, sizeof page - 1, &root, NULL);
        bool failed = fail_alloc_happened() != 0;
        kb_tree_release(root);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        assert_int_equal(status, failed ? KB_E_MEMORY : KB_OK);
    }
    fail_alloc_at(0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(elements_texts_and_attributes_are_where_the_page_has_them),
        cmocka_unit_test(an_element_knows_its_bytes_in_the_page),
        cmocka_unit_test(a_class_is_a_whole_word_of_the_class_attribute),
        cmocka_unit_test(words_of_a_node_are_folded),
        cmocka_unit_test(what_is_no_markup_is_refused_with_its_line),
        cmocka_unit_test(elements_nested_without_end_are_refused),
        cmocka_unit_test(every_failed_allocation_is_reported_and_leaves_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
