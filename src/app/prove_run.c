/* prove_run.c - the whole proof: the design, all specimens on all cores, then the rows.
 *
 * Each specimen lands in its own slot and rows are made afterwards in the order of the design, so
 * that neither the number of threads nor their luck changes a figure.
 */
#include "pipeline_priv.h"
#include "prove.h"

#include <omp.h>
#include <string.h>

static bool same_row(const struct kb_prove_task *a, const struct kb_prove_task *b) {
    return a->kind == b->kind && strcmp(a->group, b->group) == 0 &&
           strcmp(a->subject, b->subject) == 0;
}

static enum kb_status make_rows(const struct kb_prove_plan *plan,
                                const struct kb_prove_outcome *outcome, struct kb_proof *proof,
                                struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0, next = 0; i < plan->count && status == KB_OK; i = next) {
        for (next = i; next < plan->count && same_row(&plan->task[i], &plan->task[next]); next++) {
            const struct kb_prove_task *task = &plan->task[next];
            proof->specimens++;
            proof->fields += task->fields * task->variants;
            proof->refused += outcome[next].refused;
        }
        status = kb_prove_rows(&plan->task[i], &outcome[i], next - i, proof, err);
    }
    return status;
}

/* Of several failures the first in the design is reported; what stands behind it is not begun. */
static enum kb_status measure_all(const struct kb_prove_plan *plan, int threads,
                                  const struct kb_progress *progress,
                                  struct kb_prove_outcome *outcome, struct kb_err *err) {
    struct kb_prove_count count = {.progress = progress};
    struct kb_err bad_err = {.code = KB_OK};
    size_t bad = plan->count;
    for (size_t i = 0; i < plan->count; i++) {
        count.total += plan->task[i].fields * plan->task[i].variants;
    }
#pragma omp parallel for schedule(dynamic, 1) num_threads(threads)
    for (size_t i = 0; i < plan->count; i++) {
        size_t bad_so_far = 0;
#pragma omp atomic read
        bad_so_far = bad;
        if (i > bad_so_far) {
            continue;
        }
        struct kb_err task_err = {.code = KB_OK};
        enum kb_status status = kb_prove_measure(&plan->task[i], &count, &outcome[i], &task_err);
        if (status != KB_OK) {
#pragma omp critical(kb_prove_failure)
            if (i < bad) {
                bad_err = task_err;
#pragma omp atomic write
                bad = i;
            }
        }
    }
    return bad < plan->count ? kb_plan_pass_on(&bad_err, err) : KB_OK;
}

enum kb_status kb_prove_run(bool quick, int threads, const struct kb_progress *progress,
                            struct kb_proof *proof, struct kb_err *err) {
    const double begun = kb_clock_s();
    struct kb_prove_plan plan;
    *proof = (struct kb_proof){.quick = quick};
    proof->threads = threads > 0 ? threads : omp_get_max_threads();
    kb_plan_stamp(proof->made_at);
    enum kb_status status = kb_prove_design(quick, &plan, err);
    if (status != KB_OK) {
        return status;
    }
    struct kb_prove_outcome *outcome = kb_alloc_zero(plan.count, sizeof *outcome);
    if (outcome == NULL) {
        status = kb_fail_memory(err, "app", plan.count * sizeof *outcome);
    }
    if (status == KB_OK) {
        status = measure_all(&plan, proof->threads, progress, outcome, err);
    }
    if (status == KB_OK) {
        status = make_rows(&plan, outcome, proof, err);
    }
    for (size_t i = 0; outcome != NULL && i < plan.count; i++) {
        kb_prove_outcome_release(&outcome[i]);
    }
    kb_free(outcome);
    kb_prove_plan_release(&plan);
    proof->seconds = kb_clock_s() - begun;
    if (status != KB_OK) {
        kb_proof_release(proof);
    }
    return status;
}
