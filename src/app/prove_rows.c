/* prove_rows.c - from pairs of sums to the figures of the proof.
 *
 * Bias: measured less true over the same fields, each as sum over sum; its standard error by
 * leaving out one field at a time (Tukey's jackknife, from memory). Repeatability: the standard
 * deviation s_r of the same section exposed again, pooled over sections, times 2.8. Turning: the
 * largest change against the picture as it was.
 *
 * Coverage asks how often the 95 % interval holds the truth. A between-field interval speaks for
 * the population that the fields were drawn from, so its truth is that population's: not the truth
 * of the very fields (the spread between them would then count as error, and nearly every interval
 * would hold it), and not what the renderer aimed at (which its packing of particles misses by
 * design). The population's value is the ratio of the exact truths of all fields that all its
 * specimens drew; with some hundred specimens its own error is below a tenth of a specimen's.
 */
#include "prove.h"

#include <string.h>

static const struct kb_prove_words words[KB_PROVE_FIGURES] = {
    [KB_PROVE_GRAPHITE] = {"graphite, of the field", "points", "%", 100.0, false},
    [KB_PROVE_PEARLITE] = {"pearlite, of the field", "points", "%", 100.0, false},
    [KB_PROVE_MATRIX] = {"pearlite, of the matrix", "points", "%", 100.0, false},
    [KB_PROVE_NODULARITY] = {"nodularity by area, ISO 945-4", "points", "%", 100.0, false},
    [KB_PROVE_COUNT] = {"nodule count", "%", "/mm²", 1.0, true},
    [KB_PROVE_COMPLETE] = {"complete nodules found", "%", "a field", 1.0, true},
    [KB_PROVE_AREA] = {"area of a particle", "%", NULL, 100.0, false},
    [KB_PROVE_FERET] = {"maximum Feret diameter", "%", NULL, 100.0, false},
    [KB_PROVE_PERIMETER] = {"perimeter", "%", NULL, 100.0, false},
    [KB_PROVE_SHAPE] = {"shape factor", "", NULL, 1.0, false},
};

const struct kb_prove_words *kb_prove_words_of(enum kb_prove_figure figure) {
    return &words[figure];
}

/* Tasks of one row, seen as one list of fields. */
struct run {
    const struct kb_prove_task *task;
    const struct kb_prove_outcome *outcome;
    size_t tasks;
};

/* Ratios of the measured fields of variant `variant`; `without` leaves that one out (SIZE_MAX:
 * none). Fields are numbered through the tasks. */
struct ratios {
    double found, truth;
    size_t fields;
};

static struct ratios pool(const struct run *run, enum kb_prove_figure figure, size_t variant,
                          size_t without) {
    struct kb_prove_pair found = {0.0, 0.0}, truth = {0.0, 0.0};
    size_t fields = 0, number = 0;
    for (size_t t = 0; t < run->tasks; t++) {
        for (size_t i = 0; i < run->task[t].fields; i++, number++) {
            const struct kb_prove_field *field =
                &run->outcome[t].field[variant * run->task[t].fields + i];
            if (!field->measured || number == without) {
                continue;
            }
            found.top += field->found[figure].top;
            found.bottom += field->found[figure].bottom;
            truth.top += field->truth[figure].top;
            truth.bottom += field->truth[figure].bottom;
            fields++;
        }
    }
    return (struct ratios){
        .found = found.bottom > 0.0 ? found.top / found.bottom : (double)NAN,
        .truth = truth.bottom > 0.0 ? truth.top / truth.bottom : 0.0,
        .fields = fields,
    };
}

static double bias_of(const struct ratios *ratios, enum kb_prove_figure figure) {
    return words[figure].relative ? 100.0 * (ratios->found / ratios->truth - 1.0)
                                  : words[figure].scale * (ratios->found - ratios->truth);
}

