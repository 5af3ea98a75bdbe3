/* jpeg.c - rows of pixels to JPEG bytes in memory, and the two pictures of a field for the page.
 *
 * libjpeg reports failure by jumping; the jump stays inside this file.
 */
#include "paint_priv.h"

/* jpeglib.h needs FILE and size_t first */
#include <jpeglib.h>
#include <setjmp.h>

/* Photographs for judging by eye: artefacts well below the grain of a micrograph. */
enum { QUALITY = 85, CHUNK = 1 << 16 };

struct sink {
    struct jpeg_destination_mgr base; /* first: libjpeg hands back a pointer to it */
    uint8_t *data;
    size_t size;
};

struct failure {
    struct jpeg_error_mgr base; /* first */
    jmp_buf back;
};

_Noreturn static void fail(j_common_ptr codec) {
    struct failure *failure = (struct failure *)codec->err;
    longjmp(failure->back, 1);
}

static void quiet(j_common_ptr codec) {
    (void)codec;
}

static void give_room(j_compress_ptr codec, struct sink *sink, size_t used) {
    uint8_t *grown = kb_resize(sink->data, used + CHUNK + used / 2, 1);
    if (grown == NULL) {
        fail((j_common_ptr)codec);
    }
    sink->data = grown;
    sink->size = used + CHUNK + used / 2;
    sink->base.next_output_byte = grown + used;
    sink->base.free_in_buffer = sink->size - used;
}

static void start(j_compress_ptr codec) {
    struct sink *sink = (struct sink *)codec->dest;
    give_room(codec, sink, 0);
}

static boolean more(j_compress_ptr codec) {
    struct sink *sink = (struct sink *)codec->dest;
    give_room(codec, sink, sink->size); /* libjpeg calls this when all of it is used */
    return TRUE;
}

static void end(j_compress_ptr codec) {
    (void)codec;
}

struct rows {
    const uint8_t *first;
    int32_t width, height;
    int channels;
};

static bool encode(const struct rows *rows, struct sink *sink) {
    struct jpeg_compress_struct codec = {0};
    struct failure failure;
    codec.err = jpeg_std_error(&failure.base);
    failure.base.error_exit = fail;
    failure.base.output_message = quiet;
    if (setjmp(failure.back) != 0) {
        jpeg_destroy_compress(&codec);
        return false;
    }
    jpeg_create_compress(&codec);
    sink->base.init_destination = start;
    sink->base.empty_output_buffer = more;
    sink->base.term_destination = end;
    codec.dest = &sink->base;
    codec.image_width = (JDIMENSION)rows->width;
    codec.image_height = (JDIMENSION)rows->height;
    codec.input_components = rows->channels;
    codec.in_color_space = rows->channels == 1 ? JCS_GRAYSCALE : JCS_RGB;
    jpeg_set_defaults(&codec);
    jpeg_set_quality(&codec, QUALITY, TRUE);
    jpeg_start_compress(&codec, TRUE);
    size_t step = (size_t)rows->width * (size_t)rows->channels;
    while (codec.next_scanline < codec.image_height) {
        /* libjpeg takes rows as not const and does not change them */
        union {
            const uint8_t *in;
            JSAMPROW row;
        } line = {rows->first + codec.next_scanline * step};
        (void)jpeg_write_scanlines(&codec, &line.row, 1);
    }
    jpeg_finish_compress(&codec);
    jpeg_destroy_compress(&codec);
    return true;
}

enum kb_status kb_jpeg_encode(const uint8_t *rows, int32_t width, int32_t height, int channels,
                              uint8_t **bytes, size_t *size, struct kb_err *err) {
    const struct rows all = {rows, width, height, channels};
    struct sink sink = {.data = NULL, .size = 0};
    if (width > JPEG_MAX_DIMENSION || height > JPEG_MAX_DIMENSION) {
        return kb_fail(
            err, KB_E_USAGE, "report", NULL,
            "a picture of %d x %d pixels is too large for the page (ask for a smaller one)",
            (int)width, (int)height);
    }
    if (!encode(&all, &sink)) {
        kb_free(sink.data);
        return kb_fail_memory(err, "report", sink.size + CHUNK);
    }
    *bytes = sink.data;
    *size = sink.size - sink.base.free_in_buffer;
    return KB_OK;
}

/* Rows shrunk to `width` pixels and encoded. */
static enum kb_status small_jpeg(const uint8_t *from, int32_t width, int32_t height, size_t stride,
                                 int channels, int32_t to_width, int32_t *to_height,
                                 uint8_t **bytes, size_t *size, struct kb_err *err) {
    int64_t rounded = ((int64_t)height * to_width + width / 2) / width;
    *to_height = rounded < 1 ? 1 : rounded > height ? height : (int32_t)rounded;
    size_t length = (size_t)to_width * (size_t)*to_height * (size_t)channels;
    uint8_t *small = kb_alloc(length, 1);
    if (small == NULL) {
        return kb_fail_memory(err, "report", length);
    }
    enum kb_status status =
        kb_shrink(from, width, height, stride, channels, to_width, *to_height, small, err);
    if (status == KB_OK) {
        status = kb_jpeg_encode(small, to_width, *to_height, channels, bytes, size, err);
    }
    kb_free(small);
    return status;
}

enum kb_status kb_report_pictures(const struct kb_field *field, const struct kb_picture *overlay,
                                  int32_t max_width, struct kb_field_result *result,
                                  struct kb_err *err) {
    const struct kb_image *grey = &field->grey;
    if (max_width < 1 || grey->px == NULL || overlay->rgb == NULL) {
        return kb_fail(err, KB_E_USAGE, "report", field->path,
                       "no pictures to show (give a field, its overlay and a width of 1 or more)");
    }
    int32_t width = grey->width < max_width ? grey->width : max_width;
    int32_t over = overlay->width < max_width ? overlay->width : max_width;
    int32_t photo_height = 0, overlay_height = 0;
    uint8_t *photo = NULL, *drawn = NULL;
    size_t photo_size = 0, drawn_size = 0;
    enum kb_status status = small_jpeg(grey->px, grey->width, grey->height, grey->stride, 1, width,
                                       &photo_height, &photo, &photo_size, err);
    if (status == KB_OK) {
        status =
            small_jpeg(overlay->rgb, overlay->width, overlay->height, (size_t)overlay->width * 3, 3,
                       over, &overlay_height, &drawn, &drawn_size, err);
    }
    if (status != KB_OK) {
        kb_free(photo);
        return status;
    }
    kb_free(result->photo_jpeg);
    kb_free(result->overlay_jpeg);
    result->photo_jpeg = photo;
    result->photo_size = photo_size;
    result->overlay_jpeg = drawn;
    result->overlay_size = drawn_size;
    result->shown_width = width;
    result->shown_height = photo_height;
    return KB_OK;
}
