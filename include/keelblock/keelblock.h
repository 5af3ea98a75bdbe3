/* keelblock.h - the whole way in one call.
 *
 *     struct kb_settings settings = kb_settings_default(KB_DUCTILE_IRON, KB_LIGHT);
 *     struct kb_result result;
 *     kb_measure_file("field.tif", &settings, &result, &err);
 *
 * Link with -lkeelblock (pkg-config keelblock).
 */
#ifndef KEELBLOCK_KEELBLOCK_H
#define KEELBLOCK_KEELBLOCK_H

#include "keelblock/report.h"
#include "keelblock/version.h"

#ifdef __cplusplus
extern "C" {
#endif

struct kb_settings_field {
    const char *path; /* view: file, folder or shell pattern */
    enum kb_contrast contrast;
    bool find_contrast; /* find it by evidence instead; a field that is not sure is refused */
};

/* Everything that decides a result. Strings and arrays are views that must outlive the call. */
struct kb_settings {
    enum kb_material material;
    struct kb_intake_params intake;
    struct kb_segmentation_params segmentation; /* material and contrast in it are set per field */
    struct kb_first_look_params first_look;
    bool accept_unfit; /* measure fields that the look at preparation finds not fit; said loudly */
    struct kb_morphology_params morphology;
    struct kb_specimen_params specimen;
    struct kb_carbon_params carbon;
    struct kb_chemistry chemistry;
    const struct kb_limit *limit;
    size_t limits;
    enum kb_decision_rule rule; /* by which the limits decide */
    const char *blank_path;     /* blank-field picture, or NULL */
    const char *specimen_id, *laboratory, *operator_name, *customer, *remark,
        *job_path;                          /* NULL: none */
    const struct kb_setting_record *record; /* how each setting was arrived at, for the report */
    size_t records;
    /* Decisions by hand. A field name must fit one field: its path, or the end of it from a folder
     * on. Their exclusions come on top of segmentation.exclusion, which holds for every field;
     * forms take the place of morphology.by_hand. Thresholds are listed here for the report and set
     * in `segmentation`. */
    const struct kb_by_hand *by_hand;
    size_t by_hands;
    const char *out_folder; /* NULL: write nothing */
    bool pictures;          /* overlays and pictures in the report (only with out_folder) */
    int threads;            /* 0: as many as the machine has */
};
KB_API struct kb_settings kb_settings_default(enum kb_material material, enum kb_contrast contrast);

/* Measure the fields of one specimen; with settings->out_folder also write the report there.
 * `progress` may be NULL. Release the result with kb_result_release(); it is zeroed on failure. */
KB_API KB_NODISCARD enum kb_status kb_measure(const struct kb_settings_field *field, size_t fields,
                                              const struct kb_settings *settings,
                                              const struct kb_progress *progress,
                                              struct kb_result *result, struct kb_err *err);
/* The same for one picture. */
KB_API KB_NODISCARD enum kb_status kb_measure_file(const char *path,
                                                   const struct kb_settings *settings,
                                                   struct kb_result *result, struct kb_err *err);

#ifdef __cplusplus
}
#endif
#endif
