/* intake.h - files in, calibrated fields out.   base > raster > INTAKE > segmentation > ...
 *
 * TIFF (BigTIFF, strips, tiles, several pages), PNG and JPEG to grey rows; pixel size and where it
 * came from; digest of the file; the laboratory's job file as plain entries.
 */
#ifndef KEELBLOCK_INTAKE_H
#define KEELBLOCK_INTAKE_H

#include "keelblock/raster.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- fields ------------------------------------------------------------------------------------
 */

enum kb_scale_source {
    KB_SCALE_UNKNOWN = 0,
    KB_SCALE_GIVEN,    /* command line or job file: pixel size */
    KB_SCALE_BAR,      /* command line or job file: so many pixels are so many um */
    KB_SCALE_OME,      /* OME-XML PhysicalSizeX/Y in the TIFF description */
    KB_SCALE_TIFF_TAG, /* TIFF XResolution/YResolution with a real unit */
    KB_SCALE_PNG_PHYS, /* PNG pHYs chunk, unit metre */
    KB_SCALE_JPEG_TAG, /* JFIF density or EXIF resolution */
    KB_SCALE_BY_HAND,  /* a line drawn by hand in the picture along a known length */
    KB_SCALE_SOURCES
};
KB_API const char *kb_scale_source_name(enum kb_scale_source source); /* words for a reader */

/* One calibrated picture. */
struct kb_field {
    char *path;                 /* as given */
    char sha256[65];            /* of the file's bytes, lower-case hexadecimal */
    const char *format;         /* static text: "TIFF", "BigTIFF", "PNG", "JPEG" */
    uint32_t page, pages;       /* 1-based page that was read; pages in the file */
    struct kb_image grey;       /* the picture upright, 8 bits a pixel */
    uint32_t bits;              /* bits a sample in the file: 1..16 */
    bool was_colour;            /* luminance was taken, see kb_field_read */
    double grey_low, grey_high; /* file grey = grey_low + level * (grey_high - grey_low) / 255 */
    double px_um;               /* micrometres a pixel; 0 when unknown */
    double px_um_u;             /* its standard uncertainty as stated, um; 0 when not stated */
    enum kb_scale_source scale_source;
    struct kb_findings findings; /* "scale-unknown", "screen-resolution-ignored", ... */
};

struct kb_intake_params {
    double px_um;        /* given pixel size, 0.0001..1000 um; 0: the file's. Overrides the file */
    double px_um_u;      /* standard uncertainty of the pixel size that px_um or the bar gives, um;
                            below it; 0: not stated */
    double bar_px;       /* given scale bar: so many pixels ... 0: none. Not together with px_um */
    double bar_um;       /* ... are so many um */
    bool bar_by_hand;    /* the bar was drawn by hand in the picture: KB_SCALE_BY_HAND, and where
                            px_um_u is 0 each end is taken as half a pixel uncertain,
                            beside scale_u */
    double scale_u;      /* relative standard uncertainty of a scale, the file's too, that states
                            none of its own; below 1; 0: not stated */
    uint32_t page;       /* page of a TIFF from 1 on; 0: the first, a finding if there are more */
    uint64_t max_pixels; /* refuse larger pictures before decoding; default 400 million */
};
/* The file's scale, the first page. */
KB_API struct kb_intake_params kb_intake_params_default(void);
KB_API KB_NODISCARD enum kb_status kb_intake_params_check(const struct kb_intake_params *params,
                                                          struct kb_err *err);

/* Read one picture. The kind is found from the file's first bytes, never from its name. Only
 * regular files are read; a file that is cut short, or that changes while it is read, is an error.
 *
 * Grey: 8-bit grey is taken as it is. Colour becomes luma Y' = 0.299 R + 0.587 G + 0.114 B
 * (ITU-R BT.601, the weights that JFIF uses too); alpha is composed over white; palettes are looked
 * up; MinIsWhite is inverted; CMYK is converted. More than 8 bits: linear window from the 0.01 % to
 * the 99.99 % quantile to 0..255, recorded in grey_low / grey_high.
 * EXIF and TIFF orientation are honoured.
 * Scale: params, then OME-XML, then resolution tags; tags of 72, 96, 150, 300 or 600 dpi, or that
 * mean more than 100 um a pixel, are screen or print defaults and are no scale. Pixels whose sides
 * differ by more than 0.5 % are refused with advice; up to that the geometric mean is taken. A
 * given scale is compared with the file's.
 *
 * Findings: scale-unknown, screen-resolution-ignored, scale-disagrees (by more than 1 %),
 * scale-unreadable, pixels-not-square, more-pages, more-channels, see-through, colour-to-grey,
 * sixteen-bit-window, odd-jpeg-data.
 *
 * KB_E_INPUT with advice for anything that cannot be a picture to measure. On failure `field` is
 * zeroed. Release with kb_field_release(). */
