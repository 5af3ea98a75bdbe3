/* field_figures.c - what one field contributes: phase fractions and sums over its particles.
 *
 * Fractions are of the measured area: excluded pixels are in neither part of the fraction. A phase
 * that this field cannot show is NaN, never 0: graphite in steel, ferrite and pearlite in an
 * unetched field or where the map calls the matrix one thing. Particle sums take counting particles
 * only; the number per mm2 weighs each for the frame (frame_weight.c). Cut particles are counted
 * for the counting rules alone (count_rules.c). Without a scale nothing in micrometres is given.
 */
#include "specimen_priv.h"

static const double um2_per_mm2 = 1e6;

static bool looked_for(const struct kb_segmentation_figures *figures, enum kb_phase phase) {
    for (int i = 0; i < figures->classes && i < 3; i++) {
        if (figures->class_phase[i] == phase) {
            return true;
        }
    }
    return figures->pixels[phase] > 0;
}

/* Whether an etched field's map tells the constituents of the matrix apart. */
static bool told_apart(const struct kb_segmentation_figures *figures, enum kb_contrast contrast) {
    uint64_t constituents =
        figures->pixels[KB_FERRITE] + figures->pixels[KB_PEARLITE] + figures->pixels[KB_CEMENTITE];
    return contrast != KB_LIGHT_UNETCHED && (figures->pixels[KB_MATRIX] == 0 || constituents > 0);
}

/* Which phases the field can show. */
static void choose_phases(const struct kb_segmentation_figures *figures, enum kb_contrast contrast,
                          enum kb_material material, bool shown[KB_PHASES]) {
    bool iron = kb_material_is_iron(material);
    bool apart = told_apart(figures, contrast);
    bool cementite = looked_for(figures, KB_CEMENTITE);
    for (int phase = 0; phase < KB_PHASES; phase++) {
        shown[phase] = false;
    }
    shown[KB_GRAPHITE] = iron;
    shown[KB_PEARLITE] = apart && !figures->network.found; /* the rest may be spheroidite */
    shown[KB_CEMENTITE] = apart && cementite;
    shown[KB_FERRITE] =
        shown[KB_PEARLITE] && (iron || !cementite || looked_for(figures, KB_FERRITE));
    shown[KB_MATRIX] = !apart || figures->pixels[KB_MATRIX] > 0;
    shown[KB_OTHER] = figures->other_sought || figures->pixels[KB_OTHER] > 0;
}

static void set_fractions(const struct kb_segmentation_figures *figures,
                          const bool shown[KB_PHASES], struct kb_field_figures *out) {
    uint64_t measured = 0;
    for (int phase = KB_EXCLUDED + 1; phase < KB_PHASES; phase++) {
        measured += figures->pixels[phase];
    }
    for (int phase = 0; phase < KB_PHASES; phase++) {
        out->fraction[phase] = shown[phase] && measured > 0
                                   ? (double)figures->pixels[phase] / (double)measured
                                   : KB_NAN;
    }
    uint64_t matrix = figures->pixels[KB_FERRITE] + figures->pixels[KB_PEARLITE] +
                      figures->pixels[KB_CEMENTITE] + figures->pixels[KB_OTHER];
    out->pearlite_of_matrix = shown[KB_PEARLITE] && matrix > 0
                                  ? (double)figures->pixels[KB_PEARLITE] / (double)matrix
                                  : KB_NAN;
    out->other_of_matrix = shown[KB_PEARLITE] && shown[KB_OTHER] && matrix > 0
                               ? (double)figures->pixels[KB_OTHER] / (double)matrix
                               : KB_NAN;
    out->area_mm2 =
        out->px_um > 0.0 ? (double)measured * out->px_um * out->px_um / um2_per_mm2 : KB_NAN;
}

/* Everything about particles not measured. */
static void clear_particles(struct kb_field_figures *out) {
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        out->nodular_um2[method] = KB_NAN;
        out->graphite_um2[method] = KB_NAN;
    }
    for (int form = 0; form < KB_FORMS; form++) {
        out->form_um2[form] = KB_NAN;
    }
    out->nodular_framed_um2 = KB_NAN;
    out->graphite_framed_um2 = KB_NAN;
    out->rated_weighted = KB_NAN;
    out->graphite_um4 = KB_NAN;
    out->nodules_per_mm2 = KB_NAN;
    out->feret_sum_um = KB_NAN;
    out->feret_largest_um = KB_NAN;
}

/* The sums of one field while they grow, exactly: particles may come in any order. */
struct tally {
    struct kb_sum nodular[KB_NOD_METHODS], graphite[KB_NOD_METHODS], form[KB_FORMS];
    struct kb_sum nodular_framed, graphite_framed, squared, number, rated, feret;
};

