/* test_tiff.c - TIFF of every layout, depth and colour that is taken, against the samples written.
 */
#include "kb_cmocka.h"
#include "pictures_to_files.h"

#include <stdlib.h>
#include <string.h>
#include <tiffio.h>

enum { WIDTH = 83, HEIGHT = 61 }; /* no multiple of a tile, a strip or a byte */

/* Sample of the written picture as a fraction 0..1 of full scale. */
static double share(const struct tiff_spec *spec, uint32_t x, uint32_t y, uint32_t c) {
    sample_at *sample = spec->sample != NULL ? spec->sample : mixed_sample;
    return sample(x, y, c, spec->bits) / ((1u << spec->bits) - 1.0);
}

/* Luma 0..1 that the specification of the file asks for. */
static double true_luma(const struct tiff_spec *spec, uint32_t x, uint32_t y) {
    double luma = share(spec, x, y, 0);
    uint32_t colours = 1;
    uint8_t rgb[3];
    switch (spec->photometric) {
    case PHOTOMETRIC_MINISWHITE:
        luma = 1.0 - luma;
        break;
    case PHOTOMETRIC_RGB:
    case PHOTOMETRIC_YCBCR:
        luma = luma_of(luma, share(spec, x, y, 1), share(spec, x, y, 2));
        colours = 3;
        break;
    case PHOTOMETRIC_SEPARATED:
        luma = (1.0 - share(spec, x, y, 3)) *
               luma_of(1.0 - luma, 1.0 - share(spec, x, y, 1), 1.0 - share(spec, x, y, 2));
        colours = 4;
        break;
    case PHOTOMETRIC_PALETTE:
        palette_entry(mixed_sample(x, y, 0, spec->bits), rgb);
        luma = luma_of(rgb[0], rgb[1], rgb[2]) / 255.0;
        break;
    default:
        break;
    }
    if (spec->extra == EXTRASAMPLE_UNASSALPHA) {
        const double alpha = share(spec, x, y, colours);
        luma = luma * alpha + (1.0 - alpha);
    } else if (spec->extra == EXTRASAMPLE_ASSOCALPHA) {
        luma = fmin(1.0, luma + (1.0 - share(spec, x, y, colours)));
    }
    return luma;
}

/* Write, read, compare every pixel. `tolerance` in levels beyond rounding. */
static void check(const struct tiff_spec *spec, double tolerance) {
    struct kb_field field;
    const char *path = scratch_path("a.tif");
    write_tiff(path, spec);
    read_field(path, &field);
    assert_int_equal(field.grey.width, spec->width);
    assert_int_equal(field.grey.height, spec->height);
    assert_int_equal(field.bits, spec->bits);
    const double top = (1u << spec->bits) - 1.0;
    const double scale = spec->photometric == PHOTOMETRIC_PALETTE ? 255.0 : top;
    for (uint32_t y = 0; y < spec->height; y++) {
        for (uint32_t x = 0; x < spec->width; x++) {
            /* grey in the file that is luma, through the window that the field states */
            const bool flip = spec->photometric == PHOTOMETRIC_MINISWHITE;
            const double luma = true_luma(spec, x, y);
            const double grey = (flip ? 1.0 - luma : luma) * scale;
            const double level =
                255.0 * (grey - field.grey_low) / (field.grey_high - field.grey_low);
            const double wanted = fmax(0.0, fmin(255.0, level));
            assert_near(kb_row(&field.grey, (int32_t)y)[x], wanted, 0.51 + tolerance);
        }
    }
    kb_field_release(&field);
}

static void grey_of_every_depth_in_every_layout_keeps_its_levels(void **state) {
    (void)state;
    static const uint16_t depths[] = {1, 2, 4, 8, 12, 16};
    for (size_t d = 0; d < 6; d++) {
        for (int layout = 0; layout < 4; layout++) {
            struct tiff_spec spec = {.width = WIDTH,
                                     .height = HEIGHT,
                                     .bits = depths[d],
                                     .samples = 1,
                                     .photometric = PHOTOMETRIC_MINISBLACK,
                                     .rows = layout == 0 ? 7 : 100,
                                     .tile = layout >= 2 ? 32 : 0};
            spec.photometric = layout % 2 == 0 ? PHOTOMETRIC_MINISBLACK : PHOTOMETRIC_MINISWHITE;
            check(&spec, 0.0);
        }
    }
}

