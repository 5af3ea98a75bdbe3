/* sample_result.c - a whole made-up result around drawn fields (see sample_result.h). */
#include "sample_result.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

const char sample_hostile[] = "<b>\"K&B\" 'x'</b>,]]>\n=1+1\x1b[31m \xff\xfe µ – ä";

static const char *const no_scale = "the pixel size is unknown";

static struct kb_estimate interval(double value, double half, size_t n, const char *unit) {
    struct kb_estimate e = kb_estimate_point(value, n, unit, "mean of fields, Student's t");
    if (n > 1) {
        e.has_interval = true;
        e.lo = value - half;
        e.hi = value + half;
        e.s = half * 0.9;
    }
    return e;
}

static void add(struct kb_findings *findings, enum kb_severity severity, const char *code,
                const char *text) {
    assert_int_equal(kb_findings_add(findings, NULL, severity, code, "%s", text), KB_OK);
}

static void field_figures(const struct sample_field *sample, struct kb_field_result *out,
                          bool steel) {
    struct kb_field_figures *f = &out->figures;
    double measured = 0.0, um2 = out->px_um * out->px_um;
    for (int phase = 1; phase < KB_PHASES; phase++) {
        measured += (double)sample->map.figures.pixels[phase];
        f->fraction[phase] = (double)NAN;
    }
    const uint64_t *px = sample->map.figures.pixels;
    f->fraction[KB_FERRITE] = (double)px[KB_FERRITE] / measured;
    f->fraction[KB_PEARLITE] = (double)px[KB_PEARLITE] / measured;
    f->fraction[KB_GRAPHITE] = steel ? (double)NAN : (double)px[KB_GRAPHITE] / measured;
    f->pearlite_of_matrix = (double)px[KB_PEARLITE] / (double)(px[KB_PEARLITE] + px[KB_FERRITE]);
    f->area_mm2 = um2 > 0.0 ? measured * um2 * 1e-6 : (double)NAN;
    f->nodules_per_mm2 = (double)NAN;
    f->graphite_measured = um2 > 0.0 && !steel;
    memcpy(f->particles, sample->particles.in_state, sizeof f->particles);
    for (size_t i = 0; i < sample->particles.count; i++) {
        const struct kb_particle *p = &sample->particles.particle[i];
        if (p->state == KB_COUNTS) {
            double area = p->area_px2 * um2;
            f->graphite_um2[KB_NOD_ISO945_4] += area;
            f->nodular_um2[KB_NOD_ISO945_4] += p->shape_factor >= 0.6 ? area : 0.0;
            f->nodules += p->shape_factor >= 0.6 ? 1 : 0;
            f->feret_largest_um = fmax(f->feret_largest_um, p->feret_max_px * out->px_um);
        }
    }
    if (f->graphite_measured) {
        f->nodules_per_mm2 = (double)f->nodules / f->area_mm2;
    }
}

static void make_field(const struct sample_options *options, size_t index,
                       struct kb_field_result *out) {
    struct sample_field sample;
    char path[64];
    out->px_um = options->no_scale ? 0.0 : 0.5;
    out->px_um_u = options->no_scale ? 0.0 : 0.002;
    sample_field_make((uint32_t)index + 1, 800, 600, out->px_um, options->steel, &sample);
    (void)snprintf(path, sizeof path, "batch-7/polished and etched/field %02zu.tif", index + 1);
    out->path = kb_copy_string(options->hostile ? sample_hostile : path);
    memset(out->sha256, "0123456789abcdef"[index % 16], 64);
    out->format = "TIFF";
    out->page = out->pages = 1;
    out->bits = 8;
    out->width = 800;
    out->height = 600;
    out->scale_source = options->no_scale ? KB_SCALE_UNKNOWN : KB_SCALE_GIVEN;
    out->contrast = KB_LIGHT;
    out->segmentation = sample.map.figures;
    field_figures(&sample, out, options->steel);
    out->exclusion = kb_alloc_zero(1, sizeof *out->exclusion);
    assert_non_null(out->exclusion);
    out->exclusion[0] = (struct kb_rect){533, 550, 267, 50};
    out->exclusions = 1;
    char name[32];
    (void)snprintf(name, sizeof name, "overlay-%02zu.png", index + 1);
    out->overlay_file = kb_copy_string(name);
    if (options->pictures) {
        struct kb_picture picture;
        assert_int_equal(kb_draw_overlay(&sample.field, &sample.map,
                                         options->steel ? NULL : &sample.particles, &picture, NULL),
                         KB_OK);
        assert_int_equal(kb_report_pictures(&sample.field, &picture, 700, out, NULL), KB_OK);
        kb_picture_release(&picture);
    }
    if (index % 3 == 1) {
        add(&out->findings, KB_WARNING, "uneven-light",
            "The illumination falls off by 23 % towards the corners; it was evened, but check the "
            "lamp's centring.");
    }
    if (options->no_scale) {
        add(&out->findings, KB_SERIOUS, "scale-unknown",
            "The pixel size is unknown, so sizes and counts are left out; give it with "
            "--pixel-size or as a scale bar.");
    }
    kb_runs_release(&sample.particles.runs);
    out->particles = sample.particles;
    sample.particles = (struct kb_particles){0};
    sample_field_release(&sample);
}

