/* image.c - the picture itself: one byte a pixel, rows at a stride, limits on its size.
 *
 * The limits keep every product of sizes far from overflow, so that the other files of the stage
 * need not check again.
 */
#include "raster_priv.h"

#include <stdint.h>
#include <string.h>
#if defined(__linux__)
#include <sys/mman.h>
#endif

/* Large blocks on large pages: 512 times fewer faults when they are first written. */
#define LARGE_PAGE ((uintptr_t)2 << 20)

static void ask_for_large_pages(uint8_t *px, size_t size) {
#if defined(__linux__)
    /* of the whole pages only; advice that is not taken does no harm */
    const size_t skip = (size_t)(-(uintptr_t)px & (LARGE_PAGE - 1));
    if (size >= skip + 2 * LARGE_PAGE) {
        (void)madvise(px + skip, (size - skip) & ~(size_t)(LARGE_PAGE - 1), MADV_HUGEPAGE);
    }
#else
    (void)px;
    (void)size;
#endif
}

enum kb_status kb_check_side(int32_t width, int32_t height, struct kb_err *err) {
    if (width < 1 || height < 1 || width > KB_SIDE_MAX || height > KB_SIDE_MAX ||
        (int64_t)width * height > KB_PIXELS_MAX) {
        return kb_fail(err, KB_E_INPUT, "raster", NULL,
                       "a picture of %d x %d pixels is outside what can be measured (use 1 to %d "
                       "pixels a side and at most %lld in all)",
                       width, height, KB_SIDE_MAX, (long long)KB_PIXELS_MAX);
    }
    return KB_OK;
}

enum kb_status kb_image_alloc(int32_t width, int32_t height, struct kb_image *image,
                              struct kb_err *err) {
    *image = (struct kb_image){0};
    enum kb_status status = kb_check_side(width, height, err);
    if (status != KB_OK) {
        return status;
    }
    uint8_t *px = kb_alloc((size_t)height, (size_t)width);
    if (px == NULL) {
        return kb_fail_memory(err, "raster", (size_t)height * (size_t)width);
    }
    ask_for_large_pages(px, (size_t)height * (size_t)width);
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

enum kb_status kb_check_sizes(const struct kb_image *from, const struct kb_image *to,
                              struct kb_err *err) {
    if (from->width != to->width || from->height != to->height) {
        return kb_fail(err, KB_E_USAGE, "raster", NULL,
                       "pictures of %d x %d and %d x %d pixels do not go together (give both the "
                       "same size)",
                       from->width, from->height, to->width, to->height);
    }
    return KB_OK;
}

enum kb_status kb_check_pair(const struct kb_image *from, const struct kb_image *to,
                             struct kb_err *err) {
    enum kb_status status = kb_check_sizes(from, to, err);
    if (status != KB_OK) {
        return status;
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
