/* pipeline_priv.h - the plan of one measurement: which files, under which settings, to which
 * folder. Keeps the bookkeeping out of pipeline.c. */
#ifndef KB_PIPELINE_PRIV_H
#define KB_PIPELINE_PRIV_H

#include "keelblock/keelblock.h"

struct kb_plan {
    const struct kb_settings *settings;
    char **path; /* count pictures, in the order of the result */
    enum kb_contrast *contrast;
    size_t count;
    struct kb_field blank; /* zeroed when there is none */
    struct kb_report_folder folder_here;
    struct kb_report_folder *folder; /* NULL: nothing is written */
};

/* Check the settings, expand folders and patterns, read the blank field. Release also on failure.
 */
enum kb_status kb_plan_make(const struct kb_settings_field *field, size_t fields,
                            struct kb_plan *plan, struct kb_err *err);
void kb_plan_release(struct kb_plan *plan);
/* Open the output folder, copy what identifies the run into `result`, make its field slots. */
enum kb_status kb_plan_begin(struct kb_plan *plan, struct kb_result *result, struct kb_err *err);

struct kb_segmentation_params kb_plan_segmentation(const struct kb_plan *plan, size_t index);
/* Exclusions must lie within the picture, the blank field must have its size. */
enum kb_status kb_plan_check_field(const struct kb_plan *plan, const struct kb_field *field,
                                   struct kb_err *err);
/* Name the file in an error of a stage that does not know file names. */
enum kb_status kb_plan_blame(const struct kb_plan *plan, size_t index, enum kb_status status,
                             struct kb_err *err);
enum kb_status kb_plan_pass_on(const struct kb_err *from, struct kb_err *to);
int kb_plan_threads(const struct kb_plan *plan);
/* "overlay-03-name.png" into the folder; remembers the name in `out`. */
enum kb_status kb_plan_write_overlay(const struct kb_plan *plan, size_t index,
                                     const struct kb_picture *overlay, double px_um,
                                     struct kb_field_result *out, struct kb_err *err);
/* What is known of field and map into the result; moves their findings over in stage order. */
enum kb_status kb_plan_fill(const struct kb_plan *plan, size_t index, struct kb_field *field,
                            struct kb_phase_map *map, struct kb_field_result *out,
                            struct kb_err *err);
enum kb_status kb_plan_book_times(struct kb_result *result, const char *const *stage,
                                  const double *seconds, size_t count, struct kb_err *err);
/* Figures of all fields side by side, in new memory; NULL when out of memory. */
struct kb_field_figures *kb_plan_figures(const struct kb_result *result);

#endif
