/* test_fuzz_intake.c - changed and cut copies of small pictures must end in a status.
 *
 * Deterministic: the same copies on every machine. A copy that crashes the test is the file
 * "hostile" in the scratch folder that then stays behind; move it to kept/, where replay_intake
 * finds it ever after.
 */
#include "kb_cmocka.h"
#include "pictures_to_files.h"

#include <png.h>
#include <stdlib.h>
#include <string.h>
#include <tiffio.h>
#include <zlib.h>

enum { COPIES = 400 }; /* of each picture */

/* Marsaglia's xorshift, Journal of Statistical Software 8 (2003) 14 */
static uint32_t random_state;
static uint32_t random_below(uint32_t limit) {
    random_state ^= random_state << 13;
    random_state ^= random_state >> 17;
    random_state ^= random_state << 5;
    return random_state % limit;
}

static void change_byte(uint8_t *byte) {
    static const uint8_t edge[] = {0, 1, 2, 3, 16, 32, 64, 127, 128, 254, 255};
    switch (random_below(4)) {
    case 0:
        *byte = (uint8_t)(*byte ^ 1u << random_below(8));
        break;
    case 1:
        *byte = edge[random_below(sizeof edge)];
        break;
    case 2:
        *byte = (uint8_t)random_below(256);
        break;
    default:
        *byte = (uint8_t)(*byte + (random_below(2) == 0 ? 1 : 255));
    }
}

/* One to eight bytes changed, half of the changes in the first or last 200 bytes, where headers and
 * directories are; one copy in eight is cut as well. Returns the new size. */
static size_t change(const uint8_t *whole, size_t size, uint8_t *copy) {
    memcpy(copy, whole, size);
    for (uint32_t n = random_below(8) + 1; n > 0; n--) {
        const uint32_t reach = size < 200 ? (uint32_t)size : 200;
        const uint32_t where = random_below(4);
        const size_t at = where == 0   ? random_below(reach)
                          : where == 1 ? size - 1 - random_below(reach)
                                       : random_below((uint32_t)size);
        change_byte(&copy[at]);
    }
    return random_below(8) == 0 ? random_below((uint32_t)size) : size;
}

static uint32_t read_high_first(const uint8_t *bytes) {
    return (uint32_t)bytes[0] << 24 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 8 | bytes[3];
}

/* Make the check sums of a PNG's chunks right again, so that a change gets past them. */
static void repair_check_sums(uint8_t *png, size_t size) {
    static const uint8_t mark[] = {0x89, 'P', 'N', 'G'};
    for (size_t at = 8; size > 12 && memcmp(png, mark, sizeof mark) == 0 && at < size - 12;) {
        const uint32_t length = read_high_first(png + at);
        if (length > size - at - 12) {
            return;
        }
        const uint32_t sum = (uint32_t)crc32(0, png + at + 4, length + 4);
        for (size_t i = 0; i < 4; i++) {
            png[at + 8 + length + i] = (uint8_t)(sum >> (24 - 8 * i));
        }
        at += length + 12;
    }
}

static void check_status(const char *path, const struct kb_intake_params *params) {
    struct kb_err err = {.code = KB_OK};
    struct kb_field field;
    const enum kb_status status = kb_field_read(path, params, &field, &err);
    if (status == KB_OK) {
        /* every pixel is ours to read */
        uint64_t bins[256];
        kb_histogram(&field.grey, NULL, NULL, bins);
        assert_true(field.grey.width > 0 && field.grey.height > 0);
    } else {
        assert_true(status == KB_E_INPUT || status == KB_E_MEMORY);
        assert_int_equal(err.code, status);
        assert_string_not_equal(err.text, "");
        assert_null(field.grey.px);
    }
    kb_field_release(&field);
}

static void replay_copies(const char *path) {
    size_t size = 0;
    uint8_t *whole = read_bytes(path, &size);
    uint8_t *copy = malloc(size);
    assert_non_null(copy);
    struct kb_intake_params params = kb_intake_params_default();
    params.max_pixels = 1u << 20; /* the sanitizers pay for every byte allocated */
    random_state = (uint32_t)size * 2654435761u | 1u;
    const char *hostile = scratch_path("hostile");
    for (int i = 0; i < COPIES; i++) {
        const size_t left = change(whole, size, copy);
        if (random_below(4) > 0) {
            repair_check_sums(copy, left);
        }
        write_bytes(hostile, copy, left);
        params.page = random_below(8) == 0 ? 2 : 0;
        check_status(hostile, &params);
    }
    free(copy);
    free(whole);
}

static void changed_tiffs_end_in_a_status(void **state) {
    (void)state;
    const struct tiff_spec grey = {.width = 40,
                                   .height = 30,
                                   .bits = 8,
                                   .samples = 1,
                                   .photometric = PHOTOMETRIC_MINISBLACK,
                                   .rows = 8};
    static const uint16_t schemes[] = {COMPRESSION_NONE, COMPRESSION_LZW, COMPRESSION_ADOBE_DEFLATE,
                                       COMPRESSION_PACKBITS, COMPRESSION_JPEG};
    for (size_t i = 0; i < 5; i++) {
        struct tiff_spec spec = grey;
        spec.compression = schemes[i];
        write_tiff(scratch_path("seed.tif"), &spec);
        replay_copies(scratch_path("seed.tif"));
        spec.tile = 16;
        spec.samples = 3;
        spec.photometric = PHOTOMETRIC_RGB;
        spec.planar = i % 2 == 0 ? PLANARCONFIG_CONTIG : PLANARCONFIG_SEPARATE;
        write_tiff(scratch_path("seed.tif"), &spec);
        replay_copies(scratch_path("seed.tif"));
    }
}

