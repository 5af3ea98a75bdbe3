/* segment_table.c - errors of the segmentation on drawn fields of every kind, as a table.
 *     kb_segment_table [SEED [NAME OUT.pgm]]
 * With NAME only the rows that begin so, and their grey picture is written. Each row: what was
 * drawn, the true share of graphite and the true share of pearlite in the matrix, and by how many
 * percentage points the measured ones are off.
 */
#include "drawn_field.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct row {
    enum kb_material material;
    enum kb_contrast contrast;
    struct kb_render_params params;
    double gain, offset, gamma; /* tone of the camera; gain 0: as drawn */
};

static struct row row_of(enum kb_material material, enum kb_contrast contrast, uint64_t seed) {
    struct row row = {material, contrast, kb_render_params_default(), 0.0, 0.0, 1.0};
    row.params.seed = seed;
    row.params.width = 1200;
    row.params.height = 900;
    return row;
}

static double total_abs_graphite, total_abs_pearlite;
static int rows_done, rows_bad;
static const char *only_name, *only_path;

static void write_grey(const char *path, const struct kb_image *grey) {
    FILE *file = fopen(path, "wb");
    if (file == NULL) {
        return;
    }
    (void)fprintf(file, "P5\n%d %d\n255\n", grey->width, grey->height);
    for (int32_t y = 0; y < grey->height; y++) {
        (void)fwrite(kb_row(grey, y), 1, (size_t)grey->width, file);
    }
    (void)fclose(file);
}

/* The camera's tone: grey = offset + gain * 255 * (grey / 255) ^ gamma. */
static void set_tone(const struct row *row, struct kb_image *grey) {
    uint8_t tone[256];
    for (int i = 0; i < 256; i++) {
        double level = row->offset + row->gain * 255.0 * pow((double)i / 255.0, row->gamma);
        tone[i] = (uint8_t)fmin(fmax(level + 0.5, 0.0), 255.0);
    }
    for (int32_t y = 0; y < grey->height && row->gain > 0.0; y++) {
        for (int32_t x = 0; x < grey->width; x++) {
            kb_row(grey, y)[x] = tone[kb_row(grey, y)[x]];
        }
    }
}

static void print_row(const char *name, const struct row *row) {
    struct drawn_field drawn;
    struct kb_phase_map map;
    struct kb_err err;
    if (only_name != NULL && strncmp(only_name, name, strlen(only_name)) != 0) {
        return;
    }
    if (!drawn_field_make(&row->params, &drawn)) {
        (void)printf("%-44s cannot be drawn\n", name);
        return;
    }
    set_tone(row, &drawn.field.grey);
    if (only_path != NULL) {
        write_grey(only_path, &drawn.field.grey);
    }
    struct kb_segmentation_params p = kb_segmentation_params_default(row->material, row->contrast);
    if (kb_segment(&drawn.field, &p, &map, &err) != KB_OK) {
        (void)printf("%-44s %s\n", name, err.text);
        drawn_field_release(&drawn);
        return;
    }
    const struct kb_render_truth *t = &drawn.render.truth;
    double graphite = label_share(&map, KB_GRAPHITE);
    double ferrite = label_share(&map, KB_FERRITE);
    double pearlite = label_share(&map, KB_PEARLITE);
    double matrix = label_share(&map, KB_MATRIX);
    double other = label_share(&map, KB_OTHER);
    double all = ferrite + pearlite + other;
    double share = ferrite + pearlite > 0.0 ? pearlite / all : (double)NAN;
    double dg = 100.0 * (graphite - t->graphite);
    double dp = 100.0 * (share - t->pearlite_of_matrix);
    double other_off = 100.0 * (other - t->other);
    bool bad = fabs(other_off) > 1.0 || fabs(dg) > 0.5 ||
               (row->contrast != KB_LIGHT_UNETCHED && !(fabs(dp) <= 2.0));
    total_abs_graphite += fabs(dg);
    total_abs_pearlite += isnan(dp) ? 0.0 : fabs(dp);
    rows_done++;
    rows_bad += bad;
    (void)printf("%-44s G %5.2f %+6.2f  P %5.1f %+7.2f%s  O %4.1f %+6.2f  t %3.0f %3.0f v %.2f "
                 "%.2f sep %.2f un "
                 "%.2f%s %s",
                 name, 100.0 * t->graphite, dg, 100.0 * t->pearlite_of_matrix, dp,
                 matrix > 0.5 ? " M" : "  ", 100.0 * t->other, other_off, map.figures.threshold[0],
                 map.figures.threshold[1], map.figures.valley[0], map.figures.valley[1],
                 map.figures.separability, map.figures.unevenness, map.figures.evened ? "e" : " ",
                 bad ? "<<<" : "");
    for (size_t i = 0; i < map.findings.count; i++) {
        (void)printf(" %s", map.findings.item[i].code);
    }
    (void)printf("\n");
    kb_phase_map_release(&map);
    drawn_field_release(&drawn);
}

