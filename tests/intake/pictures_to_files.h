/* pictures_to_files.h - writes picture files of every kind with known samples into a scratch
 * folder.
 *
 * Written with the reference libraries, libtiff, libpng and libjpeg-turbo, never with the product.
 */
#ifndef KB_TEST_PICTURES_TO_FILES_H
#define KB_TEST_PICTURES_TO_FILES_H

#include "keelblock/intake.h"

/* cmocka setup and teardown of a group: a fresh scratch folder, removed with its files at the end.
 */
int scratch_make(void **state);
int scratch_remove(void **state);
/* Path of a file in the scratch folder; good until eight more calls. */
const char *scratch_path(const char *name);

void write_bytes(const char *path, const void *bytes, size_t size);
/* Whole file in malloc()ed memory. */
uint8_t *read_bytes(const char *path, size_t *size);

/* Sample `c` of the pixel at x, y: 0 .. 2^bits - 1. */
typedef uint32_t sample_at(uint32_t x, uint32_t y, uint32_t c, uint32_t bits);
/* Every level in a small picture, no two neighbours alike. */
uint32_t mixed_sample(uint32_t x, uint32_t y, uint32_t c, uint32_t bits);
/* A slope that lossy compression leaves alone. */
uint32_t smooth_sample(uint32_t x, uint32_t y, uint32_t c, uint32_t bits);

/* Zero means the format's default or "left out", width, height, bits and samples apart. */
struct tiff_spec {
    const char *mode; /* of TIFFOpen; NULL: "w" */
    uint32_t width, height;
    uint16_t bits, samples, photometric, compression, planar, format, orientation;
    bool no_photometric;
    uint32_t rows;          /* a strip; 0: the library's choice */
    uint32_t tile;          /* side; 0: strips */
    uint16_t extra, extras; /* kind and number of extra samples */
    double x_res, y_res;
    uint16_t unit; /* 0: left out */
    const char *description;
    bool small_palette; /* entries of 8 bits instead of 16 */
    sample_at *sample;  /* NULL: mixed_sample */
    uint32_t pages;     /* 0: 1; page k has width + k columns */
};
void write_tiff(const char *path, const struct tiff_spec *spec);

struct png_spec {
    uint32_t width, height;
    int bits, colour, interlace;
    bool clear_key;     /* a tRNS key on the colour of pixel 0, 0 */
    bool clear_palette; /* palette entry 1 half clear */
    uint32_t x_res, y_res;
    int unit;
    uint8_t *exif; /* bytes of an eXIf chunk */
    size_t exif_size;
    sample_at *sample;
};
void write_png(const char *path, const struct png_spec *spec);
/* The palette that write_png() and write_tiff() use. */
void palette_entry(uint32_t index, uint8_t rgb[3]);

struct jpeg_spec {
    uint32_t width, height;
    int components; /* 1, 3 or 4 */
    int colour;     /* J_COLOR_SPACE in the file; 0: by components */
    int quality;    /* 0: 100 */
    bool progressive, no_adobe;
    bool many_scans;                        /* one grey component in more than 300 scans */
    int density_unit, x_density, y_density; /* -1 in x_density: none */
    const uint8_t *exif;                    /* bytes behind "Exif\0\0" */
    size_t exif_size;
    sample_at *sample; /* NULL: smooth_sample */
};
void write_jpeg(const char *path, const struct jpeg_spec *spec);

/* BT.601 luma, real arithmetic. */
double luma_of(double red, double green, double blue);
/* Read, or fail the test with the message. */
void read_field(const char *path, struct kb_field *field);
/* Reading must fail with `status` and a message that holds `words`. */
void refuse_field(const char *path, const struct kb_intake_params *params, enum kb_status status,
                  const char *words);

#endif
