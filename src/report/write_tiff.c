/* write_tiff.c - a rendered field as a grey TIFF that any reader opens with its scale.
 *
 * 8-bit grey, black is zero, strips of about 64 KiB, resolution in pixels per centimetre (TIFF 6.0,
 * tags 282, 283, 296), so that the pixel size travels with the picture. libtiff writes into memory,
 * and the file appears whole or not at all.
 */
#include "keelblock/report.h"

#include <string.h>
#include <tiffio.h>

#define STAGE "report"
#define STRIP_BYTES 65536
#define UM_PER_CM 1e4

/* A file in memory for libtiff. */
struct store {
    uint8_t *data;
    size_t size, capacity, at;
    bool failed;
};

static tmsize_t store_read(thandle_t handle, void *to, tmsize_t size) {
    struct store *store = handle;
    size_t left = store->at < store->size ? store->size - store->at : 0;
    size_t n = (size_t)size < left ? (size_t)size : left;
    if (n > 0) {
        memcpy(to, store->data + store->at, n);
        store->at += n;
    }
    return (tmsize_t)n;
}

static bool store_reserve(struct store *store, size_t end) {
    if (end <= store->capacity) {
        return true;
    }
    size_t capacity = end > store->capacity * 2 ? end : store->capacity * 2;
    uint8_t *data = kb_resize(store->data, capacity, 1);
    if (data == NULL) {
        store->failed = true;
        return false;
    }
    store->data = data;
    store->capacity = capacity;
    return true;
}

static tmsize_t store_write(thandle_t handle, void *from, tmsize_t size) {
    struct store *store = handle;
    size_t end = store->at + (size_t)size;
    if (size < 0 || !store_reserve(store, end)) {
        return -1;
    }
    if (store->at > store->size) { /* a gap left by seeking */
        memset(store->data + store->size, 0, store->at - store->size);
    }
    memcpy(store->data + store->at, from, (size_t)size);
    store->at = end;
    store->size = end > store->size ? end : store->size;
    return size;
}

static toff_t store_seek(thandle_t handle, toff_t offset, int whence) {
    struct store *store = handle;
    size_t base = whence == SEEK_CUR ? store->at : whence == SEEK_END ? store->size : 0;
    store->at = base + (size_t)offset;
    return store->at;
}

static toff_t store_size(thandle_t handle) {
    return ((const struct store *)handle)->size;
}

static int store_close(thandle_t handle) {
    (void)handle;
    return 0;
}

static bool set_tags(TIFF *tiff, const struct kb_image *grey, double px_um, bool compress) {
    uint32_t rows = (uint32_t)(STRIP_BYTES / grey->width);
    bool fine = TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, (uint32_t)grey->width) &&
                TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, (uint32_t)grey->height) &&
                TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, 8) &&
                TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, 1) &&
                TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_MINISBLACK) &&
                TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG) &&
                TIFFSetField(tiff, TIFFTAG_ROWSPERSTRIP, rows > 0 ? rows : 1U) &&
                TIFFSetField(tiff, TIFFTAG_COMPRESSION,
                             compress ? COMPRESSION_ADOBE_DEFLATE : COMPRESSION_NONE);
    if (fine && compress) {
        fine = TIFFSetField(tiff, TIFFTAG_PREDICTOR, PREDICTOR_HORIZONTAL);
    }
    if (fine && px_um > 0.0) {
        fine = TIFFSetField(tiff, TIFFTAG_RESOLUTIONUNIT, RESUNIT_CENTIMETER) &&
               TIFFSetField(tiff, TIFFTAG_XRESOLUTION, UM_PER_CM / px_um) &&
               TIFFSetField(tiff, TIFFTAG_YRESOLUTION, UM_PER_CM / px_um);
    }
    return fine;
}

/* libtiff may change the row it is given (predictor), so each goes through a copy. */
static bool write_rows(TIFF *tiff, const struct kb_image *grey, uint8_t *row) {
    for (int32_t y = 0; y < grey->height; y++) {
        memcpy(row, kb_row(grey, y), (size_t)grey->width);
        if (TIFFWriteScanline(tiff, row, (uint32_t)y, 0) < 0) {
            return false;
        }
    }
    return true;
}

/* libtiff is not to print: what went wrong shows in its return values. */
static int keep_quiet(TIFF *tiff, void *data, const char *module, const char *format,
                      va_list list) {
    (void)tiff, (void)data, (void)module, (void)format, (void)list;
    return 1;
}

static TIFF *open_store(struct store *store) {
    TIFFOpenOptions *options = TIFFOpenOptionsAlloc();
    if (options == NULL) {
        return NULL;
    }
    TIFFOpenOptionsSetErrorHandlerExtR(options, keep_quiet, NULL);
    TIFFOpenOptionsSetWarningHandlerExtR(options, keep_quiet, NULL);
    TIFF *tiff = TIFFClientOpenExt("field", "w", store, store_read, store_write, store_seek,
                                   store_close, store_size, NULL, NULL, options);
    TIFFOpenOptionsFree(options);
    return tiff;
}

enum kb_status kb_write_tiff(const char *path, const struct kb_image *grey, double px_um,
                             bool compress, struct kb_err *err) {
    struct store store = {0};
    enum kb_status status = KB_OK;
    uint8_t *row = kb_alloc((size_t)grey->width, 1);
    TIFF *tiff = row == NULL ? NULL : open_store(&store);
    bool fine = tiff != NULL && set_tags(tiff, grey, px_um, compress) &&
                write_rows(tiff, grey, row) && TIFFFlush(tiff);
    if (tiff != NULL) {
        TIFFClose(tiff);
    }
    if (row == NULL || store.failed) {
        status = kb_fail_memory(err, STAGE, store.size + (size_t)grey->width);
    } else if (!fine) {
        status = kb_fail(err, KB_E_SYSTEM, STAGE, path,
                         "the picture could not be coded as TIFF "
                         "(free some memory and try again)");
    } else {
        status = kb_write_file(path, store.data, store.size, err);
    }
    kb_free(row);
    kb_free(store.data);
    return status;
}
