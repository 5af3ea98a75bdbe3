/* ink.h - connected pieces of ink and their figures (private to the first look). */
#ifndef KB_FIRSTLOOK_INK_H
#define KB_FIRSTLOOK_INK_H

#include "firstlook_priv.h"

/* One connected piece of ink. Coordinates are those of the view that was labelled. */
struct kb_ink_piece {
    int32_t x0, y0, x1, y1; /* half-open */
    int32_t runs, area, overlap;
    int32_t sharp, soft;              /* edge points with a legible step, and without */
    int32_t left, right, top, bottom; /* rows, rows, pixels, pixels along the sides of the box */
};

struct kb_ink {
    struct kb_image view; /* of the frame's inside */
    struct kb_runs runs;
    struct kb_ink_piece *piece; /* by region */
    size_t count;
};

/* Label what has levels low..high in the frame's inside. More than `runs_most` runs are no
 * drawing: `ink` then holds no pieces. Release with kb_ink_release(). */
KB_NODISCARD enum kb_status kb_ink_find(const struct kb_firstlook_frame *frame,
                                        struct kb_firstlook_ink levels, size_t runs_most,
                                        struct kb_ink *ink, struct kb_err *err);
void kb_ink_release(struct kb_ink *ink);

/* Width of the pen that drew the piece, pixels: twice its area over its outline. */
double kb_ink_pen(const struct kb_ink_piece *piece);
/* Share of its edge that is a legible step. */
double kb_ink_sharpness(const struct kb_ink_piece *piece);

#endif
