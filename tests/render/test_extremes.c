/* Extremes are drawn, nonsense is refused, want of memory leaves nothing behind. */
#include "fail_alloc.h"
#include "render_priv.h"

#include <omp.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "render_near.h"

/* ---- extremes and refusals ----------------------------------------------------------------------
 */

static void extremes_are_drawn(void **state) {
    (void)state;
    static const int32_t sides[][2] = {{1, 1}, {1, 300}, {300, 1}, {7, 5}, {64, 64}};
    for (size_t i = 0; i < sizeof sides / sizeof *sides; i++) {
        for (int form = KB_RENDER_NONE; form <= KB_RENDER_FLAKES; form++) {
            for (int corner = 0; corner < 16; corner++) {
                struct kb_render_params p = small(sides[i][0], sides[i][1]);
                p.graphite = (enum kb_render_graphite)form;
                p.look = (enum kb_render_look)(corner % 3);
                p.nodularity = corner & 1 ? 1.0 : 0.0;
                p.pearlite_of_matrix = corner & 2 ? 1.0 : corner & 4 ? 0.0 : 0.5;
                p.bulls_eye = (corner & 8) != 0;
                p.clusters = corner & 4 ? 1.0 : 0.0;
                p.blur_um = corner & 1 ? 0.0 : 15.0;
                p.grain_um = corner & 2 ? 0.0 : 20.0;
                struct kb_render r = draw(&p);
                double sum = r.truth.graphite + r.truth.ferrite + r.truth.pearlite;
                assert_near(sum, 1.0, 1e-9);
                assert_true(r.truth.ferrite >= 0.0 && r.truth.pearlite >= 0.0);
                kb_render_release(&r);
            }
        }
    }
}

static void extreme_scales_are_drawn(void **state) {
    (void)state;
    struct kb_render_params p = small(60, 50);
    p.px_um = 100.0; /* nodules far smaller than a pixel */
    p.nodules_per_mm2 = 10.0;
    p.grain_um = 0.0;
    struct kb_render r = draw(&p);
    kb_render_release(&r);
    p = small(60, 50);
    p.px_um = 0.001; /* all of the frame within one grain */
    p.blur_um = 0.0;
    r = draw(&p);
    kb_render_release(&r);
    p = small(200, 150);
    p.fall_off = 0.9;
    p.beam_noise = 100.0;
    p.charging = 255.0;
    p.noise = 100.0;
    p.scratches_per_mm2 = 10000.0;
    p.nodule_spread = 3.0;
    p.nodules_per_mm2 = 50.0;
    r = draw(&p);
    kb_render_release(&r);
}

static void one_phase_asked_for_is_one_phase_drawn(void **state) {
    (void)state;
    struct kb_render_params p = small(120, 90);
    for (int form = KB_RENDER_NONE; form <= KB_RENDER_NODULES; form++) {
        p.graphite = (enum kb_render_graphite)form;
        p.pearlite_of_matrix = 0.0;
        struct kb_render r = draw(&p);
        assert_true(r.truth.pearlite == 0.0);
        kb_render_release(&r);
        p.pearlite_of_matrix = 1.0;
        r = draw(&p);
        assert_true(r.truth.ferrite == 0.0);
        kb_render_release(&r);
    }
}

static void without_graphite_nodularity_is_not_a_number(void **state) {
    (void)state;
    struct kb_render_params p = small(50, 40);
    p.graphite = KB_RENDER_NONE;
    struct kb_render r = draw(&p);
    assert_true(isnan(r.truth.nodularity_percent));
    assert_int_equal(r.truth.count, 0);
    kb_render_release(&r);
}

