/* unfold.c - nodules in space from their sections in the plane.
 *
 * A plane cuts a sphere off its centre, so sections are smaller than the nodules; and it meets
 * large spheres more often than small ones, so the plane shows too few small nodules. Counts and
 * mean sizes of the plane are therefore figures of the section, not of the casting. On the
 * assumption that nodules are spheres the sizes in space follow from the distribution of sections:
 * by Schwartz and Saltykov's linear classes, by Saltykov's classes in the ratio 10^0.1 as a check,
 * and by smoothed expectation-maximisation (unfold_smooth.c), which is the one reported first.
 *
 * Sections are the complete nodules, as circles of equal area, each weighted for the frame, of a
 * diameter of at least the minimum size: a circle of that diameter has at least that Feret, so none
 * is missing above it. Since larger spheres do not depend on smaller sections, cutting there leaves
 * the classes above as they are; the figures then speak of spheres of that size and more, and
 * nothing is guessed about smaller ones.
 *
 * Intervals: the field is the sampling unit, delete-one jackknife with Student's t, on the
 * logarithm for the totals (as in ratio.c), to which the method's own bias is added as a standard
 * uncertainty (kb_half_length; under Student's factor of three fields, 4.3, it would make the
 * interval of the mean twice as wide as it need be). The strength of the smoothing is held at that
 * of the whole.
 */
#include "specimen_priv.h"

/* Below that many sections a distribution of sizes is guesswork. Ours. */
static const size_t least_sections = 50;
/* An interval takes three fields: with two, a jackknife knows nothing of the spread of a class. */
static const size_t least_fields = 3;
/* Classes of the linear unfolding; fewer noise, more detail. 7 to 15 is common practice, no
 * published source at hand. */
static const int most_classes = 15;
/* Saltykov's ratio of neighbouring diameters is 10^0.1; twelve classes reach down to 1/16. */
static const double log_step = 0.1;
static const size_t log_classes = 12;

/* What classes and smoothing leave as bias, relative, taken as a standard uncertainty without limit
 * of freedom. In simulation (tests/specimen/test_unfolding.c) the number comes out 1 % low to 5 %
 * high for log-normal diameters and the mean 1 % high to 3 % low; with this share the intervals of
 * 3 to 10 fields hold the number in 92 to 97 % of specimens, the mean in 93 to 99 %. Spheres of
 * one or two sizes only, which no casting has, are smoothed too much: up to 11 % high in number, 6
 * % low in the mean, covered in 88 to 95 and 83 to 92 %. */
static const double method_share = 0.015;

static const double um_per_mm = 1000.0;

static const char why_material[] = "sections are unfolded for spheroidal graphite only";
static const char why_few[] = "fewer than 50 nodules of the minimum size: too few to unfold";
static const char method_smooth[] =
    "sections of all fields unfolded by expectation-maximisation with smoothing; 95 % interval by "
    "Student's t on the delete-one-field jackknife of the logarithm, widened by 1.5 % for the "
    "method";
static const char method_smooth_point[] =
    "sections of all fields unfolded by expectation-maximisation with smoothing; an interval takes "
    "three fields";

struct classes {
    double bound_mm[KB_UNFOLD_BINS + 1];
    size_t bins;
    double kernel[KB_UNFOLD_BINS * KB_UNFOLD_BINS];
};

/* One section: a complete nodule. False when the particle is none, or too small. */
static bool section_of(const struct kb_field_figures *field, size_t index, double least_um,
                       double *diameter_um, double *weight) {
    const struct kb_particle *particle = &field->particle[index];
    *diameter_um = particle->diameter_px * field->px_um;
    if (particle->state != KB_COUNTS || !(*diameter_um >= least_um) || !(*diameter_um > 0.0) ||
        !(kb_nodularity_credit_of(KB_NOD_ISO945_4, particle, field->px_um) > 0.0)) {
        return false;
    }
    *weight = kb_frame_weight(&field->frame, particle->box.width, particle->box.height);
    return true;
}

