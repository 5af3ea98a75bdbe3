/* test_overlay.c - the overlay pixel by pixel, and the PNG read back by libpng. */
#include "sample_result.h"

#include "paint_priv.h"

#include <png.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static const uint8_t *pixel(const struct kb_picture *picture, int32_t x, int32_t y) {
    return picture->rgb + ((size_t)y * (size_t)picture->width + (size_t)x) * 3;
}

static bool is_colour(const uint8_t *px, struct kb_rgb colour) {
    return px[0] == colour.r && px[1] == colour.g && px[2] == colour.b;
}

/* Whether all labels within two pixels are alike. */
static bool is_interior(const struct kb_image *label, int32_t x, int32_t y) {
    for (int32_t dy = -2; dy <= 2; dy++) {
        for (int32_t dx = -2; dx <= 2; dx++) {
            if (kb_row(label, y + dy)[x + dx] != kb_row(label, y)[x]) {
                return false;
            }
        }
    }
    return true;
}

static void tints_follow_the_phase_and_leave_the_micrograph_readable(void **state) {
    (void)state;
    struct sample_field sample;
    struct kb_picture picture;
    size_t seen[KB_PHASES] = {0};
    sample_field_make(3, 400, 300, 0.5, true, &sample);
    assert_int_equal(kb_draw_overlay(&sample.field, &sample.map, NULL, &picture, NULL), KB_OK);
    for (int32_t y = 2; y < 298; y++) {
        for (int32_t x = 2; x < 398; x++) {
            enum kb_phase phase = (enum kb_phase)kb_row(&sample.map.label, y)[x];
            const struct kb_look *look = kb_phase_look(phase);
            if (!is_interior(&sample.map.label, x, y) || kb_hatch_at(look->hatch, x, y, 1)) {
                continue;
            }
            const uint8_t *px = pixel(&picture, x, y);
            for (int c = 0; c < 3; c++) {
                double grey = kb_row(&sample.field.grey, y)[x], share = look->tint / 256.0;
                double wanted = grey * (1.0 - share) + look->rgb[c] * share;
                assert_true(fabs(px[c] - wanted) <= 0.51);
            }
            assert_true(look->tint <= 128); /* more than half of what is seen is the micrograph */
            seen[phase]++;
        }
    }
    assert_true(seen[KB_FERRITE] > 1000 && seen[KB_PEARLITE] > 1000 && seen[KB_EXCLUDED] > 100);
    kb_picture_release(&picture);
    sample_field_release(&sample);
}

static void hatches_darken_and_are_sparse(void **state) {
    (void)state;
    for (int unit = 1; unit <= 4; unit++) {
        for (int hatch = KB_HATCH_RISING; hatch <= KB_HATCH_FALLING; hatch++) {
            size_t ink = 0, all = 0;
            for (int32_t y = 0; y < 132; y++) {
                for (int32_t x = 0; x < 132; x++, all++) {
                    ink += kb_hatch_at((enum kb_hatch)hatch, x, y, unit) ? 1 : 0;
                }
            }
            double share = (double)ink / (double)all;
            assert_true(share > 0.02 && share < 0.2);
        }
    }
}

/* Outline pixels of particle `index`: on the region, a 4-neighbour off it. */
static void outline_colours(const struct sample_field *sample, const struct kb_picture *picture,
                            size_t index, struct kb_rgb colour, size_t *on, size_t *all) {
    const struct kb_runs *runs = &sample->particles.runs;
    *on = *all = 0;
    for (int32_t y = 0; y < runs->height; y++) {
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            if (runs->run[i].region == index) {
                *all += 2;
                *on += is_colour(pixel(picture, runs->run[i].x0, y), colour) ? 1 : 0;
                *on += is_colour(pixel(picture, runs->run[i].x1 - 1, y), colour) ? 1 : 0;
            }
        }
    }
}

/* Counts particles with a solid and with a dashed outline in one drawn field. */
static void check_outlines(uint32_t seed, size_t *solid, size_t *dashed) {
    struct sample_field sample;
    struct kb_picture picture;
    sample_field_make(seed, 800, 600, 0.5, false, &sample);
    assert_int_equal(kb_draw_overlay(&sample.field, &sample.map, &sample.particles, &picture, NULL),
                     KB_OK);
    for (size_t i = 0; i < sample.particles.count; i++) {
        const struct kb_particle *p = &sample.particles.particle[i];
        size_t on = 0, all = 0;
        if (p->feret_max_px < 24.0 || !kb_is_nodule(p)) {
            continue; /* numbers beside small neighbours may cover a pixel */
        }
        outline_colours(&sample, &picture, i, kb_state_mark(p->state)->colour, &on, &all);
        double share = (double)on / (double)all;
        if (p->state == KB_COUNTS) {
            assert_true(share > 0.9);
            (*solid)++;
        } else {
            assert_true(share > 0.25 && share < 0.75);
            (*dashed)++;
        }
    }
    kb_picture_release(&picture);
    sample_field_release(&sample);
}

static void outlines_are_solid_where_particles_count_and_dashed_where_not(void **state) {
    (void)state;
    size_t solid = 0, dashed = 0;
    for (uint32_t seed = 1; seed <= 4; seed++) {
        check_outlines(seed, &solid, &dashed);
    }
    assert_true(solid > 20 && dashed > 2);
}

static int32_t longest_dark_run(const struct kb_picture *picture, int32_t y) {
    int32_t longest = 0, run = 0;
    for (int32_t x = 0; x < picture->width; x++) {
        run = is_colour(pixel(picture, x, y), KB_INK) ? run + 1 : 0;
        longest = run > longest ? run : longest;
    }
    return longest;
}

