/* share_pack.c - the bytes of a share: everything that a result says of one field, but its
 * pictures.
 *
 * Of the particles, those that count keep what the specimen is pooled from and the page is drawn
 * from: sections for the unfolding in space (diameter, box, form), sizes and shapes. The others
 * keep their state alone. So a share is some ten kilobytes, and yet a specimen that is pooled from
 * shares has the same figures, to the last digit, as one that was measured in one go.
 */
#include "share.h"

/* More than any picture can hold; a damaged length shall not ask for gigabytes. */
enum { PARTICLES_MOST = 1 << 24, ITEMS_MOST = 1 << 16, JPEG_MOST = 1 << 25 };

static void pack_rect(struct kb_pack *pack, struct kb_rect *rect) {
    kb_pack_int(pack, &rect->x);
    kb_pack_int(pack, &rect->y);
    kb_pack_int(pack, &rect->width);
    kb_pack_int(pack, &rect->height);
}

static void pack_found(struct kb_pack *pack, struct kb_contrast_found *found) {
    kb_pack_bool(pack, &found->sure);
    found->contrast = (enum kb_contrast)kb_pack_choice(pack, (int)found->contrast, KB_SEM + 1);
    kb_pack_numbers(pack, found->belief, 3);
    found->count = kb_pack_choice(pack, found->count, KB_EVIDENCE_MAX + 1);
    for (int i = 0; i < found->count; i++) {
        struct kb_evidence *evidence = &found->evidence[i];
        kb_pack_word(pack, &evidence->what);
        kb_pack_number(pack, &evidence->value);
        kb_pack_word(pack, &evidence->unit);
        kb_pack_numbers(pack, evidence->speaks, 3);
    }
}

static void pack_marks(struct kb_pack *pack, struct kb_field_result *field) {
    const size_t marks = kb_pack_count(pack, field->marks, ITEMS_MOST);
    field->mark = kb_pack_items(pack, field->mark, marks, sizeof *field->mark);
    field->marks = field->mark != NULL ? marks : 0;
    for (size_t i = 0; i < field->marks; i++) {
        struct kb_mark *mark = &field->mark[i];
        mark->kind = (enum kb_mark_kind)kb_pack_choice(pack, (int)mark->kind, KB_MARK_KINDS);
        pack_rect(pack, &mark->box);
        kb_pack_number(pack, &mark->bar_px);
    }
    kb_pack_whole(pack, &field->outside_px);
}

static void pack_quality(struct kb_pack *pack, struct kb_quality *quality) {
    for (int i = 0; i < KB_CHECKS; i++) {
        struct kb_check_result *check = &quality->check[i];
        kb_pack_bool(pack, &check->looked);
        check->fitness = (enum kb_fitness)kb_pack_choice(pack, (int)check->fitness, KB_NOT_FIT + 1);
        kb_pack_number(pack, &check->value);
        kb_pack_number(pack, &check->warn);
        kb_pack_number(pack, &check->unfit);
        kb_pack_bool(pack, &check->more_is_worse);
        kb_pack_word(pack, &check->unit);
        kb_pack_chars(pack, check->says, sizeof check->says);
        kb_pack_chars(pack, check->advice, sizeof check->advice);
    }
    quality->fitness = (enum kb_fitness)kb_pack_choice(pack, (int)quality->fitness, KB_NOT_FIT + 1);
    quality->scratch_families = kb_pack_choice(pack, quality->scratch_families, 3);
    for (int i = 0; i < quality->scratch_families; i++) {
        kb_pack_number(pack, &quality->scratch[i].angle);
        kb_pack_number(pack, &quality->scratch[i].length_px);
        kb_pack_number(pack, &quality->scratch[i].width_px);
        kb_pack_size(pack, &quality->scratch[i].lines);
    }
    kb_pack_bool(pack, &quality->crossed);
    kb_pack_word(pack, &quality->coarsest_abrasive);
}

