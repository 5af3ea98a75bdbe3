/* families.c - directions of scratches, and what could have left them.
 *
 * Lengths are gathered by angle in bins of 5 degrees, smoothed over three; the highest bin and all
 * strokes within 12 degrees of it are the first family, the same again with the rest gives the
 * second, if it holds at least two strokes and a tenth of the length. Each grinding step is done
 * across the one before: two families at 90 +- 20 degrees tell of a step left unfinished.
 * The abrasive is a hint only: a groove is narrower than the grain that cut it, by a factor of
 * about `grain_per_width` (common practice, no published source), and it looks as wide as the
 * picture is sharp at least.
 */
#include "quality_priv.h"

#include <string.h>

#define BINS 36
#define FAMILY_NEAR (12.0 * KB_PI / 180.0)
#define CROSSED_OFF (20.0 * KB_PI / 180.0)
#define SECOND_LEAST 0.1 /* of the length in all */
#define LEAST_PX 60.0    /* shorter straight stretches are in every structure */
#define LEAST_UM 80.0    /* longer than grains, colonies and twins mostly are */
#define LEAST_SIDE 0.5   /* but no more than this share of the shorter side */
/* From so many mm/mm2 on scratches may crowd, and a second look along their directions is worth it.
 */
#define CROWDED 3.0
/* Without a scale the limits, in mm/mm2, are applied as if a pixel were half a micrometre. */
#define FALLBACK_PX_UM 0.5

/* Difference of two directions, 0..pi/2. */
static double apart(double a, double b) {
    double d = fmod(fabs(a - b), KB_PI);
    return d > 0.5 * KB_PI ? KB_PI - d : d;
}

static double main_angle(const struct kb_strokes *strokes, const struct kb_scratch_family *other) {
    double bin[BINS] = {0}, best = -1.0, angle = NAN;
    for (size_t i = 0; i < strokes->count; i++) {
        const struct kb_stroke *s = &strokes->stroke[i];
        if (other == NULL || apart(s->angle, other->angle) > FAMILY_NEAR) {
            bin[(int)(s->angle / KB_PI * BINS) % BINS] += s->length_px;
        }
    }
    for (int i = 0; i < BINS; i++) {
        double sum = bin[(i + BINS - 1) % BINS] + 2.0 * bin[i] + bin[(i + 1) % BINS];
        if (sum > best && sum > 0.0) {
            best = sum;
            angle = (i + 0.5) * KB_PI / BINS;
        }
    }
    return angle;
}

/* Strokes near `about`, not near `other`: mean angle (of doubled angles), length, width. */
static enum kb_status gather(const struct kb_strokes *strokes, double about,
                             const struct kb_scratch_family *other,
                             struct kb_scratch_family *family, struct kb_err *err) {
    double c = 0.0, s = 0.0;
    double *width = kb_alloc(strokes->count, sizeof *width);
    *family = (struct kb_scratch_family){0};
    if (width == NULL) {
        return kb_fail_memory(err, KB_QUALITY_STAGE, strokes->count * sizeof *width);
    }
    for (size_t i = 0; i < strokes->count; i++) {
        const struct kb_stroke *k = &strokes->stroke[i];
        if (apart(k->angle, about) > FAMILY_NEAR ||
            (other != NULL && apart(k->angle, other->angle) <= FAMILY_NEAR)) {
            continue;
        }
        c += k->length_px * cos(2.0 * k->angle);
        s += k->length_px * sin(2.0 * k->angle);
        family->length_px += k->length_px;
        width[family->lines++] = k->width_px;
    }
    double angle = 0.5 * atan2(s, c);
    family->angle = angle < 0.0 ? angle + KB_PI : angle;
    family->width_px = kb_quality_quantile(width, family->lines, 0.5);
    kb_free(width);
    return KB_OK;
}

/* The grade whose grain is nearest to what a groove of this width asks for. */
static const char *abrasive_of(double width_um, double grain_per_width) {
    double grain = width_um * grain_per_width;
    size_t last = kb_quality_fepa_count - 1;
    if (grain < 0.75 * kb_quality_fepa[last].grain_um) {
        return "finer than P2500 (diamond or oxide of the polish)";
    }
    size_t best = last;
    for (size_t i = 0; i <= last; i++) {
        if (fabs(log(kb_quality_fepa[i].grain_um / grain)) <
            fabs(log(kb_quality_fepa[best].grain_um / grain))) {
            best = i;
        }
    }
    return kb_quality_fepa[best].name;
}

