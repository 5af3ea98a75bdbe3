/* show_words.c - the result in words: what leads the page, the terminal table and the verdict.
 *
 * Every writer takes its words and its order of figures from here, so that the page, the table and
 * the data agree on what a figure is called and what it is a percentage of.
 */
#include "report_priv.h"

#include <string.h>

const char *kb_contrast_words(enum kb_contrast contrast) {
    switch (contrast) {
    case KB_LIGHT:
        return "light microscope, etched";
    case KB_LIGHT_UNETCHED:
        return "light microscope, as polished";
    case KB_SEM:
        break;
    }
    return "scanning electron microscope";
}

const char *kb_state_words(enum kb_particle_state state) {
    switch (state) {
    case KB_COUNTS:
        return "counts";
    case KB_ON_FRAME:
        return "cut by the edge of the picture";
    case KB_ON_EXCLUSION:
        return "touches an excluded area";
    case KB_UNDER_SIZE:
        return "maximum Feret diameter below the minimum";
    case KB_NO_SCALE:
    case KB_PARTICLE_STATES:
        break;
    }
    return "pixel size unknown, so the minimum cannot be applied";
}

const char *kb_verdict_words(enum kb_outcome outcome) {
    switch (outcome) {
    case KB_ACCEPT:
        return "Accepted";
    case KB_REJECT:
        return "Rejected";
    case KB_UNDECIDED:
        return "Undecided";
    case KB_OUTCOME_NONE:
        break;
    }
    return "Measured, no limits given";
}

bool kb_result_contrast(const struct kb_result *result, enum kb_contrast *contrast) {
    for (size_t i = 0; i < result->fields; i++) {
        if (result->field[i].contrast != result->field[0].contrast) {
            return false;
        }
    }
    if (result->fields > 0) {
        *contrast = result->field[0].contrast;
    }
    return result->fields > 0;
}

bool kb_result_scale(const struct kb_result *result, double *px_um, enum kb_scale_source *source) {
    for (size_t i = 0; i < result->fields; i++) {
        const struct kb_field_result *field = &result->field[i];
        if (!(field->px_um > 0.0) || fabs(field->px_um - result->field[0].px_um) > 0.0 ||
            field->scale_source != result->field[0].scale_source) {
            return false;
        }
    }
    if (result->fields > 0) {
        *px_um = result->field[0].px_um;
        *source = result->field[0].scale_source;
    }
    return result->fields > 0;
}

static const struct kb_findings *findings_at(const struct kb_result *result, size_t field) {
    return field == 0 ? &result->specimen.findings : &result->field[field - 1].findings;
}

static bool are_alike(const struct kb_finding *a, const struct kb_finding *b, enum kb_alike alike) {
    return strcmp(a->code, b->code) == 0 &&
           (alike == KB_ALIKE_CODE || strcmp(a->text, b->text) == 0);
}

/* How many findings of the fields first .. last - 1 are like `finding`. */
static size_t count_alike(const struct kb_result *result, size_t first, size_t last,
                          const struct kb_finding *finding, enum kb_alike alike) {
    size_t count = 0;
    for (size_t field = first; field < last; field++) {
        const struct kb_findings *findings = findings_at(result, field);
        for (size_t i = 0; i < findings->count; i++) {
            count += are_alike(&findings->item[i], finding, alike) ? 1 : 0;
        }
    }
    return count;
}

/* Whether an earlier finding of the same field is like number `index` of it. */
static bool seen_here(const struct kb_findings *findings, size_t index, enum kb_alike alike) {
    for (size_t i = 0; i < index; i++) {
        if (are_alike(&findings->item[i], &findings->item[index], alike)) {
            return true;
        }
    }
    return false;
}

bool kb_result_finding_next(const struct kb_result *result, enum kb_alike alike,
                            struct kb_finding_group *group) {
    while (group->at_field <= result->fields) {
        const struct kb_findings *findings = findings_at(result, group->at_field);
        if (group->at_index >= findings->count) {
            group->at_field++;
            group->at_index = 0;
            continue;
        }
        size_t index = group->at_index++;
        group->finding = &findings->item[index];
        group->field = group->at_field;
        group->more = 0;
        if (group->field == 0) {
            return true; /* what is said of the specimen stands alone */
        }
        if (!seen_here(findings, index, alike) &&
            count_alike(result, 1, group->field, group->finding, alike) == 0) {
            group->more =
                count_alike(result, group->field + 1, result->fields + 1, group->finding, alike);
            return true;
        }
    }
    return false;
}

void kb_finding_where(const struct kb_finding_group *group, char *to, size_t size) {
    to[0] = '\0';
    if (group->field > 0 && group->more > 0) {
        (void)snprintf(to, size, "field %zu and %zu more", group->field, group->more);
    } else if (group->field > 0) {
        (void)snprintf(to, size, "field %zu", group->field);
    }
}

size_t kb_result_findings(const struct kb_result *result, enum kb_alike alike) {
    struct kb_finding_group group = {0};
    size_t count = 0;
    while (kb_result_finding_next(result, alike, &group)) {
        count++;
    }
    return count;
}

/* ---- the figures that lead ---------------------------------------------------------------------
 */

struct leading {
    struct kb_headline *out;
    size_t count;
};

static void lead(struct leading *leading, const char *words, const char *of, const char *brief,
                 const struct kb_estimate *estimate) {
    if (leading->count < KB_HEADLINES) {
        leading->out[leading->count++] = (struct kb_headline){words, of, brief, *estimate};
    }
}

/* What is neither ferrite nor pearlite, where there is any. */
static void lead_other(const struct kb_result *result, struct leading *to) {
    const struct kb_estimate *other = &result->specimen.other_of_matrix;
    if (other->measured && other->value > 0.0) {
        lead(to, "other", "of the matrix: neither ferrite nor pearlite", "other, of the matrix",
             other);
    }
}