KB_API KB_NODISCARD enum kb_status kb_field_read(const char *path,
                                                 const struct kb_intake_params *params,
                                                 struct kb_field *field, struct kb_err *err);
/* A field of grey levels in memory, px_um 0.0001..1000 um a pixel or 0 for unknown, as if given.
 * Takes the pixels: on success `grey` is zeroed and the field owns them; on failure it is left as
 * it was. `name` stands for the path. No digest, no findings. KB_E_USAGE for another px_um. */
KB_API KB_NODISCARD enum kb_status kb_field_from_grey(struct kb_image *grey, double px_um,
                                                      const char *name, struct kb_field *field,
                                                      struct kb_err *err);
KB_API void kb_field_release(struct kb_field *field);
KB_API double kb_field_area_mm2(const struct kb_field *field); /* NaN when the scale is unknown */

/* SHA-256 of a file's bytes, as in struct kb_field, without looking at what they mean. KB_E_INPUT
 * as kb_field_read() for what is no regular file or empty. */
KB_API KB_NODISCARD enum kb_status kb_file_digest(const char *path, char sha256[65],
                                                  struct kb_err *err);
/* The same of bytes in memory. */
KB_API void kb_digest(const void *bytes, size_t size, char sha256[65]);

/* Every picture that `pattern` means, sorted by name (bytes): a file, a folder (its *.tif *.tiff
 * *.png *.jpg *.jpeg in any case, not deeper), or a shell pattern. KB_E_INPUT when it means none.
 * Paths are appended to *paths (kb_grow array of kb_copy_string); a failed call appends none. A
 * name that exists is taken as it stands, also when it holds [ or *. In a folder, names that begin
 * with a dot are passed over. */
struct kb_paths {
    char **path;
    size_t count, capacity;
};
KB_API KB_NODISCARD enum kb_status kb_paths_expand(const char *pattern, struct kb_paths *paths,
                                                   struct kb_err *err);
KB_API void kb_paths_release(struct kb_paths *paths);

/* ---- job file ----------------------------------------------------------------------------------
 * An INI file: [section], key = value, ; or # comments, UTF-8 with or without BOM, LF or CRLF. Only
 * the syntax is checked here; what keys mean is the application's option table. */

struct kb_job_entry {
    char *section, *key, *value; /* trimmed */
    int line;                    /* 1-based */
};

struct kb_job {
    char *path;
    struct kb_job_entry *entry;
    size_t count, capacity;
};

/* KB_E_SYSTEM when it cannot be opened, KB_E_USAGE for a bad line, naming file and line. Bad are:
 * a line of more than 197 bytes, a key said twice in its section, text that is not UTF-8. In
 * [by_hand] a key may be said often, and a line that ends in a backslash goes on in the next. A `;`
 * behind a blank begins a comment, also behind a value. On failure `job` is zeroed. Release with
 * kb_job_release(). */
KB_API KB_NODISCARD enum kb_status kb_job_read(const char *path, struct kb_job *job,
                                               struct kb_err *err);
KB_API void kb_job_release(struct kb_job *job);

/* ---- tables ------------------------------------------------------------------------------------
 * What a spreadsheet saves as text, anywhere in the world: cells apart by comma, semicolon or tab;
 * quotes, with line breaks inside; LF, CRLF or CR; UTF-8, UTF-16, or Windows-1252 where the bytes
 * are no UTF-8. Only the syntax is checked here; what columns mean is the application's. */

struct kb_table_row {
    int number;  /* as the spreadsheet counts them, from 1 */
    char **cell; /* UTF-8, trimmed; "" when empty */
    size_t cells;
};

struct kb_table {
    char *path;
    char sha256[65];          /* of the file's bytes */
    const char *encoding;     /* static text: "UTF-8", "UTF-16", "Windows-1252" */
    char separator;           /* ',', ';' or tab */
    struct kb_table_row *row; /* those that are not empty, the first one the header */
    size_t rows, capacity;
};

/* Empty rows and empty cells at the ends of rows are left out. The separator is the one that the
 * first row has most of, or the one that a line "sep=;" before it says. KB_E_SYSTEM when the file
 * cannot be opened, KB_E_USAGE for bad text, naming the row. On failure `table` is zeroed. Release
 * with kb_table_release(). */
KB_API KB_NODISCARD enum kb_status kb_table_read(const char *path, struct kb_table *table,
                                                 struct kb_err *err);
KB_API void kb_table_release(struct kb_table *table);

#ifdef __cplusplus
}
#endif
#endif