static void every_compression_gives_the_same_picture(void **state) {
    (void)state;
    static const uint16_t schemes[] = {COMPRESSION_LZW, COMPRESSION_ADOBE_DEFLATE,
                                       COMPRESSION_DEFLATE, COMPRESSION_PACKBITS};
    for (size_t i = 0; i < 4; i++) {
        for (uint32_t tile = 0; tile <= 16; tile += 16) {
            for (uint16_t bits = 8; bits <= 16; bits = (uint16_t)(bits + 8)) {
                struct tiff_spec spec = {.width = WIDTH,
                                         .height = HEIGHT,
                                         .bits = bits,
                                         .samples = 1,
                                         .photometric = PHOTOMETRIC_MINISBLACK,
                                         .compression = schemes[i],
                                         .rows = 9,
                                         .tile = tile};
                check(&spec, 0.0);
                spec.samples = 3;
                spec.photometric = PHOTOMETRIC_RGB;
                check(&spec, 0.0);
            }
        }
    }
}

static void fax_compression_of_one_bit_pictures_is_read(void **state) {
    (void)state;
    static const uint16_t schemes[] = {COMPRESSION_CCITTFAX3, COMPRESSION_CCITTFAX4,
                                       COMPRESSION_CCITTRLE};
    for (size_t i = 0; i < 3; i++) {
        const struct tiff_spec spec = {.width = WIDTH,
                                       .height = HEIGHT,
                                       .bits = 1,
                                       .samples = 1,
                                       .photometric = PHOTOMETRIC_MINISWHITE,
                                       .compression = schemes[i],
                                       .rows = 10};
        check(&spec, 0.0);
    }
}

static void jpeg_inside_a_tiff_is_read_as_grey_rgb_and_ycbcr(void **state) {
    (void)state;
    struct tiff_spec spec = {.width = 64,
                             .height = 48,
                             .bits = 8,
                             .samples = 1,
                             .photometric = PHOTOMETRIC_MINISBLACK,
                             .compression = COMPRESSION_JPEG,
                             .rows = 16,
                             .sample = smooth_sample};
    check(&spec, 1.5); /* quality 100 still rounds */
    spec.samples = 3;
    spec.photometric = PHOTOMETRIC_RGB;
    check(&spec, 2.5);
    spec.photometric = PHOTOMETRIC_YCBCR;
    check(&spec, 2.5);
    spec.tile = 32;
    check(&spec, 2.5);
}

static void colour_of_every_kind_becomes_luma(void **state) {
    (void)state;
    static const uint16_t kinds[] = {PHOTOMETRIC_RGB, PHOTOMETRIC_SEPARATED};
    for (size_t k = 0; k < 2; k++) {
        for (int layout = 0; layout < 8; layout++) {
            const struct tiff_spec spec = {.width = WIDTH,
                                           .height = HEIGHT,
                                           .bits = layout % 2 == 0 ? 8 : 16,
                                           .samples = kinds[k] == PHOTOMETRIC_RGB ? 3 : 4,
                                           .photometric = kinds[k],
                                           .planar = layout % 4 < 2 ? PLANARCONFIG_CONTIG
                                                                    : PLANARCONFIG_SEPARATE,
                                           .rows = 10,
                                           .tile = layout < 4 ? 0 : 16};
            /* products of two rounded inks may be one level off */
            check(&spec, kinds[k] == PHOTOMETRIC_SEPARATED ? 0.8 : 0.01);
        }
    }
}

static void palettes_are_looked_up(void **state) {
    (void)state;
    for (uint16_t bits = 1; bits <= 8; bits = (uint16_t)(bits * 2)) {
        struct tiff_spec spec = {.width = WIDTH,
                                 .height = HEIGHT,
                                 .bits = bits,
                                 .samples = 1,
                                 .photometric = PHOTOMETRIC_PALETTE,
                                 .rows = 10};
        check(&spec, 0.51); /* entries are rounded to whole levels once more */
        spec.small_palette = true;
        check(&spec, 0.51);
    }
}

