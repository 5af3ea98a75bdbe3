/* batch_advice.c - the cheapest way from "undecided" to a decision.
 *
 * A field more costs a photograph; a specimen more costs cutting, mounting, grinding and polishing
 * too, which is weighed as so many fields (params.specimen_work). Fields that cannot be used come
 * first: nothing is decided before they are taken again.
 */
#include "judge_priv.h"

static const char *plural(size_t count) {
    return count == 1 ? "" : "s";
}

static size_t most_fields(const struct kb_judgement *judgement) {
    size_t most = 0;
    for (size_t i = 0; i < judgement->count; i++) {
        const struct kb_limit_result *limit = &judgement->limit[i];
        if (limit->outcome == KB_UNDECIDED) {
            if (limit->fields_to_decide == 0) {
                return 0; /* one of its limits cannot be decided so */
            }
            most = limit->fields_to_decide > most ? limit->fields_to_decide : most;
        }
    }
    return most;
}

/* Fields on the specimens that are undecided themselves. */
static void on_specimens(const struct kb_batch_member *member, size_t count,
                         struct kb_batch_judgement *out) {
    size_t fields = 0, helped = 0, first = count;
    for (size_t i = 0; i < count; i++) {
        if (member[i].judged && member[i].judgement->verdict == KB_UNDECIDED) {
            size_t more = most_fields(member[i].judgement);
            fields += more;
            helped += more > 0;
            first = more > 0 && first == count ? i : first;
        }
    }
    if (helped == out->undecided && helped == 1) {
        (void)snprintf(out->advice, sizeof out->advice,
                       "%zu more field%s of specimen %s would decide, at this spread; another "
                       "specimen would not",
                       fields, plural(fields), member[first].specimen);
    } else if (helped == out->undecided) {
        (void)snprintf(
            out->advice, sizeof out->advice,
            "%zu more fields in all on the %zu undecided specimens would decide, at this "
            "spread; another specimen would not",
            fields, helped);
    } else {
        (void)snprintf(out->advice, sizeof out->advice,
                       "how many more fields would decide cannot be said for %zu of the %zu "
                       "undecided specimens; see their reports",
                       out->undecided - helped, out->undecided);
    }
}

static void on_the_mean(struct kb_batch_judgement *out) {
    size_t fields = 0, specimens = 0, each = 1, groups = 0;
    bool by_fields = true, by_specimens = true;
    for (size_t i = 0; i < out->figures; i++) {
        const struct kb_batch_figure *figure = &out->figure[i];
        if (figure->limited && figure->limit.outcome == KB_UNDECIDED) {
            by_fields = by_fields && figure->more_fields > 0;
            by_specimens = by_specimens && figure->more_specimens > 0;
            fields = figure->more_fields > fields ? figure->more_fields : fields;
            specimens = figure->more_specimens > specimens ? figure->more_specimens : specimens;
            groups = figure->split.groups;
            each = (size_t)lround(figure->split.fields_each);
        }
    }
    if (groups < 2) {
        (void)snprintf(out->advice, sizeof out->advice,
                       "one specimen says nothing about the spread between specimens; prepare at "
                       "least one more, better two");
        return;
    }
    double field_work = (double)(fields * groups);
    double specimen_work = (double)specimens * (out->params.specimen_work + (double)each);
    if (by_fields && (!by_specimens || field_work <= specimen_work)) {
        (void)snprintf(out->advice, sizeof out->advice,
                       "%zu more field%s on each of the %zu specimens would decide, at this spread",
                       fields, plural(fields), groups);
    } else if (by_specimens) {
        (void)snprintf(out->advice, sizeof out->advice,
                       "%zu more specimen%s of %zu field%s would decide, at this spread; %s",
                       specimens, plural(specimens), each, plural(each),
                       by_fields ? "more fields on these would take more work"
                                 : "more fields on these would not");
    } else {
        (void)snprintf(out->advice, sizeof out->advice,
                       "the mean lies so near its limit that no sensible number of fields or "
                       "specimens would decide");
    }
}

static void photograph_again(struct kb_batch_judgement *out) {
    int used = snprintf(out->advice, sizeof out->advice,
                        "photograph again the fields that cannot be used, on %zu specimen%s",
                        out->unjudged, plural(out->unjudged));
    if (out->undecided > 0 && used > 0 && (size_t)used < sizeof out->advice) {
        (void)snprintf(out->advice + used, sizeof out->advice - (size_t)used,
                       "; %zu more %s undecided, see the reasons", out->undecided,
                       out->undecided == 1 ? "is" : "are");
    }
}

void kb_batch_advice(const struct kb_batch_member *member, size_t count,
                     struct kb_batch_judgement *out) {
    out->advice[0] = '\0';
    if (out->verdict != KB_UNDECIDED) {
        return;
    }
    if (out->unjudged > 0) {
        photograph_again(out);
    } else if (out->params.rule == KB_BATCH_MEAN) {
        on_the_mean(out);
    } else {
        on_specimens(member, count, out);
    }
}
