/* prepare.h - how to grind, polish and etch the specimen at hand.   quality > PREPARE > report
 *
 * A sheet for the bench: from material, hardness, cut and mount to the ladder of abrasives, the
 * look before etching, the etch and its cautions. After a measurement it says which step a fault
 * sends back to. Values are embedded from refs/: preparation.csv, preparation_cuts.csv,
 * preparation_hardness.csv, etchants.csv, fepa_p_series.csv; they are common practice. A sheet
 * replaces neither local rules nor trained staff.
 */
#ifndef KEELBLOCK_PREPARE_H
#define KEELBLOCK_PREPARE_H

#include "keelblock/quality.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- the specimen at hand ----------------------------------------------------------------------
 */

enum kb_hardness { KB_SOFT, KB_MEDIUM, KB_HARD, KB_HARDNESSES };
enum kb_cut {
    KB_CUT_PRECISION,      /* thin wheel, slow, much coolant */
    KB_CUT_ABRASIVE_WHEEL, /* cut-off wheel with coolant */
    KB_CUT_SAW,            /* hack or band saw */
    KB_CUT_AS_BROKEN,      /* broken or sheared, not cut */
    KB_CUT_FLAME,          /* flame, plasma, or a wheel that burnt the face */
    KB_CUTS
};
enum kb_mount { KB_MOUNT_HOT, KB_MOUNT_COLD, KB_MOUNT_NONE, KB_MOUNTS };
enum kb_etchant { KB_NITAL, KB_PICRAL, KB_ETCHANTS };

KB_API const char *kb_hardness_name(enum kb_hardness hardness); /* "soft", "medium", "hard" */
KB_API const char *kb_cut_name(enum kb_cut cut);                /* "abrasive-wheel", ... */
KB_API const char *kb_mount_name(enum kb_mount mount);          /* "hot", "cold", "none" */
KB_API const char *kb_etchant_name(enum kb_etchant etchant);    /* "nital", "picral" */
KB_API KB_NODISCARD bool kb_cut_parse(const char *name, enum kb_cut *cut);
KB_API KB_NODISCARD bool kb_mount_parse(const char *name, enum kb_mount *mount);
KB_API KB_NODISCARD bool kb_etchant_parse(const char *name, enum kb_etchant *etchant);
KB_API KB_NODISCARD bool kb_check_parse(const char *name, enum kb_check *check);
/* A class, or a value: "187 HBW", "187 HB", "210 HV", "210 HV10". `value` is NaN for a class; `by`
 * is static text, "HBW" or "HV". Values of 20 to 1500 are taken. */
KB_API KB_NODISCARD bool kb_hardness_parse(const char *said, enum kb_hardness *hardness,
                                           double *value, const char **by);

struct kb_prepare_params {
    enum kb_material material;
    enum kb_hardness hardness; /* medium */
    double hardness_value;     /* as said; NaN: a class was said, or nothing */
    const char *hardness_by;   /* static text: "HBW", "HV"; NULL with no value */
    enum kb_cut cut;           /* abrasive-wheel */
    enum kb_mount mount;       /* hot */
    enum kb_etchant etchant;   /* nital */
};
KB_API struct kb_prepare_params kb_prepare_params_default(enum kb_material material);

/* ---- what the gate of a measurement found ------------------------------------------------------
 */

/* A check that was not fit, over all fields of a result. */
struct kb_prepare_seen {
    enum kb_check check;
    enum kb_fitness fitness;            /* the worst */
    size_t fields, of;                  /* fields with it, of so many; 0: said by a person */
    bool crossed;                       /* scratches: two sets at a right angle */
    const struct kb_abrasive *abrasive; /* scratches: the paper that may have left them, or NULL */
    bool fine;                          /* scratches: finer than any paper */
    bool electrons;                     /* seen in the SEM */
    char advice[320];                   /* of the measurement; "" none */
};

struct kb_prepare_fault {
    struct kb_prepare_seen seen;
    bool bench;    /* false: microscope or camera; nothing to prepare */
    size_t step;   /* to return to, an index; unused unless `bench` */
    char why[360]; /* why that step, or what to do at the microscope; sentences */
};

/* ---- the sheet ---------------------------------------------------------------------------------
 */

enum kb_prepare_kind {
    KB_PREPARE_CUT,
    KB_PREPARE_MOUNT,
    KB_PREPARE_GRIND,
    KB_PREPARE_POLISH,
    KB_PREPARE_LOOK,
    KB_PREPARE_ETCH,
    KB_PREPARE_DRY,
    KB_PREPARE_KINDS
};
KB_API const char *kb_prepare_kind_name(enum kb_prepare_kind kind); /* "cut", "mount", ... */

/* One thing to do and to tick; its number is its index plus one. Grinding and polishing have a step
 * for each abrasive, every other part has one. */
struct kb_prepare_step {
    enum kb_prepare_kind kind;
    const char *abrasive;             /* "P320", "3 µm diamond", "nital"; NULL: none */
    double grain_um;                  /* mean size; NaN: none */
    const char *surface, *lubricant;  /* "silicon carbide paper", "water"; NULL: none */
    double low_min, high_min;         /* time, minutes; NaN: none */
    double low_n, high_n;             /* load on a specimen 30 mm across, newton; NaN: none */
    double low_percent, high_percent; /* strength of an etchant; NaN: none */
    const char *source, *status;      /* of the values; NULL where there are none */
};

#define KB_PREPARE_STEPS 24
#define KB_PREPARE_LINES 12
struct kb_prepare_part {
    enum kb_prepare_kind kind;
    const char *title;
    char caution[KB_PREPARE_LINES][320]; /* read before anything is done */
    size_t cautions;
    char rule[KB_PREPARE_LINES][320]; /* what holds for all its steps */
    size_t rules;
    size_t first, steps; /* indices into the steps of the sheet */
};

struct kb_prepare_sheet {
    struct kb_prepare_params params;
    double damage_low_um, damage_high_um; /* depth that the cut has disturbed */
    struct kb_prepare_step step[KB_PREPARE_STEPS];
    size_t steps;
    struct kb_prepare_part part[KB_PREPARE_KINDS];
    size_t parts;
    bool after; /* made for a specimen that was measured */
    struct kb_prepare_fault fault[KB_CHECKS];
    size_t faults;
    size_t begin; /* step to begin with; `steps`: nothing to prepare */
};

/* Plan the sheet. `seen` (`count` entries, at most one a check) makes it one for a specimen that
 * was measured: it then begins with the earliest step that a fault sends back to. NULL: from the
 * cut on. KB_E_USAGE for a value outside its enumeration. */
KB_API KB_NODISCARD enum kb_status kb_prepare_plan(const struct kb_prepare_params *params,
                                                   const struct kb_prepare_seen *seen, size_t count,
                                                   struct kb_prepare_sheet *sheet,
                                                   struct kb_err *err);

#ifdef __cplusplus
}
#endif
#endif
