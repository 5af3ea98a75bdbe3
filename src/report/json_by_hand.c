/* json_by_hand.c - decisions by hand in result.json: where, from what to what, why, by whom. */
#include "json_write.h"

static void place(struct kb_json *json, const struct kb_by_hand *hand) {
    const struct kb_rect *at = &hand->place;
    bool rect = hand->kind == KB_HAND_EXCLUSION;
    if (!rect && hand->kind != KB_HAND_PHASE && hand->kind != KB_HAND_FORM) {
        kb_json_null(json, "place_px");
        return;
    }
    kb_json_open(json, "place_px", '[');
    json->inside = true;
    kb_json_number(json, NULL, at->x);
    kb_json_number(json, NULL, at->y);
    if (rect) {
        kb_json_number(json, NULL, at->width);
        kb_json_number(json, NULL, at->height);
    }
    kb_json_close(json, ']');
    json->inside = false;
}

static const char *found(const struct kb_by_hand *hand) {
    const bool missed = hand->without_effect && hand->phase_found == KB_EXCLUDED;
    return hand->kind == KB_HAND_PHASE  ? (missed ? NULL : kb_phase_name(hand->phase_found))
           : hand->kind == KB_HAND_FORM ? kb_form_roman(hand->form_found)
                                        : NULL;
}

static const char *decided(const struct kb_by_hand *hand) {
    return hand->kind == KB_HAND_PHASE  ? kb_phase_name(hand->phase)
           : hand->kind == KB_HAND_FORM ? kb_form_roman(hand->form)
           : hand->kind == KB_HAND_EXCLUSION || hand->kind == KB_HAND_OUTLINE
               ? kb_phase_name(KB_EXCLUDED)
               : NULL;
}

void kb_json_review(struct kb_json *json, const struct kb_reviewed *reviewed) {
    if (reviewed->record == NULL) {
        kb_json_null(json, "review");
        return;
    }
    kb_json_open(json, "review", '{');
    kb_json_string(json, "record", reviewed->record);
    kb_json_string(json, "record_sha256", reviewed->sha256);
    kb_json_count(json, "changes", reviewed->changes);
    kb_json_string(json, "signed_by", reviewed->signed_by);
    kb_json_string(json, "signed_at", reviewed->signed_at);
    kb_json_string(json, "remark", reviewed->remark);
    kb_json_close(json, '}');
}

/* Kinds that are drawn with several points. */
static bool is_drawn(const struct kb_by_hand *hand) {
    return hand->kind == KB_HAND_OUTLINE || hand->kind == KB_HAND_CUT ||
           hand->kind == KB_HAND_JOIN || hand->kind == KB_HAND_SCALE;
}

static void points(struct kb_json *json, const char *key, const struct kb_by_hand *hand) {
    kb_json_open(json, key, '[');
    json->inside = true;
    for (size_t i = 0; i < hand->points; i++) {
        kb_json_open(json, NULL, '[');
        kb_json_number(json, NULL, hand->point[i].x);
        kb_json_number(json, NULL, hand->point[i].y);
        kb_json_close(json, ']');
    }
    kb_json_close(json, ']');
    json->inside = false;
}

void kb_json_outlines_left_out(struct kb_json *json, const struct kb_result *result, size_t field) {
    kb_json_open(json, "exclusion_outlines_px", '[');
    for (size_t i = 0; i < result->by_hands; i++) {
        const struct kb_by_hand *hand = &result->by_hand[i];
        if (hand->kind == KB_HAND_OUTLINE && !hand->without_effect &&
            (hand->field == 0 || hand->field == field)) {
            points(json, NULL, hand);
        }
    }
    kb_json_close(json, ']');
}

static double positive(double value) {
    return value > 0.0 ? value : KB_NAN;
}

/* What is known of thresholds, cuts and scales. */
static void levels_and_lengths(struct kb_json *json, const struct kb_by_hand *hand) {
    const bool threshold = hand->kind == KB_HAND_DARK || hand->kind == KB_HAND_BRIGHT;
    const bool scale = hand->kind == KB_HAND_SCALE;
    kb_json_number(json, "level", threshold ? hand->level : KB_NAN);
    kb_json_number(json, "level_found", threshold ? hand->level_found : KB_NAN);
    kb_json_number(json, "parts", hand->parts > 0 ? (double)hand->parts : KB_NAN);
    kb_json_number(json, "length_um", scale ? hand->length_um : KB_NAN);
    kb_json_number(json, "length_u_um", scale ? positive(hand->length_um_u) : KB_NAN);
    kb_json_number(json, "pixel_size_um", scale ? positive(hand->px_um) : KB_NAN);
    kb_json_number(json, "pixel_size_u_um", scale ? positive(hand->px_um_u) : KB_NAN);
}

void kb_json_by_hand(struct kb_json *json, const struct kb_result *result) {
    kb_json_open(json, "by_hand", '[');
    for (size_t i = 0; i < result->by_hands; i++) {
        const struct kb_by_hand *hand = &result->by_hand[i];
        kb_json_open(json, NULL, '{');
        kb_json_string(json, "what", kb_hand_kind_name(hand->kind));
        kb_json_number(json, "field", hand->field > 0 ? (double)hand->field : KB_NAN);
        kb_json_string(json, "file", hand->field > 0 ? result->field[hand->field - 1].path : NULL);
        place(json, hand);
        if (is_drawn(hand)) {
            points(json, "points_px", hand);
        } else {
            kb_json_null(json, "points_px");
        }
        kb_json_string(json, "from", found(hand));
        kb_json_string(json, "to", decided(hand));
        levels_and_lengths(json, hand);
        kb_json_number(json, "pixels", hand->kind == KB_HAND_PHASE ? (double)hand->pixels : KB_NAN);
        kb_json_number(json, "particle", hand->particle > 0 ? hand->particle : KB_NAN);
        kb_json_bool(json, "without_effect", hand->without_effect);
        kb_json_string(json, "reason", hand->reason);
        kb_json_string(json, "who", hand->who != NULL ? hand->who : result->operator_name);
        kb_json_string(json, "at", hand->at);
        kb_json_string(json, "origin", hand->origin);
        kb_json_close(json, '}');
    }
    kb_json_close(json, ']');
}