/* Sections of one field by class, as weighted numbers, exactly summed. */
static void sort_sections(const struct kb_field_figures *field, double least_um,
                          const struct classes *classes, double *seen) {
    struct kb_sum sum[KB_UNFOLD_BINS];
    for (size_t k = 0; k < classes->bins; k++) {
        sum[k].parts = 0;
        sum[k].broken = false;
    }
    for (size_t i = 0; i < field->particle_count; i++) {
        double diameter;
        double weight;
        if (!section_of(field, i, least_um, &diameter, &weight)) {
            continue;
        }
        size_t k = 0;
        while (k + 1 < classes->bins && diameter > um_per_mm * classes->bound_mm[k + 1]) {
            k++;
        }
        if (diameter >= um_per_mm * classes->bound_mm[0]) {
            kb_sum_add(&sum[k], weight);
        }
    }
    for (size_t k = 0; k < classes->bins; k++) {
        seen[k] = kb_sum_value(&sum[k]);
    }
}

/* ---- classes ---- */

/* Even classes of a round width from the smallest to the largest section. */
static void linear_classes(double least_um, double largest_um, struct classes *classes) {
    static const double step[] = {1.0, 2.0, 5.0, 10.0};
    double range = fmax(largest_um - least_um, 0.01 * largest_um);
    double decade = pow(10.0, floor(log10(range / most_classes)));
    double width = decade;
    for (size_t i = 0; i < sizeof step / sizeof step[0]; i++) {
        width = step[i] * decade;
        if (width * most_classes >= range) {
            break;
        }
    }
    double bins = ceil(range / width * (1.0 - 1e-9)); /* a section on the last bound is within */
    classes->bins = bins < 1.0 ? 1 : (size_t)bins;
    for (size_t k = 0; k <= classes->bins; k++) {
        classes->bound_mm[k] = (least_um + width * (double)k) / um_per_mm;
    }
}

/* The same classes, each in parts. */
static void part_classes(const struct classes *whole, struct classes *parts) {
    parts->bins = whole->bins * KB_UNFOLD_PARTS;
    for (size_t k = 0; k < whole->bins; k++) {
        double width = whole->bound_mm[k + 1] - whole->bound_mm[k];
        for (size_t part = 0; part <= KB_UNFOLD_PARTS; part++) {
            parts->bound_mm[k * KB_UNFOLD_PARTS + part] =
                whole->bound_mm[k] + width * (double)part / KB_UNFOLD_PARTS;
        }
    }
}

/* Classes in Saltykov's ratio, upwards from the smallest section where there is a smallest. */
static void ratio_classes(double least_um, double largest_um, struct classes *classes) {
    double bins = least_um > 0.0 ? ceil(log10(largest_um / least_um) / log_step) : 0.0;
    double top = least_um > 0.0 ? least_um * pow(10.0, log_step * bins) : largest_um;
    classes->bins = bins < 1.0                 ? log_classes
                    : bins > KB_SPHERE_CLASSES ? KB_SPHERE_CLASSES
                                               : (size_t)bins;
    for (size_t k = 0; k <= classes->bins; k++) {
        classes->bound_mm[k] = top / um_per_mm * pow(10.0, -log_step * (double)(classes->bins - k));
    }
}

/* ---- the plane ---- */

struct extent {
    double least_um, largest_um;
    size_t sections;
};

static struct extent measure_extent(const struct kb_used *used) {
    struct extent extent = {0.0, 0.0, 0};
    for (size_t i = 0; i < used->count; i++) {
        extent.least_um = fmax(extent.least_um, used->field[i]->least_um);
    }
    for (size_t i = 0; i < used->count; i++) {
        for (size_t k = 0; k < used->field[i]->particle_count; k++) {
            double diameter;
            double weight;
            if (section_of(used->field[i], k, extent.least_um, &diameter, &weight)) {
                extent.sections++;
                extent.largest_um = fmax(extent.largest_um, diameter);
            }
        }
    }
    return extent;
}

static struct kb_estimate ratio(const struct kb_used *used, const char *unit) {
    return kb_estimate_ratio(used->top, used->bottom, used->count, 1.0, unit, 0.0, KB_INFINITY);
}

