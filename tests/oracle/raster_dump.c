/* raster_dump.c - run one function of the raster stage on raw bytes, for comparison elsewhere.
 *
 *   raster_dump WHAT WIDTH HEIGHT NUMBER GREY LABELS OUT
 *
 * GREY and LABELS are files of WIDTH x HEIGHT bytes, row by row; label 1 is chosen. NUMBER is the
 * radius or the connectivity. OUT gets bytes, or 32-bit integers for `label` (0 outside, else
 * region + 1) and `distance`, or 64-bit ones for `histogram`, in the machine's byte order.
 */
#include "keelblock/raster.h"

#include <stdlib.h>
#include <string.h>

static const bool one[256] = {[1] = true};

/* What a function works on and leaves behind. */
struct job {
    struct kb_image grey, labels, to;
    int32_t number;
    void *out; /* 8 bytes a pixel, at least 256 * 8 */
    size_t out_size;
};

static size_t pixels_of(const struct job *job) {
    return (size_t)kb_image_pixels(&job->grey);
}

static enum kb_status keep_picture(struct job *job, enum kb_status status) {
    job->out_size = pixels_of(job);
    memcpy(job->out, job->to.px, job->out_size);
    return status;
}

static enum kb_status do_histogram(struct job *job, struct kb_err *err) {
    (void)err;
    kb_histogram(&job->grey, &job->labels, one, job->out);
    job->out_size = 256 * sizeof(uint64_t);
    return KB_OK;
}

static enum kb_status do_smooth(struct job *job, struct kb_err *err) {
    return keep_picture(job, kb_smooth(&job->grey, &job->to, err));
}

static enum kb_status do_median(struct job *job, struct kb_err *err) {
    return keep_picture(job, kb_median(&job->grey, &job->to, err));
}

static enum kb_status do_mean(struct job *job, struct kb_err *err) {
    return keep_picture(job,
                        kb_local_mean(&job->grey, &job->labels, one, job->number, &job->to, err));
}

static enum kb_status do_deviation(struct job *job, struct kb_err *err) {
    return keep_picture(
        job, kb_local_deviation(&job->grey, &job->labels, one, job->number, &job->to, err));
}

static enum kb_status do_erode(struct job *job, struct kb_err *err) {
    return keep_picture(job, kb_erode(&job->labels, job->number, &job->to, err));
}

static enum kb_status do_dilate(struct job *job, struct kb_err *err) {
    return keep_picture(job, kb_dilate(&job->labels, job->number, &job->to, err));
}

static enum kb_status do_distance(struct job *job, struct kb_err *err) {
    job->out_size = pixels_of(job) * sizeof(uint32_t);
    return kb_distance_squared(job->labels.px, job->labels.width, job->labels.height,
                               job->number != 0, job->out, err);
}

static enum kb_status do_label(struct job *job, struct kb_err *err) {
    struct kb_runs runs;
    enum kb_status status = kb_runs_label(&job->labels, one, job->number, &runs, err);
    if (status != KB_OK) {
        return status;
    }
    uint32_t *region = job->out;
    job->out_size = pixels_of(job) * sizeof(uint32_t);
    memset(region, 0, job->out_size);
    for (int32_t y = 0; y < runs.height; y++) {
        for (size_t i = runs.row[y]; i < runs.row[y + 1]; i++) {
            for (int32_t x = runs.run[i].x0; x < runs.run[i].x1; x++) {
                region[(size_t)y * (size_t)runs.width + (size_t)x] = runs.run[i].region + 1;
            }
        }
    }
    kb_runs_release(&runs);
    return KB_OK;
}

static const struct {
    const char *name;
    enum kb_status (*run)(struct job *job, struct kb_err *err);
} functions[] = {
    {"histogram", do_histogram}, {"smooth", do_smooth},       {"median", do_median},
    {"mean", do_mean},           {"deviation", do_deviation}, {"erode", do_erode},
    {"dilate", do_dilate},       {"distance", do_distance},   {"label", do_label},
};

static bool read_picture(const char *path, struct kb_image *image) {
    FILE *file = fopen(path, "rb");
    if (file == NULL) {
        return false;
    }
    size_t size = (size_t)kb_image_pixels(image);
    bool whole = fread(image->px, 1, size, file) == size;
    return fclose(file) == 0 && whole;
}

static bool job_open(struct job *job, char **argv) {
    int64_t width = 0;
    int64_t height = 0;
    int64_t number = 0;
    if (!kb_parse_integer(argv[2], 1, KB_SIDE_MAX, &width) ||
        !kb_parse_integer(argv[3], 1, KB_SIDE_MAX, &height) ||
        !kb_parse_integer(argv[4], 0, INT32_MAX, &number)) {
        return false;
    }
    job->number = (int32_t)number;
    job->out = kb_alloc((size_t)width * (size_t)height + 256, sizeof(uint64_t));
    return job->out != NULL &&
           kb_image_alloc((int32_t)width, (int32_t)height, &job->grey, NULL) == KB_OK &&
           kb_image_alloc((int32_t)width, (int32_t)height, &job->labels, NULL) == KB_OK &&
           kb_image_alloc((int32_t)width, (int32_t)height, &job->to, NULL) == KB_OK &&
           read_picture(argv[5], &job->grey) && read_picture(argv[6], &job->labels);
}

static void job_release(struct job *job) {
    kb_image_release(&job->grey);
    kb_image_release(&job->labels);
    kb_image_release(&job->to);
    kb_free(job->out);
}

static bool run_named(const char *name, struct job *job) {
    for (size_t i = 0; i < sizeof functions / sizeof functions[0]; i++) {
        if (strcmp(functions[i].name, name) == 0) {
            return functions[i].run(job, NULL) == KB_OK;
        }
    }
    return false;
}

int main(int argc, char **argv) {
    if (argc != 8) {
        (void)fprintf(stderr, "usage: raster_dump WHAT WIDTH HEIGHT NUMBER GREY LABELS OUT\n");
        return 2;
    }
    struct job job = {0};
    bool done = job_open(&job, argv) && run_named(argv[1], &job) &&
                kb_write_file(argv[7], job.out, job.out_size, NULL) == KB_OK;
    job_release(&job);
    if (!done) {
        (void)fprintf(stderr, "raster_dump: %s failed\n", argv[1]);
        return 1;
    }
    return 0;
}
