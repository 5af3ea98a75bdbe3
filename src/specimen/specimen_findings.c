/* specimen_findings.c - what the signer must know about the sampling, and what to do about it.
 *
 * Each remark is one row: a condition on the pooled figures, a stable code, a sentence in the words
 * of the bench. Five fields and 500 particles come from params (sources there), limits of the
 * standards from refs/specimen_rules.csv.
 */
#include "specimen_priv.h"

/* Less than this share of the graphite area may be worms that happen to lie thin (ours). */
static const double least_lamellar = 1.0;
/* The frame hides enough to say so when weighting for it moves nodularity by a point. */
static const double frame_points = 1.0;

/* Round sections among flakes: more is another iron (ours, as in flake_letters.c). */
static const double most_nodular_percent = 20.0;

static double half_width(const struct kb_estimate *estimate) {
    return estimate->has_interval ? 0.5 * (estimate->hi - estimate->lo) : 0.0;
}

static size_t fields_behind(const struct kb_specimen *specimen) {
    return specimen->fields_graphite > specimen->fields_matrix ? specimen->fields_graphite
                                                               : specimen->fields_matrix;
}

static enum kb_status remark_number(const struct kb_specimen_params *params,
                                    struct kb_specimen *specimen, struct kb_err *err) {
    size_t least = fields_behind(specimen);
    if (specimen->fields_graphite > 0 && specimen->fields_matrix > 0) {
        least = specimen->fields_graphite < specimen->fields_matrix ? specimen->fields_graphite
                                                                    : specimen->fields_matrix;
    }
    if (least == 0) {
        return KB_OK; /* nothing measured: said elsewhere */
    }
    if (least == 1) {
        return kb_findings_add(
            &specimen->findings, err, KB_WARNING, "one-field",
            "Some figures rest on a single field: there is no interval, and a limit stays "
            "undecided. "
            "Photograph at least %zu fields, spread over the section without choosing.",
            params->min_fields);
    }
    if (least < params->min_fields) {
        return kb_findings_add(&specimen->findings, err, KB_WARNING, "few-fields",
                               "Only %zu fields: the spread between fields is poorly known and the "
                               "intervals are wide. "
                               "Photograph at least %zu, spread over the section without choosing.",
                               least, params->min_fields);
    }
    return KB_OK;
}

/* Flakes: is it flake graphite, and are there enough of them for a distribution. */
static enum kb_status remark_flakes(struct kb_specimen *specimen, struct kb_err *err) {
    const struct kb_flake_distribution *flakes = &specimen->distribution;
    const struct kb_estimate *form = specimen->form_area_percent;
    double nodular = form[KB_FORM_V].value + form[KB_FORM_VI].value;
    if (form[KB_FORM_I].measured && nodular > most_nodular_percent) {
        return kb_findings_add(
            &specimen->findings, err, KB_WARNING, "not-lamellar",
            "%.0f %% of the graphite is nodular (forms V and VI), too much for a flake iron. Check "
            "that the material is right.",
            nodular);
    }
    if (flakes->fields > 0 && !flakes->told) {
        return kb_findings_add(
            &specimen->findings, err, KB_WARNING, "distribution-not-told",
            "No letter is given for the distribution of the flakes: %s (%zu complete flakes in "
            "%zu fields). Take more or larger fields, spread over the section.",
            flakes->why != NULL ? flakes->why : "no reason", flakes->flakes, flakes->fields);
    }
    return KB_OK;
}

