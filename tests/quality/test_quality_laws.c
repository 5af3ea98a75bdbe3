/* test_quality_laws.c - a field turned or mirrored is as fit as before, and looking changes
 * nothing.
 */
#include "plate.h"

#include "kb_cmocka.h"

#include <string.h>

static const double pi = 3.14159265358979323846;

static void draw(struct plate *plate) {
    struct kb_render_params params = kb_render_params_default();
    params.seed = 61;
    params.width = 900;
    params.height = 700;
    params.scratches_per_mm2 = 60.0;
    params.fall_off = 0.25;
    params.blur_um = 0.6;
    params.noise = 6.0;
    plate_drawn(&params, KB_DUCTILE_IRON, plate);
}

/* Rows, columns and tiles are taken elsewhere, so figures agree closely, not to the last digit. */
static void expect_alike(const struct kb_quality *a, const struct kb_quality *b) {
    for (int i = 0; i < KB_CHECKS; i++) {
        const struct kb_check_result *p = &a->check[i], *q = &b->check[i];
        double near = i == KB_CHECK_SCRATCHES || i == KB_CHECK_PULL_OUT ? 0.25 : 0.05;
        assert_int_equal(p->looked, q->looked);
        if (p->looked && !(fabs(p->value - q->value) <= near * fabs(p->value) + 1.0)) {
            fail_msg("%s: %g and %g", kb_check_name((enum kb_check)i), p->value, q->value);
        }
        assert_int_equal(p->fitness, q->fitness);
    }
}

static void a_turned_field_is_as_fit_and_its_scratches_turn_with_it(void **state) {
    (void)state;
    struct plate plate;
    draw(&plate);
    struct kb_quality before = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT);
    plate_turn(&plate);
    struct kb_quality after = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT);
    expect_alike(&before, &after);
    assert_true(before.scratch_families > 0);
    double d = fmod(after.scratch[0].angle - before.scratch[0].angle + 2.0 * pi, pi);
    assert_near(d, pi / 2.0, 0.1);
    plate_release(&plate);
}

static void a_mirrored_field_is_as_fit_and_its_scratches_are_mirrored(void **state) {
    (void)state;
    struct plate plate;
    draw(&plate);
    struct kb_quality before = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT);
    plate_mirror(&plate);
    struct kb_quality after = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT);
    expect_alike(&before, &after);
    double d = fmod(after.scratch[0].angle + before.scratch[0].angle, pi);
    assert_near(fmin(d, pi - d), 0.0, 0.1);
    plate_release(&plate);
}

static void looking_twice_gives_the_same_to_the_last_digit_and_changes_nothing(void **state) {
    (void)state;
    struct plate plate, kept;
    draw(&plate);
    draw(&kept);
    struct kb_quality one = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT);
    struct kb_quality two = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT);
    for (int i = 0; i < KB_CHECKS; i++) {
        assert_true(one.check[i].value == two.check[i].value ||
                    (isnan(one.check[i].value) && isnan(two.check[i].value)));
        assert_string_equal(one.check[i].says, two.check[i].says);
    }
    for (int32_t y = 0; y < plate.field.grey.height; y++) {
        assert_memory_equal(kb_row(&plate.field.grey, y), kb_row(&kept.field.grey, y),
                            (size_t)plate.field.grey.width);
        assert_memory_equal(kb_row(&plate.map.label, y), kb_row(&kept.map.label, y),
                            (size_t)plate.map.label.width);
    }
    plate_release(&plate);
    plate_release(&kept);
}

static void the_worst_check_is_the_fitness_of_the_field(void **state) {
    (void)state;
    struct plate plate;
    draw(&plate);
    struct kb_quality q = plate_look(&plate, KB_DUCTILE_IRON, KB_LIGHT);
    enum kb_fitness worst = KB_FIT;
    for (int i = 0; i < KB_CHECKS; i++) {
        worst = q.check[i].fitness > worst ? q.check[i].fitness : worst;
        assert_int_equal(strlen(q.check[i].advice) > 0, q.check[i].fitness != KB_FIT);
        assert_true(strlen(q.check[i].says) > 0);
        assert_non_null(q.check[i].unit);
    }
    assert_int_equal(q.fitness, worst);
    plate_release(&plate);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_turned_field_is_as_fit_and_its_scratches_turn_with_it),
        cmocka_unit_test(a_mirrored_field_is_as_fit_and_its_scratches_are_mirrored),
        cmocka_unit_test(looking_twice_gives_the_same_to_the_last_digit_and_changes_nothing),
        cmocka_unit_test(the_worst_check_is_the_fitness_of_the_field),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
