/* request.h - what the person asked for: one table of options, read from the command line and from
 * job files alike, resolved into settings with a record of where each came from. */
#ifndef KB_REQUEST_H
#define KB_REQUEST_H

#include "keelblock/keelblock.h"
#include "keelblock/review.h"

enum kb_command {
    KB_MEASURE = 1,
    KB_CARBON_RULE = 2,
    KB_RENDER = 4,
    KB_SURVEY = 8,
    KB_PROVE = 16,
    KB_BATCH = 32,
    KB_HISTORY = 64,
    KB_PREPARE = 128,
    KB_REVIEW = 256,
};

/* Where a value was said. */
enum kb_origin { KB_FROM_DEFAULT, KB_FROM_JOB, KB_FROM_MANIFEST, KB_FROM_LINE };

/* One "name = value" as said, before it is understood. */
struct kb_assignment {
    const struct kb_option *option;
    char *value; /* owned */
    enum kb_origin origin;
    char where[256]; /* "--pixel-size" or "part.ini:12" for error lines */
    char key[40];    /* for options that take any of several keys (chemistry, limits) */
};

/* A contrast as said: none, one of the words, or auto. */
struct kb_said_contrast {
    bool said, find;
    enum kb_contrast contrast;
};

struct kb_named_field {
    char *path; /* owned */
    struct kb_said_contrast contrast;
    enum kb_origin origin;
};

/* Values of `keelblock carbon`, NaN when not said. */
struct kb_carbon_question {
    double graphite; /* fraction of the whole by area */
    double pearlite; /* fraction of the matrix by area */
    double carbon;   /* mass % */
};

/* A half-width of the 95 % interval as wished of `keelblock survey`. */
struct kb_want {
    enum kb_quantity quantity;
    double percent; /* points of a percentage; per cent of the value for a count or a length */
};
#define KB_WANTS_MAX 16

/* What was said of charts and stretches to `keelblock history`. */
struct kb_chart_question {
    bool quantity[KB_QUANTITIES], chosen; /* some quantity was named */
    unsigned rules;                       /* 0: not said */
    size_t one_side;                      /* 0: not said */
    int64_t baseline;                     /* castings; 0: not said */
    char from[32], to[32];                /* days of the baseline; "" not said */
    char since[32];                       /* where a stretch begins; "" not said */
    char *reason;                         /* why; a view, NULL: not said */
    bool superseded;                      /* list those too */
};

struct kb_request {
    enum kb_command command;
    struct kb_settings settings;
    struct kb_render_params render;
    struct kb_carbon_question question;
    bool material_said;
    struct kb_said_contrast contrast; /* the last one said */
    int64_t page, min_fields, min_particles, threads, render_fields, seed;
    int64_t render_width, render_height;
    struct kb_want want[KB_WANTS_MAX];
    size_t wants;
    bool json, quiet, timing, help, version;
    bool no_browser, verify;          /* of a review */
    bool quick;                       /* prove with fewer specimens */
    struct kb_prepare_params prepare; /* its material is settled last */
    bool hardness_said;
    char *after_path; /* of a result; a view, NULL: none */
    unsigned faults;  /* that a person says were seen: bits by enum kb_check */
    bool dry_run, merge;
    int part, parts; /* 0: not said */
    bool no_pictures, keep_light, keep_touching, whole_frame;
    char *grade;       /* of the casting; a view, NULL: not stated */
    double section_um; /* its section thickness; 0: not stated */
    struct kb_chart_question chart;
    char *limits_path, *job_path;  /* views into assignments */
    char *history_path;            /* the same; NULL: none */
    enum kb_origin statement_from; /* where the statement of a certificate was said */
    char *threshold_reason;        /* the same; NULL: none */

    struct kb_assignment *assignment;
    size_t assignments, assignments_capacity;
    struct kb_named_field *field;
    size_t fields, fields_capacity;
    struct kb_limit *limit;
    size_t limits, limits_capacity;
    struct kb_by_hand *hand; /* its strings are kept */
    size_t hands, hands_capacity;
    struct kb_record *review;    /* of which decisions are views; NULL: none */
    struct kb_reviewed reviewed; /* views into it */
    struct kb_asked *asked;      /* its strings are kept */
    size_t asked_count, asked_capacity;
    struct kb_setting_record *record;
    size_t records, records_capacity;
    void **kept; /* strings and points that views point into */
    size_t kept_count, kept_capacity;
};

/* ---- the table (options.c) ---------------------------------------------------------------------
 */

enum kb_option_kind {
    KB_OPT_FLAG,     /* bool; in a job file yes or no */
    KB_OPT_TEXT,     /* const char * */
    KB_OPT_LENGTH,   /* double, um; the unit must be said */
    KB_OPT_FRACTION, /* double, 0..1; "41 %" or "0.41" */
    KB_OPT_POINTS,   /* double; "5 %" or "5" percentage points */
    KB_OPT_PERCENT,  /* double, mass %; "0.76 %" or "0.76" */
    KB_OPT_NUMBER,   /* double */
    KB_OPT_INTEGER,  /* int64_t */
    KB_OPT_OWN,      /* set by `own` */
};