static void tally_particle(const struct kb_particle *particle, double px_um, double weight,
                           struct tally *tally, struct kb_field_figures *out) {
    double area = particle->area_px2 * px_um * px_um;
    double feret = particle->feret_max_px * px_um;
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        double credit = kb_nodularity_credit_of((enum kb_nodularity_method)method, particle, px_um);
        if (credit >= 0.0) {
            kb_sum_add(&tally->nodular[method], credit * area);
            kb_sum_add(&tally->graphite[method], area);
        }
    }
    bool nodule = kb_nodularity_credit_of(KB_NOD_ISO945_4, particle, px_um) > 0.0;
    out->rated++;
    kb_sum_add(&tally->rated, weight);
    kb_sum_add(&tally->graphite_framed, weight * area);
    kb_sum_add(&tally->squared, area * area);
    kb_sum_add(&tally->feret, feret);
    if (nodule) {
        out->nodules++;
        kb_sum_add(&tally->nodular_framed, weight * area);
        kb_sum_add(&tally->number, weight);
    }
    if ((unsigned)particle->form < KB_FORMS) {
        kb_sum_add(&tally->form[particle->form], area);
    }
    if (particle->size_class >= 1 && particle->size_class <= 8) {
        out->size_count[particle->size_class]++;
    }
    if (!(out->feret_largest_um >= feret)) {
        out->feret_largest_um = feret;
    }
}

static void close_tally(const struct tally *tally, struct kb_field_figures *out) {
    for (int method = 0; method < KB_NOD_METHODS; method++) {
        out->nodular_um2[method] = kb_sum_value(&tally->nodular[method]);
        out->graphite_um2[method] = kb_sum_value(&tally->graphite[method]);
    }
    for (int form = 0; form < KB_FORMS; form++) {
        out->form_um2[form] = kb_sum_value(&tally->form[form]);
    }
    out->nodular_framed_um2 = kb_sum_value(&tally->nodular_framed);
    out->graphite_framed_um2 = kb_sum_value(&tally->graphite_framed);
    out->graphite_um4 = kb_sum_value(&tally->squared);
    out->rated_weighted = kb_sum_value(&tally->rated);
    out->feret_sum_um = kb_sum_value(&tally->feret);
    out->nodules_per_mm2 =
        out->area_mm2 > 0.0 ? kb_sum_value(&tally->number) / out->area_mm2 : KB_NAN;
}

/* Particles that an edge cuts, of the minimum size as far as can be seen. */
static void count_cut(const struct kb_particles *particles, struct kb_field_figures *out) {
    struct kb_rect open;
    out->edges_plain = kb_frame_open(&out->frame, &open);
    for (size_t i = 0; i < particles->count; i++) {
        const struct kb_particle *particle = &particles->particle[i];
        bool cut = particle->state == KB_ON_FRAME || particle->state == KB_ON_EXCLUSION;
        if (cut && particle->feret_max_px * out->px_um >= out->least_um) {
            out->cut++;
            out->cut_kept += out->edges_plain && kb_two_edges_keep(&open, &particle->box) ? 1 : 0;
        }
    }
}

void kb_field_figures_make(const struct kb_phase_map *map, enum kb_contrast contrast,
                           enum kb_material material, double px_um,
                           const struct kb_particles *particles, struct kb_field_figures *figures) {
    bool shown[KB_PHASES];
    *figures = (struct kb_field_figures){.contrast = contrast};
    figures->px_um = isfinite(px_um) && px_um > 0.0 ? px_um : 0.0;
    choose_phases(&map->figures, contrast, material, shown);
    set_fractions(&map->figures, shown, figures);
    clear_particles(figures);
    if (!kb_material_is_iron(material) || particles == NULL) {
        return;
    }
    for (int state = 0; state < KB_PARTICLE_STATES; state++) {
        figures->particles[state] = particles->in_state[state];
    }
    if (!(figures->px_um > 0.0) || !(figures->area_mm2 > 0.0)) {
        return;
    }
    figures->graphite_measured = true;
    figures->particle = particles->particle;
    figures->particle_count = particles->count;
    figures->least_um = particles->min_feret_um;
    struct tally tally = {0};
    kb_frame_make(map, &figures->frame);
    for (size_t i = 0; i < particles->count; i++) {
        const struct kb_particle *particle = &particles->particle[i];
        if (particle->state == KB_COUNTS) {
            double weight =
                kb_frame_weight(&figures->frame, particle->box.width, particle->box.height);
            tally_particle(particle, figures->px_um, weight, &tally, figures);
        }
    }
    close_tally(&tally, figures);
    count_cut(particles, figures);
    kb_test_lines_run(&map->label, figures->px_um, figures->lines);
}
