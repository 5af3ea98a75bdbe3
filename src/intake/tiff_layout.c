/* tiff_layout.c - the pixels of a TIFF page: strips, tiles, separate planes.
 *
 * Strips with all samples together are read row by row, or, when they already are what we want,
 * straight into the grey rows. Tiles and separate planes are read block by block; YCbCr other than
 * JPEG passes through the library's RGBA interface, one strip or tile at a time. Nothing is ever
 * held but the result and one block. Before anything is decoded, the places of all strips are
 * compared with the size of the file: a file that is cut short is an error, never a half-grey
 * picture.
 */
#include "tiff_priv.h"

#include <string.h>

/* ---- does the file hold what it claims? ---------------------------------------------------------
 */

/* Largest number of bytes that one byte of compressed data can stand for; 0: no useful bound.
 * Deflate: 258 bytes from 2 bits (RFC 1951). PackBits: 128 from 2 (TIFF 6.0 section 9). LZW: a
 * string of at most 4096 - 258 bytes from at least 9 bits (section 13). */
static uint64_t best_ratio(uint16_t compression) {
    switch (compression) {
    case COMPRESSION_NONE:
        return 1;
    case COMPRESSION_PACKBITS:
        return 64;
    case COMPRESSION_DEFLATE:
    case COMPRESSION_ADOBE_DEFLATE:
        return 1032;
    case COMPRESSION_LZW:
        return 3838;
    default:
        return 0;
    }
}

static enum kb_status cut_short(const struct kb_tiff *tiff, struct kb_err *err) {
    return kb_fail(err, KB_E_INPUT, KB_INTAKE, tiff->reading->source.path,
                   "the file is cut short: part of the picture lies beyond its end (copy or export "
                   "it again)");
}

enum kb_status kb_tiff_check_layout(struct kb_tiff *tiff, struct kb_err *err) {
    TIFF *tif = tiff->tif;
    const struct kb_reading *reading = tiff->reading;
    const bool tiled = TIFFIsTiled(tif) != 0;
    const uint64_t block = tiled ? TIFFTileSize64(tif) : TIFFStripSize64(tif);
    const uint64_t line = tiled ? TIFFTileRowSize64(tif) : TIFFScanlineSize64(tif);
    const uint64_t pixels = (uint64_t)tiff->form.width * (uint64_t)tiff->form.height;
    if (pixels > reading->params->max_pixels || block == 0 || line == 0) {
        return KB_OK; /* refused, with the better words, when the canvas is opened */
    }
    const uint32_t count = tiled ? TIFFNumberOfTiles(tif) : TIFFNumberOfStrips(tif);
    const uint64_t ratio = best_ratio(tiff->compression);
    for (uint32_t i = 0; i < count; i++) {
        const uint64_t bytes = TIFFGetStrileByteCount(tif, i);
        const uint64_t offset = TIFFGetStrileOffset(tif, i);
        if (bytes == 0 || offset == 0 || offset > reading->source.size ||
            bytes > reading->source.size - offset) {
            return cut_short(tiff, err);
        }
    }
    const uint64_t claimed = tiled ? block * count : line * (uint64_t)tiff->form.height;
    if (ratio > 0 && claimed / ratio > reading->source.size) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, reading->source.path,
                       "its header says %ld x %ld pixels, more than the file can hold (copy or "
                       "export it again)",
                       (long)tiff->form.width, (long)tiff->form.height);
    }
    return KB_OK;
}

static enum kb_status damaged(const struct kb_tiff *tiff, struct kb_err *err) {
    return kb_fail(err, KB_E_INPUT, KB_INTAKE, tiff->reading->source.path,
                   "the file is cut short or damaged: %s (copy or export it again)",
                   tiff->first[0] != '\0' ? tiff->first : "its pixels cannot be decoded");
}

/* ---- strips with all samples together -----------------------------------------------------------
 */

static uint32_t rows_per_strip(const struct kb_tiff *tiff) {
    uint32_t rows = 0;
    (void)TIFFGetFieldDefaulted(tiff->tif, TIFFTAG_ROWSPERSTRIP, &rows);
    const uint32_t height = (uint32_t)tiff->form.height;
    return rows == 0 || rows > height ? height : rows;
}