struct kb_option {
    const char *name;    /* "pixel-size"; the job-file key is the same with '_' for '-' */
    char letter;         /* 'o' for -o, or 0 */
    const char *section; /* of the job file; NULL: command line only */
    const char *value;   /* what stands for the value in help: "LENGTH"; NULL for a flag */
    const char *help;    /* one sentence */
    unsigned commands;   /* enum kb_command bits that take it */
    enum kb_option_kind kind;
    size_t offset;    /* of the target in struct kb_request */
    double low, high; /* inclusive, in the target's unit */
    enum kb_status (*own)(struct kb_request *request, const struct kb_assignment *from,
                          struct kb_err *err);
    bool repeats; /* each time adds; else the last one said wins */
};

extern const struct kb_option kb_options[];
extern const size_t kb_option_count;

const struct kb_option *kb_option_by_name(const char *name, enum kb_command command);
const struct kb_option *kb_option_by_letter(char letter, enum kb_command command);
/* Job-file lookup: by section and key; sections "chemistry", "given", "limits" and "fields" take
 * any key. */
const struct kb_option *kb_option_by_key(const char *section, const char *key);
/* The default as text ("10um"), or "" where there is none worth showing. */
void kb_option_default(const struct kb_option *option, char *text, size_t size);
/* "pixel-size" to "pixel_size" and back, into `to`. */
void kb_option_key(const char *name, char *to, size_t size);

/* ---- reading (collect.c, apply.c) --------------------------------------------------------------
 */

void kb_request_init(struct kb_request *request, enum kb_command command);
void kb_request_release(struct kb_request *request);
/* Take in the words behind the command. */
KB_NODISCARD enum kb_status kb_request_line(struct kb_request *request, int argc, char *const *argv,
                                            struct kb_err *err);
/* Understand everything that was said: job file first, the command line over it. */
KB_NODISCARD enum kb_status kb_request_resolve(struct kb_request *request, struct kb_err *err);
KB_NODISCARD enum kb_status kb_request_assign(struct kb_request *request,
                                              const struct kb_option *option, const char *value,
                                              enum kb_origin origin, const char *where,
                                              const char *key, struct kb_err *err);
KB_NODISCARD enum kb_status kb_request_name_field(struct kb_request *request, const char *path,
                                                  struct kb_said_contrast contrast,
                                                  enum kb_origin origin, struct kb_err *err);
/* "light", ... or "auto"; false for anything else. */
KB_NODISCARD bool kb_said_contrast_parse(const char *word, struct kb_said_contrast *contrast);
/* Grade and section thickness as far as they have been said. */
KB_NODISCARD enum kb_status kb_request_place(struct kb_request *request, struct kb_err *err);
KB_NODISCARD enum kb_status kb_request_job(struct kb_request *request, const char *path,
                                           bool limits_only, struct kb_err *err);
KB_NODISCARD enum kb_status kb_apply(struct kb_request *request, const struct kb_assignment *from,
                                     struct kb_err *err);
/* The last assignment of an option, the command line winning over the job file; NULL: not said. */
const struct kb_assignment *kb_request_said(const struct kb_request *request,
                                            const struct kb_option *option);
/* "default", "job file", "manifest", "command line" */
const char *kb_origin_name(enum kb_origin origin);
/* List thresholds fixed by hand among the decisions by hand (own_by_hand.c). */
KB_NODISCARD enum kb_status kb_request_thresholds(struct kb_request *request, struct kb_err *err);
/* Keep a string until the request is released; NULL when out of memory. */
KB_NODISCARD char *kb_request_keep(struct kb_request *request, const char *string);
KB_NODISCARD void *kb_request_keep_bytes(struct kb_request *request, size_t size); /* so many */

/* Setters of the options that are more than one value (own.c). */
enum kb_status kb_own_material(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err);
enum kb_status kb_own_contrast(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err);
enum kb_status kb_own_proeutectoid(struct kb_request *request, const struct kb_assignment *from,
                                   struct kb_err *err);
/* own_pixel_size.c */
enum kb_status kb_own_pixel_size(struct kb_request *request, const struct kb_assignment *from,
                                 struct kb_err *err);
enum kb_status kb_own_scale_bar(struct kb_request *request, const struct kb_assignment *from,
                                struct kb_err *err);
enum kb_status kb_own_scale_uncertainty(struct kb_request *request,
                                        const struct kb_assignment *from, struct kb_err *err);
enum kb_status kb_own_exclude(struct kb_request *request, const struct kb_assignment *from,
                              struct kb_err *err);
