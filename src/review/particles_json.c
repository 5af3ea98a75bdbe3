/* particles_json.c - the particles of a field as the page lists them, doubtful ones told apart.
 *
 * Doubt is what an expert's minute is best spent on: how near a particle is to being taken for
 * something else. Three borders matter: that of nodules (kb_nodule_margin()), on which nodularity
 * hangs, the form next to its own (kb_form_margin()), and the smallest size that counts. 0 is on a
 * border; 1 is so far from all that nobody would argue. How far that
 * is, is our own estimate: 0.1 of a shape factor, solidity or circularity, 0.5 of an aspect, and a
 * fifth of the smallest size. A form set by hand is settled, and what the frame or an exclusion
 * cuts has no form: neither is doubted.
 *
 * Written straight into the text: a large field has tens of thousands of particles.
 */
#include "serve_priv.h"

#include <string.h>

static const double far_share = 0.1, far_aspect = 0.5, far_size = 0.2;

struct doubt {
    double value; /* NaN: none */
    char words[96];
};

static double at_most_one(double value) {
    return value < 1.0 ? value : 1.0;
}

/* As many decimals as a shape is worth. */
static const char *put_margin(char *to, size_t size, double margin) {
    const double least = 0.001;
    (void)snprintf(to, size, margin < least ? "less than %.3f" : "%.3f", fmax(margin, least));
    return to;
}

static void doubt_form(const struct kb_particle *p, struct doubt *doubt) {
    const char *which = NULL;
    const double margin =
        kb_form_margin(p->shape_factor, p->solidity, p->aspect, p->circularity, &which);
    if (!isfinite(margin) || which == NULL) {
        return;
    }
    const double far = strcmp(which, "aspect") == 0 ? far_aspect : far_share;
    doubt->value = at_most_one(margin / far);
    char apart[24];
    (void)snprintf(doubt->words, sizeof doubt->words, "%s of %s from another form",
                   put_margin(apart, sizeof apart, margin), which);
}

static void doubt_nodule(const struct kb_particle *p, struct doubt *doubt) {
    const double margin = kb_nodule_margin(p);
    const double value = at_most_one(fabs(margin) / far_share);
    if (value < doubt->value) {
        doubt->value = value;
        char apart[24];
        (void)snprintf(doubt->words, sizeof doubt->words, "shape factor %s %s 0.6, %s nodule",
                       put_margin(apart, sizeof apart, fabs(margin)),
                       margin < 0.0 ? "below" : "above", margin < 0.0 ? "no" : "a");
    }
}

static struct doubt doubt_of(const struct kb_particles *all, const struct kb_particle *p) {
    struct doubt doubt = {(double)NAN, ""};
    if ((p->state != KB_COUNTS && p->state != KB_UNDER_SIZE) || p->by_hand) {
        return doubt;
    }
    doubt.value = 1.0;
    if (p->state == KB_COUNTS) {
        doubt_form(p, &doubt);
        doubt_nodule(p, &doubt);
    }
    const double off = p->feret_max_px * all->px_um - all->min_feret_um;
    const double size = at_most_one(fabs(off) / (far_size * all->min_feret_um));
    if (all->min_feret_um > 0.0 && size < doubt.value) {
        doubt.value = size;
        (void)snprintf(doubt.words, sizeof doubt.words, "%.3g µm %s the smallest size that counts",
                       fabs(off), off < 0.0 ? "below" : "above");
    }
    return doubt;
}

static void number(struct kb_text *out, const char *key, double value) {
    if (isfinite(value)) {
        kb_text_format(out, ",\"%s\":%.6g", key, value);
    } else {
        kb_text_format(out, ",\"%s\":null", key);
    }
}

static void put_place(struct kb_text *out, const struct kb_particle *p) {
    kb_text_format(out, ",\"x\":%.2f,\"y\":%.2f,\"box\":[%d,%d,%d,%d]", p->x_px, p->y_px,
                   (int)p->box.x, (int)p->box.y, (int)p->box.width, (int)p->box.height);
}

static void put_measures(struct kb_text *out, const struct kb_particle *p, double px_um) {
    const double scale = px_um > 0.0 ? px_um : (double)NAN;
    number(out, "feret_px", p->feret_max_px);
    number(out, "area_px2", p->area_px2);
    number(out, "feret_um", p->feret_max_px * scale);
    number(out, "diameter_um", p->diameter_px * scale);
    number(out, "area_um2", p->area_px2 * scale * scale);
    number(out, "shape_factor", p->shape_factor);
    number(out, "circularity", p->circularity);
    number(out, "solidity", p->solidity);
    number(out, "aspect", p->aspect);
    kb_text_format(out, p->size_class > 0 ? ",\"size_class\":%d" : ",\"size_class\":null",
                   p->size_class);
}

static void put_particle(struct kb_text *out, const struct kb_particles *all,
                         const struct kb_particle *p) {
    const struct doubt doubt = doubt_of(all, p);
    kb_text_format(out, "{\"id\":%u,\"state\":\"%s\",\"state_words\":\"%s\"", (unsigned)p->id,
                   kb_particle_state_name(p->state), kb_report_state_words(p->state));
    kb_text_format(out, ",\"form\":\"%s\",\"form_found\":\"%s\",\"by_hand\":%s",
                   kb_form_roman(p->form), kb_form_roman(p->form_found),
                   p->by_hand ? "true" : "false");
    kb_text_format(out, ",\"nodule\":%s", kb_is_nodule(p) ? "true" : "false");
    kb_text_format(out, ",\"parted\":%s,\"cut_by_hand\":%s,\"joined_by_hand\":%s",
                   p->parted ? "true" : "false", p->cut_by_hand ? "true" : "false",
                   p->joined_by_hand ? "true" : "false");
    put_place(out, p);
    put_measures(out, p, all->px_um);
    number(out, "doubt", doubt.value);
    kb_text_format(out, ",\"doubt_words\":\"%s\"}", doubt.words);
}

void kb_particles_json(const struct kb_particles *particles, struct kb_text *out) {
    kb_text_add(out, "{\"particles\":[");
    for (size_t i = 0; particles != NULL && i < particles->count; i++) {
        kb_text_add(out, i > 0 ? ",\n" : "\n");
        put_particle(out, particles, &particles->particle[i]);
    }
    kb_text_add(out, "]}");
}
