/* varied.h - drawn fields of every look, varied in everything else, for the contrast question. */
#ifndef KB_TEST_VARIED_H
#define KB_TEST_VARIED_H

#include "marked.h"

#define VARIED_COUNT 88

struct varied {
    struct kb_render_params params;
    double gain, lift; /* of the exposure: grey = gain * grey + lift */
    enum kb_contrast truth;
    bool iron;
    /* Ferrite without boundaries and hardly any pearlite: etching left no trace that could be
     * seen, and the field may be taken for a polished one. */
    bool traceless;
    char name[64];
};

/* The n-th of them, 0 .. VARIED_COUNT - 1; `series` gives other seeds and other draws. */
struct varied varied_field(int n, uint64_t series);
/* Draw and expose it. False when it could not be drawn. Release with marked_release(). */
bool varied_draw(const struct varied *varied, struct kb_field *field);

#endif