static enum kb_status remark_particles(const struct kb_specimen_params *params,
                                       struct kb_specimen *specimen, struct kb_err *err) {
    size_t counted = specimen->particles[KB_COUNTS];
    if (!isfinite(specimen->area_mm2)) {
        return KB_OK; /* without scale nothing counts: said elsewhere */
    }
    if (counted == 0) {
        return kb_findings_add(&specimen->findings, err, KB_SERIOUS, "no-particles",
                               "No graphite particle counts: all are cut by the frame or below the "
                               "minimum size. Take a "
                               "lower magnification, or check the pixel size and the material.");
    }
    if (specimen->material == KB_GREY_IRON) {
        return remark_flakes(specimen, err);
    }
    if (counted < params->min_particles) {
        return kb_findings_add(&specimen->findings, err, KB_WARNING, "few-particles",
                               "Only %zu graphite particles count, %zu are wanted for nodularity "
                               "and count (500 in ISO 945-4 and ASTM E2567, from memory). "
                               "Photograph more fields.",
                               counted, params->min_particles);
    }
    return KB_OK;
}

/* Area in all, and whether the least size suits what is there. */
static enum kb_status remark_sampled(const struct kb_specimen_params *params,
                                     const struct kb_specimen_counts *counts,
                                     struct kb_specimen *specimen, struct kb_err *err) {
    if (specimen->material == KB_GREY_IRON || specimen->particles[KB_COUNTS] == 0) {
        return KB_OK; /* both rules are of nodularity */
    }
    enum kb_status status = KB_OK;
    if (specimen->area_mm2 < params->min_area_mm2) {
        status = kb_findings_add(
            &specimen->findings, err, KB_NOTE, "small-area",
            "The graphite fields cover %.2f mm2 in all, %.2f mm2 are wanted (five classic prints "
            "of 92 x 71 mm at 100x). Photograph more or larger fields.",
            specimen->area_mm2, params->min_area_mm2);
    }
    size_t counted = specimen->particles[KB_COUNTS];
    if (status == KB_OK && specimen->material == KB_DUCTILE_IRON &&
        counts->least_um > kb_specimen_rules.small_least_feret_um &&
        2 * specimen->size_count[8] > counted) {
        status = kb_findings_add(
            &specimen->findings, err, KB_NOTE, "mostly-size-8",
            "Most particles are of size 8, below 15 um. ISO 945-4, from memory, then rates from "
            "%g um on; here the least maximum Feret diameter is %g um.",
            kb_specimen_rules.small_least_feret_um, counts->least_um);
    }
    return status;
}

/* What a compacted iron must not show much of. */
static enum kb_status remark_compacted(struct kb_specimen *specimen, struct kb_err *err) {
    const struct kb_estimate *nodularity = &specimen->nodularity_percent[KB_NOD_ISO16112];
    const struct kb_estimate *lamellar = &specimen->form_area_percent[KB_FORM_I];
    enum kb_status status = KB_OK;
    if (nodularity->measured &&
        nodularity->value > kb_specimen_rules.most_nodularity_compacted_percent) {
        status = kb_findings_add(
            &specimen->findings, err, KB_WARNING, "too-nodular",
            "Nodularity after ISO 16112 is %.0f %%; compacted iron is accepted up to %.0f %% (from "
            "memory). Check the treatment and the wall thickness, and that the material is right.",
            nodularity->value, kb_specimen_rules.most_nodularity_compacted_percent);
    }
    if (status == KB_OK && lamellar->measured && lamellar->value >= least_lamellar) {
        status = kb_findings_add(
            &specimen->findings, err, KB_WARNING, "lamellar-graphite",
            "%.1f %% of the graphite area is lamellar (form I); compacted iron should show none "
            "(ISO 16112, from memory). Look at these particles in the overlay.",
            lamellar->value);
    }
    return status;
}

/* The estimate with the widest interval among the phases. */
static const struct kb_estimate *widest_phase(const struct kb_specimen *specimen,
                                              const char **name) {
    static const char *const title[KB_PHASES] = {
        [KB_GRAPHITE] = "Graphite",
        [KB_FERRITE] = "Ferrite",
        [KB_PEARLITE] = "Pearlite",
        [KB_CEMENTITE] = "Cementite",
    };
    const struct kb_estimate *widest = &specimen->pearlite_of_matrix;
    *name = "Pearlite share of the matrix";
    for (int phase = KB_GRAPHITE; phase <= KB_CEMENTITE; phase++) {
        if (half_width(&specimen->phase[phase]) > half_width(widest)) {
            widest = &specimen->phase[phase];
            *name = title[phase];
        }
    }
    return widest;
}