static void pack_segmentation(struct kb_pack *pack, struct kb_segmentation_figures *figures) {
    figures->classes = kb_pack_choice(pack, figures->classes, 4);
    figures->thresholds = kb_pack_choice(pack, figures->thresholds, 3);
    kb_pack_numbers(pack, figures->threshold, 2);
    kb_pack_numbers(pack, figures->threshold_found, 2);
    for (int i = 0; i < 2; i++) {
        figures->origin[i] = (enum kb_threshold_origin)kb_pack_choice(pack, (int)figures->origin[i],
                                                                      KB_THRESHOLD_BY_HAND + 1);
    }
    for (int i = 0; i < 3; i++) {
        figures->class_phase[i] =
            (enum kb_phase)kb_pack_choice(pack, (int)figures->class_phase[i], KB_PHASES);
    }
    kb_pack_numbers(pack, figures->class_mean, 3);
    kb_pack_numbers(pack, figures->class_share, 3);
    kb_pack_number(pack, &figures->separability);
    kb_pack_numbers(pack, figures->valley, 2);
    kb_pack_number(pack, &figures->unevenness);
    kb_pack_bool(pack, &figures->evened);
    for (int i = 0; i < 256; i++) {
        kb_pack_whole(pack, &figures->histogram[i]);
    }
    kb_pack_number(pack, &figures->grey_low);
    kb_pack_number(pack, &figures->grey_high);
    for (int i = 0; i < KB_PHASES; i++) {
        kb_pack_whole(pack, &figures->pixels[i]);
    }
    kb_pack_whole(pack, &figures->recovered_line_px);
    kb_pack_whole(pack, &figures->recovered_speck_px);
    kb_pack_whole(pack, &figures->dark_pearlite_px);
    kb_pack_bool(pack, &figures->other_sought);
    kb_pack_whole(pack, &figures->mid_grey_px);
    kb_pack_whole(pack, &figures->white_px);
    kb_pack_whole(pack, &figures->by_hand_px);
    kb_pack_bool(pack, &figures->lamellae_closed);
    kb_pack_bool(pack, &figures->one_constituent);
    kb_pack_bool(pack, &figures->network.found);
    kb_pack_number(pack, &figures->network.stability);
    kb_pack_number(pack, &figures->network.rim);
    kb_pack_number(pack, &figures->network.contrast);
    kb_pack_number(pack, &figures->network.plates);
}

static void pack_particle(struct kb_pack *pack, struct kb_particle *particle) {
    particle->state =
        (enum kb_particle_state)kb_pack_choice(pack, (int)particle->state, KB_PARTICLE_STATES);
    if (particle->state != KB_COUNTS) {
        return;
    }
    kb_pack_number(pack, &particle->area_px2);
    kb_pack_number(pack, &particle->diameter_px);
    kb_pack_number(pack, &particle->feret_max_px);
    kb_pack_number(pack, &particle->shape_factor);
    particle->form = (enum kb_form)kb_pack_choice(pack, (int)particle->form, KB_FORMS);
    particle->form_found = (enum kb_form)kb_pack_choice(pack, (int)particle->form_found, KB_FORMS);
    kb_pack_bool(pack, &particle->by_hand);
    particle->size_class = kb_pack_choice(pack, particle->size_class, 9);
    pack_rect(pack, &particle->box);
}

static void pack_particles(struct kb_pack *pack, struct kb_particles *particles) {
    const size_t count = kb_pack_count(pack, particles->count, PARTICLES_MOST);
    particles->particle =
        kb_pack_items(pack, particles->particle, count, sizeof *particles->particle);
    particles->count = particles->particle != NULL ? count : 0;
    for (size_t i = 0; i < particles->count && !pack->failed; i++) {
        particles->particle[i].id = (uint32_t)(i + 1);
        pack_particle(pack, &particles->particle[i]);
    }
    for (int i = 0; i < KB_PARTICLE_STATES; i++) {
        kb_pack_size(pack, &particles->in_state[i]);
    }
    kb_pack_size(pack, &particles->by_outline);
    kb_pack_size(pack, &particles->by_pixels);
    kb_pack_size(pack, &particles->parted_clusters);
    kb_pack_size(pack, &particles->parted_pieces);
    kb_pack_number(pack, &particles->doubtful);
    kb_pack_number(pack, &particles->doubtful_share);
    kb_pack_number(pack, &particles->doubtful_area);
    kb_pack_size(pack, &particles->by_hand);
    kb_pack_number(pack, &particles->px_um);
    kb_pack_number(pack, &particles->min_feret_um);
    kb_pack_int(pack, &particles->width);
    kb_pack_int(pack, &particles->height);
}

