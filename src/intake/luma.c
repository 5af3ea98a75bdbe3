/* luma.c - samples of any kind to 8-bit grey.
 *
 * Colour becomes luma Y' = 0.299 R' + 0.587 G' + 0.114 B' (ITU-R BT.601-7, 2.5.1), in 16-bit fixed
 * point whose weights sum to 1 exactly, so that a grey pixel keeps its level. CMYK goes to RGB
 * first by R = (1 - C)(1 - K). What lets the ground through is laid over white, as a mounted print
 * would be. Samples of more than 8 bits keep their depth until the whole picture is known; then the
 * window from the 0.01 % to the 99.99 % quantile is stretched to 0..255, so that a few hot pixels
 * do not cost contrast. 8-bit grey and RGB and 16-bit grey, the common kinds, have ways of their
 * own.
 */
#include "intake_priv.h"

#include <string.h>

/* One pixel in so many is left outside the window at either end. */
#define WINDOW_SHARE 10000u

/* Weights times 2^16; they sum to 65536. */
#define WEIGHT_RED 19595u
#define WEIGHT_GREEN 38470u
#define WEIGHT_BLUE 7471u

uint32_t kb_luma(uint32_t red, uint32_t green, uint32_t blue) {
    return (WEIGHT_RED * red + WEIGHT_GREEN * green + WEIGHT_BLUE * blue + 0x8000u) >> 16;
}

static enum kb_status check_size(const struct kb_form *form, uint64_t max_pixels, const char *path,
                                 struct kb_err *err) {
    if (form->width < 1 || form->height < 1 || form->width > KB_SIDE_MAX ||
        form->height > KB_SIDE_MAX) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, path,
                       "its header says %ld x %ld pixels; sides of 1 to %d can be measured (cut it "
                       "into fields)",
                       (long)form->width, (long)form->height, KB_SIDE_MAX);
    }
    if ((uint64_t)form->width * (uint64_t)form->height > max_pixels) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, path,
                       "%ld x %ld pixels are more than the limit of %llu (cut it into fields, or "
                       "raise the limit)",
                       (long)form->width, (long)form->height, (unsigned long long)max_pixels);
    }
    return KB_OK;
}

enum kb_status kb_canvas_open(struct kb_canvas *canvas, const struct kb_form *form,
                              uint64_t max_pixels, struct kb_image *grey, const char *path,
                              struct kb_err *err) {
    const bool is_palette = form->colour == KB_COLOUR_PALETTE;
    *canvas = (struct kb_canvas){.form = *form, .grey = grey};
    canvas->top = is_palette ? 255u : (1u << form->bits) - 1u;
    enum kb_status status = check_size(form, max_pixels, path, err);
    if (status == KB_OK) {
        status = kb_image_alloc(form->width, form->height, grey, err);
    }
    if (status != KB_OK) {
        return status;
    }
    const size_t width = (size_t)form->width;
    canvas->wide = kb_alloc(width, form->samples * sizeof *canvas->wide);
    canvas->luma = kb_alloc(width, sizeof *canvas->luma);
    if (form->bits > 8) {
        canvas->deep = kb_alloc(width, (size_t)form->height * sizeof *canvas->deep);
    }
    if (canvas->wide == NULL || canvas->luma == NULL || (form->bits > 8 && canvas->deep == NULL)) {
        return kb_fail_memory(err, KB_INTAKE, width * (size_t)form->height * 2);
    }
    return KB_OK;
}

void kb_canvas_release(struct kb_canvas *canvas) {
    kb_free(canvas->deep);
    kb_free(canvas->wide);
    kb_free(canvas->luma);
    canvas->deep = NULL;
    canvas->wide = NULL;
    canvas->luma = NULL;
}

/* Samples of 1, 2, 4 or 12 bits, packed from the high bits down. */
static void widen_packed(const uint8_t *bytes, uint32_t bits, size_t count, uint16_t *wide) {
    const uint32_t mask = (1u << bits) - 1u;
    uint32_t store = 0;
    uint32_t stored = 0;
    for (size_t i = 0; i < count; i++) {
        while (stored < bits) {
            store = store << 8 | *bytes++;
            stored += 8;
        }
        stored -= bits;
        wide[i] = (uint16_t)(store >> stored & mask);
    }
}