enum kb_status kb_own_set_phase(struct kb_request *request, const struct kb_assignment *from,
                                struct kb_err *err);
enum kb_status kb_own_set_form(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err);
enum kb_status kb_own_why(struct kb_request *request, const struct kb_assignment *from,
                          struct kb_err *err);
/* own_drawn.c */
enum kb_status kb_own_stroke(struct kb_request *request, const struct kb_assignment *from,
                             struct kb_err *err);
enum kb_status kb_own_join(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err);
enum kb_status kb_own_scale_line(struct kb_request *request, const struct kb_assignment *from,
                                 struct kb_err *err);
enum kb_status kb_own_field_threshold(struct kb_request *request, const struct kb_assignment *from,
                                      struct kb_err *err);
enum kb_status kb_own_chemistry(struct kb_request *request, const struct kb_assignment *from,
                                struct kb_err *err);
/* own_record.c */
enum kb_status kb_own_record(struct kb_request *request, const struct kb_assignment *from,
                             struct kb_err *err);
/* The changes in force on a record as decisions by hand of the request, which takes it over. */
KB_NODISCARD enum kb_status kb_request_take_record(struct kb_request *request,
                                                   struct kb_record *record, struct kb_err *err);
/* own_given.c */
enum kb_status kb_own_given(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err);
enum kb_status kb_own_limit(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err);
enum kb_status kb_own_constants(struct kb_request *request, const struct kb_assignment *from,
                                struct kb_err *err);
enum kb_status kb_own_paper(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err);
enum kb_status kb_own_locale(struct kb_request *request, const struct kb_assignment *from,
                             struct kb_err *err);
enum kb_status kb_own_wording(struct kb_request *request, const struct kb_assignment *from,
                              struct kb_err *err);
enum kb_status kb_own_batch_rule(struct kb_request *request, const struct kb_assignment *from,
                                 struct kb_err *err);
enum kb_status kb_own_rule(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err);
enum kb_status kb_own_want(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err);
enum kb_status kb_own_part(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err);
/* own_history.c */
enum kb_status kb_own_cast_on(struct kb_request *request, const struct kb_assignment *from,
                              struct kb_err *err);
enum kb_status kb_own_quantity(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err);
enum kb_status kb_own_rules(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err);
enum kb_status kb_own_baseline(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err);
enum kb_status kb_own_stretch_from(struct kb_request *request, const struct kb_assignment *from,
                                   struct kb_err *err);
enum kb_status kb_own_look(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err);
enum kb_status kb_own_distribution(struct kb_request *request, const struct kb_assignment *from,
                                   struct kb_err *err);
enum kb_status kb_own_graphite(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err);
enum kb_status kb_own_size(struct kb_request *request, const struct kb_assignment *from,
                           struct kb_err *err);

/* own_prepare.c */
enum kb_status kb_own_hardness(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err);
enum kb_status kb_own_cut(struct kb_request *request, const struct kb_assignment *from,
                          struct kb_err *err);
enum kb_status kb_own_mount(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err);
enum kb_status kb_own_etchant(struct kb_request *request, const struct kb_assignment *from,
                              struct kb_err *err);
enum kb_status kb_own_fault(struct kb_request *request, const struct kb_assignment *from,
                            struct kb_err *err);

/* own_pixel_size.c: "512±8 MPa (k=1)" in place to what stands before the sign and behind it (NULL:
 * no sign), and the coverage factor, 2 where none is said. False for a factor that makes no sense.
 */
bool kb_split_uncertainty(char *text, char **behind, double *factor);

/* Fail with what was said and what would be right. */
enum kb_status kb_refuse(const struct kb_assignment *from, struct kb_err *err, const char *right);

/* ---- commands ----------------------------------------------------------------------------------
 */

int kb_command_measure(struct kb_request *request);
int kb_command_carbon(struct kb_request *request);
int kb_command_render(struct kb_request *request);
int kb_command_survey(struct kb_request *request);
int kb_command_prove(struct kb_request *request);
int kb_command_batch(struct kb_request *request);
int kb_command_history(struct kb_request *request);
int kb_command_prepare(struct kb_request *request);
int kb_command_review(struct kb_request *request);

/* Words for people: to stdout. False when it could not be written. */
bool kb_print_help(enum kb_command command);
bool kb_print_overview(void);
/* Error line to stderr; the exit code for it. */
int kb_complain(const struct kb_err *err);
int kb_exit_code(enum kb_status status);

struct kb_command_words {
    enum kb_command command;
    const char *name, *usage, *summary;
    const char *more; /* a paragraph for --help and the manual */
};
/* Call `line` with name and text of each set of carbon constants, for help and manual. */
void kb_tell_carbon_sets(void (*line)(const char *name, const char *text));
extern const struct kb_command_words kb_commands[];
extern const size_t kb_command_count;

#endif
