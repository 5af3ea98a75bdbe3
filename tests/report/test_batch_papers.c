/* test_batch_papers.c - the page of a batch and its certificate read back by expat: well-formed,
 * self-contained, safe against any name, saying what a signer must know; on one sheet whatever is
 * to be said. */
#include "kb_cmocka.h"

#include "fail_alloc.h"
#include "sample_batch.h"

#include <expat.h>
#include <string.h>

struct reading {
    struct kb_text words; /* all character data but styles */
    struct kb_text links; /* addresses, one a line */
    size_t scripts, rows, drawings;
    bool in_style;
};

static void XMLCALL on_start(void *user, const XML_Char *name, const XML_Char **attribute) {
    struct reading *reading = user;
    reading->scripts +=
        strcmp(name, "script") == 0 || strcmp(name, "link") == 0 || strcmp(name, "iframe") == 0 ? 1
                                                                                                : 0;
    reading->rows += strcmp(name, "tr") == 0 ? 1 : 0;
    reading->drawings += strcmp(name, "svg") == 0 ? 1 : 0;
    reading->in_style = strcmp(name, "style") == 0;
    for (size_t i = 0; attribute[i] != NULL; i += 2) {
        assert_int_not_equal(strncmp(attribute[i], "on", 2), 0);
        assert_null(strstr(attribute[i + 1], "nan"));
        if (strcmp(attribute[i], "href") == 0 || strcmp(attribute[i], "src") == 0) {
            kb_text_add(&reading->links, attribute[i + 1]);
            kb_text_add(&reading->links, "\n");
        }
    }
}

static void XMLCALL on_end(void *user, const XML_Char *name) {
    (void)name;
    ((struct reading *)user)->in_style = false;
}

static void XMLCALL on_text(void *user, const XML_Char *text, int length) {
    struct reading *reading = user;
    if (!reading->in_style) {
        kb_text_add_bytes(&reading->words, text, (size_t)length);
    }
}

static void read_back(const struct kb_text *page, struct reading *reading) {
    *reading = (struct reading){.words = KB_TEXT_INIT, .links = KB_TEXT_INIT};
    XML_Parser parser = XML_ParserCreate("UTF-8");
    XML_SetUserData(parser, reading);
    XML_SetElementHandler(parser, on_start, on_end);
    XML_SetCharacterDataHandler(parser, on_text);
    if (XML_Parse(parser, page->data, (int)page->length, 1) != XML_STATUS_OK) {
        fail_msg("line %lu: %s", (unsigned long)XML_GetCurrentLineNumber(parser),
                 XML_ErrorString(XML_GetErrorCode(parser)));
    }
    XML_ParserFree(parser);
    assert_null(strstr(page->data, "http"));
    assert_null(strstr(page->data, "@import"));
    assert_null(strstr(reading->words.data, "nan"));
    assert_null(strstr(reading->words.data, "inf "));
    assert_int_equal(reading->scripts, 0);
}

static void done(struct reading *reading) {
    kb_text_release(&reading->words);
    kb_text_release(&reading->links);
}

typedef enum kb_status writer(const struct kb_batch *, struct kb_text *, struct kb_err *);

static void read_paper(writer *write, const struct sample_batch_options *options,
                       struct reading *reading) {
    struct kb_batch batch;
    struct kb_text page = KB_TEXT_INIT;
    sample_batch_make(options, &batch);
    assert_int_equal(write(&batch, &page, NULL), KB_OK);
    read_back(&page, reading);
    kb_text_release(&page);
    sample_batch_release(&batch);
}

static void says(const struct reading *reading, const char *words) {
    if (strstr(reading->words.data, words) == NULL) {
        fail_msg("the page does not say '%s'", words);
    }
}

static void is_silent_of(const struct reading *reading, const char *words) {
    if (strstr(reading->words.data, words) != NULL) {
        fail_msg("the page says '%s'", words);
    }
}

/* ---- the page ---- */

static void the_page_answers_first_and_links_to_each_specimen(void **state) {
    (void)state;
    struct reading page;
    read_paper(
        kb_report_batch_html,
        &(struct sample_batch_options){.specimens = 3, .value = 90.0, .half = 2.0, .limits = 2},
        &page);
    says(&page, "Batch accepted");
    says(&page, "every specimen must pass");
    says(&page, "week-12.csv");
    says(&page, "R. Ash");
    assert_true(strstr(page.words.data, "Batch accepted") <
                strstr(page.words.data, "Over all specimens"));
    /* RFC 3986: everything that is not unreserved is escaped, UTF-8 byte by byte */
    assert_non_null(strstr(page.links.data, "S%202%25%C3%A4%23/report.html\n"));
    done(&page);
}

