/* test_prepare_shown.c - a preparation sheet in every writer: lines that a terminal holds, a page
 * that goes on two sheets of paper, JSON that another reader reads back; names from outside tamed.
 */
#include "keelblock/report.h"

#include "fail_alloc.h"
#include "kb_cmocka.h"

#include <jansson.h>
#include <string.h>

static struct kb_prepare_sheet sheet;
static const struct kb_sheet_names plain = {"Bracket 17", "Keelworks laboratory"};

static void plan(struct kb_prepare_params params) {
    assert_int_equal(kb_prepare_plan(&params, NULL, 0, &sheet, NULL), KB_OK);
}

static void plan_after(enum kb_check check, enum kb_fitness fitness) {
    struct kb_prepare_params params = kb_prepare_params_default(KB_DUCTILE_IRON);
    const struct kb_prepare_seen seen = {
        .check = check, .fitness = fitness, .fields = 2, .of = 5, .advice = "Focus again."};
    assert_int_equal(kb_prepare_plan(&params, &seen, 1, &sheet, NULL), KB_OK);
}

/* Characters in the longest line of UTF-8. */
static size_t longest(const char *text) {
    size_t most = 0, now = 0;
    for (; *text != '\0'; text++) {
        now = *text == '\n' ? 0 : now + ((*text & 0xc0) != 0x80 ? 1 : 0);
        most = now > most ? now : most;
    }
    return most;
}

static char *text_of(int columns) {
    struct kb_text text = KB_TEXT_INIT;
    assert_int_equal(kb_report_prepare_text(&sheet, &plain, columns, &text, NULL), KB_OK);
    return text.data;
}

static void the_terminal_gets_lines_that_it_holds_and_every_number_once(void **state) {
    (void)state;
    plan(kb_prepare_params_default(KB_GREY_IRON));
    static const int columns[] = {40, 60, 80};
    for (size_t i = 0; i < sizeof columns / sizeof *columns; i++) {
        char *text = text_of(columns[i]);
        assert_true(longest(text) <= (size_t)columns[i]);
        for (size_t step = 1; step <= sheet.steps; step++) {
            char number[32];
            (void)snprintf(number, sizeof number, "\n  %2zu. ", step);
            const char *found = strstr(text, number);
            assert_non_null(found);
            assert_null(strstr(found + 1, number));
        }
        kb_free(text);
    }
}

static void what_need_not_be_done_again_is_left_out(void **state) {
    (void)state;
    plan_after(KB_CHECK_ETCH_WEAK, KB_NOT_FIT);
    char *text = text_of(80);
    assert_non_null(strstr(text, "Etch too weak (not fit in 2 of 5 fields). Return to step "));
    assert_non_null(strstr(text, "\nETCH\n"));
    assert_null(strstr(text, "\nPOLISH\n"));
    assert_null(strstr(text, "\nGRIND\n"));
    kb_free(text);
}

static void a_matter_of_the_microscope_asks_for_no_step(void **state) {
    (void)state;
    plan_after(KB_CHECK_FOCUS, KB_NOT_FIT);
    char *text = text_of(80);
    assert_non_null(strstr(text, "No preparation. Focus again."));
    assert_non_null(strstr(text, "Nothing to prepare again"));
    assert_null(strstr(text, "\nETCH\n"));
    kb_free(text);
}

static size_t sheets_of_paper(enum kb_paper paper) {
    struct kb_text page = KB_TEXT_INIT;
    struct kb_paper_params params = kb_paper_params_default();
    size_t pages = 0;
    params.paper = paper;
    assert_int_equal(kb_report_prepare_html(&sheet, &plain, &page, NULL), KB_OK);
    assert_int_equal(kb_paper_count(page.data, page.length, &params, &pages, NULL), KB_OK);
    kb_text_release(&page);
    return pages;
}

/* The longest sheets there are: most rungs, most lines. */
static void every_material_goes_on_two_sheets_of_paper(void **state) {
    (void)state;
    for (int material = KB_DUCTILE_IRON; material <= KB_CARBON_STEEL; material++) {
        for (int mount = 0; mount < KB_MOUNTS; mount++) {
            for (int etchant = 0; etchant < KB_ETCHANTS; etchant++) {
                struct kb_prepare_params params =
                    kb_prepare_params_default((enum kb_material)material);
                params.hardness = KB_HARD;
                params.cut = KB_CUT_AS_BROKEN;
                params.mount = (enum kb_mount)mount;
                params.etchant = (enum kb_etchant)etchant;
                plan(params);
                assert_true(sheets_of_paper(KB_PAPER_A4) <= 2);
                assert_true(sheets_of_paper(KB_PAPER_LETTER) <= 2);
            }
        }
    }
}

