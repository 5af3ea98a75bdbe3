/* read_tiff.c - TIFF 6.0 and BigTIFF through libtiff: page, kind of pixels, scale and orientation.
 *
 * Taken: 1, 2, 4, 8, 12 and 16 bits unsigned; grey either way round, RGB, palette, CMYK; YCbCr in 8
 * bits; extra samples. Refused with advice: signed, floating-point and 32-bit samples, raw sensor
 * mosaics, and L*a*b*, whose way to grey levels depends on a display. libtiff's process-wide
 * handlers are left alone: complaints of this file come to this reading only, and nothing is
 * printed. Tag numbers and defaults follow the TIFF 6.0 specification (Adobe, 1992).
 */
#include "tiff_priv.h"

#include <string.h>

/* No single piece of libtiff's own working memory may be larger than this or the file's size. */
#define LIBTIFF_PIECE ((uint64_t)256 << 20)

/* More channels than any camera or multi-band export has; keeps row buffers small. */
#define SAMPLES_MAX 64

#define INCH_UM 25400.0
#define CM_UM 10000.0

/* ---- how libtiff reaches the file and us --------------------------------------------------------
 */

static tmsize_t client_read(thandle_t handle, void *to, tmsize_t size) {
    struct kb_tiff *tiff = handle;
    return (tmsize_t)kb_source_read(&tiff->reading->source, to, (size_t)size);
}

static tmsize_t client_write(thandle_t handle, void *from, tmsize_t size) {
    (void)handle;
    (void)from;
    (void)size;
    return -1;
}

static toff_t client_seek(thandle_t handle, toff_t offset, int whence) {
    struct kb_tiff *tiff = handle;
    struct kb_source *source = &tiff->reading->source;
    uint64_t base = 0;
    if (whence == SEEK_CUR) {
        base = source->at;
    } else if (whence == SEEK_END) {
        base = source->size;
    }
    const uint64_t wanted = base + offset;
    if (wanted >
        INT64_MAX) { /* beyond what a file can be: end of file, not an error of the system */
        return (toff_t)-1;
    }
    source->at = wanted;
    return wanted;
}

static int client_close(thandle_t handle) {
    (void)handle; /* the reading closes its source itself */
    return 0;
}

static toff_t client_size(thandle_t handle) {
    const struct kb_tiff *tiff = handle;
    return tiff->reading->source.size;
}

static void keep_first(struct kb_tiff *tiff, const char *format, va_list args)
    __attribute__((format(printf, 2, 0)));

static void keep_first(struct kb_tiff *tiff, const char *format, va_list args) {
    if (tiff->first[0] == '\0') {
        (void)vsnprintf(tiff->first, sizeof tiff->first, format, args);
    }
}

static int on_error(TIFF *tif, void *user, const char *module, const char *format, va_list args)
    __attribute__((format(printf, 4, 0)));

static int on_error(TIFF *tif, void *user, const char *module, const char *format, va_list args) {
    (void)tif;
    (void)module;
    keep_first(user, format, args);
    return 1; /* dealt with: do not go on to the process-wide handler */
}

static int on_warning(TIFF *tif, void *user, const char *module, const char *format, va_list args)
    __attribute__((format(printf, 4, 0)));

/* The JPEG and the fax decoder only warn when data are missing, then invent the rest. */
static int on_warning(TIFF *tif, void *user, const char *module, const char *format, va_list args) {
    (void)tif;
    struct kb_tiff *tiff = user;
    const bool inventing =
        module != NULL && (strncmp(module, "JPEG", 4) == 0 || strncmp(module, "Fax", 3) == 0);
    if (tiff->decoding && inventing) {
        keep_first(tiff, format, args);
    }
    return 1;
}

static enum kb_status open_tiff(struct kb_tiff *tiff, struct kb_err *err) {
    const struct kb_source *source = &tiff->reading->source;
    TIFFOpenOptions *options = TIFFOpenOptionsAlloc();
    if (options == NULL) {
        return kb_fail_memory(err, KB_INTAKE, 1);
    }
    const uint64_t piece = source->size > LIBTIFF_PIECE ? source->size : LIBTIFF_PIECE;
    TIFFOpenOptionsSetMaxSingleMemAlloc(options, (tmsize_t)piece);
    TIFFOpenOptionsSetErrorHandlerExtR(options, on_error, tiff);
    TIFFOpenOptionsSetWarningHandlerExtR(options, on_warning, tiff);
    tiff->tif = TIFFClientOpenExt(source->path, "rm", tiff, client_read, client_write, client_seek,
                                  client_close, client_size, NULL, NULL, options);
    TIFFOpenOptionsFree(options);
    if (tiff->tif == NULL) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, source->path,
                       "the TIFF is cut short or damaged: %s (copy or export it again)",
                       tiff->first);
    }
    return KB_OK;
}