static void one_specimen_says_nothing_about_others_and_the_page_says_that(void **state) {
    (void)state;
    const struct sample_batch_options one = {
        .specimens = 1, .value = 90.0, .half = 2.0, .limits = 1};
    struct reading page;
    read_paper(kb_report_batch_html, &one, &page);
    says(&page, "One specimen says nothing about the spread between specimens");
    done(&page);
    read_paper(kb_report_certificate_html, &one, &page);
    says(&page, "One specimen says nothing about the spread between specimens");
    done(&page);
    read_paper(kb_report_batch_html,
               &(struct sample_batch_options){.specimens = 2, .value = 90.0, .half = 2.0}, &page);
    is_silent_of(&page, "One specimen says nothing");
    done(&page);
}

static void a_specimen_that_could_not_be_measured_is_named_without_link_or_figure(void **state) {
    (void)state;
    struct reading page;
    read_paper(kb_report_batch_html,
               &(struct sample_batch_options){
                   .specimens = 2, .unjudged = 1, .value = 90.0, .half = 2.0, .limits = 1},
               &page);
    says(&page, "Batch undecided");
    says(&page, "1 of 5 fields not");
    says(&page, "the file ends in the middle of the picture");
    says(&page, "The cheapest way to a decision");
    assert_null(strstr(page.links.data, "S%201"));
    done(&page);
    read_paper(kb_report_batch_html, &(struct sample_batch_options){.specimens = 1, .unjudged = 1},
               &page);
    says(&page, "What could not be measured");
    is_silent_of(&page, "Over all specimens");
    done(&page);
}

static void no_name_becomes_markup(void **state) {
    (void)state;
    struct reading page;
    read_paper(kb_report_batch_html,
               &(struct sample_batch_options){.specimens = 3,
                                              .unjudged = 1,
                                              .value = 90.0,
                                              .half = 2.0,
                                              .limits = 2,
                                              .hostile = true},
               &page);
    done(&page);
    struct kb_batch batch;
    struct kb_text sheet = KB_TEXT_INIT;
    sample_batch_make(
        &(struct sample_batch_options){
            .specimens = 1, .value = 90.0, .half = 2.0, .limits = 1, .hostile = true},
        &batch);
    batch.certificate = (struct kb_certificate_words){.title = "<b>\"&'",
                                                      .statement = "</p><script>",
                                                      .part = "<",
                                                      .order = "\xff\xfe\x01",
                                                      .specification = "&amp;",
                                                      .number = "\"",
                                                      .approved_by = "<svg>"};
    assert_int_equal(kb_report_certificate_html(&batch, &sheet, NULL), KB_OK);
    read_back(&sheet, &page);
    says(&page, "</p><script>");
    says(&page, "&amp;");
    done(&page);
    kb_text_release(&sheet);
    sample_batch_release(&batch);
}

static void limits_that_differ_stand_at_each_specimen(void **state) {
    (void)state;
    struct reading page;
    struct sample_batch_options options = {
        .specimens = 2, .value = 90.0, .half = 2.0, .limits = 1, .own_limits = true};
    read_paper(kb_report_batch_html, &options, &page);
    says(&page, "limit ≥ 80 %");
    says(&page, "limit ≥ 70 %");
    done(&page);
    options.own_limits = false;
    read_paper(kb_report_batch_html, &options, &page);
    is_silent_of(&page, "limit ≥ 80 %");
    done(&page);
}

static void five_hundred_specimens_all_stand_in_the_table(void **state) {
    (void)state;
    struct reading page;
    read_paper(
        kb_report_batch_html,
        &(struct sample_batch_options){.specimens = 500, .value = 90.0, .half = 2.0, .limits = 1},
        &page);
    says(&page, "S 1/ä");
    says(&page, "S 500/ä");
    assert_in_range(page.rows, 1500, 1560); /* specimens, chemistry, given values, and the rest */
    done(&page);
}

/* ---- the certificate ---- */

static const struct kb_certificate_words wording = {.title = "Agreed form B",
                                                    .statement = "We hereby declare.",
                                                    .specification = "TF-118, clause 5.2",
                                                    .order = "4500-118",
                                                    .part = "HB-7",
                                                    .approved_by = "M. Larch"};