/* Number and mean diameter of the sections themselves. */
static void plane_figures(const struct kb_used *used, const struct extent *extent,
                          struct kb_spheres *out) {
    for (size_t i = 0; i < used->count; i++) {
        struct kb_sum length = {.parts = 0, .broken = false};
        struct kb_sum number = {.parts = 0, .broken = false};
        for (size_t k = 0; k < used->field[i]->particle_count; k++) {
            double diameter;
            double weight;
            if (section_of(used->field[i], k, extent->least_um, &diameter, &weight)) {
                kb_sum_add(&length, weight * diameter);
                kb_sum_add(&number, weight);
            }
        }
        used->top[i] = kb_sum_value(&length);
        used->bottom[i] = kb_sum_value(&number);
    }
    out->plane_mean_um = ratio(used, "um");
    for (size_t i = 0; i < used->count; i++) {
        used->top[i] = used->bottom[i];
        used->bottom[i] = used->field[i]->area_mm2;
    }
    out->per_mm2 = ratio(used, "1/mm2");
}

/* ---- Schwartz-Saltykov: linear in the sections, so each field has its own ---- */

static void lumped_figures(const struct kb_used *used, double least_um,
                           const struct classes *classes, struct kb_estimate *per_mm3,
                           struct kb_estimate *mean_um) {
    double seen[KB_SPHERE_CLASSES];
    double spheres[KB_SPHERE_CLASSES];
    for (int wanted = 0; wanted < 2; wanted++) {
        for (size_t i = 0; i < used->count; i++) {
            double number = 0.0;
            double length = 0.0;
            sort_sections(used->field[i], least_um, classes, seen);
            kb_unfold_back(classes->kernel, classes->bins, seen, spheres);
            for (size_t k = 0; k < classes->bins; k++) {
                number += spheres[k];
                length += spheres[k] * um_per_mm * classes->bound_mm[k + 1];
            }
            used->top[i] = wanted == 0 ? number : length;
            used->bottom[i] = wanted == 0 ? used->field[i]->area_mm2 : number;
        }
        *(wanted == 0 ? per_mm3 : mean_um) = ratio(used, wanted == 0 ? "1/mm3" : "um");
    }
}

/* ---- smoothed expectation-maximisation ---- */

enum { NUMBER, MEAN, VOLUME, TOTALS };

/* Number a mm3, mean diameter and volume of the spheres, which are spread evenly over a class. */
static void total_up(const struct classes *classes, const double *spheres, double total[TOTALS]) {
    const double sixth_pi = 0.52359877559829887308;
    double length = 0.0;
    total[NUMBER] = total[VOLUME] = 0.0;
    for (size_t k = 0; k < classes->bins; k++) {
        double from = classes->bound_mm[k];
        double to = classes->bound_mm[k + 1];
        total[NUMBER] += spheres[k];
        length += spheres[k] * 0.5 * um_per_mm * (from + to);
        total[VOLUME] += sixth_pi * spheres[k] * 0.25 * (from + to) * (from * from + to * to);
    }
    total[MEAN] = length / total[NUMBER];
}

/* What the fields give together, and each set that leaves one out. */
struct fits {
    double *seen;    /* fields x bins: sections of one field, weighted */
    double *without; /* (TOTALS + classes) x fields: totals, then spheres by class */
    double all[KB_UNFOLD_BINS];
    double area_mm2;
    double whole[KB_UNFOLD_BINS];
    double total[TOTALS];
};

/* Spheres of the k-th whole class. */
static double in_class(const double *spheres, size_t k) {
    double sum = 0.0;
    for (size_t part = 0; part < KB_UNFOLD_PARTS; part++) {
        sum += spheres[k * KB_UNFOLD_PARTS + part];
    }
    return sum;
}

