/* flakes_priv.h - what the files about the distribution of flakes share. Lengths in pixels. */
#ifndef KB_FLAKES_PRIV_H
#define KB_FLAKES_PRIV_H

#include "specimen_priv.h"

/* ---- flake_tiles.c ---- */

struct kb_tile {
    uint32_t area, out; /* pixels of graphite; pixels left out */
    uint32_t n[4];      /* crossings along rows, falling diagonals, columns, rising diagonals */
};
struct kb_tiles {
    struct kb_tile *tile;
    int32_t side, columns, rows; /* the right and lower rest of a field is in no tile */
};
/* Tiles of `side` pixels, >= 1; none where the field is smaller. */
KB_NODISCARD enum kb_status kb_tiles_make(const struct kb_image *label, int32_t side,
                                          struct kb_tiles *tiles, struct kb_err *err);
void kb_tiles_release(struct kb_tiles *tiles);

/* Outline: its length, and length times cosine and sine of twice its direction (counter-clockwise
 * from the row, y up), summed. */
struct kb_outline_sum {
    double length, cosine, sine;
};
struct kb_outline_sum kb_tile_outline(const struct kb_tile *tile);

/* ---- flake_rosettes.c ---- */

struct kb_rosettes {
    double radial, middle; /* NaN where the field is too small */
};
/* `all`: the outline of the whole field. */
KB_NODISCARD enum kb_status kb_rosettes_run(const struct kb_tiles *tiles,
                                            const struct kb_outline_sum *all,
                                            struct kb_rosettes *out, struct kb_err *err);

/* ---- flake_field.c ---- */

/* Length along a stroke of that area and perimeter. */
double kb_flake_length(double area, double perimeter);

/* ---- flake_letters.c ---- */

/* Belief in each letter from the pooled figures. `lamellar`, `nodular`: shares of the graphite of
 * form I, and of V and VI, 0..1; NaN unknown. `px_um`: the coarsest pixel of the fields. */
void kb_flake_letters_judge(double lamellar, double nodular, double px_um,
                            struct kb_flake_distribution *out);

#endif
