/* result.c - giving back what a result owns; names of its parts. */
#include "report_priv.h"

void kb_field_result_release(struct kb_field_result *field) {
    kb_free(field->path);
    kb_free(field->exclusion);
    kb_free(field->mark);
    kb_particles_release(&field->particles);
    kb_findings_release(&field->findings);
    kb_free(field->photo_jpeg);
    kb_free(field->overlay_jpeg);
    kb_free(field->overlay_file);
    *field = (struct kb_field_result){0};
}

void kb_result_release(struct kb_result *result) {
    kb_free(result->specimen_id);
    kb_free(result->laboratory);
    kb_free(result->house_mark.data);
    kb_free(result->operator_name);
    kb_free(result->customer);
    kb_free(result->remark);
    kb_free(result->batch_name);
    kb_free(result->casting);
    kb_free(result->cast_on);
    kb_free(result->job_path);
    for (size_t i = 0; i < result->fields; i++) {
        kb_field_result_release(&result->field[i]);
    }
    kb_free(result->field);
    kb_specimen_release(&result->specimen);
    kb_judgement_release(&result->judgement);
    for (size_t i = 0; i < result->settings; i++) {
        kb_free(result->setting[i].name);
        kb_free(result->setting[i].value);
    }
    kb_free(result->setting);
    for (size_t i = 0; i < result->by_hands; i++) {
        kb_by_hand_release(&result->by_hand[i]);
    }
    kb_free(result->by_hand);
    kb_reviewed_release(&result->reviewed);
    for (size_t i = 0; i < result->explaineds; i++) {
        kb_free(result->explained[i].photo_jpeg);
        kb_free(result->explained[i].overlay_jpeg);
    }
    kb_free(result->explained);
    kb_free(result->time);
    *result = (struct kb_result){0};
}

const char *kb_hand_kind_name(enum kb_hand_kind kind) {
    static const char *const name[KB_HAND_KINDS] = {
        "phase",   "form", "exclusion", "dark-threshold", "bright-threshold",
        "outline", "cut",  "join",      "scale"};
    return (unsigned)kind < KB_HAND_KINDS ? name[kind] : "unknown";
}

void kb_by_hand_release(struct kb_by_hand *hand) {
    kb_free(hand->field_name);
    kb_free(hand->point);
    kb_free(hand->reason);
    kb_free(hand->who);
    kb_free(hand->at);
    *hand = (struct kb_by_hand){.level = (double)NAN};
}

bool kb_by_hand_copy(const struct kb_by_hand *from, struct kb_by_hand *to) {
    *to = *from;
    to->field_name = kb_copy_string(from->field_name);
    to->reason = kb_copy_string(from->reason);
    to->who = kb_copy_string(from->who);
    to->at = kb_copy_string(from->at);
    to->points = from->point != NULL ? from->points : 0;
    to->point = to->points > 0 ? kb_alloc(to->points, sizeof *to->point) : NULL;
    bool whole = (to->field_name != NULL) == (from->field_name != NULL) &&
                 (to->reason != NULL) == (from->reason != NULL) &&
                 (to->who != NULL) == (from->who != NULL) &&
                 (to->at != NULL) == (from->at != NULL) && (to->point != NULL) == (to->points > 0);
    if (!whole) {
        kb_by_hand_release(to);
        return false;
    }
    for (size_t i = 0; i < to->points; i++) {
        to->point[i] = from->point[i];
    }
    return true;
}

void kb_reviewed_release(struct kb_reviewed *reviewed) {
    kb_free(reviewed->record);
    kb_free(reviewed->signed_by);
    kb_free(reviewed->remark);
    kb_free(reviewed->signed_at);
    *reviewed = (struct kb_reviewed){0};
}

bool kb_reviewed_copy(const struct kb_reviewed *from, struct kb_reviewed *to) {
    *to = *from;
    to->record = kb_copy_string(from->record);
    to->signed_by = kb_copy_string(from->signed_by);
    to->remark = kb_copy_string(from->remark);
    to->signed_at = kb_copy_string(from->signed_at);
    const bool whole = (to->record != NULL) == (from->record != NULL) &&
                       (to->signed_by != NULL) == (from->signed_by != NULL) &&
                       (to->remark != NULL) == (from->remark != NULL) &&
                       (to->signed_at != NULL) == (from->signed_at != NULL);
    if (!whole) {
        kb_reviewed_release(to);
    }
    return whole;
}

size_t kb_hand_forms(const struct kb_result *result) {
    size_t count = 0;
    for (size_t i = 0; i < result->fields; i++) {
        count += result->field[i].particles.by_hand;
    }
    return count;
}