/* Delete-one-field jackknife. */
static double standard_error(const double *without, size_t n) {
    double centre = kb_sum_of(without, n) / (double)n;
    struct kb_sum squares = {.parts = 0, .broken = false};
    for (size_t i = 0; i < n; i++) {
        kb_sum_add(&squares, (without[i] - centre) * (without[i] - centre));
    }
    return sqrt(kb_sum_value(&squares) * (double)(n - 1) / (double)n);
}

static struct kb_estimate smooth_figure(const struct fits *fits, int which, size_t fields,
                                        const char *unit) {
    struct kb_estimate estimate =
        kb_estimate_point(fits->total[which], fields, unit, method_smooth_point);
    if (fields >= least_fields) {
        double spread = standard_error(fits->without + (size_t)which * fields, fields);
        double freedom, u;
        double half =
            kb_half_length(spread, method_share * fits->total[which], fields, &freedom, &u);
        if (isfinite(half)) {
            kb_set_interval(&estimate, half, 1.0, 0.0, KB_INFINITY);
            estimate.s = spread * sqrt((double)fields);
            estimate.has_interval = true;
            estimate.method = method_smooth;
        }
    }
    return estimate;
}

static void collect_sections(const struct kb_used *used, double least_um,
                             const struct classes *classes, struct fits *fits) {
    for (size_t i = 0; i < used->count; i++) {
        sort_sections(used->field[i], least_um, classes, fits->seen + i * classes->bins);
        used->top[i] = used->field[i]->area_mm2;
    }
    fits->area_mm2 = kb_sum_of(used->top, used->count);
    for (size_t k = 0; k < classes->bins; k++) {
        for (size_t i = 0; i < used->count; i++) {
            used->top[i] = fits->seen[i * classes->bins + k];
        }
        fits->all[k] = kb_sum_of(used->top, used->count);
    }
}

static void fit_without(const struct kb_used *used, const struct classes *classes, double smoothing,
                        struct fits *fits) {
    for (size_t i = 0; i < used->count; i++) {
        double seen[KB_UNFOLD_BINS];
        double spheres[KB_UNFOLD_BINS];
        double total[TOTALS];
        double rest = fits->area_mm2 - used->field[i]->area_mm2;
        for (size_t k = 0; k < classes->bins; k++) {
            seen[k] = fmax(fits->all[k] - fits->seen[i * classes->bins + k], 0.0) / rest;
            spheres[k] = fits->whole[k];
        }
        kb_unfold_rounds(classes->kernel, classes->bins, seen, smoothing, spheres);
        total_up(classes, spheres, total);
        for (size_t k = 0; k < TOTALS; k++) {
            fits->without[k * used->count + i] = total[k];
        }
        for (size_t k = 0; k < classes->bins / KB_UNFOLD_PARTS; k++) {
            fits->without[(TOTALS + k) * used->count + i] = in_class(spheres, k);
        }
    }
}

static void fill_bins(const struct kb_used *used, const struct fits *fits, struct kb_spheres *out) {
    double t = kb_student_95(used->count);
    for (size_t k = 0; k < out->bins; k++) {
        struct kb_sphere_class *bin = &out->bin[k];
        bin->spheres_per_mm3 = in_class(fits->whole, k);
        bin->lo = bin->hi = KB_NAN;
        if (used->count >= least_fields) {
            double half =
                t * standard_error(fits->without + (TOTALS + k) * used->count, used->count);
            bin->lo = fmax(bin->spheres_per_mm3 - half, 0.0);
            bin->hi = bin->spheres_per_mm3 + half;
        }
    }
}