/* 8-bit grey whose rows touch: a whole strip goes straight to its place. */
static enum kb_status read_strips_in_place(struct kb_tiff *tiff, struct kb_err *err) {
    struct kb_canvas *canvas = &tiff->reading->canvas;
    const uint32_t height = (uint32_t)tiff->form.height;
    const uint32_t rows = rows_per_strip(tiff);
    for (uint32_t y = 0, strip = 0; y < height; y += rows, strip++) {
        const uint32_t here = rows < height - y ? rows : height - y;
        uint8_t *to = kb_row(canvas->grey, (int32_t)y);
        const tmsize_t size = (tmsize_t)((size_t)here * canvas->grey->stride);
        if (TIFFReadEncodedStrip(tiff->tif, strip, to, size) != size || tiff->first[0] != '\0') {
            return damaged(tiff, err);
        }
        for (uint32_t i = 0; i < here && tiff->form.inverted; i++) {
            uint8_t *row = kb_row(canvas->grey, (int32_t)(y + i));
            kb_canvas_put(canvas, (int32_t)(y + i), 0, 1, tiff->form.width, row);
        }
    }
    return KB_OK;
}

static enum kb_status read_rows(struct kb_tiff *tiff, struct kb_err *err) {
    const size_t size = (size_t)TIFFScanlineSize64(tiff->tif);
    uint8_t *samples = kb_alloc(size, 1);
    if (samples == NULL) {
        return kb_fail_memory(err, KB_INTAKE, size);
    }
    enum kb_status status = KB_OK;
    for (int32_t y = 0; y < tiff->form.height && status == KB_OK; y++) {
        if (TIFFReadScanline(tiff->tif, samples, (uint32_t)y, 0) != 1 || tiff->first[0] != '\0') {
            status = damaged(tiff, err);
        } else {
            kb_canvas_put(&tiff->reading->canvas, y, 0, 1, tiff->form.width, samples);
        }
    }
    kb_free(samples);
    return status;
}

/* ---- tiles, and strips of separate planes -------------------------------------------------------
 */

struct block {
    bool tiled;
    uint32_t width, height; /* of a whole block, pixels */
    size_t size, line;      /* bytes of a block and of one of its rows, one plane */
    uint32_t planes;        /* 1, or one for each sample */
    uint32_t per_plane;     /* blocks in one plane */
    uint8_t *plane;         /* `planes` blocks */
    uint8_t *row;           /* a row of pixels with their samples together */
};

static struct block block_of(const struct kb_tiff *tiff) {
    TIFF *tif = tiff->tif;
    struct block block = {.tiled = TIFFIsTiled(tif) != 0};
    if (block.tiled) {
        (void)TIFFGetField(tif, TIFFTAG_TILEWIDTH, &block.width);
        (void)TIFFGetField(tif, TIFFTAG_TILELENGTH, &block.height);
        block.size = (size_t)TIFFTileSize64(tif);
        block.line = (size_t)TIFFTileRowSize64(tif);
        block.per_plane = TIFFNumberOfTiles(tif);
    } else {
        block.width = (uint32_t)tiff->form.width;
        block.height = rows_per_strip(tiff);
        block.size = (size_t)TIFFStripSize64(tif);
        block.line = (size_t)TIFFScanlineSize64(tif);
        block.per_plane = TIFFNumberOfStrips(tif);
    }
    block.planes = 1;
    if (tiff->planar == PLANARCONFIG_SEPARATE) {
        block.planes = tiff->form.samples;
        block.per_plane /= block.planes;
    }
    return block;
}

static bool read_block(struct kb_tiff *tiff, struct block *block, uint32_t index) {
    for (uint32_t p = 0; p < block->planes; p++) {
        const uint32_t which = index + p * block->per_plane;
        uint8_t *to = block->plane + p * block->size;
        const tmsize_t got =
            block->tiled ? TIFFReadEncodedTile(tiff->tif, which, to, (tmsize_t)block->size)
                         : TIFFReadEncodedStrip(tiff->tif, which, to, (tmsize_t)block->size);
        if (got < 0 || tiff->first[0] != '\0') {
            return false;
        }
    }
    return true;
}

