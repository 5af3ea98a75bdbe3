/* morphology_dump.c - particles of a label map as CSV, for comparison with other libraries.
 *
 *   morphology_dump MAP.pgm PX_UM plain|rules [GREY.pgm]
 *
 * MAP.pgm: binary PGM, 8 bits, not 0 = graphite. `plain`: no minimum size, holes and clusters left
 * as they are; `rules`: the defaults for ductile iron. GREY.pgm: the picture, for sub-pixel
 * outlines. */
#include "keelblock/morphology.h"

#include <stdlib.h>
#include <string.h>

static bool read_grey(const char *path, struct kb_image *image) {
    FILE *file = fopen(path, "rb");
    int width = 0;
    int height = 0;
    if (file == NULL) {
        return false;
    }
    bool good = fscanf(file, "P5 %d %d 255", &width, &height) == 2 && fgetc(file) != EOF &&
                kb_image_alloc(width, height, image, NULL) == KB_OK;
    for (int32_t y = 0; good && y < height; y++) {
        good = fread(kb_row(image, y), 1, (size_t)width, file) == (size_t)width;
    }
    (void)fclose(file);
    return good;
}

static bool read_map(const char *path, struct kb_phase_map *map) {
    if (!read_grey(path, &map->label)) {
        return false;
    }
    for (int32_t y = 0; y < map->label.height; y++) {
        uint8_t *row = kb_row(&map->label, y);
        for (int32_t x = 0; x < map->label.width; x++) {
            row[x] = row[x] != 0 ? KB_GRAPHITE : KB_FERRITE;
        }
    }
    return true;
}

static void print_particles(const struct kb_particles *particles) {
    puts("id,state,area,holes,perimeter,x,y,box_x,box_y,box_w,box_h,feret_max,feret_max_angle,"
         "feret_min,feret_min_angle,shape,circularity,solidity,aspect,major,minor,form,parted,"
         "subpixel");
    for (size_t i = 0; i < particles->count; i++) {
        const struct kb_particle *p = &particles->particle[i];
        printf("%u,%s,%.17g,%.17g,%.17g,%.17g,%.17g,%d,%d,%d,%d,%.17g,%.17g,%.17g,%.17g,%.17g,"
               "%.17g,%.17g,%.17g,%.17g,%.17g,%s,%d,%d\n",
               (unsigned)p->id, kb_particle_state_name(p->state), p->area_px2, p->hole_area_px2,
               p->perimeter_px, p->x_px, p->y_px, (int)p->box.x, (int)p->box.y, (int)p->box.width,
               (int)p->box.height, p->feret_max_px, p->feret_max_angle, p->feret_min_px,
               p->feret_min_angle, p->shape_factor, p->circularity, p->solidity, p->aspect,
               p->major_px, p->minor_px, kb_form_roman(p->form), p->parted, p->subpixel);
    }
}

int main(int argc, char **argv) {
    double px_um = 0.0;
    struct kb_phase_map map = {0};
    struct kb_image grey = {0};
    if ((argc != 4 && argc != 5) || !kb_parse_number(argv[2], &px_um) || !read_map(argv[1], &map) ||
        (argc == 5 && !read_grey(argv[4], &grey))) {
        return EXIT_FAILURE;
    }
    struct kb_morphology_params params = kb_morphology_params_default(KB_DUCTILE_IRON);
    if (strcmp(argv[3], "plain") == 0) {
        params.min_feret_um = 0.0;
        params.part_touching = false;
        params.hole_share = 0.0;
    }
    struct kb_particles particles;
    if (kb_morphology_run(&map, argc == 5 ? &grey : NULL, px_um, &params, &particles, NULL) !=
        KB_OK) {
        kb_phase_map_release(&map);
        kb_image_release(&grey);
        return EXIT_FAILURE;
    }
    print_particles(&particles);
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
    kb_image_release(&grey);
    return EXIT_SUCCESS;
}
