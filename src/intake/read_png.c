/* read_png.c - PNG (ISO/IEC 15948, W3C PNG second edition) through libpng, row by row.
 *
 * Interlaced files are not collected by libpng, which would need the whole picture: each row of
 * each pass goes to its own places in the grey rows. gAMA and ICC profiles are ignored: grey levels
 * are taken as stored. libpng reports failure by longjmp; it ends in this file. Its warnings are
 * dropped.
 */
#include "intake_priv.h"

#include <png.h>
#include <setjmp.h>
#include <string.h>

#define METRE_UM 1e6

/* Deflate makes at most 258 bytes from 2 bits (RFC 1951). */
#define DEFLATE_RATIO 1032u

#define PASSES 7

struct png_state {
    struct kb_reading *reading;
    struct kb_err *err;
    struct kb_form form;
    png_structp png;
    png_infop info;
    uint8_t *row;
    bool interlaced;
    bool no_memory;
    char first[200]; /* libpng's complaint */
    enum kb_status status;
};

/* ---- how libpng reaches the file, the memory and us ---------------------------------------------
 */

static void on_error(png_structp png, png_const_charp text) {
    struct png_state *state = png_get_error_ptr(png);
    (void)snprintf(state->first, sizeof state->first, "%s", text);
    png_longjmp(png, 1);
}

static void on_warning(png_structp png, png_const_charp text) {
    (void)png;
    (void)text;
}

static png_voidp on_alloc(png_structp png, png_alloc_size_t size) {
    struct png_state *state = png_get_mem_ptr(png);
    void *block = kb_alloc(size, 1);
    state->no_memory |= block == NULL;
    return block;
}

static void on_free(png_structp png, png_voidp block) {
    (void)png;
    kb_free(block);
}

static void on_read(png_structp png, png_bytep to, size_t size) {
    struct png_state *state = png_get_io_ptr(png);
    if (kb_source_read(&state->reading->source, to, size) != (int64_t)size) {
        png_error(png, "it ends too early");
    }
}

/* ---- header -------------------------------------------------------------------------------------
 */

static void read_palette(struct png_state *state) {
    struct kb_form *form = &state->form;
    png_colorp colour = NULL;
    png_bytep alpha = NULL;
    int colours = 0;
    int alphas = 0;
    (void)png_get_PLTE(state->png, state->info, &colour, &colours);
    (void)png_get_tRNS(state->png, state->info, &alpha, &alphas, NULL);
    for (int i = 0; i < colours; i++) {
        const uint32_t luma = kb_luma(colour[i].red, colour[i].green, colour[i].blue);
        const uint32_t opacity = alpha != NULL && i < alphas ? alpha[i] : 255u;
        form->palette[i] = (uint8_t)((luma * opacity + 127u) / 255u + (255u - opacity));
        form->palette_clear[i] = opacity < 255u;
    }
    form->colour = KB_COLOUR_PALETTE;
}

static void read_scale(struct png_state *state) {
    struct kb_file_scale *scale = &state->reading->scale;
    png_uint_32 x = 0;
    png_uint_32 y = 0;
    int unit = 0;
    if (png_get_pHYs(state->png, state->info, &x, &y, &unit) == 0 || x == 0 || y == 0) {
        return;
    }
    if (unit == PNG_RESOLUTION_METER) {
        kb_file_scale_add(scale, METRE_UM / x, METRE_UM / y, KB_SCALE_PNG_PHYS);
    } else {
        scale->aspect = (double)y / x;
    }
}

/* The eXIf chunk may stand before or behind the pixels. */
static void read_orientation(struct png_state *state) {
    png_bytep block = NULL;
    png_uint_32 size = 0;
    if (png_get_eXIf_1(state->png, state->info, &size, &block) != 0) {
        struct kb_exif exif;
        kb_exif_read(block, size, &exif);
        state->reading->orientation = exif.orientation;
    }
}

static void read_form(struct png_state *state) {
    png_structp png = state->png;
    png_infop info = state->info;
    struct kb_form *form = &state->form;
    const int colour = png_get_color_type(png, info);
    form->width = (int32_t)png_get_image_width(png, info);
    form->height = (int32_t)png_get_image_height(png, info);
    state->reading->field->bits = png_get_bit_depth(png, info);
    state->reading->field->was_colour = (colour & PNG_COLOR_MASK_COLOR) != 0;
    state->interlaced = png_get_interlace_type(png, info) == PNG_INTERLACE_ADAM7;
    if (colour == PNG_COLOR_TYPE_PALETTE) {
        read_palette(state);
    } else {
        form->colour = (colour & PNG_COLOR_MASK_COLOR) != 0 ? KB_COLOUR_RGB : KB_COLOUR_GREY;
        if (png_get_valid(png, info, PNG_INFO_tRNS) != 0) { /* one colour that means clear */
            png_set_tRNS_to_alpha(png);
        }
    }
    const uint16_t probe = 1;
    if (png_get_bit_depth(png, info) == 16 && *(const uint8_t *)&probe == 1) {
        png_set_swap(png); /* PNG has the high byte first, this machine the low byte */
    }
    png_read_update_info(png, info);
    form->bits = png_get_bit_depth(png, info);
    form->samples = png_get_channels(png, info);
    const bool has_alpha = (png_get_color_type(png, info) & PNG_COLOR_MASK_ALPHA) != 0;
    form->alpha = has_alpha ? form->samples - 1 : KB_NO_ALPHA;
}