static void graphite_figures(const struct sample_options *options, struct kb_specimen *s) {
    size_t n = options->fields;
    s->nodularity_percent[KB_NOD_ISO945_4] = interval(86.4, 4.3, n, "%");
    s->nodularity_percent[KB_NOD_E2567] = interval(86.4, 4.3, n, "%");
    s->nodularity_percent[KB_NOD_ISO16112] = interval(82.9, 4.9, n, "%");
    s->nodularity_by_count_percent = interval(88.1, 3.2, n, "%");
    s->nodules_per_mm2 = interval(212.3, 14.4, n, "1/mm2");
    s->mean_feret_um = interval(21.7, 1.2, n, "um");
    s->largest_feret_um = kb_estimate_point(48.31, n, "um", "largest seen");
    static const double share[KB_FORMS] = {0, 0.0, 0.4, 6.9, 6.3, 28.1, 58.3};
    for (int form = KB_FORM_I; form < KB_FORMS; form++) {
        s->form_area_percent[form] = interval(share[form], 0.2 * share[form], n, "%");
    }
    s->size_class = 6;
}

/* Sections of which the second class shows fewer spheres than none by plain subtraction. */
static void space_figures(const struct sample_options *options, struct kb_specimen *s) {
    size_t n = options->fields;
    for (int rule = 0; rule < KB_COUNT_RULES; rule++) {
        s->nodule_count_per_mm2[rule] = interval(200.3 + 4.0 * rule, 14.4, n, "1/mm2");
        s->graphite_count_per_mm2[rule] = interval(230.3 + 4.0 * rule, 15.1, n, "1/mm2");
    }
    s->nodule_count_per_mm2[KB_COUNT_WEIGHTED] = s->nodules_per_mm2;
    static const double sections[] = {20.0, 42.0, 71.0, 38.0, 9.0};
    static const double spheres[] = {800.0, 2100.0, 4200.0, 1900.0, 400.0};
    struct kb_spheres *p = &s->spheres;
    *p = (struct kb_spheres){.least_um = 10.0, .sections = 612, .bins = 5};
    for (size_t i = 0; i < p->bins; i++) {
        double half = n >= 3 ? 0.3 * spheres[i] : (double)NAN;
        p->bin[i] = (struct kb_sphere_class){10.0 + 5.0 * (double)i,
                                             15.0 + 5.0 * (double)i,
                                             sections[i],
                                             spheres[i],
                                             spheres[i] - half,
                                             spheres[i] + half,
                                             i == 1 ? -40.0 : spheres[i]};
    }
    p->smoothing = 0.25;
    p->misfit = 0.83;
    p->per_mm2 = interval(180.0, 11.0, n, "1/mm2");
    p->plane_mean_um = interval(20.2, 0.6, n, "um");
    p->per_mm3 = interval(9400.0, 720.0, n, "1/mm3");
    p->mean_um = interval(21.9, 0.9, n, "um");
    p->volume_fraction = interval(0.108, 0.008, n, "1");
    p->saltykov_per_mm3 = p->log_per_mm3 = interval(9000.0, 810.0, n, "1/mm3");
    p->saltykov_mean_um = p->log_mean_um = interval(23.0, 1.0, n, "um");
    struct kb_spacing *q = &s->spacing;
    q->intercepts_per_mm = q->along_per_mm[KB_ALONG_ROWS] = q->along_per_mm[KB_ALONG_COLUMNS] =
        interval(5.2, 0.4, n, "1/mm");
    q->surface_per_mm = interval(20.8, 1.6, n, "1/mm");
    q->mean_intercept_um = interval(22.3, 0.9, n, "um");
    q->mean_free_path_um = interval(170.0, 13.0, n, "um");
    q->mean_spacing_um = interval(192.3, 14.0, n, "um");
}

