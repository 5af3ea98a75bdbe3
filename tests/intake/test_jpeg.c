/* test_jpeg.c - JPEG of every colour, EXIF orientation, and data that are missing. */
#include "kb_cmocka.h"
#include "pictures_to_files.h"

#include <jpeglib.h>
#include <stdlib.h>
#include <string.h>

enum { WIDTH = 61, HEIGHT = 45 };

static double true_luma(const struct jpeg_spec *spec, uint32_t x, uint32_t y) {
    const double c0 = smooth_sample(x, y, 0, 8);
    const double c1 = smooth_sample(x, y, 1, 8);
    const double c2 = smooth_sample(x, y, 2, 8);
    if (spec->components == 1) {
        return c0;
    }
    if (spec->components == 3) {
        return luma_of(c0, c1, c2);
    }
    /* with an Adobe marker 255 is no ink, without one 255 is full ink */
    const double key = smooth_sample(x, y, 3, 8);
    if (spec->no_adobe) {
        return luma_of(255 - c0, 255 - c1, 255 - c2) * (255 - key) / 255.0;
    }
    return luma_of(c0, c1, c2) * key / 255.0;
}

static void every_colour_becomes_luma(void **state) {
    (void)state;
    static const struct {
        int components, colour;
        bool no_adobe;
    } rows[] = {{1, JCS_GRAYSCALE, false}, {3, JCS_YCbCr, false}, {3, JCS_RGB, false},
                {4, JCS_CMYK, false},      {4, JCS_CMYK, true},   {4, JCS_YCCK, false}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        for (int progressive = 0; progressive <= 1; progressive++) {
            const struct jpeg_spec spec = {.width = WIDTH,
                                           .height = HEIGHT,
                                           .components = rows[i].components,
                                           .colour = rows[i].colour,
                                           .no_adobe = rows[i].no_adobe,
                                           .progressive = progressive != 0};
            const char *path = scratch_path("a.jpg");
            write_jpeg(path, &spec);
            struct kb_field field;
            read_field(path, &field);
            assert_string_equal(field.format, "JPEG");
            assert_int_equal(field.bits, 8);
            assert_int_equal(field.was_colour, spec.components > 1);
            for (int32_t y = 0; y < HEIGHT; y++) {
                for (int32_t x = 0; x < WIDTH; x++) {
                    assert_near(kb_row(&field.grey, y)[x],
                                true_luma(&spec, (uint32_t)x, (uint32_t)y), 2.5);
                }
            }
            kb_field_release(&field);
        }
    }
}

/* An EXIF block with one orientation entry, in either byte order (EXIF 2.3, 4.6.2). */
static size_t exif_block(bool low_first, uint8_t orientation, uint8_t *block) {
    static const uint8_t low[] = {'I', 'I', 42, 0, 8, 0, 0, 0, 1, 0, 0x12, 0x01,
                                  3,   0,   1,  0, 0, 0, 0, 0, 0, 0, 0,    0};
    static const uint8_t high[] = {'M', 'M', 0, 42, 0, 0, 0, 8, 0, 1, 0x01, 0x12,
                                   0,   3,   0, 0,  0, 1, 0, 0, 0, 0, 0,    0};
    memcpy(block, low_first ? low : high, sizeof low);
    block[low_first ? 18 : 19] = orientation;
    return sizeof low;
}

/* 16 x 24 picture: the four corners tell how it was turned. */
static uint32_t corners(uint32_t x, uint32_t y, uint32_t c, uint32_t bits) {
    (void)c;
    (void)bits;
    return (x < 8 ? 30u : 90u) + (y < 8 ? 0u : 130u);
}

static void exif_orientation_is_honoured_in_both_byte_orders(void **state) {
    (void)state;
    /* top left, top right, bottom left of the upright picture; A = 30 B = 90 / C = 160 D = 220 as
     * stored (EXIF 2.3, tag 274: where row 0 and column 0 belong) */
    static const int expected[9][3] = {{0, 0, 0},      {30, 90, 160},  {90, 30, 220},
                                       {220, 160, 90}, {160, 220, 30}, {30, 160, 90},
                                       {160, 30, 220}, {220, 90, 160}, {90, 220, 30}};
    for (int low_first = 0; low_first <= 1; low_first++) {
        for (uint8_t o = 0; o <= 9; o++) {
            uint8_t block[64];
            const struct jpeg_spec spec = {.width = 16,
                                           .height = 24,
                                           .components = 1,
                                           .exif = block,
                                           .exif_size = exif_block(low_first != 0, o, block),
                                           .sample = corners};
            const char *path = scratch_path("exif.jpg");
            write_jpeg(path, &spec);
            struct kb_field field;
            read_field(path, &field);
            const int *want =
                expected[o >= 1 && o <= 8 ? o : 1]; /* what is no orientation is none */
            const struct kb_image *grey = &field.grey;
            assert_int_equal(grey->width, o >= 5 && o <= 8 ? 24 : 16);
            assert_near(kb_row(grey, 1)[1], want[0], 3);
            assert_near(kb_row(grey, 1)[grey->width - 2], want[1], 3);
            assert_near(kb_row(grey, grey->height - 2)[1], want[2], 3);
            kb_field_release(&field);
        }
    }
}

