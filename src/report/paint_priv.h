/* paint_priv.h - pixels for the overlay: text, blocks, hatches, and the pieces of the drawing. */
#ifndef KB_PAINT_PRIV_H
#define KB_PAINT_PRIV_H

#include "report_priv.h"

struct kb_rgb {
    uint8_t r, g, b;
};
#define KB_INK ((struct kb_rgb){24, 26, 32})
#define KB_PAPER ((struct kb_rgb){255, 255, 255})

/* ---- font.c ------------------------------------------------------------------------------------
 */

enum { KB_GLYPH_WIDTH = 5, KB_GLYPH_HEIGHT = 7, KB_GLYPH_STEP = 6, KB_GLYPH_ROWS = 9 };
/* Nine rows, the last two below the line; bit 4 is the leftmost column. Unknown: an empty box. */
const uint8_t *kb_glyph(uint32_t code);

/* ---- overlay_paint.c: everything is clipped to the picture
 * --------------------------------------------- */

void kb_paint_block(struct kb_picture *picture, int32_t x, int32_t y, int32_t width, int32_t height,
                    struct kb_rgb colour);
int32_t kb_paint_text_width(const char *text, int32_t scale);
/* Top left corner at x, y. `halo`: a rim of one unit of `rim` round the letters. */
void kb_paint_text(struct kb_picture *picture, int32_t x, int32_t y, int32_t scale,
                   const char *text, struct kb_rgb colour, bool halo, struct kb_rgb rim);
/* Whether a hatch has ink at x, y; `unit` is its line width in pixels. */
bool kb_hatch_at(enum kb_hatch hatch, int32_t x, int32_t y, int32_t unit);

/* ---- the overlay's pieces ----------------------------------------------------------------------
 */

/* How a particle is drawn. */
struct kb_paint_mark {
    struct kb_rgb colour;
    bool dashed;
    char letter; /* code of a particle that does not count; 0: it counts and is numbered */
    const char *words;
};
const struct kb_paint_mark *kb_state_mark(enum kb_particle_state state);
/* Outline of a particle that counts but is no nodule. */
extern const struct kb_rgb kb_not_nodular;

/* Line width that survives the shrinking of the picture into the page. */
int32_t kb_overlay_unit(int32_t width);

void kb_overlay_tint(const struct kb_image *grey, const struct kb_image *label, int32_t unit,
                     struct kb_picture *picture);
/* Lines between phases, for structures without particles. */
void kb_overlay_boundaries(const struct kb_image *label, int32_t unit, struct kb_picture *picture);
void kb_overlay_outlines(const struct kb_particles *particles, int32_t unit,
                         struct kb_picture *picture);
KB_NODISCARD enum kb_status kb_overlay_numbers(const struct kb_particles *particles, int32_t unit,
                                               struct kb_picture *picture, struct kb_err *err);

/* Where phases were set by hand, and what was drawn by hand; one such cross; one such drawing. */
void kb_overlay_by_hand(const struct kb_phase_map *map, const struct kb_overlay_hands *hands,
                        int32_t unit, struct kb_picture *picture);
void kb_overlay_drawn(struct kb_picture *picture, const struct kb_by_hand *hand, int32_t unit);
bool kb_overlay_shows(const struct kb_overlay_hands *hands, const struct kb_by_hand *hand);
void kb_overlay_cross(struct kb_picture *picture, int32_t x, int32_t y, int32_t unit);

/* The strip under the picture. `top` is its first row; nothing is drawn when `picture` is NULL.
 * Returns its height. */
int32_t kb_overlay_strip(const struct kb_field *field, const struct kb_phase_map *map,
                         const struct kb_particles *particles, const struct kb_overlay_hands *hands,
                         int32_t top, struct kb_picture *picture);

/* ---- shrink.c, jpeg.c --------------------------------------------------------------------------
 */

/* Area mean of `channels` interleaved bytes into to_width x to_height (neither larger than from).
 */
KB_NODISCARD enum kb_status kb_shrink(const uint8_t *from, int32_t width, int32_t height,
                                      size_t stride, int channels, int32_t to_width,
                                      int32_t to_height, uint8_t *to, struct kb_err *err);
/* Grey (1 channel) or RGB (3) rows to JPEG bytes; *bytes from kb_alloc. */
KB_NODISCARD enum kb_status kb_jpeg_encode(const uint8_t *rows, int32_t width, int32_t height,
                                           int channels, uint8_t **bytes, size_t *size,
                                           struct kb_err *err);

#endif
