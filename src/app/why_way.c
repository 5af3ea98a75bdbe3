/* why_way.c - points that a person asks about: each is tied to its fields, and when a field has
 * been measured its way is told from the first look to the particle that it became part of.
 *
 * What segmentation noted (kb_why of the map) is framed by what only the whole way knows: which
 * mark of the first look left a point out, the reason of a decision by hand, and of the particle
 * its size, form, and the rule by which it counts or not. Nothing is measured here.
 */
#include "pipeline_priv.h"

#include <string.h>

/* ---- which fields ------------------------------------------------------------------------------
 */

static enum kb_status add(const struct kb_asked *asked, size_t field, struct kb_result *result,
                          struct kb_err *err) {
    struct kb_explained *grown =
        kb_resize(result->explained, result->explaineds + 1, sizeof *grown);
    if (grown == NULL) {
        return kb_fail_memory(err, "app", (result->explaineds + 1) * sizeof *grown);
    }
    result->explained = grown;
    grown[result->explaineds++] = (struct kb_explained){
        .field = field, .way = {.x = asked->place.x, .y = asked->place.y}, .origin = asked->origin};
    return KB_OK;
}

enum kb_status kb_plan_asked(struct kb_plan *plan, struct kb_result *result, struct kb_err *err) {
    const struct kb_settings *settings = plan->settings;
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < settings->asked_count && status == KB_OK; i++) {
        const struct kb_asked *asked = &settings->asked[i];
        size_t field = 0;
        status =
            kb_plan_find_field(plan, asked->field_name, "a point to be explained", &field, err);
        if (status == KB_OK && field > 0) {
            status = add(asked, field, result, err);
            continue;
        }
        for (size_t k = 1; k <= plan->count && status == KB_OK; k++) {
            status = add(asked, k, result, err);
        }
    }
    plan->explained = result->explained;
    plan->explaineds = result->explaineds;
    return status;
}

enum kb_status kb_way_gather_asked(const struct kb_plan *plan, struct kb_field_way *way,
                                   struct kb_err *err) {
    if (plan->explaineds == 0) {
        return KB_OK;
    }
    way->asked = kb_alloc(plan->explaineds, sizeof *way->asked);
    if (way->asked == NULL) {
        return kb_fail_memory(err, "app", plan->explaineds * sizeof *way->asked);
    }
    for (size_t i = 0; i < plan->explaineds; i++) {
        const struct kb_explained *explained = &plan->explained[i];
        if (explained->field == way->index + 1) {
            way->asked[way->asked_count++] = (struct kb_place){explained->way.x, explained->way.y};
        }
    }
    return KB_OK;
}

/* ---- the first look ----------------------------------------------------------------------------
 */

static struct kb_why_step step_to(const char *name, enum kb_phase from, enum kb_phase to) {
    return (struct kb_why_step){name, from, to, (double)NAN, (double)NAN, "", ""};
}

static bool within(const struct kb_rect *rect, const struct kb_why *at, int32_t grown) {
    return at->x >= rect->x - grown && at->y >= rect->y - grown &&
           at->x < rect->x + rect->width + grown && at->y < rect->y + rect->height + grown;
}

/* "data-bar" in words. */
static const char *mark_words(enum kb_mark_kind kind) {
    static const char *const words[KB_MARK_KINDS] = {"the data bar",
                                                     "a burnt-in scale bar",
                                                     "burnt-in lettering or a drawn line",
                                                     "a margin of even grey",
                                                     "the dark outside of a round field of view",
                                                     "mounting resin"};
    return (unsigned)kind < KB_MARK_KINDS ? words[kind] : "a mark";
}

static const struct kb_mark *mark_at(const struct kb_field_way *way, const struct kb_why *at) {
    const int32_t ringing = 2; /* the first look leaves out so much more about what it found */
    for (size_t i = 0; i < way->look.marks; i++) {
        if (within(&way->look.mark[i].box, at, ringing)) {
            return &way->look.mark[i];
        }
    }
    return NULL;
}

static const struct kb_by_hand *
exclusion_at(const struct kb_plan *plan, const struct kb_field_way *way, const struct kb_why *at) {
    for (size_t i = 0; i < plan->hands; i++) {
        const struct kb_by_hand *hand = &plan->hand[i];
        const struct kb_polygon polygon = {hand->point, hand->points};
        const bool holds = hand->kind == KB_HAND_OUTLINE
                               ? kb_polygon_holds(&polygon, at->x, at->y)
                               : hand->kind == KB_HAND_EXCLUSION && within(&hand->place, at, 0);
        if (holds && (hand->field == 0 || hand->field == way->index + 1)) {
            return hand;
        }
    }
    return NULL;
}

