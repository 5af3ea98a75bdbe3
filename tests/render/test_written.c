/* Rendered fields on disk, read back by the libraries that everybody reads them with. */
#include "fail_alloc.h"
#include "keelblock/report.h"

#include <jansson.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <tiffio.h>
#include <unistd.h>

#include <cmocka.h>

#include "render_near.h"

static char folder[] = "kb-written-XXXXXX";

static int make_folder(void **state) {
    (void)state;
    return mkdtemp(folder) == NULL;
}

static int drop_folder(void **state) {
    (void)state;
    return rmdir(folder); /* fails when anything was left behind */
}

static struct kb_render draw_sized(struct kb_render_params *params, int32_t width, int32_t height) {
    struct kb_render render;
    *params = kb_render_params_default();
    params->width = width;
    params->height = height;
    params->seed = 18446744073709551615u; /* 2^64 - 1: beyond the integers of JSON readers */
    assert_int_equal(kb_render_draw(params, &render, NULL), KB_OK);
    return render;
}

static void check_tiff(const char *path, const struct kb_image *grey, double px_um) {
    TIFF *tiff = TIFFOpen(path, "r");
    uint32_t width = 0, height = 0;
    uint16_t bits = 0, samples = 0, photometric = 9, unit = 0;
    float resolution = 0.0F;
    assert_non_null(tiff);
    TIFFGetField(tiff, TIFFTAG_IMAGEWIDTH, &width);
    TIFFGetField(tiff, TIFFTAG_IMAGELENGTH, &height);
    TIFFGetField(tiff, TIFFTAG_BITSPERSAMPLE, &bits);
    TIFFGetFieldDefaulted(tiff, TIFFTAG_SAMPLESPERPIXEL, &samples);
    TIFFGetField(tiff, TIFFTAG_PHOTOMETRIC, &photometric);
    assert_int_equal(width, grey->width);
    assert_int_equal(height, grey->height);
    assert_int_equal(bits, 8);
    assert_int_equal(samples, 1);
    assert_int_equal(photometric, PHOTOMETRIC_MINISBLACK);
    if (px_um > 0.0) {
        TIFFGetField(tiff, TIFFTAG_RESOLUTIONUNIT, &unit);
        TIFFGetField(tiff, TIFFTAG_XRESOLUTION, &resolution);
        assert_int_equal(unit, RESUNIT_CENTIMETER);
        assert_near(10000.0 / (double)resolution, px_um, 1e-6 * px_um);
    } else {
        assert_int_equal(TIFFGetField(tiff, TIFFTAG_XRESOLUTION, &resolution), 0);
    }
    uint8_t *row = malloc((size_t)width);
    for (uint32_t y = 0; y < height; y++) {
        assert_int_equal(TIFFReadScanline(tiff, row, y, 0), 1);
        assert_memory_equal(row, kb_row(grey, (int32_t)y), width);
    }
    free(row);
    TIFFClose(tiff);
}

static void a_tiff_holds_the_pixels_and_the_scale(void **state) {
    (void)state;
    struct kb_render_params params;
    struct kb_render render = draw_sized(&params, 173, 391);
    char *path = kb_join_path(folder, "field.tif");
    for (int compress = 0; compress < 2; compress++) {
        for (int scale = 0; scale < 2; scale++) {
            double px_um = scale ? params.px_um : 0.0;
            assert_int_equal(kb_write_tiff(path, &render.grey, px_um, compress, NULL), KB_OK);
            check_tiff(path, &render.grey, px_um);
        }
    }
    assert_int_equal(unlink(path), 0);
    kb_free(path);
    kb_render_release(&render);
}

static double number_at(const json_t *json, const char *key) {
    const json_t *value = json_object_get(json, key);
    assert_true(json_is_number(value));
    return json_number_value(value);
}

