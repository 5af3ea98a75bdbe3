/* segment.c - a field becomes a phase map: the whole way of this stage.
 *
 *   even_light   divide out the illumination, fitted so that structure is not mistaken for light
 *   denoise      3 x 3 median; binomial too when the picture is noisy
 *   thresholds   Otsu, then the hills of the histogram; or as given by hand
 *   classify     a phase a pixel by grey; blurred rims between graphite and ferrite put right
 *   graphite     dark regions that are not deep enough are pearlite or scratches; holes filled
 *   pearlite     lamellae closed to regions where they are resolved; dark lines given back
 *   clean        specks below clean_um go to their surroundings
 *   look again   a threshold beside a single hill goes half way to the regions found beyond it
 *   border       where a line along it made pearlite too wide, half of the line is given back
 *   single       one constituent only in the matrix? then which, with evidence, or "matrix"
 *   network      under secondary electrons: smooth cementite behind a rim, as grey as the rest
 *   other        regions that fit neither constituent of the matrix by grey and contrast
 *   findings     what the reader must know
 *
 * Phases that a person sets come later and apart (by_hand.c), when the preparation has been judged
 * by what was found.
 *
 * Every step decides by regions or neighbourhoods and leaves pixel borders where they were found;
 * nothing is tuned to a picture, lengths are micrometres, greys are relative to the picture's own
 * histogram. Scratch: one picture of 1 byte a pixel beside the labels, three sets of pixels of an
 * eighth of that, and the runs of one phase at a time.
 */
#include "segmentation_priv.h"

#include <string.h>

/* The grey classes that material and contrast imply, darkest first. */
static struct kb_seg_scheme scheme_of(const struct kb_segmentation_params *p) {
    bool iron = kb_material_is_iron(p->material);
    bool cementite = !iron && p->proeutectoid == KB_PRO_CEMENTITE;
    enum kb_phase plain = cementite ? KB_CEMENTITE : KB_FERRITE;
    /* Ferrite is brighter than pearlite in the light microscope and darker in the SEM; cementite
     * as a phase of its own is the brightest in both (refs: facts beside the steel checks). */
    bool pearlite_first = p->contrast != KB_SEM || cementite;
    enum kb_phase first = pearlite_first ? KB_PEARLITE : plain;
    enum kb_phase second = pearlite_first ? plain : KB_PEARLITE;
    if (iron && p->contrast == KB_LIGHT_UNETCHED) {
        return (struct kb_seg_scheme){.classes = 2,
                                      .phase = {KB_GRAPHITE, KB_MATRIX, KB_MATRIX},
                                      .graphite = true,
                                      .pearlite = -1,
                                      .plain = KB_MATRIX};
    }
    if (iron) {
        return (struct kb_seg_scheme){.classes = 3,
                                      .phase = {KB_GRAPHITE, first, second},
                                      .graphite = true,
                                      .matrix_pair = true,
                                      .pearlite = pearlite_first ? 1 : 2,
                                      .plain = plain};
    }
    return (struct kb_seg_scheme){.classes = 2,
                                  .phase = {first, second, second},
                                  .matrix_pair = true,
                                  .pearlite = pearlite_first ? 0 : 1,
                                  .plain = plain};
}

static void paint_exclusion(const struct kb_rect *rect, struct kb_image *label) {
    int64_t x0 = rect->x < 0 ? 0 : rect->x;
    int64_t y0 = rect->y < 0 ? 0 : rect->y;
    int64_t x1 = (int64_t)rect->x + rect->width;
    int64_t y1 = (int64_t)rect->y + rect->height;
    x1 = x1 < label->width ? x1 : label->width;
    y1 = y1 < label->height ? y1 : label->height;
    for (int64_t y = y0; y < y1 && x0 < x1; y++) {
        memset(kb_row(label, (int32_t)y) + x0, KB_EXCLUDED, (size_t)(x1 - x0));
    }
}

static void paint_outside(const struct kb_image *outside, struct kb_image *label) {
    for (int32_t y = 0; y < label->height; y++) {
        const uint8_t *out = kb_row(outside, y);
        uint8_t *to = kb_row(label, y);
        for (int32_t x = 0; x < label->width; x++) {
            to[x] = out[x] != 0 ? (uint8_t)KB_EXCLUDED : to[x];
        }
    }
}

