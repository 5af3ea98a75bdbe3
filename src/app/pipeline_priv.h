/* pipeline_priv.h - the plan of one measurement: which files, under which settings, to which
 * folder. Keeps the bookkeeping out of pipeline.c. */
#ifndef KB_PIPELINE_PRIV_H
#define KB_PIPELINE_PRIV_H

#include "keelblock/keelblock.h"

struct kb_plan {
    const struct kb_settings *settings;
    char **path;                     /* count pictures, in the order of the result */
    struct kb_settings_field *named; /* what was said of each; its path is not used */
    size_t count;
    struct kb_field blank; /* zeroed when there is none */
    struct kb_report_folder folder_here;
    struct kb_report_folder *folder; /* NULL: nothing is written */
    bool small_pictures;             /* those for a page are wanted all the same */
    bool kept_open; /* the field will be looked at: outlines and the evened picture are kept */
    struct kb_by_hand *hand; /* the result's decisions by hand, each with its field */
    size_t hands;
    struct kb_explained *explained; /* the result's points that were asked about */
    size_t explaineds;
    struct kb_moved *moved; /* of each field, thresholds moved down and up; NULL: not asked for */
};

/* Check the settings, expand folders and patterns. Release also on failure. */
enum kb_status kb_plan_make(const struct kb_settings_field *field, size_t fields,
                            struct kb_plan *plan, struct kb_err *err);
/* Its parts: the settings; the pictures of one name, folder or pattern. */
enum kb_status kb_plan_check(const struct kb_plan *plan, struct kb_err *err);
enum kb_status kb_plan_add(struct kb_plan *plan, const struct kb_settings_field *field,
                           struct kb_err *err);
void kb_plan_release(struct kb_plan *plan);
/* `path` NULL: none, and nothing is done. */
enum kb_status kb_plan_read_blank(const char *path, struct kb_field *blank, struct kb_err *err);
/* Open the output folder, copy what identifies the run into `result`, make its field slots. */
enum kb_status kb_plan_begin(struct kb_plan *plan, struct kb_result *result, struct kb_err *err);

/* Decisions by hand about one field, as its stages take them. */
struct kb_way_hands {
    struct kb_phase_by_hand *phase;
    size_t phases;
    struct kb_form_by_hand *form;
    size_t forms;
    struct kb_shape_by_hand *shape;
    size_t shapes;
    struct kb_polygon *outline;
    size_t outlines;
    struct kb_rect *exclusion;
    size_t exclusions;
};

struct kb_moved;

/* What lives only while one field is being measured, and where its figures go. */
struct kb_field_way {
    size_t index;
    struct kb_field_result *out;
    struct kb_field field;
    struct kb_way_hands hands;
    struct kb_place *asked; /* points of this field to be explained */
    size_t asked_count;
    struct kb_first_look look;
    enum kb_contrast contrast; /* as stated, or as found */
    struct kb_phase_map map;
    struct kb_quality quality;
    struct kb_picture overlay;
    struct kb_moved *moved; /* where figures with moved thresholds go; NULL: not asked for */
};
/* All steps of a field, with the time of each. Release the way also on failure. */
enum kb_way_step {
    KB_STEP_READ,
    KB_STEP_LOOK,
    KB_STEP_SEGMENT,
    KB_STEP_CHECK,
    KB_STEP_CORRECT, /* from here on decisions by hand about phases, shapes and forms matter */
    KB_WAY_STEPS = 11
};
enum kb_status kb_way_go(const struct kb_plan *plan, struct kb_field_way *way,
                         double seconds[KB_WAY_STEPS], struct kb_err *err);
/* The steps from `first` until before `end`; the way holds what those before have made. */
enum kb_status kb_way_steps(const struct kb_plan *plan, struct kb_field_way *way,
                            enum kb_way_step first, int end, double seconds[KB_WAY_STEPS],
                            struct kb_err *err);
void kb_way_release(struct kb_field_way *way);

/* The first look, and the contrast settled: KB_E_USAGE with the beliefs when it cannot be told. */
enum kb_status kb_way_look(const struct kb_plan *plan, struct kb_field_way *way,
                           struct kb_err *err);
/* by_hand_way.c: decisions by hand into the result, each with the field it names; findings about
 * reasons, names and what was without effect. */
enum kb_status kb_plan_hands(struct kb_plan *plan, struct kb_result *result, struct kb_err *err);
/* Of a line by hand whose length is known. */
double kb_hand_length_px(const struct kb_by_hand *hand);
/* by_hand_field.c: those about one field to its stages, and back what came of them. Exclusions must
 * lie within the picture. */
