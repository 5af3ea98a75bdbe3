/* csv.c - fields.csv and particles.csv after RFC 4180: CRLF line ends, one header row, UTF-8,
 * quotes where a cell holds a comma, a quote or a line break.
 *
 * A figure that was not measured is an empty cell. Text from outside that a spreadsheet would take
 * for a formula (first character = + - @ or a tab) gets an apostrophe before it.
 */
#include "report_priv.h"

#include <string.h>

enum { CSV_DIGITS = 6 };
/* Micrometres after pixels, so that a file without scale still has the same columns. */
static const double degrees_a_radian = 57.29577951308232; /* 180 / pi */

struct row {
    struct kb_text *out;
    bool some;
};

static void separate(struct row *row) {
    if (row->some) {
        kb_text_add(row->out, ",");
    }
    row->some = true;
}

static void end_row(struct row *row) {
    kb_text_add(row->out, "\r\n");
    row->some = false;
}

static void text_cell(struct row *row, const char *string) {
    separate(row);
    if (string == NULL) {
        return;
    }
    bool formula = string[0] != '\0' && strchr("=+-@\t\r", string[0]) != NULL;
    bool quote = formula || strpbrk(string, ",\"\r\n") != NULL;
    kb_text_add(row->out, quote ? "\"" : "");
    kb_text_add(row->out, formula ? "'" : "");
    uint32_t code = 0;
    while (kb_text_next(&string, &code)) {
        if (code == '"') {
            kb_text_add(row->out, "\"");
        }
        kb_text_put(row->out, code);
    }
    kb_text_add(row->out, quote ? "\"" : "");
}

static void number_cell(struct row *row, double value) {
    separate(row);
    if (isfinite(value)) {
        kb_text_significant(row->out, value, CSV_DIGITS);
    }
}

static void count_cell(struct row *row, size_t value) {
    separate(row);
    kb_text_format(row->out, "%zu", value);
}

static void findings_cell(struct row *row, const struct kb_findings *findings) {
    separate(row);
    for (size_t i = 0; i < findings->count; i++) {
        kb_text_add(row->out, i > 0 ? "; " : "");
        kb_text_plain(row->out, findings->item[i].code);
    }
}

static void fields_header(struct row *row) {
    kb_text_add(row->out, "field,file,page,sha256,format,width_px,height_px,pixel_size_um,"
                          "pixel_size_source,contrast,area_mm2,threshold_dark,threshold_bright,"
                          "separability,unevenness");
    for (int phase = KB_GRAPHITE; phase < KB_PHASES; phase++) {
        kb_text_format(row->out, ",%s_fraction", kb_phase_name((enum kb_phase)phase));
    }
    kb_text_add(row->out, ",pearlite_of_matrix,particles_counted,particles_on_frame,"
                          "particles_on_exclusion,particles_under_size,particles_no_scale,"
                          "nodularity_iso945_4_percent,nodularity_e2567_percent,"
                          "nodularity_iso16112_percent,nodules,nodules_per_mm2,largest_feret_um,"
                          "findings,pixels_by_hand,forms_by_hand");
    end_row(row);
}

