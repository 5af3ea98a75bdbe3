/* made_fields.h - figures of fields made by hand. */
#ifndef KB_TEST_MADE_FIELDS_H
#define KB_TEST_MADE_FIELDS_H

#include "keelblock/specimen.h"

/* Etched field of an iron: 0.5 mm2, 1 um a pixel, `rated` particles of 500 um2 of which `nodules`
 * are nodules (form VI, the rest form III). */
struct kb_field_figures made_field(double graphite, double pearlite, size_t nodules, size_t rated);
/* The same, unetched. */
struct kb_field_figures made_unetched(double graphite, size_t nodules, size_t rated);
/* Steel, etched. */
struct kb_field_figures made_steel(double pearlite);
/* Take the scale away. */
void made_scaleless(struct kb_field_figures *field);

#endif
