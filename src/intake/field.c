/* field.c - one file to one calibrated field: which decoder, then upright, scale, digest and
 * findings.
 *
 * The kind of file is told by its first bytes; names lie. The order matters: pixels first, so that
 * what is no picture is refused at once; the digest last but for the check that nobody wrote to the
 * file meanwhile, so that digest and picture are known to belong together.
 */
#include "intake_priv.h"

#include <string.h>

/* Twenty times a 20-megapixel camera; 400 MB of grey. A mosaic beyond it must be asked for. */
#define DEFAULT_MAX_PIXELS 400000000u

/* A pixel of less than 0.1 nm or more than 1 mm is a slip of the unit. */
#define FINEST_UM 1e-4
#define COARSEST_UM 1e3

struct kb_intake_params kb_intake_params_default(void) {
    return (struct kb_intake_params){.max_pixels = DEFAULT_MAX_PIXELS};
}

static bool is_positive(double value) {
    return isfinite(value) && value > 0.0;
}

static enum kb_status check_pitch(double um, const char *subject, struct kb_err *err) {
    if (!isfinite(um) || um < FINEST_UM || um > COARSEST_UM) {
        return kb_fail(err, KB_E_USAGE, KB_INTAKE, subject,
                       "%.4g um a pixel cannot be right (from 0.0001 to 1000 um; check the unit)",
                       um);
    }
    return KB_OK;
}

enum kb_status kb_intake_params_check(const struct kb_intake_params *params, struct kb_err *err) {
    const bool has_size = params->px_um != 0.0; /* NaN counts as said */
    const bool has_bar = params->bar_px != 0.0 || params->bar_um != 0.0;
    if (has_size && has_bar) {
        return kb_fail(err, KB_E_USAGE, KB_INTAKE, "pixel size",
                       "both a pixel size and a scale bar were given (give one of them)");
    }
    if (params->max_pixels < 1 || params->max_pixels > (uint64_t)KB_PIXELS_MAX) {
        return kb_fail(err, KB_E_USAGE, KB_INTAKE, "largest picture",
                       "the limit must be from 1 to %lld pixels", (long long)KB_PIXELS_MAX);
    }
    if (!(params->scale_u >= 0.0 && params->scale_u < 1.0)) {
        return kb_fail(err, KB_E_USAGE, KB_INTAKE, "scale uncertainty",
                       "the relative uncertainty of the scale is not from 0 to 100 %%");
    }
    const double given = has_bar ? params->bar_um / params->bar_px : params->px_um;
    if (isnan(params->px_um_u) || params->px_um_u < 0.0 ||
        (params->px_um_u > 0.0 && !(params->px_um_u < given))) {
        return kb_fail(err, KB_E_USAGE, KB_INTAKE, "pixel size",
                       "its standard uncertainty of %.4g um is not 0 or above and below the pixel "
                       "size",
                       params->px_um_u);
    }
    if (has_size) {
        return check_pitch(params->px_um, "pixel size", err);
    }
    if (has_bar && (!is_positive(params->bar_px) || !is_positive(params->bar_um))) {
        return kb_fail(err, KB_E_USAGE, KB_INTAKE, "scale bar",
                       "length in pixels and length in um must both be above zero");
    }
    return has_bar ? check_pitch(params->bar_um / params->bar_px, "scale bar", err) : KB_OK;
}

/* ---- which kind of file -------------------------------------------------------------------------
 */

struct kind {
    const char *bytes; /* a file of this kind begins with these */
    size_t size;
    enum kb_status (*read)(struct kb_reading *reading, struct kb_err *err);
};

static bool begins(const struct kb_source *source, const char *bytes, size_t size) {
    return source->head_size >= size && memcmp(source->head, bytes, size) == 0;
}

static const struct kind *find_kind(const struct kb_source *source) {
    static const struct kind kind[] = {
        {"II*\0", 4, kb_read_tiff}, /* TIFF, low byte first */
        {"MM\0*", 4, kb_read_tiff}, /* TIFF, high byte first */
        {"II+\0", 4, kb_read_tiff}, /* BigTIFF */
        {"MM\0+", 4, kb_read_tiff},        {"\x89PNG\r\n\x1a\n", 8, kb_read_png},
        {"\xff\xd8\xff", 3, kb_read_jpeg},
    };
    for (size_t i = 0; i < sizeof kind / sizeof kind[0]; i++) {
        if (begins(source, kind[i].bytes, kind[i].size)) {
            return &kind[i];
        }
    }
    return NULL;
}

/* What a file that we cannot read most likely is. */
static const char *guess_kind(const struct kb_source *source) {
    static const struct {
        const char *bytes;
        size_t size;
        const char *what;
    } kind[] = {
        {"%PDF", 4, "a PDF document"},
        {"PK\3\4", 4, "a zip archive or an office document"},
        {"BM", 2, "a BMP picture"},
        {"GIF8", 4, "a GIF picture"},
        {"RIFF", 4, "a WebP picture or a film"},
        {"\0\0\0\x0cjP  ", 8, "a JPEG 2000 picture"},
        {"\0\0\0\x0cJXL ", 8, "a JPEG XL picture"},
        {"\xff\x0a", 2, "a JPEG XL picture"},
        {"\xff\x4f\xff\x51", 4, "a JPEG 2000 picture"},
        {"\x1f\x8b", 2, "a gzip archive"},
    };
    for (size_t i = 0; i < sizeof kind / sizeof kind[0]; i++) {
        if (begins(source, kind[i].bytes, kind[i].size)) {
            return kind[i].what;
        }
    }
    for (size_t i = 0; i < source->head_size; i++) {
        const uint8_t byte = source->head[i];
        if (byte < ' ' && byte != '\t' && byte != '\n' && byte != '\r') {
            return "of a kind that is not known here";
        }
    }
    return "a text";
}

