/* json_flakes.c - what result.json says of the distribution of flakes: graphite.distribution. */
#include "json_write.h"

static void figures(struct kb_json *json, const struct kb_flake_distribution *flakes) {
    kb_json_open(json, "figures", '{');
    for (int i = 0; i < KB_FLAKE_MEASURES; i++) {
        const enum kb_flake_measure measure = (enum kb_flake_measure)i;
        const struct kb_estimate *figure = &flakes->figure[i];
        kb_json_open(json, kb_flake_measure_name(measure), '{');
        kb_json_value(json, "value", figure, 1.0);
        kb_json_interval(json, "ci95", figure, 1.0);
        kb_json_string(json, "speaks_for", kb_flake_measure_tells(measure));
        kb_json_string(json, "why", figure->measured ? NULL : figure->why);
        kb_json_close(json, '}');
    }
    kb_json_close(json, '}');
}

void kb_json_flakes(struct kb_json *json, const struct kb_specimen *specimen) {
    const struct kb_flake_distribution *flakes = &specimen->distribution;
    kb_json_open(json, "distribution", '{');
    kb_json_string(json, "letter", flakes->told ? kb_flake_letter_name(flakes->letter) : NULL);
    kb_json_string(json, "designation",
                   flakes->designation[0] != '\0' ? flakes->designation : NULL);
    kb_json_open(json, "belief", '{');
    for (int i = 0; i < KB_FLAKE_LETTERS; i++) {
        kb_json_number(json, kb_flake_letter_name((enum kb_flake_letter)i), flakes->belief[i]);
    }
    kb_json_number(json, "not_told", flakes->not_told);
    kb_json_close(json, '}');
    kb_json_string(json, "why", flakes->why);
    kb_json_count(json, "flakes", flakes->flakes);
    kb_json_count(json, "fields", flakes->fields);
    kb_json_number(json, "size_class", flakes->size_class > 0 ? flakes->size_class : KB_NAN);
    figures(json, flakes);
    kb_json_close(json, '}');
}

void kb_json_field_flakes(struct kb_json *json, const struct kb_flake_figures *flakes) {
    if (!flakes->looked) {
        kb_json_null(json, "flakes");
        return;
    }
    const double turn = 180.0 / 3.14159265358979323846;
    kb_json_open(json, "flakes", '{');
    kb_json_count(json, "complete", flakes->flakes);
    for (int i = 0; i < KB_FLAKE_MEASURES; i++) {
        kb_json_number(json, kb_flake_measure_name((enum kb_flake_measure)i), flakes->value[i]);
    }
    kb_json_number(json, "order_standard_error", flakes->order_error);
    kb_json_number(json, "direction_degrees", flakes->direction * turn);
    kb_json_number(json, "longest_feret_um", flakes->longest_um);
    kb_json_close(json, '}');
}
