/* Outlines, their measures and their cover, against formulas of plane geometry. */
#include "render_priv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "render_near.h"

#define PI 3.14159265358979323846

enum { N = KB_OUTLINE_POINTS };

/* Ellipse with half axes a, b, its long axis turned; regular in the parameter. */
static void make_ellipse(double x, double y, double a, double b, double turned,
                         struct kb_point point[N]) {
    double tc = cos(turned), ts = sin(turned);
    for (int i = 0; i < N; i++) {
        double u = a * cos(2.0 * PI * i / N), v = b * sin(2.0 * PI * i / N);
        point[i] = (struct kb_point){x + u * tc - v * ts, y + u * ts + v * tc};
    }
}

static struct kb_outline_measures measure(const struct kb_point *point, size_t n) {
    struct kb_point hull[KB_HULL_ROOM];
    struct kb_outline_measures m;
    kb_outline_measure(point, n, hull, &m);
    return m;
}

/* A polygon of N vertices on a circle: area N/2 r^2 sin(2 pi/N), perimeter 2 N r sin(pi/N). */
static void regular_polygon_has_its_closed_form_measures(void **state) {
    (void)state;
    struct kb_point point[N];
    make_ellipse(31.7, -4.2, 17.3, 17.3, 0.3, point);
    struct kb_outline_measures m = measure(point, N);
    assert_near(m.area, N / 2.0 * 17.3 * 17.3 * sin(2.0 * PI / N), 1e-9);
    assert_near(m.perimeter, 2.0 * N * 17.3 * sin(PI / N), 1e-9);
    assert_near(m.feret_max, 2.0 * 17.3, 1e-9); /* N is even: opposite vertices */
    assert_near(m.feret_min, 2.0 * 17.3 * cos(PI / N), 1e-9);
    assert_near(m.x, 31.7, 1e-9);
    assert_near(m.y, -4.2, 1e-9);
    assert_true(m.shape_factor < 1.0 && m.shape_factor > 0.999);
}

static void ellipse_has_its_axes_as_feret_diameters_at_any_angle(void **state) {
    (void)state;
    struct kb_point point[N];
    for (int k = 0; k < 40; k++) {
        make_ellipse(0.0, 0.0, 23.1, 9.7, 0.081 * k, point);
        struct kb_outline_measures m = measure(point, N);
        assert_near(m.feret_max, 46.2, 1e-9);
        assert_near(m.feret_min, 19.4, 19.4 * 2e-3); /* chord of 1/160 of the turn */
        assert_near(m.shape_factor, 9.7 / 23.1, 1e-3);
    }
}

/* Rectangle a x b: diagonal, short side, area, perimeter by hand; a notch changes only the last
 * two. */
static void notched_rectangle_is_measured_by_its_hull(void **state) {
    (void)state;
    const struct kb_point rectangle[] = {{0, 0}, {12, 0}, {12, 5}, {0, 5}};
    const struct kb_point notched[] = {{0, 0}, {12, 0}, {12, 5}, {7, 5}, {6, 2}, {5, 5}, {0, 5}};
    struct kb_outline_measures m = measure(rectangle, 4);
    assert_near(m.feret_max, 13.0, 1e-12);
    assert_near(m.feret_min, 5.0, 1e-12);
    assert_near(m.area, 60.0, 1e-12);
    assert_near(m.perimeter, 34.0, 1e-12);
    m = measure(notched, 7);
    assert_near(m.feret_max, 13.0, 1e-12);
    assert_near(m.feret_min, 5.0, 1e-12);
    assert_near(m.area, 57.0, 1e-12); /* less a triangle of base 2 and height 3 */
    assert_near(m.perimeter, 32.0 + 2.0 * sqrt(10.0), 1e-12);
}

static void measures_do_not_depend_on_the_sense_of_turning(void **state) {
    (void)state;
    struct kb_point point[N], back[N];
    make_ellipse(5.0, 5.0, 20.0, 8.0, 0.7, point);
    for (int i = 0; i < N; i++) {
        back[i] = point[N - 1 - i];
    }
    struct kb_outline_measures a = measure(point, N), b = measure(back, N);
    assert_near(a.area, b.area, 1e-9);
    assert_near(a.x, b.x, 1e-9);
    assert_near(a.feret_max, b.feret_max, 1e-12);
    assert_near(a.feret_min, b.feret_min, 1e-12);
}

static double share_of(struct kb_cover *cover, int32_t width, int32_t height,
                       struct kb_image *image) {
    double share = -1.0;
    assert_int_equal(kb_cover_draw(cover, width, height, image, &share, NULL), KB_OK);
    return share;
}

static void cover_of_a_disc_is_its_area(void **state) {
    (void)state;
    struct kb_point point[N];
    for (int k = 0; k < 20; k++) {
        struct kb_cover cover = {0};
        make_ellipse(30.0 + 0.137 * k, 29.0 + 0.211 * k, 17.3, 17.3, 0.1 * k, point);
        assert_int_equal(kb_cover_add(&cover, point, N, 1.0, NULL), KB_OK);
        double area = share_of(&cover, 64, 64, NULL) * 64.0 * 64.0;
        /* eight lines a pixel: the error of the midpoint rule at both ends is below 0.05 % */
        assert_near(area / measure(point, N).area, 1.0, 5e-4);
        kb_cover_release(&cover);
    }
}