/* ---- scale, page, orientation -------------------------------------------------------------------
 */

static enum kb_status read_ome(struct kb_tiff *tiff, struct kb_err *err) {
    const char *description = NULL;
    if (TIFFGetField(tiff->tif, TIFFTAG_IMAGEDESCRIPTION, &description) != 1 ||
        !kb_ome_is(description)) {
        return KB_OK;
    }
    struct kb_file_scale *scale = &tiff->reading->scale;
    struct kb_pitch pitch = {0.0, 0.0, KB_SCALE_OME};
    enum kb_status status = kb_ome_read(description, &pitch, &scale->trouble, err);
    kb_file_scale_add(scale, pitch.x_um, pitch.y_um, KB_SCALE_OME);
    return status;
}

static void read_resolution(struct kb_tiff *tiff) {
    float x = 0.0F;
    float y = 0.0F;
    uint16_t unit = RESUNIT_INCH;
    if (TIFFGetField(tiff->tif, TIFFTAG_XRESOLUTION, &x) != 1 ||
        TIFFGetField(tiff->tif, TIFFTAG_YRESOLUTION, &y) != 1 || !(x > 0.0F) || !(y > 0.0F)) {
        return;
    }
    (void)TIFFGetFieldDefaulted(tiff->tif, TIFFTAG_RESOLUTIONUNIT, &unit);
    if (unit == RESUNIT_INCH || unit == RESUNIT_CENTIMETER) {
        const double um = unit == RESUNIT_INCH ? INCH_UM : CM_UM;
        kb_file_scale_add(&tiff->reading->scale, um / (double)x, um / (double)y, KB_SCALE_TIFF_TAG);
    } else {
        tiff->reading->scale.aspect = (double)y / (double)x;
    }
}

static enum kb_status choose_page(struct kb_tiff *tiff, struct kb_err *err) {
    struct kb_field *field = tiff->reading->field;
    const uint32_t wanted = tiff->reading->params->page;
    field->pages = TIFFNumberOfDirectories(tiff->tif);
    field->page = wanted > 0 ? wanted : 1;
    if (field->page > field->pages) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, tiff->reading->source.path,
                       "page %lu was asked for, the file has %lu (choose a page from 1 to %lu)",
                       (unsigned long)field->page, (unsigned long)field->pages,
                       (unsigned long)field->pages);
    }
    /* the OME description stands on the first page and speaks for all of them */
    enum kb_status status = read_ome(tiff, err);
    if (status != KB_OK) {
        return status;
    }
    if (field->page > 1 && TIFFSetDirectory(tiff->tif, field->page - 1) != 1) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, tiff->reading->source.path,
                       "page %lu cannot be read: %s (copy or export the file again)",
                       (unsigned long)field->page, tiff->first);
    }
    read_resolution(tiff);
    uint16_t orientation = ORIENTATION_TOPLEFT;
    (void)TIFFGetFieldDefaulted(tiff->tif, TIFFTAG_ORIENTATION, &orientation);
    tiff->reading->orientation = orientation >= 1 && orientation <= 8 ? orientation : 1;
    return KB_OK;
}

/* ---- kind of pixels -----------------------------------------------------------------------------
 */

static enum kb_status refuse(const struct kb_tiff *tiff, const char *what, struct kb_err *err) {
    return kb_fail(err, KB_E_INPUT, KB_INTAKE, tiff->reading->source.path,
                   "%s (export it as 8- or 16-bit grey or RGB)", what);
}

