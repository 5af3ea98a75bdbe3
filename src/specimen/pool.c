/* pool.c - from fields to the specimen.
 *
 * Graphite is judged best unetched (etching eats its edges) and the matrix only shows etched: where
 * both kinds of field are given, graphite comes from the unetched ones and the matrix from the
 * others.
 *
 * Phase fractions are the plain mean of the fields, as in ASTM E562: with fields of one size that
 * is also the pooled fraction. Where measured areas differ by more than a tenth, a small field is
 * noisier than a large one, and the figures become sum of phase area over sum of area (ratio.c).
 * Either way the field is the sampling unit. The pearlite share of the matrix, nodularity, forms,
 * count and mean Feret are ratios of two measured amounts and are always pooled as sum over sum.
 *
 * The largest particle is an extreme, not a mean: it has no interval, and grows with the fields
 * seen.
 */
#include "specimen_priv.h"

/* Largest over smallest measured area up to which fields count as of one size. */
static const double area_tolerance = 1.10;
/* Pixel sizes that differ by less are one calibration given with rounding. */
static const double scale_tolerance = 1.005;

static const char why_graphite[] = "steel: no free graphite is looked for";
static const char why_etched[] = "no field in which ferrite and pearlite are told apart";
static const char why_other[] =
    "looked for where ferrite and pearlite stand apart under the light microscope; none by hand";
static const char why_phase[] = "not looked for in these fields";
static const char why_scale[] = "pixel size unknown";
static const char why_touching[] = "nodules run together too often to be told apart";
static const char why_particles[] = "no particle counts";
static const char why_flakes[] =
    "flake graphite: nodularity and nodules are of spheroidal and compacted graphite";
static const char method_largest[] = "largest over all fields; an extreme has no interval";

struct pooling {
    const struct kb_field_figures *field;
    size_t count;
    enum kb_material material;
    bool prefer_unetched;        /* there are unetched fields that show graphite */
    bool mixed_areas;            /* some figure was weighted by area */
    double *top, *bottom, *area; /* room for one figure of every field */
};

static bool unetched(const struct kb_field_figures *field) {
    return field->contrast == KB_LIGHT_UNETCHED;
}

static bool shows_graphite(const struct pooling *pooling, const struct kb_field_figures *field) {
    return isfinite(field->fraction[KB_GRAPHITE]) && (unetched(field) || !pooling->prefer_unetched);
}

static bool shows_particles(const struct pooling *pooling, const struct kb_field_figures *field) {
    return shows_graphite(pooling, field) && field->graphite_measured;
}

static bool areas_differ(const double *area, size_t n) {
    double least = KB_INFINITY;
    double most = 0.0;
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(area[i])) {
            return false; /* cannot be weighed */
        }
        least = fmin(least, area[i]);
        most = fmax(most, area[i]);
    }
    return most > area_tolerance * least;
}

/* Among the fields that show graphite: the matrix may well be photographed at another
 * magnification. */
static bool scales_differ(const struct pooling *pooling) {
    double least = KB_INFINITY;
    double most = 0.0;
    for (size_t i = 0; i < pooling->count; i++) {
        if (shows_graphite(pooling, &pooling->field[i])) {
            least = fmin(least, pooling->field[i].px_um);
            most = fmax(most, pooling->field[i].px_um);
        }
    }
    return most > scale_tolerance * least;
}

/* ---- phases ---- */

/* Weigh the first n figures in `top` and `bottom` by area where areas differ; whether they do. */
static bool weigh_by_area(const struct pooling *pooling, size_t n) {
    if (!areas_differ(pooling->area, n)) {
        return false;
    }
    for (size_t i = 0; i < n; i++) {
        pooling->top[i] *= pooling->area[i];
        pooling->bottom[i] *= pooling->area[i];
    }
    return true;
}

static bool any_above_zero(const double *value, size_t n) {
    for (size_t i = 0; i < n; i++) {
        if (value[i] > 0.0) {
            return true;
        }
    }
    return false;
}

/* Whether some field was searched for regions that fit no constituent; set by hand, they count in
 * every field. */
static bool other_is_sought(const struct pooling *pooling) {
    for (size_t i = 0; i < pooling->count; i++) {
        if (isfinite(pooling->field[i].other_of_matrix)) {
            return true;
        }
    }
    return false;
}

