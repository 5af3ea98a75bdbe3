/* read_jpeg.c - JPEG (ISO/IEC 10918-1) with JFIF, Adobe and EXIF markers, through libjpeg-turbo.
 *
 * A YCbCr picture is decoded in its luminance plane only: that is Y' of BT.601 as it was stored,
 * with no way through RGB and back. CMYK as written with an Adobe marker has its inks inverted.
 * libjpeg only warns when data are missing and fills up with grey; here that is an error. It
 * reports failure through error_exit, which must not return: the longjmp ends in this file.
 */
#include "intake_priv.h"

#include <setjmp.h>
#include <stdio.h>
#include <string.h>

#include <jerror.h>
#include <jpeglib.h>

#define INCH_UM 25400.0
#define CM_UM 10000.0

#define MARKER_EXIF (JPEG_APP0 + 1)

/* A progressive picture of more scans than this is an attack on time, not a picture. */
#define SCANS_MAX 200

/* An 8 x 8 block costs at least 1 bit in one progressive scan: more pixels a byte cannot be. */
#define PIXELS_PER_BYTE 512u

#define READ_SIZE ((size_t)1 << 16)

struct jpeg_state {
    struct jpeg_decompress_struct jpeg;
    struct jpeg_error_mgr errors;
    struct jpeg_progress_mgr progress;
    struct jpeg_source_mgr input;
    jmp_buf back;
    struct kb_reading *reading;
    struct kb_err *err;
    struct kb_form form;
    uint8_t *row;
    uint8_t *buffer;
    bool decoding;
    bool odd_bytes; /* bytes between markers that mean nothing */
    bool no_memory;
    char first[JMSG_LENGTH_MAX];
    enum kb_status status;
};

/* ---- how libjpeg reaches the file and us --------------------------------------------------------
 */

static struct jpeg_state *state_of(j_common_ptr jpeg) {
    return jpeg->client_data;
}

static void on_fatal(j_common_ptr jpeg) {
    struct jpeg_state *state = state_of(jpeg);
    state->no_memory = jpeg->err->msg_code == JERR_OUT_OF_MEMORY;
    if (state->first[0] == '\0') {
        jpeg->err->format_message(jpeg, state->first);
    }
    longjmp(state->back, 1); /* foreign: libjpeg's error_exit must not return */
}

/* Level -1 is a warning: the data are wrong and libjpeg is about to make something up. */
static void on_message(j_common_ptr jpeg, int level) {
    struct jpeg_state *state = state_of(jpeg);
    if (level >= 0) {
        return;
    }
    switch (jpeg->err->msg_code) {
    case JWRN_JFIF_MAJOR:
    case JWRN_ADOBE_XFORM:
    case JWRN_BOGUS_ICC:
        return;
    case JWRN_EXTRANEOUS_DATA:
        state->odd_bytes |= state->decoding;
        return;
    default:
        on_fatal(jpeg);
    }
}

static void on_output(j_common_ptr jpeg) {
    (void)jpeg;
}

static void on_progress(j_common_ptr jpeg) {
    struct jpeg_state *state = state_of(jpeg);
    if (state->jpeg.input_scan_number > SCANS_MAX) {
        (void)snprintf(state->first, sizeof state->first, "more than %d scans", SCANS_MAX);
        on_fatal(jpeg);
    }
}

static void input_start(j_decompress_ptr jpeg) {
    (void)jpeg;
}

static boolean input_fill(j_decompress_ptr jpeg) {
    struct jpeg_state *state = state_of((j_common_ptr)jpeg);
    const int64_t got = kb_source_read(&state->reading->source, state->buffer, READ_SIZE);
    if (got <= 0) {
        (void)snprintf(state->first, sizeof state->first, "it ends too early");
        on_fatal((j_common_ptr)jpeg);
    }
    state->input.next_input_byte = state->buffer;
    state->input.bytes_in_buffer = (size_t)got;
    return TRUE;
}

static void input_skip(j_decompress_ptr jpeg, long count) {
    struct jpeg_state *state = state_of((j_common_ptr)jpeg);
    while (count > 0 && (size_t)count > state->input.bytes_in_buffer) {
        count -= (long)state->input.bytes_in_buffer;
        (void)input_fill(jpeg);
    }
    if (count > 0) {
        state->input.next_input_byte += count;
        state->input.bytes_in_buffer -= (size_t)count;
    }
}

