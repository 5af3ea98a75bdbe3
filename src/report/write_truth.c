/* write_truth.c - what a rendered field really holds, as JSON (schema "keelblock.truth/1").
 *
 * Parameters first, so that the picture can be drawn again; then fractions, counts and one object a
 * particle. What does not exist (nodularity without graphite) is null. The seed is a string: JSON
 * numbers of many readers do not hold 64 bits.
 */
#include "keelblock/report.h"

#include <inttypes.h>
#include <jansson.h>
#include <stdlib.h>

#define STAGE "report"
#define DIGITS 12 /* more than any truth is good for, fewer than would show rounding noise */

static json_t *number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

static const char *look_name(enum kb_render_look look) {
    static const char *const names[] = {[KB_RENDER_LIGHT] = "light",
                                        [KB_RENDER_UNETCHED] = "light-unetched",
                                        [KB_RENDER_SEM] = "sem"};
    return names[look];
}

static const char *graphite_name(enum kb_render_graphite graphite) {
    static const char *const names[] = {[KB_RENDER_NONE] = "none",
                                        [KB_RENDER_NODULES] = "nodules",
                                        [KB_RENDER_COMPACTED] = "compacted",
                                        [KB_RENDER_FLAKES] = "flakes"};
    return names[graphite];
}

/* Of flakes; null for graphite of other kinds. */
static json_t *distribution_name(const struct kb_render_params *p) {
    static const char *const names[] = {"A", "B", "C", "D", "E"};
    return p->graphite == KB_RENDER_FLAKES ? json_string(names[p->distribution]) : json_null();
}

static json_t *pack_params(const struct kb_render_params *p) {
    char seed[24];
    (void)snprintf(seed, sizeof seed, "%" PRIu64, p->seed);
    json_t *json = json_object();
    int bad = json_object_set_new(json, "seed", json_string(seed)) |
              json_object_set_new(json, "width_px", json_integer(p->width)) |
              json_object_set_new(json, "height_px", json_integer(p->height)) |
              json_object_set_new(json, "look", json_string(look_name(p->look))) |
              json_object_set_new(json, "graphite", json_string(graphite_name(p->graphite))) |
              json_object_set_new(json, "distribution", distribution_name(p)) |
              json_object_set_new(json, "bulls_eye", json_boolean(p->bulls_eye));
    const struct {
        const char *key;
        double value;
    } numbers[] = {
        {"pixel_size_um", p->px_um},
        {"nodules_per_mm2", p->nodules_per_mm2},
        {"nodule_um", p->nodule_um},
        {"nodule_spread", p->nodule_spread},
        {"nodularity", p->nodularity},
        {"graphite_fraction", p->graphite_fraction},
        {"pearlite_of_matrix", p->pearlite_of_matrix},
        {"bainite_of_matrix", p->bainite_of_matrix},
        {"carbide_of_matrix", p->carbide_of_matrix},
        {"grain_um", p->grain_um},
        {"lamella_um", p->lamella_um},
        {"fall_off", p->fall_off},
        {"blur_um", p->blur_um},
        {"noise", p->noise},
        {"beam_noise", p->beam_noise},
        {"charging", p->charging},
        {"over_etch", p->over_etch},
        {"scratches_per_mm2", p->scratches_per_mm2},
        {"clusters", p->clusters},
    };
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        bad |= json_object_set_new(json, numbers[i].key, number(numbers[i].value));
    }
    if (bad) {
        json_decref(json);
        return NULL;
    }
    return json;
}

static json_t *pack_particle(const struct kb_render_particle *p) {
    return json_pack("{sf sf sf sf sf sf sf sb}", "x_um", p->x_um, "y_um", p->y_um, "area_um2",
                     p->area_um2, "perimeter_um", p->perimeter_um, "feret_max_um", p->feret_max_um,
                     "feret_min_um", p->feret_min_um, "shape_factor", p->shape_factor, "inside",
                     p->inside);
}

static json_t *pack_particles(const struct kb_render_truth *truth) {
    json_t *list = json_array();
    for (size_t i = 0; i < truth->count; i++) {
        if (json_array_append_new(list, pack_particle(&truth->particle[i])) != 0) {
            json_decref(list);
            return NULL;
        }
    }
    return list;
}

static json_t *pack_truth(const struct kb_render_params *params,
                          const struct kb_render_truth *truth) {
    return json_pack(
        "{ss so s{sf sf sf sf sf sf} so so so sf so}", "schema", "keelblock.truth/1", "params",
        pack_params(params), "phases", "graphite", truth->graphite, "ferrite", truth->ferrite,
        "pearlite", truth->pearlite, "other", truth->other, "bainite", truth->bainite, "carbide",
        truth->carbide, "pearlite_of_matrix", number(truth->pearlite_of_matrix), "other_of_matrix",
        number(truth->other_of_matrix), "nodularity_percent", number(truth->nodularity_percent),
        "nodules_per_mm2", truth->nodules_per_mm2, "particles", pack_particles(truth));
}

enum kb_status kb_write_truth(const char *path, const struct kb_render_params *params,
                              const struct kb_render_truth *truth, struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    json_t *json = pack_truth(params, truth);
    char *text =
        json == NULL ? NULL : json_dumps(json, JSON_INDENT(1) | JSON_REAL_PRECISION(DIGITS));
    kb_locale_leave(locale);
    enum kb_status status;
    if (text == NULL) {
        status = kb_fail_memory(err, STAGE, truth->count * sizeof *truth->particle);
    } else {
        size_t length = 0;
        while (text[length] != '\0') {
            length++;
        }
        text[length] = '\n'; /* in place of the terminator: a text file ends with a newline */
        status = kb_write_file(path, text, length + 1, err);
    }
    free(text);
    json_decref(json);
    return status;
}