static void ductile_etched(uint64_t seed) {
    const double pearlite[] = {0.0, 0.05, 0.2, 0.5, 0.8, 0.95, 1.0};
    char name[64];
    for (size_t i = 0; i < sizeof pearlite / sizeof *pearlite; i++) {
        struct row r = row_of(KB_DUCTILE_IRON, KB_LIGHT, seed + i);
        r.params.pearlite_of_matrix = pearlite[i];
        (void)snprintf(name, sizeof name, "ductile etched %.0f %%", 100.0 * pearlite[i]);
        print_row(name, &r);
        r.params.bulls_eye = !r.params.bulls_eye;
        (void)snprintf(name, sizeof name, "ductile etched %.0f %%, other layout",
                       100.0 * pearlite[i]);
        print_row(name, &r);
    }
}

static void optics(uint64_t seed) {
    char name[64];
    for (int i = 0; i < 4; i++) {
        struct row r = row_of(KB_DUCTILE_IRON, KB_LIGHT, seed + (uint64_t)i);
        r.params.pearlite_of_matrix = 0.4;
        r.params.blur_um = 0.5 * (double)i * r.params.px_um;
        (void)snprintf(name, sizeof name, "ductile 40 %%, blur %.1f px", 0.5 * (double)i);
        print_row(name, &r);
        r = row_of(KB_DUCTILE_IRON, KB_LIGHT, seed + (uint64_t)i);
        r.params.pearlite_of_matrix = 0.4;
        r.params.noise = 10.0 * (double)i / 3.0;
        (void)snprintf(name, sizeof name, "ductile 40 %%, noise %.1f", r.params.noise);
        print_row(name, &r);
        r = row_of(KB_DUCTILE_IRON, KB_LIGHT, seed + (uint64_t)i);
        r.params.pearlite_of_matrix = 0.4;
        r.params.fall_off = 0.4 * (double)i / 3.0;
        (void)snprintf(name, sizeof name, "ductile 40 %%, fall-off %.2f", r.params.fall_off);
        print_row(name, &r);
        const double px_um[] = {0.2, 0.35, 0.6, 1.0};
        r = row_of(KB_DUCTILE_IRON, KB_LIGHT, seed + (uint64_t)i);
        r.params.pearlite_of_matrix = 0.4;
        r.params.px_um = px_um[i];
        (void)snprintf(name, sizeof name, "ductile 40 %%, %.2f um/px", px_um[i]);
        print_row(name, &r);
    }
}

static void unetched(uint64_t seed) {
    const enum kb_render_graphite form[] = {KB_RENDER_NODULES, KB_RENDER_COMPACTED,
                                            KB_RENDER_FLAKES};
    const enum kb_material material[] = {KB_DUCTILE_IRON, KB_COMPACTED_IRON, KB_GREY_IRON};
    char name[64];
    for (int i = 0; i < 3; i++) {
        struct row r = row_of(material[i], KB_LIGHT_UNETCHED, seed);
        r.params.graphite = form[i];
        r.params.look = KB_RENDER_UNETCHED;
        (void)snprintf(name, sizeof name, "%s unetched", kb_material_name(material[i]));
        print_row(name, &r);
        r.params.scratches_per_mm2 = 40.0;
        r.params.fall_off = 0.25;
        (void)snprintf(name, sizeof name, "%s unetched, scratches, fall-off",
                       kb_material_name(material[i]));
        print_row(name, &r);
        r = row_of(material[i], KB_LIGHT, seed);
        r.params.graphite = form[i];
        for (int k = 0; k < 3; k++) {
            r.params.pearlite_of_matrix = 0.1 + 0.4 * (double)k;
            (void)snprintf(name, sizeof name, "%s etched %.0f %%", kb_material_name(material[i]),
                           100.0 * r.params.pearlite_of_matrix);
            print_row(name, &r);
        }
        r.contrast = KB_SEM;
        r.params.look = KB_RENDER_SEM;
        r.params.pearlite_of_matrix = 0.5;
        (void)snprintf(name, sizeof name, "%s sem 50 %%", kb_material_name(material[i]));
        print_row(name, &r);
    }
}

static void steel(uint64_t seed) {
    const double pearlite[] = {0.0, 0.1, 0.3, 0.55, 0.8, 0.96, 1.0};
    char name[64];
    for (size_t i = 0; i < sizeof pearlite / sizeof *pearlite; i++) {
        for (int look = 0; look < 3; look++) {
            bool sem = look == 2;
            struct row r = row_of(KB_CARBON_STEEL, sem ? KB_SEM : KB_LIGHT, seed + i);
            r.params.graphite = KB_RENDER_NONE;
            r.params.bulls_eye = false;
            r.params.look = sem ? KB_RENDER_SEM : KB_RENDER_LIGHT;
            r.params.pearlite_of_matrix = pearlite[i];
            r.params.px_um = look == 0 ? 0.5 : 0.15;
            (void)snprintf(name, sizeof name, "steel %.0f %% %s %.2f um/px", 100.0 * pearlite[i],
                           sem ? "sem" : "light", r.params.px_um);
            print_row(name, &r);
        }
    }
}

