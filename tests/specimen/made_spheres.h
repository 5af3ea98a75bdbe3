/* made_spheres.h - fields that cut spheres thrown at random in space, as figures without pixels. */
#ifndef KB_TEST_MADE_SPHERES_H
#define KB_TEST_MADE_SPHERES_H

#include "seeded.h"

#include "keelblock/specimen.h"

#define SPHERES_FIELDS_MOST 40
#define SPHERES_SECTIONS_MOST 4000

/* What is thrown: `per_mm3` spheres, of `diameter` um each, or of `diameter` and `second` with the
 * share `second_share` by number, or log-normal with median `diameter` and `spread` of ln D. */
struct made_law {
    double per_mm3, diameter, second, second_share, spread;
};

struct made_spheres {
    struct kb_field_figures field[SPHERES_FIELDS_MOST];
    struct kb_particle *particle; /* all fields, one after the other */
    size_t fields;
};

/* Mean diameter of the law, um. */
double made_law_mean(const struct made_law *law);
/* Mean diameter and number a mm3 of the spheres of `least` um and more, by numerical integration.
 */
void made_law_above(const struct made_law *law, double least, double *per_mm3, double *mean);
/* `fields` fields of `area_mm2`, sections below `least_um` marked as under size. */
void made_spheres_cut(const struct made_law *law, size_t fields, double area_mm2, double least_um,
                      struct random *random, struct made_spheres *made);
void made_spheres_release(struct made_spheres *made);

#endif