/* Standard error of the bias over its fields. */
static double bias_error(const struct run *run, enum kb_prove_figure figure, size_t fields) {
    double sum = 0.0, squares = 0.0;
    size_t number = 0, left_out = 0;
    for (size_t t = 0; t < run->tasks; t++) {
        for (size_t i = 0; i < run->task[t].fields; i++, number++) {
            if (!run->outcome[t].field[i].measured) {
                continue;
            }
            struct ratios ratios = pool(run, figure, 0, number);
            double bias = bias_of(&ratios, figure);
            sum += bias;
            squares += bias * bias;
            left_out++;
        }
    }
    if (fields < 2) {
        return (double)NAN;
    }
    double n = (double)left_out;
    double variance = (squares - sum * sum / n) * (n - 1.0) / n;
    return sqrt(fmax(variance, 0.0));
}

static void set_bias(const struct run *run, enum kb_prove_figure figure, struct kb_proof_row *row) {
    struct ratios ratios = pool(run, figure, 0, SIZE_MAX);
    row->figure = ratios.fields > 0 ? bias_of(&ratios, figure) : (double)NAN;
    row->error = bias_error(run, figure, ratios.fields);
    if (words[figure].value_unit != NULL && ratios.fields > 0) {
        row->truth = words[figure].scale * ratios.truth;
        row->measured = words[figure].scale * ratios.found;
    }
}

/* What variant `variant` of one task gives, in the row's unit; relative figures against variant 0.
 */
static double variant_value(const struct run *one, enum kb_prove_figure figure, size_t variant) {
    struct ratios ratios = pool(one, figure, variant, SIZE_MAX);
    if (!words[figure].relative) {
        return words[figure].scale * ratios.found;
    }
    struct ratios first = pool(one, figure, 0, SIZE_MAX);
    return 100.0 * ratios.found / first.found;
}

static void set_repeatability(const struct run *run, enum kb_prove_figure figure,
                              struct kb_proof_row *row) {
    const double twenty = 2.8; /* 1.96 * sqrt(2), as ISO 5725 rounds it (from memory) */
    double squares = 0.0, freedom = 0.0;
    for (size_t t = 0; t < run->tasks; t++) {
        const struct run one = {&run->task[t], &run->outcome[t], 1};
        const size_t variants = run->task[t].variants;
        double sum = 0.0, square = 0.0, first = variant_value(&one, figure, 0);
        for (size_t v = 0; v < variants; v++) {
            double off = variant_value(&one, figure, v) - first; /* small numbers square well */
            sum += off;
            square += off * off;
        }
        squares += fmax(square - sum * sum / (double)variants, 0.0);
        freedom += (double)variants - 1.0;
    }
    row->figure = twenty * sqrt(squares / freedom);
    row->error = row->figure / sqrt(2.0 * freedom);
}

static void set_turning(const struct run *run, enum kb_prove_figure figure,
                        struct kb_proof_row *row) {
    row->figure = 0.0;
    for (size_t t = 0; t < run->tasks; t++) {
        const struct run one = {&run->task[t], &run->outcome[t], 1};
        const double first = variant_value(&one, figure, 0);
        for (size_t v = 1; v < run->task[t].variants; v++) {
            double change = fabs(variant_value(&one, figure, v) - first);
            row->figure = isnan(change) ? change : fmax(row->figure, change);
            if (isnan(change)) {
                return;
            }
        }
    }
}

static void set_coverage(const struct run *run, enum kb_prove_figure figure, size_t size,
                         struct kb_proof_row *row) {
    struct ratios ratios = pool(run, figure, 0, SIZE_MAX);
    row->truth = words[figure].scale * ratios.truth;
    row->measured = words[figure].scale * ratios.found;
    for (size_t t = 0; t < run->tasks; t++) {
        const struct kb_estimate *interval = &run->outcome[t].interval[size][figure];
        bool holds = interval->measured && interval->has_interval && row->truth >= interval->lo &&
                     row->truth <= interval->hi;
        row->hits += holds ? 1 : 0;
    }
    row->trials = run->tasks;
    double share = (double)row->hits / (double)row->trials;
    row->figure = 100.0 * share;
    row->error = 100.0 * sqrt(share * (1.0 - share) / (double)row->trials);
    row->unit = "%";
    size_t length = strlen(row->subject);
    (void)snprintf(row->subject + length, sizeof row->subject - length, ", %zu fields each",
                   kb_prove_sizes[size]);
}

