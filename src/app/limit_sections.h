/* limit_sections.h - which sections of limits hold for a specimen. */
#ifndef KB_LIMIT_SECTIONS_H
#define KB_LIMIT_SECTIONS_H

#include "keelblock/intake.h"

/* Where a section of limits holds. */
struct kb_limit_place {
    bool by_grade, by_thickness;
    char grade[50];
    double above_mm, upto_mm; /* thickness: above the one, up to the other */
};

/* "limits", and "limits ..." */
bool kb_is_limit_section(const char *section);
/* KB_E_USAGE, naming `where`, for what is neither grade nor thickness. */
KB_NODISCARD enum kb_status kb_limit_place_parse(const char *section, const char *where,
                                                 struct kb_limit_place *place, struct kb_err *err);
/* `grade` NULL, `section_mm` NaN: not stated, fits only where it does not matter. */
bool kb_limit_place_fits(const struct kb_limit_place *place, const char *grade, double section_mm);
/* 0 general to 3: grade and thickness. */
int kb_limit_place_rank(const struct kb_limit_place *place);
/* KB_E_USAGE when the file tells grades apart and has none for this specimen, or limits a quantity
 * for other thicknesses only. */
KB_NODISCARD enum kb_status kb_limit_places_check(const struct kb_job *job, const char *grade,
                                                  double section_mm, struct kb_err *err);

#endif
