/* pictures_to_files.c - see pictures_to_files.h */
#include "pictures_to_files.h"

#include "kb_cmocka.h"

#include <dirent.h>
#include <jpeglib.h>
#include <png.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <tiffio.h>
#include <unistd.h>

static char folder[64];

/* ---- scratch folder ---------------------------------------------------------------------------
 */

int scratch_make(void **state) {
    (void)state;
    (void)snprintf(folder, sizeof folder, "/tmp/keelblock-test-XXXXXX");
    return mkdtemp(folder) == NULL;
}

static void empty_folder(const char *path) {
    DIR *open_folder = opendir(path);
    const struct dirent *entry = NULL;
    while (open_folder != NULL && (entry = readdir(open_folder)) != NULL) {
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0) {
            continue;
        }
        char name[512];
        (void)snprintf(name, sizeof name, "%.200s/%.256s", path, entry->d_name);
        if (unlink(name) != 0) {
            empty_folder(name);
            (void)rmdir(name);
        }
    }
    (void)closedir(open_folder);
}

int scratch_remove(void **state) {
    (void)state;
    empty_folder(folder);
    return rmdir(folder);
}

const char *scratch_path(const char *name) {
    static char path[8][256];
    static unsigned next;
    char *fresh = path[next++ % 8];
    (void)snprintf(fresh, sizeof path[0], "%s/%s", folder, name);
    return fresh;
}

void write_bytes(const char *path, const void *bytes, size_t size) {
    (void)unlink(path); /* some file systems flush a file that is emptied and written again */
    FILE *stream = fopen(path, "wb");
    assert_non_null(stream);
    assert_int_equal(fwrite(bytes, 1, size, stream), size);
    assert_int_equal(fclose(stream), 0);
}

uint8_t *read_bytes(const char *path, size_t *size) {
    FILE *stream = fopen(path, "rb");
    assert_non_null(stream);
    struct stat about;
    assert_int_equal(fstat(fileno(stream), &about), 0);
    *size = (size_t)about.st_size;
    uint8_t *bytes = malloc(*size + 1);
    assert_non_null(bytes);
    assert_int_equal(fread(bytes, 1, *size, stream), *size);
    (void)fclose(stream);
    return bytes;
}

/* ---- samples ----------------------------------------------------------------------------------
 */

uint32_t mixed_sample(uint32_t x, uint32_t y, uint32_t c, uint32_t bits) {
    uint32_t v = x * 2654435761u + y * 2246822519u + (c + 1) * 3266489917u;
    v = (v ^ v >> 15) * 2246822519u;
    return (v ^ v >> 13) >> 7 & ((1u << bits) - 1u);
}

uint32_t smooth_sample(uint32_t x, uint32_t y, uint32_t c, uint32_t bits) {
    (void)bits;
    return c == 0 ? 40 + 2 * x : c == 1 ? 200 - 2 * y : 60 + x + y;
}

void palette_entry(uint32_t index, uint8_t rgb[3]) {
    rgb[0] = (uint8_t)(255 - index % 256);
    rgb[1] = (uint8_t)(index * 7 % 256);
    rgb[2] = (uint8_t)(index * 31 % 256);
}

double luma_of(double red, double green, double blue) {
    return 0.299 * red + 0.587 * green + 0.114 * blue;
}

/* Pack `count` samples from the high bits down; 16 bits in the machine's order. */
static void pack(const uint32_t *sample, size_t count, uint32_t bits, uint8_t *bytes) {
    if (bits >= 16) {
        for (size_t i = 0; i < count; i++) {
            const uint16_t value = (uint16_t)sample[i];
            memcpy(bytes + i * (bits / 8), &value, sizeof value);
        }
        return;
    }
    for (size_t i = 0; i < count * bits; i++) {
        const uint32_t bit = sample[i / bits] >> (bits - 1 - i % bits) & 1u;
        bytes[i / 8] = (uint8_t)((bytes[i / 8] & ~(0x80u >> i % 8)) | bit << (7 - i % 8));
    }
}

/* ---- TIFF -------------------------------------------------------------------------------------
 */

