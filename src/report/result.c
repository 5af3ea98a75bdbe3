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
        kb_free(result->by_hand[i].field_name);
        kb_free(result->by_hand[i].reason);
    }
    kb_free(result->by_hand);
    for (size_t i = 0; i < result->explaineds; i++) {
        kb_free(result->explained[i].photo_jpeg);
        kb_free(result->explained[i].overlay_jpeg);
    }
    kb_free(result->explained);
    kb_free(result->time);
    *result = (struct kb_result){0};
}

const char *kb_hand_kind_name(enum kb_hand_kind kind) {
    static const char *const name[KB_HAND_KINDS] = {"phase", "form", "exclusion", "dark-threshold",
                                                    "bright-threshold"};
    return (unsigned)kind < KB_HAND_KINDS ? name[kind] : "unknown";
}

size_t kb_hand_forms(const struct kb_result *result) {
    size_t count = 0;
    for (size_t i = 0; i < result->fields; i++) {
        count += result->field[i].particles.by_hand;
    }
    return count;
}