static enum kb_status check_claim(struct png_state *state) {
    const struct kb_source *source = &state->reading->source;
    const uint64_t row = png_get_rowbytes(state->png, state->info);
    const uint64_t bytes = row * (uint64_t)state->form.height;
    if (bytes / DEFLATE_RATIO > source->size) {
        return kb_fail(state->err, KB_E_INPUT, KB_INTAKE, source->path,
                       "its header says %ld x %ld pixels, more than the file can hold (copy or "
                       "export it again)",
                       (long)state->form.width, (long)state->form.height);
    }
    return KB_OK;
}

static enum kb_status open_canvas(struct png_state *state) {
    struct kb_reading *reading = state->reading;
    enum kb_status status =
        kb_canvas_open(&reading->canvas, &state->form, reading->params->max_pixels,
                       &reading->field->grey, reading->source.path, state->err);
    if (status == KB_OK) {
        status = check_claim(state);
    }
    const size_t size = png_get_rowbytes(state->png, state->info);
    state->row = status == KB_OK ? kb_alloc(size, 1) : NULL;
    if (status == KB_OK && state->row == NULL) {
        status = kb_fail_memory(state->err, KB_INTAKE, size);
    }
    return status;
}

/* ---- rows ---------------------------------------------------------------------------------------
 */

static void read_plain(struct png_state *state) {
    for (int32_t y = 0; y < state->form.height; y++) {
        png_read_row(state->png, state->row, NULL);
        kb_canvas_put(&state->reading->canvas, y, 0, 1, state->form.width, state->row);
    }
}

/* Adam7: each pass is a coarser picture of its own with a start and a step. */
static void read_pass(struct png_state *state, int pass) {
    const int32_t columns = (int32_t)PNG_PASS_COLS(state->form.width, pass);
    const int32_t rows = (int32_t)PNG_PASS_ROWS(state->form.height, pass);
    const int32_t step = (int32_t)1 << PNG_PASS_COL_SHIFT(pass);
    for (int32_t i = 0; i < rows && columns > 0; i++) {
        const int32_t y = PNG_PASS_START_ROW(pass) + (i << PNG_PASS_ROW_SHIFT(pass));
        png_read_row(state->png, state->row, NULL);
        kb_canvas_put(&state->reading->canvas, y, PNG_PASS_START_COL(pass), step, columns,
                      state->row);
    }
}

static void read_rows(struct png_state *state) {
    if (!state->interlaced) {
        read_plain(state);
        return;
    }
    for (int pass = 0; pass < PASSES; pass++) {
        read_pass(state, pass);
    }
}

static enum kb_status failed(const struct png_state *state) {
    if (state->no_memory) {
        return kb_fail_memory(state->err, KB_INTAKE, 0);
    }
    return kb_fail(state->err, KB_E_INPUT, KB_INTAKE, state->reading->source.path,
                   "the PNG is cut short or damaged: %s (copy or export it again)", state->first);
}

/* The one place that libpng jumps back to. No local of this function changes after setjmp(). */
static void read_guarded(struct png_state *state) {
    if (setjmp(png_jmpbuf(state->png)) != 0) { /* foreign: libpng fails by longjmp */
        state->status = failed(state);
        return;
    }
    png_set_read_fn(state->png, state, on_read);
    png_set_user_limits(state->png, KB_SIDE_MAX, KB_SIDE_MAX);
    png_read_info(state->png, state->info);
    read_form(state);
    read_scale(state);
    state->status = open_canvas(state);
    if (state->status == KB_OK) {
        read_rows(state);
        png_read_end(state->png, state->info);
        read_orientation(state);
    }
}

enum kb_status kb_read_png(struct kb_reading *reading, struct kb_err *err) {
    reading->field->format = "PNG";
    reading->field->page = 1;
    reading->field->pages = 1;
    struct png_state state = {.reading = reading, .err = err};
    state.png = png_create_read_struct_2(PNG_LIBPNG_VER_STRING, &state, on_error, on_warning,
                                         &state, on_alloc, on_free);
    state.info = state.png != NULL ? png_create_info_struct(state.png) : NULL;
    if (state.info != NULL) {
        read_guarded(&state);
    } else {
        state.status = kb_fail_memory(err, KB_INTAKE, 0);
    }
    png_destroy_read_struct(&state.png, &state.info, NULL);
    kb_free(state.row);
    return state.status;
}
