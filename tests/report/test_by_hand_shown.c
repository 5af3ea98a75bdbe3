/* test_by_hand_shown.c - decisions by hand in every writer: where, from what to what, why, by whom.
 */
#include "sample_result.h"

#include "paint_priv.h"

#include <jansson.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

typedef enum kb_status writer(const struct kb_result *, struct kb_text *, struct kb_err *);

/* What a writer makes of the sample; release the text. */
static struct kb_text written(writer *write, bool by_hand) {
    struct kb_result result;
    struct kb_text text = KB_TEXT_INIT;
    sample_result_make(&(struct sample_options){.fields = 2, .by_hand = by_hand}, &result);
    assert_int_equal(write(&result, &text, NULL), KB_OK);
    kb_result_release(&result);
    return text;
}

static void holds(const struct kb_text *text, const char *wanted) {
    if (strstr(text->data, wanted) == NULL) {
        fail_msg("'%s' is missing", wanted);
    }
}

static void the_page_says_where_what_why_and_who(void **state) {
    (void)state;
    struct kb_text page = written(kb_report_html, true);
    holds(&page, "5 decisions by hand</a>");
    holds(&page, "<section id=\"by-hand\">");
    holds(&page, "at 120, 88");
    holds(&page, "region is <b>other</b>, found as graphite; 0.26&#160;% of the picture");
    holds(&page, "a pore, seen at 500x");
    holds(&page, "every field, 3 × 4 px at 1, 2");
    holds(&page, "no reason given");
    holds(&page, "dark threshold at grey level <b>77.5</b>");
    holds(&page, "is of <b>form II</b>, by its figures VI; no nodule in every method");
    holds(&page, "A. Lindqvist");
    holds(&page, "The form of 1 particle was <a href=\"#by-hand\">set by hand</a>");
    /* before the settings */
    assert_true(strstr(page.data, "id=\"by-hand\"") < strstr(page.data, "<h3>Settings</h3>"));
    kb_text_release(&page);
}

/* What the job file holds already is not offered again. */
static void lines_for_the_job_file_are_those_it_lacks(void **state) {
    (void)state;
    struct kb_text page = written(kb_report_html, true);
    holds(&page, "<pre>[segmentation]\ndark_threshold = 77.5\n"
                 "threshold_reason = the lamp was changed\n[by_hand]\n"
                 "exclude = field 01.tif 5,6,70,80: stain\nexclude = 1,2,3,4\n"
                 "set_form = field 01.tif 300,200 II: spikes below the focus\n</pre>");
    assert_null(strstr(page.data, "set_phase = "));
    kb_text_release(&page);
}

static void a_result_without_decisions_says_so(void **state) {
    (void)state;
    struct kb_text page = written(kb_report_html, false);
    holds(&page, "Nothing: every threshold, phase and form is as the program found it");
    assert_null(strstr(page.data, "decisions by hand"));
    assert_null(strstr(page.data, "<pre>"));
    kb_text_release(&page);
}

static const char *text_of(const json_t *object, const char *key) {
    const char *value = json_string_value(json_object_get(object, key));
    return value != NULL ? value : "";
}

static void json_holds_every_decision(void **state) {
    (void)state;
    struct kb_text text = written(kb_report_json, true);
    json_t *root = json_loads(text.data, 0, NULL);
    const json_t *list = json_object_get(root, "by_hand");
    assert_int_equal(json_array_size(list), 5);
    const json_t *phase = json_array_get(list, 0);
    assert_string_equal(text_of(phase, "what"), "phase");
    assert_string_equal(text_of(phase, "from"), "graphite");
    assert_string_equal(text_of(phase, "to"), "other");
    assert_string_equal(text_of(phase, "reason"), "a pore, seen at 500x");
    assert_string_equal(text_of(phase, "who"), "A. Lindqvist");
    assert_string_equal(text_of(phase, "origin"), "job file");
    assert_int_equal(json_integer_value(json_object_get(phase, "pixels")), 1234);
    assert_int_equal(json_integer_value(json_object_get(phase, "field")), 1);
    assert_int_equal(json_array_size(json_object_get(phase, "place_px")), 2);
    const json_t *rect = json_array_get(list, 2);
    assert_int_equal(json_array_size(json_object_get(rect, "place_px")), 4);
    assert_true(json_is_null(json_object_get(rect, "field")));
    assert_true(json_is_null(json_object_get(rect, "reason")));
    const json_t *dark = json_array_get(list, 3);
    assert_true(fabs(json_number_value(json_object_get(dark, "level")) - 77.5) < 1e-12);
    assert_true(json_is_null(json_object_get(dark, "place_px")));
    const json_t *form = json_array_get(list, 4);
    assert_string_equal(text_of(form, "from"), "VI");
    assert_string_equal(text_of(form, "to"), "II");
    assert_true(json_integer_value(json_object_get(form, "particle")) > 0);
    json_decref(root);
    kb_text_release(&text);

    text = written(kb_report_json, false);
    root = json_loads(text.data, 0, NULL);
    assert_true(json_is_array(json_object_get(root, "by_hand")));
    assert_int_equal(json_array_size(json_object_get(root, "by_hand")), 0);
    json_decref(root);
    kb_text_release(&text);
}