static void read_certificate(const struct sample_batch_options *options, struct reading *reading) {
    struct kb_batch batch;
    struct kb_text sheet = KB_TEXT_INIT;
    sample_batch_make(options, &batch);
    batch.certificate = wording;
    assert_int_equal(kb_report_certificate_html(&batch, &sheet, NULL), KB_OK);
    read_back(&sheet, reading);
    kb_text_release(&sheet);
    sample_batch_release(&batch);
}

static void an_accepted_batch_gets_the_customers_title_and_wording(void **state) {
    (void)state;
    struct reading sheet;
    read_certificate(
        &(struct sample_batch_options){.specimens = 3, .value = 90.0, .half = 2.0, .limits = 2},
        &sheet);
    static const char *const must[] = {
        "Agreed form B", "We hereby declare.", "TF-118, clause 5.2", "4500-118",
        "HB-7",          "M. Larch",           "The batch conforms", "guarded: the whole interval",
        "90.0",          "3\u00a0of\u00a03",   "near equilibrium",   "≥ 80 %"};
    for (size_t i = 0; i < sizeof must / sizeof must[0]; i++) {
        says(&sheet, must[i]);
    }
    done(&sheet);
}

/* Whatever stands in the way, neither title nor wording may claim conformity. */
static void what_is_not_wholly_accepted_is_not_certified(void **state) {
    (void)state;
    static const struct {
        struct sample_batch_options options;
        const char *says;
    } kind[] = {
        {{.specimens = 2, .value = 60.0, .half = 2.0, .limits = 1}, "The batch does not conform"},
        {{.specimens = 2, .value = 80.0, .half = 2.0, .limits = 1}, "No certificate"},
        {{.specimens = 3, .unjudged = 1, .value = 90.0, .half = 2.0, .limits = 1},
         "1 of 3 specimens could not be measured as a whole"},
    };
    for (size_t i = 0; i < sizeof kind / sizeof kind[0]; i++) {
        struct reading sheet;
        read_certificate(&kind[i].options, &sheet);
        says(&sheet, kind[i].says);
        is_silent_of(&sheet, "Agreed form B");
        is_silent_of(&sheet, "We hereby declare.");
        is_silent_of(&sheet, "Certificate of conformity");
        is_silent_of(&sheet, "The batch conforms");
        done(&sheet);
    }
}

/* A share rule can accept a batch with a specimen that was not measured; it is not certified. */
static void a_share_that_suffices_does_not_certify_what_was_not_measured(void **state) {
    (void)state;
    struct kb_batch batch;
    struct kb_text text = KB_TEXT_INIT;
    struct reading sheet;
    sample_batch_make(&(struct sample_batch_options){.specimens = 20,
                                                     .unjudged = 1,
                                                     .value = 90.0,
                                                     .half = 2.0,
                                                     .limits = 1,
                                                     .rule = KB_BATCH_SHARE},
                      &batch);
    assert_int_equal(batch.judgement.verdict, KB_ACCEPT);
    assert_int_equal(kb_report_certificate_html(&batch, &text, NULL), KB_OK);
    read_back(&text, &sheet);
    says(&sheet, "No certificate");
    says(&sheet, "1 of 20 specimens could not be measured as a whole");
    done(&sheet);
    kb_text_release(&text);
    sample_batch_release(&batch);
}

static void its_number_belongs_to_the_figures(void **state) {
    (void)state;
    struct kb_text first = KB_TEXT_INIT;
    for (int i = 0; i < 3; i++) {
        struct reading sheet;
        read_certificate(
            &(struct sample_batch_options){
                .specimens = 2, .value = i < 2 ? 90.0 : 90.5, .half = 2.0, .limits = 1},
            &sheet);
        const char *number = strstr(sheet.words.data, "No. ");
        assert_non_null(number);
        if (i == 0) {
            kb_text_add_bytes(&first, number, 18);
        } else {
            assert_int_equal(strncmp(number, first.data, 18) == 0, i < 2);
        }
        done(&sheet);
    }
    kb_text_release(&first);
}

/* 12 results and 600 characters are what was promised; all quantities and the longest wording that
 * is taken must still not be cut. */