static void set_tags(TIFF *tif, const struct tiff_spec *spec) {
    TIFFSetField(tif, TIFFTAG_IMAGEWIDTH, spec->width);
    TIFFSetField(tif, TIFFTAG_IMAGELENGTH, spec->height);
    TIFFSetField(tif, TIFFTAG_BITSPERSAMPLE, spec->bits);
    TIFFSetField(tif, TIFFTAG_SAMPLESPERPIXEL, spec->samples);
    if (!spec->no_photometric) {
        TIFFSetField(tif, TIFFTAG_PHOTOMETRIC, spec->photometric);
    }
    TIFFSetField(tif, TIFFTAG_COMPRESSION,
                 spec->compression != 0 ? spec->compression : COMPRESSION_NONE);
    TIFFSetField(tif, TIFFTAG_PLANARCONFIG, spec->planar != 0 ? spec->planar : PLANARCONFIG_CONTIG);
    if (spec->compression == COMPRESSION_JPEG) {
        TIFFSetField(tif, TIFFTAG_JPEGQUALITY, 100);
        TIFFSetField(tif, TIFFTAG_JPEGCOLORMODE, JPEGCOLORMODE_RGB);
    }
    if (spec->format != 0) {
        TIFFSetField(tif, TIFFTAG_SAMPLEFORMAT, spec->format);
    }
    if (spec->orientation != 0) {
        TIFFSetField(tif, TIFFTAG_ORIENTATION, spec->orientation);
    }
    if (spec->extras > 0) {
        const uint16_t kinds[4] = {spec->extra, 0, 0, 0};
        TIFFSetField(tif, TIFFTAG_EXTRASAMPLES, spec->extras, kinds);
    }
    if (spec->x_res > 0.0) {
        TIFFSetField(tif, TIFFTAG_XRESOLUTION, spec->x_res);
        TIFFSetField(tif, TIFFTAG_YRESOLUTION, spec->y_res);
    }
    if (spec->unit != 0) {
        TIFFSetField(tif, TIFFTAG_RESOLUTIONUNIT, spec->unit);
    }
    if (spec->description != NULL) {
        TIFFSetField(tif, TIFFTAG_IMAGEDESCRIPTION, spec->description);
    }
    if (spec->tile > 0) {
        TIFFSetField(tif, TIFFTAG_TILEWIDTH, spec->tile);
        TIFFSetField(tif, TIFFTAG_TILELENGTH, spec->tile);
    } else {
        TIFFSetField(tif, TIFFTAG_ROWSPERSTRIP,
                     spec->rows > 0 ? spec->rows : TIFFDefaultStripSize(tif, 0));
    }
    uint16_t part[3][256];
    for (uint32_t i = 0; i < 256; i++) {
        uint8_t rgb[3];
        palette_entry(i, rgb);
        for (size_t c = 0; c < 3; c++) {
            part[c][i] = (uint16_t)(rgb[c] * (spec->small_palette ? 1 : 257));
        }
    }
    if (spec->photometric == PHOTOMETRIC_PALETTE) {
        TIFFSetField(tif, TIFFTAG_COLORMAP, part[0], part[1], part[2]);
    }
}

/* Samples x0 .. x0 + count - 1 of one row, of one plane or of all together. */
static void fill_row(const struct tiff_spec *spec, uint32_t x0, uint32_t y, uint32_t count,
                     int plane, uint8_t *bytes) {
    sample_at *sample = spec->sample != NULL ? spec->sample : mixed_sample;
    const uint32_t first = plane < 0 ? 0 : (uint32_t)plane;
    const uint32_t last = plane < 0 ? spec->samples - 1u : (uint32_t)plane;
    const size_t total = (size_t)count * (last - first + 1);
    uint32_t *values = malloc(total * sizeof *values);
    assert_non_null(values);
    size_t n = 0;
    for (uint32_t x = x0; x < x0 + count; x++) {
        for (uint32_t c = first; c <= last; c++) {
            values[n++] = sample(x, y, c, spec->bits > 16 ? 16 : spec->bits);
        }
    }
    pack(values, total, spec->bits, bytes);
    free(values);
}

static void write_tiles(TIFF *tif, const struct tiff_spec *spec, int plane) {
    const size_t line = (size_t)TIFFTileRowSize(tif);
    uint8_t *tile = calloc(1, (size_t)TIFFTileSize(tif));
    assert_non_null(tile);
    for (uint32_t y0 = 0; y0 < spec->height; y0 += spec->tile) {
        for (uint32_t x0 = 0; x0 < spec->width; x0 += spec->tile) {
            for (uint32_t y = 0; y < spec->tile; y++) {
                fill_row(spec, x0, y0 + y, spec->tile, plane, tile + y * line);
            }
            assert_true(TIFFWriteTile(tif, tile, x0, y0, 0, (uint16_t)(plane < 0 ? 0 : plane)) > 0);
        }
    }
    free(tile);
}

static void write_rows(TIFF *tif, const struct tiff_spec *spec, int plane) {
    uint8_t *row = calloc(1, (size_t)TIFFScanlineSize(tif) + 16);
    assert_non_null(row);
    for (uint32_t y = 0; y < spec->height; y++) {
        fill_row(spec, 0, y, spec->width, plane, row);
        assert_int_equal(TIFFWriteScanline(tif, row, y, (uint16_t)(plane < 0 ? 0 : plane)), 1);
    }
    free(row);
}