static size_t count_of(const char *text, const char *word) {
    size_t count = 0;
    for (const char *at = strstr(text, word); at != NULL; at = strstr(at + 1, word)) {
        count++;
    }
    return count;
}

static void tables_mark_what_was_touched(void **state) {
    (void)state;
    struct kb_text text = written(kb_report_particles_csv, true);
    holds(&text, ",iso945_form_found,form_by_hand,shape_by_hand\r\n");
    assert_int_equal(count_of(text.data, ",VI,yes,no\r\n"), 1);
    holds(&text, ",II,"); /* the form that counts */
    kb_text_release(&text);
    text = written(kb_report_particles_csv, false);
    assert_int_equal(count_of(text.data, ",yes,no\r\n"), 0);
    kb_text_release(&text);
    text = written(kb_report_fields_csv, true);
    holds(&text, ",pixels_by_hand,forms_by_hand\r\n");
    assert_int_equal(count_of(text.data, ",1234,1\r\n"), 1);
    assert_int_equal(count_of(text.data, ",0,0\r\n"), 1);
    kb_text_release(&text);
}

/* Where the pictures with and without a mark differ. */
static struct kb_rect difference(const struct kb_picture *a, const struct kb_picture *b) {
    int32_t x0 = INT32_MAX, y0 = INT32_MAX, x1 = -1, y1 = -1;
    for (int32_t y = 0; y < a->height && y < b->height; y++) {
        for (int32_t x = 0; x < a->width; x++) {
            size_t at = ((size_t)y * (size_t)a->width + (size_t)x) * 3;
            if (memcmp(a->rgb + at, b->rgb + at, 3) != 0) {
                x0 = x < x0 ? x : x0;
                y0 = y < y0 ? y : y0;
                x1 = x > x1 ? x : x1;
                y1 = y > y1 ? y : y1;
            }
        }
    }
    return (struct kb_rect){x0, y0, x1 - x0 + 1, y1 - y0 + 1};
}

static void the_overlay_crosses_the_pixel_that_was_named(void **state) {
    (void)state;
    struct sample_field sample;
    struct kb_picture plain, marked;
    struct kb_phase_change change = {120, 88, KB_GRAPHITE, KB_OTHER, 10, false};
    sample_field_make(3, 800, 600, 0.5, true, &sample);
    assert_int_equal(kb_draw_overlay(&sample.field, &sample.map, NULL, &plain, NULL), KB_OK);
    sample.map.change = &change;
    sample.map.changes = 1;
    assert_int_equal(kb_draw_overlay(&sample.field, &sample.map, NULL, &marked, NULL), KB_OK);
    sample.map.change = NULL;
    const uint8_t *centre = marked.rgb + ((size_t)88 * 800 + 120) * 3;
    assert_int_equal(centre[0], KB_INK.r);
    assert_true(marked.height >= plain.height); /* the legend explains it */
    plain.height = marked.height = 600;
    struct kb_rect box = difference(&plain, &marked);
    assert_true(box.x >= 120 - 8 && box.x + box.width <= 120 + 9);
    assert_true(box.y >= 88 - 8 && box.y + box.height <= 88 + 9);
    assert_true(box.width >= 9 && box.height >= 9);
    kb_picture_release(&plain);
    kb_picture_release(&marked);
    sample_field_release(&sample);
}

/* Inked pixels of the field by which two overlays differ. */
static size_t inked(const struct kb_picture *plain, const struct kb_picture *marked,
                    int32_t height) {
    size_t count = 0;
    for (size_t i = 0; i < (size_t)plain->width * (size_t)height; i++) {
        const uint8_t *a = plain->rgb + 3 * i, *b = marked->rgb + 3 * i;
        count += (a[0] != b[0] || a[1] != b[1] || a[2] != b[2]) && b[0] == KB_INK.r;
    }
    return count;
}

