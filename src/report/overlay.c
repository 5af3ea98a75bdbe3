/* overlay.c - the picture of what was measured.
 *
 * From below: the micrograph, tinted lightly by phase and hatched where two tints might be mistaken
 * for each other; outlines of particles, solid where they count, dashed where not; a number on each
 * that counts and a letter on each that does not; under the picture a strip with the legend and a
 * scale bar. The drawing keeps one pixel a pixel: whoever doubts a figure can go and look.
 */
#include "paint_priv.h"

#include <string.h>

/* The page shows pictures about this wide: a line must be one pixel there to be seen. */
enum { PAGE_PICTURE_WIDTH = 1000 };
/* Nodules in the sense of ISO 945-4 and ASTM E2567 (see refs/). */
static const double nodule_shape_factor = 0.6;

const struct kb_rgb kb_not_nodular = {255, 96, 208};

const struct kb_paint_mark *kb_state_mark(enum kb_particle_state state) {
    static const struct kb_paint_mark mark[KB_PARTICLE_STATES] = {
        [KB_COUNTS] = {{0, 232, 190}, false, 0, "counts (number)"},
        [KB_ON_FRAME] = {{255, 255, 255}, true, 'F', "F: cut by frame"},
        [KB_ON_EXCLUSION] = {{255, 255, 255}, true, 'X', "X: at excluded area"},
        [KB_UNDER_SIZE] = {{255, 255, 255}, true, 'S', "S: under size"},
        [KB_NO_SCALE] = {{255, 255, 255}, true, 'N', "N: no scale"},
    };
    return &mark[state < KB_PARTICLE_STATES ? state : KB_NO_SCALE];
}

bool kb_is_nodule(const struct kb_particle *particle) {
    return particle->by_hand ? kb_form_is_nodule(particle->form)
                             : particle->shape_factor >= nodule_shape_factor;
}

double kb_nodule_margin(const struct kb_particle *particle) {
    return particle->by_hand ? (double)NAN : particle->shape_factor - nodule_shape_factor;
}

int32_t kb_overlay_unit(int32_t width) {
    int32_t unit = (width + PAGE_PICTURE_WIDTH / 2) / PAGE_PICTURE_WIDTH;
    return unit < 1 ? 1 : unit;
}

/* ---- tint --------------------------------------------------------------------------------------
 */

/* Colours of every phase and grey level, without and with hatch ink. */
struct tint_table {
    struct kb_rgb colour[KB_PHASES][2][256];
};

static uint8_t blend(int grey, int colour, int share) {
    return (uint8_t)((grey * (256 - share) + colour * share + 128) >> 8);
}

static void fill_tints(struct tint_table *table) {
    for (int phase = 0; phase < KB_PHASES; phase++) {
        const struct kb_look *look = kb_phase_look((enum kb_phase)phase);
        for (int grey = 0; grey < 256; grey++) {
            struct kb_rgb plain = {blend(grey, look->rgb[0], look->tint),
                                   blend(grey, look->rgb[1], look->tint),
                                   blend(grey, look->rgb[2], look->tint)};
            /* hatch ink darkens by a quarter: seen in print, and the micrograph still under it */
            struct kb_rgb inked = {(uint8_t)(plain.r * 3 / 4), (uint8_t)(plain.g * 3 / 4),
                                   (uint8_t)(plain.b * 3 / 4)};
            table->colour[phase][0][grey] = plain;
            table->colour[phase][1][grey] = inked;
        }
    }
}

void kb_overlay_tint(const struct kb_image *grey, const struct kb_image *label, int32_t unit,
                     struct kb_picture *picture) {
    struct tint_table table;
    fill_tints(&table);
    enum kb_hatch hatch[KB_PHASES];
    for (int phase = 0; phase < KB_PHASES; phase++) {
        hatch[phase] = kb_phase_look((enum kb_phase)phase)->hatch;
    }
    for (int32_t y = 0; y < grey->height; y++) {
        const uint8_t *level = kb_row(grey, y), *phases = kb_row(label, y);
        uint8_t *to = picture->rgb + (size_t)y * (size_t)picture->width * 3;
        for (int32_t x = 0; x < grey->width; x++) {
            unsigned phase = phases[x] < KB_PHASES ? phases[x] : KB_OTHER;
            bool ink = hatch[phase] != KB_HATCH_NONE && kb_hatch_at(hatch[phase], x, y, unit);
            const struct kb_rgb *colour = &table.colour[phase][ink][level[x]];
            to[3 * x] = colour->r;
            to[3 * x + 1] = colour->g;
            to[3 * x + 2] = colour->b;
        }
    }
}

