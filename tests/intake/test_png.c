/* test_png.c - PNG of every colour type, depth and interlace, against the samples written. */
#include "kb_cmocka.h"
#include "pictures_to_files.h"

#include <png.h>

enum { WIDTH = 45, HEIGHT = 37 };

static double share(const struct png_spec *spec, uint32_t x, uint32_t y, uint32_t c) {
    return mixed_sample(x, y, c, (uint32_t)spec->bits) / ((1u << spec->bits) - 1.0);
}

static double palette_luma(const struct png_spec *spec, uint32_t x, uint32_t y, double *alpha) {
    uint8_t rgb[3];
    const uint32_t index = mixed_sample(x, y, 0, (uint32_t)spec->bits);
    palette_entry(index, rgb);
    *alpha = spec->clear_palette && index == 1 ? 128.0 / 255.0 : 1.0;
    return luma_of(rgb[0], rgb[1], rgb[2]) / 255.0;
}

/* Luma over white, 0..1. */
static double true_luma(const struct png_spec *spec, uint32_t x, uint32_t y) {
    double alpha = 1.0;
    double luma = share(spec, x, y, 0);
    bool is_key = luma == share(spec, 0, 0, 0);
    if (spec->colour == PNG_COLOR_TYPE_PALETTE) {
        luma = palette_luma(spec, x, y, &alpha);
    } else if ((spec->colour & PNG_COLOR_MASK_COLOR) != 0) {
        is_key = is_key && share(spec, x, y, 1) == share(spec, 0, 0, 1) &&
                 share(spec, x, y, 2) == share(spec, 0, 0, 2);
        luma = luma_of(luma, share(spec, x, y, 1), share(spec, x, y, 2));
    }
    if ((spec->colour & PNG_COLOR_MASK_ALPHA) != 0) {
        alpha = share(spec, x, y, (spec->colour & PNG_COLOR_MASK_COLOR) != 0 ? 3 : 1);
    }
    if (spec->clear_key && is_key) {
        alpha = 0.0;
    }
    return luma * alpha + (1.0 - alpha);
}

static void check(const struct png_spec *spec, double tolerance) {
    struct kb_field field;
    const char *path = scratch_path("a.png");
    write_png(path, spec);
    read_field(path, &field);
    assert_string_equal(field.format, "PNG");
    assert_int_equal(field.grey.width, spec->width);
    assert_int_equal(field.grey.height, spec->height);
    assert_int_equal(field.bits, spec->bits);
    assert_int_equal(field.was_colour, (spec->colour & PNG_COLOR_MASK_COLOR) != 0);
    const double top = spec->bits == 16 ? 65535.0 : 255.0;
    const double low = spec->bits == 16 ? field.grey_low : 0.0;
    const double high = spec->bits == 16 ? field.grey_high : 255.0;
    for (uint32_t y = 0; y < spec->height; y++) {
        for (uint32_t x = 0; x < spec->width; x++) {
            const double level = 255.0 * (true_luma(spec, x, y) * top - low) / (high - low);
            assert_near(kb_row(&field.grey, (int32_t)y)[x], fmax(0.0, fmin(255.0, level)),
                        0.51 + tolerance);
        }
    }
    kb_field_release(&field);
}

static void every_colour_type_depth_and_interlace_keeps_its_levels(void **state) {
    (void)state;
    static const struct {
        int colour, bits;
        double tolerance; /* for a second rounding to whole levels */
    } rows[] = {
        {PNG_COLOR_TYPE_GRAY, 1, 0},          {PNG_COLOR_TYPE_GRAY, 2, 0},
        {PNG_COLOR_TYPE_GRAY, 4, 0},          {PNG_COLOR_TYPE_GRAY, 8, 0},
        {PNG_COLOR_TYPE_GRAY, 16, 0},         {PNG_COLOR_TYPE_RGB, 8, 0.01},
        {PNG_COLOR_TYPE_RGB, 16, 0.01},       {PNG_COLOR_TYPE_PALETTE, 1, 0.01},
        {PNG_COLOR_TYPE_PALETTE, 2, 0.01},    {PNG_COLOR_TYPE_PALETTE, 4, 0.01},
        {PNG_COLOR_TYPE_PALETTE, 8, 0.01},    {PNG_COLOR_TYPE_GRAY_ALPHA, 8, 0},
        {PNG_COLOR_TYPE_GRAY_ALPHA, 16, 0.1}, {PNG_COLOR_TYPE_RGB_ALPHA, 8, 0.51},
        {PNG_COLOR_TYPE_RGB_ALPHA, 16, 0.1},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        for (int interlace = 0; interlace <= 1; interlace++) {
            const struct png_spec spec = {.width = WIDTH,
                                          .height = HEIGHT,
                                          .bits = rows[i].bits,
                                          .colour = rows[i].colour,
                                          .interlace = interlace};
            check(&spec, rows[i].tolerance);
        }
    }
}

