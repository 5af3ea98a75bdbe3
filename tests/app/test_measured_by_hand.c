/* test_measured_by_hand.c - decisions by hand through the whole library, and every allocation of
 * that way failing once. */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "keelblock/keelblock.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char folder[] = "/tmp/kb-measured-XXXXXX";
static char path[64];
static int32_t nodule_x, nodule_y; /* a pixel of the largest drawn particle inside the picture */

static void choose_nodule(const struct kb_render *drawn, double px_um) {
    double largest = 0.0;
    for (size_t i = 0; i < drawn->truth.count; i++) {
        const struct kb_render_particle *p = &drawn->truth.particle[i];
        if (p->inside && p->area_um2 > largest) {
            largest = p->area_um2;
            nodule_x = (int32_t)(p->x_um / px_um);
            nodule_y = (int32_t)(p->y_um / px_um);
        }
    }
}

static int draw(void **state) {
    (void)state;
    struct kb_render_params params = kb_render_params_default();
    struct kb_render drawn;
    params.seed = 77;
    params.width = 320;
    params.height = 240;
    if (mkdtemp(folder) == NULL || kb_render_draw(&params, &drawn, NULL) != KB_OK) {
        return -1;
    }
    (void)snprintf(path, sizeof path, "%s/a field.tif", folder);
    choose_nodule(&drawn, params.px_um);
    enum kb_status status = kb_write_tiff(path, &drawn.grey, params.px_um, false, NULL);
    kb_render_release(&drawn);
    return status == KB_OK ? 0 : -1;
}

static int clean_up(void **state) {
    (void)state;
    (void)unlink(path);
    return rmdir(folder);
}

static char field_name[] = "a field.tif", reason[] = "seen at 500x";

static struct kb_by_hand word(enum kb_hand_kind kind) {
    return (struct kb_by_hand){.kind = kind,
                               .field_name = field_name,
                               .place = {nodule_x, nodule_y, 1, 1},
                               .phase = KB_OTHER,
                               .form = KB_FORM_II,
                               .level = (double)NAN,
                               .reason = reason,
                               .origin = "job file"};
}

static enum kb_status measure(const struct kb_by_hand *hand, size_t count, struct kb_result *result,
                              struct kb_err *err) {
    struct kb_settings settings = kb_settings_default(KB_DUCTILE_IRON, KB_LIGHT);
    settings.accept_unfit = true; /* the drawn field is small */
    settings.threads = 1;
    settings.by_hand = hand;
    settings.by_hands = count;
    return kb_measure_file(path, &settings, result, err);
}

static void what_came_of_each_decision_is_in_the_result(void **state) {
    (void)state;
    struct kb_by_hand said[] = {word(KB_HAND_FORM), word(KB_HAND_EXCLUSION)};
    said[1].place = (struct kb_rect){0, 0, 20, 10};
    struct kb_result result;
    assert_int_equal(measure(said, 2, &result, NULL), KB_OK);
    assert_int_equal(result.by_hands, 2);
    assert_int_equal(result.by_hand[0].field, 1);
    assert_true(result.by_hand[0].particle > 0);
    assert_false(result.by_hand[0].without_effect);
    assert_int_equal(result.by_hand[0].form_found, KB_FORM_VI);
    assert_string_equal(result.by_hand[0].reason, reason);
    assert_true(result.by_hand[0].reason != reason); /* the result owns its words */
    assert_int_equal(result.field[0].exclusions, 1);
    assert_int_equal(result.field[0].segmentation.pixels[KB_EXCLUDED], 200);
    kb_result_release(&result);

    struct kb_by_hand phase = word(KB_HAND_PHASE);
    assert_int_equal(measure(&phase, 1, &result, NULL), KB_OK);
    assert_int_equal(result.by_hand[0].phase_found, KB_GRAPHITE);
    assert_true(result.by_hand[0].pixels > 0);
    assert_int_equal(result.by_hand[0].pixels, result.field[0].segmentation.by_hand_px);
    kb_result_release(&result);
}

static void a_name_fits_a_path_from_a_folder_on(void **state) {
    (void)state;
    struct kb_by_hand said = word(KB_HAND_PHASE);
    char whole[80], dotted[80], part[] = "field.tif", none[] = "";
    (void)snprintf(whole, sizeof whole, "%s", path);
    (void)snprintf(dotted, sizeof dotted, "././%s", field_name);
    char *const good[] = {whole, dotted};
    char *const bad[] = {part, none};
    struct kb_result result;
    struct kb_err err;
    for (int i = 0; i < 2; i++) {
        said.field_name = good[i];
        assert_int_equal(measure(&said, 1, &result, &err), KB_OK);
        kb_result_release(&result);
        said.field_name = bad[i];
        assert_int_equal(measure(&said, 1, &result, &err), KB_E_USAGE);
        assert_non_null(strstr(err.text, "not among those measured"));
        assert_null(result.by_hand);
    }
    said.field_name = NULL; /* about one region, but of which field? */
    assert_int_equal(measure(&said, 1, &result, &err), KB_E_USAGE);
    said = word(KB_HAND_FORM);
    said.reason = NULL;
    assert_int_equal(measure(&said, 1, &result, &err), KB_E_USAGE);
}

