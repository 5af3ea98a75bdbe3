/* batch_verdict.c - from the verdicts of specimens to the verdict of the batch.
 *
 * Every specimen must pass. One that is rejected rejects the batch, whatever is not known of the
 * others; one that is undecided or could not be measured leaves it undecided, since it might still
 * be rejected. A specimen without a limit speaks neither for nor against.
 */
#include "judge_priv.h"

static const char every_specimen[] = "every specimen must pass";

static void count_member(const struct kb_batch_member *member, struct kb_batch_judgement *out) {
    if (!member->judged || member->judgement == NULL) {
        out->unjudged++;
        return;
    }
    switch (member->judgement->verdict) {
    case KB_ACCEPT:
        out->accepted++;
        break;
    case KB_REJECT:
        out->rejected++;
        break;
    case KB_UNDECIDED:
        out->undecided++;
        break;
    case KB_OUTCOME_NONE:
        out->unlimited++;
        break;
    }
}

/* "2 of 7 specimens are rejected" */
static void say(struct kb_batch_judgement *out, size_t of_them, const char *what) {
    (void)snprintf(out->reason, sizeof out->reason, "%zu of %zu specimen%s %s %s", of_them,
                   out->specimens, out->specimens == 1 ? "" : "s", of_them == 1 ? "is" : "are",
                   what);
}

static void settle(struct kb_batch_judgement *out) {
    const size_t limited = out->specimens - out->unlimited - out->unjudged;
    if (out->rejected > 0) {
        out->verdict = KB_REJECT;
        say(out, out->rejected, "rejected");
    } else if (out->unjudged > 0 && (limited > 0 || out->unlimited == 0)) {
        out->verdict = KB_UNDECIDED;
        say(out, out->unjudged, "not judged: some field cannot be used");
    } else if (out->undecided > 0) {
        out->verdict = KB_UNDECIDED;
        say(out, out->undecided, "undecided");
    } else if (limited > 0) {
        out->verdict = KB_ACCEPT;
        say(out, out->accepted, "accepted");
    } else {
        out->verdict = KB_OUTCOME_NONE;
        (void)snprintf(out->reason, sizeof out->reason, "no limit is set");
    }
}

enum kb_status kb_judge_batch(const struct kb_batch_member *member, size_t count,
                              struct kb_batch_judgement *out, struct kb_err *err) {
    *out = (struct kb_batch_judgement){.specimens = count, .rule = every_specimen};
    if (count == 0) {
        return kb_fail(err, KB_E_USAGE, "judge", NULL,
                       "a batch without specimens cannot be judged (name at least one)");
    }
    for (size_t i = 0; i < count; i++) {
        count_member(&member[i], out);
    }
    settle(out);
    return KB_OK;
}