static void tell_look(const struct kb_plan *plan, const struct kb_field_way *way, bool left_out,
                      struct kb_why *to) {
    const struct kb_image *outside = &way->look.outside;
    const bool by_look = outside->px != NULL && kb_row(outside, to->y)[to->x] != 0;
    const struct kb_mark *mark = mark_at(way, to);
    const struct kb_by_hand *hand = exclusion_at(plan, way, to);
    const enum kb_phase after = left_out ? KB_EXCLUDED : KB_MATRIX;
    const struct kb_why_step step = step_to("first look", KB_MATRIX, after);
    if (!left_out) {
        kb_why_add(to, &step,
                   plan->settings->first_look.find_marks
                       ? "no data bar, scale bar, lettering, margin or resin: specimen"
                       : "the whole frame is specimen, as was said");
    } else if (by_look && mark != NULL) {
        kb_why_add(to, &step, "part of %s (%d x %d px at %d,%d): no specimen, left out",
                   mark_words(mark->kind), (int)mark->box.width, (int)mark->box.height,
                   (int)mark->box.x, (int)mark->box.y);
    } else if (!by_look && hand != NULL) {
        kb_why_add(to, &step, "in %s left out by hand: %.180s",
                   hand->kind == KB_HAND_OUTLINE ? "an outline" : "a rectangle",
                   hand->reason != NULL ? hand->reason : "no reason was given");
    } else {
        kb_why_add(to, &step, "left out of every figure before any phase was looked for");
    }
}

/* ---- the particle ------------------------------------------------------------------------------
 */

static void tell_size(const struct kb_field_way *way, const struct kb_particle *p,
                      enum kb_phase phase, struct kb_why *to) {
    const double px_um = way->field.px_um;
    struct kb_why_step step = step_to("size", phase, phase);
    if (!(px_um > 0.0)) {
        kb_why_add(to, &step,
                   "largest Feret diameter %.4g px; the pixel size is unknown, so the least size "
                   "cannot be asked and no particle counts",
                   p->feret_max_px);
        return;
    }
    step.figure = p->feret_max_px * px_um;
    step.limit = way->out->particles.min_feret_um;
    step.unit = "um";
    kb_why_add(to, &step,
               "largest Feret diameter %.3g um, smallest %.3g um, diameter of the circle of equal "
               "area %.3g um, by %s; particles count from %.3g um on",
               step.figure, p->feret_min_px * px_um, p->diameter_px * px_um,
               p->subpixel ? "an outline that follows the grey" : "whole pixels", step.limit);
}

static void tell_state(const struct kb_particle *p, enum kb_phase phase, struct kb_why *to) {
    static const char *const rule[KB_PARTICLE_STATES] = {
        [KB_COUNTS] = "it lies whole within the field and is large enough: it counts",
        [KB_ON_FRAME] = "the edge of the picture cuts it, its shape is unknown: it is in the area "
                        "fraction and counts in nothing else",
        [KB_ON_EXCLUSION] = "it touches an excluded area, its shape is unknown: it is in the area "
                            "fraction and counts in nothing else",
        [KB_UNDER_SIZE] =
            "it is smaller than the least size: it is in the area fraction and counts "
            "in nothing else",
        [KB_NO_SCALE] = "without a pixel size no particle counts",
    };
    const struct kb_why_step step = step_to("count", phase, phase);
    kb_why_add(to, &step, "%s",
               (unsigned)p->state < KB_PARTICLE_STATES ? rule[p->state] : "unknown state");
}

/* Reason of the form set by hand for a particle; NULL: none. */
static const struct kb_by_hand *form_by_hand(const struct kb_plan *plan,
                                             const struct kb_field_way *way, uint32_t id) {
    size_t form = 0;
    const struct kb_particles *particles = &way->out->particles;
    for (size_t i = 0; i < plan->hands; i++) {
        const struct kb_by_hand *hand = &plan->hand[i];
        if (hand->kind == KB_HAND_FORM && hand->field == way->index + 1 &&
            form < particles->named_count && particles->named[form++] == id) {
            return hand;
        }
    }
    return NULL;
}