static void field_row(struct row *row, const struct kb_field_result *field, size_t number) {
    const struct kb_segmentation_figures *grey = &field->segmentation;
    const struct kb_field_figures *figures = &field->figures;
    count_cell(row, number);
    text_cell(row, field->path);
    count_cell(row, field->page);
    text_cell(row, field->sha256);
    text_cell(row, field->format);
    count_cell(row, (size_t)field->width);
    count_cell(row, (size_t)field->height);
    number_cell(row, field->px_um > 0.0 ? field->px_um : KB_NAN);
    text_cell(row, kb_scale_source_name(field->scale_source));
    text_cell(row, kb_contrast_name(field->contrast));
    number_cell(row, figures->area_mm2);
    number_cell(row, grey->thresholds > 0 ? grey->threshold[0] : KB_NAN);
    number_cell(row, grey->thresholds > 1 ? grey->threshold[1] : KB_NAN);
    number_cell(row, grey->separability);
    number_cell(row, grey->unevenness);
    for (int phase = KB_GRAPHITE; phase < KB_PHASES; phase++) {
        bool unseen = phase == KB_OTHER && !(figures->fraction[phase] > 0.0); /* only by hand */
        number_cell(row, unseen ? KB_NAN : figures->fraction[phase]);
    }
    number_cell(row, figures->pearlite_of_matrix);
    bool rated = figures->graphite_measured;
    bool seen = rated || field->particles.count > 0;
    for (int state = 0; state < KB_PARTICLE_STATES; state++) {
        number_cell(row, seen ? (double)figures->particles[state] : KB_NAN);
    }
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        double whole = figures->graphite_um2[method];
        number_cell(row,
                    rated && whole > 0.0 ? 100.0 * figures->nodular_um2[method] / whole : KB_NAN);
    }
    number_cell(row, rated ? (double)figures->nodules : KB_NAN);
    number_cell(row, figures->nodules_per_mm2);
    number_cell(row, rated ? figures->feret_largest_um : KB_NAN);
    findings_cell(row, &field->findings);
    count_cell(row, (size_t)grey->by_hand_px);
    count_cell(row, field->particles.by_hand);
    end_row(row);
}

static void particles_header(struct row *row) {
    kb_text_add(row->out, "field,file,particle,state,x_px,y_px,box_x_px,box_y_px,box_width_px,"
                          "box_height_px,area_px2,holes_px2,perimeter_px,feret_max_px,feret_min_px,"
                          "diameter_px,major_px,minor_px,area_um2,holes_um2,perimeter_um,"
                          "feret_max_um,feret_min_um,diameter_um,major_um,minor_um,"
                          "feret_max_angle_deg,feret_min_angle_deg,shape_factor,circularity,"
                          "solidity,aspect,iso945_form,size_class,parted,iso945_form_found,"
                          "form_by_hand");
    end_row(row);
}

static void particle_row(struct row *row, const struct kb_field_result *field, size_t number,
                         const struct kb_particle *p) {
    const double measure[] = {p->area_px2,     p->hole_area_px2, p->perimeter_px, p->feret_max_px,
                              p->feret_min_px, p->diameter_px,   p->major_px,     p->minor_px};
    enum { AREAS = 2 }; /* the first two are areas, the rest lengths */
    double um = field->px_um > 0.0 ? field->px_um : KB_NAN;
    count_cell(row, number);
    text_cell(row, kb_base_name(field->path != NULL ? field->path : ""));
    count_cell(row, p->id);
    text_cell(row, kb_particle_state_name(p->state));
    number_cell(row, p->x_px);
    number_cell(row, p->y_px);
    number_cell(row, p->box.x);
    number_cell(row, p->box.y);
    number_cell(row, p->box.width);
    number_cell(row, p->box.height);
    for (size_t i = 0; i < KB_COUNT_OF(measure); i++) {
        number_cell(row, measure[i]);
    }
    for (size_t i = 0; i < KB_COUNT_OF(measure); i++) {
        number_cell(row, measure[i] * (i < AREAS ? um * um : um));
    }
    number_cell(row, p->feret_max_angle * degrees_a_radian);
    number_cell(row, p->feret_min_angle * degrees_a_radian);
    number_cell(row, p->shape_factor);
    number_cell(row, p->circularity);
    number_cell(row, p->solidity);
    number_cell(row, p->aspect);
    text_cell(row, p->form != KB_FORM_NONE ? kb_form_roman(p->form) : NULL);
    number_cell(row, p->size_class > 0 ? p->size_class : KB_NAN);
    text_cell(row, p->parted ? "yes" : "no");
    text_cell(row, p->form_found != KB_FORM_NONE ? kb_form_roman(p->form_found) : NULL);
    text_cell(row, p->by_hand ? "yes" : "no");
    end_row(row);
}

enum kb_status kb_report_fields_csv(const struct kb_result *result, struct kb_text *out,
                                    struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct row row = {out, false};
    fields_header(&row);
    for (size_t i = 0; i < result->fields; i++) {
        field_row(&row, &result->field[i], i + 1);
    }
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}

enum kb_status kb_report_particles_csv(const struct kb_result *result, struct kb_text *out,
                                       struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct row row = {out, false};
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
