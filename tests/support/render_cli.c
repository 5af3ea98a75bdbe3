/* render_cli.c - draw a field for a test or for looking at it: key=value ... OUT.tif TRUTH.json
 *
 * Keys are the fields of struct kb_render_params; look is light, unetched or sem, graphite is none,
 * nodules, compacted or flakes. A tool for developers; the program has its own command.
 */
#include "keelblock/report.h"

#include <stdlib.h>
#include <string.h>

struct key {
    const char *name;
    double *value;
};

static int choose(const char *word, const char *const words[], int count) {
    for (int i = 0; i < count; i++) {
        if (strcmp(word, words[i]) == 0) {
            return i;
        }
    }
    return -1;
}

static bool set_integer(const char *word, int64_t high, int64_t *value) {
    return kb_parse_integer(word, 0, high, value);
}

static bool set_word(struct kb_render_params *p, const char *key, const char *word) {
    static const char *const looks[] = {"light", "unetched", "sem"};
    static const char *const letters[] = {"A", "B", "C", "D", "E"};
    static const char *const forms[] = {"none", "nodules", "compacted", "flakes"};
    int64_t n = 0;
    int at = -1;
    if (strcmp(key, "look") == 0 && (at = choose(word, looks, 3)) >= 0) {
        p->look = (enum kb_render_look)at;
    } else if (strcmp(key, "graphite") == 0 && (at = choose(word, forms, 4)) >= 0) {
        p->graphite = (enum kb_render_graphite)at;
    } else if (strcmp(key, "distribution") == 0 && (at = choose(word, letters, 5)) >= 0) {
        p->distribution = (enum kb_render_distribution)at;
    } else if (strcmp(key, "bulls_eye") == 0 && set_integer(word, 1, &n)) {
        p->bulls_eye = n == 1;
    } else if (strcmp(key, "seed") == 0 && set_integer(word, INT64_MAX, &n)) {
        p->seed = (uint64_t)n;
    } else if (strcmp(key, "width") == 0 && set_integer(word, INT32_MAX, &n)) {
        p->width = (int32_t)n;
    } else if (strcmp(key, "height") == 0 && set_integer(word, INT32_MAX, &n)) {
        p->height = (int32_t)n;
    } else {
        return false;
    }
    return true;
}

static bool set(struct kb_render_params *p, char *argument) {
    const struct key keys[] = {
        {"px_um", &p->px_um},
        {"nodules_per_mm2", &p->nodules_per_mm2},
        {"nodule_um", &p->nodule_um},
        {"nodule_spread", &p->nodule_spread},
        {"nodularity", &p->nodularity},
        {"graphite_fraction", &p->graphite_fraction},
        {"pearlite_of_matrix", &p->pearlite_of_matrix},
        {"bainite_of_matrix", &p->bainite_of_matrix},
        {"carbide_of_matrix", &p->carbide_of_matrix},
        {"grain_um", &p->grain_um},
        {"lamella_um", &p->lamella_um},
        {"fall_off", &p->fall_off},
        {"beam_noise", &p->beam_noise},
        {"charging", &p->charging},
        {"blur_um", &p->blur_um},
        {"noise", &p->noise},
        {"over_etch", &p->over_etch},
        {"scratches_per_mm2", &p->scratches_per_mm2},
        {"clusters", &p->clusters},
    };
    char *equals = strchr(argument, '=');
    if (equals == NULL) {
        return false;
    }
    *equals = '\0';
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        if (strcmp(keys[i].name, argument) == 0) {
            return kb_parse_number(equals + 1, keys[i].value);
        }
    }
    return set_word(p, argument, equals + 1);
}

int main(int argc, char **argv) {
    struct kb_render_params params = kb_render_params_default();
    struct kb_render render;
    struct kb_err err;
    if (argc < 3) {
        (void)fprintf(stderr, "usage: kb_render_cli [key=value ...] OUT.tif TRUTH.json\n");
        return 2;
    }
    for (int i = 1; i < argc - 2; i++) {
        if (!set(&params, argv[i])) {
            (void)fprintf(stderr, "kb_render_cli: cannot use '%s'\n", argv[i]);
            return 2;
        }
    }
    double start = kb_clock_s();
    enum kb_status status = kb_render_draw(&params, &render, &err);
    double drawn = kb_clock_s();
    if (status == KB_OK) {
        const struct kb_render_truth *t = &render.truth;
        (void)printf("graphite %.4f  ferrite %.4f  pearlite %.4f  pearlite of matrix %.4f\n"
                     "particles %zu  nodularity %.1f %%  nodules %.1f /mm2  drawn in %.2f s\n",
                     t->graphite, t->ferrite, t->pearlite, t->pearlite_of_matrix, t->count,
                     t->nodularity_percent, t->nodules_per_mm2, drawn - start);
        status = kb_write_tiff(argv[argc - 2], &render.grey, params.px_um, true, &err);
        if (status == KB_OK) {
            status = kb_write_truth(argv[argc - 1], &params, t, &err);
        }
        kb_render_release(&render);
    }
    if (status != KB_OK) {
        char line[1024];
        kb_err_line(&err, line, sizeof line);
        (void)fprintf(stderr, "%s\n", line);
        return 1;
    }
    return 0;
}
