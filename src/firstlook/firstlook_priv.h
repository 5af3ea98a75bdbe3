/* firstlook_priv.h - what the files of this stage share. */
#ifndef KB_FIRSTLOOK_PRIV_H
#define KB_FIRSTLOOK_PRIV_H

#include "keelblock/firstlook.h"

/* ---- a frame that is being looked at ---------------------------------------------------------
 */

struct kb_firstlook_frame {
    const struct kb_field *field;
    struct kb_first_look *look;
    struct kb_rect inside; /* what margins and strips have left */
    int waver;             /* levels by which an even area may waver: more where it went through
                              lossy compression */
};

static inline const struct kb_image *kb_firstlook_grey(const struct kb_firstlook_frame *frame) {
    return &frame->field->grey;
}

/* Pixels by which a mark is grown: sharp steps ring that far in resampled and compressed files. */
#define KB_FIRSTLOOK_HALO 2

/* A difference that can be read, grey levels. Marks are drawn to be read. */
#define KB_FIRSTLOOK_LEGIBLE 40

/* Smaller sides hold no marks that could be told from structure, pixels. */
#define KB_FIRSTLOOK_SIDE_LEAST 64

/* Note a mark; its pixels are painted by the caller. */
KB_NODISCARD enum kb_status kb_firstlook_note(const struct kb_firstlook_frame *frame,
                                              enum kb_mark_kind kind, struct kb_rect box,
                                              double bar_px, struct kb_err *err);
/* See to it that look->outside exists, zero where nothing was painted. */
KB_NODISCARD enum kb_status kb_firstlook_need_outside(const struct kb_firstlook_frame *frame,
                                                      struct kb_err *err);
/* Paint a rectangle, clipped at the frame. look->outside must exist. */
void kb_firstlook_paint(const struct kb_firstlook_frame *frame, struct kb_rect box);
/* Note a mark and paint its box grown by the halo. */
KB_NODISCARD enum kb_status kb_firstlook_note_box(const struct kb_firstlook_frame *frame,
                                                  enum kb_mark_kind kind, struct kb_rect box,
                                                  double bar_px, struct kb_err *err);

/* ---- a frame seen from one of its sides --------------------------------------------------------
 */

enum kb_firstlook_side { KB_TOP, KB_BOTTOM, KB_LEFT, KB_RIGHT, KB_SIDES };

/* Lines parallel to the side, 0 at the side, `depth` of them, each of `length` pixels. */
struct kb_firstlook_lines {
    const uint8_t *first;
    ptrdiff_t along, inward;
    int32_t length, depth;
};

struct kb_firstlook_lines kb_firstlook_lines_of(const struct kb_image *grey, struct kb_rect inside,
                                                enum kb_firstlook_side side);
/* The outer `depth` lines as a rectangle, and what is left of `inside` without them. */
struct kb_rect kb_firstlook_strip(struct kb_rect inside, enum kb_firstlook_side side,
                                  int32_t depth);
struct kb_rect kb_firstlook_rest(struct kb_rect inside, enum kb_firstlook_side side, int32_t depth);
/* Share of a line's pixels within `waver` of `level`. */
double kb_firstlook_line_share(const struct kb_firstlook_lines *lines, int32_t line, int level,
                               int waver);
const char *kb_firstlook_side_name(enum kb_firstlook_side side); /* "top", ... */

/* ---- finders: each notes what it finds ---------------------------------------------------------
 */

/* Margins and data bars along the sides, until there are no more. Leaves frame->inside without
 * them. KB_E_UNFIT when the whole frame is one even black or white area. */
KB_NODISCARD enum kb_status kb_firstlook_strips(struct kb_firstlook_frame *frame,
                                                struct kb_err *err);
/* Depth of the data bar at a side of frame->inside, lines; 0: none. `level`: of its ground. */
KB_NODISCARD enum kb_status kb_firstlook_data_bar(const struct kb_firstlook_frame *frame,
                                                  enum kb_firstlook_side side, int32_t *depth,
                                                  int *level, struct kb_err *err);
