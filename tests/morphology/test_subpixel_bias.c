/* test_subpixel_bias.c - discs and ellipses by their sub-pixel outline, against geometry.
 *
 * The goals: mean bias of the shape factor at most 0.01, of area and Feret diameters 0.5 %, of the
 * perimeter 1 %, for shapes from 8 px on. They hold, to a tenth, where the narrow side is at least
 * 6 px across; below, a looser bound is stated. A mean over 60 shapes is known to s / sqrt(60):
 * twice that is allowed on top. All rows, and the pixel rules beside them: refs/subpixel_bias.csv,
 * which subpixel_bias.c prints.
 */
#include "kb_cmocka.h"

#include "bias_cell.h"

#define SHAPES 60

static void assert_goal(const struct bias_kind *kind, double slack) {
    static const double goal[BIASES] = {
        [BIAS_AREA] = 0.005,      [BIAS_FERET_MAX] = 0.005, [BIAS_FERET_MIN] = 0.005,
        [BIAS_PERIMETER] = 0.010, [BIAS_SHAPE] = 0.010,
    };
    struct bias outline, pixels;
    double outlined = 0.0;
    uint64_t seed = 17;
    bias_measure(kind, SHAPES, &seed, &outline, &pixels, &outlined);
    assert_near(outlined, 1.0, 1e-9);
    for (int i = 0; i < BIASES; i++) {
        double allowed = slack * goal[i] + 2.0 * outline.s[i] / sqrt((double)SHAPES);
        if (!(fabs(outline.mean[i]) <= allowed)) {
            fail_msg("figure %d of ratio %g, %g px, blur %g, noise %g is off by %g, allowed %g", i,
                     kind->axis_ratio, kind->d_px, kind->blur_px, kind->noise, outline.mean[i],
                     allowed);
        }
    }
    /* and it is far nearer than the pixel rules where those are said to lean */
    assert_true(fabs(outline.mean[BIAS_SHAPE]) < 0.5 * fabs(pixels.mean[BIAS_SHAPE]) + 0.002);
}

static void discs_and_ellipses_meet_the_goals(void **state) {
    (void)state;
    static const struct bias_kind kind[] = {
        {1.0, 8.0, 0.5, 0.0},  {1.0, 8.0, 1.0, 5.0},  {0.8, 8.0, 0.7, 2.0},  {1.0, 10.0, 0.5, 5.0},
        {0.8, 10.0, 1.0, 5.0}, {0.6, 10.0, 0.7, 2.0}, {1.0, 14.0, 1.0, 0.0}, {0.6, 14.0, 1.0, 5.0},
        {0.6, 20.0, 0.5, 0.0}, {0.4, 20.0, 0.7, 2.0}, {1.0, 30.0, 1.0, 5.0}, {0.3, 30.0, 0.5, 5.0},
        {0.6, 30.0, 1.0, 0.0},
    };
    for (size_t i = 0; i < sizeof kind / sizeof kind[0]; i++) {
        assert_goal(&kind[i], 1.0);
    }
}

/* Two to six pixels wide: no more is known than the blur lets through. */
static void narrow_ellipses_stay_within_four_times_the_goals(void **state) {
    (void)state;
    static const struct bias_kind kind[] = {
        {0.6, 8.0, 0.5, 0.0},  {0.4, 8.0, 0.7, 2.0},  {0.6, 8.0, 1.0, 5.0},
        {0.3, 10.0, 0.5, 0.0}, {0.4, 10.0, 1.0, 5.0}, {0.3, 14.0, 0.7, 2.0},
    };
    for (size_t i = 0; i < sizeof kind / sizeof kind[0]; i++) {
        assert_goal(&kind[i], 4.0);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(discs_and_ellipses_meet_the_goals),
        cmocka_unit_test(narrow_ellipses_stay_within_four_times_the_goals),
    };
    return cmocka_run_group_tests_name("subpixel bias", tests, NULL, NULL);
}