static void input_end(j_decompress_ptr jpeg) {
    (void)jpeg;
}

static void connect(struct jpeg_state *state) {
    struct jpeg_decompress_struct *jpeg = &state->jpeg;
    state->errors.error_exit = on_fatal;
    state->errors.emit_message = on_message;
    state->errors.output_message = on_output;
    state->progress.progress_monitor = on_progress;
    state->input.init_source = input_start;
    state->input.fill_input_buffer = input_fill;
    state->input.skip_input_data = input_skip;
    state->input.resync_to_restart = jpeg_resync_to_restart;
    state->input.term_source = input_end;
    jpeg->src = &state->input;
    jpeg->progress = &state->progress;
    jpeg_save_markers(jpeg, MARKER_EXIF, 0xffff);
}

/* ---- header -------------------------------------------------------------------------------------
 */

static void read_exif(struct jpeg_state *state) {
    static const char name[6] = "Exif\0";
    struct kb_reading *reading = state->reading;
    for (jpeg_saved_marker_ptr m = state->jpeg.marker_list; m != NULL; m = m->next) {
        if (m->marker != MARKER_EXIF || m->data_length < sizeof name ||
            memcmp(m->data, name, sizeof name) != 0) {
            continue;
        }
        struct kb_exif exif;
        kb_exif_read(m->data + sizeof name, m->data_length - sizeof name, &exif);
        reading->orientation = exif.orientation;
        if (exif.x_res > 0.0 && exif.y_res > 0.0 && exif.unit_um > 0.0) {
            kb_file_scale_add(&reading->scale, exif.unit_um / exif.x_res, exif.unit_um / exif.y_res,
                              KB_SCALE_JPEG_TAG);
        }
        return; /* the first block speaks; EXIF allows one */
    }
}

static void read_density(struct jpeg_state *state) {
    const struct jpeg_decompress_struct *jpeg = &state->jpeg;
    struct kb_file_scale *scale = &state->reading->scale;
    if (!jpeg->saw_JFIF_marker || jpeg->X_density == 0 || jpeg->Y_density == 0) {
        return;
    }
    if (jpeg->density_unit == 1 || jpeg->density_unit == 2) {
        const double um = jpeg->density_unit == 1 ? INCH_UM : CM_UM;
        kb_file_scale_add(scale, um / jpeg->X_density, um / jpeg->Y_density, KB_SCALE_JPEG_TAG);
    } else {
        scale->aspect = (double)jpeg->Y_density / jpeg->X_density;
    }
}

static enum kb_status refuse(struct jpeg_state *state, const char *what) {
    return kb_fail(state->err, KB_E_INPUT, KB_INTAKE, state->reading->source.path,
                   "%s (export it as a grey or RGB JPEG, or as TIFF)", what);
}

static enum kb_status read_form(struct jpeg_state *state) {
    struct jpeg_decompress_struct *jpeg = &state->jpeg;
    struct kb_form *form = &state->form;
    *form = (struct kb_form){.width = (int32_t)jpeg->image_width,
                             .height = (int32_t)jpeg->image_height,
                             .bits = 8,
                             .samples = 1,
                             .alpha = KB_NO_ALPHA};
    switch (jpeg->jpeg_color_space) {
    case JCS_GRAYSCALE:
    case JCS_YCbCr:
    case JCS_RGB:
        jpeg->out_color_space = JCS_GRAYSCALE;
        break;
    case JCS_CMYK:
    case JCS_YCCK:
        jpeg->out_color_space = JCS_CMYK;
        form->colour = KB_COLOUR_CMYK;
        form->samples = 4;
        form->inverted = jpeg->saw_Adobe_marker != 0;
        break;
    default:
        return refuse(state, "its kind of colour is not known");
    }
    state->reading->field->bits = 8;
    state->reading->field->was_colour = jpeg->num_components > 1;
    const uint64_t pixels = (uint64_t)jpeg->image_width * jpeg->image_height;
    if (!jpeg->arith_code && pixels / PIXELS_PER_BYTE > state->reading->source.size) {
        return kb_fail(state->err, KB_E_INPUT, KB_INTAKE, state->reading->source.path,
                       "its header says %ld x %ld pixels, more than the file can hold (copy or "
                       "export it again)",
                       (long)form->width, (long)form->height);
    }
    return KB_OK;
}

