/* prove_match.c - particles as measured beside the outlines that were drawn.
 *
 * A drawn particle that lies wholly in the frame is matched with the measured one whose centroid
 * comes nearest to its centre, if that is within a third of its Feret diameter: nearer than any
 * neighbour can be. Particles that merged or were not found have no match and show up in the number
 * of complete nodules instead. Errors are taken a particle, so that many small ones count as much
 * as few large ones do.
 */
#include "prove.h"

static const double reach = 1.0 / 3.0;

static bool is_complete(const struct kb_particle *particle) {
    return particle->state == KB_COUNTS || particle->state == KB_UNDER_SIZE;
}

static const struct kb_particle *nearest(const struct kb_render_particle *drawn,
                                         const struct kb_particles *particles) {
    const struct kb_particle *best = NULL;
    double least = reach * drawn->feret_max_um;
    for (size_t i = 0; i < particles->count; i++) {
        const struct kb_particle *particle = &particles->particle[i];
        double dx = particle->x_px * particles->px_um - drawn->x_um;
        double dy = particle->y_px * particles->px_um - drawn->y_um;
        double apart = sqrt(dx * dx + dy * dy);
        if (is_complete(particle) && apart < least) {
            least = apart;
            best = particle;
        }
    }
    return best;
}

static void add(struct kb_prove_field *out, enum kb_prove_figure figure, double error) {
    out->found[figure].top += error;
    out->found[figure].bottom += 1.0;
}

void kb_prove_match(const struct kb_render_truth *truth, const struct kb_particles *particles,
                    struct kb_prove_field *out) {
    const double px = particles->px_um;
    for (size_t i = 0; i < truth->count; i++) {
        const struct kb_render_particle *drawn = &truth->particle[i];
        const struct kb_particle *particle = drawn->inside ? nearest(drawn, particles) : NULL;
        if (particle == NULL) {
            continue;
        }
        add(out, KB_PROVE_AREA, particle->area_px2 * px * px / drawn->area_um2 - 1.0);
        add(out, KB_PROVE_FERET, particle->feret_max_px * px / drawn->feret_max_um - 1.0);
        add(out, KB_PROVE_PERIMETER, particle->perimeter_px * px / drawn->perimeter_um - 1.0);
        add(out, KB_PROVE_SHAPE, particle->shape_factor - drawn->shape_factor);
    }
}
