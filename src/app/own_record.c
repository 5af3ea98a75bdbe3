/* own_record.c - the record of a review among what was said: its changes in force become decisions
 * by hand, as if each had been said by itself. */
#include "request.h"

static enum kb_status add_hands(struct kb_request *request, const struct kb_by_hand *hand,
                                size_t count, struct kb_err *err) {
    const size_t all = request->hands + count;
    struct kb_by_hand *grown = kb_resize(request->hand, all, sizeof *grown);
    if (grown == NULL) {
        return kb_fail_memory(err, "app", all * sizeof *grown);
    }
    request->hand = grown;
    request->hands_capacity = all;
    for (size_t i = 0; i < count; i++) {
        request->hand[request->hands++] = hand[i];
    }
    return KB_OK;
}

/* What the report says of it. */
static void describe(struct kb_request *request) {
    const struct kb_record *record = request->review;
    const struct kb_record_entry *signature = kb_record_signature(record);
    request->reviewed = (struct kb_reviewed){.changes = kb_record_in_force(record)};
    request->reviewed.record = record->path + (kb_base_name(record->path) - record->path);
    (void)snprintf(request->reviewed.sha256, sizeof request->reviewed.sha256, "%s", record->sha256);
    if (signature != NULL) {
        request->reviewed.signed_by = signature->who;
        request->reviewed.remark = signature->why;
        request->reviewed.signed_at = signature->at;
    }
}

enum kb_status kb_request_take_record(struct kb_request *request, struct kb_record *record,
                                      struct kb_err *err) {
    struct kb_by_hand *hand = NULL;
    size_t count = 0;
    enum kb_status status = kb_record_hands(record, NULL, &hand, &count, err);
    if (status == KB_OK && count > 0) {
        status = add_hands(request, hand, count, err);
    }
    kb_free(hand);
    if (status != KB_OK) {
        return status;
    }
    request->review = kb_alloc(1, sizeof *request->review);
    if (request->review == NULL) {
        return kb_fail_memory(err, "app", sizeof *record);
    }
    *request->review = *record;
    *record = (struct kb_record){.file = -1};
    describe(request);
    return KB_OK;
}

enum kb_status kb_own_record(struct kb_request *request, const struct kb_assignment *from,
                             struct kb_err *err) {
    struct kb_record record;
    enum kb_status status = kb_record_read(from->value, &record, err);
    if (status == KB_OK && request->review != NULL) {
        status = kb_refuse(from, err, "is a second record (a result has one)");
    }
    if (status == KB_OK) {
        status = kb_request_take_record(request, &record, err);
    }
    kb_record_release(&record);
    return status;
}
