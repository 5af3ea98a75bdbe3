/* thumb.c - a field at the size of a stamp, its phases tinted, for a strip of fields.
 *
 * The grey is shrunk by its area mean. The label of a small pixel is that in the middle of what it
 * stands for: at this size the tint says which phase rules where, not where it ends.
 */
#include "paint_priv.h"

enum { SHARES = 256 };

static uint8_t mix(uint8_t grey, uint8_t colour, uint8_t tint) {
    return (uint8_t)((grey * (SHARES - tint) + colour * tint + SHARES / 2) / SHARES);
}

static void tint(const uint8_t *grey, const struct kb_image *label, int32_t width, int32_t height,
                 uint8_t *rgb) {
    for (int32_t y = 0; y < height; y++) {
        const int64_t from_y = (2 * (int64_t)y + 1) * label->height / (2 * (int64_t)height);
        const uint8_t *row = kb_row(label, (int32_t)from_y);
        for (int32_t x = 0; x < width; x++) {
            const int64_t from_x = (2 * (int64_t)x + 1) * label->width / (2 * (int64_t)width);
            const struct kb_look *look = kb_phase_look((enum kb_phase)row[from_x]);
            const size_t at = (size_t)y * (size_t)width + (size_t)x;
            for (size_t c = 0; c < 3; c++) {
                rgb[3 * at + c] = mix(grey[at], look->rgb[c], look->tint);
            }
        }
    }
}

enum kb_status kb_report_thumb(const struct kb_image *grey, const struct kb_image *label,
                               int32_t max_width, uint8_t **bytes, size_t *size,
                               struct kb_err *err) {
    const int32_t width = grey->width < max_width ? grey->width : max_width;
    const int64_t rounded = ((int64_t)grey->height * width + grey->width / 2) / grey->width;
    const int32_t height = rounded < 1              ? 1
                           : rounded > grey->height ? grey->height
                                                    : (int32_t)rounded;
    const size_t pixels = (size_t)width * (size_t)height;
    uint8_t *small = kb_alloc(pixels, 1), *rgb = kb_alloc(pixels, 3);
    if (small == NULL || rgb == NULL) {
        kb_free(small);
        kb_free(rgb);
        return kb_fail_memory(err, "report", 3 * pixels);
    }
    enum kb_status status =
        kb_shrink(grey->px, grey->width, grey->height, grey->stride, 1, width, height, small, err);
    if (status == KB_OK && label != NULL && label->px != NULL) {
        tint(small, label, width, height, rgb);
        status = kb_jpeg_encode(rgb, width, height, 3, bytes, size, err);
    } else if (status == KB_OK) {
        status = kb_jpeg_encode(small, width, height, 1, bytes, size, err);
    }
    kb_free(small);
    kb_free(rgb);
    return status;
}