static void broken_exif_blocks_do_no_harm(void **state) {
    (void)state;
    uint8_t block[64];
    const size_t whole = exif_block(true, 6, block);
    for (size_t size = 0; size <= whole; size++) {
        for (size_t at = 0; at < size; at++) {
            for (unsigned value = 0; value < 256; value += 51) {
                (void)exif_block(true, 6, block);
                block[at] = (uint8_t)value;
                const struct jpeg_spec spec = {
                    .width = 8, .height = 8, .components = 1, .exif = block, .exif_size = size};
                const char *path = scratch_path("broken.jpg");
                if (at % 5 != 0 && size != whole) {
                    continue; /* every fifth place is enough where the block is cut as well */
                }
                write_jpeg(path, &spec);
                struct kb_field field;
                read_field(path, &field);
                assert_int_equal(field.grey.width, 8);
                kb_field_release(&field);
            }
        }
    }
}

static void a_jpeg_that_is_cut_short_is_an_error(void **state) {
    (void)state;
    for (int progressive = 0; progressive <= 1; progressive++) {
        const struct jpeg_spec spec = {.width = WIDTH,
                                       .height = HEIGHT,
                                       .components = 3,
                                       .quality = 90,
                                       .progressive = progressive != 0};
        const char *path = scratch_path("whole.jpg");
        write_jpeg(path, &spec);
        size_t size = 0;
        uint8_t *bytes = read_bytes(path, &size);
        for (size_t cut = 3; cut < size; cut++) {
            write_bytes(path, bytes, cut);
            refuse_field(path, NULL, KB_E_INPUT, "cut short");
        }
        free(bytes);
    }
}

/* Position of the first marker ff `code`. */
static size_t find_marker(const uint8_t *bytes, size_t size, uint8_t code) {
    for (size_t i = 0; i + 1 < size; i++) {
        if (bytes[i] == 0xff && bytes[i + 1] == code) {
            return i;
        }
    }
    fail_msg("no marker %02x", code);
    return 0;
}

/* The file with `count` bytes put in at `at`. */
static void write_with(const char *path, const uint8_t *bytes, size_t size, size_t at,
                       const uint8_t *extra, size_t count) {
    uint8_t *longer = malloc(size + count);
    assert_non_null(longer);
    memcpy(longer, bytes, at);
    memcpy(longer + at, extra, count);
    memcpy(longer + at + count, bytes + at, size - at);
    write_bytes(path, longer, size + count);
    free(longer);
}

static void a_scan_that_ends_before_its_picture_is_an_error(void **state) {
    (void)state;
    const struct jpeg_spec spec = {.width = WIDTH, .height = HEIGHT, .components = 1};
    const char *path = scratch_path("scan.jpg");
    write_jpeg(path, &spec);
    size_t size = 0;
    uint8_t *bytes = read_bytes(path, &size);
    const size_t scan = find_marker(bytes, size, 0xda) + 14;
    for (size_t cut = scan; cut < size - 8; cut += 11) {
        bytes[cut] = 0xff; /* end of image, in the midst of the scan */
        bytes[cut + 1] = 0xd9;
        write_bytes(path, bytes, cut + 2);
        refuse_field(path, NULL, KB_E_INPUT, "cut short");
        free(bytes);
        write_jpeg(path, &spec);
        bytes = read_bytes(path, &size);
    }
    free(bytes);
}

static void bytes_that_mean_nothing_are_told(void **state) {
    (void)state;
    const struct jpeg_spec spec = {.width = WIDTH, .height = HEIGHT, .components = 1};
    const char *path = scratch_path("odd.jpg");
    write_jpeg(path, &spec);
    size_t size = 0;
    uint8_t *bytes = read_bytes(path, &size);
    static const uint8_t stray[] = {1, 2, 3, 4, 5};
    struct kb_field field;
    write_with(path, bytes, size, size - 2, stray, sizeof stray); /* before the end of image */
    read_field(path, &field);
    assert_true(kb_findings_has(&field.findings, "odd-jpeg-data"));
    kb_field_release(&field);
    write_with(path, bytes, size, size, stray,
               sizeof stray); /* behind it: no part of the picture */
    read_field(path, &field);
    assert_false(kb_findings_has(&field.findings, "odd-jpeg-data"));
    kb_field_release(&field);
    free(bytes);
}

