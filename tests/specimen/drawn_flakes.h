/* drawn_flakes.h - specimens of drawn flake fields whose distribution is known. */
#ifndef KB_TEST_DRAWN_FLAKES_H
#define KB_TEST_DRAWN_FLAKES_H

#include "keelblock/render.h"
#include "keelblock/specimen.h"

/* Draw, segment, measure and pool `fields` fields with seeds from `seed` on; `size_um` is nodule_um
 * of the drawing. False when a step failed. */
bool drawn_flakes(enum kb_render_distribution letter, uint64_t seed, size_t fields, double size_um,
                  struct kb_specimen *specimen);

#endif
