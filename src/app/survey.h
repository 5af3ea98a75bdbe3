/* survey.h - results read back and pooled, and how many fields the wanted precision takes. */
#ifndef KB_SURVEY_H
#define KB_SURVEY_H

#include "request.h"

#define KB_SURVEY_KEY 96

/* The fields of some results. */
struct kb_survey {
    enum kb_material material;
    struct kb_field_figures *field;
    char (*key)[KB_SURVEY_KEY]; /* digest and page of each field's file; "" unknown */
    size_t fields, capacity, key_capacity;
    size_t results, etched, polished;
    size_t repeated;        /* fields that an earlier result held too; left out */
    size_t without_sums;    /* fields of results that do not hold the sums behind nodularity */
    bool several_names;     /* the results are of specimens of different names */
    bool several_sizes;     /* they were measured with different minimum sizes of particles */
    char *name, *min_feret; /* of the first result; NULL: it has none */
};

/* Add the fields of one result.json, or of the one in a folder. KB_E_INPUT when it cannot be read,
 * is no result of keelblock, has a schema that is not known, or is of another material than those
 * before. */
KB_NODISCARD enum kb_status kb_survey_read(const char *path, struct kb_survey *survey,
                                           struct kb_err *err);
void kb_survey_release(struct kb_survey *survey);

/* One quantity: what is known and what is wished. */
struct kb_survey_row {
    enum kb_quantity quantity;
    struct kb_estimate value; /* in the unit shown to readers */
    double half;              /* of the interval now; NaN: cannot be said */
    double want;              /* wished, in the same unit; NaN: nothing was wished */
    size_t needed;            /* fields in all; 0: cannot be said */
};
#define KB_SURVEY_ROWS 11

/* Pool the fields as `measure` would. Rows of what was measured or asked for; the count. */
KB_NODISCARD enum kb_status kb_survey_run(const struct kb_survey *survey,
                                          const struct kb_want *want, size_t wants,
                                          struct kb_survey_row row[KB_SURVEY_ROWS], size_t *rows,
                                          struct kb_err *err);
/* Fields that are still missing; 0 none. */
size_t kb_survey_more(const struct kb_survey_row *row);
/* Whether half-widths of a quantity are wished in per cent of its value. */
bool kb_survey_relative(enum kb_quantity quantity);
/* Whether it is a share of a field's area, which points could be counted for. */
bool kb_survey_is_phase(enum kb_quantity quantity);

void kb_survey_table(const struct kb_survey *survey, const struct kb_survey_row *row, size_t rows,
                     struct kb_text *out);
/* False when memory ran out. */
bool kb_survey_json(const struct kb_survey *survey, const struct kb_survey_row *row, size_t rows,
                    struct kb_text *out);

#endif
