/* segment_cli.c - segment one picture and look at the labels:
 *     kb_segment_cli material=ductile-iron contrast=light [key=value ...] PICTURE OUT.ppm
 *
 * Prints figures and findings; OUT.ppm shows the labels as tints over the grey picture, OUT.ppm.pgm
 * the bare labels. As in the program the first look comes before, and what is no specimen is left
 * out; look=0 takes the whole frame. A tool for developers; the program has its own command.
 */
#include "keelblock/segmentation.h"

#include <stdlib.h>
#include <string.h>

/* Tints by label: excluded, graphite, ferrite, pearlite, cementite, matrix, other. */
static const uint8_t tint[KB_PHASES][3] = {{90, 90, 90},  {210, 40, 30},  {250, 250, 250},
                                           {40, 90, 200}, {250, 200, 40}, {250, 250, 250},
                                           {200, 60, 200}};

struct asked {
    struct kb_segmentation_params params;
    double px_um;
    bool look;
};

static bool set(struct asked *asked, char *argument) {
    struct kb_segmentation_params *p = &asked->params;
    const struct {
        const char *name;
        double *value;
    } keys[] = {{"px_um", &asked->px_um},         {"dark", &p->dark_threshold},
                {"bright", &p->bright_threshold}, {"clean_um", &p->clean_um},
                {"colony_um", &p->colony_um},     {"line_um", &p->line_um}};
    char *equals = strchr(argument, '=');
    if (equals == NULL) {
        return false;
    }
    *equals = '\0';
    const char *word = equals + 1;
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        if (strcmp(keys[i].name, argument) == 0) {
            return kb_parse_number(word, keys[i].value);
        }
    }
    if (strcmp(argument, "even") == 0) {
        p->even_light = strcmp(word, "0") != 0;
        return true;
    }
    if (strcmp(argument, "look") == 0) {
        asked->look = strcmp(word, "0") != 0;
        return true;
    }
    return (strcmp(argument, "material") == 0 && kb_material_parse(word, &p->material)) ||
           (strcmp(argument, "contrast") == 0 && kb_contrast_parse(word, &p->contrast)) ||
           (strcmp(argument, "proeutectoid") == 0 && kb_proeutectoid_parse(word, &p->proeutectoid));
}

static void write_tinted(const char *path, const struct kb_image *grey,
                         const struct kb_image *label) {
    FILE *file = fopen(path, "wb");
    if (file == NULL) {
        return;
    }
    (void)fprintf(file, "P6\n%d %d\n255\n", grey->width, grey->height);
    for (int32_t y = 0; y < grey->height; y++) {
        for (int32_t x = 0; x < grey->width; x++) {
            for (int c = 0; c < 3; c++) {
                int mixed = (kb_row(grey, y)[x] * 3 + tint[kb_row(label, y)[x]][c] * 2) / 5;
                (void)fputc(mixed, file);
            }
        }
    }
    (void)fclose(file);
}

static void write_labels(const char *path, const struct kb_image *label) {
    char name[1024];
    (void)snprintf(name, sizeof name, "%s.pgm", path);
    FILE *file = fopen(name, "wb");
    if (file == NULL) {
        return;
    }
    (void)fprintf(file, "P5\n%d %d\n255\n", label->width, label->height);
    for (int32_t y = 0; y < label->height; y++) {
        (void)fwrite(kb_row(label, y), 1, (size_t)label->width, file);
    }
    (void)fclose(file);
}

static void print_map(const struct kb_phase_map *map) {
    const struct kb_segmentation_figures *f = &map->figures;
    uint64_t measured = 0;
    for (int i = 1; i < KB_PHASES; i++) {
        measured += f->pixels[i];
    }
    for (int i = 1; i < KB_PHASES; i++) {
        if (f->pixels[i] > 0) {
            (void)printf("%s %.4f  ", kb_phase_name((enum kb_phase)i),
                         (double)f->pixels[i] / (double)measured);
        }
    }
    (void)printf("\nthresholds %.1f %.1f  means %.1f %.1f %.1f  valley %.2f %.2f  separability "
                 "%.3f  unevenness %.3f%s\nlines %.4f specks %.4f dark pearlite %.4f\n",
                 f->threshold[0], f->threshold[1], f->class_mean[0], f->class_mean[1],
                 f->class_mean[2], f->valley[0], f->valley[1], f->separability, f->unevenness,
                 f->evened ? " (evened)" : "", (double)f->recovered_line_px / (double)measured,
                 (double)f->recovered_speck_px / (double)measured,
                 (double)f->dark_pearlite_px / (double)measured);
    (void)printf("network %d  stability %.3f  rim %.3f  contrast %.3f  plates %.4f\n",
                 f->network.found, f->network.stability, f->network.rim, f->network.contrast,
                 f->network.plates);
    for (size_t i = 0; i < map->findings.count; i++) {
        (void)printf("  %s %s: %s\n", kb_severity_name(map->findings.item[i].severity),
                     map->findings.item[i].code, map->findings.item[i].text);
    }
}

/* The first look, then the phases. */
static enum kb_status segment(const struct kb_field *field, const struct asked *asked,
                              struct kb_phase_map *map, struct kb_err *err) {
    struct kb_segmentation_params params = asked->params;
    struct kb_first_look_params look_params = kb_first_look_params_default();
    struct kb_first_look look = {.marks = 0};
    look_params.iron = kb_material_is_iron(params.material);
    enum kb_status status =
        asked->look ? kb_first_look_run(field, &look_params, &look, err) : KB_OK;
    if (status == KB_OK) {
        params.outside = look.outside.px != NULL ? &look.outside : NULL;
        status = kb_segment(field, &params, map, err);
    }
    kb_first_look_release(&look);
    return status;
}

int main(int argc, char **argv) {
    struct asked asked = {
        .params = kb_segmentation_params_default(KB_DUCTILE_IRON, KB_LIGHT),
        .look = true,
    };
    struct kb_intake_params intake = kb_intake_params_default();
    if (argc < 3) {
        (void)fprintf(stderr, "usage: kb_segment_cli [key=value ...] PICTURE OUT.ppm\n");
        return 2;
    }
    for (int i = 1; i < argc - 2; i++) {
        if (!set(&asked, argv[i])) {
            (void)fprintf(stderr, "kb_segment_cli: cannot use '%s'\n", argv[i]);
            return 2;
        }
    }
    intake.px_um = asked.px_um;
    struct kb_field field;
    struct kb_phase_map map;
    struct kb_err err;
    enum kb_status status = kb_field_read(argv[argc - 2], &intake, &field, &err);
    if (status == KB_OK) {
        double start = kb_clock_s();
        status = segment(&field, &asked, &map, &err);
        double seconds = kb_clock_s() - start;
        if (status == KB_OK) {
            (void)printf("%s: %.1f ms  ", kb_base_name(argv[argc - 2]), 1e3 * seconds);
            print_map(&map);
            write_tinted(argv[argc - 1], &field.grey, &map.label);
            write_labels(argv[argc - 1], &map.label);
            kb_phase_map_release(&map);
        }
        kb_field_release(&field);
    }
    if (status != KB_OK) {
        char line[1024];
        kb_err_line(&err, line, sizeof line);
        (void)fprintf(stderr, "%s\n", line);
        return 1;
    }
    return 0;
}
