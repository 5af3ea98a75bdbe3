/* segmentation_dump.c - what the segmentation stage finds, for segmentation_oracle.py.
 *     segmentation_dump otsu CLASSES < 256 counts          thresholds and separability
 *     segmentation_dump labels MATERIAL CONTRAST PICTURE   bytes of the label map on stdout
 */
#include "keelblock/segmentation.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

static int dump_otsu(int classes) {
    uint64_t bins[256];
    for (int i = 0; i < 256; i++) {
        if (scanf("%" SCNu64, &bins[i]) != 1) {
            return 2;
        }
    }
    int threshold[2] = {-1, -1};
    double separability;
    bool found = kb_otsu(bins, classes, threshold, &separability);
    (void)printf("%d %d %d %.15g\n", found, threshold[0], threshold[1], separability);
    return 0;
}

static int dump_labels(const char *material, const char *contrast, const char *path) {
    enum kb_material m;
    enum kb_contrast c;
    struct kb_field field;
    struct kb_phase_map map;
    struct kb_intake_params intake = kb_intake_params_default();
    if (!kb_material_parse(material, &m) || !kb_contrast_parse(contrast, &c) ||
        kb_field_read(path, &intake, &field, NULL) != KB_OK) {
        return 2;
    }
    struct kb_segmentation_params params = kb_segmentation_params_default(m, c);
    int code = 1;
    if (kb_segment(&field, &params, &map, NULL) == KB_OK) {
        for (int32_t y = 0; y < map.label.height; y++) {
            (void)fwrite(kb_row(&map.label, y), 1, (size_t)map.label.width, stdout);
        }
        kb_phase_map_release(&map);
        code = 0;
    }
    kb_field_release(&field);
    return code;
}

int main(int argc, char **argv) {
    if (argc == 3 && strcmp(argv[1], "otsu") == 0) {
        return dump_otsu(strcmp(argv[2], "3") == 0 ? 3 : 2);
    }
    if (argc == 5 && strcmp(argv[1], "labels") == 0) {
        return dump_labels(argv[2], argv[3], argv[4]);
    }
    return 2;
}