void kb_overlay_boundaries(const struct kb_image *label, int32_t unit, struct kb_picture *picture) {
    for (int32_t y = 0; y + 1 < label->height; y++) {
        const uint8_t *here = kb_row(label, y), *below = kb_row(label, y + 1);
        for (int32_t x = 0; x + 1 < label->width; x++) {
            if (here[x] != here[x + 1] || here[x] != below[x]) {
                kb_paint_block(picture, x - unit / 2, y - unit / 2, unit, unit, KB_INK);
            }
        }
    }
}

/* ---- the whole ---------------------------------------------------------------------------------
 */

static enum kb_status fits(const struct kb_field *field, const struct kb_phase_map *map,
                           const struct kb_particles *particles, struct kb_err *err) {
    const struct kb_image *grey = &field->grey, *label = &map->label;
    bool same = grey->px != NULL && label->px != NULL && grey->width == label->width &&
                grey->height == label->height;
    if (particles != NULL && particles->runs.run != NULL) {
        same =
            same && particles->runs.width == grey->width && particles->runs.height == grey->height;
    }
    return same ? KB_OK
                : kb_fail(err, KB_E_USAGE, "report", field->path,
                          "field and phase map differ in size (draw a field with its own map)");
}

static enum kb_status picture_alloc(int32_t width, int32_t height, struct kb_picture *picture,
                                    struct kb_err *err) {
    size_t pixels = 0;
    *picture = (struct kb_picture){width, height, NULL};
    if (kb_size_multiply((size_t)width, (size_t)height, &pixels)) {
        picture->rgb = kb_alloc(pixels, 3);
    }
    if (picture->rgb == NULL) {
        *picture = (struct kb_picture){0, 0, NULL};
        return kb_fail_memory(err, "report", (size_t)width * (size_t)height * 3);
    }
    return KB_OK;
}

enum kb_status kb_draw_overlay(const struct kb_field *field, const struct kb_phase_map *map,
                               const struct kb_particles *particles, struct kb_picture *picture,
                               struct kb_err *err) {
    const struct kb_overlay_hands none = {NULL, 0, 0};
    return kb_draw_overlay_by_hand(field, map, particles, &none, picture, err);
}

enum kb_status kb_draw_overlay_by_hand(const struct kb_field *field, const struct kb_phase_map *map,
                                       const struct kb_particles *particles,
                                       const struct kb_overlay_hands *hands,
                                       struct kb_picture *picture, struct kb_err *err) {
    *picture = (struct kb_picture){0, 0, NULL};
    enum kb_status status = fits(field, map, particles, err);
    if (status != KB_OK) {
        return status;
    }
    int32_t width = field->grey.width, height = field->grey.height;
    int32_t unit = kb_overlay_unit(width);
    int32_t strip = kb_overlay_strip(field, map, particles, hands, height, NULL);
    status = picture_alloc(width, height + strip, picture, err);
    if (status != KB_OK) {
        return status;
    }
    kb_overlay_tint(&field->grey, &map->label, unit, picture);
    bool outlined = particles != NULL && particles->runs.run != NULL;
    if (outlined) {
        kb_overlay_outlines(particles, unit, picture);
        status = kb_overlay_numbers(particles, unit, picture, err);
    } else if (particles == NULL) {
        kb_overlay_boundaries(&map->label, unit, picture);
    }
    if (status != KB_OK) {
        kb_picture_release(picture);
        return status;
    }
    kb_overlay_by_hand(map, hands, unit, picture);
    (void)kb_overlay_strip(field, map, particles, hands, height, picture);
    return KB_OK;
}