static enum kb_status find_families(const struct kb_look *look, const struct kb_strokes *strokes,
                                    struct kb_err *err) {
    struct kb_quality *out = look->out;
    struct kb_scratch_family *family = out->scratch;
    double total = 0.0;
    for (size_t i = 0; i < strokes->count; i++) {
        total += strokes->stroke[i].length_px;
    }
    if (strokes->count == 0) {
        return KB_OK;
    }
    enum kb_status status = gather(strokes, main_angle(strokes, NULL), NULL, &family[0], err);
    out->scratch_families = 1;
    double second = main_angle(strokes, &family[0]);
    if (status == KB_OK && !isnan(second)) {
        status = gather(strokes, second, &family[0], &family[1], err);
        bool stands = family[1].lines >= 2 && family[1].length_px >= SECOND_LEAST * total;
        out->scratch_families = stands ? 2 : 1;
        out->crossed =
            stands && apart(family[0].angle, family[1].angle) >= 0.5 * KB_PI - CROSSED_OFF;
        family[1] = stands ? family[1] : (struct kb_scratch_family){0};
    }
    if (look->px_um > 0.0) {
        /* the wider family tells of the coarsest abrasive, however few its scratches are */
        double wide = fmax(family[0].width_px, family[1].width_px) * look->px_um;
        out->coarsest_abrasive = abrasive_of(wide, look->params->grain_per_width);
    }
    return status;
}

static double px_um_of(const struct kb_look *look) {
    return look->px_um > 0.0 ? look->px_um : FALLBACK_PX_UM;
}

/* Pixels that could show a scratch. */
static double matrix_px(const struct kb_look *look) {
    const struct kb_seen *s = &look->seen;
    double share =
        s->share[KB_FERRITE] + s->share[KB_PEARLITE] + s->share[KB_MATRIX] + s->share[KB_CEMENTITE];
    double pixels = (double)kb_image_pixels(&look->field->grey);
    return fmax(1.0, share * pixels);
}

/* Rows, then columns: all strokes, appended. */
static enum kb_status find_strokes(const struct kb_look *look, const struct kb_quality *known,
                                   struct kb_strokes *strokes, struct kb_err *err) {
    const struct kb_image *grey = &look->field->grey;
    double shorter = grey->width < grey->height ? grey->width : grey->height;
    double least = fmin(fmax(LEAST_PX, LEAST_UM / px_um_of(look)), LEAST_SIDE * shorter);
    enum kb_status status = KB_OK;
    for (int columns = 0; columns <= 1 && status == KB_OK; columns++) {
        struct kb_scan scan;
        status = kb_quality_traces(look, columns == 1, known, &scan, err);
        if (status == KB_OK) {
            status = kb_quality_tracks(&scan, least, strokes, err);
            kb_quality_scan_release(&scan);
        }
    }
    return status;
}

/* mm/mm2 */
static double per_area(const struct kb_look *look, const struct kb_strokes *strokes) {
    double length = 0.0;
    for (size_t i = 0; i < strokes->count; i++) {
        length += strokes->stroke[i].length_px;
    }
    return length / matrix_px(look) * 1e3 / px_um_of(look);
}

enum kb_status kb_quality_scratches(const struct kb_look *look, double *length_per_area,
                                    struct kb_err *err) {
    struct kb_strokes strokes = {0};
    enum kb_status status = find_strokes(look, NULL, &strokes, err);
    if (status == KB_OK) {
        status = find_families(look, &strokes, err);
    }
    *length_per_area = per_area(look, &strokes);
    if (status == KB_OK && *length_per_area >= CROWDED) {
        strokes.count = 0;
        status = find_strokes(look, look->out, &strokes, err);
        *length_per_area = fmax(*length_per_area, per_area(look, &strokes));
    }
    kb_free(strokes.stroke);
    return status;
}