static void hard(uint64_t seed) {
    const double pearlite[] = {0.0, 0.05, 0.4, 0.95, 1.0};
    char name[64];
    for (size_t i = 0; i < sizeof pearlite / sizeof *pearlite; i++) {
        for (int kind = 0; kind < 8; kind++) {
            struct row r = row_of(KB_DUCTILE_IRON, KB_LIGHT, seed + i);
            r.params.pearlite_of_matrix = pearlite[i];
            const char *const word[] = {"fall-off 0.4",  "noise 10",  "blur 1.5 px", "dim",
                                        "dull and grey", "gamma 0.6", "gamma 1.6",   "saturated"};
            const double tone[8][3] = {{0.0, 0.0, 1.0}, {0.0, 0.0, 1.0},  {0.0, 0.0, 1.0},
                                       {0.4, 0.0, 1.0}, {0.4, 80.0, 1.0}, {1.0, 0.0, 0.6},
                                       {1.0, 0.0, 1.6}, {1.3, 0.0, 1.0}};
            r.params.fall_off = kind == 0 ? 0.4 : r.params.fall_off;
            r.params.noise = kind == 1 ? 10.0 : r.params.noise;
            r.params.blur_um = kind == 2 ? 1.5 * r.params.px_um : r.params.blur_um;
            r.gain = tone[kind][0];
            r.offset = tone[kind][1];
            r.gamma = tone[kind][2];
            (void)snprintf(name, sizeof name, "hard %.0f %%, %s", 100.0 * pearlite[i], word[kind]);
            print_row(name, &r);
        }
    }
}

static void lamellae(uint64_t seed) {
    const double pearlite[] = {0.1, 0.5, 0.9, 1.0};
    const double spacing[] = {0.8, 1.5, 2.5};
    char name[64];
    for (int i = 0; i < 4; i++) {
        for (int k = 0; k < 3; k++) {
            struct row r = row_of(KB_CARBON_STEEL, KB_LIGHT, seed);
            r.params.graphite = KB_RENDER_NONE;
            r.params.bulls_eye = false;
            r.params.pearlite_of_matrix = pearlite[i];
            r.params.lamella_um = spacing[k];
            r.params.px_um = 0.15;
            r.params.blur_um = 0.15;
            r.params.grain_um = 30.0;
            (void)snprintf(name, sizeof name, "lamellae %.1f um, %.0f %%", spacing[k],
                           100.0 * pearlite[i]);
            print_row(name, &r);
            r.params.graphite = KB_RENDER_NODULES;
            r.params.bulls_eye = true;
            r.material = KB_DUCTILE_IRON;
            (void)snprintf(name, sizeof name, "iron, lamellae %.1f um, %.0f %%", spacing[k],
                           100.0 * pearlite[i]);
            print_row(name, &r);
        }
    }
}

/* Bainite and carbide, alone and together, at several scales and grades of blur. */
static void free_part(uint64_t seed) {
    const double part[][2] = {{0.02, 0.0}, {0.08, 0.0}, {0.25, 0.0}, {0.0, 0.02},
                              {0.0, 0.05}, {0.0, 0.12}, {0.08, 0.05}};
    const double pearlite[] = {0.4, 0.7, 0.95};
    const double px_um[] = {0.25, 0.5, 0.8};
    char name[64];
    for (size_t i = 0; i < sizeof part / sizeof *part; i++) {
        for (int k = 0; k < 3; k++) {
            for (int m = 0; m < 3; m++) {
                struct row r = row_of(KB_DUCTILE_IRON, KB_LIGHT, seed + i);
                r.params.bainite_of_matrix = part[i][0];
                r.params.carbide_of_matrix = part[i][1];
                r.params.pearlite_of_matrix = pearlite[k];
                r.params.px_um = px_um[m];
                (void)snprintf(
                    name, sizeof name, "bainite %.0f %%, carbide %.0f %%, %.0f %%, %.2f um",
                    100.0 * part[i][0], 100.0 * part[i][1], 100.0 * pearlite[k], px_um[m]);
                print_row(name, &r);
            }
        }
    }
}

int main(int argc, char **argv) {
    uint64_t seed = argc > 1 ? strtoull(argv[1], NULL, 10) : 1;
    only_name = argc > 2 ? argv[2] : NULL;
    only_path = argc > 3 ? argv[3] : NULL;
    ductile_etched(seed);
    optics(seed + 100);
    unetched(seed + 200);
    steel(seed + 300);
    hard(seed + 400);
    lamellae(seed + 500);
    free_part(seed + 600);
    (void)printf("%d rows, %d beyond 0.5 point graphite or 2 points pearlite; mean magnitude %.2f "
                 "and %.2f points\n",
                 rows_done, rows_bad, total_abs_graphite / rows_done,
                 total_abs_pearlite / rows_done);
    return 0;
}
