/* test_bad_files.c - what is no picture to measure ends in one clear line, at once, and leaves
 * nothing. */
#include "kb_cmocka.h"
#include "pictures_to_files.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <tiffio.h>
#include <unistd.h>
#include <zlib.h>

static void what_is_no_file_is_refused_without_waiting(void **state) {
    (void)state;
    refuse_field(scratch_path("missing.tif"), NULL, KB_E_INPUT, "no such file");
    refuse_field(scratch_path("missing/a.tif"), NULL, KB_E_INPUT, "no such file");
    refuse_field("", NULL, KB_E_INPUT, "no such file");
    assert_int_equal(mkdir(scratch_path("folder"), 0700), 0);
    refuse_field(scratch_path("folder"), NULL, KB_E_INPUT, "a folder");
    assert_int_equal(mkfifo(scratch_path("pipe.tif"), 0600), 0);
    refuse_field(scratch_path("pipe.tif"), NULL, KB_E_INPUT, "not a regular file");
    refuse_field("/dev/zero", NULL, KB_E_INPUT, "not a regular file");
}

static void a_file_that_may_not_be_read_is_refused(void **state) {
    (void)state;
    const char *path = scratch_path("locked.tif");
    write_bytes(path, "II*\0", 4);
    assert_int_equal(chmod(path, 0), 0);
    const uid_t self = geteuid();
    /* the superuser may read everything: be nobody for a moment, who may not enter the folder */
    assert_int_equal(self == 0 ? seteuid(65534) : 0, 0);
    refuse_field(path, NULL, KB_E_SYSTEM, "permission");
    assert_int_equal(self == 0 ? seteuid(self) : 0, 0);
}