KB_NODISCARD enum kb_status kb_firstlook_vignette(const struct kb_firstlook_frame *frame,
                                                  struct kb_err *err);

/* Levels low..high. */
struct kb_firstlook_ink {
    int low, high;
};

/* A burnt-in scale bar. */
struct kb_firstlook_bar {
    struct kb_rect box;
    bool ticks;
    double length_px; /* end to end; 0: none found */
};
/* The most likely one in a rectangle of the frame; bars shorter than `least` pixels are passed
 * over, and so is what is not 0 in `outside` (may be NULL or empty). `bare`: take also a bar of one
 * pixel's thickness and without ticks, as in a data bar. */
struct kb_firstlook_bar kb_firstlook_find_bar(const struct kb_image *grey,
                                              const struct kb_image *outside, struct kb_rect where,
                                              struct kb_firstlook_ink ink, int32_t least,
                                              bool bare);
/* Scale bars, lettering, arrows and plates drawn over the picture. */
KB_NODISCARD enum kb_status kb_firstlook_drawn(const struct kb_firstlook_frame *frame,
                                               struct kb_err *err);

/* ---- the small picture -------------------------------------------------------------------------
 * The part inside, averaged over squares of `factor` pixels so that no side is longer than about
 * nine hundred pixels; `shown` is not 0 where no pixel of the square is outside. */

struct kb_firstlook_small {
    int32_t factor;
    struct kb_rect from; /* the part of the frame that it shows */
    struct kb_image grey;
    struct kb_image shown;
};

KB_NODISCARD enum kb_status kb_firstlook_small_make(const struct kb_firstlook_frame *frame,
                                                    struct kb_firstlook_small *small,
                                                    struct kb_err *err);
void kb_firstlook_small_release(struct kb_firstlook_small *small);

/* Mounting resin, found on a small picture. */
KB_NODISCARD enum kb_status kb_firstlook_resin(const struct kb_firstlook_frame *frame,
                                               const struct kb_firstlook_small *small,
                                               struct kb_err *err);

/* Divide the slow change of light out of a picture: a surface of second degree through the medians
 * of blocks. `shown` NULL: all pixels. */
KB_NODISCARD enum kb_status kb_firstlook_even(struct kb_image *grey, const struct kb_image *shown,
                                              struct kb_err *err);

/* ---- contrast ----------------------------------------------------------------------------------
 */

/* What is measured of a field before it is said how it was seen. */
struct kb_firstlook_measures {
    double peak;       /* grey level of the brightest real peak of the evened histogram */
    double peak_share; /* pixels within 8 % of it */
    double spread;     /* half the width of the bright part (10..90 %) over bright minus dark */
    double flat_mid;   /* share of flat pixels midway between dark and bright */
    double thick;   /* share of the dark that is more than five pixels of the small picture wide */
    double noise;   /* standard deviation, grey levels */
    double scan;    /* natural logarithm of noise power down the columns over along the rows */
    double white;   /* power of second differences over three times that of first ones: noise 1,
                       structure less */
    double skew;    /* of fine detail: bright detail on darker ground is positive */
    double texture; /* natural logarithm of fine texture, brightest quarter over darkest */
    double lines;   /* share of thin dark lines in the bright class */
    double depth;   /* (bright - darkest) / bright, of the histogram's two classes */
};

KB_NODISCARD enum kb_status kb_firstlook_measure(const struct kb_firstlook_frame *frame,
                                                 const struct kb_firstlook_small *small,
                                                 struct kb_firstlook_measures *measures,
                                                 struct kb_err *err);
/* Noise, its direction and its whiteness, at full resolution, from the quietest tiles. */
void kb_firstlook_noise(const struct kb_firstlook_frame *frame,
                        struct kb_firstlook_measures *measures);
void kb_firstlook_weigh(const struct kb_firstlook_frame *frame,
                        const struct kb_firstlook_measures *measures,
                        const struct kb_first_look_params *params);

/* Findings about marks and contrast. */
KB_NODISCARD enum kb_status kb_firstlook_tell(const struct kb_firstlook_frame *frame,
                                              struct kb_err *err);

#endif
