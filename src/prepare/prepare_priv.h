/* prepare_priv.h - what the files of this stage share. prepare.c tells the way through them. */
#ifndef KB_PREPARE_PRIV_H
#define KB_PREPARE_PRIV_H

#include "keelblock/prepare.h"

#define KB_PREPARE_STAGE "prepare"

/* ---- tables made from refs/ at build time ------------------------------------------------------
 */

/* A step of the ladder; words may be "any" or several joined by "+". */
struct kb_prepare_row {
    const char *material, *hardness, *cut, *stage;
    const char *abrasive;
    double grain_um; /* 0: a paper, its grain stands in the FEPA series */
    const char *surface, *lubricant;
    double low_min, high_min, low_n, high_n;
    const char *source, *status;
};
extern const struct kb_prepare_row kb_prepare_rows[];
extern const size_t kb_prepare_row_count;

struct kb_prepare_damage {
    const char *cut;
    double low_um, high_um;
};
extern const struct kb_prepare_damage kb_prepare_damages[];
extern const size_t kb_prepare_damage_count;

struct kb_prepare_class {
    const char *hardness;
    double to_hbw, to_hv; /* 0: no upper end */
};
extern const struct kb_prepare_class kb_prepare_classes[];
extern const size_t kb_prepare_class_count;

struct kb_prepare_bath {
    const char *etchant, *material;
    double percent_low, percent_high, s_low, s_high;
    const char *source, *status;
};
extern const struct kb_prepare_bath kb_prepare_baths[];
extern const size_t kb_prepare_bath_count;

/* ---- prepare_rules.c: what is to be done and minded in each part -------------------------------
 */

/* Fill title, cautions and rules of `part`, whose kind is set. */
void kb_prepare_say(const struct kb_prepare_sheet *sheet, struct kb_prepare_part *part);

/* ---- prepare_faults.c: which step a fault sends back to ----------------------------------------
 */
void kb_prepare_return(struct kb_prepare_sheet *sheet, const struct kb_prepare_seen *seen);
/* Once all faults are there: signs of too weak and too strong an etch together. */
void kb_prepare_settle_etch(struct kb_prepare_sheet *sheet);

#endif
