/* test_sheets.c - pages set on paper: how many, how large, the same each time. */
#include "kb_cmocka.h"

#include "fail_alloc.h"
#include "keelblock/paper.h"

#include <string.h>

static struct kb_text set(const struct kb_text *page, enum kb_paper paper) {
    struct kb_text pdf = KB_TEXT_INIT;
    struct kb_paper_params params = kb_paper_params_default();
    struct kb_err err = {0};
    params.paper = paper;
    params.made_at = "2026-03-04T09:41:00+01:00";
    enum kb_status status = kb_paper_pdf(page->data, page->length, &params, &pdf, &err);
    assert_string_equal(err.text, "");
    assert_int_equal(status, KB_OK);
    return pdf;
}

/* How often `word` stands in the file, which is not compressed outside of the pages' content. */
static size_t count(const struct kb_text *pdf, const char *word) {
    size_t found = 0, length = strlen(word);
    for (size_t i = 0; i + length <= pdf->length; i++) {
        found += memcmp(pdf->data + i, word, length) == 0;
    }
    return found;
}

static struct kb_text page_of(size_t rows) {
    struct kb_text page = KB_TEXT_INIT;
    kb_text_add(&page, "<html><body><main><header><p class=\"kind\"><span>Report</span></p>"
                       "<h1>HB-7</h1></header><h2>Fields</h2><table><thead><tr><th>field</th>"
                       "<th class=\"n\">area</th></tr></thead><tbody>");
    for (size_t i = 0; i < rows; i++) {
        kb_text_format(&page, "<tr><td>f%zu</td><td class=\"n\">0.5</td></tr>", i);
    }
    kb_text_add(&page, "</tbody></table></main></body></html>");
    return page;
}

static void a_short_page_is_one_sheet_of_the_paper_named(void **state) {
    (void)state;
    struct kb_text page = page_of(3);
    struct kb_text a4 = set(&page, KB_PAPER_A4), letter = set(&page, KB_PAPER_LETTER);
    assert_memory_equal(a4.data, "%PDF-", 5);
    assert_int_equal(count(&a4, "/MediaBox"), 1);
    assert_int_equal(count(&a4, "595.276 841.89 ]"), 1);
    assert_int_equal(count(&letter, "[ 0 0 612 792 ]"), 1);
    kb_text_release(&a4);
    kb_text_release(&letter);
    kb_text_release(&page);
}

static void a_long_table_takes_as_many_sheets_as_its_lines_need(void **state) {
    (void)state;
    struct kb_text page = page_of(400);
    struct kb_text pdf = set(&page, KB_PAPER_A4);
    size_t sheets = count(&pdf, "/MediaBox");
    /* a line takes 17 pt or so, a sheet has 728 pt to give */
    assert_in_range(sheets, 8, 12);
    kb_text_release(&pdf);
    kb_text_release(&page);
}

static void the_same_page_gives_the_same_bytes(void **state) {
    (void)state;
    struct kb_text page = page_of(60);
    struct kb_text first = set(&page, KB_PAPER_A4), second = set(&page, KB_PAPER_A4);
    assert_int_equal(first.length, second.length);
    assert_memory_equal(first.data, second.data, first.length);
    kb_text_release(&first);
    kb_text_release(&second);
    kb_text_release(&page);
}

/* What stdio holds of the file, which the caller closes. */
static struct kb_text contents_of(FILE *file) {
    struct kb_text text = KB_TEXT_INIT;
    char block[4096];
    size_t got = 0;
    rewind(file);
    while ((got = fread(block, 1, sizeof block, file)) > 0) {
        kb_text_add_bytes(&text, block, got);
    }
    return text;
}

static void several_pages_make_one_file_each_beginning_a_sheet(void **state) {
    (void)state;
    struct kb_text page[] = {page_of(3), page_of(60), page_of(3)};
    struct kb_paper_params params = kb_paper_params_default();
    struct kb_paper_book *book = NULL;
    size_t sheets = 0;
    for (size_t i = 0; i < 3; i++) {
        size_t own = 0;
        struct kb_text alone = set(&page[i], KB_PAPER_A4);
        assert_int_equal(kb_paper_count(page[i].data, page[i].length, &params, &own, NULL), KB_OK);
        assert_int_equal(count(&alone, "/MediaBox"), own);
        kb_text_release(&alone);
        sheets += own;
    }
    FILE *file = tmpfile();
    assert_non_null(file);
    assert_int_equal(kb_paper_begin(&params, sheets, file, &book, NULL), KB_OK);
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(kb_paper_add(book, page[i].data, page[i].length, NULL), KB_OK);
    }
    assert_int_equal(kb_paper_end(book, NULL), KB_OK);
    struct kb_text pdf = contents_of(file);
    assert_int_equal(count(&pdf, "/MediaBox"), sheets);
    kb_text_release(&pdf);
    (void)fclose(file);
    for (size_t i = 0; i < 3; i++) {
        kb_text_release(&page[i]);
    }
}

static void a_stream_that_takes_no_more_is_an_error_of_the_system(void **state) {
    (void)state;
    struct kb_text page = page_of(60);
    struct kb_paper_params params = kb_paper_params_default();
    struct kb_paper_book *book = NULL;
    FILE *full = fopen("/dev/full", "wb");
    assert_non_null(full);
    (void)setvbuf(full, NULL, _IONBF, 0);
    assert_int_equal(kb_paper_begin(&params, 1, full, &book, NULL), KB_OK);
    assert_int_equal(kb_paper_add(book, page.data, page.length, NULL), KB_OK);
    assert_int_equal(kb_paper_end(book, NULL), KB_E_SYSTEM);
    assert_int_equal(kb_paper_end(NULL, NULL), KB_OK);
    (void)fclose(full);
    kb_text_release(&page);
}

