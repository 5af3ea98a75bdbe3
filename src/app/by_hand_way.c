/* by_hand_way.c - decisions by hand on their way: each is tied to the field it names, handed to the
 * stages with that field, and what came of it is written beside it.
 *
 * A field is named by its path or by the end of it, in whole steps: "a.tif" fits "etched/a.tif". A
 * name that fits none or several is refused before anything is measured. Each decision about one
 * field is written by that field's thread only, so that threads do not meet.
 */
#include "pipeline_priv.h"

#include <string.h>

/* ---- which field -------------------------------------------------------------------------------
 */

static bool fits(const char *path, const char *said) {
    while (strncmp(said, "./", 2) == 0) {
        said += 2;
    }
    size_t whole = strlen(path), part = strlen(said);
    if (part == 0 || part > whole || strcmp(path + whole - part, said) != 0) {
        return false;
    }
    return part == whole || path[whole - part - 1] == '/' || said[0] == '/';
}

static enum kb_status no_such_field(const struct kb_plan *plan, const char *said, const char *what,
                                    struct kb_err *err) {
    const char **name = kb_alloc(plan->count, sizeof *name);
    if (name == NULL) {
        return kb_fail_memory(err, "app", plan->count * sizeof *name);
    }
    for (size_t i = 0; i < plan->count; i++) {
        name[i] = kb_base_name(plan->path[i]);
    }
    const char *near = kb_nearest_name(kb_base_name(said), name, plan->count);
    enum kb_status status =
        kb_fail(err, KB_E_USAGE, "app", said,
                "%s names this field, which is not among those measured (%s%s%s)", what,
                near != NULL ? "did you mean '" : "give the name of one", near != NULL ? near : "",
                near != NULL ? "'?" : "");
    kb_free(name);
    return status;
}

enum kb_status kb_plan_find_field(const struct kb_plan *plan, const char *said, const char *what,
                                  size_t *field, struct kb_err *err) {
    *field = 0;
    for (size_t i = 0; i < plan->count && said != NULL; i++) {
        if (!fits(plan->path[i], said)) {
            continue;
        }
        if (*field > 0) {
            return kb_fail(err, KB_E_USAGE, "app", said,
                           "%s names both '%.100s' and '%.100s' so (write more of the path)", what,
                           plan->path[*field - 1], plan->path[i]);
        }
        *field = i + 1;
    }
    bool lost = said != NULL && *field == 0;
    return lost ? no_such_field(plan, said, what, err) : KB_OK;
}

static enum kb_status find_field(const struct kb_plan *plan, struct kb_by_hand *hand,
                                 struct kb_err *err) {
    char what[40];
    (void)snprintf(what, sizeof what, "a %s by hand", kb_hand_kind_name(hand->kind));
    return kb_plan_find_field(plan, hand->field_name, what, &hand->field, err);
}

/* What a library's user may have got wrong, and what a material cannot have. */
static enum kb_status check_hand(const struct kb_plan *plan, const struct kb_by_hand *hand,
                                 struct kb_err *err) {
    bool about_one = hand->kind == KB_HAND_PHASE || hand->kind == KB_HAND_FORM;
    if (about_one && (hand->field_name == NULL || hand->reason == NULL)) {
        return kb_fail(err, KB_E_USAGE, "app", hand->field_name,
                       "a %s by hand lacks its field or its reason (give both)",
                       kb_hand_kind_name(hand->kind));
    }
    if (hand->kind == KB_HAND_FORM && !kb_material_is_iron(plan->settings->material)) {
        return kb_fail(err, KB_E_USAGE, "app", hand->field_name,
                       "a form by hand is for graphite, and steel has none (leave it out)");
    }
    return KB_OK;
}

enum kb_status kb_plan_hands(struct kb_plan *plan, struct kb_result *result, struct kb_err *err) {
    const struct kb_settings *settings = plan->settings;
    if (settings->by_hands == 0) {
        return KB_OK;
    }
    result->by_hand = kb_alloc_zero(settings->by_hands, sizeof *result->by_hand);
    if (result->by_hand == NULL) {
        return kb_fail_memory(err, "app", settings->by_hands * sizeof *result->by_hand);
    }
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < settings->by_hands && status == KB_OK; i++) {
        struct kb_by_hand *hand = &result->by_hand[result->by_hands++];
        if (!kb_by_hand_copy(&settings->by_hand[i], hand)) {
            return kb_fail_memory(err, "app", sizeof *hand);
        }
        status = check_hand(plan, hand, err);
        if (status == KB_OK) {
            status = find_field(plan, hand, err);
        }
    }
    plan->hand = result->by_hand;
    plan->hands = result->by_hands;
    return status;
}

