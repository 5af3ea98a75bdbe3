/* test_intake_memory.c - whatever allocation fails, the status says so and nothing stays behind. */
#include "fail_alloc.h"
#include "kb_cmocka.h"
#include "pictures_to_files.h"

#include <string.h>
#include <sys/stat.h>
#include <tiffio.h>

/* More allocations than any of these readings makes. */
#define MOST 2000

typedef enum kb_status attempt(const char *path, struct kb_err *err);

static enum kb_status try_field(const char *path, struct kb_err *err) {
    const struct kb_intake_params params = kb_intake_params_default();
    struct kb_field field;
    const enum kb_status status = kb_field_read(path, &params, &field, err);
    kb_field_release(&field);
    return status;
}

static enum kb_status try_job(const char *path, struct kb_err *err) {
    struct kb_job job;
    const enum kb_status status = kb_job_read(path, &job, err);
    kb_job_release(&job);
    return status;
}

static enum kb_status try_paths(const char *path, struct kb_err *err) {
    struct kb_paths paths = {NULL, 0, 0};
    const enum kb_status status = kb_paths_expand(path, &paths, err);
    kb_paths_release(&paths);
    return status;
}

static void fail_each(attempt *try, const char *path) {
    for (size_t n = 1; n < MOST; n++) {
        struct kb_err err = {.code = KB_OK};
        fail_alloc_at(n);
        const enum kb_status status = try(path, &err);
        const int happened = fail_alloc_happened();
        const long open_blocks = fail_alloc_open_blocks();
        fail_alloc_at(0);
        assert_int_equal(open_blocks, 0);
        if (!happened) {
            assert_int_equal(status, KB_OK);
            assert_true(n > 1);
            return;
        }
        assert_int_equal(status, KB_E_MEMORY);
        assert_int_equal(err.code, KB_E_MEMORY);
    }
    fail_msg("%s: no end of allocations", path);
}

static void reading_a_tiff_survives_each_failed_allocation(void **state) {
    (void)state;
    struct tiff_spec spec = {.width = 30,
                             .height = 20,
                             .bits = 16,
                             .samples = 4,
                             .photometric = PHOTOMETRIC_RGB,
                             .extra = EXTRASAMPLE_UNASSALPHA,
                             .extras = 1,
                             .orientation = 6,
                             .description = "<OME><Image><Pixels PhysicalSizeX=\"1\" "
                                            "PhysicalSizeY=\"1\"/></Image></OME>"};
    write_tiff(scratch_path("m.tif"), &spec);
    fail_each(try_field, scratch_path("m.tif"));
    spec.tile = 16;
    spec.planar = PLANARCONFIG_SEPARATE;
    write_tiff(scratch_path("m.tif"), &spec);
    fail_each(try_field, scratch_path("m.tif"));
}

static void reading_png_and_jpeg_survives_each_failed_allocation(void **state) {
    (void)state;
    const struct png_spec png = {
        .width = 30, .height = 20, .bits = 8, .colour = 3, .interlace = 1, .clear_palette = true};
    write_png(scratch_path("m.png"), &png);
    fail_each(try_field, scratch_path("m.png"));
    const struct jpeg_spec jpeg = {.width = 30, .height = 20, .components = 3};
    write_jpeg(scratch_path("m.jpg"), &jpeg);
    fail_each(try_field, scratch_path("m.jpg"));
}

static void job_files_and_paths_survive_each_failed_allocation(void **state) {
    (void)state;
    static const char text[] = "[a]\nb=1\nc=2\n[d]\ne=3\nf=1\ng=1\nh=1\ni=1\nj=1\nk=1\nl=1\n";
    write_bytes(scratch_path("m.ini"), text, strlen(text));
    fail_each(try_job, scratch_path("m.ini"));
    assert_int_equal(mkdir(scratch_path("many"), 0700), 0);
    for (int i = 0; i < 12; i++) {
        char name[32];
        (void)snprintf(name, sizeof name, "many/%d.tif", i);
        write_bytes(scratch_path(name), "", 0);
    }
    fail_each(try_paths, scratch_path("many"));
    fail_each(try_paths, scratch_path("many/*.tif"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reading_a_tiff_survives_each_failed_allocation),
        cmocka_unit_test(reading_png_and_jpeg_survives_each_failed_allocation),
        cmocka_unit_test(job_files_and_paths_survive_each_failed_allocation),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