static void what_must_stand_on_one_sheet_is_set_smaller_and_never_cut(void **state) {
    (void)state;
    struct kb_paper_params params = kb_paper_params_default();
    size_t sheets = 0;
    params.one_sheet = true;
    struct kb_text some = page_of(45), many = page_of(120);
    assert_int_equal(kb_paper_count(some.data, some.length, &params, &sheets, NULL), KB_OK);
    assert_int_equal(sheets, 1);
    assert_int_equal(kb_paper_count(many.data, many.length, &params, &sheets, NULL), KB_E_USAGE);
    params.one_sheet = false;
    assert_int_equal(kb_paper_count(some.data, some.length, &params, &sheets, NULL), KB_OK);
    assert_int_equal(sheets, 2);
    kb_text_release(&some);
    kb_text_release(&many);
}

static void a_page_without_anything_is_still_a_sheet(void **state) {
    (void)state;
    struct kb_text page = KB_TEXT_INIT;
    kb_text_add(&page, "<main />");
    struct kb_text pdf = set(&page, KB_PAPER_A4);
    assert_int_equal(count(&pdf, "/MediaBox"), 1);
    kb_text_release(&pdf);
    kb_text_release(&page);
}

static void pictures_and_drawings_that_are_broken_leave_the_rest_standing(void **state) {
    (void)state;
    struct kb_text page = KB_TEXT_INIT;
    kb_text_add(&page,
                "<main><img src=\"\" /><img src=\"data:image/png;base64,AAAA\" />"
                "<img src=\"data:image/jpeg;base64,/9j/\" /><img src=\"file:///etc/passwd\" />"
                "<svg /><svg viewBox=\"0 0 0 0\" /><svg width=\"9\" height=\"9\"><x:y "
                "/></svg><svg viewBox=\"0 0 10 5\"><path d=\"nonsense\" /></svg><table />"
                "<table><tr /></table><div class=\"verdict\" /><div class=\"sign\" /><ul "
                "class=\"findings\"><li /></ul><dl class=\"lead\"><div /></dl><pre /><p>it "
                "stands</p></main>");
    struct kb_text pdf = set(&page, KB_PAPER_LETTER);
    assert_int_equal(count(&pdf, "/MediaBox"), 1);
    kb_text_release(&pdf);
    kb_text_release(&page);
}

static void papers_have_names_and_anything_else_is_refused(void **state) {
    (void)state;
    enum kb_paper paper = KB_PAPER_NONE;
    assert_true(kb_paper_by_name("A4", &paper));
    assert_int_equal(paper, KB_PAPER_A4);
    assert_true(kb_paper_by_name("letter", &paper));
    assert_int_equal(paper, KB_PAPER_LETTER);
    assert_false(kb_paper_by_name("a5", &paper));
    assert_false(kb_paper_by_name("", &paper));
    assert_string_equal(kb_paper_name(KB_PAPER_NONE), "none");
    struct kb_paper_params params = kb_paper_params_default();
    struct kb_text pdf = KB_TEXT_INIT;
    params.paper = KB_PAPER_NONE;
    assert_int_equal(kb_paper_pdf("<p />", 5, &params, &pdf, NULL), KB_E_USAGE);
    params.paper = KB_PAPERS;
    assert_int_equal(kb_paper_pdf("<p />", 5, &params, &pdf, NULL), KB_E_USAGE);
    assert_int_equal(pdf.length, 0);
}

static void every_failed_allocation_of_ours_is_reported_and_leaves_nothing(void **state) {
    (void)state;
    struct kb_text page = page_of(4);
    enum kb_status status = KB_E_MEMORY;
    struct kb_paper_params params = kb_paper_params_default();
    for (size_t n = 1; status != KB_OK; n++) {
        struct kb_text pdf = KB_TEXT_INIT;
        fail_alloc_at(n);
        status = kb_paper_pdf(page.data, page.length, &params, &pdf, NULL);
        bool failed = fail_alloc_happened() != 0;
        kb_text_release(&pdf);
        assert_int_equal(fail_alloc_open_blocks(), 0);
        assert_int_equal(status, failed ? KB_E_MEMORY : KB_OK);
    }
    fail_alloc_at(0);
    kb_text_release(&page);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_short_page_is_one_sheet_of_the_paper_named),
        cmocka_unit_test(a_long_table_takes_as_many_sheets_as_its_lines_need),
        cmocka_unit_test(the_same_page_gives_the_same_bytes),
        cmocka_unit_test(several_pages_make_one_file_each_beginning_a_sheet),
        cmocka_unit_test(a_stream_that_takes_no_more_is_an_error_of_the_system),
        cmocka_unit_test(what_must_stand_on_one_sheet_is_set_smaller_and_never_cut),
        cmocka_unit_test(a_page_without_anything_is_still_a_sheet),
        cmocka_unit_test(pictures_and_drawings_that_are_broken_leave_the_rest_standing),
        cmocka_unit_test(papers_have_names_and_anything_else_is_refused),
        cmocka_unit_test(every_failed_allocation_of_ours_is_reported_and_leaves_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
