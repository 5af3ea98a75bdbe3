/* image.c - the picture itself: one byte a pixel, rows at a stride, limits on its size.
 *
 * The limits keep every product of sizes far from overflow, so that the other files of the stage
 * need not check again.
 */
#include "raster_priv.h"

#include <string.h>

enum kb_status kb_image_alloc(int32_t width, int32_t height, struct kb_image *image,
                              struct kb_err *err) {
    *image = (struct kb_image){0};
    if (width < 1 || height < 1 || width > KB_SIDE_MAX || height > KB_SIDE_MAX ||
        (int64_t)width * height > KB_PIXELS_MAX) {
        return kb_fail(err, KB_E_INPUT, "raster", NULL,
                       "a picture of %d x %d pixels is outside what can be measured (use 1 to %d "
                       "pixels a side and at most %lld in all)",
                       width, height, KB_SIDE_MAX, (long long)KB_PIXELS_MAX);
    }
    uint8_t *px = kb_alloc((size_t)height, (size_t)width);
    if (px == NULL) {
        return kb_fail_memory(err, "raster", (size_t)height * (size_t)width);
    }
    *image = (struct kb_image){.width = width, .height = height, .stride = (size_t)width, .px = px};
    return KB_OK;
}

void kb_image_release(struct kb_image *image) {
    kb_free(image->px);
    *image = (struct kb_image){0};
}

void kb_image_fill(struct kb_image *image, uint8_t value) {
    for (int32_t y = 0; y < image->height; y++) {
        memset(kb_row(image, y), value, (size_t)image->width);
    }
}

enum kb_status kb_check_pair(const struct kb_image *from, const struct kb_image *to,
                             struct kb_err *err) {
    if (from->width != to->width || from->height != to->height) {
        return kb_fail(err, KB_E_USAGE, "raster", NULL,
                       "pictures of %d x %d and %d x %d pixels do not go together (give both the "
                       "same size)",
                       from->width, from->height, to->width, to->height);
    }
    if (from->px == to->px) {
        return kb_fail(err, KB_E_USAGE, "raster", NULL,
                       "a picture cannot be filtered into itself (give another picture)");
    }
    return KB_OK;
}

enum kb_status kb_check_radius(int32_t radius, struct kb_err *err) {
    if (radius < 0) {
        return kb_fail(err, KB_E_USAGE, "raster", NULL,
                       "a radius of %d pixels has no meaning (give 0 or more)", radius);
    }
    return KB_OK;
}