/* A rectangle from 1/8 steps down and any x across is covered exactly to 1/256 of a pixel. */
static void cover_of_a_rectangle_is_exact_in_each_pixel(void **state) {
    (void)state;
    const struct kb_point rectangle[] = {{1.25, 1.5}, {3.75, 1.5}, {3.75, 3.25}, {1.25, 3.25}};
    struct kb_image image;
    struct kb_cover cover = {0};
    assert_int_equal(kb_image_alloc(5, 5, &image, NULL), KB_OK);
    assert_int_equal(kb_cover_add(&cover, rectangle, 4, 1.0, NULL), KB_OK);
    assert_near(share_of(&cover, 5, 5, &image), 2.5 * 1.75 / 25.0, 1e-12);
    assert_int_equal(kb_row(&image, 2)[2], 255);
    assert_int_equal(kb_row(&image, 2)[1], 191); /* 0.75 of 255, rounded */
    assert_int_equal(kb_row(&image, 1)[3], 96);  /* 0.5 x 0.75 */
    assert_int_equal(kb_row(&image, 3)[2], 64);  /* 0.25 */
    assert_int_equal(kb_row(&image, 0)[2], 0);
    assert_int_equal(kb_row(&image, 2)[4], 0);
    kb_image_release(&image);
    kb_cover_release(&cover);
}

static void what_overlaps_counts_once_whichever_way_it_turns(void **state) {
    (void)state;
    const struct kb_point a[] = {{1, 1}, {6, 1}, {6, 6}, {1, 6}};
    const struct kb_point b[] = {{4, 4}, {4, 9}, {9, 9}, {9, 4}}; /* the other way round */
    struct kb_cover cover = {0};
    assert_int_equal(kb_cover_add(&cover, a, 4, 1.0, NULL), KB_OK);
    assert_int_equal(kb_cover_add(&cover, b, 4, 1.0, NULL), KB_OK);
    assert_near(share_of(&cover, 10, 10, NULL), (25.0 + 25.0 - 4.0) / 100.0, 1e-12);
    kb_cover_release(&cover);
}

static void what_lies_outside_the_frame_is_cut_off(void **state) {
    (void)state;
    const struct kb_point square[] = {{-5, -5}, {2.5, -5}, {2.5, 4}, {-5, 4}};
    const struct kb_point away[] = {{20, 20}, {30, 20}, {30, 30}};
    struct kb_cover cover = {0};
    assert_int_equal(kb_cover_add(&cover, square, 4, 1.0, NULL), KB_OK);
    assert_int_equal(kb_cover_add(&cover, away, 3, 1.0, NULL), KB_OK);
    assert_near(share_of(&cover, 10, 10, NULL), 2.5 * 4.0 / 100.0, 1e-12);
    kb_cover_release(&cover);
}

/* By their meaning: nodules count as nodules at 0.6, degenerate graphite does not. */
static void forms_have_the_area_asked_for_and_their_shape_factor(void **state) {
    (void)state;
    static const double least[] = {0.62, 0.0, 0.0, 0.0}, most[] = {1.0, 0.6, 0.6, 0.2};
    for (int shape = KB_SHAPE_NODULE; shape <= KB_SHAPE_FLAKE; shape++) {
        double sum = 0.0;
        for (uint64_t i = 0; i < 200; i++) {
            struct kb_random random = kb_random_start(11, KB_CHANCE_OUTLINE, i);
            struct kb_form form;
            kb_form_draw(&random, (enum kb_shape)shape, 25.0, &form);
            struct kb_outline_measures m = measure(form.point, N);
            assert_near(m.area, PI / 4.0 * 625.0, 1e-6);
            assert_near(m.x, 0.0, 1e-6);
            if (!(m.shape_factor > least[shape] && m.shape_factor < most[shape])) {
                fail_msg("shape %d has shape factor %g", shape, m.shape_factor);
            }
            sum += m.shape_factor;
        }
        if (shape == KB_SHAPE_NODULE) {
            assert_true(sum / 200.0 > 0.8 && sum / 200.0 < 0.92);
        }
    }
}

/* Signed shoelace sum and winding cover agree only when an outline does not cross itself. */
static void round_forms_do_not_cross_themselves(void **state) {
    (void)state;
    for (uint64_t i = 0; i < 60; i++) {
        struct kb_random random = kb_random_start(12, KB_CHANCE_OUTLINE, i);
        struct kb_form form;
        struct kb_cover cover = {0};
        enum kb_shape shape = i % 2 == 0 ? KB_SHAPE_NODULE : KB_SHAPE_IRREGULAR;
        kb_form_draw(&random, shape, 60.0, &form);
        for (int k = 0; k < N; k++) {
            form.point[k].x += 100.0;
            form.point[k].y += 100.0;
        }
        assert_int_equal(kb_cover_add(&cover, form.point, N, 1.0, NULL), KB_OK);
        double area = share_of(&cover, 200, 200, NULL) * 200.0 * 200.0;
        assert_near(area / (PI / 4.0 * 3600.0), 1.0, 1e-3);
        kb_cover_release(&cover);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(regular_polygon_has_its_closed_form_measures),
        cmocka_unit_test(ellipse_has_its_axes_as_feret_diameters_at_any_angle),
        cmocka_unit_test(notched_rectangle_is_measured_by_its_hull),
        cmocka_unit_test(measures_do_not_depend_on_the_sense_of_turning),
        cmocka_unit_test(cover_of_a_disc_is_its_area),
        cmocka_unit_test(cover_of_a_rectangle_is_exact_in_each_pixel),
        cmocka_unit_test(what_overlaps_counts_once_whichever_way_it_turns),
        cmocka_unit_test(what_lies_outside_the_frame_is_cut_off),
        cmocka_unit_test(forms_have_the_area_asked_for_and_their_shape_factor),
        cmocka_unit_test(round_forms_do_not_cross_themselves),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
