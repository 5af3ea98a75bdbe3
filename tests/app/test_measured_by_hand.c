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
        cmocka_unit_test(every_failed_allocation_is_reported_and_nothing_leaks),
    };
    return cmocka_run_group_tests(tests, draw, clean_up);
}
