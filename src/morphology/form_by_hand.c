/* form_by_hand.c - forms of particles that a person set.
 *
 * A correction names a pixel and means the particle that holds it, as it stands after holes are
 * filled and clusters parted. The form by the figures is kept beside it (form_found), and the
 * particle is marked, since nodularity then goes by its form and no longer by its shape factor. A
 * particle that does not count has no form: such a correction is told, not obeyed, so that a larger
 * minimum size does not break a job file.
 */
#include "morphology_priv.h"

static enum kb_status find_particle(const struct kb_form_by_hand *said,
                                    const struct kb_particles *out, uint32_t *region,
                                    struct kb_err *err) {
    if (said->x < 0 || said->y < 0 || said->x >= out->width || said->y >= out->height) {
        return kb_fail(err, KB_E_USAGE, "morphology", NULL,
                       "form by hand at %d,%d: outside the picture of %d x %d pixels (give x,y "
                       "from its upper left corner)",
                       (int)said->x, (int)said->y, (int)out->width, (int)out->height);
    }
    if (!kb_runs_at(&out->runs, said->x, said->y, region)) {
        return kb_fail(err, KB_E_USAGE, "morphology", NULL,
                       "form by hand at %d,%d: no graphite particle holds this pixel (take one "
                       "inside the outline that the overlay shows)",
                       (int)said->x, (int)said->y);
    }
    return KB_OK;
}

static enum kb_status tell(const struct kb_form_by_hand *said, const struct kb_particle *particle,
                           struct kb_particles *out, struct kb_err *err) {
    if (particle->state != KB_COUNTS) {
        return kb_findings_add(&out->findings, err, KB_WARNING, "form-by-hand-without-effect",
                               "Particle %u at %d,%d was given form %s by hand but does not count "
                               "(%s), so its form changes nothing.",
                               (unsigned)particle->id, (int)said->x, (int)said->y,
                               kb_form_roman(said->form), kb_particle_state_name(particle->state));
    }
    return kb_findings_add(&out->findings, err, KB_NOTE, "form-by-hand",
                           "Particle %u at %d,%d was given form %s by hand; its figures make it "
                           "form %s (shape factor %.2f).",
                           (unsigned)particle->id, (int)said->x, (int)said->y,
                           kb_form_roman(said->form), kb_form_roman(particle->form_found),
                           particle->shape_factor);
}

static enum kb_status obey(const struct kb_form_by_hand *said, size_t index,
                           struct kb_particles *out, struct kb_err *err) {
    uint32_t region = 0;
    enum kb_status status = find_particle(said, out, &region, err);
    if (status != KB_OK) {
        return status;
    }
    struct kb_particle *particle = &out->particle[region];
    out->named[index] = particle->id;
    if (particle->by_hand && particle->form != said->form) {
        return kb_fail(err, KB_E_USAGE, "morphology", NULL,
                       "form by hand at %d,%d: another word by hand gives particle %u form %s "
                       "(keep one)",
                       (int)said->x, (int)said->y, (unsigned)particle->id,
                       kb_form_roman(particle->form));
    }
    if (particle->state == KB_COUNTS && !particle->by_hand) {
        particle->by_hand = true;
        particle->form = said->form;
        out->by_hand++;
    }
    return tell(said, particle, out, err);
}

enum kb_status kb_forms_by_hand(const struct kb_morphology_params *params, struct kb_particles *out,
                                struct kb_err *err) {
    for (size_t i = 0; i < out->count; i++) {
        out->particle[i].by_hand = false;
        out->particle[i].form_found = out->particle[i].form;
    }
    if (params->by_hands == 0) {
        return KB_OK;
    }
    out->named = kb_alloc_zero(params->by_hands, sizeof *out->named);
    if (out->named == NULL) {
        return kb_fail_memory(err, "morphology", params->by_hands * sizeof *out->named);
    }
    out->named_count = params->by_hands;
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < params->by_hands && status == KB_OK; i++) {
        status = obey(&params->by_hand[i], i, out, err);
    }
    return status;
}
