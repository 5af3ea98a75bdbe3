/* by_hand_way.c - decisions by hand before anything is measured: each is checked, tied to the field
 * it names and held against those that speak of the same; and afterwards what the reader must know
 * of them. by_hand_field.c takes them to the stages.
 *
 * A field is named by its path or by the end of it, in whole steps: "a.tif" fits "etched/a.tif". A
 * name that fits none or several is refused. Of two thresholds or scales of the same field (or of
 * every field) the one said last holds.
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

/* ---- what a library's user may have got wrong, and what a material cannot have ------------------
 */

/* How many points a kind has: at least, and at most. */
static void points_of(enum kb_hand_kind kind, size_t *least, size_t *most) {
    *least = kind == KB_HAND_OUTLINE                                                ? 3
             : kind == KB_HAND_CUT || kind == KB_HAND_JOIN || kind == KB_HAND_SCALE ? 2
                                                                                    : 0;
    *most = kind == KB_HAND_JOIN || kind == KB_HAND_SCALE ? 2 : SIZE_MAX;
}

double kb_hand_length_px(const struct kb_by_hand *hand) {
    return hypot((double)hand->point[1].x - hand->point[0].x,
                 (double)hand->point[1].y - hand->point[0].y);
}

/* NULL, or why it cannot be obeyed. */
static const char *trouble_with_scale(const struct kb_by_hand *hand) {
    if (!(hand->length_um > 0.0) || !isfinite(hand->length_um)) {
        return "has no length (say how long the line is)";
    }
    if (!(hand->length_um_u >= 0.0) || !(hand->length_um_u < hand->length_um)) {
        return "has an uncertainty that is not below its length (give a smaller one)";
    }
    return kb_hand_length_px(hand) > 0.0 ? NULL
                                         : "begins and ends at the same pixel (draw it longer)";
}

static const char *trouble_with_points(const struct kb_by_hand *hand) {
    size_t least = 0;
    size_t most = 0;
    points_of(hand->kind, &least, &most);
    if (least == 0) {
        return NULL;
    }
    if (hand->point == NULL || hand->points < least || hand->points > most) {
        return "has not the points that make it (an outline three or more, a cut two or more, a "
               "join and a scale two)";
    }
    for (size_t i = 0; i < hand->points; i++) {
        const struct kb_place *at = &hand->point[i];
        if (at->x < -KB_SIDE_MAX || at->y < -KB_SIDE_MAX || at->x > 2 * KB_SIDE_MAX ||
            at->y > 2 * KB_SIDE_MAX) {
            return "has a point outside every picture (give x,y in pixels)";
        }
    }
    return hand->kind == KB_HAND_SCALE ? trouble_with_scale(hand) : NULL;
}

static const char *trouble(const struct kb_plan *plan, const struct kb_by_hand *hand) {
    const enum kb_hand_kind kind = hand->kind;
    const bool particle = kind == KB_HAND_FORM || kind == KB_HAND_CUT || kind == KB_HAND_JOIN;
    const bool threshold = kind == KB_HAND_DARK || kind == KB_HAND_BRIGHT;
    if ((unsigned)kind >= KB_HAND_KINDS) {
        return "is of no kind that is known";
    }
    if ((particle || kind == KB_HAND_PHASE) &&
        (hand->field_name == NULL || (hand->reason == NULL && !hand->may_miss))) {
        return "lacks its field or its reason (give both)";
    }
    if (particle && !kb_material_is_iron(plan->settings->material)) {
        return "is for graphite, and steel has none (leave it out)";
    }
    if (threshold && hand->field_name != NULL && (isinf(hand->level) || hand->level < 0.0)) {
        return "is out of range (give a grey level of the file)";
    }
    return trouble_with_points(hand);
}

static enum kb_status check_hand(const struct kb_plan *plan, const struct kb_by_hand *hand,
                                 struct kb_err *err) {
    const char *why = trouble(plan, hand);
    return why == NULL ? KB_OK
                       : kb_fail(err, KB_E_USAGE, "app", hand->field_name, "a %s by hand %s",
                                 kb_hand_kind_name(hand->kind), why);
}