static void large_foreign_markers_are_skipped(void **state) {
    (void)state;
    const struct jpeg_spec spec = {.width = WIDTH, .height = HEIGHT, .components = 1};
    const char *path = scratch_path("foreign.jpg");
    write_jpeg(path, &spec);
    struct kb_field plain;
    read_field(path, &plain);
    size_t size = 0;
    uint8_t *bytes = read_bytes(path, &size);
    enum { BLOCKS = 3, BLOCK = 2 + 65000 };
    static uint8_t extra[BLOCKS * BLOCK];
    for (size_t i = 0; i < BLOCKS; i++) {
        static const uint8_t head[] = {0xff, 0xe5, 65000 >> 8, 65000 & 255};
        memcpy(extra + i * BLOCK, head, sizeof head);
    }
    write_with(path, bytes, size, 2, extra, sizeof extra);
    free(bytes);
    struct kb_field field;
    read_field(path, &field);
    assert_memory_equal(field.grey.px, plain.grey.px, WIDTH * HEIGHT);
    kb_field_release(&field);
    kb_field_release(&plain);
}

static void a_picture_of_hundreds_of_scans_is_refused(void **state) {
    (void)state;
    const struct jpeg_spec spec = {.width = 8, .height = 8, .components = 1, .many_scans = true};
    const char *path = scratch_path("scans.jpg");
    write_jpeg(path, &spec);
    refuse_field(path, NULL, KB_E_INPUT, "scans");
}

static void a_header_that_claims_too_much_is_refused(void **state) {
    (void)state;
    const struct jpeg_spec spec = {.width = 8, .height = 8, .components = 1};
    const char *path = scratch_path("claim.jpg");
    write_jpeg(path, &spec);
    size_t size = 0;
    uint8_t *bytes = read_bytes(path, &size);
    const size_t frame = find_marker(bytes, size, 0xc0);
    static const uint8_t sides[] = {0x40, 0, 0x40, 0}; /* 16384 x 16384 */
    memcpy(bytes + frame + 5, sides, sizeof sides);
    write_bytes(path, bytes, size);
    free(bytes);
    refuse_field(path, NULL, KB_E_INPUT, "more than the file can hold");
}

static void lossless_jpeg_is_refused_with_advice(void **state) {
    (void)state;
    const struct jpeg_spec spec = {.width = 8, .height = 8, .components = 1};
    const char *path = scratch_path("lossless.jpg");
    write_jpeg(path, &spec);
    size_t size = 0;
    uint8_t *bytes = read_bytes(path, &size);
    bytes[find_marker(bytes, size, 0xc0) + 1] = 0xc3;
    write_bytes(path, bytes, size);
    free(bytes);
    refuse_field(path, NULL, KB_E_INPUT, "lossless");
}

static void twelve_bit_jpeg_is_refused_with_advice(void **state) {
    (void)state;
    const struct jpeg_spec spec = {.width = 8, .height = 8, .components = 1};
    const char *path = scratch_path("twelve.jpg");
    write_jpeg(path, &spec);
    size_t size = 0;
    uint8_t *bytes = read_bytes(path, &size);
    const size_t frame = find_marker(bytes, size, 0xc0);
    bytes[frame + 1] = 0xc1; /* extended sequential may have 12 bits */
    bytes[frame + 4] = 12;
    write_bytes(path, bytes, size);
    free(bytes);
    refuse_field(path, NULL, KB_E_INPUT, "other than 8 bits");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_colour_becomes_luma),
        cmocka_unit_test(exif_orientation_is_honoured_in_both_byte_orders),
        cmocka_unit_test(broken_exif_blocks_do_no_harm),
        cmocka_unit_test(a_jpeg_that_is_cut_short_is_an_error),
        cmocka_unit_test(a_scan_that_ends_before_its_picture_is_an_error),
        cmocka_unit_test(bytes_that_mean_nothing_are_told),
        cmocka_unit_test(large_foreign_markers_are_skipped),
        cmocka_unit_test(a_picture_of_hundreds_of_scans_is_refused),
        cmocka_unit_test(a_header_that_claims_too_much_is_refused),
        cmocka_unit_test(lossless_jpeg_is_refused_with_advice),
        cmocka_unit_test(twelve_bit_jpeg_is_refused_with_advice),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