static void miss_space(struct kb_estimate missing, struct kb_specimen *s) {
    struct kb_spheres *p = &s->spheres;
    struct kb_spacing *q = &s->spacing;
    for (int rule = 0; rule < KB_COUNT_RULES; rule++) {
        s->nodule_count_per_mm2[rule] = s->graphite_count_per_mm2[rule] = missing;
    }
    p->why = missing.why;
    p->per_mm2 = p->plane_mean_um = p->per_mm3 = p->mean_um = p->volume_fraction = missing;
    p->saltykov_per_mm3 = p->saltykov_mean_um = p->log_per_mm3 = p->log_mean_um = missing;
    q->intercepts_per_mm = q->along_per_mm[0] = q->along_per_mm[1] = q->surface_per_mm = missing;
    q->mean_intercept_um = q->mean_free_path_um = q->mean_spacing_um = missing;
}

static void make_specimen(const struct sample_options *options, struct kb_result *result) {
    struct kb_specimen *s = &result->specimen;
    size_t n = options->fields;
    struct kb_estimate missing =
        kb_estimate_missing("%", options->steel ? "steel has no free graphite" : no_scale);
    s->material = result->material;
    s->fields = s->fields_graphite = s->fields_matrix = n;
    s->area_mm2 = options->no_scale ? (double)NAN : 0.1164 * (double)n;
    for (int phase = 0; phase < KB_PHASES; phase++) {
        s->phase[phase] = kb_estimate_missing("1", "not looked for");
    }
    s->phase[KB_FERRITE] = interval(0.3712, 0.0234, n, "1");
    s->phase[KB_PEARLITE] = interval(0.5127, 0.0261, n, "1");
    s->pearlite_of_matrix = interval(0.580, 0.0263, n, "1");
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        s->nodularity_percent[method] = missing;
    }
    for (int form = 0; form < KB_FORMS; form++) {
        s->form_area_percent[form] = missing;
    }
    s->nodularity_by_count_percent = missing;
    miss_space(missing, s);
    s->nodules_per_mm2 = s->mean_feret_um = s->largest_feret_um = missing;
    if (!options->steel) {
        s->phase[KB_GRAPHITE] = interval(0.1161, 0.0083, n, "1");
        if (!options->no_scale) {
            graphite_figures(options, s);
            space_figures(options, s);
        }
    }
    for (size_t i = 0; i < n; i++) {
        for (int state = 0; state < KB_PARTICLE_STATES; state++) {
            s->particles[state] += result->field[i].particles.in_state[state];
        }
    }
    s->fields_needed_phase = n > 1 ? 9 : 0;
    s->fields_needed_nodularity = n > 1 ? 4 : 0;
    s->fields_needed_count = n > 1 ? 6 : 0;
    add(&s->findings, KB_NOTE, "one-section", "The figures speak for this section only.");
    if (n < 5) {
        add(&s->findings, KB_WARNING, "few-fields",
            "Fewer than 5 fields were given; add fields before the result is signed.");
    }
}