static void smooth_figures(const struct kb_used *used, const struct classes *whole,
                           struct fits *fits, struct kb_spheres *out) {
    struct classes classes = {.bins = 0};
    double seen[KB_UNFOLD_BINS] = {0};
    double weight = 0.0;
    part_classes(whole, &classes);
    kb_unfold_kernel(classes.bound_mm, classes.bins, true, classes.kernel);
    collect_sections(used, out->least_um, &classes, fits);
    for (size_t k = 0; k < classes.bins; k++) {
        weight += fits->all[k];
        seen[k] = fits->all[k] / fits->area_mm2;
    }
    for (size_t k = 0; k < out->bins; k++) {
        out->bin[k].sections_per_mm2 = in_class(seen, k);
    }
    double one = weight / (double)out->sections / fits->area_mm2;
    out->smoothing =
        kb_unfold_smooth(classes.kernel, classes.bins, seen, one, fits->whole, &out->misfit);
    total_up(&classes, fits->whole, fits->total);
    if (used->count >= least_fields) {
        fit_without(used, &classes, out->smoothing, fits);
    }
    out->per_mm3 = smooth_figure(fits, NUMBER, used->count, "1/mm3");
    out->mean_um = smooth_figure(fits, MEAN, used->count, "um");
    out->volume_fraction = smooth_figure(fits, VOLUME, used->count, "1");
    fill_bins(used, fits, out);
}

/* ---- all ---- */

/* Both methods of Saltykov; `linear` are the classes of the report. */
static void saltykov_figures(const struct kb_used *used, const struct extent *extent,
                             struct classes *linear, struct kb_spheres *out) {
    double spheres[KB_SPHERE_CLASSES];
    double seen[KB_SPHERE_CLASSES];
    struct classes by_ratio = {.bins = 0};
    ratio_classes(extent->least_um, extent->largest_um, &by_ratio);
    kb_unfold_kernel(by_ratio.bound_mm, by_ratio.bins, false, by_ratio.kernel);
    lumped_figures(used, extent->least_um, &by_ratio, &out->log_per_mm3, &out->log_mean_um);
    kb_unfold_kernel(linear->bound_mm, linear->bins, false, linear->kernel);
    lumped_figures(used, extent->least_um, linear, &out->saltykov_per_mm3, &out->saltykov_mean_um);
    for (size_t k = 0; k < out->bins; k++) {
        seen[k] = out->bin[k].sections_per_mm2;
    }
    kb_unfold_back(linear->kernel, out->bins, seen, spheres);
    for (size_t k = 0; k < out->bins; k++) {
        out->bin[k].from_um = um_per_mm * linear->bound_mm[k];
        out->bin[k].to_um = um_per_mm * linear->bound_mm[k + 1];
        out->bin[k].saltykov_per_mm3 = spheres[k];
    }
}

void kb_spheres_miss(const char *why, struct kb_spheres *out) {
    *out = (struct kb_spheres){.why = why, .least_um = KB_NAN};
    out->smoothing = out->misfit = KB_NAN;
    out->per_mm2 = kb_estimate_missing("1/mm2", why);
    out->volume_fraction = kb_estimate_missing("1", why);
    out->per_mm3 = out->saltykov_per_mm3 = out->log_per_mm3 = kb_estimate_missing("1/mm3", why);
    out->plane_mean_um = out->mean_um = out->saltykov_mean_um = out->log_mean_um =
        kb_estimate_missing("um", why);
}

enum kb_status kb_spheres_run(const struct kb_used *used, enum kb_material material,
                              struct kb_spheres *out, struct kb_err *err) {
    struct extent extent = measure_extent(used);
    if (material != KB_DUCTILE_IRON || extent.sections < least_sections) {
        kb_spheres_miss(material != KB_DUCTILE_IRON ? why_material : why_few, out);
        return KB_OK;
    }
    *out = (struct kb_spheres){.least_um = extent.least_um, .sections = extent.sections};
    struct classes classes = {.bins = 0};
    struct fits fits = {.seen = NULL};
    size_t room = used->count * (KB_UNFOLD_BINS + TOTALS + KB_SPHERE_CLASSES);
    fits.seen = kb_alloc(room, sizeof(double));
    if (fits.seen == NULL) {
        return kb_fail_memory(err, "specimen", room * sizeof(double));
    }
    fits.without = fits.seen + used->count * KB_UNFOLD_BINS;
    linear_classes(extent.least_um, extent.largest_um, &classes);
    out->bins = classes.bins;
    smooth_figures(used, &classes, &fits, out);
    saltykov_figures(used, &extent, &classes, out);
    plane_figures(used, &extent, out);
    kb_free(fits.seen);
    return KB_OK;
}