static struct kb_estimate pool_phase(struct pooling *pooling, enum kb_phase phase,
                                     const char *why) {
    const bool sought = other_is_sought(pooling);
    size_t n = 0;
    for (size_t i = 0; i < pooling->count; i++) {
        const struct kb_field_figures *field = &pooling->field[i];
        bool used = phase == KB_GRAPHITE ? shows_graphite(pooling, field)
                                         : isfinite(field->fraction[phase]);
        used = used || (phase == KB_OTHER && !sought);
        if (used) {
            pooling->area[n] = field->area_mm2;
            pooling->top[n] = isfinite(field->fraction[phase]) ? field->fraction[phase] : 0.0;
            pooling->bottom[n++] = 1.0;
        }
    }
    if (n == 0) {
        return kb_estimate_missing("1", why);
    }
    if (phase == KB_OTHER && !sought && !any_above_zero(pooling->top, n)) {
        return kb_estimate_missing("1", why_other);
    }
    if (!weigh_by_area(pooling, n)) {
        return kb_estimate_mean(pooling->top, n, "1", 0.0, 1.0);
    }
    pooling->mixed_areas |= phase != KB_OTHER; /* which unetched and etched fields share */
    return kb_estimate_ratio(pooling->top, pooling->bottom, n, 1.0, "1", 0.0, 1.0);
}

/* Ferrite, pearlite, cementite and other together, of the field. */
static double matrix_fraction(const struct kb_field_figures *field) {
    static const enum kb_phase part[] = {KB_FERRITE, KB_PEARLITE, KB_CEMENTITE, KB_OTHER};
    double whole = 0.0;
    for (size_t i = 0; i < sizeof part / sizeof part[0]; i++) {
        whole += isfinite(field->fraction[part[i]]) ? field->fraction[part[i]] : 0.0;
    }
    return whole;
}

static struct kb_estimate pool_pearlite_of_matrix(const struct pooling *pooling, size_t *used) {
    size_t n = 0;
    for (size_t i = 0; i < pooling->count; i++) {
        const struct kb_field_figures *field = &pooling->field[i];
        if (isfinite(field->pearlite_of_matrix)) {
            pooling->area[n] = field->area_mm2;
            pooling->top[n] = field->fraction[KB_PEARLITE];
            pooling->bottom[n++] = matrix_fraction(field);
        }
    }
    *used = n;
    if (n == 0) {
        return kb_estimate_missing("1", why_etched);
    }
    (void)weigh_by_area(pooling, n);
    return kb_estimate_ratio(pooling->top, pooling->bottom, n, 1.0, "1", 0.0, 1.0);
}

static struct kb_estimate pool_other_of_matrix(const struct pooling *pooling) {
    size_t n = 0;
    for (size_t i = 0; i < pooling->count; i++) {
        const struct kb_field_figures *field = &pooling->field[i];
        if (isfinite(field->other_of_matrix)) {
            pooling->area[n] = field->area_mm2;
            pooling->top[n] = field->fraction[KB_OTHER];
            pooling->bottom[n++] = matrix_fraction(field);
        }
    }
    if (n == 0) {
        return kb_estimate_missing("1", why_other);
    }
    (void)weigh_by_area(pooling, n);
    return kb_estimate_ratio(pooling->top, pooling->bottom, n, 1.0, "1", 0.0, 1.0);
}

static void pool_phases(struct pooling *pooling, struct kb_specimen *out) {
    bool iron = kb_material_is_iron(pooling->material);
    for (int phase = 0; phase < KB_PHASES; phase++) {
        const char *why = why_phase;
        if (phase == KB_GRAPHITE && !iron) {
            why = why_graphite;
        } else if (phase == KB_FERRITE || phase == KB_PEARLITE) {
            why = why_etched;
        }
        out->phase[phase] = pool_phase(pooling, (enum kb_phase)phase, why);
    }
    out->pearlite_of_matrix = pool_pearlite_of_matrix(pooling, &out->fields_matrix);
    out->other_of_matrix = pool_other_of_matrix(pooling);
}

/* ---- graphite ---- */

/* A pair of sums that a field gives for one ratio. */
typedef double field_sum(const struct kb_field_figures *field, int index);

