/* test_form_margin.c - the distance to the next form, against kb_form_classify() itself: going that
 * far changes the form, going a little less far in no figure does. */
#include "kb_cmocka.h"

#include "keelblock/morphology.h"

#include <math.h>
#include <string.h>

static const char *const name[4] = {"shape factor", "solidity", "aspect", "circularity"};

struct figures {
    double value[4];
};

static enum kb_form form_of(const struct figures *f) {
    return kb_form_classify(f->value[0], f->value[1], f->value[2], f->value[3]);
}

static double margin_of(const struct figures *f, const char **which) {
    return kb_form_margin(f->value[0], f->value[1], f->value[2], f->value[3], which);
}

static int moved_by(const char *which) {
    for (int i = 0; i < 4; i++) {
        if (strcmp(which, name[i]) == 0) {
            return i;
        }
    }
    fail();
    return 0;
}

static bool changes(const struct figures *from, int moved, double by) {
    struct figures f = *from;
    f.value[moved] += by;
    const double low = moved == 2 ? 1.0 : 0.0;
    const double high = moved == 2 ? 20.0 : 1.0;
    return f.value[moved] >= low && f.value[moved] <= high && form_of(&f) != form_of(from);
}

static double random_share(uint64_t *seed) {
    *seed = *seed * 6364136223846793005u + 1442695040888963407u;
    return (double)(*seed >> 11) / 9007199254740992.0;
}

static void the_named_figure_moved_that_far_changes_the_form_and_no_other_sooner(void **state) {
    (void)state;
    const double precision = 1e-4; /* as promised */
    uint64_t seed = 3;
    for (int n = 0; n < 2000; n++) {
        const struct figures f = {{random_share(&seed), random_share(&seed),
                                   1.0 + 5.0 * random_share(&seed), random_share(&seed)}};
        const char *which = NULL;
        const double margin = margin_of(&f, &which);
        assert_true(margin > 0.0);
        const int moved = moved_by(which);
        assert_true(changes(&f, moved, margin + precision) ||
                    changes(&f, moved, -margin - precision));
        for (int i = 0; i < 4; i++) {
            for (double by = 0.0; by < margin - precision; by += 0.01) {
                assert_false(changes(&f, i, by));
                assert_false(changes(&f, i, -by));
            }
        }
    }
}

/* The cut of form VI at a shape factor of 0.625 is ISO 16112's, from memory (form.c). */
static void a_nodule_just_above_the_cut_is_near_it_in_shape_factor(void **state) {
    (void)state;
    const char *which = NULL;
    assert_near(kb_form_margin(0.640, 0.98, 1.2, 0.95, &which), 0.015, 1e-4);
    assert_string_equal(which, "shape factor");
    assert_near(kb_form_margin(0.615, 0.98, 1.2, 0.95, NULL), 0.010, 1e-4);
}

static void figures_that_are_none_have_no_margin(void **state) {
    (void)state;
    const char *which = "something";
    assert_true(isnan(kb_form_margin((double)NAN, 0.9, 1.2, 0.9, &which)));
    assert_null(which);
    assert_true(isnan(kb_form_margin(0.9, 0.9, (double)INFINITY, 0.9, &which)));
}

static void the_ends_of_the_scale_are_no_trouble(void **state) {
    (void)state;
    const char *which = NULL;
    assert_near(kb_form_margin(1.0, 1.0, 1.0, 1.0, &which), 0.08, 1e-4); /* solidity 0.92 */
    assert_string_equal(which, "solidity");
    assert_true(kb_form_margin(0.0, 0.0, 25.0, 0.0, NULL) > 0.0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_named_figure_moved_that_far_changes_the_form_and_no_other_sooner),
        cmocka_unit_test(a_nodule_just_above_the_cut_is_near_it_in_shape_factor),
        cmocka_unit_test(figures_that_are_none_have_no_margin),
        cmocka_unit_test(the_ends_of_the_scale_are_no_trouble),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