static void pack_frame(struct kb_pack *pack, struct kb_frame *frame) {
    kb_pack_int(pack, &frame->width);
    kb_pack_int(pack, &frame->height);
    frame->holes = kb_pack_count(pack, frame->holes, KB_FRAME_RECTS);
    for (size_t i = 0; i < frame->holes; i++) {
        pack_rect(pack, &frame->hole[i]);
    }
    kb_pack_bool(pack, &frame->ragged);
    kb_pack_number(pack, &frame->measured_px);
}

static void pack_flakes(struct kb_pack *pack, struct kb_flake_figures *flakes) {
    kb_pack_bool(pack, &flakes->looked);
    flakes->bar = (enum kb_flake_bar)kb_pack_choice(pack, (int)flakes->bar, KB_FLAKE_BARS);
    kb_pack_size(pack, &flakes->flakes);
    kb_pack_numbers(pack, flakes->value, KB_FLAKE_MEASURES);
    kb_pack_number(pack, &flakes->order_error);
    kb_pack_number(pack, &flakes->direction);
    kb_pack_number(pack, &flakes->longest_um);
}

static void pack_graphite(struct kb_pack *pack, struct kb_field_figures *figures) {
    kb_pack_numbers(pack, figures->nodular_um2, KB_NOD_METHODS);
    kb_pack_numbers(pack, figures->graphite_um2, KB_NOD_METHODS);
    kb_pack_number(pack, &figures->nodular_framed_um2);
    kb_pack_number(pack, &figures->graphite_framed_um2);
    kb_pack_number(pack, &figures->graphite_um4);
    kb_pack_size(pack, &figures->nodules);
    kb_pack_size(pack, &figures->rated);
    kb_pack_number(pack, &figures->nodules_per_mm2);
    kb_pack_numbers(pack, figures->form_um2, KB_FORMS);
    for (int i = 0; i < 9; i++) {
        kb_pack_size(pack, &figures->size_count[i]);
    }
    kb_pack_number(pack, &figures->feret_sum_um);
    kb_pack_number(pack, &figures->feret_largest_um);
    kb_pack_number(pack, &figures->rated_weighted);
    kb_pack_size(pack, &figures->cut);
    kb_pack_size(pack, &figures->cut_kept);
    kb_pack_bool(pack, &figures->edges_plain);
    for (int i = 0; i < KB_LINE_DIRECTIONS; i++) {
        kb_pack_number(pack, &figures->lines[i].length_um);
        kb_pack_whole(pack, &figures->lines[i].crossing);
    }
    pack_flakes(pack, &figures->flakes);
    kb_pack_number(pack, &figures->least_um);
    pack_frame(pack, &figures->frame);
}

/* All but the view of the particles. */
static void pack_figures(struct kb_pack *pack, struct kb_field_figures *figures) {
    figures->contrast = (enum kb_contrast)kb_pack_choice(pack, (int)figures->contrast, KB_SEM + 1);
    kb_pack_number(pack, &figures->px_um);
    kb_pack_number(pack, &figures->area_mm2);
    kb_pack_numbers(pack, figures->fraction, KB_PHASES);
    kb_pack_number(pack, &figures->pearlite_of_matrix);
    kb_pack_number(pack, &figures->other_of_matrix);
    kb_pack_bool(pack, &figures->graphite_measured);
    for (int i = 0; i < KB_PARTICLE_STATES; i++) {
        kb_pack_size(pack, &figures->particles[i]);
    }
    pack_graphite(pack, figures);
}