static void the_scale_bar_is_as_long_as_it_says(void **state) {
    (void)state;
    static const struct {
        double px_um;
        int32_t bar_px; /* a quarter of 800 px at most, of a 1-2-5 length */
    } scale[] = {
        {0.5, 200},  /* 100 um */
        {0.37, 135}, /* 50 um */
        {0.0, 200},  /* no scale: 200 px */
        {2.3, 87},   /* 200 um */
    };
    for (size_t i = 0; i < sizeof scale / sizeof scale[0]; i++) {
        struct sample_field sample;
        struct kb_picture picture;
        int32_t longest = 0;
        sample_field_make(1, 800, 200, scale[i].px_um, true, &sample);
        assert_int_equal(kb_draw_overlay(&sample.field, &sample.map, NULL, &picture, NULL), KB_OK);
        assert_true(picture.height > 200);
        for (int32_t y = 202; y < picture.height; y++) { /* below the strip's upper edge */
            int32_t run = longest_dark_run(&picture, y);
            longest = run > longest ? run : longest;
        }
        assert_int_equal(longest, scale[i].bar_px);
        kb_picture_release(&picture);
        sample_field_release(&sample);
    }
}

static void tiny_and_huge_pictures_are_drawn(void **state) {
    (void)state;
    static const int32_t size[][2] = {{1, 1}, {7, 3}, {40, 2000}, {5200, 30}};
    for (size_t i = 0; i < sizeof size / sizeof size[0]; i++) {
        struct sample_field sample;
        struct kb_picture picture;
        sample_field_make(2, size[i][0], size[i][1], 0.5, false, &sample);
        assert_int_equal(
            kb_draw_overlay(&sample.field, &sample.map, &sample.particles, &picture, NULL), KB_OK);
        assert_int_equal(picture.width, size[i][0]);
        assert_true(picture.height > size[i][1]);
        kb_picture_release(&picture);
        sample_field_release(&sample);
    }
}

static void a_map_of_another_field_is_refused(void **state) {
    (void)state;
    struct sample_field a, b;
    struct kb_picture picture;
    struct kb_err err;
    sample_field_make(1, 80, 60, 0.5, true, &a);
    sample_field_make(1, 81, 60, 0.5, true, &b);
    assert_int_equal(kb_draw_overlay(&a.field, &b.map, NULL, &picture, &err), KB_E_USAGE);
    assert_null(picture.rgb);
    assert_string_equal(err.stage, "report");
    sample_field_release(&a);
    sample_field_release(&b);
}

static void a_written_png_reads_back_pixel_for_pixel_with_its_scale(void **state) {
    (void)state;
    static const char path[] = "overlay_test.png";
    struct sample_field sample;
    struct kb_picture picture;
    sample_field_make(4, 333, 121, 0.37, false, &sample);
    assert_int_equal(kb_draw_overlay(&sample.field, &sample.map, &sample.particles, &picture, NULL),
                     KB_OK);
    assert_int_equal(kb_write_png(path, &picture, 0.37, NULL), KB_OK);
    FILE *file = fopen(path, "rb");
    png_structp png = png_create_read_struct(PNG_LIBPNG_VER_STRING, NULL, NULL, NULL);
    png_infop info = png_create_info_struct(png);
    png_init_io(png, file);
    png_read_png(png, info, PNG_TRANSFORM_IDENTITY, NULL);
    assert_int_equal(png_get_image_width(png, info), picture.width);
    assert_int_equal(png_get_image_height(png, info), picture.height);
    assert_int_equal(png_get_x_pixels_per_meter(png, info), 2702703); /* 1e6 / 0.37 */
    assert_int_equal(png_get_y_pixels_per_meter(png, info), 2702703);
    png_bytepp rows = png_get_rows(png, info);
    for (int32_t y = 0; y < picture.height; y++) {
        assert_memory_equal(rows[y], pixel(&picture, 0, y), (size_t)picture.width * 3);
    }
    png_destroy_read_struct(&png, &info, NULL);
    (void)fclose(file);
    (void)unlink(path);
    kb_picture_release(&picture);
    sample_field_release(&sample);
}

static void a_png_that_cannot_be_written_leaves_nothing(void **state) {
    (void)state;
    struct sample_field sample;
    struct kb_picture picture;
    struct kb_err err;
    sample_field_make(4, 50, 40, 0.5, true, &sample);
    assert_int_equal(kb_draw_overlay(&sample.field, &sample.map, NULL, &picture, NULL), KB_OK);
    assert_int_equal(kb_write_png("no/such/folder/a.png", &picture, 0.5, &err), KB_E_SYSTEM);
    assert_int_equal(access("no", F_OK), -1);
    kb_picture_release(&picture);
    assert_int_equal(kb_write_png("a.png", &picture, 0.5, &err), KB_E_USAGE);
    assert_int_equal(access("a.png", F_OK), -1);
    sample_field_release(&sample);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tints_follow_the_phase_and_leave_the_micrograph_readable),
        cmocka_unit_test(hatches_darken_and_are_sparse),
        cmocka_unit_test(outlines_are_solid_where_particles_count_and_dashed_where_not),
        cmocka_unit_test(the_scale_bar_is_as_long_as_it_says),
        cmocka_unit_test(tiny_and_huge_pictures_are_drawn),
        cmocka_unit_test(a_map_of_another_field_is_refused),
        cmocka_unit_test(a_written_png_reads_back_pixel_for_pixel_with_its_scale),
        cmocka_unit_test(a_png_that_cannot_be_written_leaves_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
