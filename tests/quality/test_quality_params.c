/* test_quality_params.c - names, limits that are refused, fields that do not fit their map, memory.
 */
#include "plate.h"

#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "quality_priv.h"

#include <string.h>

static struct kb_quality_params defaults(void) {
    return kb_quality_params_default(KB_DUCTILE_IRON, KB_LIGHT);
}

static void every_check_has_its_own_name_and_words(void **state) {
    (void)state;
    for (int i = 0; i < KB_CHECKS; i++) {
        assert_string_not_equal(kb_check_name((enum kb_check)i), "unknown");
        assert_true(strlen(kb_check_words((enum kb_check)i)) > strlen("focus"));
        for (int k = 0; k < i; k++) {
            assert_string_not_equal(kb_check_name((enum kb_check)i),
                                    kb_check_name((enum kb_check)k));
        }
    }
    assert_string_equal(kb_check_name(KB_CHECKS), "unknown");
    assert_string_equal(kb_fitness_name(KB_FIT), "fit");
    assert_string_equal(kb_fitness_name(KB_USABLE), "usable");
    assert_string_equal(kb_fitness_name(KB_NOT_FIT), "not-fit");
}

/* A caution that is cut short is none. */
static void all_advice_fits_where_it_is_kept(void **state) {
    (void)state;
    struct kb_quality quality = {.crossed = false};
    struct kb_look look = {.out = &quality};
    for (int contrast = 0; contrast <= KB_SEM; contrast++) {
        for (int i = 0; i < 4 * KB_CHECKS; i++) {
            struct kb_check_result *check = &quality.check[i / 4];
            look.contrast = (enum kb_contrast)contrast;
            quality.crossed = i % 2 == 1;
            check->fitness = i % 4 < 2 ? KB_USABLE : KB_NOT_FIT;
            const char *advice = kb_quality_advice(&look, (enum kb_check)(i / 4));
            assert_true(strlen(advice) > 0 && strlen(advice) < sizeof check->advice);
        }
    }
}

static void expect_refused(const struct kb_quality_params *params, const char *subject) {
    struct kb_err err = {0};
    assert_int_equal(kb_quality_params_check(params, &err), KB_E_USAGE);
    assert_string_equal(err.stage, "quality");
    assert_string_equal(err.subject, subject);
}

static void limits_that_are_no_limits_are_refused(void **state) {
    (void)state;
    static const double wrong[] = {NAN, INFINITY, -INFINITY};
    struct kb_quality_params params = defaults();
    assert_int_equal(kb_quality_params_check(&params, NULL), KB_OK);
    for (int c = 0; c < KB_CHECKS; c++) {
        for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
            params = defaults();
            params.warn[c] = wrong[i];
            expect_refused(&params, kb_check_name((enum kb_check)c));
            params = defaults();
            params.unfit[c] = wrong[i];
            expect_refused(&params, kb_check_name((enum kb_check)c));
        }
        params = defaults();
        params.warn[c] = defaults().unfit[c];
        params.unfit[c] = defaults().warn[c];
        expect_refused(&params, kb_check_name((enum kb_check)c));
        params.warn[c] = params.unfit[c] = KB_NO_LIMIT;
        assert_int_equal(kb_quality_params_check(&params, NULL), KB_OK);
    }
    params = defaults();
    params.min_feret_um = NAN;
    expect_refused(&params, "min_feret_um");
    params.min_feret_um = 0.0;
    expect_refused(&params, "min_feret_um");
    params = defaults();
    params.grain_per_width = INFINITY;
    expect_refused(&params, "grain_per_width");
}

static void a_limit_that_is_switched_off_never_fires(void **state) {
    (void)state;
    struct plate plate;
    struct kb_quality q;
    plate_make(300, 300, 255, KB_MATRIX, &plate);
    struct kb_quality_params params = defaults();
    params.warn[KB_CHECK_SATURATION] = params.unfit[KB_CHECK_SATURATION] = KB_NO_LIMIT;
    assert_int_equal(kb_quality_run(&plate.field, &plate.map, KB_DUCTILE_IRON, KB_LIGHT_UNETCHED,
                                    &params, &q, NULL),
                     KB_OK);
    assert_int_equal(q.check[KB_CHECK_SATURATION].fitness, KB_FIT);
    assert_true(isnan(q.check[KB_CHECK_SATURATION].unfit));
    assert_near(q.check[KB_CHECK_SATURATION].value, 100.0, 0.0);
    plate_release(&plate);
}

static void a_map_of_another_field_is_refused(void **state) {
    (void)state;
    struct plate one, other;
    struct kb_quality q;
    struct kb_quality_params params = defaults();
    plate_make(300, 200, 200, KB_MATRIX, &one);
    plate_make(200, 300, 200, KB_MATRIX, &other);
    assert_int_equal(
        kb_quality_run(&one.field, &other.map, KB_DUCTILE_IRON, KB_LIGHT, &params, &q, NULL),
        KB_E_USAGE);
    plate_release(&one);
    plate_release(&other);
}

static void tiny_and_wholly_excluded_fields_are_looked_at_without_harm(void **state) {
    (void)state;
    static const int32_t side[] = {1, 2, 3, 7, 16, 33, 40};
    for (size_t i = 0; i < sizeof side / sizeof *side; i++) {
        for (size_t k = 0; k < sizeof side / sizeof *side; k++) {
            for (int phase = KB_EXCLUDED; phase < KB_PHASES; phase++) {
                struct plate plate;
                plate_make(side[i], side[k], 100, (enum kb_phase)phase, &plate);
                struct kb_quality q = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT);
                assert_int_equal(q.scratch_families, 0);
                assert_false(q.check[KB_CHECK_FOCUS].looked);
                plate_release(&plate);
            }
        }
    }
}

static void every_failed_allocation_is_reported_and_nothing_is_left(void **state) {
    (void)state;
    struct plate plate;
    struct kb_quality_params params = defaults();
    plate_make(400, 300, 200, KB_MATRIX, &plate);
    plate_nodules(&plate, 1.0);
    plate_scratch(&plate, 0.5, 30.0, 2.5, 40.0);
    plate_scratch(&plate, 2.0, 10.0, 2.5, 40.0);
    size_t n = 1;
    for (; n < 500; n++) {
        struct kb_quality q;
        struct kb_err err = {0};
        fail_alloc_at(n);
        enum kb_status status = kb_quality_run(&plate.field, &plate.map, KB_DUCTILE_IRON,
                                               KB_LIGHT_UNETCHED, &params, &q, &err);
        bool failed = fail_alloc_happened();
        long open = fail_alloc_open_blocks();
        fail_alloc_at(0);
        assert_int_equal(open, 0);
        if (!failed) {
            assert_int_equal(status, KB_OK);
            break;
        }
        assert_int_equal(status, KB_E_MEMORY);
        assert_int_equal(err.code, KB_E_MEMORY);
        assert_int_equal(q.check[0].looked, false); /* no partial result */
    }
    assert_true(n > 10 && n < 500);
    plate_release(&plate);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_check_has_its_own_name_and_words),
        cmocka_unit_test(all_advice_fits_where_it_is_kept),
        cmocka_unit_test(limits_that_are_no_limits_are_refused),
        cmocka_unit_test(a_limit_that_is_switched_off_never_fires),
        cmocka_unit_test(a_map_of_another_field_is_refused),
        cmocka_unit_test(tiny_and_wholly_excluded_fields_are_looked_at_without_harm),
        cmocka_unit_test(every_failed_allocation_is_reported_and_nothing_is_left),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
