/* marked.c - see marked.h. The letters are this file's own. */
#include "marked.h"

#include <string.h>

/* Seven rows of five dots, the leftmost is the highest bit. */
struct glyph {
    char letter;
    uint8_t row[7];
};

static const struct glyph glyphs[] = {
    {'0', {14, 17, 17, 17, 17, 17, 14}}, {'1', {4, 12, 4, 4, 4, 4, 14}},
    {'2', {14, 17, 1, 6, 8, 16, 31}},    {'4', {2, 6, 10, 18, 31, 2, 2}},
    {'5', {31, 16, 30, 1, 1, 17, 14}},   {'7', {31, 1, 2, 4, 4, 8, 8}},
    {'A', {14, 17, 17, 31, 17, 17, 17}}, {'E', {31, 16, 16, 30, 16, 16, 31}},
    {'H', {17, 17, 17, 31, 17, 17, 17}}, {'K', {17, 18, 20, 24, 20, 18, 17}},
    {'M', {17, 27, 21, 21, 17, 17, 17}}, {'T', {31, 4, 4, 4, 4, 4, 4}},
    {'U', {17, 17, 17, 17, 17, 17, 14}}, {'V', {17, 17, 17, 17, 17, 10, 4}},
    {'X', {17, 17, 10, 4, 10, 17, 17}},
};

static bool make(int32_t width, int32_t height, struct kb_field *field) {
    memset(field, 0, sizeof *field);
    field->grey_high = 255.0;
    field->bits = 8;
    field->format = "TIFF";
    field->px_um = 0.5;
    return kb_image_alloc(width, height, &field->grey, NULL) == KB_OK;
}

bool marked_draw(const struct kb_render_params *params, struct kb_field *field) {
    struct kb_render render;
    if (kb_render_draw(params, &render, NULL) != KB_OK) {
        return false;
    }
    bool made = make(params->width, params->height, field);
    for (int32_t y = 0; made && y < params->height; y++) {
        memcpy(kb_row(&field->grey, y), kb_row(&render.grey, y), (size_t)params->width);
    }
    kb_render_release(&render);
    return made;
}

bool marked_even(int32_t width, int32_t height, uint8_t level, struct kb_field *field) {
    bool made = make(width, height, field);
    if (made) {
        kb_image_fill(&field->grey, level);
    }
    return made;
}

void marked_release(struct kb_field *field) {
    kb_image_release(&field->grey);
}

void marked_fill(struct kb_field *field, struct kb_rect box, uint8_t level) {
    for (int32_t y = box.y; y < box.y + box.height; y++) {
        memset(kb_row(&field->grey, y) + box.x, level, (size_t)box.width);
    }
}

int32_t marked_text(struct kb_field *field, int32_t x, int32_t y, int32_t scale, uint8_t level,
                    const char *text) {
    int32_t begun = x;
    for (; *text != '\0'; text++, x += 6 * scale) {
        for (size_t g = 0; g < sizeof glyphs / sizeof *glyphs; g++) {
            for (int dot = 0; glyphs[g].letter == *text && dot < 35; dot++) {
                if ((glyphs[g].row[dot / 5] >> (4 - dot % 5) & 1) != 0) {
                    marked_fill(
                        field,
                        (struct kb_rect){x + dot % 5 * scale, y + dot / 5 * scale, scale, scale},
                        level);
                }
            }
        }
    }
    return x - begun;
}

void marked_strip(struct kb_field *field, struct kb_rect box, uint8_t ground, uint8_t ink,
                  int32_t length, bool ticks) {
    int32_t fits = box.width / 110, tall = box.height / 20;
    int32_t scale = tall < fits ? tall : fits, thick;
    scale = scale > 1 ? scale : 1;
    thick = scale + 1;
    marked_fill(field, box, ground);
    (void)marked_text(field, box.x + 8, box.y + box.height / 2 - 4 * scale, scale, ink,
                      "15 KV X 500 HV 20");
    int32_t x = box.x + box.width - length - 12, y = box.y + box.height - 8 - thick;
    marked_fill(field, (struct kb_rect){x, y, length, thick}, ink);
    if (ticks) {
        marked_fill(field, (struct kb_rect){x, y - 3, 2, thick + 6}, ink);
        marked_fill(field, (struct kb_rect){x + length - 2, y - 3, 2, thick + 6}, ink);
    }
    (void)marked_text(field, x + 4, box.y + 2, scale, ink, "50 UM");
}

void marked_round(struct kb_field *field, double x, double y, double radius, double soft,
                  uint8_t level) {
    for (int32_t j = 0; j < field->grey.height; j++) {
        uint8_t *row = kb_row(&field->grey, j);
        for (int32_t i = 0; i < field->grey.width; i++) {
            double off = (hypot(i - x, j - y) - radius) / soft + 0.5;
            double part = fmin(fmax(off, 0.0), 1.0);
            row[i] = (uint8_t)(row[i] * (1.0 - part) + level * part + 0.5);
        }
    }
}

void marked_mirror(struct kb_field *field) {
    for (int32_t y = 0; y < field->grey.height; y++) {
        uint8_t *row = kb_row(&field->grey, y);
        for (int32_t a = 0, b = field->grey.width - 1; a < b; a++, b--) {
            uint8_t kept = row[a];
            row[a] = row[b];
            row[b] = kept;
        }
    }
}

const struct kb_mark *marked_find(const struct kb_first_look *look, enum kb_mark_kind kind) {
    for (size_t i = 0; i < look->marks; i++) {
        if (look->mark[i].kind == kind) {
            return &look->mark[i];
        }
    }
    return NULL;
}

size_t marked_count(const struct kb_first_look *look, enum kb_mark_kind kind) {
    size_t count = 0;
    for (size_t i = 0; i < look->marks; i++) {
        count += look->mark[i].kind == kind;
    }
    return count;
}
