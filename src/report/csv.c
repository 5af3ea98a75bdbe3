/* csv.c - fields.csv and particles.csv after RFC 4180: CRLF line ends, one header row, UTF-8,
 * quotes where a cell holds a comma, a quote or a line break.
 *
 * A figure that was not measured is an empty cell. Text from outside that a spreadsheet would take
 * for a formula (first character = + - @ or a tab) gets an apostrophe before it.
 */
#include "csv_write.h"

/* Micrometres after pixels, so that a file without scale still has the same columns. */
static const double degrees_a_radian = 57.29577951308232; /* 180 / pi */

static void findings_cell(struct kb_csv *row, const struct kb_findings *findings) {
    kb_csv_next(row);
    for (size_t i = 0; i < findings->count; i++) {
        kb_text_add(row->out, i > 0 ? "; " : "");
        kb_text_plain(row->out, findings->item[i].code);
    }
}

void kb_csv_field_header(struct kb_csv *row) {
    kb_csv_next(row);
    kb_text_add(row->out, "field,file,page,sha256,format,width_px,height_px,pixel_size_um,"
                          "pixel_size_source,contrast,area_mm2,threshold_dark,threshold_bright,"
                          "separability,unevenness");
    for (int phase = KB_GRAPHITE; phase < KB_PHASES; phase++) {
        kb_text_format(row->out, ",%s_fraction", kb_phase_name((enum kb_phase)phase));
    }
    kb_text_add(row->out,
                ",pearlite_of_matrix,other_of_matrix,particles_counted,particles_on_frame,"
                "particles_on_exclusion,particles_under_size,particles_no_scale,"
                "nodularity_iso945_4_percent,nodularity_e2567_percent,"
                "nodularity_iso16112_percent,nodules,nodules_per_mm2,largest_feret_um,"
                "findings,pixels_by_hand,forms_by_hand");
}

size_t kb_csv_field_columns(void) {
    struct kb_text header = KB_TEXT_INIT;
    struct kb_csv row = {&header, false};
    kb_csv_field_header(&row);
    size_t columns = 1;
    for (size_t i = 0; i < header.length; i++) {
        columns += header.data[i] == ',' ? 1 : 0;
    }
    kb_text_release(&header);
    return columns;
}

void kb_csv_field(struct kb_csv *row, const struct kb_field_result *field, size_t number) {
    const struct kb_segmentation_figures *grey = &field->segmentation;
    const struct kb_field_figures *figures = &field->figures;
    kb_csv_count(row, number);
    kb_csv_text(row, field->path);
    kb_csv_count(row, field->page);
    kb_csv_text(row, field->sha256);
    kb_csv_text(row, field->format);
    kb_csv_count(row, (size_t)field->width);
    kb_csv_count(row, (size_t)field->height);
    kb_csv_number(row, field->px_um > 0.0 ? field->px_um : KB_NAN);
    kb_csv_text(row, kb_scale_source_name(field->scale_source));
    kb_csv_text(row, kb_contrast_name(field->contrast));
    kb_csv_number(row, figures->area_mm2);
    kb_csv_number(row, grey->thresholds > 0 ? grey->threshold[0] : KB_NAN);
    kb_csv_number(row, grey->thresholds > 1 ? grey->threshold[1] : KB_NAN);
    kb_csv_number(row, grey->separability);
    kb_csv_number(row, grey->unevenness);
    for (int phase = KB_GRAPHITE; phase < KB_PHASES; phase++) {
        kb_csv_number(row, figures->fraction[phase]);
    }
    kb_csv_number(row, figures->pearlite_of_matrix);
    kb_csv_number(row, figures->other_of_matrix);
    bool rated = figures->graphite_measured;
    bool seen = rated || field->particles.count > 0;
    for (int state = 0; state < KB_PARTICLE_STATES; state++) {
        kb_csv_number(row, seen ? (double)figures->particles[state] : KB_NAN);
    }
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        double whole = figures->graphite_um2[method];
        kb_csv_number(row,
                      rated && whole > 0.0 ? 100.0 * figures->nodular_um2[method] / whole : KB_NAN);
    }
    kb_csv_number(row, rated ? (double)figures->nodules : KB_NAN);
    kb_csv_number(row, figures->nodules_per_mm2);
    kb_csv_number(row, rated ? figures->feret_largest_um : KB_NAN);
    findings_cell(row, &field->findings);
    kb_csv_count(row, (size_t)grey->by_hand_px);
    kb_csv_count(row, field->particles.by_hand);
}