/* Of up to 255 labels, those that are `phase`. */
static inline uint8_t count_some(const uint8_t *label, int32_t length, uint8_t phase) {
    uint8_t seen = 0;
    for (int32_t x = 0; x < length; x++) {
        seen = (uint8_t)(seen + (label[x] == phase));
    }
    return seen;
}

KB_WIDE static void count_row(const uint8_t *label, int32_t width, uint64_t pixels[KB_PHASES]) {
    for (int32_t x = 0; x < width; x += 224) { /* whole vectors, and countable in a byte */
        int32_t length = width - x < 224 ? width - x : 224;
        for (int phase = 0; phase < KB_PHASES; phase++) {
            pixels[phase] += count_some(label + x, length, (uint8_t)phase);
        }
    }
}

void kb_seg_count_labels(const struct kb_image *label, uint64_t pixels[KB_PHASES]) {
    memset(pixels, 0, KB_PHASES * sizeof *pixels);
    for (int32_t y = 0; y < label->height; y++) {
        count_row(kb_row(label, y), label->width, pixels);
    }
}

static bool all_excluded(const struct kb_image *label) {
    uint64_t pixels[KB_PHASES];
    kb_seg_count_labels(label, pixels);
    return pixels[KB_EXCLUDED] == kb_image_pixels(label);
}

static enum kb_status prepare(struct kb_seg *seg, struct kb_err *err) {
    const struct kb_image *grey = &seg->field->grey;
    enum kb_status status = kb_image_alloc(grey->width, grey->height, &seg->map->label, err);
    if (status == KB_OK) {
        status = kb_image_alloc(grey->width, grey->height, &seg->grey, err);
    }
    if (status != KB_OK) {
        return status;
    }
    kb_image_fill(&seg->map->label, KB_SEG_UNDECIDED);
    for (size_t i = 0; i < seg->params->exclusions; i++) {
        paint_exclusion(&seg->params->exclusion[i], &seg->map->label);
    }
    for (size_t i = 0; i < seg->params->outlines && status == KB_OK; i++) {
        status = kb_seg_leave_out(&seg->params->outline[i], &seg->map->label, err);
    }
    if (status != KB_OK) {
        return status;
    }
    const struct kb_image *outside = seg->params->outside;
    if (outside != NULL && outside->px != NULL) {
        if (outside->width != grey->width || outside->height != grey->height) {
            return kb_fail(err, KB_E_USAGE, KB_SEG_STAGE, "outside",
                           "the mask of pixels left out has another size than the field");
        }
        paint_outside(outside, &seg->map->label);
    }
    if (kb_seg_has_exclusions(seg) && all_excluded(&seg->map->label)) {
        return kb_fail(err, KB_E_USAGE, KB_SEG_STAGE, "exclusions",
                       "cover the whole picture (leave a part of it to measure)");
    }
    return KB_OK;
}

static enum kb_status take_histogram(struct kb_seg *seg, struct kb_err *err) {
    bool measured[256];
    memset(measured, 1, sizeof measured);
    measured[KB_EXCLUDED] = false;
    uint64_t *bins = seg->map->figures.histogram;
    kb_histogram(&seg->grey, kb_seg_has_exclusions(seg) ? &seg->map->label : NULL, measured, bins);
    int used = 0;
    for (int i = 0; i < 256; i++) {
        used += bins[i] > 0;
    }
    if (used < 2) {
        return kb_fail(err, KB_E_UNFIT, KB_SEG_STAGE, seg->field->path,
                       "the picture has one grey level only (check lamp, exposure and focus, and "
                       "take it again)");
    }
    return KB_OK;
}

typedef enum kb_status kb_seg_step(struct kb_seg *seg, struct kb_err *err);

static enum kb_status run_steps(kb_seg_step *const *step, size_t count, struct kb_seg *seg,
                                struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < count && status == KB_OK; i++) {
        status = step[i](seg, err);
    }
    return status;
}