static void small_interlaced_pictures_have_passes_without_pixels(void **state) {
    (void)state;
    for (uint32_t width = 1; width <= 9; width++) {
        for (uint32_t height = 1; height <= 9; height++) {
            const struct png_spec spec = {.width = width,
                                          .height = height,
                                          .bits = 4,
                                          .colour = PNG_COLOR_TYPE_GRAY,
                                          .interlace = PNG_INTERLACE_ADAM7};
            check(&spec, 0.0);
        }
    }
}

static void clear_pixels_are_laid_over_white_and_told(void **state) {
    (void)state;
    static const struct {
        int colour, bits;
        bool key;
    } rows[] = {
        {PNG_COLOR_TYPE_GRAY, 2, true},     {PNG_COLOR_TYPE_GRAY, 8, true},
        {PNG_COLOR_TYPE_GRAY, 16, true},    {PNG_COLOR_TYPE_RGB, 8, true},
        {PNG_COLOR_TYPE_PALETTE, 2, false},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct png_spec spec = {.width = WIDTH,
                                .height = HEIGHT,
                                .bits = rows[i].bits,
                                .colour = rows[i].colour,
                                .clear_key = rows[i].key,
                                .clear_palette = !rows[i].key};
        check(&spec, 0.51);
        struct kb_field field;
        read_field(scratch_path("a.png"), &field);
        assert_true(kb_findings_has(&field.findings, "see-through"));
        kb_field_release(&field);
        spec.clear_key = false;
        spec.clear_palette = false;
        check(&spec, 0.01);
        read_field(scratch_path("a.png"), &field);
        assert_false(kb_findings_has(&field.findings, "see-through"));
        kb_field_release(&field);
    }
}

static void exif_orientation_in_a_png_is_honoured(void **state) {
    (void)state;
    /* one entry: tag 274 is 6, row 0 of the file is the right side (EXIF 2.3) */
    uint8_t exif[] = {'M', 'M', 0, 42, 0, 0, 0, 8, 0, 1, 0x01, 0x12, 0,
                      3,   0,   0, 0,  1, 0, 6, 0, 0, 0, 0,    0,    0};
    const struct png_spec spec = {
        .width = WIDTH, .height = HEIGHT, .bits = 8, .exif = exif, .exif_size = sizeof exif};
    write_png(scratch_path("turned.png"), &spec);
    struct kb_field field;
    read_field(scratch_path("turned.png"), &field);
    assert_int_equal(field.grey.width, HEIGHT);
    for (int32_t y = 0; y < HEIGHT; y++) {
        for (int32_t x = 0; x < WIDTH; x++) {
            assert_int_equal(kb_row(&field.grey, x)[HEIGHT - 1 - y],
                             mixed_sample((uint32_t)x, (uint32_t)y, 0, 8));
        }
    }
    kb_field_release(&field);
}

static void a_png_has_one_page(void **state) {
    (void)state;
    const struct png_spec spec = {.width = 3, .height = 3, .bits = 8};
    const char *path = scratch_path("one.png");
    write_png(path, &spec);
    struct kb_intake_params params = kb_intake_params_default();
    struct kb_field field;
    params.page = 1;
    assert_int_equal(kb_field_read(path, &params, &field, NULL), KB_OK);
    kb_field_release(&field);
    params.page = 2;
    refuse_field(path, &params, KB_E_INPUT, "one page");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_colour_type_depth_and_interlace_keeps_its_levels),
        cmocka_unit_test(small_interlaced_pictures_have_passes_without_pixels),
        cmocka_unit_test(clear_pixels_are_laid_over_white_and_told),
        cmocka_unit_test(exif_orientation_in_a_png_is_honoured),
        cmocka_unit_test(a_png_has_one_page),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
