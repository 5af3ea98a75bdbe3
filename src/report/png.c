/* png.c - an RGB picture to a PNG file, whole or not at all.
 *
 * The fast end of zlib and one fixed filter: an overlay is looked at once and the noise of a
 * micrograph hardly compresses, so that time is worth more than bytes. libpng reports failure by
 * jumping; the jump stays inside this file.
 */
#include "paint_priv.h"

#include <png.h>
#include <setjmp.h>
#include <string.h>

static png_voidp png_take(png_structp png, png_alloc_size_t size) {
    (void)png;
    return kb_alloc(size, 1);
}

static void png_give(png_structp png, png_voidp block) {
    (void)png;
    kb_free(block);
}

struct failure {
    char text[128];
};

_Noreturn static void fail(png_structp png, png_const_charp text) {
    struct failure *failure = png_get_error_ptr(png);
    (void)snprintf(failure->text, sizeof failure->text, "%s", text);
    longjmp(png_jmpbuf(png), 1);
}

static void ignore(png_structp png, png_const_charp text) {
    (void)png;
    (void)text;
}

static void describe(png_structp png, png_infop info, const struct kb_picture *picture,
                     double px_um) {
    png_set_IHDR(png, info, (png_uint_32)picture->width, (png_uint_32)picture->height, 8,
                 PNG_COLOR_TYPE_RGB, PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT,
                 PNG_FILTER_TYPE_DEFAULT);
    double per_metre = px_um > 0.0 ? 1e6 / px_um : 0.0;
    if (per_metre >= 1.0 && per_metre < (double)PNG_UINT_31_MAX) {
        png_uint_32 pixels = (png_uint_32)(per_metre + 0.5);
        png_set_pHYs(png, info, pixels, pixels, PNG_RESOLUTION_METER);
    }
}

/* False when libpng gave up; `failure` then says why. */
static bool encode(FILE *stream, const struct kb_picture *picture, double px_um,
                   struct failure *failure) {
    png_structp png = png_create_write_struct_2(PNG_LIBPNG_VER_STRING, failure, fail, ignore, NULL,
                                                png_take, png_give);
    png_infop info = png != NULL ? png_create_info_struct(png) : NULL;
    if (info == NULL) {
        png_destroy_write_struct(&png, NULL);
        (void)snprintf(failure->text, sizeof failure->text, "out of memory");
        return false;
    }
    if (setjmp(png_jmpbuf(png)) != 0) {
        png_destroy_write_struct(&png, &info);
        return false;
    }
    png_init_io(png, stream);
    png_set_compression_level(png, 1);
    png_set_compression_strategy(png, 3); /* Z_RLE of zlib.h: fastest for filtered pictures */
    png_set_filter(png, PNG_FILTER_TYPE_BASE, PNG_FILTER_SUB);
    describe(png, info, picture, px_um);
    png_write_info(png, info);
    for (int32_t y = 0; y < picture->height; y++) {
        png_write_row(png, picture->rgb + (size_t)y * (size_t)picture->width * 3);
    }
    png_write_end(png, info);
    png_destroy_write_struct(&png, &info);
    return true;
}

enum kb_status kb_write_png(const char *path, const struct kb_picture *picture, double px_um,
                            struct kb_err *err) {
    struct kb_outfile out;
    if (picture->rgb == NULL || picture->width < 1 || picture->height < 1) {
        return kb_fail(err, KB_E_USAGE, "report", path,
                       "nothing to write (draw the picture first)");
    }
    enum kb_status status = kb_outfile_open(path, &out, err);
    if (status != KB_OK) {
        return status;
    }
    struct failure failure = {""};
    if (!encode(out.stream, picture, px_um, &failure)) {
        kb_outfile_abandon(&out);
        bool memory = strcmp(failure.text, "Write Error") != 0;
        return memory ? kb_fail(err, KB_E_MEMORY, "report", path,
                                "cannot write the picture: %s "
                                "(close other programs and try again)",
                                failure.text)
                      : kb_fail(err, KB_E_SYSTEM, "report", path,
                                "cannot write the picture: %s "
                                "(free some space or choose another folder)",
                                failure.text);
    }
    return kb_outfile_commit(&out, err);
}