/* ---- to the stages and back --------------------------------------------------------------------
 */

static bool concerns(const struct kb_by_hand *hand, const struct kb_field_way *way) {
    return hand->field == 0 || hand->field == way->index + 1;
}

/* Room for as many as there could be: decisions are few. */
static enum kb_status make_room(const struct kb_plan *plan, struct kb_way_hands *hands,
                                struct kb_err *err) {
    size_t rects = plan->hands + plan->settings->segmentation.exclusions;
    hands->phase = kb_alloc(plan->hands + 1, sizeof *hands->phase);
    hands->form = kb_alloc(plan->hands + 1, sizeof *hands->form);
    hands->exclusion = kb_alloc(rects + 1, sizeof *hands->exclusion);
    if (hands->phase == NULL || hands->form == NULL || hands->exclusion == NULL) {
        return kb_fail_memory(err, "app", (rects + 1) * sizeof *hands->exclusion);
    }
    return KB_OK;
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
        const struct kb_by_hand *hand = &plan->hand[i];
        const struct kb_rect *at = &hand->place;
        if (!concerns(hand, way)) {
            continue;
        }
        if (hand->kind == KB_HAND_PHASE) {
            hands->phase[hands->phases++] =
                (struct kb_phase_by_hand){at->x, at->y, hand->phase, hand->may_miss};
        } else if (hand->kind == KB_HAND_FORM) {
            hands->form[hands->forms++] =
                (struct kb_form_by_hand){at->x, at->y, hand->form, hand->may_miss};
        } else if (hand->kind == KB_HAND_EXCLUSION) {
            hands->exclusion[hands->exclusions++] = *at;
        }
    }
    return KB_OK;
}

void kb_way_release_hands(struct kb_field_way *way) {
    kb_free(way->hands.phase);
    kb_free(way->hands.form);
    kb_free(way->hands.exclusion);
    way->hands = (struct kb_way_hands){0};
}

void kb_way_note_hands(const struct kb_plan *plan, const struct kb_field_way *way) {
    const struct kb_particles *particles = &way->out->particles;
    size_t phases = 0, forms = 0;
    for (size_t i = 0; i < plan->hands; i++) {
        struct kb_by_hand *hand = &plan->hand[i];
        if (!concerns(hand, way)) {
            continue;
        }
        if (hand->kind == KB_HAND_PHASE && phases < way->map.changes) {
            const struct kb_phase_change *change = &way->map.change[phases++];
            hand->phase_found = change->from;
            hand->pixels = change->pixels;
            hand->without_effect = change->pixels == 0;
        } else if (hand->kind == KB_HAND_FORM && forms < particles->named_count) {
            hand->particle = particles->named[forms++];
            const struct kb_particle *particle = &particles->particle[hand->particle - 1];
            hand->form_found = particle->form_found;
            hand->without_effect = !particle->by_hand;
        }
    }
}

/* ---- what the reader must know -----------------------------------------------------------------
 */

enum kb_status kb_plan_tell_hands(const struct kb_plan *plan, struct kb_result *result,
                                  struct kb_err *err) {
    size_t silent = 0, nameless = 0;
    for (size_t i = 0; i < plan->hands; i++) {
        silent += plan->hand[i].reason == NULL;
        nameless += plan->hand[i].who == NULL;
    }
    enum kb_status status = KB_OK;
    if (silent > 0) {
        status =
            kb_findings_add(&result->specimen.findings, err, KB_WARNING, "by-hand-without-reason",
                            "%zu of %zu decisions by hand give%s no reason. Say why: "
                            "--threshold-reason for thresholds, ': reason' behind an "
                            "exclusion.",
                            silent, plan->hands, silent == 1 ? "s" : "");
    }
    if (status == KB_OK && nameless > 0 && result->operator_name == NULL) {
        status =
            kb_findings_add(&result->specimen.findings, err, KB_WARNING, "by-hand-without-name",
                            "Decisions were taken by hand, and nobody is named for them. Say "
                            "who measured with --operator.");
    }
    return status;
}