static void changed_tiffs_of_rarer_kinds_end_in_a_status(void **state) {
    (void)state;
    static const struct tiff_spec rare[] = {
        {.bits = 1, .samples = 1, .compression = COMPRESSION_CCITTFAX4},
        {.bits = 1, .samples = 1, .compression = COMPRESSION_CCITTFAX3},
        {.bits = 4, .samples = 1, .photometric = PHOTOMETRIC_PALETTE},
        {.bits = 12, .samples = 1, .photometric = PHOTOMETRIC_MINISBLACK},
        {.bits = 16, .samples = 4, .photometric = PHOTOMETRIC_SEPARATED},
        {.bits = 8, .samples = 3, .photometric = PHOTOMETRIC_CIELAB},
        {.bits = 8,
         .samples = 3,
         .photometric = PHOTOMETRIC_YCBCR,
         .compression = COMPRESSION_JPEG},
        {.mode = "w8", .bits = 16, .samples = 1, .photometric = PHOTOMETRIC_MINISBLACK},
        {.mode = "wb", .bits = 16, .samples = 1, .photometric = PHOTOMETRIC_MINISBLACK},
        {.bits = 8,
         .samples = 1,
         .photometric = PHOTOMETRIC_MINISBLACK,
         .pages = 3,
         .orientation = 5,
         .x_res = 20000,
         .y_res = 20000,
         .unit = RESUNIT_CENTIMETER,
         .description = "<?xml version=\"1.0\"?><OME><Image><Pixels PhysicalSizeX=\"0.5\" "
                        "PhysicalSizeY=\"0.5\"/></Image></OME>"},
    };
    for (size_t i = 0; i < sizeof rare / sizeof rare[0]; i++) {
        struct tiff_spec spec = rare[i];
        spec.width = 40;
        spec.height = 30;
        spec.rows = 16;
        write_tiff(scratch_path("seed.tif"), &spec);
        replay_copies(scratch_path("seed.tif"));
    }
}

static void changed_pngs_end_in_a_status(void **state) {
    (void)state;
    static const struct png_spec kinds[] = {
        {.bits = 8, .colour = PNG_COLOR_TYPE_GRAY},
        {.bits = 2, .colour = PNG_COLOR_TYPE_PALETTE, .interlace = 1, .clear_palette = true},
        {.bits = 16, .colour = PNG_COLOR_TYPE_RGB_ALPHA, .interlace = 1},
        {.bits = 8, .colour = PNG_COLOR_TYPE_RGB, .clear_key = true, .x_res = 9, .y_res = 9},
    };
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        struct png_spec spec = kinds[i];
        spec.width = 40;
        spec.height = 30;
        write_png(scratch_path("seed.png"), &spec);
        replay_copies(scratch_path("seed.png"));
    }
}

static void changed_jpegs_end_in_a_status(void **state) {
    (void)state;
    static const uint8_t exif[] = {'I', 'I', 42, 0, 8, 0, 0, 0, 1, 0, 0x12, 0x01,
                                   3,   0,   1,  0, 0, 0, 6, 0, 0, 0, 0,    0};
    static const struct jpeg_spec kinds[] = {
        {.components = 1, .exif = exif, .exif_size = sizeof exif},
        {.components = 3, .x_density = 20000, .y_density = 20000, .density_unit = 2},
        {.components = 3, .progressive = true},
        {.components = 4},
    };
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        struct jpeg_spec spec = kinds[i];
        spec.width = 40;
        spec.height = 30;
        write_jpeg(scratch_path("seed.jpg"), &spec);
        replay_copies(scratch_path("seed.jpg"));
    }
}

static void changed_job_files_end_in_a_status(void **state) {
    (void)state;
    static const uint8_t text[] = "\xef\xbb\xbf; job\r\n[limits]\r\nnodularity = >= 85 %\r\n"
                                  "[calibration]\r\npixel_size = 0.5 \xc2\xb5m ; stage\r\na: b\n";
    uint8_t copy[sizeof text];
    random_state = 20240817;
    for (int i = 0; i < 3000; i++) {
        write_bytes(scratch_path("hostile"), copy, change(text, sizeof text - 1, copy));
        struct kb_job job;
        struct kb_err err = {.code = KB_OK};
        const enum kb_status status = kb_job_read(scratch_path("hostile"), &job, &err);
        assert_true(status == KB_OK || status == KB_E_USAGE);
        kb_job_release(&job);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(changed_tiffs_end_in_a_status),
        cmocka_unit_test(changed_tiffs_of_rarer_kinds_end_in_a_status),
        cmocka_unit_test(changed_pngs_end_in_a_status),
        cmocka_unit_test(changed_jpegs_end_in_a_status),
        cmocka_unit_test(changed_job_files_end_in_a_status),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