static void make_carbon(struct kb_result *result, bool steel) {
    struct kb_carbon *c = &result->carbon;
    size_t n = result->fields;
    result->carbon_known = true;
    c->total_percent = steel ? interval(0.402, 0.019, n, "%") : interval(3.52, 0.28, n, "%");
    c->combined_percent = interval(0.402, 0.019, n, "%");
    c->graphite_percent = steel ? kb_estimate_missing("%", "steel has no free graphite")
                                : interval(3.12, 0.25, n, "%");
    c->pearlite_mass = interval(0.58, 0.026, n, "1");
    c->eutectoid_used = 0.56;
    c->constants = kb_carbon_constants_default();
    c->agreement = KB_DISAGREES;
    c->difference_percent = -0.21;
    c->tolerance_percent = 0.05;
    c->reason[0] = "graphite pulled out or smeared in polishing";
    c->reason[1] = "a chilled coupon beside a casting that cooled slowly";
    c->carbon_equivalent = steel ? (double)NAN : 4.52;
    c->working.count = 3;
    (void)strcpy(
        c->working.line[0],
        "graphite by volume 0.116 -> by mass 0.116*2.25/(0.116*2.25 + 0.884*7.8) = 0.0366");
    (void)strcpy(c->working.line[1], "eutectoid at 2.45 % Si: 0.76 - 0.08 * 2.45 = 0.56 %");
    (void)strcpy(c->working.line[2], "combined: 0.58 * 0.56 + 0.42 * 0.022 = 0.334 %");
    result->chemistry.c = steel ? 0.45 : 3.73;
    result->chemistry.si = 2.45;
}

static void make_limit(struct kb_limit_result *out, enum kb_quantity quantity, double low,
                       double high, struct kb_estimate value, enum kb_outcome outcome,
                       const char *reason) {
    *out = (struct kb_limit_result){
        .limit = {quantity, low, high}, .value = value, .outcome = outcome};
    (void)snprintf(out->reason, sizeof out->reason, "%s", reason);
    out->by_rule[KB_RULE_GUARDED] = outcome;
    out->by_rule[KB_RULE_SIMPLE] = value.measured ? KB_ACCEPT : KB_UNDECIDED;
    out->probability = value.has_interval ? 0.913 : (double)NAN;
    out->fields_to_decide = outcome == KB_UNDECIDED && value.has_interval ? 7 : 0;
}

static void make_judgement(const struct sample_options *options, struct kb_result *result) {
    struct kb_judgement *j = &result->judgement;
    size_t n = options->fields;
    double open = (double)NAN;
    j->rule = "guarded acceptance and guarded rejection, two-sided 95 % interval";
    if (options->no_limits) {
        return;
    }
    j->limit = kb_alloc_zero(4, sizeof *j->limit);
    assert_non_null(j->limit);
    j->count = 4;
    make_limit(&j->limit[0], KB_Q_PEARLITE_OF_MATRIX, 20.0, 65.0, interval(58.0, 2.63, n, "%"),
               n > 1 ? KB_ACCEPT : KB_UNDECIDED,
               n > 1 ? "the whole interval lies between the limits" : "one field has no interval");
    make_limit(&j->limit[1], KB_Q_NODULARITY, 85.0, open, result->specimen.nodularity_percent[0],
               KB_UNDECIDED, "the interval holds the limit");
    make_limit(&j->limit[2], KB_Q_NODULES_PER_MM2, 100.0, open, result->specimen.nodules_per_mm2,
               result->specimen.nodules_per_mm2.has_interval ? KB_ACCEPT : KB_UNDECIDED,
               "the whole interval lies above the limit");
    make_limit(&j->limit[3], KB_Q_CEMENTITE, open, 1.0, kb_estimate_missing("%", "not looked for"),
               KB_UNDECIDED, "the figure was not measured");
    j->verdict = j->verdict_by_rule[KB_RULE_GUARDED] = KB_UNDECIDED;
    j->verdict_by_rule[KB_RULE_SIMPLE] = KB_UNDECIDED;
}

static void make_settings(const struct sample_options *options, struct kb_result *result) {
    static const char *const setting[][3] = {
        {"material", "ductile-iron", "command line"},
        {"pixel-size", "0.5 um", "job file"},
        {"min-feret", "10 um", "default"},
    };
    size_t count = sizeof setting / sizeof setting[0];
    result->setting = kb_alloc_zero(count, sizeof *result->setting);
    assert_non_null(result->setting);
    result->settings = result->settings_capacity = count;
    for (size_t i = 0; i < count; i++) {
        result->setting[i].name = kb_copy_string(setting[i][0]);
        result->setting[i].value =
            kb_copy_string(options->hostile ? sample_hostile : setting[i][1]);
        result->setting[i].origin = setting[i][2];
    }
}

/* The first particle of the first field that counts, NULL in steel. */
static struct kb_particle *first_counting(struct kb_result *result) {
    struct kb_particles *particles = &result->field[0].particles;
    for (size_t i = 0; i < particles->count; i++) {
        if (particles->particle[i].state == KB_COUNTS) {
            return &particles->particle[i];
        }
    }
    return NULL;
}

