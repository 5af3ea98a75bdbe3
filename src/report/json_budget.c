/* json_budget.c - what result.json says of the uncertainty of the main figures. */
#include "json_write.h"

static void lines(struct kb_json *json, const struct kb_budget *budget) {
    kb_json_open(json, "parts", '[');
    for (int i = 0; i < KB_U_SOURCES; i++) {
        const struct kb_budget_line *line = &budget->line[i];
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "source", kb_budget_source_name((enum kb_budget_source)i));
        kb_json_number(json, "standard", line->u);
        kb_json_number(json, "degrees_of_freedom", line->freedom); /* null: no limit, or unknown */
        kb_json_number(json, "share_of_variance", line->share);
        kb_json_string(json, "why", line->stated ? NULL : line->why);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
}

void kb_json_budgets(struct kb_json *json, const struct kb_specimen *specimen) {
    kb_json_open(json, "uncertainty", '[');
    for (size_t i = 0; i < specimen->budgets; i++) {
        const struct kb_budget *budget = &specimen->budget[i];
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "quantity", budget->quantity);
        kb_json_string(json, "unit", budget->value.unit);
        kb_json_value(json, "value", &budget->value, 1.0);
        kb_json_interval(json, "ci95_of_fields_alone", &budget->value, 1.0);
        lines(json, budget);
        kb_json_number(json, "per_grey_level", budget->per_level);
        kb_json_number(json, "combined", budget->u);
        kb_json_number(json, "degrees_of_freedom", budget->freedom);
        kb_json_number(json, "coverage_factor", budget->factor);
        kb_json_number(json, "expanded", budget->expanded);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
}