static void other_kinds_of_file_are_named(void **state) {
    (void)state;
    static const struct {
        const char *bytes;
        size_t size;
        const char *words;
    } rows[] = {
        {"", 0, "empty"},
        {"a letter\nto the laboratory\n", 27, "a text"},
        {"%PDF-1.7\n", 9, "PDF"},
        {"PK\3\4\0\0\0\0", 8, "zip"},
        {"GIF89a\1\0\1\0", 10, "GIF"},
        {"BM\0\0\0\0", 6, "BMP"},
        {"\1\2\3\4", 4, "not known"},
        {"I", 1, "a text"},
        {"II*\0", 4, "cut short or damaged"},
        {"MM\0*", 4, "cut short or damaged"},
        {"II+\0\x08\0\0\0", 8, "cut short or damaged"},
        {"\x89PNG\r\n\x1a\n", 8, "cut short or damaged"},
        {"\xff\xd8\xff", 3, "cut short or damaged"},
        {"\xff\xd8\xff\xd9", 4, "cut short or damaged"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const char *path = scratch_path("other.tif"); /* the name lies */
        write_bytes(path, rows[i].bytes, rows[i].size);
        refuse_field(path, NULL, KB_E_INPUT, rows[i].words);
    }
}

static void kinds_of_sample_that_cannot_be_measured_are_refused_with_advice(void **state) {
    (void)state;
    static const struct {
        uint16_t bits, format, photometric, samples;
        const char *words;
    } rows[] = {
        {32, SAMPLEFORMAT_IEEEFP, PHOTOMETRIC_MINISBLACK, 1, "floating-point"},
        {16, SAMPLEFORMAT_IEEEFP, PHOTOMETRIC_MINISBLACK, 1, "floating-point"},
        {16, SAMPLEFORMAT_INT, PHOTOMETRIC_MINISBLACK, 1, "signed"},
        {32, SAMPLEFORMAT_UINT, PHOTOMETRIC_MINISBLACK, 1, "32-bit"},
        {8, SAMPLEFORMAT_UINT, PHOTOMETRIC_CFA, 1, "raw sensor"},
        {8, SAMPLEFORMAT_UINT, PHOTOMETRIC_CIELAB, 3, "L*a*b*"},
        {8, SAMPLEFORMAT_UINT, PHOTOMETRIC_RGB, 1, "too few samples"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct tiff_spec spec = {.width = 8,
                                       .height = 8,
                                       .bits = rows[i].bits,
                                       .format = rows[i].format,
                                       .photometric = rows[i].photometric,
                                       .samples = rows[i].samples};
        write_tiff(scratch_path("kind.tif"), &spec);
        refuse_field(scratch_path("kind.tif"), NULL, KB_E_INPUT, rows[i].words);
    }
}

/* Change the value of a tag in the first directory of a little-endian TIFF. */
static void set_tag(uint8_t *tiff, uint16_t tag, uint32_t value) {
    uint32_t at = 0;
    memcpy(&at, tiff + 4, sizeof at);
    uint16_t entries = 0;
    memcpy(&entries, tiff + at, sizeof entries);
    for (uint8_t *entry = tiff + at + 2; entries > 0; entries--, entry += 12) {
        uint16_t found = 0;
        memcpy(&found, entry, sizeof found);
        if (found == tag) {
            const uint16_t type = TIFF_LONG;
            memcpy(entry + 2, &type, sizeof type);
            memcpy(entry + 8, &value, sizeof value);
            return;
        }
    }
    fail_msg("no tag %u", tag);
}

static void a_header_that_claims_too_much_is_refused_before_anything_is_allocated(void **state) {
    (void)state;
    static const uint16_t schemes[] = {COMPRESSION_NONE, COMPRESSION_LZW, COMPRESSION_ADOBE_DEFLATE,
                                       COMPRESSION_PACKBITS, COMPRESSION_CCITTFAX4};
    static const uint32_t sides[] = {20000, 100000, 200000, 2000000, 2147483647, 4294967295};
    for (size_t s = 0; s < 5; s++) {
        for (size_t i = 0; i < sizeof sides / sizeof sides[0]; i++) {
            const bool fax = schemes[s] == COMPRESSION_CCITTFAX4;
            const struct tiff_spec spec = {.mode = "wl",
                                           .width = 16,
                                           .height = 16,
                                           .bits = fax ? 1 : 8,
                                           .samples = 1,
                                           .photometric = PHOTOMETRIC_MINISWHITE,
                                           .compression = schemes[s],
                                           .rows = 16};
            const char *path = scratch_path("claim.tif");
            write_tiff(path, &spec);
            size_t size = 0;
            uint8_t *bytes = read_bytes(path, &size);
            set_tag(bytes, TIFFTAG_IMAGEWIDTH, sides[i]);
            set_tag(bytes, TIFFTAG_IMAGELENGTH, sides[i]);
            set_tag(bytes, TIFFTAG_ROWSPERSTRIP, sides[i]);
            write_bytes(path, bytes, size);
            free(bytes);
            refuse_field(path, NULL, KB_E_INPUT, "(");
        }
    }
}

/* A tag of an otherwise sound file set to what cannot be read. */
static void tags_that_cannot_be_are_refused_with_advice(void **state) {
    (void)state;
    static const struct {
        uint16_t tag;
        uint32_t value;
        const char *words;
    } rows[] = {
        {TIFFTAG_COMPRESSION, COMPRESSION_OJPEG, "old-style JPEG"},
        {TIFFTAG_COMPRESSION, 12345, "compression scheme 12345"},
        {TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_LOGL, "not supported"},
        {TIFFTAG_BITSPERSAMPLE, 7, "7-bit samples"},
        {TIFFTAG_BITSPERSAMPLE, 64, "64-bit samples"},
        {TIFFTAG_SAMPLESPERPIXEL, 1000, "("},
        {TIFFTAG_IMAGEWIDTH, 0, "("},
        {TIFFTAG_IMAGELENGTH, 0, "("},
        {TIFFTAG_STRIPOFFSETS, 1u << 30, "beyond its end"},
        {TIFFTAG_STRIPBYTECOUNTS, 1u << 20, "beyond its end"},
    };
    const struct tiff_spec spec = {.mode = "wl",
                                   .width = 40,
                                   .height = 40,
                                   .bits = 8,
                                   .samples = 1,
                                   .photometric = PHOTOMETRIC_MINISBLACK,
                                   .compression = COMPRESSION_LZW,
                                   .rows = 40};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const char *path = scratch_path("tag.tif");
        write_tiff(path, &spec);
        size_t size = 0;
        uint8_t *bytes = read_bytes(path, &size);
        set_tag(bytes, rows[i].tag, rows[i].value);
        write_bytes(path, bytes, size);
        free(bytes);
        refuse_field(path, NULL, KB_E_INPUT, rows[i].words);
    }
}

static void rare_layouts_that_are_not_taken_are_refused_with_advice(void **state) {
    (void)state;
    struct tiff_spec spec = {.width = 40,
                             .height = 40,
                             .bits = 4,
                             .samples = 3,
                             .photometric = PHOTOMETRIC_RGB,
                             .planar = PLANARCONFIG_SEPARATE};
    write_tiff(scratch_path("rare.tif"), &spec);
    refuse_field(scratch_path("rare.tif"), NULL, KB_E_INPUT, "separate colour planes");
    spec = (struct tiff_spec){.width = 40,
                              .height = 40,
                              .bits = 8,
                              .samples = 2,
                              .photometric = PHOTOMETRIC_PALETTE,
                              .extra = EXTRASAMPLE_UNASSALPHA,
                              .extras = 1};
    write_tiff(scratch_path("rare.tif"), &spec);
    refuse_field(scratch_path("rare.tif"), NULL, KB_E_INPUT, "opacity");
    spec.bits = 8;
    spec.samples = 1;
    spec.extras = 0;
    spec.photometric = PHOTOMETRIC_MINISBLACK;
    spec.tile = 16;
    spec.mode = "wl";
    write_tiff(scratch_path("rare.tif"), &spec);
    size_t size = 0;
    uint8_t *bytes = read_bytes(scratch_path("rare.tif"), &size);
    set_tag(bytes, TIFFTAG_TILEWIDTH, 1u << 24);
    set_tag(bytes, TIFFTAG_TILELENGTH, 1u << 24);
    write_bytes(scratch_path("rare.tif"), bytes, size);
    free(bytes);
    refuse_field(scratch_path("rare.tif"), NULL, KB_E_INPUT, "(");
}

static void a_png_header_that_claims_too_much_is_refused(void **state) {
    (void)state;
    const struct png_spec spec = {.width = 16, .height = 16, .bits = 8};
    const char *path = scratch_path("claim.png");
    write_png(path, &spec);
    size_t size = 0;
    uint8_t *bytes = read_bytes(path, &size);
    static const uint8_t sides[] = {0, 0, 0x40, 0, 0, 0, 0x40, 0}; /* 16384 x 16384 */
    memcpy(bytes + 16, sides, sizeof sides);
    const uint32_t sum = (uint32_t)crc32(0, bytes + 12, 17);
    for (size_t i = 0; i < 4; i++) {
        bytes[29 + i] = (uint8_t)(sum >> (24 - 8 * i));
    }
    write_bytes(path, bytes, size);
    free(bytes);
    refuse_field(path, NULL, KB_E_INPUT, "more than the file can hold");
}

static void pictures_above_the_limit_are_refused(void **state) {
    (void)state;
    const struct tiff_spec spec = {.width = 100,
                                   .height = 100,
                                   .bits = 8,
                                   .samples = 1,
                                   .photometric = PHOTOMETRIC_MINISBLACK};
    const struct png_spec png = {.width = 100, .height = 100, .bits = 8};
    const struct jpeg_spec jpeg = {
        .width = 100, .height = 100, .components = 1, .sample = mixed_sample};
    const char *path = scratch_path("limit");
    struct kb_intake_params params = kb_intake_params_default();
    for (int kind = 0; kind < 3; kind++) {
        if (kind == 0) {
            write_tiff(path, &spec);
        } else if (kind == 1) {
            write_png(path, &png);
        } else {
            write_jpeg(path, &jpeg);
        }
        params.max_pixels = 9999;
        refuse_field(path, &params, KB_E_INPUT, "limit of 9999");
        params.max_pixels = 10000;
        struct kb_field field;
        assert_int_equal(kb_field_read(path, &params, &field, NULL), KB_OK);
        kb_field_release(&field);
    }
}

/* Cut at every byte; every cut that reaches into header, directory or pixels must be an error. */
static void check_cuts(const char *path, size_t harmless_end, size_t step) {
    size_t size = 0;
    uint8_t *bytes = read_bytes(path, &size);
    for (size_t cut = 0; cut < size - harmless_end; cut += step) {
        write_bytes(path, bytes, cut);
        refuse_field(path, NULL, KB_E_INPUT, "");
    }
    free(bytes);
}

static void a_picture_that_is_cut_short_anywhere_is_an_error(void **state) {
    (void)state;
    static const uint16_t schemes[] = {COMPRESSION_NONE,          COMPRESSION_LZW,
                                       COMPRESSION_ADOBE_DEFLATE, COMPRESSION_PACKBITS,
                                       COMPRESSION_JPEG,          COMPRESSION_CCITTFAX4};
    for (size_t i = 0; i < 6; i++) {
        for (uint32_t tile = 0; tile <= 16; tile += 16) {
            const struct tiff_spec spec = {.width = 40,
                                           .height = 40,
                                           .bits = schemes[i] == COMPRESSION_CCITTFAX4 ? 1 : 8,
                                           .samples = 1,
                                           .photometric = PHOTOMETRIC_MINISBLACK,
                                           .compression = schemes[i],
                                           .rows = 16,
                                           .tile = tile};
            write_tiff(scratch_path("cut.tif"), &spec);
            /* the directory comes last in these files, its tag values last of all: some of them
             * (resolution, say) may be missed without harm, so no cut within 4 bytes of the end */
            check_cuts(scratch_path("cut.tif"), 4, 7);
        }
    }
    const struct png_spec png = {.width = 40, .height = 40, .bits = 8, .colour = 2};
    write_png(scratch_path("cut.png"), &png);
    check_cuts(scratch_path("cut.png"), 0, 1);
}

/* Data inside a strip that end too early, in a file that is otherwise whole. (The library mends a
 * wrong count of an uncompressed single strip by itself: its data are all there.) */
static void strips_that_end_too_early_are_an_error(void **state) {
    (void)state;
    static const uint16_t schemes[] = {COMPRESSION_LZW, COMPRESSION_ADOBE_DEFLATE,
                                       COMPRESSION_PACKBITS, COMPRESSION_JPEG,
                                       COMPRESSION_CCITTFAX4};
    for (size_t i = 0; i < 5; i++) {
        const bool fax = schemes[i] == COMPRESSION_CCITTFAX4;
        const struct tiff_spec spec = {.mode = "wl",
                                       .width = 40,
                                       .height = 40,
                                       .bits = fax ? 1 : 8,
                                       .samples = 1,
                                       .photometric = PHOTOMETRIC_MINISBLACK,
                                       .compression = schemes[i],
                                       .rows = 40};
        const char *path = scratch_path("short.tif");
        write_tiff(path, &spec);
        size_t size = 0;
        uint8_t *bytes = read_bytes(path, &size);
        set_tag(bytes, TIFFTAG_STRIPBYTECOUNTS, 60);
        write_bytes(path, bytes, size);
        free(bytes);
        refuse_field(path, NULL, KB_E_INPUT, "(");
    }
}

static void nothing_is_printed_about_bad_files(void **state) {
    (void)state;
    const char *path = scratch_path("noise.tif");
    const char *said = scratch_path("said");
    (void)fflush(stderr);
    const int kept = dup(2);
    FILE *aside = freopen(said, "w", stderr);
    assert_non_null(aside);
    struct kb_intake_params params = kb_intake_params_default();
    struct kb_field field;
    static const char *const heads[] = {"II*\0\x08\0\0\0\1\0", "\x89PNG\r\n\x1a\n\0\0",
                                        "\xff\xd8\xff\xe0\0\2"};
    static const size_t sizes[] = {10, 10, 6};
    enum kb_status status[3];
    for (size_t i = 0; i < 3; i++) {
        write_bytes(path, heads[i], sizes[i]);
        status[i] = kb_field_read(path, &params, &field, NULL);
    }
    (void)fflush(stderr);
    (void)dup2(kept, 2);
    (void)close(kept);
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(status[i], KB_E_INPUT);
    }
    struct stat about;
    assert_int_equal(stat(said, &about), 0);
    assert_int_equal(about.st_size, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_no_file_is_refused_without_waiting),
        cmocka_unit_test(a_file_that_may_not_be_read_is_refused),
        cmocka_unit_test(other_kinds_of_file_are_named),
        cmocka_unit_test(kinds_of_sample_that_cannot_be_measured_are_refused_with_advice),
        cmocka_unit_test(a_header_that_claims_too_much_is_refused_before_anything_is_allocated),
        cmocka_unit_test(tags_that_cannot_be_are_refused_with_advice),
        cmocka_unit_test(rare_layouts_that_are_not_taken_are_refused_with_advice),
        cmocka_unit_test(a_png_header_that_claims_too_much_is_refused),
        cmocka_unit_test(pictures_above_the_limit_are_refused),
        cmocka_unit_test(a_picture_that_is_cut_short_anywhere_is_an_error),
        cmocka_unit_test(strips_that_end_too_early_are_an_error),
        cmocka_unit_test(nothing_is_printed_about_bad_files),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