static void alpha_is_laid_over_white_and_told(void **state) {
    (void)state;
    static const uint16_t kinds[] = {EXTRASAMPLE_ASSOCALPHA, EXTRASAMPLE_UNASSALPHA};
    for (size_t k = 0; k < 2; k++) {
        struct tiff_spec spec = {.width = WIDTH,
                                 .height = HEIGHT,
                                 .bits = 8,
                                 .samples = 2,
                                 .photometric = PHOTOMETRIC_MINISBLACK,
                                 .extra = kinds[k],
                                 .extras = 1};
        check(&spec, 0.51);
        spec.samples = 4;
        spec.photometric = PHOTOMETRIC_RGB;
        check(&spec, 1.01);
        struct kb_field field;
        read_field(scratch_path("a.tif"), &field);
        assert_true(kb_findings_has(&field.findings, "see-through"));
        assert_true(kb_findings_has(&field.findings, "colour-to-grey"));
        assert_true(field.was_colour);
        kb_field_release(&field);
    }
}

static void channels_beyond_the_picture_are_passed_over_and_told(void **state) {
    (void)state;
    struct tiff_spec spec = {.width = WIDTH,
                             .height = HEIGHT,
                             .bits = 8,
                             .samples = 3,
                             .photometric = PHOTOMETRIC_MINISBLACK,
                             .extra = EXTRASAMPLE_UNSPECIFIED,
                             .extras = 2};
    check(&spec, 0.0);
    struct kb_field field;
    read_field(scratch_path("a.tif"), &field);
    assert_true(kb_findings_has(&field.findings, "more-channels"));
    assert_false(field.was_colour);
    kb_field_release(&field);
}

/* An uncompressed YCbCr file whose colour has half the resolution both ways: TIFF 6.0 section 21,
 * in units of 2 x 2 Y, Cb, Cr. With Cb = Cr = 128 the picture is grey and luma is Y. */