static size_t count_of(const char *text, const char *words) {
    size_t count = 0;
    for (const char *at = strstr(text, words); at != NULL; at = strstr(at + 1, words)) {
        count++;
    }
    return count;
}

static void the_page_has_a_box_for_each_step_and_tames_names(void **state) {
    (void)state;
    plan(kb_prepare_params_default(KB_COMPACTED_IRON));
    const struct kb_sheet_names hostile = {"<b>&\"\xff", "a<script>"};
    struct kb_text page = KB_TEXT_INIT;
    assert_int_equal(kb_report_prepare_html(&sheet, &hostile, &page, NULL), KB_OK);
    assert_int_equal(count_of(page.data, "aria-label=\"to tick\""), sheet.steps);
    assert_null(strstr(page.data, "<script"));
    assert_non_null(strstr(page.data, "&lt;b&gt;&amp;"));
    assert_non_null(strstr(page.data, "trained staff decide"));
    /* cautions stand before the rules of their part */
    assert_true(strstr(page.data, "acid into alcohol") < strstr(page.data, "Shortest time first"));
    kb_text_release(&page);
}

static void json_is_read_back_with_every_step(void **state) {
    (void)state;
    plan(kb_prepare_params_default(KB_CARBON_STEEL));
    struct kb_text text = KB_TEXT_INIT;
    assert_int_equal(kb_report_prepare_json(&sheet, &plain, &text, NULL), KB_OK);
    json_t *root = json_loads(text.data, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(root);
    assert_string_equal(json_string_value(json_object_get(root, "schema")),
                        "keelblock.preparation/1");
    const json_t *parts = json_object_get(root, "parts");
    size_t steps = 0;
    for (size_t i = 0; i < json_array_size(parts); i++) {
        const json_t *part = json_array_get(parts, i);
        const json_t *listed = json_object_get(part, "steps");
        for (size_t k = 0; k < json_array_size(listed); k++) {
            const json_t *step = json_array_get(listed, k);
            assert_int_equal(json_integer_value(json_object_get(step, "number")), ++steps);
            assert_true(json_is_null(json_object_get(step, "grain_um")) ==
                        (isnan(sheet.step[steps - 1].grain_um) != 0));
        }
    }
    assert_int_equal(steps, sheet.steps);
    json_decref(root);
    kb_text_release(&text);
}

static enum kb_status write_text(struct kb_text *out, struct kb_err *err) {
    return kb_report_prepare_text(&sheet, &plain, 80, out, err);
}
static enum kb_status write_html(struct kb_text *out, struct kb_err *err) {
    return kb_report_prepare_html(&sheet, &plain, out, err);
}
static enum kb_status write_json(struct kb_text *out, struct kb_err *err) {
    return kb_report_prepare_json(&sheet, &plain, out, err);
}

static void a_failed_allocation_gives_no_half_of_a_sheet(void **state) {
    (void)state;
    enum kb_status (*const writer[])(struct kb_text *, struct kb_err *) = {write_text, write_html,
                                                                           write_json};
    plan_after(KB_CHECK_PULL_OUT, KB_NOT_FIT);
    for (size_t i = 0; i < sizeof writer / sizeof *writer; i++) {
        bool failed = true;
        for (size_t n = 1; failed; n++) {
            struct kb_text text = KB_TEXT_INIT;
            fail_alloc_at(n);
            enum kb_status status = writer[i](&text, NULL);
            failed = fail_alloc_happened() != 0;
            assert_int_equal(status, failed ? KB_E_MEMORY : KB_OK);
            kb_text_release(&text);
            assert_int_equal(fail_alloc_open_blocks(), 0);
            fail_alloc_at(0);
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_terminal_gets_lines_that_it_holds_and_every_number_once),
        cmocka_unit_test(what_need_not_be_done_again_is_left_out),
        cmocka_unit_test(a_matter_of_the_microscope_asks_for_no_step),
        cmocka_unit_test(every_material_goes_on_two_sheets_of_paper),
        cmocka_unit_test(the_page_has_a_box_for_each_step_and_tames_names),
        cmocka_unit_test(json_is_read_back_with_every_step),
        cmocka_unit_test(a_failed_allocation_gives_no_half_of_a_sheet),
    };
    return cmocka_run_group_tests_name("preparation sheets shown", tests, NULL, NULL);
}