static void widen(const struct kb_form *form, const void *samples, size_t count, uint16_t *wide) {
    if (form->bits == 16) {
        memcpy(wide, samples, count * sizeof *wide);
    } else if (form->bits == 8) {
        const uint8_t *bytes = samples;
        for (size_t i = 0; i < count; i++) {
            wide[i] = bytes[i];
        }
    } else {
        widen_packed(samples, form->bits, count, wide);
    }
}

/* (a * b) / top, rounded; a and b up to top, top up to 65535. */
static uint32_t times(uint32_t a, uint32_t b, uint32_t top) {
    return (uint32_t)(((uint64_t)a * b + top / 2) / top);
}

static uint32_t pixel_luma(const struct kb_form *form, const uint16_t *pixel, uint32_t top) {
    switch (form->colour) {
    case KB_COLOUR_RGB:
        return kb_luma(pixel[0], pixel[1], pixel[2]);
    case KB_COLOUR_CMYK: {
        uint32_t light[4];
        for (size_t i = 0; i < 4; i++) {
            light[i] = form->inverted ? pixel[i] : top - pixel[i];
        }
        return kb_luma(times(light[0], light[3], top), times(light[1], light[3], top),
                       times(light[2], light[3], top));
    }
    case KB_COLOUR_PALETTE:
        return form->palette[pixel[0] & 0xffu];
    case KB_COLOUR_GREY:
        break;
    }
    return form->inverted ? top - pixel[0] : pixel[0];
}

/* Luma over white. */
static uint32_t over_white(const struct kb_form *form, uint32_t luma, uint32_t alpha,
                           uint32_t top) {
    const uint32_t colour = form->alpha_in_colour ? luma : times(luma, alpha, top);
    const uint32_t sum = colour + (top - alpha);
    return sum < top ? sum : top;
}

static void luma_row(struct kb_canvas *canvas, size_t count) {
    const struct kb_form *form = &canvas->form;
    const uint32_t top = canvas->top;
    for (size_t i = 0; i < count; i++) {
        const uint16_t *pixel = canvas->wide + i * form->samples;
        uint32_t luma = pixel_luma(form, pixel, top);
        if (form->alpha != KB_NO_ALPHA) {
            const uint32_t alpha = pixel[form->alpha];
            canvas->see_through |= alpha < top;
            luma = over_white(form, luma, alpha, top);
        } else if (form->colour == KB_COLOUR_PALETTE) {
            canvas->see_through |= form->palette_clear[pixel[0] & 0xffu];
        }
        canvas->luma[i] = (uint16_t)luma;
    }
}

static void put_deep(struct kb_canvas *canvas, int32_t y, int32_t x0, int32_t step, int32_t count) {
    uint16_t *to = canvas->deep + (size_t)y * (size_t)canvas->form.width + x0;
    for (int32_t i = 0; i < count; i++) {
        to[(ptrdiff_t)i * step] = canvas->luma[i];
    }
}

static void put_shallow(struct kb_canvas *canvas, int32_t y, int32_t x0, int32_t step,
                        int32_t count) {
    const uint32_t top = canvas->top;
    uint8_t *to = kb_row(canvas->grey, y) + x0;
    for (int32_t i = 0; i < count; i++) {
        to[(ptrdiff_t)i * step] = (uint8_t)((canvas->luma[i] * 255u + top / 2) / top);
    }
}

static void put_grey8(const uint8_t *from, bool inverted, size_t count, uint8_t *to) {
    if (!inverted) {
        memmove(to, from, count);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        to[i] = (uint8_t)(255u - from[i]);
    }
}

static void put_rgb8(const uint8_t *from, size_t count, uint8_t *to) {
    for (size_t i = 0; i < count; i++) {
        to[i] = (uint8_t)kb_luma(from[3 * i], from[3 * i + 1], from[3 * i + 2]);
    }
}