static enum kb_status remark_wide(struct kb_specimen *specimen, const char *name, double half,
                                  double want, const char *unit, size_t needed,
                                  struct kb_err *err) {
    if (!(half > want)) {
        return KB_OK;
    }
    if (needed == 0) {
        return kb_findings_add(
            &specimen->findings, err, KB_NOTE, "wide-interval",
            "%s: known to about ±%.1f %s, ±%.1f are wanted; that takes more "
            "fields than can be photographed. Look for the cause of the scatter.",
            name, half, unit, want);
    }
    return kb_findings_add(&specimen->findings, err, KB_NOTE, "wide-interval",
                           "%s: known to about ±%.1f %s, ±%.1f are wanted. At the spread seen so "
                           "far that takes about %zu such fields in all.",
                           name, half, unit, want, needed);
}

static enum kb_status remark_precision(const struct kb_specimen_params *params,
                                       struct kb_specimen *specimen, struct kb_err *err) {
    const char *name;
    const struct kb_estimate *phase = widest_phase(specimen, &name);
    const struct kb_estimate *nodularity = &specimen->nodularity_percent[KB_NOD_ISO945_4];
    const struct kb_estimate *number = &specimen->nodules_per_mm2;
    enum kb_status status =
        remark_wide(specimen, name, 100.0 * half_width(phase), 100.0 * params->want_points,
                    "points", specimen->fields_needed_phase, err);
    if (status == KB_OK && specimen->material == KB_DUCTILE_IRON) {
        status = remark_wide(specimen, "Nodularity", half_width(nodularity),
                             params->want_nodularity_points, "points",
                             specimen->fields_needed_nodularity, err);
    }
    if (status == KB_OK && specimen->material == KB_DUCTILE_IRON && number->value > 0.0) {
        status = remark_wide(specimen, "Nodule count", 100.0 * half_width(number) / number->value,
                             100.0 * params->want_count_share, "% of itself",
                             specimen->fields_needed_count, err);
    }
    return status;
}

static enum kb_status remark_etch(const struct kb_specimen_counts *counts,
                                  struct kb_specimen *specimen, struct kb_err *err) {
    bool iron = kb_material_is_iron(specimen->material);
    if (counts->etched == 0) {
        return kb_findings_add(
            &specimen->findings, err, iron ? KB_NOTE : KB_SERIOUS, "no-etched-field",
            "No etched field: ferrite and pearlite cannot be told apart, and the carbon of the "
            "matrix "
            "is unknown. Etch after the graphite has been photographed, and add those fields.");
    }
    if (iron && counts->unetched == 0) {
        return kb_findings_add(
            &specimen->findings, err, KB_NOTE, "no-unetched-field",
            "Graphite was measured on etched fields. It is judged best as polished: etching eats "
            "its "
            "edges and dark pearlite can pass for graphite. Add unetched fields for the graphite.");
    }
    return KB_OK;
}

static enum kb_status remark_scale(const struct kb_specimen_counts *counts,
                                   struct kb_specimen *specimen, struct kb_err *err) {
    if (counts->without_scale > 0 && counts->without_scale == specimen->fields_graphite) {
        return kb_findings_add(
            &specimen->findings, err, KB_WARNING, "no-scale",
            "The pixel size of no graphite field is known: sizes, counts and nodularity are not "
            "given. State the pixel size from a picture of a stage micrometer.");
    }
    if (counts->without_scale > 0) {
        return kb_findings_add(
            &specimen->findings, err, KB_WARNING, "some-without-scale",
            "%zu of %zu graphite fields have no known pixel size and give no sizes, counts or "
            "nodularity. State the pixel size for them too.",
            counts->without_scale, specimen->fields_graphite);
    }
    if (counts->mixed_scales) {
        return kb_findings_add(
            &specimen->findings, err, KB_NOTE, "mixed-scales",
            "The graphite fields have different pixel sizes. Each is measured on its own scale, "
            "but small particles show differently: take all of them at one magnification.");
    }
    return KB_OK;
}

