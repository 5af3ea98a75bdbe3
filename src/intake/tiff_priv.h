/* tiff_priv.h - between read_tiff.c (what a TIFF says) and tiff_layout.c (where its pixels lie). */
#ifndef KB_TIFF_PRIV_H
#define KB_TIFF_PRIV_H

#include "intake_priv.h"

#include <tiffio.h>

struct kb_tiff {
    TIFF *tif;
    struct kb_reading *reading;
    struct kb_form form;
    uint16_t compression, planar;
    bool via_rgba;   /* subsampled YCbCr: the library turns it into RGB for us */
    bool decoding;   /* directories are done, pixels are being read */
    char first[200]; /* the library's first complaint since it was cleared */
};

/* Refuse files whose strips or tiles lie beyond their end, or that claim more than they can hold.
 */
KB_NODISCARD enum kb_status kb_tiff_check_layout(struct kb_tiff *tiff, struct kb_err *err);
/* Decode the pixels of the current page into the canvas. */
KB_NODISCARD enum kb_status kb_tiff_read_pixels(struct kb_tiff *tiff, struct kb_err *err);

#endif
