/* batch_verdict.c - from the verdicts of specimens to the verdict of the batch, by the rule agreed.
 *
 * Every specimen must pass: one that is rejected rejects the batch, whatever is not known of the
 * others; one that is undecided or could not be measured leaves it undecided, since it might still
 * be rejected. The mean must pass: see batch_figures.c. A stated share must pass: accepted when so
 * many are accepted already, rejected when even the undecided ones together could not reach it. A
 * specimen without a limit speaks neither for nor against.
 */
#include "judge_priv.h"

#include <string.h>

static const char *const names[KB_BATCH_RULES] = {"every", "mean", "share"};

const char *kb_batch_rule_name(enum kb_batch_rule rule) {
    return (unsigned)rule < KB_BATCH_RULES ? names[rule] : "unknown";
}

struct kb_batch_params kb_batch_params_default(void) {
    return (struct kb_batch_params){.rule = KB_BATCH_EVERY,
                                    .share = 0.9,
                                    .decision_rule = KB_RULE_GUARDED,
                                    .specimen_work = 10.0};
}

enum kb_status kb_batch_rule_parse(const char *text, struct kb_batch_params *params,
                                   struct kb_err *err) {
    static const char share[] = "share";
    const size_t length = sizeof share - 1;
    if (strcmp(text, names[KB_BATCH_EVERY]) == 0) {
        params->rule = KB_BATCH_EVERY;
        return KB_OK;
    }
    if (strcmp(text, names[KB_BATCH_MEAN]) == 0) {
        params->rule = KB_BATCH_MEAN;
        return KB_OK;
    }
    double part = 0.0;
    const char *number = text + length;
    if (strncmp(text, share, length) == 0 && (*number == ' ' || *number == '=')) {
        number += strspn(number, " =>");
        if (strchr(number, '%') != NULL && kb_parse_fraction(number, &part) && part > 0.0) {
            params->rule = KB_BATCH_SHARE;
            params->share = part;
            return KB_OK;
        }
    }
    return kb_fail(err, KB_E_USAGE, "judge", text,
                   "is no rule for a batch (every, mean, or share 90 %%)");
}

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

static const char cannot_be_used[] = "not judged: some field cannot be used";

static void by_every(struct kb_batch_judgement *out) {
    if (out->rejected > 0) {
        out->verdict = KB_REJECT;
        say(out, out->rejected, "rejected");
    } else if (out->unjudged > 0) {
        out->verdict = KB_UNDECIDED;
        say(out, out->unjudged, cannot_be_used);
    } else if (out->undecided > 0) {
        out->verdict = KB_UNDECIDED;
        say(out, out->undecided, "undecided");
    } else {
        out->verdict = KB_ACCEPT;
        say(out, out->accepted, "accepted");
    }
}

static void by_share(struct kb_batch_judgement *out) {
    size_t limited = out->specimens - out->unlimited;
    double needed = ceil(out->params.share * (double)limited - 1e-9); /* 0.9 of 10 is 9, not 10 */
    if ((double)out->accepted >= needed) {
        out->verdict = KB_ACCEPT;
        say(out, out->accepted, "accepted");
    } else if ((double)(limited - out->rejected) < needed) {
        out->verdict = KB_REJECT;
        say(out, out->rejected, "rejected");
    } else {
        out->verdict = KB_UNDECIDED;
        say(out, out->undecided + out->unjudged, "undecided or not judged");
    }
}

/* The worst outcome of the means; `split_limits`: specimens do not share their limits. */
static void by_mean(struct kb_batch_judgement *out) {
    size_t limits = 0, rejected = 0, undecided = 0;
    const struct kb_batch_figure *telling = NULL;
    for (size_t i = 0; i < out->figures; i++) {
        const struct kb_batch_figure *figure = &out->figure[i];
        if (figure->limited) {
            limits++;
            rejected += figure->limit.outcome == KB_REJECT;
            undecided += figure->limit.outcome == KB_UNDECIDED;
            bool tells = figure->limit.outcome == KB_REJECT ||
                         (figure->limit.outcome == KB_UNDECIDED && rejected == 0);
            telling = tells || telling == NULL ? figure : telling;
        }
    }
    out->verdict = rejected > 0                                        ? KB_REJECT
                   : undecided > 0 || out->unjudged > 0 || limits == 0 ? KB_UNDECIDED
                                                                       : KB_ACCEPT;
    if (limits == 0) {
        (void)snprintf(out->reason, sizeof out->reason,
                       "the specimens do not have the same limits, so their mean cannot be judged");
    } else if (out->unjudged > 0 && rejected == 0) {
        say(out, out->unjudged, cannot_be_used);
    } else {
        (void)snprintf(out->reason, sizeof out->reason, "mean of %zu specimen%s, %s: %s",
                       telling->split.groups, telling->split.groups == 1 ? "" : "s",
                       kb_quantity_words(telling->quantity),
                       telling->split.groups == 1 && out->verdict == KB_UNDECIDED
                           ? "one specimen says nothing about the spread between specimens"
                           : telling->limit.reason);
    }
}

static void name_rule(struct kb_batch_judgement *out) {
    switch (out->params.rule) {
    case KB_BATCH_MEAN:
        (void)snprintf(out->rule, sizeof out->rule,
                       "the mean of the specimens must pass, by the %s rule",
                       kb_decision_rule_name(out->params.decision_rule));
        break;
    case KB_BATCH_SHARE:
        (void)snprintf(out->rule, sizeof out->rule, "at least %.4g %% of the specimens must pass",
                       100.0 * out->params.share);
        break;
    case KB_BATCH_EVERY:
    case KB_BATCH_RULES:
    default:
        (void)snprintf(out->rule, sizeof out->rule, "every specimen must pass");
        break;
    }
}

static void settle(struct kb_batch_judgement *out) {
    static void (*const by[KB_BATCH_RULES])(struct kb_batch_judgement * out) = {
        [KB_BATCH_EVERY] = by_every, [KB_BATCH_MEAN] = by_mean, [KB_BATCH_SHARE] = by_share};
    if (out->unlimited > 0 && out->unlimited + out->unjudged == out->specimens) {
        out->verdict = KB_OUTCOME_NONE;
        (void)snprintf(out->reason, sizeof out->reason, "no limit is set");
        return;
    }
    by[out->params.rule](out);
}

enum kb_status kb_judge_batch(const struct kb_batch_member *member, size_t count,
                              const struct kb_batch_params *params, struct kb_batch_judgement *out,
                              struct kb_err *err) {
    memset(out, 0, sizeof *out);
    out->specimens = count;
    out->params = *params;
    if (count == 0) {
        return kb_fail(err, KB_E_USAGE, "judge", NULL,
                       "a batch without specimens cannot be judged (name at least one)");
    }
    if ((unsigned)params->rule >= KB_BATCH_RULES ||
        !(params->share > 0.0 && params->share <= 1.0) || !(params->specimen_work >= 0.0)) {
        return kb_fail(err, KB_E_USAGE, "judge", NULL,
                       "rule of the batch out of range (a share above 0 and up to 100 %%)");
    }
    name_rule(out);
    for (size_t i = 0; i < count; i++) {
        count_member(&member[i], out);
    }
    enum kb_status status = kb_batch_figures(member, count, out, err);
    if (status == KB_OK) {
        settle(out);
        kb_batch_advice(member, count, out);
    }
    return status;
}
