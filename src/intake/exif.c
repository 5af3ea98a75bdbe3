/* exif.c - orientation and resolution out of an EXIF block.
 *
 * EXIF (JEITA CP-3451, CIPA DC-008) borrows the layout of a TIFF: a byte order, the offset of a
 * first directory, entries of 12 bytes. Four tags of that one directory matter here; every offset
 * is checked against the block before it is followed, and nothing is followed twice.
 */
#include "intake_priv.h"

#define INCH_UM 25400.0
#define CM_UM 10000.0

enum { TAG_ORIENTATION = 0x0112, TAG_X_RES = 0x011a, TAG_Y_RES = 0x011b, TAG_UNIT = 0x0128 };
enum { TYPE_SHORT = 3, TYPE_RATIONAL = 5 };
enum { UNIT_INCH = 2, UNIT_CM = 3 };

#define ENTRY 12u /* bytes of a directory entry: tag 2, type 2, count 4, value or offset 4 */

struct block {
    const uint8_t *byte;
    size_t size;
    bool low_first;
};

static uint32_t get16(const struct block *block, size_t at) {
    const uint32_t a = block->byte[at];
    const uint32_t b = block->byte[at + 1];
    return block->low_first ? b << 8 | a : a << 8 | b;
}

static uint32_t get32(const struct block *block, size_t at) {
    const uint32_t a = get16(block, at);
    const uint32_t b = get16(block, at + 2);
    return block->low_first ? b << 16 | a : a << 16 | b;
}

/* The rational number that the entry points to; 0 when there is none. */
static double get_rational(const struct block *block, size_t entry) {
    const size_t at = get32(block, entry + 8);
    if (block->size < 8 || at > block->size - 8) {
        return 0.0;
    }
    const uint32_t below = get32(block, at + 4);
    return below == 0 ? 0.0 : (double)get32(block, at) / below;
}

static void take_short(uint32_t tag, uint32_t value, struct kb_exif *exif) {
    if (tag == TAG_ORIENTATION && value >= 1 && value <= 8) {
        exif->orientation = (int)value;
    } else if (tag == TAG_UNIT) {
        exif->unit_um = value == UNIT_INCH ? INCH_UM : value == UNIT_CM ? CM_UM : 0.0;
    }
}

static void take_entry(const struct block *block, size_t entry, struct kb_exif *exif) {
    const uint32_t tag = get16(block, entry);
    const uint32_t type = get16(block, entry + 2);
    if (get32(block, entry + 4) != 1) { /* all four tags hold one value */
        return;
    }
    if (type == TYPE_SHORT) {
        take_short(tag, get16(block, entry + 8), exif);
    } else if (type == TYPE_RATIONAL && tag == TAG_X_RES) {
        exif->x_res = get_rational(block, entry);
    } else if (type == TYPE_RATIONAL && tag == TAG_Y_RES) {
        exif->y_res = get_rational(block, entry);
    }
}

void kb_exif_read(const uint8_t *bytes, size_t size, struct kb_exif *exif) {
    /* the unit is the inch when not stated (TIFF 6.0, tag 296) */
    *exif = (struct kb_exif){.orientation = 1, .unit_um = INCH_UM};
    if (size < 8 || bytes[0] != bytes[1] || (bytes[0] != 'I' && bytes[0] != 'M')) {
        return;
    }
    const struct block block = {bytes, size, bytes[0] == 'I'};
    const size_t directory = get32(&block, 4);
    if (get16(&block, 2) != 42 || directory > size - 2) {
        return;
    }
    const size_t entries = get16(&block, directory);
    for (size_t i = 0; i < entries; i++) {
        const size_t entry = directory + 2 + i * ENTRY;
        if (size < ENTRY || entry > size - ENTRY) {
            return;
        }
        take_entry(&block, entry, exif);
    }
}
