/* made_map.h - phase maps and particles made by hand. */
#ifndef KB_TEST_MADE_MAP_H
#define KB_TEST_MADE_MAP_H

#include "keelblock/specimen.h"

/* A map of one row whose labels are counts[label] pixels each; looked for: the labels that occur.
 */
struct kb_phase_map made_map(const uint64_t counts[KB_PHASES]);
void made_map_release(struct kb_phase_map *map);

/* A counting particle with the shape factor `shape` and the maximum Feret diameter `feret` in
 * pixels; everything else follows from these two as for an ellipse. */
struct kb_particle made_particle(double shape, double feret);

#endif