/* Row `y` of the block with the samples of a pixel together; separate planes are 8 or 16 bits. */
static const uint8_t *block_row(const struct block *block, uint32_t bits, uint32_t y,
                                uint32_t pixels) {
    const uint8_t *first = block->plane + y * block->line;
    if (block->planes == 1) {
        return first;
    }
    const size_t wide = bits / 8;
    for (uint32_t p = 0; p < block->planes; p++) {
        const uint8_t *from = first + p * block->size;
        uint8_t *to = block->row + p * wide;
        for (uint32_t x = 0; x < pixels; x++) {
            memcpy(to + (size_t)x * block->planes * wide, from + x * wide, wide);
        }
    }
    return block->row;
}

static void put_block(struct kb_tiff *tiff, const struct block *block, uint32_t x0, uint32_t y0) {
    const uint32_t right = (uint32_t)tiff->form.width - x0;
    const uint32_t below = (uint32_t)tiff->form.height - y0;
    const uint32_t columns = block->width < right ? block->width : right;
    const uint32_t rows = block->height < below ? block->height : below;
    for (uint32_t y = 0; y < rows; y++) {
        kb_canvas_put(&tiff->reading->canvas, (int32_t)(y0 + y), (int32_t)x0, 1, (int32_t)columns,
                      block_row(block, tiff->form.bits, y, columns));
    }
}

static enum kb_status walk_blocks(struct kb_tiff *tiff, struct block *block, struct kb_err *err) {
    const uint32_t width = (uint32_t)tiff->form.width;
    const uint32_t height = (uint32_t)tiff->form.height;
    uint32_t index = 0;
    for (uint64_t y0 = 0; y0 < height; y0 += block->height) {
        for (uint64_t x0 = 0; x0 < width; x0 += block->width) {
            if (!read_block(tiff, block, index++)) {
                return damaged(tiff, err);
            }
            put_block(tiff, block, (uint32_t)x0, (uint32_t)y0);
        }
    }
    return KB_OK;
}

static enum kb_status absurd_block(const struct kb_tiff *tiff, struct kb_err *err) {
    return kb_fail(
        err, KB_E_INPUT, KB_INTAKE, tiff->reading->source.path,
        "its tiles or strips are larger than the largest picture that is read (export it "
        "again)");
}

static bool block_is_absurd(const struct kb_tiff *tiff, const struct block *block) {
    const uint64_t most = tiff->reading->params->max_pixels;
    return block->width == 0 || block->height == 0 || block->size == 0 ||
           (uint64_t)block->width * block->height > most || block->width > INT32_MAX ||
           block->height > INT32_MAX;
}

static enum kb_status read_blocks(struct kb_tiff *tiff, struct kb_err *err) {
    struct block block = block_of(tiff);
    if (block_is_absurd(tiff, &block)) {
        return absurd_block(tiff, err);
    }
    /* zeroed: the library may leave the unused end of a last, shorter strip alone */
    block.plane = kb_alloc_zero(block.planes, block.size);
    block.row = kb_alloc(block.planes, block.line);
    enum kb_status status = KB_OK;
    if (block.plane == NULL || block.row == NULL) {
        status = kb_fail_memory(err, KB_INTAKE, block.size * block.planes);
    } else {
        status = walk_blocks(tiff, &block, err);
    }
    kb_free(block.plane);
    kb_free(block.row);
    return status;
}

/* ---- through the library's RGBA conversion ------------------------------------------------------
 */

static bool read_rgba(struct kb_tiff *tiff, const struct block *block, uint32_t x0, uint32_t y0,
                      uint32_t *raster) {
    const int stop_on_error = 1;
    const int ok = block->tiled ? TIFFReadRGBATileExt(tiff->tif, x0, y0, raster, stop_on_error)
                                : TIFFReadRGBAStripExt(tiff->tif, y0, raster, stop_on_error);
    return ok == 1 && tiff->first[0] == '\0';
}