static void subsampled_ycbcr_is_read_through_the_library(void **state) {
    (void)state;
    enum { SIDE = 32, UNIT = 6 };
    const char *path = scratch_path("ycbcr.tif");
    for (uint16_t orientation = 1; orientation <= 3; orientation += 2) {
        TIFF *tif = TIFFOpen(path, "w");
        assert_non_null(tif);
        TIFFSetField(tif, TIFFTAG_IMAGEWIDTH, SIDE);
        TIFFSetField(tif, TIFFTAG_IMAGELENGTH, SIDE);
        TIFFSetField(tif, TIFFTAG_BITSPERSAMPLE, 8);
        TIFFSetField(tif, TIFFTAG_SAMPLESPERPIXEL, 3);
        TIFFSetField(tif, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_YCBCR);
        TIFFSetField(tif, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
        TIFFSetField(tif, TIFFTAG_YCBCRSUBSAMPLING, 2, 2);
        TIFFSetField(tif, TIFFTAG_ORIENTATION, orientation);
        TIFFSetField(tif, TIFFTAG_ROWSPERSTRIP, 12); /* the last strip is shorter */
        for (uint32_t strip = 0; strip < 3; strip++) {
            uint8_t bytes[6 * (SIDE / 2) * UNIT];
            const uint32_t unit_rows = strip < 2 ? 6 : 4;
            for (uint32_t u = 0; u < unit_rows * (SIDE / 2); u++) {
                const uint32_t x = u % (SIDE / 2) * 2;
                const uint32_t y = strip * 12 + u / (SIDE / 2) * 2;
                for (uint32_t i = 0; i < 4; i++) {
                    bytes[u * UNIT + i] = (uint8_t)mixed_sample(x + i % 2, y + i / 2, 0, 8);
                }
                bytes[u * UNIT + 4] = bytes[u * UNIT + 5] = 128;
            }
            const tmsize_t size = (tmsize_t)unit_rows * (SIDE / 2) * UNIT;
            assert_int_equal(TIFFWriteEncodedStrip(tif, strip, bytes, size), size);
        }
        TIFFClose(tif);
        struct kb_field field;
        read_field(path, &field);
        for (uint32_t y = 0; y < SIDE; y++) {
            for (uint32_t x = 0; x < SIDE; x++) {
                const uint32_t fx = orientation == 1 ? x : SIDE - 1 - x;
                const uint32_t fy = orientation == 1 ? y : SIDE - 1 - y;
                assert_near(kb_row(&field.grey, (int32_t)y)[x], mixed_sample(fx, fy, 0, 8), 1.0);
            }
        }
        kb_field_release(&field);
    }
}

static void big_tiff_and_the_other_byte_order_are_read(void **state) {
    (void)state;
    static const char *const modes[] = {"w8", "wb", "wl", "w8b"};
    for (size_t i = 0; i < 4; i++) {
        const struct tiff_spec spec = {.mode = modes[i],
                                       .width = WIDTH,
                                       .height = HEIGHT,
                                       .bits = 16,
                                       .samples = 1,
                                       .photometric = PHOTOMETRIC_MINISBLACK,
                                       .rows = 10};
        check(&spec, 0.0);
        struct kb_field field;
        read_field(scratch_path("a.tif"), &field);
        assert_string_equal(field.format, modes[i][1] == '8' ? "BigTIFF" : "TIFF");
        kb_field_release(&field);
    }
}

static void pages_are_counted_and_chosen(void **state) {
    (void)state;
    const struct tiff_spec spec = {.width = 20,
                                   .height = 10,
                                   .bits = 8,
                                   .samples = 1,
                                   .photometric = PHOTOMETRIC_MINISBLACK,
                                   .pages = 3};
    const char *path = scratch_path("pages.tif");
    write_tiff(path, &spec);
    struct kb_field field;
    read_field(path, &field);
    assert_int_equal(field.page, 1);
    assert_int_equal(field.pages, 3);
    assert_int_equal(field.grey.width, 20);
    assert_true(kb_findings_has(&field.findings, "more-pages"));
    kb_field_release(&field);
    struct kb_intake_params params = kb_intake_params_default();
    for (params.page = 1; params.page <= 3; params.page++) {
        assert_int_equal(kb_field_read(path, &params, &field, NULL), KB_OK);
        assert_int_equal(field.page, params.page);
        assert_int_equal(field.grey.width, 19 + params.page);
        assert_false(kb_findings_has(&field.findings, "more-pages"));
        kb_field_release(&field);
    }
    params.page = 4;
    refuse_field(path, &params, KB_E_INPUT, "the file has 3");
}

/* TIFF 6.0, tag 274: where row 0 and column 0 of the file belong in the upright picture. */
static void upright(int orientation, int32_t x, int32_t y, const struct kb_image *grey, int32_t *ux,
                    int32_t *uy) {
    const int32_t right = grey->width - 1;
    const int32_t bottom = grey->height - 1;
    const int32_t to_x[9] = {0, x, right - x, right - x, x, y, right - y, right - y, y};
    const int32_t to_y[9] = {0, y, y, bottom - y, bottom - y, x, x, bottom - x, bottom - x};
    *ux = to_x[orientation];
    *uy = to_y[orientation];
}

static void each_of_the_eight_orientations_is_turned_upright(void **state) {
    (void)state;
    for (int orientation = 1; orientation <= 8; orientation++) {
        const struct tiff_spec spec = {.width = 150,
                                       .height = 70,
                                       .bits = 8,
                                       .samples = 1,
                                       .photometric = PHOTOMETRIC_MINISBLACK,
                                       .orientation = (uint16_t)orientation};
        const char *path = scratch_path("turned.tif");
        write_tiff(path, &spec);
        struct kb_field field;
        read_field(path, &field);
        assert_int_equal(field.grey.width, orientation < 5 ? 150 : 70);
        for (int32_t y = 0; y < 70; y++) {
            for (int32_t x = 0; x < 150; x++) {
                int32_t ux = 0;
                int32_t uy = 0;
                upright(orientation, x, y, &field.grey, &ux, &uy);
                assert_int_equal(kb_row(&field.grey, uy)[ux],
                                 mixed_sample((uint32_t)x, (uint32_t)y, 0, 8));
            }
        }
        kb_field_release(&field);
    }
}

/* 200 x 200 pixels at 1000 or 2000, `hot` of them at 60000 and `cold` at 3. */
static uint32_t hot, cold;
static uint32_t hot_sample(uint32_t x, uint32_t y, uint32_t c, uint32_t bits) {
    (void)c;
    (void)bits;
    const uint32_t i = y * 200 + x;
    return i < hot ? 60000 : i >= 40000 - cold ? 3 : 1000 + i % 2 * 1000;
}

static void the_window_leaves_out_one_pixel_in_ten_thousand_at_either_end(void **state) {
    (void)state;
    const struct tiff_spec spec = {.width = 200,
                                   .height = 200,
                                   .bits = 16,
                                   .samples = 1,
                                   .photometric = PHOTOMETRIC_MINISBLACK,
                                   .sample = hot_sample};
    static const struct {
        uint32_t hot, cold;
        double low, high;
    } rows[] = {{0, 0, 1000, 2000}, {4, 4, 1000, 2000}, {5, 0, 1000, 60000}, {0, 5, 3, 2000}};
    for (size_t i = 0; i < 4; i++) {
        hot = rows[i].hot;
        cold = rows[i].cold;
        const char *path = scratch_path("hot.tif");
        write_tiff(path, &spec);
        struct kb_field field;
        read_field(path, &field);
        assert_near(field.grey_low, rows[i].low, 0.0);
        assert_near(field.grey_high, rows[i].high, 0.0);
        assert_true(kb_findings_has(&field.findings, "sixteen-bit-window"));
        kb_field_release(&field);
    }
}

static uint32_t level;
static uint32_t one_level(uint32_t x, uint32_t y, uint32_t c, uint32_t bits) {
    (void)x;
    (void)y;
    (void)c;
    (void)bits;
    return level;
}

static void a_deep_picture_of_one_grey_is_read(void **state) {
    (void)state;
    static const uint32_t levels[] = {0, 1, 30000, 65534, 65535};
    for (size_t i = 0; i < 5; i++) {
        level = levels[i];
        const struct tiff_spec spec = {.width = 9,
                                       .height = 9,
                                       .bits = 16,
                                       .samples = 1,
                                       .photometric = PHOTOMETRIC_MINISBLACK,
                                       .sample = one_level};
        check(&spec, 0.0);
    }
}

static void a_file_without_photometric_tag_is_read_by_its_samples(void **state) {
    (void)state;
    struct tiff_spec spec = {.width = WIDTH,
                             .height = HEIGHT,
                             .bits = 8,
                             .samples = 3,
                             .photometric = PHOTOMETRIC_RGB,
                             .no_photometric = true};
    check(&spec, 0.01);
}

static void the_digest_is_that_of_the_bytes(void **state) {
    (void)state;
    /* the smallest grey PNG, and what sha256sum(1) of GNU coreutils 9.1 says of it */
    static const uint8_t png[] = {
        0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a, 0x00, 0x00, 0x00, 0x0d, 0x49, 0x48,
        0x44, 0x52, 0x00, 0x00, 0x00, 0x01, 0x00, 0x00, 0x00, 0x01, 0x08, 0x00, 0x00, 0x00,
        0x00, 0x3a, 0x7e, 0x9b, 0x55, 0x00, 0x00, 0x00, 0x0a, 0x49, 0x44, 0x41, 0x54, 0x78,
        0x9c, 0x63, 0x68, 0x00, 0x00, 0x00, 0x82, 0x00, 0x81, 0x77, 0xcd, 0x72, 0xb6, 0x00,
        0x00, 0x00, 0x00, 0x49, 0x45, 0x4e, 0x44, 0xae, 0x42, 0x60, 0x82};
    const char *path = scratch_path("dot.png");
    write_bytes(path, png, sizeof png);
    struct kb_field field;
    read_field(path, &field);
    assert_string_equal(field.sha256,
                        "a1abfd410973b0111c215baa879b9edcd739e601659ba44168269767cc2e9108");
    kb_field_release(&field);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(grey_of_every_depth_in_every_layout_keeps_its_levels),
        cmocka_unit_test(every_compression_gives_the_same_picture),
        cmocka_unit_test(fax_compression_of_one_bit_pictures_is_read),
        cmocka_unit_test(jpeg_inside_a_tiff_is_read_as_grey_rgb_and_ycbcr),
        cmocka_unit_test(colour_of_every_kind_becomes_luma),
        cmocka_unit_test(palettes_are_looked_up),
        cmocka_unit_test(alpha_is_laid_over_white_and_told),
        cmocka_unit_test(channels_beyond_the_picture_are_passed_over_and_told),
        cmocka_unit_test(subsampled_ycbcr_is_read_through_the_library),
        cmocka_unit_test(big_tiff_and_the_other_byte_order_are_read),
        cmocka_unit_test(pages_are_counted_and_chosen),
        cmocka_unit_test(each_of_the_eight_orientations_is_turned_upright),
        cmocka_unit_test(the_window_leaves_out_one_pixel_in_ten_thousand_at_either_end),
        cmocka_unit_test(a_deep_picture_of_one_grey_is_read),
        cmocka_unit_test(a_file_without_photometric_tag_is_read_by_its_samples),
        cmocka_unit_test(the_digest_is_that_of_the_bytes),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
