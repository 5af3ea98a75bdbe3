/* json_write.h - a small JSON writer on a text buffer. */
#ifndef KB_JSON_WRITE_H
#define KB_JSON_WRITE_H

#include "report_priv.h"

struct kb_json {
    struct kb_text *out;
    int depth;
    bool some;   /* something stands before in the open object or array */
    bool inside; /* one-line array: no line breaks */
};

/* `key` NULL: an element of an array. */
void kb_json_open(struct kb_json *json, const char *key, char bracket); /* '{' or '[' */
void kb_json_close(struct kb_json *json, char bracket);
void kb_json_string(struct kb_json *json, const char *key, const char *value); /* NULL: null */
void kb_json_number(struct kb_json *json, const char *key, double value); /* not finite: null */
void kb_json_count(struct kb_json *json, const char *key, uint64_t value);
void kb_json_bool(struct kb_json *json, const char *key, bool value);
void kb_json_null(struct kb_json *json, const char *key);
/* [lo, hi] times `scale`, or null without interval. */
void kb_json_interval(struct kb_json *json, const char *key, const struct kb_estimate *estimate,
                      double scale);
/* The value times `scale`, or null when not measured. */
void kb_json_value(struct kb_json *json, const char *key, const struct kb_estimate *estimate,
                   double scale);

/* A quantity with value, interval, spread, fields and unit, under its name (json.c). */
void kb_json_figure(struct kb_json *json, enum kb_quantity quantity,
                    const struct kb_estimate *estimate);
/* "limits", "verdict" and what belongs to them (json.c). */
void kb_json_judgement(struct kb_json *json, const struct kb_judgement *judgement);

/* Parts of the document (json_field.c). */
void kb_json_field(struct kb_json *json, const struct kb_result *result, size_t index);
/* Of field `field`, 1-based (json_by_hand.c). */
void kb_json_outlines_left_out(struct kb_json *json, const struct kb_result *result, size_t field);
/* counting rules, sizes and spacing in space (json_space.c) */
/* json_flakes.c */
void kb_json_flakes(struct kb_json *json, const struct kb_specimen *specimen);
void kb_json_field_flakes(struct kb_json *json, const struct kb_flake_figures *flakes);
void kb_json_counts(struct kb_json *json, const struct kb_specimen *specimen);
void kb_json_spatial(struct kb_json *json, const struct kb_specimen *specimen);
/* "iso945_4", ... */
const char *kb_json_nodularity_key(enum kb_nodularity_method method);
/* uncertainty of the main figures (json_budget.c) */
void kb_json_budgets(struct kb_json *json, const struct kb_specimen *specimen);
void kb_json_findings(struct kb_json *json, const struct kb_findings *findings);
/* decisions by hand (json_by_hand.c) */
void kb_json_by_hand(struct kb_json *json, const struct kb_result *result);
/* the record of a review: "review", null where there is none (json_by_hand.c) */
void kb_json_review(struct kb_json *json, const struct kb_reviewed *reviewed);
/* points that were asked about (json_why.c) */
void kb_json_why(struct kb_json *json, const struct kb_result *result);
/* contrast found, marks left out, preparation (json_quality.c) */
void kb_json_looks(struct kb_json *json, const struct kb_field_result *field);

#endif
