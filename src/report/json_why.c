/* json_why.c - points that were asked about in result.json: each with its steps, and in each step
 * the figure that decided beside its limit. */
#include "json_write.h"

static void step(struct kb_json *json, const struct kb_why_step *step) {
    kb_json_open(json, NULL, '{');
    kb_json_string(json, "step", step->step);
    kb_json_string(json, "from", kb_phase_name(step->from));
    kb_json_string(json, "to", kb_phase_name(step->to));
    kb_json_number(json, "figure", step->figure);
    kb_json_number(json, "limit", step->limit);
    kb_json_string(json, "unit", step->unit[0] != '\0' ? step->unit : NULL);
    kb_json_string(json, "says", step->says);
    kb_json_close(json, '}');
}

void kb_json_why(struct kb_json *json, const struct kb_result *result) {
    kb_json_open(json, "why", '[');
    for (size_t i = 0; i < result->explaineds; i++) {
        const struct kb_explained *why = &result->explained[i];
        kb_json_open(json, NULL, '{');
        kb_json_count(json, "field", why->field);
        kb_json_string(json, "file", result->field[why->field - 1].path);
        kb_json_open(json, "place_px", '[');
        json->inside = true;
        kb_json_number(json, NULL, why->way.x);
        kb_json_number(json, NULL, why->way.y);
        kb_json_close(json, ']');
        json->inside = false;
        kb_json_string(json, "phase", kb_phase_name(why->phase));
        kb_json_number(json, "particle", why->particle > 0 ? why->particle : KB_NAN);
        kb_json_string(json, "origin", why->origin);
        kb_json_open(json, "steps", '[');
        for (size_t k = 0; k < why->way.steps; k++) {
            step(json, &why->way.step[k]);
        }
        kb_json_close(json, ']');
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
}
