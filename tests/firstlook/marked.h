/* marked.h - drawn fields with marks laid over them: strips, bars, lettering, vignettes, resin. */
#ifndef KB_TEST_MARKED_H
#define KB_TEST_MARKED_H

#include "keelblock/firstlook.h"
#include "keelblock/render.h"

/* A drawn field; its pixels belong to the caller. False when it could not be drawn. Release with
 * marked_release(). */
bool marked_draw(const struct kb_render_params *params, struct kb_field *field);
/* A field of one grey level. */
bool marked_even(int32_t width, int32_t height, uint8_t level, struct kb_field *field);
void marked_release(struct kb_field *field);

void marked_fill(struct kb_field *field, struct kb_rect box, uint8_t level);
/* Letters of 5 x 7 dots, each dot scale x scale pixels, top left corner at x, y. Capitals, digits,
 * space. Returns the width. */
int32_t marked_text(struct kb_field *field, int32_t x, int32_t y, int32_t scale, uint8_t level,
                    const char *text);
/* A strip with lettering: ground, text, and a scale bar of `length` pixels with or without ticks.
 */
void marked_strip(struct kb_field *field, struct kb_rect box, uint8_t ground, uint8_t ink,
                  int32_t length, bool ticks);
/* Level outside a circle, with a rim `soft` pixels wide. */
void marked_round(struct kb_field *field, double x, double y, double radius, double soft,
                  uint8_t level);
/* Mirror left to right. */
void marked_mirror(struct kb_field *field);

/* First mark of a kind; NULL when there is none. */
const struct kb_mark *marked_find(const struct kb_first_look *look, enum kb_mark_kind kind);
size_t marked_count(const struct kb_first_look *look, enum kb_mark_kind kind);

#endif