static enum kb_status remark_areas(const struct kb_specimen_counts *counts,
                                   struct kb_specimen *specimen, struct kb_err *err) {
    if (!counts->mixed_areas) {
        return KB_OK;
    }
    return kb_findings_add(&specimen->findings, err, KB_NOTE, "mixed-areas",
                           "The measured areas of the fields differ by more than a tenth: larger "
                           "fields weigh more in the phase fractions.");
}

static enum kb_status remark_method(struct kb_specimen *specimen, struct kb_err *err) {
    const struct kb_estimate *plain = &specimen->nodularity_percent[KB_NOD_ISO945_4];
    const struct kb_estimate *framed = &specimen->nodularity_framed_percent;
    if (!plain->measured || specimen->material != KB_DUCTILE_IRON) {
        return KB_OK;
    }
    if (plain->value < kb_specimen_rules.least_nodularity_percent) {
        enum kb_status status =
            kb_findings_add(&specimen->findings, err, KB_WARNING, "not-spheroidal",
                            "Nodularity is below %.0f %%, where the spheroidal methods are not "
                            "meant to go. Read the "
                            "forms instead, and check that the material is right.",
                            kb_specimen_rules.least_nodularity_percent);
        if (status != KB_OK) {
            return status;
        }
    }
    if (fabs(plain->value - framed->value) < frame_points) {
        return KB_OK;
    }
    return kb_findings_add(
        &specimen->findings, err, KB_NOTE, "frame-hides-large",
        "Large particles are often cut by the frame and left out: with that made "
        "good, nodularity would be %.1f %% and not %.1f %%. Take larger fields.",
        framed->value, plain->value);
}

/* Fields that agree to the last digit: nothing is learnt about the spread. */
static enum kb_status remark_no_spread(struct kb_specimen *specimen, struct kb_err *err) {
    for (int phase = KB_GRAPHITE; phase <= KB_CEMENTITE; phase++) {
        const struct kb_estimate *estimate = &specimen->phase[phase];
        if (estimate->has_interval && estimate->s <= 0.0) {
            return kb_findings_add(
                &specimen->findings, err, KB_NOTE, "no-spread",
                "All fields give exactly the same %s: the interval has no width, which is not "
                "certainty. Check that the fields are different pictures.",
                kb_phase_name((enum kb_phase)phase));
        }
    }
    return KB_OK;
}

enum kb_status kb_specimen_remark(const struct kb_specimen_params *params,
                                  const struct kb_specimen_counts *counts,
                                  struct kb_specimen *specimen, struct kb_err *err) {
    enum kb_status status = remark_number(params, specimen, err);
    if (status == KB_OK && kb_material_is_iron(specimen->material)) {
        status = remark_scale(counts, specimen, err);
    }
    if (status == KB_OK) {
        status = remark_particles(params, specimen, err);
    }
    if (status == KB_OK && kb_material_is_iron(specimen->material)) {
        status = remark_sampled(params, counts, specimen, err);
    }
    if (status == KB_OK && specimen->material == KB_COMPACTED_IRON) {
        status = remark_compacted(specimen, err);
    }
    if (status == KB_OK) {
        status = remark_etch(counts, specimen, err);
    }
    if (status == KB_OK) {
        status = remark_areas(counts, specimen, err);
    }
    if (status == KB_OK) {
        status = remark_no_spread(specimen, err);
    }
    if (status == KB_OK) {
        status = remark_method(specimen, err);
    }
    return status == KB_OK ? remark_precision(params, specimen, err) : status;
}