/* A stroke across the nodule, a join of its pieces, an outline, a line, a threshold. */
static struct kb_place stroke[2], both[2], ring[3], line[2];

static size_t drawn(struct kb_by_hand said[5]) {
    stroke[0] = (struct kb_place){nodule_x, nodule_y - 100};
    stroke[1] = (struct kb_place){nodule_x, nodule_y + 100};
    both[0] = (struct kb_place){nodule_x - 4, nodule_y};
    both[1] = (struct kb_place){nodule_x + 4, nodule_y};
    ring[0] = (struct kb_place){0, 0};
    ring[1] = (struct kb_place){20, 0};
    ring[2] = (struct kb_place){0, 10};
    line[0] = (struct kb_place){10, 10};
    line[1] = (struct kb_place){110, 10};
    const struct {
        enum kb_hand_kind kind;
        struct kb_place *point;
        size_t points;
    } kinds[] = {{KB_HAND_CUT, stroke, 2},
                 {KB_HAND_JOIN, both, 2},
                 {KB_HAND_OUTLINE, ring, 3},
                 {KB_HAND_SCALE, line, 2},
                 {KB_HAND_DARK, NULL, 0}};
    for (int i = 0; i < 5; i++) {
        said[i] = word(kinds[i].kind);
        said[i].point = kinds[i].point;
        said[i].points = kinds[i].points;
    }
    said[3].length_um = 50.0;
    said[4].level = 88.0;
    return 5;
}

static void what_came_of_what_was_drawn_is_in_the_result(void **state) {
    (void)state;
    struct kb_by_hand said[5];
    struct kb_result result;
    const size_t count = drawn(said);
    assert_int_equal(measure(said, count, &result, NULL), KB_OK);
    const struct kb_by_hand *hand = result.by_hand;
    for (size_t i = 0; i < count; i++) {
        assert_false(hand[i].without_effect);
        assert_true(hand[i].point == NULL || hand[i].point != said[i].point); /* its own */
    }
    assert_true(hand[0].parts >= 2);
    assert_true(hand[1].particle > 0);
    assert_true(result.field[0].particles.particle[hand[1].particle - 1].joined_by_hand);
    assert_int_equal(hand[2].place.width, 20);
    assert_int_equal(result.field[0].segmentation.pixels[KB_EXCLUDED], 100);
    assert_near(result.field[0].px_um, 0.5, 0.0);
    assert_int_equal(result.field[0].scale_source, KB_SCALE_BY_HAND);
    assert_near(hand[3].px_um, 0.5, 0.0);
    assert_near(hand[3].px_um_u, 0.5 * sqrt(1.0 / 6.0) / 100.0, 1e-12);
    assert_near(result.field[0].segmentation.threshold[0], 88.0, 0.0);
    assert_true(hand[4].level_found > 0.0);
    kb_result_release(&result);
}

static void a_level_that_is_none_gives_a_threshold_back_to_the_program(void **state) {
    (void)state;
    struct kb_by_hand said[] = {word(KB_HAND_DARK), word(KB_HAND_DARK)};
    struct kb_result found, result;
    assert_int_equal(measure(NULL, 0, &found, NULL), KB_OK);
    said[0].level = 88.0;
    assert_int_equal(measure(said, 2, &result, NULL), KB_OK);
    assert_true(result.by_hand[0].without_effect);
    assert_false(result.by_hand[1].without_effect);
    assert_near(result.field[0].segmentation.threshold[0], found.field[0].segmentation.threshold[0],
                0.0);
    kb_result_release(&found);
    kb_result_release(&result);
}