static enum kb_status open_canvas(struct jpeg_state *state) {
    struct kb_reading *reading = state->reading;
    enum kb_status status = read_form(state);
    if (status == KB_OK) {
        status = kb_canvas_open(&reading->canvas, &state->form, reading->params->max_pixels,
                                &reading->field->grey, reading->source.path, state->err);
    }
    const size_t size = (size_t)state->form.width * state->form.samples;
    state->row = status == KB_OK ? kb_alloc(size, 1) : NULL;
    if (status == KB_OK && state->row == NULL) {
        status = kb_fail_memory(state->err, KB_INTAKE, size);
    }
    return status;
}

/* ---- rows ---------------------------------------------------------------------------------------
 */

static void read_rows(struct jpeg_state *state) {
    struct jpeg_decompress_struct *jpeg = &state->jpeg;
    state->decoding = true;
    (void)jpeg_start_decompress(jpeg);
    while (jpeg->output_scanline < jpeg->output_height) {
        const int32_t y = (int32_t)jpeg->output_scanline;
        JSAMPROW row = state->row;
        (void)jpeg_read_scanlines(jpeg, &row, 1);
        kb_canvas_put(&state->reading->canvas, y, 0, 1, state->form.width, state->row);
    }
    (void)jpeg_finish_decompress(jpeg);
}

static enum kb_status failed(struct jpeg_state *state) {
    if (state->no_memory) {
        return kb_fail_memory(state->err, KB_INTAKE, 0);
    }
    const int code = state->errors.msg_code;
    if (code == JERR_BAD_PRECISION) {
        return refuse(state, "samples of other than 8 bits are not supported");
    }
    if (code == JERR_SOF_UNSUPPORTED) {
        return refuse(state, "lossless and hierarchical JPEG are not supported");
    }
    return kb_fail(state->err, KB_E_INPUT, KB_INTAKE, state->reading->source.path,
                   "the JPEG is cut short or damaged: %.200s (copy or export it again)",
                   state->first);
}

/* The one place that libjpeg's failures jump back to; no local changes after setjmp(). */
static void read_guarded(struct jpeg_state *state) {
    if (setjmp(state->back) != 0) { /* foreign: libjpeg's error_exit */
        state->status = failed(state);
        return;
    }
    jpeg_create_decompress(&state->jpeg);
    connect(state);
    (void)jpeg_read_header(&state->jpeg, TRUE);
    read_exif(state);
    read_density(state);
    state->status = open_canvas(state);
    if (state->status == KB_OK) {
        read_rows(state);
    }
}

static enum kb_status tell_odd_bytes(const struct jpeg_state *state) {
    if (!state->odd_bytes || state->status != KB_OK) {
        return state->status;
    }
    return kb_findings_add(&state->reading->field->findings, state->err, KB_WARNING,
                           "odd-jpeg-data",
                           "The JPEG holds bytes that belong to no part of the picture, as after a "
                           "bad transfer. Look at the picture closely, or copy it again.");
}

enum kb_status kb_read_jpeg(struct kb_reading *reading, struct kb_err *err) {
    reading->field->format = "JPEG";
    reading->field->page = 1;
    reading->field->pages = 1;
    struct jpeg_state *state = kb_alloc_zero(1, sizeof *state);
    uint8_t *buffer = kb_alloc(READ_SIZE, 1);
    enum kb_status status = KB_E_MEMORY;
    if (state == NULL || buffer == NULL) {
        status = kb_fail_memory(err, KB_INTAKE, READ_SIZE);
    } else {
        state->reading = reading;
        state->err = err;
        state->buffer = buffer;
        state->jpeg.err = jpeg_std_error(&state->errors);
        state->jpeg.client_data = state;
        read_guarded(state);
        status = tell_odd_bytes(state);
        jpeg_destroy_decompress(&state->jpeg);
        kb_free(state->row);
    }
    kb_free(buffer);
    kb_free(state);
    return status;
}
