/* test_touching.c - the check behind the particles: what parting is unsure of. */
#include "keelblock/quality.h"

#include "kb_cmocka.h"

#include <string.h>

static struct kb_quality judged(double wrong, double share, double area_share) {
    struct kb_quality_params params = kb_quality_params_default(KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
    struct kb_quality quality = {.fitness = KB_FIT};
    kb_quality_touching(wrong, share, area_share, &params, &quality);
    return quality;
}

static void the_worse_of_number_and_area_is_judged(void **state) {
    (void)state;
    static const struct {
        double share, area_share;
        enum kb_fitness fitness;
    } row[] = {
        {0.000, 0.000, KB_FIT},    {0.014, 0.014, KB_FIT},     {0.016, 0.000, KB_USABLE},
        {0.000, 0.016, KB_USABLE}, {0.041, 0.000, KB_NOT_FIT}, {0.010, 0.090, KB_NOT_FIT},
    };
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        struct kb_quality quality = judged(5.0, row[i].share, row[i].area_share);
        const struct kb_check_result *check = &quality.check[KB_CHECK_TOUCHING];
        assert_true(check->looked);
        assert_int_equal(check->fitness, row[i].fitness);
        assert_near(check->value, 100.0 * fmax(row[i].share, row[i].area_share), 1e-9);
        assert_int_equal(check->advice[0] == '\0', row[i].fitness == KB_FIT);
    }
}

/* Of twelve particles one in doubt by half is 4 %, and no reason to leave them out. */
static void less_than_one_particle_is_no_reason_to_leave_a_field_out(void **state) {
    (void)state;
    struct kb_quality few = judged(0.5, 0.045, 0.045);
    struct kb_quality more = judged(1.1, 0.045, 0.045);
    assert_int_equal(few.check[KB_CHECK_TOUCHING].fitness, KB_USABLE);
    assert_int_equal(more.check[KB_CHECK_TOUCHING].fitness, KB_NOT_FIT);
}

static void a_field_of_clusters_stays_usable_for_its_phases(void **state) {
    (void)state;
    struct kb_quality quality = judged(9.0, 0.2, 0.2);
    assert_int_equal(quality.check[KB_CHECK_TOUCHING].fitness, KB_NOT_FIT);
    assert_int_equal(quality.fitness, KB_USABLE);
}

static void what_was_found_before_is_kept(void **state) {
    (void)state;
    struct kb_quality_params params = kb_quality_params_default(KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
    struct kb_quality quality = {.fitness = KB_NOT_FIT};
    quality.check[KB_CHECK_FOCUS].fitness = KB_NOT_FIT;
    kb_quality_touching(0.0, 0.0, 0.0, &params, &quality);
    assert_int_equal(quality.fitness, KB_NOT_FIT);
    quality.check[KB_CHECK_FOCUS].fitness = KB_USABLE;
    kb_quality_touching(0.0, 0.0, 0.0, &params, &quality);
    assert_int_equal(quality.fitness, KB_USABLE);
}

static void a_limit_can_be_lifted(void **state) {
    (void)state;
    struct kb_quality_params params = kb_quality_params_default(KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
    params.warn[KB_CHECK_TOUCHING] = params.unfit[KB_CHECK_TOUCHING] = KB_NO_LIMIT;
    struct kb_quality quality = {.fitness = KB_FIT};
    kb_quality_touching(50.0, 0.5, 0.5, &params, &quality);
    assert_int_equal(quality.fitness, KB_FIT);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_worse_of_number_and_area_is_judged),
        cmocka_unit_test(less_than_one_particle_is_no_reason_to_leave_a_field_out),
        cmocka_unit_test(a_field_of_clusters_stays_usable_for_its_phases),
        cmocka_unit_test(what_was_found_before_is_kept),
        cmocka_unit_test(a_limit_can_be_lifted),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
