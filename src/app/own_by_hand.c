/* own_by_hand.c - decisions by hand as they are said: "FIELD X,Y WORD: reason", several of them
 * apart by '|'. Questions about a point, "FIELD X,Y", follow the same grammar without word and
 * reason (said.c); what is drawn with several points is in own_drawn.c.
 */
#include "said.h"

#include <string.h>

/* ---- the kinds ---------------------------------------------------------------------------------
 */

static const char phase_right[] = "is no phase by hand (write 'FIELD X,Y PHASE: reason', for "
                                  "example 'a.tif 120,88 pearlite: lamellae at 500x')";

static const char *settle_phase(const struct kb_said *said, struct kb_by_hand *fresh) {
    if (said->field == NULL || said->word[0] == '\0') {
        return phase_right;
    }
    if (!kb_phase_parse(said->word, &fresh->phase)) {
        return "names no phase (graphite, ferrite, pearlite, cementite, matrix, other or excluded)";
    }
    return fresh->reason != NULL ? NULL
                                 : "gives no reason (write 'FIELD X,Y PHASE: reason', so that the "
                                   "report can say why)";
}

enum kb_status kb_own_set_phase(struct kb_request *request, const struct kb_assignment *from,
                                struct kb_err *err) {
    static const struct kb_grammar grammar = {
        .kind = KB_HAND_PHASE, .numbers = 2, .right = phase_right, .settle = settle_phase};
    return kb_said_take(request, from, &grammar, err);
}

static const char form_right[] = "is no form by hand (write 'FIELD X,Y FORM: reason', for example "
                                 "'a.tif 120,88 VI: a pull-out spoilt its outline')";

static const char *settle_form(const struct kb_said *said, struct kb_by_hand *fresh) {
    if (said->field == NULL || said->word[0] == '\0') {
        return form_right;
    }
    if (!kb_form_parse(said->word, &fresh->form)) {
        return "names no form (I, II, III, IV, V or VI of ISO 945-1)";
    }
    return fresh->reason != NULL ? NULL
                                 : "gives no reason (write 'FIELD X,Y FORM: reason', so that the "
                                   "report can say why)";
}

enum kb_status kb_own_set_form(struct kb_request *request, const struct kb_assignment *from,
                               struct kb_err *err) {
    static const struct kb_grammar grammar = {
        .kind = KB_HAND_FORM, .numbers = 2, .right = form_right, .settle = settle_form};
    return kb_said_take(request, from, &grammar, err);
}

static const char exclude_right[] =
    "is no rectangle and no outline (write x,y,width,height in pixels, or three corners x,y or "
    "more, before it a field if it is for one only, behind it ': reason')";

static const char *settle_exclusion(const struct kb_said *said, struct kb_by_hand *fresh) {
    const int32_t *n = said->number;
    if (said->points > 0) {
        fresh->kind = KB_HAND_OUTLINE;
        return said->word[0] == '\0' ? NULL : exclude_right;
    }
    bool lies = n[0] >= 0 && n[1] >= 0 && n[2] >= 1 && n[3] >= 1;
    for (int i = 0; i < 4; i++) {
        lies = lies && n[i] <= KB_SIDE_MAX;
    }
    fresh->place = (struct kb_rect){n[0], n[1], n[2], n[3]};
    return lies && said->word[0] == '\0' ? NULL : exclude_right;
}

enum kb_status kb_own_exclude(struct kb_request *request, const struct kb_assignment *from,
                              struct kb_err *err) {
    static const struct kb_grammar grammar = {.kind = KB_HAND_EXCLUSION,
                                              .numbers = 4,
                                              .points = 3,
                                              .right = exclude_right,
                                              .settle = settle_exclusion};
    return kb_said_take(request, from, &grammar, err);
}

static const char why_right[] =
    "is no point to be explained (write 'FIELD X,Y', for example 'a.tif 120,88', without FIELD for "
    "that pixel of every field)";

static const char *settle_why(const struct kb_said *said, struct kb_by_hand *fresh) {
    (void)fresh;
    return said->word[0] == '\0' && said->reason == NULL ? NULL : why_right;
}

enum kb_status kb_own_why(struct kb_request *request, const struct kb_assignment *from,
                          struct kb_err *err) {
    static const struct kb_grammar grammar = {.kind = KB_HAND_KINDS,
                                              .numbers = 2,
                                              .asks = true,
                                              .right = why_right,
                                              .settle = settle_why};
    return kb_said_take(request, from, &grammar, err);
}

/* ---- thresholds --------------------------------------------------------------------------------
 */

static enum kb_status keep_threshold(struct kb_request *request, enum kb_hand_kind kind,
                                     const char *name, double level, struct kb_err *err) {
    const struct kb_assignment *said =
        kb_request_said(request, kb_option_by_name(name, KB_MEASURE));
    if (said == NULL) {
        return KB_OK;
    }
    const struct kb_by_hand fresh = {.kind = kind,
                                     .level = level,
                                     .reason = request->threshold_reason,
                                     .origin = kb_origin_name(said->origin)};
    return kb_said_keep(request, &fresh, err);
}

enum kb_status kb_request_thresholds(struct kb_request *request, struct kb_err *err) {
    const struct kb_segmentation_params *params = &request->settings.segmentation;
    size_t before = request->hands;
    enum kb_status status =
        keep_threshold(request, KB_HAND_DARK, "dark-threshold", params->dark_threshold, err);
    if (status == KB_OK) {
        status = keep_threshold(request, KB_HAND_BRIGHT, "bright-threshold",
                                params->bright_threshold, err);
    }
    if (status == KB_OK && request->threshold_reason != NULL && request->hands == before) {
        status = kb_fail(err, KB_E_USAGE, "app", "--threshold-reason",
                         "there is no threshold to give a reason for (say --dark-threshold or "
                         "--bright-threshold too, or leave it out)");
    }
    return status;
}