void kb_canvas_put(struct kb_canvas *canvas, int32_t y, int32_t x0, int32_t step, int32_t count,
                   const void *samples) {
    const struct kb_form *form = &canvas->form;
    if (canvas->deep != NULL && form->bits == 16 && step == 1 && form->samples == 1 &&
        !form->inverted) {
        uint16_t *to = canvas->deep + (size_t)y * (size_t)form->width + x0;
        memcpy(to, samples, (size_t)count * sizeof *to);
        return;
    }
    if (form->bits == 8 && step == 1 && form->alpha == KB_NO_ALPHA) {
        uint8_t *to = kb_row(canvas->grey, y) + x0;
        if (form->colour == KB_COLOUR_GREY && form->samples == 1) {
            put_grey8(samples, form->inverted, (size_t)count, to);
            return;
        }
        if (form->colour == KB_COLOUR_RGB && form->samples == 3) {
            put_rgb8(samples, (size_t)count, to);
            return;
        }
    }
    widen(form, samples, (size_t)count * form->samples, canvas->wide);
    luma_row(canvas, (size_t)count);
    if (canvas->deep != NULL) {
        put_deep(canvas, y, x0, step, count);
    } else {
        put_shallow(canvas, y, x0, step, count);
    }
}

/* The levels between which all but one pixel in WINDOW_SHARE at either end lie. */
static void find_window(const uint64_t *bins, uint32_t top, uint64_t pixels, uint32_t *low,
                        uint32_t *high) {
    const uint64_t outside = pixels / WINDOW_SHARE;
    uint32_t first = 0;
    for (uint64_t seen = bins[0]; seen <= outside; seen += bins[first]) {
        first++;
    }
    uint32_t last = top;
    for (uint64_t seen = bins[top]; seen <= outside; seen += bins[last]) {
        last--;
    }
    if (last <= first) { /* one level: any window that holds it will do, but it needs a width */
        last = first < top ? first + 1 : first;
        first = last - 1;
    }
    *low = first;
    *high = last;
}

static void window_levels(uint32_t low, uint32_t high, uint32_t top, uint8_t *level) {
    const uint32_t span = high - low;
    for (uint32_t value = 0; value <= top; value++) {
        const uint32_t inside = value < low ? 0 : value > high ? span : value - low;
        level[value] = (uint8_t)((inside * 255u + span / 2) / span);
    }
}

static enum kb_status window_deep(struct kb_canvas *canvas, uint32_t top, uint32_t *low,
                                  uint32_t *high, struct kb_err *err) {
    const size_t width = (size_t)canvas->form.width;
    const size_t pixels = width * (size_t)canvas->form.height;
    uint64_t *bins = kb_alloc_zero((size_t)top + 1, sizeof *bins);
    uint8_t *level = kb_alloc((size_t)top + 1, 1);
    if (bins == NULL || level == NULL) {
        kb_free(bins);
        kb_free(level);
        return kb_fail_memory(err, KB_INTAKE, (size_t)top * sizeof *bins);
    }
    for (size_t i = 0; i < pixels; i++) {
        bins[canvas->deep[i]]++;
    }
    find_window(bins, top, pixels, low, high);
    window_levels(*low, *high, top, level);
    for (int32_t y = 0; y < canvas->form.height; y++) {
        const uint16_t *from = canvas->deep + (size_t)y * width;
        uint8_t *to = kb_row(canvas->grey, y);
        for (size_t x = 0; x < width; x++) {
            to[x] = level[from[x]];
        }
    }
    kb_free(bins);
    kb_free(level);
    return KB_OK;
}

enum kb_status kb_canvas_finish(struct kb_canvas *canvas, double *low, double *high,
                                struct kb_err *err) {
    const struct kb_form *form = &canvas->form;
    const uint32_t top = canvas->top;
    uint32_t first = 0;
    uint32_t last = top;
    if (canvas->deep != NULL) {
        enum kb_status status = window_deep(canvas, top, &first, &last, err);
        if (status != KB_OK) {
            return status;
        }
    }
    const bool flip = form->inverted && form->colour == KB_COLOUR_GREY;
    *low = flip ? top - first : first;
    *high = flip ? top - last : last;
    return KB_OK;
}
