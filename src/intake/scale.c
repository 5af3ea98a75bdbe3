/* scale.c - how many micrometres a pixel is, and on whose word.
 *
 * The person's word (pixel size or scale bar) stands above the file's; in the file OME-XML stands
 * above resolution tags. A resolution tag is only believed when it can be a microscope's: what
 * screens and printers write by default is refused, and so is anything coarser than 100 um a pixel.
 * Which resolutions those are is common practice, no published source. A scale is never assumed.
 */
#include "intake_priv.h"

#define INCH_UM 25400.0

/* Tags store whole dots per inch, per centimetre or per metre: 300 dpi may come as 118 per cm. */
#define DEFAULT_TOLERANCE 0.005

/* No microscope camera images coarser than this. */
#define COARSEST_UM 100.0

/* Sides of a pixel may differ by so much; the geometric mean is then the pixel size. */
#define SQUARE_TOLERANCE 0.005

/* The end of a line that was drawn by hand lies anywhere within half a pixel of where it was set: a
 * standard uncertainty of 0.5 / sqrt(3) px each, 1 / sqrt(6) px of both together (JCGM 100:2008,
 * 4.3.7; from memory). */
#define ENDS_PX 0.40824829046386302

/* A given scale and the file's may differ by so much before a reader must know. */
#define AGREE_TOLERANCE 0.01

const char *kb_scale_source_name(enum kb_scale_source source) {
    switch (source) {
    case KB_SCALE_UNKNOWN:
        break;
    case KB_SCALE_GIVEN:
        return "pixel size as given";
    case KB_SCALE_BAR:
        return "scale bar as given";
    case KB_SCALE_OME:
        return "OME-XML in the file";
    case KB_SCALE_TIFF_TAG:
        return "TIFF resolution tag";
    case KB_SCALE_PNG_PHYS:
        return "PNG pHYs chunk";
    case KB_SCALE_JPEG_TAG:
        return "JPEG resolution tag";
    case KB_SCALE_BY_HAND:
        return "a line drawn by hand along a known length";
    case KB_SCALE_SOURCES:
        break;
    }
    return "unknown";
}

void kb_file_scale_add(struct kb_file_scale *scale, double x_um, double y_um,
                       enum kb_scale_source source) {
    const size_t room = sizeof scale->pitch / sizeof scale->pitch[0];
    if (scale->count < room && isfinite(x_um) && isfinite(y_um) && x_um > 0.0 && y_um > 0.0) {
        scale->pitch[scale->count++] = (struct kb_pitch){x_um, y_um, source};
    }
}

static bool differ(double a, double b, double tolerance) {
    return fabs(a - b) > tolerance * fmin(a, b);
}

static bool is_screen_default(double um) {
    static const double dpi[] = {72.0, 96.0, 150.0, 300.0, 600.0};
    for (size_t i = 0; i < sizeof dpi / sizeof dpi[0]; i++) {
        if (!differ(INCH_UM / um, dpi[i], DEFAULT_TOLERANCE)) {
            return true;
        }
    }
    return um > COARSEST_UM;
}

/* The first believable statement of the file, or NULL. */
static const struct kb_pitch *believable(const struct kb_file_scale *scale) {
    for (size_t i = 0; i < scale->count; i++) {
        const struct kb_pitch *pitch = &scale->pitch[i];
        if (pitch->source == KB_SCALE_OME ||
            (!is_screen_default(pitch->x_um) && !is_screen_default(pitch->y_um))) {
            return pitch;
        }
    }
    return NULL;
}

static enum kb_status tell_unknown(const struct kb_file_scale *scale, struct kb_field *field,
                                   struct kb_err *err) {
    enum kb_status status = kb_findings_add(
        &field->findings, err, KB_WARNING, "scale-unknown",
        "The size of a pixel is not known, so only fractions can be given; sizes, counts per mm2 "
        "and "
        "limits on them cannot. Give the pixel size or the length of the scale bar.");
    if (status == KB_OK && scale->count > 0) {
        status = kb_findings_add(
            &field->findings, err, KB_NOTE, "screen-resolution-ignored",
            "The file's resolution tag says %.4g dots per inch, which is what screens and printers "
            "use, not a microscope's scale. It was ignored.",
            INCH_UM / scale->pitch[0].x_um);
    }
    return status;
}