static enum kb_status check_samples(struct kb_tiff *tiff, struct kb_err *err) {
    uint16_t kind = SAMPLEFORMAT_UINT;
    (void)TIFFGetFieldDefaulted(tiff->tif, TIFFTAG_SAMPLEFORMAT, &kind);
    if (kind == SAMPLEFORMAT_IEEEFP) {
        return refuse(tiff, "floating-point samples are not supported", err);
    }
    if (kind != SAMPLEFORMAT_UINT && kind != SAMPLEFORMAT_VOID) {
        return refuse(tiff, "signed or complex samples are not supported", err);
    }
    const uint32_t bits = tiff->form.bits;
    if (bits != 1 && bits != 2 && bits != 4 && bits != 8 && bits != 12 && bits != 16) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, tiff->reading->source.path,
                       "%lu-bit samples are not supported (export it as 8- or 16-bit grey or RGB)",
                       (unsigned long)bits);
    }
    if (tiff->compression == COMPRESSION_OJPEG) { /* damage cannot be told from sound data */
        return refuse(tiff, "old-style JPEG compression is not supported", err);
    }
    if (!TIFFIsCODECConfigured(tiff->compression)) {
        return kb_fail(
            err, KB_E_INPUT, KB_INTAKE, tiff->reading->source.path,
            "compression scheme %u is not supported (export it uncompressed, or with LZW "
            "or Deflate)",
            (unsigned)tiff->compression);
    }
    return KB_OK;
}

static enum kb_status read_palette(struct kb_tiff *tiff, struct kb_err *err) {
    struct kb_form *form = &tiff->form;
    const uint16_t *part[3] = {NULL, NULL, NULL};
    if (form->bits > 8 ||
        TIFFGetField(tiff->tif, TIFFTAG_COLORMAP, &part[0], &part[1], &part[2]) != 1) {
        return refuse(tiff, "its palette is missing or larger than 256 colours", err);
    }
    const size_t entries = (size_t)1 << form->bits;
    uint32_t highest = 0;
    for (size_t i = 0; i < entries; i++) {
        for (size_t c = 0; c < 3; c++) {
            highest = part[c][i] > highest ? part[c][i] : highest;
        }
    }
    /* entries have 16 bits, but writers exist that fill in 8: then no entry is above 255 */
    const uint32_t top = highest > 255 ? 65535 : 255;
    for (size_t i = 0; i < entries; i++) {
        const uint32_t luma = kb_luma(part[0][i], part[1][i], part[2][i]);
        form->palette[i] = (uint8_t)((luma * 255 + top / 2) / top);
    }
    form->colour = KB_COLOUR_PALETTE;
    return KB_OK;
}

static enum kb_status read_colour(struct kb_tiff *tiff, uint16_t photometric, struct kb_err *err) {
    struct kb_form *form = &tiff->form;
    switch (photometric) {
    case PHOTOMETRIC_MINISWHITE:
    case PHOTOMETRIC_MINISBLACK:
        form->colour = KB_COLOUR_GREY;
        form->inverted = photometric == PHOTOMETRIC_MINISWHITE;
        return KB_OK;
    case PHOTOMETRIC_RGB:
        form->colour = KB_COLOUR_RGB;
        break;
    case PHOTOMETRIC_SEPARATED:
        form->colour = KB_COLOUR_CMYK;
        break;
    case PHOTOMETRIC_PALETTE:
        return read_palette(tiff, err);
    case PHOTOMETRIC_YCBCR:
        form->colour = KB_COLOUR_RGB;
        if (tiff->compression == COMPRESSION_JPEG && tiff->planar == PLANARCONFIG_CONTIG) {
            (void)TIFFSetField(tiff->tif, TIFFTAG_JPEGCOLORMODE, JPEGCOLORMODE_RGB);
        } else {
            tiff->via_rgba = true;
        }
        break;
    default:
        return refuse(tiff, "its kind of pixels (raw sensor data, L*a*b*, mask) is not supported",
                      err);
    }
    if (form->samples < (form->colour == KB_COLOUR_CMYK ? 4u : 3u)) {
        return refuse(tiff, "it says colour but has too few samples a pixel", err);
    }
    return KB_OK;
}

static enum kb_status read_extra_samples(struct kb_tiff *tiff, struct kb_err *err) {
    static const uint32_t colours[] = {
        [KB_COLOUR_GREY] = 1, [KB_COLOUR_RGB] = 3, [KB_COLOUR_CMYK] = 4, [KB_COLOUR_PALETTE] = 1};
    struct kb_form *form = &tiff->form;
    const uint32_t used = colours[form->colour];
    uint16_t count = 0;
    const uint16_t *kind = NULL;
    (void)TIFFGetFieldDefaulted(tiff->tif, TIFFTAG_EXTRASAMPLES, &count, &kind);
    for (uint32_t i = 0; i < count && used + i < form->samples && kind != NULL; i++) {
        if (kind[i] == EXTRASAMPLE_ASSOCALPHA || kind[i] == EXTRASAMPLE_UNASSALPHA) {
            if (form->colour == KB_COLOUR_PALETTE) {
                return refuse(tiff, "a palette with an opacity channel is not supported", err);
            }
            form->alpha = used + i;
            form->alpha_in_colour = kind[i] == EXTRASAMPLE_ASSOCALPHA;
            return KB_OK;
        }
    }
    if (form->samples > used && !tiff->via_rgba) {
        return kb_findings_add(&tiff->reading->field->findings, err, KB_WARNING, "more-channels",
                               "The file holds %lu more channel(s) than the picture that was "
                               "measured. If another channel is meant, export that one alone.",
                               (unsigned long)(form->samples - used));
    }
    return KB_OK;
}

