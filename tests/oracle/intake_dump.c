/* intake_dump.c - what the intake makes of a picture, for comparison by intake_oracle.py.
 *
 *   intake_dump PICTURE OUT
 *
 * Writes the grey bytes row by row to OUT; prints width, height, bits, the file greys of levels 0
 * and 255, the pixel size in um and the digest.
 */
#include "keelblock/intake.h"

#include <stdlib.h>

static int dump(const struct kb_field *field, const char *path) {
    FILE *stream = fopen(path, "wb");
    size_t written = 0;
    for (int32_t y = 0; stream != NULL && y < field->grey.height; y++) {
        written += fwrite(kb_row(&field->grey, y), 1, (size_t)field->grey.width, stream);
    }
    if (stream == NULL || fclose(stream) != 0 || written != kb_image_pixels(&field->grey)) {
        return 1;
    }
    (void)printf("%d %d %u %.17g %.17g %.17g %s\n", field->grey.width, field->grey.height,
                 (unsigned)field->bits, field->grey_low, field->grey_high, field->px_um,
                 field->sha256);
    return 0;
}

int main(int argc, char **argv) {
    if (argc != 3) {
        return 2;
    }
    const struct kb_intake_params params = kb_intake_params_default();
    struct kb_field field;
    struct kb_err err = {.code = KB_OK};
    if (kb_field_read(argv[1], &params, &field, &err) != KB_OK) {
        (void)fprintf(stderr, "%s\n", err.text);
        return 1;
    }
    const int code = dump(&field, argv[2]);
    kb_field_release(&field);
    return code;
}