void write_tiff(const char *path, const struct tiff_spec *spec) {
    TIFF *tif = TIFFOpen(path, spec->mode != NULL ? spec->mode : "w");
    assert_non_null(tif);
    const uint32_t pages = spec->pages > 0 ? spec->pages : 1;
    for (uint32_t page = 0; page < pages; page++) {
        struct tiff_spec here = *spec;
        here.width += page;
        here.description = page == 0 ? spec->description : NULL;
        set_tags(tif, &here);
        const bool apart = spec->planar == PLANARCONFIG_SEPARATE;
        for (int plane = apart ? 0 : -1; plane < (apart ? spec->samples : 0); plane++) {
            if (spec->tile > 0) {
                write_tiles(tif, &here, plane);
            } else {
                write_rows(tif, &here, plane);
            }
        }
        assert_int_equal(TIFFWriteDirectory(tif), 1);
    }
    TIFFClose(tif);
}

/* ---- PNG --------------------------------------------------------------------------------------
 */

static void set_png_extras(png_structp png, png_infop info, const struct png_spec *spec,
                           sample_at *sample) {
    png_color palette[256];
    png_byte alpha[2] = {255, 128};
    for (uint32_t i = 0; i < 256; i++) {
        uint8_t rgb[3];
        palette_entry(i, rgb);
        palette[i] = (png_color){rgb[0], rgb[1], rgb[2]};
    }
    if (spec->colour == PNG_COLOR_TYPE_PALETTE) {
        png_set_PLTE(png, info, palette, 1 << spec->bits);
    }
    if (spec->clear_palette) {
        png_set_tRNS(png, info, alpha, 2, NULL);
    }
    const uint32_t bits = (uint32_t)spec->bits;
    const png_color_16 key = {
        0, (png_uint_16)sample(0, 0, 0, bits), (png_uint_16)sample(0, 0, 1, bits),
        (png_uint_16)sample(0, 0, 2, bits), (png_uint_16)sample(0, 0, 0, bits)};
    if (spec->clear_key) {
        png_set_tRNS(png, info, NULL, 0, &key);
    }
    if (spec->exif != NULL) {
        png_set_eXIf_1(png, info, (png_uint_32)spec->exif_size, spec->exif);
    }
    if (spec->x_res > 0) {
        png_set_pHYs(png, info, spec->x_res, spec->y_res, spec->unit);
    }
}

void write_png(const char *path, const struct png_spec *spec) {
    static const uint32_t channels[] = {[PNG_COLOR_TYPE_GRAY] = 1,
                                        [PNG_COLOR_TYPE_GRAY_ALPHA] = 2,
                                        [PNG_COLOR_TYPE_PALETTE] = 1,
                                        [PNG_COLOR_TYPE_RGB] = 3,
                                        [PNG_COLOR_TYPE_RGB_ALPHA] = 4};
    sample_at *sample = spec->sample != NULL ? spec->sample : mixed_sample;
    const struct tiff_spec layout = {.width = spec->width,
                                     .bits = (uint16_t)spec->bits,
                                     .samples = (uint16_t)channels[spec->colour],
                                     .sample = sample};
    FILE *stream = fopen(path, "wb");
    png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, NULL, NULL, NULL);
    png_infop info = png_create_info_struct(png);
    png_bytep *rows = malloc(spec->height * sizeof *rows);
    assert_true(stream != NULL && info != NULL && rows != NULL);
    png_init_io(png, stream);
    png_set_IHDR(png, info, spec->width, spec->height, spec->bits, spec->colour, spec->interlace,
                 PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    set_png_extras(png, info, spec, sample);
    png_write_info(png, info);
    if (spec->bits == 16) {
        png_set_swap(png);
    }
    for (uint32_t y = 0; y < spec->height; y++) {
        rows[y] = calloc(1, (size_t)spec->width * 8 + 8);
        assert_non_null(rows[y]);
        fill_row(&layout, 0, y, spec->width, -1, rows[y]);
    }
    png_write_image(png, rows);
    png_write_end(png, info);
    png_destroy_write_struct(&png, &info);
    for (uint32_t y = 0; y < spec->height; y++) {
        free(rows[y]);
    }
    free(rows);
    assert_int_equal(fclose(stream), 0);
}

/* ---- JPEG -------------------------------------------------------------------------------------
 */

