/* count_rules.c - particles per mm2 by each counting rule, side by side.
 *
 * A particle cut by the edge is in this field and in its neighbour. Complete ones alone are too
 * few. Half of the cut ones too is what counting by eye does: for discs of diameter d too many by
 * 0.893 d^2 / (W H), because of the corners (refs/frame_rules.csv). Two rules are unbiased: two
 * adjacent edges (frame_edges.c), and complete ones weighted for the frame (frame_weight.c). The
 * last is the one that the figures of this program use, because it asks nothing of a particle whose
 * shape cannot be seen.
 *
 * The other rules do ask. Whether a cut particle has the minimum size is judged by the part that
 * shows, which loses some just above it. Whether it is a nodule cannot be judged: of the cut ones
 * as many are taken to be nodules as of the complete ones, over the whole specimen. What that share
 * leaves uncertain is not in the interval.
 */
#include "specimen_priv.h"

static const char why_patch[] =
    "an excluded area lies inside a field, so that its edges are no rectangle";

const char *kb_count_rule_name(enum kb_count_rule rule) {
    static const char *const name[KB_COUNT_RULES] = {"inside", "half_cut", "two_edges", "weighted"};
    return (unsigned)rule < KB_COUNT_RULES ? name[rule] : "unknown";
}

const char *kb_count_rule_words(enum kb_count_rule rule) {
    static const char *const words[KB_COUNT_RULES] = {
        [KB_COUNT_INSIDE] = "complete particles only",
        [KB_COUNT_HALF_CUT] = "complete particles and half of those cut by the edge",
        [KB_COUNT_TWO_EDGES] = "two adjacent edges: cut by the right or lower edge counts, by the "
                               "left or upper one it does not",
        [KB_COUNT_WEIGHTED] = "Miles–Lantuéjoul: complete particles, each weighted for the places "
                              "where it would have been cut",
    };
    return (unsigned)rule < KB_COUNT_RULES ? words[rule] : "unknown";
}

/* Cut particles of a field that the rule adds to the complete ones. */
static double cut_counted(const struct kb_field_figures *field, enum kb_count_rule rule) {
    switch (rule) {
    case KB_COUNT_HALF_CUT:
        return 0.5 * (double)field->cut;
    case KB_COUNT_TWO_EDGES:
        return (double)field->cut_kept;
    case KB_COUNT_INSIDE:
    case KB_COUNT_WEIGHTED:
    case KB_COUNT_RULES:
        break;
    }
    return 0.0;
}

static struct kb_estimate per_area(const struct kb_used *used, double counted) {
    for (size_t i = 0; i < used->count; i++) {
        used->bottom[i] = used->field[i]->area_mm2;
    }
    struct kb_estimate estimate =
        kb_estimate_ratio(used->top, used->bottom, used->count, 1.0, "1/mm2", 0.0, KB_INFINITY);
    kb_widen_to_poisson(&estimate, counted);
    return estimate;
}

static void count_by(const struct kb_used *used, enum kb_count_rule rule, double share,
                     struct kb_specimen *out) {
    double all = 0.0;
    double nodules = 0.0;
    for (size_t i = 0; i < used->count; i++) {
        const struct kb_field_figures *field = used->field[i];
        used->top[i] = rule == KB_COUNT_WEIGHTED ? field->rated_weighted
                                                 : (double)field->rated + cut_counted(field, rule);
        all += (double)field->rated + cut_counted(field, rule);
        nodules += (double)field->nodules + share * cut_counted(field, rule);
    }
    out->graphite_count_per_mm2[rule] = per_area(used, all);
    for (size_t i = 0; i < used->count; i++) {
        const struct kb_field_figures *field = used->field[i];
        used->top[i] = rule == KB_COUNT_WEIGHTED
                           ? field->nodules_per_mm2 * field->area_mm2
                           : (double)field->nodules + share * cut_counted(field, rule);
    }
    out->nodule_count_per_mm2[rule] = per_area(used, nodules);
}

void kb_count_rules_run(const struct kb_used *used, struct kb_specimen *out) {
    size_t nodules = 0;
    size_t rated = 0;
    bool plain = true;
    for (size_t i = 0; i < used->count; i++) {
        nodules += used->field[i]->nodules;
        rated += used->field[i]->rated;
        plain &= used->field[i]->edges_plain;
    }
    double share = rated > 0 ? (double)nodules / (double)rated : 0.0;
    for (int rule = 0; rule < KB_COUNT_RULES; rule++) {
        count_by(used, (enum kb_count_rule)rule, share, out);
    }
    if (!plain) {
        out->graphite_count_per_mm2[KB_COUNT_TWO_EDGES] = kb_estimate_missing("1/mm2", why_patch);
        out->nodule_count_per_mm2[KB_COUNT_TWO_EDGES] = kb_estimate_missing("1/mm2", why_patch);
    }
}

void kb_count_rules_miss(const char *why, struct kb_specimen *out) {
    for (int rule = 0; rule < KB_COUNT_RULES; rule++) {
        out->graphite_count_per_mm2[rule] = kb_estimate_missing("1/mm2", why);
        out->nodule_count_per_mm2[rule] = kb_estimate_missing("1/mm2", why);
    }
}