static void the_overlay_draws_what_was_drawn_in_its_field_and_had_an_effect(void **state) {
    (void)state;
    struct sample_field sample;
    struct kb_picture plain, marked;
    struct kb_place line[] = {{100, 100}, {200, 100}};
    struct kb_place ring[] = {{100, 100}, {200, 100}, {150, 300}};
    sample_field_make(3, 800, 600, 0.5, true, &sample);
    assert_int_equal(kb_draw_overlay(&sample.field, &sample.map, NULL, &plain, NULL), KB_OK);
    const enum kb_hand_kind kind[] = {KB_HAND_CUT, KB_HAND_JOIN, KB_HAND_SCALE, KB_HAND_OUTLINE};
    size_t seen[4] = {0};
    for (int i = 0; i < 4; i++) {
        const bool closed = kind[i] == KB_HAND_OUTLINE;
        struct kb_by_hand hand = {
            .kind = kind[i], .field = 2, .point = closed ? ring : line, .points = closed ? 3 : 2};
        struct kb_overlay_hands hands = {&hand, 1, 2};
        assert_int_equal(
            kb_draw_overlay_by_hand(&sample.field, &sample.map, NULL, &hands, &marked, NULL),
            KB_OK);
        seen[i] = inked(&plain, &marked, 600);
        kb_picture_release(&marked);
        for (int k = 0; k < 2; k++) { /* of another field; without effect */
            hands.field = k == 0 ? 1 : 2;
            hand.without_effect = k == 1;
            assert_int_equal(
                kb_draw_overlay_by_hand(&sample.field, &sample.map, NULL, &hands, &marked, NULL),
                KB_OK);
            assert_int_equal(marked.height, plain.height);
            assert_memory_equal(marked.rgb, plain.rgb,
                                (size_t)plain.width * (size_t)plain.height * 3);
            kb_picture_release(&marked);
        }
    }
    assert_in_range(seen[0], 40, 70);   /* every second dash of 100 pixels */
    assert_in_range(seen[1], 110, 200); /* the whole line, and two boxes of 32 */
    assert_in_range(seen[2], 100, 140); /* the whole line, and two bars of 11 */
    assert_true(seen[3] > 450);         /* all round: 100 and twice 206 */
    kb_picture_release(&plain);
    sample_field_release(&sample);
}

static void a_form_by_hand_puts_the_number_in_brackets_and_decides_the_outline(void **state) {
    (void)state;
    struct sample_field sample;
    struct kb_picture plain, marked;
    sample_field_make(1, 800, 600, 0.5, false, &sample);
    struct kb_particle *particle = NULL;
    for (size_t i = 0; i < sample.particles.count; i++) {
        struct kb_particle *p = &sample.particles.particle[i];
        if (p->state == KB_COUNTS && p->shape_factor >= 0.6 &&
            (particle == NULL || p->area_px2 > particle->area_px2)) {
            particle = p;
        }
    }
    assert_non_null(particle);
    assert_int_equal(kb_draw_overlay(&sample.field, &sample.map, &sample.particles, &plain, NULL),
                     KB_OK);
    assert_true(kb_is_nodule(particle));
    particle->by_hand = true;
    particle->form = KB_FORM_VI;
    assert_true(kb_is_nodule(particle));
    particle->form = KB_FORM_IV;
    assert_false(kb_is_nodule(particle));
    sample.particles.by_hand = 1;
    assert_int_equal(kb_draw_overlay(&sample.field, &sample.map, &sample.particles, &marked, NULL),
                     KB_OK);
    plain.height = marked.height = 600;
    struct kb_rect box = difference(&plain, &marked);
    const struct kb_rect *at = &particle->box;
    assert_true(box.x <= at->x + 1 && box.x + box.width >= at->x + at->width - 1);
    kb_picture_release(&plain);
    kb_picture_release(&marked);
    sample_field_release(&sample);
}

static void the_short_table_counts_them(void **state) {
    (void)state;
    struct kb_result result;
    struct kb_text text = KB_TEXT_INIT;
    sample_result_make(&(struct sample_options){.fields = 2, .by_hand = true}, &result);
    assert_int_equal(kb_report_table(&result, 80, false, &text, NULL), KB_OK);
    holds(&text, "5 decisions by hand");
    kb_text_release(&text);
    kb_result_release(&result);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_page_says_where_what_why_and_who),
        cmocka_unit_test(lines_for_the_job_file_are_those_it_lacks),
        cmocka_unit_test(a_result_without_decisions_says_so),
        cmocka_unit_test(json_holds_every_decision),
        cmocka_unit_test(tables_mark_what_was_touched),
        cmocka_unit_test(the_overlay_crosses_the_pixel_that_was_named),
        cmocka_unit_test(the_overlay_draws_what_was_drawn_in_its_field_and_had_an_effect),
        cmocka_unit_test(a_form_by_hand_puts_the_number_in_brackets_and_decides_the_outline),
        cmocka_unit_test(the_short_table_counts_them),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