/* ---- rows --------------------------------------------------------------------------------------
 */

static struct kb_proof_row start_row(const struct run *run, enum kb_prove_figure figure) {
    const struct kb_prove_limit limit =
        kb_prove_limit_of(run->task->kind, figure, run->task->across_px);
    struct kb_proof_row row = {
        .kind = run->task->kind,
        .group = run->task->group,
        .quantity = words[figure].quantity,
        .specimens = run->tasks,
        .truth = (double)NAN,
        .measured = (double)NAN,
        .value_unit = words[figure].value_unit != NULL ? words[figure].value_unit : "",
        .figure = (double)NAN,
        .error = (double)NAN,
        .unit = words[figure].unit,
        .low = limit.low,
        .high = limit.high,
        .limit_words = limit.words,
    };
    memcpy(row.subject, run->task->subject, sizeof row.subject);
    for (size_t t = 0; t < run->tasks; t++) {
        row.fields += run->task[t].fields * run->task[t].variants;
        row.refused += run->outcome[t].refused;
        row.accepted += run->outcome[t].accepted;
        if (row.why[0] == '\0') {
            memcpy(row.why, run->outcome[t].why, sizeof row.why);
        }
    }
    return row;
}

static enum kb_status add_row(struct kb_proof *proof, struct kb_proof_row *row,
                              struct kb_err *err) {
    void *rows = proof->row;
    if (!kb_grow(&rows, proof->rows, &proof->capacity, sizeof *proof->row)) {
        return kb_fail_memory(err, "app", sizeof *row);
    }
    proof->row = rows;
    kb_prove_judge(row);
    proof->row[proof->rows++] = *row;
    return KB_OK;
}

static enum kb_status add_coverage(const struct run *run, enum kb_prove_figure figure,
                                   struct kb_proof *proof, struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t size = 0; size < KB_PROVE_SIZES && status == KB_OK; size++) {
        if (kb_prove_sizes[size] <= run->task->fields) {
            struct kb_proof_row row = start_row(run, figure);
            row.fields = row.specimens * kb_prove_sizes[size];
            set_coverage(run, figure, size, &row);
            status = add_row(proof, &row, err);
        }
    }
    return status;
}

enum kb_status kb_prove_rows(const struct kb_prove_task *task,
                             const struct kb_prove_outcome *outcome, size_t tasks,
                             struct kb_proof *proof, struct kb_err *err) {
    static void (*const set[])(const struct run *run, enum kb_prove_figure figure,
                               struct kb_proof_row *row) = {
        [KB_PROOF_BIAS] = set_bias,
        [KB_PROOF_REPEATABILITY] = set_repeatability,
        [KB_PROOF_TURNING] = set_turning,
    };
    const struct run run = {task, outcome, tasks};
    enum kb_status status = KB_OK;
    for (int f = 0; f < KB_PROVE_FIGURES && status == KB_OK; f++) {
        const enum kb_prove_figure figure = (enum kb_prove_figure)f;
        if ((task->figures & KB_PROVE_BIT(figure)) == 0) {
            continue;
        }
        if (task->kind == KB_PROOF_COVERAGE) {
            status = add_coverage(&run, figure, proof, err);
            continue;
        }
        struct kb_proof_row row = start_row(&run, figure);
        set[task->kind](&run, figure, &row);
        status = add_row(proof, &row, err);
    }
    return status;
}
