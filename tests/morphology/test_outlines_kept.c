/* test_outlines_kept.c - outlines that are kept for drawing are the lines that the figures come
 * from: their polygons have the particles' areas and largest diameters, and asking for them changes
 * nothing.
 */
#include "kb_cmocka.h"

#include "canvas.h"
#include "fail_alloc.h"

#include <math.h>

/* Ellipses side by side, one with a bright spot too large to be filled, one cut by the frame. */
static struct kb_image picture(void) {
    uint64_t seed = 3;
    struct canvas canvas = canvas_blank(240, 160, 205.0);
    const struct ellipse dark[] = {{{40.0, 50.0}, 22.0, 15.0, 0.4},
                                   {{100.0, 60.0}, 8.0, 5.0, 1.2},
                                   {{180.0, 80.0}, 34.0, 30.0, 0.0},
                                   {{120.0, 158.0}, 14.0, 12.0, 0.0}};
    for (size_t i = 0; i < sizeof dark / sizeof dark[0]; i++) {
        canvas_add(&canvas, &dark[i], 60.0, 0.8);
    }
    const struct ellipse bright = {{180.0, 80.0}, 22.0, 20.0, 0.0};
    canvas_add(&canvas, &bright, 205.0, 0.8);
    struct kb_image image = canvas_expose(&canvas, 2.0, &seed);
    canvas_release(&canvas);
    return image;
}

static struct kb_morphology_params rules(bool keep) {
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    params.min_feret_um = 0.0;
    params.hole_share = 0.1;
    params.keep_outlines = keep;
    return params;
}

static struct kb_particles measure(const struct kb_image *image, bool keep) {
    struct kb_phase_map map = map_below(image, 130.0);
    const struct kb_morphology_params params = rules(keep);
    struct kb_particles particles = measured_with(&map, image, 0.5, &params);
    kb_phase_map_release(&map);
    return particles;
}

static double area_of(const struct kb_outline_point *point, size_t count) {
    double twice = 0.0;
    for (size_t i = 0; i < count; i++) {
        const struct kb_outline_point a = point[i];
        const struct kb_outline_point b = point[(i + 1) % count];
        twice += (double)a.x * (double)b.y - (double)b.x * (double)a.y;
    }
    return 0.5 * twice; /* a hole runs the other way about */
}

static double widest(const struct kb_outline_point *point, size_t count) {
    double most = 0.0;
    for (size_t i = 0; i < count; i++) {
        for (size_t k = 0; k < i; k++) {
            most = fmax(most, hypot((double)point[i].x - (double)point[k].x,
                                    (double)point[i].y - (double)point[k].y));
        }
    }
    return most;
}

static void kept_lines_have_the_areas_and_lengths_of_their_particles(void **state) {
    (void)state;
    struct kb_image image = picture();
    struct kb_particles p = measure(&image, true);
    assert_int_equal(p.count, 4);
    assert_int_equal(p.outlines, 4); /* three borders, one hole; none where the frame cuts */
    for (size_t i = 0; i < p.count; i++) {
        double area = 0.0;
        double longest = 0.0;
        size_t lines = 0;
        for (size_t k = 0; k < p.outlines; k++) {
            if (p.outline[k].particle == p.particle[i].id) {
                const struct kb_outline_point *point = p.outline_point + p.outline[k].first;
                area += area_of(point, p.outline[k].count);
                longest = fmax(longest, widest(point, p.outline[k].count));
                lines++;
            }
        }
        assert_int_equal(lines > 0, p.particle[i].subpixel);
        if (lines > 0) {
            /* chords of about 1 px on a radius of 5 px: 0.7 % less than the curve, 0.3 % shorter */
            assert_near(area, p.particle[i].area_px2, 0.01 * p.particle[i].area_px2);
            assert_near(longest, p.particle[i].feret_max_px, 0.01 * p.particle[i].feret_max_px);
        }
    }
    kb_particles_drop_runs(&p);
    assert_int_equal(p.outlines, 0);
    assert_null(p.outline);
    kb_particles_release(&p);
    kb_image_release(&image);
}

static void keeping_them_changes_no_figure(void **state) {
    (void)state;
    struct kb_image image = picture();
    struct kb_particles with = measure(&image, true);
    struct kb_particles without = measure(&image, false);
    assert_int_equal(without.outlines, 0);
    for (size_t i = 0; i < with.count; i++) {
        assert_near(with.particle[i].area_px2, without.particle[i].area_px2, 0.0);
        assert_near(with.particle[i].feret_max_px, without.particle[i].feret_max_px, 0.0);
    }
    kb_particles_release(&with);
    kb_particles_release(&without);
    kb_image_release(&image);
}

static void every_failed_allocation_is_reported_and_nothing_leaks(void **state) {
    (void)state;
    struct kb_image image = picture();
    struct kb_phase_map map = map_below(&image, 130.0);
    const struct kb_morphology_params params = rules(true);
    const long before = fail_alloc_open_blocks();
    bool happened = true;
    for (size_t n = 1; happened; n++) {
        struct kb_particles p;
        fail_alloc_at(n);
        enum kb_status status = kb_morphology_run(&map, &image, 0.5, &params, &p, NULL);
        happened = fail_alloc_happened() != 0;
        assert_int_equal(status, happened ? KB_E_MEMORY : KB_OK);
        kb_particles_release(&p);
        assert_int_equal(fail_alloc_open_blocks(), before);
        fail_alloc_at(0);
    }
    kb_phase_map_release(&map);
    kb_image_release(&image);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(kept_lines_have_the_areas_and_lengths_of_their_particles),
        cmocka_unit_test(keeping_them_changes_no_figure),
        cmocka_unit_test(every_failed_allocation_is_reported_and_nothing_leaks),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
