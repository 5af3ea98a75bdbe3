/* json_quality.c - what the first look and the look at preparation found, as parts of a field. */
#include "json_write.h"

static void check(struct kb_json *json, const struct kb_check_result *result, const char *name) {
    kb_json_open(json, name, '{');
    kb_json_string(json, "fitness", result->looked ? kb_fitness_name(result->fitness) : NULL);
    kb_json_number(json, "value", result->looked ? result->value : KB_NAN);
    kb_json_string(json, "unit", result->unit);
    kb_json_number(json, "warn", result->warn);
    kb_json_number(json, "unfit", result->unfit);
    kb_json_string(json, "says", result->says[0] != '\0' ? result->says : NULL);
    kb_json_string(json, "advice", result->advice[0] != '\0' ? result->advice : NULL);
    kb_json_close(json, '}');
}

static void quality(struct kb_json *json, const struct kb_field_result *field) {
    kb_json_open(json, "quality", '{');
    kb_json_string(json, "fitness", kb_fitness_name(field->quality.fitness));
    kb_json_bool(json, "unfit_accepted", field->unfit_accepted);
    kb_json_string(json, "coarsest_abrasive", field->quality.coarsest_abrasive);
    kb_json_bool(json, "scratches_cross", field->quality.crossed);
    kb_json_open(json, "checks", '{');
    for (int i = 0; i < KB_CHECKS; i++) {
        check(json, &field->quality.check[i], kb_check_name((enum kb_check)i));
    }
    kb_json_close(json, '}');
    kb_json_close(json, '}');
}

static void contrast_found(struct kb_json *json, const struct kb_contrast_found *found) {
    if (found->count == 0) {
        kb_json_null(json, "contrast_found");
        return;
    }
    kb_json_open(json, "contrast_found", '{');
    kb_json_open(json, "belief", '{');
    for (int i = 0; i < 3; i++) {
        kb_json_number(json, kb_contrast_name((enum kb_contrast)i), found->belief[i]);
    }
    kb_json_close(json, '}');
    kb_json_open(json, "evidence", '[');
    for (int i = 0; i < found->count; i++) {
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "what", found->evidence[i].what);
        kb_json_number(json, "value", found->evidence[i].value);
        kb_json_string(json, "unit", found->evidence[i].unit);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
    kb_json_close(json, '}');
}

static void marks(struct kb_json *json, const struct kb_field_result *field) {
    kb_json_open(json, "marks", '[');
    for (size_t i = 0; i < field->marks; i++) {
        const struct kb_mark *mark = &field->mark[i];
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "kind", kb_mark_kind_name(mark->kind));
        kb_json_number(json, "x_px", mark->box.x);
        kb_json_number(json, "y_px", mark->box.y);
        kb_json_number(json, "width_px", mark->box.width);
        kb_json_number(json, "height_px", mark->box.height);
        kb_json_number(json, "scale_bar_px", mark->bar_px > 0.0 ? mark->bar_px : KB_NAN);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
    kb_json_count(json, "outside_px", field->outside_px);
}

void kb_json_looks(struct kb_json *json, const struct kb_field_result *field) {
    contrast_found(json, &field->contrast_found);
    marks(json, field);
    quality(json, field);
}
