/* overlay_strip.c - the strip under the overlay: scale bar, phases that are there with tint and
 * hatch, kinds of outline that are there. The same walk measures the strip and draws it. */
#include "paint_priv.h"

/* The strip's letters are about this many to the width of the picture: readable in the page. */
enum { LETTERS_ACROSS = 116 };

struct strip {
    struct kb_picture *picture; /* NULL: only measure */
    int32_t width, scale, x, y; /* next item goes to x, y */
};

static int32_t line_height(const struct strip *strip) {
    return (KB_GLYPH_ROWS + 5) * strip->scale;
}

/* Room for an item of that width: on this line, or at the start of the next. */
static void make_room(struct strip *strip, int32_t width) {
    int32_t margin = KB_GLYPH_STEP * strip->scale;
    if (strip->x > margin && strip->x + width + margin > strip->width) {
        strip->x = margin;
        strip->y += line_height(strip);
    }
}

static void words(struct strip *strip, const char *text) {
    if (strip->picture != NULL) {
        kb_paint_text(strip->picture, strip->x, strip->y, strip->scale, text, KB_INK, false,
                      KB_PAPER);
    }
    strip->x += kb_paint_text_width(text, strip->scale) + 3 * KB_GLYPH_STEP * strip->scale;
}

static int32_t swatch_width(const struct strip *strip) {
    return 4 * KB_GLYPH_STEP * strip->scale;
}

static void frame(struct strip *strip, int32_t width, int32_t height) {
    int32_t line = strip->scale;
    struct kb_picture *to = strip->picture;
    kb_paint_block(to, strip->x, strip->y - line, width, line, KB_INK);
    kb_paint_block(to, strip->x, strip->y + height - line, width, line, KB_INK);
    kb_paint_block(to, strip->x, strip->y - line, line, height + line, KB_INK);
    kb_paint_block(to, strip->x + width - line, strip->y - line, line, height + line, KB_INK);
}

static void phase_swatch(struct strip *strip, enum kb_phase phase) {
    const struct kb_look *look = kb_phase_look(phase);
    int32_t width = swatch_width(strip), height = (KB_GLYPH_HEIGHT + 1) * strip->scale;
    for (int32_t y = 0; y < height; y++) {
        for (int32_t x = 0; x < width; x++) {
            bool ink = kb_hatch_at(look->hatch, x, y, (strip->scale + 1) / 2);
            struct kb_rgb colour = {look->rgb[0], look->rgb[1], look->rgb[2]};
            kb_paint_block(strip->picture, strip->x + x, strip->y + y, 1, 1, ink ? KB_INK : colour);
        }
    }
    frame(strip, width, height);
}

static void line_swatch(struct strip *strip, struct kb_rgb colour, bool dashed) {
    int32_t width = swatch_width(strip), unit = strip->scale;
    kb_paint_block(strip->picture, strip->x, strip->y - unit, width, (KB_GLYPH_HEIGHT + 2) * unit,
                   (struct kb_rgb){70, 74, 96}); /* much as graphite looks under the tint */
    for (int32_t x = 0; x < width; x += unit) {
        if (!dashed || x / (4 * unit) % 2 == 0) {
            kb_paint_block(strip->picture, strip->x + x, strip->y + 3 * unit, unit, 2 * unit,
                           colour);
        }
    }
}

static void phase_item(struct strip *strip, enum kb_phase phase) {
    const char *name = phase == KB_EXCLUDED ? "excluded" : kb_phase_name(phase);
    make_room(strip,
              swatch_width(strip) + kb_paint_text_width(name, strip->scale) + strip->scale * 6);
    if (strip->picture != NULL) {
        phase_swatch(strip, phase);
    }
    strip->x += swatch_width(strip) + KB_GLYPH_STEP * strip->scale;
    words(strip, name);
}

static void line_item(struct strip *strip, struct kb_rgb colour, bool dashed, const char *text) {
    make_room(strip,
              swatch_width(strip) + kb_paint_text_width(text, strip->scale) + strip->scale * 6);
    if (strip->picture != NULL) {
        line_swatch(strip, colour, dashed);
    }
    strip->x += swatch_width(strip) + KB_GLYPH_STEP * strip->scale;
    words(strip, text);
}

static void cross_item(struct strip *strip) {
    const char *text = "phase by hand";
    int32_t width = 2 * KB_GLYPH_STEP * strip->scale;
    make_room(strip, width + kb_paint_text_width(text, strip->scale) + strip->scale * 6);
    if (strip->picture != NULL) {
        kb_overlay_cross(strip->picture, strip->x + width / 2,
                         strip->y + KB_GLYPH_HEIGHT * strip->scale / 2, strip->scale);
    }
    strip->x += width + KB_GLYPH_STEP * strip->scale;
    words(strip, text);
}