static void pack_findings(struct kb_pack *pack, struct kb_findings *findings) {
    const size_t count = kb_pack_count(pack, findings->count, ITEMS_MOST);
    findings->item = kb_pack_items(pack, findings->item, count, sizeof *findings->item);
    findings->count = findings->item != NULL ? count : 0;
    findings->capacity = pack->to != NULL ? findings->capacity : findings->count;
    for (size_t i = 0; i < findings->count && !pack->failed; i++) {
        struct kb_finding *finding = &findings->item[i];
        kb_pack_chars(pack, finding->code, sizeof finding->code);
        finding->severity =
            (enum kb_severity)kb_pack_choice(pack, (int)finding->severity, KB_SERIOUS + 1);
        kb_pack_chars(pack, finding->text, sizeof finding->text);
    }
}

static void pack_picture(struct kb_pack *pack, struct kb_field_result *field) {
    uint64_t page[] = {field->page, field->pages, field->bits};
    kb_pack_chars(pack, field->sha256, sizeof field->sha256);
    kb_pack_word(pack, &field->format);
    for (int i = 0; i < 3; i++) {
        kb_pack_whole(pack, &page[i]);
    }
    field->page = (uint32_t)page[0];
    field->pages = (uint32_t)page[1];
    field->bits = (uint32_t)page[2];
    kb_pack_int(pack, &field->width);
    kb_pack_int(pack, &field->height);
    kb_pack_number(pack, &field->px_um);
    kb_pack_number(pack, &field->px_um_u);
    field->scale_source =
        (enum kb_scale_source)kb_pack_choice(pack, (int)field->scale_source, KB_SCALE_SOURCES);
    field->contrast = (enum kb_contrast)kb_pack_choice(pack, (int)field->contrast, KB_SEM + 1);
}

static void pack_exclusions(struct kb_pack *pack, struct kb_field_result *field) {
    const size_t count = kb_pack_count(pack, field->exclusions, ITEMS_MOST);
    field->exclusion = kb_pack_items(pack, field->exclusion, count, sizeof *field->exclusion);
    field->exclusions = field->exclusion != NULL ? count : 0;
    for (size_t i = 0; i < field->exclusions; i++) {
        pack_rect(pack, &field->exclusion[i]);
    }
}

/* What came of decisions about this field alone; the rest of them is in the job file. */
static void pack_hands(struct kb_pack *pack, const struct kb_share *share) {
    for (size_t i = 0; i < share->hands; i++) {
        struct kb_by_hand *hand = &share->hand[i];
        if (hand->field != share->index + 1) {
            continue;
        }
        uint64_t particle = hand->particle;
        hand->phase_found = (enum kb_phase)kb_pack_choice(pack, (int)hand->phase_found, KB_PHASES);
        kb_pack_whole(pack, &hand->pixels);
        hand->form_found = (enum kb_form)kb_pack_choice(pack, (int)hand->form_found, KB_FORMS);
        kb_pack_whole(pack, &particle);
        hand->particle = (uint32_t)particle;
        kb_pack_size(pack, &hand->parts);
        kb_pack_number(pack, &hand->level_found);
        kb_pack_number(pack, &hand->px_um_u);
        kb_pack_bool(pack, &hand->without_effect);
    }
}

void kb_share_pack(struct kb_pack *pack, const struct kb_share *share) {
    struct kb_field_result *field = share->field;
    pack_picture(pack, field);
    pack_found(pack, &field->contrast_found);
    pack_marks(pack, field);
    pack_quality(pack, &field->quality);
    kb_pack_bool(pack, &field->unfit_accepted);
    pack_exclusions(pack, field);
    pack_segmentation(pack, &field->segmentation);
    pack_particles(pack, &field->particles);
    pack_figures(pack, &field->figures);
    pack_findings(pack, &field->findings);
    if (share->moved != NULL) {
        kb_pack_bool(pack, &share->moved->known);
        pack_figures(pack, &share->moved->lower);
        pack_figures(pack, &share->moved->higher);
    }
    pack_hands(pack, share);
}

void kb_share_pack_pictures(struct kb_pack *pack, struct kb_field_result *field) {
    kb_pack_block(pack, &field->photo_jpeg, &field->photo_size, JPEG_MOST);
    kb_pack_block(pack, &field->overlay_jpeg, &field->overlay_size, JPEG_MOST);
    kb_pack_int(pack, &field->shown_width);
    kb_pack_int(pack, &field->shown_height);
}
