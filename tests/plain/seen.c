/* seen.c - what the stages see in fields, down to the bits: checksums of maps, figures in
 * hexadecimal. Each field is taken as unetched and as etched ductile iron and as a steel in the
 * SEM, whatever it is: more paths are gone that way.
 *
 *   kb_seen_wide PICTURE... , kb_seen_plain PICTURE...
 */
#include "keelblock/firstlook.h"
#include "keelblock/morphology.h"
#include "keelblock/quality.h"

#include <inttypes.h>
#include <string.h>

/* FNV-1a, 64 bits (Fowler, Noll & Vo; RFC 9923): a checksum is all that is needed. */
static uint64_t checksum(uint64_t sum, const void *block, size_t size) {
    const uint8_t *byte = block;
    for (size_t i = 0; i < size; i++) {
        sum = (sum ^ byte[i]) * UINT64_C(1099511628211);
    }
    return sum;
}

static uint64_t picture_sum(const struct kb_image *image) {
    uint64_t sum = UINT64_C(14695981039346656037);
    for (int32_t y = 0; image->px != NULL && y < image->height; y++) {
        sum = checksum(sum, kb_row(image, y), (size_t)image->width);
    }
    return sum;
}

static void print_look(const struct kb_field *field) {
    struct kb_first_look_params params = kb_first_look_params_default();
    struct kb_first_look look;
    struct kb_err err = {.code = KB_OK};
    if (kb_first_look_run(field, &params, &look, &err) != KB_OK) {
        printf("  first look: %s\n", err.text);
        return;
    }
    printf("  first look: %a %a %a, %zu marks, %016" PRIx64 "\n", look.contrast.belief[0],
           look.contrast.belief[1], look.contrast.belief[2], look.marks,
           picture_sum(&look.outside));
    kb_first_look_release(&look);
}

static void print_quality(const struct kb_field *field, const struct kb_phase_map *map,
                          enum kb_material material, enum kb_contrast contrast) {
    struct kb_quality_params params = kb_quality_params_default(material, contrast);
    struct kb_quality quality;
    struct kb_err err = {.code = KB_OK};
    if (kb_quality_run(field, map, material, contrast, &params, &quality, &err) != KB_OK) {
        printf("  quality: %s\n", err.text);
        return;
    }
    for (int i = 0; i < KB_CHECKS; i++) {
        printf("  %s %a\n", kb_check_name((enum kb_check)i), quality.check[i].value);
    }
}

static void print_particles(const struct kb_field *field, const struct kb_phase_map *map) {
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    struct kb_particles particles;
    struct kb_err err = {.code = KB_OK};
    if (kb_morphology_run(map, &field->grey, 0.5, &params, &particles, &err) != KB_OK) {
        printf("  particles: %s\n", err.text);
        return;
    }
    for (size_t i = 0; i < particles.count; i++) {
        printf("  %a %a\n", particles.particle[i].area_px2, particles.particle[i].feret_max_px);
    }
    kb_particles_release(&particles);
}

static void print_map(const struct kb_field *field, enum kb_material material,
                      enum kb_contrast contrast) {
    struct kb_segmentation_params params = kb_segmentation_params_default(material, contrast);
    struct kb_phase_map map;
    struct kb_err err = {.code = KB_OK};
    if (kb_segment(field, &params, &map, &err) != KB_OK) {
        printf("  segmentation: %s\n", err.text);
        return;
    }
    const struct kb_segmentation_figures *f = &map.figures;
    printf("  segmented: %016" PRIx64 " %016" PRIx64 " %a %a\n", picture_sum(&map.label),
           checksum(0, f->histogram, sizeof f->histogram), f->separability, f->unevenness);
    print_quality(field, &map, material, contrast);
    if (material == KB_DUCTILE_IRON) {
        print_particles(field, &map);
    }
    kb_phase_map_release(&map);
}

int main(int count, char **name) {
    for (int i = 1; i < count; i++) {
        struct kb_intake_params params = kb_intake_params_default();
        struct kb_field field;
        struct kb_err err = {.code = KB_OK};
        if (kb_field_read(name[i], &params, &field, &err) != KB_OK) {
            printf("%s: %s\n", name[i], err.text);
            return 1;
        }
        printf("%s\n", name[i]);
        print_look(&field);
        print_map(&field, KB_DUCTILE_IRON, KB_LIGHT);
        print_map(&field, KB_DUCTILE_IRON, KB_LIGHT_UNETCHED);
        print_map(&field, KB_CARBON_STEEL, KB_SEM);
        kb_field_release(&field);
    }
    return 0;
}
