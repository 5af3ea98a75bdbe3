/* overlay_paint.c - blocks, letters and hatches on an RGB picture, clipped to it. */
#include "paint_priv.h"

void kb_picture_release(struct kb_picture *picture) {
    kb_free(picture->rgb);
    *picture = (struct kb_picture){0, 0, NULL};
}

void kb_paint_block(struct kb_picture *picture, int32_t x, int32_t y, int32_t width, int32_t height,
                    struct kb_rgb colour) {
    int32_t x0 = x < 0 ? 0 : x, y0 = y < 0 ? 0 : y;
    int32_t x1 = x + width < picture->width ? x + width : picture->width;
    int32_t y1 = y + height < picture->height ? y + height : picture->height;
    for (int32_t row = y0; row < y1; row++) {
        uint8_t *px = picture->rgb + ((size_t)row * (size_t)picture->width + (size_t)x0) * 3;
        for (int32_t column = x0; column < x1; column++, px += 3) {
            px[0] = colour.r;
            px[1] = colour.g;
            px[2] = colour.b;
        }
    }
}

int32_t kb_paint_text_width(const char *text, int32_t scale) {
    int32_t letters = kb_text_columns(text);
    return letters == 0 ? 0 : (letters * KB_GLYPH_STEP - 1) * scale;
}

static void letters(struct kb_picture *picture, int32_t x, int32_t y, int32_t scale, int32_t swell,
                    const char *text, struct kb_rgb colour) {
    uint32_t code = 0;
    for (; kb_text_next(&text, &code); x += KB_GLYPH_STEP * scale) {
        const uint8_t *glyph = kb_glyph(code);
        for (int32_t row = 0; row < KB_GLYPH_ROWS; row++) {
            for (int32_t column = 0; column < KB_GLYPH_WIDTH; column++) {
                if ((glyph[row] >> (KB_GLYPH_WIDTH - 1 - column) & 1) != 0) {
                    kb_paint_block(picture, x + column * scale - swell, y + row * scale - swell,
                                   scale + 2 * swell, scale + 2 * swell, colour);
                }
            }
        }
    }
}

void kb_paint_text(struct kb_picture *picture, int32_t x, int32_t y, int32_t scale,
                   const char *text, struct kb_rgb colour, bool halo, struct kb_rgb rim) {
    if (halo) {
        letters(picture, x, y, scale, scale, text, rim);
    }
    letters(picture, x, y, scale, 0, text, colour);
}

bool kb_hatch_at(enum kb_hatch hatch, int32_t x, int32_t y, int32_t unit) {
    /* Lines one unit wide, eleven units apart: sparse enough to read the micrograph through. */
    const int32_t period = 11 * unit;
    int32_t rising = (x + y) % period, falling = (x - y) % period;
    falling += falling < 0 ? period : 0;
    switch (hatch) {
    case KB_HATCH_RISING:
        return rising < unit;
    case KB_HATCH_FALLING:
        return falling < unit;
    case KB_HATCH_CROSS:
        return rising < unit || falling < unit;
    case KB_HATCH_DOTS:
        return x % period < 2 * unit && y % period < 2 * unit;
    case KB_HATCH_NONE:
        break;
    }
    return false;
}
