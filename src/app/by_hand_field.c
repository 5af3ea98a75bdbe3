/* by_hand_field.c - decisions by hand about one field: handed to its stages, and what came of them
 * written beside each.
 *
 * A decision about one field is written by that field's thread only, and one about every field by
 * none, so that threads do not meet.
 */
#include "pipeline_priv.h"

static bool concerns(const struct kb_by_hand *hand, const struct kb_field_way *way) {
    return hand->field == 0 || hand->field == way->index + 1;
}

/* The one of a kind that holds for this field: its own, or else one for every field. */
static const struct kb_by_hand *holding(const struct kb_plan *plan, const struct kb_field_way *way,
                                        enum kb_hand_kind kind, bool general) {
    const struct kb_by_hand *found = NULL;
    for (size_t i = 0; i < plan->hands; i++) {
        const struct kb_by_hand *hand = &plan->hand[i];
        if (hand->kind != kind || !concerns(hand, way) || (hand->field == 0 && !general)) {
            continue;
        }
        if (found == NULL || hand->field != 0 || found->field == 0) {
            found = hand;
        }
    }
    return found;
}

/* ---- before the picture is read ----------------------------------------------------------------
 */

struct kb_intake_params kb_way_intake(const struct kb_plan *plan, const struct kb_field_way *way) {
    struct kb_intake_params params = plan->settings->intake;
    const struct kb_by_hand *scale = holding(plan, way, KB_HAND_SCALE, true);
    if (scale != NULL) {
        params.px_um = 0.0;
        params.bar_um = scale->length_um;
        params.bar_px = kb_hand_length_px(scale);
        params.px_um_u = scale->length_um_u / params.bar_px;
        params.bar_by_hand = true;
    }
    return params;
}

/* ---- to the stages -----------------------------------------------------------------------------
 */

/* Room for as many as there could be: decisions are few. */
static enum kb_status make_room(const struct kb_plan *plan, struct kb_way_hands *hands,
                                struct kb_err *err) {
    size_t rects = plan->hands + plan->settings->segmentation.exclusions;
    hands->phase = kb_alloc(plan->hands + 1, sizeof *hands->phase);
    hands->form = kb_alloc(plan->hands + 1, sizeof *hands->form);
    hands->shape = kb_alloc(plan->hands + 1, sizeof *hands->shape);
    hands->outline = kb_alloc(plan->hands + 1, sizeof *hands->outline);
    hands->exclusion = kb_alloc(rects + 1, sizeof *hands->exclusion);
    if (hands->phase == NULL || hands->form == NULL || hands->shape == NULL ||
        hands->outline == NULL || hands->exclusion == NULL) {
        return kb_fail_memory(err, "app", (rects + 1) * sizeof *hands->exclusion);
    }
    return KB_OK;
}

static bool lies_outside(const struct kb_rect *box, const struct kb_field *field) {
    return box->x >= field->grey.width || box->y >= field->grey.height ||
           (int64_t)box->x + box->width <= 0 || (int64_t)box->y + box->height <= 0;
}

static bool is_area(const struct kb_by_hand *hand) {
    return hand->kind == KB_HAND_EXCLUSION || hand->kind == KB_HAND_OUTLINE;
}

static void hand_over(const struct kb_by_hand *hand, struct kb_way_hands *hands) {
    const struct kb_rect *at = &hand->place;
    switch (hand->kind) {
    case KB_HAND_PHASE:
        hands->phase[hands->phases++] =
            (struct kb_phase_by_hand){at->x, at->y, hand->phase, hand->may_miss};
        break;
    case KB_HAND_FORM:
        hands->form[hands->forms++] =
            (struct kb_form_by_hand){at->x, at->y, hand->form, hand->may_miss};
        break;
    case KB_HAND_EXCLUSION:
        hands->exclusion[hands->exclusions++] = *at;
        break;
    case KB_HAND_OUTLINE:
        hands->outline[hands->outlines++] = (struct kb_polygon){hand->point, hand->points};
        break;
    case KB_HAND_CUT:
    case KB_HAND_JOIN:
        hands->shape[hands->shapes++] = (struct kb_shape_by_hand){
            hand->kind == KB_HAND_JOIN, hand->point, hand->points, hand->may_miss};
        break;
    default:
        break; /* thresholds and scales are asked for where they are used */
    }
}

enum kb_status kb_way_gather_hands(const struct kb_plan *plan, struct kb_field_way *way,
                                   struct kb_err *err) {
    struct kb_way_hands *hands = &way->hands;
    const struct kb_segmentation_params *params = &plan->settings->segmentation;
    enum kb_status status = make_room(plan, hands, err);
    if (status != KB_OK) {
        return status;
    }
    for (size_t i = 0; i < params->exclusions; i++) {
        hands->exclusion[hands->exclusions++] = params->exclusion[i];
    }
    for (size_t i = 0; i < plan->hands; i++) {
        struct kb_by_hand *hand = &plan->hand[i];
        if (!concerns(hand, way)) {
            continue;
        }
        if (hand->may_miss && is_area(hand) && lies_outside(&hand->place, &way->field)) {
            if (hand->field != 0) {
                hand->without_effect = true;
            }
            continue;
        }
        hand_over(hand, hands);
    }
    return KB_OK;
}

