/* intake_priv.h - what the files of this stage share: the open file, the canvas that decoders paint
 * rows of samples on, and what a file says about its scale.
 */
#ifndef KB_INTAKE_PRIV_H
#define KB_INTAKE_PRIV_H

#include "keelblock/intake.h"

#include <time.h>

#define KB_INTAKE "intake"

/* ---- the open file (source.c) ------------------------------------------------------------------
 */

struct kb_source {
    const char *path;
    int file; /* descriptor of a regular file */
    uint64_t size;
    struct timespec changed; /* when it was last written to, as found at the start */
    uint64_t at;             /* next byte that a decoder reads */
    uint8_t head[64];        /* first bytes */
    size_t head_size;
};

/* Opens regular files only: a pipe or a device could block for ever. */
KB_NODISCARD enum kb_status kb_source_open(const char *path, struct kb_source *source,
                                           struct kb_err *err);
void kb_source_close(struct kb_source *source);
/* Up to `size` bytes from `source->at` on; fewer only at the end of the file, -1 when the system
 * refuses. */
int64_t kb_source_read(struct kb_source *source, void *to, size_t size);
/* SHA-256 (FIPS 180-4) of the whole file, 64 hexadecimal digits and a NUL. */
KB_NODISCARD enum kb_status kb_source_digest(struct kb_source *source, char hex[65],
                                             struct kb_err *err);
/* KB_E_INPUT when somebody wrote to the file since it was opened: digest and picture would not
 * belong together. */
KB_NODISCARD enum kb_status kb_source_unchanged(const struct kb_source *source, struct kb_err *err);

/* ---- samples to grey (luma.c) ------------------------------------------------------------------
 */

enum kb_colour { KB_COLOUR_GREY, KB_COLOUR_RGB, KB_COLOUR_CMYK, KB_COLOUR_PALETTE };

#define KB_NO_ALPHA UINT32_MAX

/* How the pixels of one row lie in memory. Samples of 8 bits are bytes, of 16 bits uint16_t in the
 * machine's order; of 1, 2, 4 and 12 bits packed from the high bits down, rows start on a byte. */
struct kb_form {
    int32_t width, height;
    uint32_t bits;    /* a sample: 1, 2, 4, 8, 12, 16 */
    uint32_t samples; /* a pixel, those that are skipped included */
    enum kb_colour colour;
    uint32_t alpha;          /* which sample is the opacity, or KB_NO_ALPHA */
    bool alpha_in_colour;    /* the colour samples are already multiplied by it */
    bool inverted;           /* grey: 0 is white; CMYK: 0 is full ink */
    uint8_t palette[256];    /* grey level of each index */
    bool palette_clear[256]; /* entries that let the ground through */
};

struct kb_canvas {
    struct kb_form form;
    uint32_t top;          /* luma of white: 2^bits - 1, 255 for a palette */
    struct kb_image *grey; /* 8 bits: the result */
    uint16_t *deep;        /* more than 8 bits: luma as in the file until the window is known */
    uint16_t *wide;        /* one row of samples */
    uint16_t *luma;        /* one row of luma */
    bool see_through;      /* some pixel let the ground through */
};

/* Checks the size against params->max_pixels, then allocates. `grey` is the caller's to release. */
KB_NODISCARD enum kb_status kb_canvas_open(struct kb_canvas *canvas, const struct kb_form *form,
                                           uint64_t max_pixels, struct kb_image *grey,
                                           const char *path, struct kb_err *err);
/* Paint `count` pixels from `samples` at x0, x0 + step, ... of row y. */
void kb_canvas_put(struct kb_canvas *canvas, int32_t y, int32_t x0, int32_t step, int32_t count,
                   const void *samples);
/* Window deep samples down to 8 bits; tell which file greys 0 and 255 stand for. */
KB_NODISCARD enum kb_status kb_canvas_finish(struct kb_canvas *canvas, double *low, double *high,
                                             struct kb_err *err);
void kb_canvas_release(struct kb_canvas *canvas);

/* Luma of one RGB triple, any depth up to 16 bits. */
uint32_t kb_luma(uint32_t red, uint32_t green, uint32_t blue);

/* ---- upright (orient.c) ------------------------------------------------------------------------
 */

/* Undo orientation 1..8 in the sense of TIFF tag 274 (EXIF 2.3 uses the same numbers). */
KB_NODISCARD enum kb_status kb_orient(struct kb_image *image, int orientation, struct kb_err *err);

/* ---- scale (scale.c) ---------------------------------------------------------------------------
 */

/* Pixel pitch as one place in a file states it; 0 where it says nothing. */
struct kb_pitch {
    double x_um, y_um;
    enum kb_scale_source source;
};

/* What a file says about its scale, the better source first. */
struct kb_file_scale {
    struct kb_pitch pitch[3];
    size_t count;
    double aspect; /* width of a pixel / its height where only that is stated; 0: nothing stated */
    const char *trouble; /* static text: a statement about scale that could not be used, or NULL */
};

void kb_file_scale_add(struct kb_file_scale *scale, double x_um, double y_um,
                       enum kb_scale_source source);
/* Fill px_um and scale_source of `field` from params and file; add the findings. */
KB_NODISCARD enum kb_status kb_scale_choose(const struct kb_file_scale *scale,
                                            const struct kb_intake_params *params,
                                            struct kb_field *field, struct kb_err *err);

/* ---- open metadata -----------------------------------------------------------------------------
 */

struct kb_exif {
    int orientation;     /* 1..8; 1 when not stated */
    double x_res, y_res; /* pixels per unit; 0 when not stated */
    double unit_um;      /* the unit's length; 0 when it is no length */
};
/* Read the first directory of an EXIF block (the bytes behind "Exif\0\0"). Anything odd is skipped:
 * what is left unset was not readable. */
void kb_exif_read(const uint8_t *block, size_t size, struct kb_exif *exif);

/* Whether a TIFF description looks like OME-XML. */
bool kb_ome_is(const char *description);
/* PhysicalSizeX/Y of the Pixels elements, in um. Stays at 0 with a reason in *trouble (static text)
 * when the text is broken or its images disagree. */
KB_NODISCARD enum kb_status kb_ome_read(const char *description, struct kb_pitch *pitch,
                                        const char **trouble, struct kb_err *err);

/* ---- one reading under way (field.c, read_*.c) -------------------------------------------------
 */

struct kb_reading {
    const struct kb_intake_params *params;
    struct kb_source source;
    struct kb_field *field;
    struct kb_canvas canvas;
    struct kb_file_scale scale;
    int orientation; /* 1..8 */
};

/* Each decodes into reading->canvas and fills format, page, pages, bits, was_colour, scale and
 * orientation. */
KB_NODISCARD enum kb_status kb_read_tiff(struct kb_reading *reading, struct kb_err *err);
KB_NODISCARD enum kb_status kb_read_png(struct kb_reading *reading, struct kb_err *err);
KB_NODISCARD enum kb_status kb_read_jpeg(struct kb_reading *reading, struct kb_err *err);

/* ---- text (utf8.c, table_text.c) ---------------------------------------------------------------
 */

/* Bytes of the well-formed UTF-8 character at `at` (RFC 3629), of which `left` may be read; 0 when
 * it is none, or a control other than a tab. */
size_t kb_utf8_size(const uint8_t *at, size_t left);
/* A table's bytes as UTF-8, appended to `text`, and what they were. NULL, or what is wrong. */
const char *kb_table_text(const uint8_t *bytes, size_t size, struct kb_text *text,
                          const char **encoding);

#endif