static enum kb_status read_form(struct kb_tiff *tiff, struct kb_err *err) {
    uint32_t width = 0;
    uint32_t height = 0;
    uint16_t bits = 1;
    uint16_t samples = 1;
    uint16_t photometric = 0;
    (void)TIFFGetField(tiff->tif, TIFFTAG_IMAGEWIDTH, &width);
    (void)TIFFGetField(tiff->tif, TIFFTAG_IMAGELENGTH, &height);
    (void)TIFFGetFieldDefaulted(tiff->tif, TIFFTAG_BITSPERSAMPLE, &bits);
    (void)TIFFGetFieldDefaulted(tiff->tif, TIFFTAG_SAMPLESPERPIXEL, &samples);
    (void)TIFFGetFieldDefaulted(tiff->tif, TIFFTAG_PLANARCONFIG, &tiff->planar);
    (void)TIFFGetFieldDefaulted(tiff->tif, TIFFTAG_COMPRESSION, &tiff->compression);
    if (TIFFGetField(tiff->tif, TIFFTAG_PHOTOMETRIC, &photometric) != 1) {
        photometric = samples >= 3 ? PHOTOMETRIC_RGB : PHOTOMETRIC_MINISBLACK;
    }
    if (samples == 0 || samples > SAMPLES_MAX || width > INT32_MAX || height > INT32_MAX) {
        return refuse(tiff, "its size or number of samples makes no sense", err);
    }
    tiff->form = (struct kb_form){.width = (int32_t)width,
                                  .height = (int32_t)height,
                                  .bits = bits,
                                  .samples = samples,
                                  .alpha = KB_NO_ALPHA};
    enum kb_status status = check_samples(tiff, err);
    if (status == KB_OK) {
        status = read_colour(tiff, photometric, err);
    }
    if (status == KB_OK) {
        status = read_extra_samples(tiff, err);
    }
    if (status == KB_OK && tiff->planar == PLANARCONFIG_SEPARATE && samples > 1 &&
        (bits % 8 != 0)) {
        status = refuse(
            tiff, "separate colour planes of less than 8 or of 12 bits are not supported", err);
    }
    if (tiff->via_rgba) { /* what the library hands over instead */
        tiff->form.samples = 3;
        tiff->form.bits = 8;
        tiff->form.alpha = KB_NO_ALPHA;
    }
    tiff->reading->field->bits = bits;
    tiff->reading->field->was_colour = tiff->form.colour != KB_COLOUR_GREY;
    return status;
}

static enum kb_status read_page(struct kb_tiff *tiff, struct kb_err *err) {
    struct kb_reading *reading = tiff->reading;
    enum kb_status status = choose_page(tiff, err);
    if (status == KB_OK) {
        status = read_form(tiff, err);
    }
    if (status == KB_OK) {
        status = kb_tiff_check_layout(tiff, err);
    }
    if (status == KB_OK) {
        status = kb_canvas_open(&reading->canvas, &tiff->form, reading->params->max_pixels,
                                &reading->field->grey, reading->source.path, err);
    }
    if (status == KB_OK) {
        tiff->first[0] = '\0';
        tiff->decoding = true;
        status = kb_tiff_read_pixels(tiff, err);
    }
    return status;
}

enum kb_status kb_read_tiff(struct kb_reading *reading, struct kb_err *err) {
    const uint8_t *head = reading->source.head;
    const bool big =
        head[2] == 43 || head[3] == 43; /* BigTIFF's version number, either byte order */
    reading->field->format = big ? "BigTIFF" : "TIFF";
    struct kb_tiff tiff = {.reading = reading};
    enum kb_status status = open_tiff(&tiff, err);
    if (status == KB_OK) {
        status = read_page(&tiff, err);
        TIFFClose(tiff.tif);
    }
    return status;
}