static void params_out_of_range_are_refused_by_name(void **state) {
    (void)state;
    const struct kb_render_params fine = kb_render_params_default();
    struct kb_render_params p = fine;
    double *const numbers[] = {
        &p.px_um,      &p.nodules_per_mm2,    &p.nodule_um,  &p.nodule_spread,
        &p.nodularity, &p.graphite_fraction,  &p.grain_um,   &p.lamella_um,
        &p.fall_off,   &p.pearlite_of_matrix, &p.blur_um,    &p.noise,
        &p.clusters,   &p.scratches_per_mm2,  &p.beam_noise, &p.charging};
    const double bad[] = {(double)NAN, (double)INFINITY, -(double)INFINITY, -1.0, 1e9};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        for (size_t k = 0; k < sizeof bad / sizeof *bad; k++) {
            struct kb_err err = {0};
            p = fine;
            *numbers[i] = bad[k];
            assert_int_equal(kb_render_params_check(&p, &err), KB_E_USAGE);
            assert_string_equal(err.stage, "render");
            assert_true(err.subject[0] != '\0' && err.text[0] != '\0');
        }
    }
    p = fine;
    assert_int_equal(kb_render_params_check(&p, NULL), KB_OK);
    p.width = 0;
    assert_int_equal(kb_render_params_check(&p, NULL), KB_E_USAGE);
    p.width = KB_SIDE_MAX;
    p.height = KB_SIDE_MAX;
    assert_int_equal(kb_render_params_check(&p, NULL), KB_E_USAGE);
    p = fine;
    p.look = (enum kb_render_look)7;
    assert_int_equal(kb_render_params_check(&p, NULL), KB_E_USAGE);
}

static void params_that_contradict_each_other_are_refused(void **state) {
    (void)state;
    struct kb_render_params p = kb_render_params_default();
    p.nodules_per_mm2 = 5000.0; /* would cover the field more than once */
    assert_int_equal(kb_render_params_check(&p, NULL), KB_E_USAGE);
    p = kb_render_params_default();
    p.grain_um = 0.6; /* hardly a pixel */
    assert_int_equal(kb_render_params_check(&p, NULL), KB_E_USAGE);
    p = kb_render_params_default();
    p.blur_um = 40.0;
    assert_int_equal(kb_render_params_check(&p, NULL), KB_E_USAGE);
    p = kb_render_params_default();
    p.scratches_per_mm2 = 1e5; /* times 1200 mm2 */
    p.width = p.height = 16000;
    p.px_um = 2.0;
    assert_int_equal(kb_render_params_check(&p, NULL), KB_E_USAGE);
    p = kb_render_params_default();
    p.nodule_um = 0.5; /* some million particles */
    p.nodules_per_mm2 = 500000.0;
    p.width = p.height = 8000;
    struct kb_render r;
    struct kb_err err = {0};
    assert_int_equal(kb_render_draw(&p, &r, &err), KB_E_USAGE);
    assert_null(r.grey.px);
    assert_null(r.truth.particle);
}

static void any_failed_allocation_leaves_nothing_behind(void **state) {
    (void)state;
    omp_set_num_threads(1);
    for (int layout = 0; layout < 3; layout++) {
        struct kb_render_params p = small(70, 50);
        p.px_um = 2.0;
        p.bulls_eye = layout == 0;
        p.pearlite_of_matrix = layout == 2 ? 0.9 : 0.5;
        for (size_t n = 1;; n++) {
            struct kb_render r;
            struct kb_err err = {0};
            fail_alloc_at(n);
            enum kb_status status = kb_render_draw(&p, &r, &err);
            bool failed = fail_alloc_happened() != 0;
            if (status == KB_OK) {
                kb_render_release(&r);
            }
            assert_int_equal(fail_alloc_open_blocks(), 0);
            fail_alloc_at(0);
            assert_int_equal(status, failed ? KB_E_MEMORY : KB_OK);
            if (!failed) {
                assert_true(n > 15);
                break;
            }
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(extremes_are_drawn),
        cmocka_unit_test(extreme_scales_are_drawn),
        cmocka_unit_test(one_phase_asked_for_is_one_phase_drawn),
        cmocka_unit_test(without_graphite_nodularity_is_not_a_number),
        cmocka_unit_test(params_out_of_range_are_refused_by_name),
        cmocka_unit_test(params_that_contradict_each_other_are_refused),
        cmocka_unit_test(any_failed_allocation_leaves_nothing_behind),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