static void particles_header(struct kb_csv *row) {
    kb_text_add(row->out, "field,file,particle,state,x_px,y_px,box_x_px,box_y_px,box_width_px,"
                          "box_height_px,area_px2,holes_px2,perimeter_px,feret_max_px,feret_min_px,"
                          "diameter_px,major_px,minor_px,area_um2,holes_um2,perimeter_um,"
                          "feret_max_um,feret_min_um,diameter_um,major_um,minor_um,"
                          "feret_max_angle_deg,feret_min_angle_deg,shape_factor,circularity,"
                          "solidity,aspect,iso945_form,size_class,parted,iso945_form_found,"
                          "form_by_hand,shape_by_hand");
    kb_csv_end_row(row);
}

static void particle_row(struct kb_csv *row, const struct kb_field_result *field, size_t number,
                         const struct kb_particle *p) {
    const double measure[] = {p->area_px2,     p->hole_area_px2, p->perimeter_px, p->feret_max_px,
                              p->feret_min_px, p->diameter_px,   p->major_px,     p->minor_px};
    enum { AREAS = 2 }; /* the first two are areas, the rest lengths */
    double um = field->px_um > 0.0 ? field->px_um : KB_NAN;
    kb_csv_count(row, number);
    kb_csv_text(row, kb_base_name(field->path != NULL ? field->path : ""));
    kb_csv_count(row, p->id);
    kb_csv_text(row, kb_particle_state_name(p->state));
    kb_csv_number(row, p->x_px);
    kb_csv_number(row, p->y_px);
    kb_csv_number(row, p->box.x);
    kb_csv_number(row, p->box.y);
    kb_csv_number(row, p->box.width);
    kb_csv_number(row, p->box.height);
    for (size_t i = 0; i < KB_COUNT_OF(measure); i++) {
        kb_csv_number(row, measure[i]);
    }
    for (size_t i = 0; i < KB_COUNT_OF(measure); i++) {
        kb_csv_number(row, measure[i] * (i < AREAS ? um * um : um));
    }
    kb_csv_number(row, p->feret_max_angle * degrees_a_radian);
    kb_csv_number(row, p->feret_min_angle * degrees_a_radian);
    kb_csv_number(row, p->shape_factor);
    kb_csv_number(row, p->circularity);
    kb_csv_number(row, p->solidity);
    kb_csv_number(row, p->aspect);
    kb_csv_text(row, p->form != KB_FORM_NONE ? kb_form_roman(p->form) : NULL);
    kb_csv_number(row, p->size_class > 0 ? p->size_class : KB_NAN);
    kb_csv_text(row, p->parted ? "yes" : "no");
    kb_csv_text(row, p->form_found != KB_FORM_NONE ? kb_form_roman(p->form_found) : NULL);
    kb_csv_text(row, p->by_hand ? "yes" : "no");
    kb_csv_text(row, p->joined_by_hand ? "joined" : p->cut_by_hand ? "cut" : "no");
    kb_csv_end_row(row);
}

enum kb_status kb_report_fields_csv(const struct kb_result *result, struct kb_text *out,
                                    struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct kb_csv row = {out, false};
    kb_csv_field_header(&row);
    kb_csv_end_row(&row);
    for (size_t i = 0; i < result->fields; i++) {
        kb_csv_field(&row, &result->field[i], i + 1);
        kb_csv_end_row(&row);
    }
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}

enum kb_status kb_report_particles_csv(const struct kb_result *result, struct kb_text *out,
                                       struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct kb_csv row = {out, false};
    particles_header(&row);
    for (size_t i = 0; i < result->fields; i++) {
        const struct kb_field_result *field = &result->field[i];
        for (size_t k = 0; k < field->particles.count && !out->failed; k++) {
            particle_row(&row, field, i + 1, &field->particles.particle[k]);
        }
    }
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