struct kb_intake_params kb_way_intake(const struct kb_plan *plan, const struct kb_field_way *way);
void kb_way_thresholds(const struct kb_plan *plan, const struct kb_field_way *way,
                       struct kb_segmentation_params *params);
enum kb_status kb_way_check_hands(const struct kb_field_way *way, struct kb_err *err);
enum kb_status kb_way_gather_hands(const struct kb_plan *plan, struct kb_field_way *way,
                                   struct kb_err *err);
void kb_way_note_hands(const struct kb_plan *plan, const struct kb_field_way *way);
void kb_way_release_hands(struct kb_field_way *way);
enum kb_status kb_plan_tell_hands(const struct kb_plan *plan, struct kb_result *result,
                                  struct kb_err *err);

/* The field that a name fits, 1-based; 0 without a name. `what` names it so, for the error. */
enum kb_status kb_plan_find_field(const struct kb_plan *plan, const char *said, const char *what,
                                  size_t *field, struct kb_err *err);

/* why_way.c: points that were asked about into the result, each with its field; those of one field
 * to its stages; and what became of them, with pictures. */
enum kb_status kb_plan_asked(struct kb_plan *plan, struct kb_result *result, struct kb_err *err);
enum kb_status kb_way_gather_asked(const struct kb_plan *plan, struct kb_field_way *way,
                                   struct kb_err *err);
enum kb_status kb_way_explain(const struct kb_plan *plan, struct kb_field_way *way,
                              struct kb_err *err);

/* What the stages are told of one field. */
struct kb_segmentation_params kb_way_segmentation(const struct kb_plan *plan,
                                                  const struct kb_field_way *way);
struct kb_morphology_params kb_way_morphology(const struct kb_plan *plan,
                                              const struct kb_field_way *way);

/* moved_way.c: a field measured again with its thresholds moved, and what that and the pixel size
 * add to the uncertainty of the specimen. */
struct kb_moved {
    struct kb_field_figures lower, higher;
    bool known; /* false: it could not be measured so, or not the same was told apart */
};
enum kb_status kb_plan_make_moved(struct kb_plan *plan, struct kb_err *err);
enum kb_status kb_way_move(const struct kb_plan *plan, struct kb_field_way *way,
                           struct kb_err *err);
enum kb_status kb_plan_combine(const struct kb_plan *plan, struct kb_result *result,
                               struct kb_err *err);

/* Exclusions must lie within the picture, the blank field must have its size; then segment. */
enum kb_status kb_way_segment(const struct kb_plan *plan, struct kb_field_way *way,
                              struct kb_err *err);
/* The look at preparation: KB_E_UNFIT with advice when it fails, unless that is accepted. */
enum kb_status kb_way_check(const struct kb_plan *plan, struct kb_field_way *way,
                            struct kb_err *err);
/* The one check of them that needs the particles. */
void kb_way_check_touching(const struct kb_plan *plan, struct kb_field_way *way);
/* The particles that may be counted; NULL for none: steel, or nodules that run together too often
 * to be told apart. The phases of such a field are measured all the same. */
const struct kb_particles *kb_way_counted(const struct kb_plan *plan,
                                          const struct kb_field_way *way);
/* Phases set by hand, when the preparation has been judged by what was found. */
enum kb_status kb_way_correct(const struct kb_plan *plan, struct kb_field_way *way,
                              struct kb_err *err);
/* "overlay-03-name.png" into the folder; remembers the name. */
enum kb_status kb_way_write_overlay(const struct kb_plan *plan, struct kb_field_way *way,
                                    struct kb_err *err);
/* What is known of the field into the result; findings of all stages in their order. */
enum kb_status kb_way_settle(const struct kb_plan *plan, struct kb_field_way *way,
                             struct kb_err *err);
/* Name the file in an error of a stage that does not know file names. */
enum kb_status kb_way_blame(const struct kb_plan *plan, const struct kb_field_way *way,
                            enum kb_status status, struct kb_err *err);
enum kb_status kb_plan_pass_on(const struct kb_err *from, struct kb_err *to);
/* Local time as ISO 8601 with offset: "2031-05-04T14:03:09+02:00"; "" where there is none. */
void kb_plan_stamp(char text[32]);
int kb_plan_threads(const struct kb_plan *plan);
/* What was measured elsewhere into the specimen. */
void kb_plan_give(const struct kb_plan *plan, struct kb_specimen *specimen);
/* From the figures of all fields to the specimen, carbon, verdict, and findings about hands. */
enum kb_status kb_plan_conclude(const struct kb_plan *plan, struct kb_result *result,
                                struct kb_err *err);
/* Figures of all fields side by side, in new memory; NULL when out of memory. */
struct kb_field_figures *kb_plan_figures(const struct kb_result *result);

#endif