/* ---- into the plan -----------------------------------------------------------------------------
 */

static bool same_matter(const struct kb_by_hand *a, const struct kb_by_hand *b) {
    return a->kind == b->kind && a->field == b->field;
}

/* What is known before a pixel is seen: the box of its points, what a scale makes a pixel, and
 * whether a later one takes its place. */
static void settle_hand(const struct kb_result *result, struct kb_by_hand *hand) {
    size_t least = 0;
    size_t most = 0;
    points_of(hand->kind, &least, &most);
    if (least > 0) {
        const struct kb_polygon polygon = {hand->point, hand->points};
        hand->place = kb_polygon_box(&polygon);
    }
    const bool one_holds =
        hand->kind == KB_HAND_DARK || hand->kind == KB_HAND_BRIGHT || hand->kind == KB_HAND_SCALE;
    for (const struct kb_by_hand *later = hand + 1;
         one_holds && later < result->by_hand + result->by_hands; later++) {
        hand->without_effect = hand->without_effect || same_matter(hand, later);
    }
    hand->level_found = (double)NAN;
    if (hand->kind == KB_HAND_SCALE) {
        hand->px_um = hand->length_um / kb_hand_length_px(hand);
    }
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
    for (size_t i = 0; i < result->by_hands && status == KB_OK; i++) {
        settle_hand(result, &result->by_hand[i]);
    }
    plan->hand = result->by_hand;
    plan->hands = result->by_hands;
    return status;
}

/* ---- what the reader must know -----------------------------------------------------------------
 */

/* A scale for every field: what the first field that it holds for made of its uncertainty. */
static void note_general_scales(const struct kb_plan *plan, const struct kb_result *result) {
    for (size_t i = 0; i < plan->hands; i++) {
        struct kb_by_hand *hand = &plan->hand[i];
        for (size_t k = 0; k < result->fields && hand->kind == KB_HAND_SCALE && hand->field == 0;
             k++) {
            const struct kb_field_result *field = &result->field[k];
            if (field->scale_source == KB_SCALE_BY_HAND && field->px_um == hand->px_um) {
                hand->px_um_u = field->px_um_u;
                break;
            }
        }
    }
}

/* Those that the stages did not see and so did not tell of. */
static enum kb_status tell_without_effect(const struct kb_plan *plan, struct kb_result *result,
                                          struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < plan->hands && status == KB_OK; i++) {
        const struct kb_by_hand *hand = &plan->hand[i];
        const enum kb_hand_kind kind = hand->kind;
        const bool level = kind == KB_HAND_DARK || kind == KB_HAND_BRIGHT || kind == KB_HAND_SCALE;
        const bool area = kind == KB_HAND_EXCLUSION || kind == KB_HAND_OUTLINE;
        if (!hand->without_effect || (!level && !area)) {
            continue;
        }
        const char *field =
            hand->field > 0 ? kb_base_name(plan->path[hand->field - 1]) : "every field";
        status =
            kb_findings_add(&result->specimen.findings, err, KB_WARNING, "by-hand-without-effect",
                            area ? "An %s by hand for %.100s lies outside the picture, so it "
                                   "changes nothing."
                                 : "A %s by hand for %.100s changes nothing: another decision "
                                   "holds, or the field has no such threshold.",
                            kb_hand_kind_name(kind), field);
    }
    return status;
}

enum kb_status kb_plan_tell_hands(const struct kb_plan *plan, struct kb_result *result,
                                  struct kb_err *err) {
    size_t silent = 0, nameless = 0;
    note_general_scales(plan, result);
    for (size_t i = 0; i < plan->hands; i++) {
        silent += plan->hand[i].reason == NULL;
        nameless += plan->hand[i].who == NULL;
    }
    enum kb_status status = tell_without_effect(plan, result, err);
    if (status == KB_OK && silent > 0) {
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