static double nodular_area(const struct kb_field_figures *field, int method) {
    return field->nodular_um2[method];
}
static double rated_area(const struct kb_field_figures *field, int method) {
    return field->graphite_um2[method];
}
static double nodular_framed(const struct kb_field_figures *field, int unused) {
    (void)unused;
    return field->nodular_framed_um2;
}
static double rated_framed(const struct kb_field_figures *field, int unused) {
    (void)unused;
    return field->graphite_framed_um2;
}
static double nodule_number(const struct kb_field_figures *field, int unused) {
    (void)unused;
    return (double)field->nodules;
}
static double rated_number(const struct kb_field_figures *field, int unused) {
    (void)unused;
    return (double)field->rated;
}
static double form_area(const struct kb_field_figures *field, int form) {
    return field->form_um2[form];
}
static double all_form_area(const struct kb_field_figures *field, int unused) {
    (void)unused;
    return field->graphite_um2[KB_NOD_ISO945_4]; /* every counting particle */
}
static double weighted_number(const struct kb_field_figures *field, int unused) {
    (void)unused;
    return field->nodules_per_mm2 * field->area_mm2;
}
static double field_area(const struct kb_field_figures *field, int unused) {
    (void)unused;
    return field->area_mm2;
}
static double feret_sum(const struct kb_field_figures *field, int unused) {
    (void)unused;
    return field->feret_sum_um;
}
static double squared_area(const struct kb_field_figures *field, int unused) {
    (void)unused;
    return field->graphite_um4;
}

static double specimen_sum(const struct pooling *pooling, field_sum *sum, int index) {
    struct kb_sum total = {.parts = 0, .broken = false};
    for (size_t i = 0; i < pooling->count; i++) {
        if (shows_particles(pooling, &pooling->field[i])) {
            kb_sum_add(&total, sum(&pooling->field[i], index));
        }
    }
    return kb_sum_value(&total);
}

static struct kb_estimate pool_ratio(const struct pooling *pooling, field_sum *top,
                                     field_sum *bottom, int index, double scale, const char *unit,
                                     double most) {
    size_t n = 0;
    for (size_t i = 0; i < pooling->count; i++) {
        if (shows_particles(pooling, &pooling->field[i])) {
            pooling->top[n] = top(&pooling->field[i], index);
            pooling->bottom[n++] = bottom(&pooling->field[i], index);
        }
    }
    struct kb_estimate estimate =
        kb_estimate_ratio(pooling->top, pooling->bottom, n, scale, unit, 0.0, most);
    if (!estimate.measured) {
        estimate.why = why_particles;
    }
    return estimate;
}

/* A percentage of graphite; without spread, as sure as `trials` particles allow. */
static struct kb_estimate pool_percent(const struct pooling *pooling, field_sum *top,
                                       field_sum *bottom, int index, double trials) {
    struct kb_estimate estimate = pool_ratio(pooling, top, bottom, index, 100.0, "%", 100.0);
    kb_widen_to_count(&estimate, trials, 0.0, 100.0);
    return estimate;
}

/* Every figure of the particles is missing for the same reason. */
static void miss_particles(const char *why, struct kb_specimen *out) {
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        out->nodularity_percent[method] = kb_estimate_missing("%", why);
    }
    for (int form = 0; form < KB_FORMS; form++) {
        out->form_area_percent[form] = kb_estimate_missing("%", why);
    }
    out->nodularity_framed_percent = kb_estimate_missing("%", why);
    out->nodularity_by_count_percent = kb_estimate_missing("%", why);
    out->nodules_per_mm2 = kb_estimate_missing("1/mm2", why);
    out->mean_feret_um = kb_estimate_missing("um", why);
    out->largest_feret_um = kb_estimate_missing("um", why);
    kb_count_rules_miss(why, out);
    kb_spacing_miss(why, &out->spacing);
    kb_spheres_miss(why, &out->spheres);
    kb_flakes_miss(why, &out->distribution);
}

static void pool_largest(const struct pooling *pooling, size_t fields, struct kb_specimen *out) {
    double largest = 0.0;
    for (size_t i = 0; i < pooling->count; i++) {
        const struct kb_field_figures *field = &pooling->field[i];
        if (shows_particles(pooling, field)) {
            largest = fmax(largest, field->feret_largest_um); /* fmax passes over NaN */
        }
    }
    if (largest > 0.0) {
        out->largest_feret_um = kb_estimate_point(largest, fields, "um", method_largest);
        out->size_class = kb_size_class(largest);
    } else {
        out->largest_feret_um = kb_estimate_missing("um", why_particles);
    }
}

