/* form_by_hand.c - forms of particles that a person set.
 *
 * A correction names a pixel and means the particle that holds it, as it stands after holes are
 * filled and clusters parted. The form by the figures is kept beside it (form_found), and the
 * particle is marked, since nodularity then goes by its form and no longer by its shape factor. A
 * particle that does not count has no form: such a correction is told, not obeyed, so that a larger
 * minimum size does not break a job file.
 */
#include "morphology_priv.h"

/* The id of the particle in *id; 0 where there is none and that is allowed. */
static enum kb_status find_particle(const struct kb_form_by_hand *said,
                                    const struct kb_particles *out, uint32_t *id,
                                    struct kb_err *err) {
    uint32_t region = 0;
    bool found = kb_runs_at(&out->runs, said->x, said->y, &region);
    *id = found ? region + 1 : 0;
    if (found || said->may_miss) {
        return KB_OK;
    }
    if (said->x < 0 || said->y < 0 || said->x >= out->width || said->y >= out->height) {
        return kb_fail(err, KB_E_USAGE, "morphology", NULL,
                       "form by hand at %d,%d: outside the picture of %d x %d pixels (give x,y "
                       "from its upper left corner)",
                       (int)said->x, (int)said->y, (int)out->width, (int)out->height);
    }
    return kb_fail(err, KB_E_USAGE, "morphology", NULL,
                   "form by hand at %d,%d: no graphite particle holds this pixel (take one "
                   "inside the outline that the overlay shows)",
                   (int)said->x, (int)said->y);
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

/* Whether a later word gives the same particle another form. */
static bool is_overruled(const struct kb_morphology_params *params, size_t index,
                         const struct kb_particles *out) {
    for (size_t k = index + 1; k < params->by_hands; k++) {
        if (out->named[k] == out->named[index] &&
            params->by_hand[k].form != params->by_hand[index].form) {
            return true;
        }
    }
    return false;
}

static enum kb_status obey(const struct kb_form_by_hand *said, uint32_t id,
                           struct kb_particles *out, struct kb_err *err) {
    struct kb_particle *particle = &out->particle[id - 1];
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

/* One that may miss its particle, and did, or that a later one takes the place of. */
static enum kb_status pass_over(const struct kb_form_by_hand *said, bool overruled,
                                struct kb_particles *out, struct kb_err *err) {
    return kb_findings_add(
        &out->findings, err, KB_WARNING, "by-hand-without-effect",
        overruled ? "Form %s by hand at %d,%d: a later decision about this particle holds."
                  : "Form %s by hand at %d,%d changes nothing: no graphite particle holds this "
                    "pixel.",
        kb_form_roman(said->form), (int)said->x, (int)said->y);
}

static enum kb_status obey_all(const struct kb_morphology_params *params, struct kb_particles *out,
                               struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < params->by_hands && status == KB_OK; i++) {
        status = find_particle(&params->by_hand[i], out, &out->named[i], err);
    }
    for (size_t i = 0; i < params->by_hands && status == KB_OK; i++) {
        const struct kb_form_by_hand *said = &params->by_hand[i];
        const bool missed = out->named[i] == 0;
        if (missed || (said->may_miss && is_overruled(params, i, out))) {
            out->named[i] = 0;
            status = pass_over(said, !missed, out, err);
        } else {
            status = obey(said, out->named[i], out, err);
        }
    }
    return status;
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
    return obey_all(params, out, err);
}