/* Each coefficient by itself, one bit after the other: allowed, and no picture is written so. */
static void set_many_scans(struct jpeg_compress_struct *jpeg) {
    enum { BITS = 5 };
    static jpeg_scan_info scan[1 + 63 * (BITS + 1)];
    int n = 0;
    scan[n++] = (jpeg_scan_info){1, {0}, 0, 0, 0, 0};
    for (int k = 1; k < 64; k++) {
        for (int low = BITS; low >= 0; low--) {
            const int high = low == BITS ? 0 : low + 1;
            scan[n++] = (jpeg_scan_info){1, {0}, k, k, high, low};
        }
    }
    jpeg->scan_info = scan;
    jpeg->num_scans = n;
}

static void set_jpeg(struct jpeg_compress_struct *jpeg, const struct jpeg_spec *spec) {
    jpeg->image_width = spec->width;
    jpeg->image_height = spec->height;
    jpeg->input_components = spec->components;
    jpeg->in_color_space = spec->components == 1   ? JCS_GRAYSCALE
                           : spec->components == 3 ? JCS_RGB
                                                   : JCS_CMYK;
    jpeg_set_defaults(jpeg);
    if (spec->colour != 0) {
        jpeg_set_colorspace(jpeg, (J_COLOR_SPACE)spec->colour);
    }
    if (spec->no_adobe) {
        jpeg->write_Adobe_marker = FALSE;
    }
    jpeg_set_quality(jpeg, spec->quality > 0 ? spec->quality : 100, TRUE);
    for (int c = 0; c < jpeg->num_components; c++) { /* no subsampling: known values everywhere */
        jpeg->comp_info[c].h_samp_factor = 1;
        jpeg->comp_info[c].v_samp_factor = 1;
    }
    if (spec->x_density > 0) {
        jpeg->density_unit = (UINT8)spec->density_unit;
        jpeg->X_density = (UINT16)spec->x_density;
        jpeg->Y_density = (UINT16)spec->y_density;
    } else if (spec->x_density < 0) {
        jpeg->write_JFIF_header = FALSE;
    }
    if (spec->progressive) {
        jpeg_simple_progression(jpeg);
    }
    if (spec->many_scans) {
        set_many_scans(jpeg);
    }
}

void write_jpeg(const char *path, const struct jpeg_spec *spec) {
    struct jpeg_compress_struct jpeg;
    struct jpeg_error_mgr errors;
    FILE *stream = fopen(path, "wb");
    assert_non_null(stream);
    jpeg.err = jpeg_std_error(&errors);
    jpeg_create_compress(&jpeg);
    jpeg_stdio_dest(&jpeg, stream);
    set_jpeg(&jpeg, spec);
    jpeg_start_compress(&jpeg, TRUE);
    if (spec->exif != NULL) {
        uint8_t block[1024] = "Exif\0";
        memcpy(block + 6, spec->exif, spec->exif_size);
        jpeg_write_marker(&jpeg, JPEG_APP0 + 1, block, (unsigned)(spec->exif_size + 6));
    }
    const struct tiff_spec layout = {.bits = 8,
                                     .samples = (uint16_t)spec->components,
                                     .sample = spec->sample != NULL ? spec->sample : smooth_sample};
    uint8_t *row = malloc((size_t)spec->width * 4);
    assert_non_null(row);
    for (uint32_t y = 0; y < spec->height; y++) {
        fill_row(&layout, 0, y, spec->width, -1, row);
        (void)jpeg_write_scanlines(&jpeg, &row, 1);
    }
    free(row);
    jpeg_finish_compress(&jpeg);
    jpeg_destroy_compress(&jpeg);
    assert_int_equal(fclose(stream), 0);
}

/* ---- reading ----------------------------------------------------------------------------------
 */

void read_field(const char *path, struct kb_field *field) {
    const struct kb_intake_params params = kb_intake_params_default();
    struct kb_err err = {.code = KB_OK};
    if (kb_field_read(path, &params, field, &err) != KB_OK) {
        fail_msg("%s: %s", path, err.text);
    }
    assert_string_equal(field->path, path);
}

void refuse_field(const char *path, const struct kb_intake_params *params, enum kb_status status,
                  const char *words) {
    const struct kb_intake_params standard = kb_intake_params_default();
    const struct kb_field empty = {.findings = KB_FINDINGS_INIT};
    struct kb_field field;
    memset(&field, 0x55, sizeof field);
    struct kb_err err = {.code = KB_OK};
    const enum kb_status got =
        kb_field_read(path, params != NULL ? params : &standard, &field, &err);
    if (got != status || strstr(err.text, words) == NULL) {
        fail_msg("%s: status %d, '%s'; expected status %d with '%s'", path, (int)got, err.text,
                 (int)status, words);
    }
    assert_int_equal(err.code, status);
    assert_null(strchr(err.text, '\n'));
    assert_null(field.path);
    assert_null(field.grey.px);
    assert_int_equal(field.findings.count, empty.findings.count);
}
