/* quality_cli.c - one picture through intake, segmentation, quality and morphology, as JSON:
 *     kb_quality_cli material=ductile-iron contrast=light [px_um=0.5] [min_feret_um=10] PICTURE...
 *
 * One object a line for each picture. A tool for developers and for tests/ladder.
 */
#include "keelblock/morphology.h"
#include "keelblock/quality.h"

#include <string.h>
#include <time.h>

struct job {
    enum kb_material material;
    enum kb_contrast contrast;
    double px_um, min_feret_um;
};

static bool set(struct job *job, const char *argument) {
    const char *equals = strchr(argument, '=');
    if (strncmp(argument, "material=", 9) == 0) {
        return kb_material_parse(equals + 1, &job->material);
    }
    if (strncmp(argument, "contrast=", 9) == 0) {
        return kb_contrast_parse(equals + 1, &job->contrast);
    }
    if (strncmp(argument, "px_um=", 6) == 0) {
        return kb_parse_number(equals + 1, &job->px_um);
    }
    return strncmp(argument, "min_feret_um=", 13) == 0 &&
           kb_parse_number(equals + 1, &job->min_feret_um);
}

static void print_number(const char *key, double value) {
    if (isfinite(value)) {
        (void)printf("\"%s\": %.6g, ", key, value);
    } else {
        (void)printf("\"%s\": null, ", key);
    }
}

static void print_quality(const struct kb_quality *q) {
    (void)printf("\"fitness\": \"%s\", ", kb_fitness_name(q->fitness));
    (void)printf("\"families\": %d, \"crossed\": %s, \"abrasive\": \"%s\", \"scratch\": [",
                 q->scratch_families, q->crossed ? "true" : "false",
                 q->coarsest_abrasive != NULL ? q->coarsest_abrasive : "");
    for (int i = 0; i < q->scratch_families; i++) {
        (void)printf("%s[%.4f, %.1f, %.2f, %zu]", i == 0 ? "" : ", ", q->scratch[i].angle,
                     q->scratch[i].length_px, q->scratch[i].width_px, q->scratch[i].lines);
    }
    (void)printf("], \"checks\": {");
    for (int i = 0; i < KB_CHECKS; i++) {
        const struct kb_check_result *c = &q->check[i];
        (void)printf("%s\"%s\": {", i == 0 ? "" : ", ", kb_check_name((enum kb_check)i));
        print_number("value", c->value);
        (void)printf("\"fitness\": \"%s\", \"says\": \"%s\"}",
                     c->looked ? kb_fitness_name(c->fitness) : "not-looked", c->says);
    }
    (void)printf("}}\n");
}

/* Nodularity as the drawn truth has it: by area, shape factor from 0.6 on, counting particles. */
static void print_particles(const struct kb_particles *particles) {
    double round = 0.0, all = 0.0;
    size_t nodules = 0;
    for (size_t i = 0; i < particles->count; i++) {
        const struct kb_particle *p = &particles->particle[i];
        if (p->state == KB_COUNTS) {
            all += p->area_px2;
            round += p->shape_factor >= 0.6 ? p->area_px2 : 0.0;
            nodules += p->shape_factor >= 0.6 ? 1 : 0;
        }
    }
    print_number("nodularity_percent", all > 0.0 ? 100.0 * round / all : (double)NAN);
    (void)printf("\"counted\": %zu, \"nodules\": %zu, ", particles->in_state[KB_COUNTS], nodules);
}

static enum kb_status look(const struct job *job, const char *path, struct kb_err *err) {
    struct kb_intake_params intake = kb_intake_params_default();
    struct kb_segmentation_params segment =
        kb_segmentation_params_default(job->material, job->contrast);
    struct kb_quality_params params = kb_quality_params_default(job->material, job->contrast);
    struct kb_morphology_params morphology = kb_morphology_params_default(job->material);
    struct kb_field field = {0};
    struct kb_phase_map map = {0};
    struct kb_particles particles = {0};
    struct kb_quality quality;
    double begun = 0.0, done = 0.0;
    intake.px_um = job->px_um;
    params.min_feret_um = morphology.min_feret_um = job->min_feret_um;
    enum kb_status status = kb_field_read(path, &intake, &field, err);
    if (status == KB_OK) {
        status = kb_segment(&field, &segment, &map, err);
    }
    if (status == KB_OK) {
        begun = (double)clock() / CLOCKS_PER_SEC; /* of the processor: others may use it too */
        status = kb_quality_run(&field, &map, job->material, job->contrast, &params, &quality, err);
        done = (double)clock() / CLOCKS_PER_SEC;
    }
    if (status == KB_OK) {
        status = kb_morphology_run(&map, &field.grey, field.px_um, &morphology, &particles, err);
    }
    if (status == KB_OK && morphology.part_touching) {
        kb_quality_touching(particles.doubtful, particles.doubtful_share, particles.doubtful_area,
                            &params, &quality);
    }
    if (status == KB_OK) {
        double measured = 0.0;
        for (int i = KB_EXCLUDED + 1; i < KB_PHASES; i++) {
            measured += (double)map.figures.pixels[i];
        }
        (void)printf("{\"file\": \"%s\", ", kb_base_name(path));
        for (int i = KB_EXCLUDED + 1; i < KB_PHASES; i++) {
            print_number(kb_phase_name((enum kb_phase)i), (double)map.figures.pixels[i] / measured);
        }
        print_particles(&particles);
        print_number("ms", 1e3 * (done - begun));
        print_quality(&quality);
    }
    kb_particles_release(&particles);
    kb_phase_map_release(&map);
    kb_field_release(&field);
    return status;
}

int main(int argc, char **argv) {
    struct job job = {KB_DUCTILE_IRON, KB_LIGHT, 0.0, 10.0};
    int failed = 0, pictures = 0;
    for (int i = 1; i < argc; i++) {
        if (pictures == 0 && set(&job, argv[i])) {
            continue;
        }
        struct kb_err err = {0};
        pictures++;
        if (look(&job, argv[i], &err) != KB_OK) {
            char line[1024];
            kb_err_line(&err, line, sizeof line);
            (void)fprintf(stderr, "%s\n", line);
            (void)printf("{\"file\": \"%s\", \"error\": \"%s\"}\n", kb_base_name(argv[i]),
                         err.code == KB_E_UNFIT ? "unfit" : "failed");
            failed += err.code != KB_E_UNFIT;
        }
    }
    if (pictures == 0) {
        (void)fprintf(stderr, "usage: kb_quality_cli [material=...] [contrast=...] [px_um=...] "
                              "[min_feret_um=...] PICTURE...\n");
        return 2;
    }
    return failed > 0;
}