static enum kb_status label_all(struct kb_seg *seg, struct kb_err *err) {
    static kb_seg_step *const step[] = {kb_seg_classify, kb_seg_graphite, kb_seg_pearlite,
                                        kb_seg_clean};
    struct kb_segmentation_figures *f = &seg->map->figures;
    f->recovered_line_px = f->recovered_speck_px = f->dark_pearlite_px = 0;
    enum kb_status status = run_steps(step, sizeof step / sizeof *step, seg, err);
    if (status == KB_OK) {
        kb_seg_count_labels(&seg->map->label, f->pixels);
    }
    return status;
}

/* Where the matrix has one hill: if that is pearlite, look for ferrite on its far side; and where
 * solid regions of the other constituent were found, these tell its grey, and the labels are made
 * once more with the threshold half way. */
static enum kb_status look_again(struct kb_seg *seg, struct kb_err *err) {
    enum kb_status status = KB_OK;
    if (kb_seg_hill_is_pearlite(seg)) {
        kb_seg_cut_other_side(seg);
        kb_seg_why_again(seg, "the one hill of the matrix has the texture of pearlite, so ferrite "
                              "is looked for beyond it");
        status = label_all(seg, err);
    }
    if (status == KB_OK && seg->matrix_is_one && kb_seg_second_found(seg)) {
        status = kb_seg_recut(seg, err);
        if (status == KB_OK) {
            kb_seg_why_again(seg, "solid regions were found beyond the one hill of the matrix, and "
                                  "their borders belong half way between both greys");
            status = label_all(seg, err);
        }
    }
    return status;
}

static enum kb_status go(struct kb_seg *seg, struct kb_err *err) {
    static kb_seg_step *const step[] = {
        prepare,        kb_seg_why_begin,  kb_seg_even_light, kb_seg_denoise, kb_seg_why_grey,
        take_histogram, kb_seg_thresholds, label_all,         look_again,     kb_seg_border,
        kb_seg_single,  kb_seg_network,    kb_seg_other,
    };
    enum kb_status status = run_steps(step, sizeof step / sizeof *step, seg, err);
    if (status == KB_OK) {
        status = kb_seg_findings(seg, err);
    }
    return status;
}

static enum kb_status check_job(const struct kb_field *field,
                                const struct kb_segmentation_params *params, struct kb_err *err) {
    enum kb_status status = kb_segmentation_params_check(params, err);
    if (status != KB_OK) {
        return status;
    }
    if (params->material == KB_CARBON_STEEL && params->contrast == KB_LIGHT_UNETCHED) {
        return kb_fail(err, KB_E_UNFIT, KB_SEG_STAGE, field->path,
                       "unetched steel shows no ferrite and pearlite (etch the section, with the "
                       "usual cautions, and photograph it as contrast light)");
    }
    return KB_OK;
}

enum kb_status kb_segment(const struct kb_field *field, const struct kb_segmentation_params *params,
                          struct kb_phase_map *map, struct kb_err *err) {
    memset(map, 0, sizeof *map);
    enum kb_status status = check_job(field, params, err);
    if (status != KB_OK) {
        return status;
    }
    struct kb_seg seg = {
        .field = field,
        .params = params,
        .scheme = scheme_of(params),
        .main_is_pearlite =
            params->proeutectoid == KB_PRO_CEMENTITE && !kb_material_is_iron(params->material),
        .px_um = field->px_um > 0.0 ? field->px_um : params->fallback_px_um,
        .map = map,
    };
    map->figures.grey_low = field->grey_low;
    map->figures.grey_high = field->grey_high;
    status = go(&seg, err);
    if (params->keep_grey) {
        map->evened = seg.grey; /* moved; kept steps only look at it once thresholds stand */
    } else {
        kb_image_release(&seg.grey);
    }
    kb_image_release(&seg.light.blank);
    if (status != KB_OK) {
        kb_phase_map_release(map);
    }
    return status;
}

void kb_phase_map_release(struct kb_phase_map *map) {
    kb_image_release(&map->label);
    kb_image_release(&map->evened);
    kb_free(map->change);
    kb_free(map->why);
    kb_findings_release(&map->findings);
    memset(map, 0, sizeof *map);
}