static enum kb_status decode(struct kb_reading *reading, struct kb_err *err) {
    const struct kb_source *source = &reading->source;
    const struct kind *kind = find_kind(source);
    if (kind == NULL) {
        return kb_fail(
            err, KB_E_INPUT, KB_INTAKE, source->path,
            "the file is %s, not a TIFF, PNG or JPEG picture (export it as one of these)",
            guess_kind(source));
    }
    enum kb_status status = kind->read(reading, err);
    if (status == KB_OK && reading->params->page > reading->field->pages) {
        status = kb_fail(err, KB_E_INPUT, KB_INTAKE, source->path,
                         "page %lu was asked for, a %s has one page (leave the page out)",
                         (unsigned long)reading->params->page, reading->field->format);
    }
    return status;
}

/* ---- what a reader of the result must know ------------------------------------------------------
 */

static enum kb_status tell_pages(const struct kb_reading *reading, struct kb_err *err) {
    struct kb_field *field = reading->field;
    if (reading->params->page > 0 || field->pages <= 1) {
        return KB_OK;
    }
    return kb_findings_add(&field->findings, err, KB_WARNING, "more-pages",
                           "The file has %lu pages and the first was measured. Name the page if "
                           "another one is meant.",
                           (unsigned long)field->pages);
}

static enum kb_status tell_colour(const struct kb_reading *reading, struct kb_err *err) {
    struct kb_field *field = reading->field;
    enum kb_status status = KB_OK;
    if (field->was_colour) {
        status =
            kb_findings_add(&field->findings, err, KB_NOTE, "colour-to-grey",
                            "The picture is in colour; its luminance (0.299 red + 0.587 green + "
                            "0.114 blue) was measured.");
    }
    if (status == KB_OK && reading->canvas.see_through) {
        status = kb_findings_add(&field->findings, err, KB_WARNING, "see-through",
                                 "Parts of the picture let the ground through and were laid over "
                                 "white. Exclude them, or export the picture without opacity.");
    }
    return status;
}

static enum kb_status tell_window(const struct kb_reading *reading, struct kb_err *err) {
    struct kb_field *field = reading->field;
    if (reading->canvas.deep == NULL) {
        return KB_OK;
    }
    return kb_findings_add(
        &field->findings, err, KB_NOTE, "sixteen-bit-window",
        "The samples have %lu bits; file greys from %.0f to %.0f were stretched to "
        "0..255, all but 0.01 %% of the pixels at either end.",
        (unsigned long)field->bits, field->grey_low, field->grey_high);
}

/* ---- the way through ----------------------------------------------------------------------------
 */

static enum kb_status finish(struct kb_reading *reading, struct kb_err *err) {
    struct kb_field *field = reading->field;
    enum kb_status status =
        kb_canvas_finish(&reading->canvas, &field->grey_low, &field->grey_high, err);
    if (status == KB_OK) {
        status = tell_window(reading, err);
    }
    if (status == KB_OK) {
        status = tell_colour(reading, err);
    }
    kb_canvas_release(&reading->canvas);
    if (status == KB_OK) {
        status = tell_pages(reading, err);
    }
    if (status == KB_OK) {
        status = kb_orient(&field->grey, reading->orientation, err);
    }
    if (status == KB_OK) {
        status = kb_scale_choose(&reading->scale, reading->params, field, err);
    }
    if (status == KB_OK) {
        status = kb_source_digest(&reading->source, field->sha256, err);
    }
    if (status == KB_OK) {
        status = kb_source_unchanged(&reading->source, err);
    }
    return status;
}

static enum kb_status read_all(struct kb_reading *reading, const char *path, struct kb_err *err) {
    enum kb_status status = kb_source_open(path, &reading->source, err);
    if (status == KB_OK) {
        status = decode(reading, err);
    }
    if (status == KB_OK) {
        status = finish(reading, err);
    }
    kb_canvas_release(&reading->canvas);
    kb_source_close(&reading->source);
    return status;
}

enum kb_status kb_field_read(const char *path, const struct kb_intake_params *params,
                             struct kb_field *field, struct kb_err *err) {
    *field = (struct kb_field){.findings = KB_FINDINGS_INIT};
    enum kb_status status = kb_intake_params_check(params, err);
    if (status != KB_OK) {
        return status;
    }
    field->path = kb_copy_string(path);
    if (field->path == NULL) {
        return kb_fail_memory(err, KB_INTAKE, strlen(path));
    }
    struct kb_reading reading = {.params = params, .field = field, .orientation = 1};
    struct kb_locale locale = kb_locale_enter();
    status = read_all(&reading, path, err);
    kb_locale_leave(locale);
    if (status != KB_OK) {
        kb_field_release(field);
    }
    return status;
}

void kb_field_release(struct kb_field *field) {
    kb_free(field->path);
    kb_image_release(&field->grey);
    kb_findings_release(&field->findings);
    *field = (struct kb_field){.findings = KB_FINDINGS_INIT};
}

double kb_field_area_mm2(const struct kb_field *field) {
    if (field->scale_source == KB_SCALE_UNKNOWN) {
        return (double)NAN;
    }
    const double px_mm = field->px_um / 1000.0;
    return (double)kb_image_pixels(&field->grey) * px_mm * px_mm;
}
