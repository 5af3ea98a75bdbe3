/* test_report_pictures.c - shrinking against its definition, JPEG read back by libjpeg. */
#include "sample_result.h"

#include "paint_priv.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <jpeglib.h>

/* Mean over the rectangle that a new pixel covers, pixel parts weighted: the definition. */
static double area_mean(const uint8_t *from, int32_t width, int32_t height, int channels, int c,
                        const double x[2], const double y[2]) {
    double sum = 0.0, weight = 0.0;
    for (int32_t row = 0; row < height; row++) {
        double wy = fmin(row + 1, y[1]) - fmax(row, y[0]);
        for (int32_t column = 0; wy > 0.0 && column < width; column++) {
            double wx = fmin(column + 1, x[1]) - fmax(column, x[0]);
            if (wx > 0.0) {
                sum += wx * wy * from[(row * width + column) * channels + c];
                weight += wx * wy;
            }
        }
    }
    return sum / weight;
}

static void check_shrink(int32_t width, int32_t height, int channels, int32_t to_width,
                         int32_t to_height) {
    uint8_t *from = malloc((size_t)(width * height * channels));
    uint8_t *to = malloc((size_t)(to_width * to_height * channels));
    assert_true(from != NULL && to != NULL);
    uint32_t random = 12345;
    for (int32_t i = 0; i < width * height * channels; i++) {
        random = random * 1664525u + 1013904223u;
        from[i] = (uint8_t)(random >> 24);
    }
    assert_int_equal(kb_shrink(from, width, height, (size_t)(width * channels), channels, to_width,
                               to_height, to, NULL),
                     KB_OK);
    for (int32_t y = 0; y < to_height; y++) {
        for (int32_t x = 0; x < to_width; x++) {
            const double across[2] = {x * (double)width / to_width,
                                      (x + 1) * (double)width / to_width};
            const double down[2] = {y * (double)height / to_height,
                                    (y + 1) * (double)height / to_height};
            for (int c = 0; c < channels; c++) {
                double mean = area_mean(from, width, height, channels, c, across, down);
                double got = to[(y * to_width + x) * channels + c];
                assert_true(fabs(got - mean) <= 0.5 + 1e-3); /* rounding, and float sums */
            }
        }
    }
    free(from);
    free(to);
}

static void shrinking_is_the_area_mean(void **state) {
    (void)state;
    check_shrink(64, 48, 1, 16, 12);
    check_shrink(101, 67, 1, 37, 23);
    check_shrink(101, 67, 3, 100, 66);
    check_shrink(50, 40, 3, 50, 40);
    check_shrink(13, 200, 1, 1, 1);
    check_shrink(1, 1, 3, 1, 1);
}

static void decode(const uint8_t *bytes, size_t size, int32_t *width, int32_t *height,
                   int *channels, uint8_t **rows) {
    struct jpeg_decompress_struct codec;
    struct jpeg_error_mgr error;
    codec.err = jpeg_std_error(&error);
    jpeg_create_decompress(&codec);
    jpeg_mem_src(&codec, bytes, size);
    (void)jpeg_read_header(&codec, TRUE);
    (void)jpeg_start_decompress(&codec);
    *width = (int32_t)codec.output_width;
    *height = (int32_t)codec.output_height;
    *channels = codec.output_components;
    size_t step = (size_t)codec.output_width * (size_t)codec.output_components;
    *rows = malloc(step * codec.output_height);
    assert_non_null(*rows);
    while (codec.output_scanline < codec.output_height) {
        JSAMPROW row = *rows + codec.output_scanline * step;
        (void)jpeg_read_scanlines(&codec, &row, 1);
    }
    (void)jpeg_finish_decompress(&codec);
    jpeg_destroy_decompress(&codec);
}

static void pictures_of_a_field_are_small_jpegs_of_field_and_overlay(void **state) {
    (void)state;
    static const int32_t most[] = {200, 400, 5000};
    for (size_t i = 0; i < sizeof most / sizeof most[0]; i++) {
        struct sample_field sample;
        struct kb_picture overlay;
        struct kb_field_result result = {0};
        int32_t width = 0, height = 0;
        int channels = 0;
        uint8_t *rows = NULL;
        sample_field_make(1, 400, 300, 0.5, false, &sample);
        assert_int_equal(
            kb_draw_overlay(&sample.field, &sample.map, &sample.particles, &overlay, NULL), KB_OK);
        assert_int_equal(kb_report_pictures(&sample.field, &overlay, most[i], &result, NULL),
                         KB_OK);
        int32_t wanted = most[i] < 400 ? most[i] : 400;
        decode(result.photo_jpeg, result.photo_size, &width, &height, &channels, &rows);
        assert_int_equal(width, wanted);
        assert_int_equal(height, wanted * 3 / 4);
        assert_int_equal(channels, 1);
        assert_int_equal(result.shown_width, width);
        assert_int_equal(result.shown_height, height);
        double mean = 0.0, true_mean = 0.0;
        for (int32_t k = 0; k < width * height; k++) {
            mean += rows[k];
        }
        for (int32_t k = 0; k < 400 * 300; k++) {
            true_mean += sample.field.grey.px[k];
        }
        assert_true(fabs(mean / (width * height) - true_mean / (400 * 300)) <= 0.5);
        free(rows);
        decode(result.overlay_jpeg, result.overlay_size, &width, &height, &channels, &rows);
        assert_int_equal(width, wanted);
        assert_int_equal(channels, 3);
        assert_true(height > wanted * 3 / 4);
        free(rows);
        kb_field_result_release(&result);
        kb_picture_release(&overlay);
        sample_field_release(&sample);
    }
}

static void pictures_without_a_width_are_refused(void **state) {
    (void)state;
    struct sample_field sample;
    struct kb_picture none = {0, 0, NULL};
    struct kb_field_result result = {0};
    struct kb_err err;
    sample_field_make(1, 40, 30, 0.5, false, &sample);
    assert_int_equal(kb_report_pictures(&sample.field, &none, 0, &result, &err), KB_E_USAGE);
    assert_null(result.photo_jpeg);
    sample_field_release(&sample);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shrinking_is_the_area_mean),
        cmocka_unit_test(pictures_of_a_field_are_small_jpegs_of_field_and_overlay),
        cmocka_unit_test(pictures_without_a_width_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