static void count_particles(const struct pooling *pooling, struct kb_specimen *out) {
    for (size_t i = 0; i < pooling->count; i++) {
        const struct kb_field_figures *field = &pooling->field[i];
        if (!shows_graphite(pooling, field)) {
            continue;
        }
        out->fields_graphite++;
        for (int state = 0; state < KB_PARTICLE_STATES; state++) {
            out->particles[state] += field->particles[state];
        }
        for (int size = 1; size <= 8; size++) {
            out->size_count[size] += field->size_count[size];
        }
    }
}

/* Why no field shows particles that may be counted. */
static const char *why_no_particles(const struct pooling *pooling) {
    for (size_t i = 0; i < pooling->count; i++) {
        if (shows_graphite(pooling, &pooling->field[i]) && pooling->field[i].px_um > 0.0) {
            return why_touching;
        }
    }
    return kb_material_is_iron(pooling->material) ? why_scale : why_graphite;
}

static void pool_particles(const struct pooling *pooling, struct kb_specimen *out) {
    size_t fields = 0;
    for (size_t i = 0; i < pooling->count; i++) {
        fields += shows_particles(pooling, &pooling->field[i]) ? 1 : 0;
    }
    count_particles(pooling, out);
    out->area_mm2 = fields > 0 ? specimen_sum(pooling, field_area, 0) : KB_NAN;
    if (fields == 0) {
        miss_particles(why_no_particles(pooling), out);
        return;
    }
    double rated = specimen_sum(pooling, rated_number, 0);
    double area = specimen_sum(pooling, all_form_area, 0);
    double effective = area > 0.0 ? area * area / specimen_sum(pooling, squared_area, 0) : 0.0;
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        out->nodularity_percent[method] =
            pool_percent(pooling, nodular_area, rated_area, method, effective);
    }
    for (int form = 0; form < KB_FORMS; form++) {
        out->form_area_percent[form] =
            pool_percent(pooling, form_area, all_form_area, form, effective);
    }
    out->nodularity_framed_percent =
        pool_percent(pooling, nodular_framed, rated_framed, 0, effective);
    out->nodularity_by_count_percent = pool_percent(pooling, nodule_number, rated_number, 0, rated);
    out->nodules_per_mm2 =
        pool_ratio(pooling, weighted_number, field_area, 0, 1.0, "1/mm2", KB_INFINITY);
    kb_widen_to_poisson(&out->nodules_per_mm2, specimen_sum(pooling, nodule_number, 0));
    out->mean_feret_um = pool_ratio(pooling, feret_sum, rated_number, 0, 1.0, "um", KB_INFINITY);
    pool_largest(pooling, fields, out);
}

/* A flake that lies across the section looks round now and then; that is no nodule, and a
 * nodularity of a few per cent would say that there are some. Forms V and VI still show what is
 * round. */
static void silence_nodules(struct kb_specimen *out) {
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        out->nodularity_percent[method] = kb_estimate_missing("%", why_flakes);
    }
    out->nodularity_framed_percent = kb_estimate_missing("%", why_flakes);
    out->nodularity_by_count_percent = kb_estimate_missing("%", why_flakes);
    out->nodules_per_mm2 = kb_estimate_missing("1/mm2", why_flakes);
    for (int rule = 0; rule < KB_COUNT_RULES; rule++) {
        out->nodule_count_per_mm2[rule] = kb_estimate_missing("1/mm2", why_flakes);
    }
}

/* Counting rules, spacing, and sizes in space, of the fields that show particles. */
static enum kb_status pool_space(const struct pooling *pooling, struct kb_specimen *out,
                                 struct kb_err *err) {
    struct kb_used used = {.top = pooling->top, .bottom = pooling->bottom};
    used.field = kb_alloc(pooling->count, sizeof(const struct kb_field_figures *));
    if (used.field == NULL) {
        return kb_fail_memory(err, "specimen", pooling->count);
    }
    for (size_t i = 0; i < pooling->count; i++) {
        if (shows_particles(pooling, &pooling->field[i])) {
            used.field[used.count++] = &pooling->field[i];
        }
    }
    enum kb_status status = KB_OK;
    if (used.count > 0) {
        kb_count_rules_run(&used, out);
        kb_spacing_run(&used, &out->spacing);
        kb_flakes_run(&used, pooling->material, out);
        status = kb_spheres_run(&used, pooling->material, &out->spheres, err);
    }
    kb_free(used.field);
    return status;
}