static void what_may_miss_is_told_and_measured_without(void **state) {
    (void)state;
    struct kb_by_hand said[5];
    struct kb_place outside[] = {{400, 10}, {500, 10}, {450, 90}};
    const enum kb_hand_kind kind[] = {KB_HAND_CUT, KB_HAND_JOIN, KB_HAND_OUTLINE, KB_HAND_EXCLUSION,
                                      KB_HAND_FORM};
    struct kb_result plain, result;
    struct kb_err err;
    assert_int_equal(measure(NULL, 0, &plain, NULL), KB_OK);
    for (int i = 0; i < 5; i++) {
        said[i] = word(kind[i]);
        said[i].point = outside;
        said[i].points = kind[i] == KB_HAND_OUTLINE ? 3 : 2;
        said[i].place = (struct kb_rect){400, 10, 20, 20};
        said[i].may_miss = false;
        assert_int_equal(measure(&said[i], 1, &result, &err), KB_E_USAGE);
        assert_non_null(strstr(err.text, "outside"));
        said[i].may_miss = true;
        said[i].reason = NULL; /* the record asks for none */
    }
    assert_int_equal(measure(said, 5, &result, NULL), KB_OK);
    size_t told = 0;
    for (size_t i = 0; i < result.field[0].findings.count; i++) {
        told += strcmp(result.field[0].findings.item[i].code, "by-hand-without-effect") == 0;
    }
    for (size_t i = 0; i < result.specimen.findings.count; i++) {
        told += strcmp(result.specimen.findings.item[i].code, "by-hand-without-effect") == 0;
    }
    assert_int_equal(told, 5);
    for (int i = 0; i < 5; i++) {
        assert_true(result.by_hand[i].without_effect);
    }
    assert_int_equal(result.field[0].particles.count, plain.field[0].particles.count);
    kb_result_release(&plain);
    kb_result_release(&result);
}

static void refuse(const struct kb_by_hand *hand, const char *says) {
    struct kb_result result;
    struct kb_err err;
    assert_int_equal(measure(hand, 1, &result, &err), KB_E_USAGE);
    if (strstr(err.text, says) == NULL) {
        fail_msg("%s", err.text);
    }
}

static void numbers_that_are_none_are_refused(void **state) {
    (void)state;
    struct kb_by_hand said[5];
    (void)drawn(said);
    said[3].length_um = (double)NAN;
    refuse(&said[3], "no length");
    said[3].length_um = (double)INFINITY;
    refuse(&said[3], "no length");
    said[3].length_um = 50.0;
    said[3].length_um_u = (double)NAN;
    refuse(&said[3], "uncertainty");
    said[3].length_um_u = 0.0;
    line[1] = line[0];
    refuse(&said[3], "same pixel");
    said[4].level = (double)INFINITY;
    refuse(&said[4], "out of range");
    said[4].level = -1.0;
    refuse(&said[4], "out of range");
    ring[2].x = INT32_MAX;
    refuse(&said[2], "outside every picture");
    said[2].points = 2;
    refuse(&said[2], "has not the points");
    said[0].point = NULL;
    refuse(&said[0], "has not the points");
    said[1].kind = KB_HAND_KINDS;
    refuse(&said[1], "no kind");
}

static void every_failed_allocation_of_what_is_drawn_is_reported(void **state) {
    (void)state;
    struct kb_by_hand said[5];
    const size_t count = drawn(said);
    int failed = 1;
    for (size_t n = 1; failed; n++) {
        struct kb_result result;
        fail_alloc_at(n);
        enum kb_status status = measure(said, count, &result, NULL);
        kb_result_release(&result);
        long open_blocks = fail_alloc_open_blocks();
        failed = fail_alloc_happened();
        fail_alloc_at(0);
        assert_int_equal(open_blocks, 0);
        assert_int_equal(status, failed ? KB_E_MEMORY : KB_OK);
    }
}

static void every_failed_allocation_is_reported_and_nothing_leaks(void **state) {
    (void)state;
    struct kb_by_hand said[] = {word(KB_HAND_FORM), word(KB_HAND_EXCLUSION), word(KB_HAND_PHASE)};
    said[1].place = (struct kb_rect){0, 0, 20, 10};
    said[2].place = (struct kb_rect){319, 239, 1, 1};
    int failed = 1;
    for (size_t n = 1; failed; n++) {
        struct kb_result result;
        fail_alloc_at(n);
        enum kb_status status = measure(said, 3, &result, NULL);
        kb_result_release(&result);
        long open_blocks = fail_alloc_open_blocks();
        failed = fail_alloc_happened();
        fail_alloc_at(0);
        assert_int_equal(open_blocks, 0);
        assert_int_equal(status, failed ? KB_E_MEMORY : KB_OK);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_came_of_each_decision_is_in_the_result),
        cmocka_unit_test(a_name_fits_a_path_from_a_folder_on),
        cmocka_unit_test(what_came_of_what_was_drawn_is_in_the_result),
        cmocka_unit_test(a_level_that_is_none_gives_a_threshold_back_to_the_program),
        cmocka_unit_test(what_may_miss_is_told_and_measured_without),
        cmocka_unit_test(numbers_that_are_none_are_refused),
        cmocka_unit_test(every_failed_allocation_of_what_is_drawn_is_reported),
        cmocka_unit_test(every_failed_allocation_is_reported_and_nothing_leaks),
    };
    return cmocka_run_group_tests(tests, draw, clean_up);
}
