#include "made_fields.h"

static const double no_number = (double)NAN;

struct kb_field_figures made_field(double graphite, double pearlite, size_t nodules, size_t rated) {
    const double each = 500.0;
    struct kb_field_figures field = {.contrast = KB_LIGHT, .px_um = 1.0, .area_mm2 = 0.5};
    for (int phase = 0; phase < KB_PHASES; phase++) {
        field.fraction[phase] = no_number;
    }
    field.fraction[KB_GRAPHITE] = graphite;
    field.fraction[KB_PEARLITE] = pearlite;
    field.fraction[KB_FERRITE] = 1.0 - graphite - pearlite;
    field.fraction[KB_OTHER] = field.other_of_matrix = (double)NAN; /* not looked for */
    field.pearlite_of_matrix = pearlite / (1.0 - graphite);
    field.graphite_measured = true;
    field.particles[KB_COUNTS] = rated;
    field.rated = rated;
    field.nodules = nodules;
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        field.nodular_um2[method] = each * (double)nodules;
        field.graphite_um2[method] = each * (double)rated;
    }
    field.nodular_framed_um2 = field.nodular_um2[0];
    field.graphite_framed_um2 = field.graphite_um2[0];
    field.graphite_um4 = each * each * (double)rated;
    field.nodules_per_mm2 = (double)nodules / field.area_mm2;
    field.form_um2[KB_FORM_VI] = field.nodular_um2[0];
    field.form_um2[KB_FORM_III] = field.graphite_um2[0] - field.nodular_um2[0];
    field.size_count[6] = rated;
    field.feret_sum_um = 27.0 * (double)rated;
    field.feret_largest_um = rated > 0 ? 44.0 : no_number;
    return field;
}

struct kb_field_figures made_unetched(double graphite, size_t nodules, size_t rated) {
    struct kb_field_figures field = made_field(graphite, 0.0, nodules, rated);
    field.contrast = KB_LIGHT_UNETCHED;
    field.fraction[KB_PEARLITE] = no_number;
    field.fraction[KB_FERRITE] = no_number;
    field.fraction[KB_MATRIX] = 1.0 - graphite;
    field.pearlite_of_matrix = no_number;
    return field;
}

struct kb_field_figures made_steel(double pearlite) {
    struct kb_field_figures field = made_field(0.0, pearlite, 0, 0);
    field.fraction[KB_GRAPHITE] = no_number;
    field.graphite_measured = false;
    return field;
}

void made_scaleless(struct kb_field_figures *field) {
    field->px_um = 0.0;
    field->area_mm2 = no_number;
    field->graphite_measured = false;
    field->nodules_per_mm2 = no_number;
    field->feret_sum_um = no_number;
    field->feret_largest_um = no_number;
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        field->nodular_um2[method] = no_number;
        field->graphite_um2[method] = no_number;
    }
}