/* ---- precision ---- */

/* Fields in all until the half-width of `estimate` is `want`; at least one more when it is not yet.
 */
static size_t fields_needed(const struct kb_estimate *estimate, double want) {
    if (!estimate->measured || !estimate->has_interval) {
        return 0;
    }
    size_t needed = kb_fields_for(estimate->s, want);
    bool wide = 0.5 * (estimate->hi - estimate->lo) > want;
    return wide && needed > 0 && needed <= estimate->n ? estimate->n + 1 : needed;
}

static void plan_fields(const struct kb_specimen_params *params, struct kb_specimen *out) {
    const struct kb_estimate *phase[] = {&out->phase[KB_GRAPHITE], &out->phase[KB_FERRITE],
                                         &out->phase[KB_PEARLITE], &out->phase[KB_CEMENTITE],
                                         &out->pearlite_of_matrix};
    for (size_t i = 0; i < sizeof phase / sizeof phase[0]; i++) {
        size_t needed = fields_needed(phase[i], params->want_points);
        if (needed > out->fields_needed_phase) {
            out->fields_needed_phase = needed;
        }
    }
    out->fields_needed_nodularity =
        fields_needed(&out->nodularity_percent[KB_NOD_ISO945_4], params->want_nodularity_points);
    out->fields_needed_count =
        fields_needed(&out->nodules_per_mm2, params->want_count_share * out->nodules_per_mm2.value);
}

static void count_fields(const struct pooling *pooling, struct kb_specimen_counts *counts) {
    *counts = (struct kb_specimen_counts){
        .mixed_scales = scales_differ(pooling),
        .mixed_areas = pooling->mixed_areas,
    };
    for (size_t i = 0; i < pooling->count; i++) {
        const struct kb_field_figures *field = &pooling->field[i];
        *(unetched(field) ? &counts->unetched : &counts->etched) += 1;
        counts->least_um = fmax(counts->least_um, field->least_um);
        bool scaleless = shows_graphite(pooling, field) && !(field->px_um > 0.0);
        counts->without_scale += scaleless ? 1 : 0;
    }
}

enum kb_status kb_specimen_run(const struct kb_field_figures *fields, size_t count,
                               enum kb_material material, const struct kb_specimen_params *params,
                               struct kb_specimen *out, struct kb_err *err) {
    *out = (struct kb_specimen){.material = material, .fields = count};
    if (count == 0) {
        return kb_fail(err, KB_E_USAGE, "specimen", NULL,
                       "a specimen without fields cannot be measured (give at least one picture)");
    }
    struct pooling pooling = {.field = fields, .count = count, .material = material};
    for (size_t i = 0; i < count; i++) {
        pooling.prefer_unetched |=
            unetched(&fields[i]) && isfinite(fields[i].fraction[KB_GRAPHITE]);
    }
    out->graphite_from_unetched = pooling.prefer_unetched;
    pooling.top = kb_alloc(count, 3 * sizeof(double));
    if (pooling.top == NULL) {
        *out = (struct kb_specimen){.fields = 0};
        return kb_fail_memory(err, "specimen", 3 * count * sizeof(double));
    }
    pooling.bottom = pooling.top + count;
    pooling.area = pooling.bottom + count;
    pool_phases(&pooling, out);
    pool_particles(&pooling, out);
    enum kb_status status = pool_space(&pooling, out, err);
    if (material == KB_GREY_IRON && out->fields_graphite > 0) {
        silence_nodules(out);
    }
    plan_fields(params, out);
    struct kb_specimen_counts counts;
    count_fields(&pooling, &counts);
    kb_free(pooling.top);
    if (status == KB_OK) {
        status = kb_specimen_remark(params, &counts, out, err);
    }
    if (status != KB_OK) {
        kb_specimen_release(out);
    }
    return status;
}

void kb_specimen_release(struct kb_specimen *specimen) {
    kb_findings_release(&specimen->findings);
    *specimen = (struct kb_specimen){.fields = 0};
}