/* The library hands rows over from the bottom up, pixels as 0xAABBGGRR. */
static void put_rgba(struct kb_tiff *tiff, const struct block *block, uint32_t x0, uint32_t y0,
                     const uint32_t *raster, uint8_t *row) {
    const uint32_t right = (uint32_t)tiff->form.width - x0;
    const uint32_t below = (uint32_t)tiff->form.height - y0;
    const uint32_t columns = block->width < right ? block->width : right;
    const uint32_t rows = block->height < below ? block->height : below;
    /* a last strip that is shorter fills the start of the raster, a last tile fills its end */
    const uint32_t bottom = block->tiled ? block->height : rows;
    for (uint32_t y = 0; y < rows; y++) {
        const uint32_t *from = raster + (size_t)(bottom - 1 - y) * block->width;
        for (uint32_t x = 0; x < columns; x++) {
            row[3 * (size_t)x] = (uint8_t)TIFFGetR(from[x]);
            row[3 * (size_t)x + 1] = (uint8_t)TIFFGetG(from[x]);
            row[3 * (size_t)x + 2] = (uint8_t)TIFFGetB(from[x]);
        }
        kb_canvas_put(&tiff->reading->canvas, (int32_t)(y0 + y), (int32_t)x0, 1, (int32_t)columns,
                      row);
    }
}

static enum kb_status walk_rgba(struct kb_tiff *tiff, const struct block *block, uint32_t *raster,
                                uint8_t *row, struct kb_err *err) {
    for (uint64_t y0 = 0; y0 < (uint64_t)tiff->form.height; y0 += block->height) {
        for (uint64_t x0 = 0; x0 < (uint64_t)tiff->form.width; x0 += block->width) {
            if (!read_rgba(tiff, block, (uint32_t)x0, (uint32_t)y0, raster)) {
                return damaged(tiff, err);
            }
            put_rgba(tiff, block, (uint32_t)x0, (uint32_t)y0, raster, row);
        }
    }
    return KB_OK;
}

static enum kb_status read_via_rgba(struct kb_tiff *tiff, struct kb_err *err) {
    const struct block block = block_of(tiff);
    if (block_is_absurd(tiff, &block)) {
        return absurd_block(tiff, err);
    }
    char reason[1024]; /* the size that TIFFRGBAImageOK() writes to */
    if (TIFFRGBAImageOK(tiff->tif, reason) != 1) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, tiff->reading->source.path,
                       "its pixels cannot be turned into RGB: %.200s (export it as RGB)", reason);
    }
    /* we turn the picture ourselves, all kinds alike */
    (void)TIFFSetField(tiff->tif, TIFFTAG_ORIENTATION, ORIENTATION_TOPLEFT);
    uint32_t *raster = kb_alloc_zero(block.width, (size_t)block.height * sizeof *raster);
    uint8_t *row = kb_alloc(block.width, 3);
    enum kb_status status = KB_OK;
    if (raster == NULL || row == NULL) {
        status = kb_fail_memory(err, KB_INTAKE, (size_t)block.width * block.height * 4);
    } else {
        status = walk_rgba(tiff, &block, raster, row, err);
    }
    kb_free(raster);
    kb_free(row);
    return status;
}

enum kb_status kb_tiff_read_pixels(struct kb_tiff *tiff, struct kb_err *err) {
    const struct kb_form *form = &tiff->form;
    if (tiff->via_rgba) {
        return read_via_rgba(tiff, err);
    }
    if (TIFFIsTiled(tiff->tif) || (tiff->planar == PLANARCONFIG_SEPARATE && form->samples > 1)) {
        return read_blocks(tiff, err);
    }
    const bool plain = form->bits == 8 && form->samples == 1 && form->colour == KB_COLOUR_GREY;
    if (plain && tiff->reading->canvas.grey->stride == (size_t)form->width) {
        return read_strips_in_place(tiff, err);
    }
    return read_rows(tiff, err);
}