/* A kind of drawing by hand, small. */
static void drawn_item(struct strip *strip, enum kb_hand_kind kind, const char *text) {
    int32_t width = 2 * swatch_width(strip);
    make_room(strip, width + kb_paint_text_width(text, strip->scale) + strip->scale * 6);
    if (strip->picture != NULL) {
        const int32_t y = strip->y + KB_GLYPH_HEIGHT * strip->scale / 2;
        const int32_t inset = KB_GLYPH_STEP * strip->scale;
        struct kb_place end[2] = {{strip->x + inset, y}, {strip->x + width - inset, y}};
        const struct kb_by_hand sample = {.kind = kind, .point = end, .points = 2};
        kb_overlay_drawn(strip->picture, &sample, (strip->scale + 1) / 2);
    }
    strip->x += width + KB_GLYPH_STEP * strip->scale;
    words(strip, text);
}

static void drawn_items(struct strip *strip, const struct kb_overlay_hands *hands) {
    static const struct {
        enum kb_hand_kind kind;
        const char *words;
    } item[] = {{KB_HAND_CUT, "cut by hand"},
                {KB_HAND_JOIN, "made one by hand"},
                {KB_HAND_SCALE, "known length, drawn by hand"}};
    for (size_t k = 0; k < sizeof item / sizeof item[0]; k++) {
        for (size_t i = 0; i < hands->count; i++) {
            const struct kb_by_hand *hand = &hands->hand[i];
            if (hand->kind == item[k].kind && kb_overlay_shows(hands, hand)) {
                drawn_item(strip, item[k].kind, item[k].words);
                break;
            }
        }
    }
}

/* Largest of 1, 2, 5, 10, 20, ... that is not above `most`. */
static double round_length(double most) {
    double decade = pow(10.0, floor(log10(most)));
    double ratio = most / decade;
    return decade * (ratio >= 5.0 ? 5.0 : ratio >= 2.0 ? 2.0 : 1.0);
}

static void scale_bar(struct strip *strip, double px_um) {
    bool known = px_um > 0.0;
    double unit = known ? px_um : 1.0;
    double length = round_length(0.25 * strip->width * unit); /* at most a quarter of the width */
    int32_t px = (int32_t)(length / unit + 0.5);
    char text[48];
    (void)snprintf(text, sizeof text, known ? "%g µm" : "%g px, scale unknown", length);
    make_room(strip, px + kb_paint_text_width(text, strip->scale) + KB_GLYPH_STEP * strip->scale);
    if (strip->picture != NULL) {
        int32_t line = strip->scale;
        kb_paint_block(strip->picture, strip->x, strip->y + 3 * line, px, 2 * line, KB_INK);
        kb_paint_block(strip->picture, strip->x, strip->y, line, 8 * line, KB_INK);
        kb_paint_block(strip->picture, strip->x + px - line, strip->y, line, 8 * line, KB_INK);
    }
    strip->x += px + KB_GLYPH_STEP * strip->scale;
    words(strip, text);
}

static const char form_by_hand[] = "(number): form by hand";

static void particle_items(struct strip *strip, const struct kb_particles *particles) {
    size_t nodules = 0, others = 0;
    for (size_t i = 0; i < particles->count; i++) {
        if (particles->particle[i].state == KB_COUNTS) {
            bool nodule = kb_is_nodule(&particles->particle[i]);
            nodules += nodule ? 1 : 0;
            others += nodule ? 0 : 1;
        }
    }
    if (nodules > 0) {
        line_item(strip, kb_state_mark(KB_COUNTS)->colour, false, "counts, shape factor ≥ 0.6");
    }
    if (others > 0) {
        line_item(strip, kb_not_nodular, false, "counts, < 0.6 (number underlined)");
    }
    if (particles->by_hand > 0) {
        make_room(strip, kb_paint_text_width(form_by_hand, strip->scale));
        words(strip, form_by_hand);
    }
    for (int state = KB_COUNTS + 1; state < KB_PARTICLE_STATES; state++) {
        if (particles->in_state[state] > 0) {
            const struct kb_paint_mark *mark = kb_state_mark((enum kb_particle_state)state);
            line_item(strip, mark->colour, mark->dashed, mark->words);
        }
    }
}

int32_t kb_overlay_strip(const struct kb_field *field, const struct kb_phase_map *map,
                         const struct kb_particles *particles, const struct kb_overlay_hands *hands,
                         int32_t top, struct kb_picture *picture) {
    int32_t width = field->grey.width;
    int32_t scale = width / (LETTERS_ACROSS * KB_GLYPH_STEP);
    struct strip strip = {picture, width, scale < 1 ? 1 : scale, 0, 0};
    strip.x = KB_GLYPH_STEP * strip.scale;
    strip.y = top + 4 * strip.scale;
    if (picture != NULL) {
        kb_paint_block(picture, 0, top, width, picture->height - top, KB_PAPER);
        kb_paint_block(picture, 0, top, width, strip.scale, KB_INK);
    }
    scale_bar(&strip, field->px_um);
    for (int phase = KB_GRAPHITE; phase < KB_PHASES; phase++) {
        if (map->figures.pixels[phase] > 0) {
            phase_item(&strip, (enum kb_phase)phase);
        }
    }
    if (map->figures.pixels[KB_EXCLUDED] > 0) {
        phase_item(&strip, KB_EXCLUDED);
    }
    if (particles != NULL) {
        particle_items(&strip, particles);
    }
    if (map->changes > 0) {
        cross_item(&strip);
    }
    drawn_items(&strip, hands);
    return strip.y + line_height(&strip) - top;
}