void kb_way_thresholds(const struct kb_plan *plan, const struct kb_field_way *way,
                       struct kb_segmentation_params *params) {
    const struct kb_by_hand *dark = holding(plan, way, KB_HAND_DARK, false);
    const struct kb_by_hand *bright = holding(plan, way, KB_HAND_BRIGHT, false);
    params->dark_threshold = dark != NULL ? dark->level : params->dark_threshold;
    params->bright_threshold = bright != NULL ? bright->level : params->bright_threshold;
}

enum kb_status kb_way_check_hands(const struct kb_field_way *way, struct kb_err *err) {
    const struct kb_field *field = &way->field;
    const int32_t width = field->grey.width;
    const int32_t height = field->grey.height;
    for (size_t i = 0; i < way->hands.exclusions; i++) {
        const struct kb_rect *rect = &way->hands.exclusion[i];
        if (lies_outside(rect, field)) {
            return kb_fail(err, KB_E_USAGE, "app", field->path,
                           "the exclusion %d,%d,%d,%d lies outside the picture of %d x %d pixels "
                           "(give x,y,width,height in its pixels)",
                           rect->x, rect->y, rect->width, rect->height, width, height);
        }
    }
    for (size_t i = 0; i < way->hands.outlines; i++) {
        const struct kb_rect box = kb_polygon_box(&way->hands.outline[i]);
        if (lies_outside(&box, field)) {
            return kb_fail(err, KB_E_USAGE, "app", field->path,
                           "the outline to be left out about %d,%d lies outside the picture of %d "
                           "x %d pixels (give the x,y of its corners in its pixels)",
                           box.x, box.y, width, height);
        }
    }
    return KB_OK;
}

void kb_way_release_hands(struct kb_field_way *way) {
    kb_free(way->hands.phase);
    kb_free(way->hands.form);
    kb_free(way->hands.shape);
    kb_free(way->hands.outline);
    kb_free(way->hands.exclusion);
    way->hands = (struct kb_way_hands){0};
}

/* ---- and back ----------------------------------------------------------------------------------
 */

static void note_phase(const struct kb_phase_change *change, struct kb_by_hand *hand) {
    hand->phase_found = change->from;
    hand->pixels = change->pixels;
    hand->without_effect = change->pixels == 0;
}

static void note_form(const struct kb_particles *particles, uint32_t id, struct kb_by_hand *hand) {
    hand->particle = id;
    hand->without_effect = id == 0 || !particles->particle[id - 1].by_hand;
    hand->form_found = id > 0 ? particles->particle[id - 1].form_found : KB_FORM_NONE;
}

static void note_shape(const struct kb_shaped *shaped, struct kb_by_hand *hand) {
    hand->parts = hand->kind == KB_HAND_CUT ? shaped->after : 0;
    hand->particle = shaped->particle;
    hand->without_effect = shaped->before == shaped->after;
}

static void note_threshold(const struct kb_plan *plan, const struct kb_field_way *way,
                           struct kb_by_hand *hand) {
    const struct kb_segmentation_figures *figures = &way->map.figures;
    const int which = hand->kind == KB_HAND_BRIGHT ? 1 : 0;
    if (hand != holding(plan, way, hand->kind, false) || which >= figures->thresholds) {
        hand->without_effect = true;
        return;
    }
    hand->level_found = figures->threshold_found[which];
}

void kb_way_note_hands(const struct kb_plan *plan, const struct kb_field_way *way) {
    const struct kb_particles *particles = &way->out->particles;
    size_t phases = 0;
    size_t forms = 0;
    size_t shapes = 0;
    for (size_t i = 0; i < plan->hands; i++) {
        struct kb_by_hand *hand = &plan->hand[i];
        const enum kb_hand_kind kind = hand->kind;
        if (hand->field != way->index + 1) {
            continue;
        }
        if (kind == KB_HAND_PHASE && phases < way->map.changes) {
            note_phase(&way->map.change[phases++], hand);
        } else if (kind == KB_HAND_FORM && forms < particles->named_count) {
            note_form(particles, particles->named[forms++], hand);
        } else if ((kind == KB_HAND_CUT || kind == KB_HAND_JOIN) &&
                   shapes < particles->shaped_count) {
            note_shape(&particles->shaped[shapes++], hand);
        } else if (kind == KB_HAND_DARK || kind == KB_HAND_BRIGHT) {
            note_threshold(plan, way, hand);
        } else if (kind == KB_HAND_SCALE && !hand->without_effect) {
            hand->px_um_u = way->field.px_um_u;
        }
    }
}