static enum kb_status tell_not_square(double aspect, struct kb_field *field, struct kb_err *err) {
    return kb_findings_add(
        &field->findings, err, KB_WARNING, "pixels-not-square",
        "The file says that its pixels are %.4g times as wide as high; they were "
        "taken as square. If the file is right, shapes and sizes are wrong: export "
        "the picture with square pixels.",
        aspect);
}

static enum kb_status tell_disagreement(double file_um, struct kb_field *field,
                                        struct kb_err *err) {
    return kb_findings_add(
        &field->findings, err, KB_WARNING, "scale-disagrees",
        "The given scale is %.5g um a pixel, the file says %.5g um. The given one "
        "was used; check which is right.",
        field->px_um, file_um);
}

/* A scale was given: the file's own is only compared with it. */
static enum kb_status compare_given(const struct kb_pitch *pitch, struct kb_field *field,
                                    struct kb_err *err) {
    if (pitch == NULL) {
        return KB_OK;
    }
    const double file_um = sqrt(pitch->x_um * pitch->y_um);
    enum kb_status status = KB_OK;
    if (differ(pitch->x_um, pitch->y_um, SQUARE_TOLERANCE)) {
        status = tell_not_square(pitch->x_um / pitch->y_um, field, err);
    }
    if (status == KB_OK && differ(file_um, field->px_um, AGREE_TOLERANCE)) {
        status = tell_disagreement(file_um, field, err);
    }
    return status;
}

static enum kb_status take_file_scale(const struct kb_file_scale *scale,
                                      const struct kb_pitch *pitch, struct kb_field *field,
                                      struct kb_err *err) {
    if (pitch == NULL) {
        return tell_unknown(scale, field, err);
    }
    if (differ(pitch->x_um, pitch->y_um, SQUARE_TOLERANCE)) {
        return kb_fail(
            err, KB_E_INPUT, KB_INTAKE, field->path,
            "its pixels are not square: %.5g x %.5g um (export it with square pixels, or "
            "give the pixel size if the file is wrong)",
            pitch->x_um, pitch->y_um);
    }
    field->px_um = sqrt(pitch->x_um * pitch->y_um);
    field->scale_source = pitch->source;
    return KB_OK;
}

enum kb_status kb_scale_choose(const struct kb_file_scale *scale,
                               const struct kb_intake_params *params, struct kb_field *field,
                               struct kb_err *err) {
    const struct kb_pitch *pitch = believable(scale);
    enum kb_status status = KB_OK;
    if (params->px_um > 0.0) {
        field->px_um = params->px_um;
        field->px_um_u = params->px_um_u;
        field->scale_source = KB_SCALE_GIVEN;
        status = compare_given(pitch, field, err);
    } else if (params->bar_px > 0.0) {
        field->px_um = params->bar_um / params->bar_px;
        field->px_um_u = params->px_um_u;
        field->scale_source = params->bar_by_hand ? KB_SCALE_BY_HAND : KB_SCALE_BAR;
        if (params->bar_by_hand && !(field->px_um_u > 0.0)) {
            field->px_um_u = field->px_um * hypot(ENDS_PX / params->bar_px, params->scale_u);
        }
        status = compare_given(pitch, field, err);
    } else {
        status = take_file_scale(scale, pitch, field, err);
    }
    if (!(field->px_um_u > 0.0)) {
        field->px_um_u = params->scale_u * field->px_um;
    }
    if (status == KB_OK && scale->aspect > 0.0 && differ(scale->aspect, 1.0, SQUARE_TOLERANCE)) {
        status = tell_not_square(scale->aspect, field, err);
    }
    const bool given = params->px_um > 0.0 || params->bar_px > 0.0;
    if (status == KB_OK && scale->trouble != NULL && !given) {
        status = kb_findings_add(&field->findings, err, KB_WARNING, "scale-unreadable", "%s",
                                 scale->trouble);
    }
    return status;
}