static void it_fits_one_sheet_of_either_paper(void **state) {
    (void)state;
    static const struct {
        size_t limits, wording;
    } load[] = {{1, 0}, {12, 600}, {KB_QUANTITIES, KB_STATEMENT_MOST}};
    for (size_t i = 0; i < sizeof load / sizeof load[0]; i++) {
        struct kb_batch batch;
        struct kb_text sheet = KB_TEXT_INIT;
        sample_batch_make(
            &(struct sample_batch_options){
                .specimens = 3, .value = 90.0, .half = 2.0, .limits = load[i].limits},
            &batch);
        batch.certificate = wording;
        batch.certificate.statement = load[i].wording > 0 ? sample_wording(load[i].wording) : NULL;
        assert_int_equal(kb_report_certificate_html(&batch, &sheet, NULL), KB_OK);
        for (int paper = KB_PAPER_A4; paper < KB_PAPERS; paper++) {
            struct kb_paper_params params = kb_paper_params_default();
            struct kb_text pdf = KB_TEXT_INIT;
            struct kb_err err = {0};
            size_t sheets = 0;
            params.paper = (enum kb_paper)paper;
            params.one_sheet = true;
            assert_int_equal(kb_paper_pdf(sheet.data, sheet.length, &params, &pdf, &err), KB_OK);
            assert_int_equal(kb_paper_count(sheet.data, sheet.length, &params, &sheets, NULL),
                             KB_OK);
            assert_int_equal(sheets, 1);
            kb_text_release(&pdf);
        }
        kb_text_release(&sheet);
        sample_batch_release(&batch);
    }
}

static void what_a_sheet_does_not_take_is_refused(void **state) {
    (void)state;
    struct kb_batch batch;
    struct kb_text sheet = KB_TEXT_INIT;
    struct kb_err err = {0};
    sample_batch_make(
        &(struct sample_batch_options){.specimens = 1, .value = 90.0, .half = 2.0, .limits = 1},
        &batch);
    batch.certificate.statement = sample_wording(KB_STATEMENT_MOST + 1);
    assert_int_equal(kb_report_certificate_html(&batch, &sheet, &err), KB_E_USAGE);
    assert_non_null(strstr(err.text, "at most 900 characters"));
    assert_int_equal(sheet.length, 0);
    sample_batch_release(&batch);
    sample_batch_make(&(struct sample_batch_options){.specimens = 1, .value = 90.0, .half = 2.0},
                      &batch);
    assert_int_equal(kb_report_certificate_html(&batch, &sheet, &err), KB_E_USAGE);
    sample_batch_release(&batch);
}

/* ---- memory ---- */

static enum kb_status open_nothing(void *context, size_t specimen, struct kb_result *result,
                                   struct kb_err *err) {
    (void)context;
    (void)specimen;
    (void)err;
    *result = (struct kb_result){0};
    return KB_OK;
}

static void every_failed_allocation_is_reported_and_leaves_nothing(void **state) {
    (void)state;
    static writer *const write[] = {kb_report_batch_html, kb_report_certificate_html};
    struct kb_batch batch;
    sample_batch_make(
        &(struct sample_batch_options){.specimens = 3, .value = 90.0, .half = 2.0, .limits = 2},
        &batch);
    batch.open = open_nothing; /* what opening takes is not of the page */
    for (size_t i = 0; i < sizeof write / sizeof write[0]; i++) {
        enum kb_status status = KB_E_MEMORY;
        for (size_t n = 1; status != KB_OK; n++) {
            struct kb_text text = KB_TEXT_INIT;
            fail_alloc_at(n);
            status = write[i](&batch, &text, NULL);
            const bool failed = fail_alloc_happened() != 0;
            kb_text_release(&text);
            assert_int_equal(fail_alloc_open_blocks(), 0);
            assert_int_equal(status, failed ? KB_E_MEMORY : KB_OK);
        }
        fail_alloc_at(0);
    }
    sample_batch_release(&batch);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_page_answers_first_and_links_to_each_specimen),
        cmocka_unit_test(one_specimen_says_nothing_about_others_and_the_page_says_that),
        cmocka_unit_test(a_specimen_that_could_not_be_measured_is_named_without_link_or_figure),
        cmocka_unit_test(no_name_becomes_markup),
        cmocka_unit_test(limits_that_differ_stand_at_each_specimen),
        cmocka_unit_test(five_hundred_specimens_all_stand_in_the_table),
        cmocka_unit_test(an_accepted_batch_gets_the_customers_title_and_wording),
        cmocka_unit_test(what_is_not_wholly_accepted_is_not_certified),
        cmocka_unit_test(a_share_that_suffices_does_not_certify_what_was_not_measured),
        cmocka_unit_test(its_number_belongs_to_the_figures),
        cmocka_unit_test(it_fits_one_sheet_of_either_paper),
        cmocka_unit_test(what_a_sheet_does_not_take_is_refused),
        cmocka_unit_test(every_failed_allocation_is_reported_and_leaves_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