static void tell_form(const struct kb_plan *plan, const struct kb_field_way *way,
                      const struct kb_particle *p, enum kb_phase phase, struct kb_why *to) {
    struct kb_why_step step = step_to("form", phase, phase);
    step.figure = p->shape_factor;
    kb_why_add(to, &step,
               "shape factor %.2f, solidity %.2f, length to width %.1f, circularity %.2f: %s, form "
               "%s of ISO 945-1",
               p->shape_factor, p->solidity, p->aspect, p->circularity,
               kb_form_words(p->form_found), kb_form_roman(p->form_found));
    const struct kb_by_hand *hand = form_by_hand(plan, way, p->id);
    if (p->by_hand && hand != NULL) {
        step = step_to("form by hand", phase, phase);
        kb_why_add(to, &step, "set to form %s by hand: %.180s", kb_form_roman(p->form),
                   hand->reason != NULL ? hand->reason : "no reason was given");
    }
    struct kb_why_step credit = step_to("nodularity", phase, phase);
    credit.figure = p->shape_factor;
    credit.limit = 0.6; /* ISO 945-4, refs/nodularity_rules.csv */
    const bool nodule = p->by_hand ? kb_form_is_nodule(p->form) : p->shape_factor >= credit.limit;
    kb_why_add(to, &credit, "%s after ISO 945-4: %s", nodule ? "a nodule" : "no nodule",
               p->by_hand ? "by its form" : "shape factor 0.6 or more makes one");
}

static void tell_particle(const struct kb_plan *plan, const struct kb_field_way *way,
                          struct kb_explained *explained) {
    const struct kb_particles *particles = &way->out->particles;
    struct kb_why *to = &explained->way;
    uint32_t region = 0;
    if (particles->runs.run == NULL || !kb_runs_at(&particles->runs, to->x, to->y, &region) ||
        region >= particles->count) {
        return;
    }
    const struct kb_particle *p = &particles->particle[region];
    const struct kb_why_step step = step_to("particle", explained->phase, explained->phase);
    explained->particle = p->id;
    kb_why_add(to, &step, "belongs to particle %u%s%s", (unsigned)p->id,
               p->parted ? ", parted from a cluster of touching ones" : "",
               explained->phase == KB_GRAPHITE
                   ? ""
                   : ", as a hole in it that is filled for its size and shape, not for the area "
                     "fraction of graphite");
    tell_size(way, p, explained->phase, to);
    tell_state(p, explained->phase, to);
    if (p->state == KB_COUNTS) {
        tell_form(plan, way, p, explained->phase, to);
    }
}

/* ---- the whole ---------------------------------------------------------------------------------
 */

/* Reason behind the map's n-th change by hand. */
static const char *phase_reason(const struct kb_plan *plan, const struct kb_field_way *way,
                                size_t change) {
    for (size_t i = 0; i < plan->hands; i++) {
        const struct kb_by_hand *hand = &plan->hand[i];
        if (hand->kind == KB_HAND_PHASE && hand->field == way->index + 1 && --change == 0) {
            return hand->reason;
        }
    }
    return NULL;
}

static void explain(const struct kb_plan *plan, const struct kb_field_way *way,
                    const struct kb_why *found, struct kb_explained *explained) {
    struct kb_why *to = &explained->way;
    const bool left_out = found->steps > 0 && found->step[0].to == KB_EXCLUDED;
    to->change = found->change;
    tell_look(plan, way, left_out, to);
    for (size_t i = left_out ? 1 : 0; i < found->steps; i++) {
        kb_why_add(to, &found->step[i], "%s", found->step[i].says);
    }
    const char *reason = found->change > 0 ? phase_reason(plan, way, found->change) : NULL;
    struct kb_why_step *last = &to->step[to->steps - 1];
    if (reason != NULL) {
        const size_t length = strlen(last->says);
        (void)snprintf(last->says + length, sizeof last->says - length, ": %s", reason);
    }
    explained->phase = last->to;
    tell_particle(plan, way, explained);
}

/* Pictures about the point: of the particle it is in, or of its surroundings. */
static enum kb_status show(const struct kb_field_way *way, struct kb_explained *explained,
                           struct kb_err *err) {
    const struct kb_particles *particles = &way->out->particles;
    const struct kb_rect none = {explained->way.x, explained->way.y, 1, 1};
    const bool in_one = explained->particle > 0;
    return kb_explained_pictures(&way->field, &way->overlay,
                                 in_one ? particles->particle[explained->particle - 1].box : none,
                                 explained, err);
}

enum kb_status kb_way_explain(const struct kb_plan *plan, struct kb_field_way *way,
                              struct kb_err *err) {
    const bool pictures = plan->folder != NULL && plan->settings->pictures;
    size_t next = 0;
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < plan->explaineds && status == KB_OK; i++) {
        struct kb_explained *explained = &plan->explained[i];
        if (explained->field == way->index + 1 && next < way->map.whys) {
            explain(plan, way, &way->map.why[next++], explained);
            status = pictures ? show(way, explained, err) : KB_OK;
        }
    }
    return status;
}