static void make_by_hand(const struct sample_options *options, struct kb_result *result) {
    const struct kb_by_hand made[] = {
        {.kind = KB_HAND_PHASE,
         .field_name = "field 01.tif",
         .place = {120, 88, 1, 1},
         .phase = KB_OTHER,
         .level = (double)NAN,
         .reason = "a pore, seen at 500x",
         .origin = "job file",
         .field = 1,
         .phase_found = KB_GRAPHITE,
         .pixels = 1234},
        {.kind = KB_HAND_EXCLUSION,
         .field_name = "field 01.tif",
         .place = {5, 6, 70, 80},
         .level = (double)NAN,
         .reason = "stain",
         .origin = "command line",
         .field = 1},
        {.kind = KB_HAND_EXCLUSION,
         .place = {1, 2, 3, 4},
         .level = (double)NAN,
         .origin = "command line"},
        {.kind = KB_HAND_DARK,
         .level = 77.5,
         .reason = "the lamp was changed",
         .origin = "command line"},
        {.kind = KB_HAND_FORM,
         .field_name = "field 01.tif",
         .place = {300, 200, 1, 1},
         .form = KB_FORM_II,
         .level = (double)NAN,
         .reason = "spikes below the focus",
         .origin = "command line",
         .field = 1,
         .form_found = KB_FORM_VI},
    };
    size_t count = sizeof made / sizeof made[0] - (options->steel ? 1 : 0);
    result->by_hand = kb_alloc_zero(count, sizeof *result->by_hand);
    assert_non_null(result->by_hand);
    for (; result->by_hands < count; result->by_hands++) {
        struct kb_by_hand *hand = &result->by_hand[result->by_hands];
        *hand = made[result->by_hands];
        hand->field_name = kb_copy_string(hand->field_name);
        hand->reason = kb_copy_string(options->hostile && hand->reason != NULL ? sample_hostile
                                                                               : hand->reason);
    }
    result->field[0].segmentation.by_hand_px = 1234;
    struct kb_particle *particle = options->steel ? NULL : first_counting(result);
    if (particle != NULL) {
        particle->by_hand = true;
        particle->form_found = particle->form;
        particle->form = KB_FORM_II;
        result->field[0].particles.by_hand = 1;
        result->by_hand[count - 1].particle = particle->id;
    }
}

void sample_result_make(const struct sample_options *options, struct kb_result *result) {
    *result = (struct kb_result){0};
    result->chemistry = kb_chemistry_unknown();
    result->material = options->steel ? KB_CARBON_STEEL : KB_DUCTILE_IRON;
    result->specimen_id = kb_copy_string(options->hostile ? sample_hostile : "Hub 40, heat B 1127");
    result->laboratory = kb_copy_string(options->hostile ? sample_hostile : "Ravensholm foundry");
    result->operator_name = kb_copy_string(options->hostile ? sample_hostile : "A. Lindqvist");
    result->customer = kb_copy_string(options->hostile ? sample_hostile : "Tarn axle works");
    result->job_path = kb_copy_string(options->hostile ? sample_hostile : "hub40.job");
    (void)strcpy(result->made_at, "2026-03-04T09:41:00+01:00");
    result->morphology_params.min_feret_um = 10.0;
    result->morphology_params.part_touching = true;
    result->specimen_params = (struct kb_specimen_params){0.02, 5.0, 0.1, 5, 500, 0.0, 0.0};
    result->field = kb_alloc_zero(options->fields, sizeof *result->field);
    assert_non_null(result->field);
    result->fields = options->fields;
    for (size_t i = 0; i < options->fields; i++) {
        make_field(options, i, &result->field[i]);
    }
    make_specimen(options, result);
    const struct kb_beyond_fields beyond = {.scale_u = options->no_scale ? 0.0 : 0.002 / 0.5};
    assert_int_equal(kb_specimen_combine(&result->specimen, &beyond, NULL), KB_OK);
    make_carbon(result, options->steel);
    make_judgement(options, result);
    make_settings(options, result);
    if (options->by_hand) {
        make_by_hand(options, result);
    }
}
