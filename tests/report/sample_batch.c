/* sample_batch.c - see sample_batch.h. */
#include "sample_batch.h"

#include "sample_result.h"

#include "kb_cmocka.h"

#include <string.h>

enum { FIELDS_EACH = 5 };

static char *copy(const char *string) {
    char *made = kb_copy_string(string);
    assert_non_null(made);
    return made;
}

static struct kb_estimate figure(double value, double half, enum kb_quantity quantity) {
    struct kb_estimate estimate =
        kb_estimate_point(value, FIELDS_EACH, kb_quantity_unit(quantity), "made up for a test");
    estimate.has_interval = half > 0.0;
    estimate.lo = half > 0.0 ? value - half : (double)NAN;
    estimate.hi = half > 0.0 ? value + half : (double)NAN;
    estimate.s = half > 0.0 ? half * 0.8 : (double)NAN;
    return estimate;
}

/* Guarded, against one lower limit of 80. */
static enum kb_outcome guarded(const struct kb_estimate *value, double low) {
    return !value->has_interval ? KB_UNDECIDED
           : value->lo >= low   ? KB_ACCEPT
           : value->hi < low    ? KB_REJECT
                                : KB_UNDECIDED;
}

static void judge(const struct sample_batch_options *options, size_t i,
                  struct kb_batch_specimen *specimen) {
    struct kb_judgement *judgement = &specimen->judgement;
    judgement->rule = "guarded: the whole interval decides (a source)";
    judgement->count = options->limits;
    judgement->verdict = options->limits > 0 ? KB_ACCEPT : KB_OUTCOME_NONE;
    if (options->limits > 0) {
        judgement->limit = kb_alloc_zero(options->limits, sizeof *judgement->limit);
        assert_non_null(judgement->limit);
    }
    for (size_t k = 0; k < options->limits; k++) {
        struct kb_limit_result *limit = &judgement->limit[k];
        limit->limit.quantity = (enum kb_quantity)k;
        limit->limit.low = options->own_limits && i % 2 == 1 ? 70.0 : 80.0;
        limit->limit.high = (double)NAN;
        limit->value = specimen->figure[k];
        limit->outcome = guarded(&limit->value, limit->limit.low);
        limit->probability = (double)NAN;
        (void)snprintf(limit->reason, sizeof limit->reason, "made up");
        if (limit->outcome == KB_REJECT ||
            (limit->outcome == KB_UNDECIDED && judgement->verdict != KB_REJECT)) {
            judgement->verdict = limit->outcome;
        }
    }
}

static void fault(struct kb_batch_specimen *specimen, bool hostile) {
    specimen->fault = kb_alloc_zero(1, sizeof *specimen->fault);
    assert_non_null(specimen->fault);
    specimen->faults = 1;
    specimen->fault[0] = (struct kb_batch_fault){
        copy(hostile ? sample_hostile : "fields/3.tif"), KB_E_INPUT,
        copy(hostile ? sample_hostile : "the file ends in the middle of the picture")};
}

static void make_specimen(const struct sample_batch_options *options, size_t i,
                          struct kb_batch_specimen *specimen) {
    char name[64];
    (void)snprintf(name, sizeof name, "S %zu/ä", i + 1);
    specimen->id = copy(options->hostile ? sample_hostile : name);
    (void)snprintf(name, sizeof name, "S %zu%%ä#", i + 1);
    specimen->folder = copy(name);
    specimen->grade = copy(options->hostile ? sample_hostile : "500-7");
    specimen->section_mm = 25.0;
    specimen->material = KB_DUCTILE_IRON;
    specimen->fields = FIELDS_EACH;
    specimen->chemistry = kb_chemistry_unknown();
    specimen->chemistry.c = 3.58;
    specimen->area_mm2 = (double)NAN;
    specimen->judged = i >= options->unjudged;
    for (int q = 0; q < KB_QUANTITIES; q++) {
        const enum kb_quantity quantity = (enum kb_quantity)q;
        specimen->figure[q] =
            !specimen->judged ? kb_estimate_missing(kb_quantity_unit(quantity), "not measured")
                              : figure(options->value + 0.001 * (double)i, options->half, quantity);
    }
    if (specimen->judged) {
        judge(options, i, specimen);
    } else {
        fault(specimen, options->hostile);
    }
}

static enum kb_status open_sample(void *context, size_t specimen, struct kb_result *result,
                                  struct kb_err *err) {
    const struct sample_options options = {.fields = 2, .hostile = *(const bool *)context};
    (void)specimen;
    (void)err;
    sample_result_make(&options, result);
    return KB_OK;
}

void sample_batch_make(const struct sample_batch_options *options, struct kb_batch *batch) {
    static const bool tame = false, wild = true;
    struct kb_batch_member *member = kb_alloc(options->specimens, sizeof *member);
    struct kb_batch_params params = kb_batch_params_default();
    assert_non_null(member);
    params.rule = options->rule;
    *batch = (struct kb_batch){.open = open_sample};
    union {
        const bool *said;
        void *context;
    } way = {.said = options->hostile ? &wild : &tame}; /* read, never written to */
    batch->context = way.context;
    batch->name = copy(options->hostile ? sample_hostile : "Ofen ä / 7");
    batch->laboratory = copy(options->hostile ? sample_hostile : "Quillmere Foundry");
    batch->customer = copy(options->hostile ? sample_hostile : "Tollgate Fittings");
    batch->operator_name = copy(options->hostile ? sample_hostile : "R. Ash");
    batch->manifest = copy(options->hostile ? sample_hostile : "week-12.csv");
    (void)snprintf(batch->made_at, sizeof batch->made_at, "2026-03-04T09:41:00+01:00");
    (void)snprintf(batch->manifest_sha256, sizeof batch->manifest_sha256, "%064x", 0xbeefU);
    batch->specimen = kb_alloc_zero(options->specimens, sizeof *batch->specimen);
    assert_non_null(batch->specimen);
    batch->specimens = options->specimens;
    for (size_t i = 0; i < options->specimens; i++) {
        struct kb_batch_specimen *specimen = &batch->specimen[i];
        make_specimen(options, i, specimen);
        batch->fields += specimen->fields;
        member[i] = (struct kb_batch_member){specimen->id, specimen->judged,
                                             specimen->judged ? specimen->figure : NULL,
                                             specimen->judged ? &specimen->judgement : NULL};
    }
    assert_int_equal(kb_judge_batch(member, options->specimens, &params, &batch->judgement, NULL),
                     KB_OK);
    kb_free(member);
}

void sample_batch_release(struct kb_batch *batch) {
    kb_batch_release(batch);
}

const char *sample_wording(size_t characters) {
    static char words[2000];
    assert_true(characters < sizeof words);
    for (size_t i = 0; i < characters; i++) {
        words[i] = i % 9 == 8 ? ' ' : (char)('a' + i % 26);
    }
    words[characters] = '\0';
    return words;
}