static void truth_can_be_read_back_with_the_params_that_drew_it(void **state) {
    (void)state;
    struct kb_render_params params;
    struct kb_render render = draw_sized(&params, 300, 200);
    char *path = kb_join_path(folder, "truth.json");
    assert_int_equal(kb_write_truth(path, &params, &render.truth, NULL), KB_OK);
    json_t *json = json_load_file(path, 0, NULL);
    assert_non_null(json);
    const json_t *drawn = json_object_get(json, "params");
    const json_t *phases = json_object_get(json, "phases");
    const json_t *list = json_object_get(json, "particles");
    const char *schema = json_string_value(json_object_get(json, "schema"));
    assert_string_equal(schema, "keelblock.truth/1");
    assert_string_equal(json_string_value(json_object_get(drawn, "seed")), "18446744073709551615");
    assert_near(number_at(drawn, "pixel_size_um"), params.px_um, 1e-12);
    assert_near(number_at(phases, "graphite"), render.truth.graphite, 1e-11);
    assert_near(number_at(json, "pearlite_of_matrix"), render.truth.pearlite_of_matrix, 1e-11);
    assert_int_equal(json_array_size(list), render.truth.count);
    for (size_t i = 0; i < render.truth.count; i++) {
        const struct kb_render_particle *p = &render.truth.particle[i];
        const json_t *q = json_array_get(list, i);
        assert_near(number_at(q, "area_um2"), p->area_um2, 1e-9 * p->area_um2);
        assert_near(number_at(q, "feret_min_um"), p->feret_min_um, 1e-9 * p->feret_min_um);
        assert_int_equal(json_is_true(json_object_get(q, "inside")), p->inside);
    }
    json_decref(json);
    assert_int_equal(unlink(path), 0);
    kb_free(path);
    kb_render_release(&render);
}

static void what_does_not_exist_is_null(void **state) {
    (void)state;
    struct kb_render_params params = kb_render_params_default();
    struct kb_render_truth truth = {.nodularity_percent = (double)NAN, .ferrite = 1.0};
    char *path = kb_join_path(folder, "null.json");
    assert_int_equal(kb_write_truth(path, &params, &truth, NULL), KB_OK);
    json_t *json = json_load_file(path, 0, NULL);
    assert_true(json_is_null(json_object_get(json, "nodularity_percent")));
    json_decref(json);
    assert_int_equal(unlink(path), 0);
    kb_free(path);
}

static void a_folder_that_is_not_there_is_a_system_error(void **state) {
    (void)state;
    struct kb_render_params params;
    struct kb_render render = draw_sized(&params, 20, 10);
    struct kb_err err = {0};
    const char *path = "no-such-folder-here/field.tif";
    assert_int_equal(kb_write_tiff(path, &render.grey, 0.5, true, &err), KB_E_SYSTEM);
    assert_true(err.text[0] != '\0');
    assert_int_equal(kb_write_truth(path, &params, &render.truth, &err), KB_E_SYSTEM);
    kb_render_release(&render);
}

/* drop_folder() fails when a file were left by any of these. */
static void a_failed_allocation_writes_nothing(void **state) {
    (void)state;
    struct kb_render_params params;
    struct kb_render render = draw_sized(&params, 120, 90);
    char *path = kb_join_path(folder, "none.tif");
    for (int truth = 0; truth < 2; truth++) {
        for (size_t n = 1;; n++) {
            fail_alloc_at(n);
            enum kb_status status = truth ? kb_write_truth(path, &params, &render.truth, NULL)
                                          : kb_write_tiff(path, &render.grey, 0.5, true, NULL);
            bool failed = fail_alloc_happened() != 0;
            assert_int_equal(fail_alloc_open_blocks(), 0);
            fail_alloc_at(0);
            assert_int_equal(status, failed ? KB_E_MEMORY : KB_OK);
            assert_int_equal(access(path, F_OK), failed ? -1 : 0);
            if (!failed) {
                assert_true(n > 1);
                break;
            }
        }
        assert_int_equal(unlink(path), 0);
    }
    kb_free(path);
    kb_render_release(&render);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_tiff_holds_the_pixels_and_the_scale),
        cmocka_unit_test(truth_can_be_read_back_with_the_params_that_drew_it),
        cmocka_unit_test(what_does_not_exist_is_null),
        cmocka_unit_test(a_folder_that_is_not_there_is_a_system_error),
        cmocka_unit_test(a_failed_allocation_writes_nothing),
    };
    return cmocka_run_group_tests(tests, make_folder, drop_folder);
}