/* What is left to 100 %. */
static struct kb_estimate rest_of(const struct kb_estimate *percent) {
    struct kb_estimate rest = *percent;
    if (percent->measured) {
        rest.value = 100.0 - percent->value;
        rest.lo = 100.0 - percent->hi;
        rest.hi = 100.0 - percent->lo;
    }
    return rest;
}

static void lead_iron(const struct kb_result *result, struct leading *to) {
    const struct kb_specimen *specimen = &result->specimen;
    const struct kb_estimate *nodularity = specimen->nodularity_percent;
    if (result->material == KB_GREY_IRON) {
        lead(to, "form I graphite", "of the graphite area, ISO 945-1 lamellar",
             "form I (lamellar), of graphite area", &specimen->form_area_percent[KB_FORM_I]);
        lead(to, "largest graphite", "maximum Feret diameter", "largest graphite, max. Feret",
             &specimen->largest_feret_um);
    } else {
        bool compacted = result->material == KB_COMPACTED_IRON;
        lead(to, "nodularity",
             compacted ? "of the graphite area, after ISO 16112"
                       : "of the graphite area, after ISO 945-4",
             compacted ? "nodularity by area, ISO 16112" : "nodularity by area, ISO 945-4",
             &nodularity[compacted ? KB_NOD_ISO16112 : KB_NOD_ISO945_4]);
        if (compacted) {
            const struct kb_estimate vermicular = rest_of(&nodularity[KB_NOD_ISO16112]);
            lead(to, "compacted graphite", "100 % less the nodularity, middle class by half",
                 "compacted graphite, 100 % less that", &vermicular);
        } else {
            lead(to, "nodule count", "nodules on the section, shape factor ≥ 0.6", "nodule count",
                 &specimen->nodules_per_mm2);
        }
    }
    lead(to, "pearlite", "of the matrix, graphite left out", "pearlite, of the matrix",
         &specimen->pearlite_of_matrix);
    lead_other(result, to);
    lead(to, "graphite", "of the area of the fields", "graphite, of the fields' area",
         &specimen->phase[KB_GRAPHITE]);
    lead(to, "graphite size", "mean of the maximum Feret diameter",
         "mean graphite size, max. Feret", &specimen->mean_feret_um);
}

static void lead_steel(const struct kb_result *result, struct leading *to) {
    const struct kb_estimate *phase = result->specimen.phase;
    bool cementite = result->proeutectoid == KB_PRO_CEMENTITE;
    lead(to, "pearlite", "of the area of the fields", "pearlite, of the fields' area",
         &phase[KB_PEARLITE]);
    lead_other(result, to);
    lead(to, cementite ? "proeutectoid cementite" : "proeutectoid ferrite",
         "of the area of the fields",
         cementite ? "cementite, of the fields' area" : "ferrite, of the fields' area",
         &phase[cementite ? KB_CEMENTITE : KB_FERRITE]);
    if (result->carbon_known) {
        lead(to, "carbon, implied", "by mass, from the lever rule; an estimate",
             "carbon implied, by mass", &result->carbon.total_percent);
    }
}

size_t kb_result_headlines(const struct kb_result *result, struct kb_headline out[KB_HEADLINES]) {
    struct leading leading = {out, 0};
    if (kb_material_is_iron(result->material)) {
        lead_iron(result, &leading);
    } else {
        lead_steel(result, &leading);
    }
    return leading.count;
}

/* ---- limits ------------------------------------------------------------------------------------
 */

static void list_outcome(const struct kb_judgement *judgement, enum kb_outcome outcome,
                         const char *before, struct kb_text *out) {
    bool some = false;
    for (size_t i = 0; i < judgement->count; i++) {
        if (judgement->limit[i].outcome == outcome) {
            kb_text_add(out, some ? ", " : before);
            kb_text_words(out, kb_quantity_name(judgement->limit[i].limit.quantity));
            some = true;
        }
    }
}

void kb_verdict_sentence(const struct kb_judgement *judgement, struct kb_text *out) {
    size_t met = 0;
    for (size_t i = 0; i < judgement->count; i++) {
        met += judgement->limit[i].outcome == KB_ACCEPT ? 1 : 0;
    }
    if (judgement->count == 0) {
        kb_text_add(out, "no limits were given, so nothing was judged");
    } else if (met == judgement->count && met == 1) {
        kb_text_add(out, "the one limit is met");
    } else if (met == judgement->count) {
        kb_text_format(out, "all %zu limits are met", met);
    } else {
        kb_text_format(out, "%zu of %zu limit%s met", met, judgement->count,
                       judgement->count == 1 ? "" : "s");
        list_outcome(judgement, KB_REJECT, "; not met: ", out);
        list_outcome(judgement, KB_UNDECIDED, "; undecided: ", out);
    }
    if (judgement->count > 0 && judgement->decision_rule == KB_RULE_SIMPLE) {
        kb_text_add(out, "; by the value alone, without regard to its uncertainty");
    }
}

void kb_limit_words(const struct kb_limit *limit, struct kb_text *out) {
    const char *unit = kb_show_unit(kb_quantity_unit(limit->quantity));
    bool low = isfinite(limit->low), high = isfinite(limit->high);
    if (low && high) {
        kb_text_significant(out, limit->low, 6);
        kb_text_add(out, " to ");
        kb_text_significant(out, limit->high, 6);
    } else if (low || high) {
        kb_text_add(out, low ? "≥ " : "≤ ");
        kb_text_significant(out, low ? limit->low : limit->high, 6);
    } else {
        kb_text_add(out, "–");
        return;
    }
    kb_text_format(out, " %s", unit);
}
