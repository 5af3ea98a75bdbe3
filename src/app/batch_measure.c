/* batch_measure.c - the fields of a batch in parallel, each to its share on disk.
 *
 * A thread takes the next field and keeps only what that field needs: memory is that of the fields
 * being measured, however many there are. A share is written whole before the next field begins, so
 * that a killed run loses the fields in hand and no more.
 *
 * Where shares are there already, the picture is digested first, and measured only if its share is
 * not among them. A first run has none, and reads every picture once.
 *
 * What is wrong with a picture concerns its specimen alone. What is wrong with the machine (memory,
 * disk) ends the run: no further field is begun.
 */
#include "batch_run.h"

#include <dirent.h>
#include <omp.h>
#include <string.h>

/* What one thread keeps from field to field. */
struct worker {
    const char *blank_path; /* of `blank`; NULL: none is open */
    struct kb_field blank;
};

/* What the threads share. */
struct work {
    struct kb_batch_run *run;
    const struct kb_batch_watch *watch;
    bool look_first; /* there are shares already */
    size_t todo, done;
    enum kb_status status; /* other than KB_OK ends the run */
    struct kb_err err;
};

bool kb_batch_is_mine(const struct kb_order *order, size_t field) {
    return order->task != KB_TASK_PART || field % (size_t)order->parts == (size_t)(order->part - 1);
}

bool kb_batch_shows_pictures(const struct kb_order_specimen *specimen, size_t fields) {
    const size_t fields_most = 60; /* a page of more pictures is no page any more */
    return specimen->settings.pictures && fields <= fields_most;
}

/* ---- one field ---- */

static enum kb_status open_blank(struct worker *worker, const char *path, struct kb_err *err) {
    const bool same = path == NULL
                          ? worker->blank_path == NULL
                          : worker->blank_path != NULL && strcmp(path, worker->blank_path) == 0;
    if (same) {
        return KB_OK;
    }
    kb_field_release(&worker->blank);
    worker->blank_path = NULL;
    enum kb_status status = kb_plan_read_blank(path, &worker->blank, err);
    worker->blank_path = status == KB_OK ? path : NULL;
    return status;
}

/* One field, with all that lives while it is measured. */
struct job {
    struct kb_batch_field *field;
    struct kb_plan plan;
    const char *blank_sha256;
    struct kb_result *scratch; /* decisions by hand and the field's slot */
    struct kb_field_result *out;
    struct kb_moved moved;
};

static enum kb_status measure(struct job *job, struct kb_err *err) {
    double seconds[KB_WAY_STEPS];
    struct kb_field_way way = {.index = job->field->index, .out = job->out};
    if (job->plan.settings->specimen.threshold_step > 0.0) {
        way.moved = &job->moved;
    }
    enum kb_status status = kb_way_go(&job->plan, &way, seconds, err);
    kb_way_release(&way);
    return status;
}

static enum kb_status keep(const struct work *work, struct job *job, struct kb_err *err) {
    char name[KB_SHARE_NAME];
    const struct kb_share share = {
        .field = job->out,
        .moved = job->plan.settings->specimen.threshold_step > 0.0 ? &job->moved : NULL,
        .hand = job->plan.hand,
        .hands = job->plan.hands,
        .index = job->field->index,
    };
    enum kb_status status = kb_share_name(&job->plan, job->field->index, job->out->sha256,
                                          job->blank_sha256, name, err);
    if (status == KB_OK) {
        status = kb_share_write(work->run->shares, name, &share, err);
    }
    if (status == KB_OK) {
        memcpy(job->field->share, name, sizeof name);
    }
    return status;
}

/* Whether the share is there already; its name is then noted. */
static bool is_kept(const struct work *work, struct job *job) {
    char digest[65], name[KB_SHARE_NAME];
    const char *path = job->plan.path[job->field->index];
    if (!work->look_first || kb_file_digest(path, digest, NULL) != KB_OK ||
        kb_share_name(&job->plan, job->field->index, digest, job->blank_sha256, name, NULL) !=
            KB_OK ||
        !kb_share_is_there(work->run->shares, name, job->plan.small_pictures)) {
        return false;
    }
    memcpy(job->field->share, name, sizeof name);
    return true;
}

/* The picture's own failure into the field; out of memory is not its fault. */
static enum kb_status note_failure(struct job *job, struct kb_err *why, struct kb_err *err) {
    if (why->code == KB_E_MEMORY) {
        return kb_plan_pass_on(why, err);
    }
    /* a pattern or a folder that means nothing has a better answer than that of opening it */
    struct kb_paths none = {NULL, 0, 0};
    const enum kb_status named = kb_paths_expand(job->plan.path[job->field->index], &none, why);
    (void)named; /* `why` has been filled, or stands */
    kb_paths_release(&none);
    job->field->status = why->code;
    job->field->text = kb_copy_string(why->text);
    return job->field->text != NULL ? KB_OK : kb_fail_memory(err, "app", strlen(why->text));
}

static enum kb_status do_job(const struct work *work, struct worker *worker, struct job *job,
                             bool *was_kept, struct kb_err *err) {
    const size_t specimen = job->field->specimen;
    struct kb_err why = {.code = KB_OK};
    enum kb_status status = kb_batch_plan_hands(work->run, specimen, &job->plan, job->scratch, err);
    job->plan.small_pictures =
        kb_batch_shows_pictures(&work->run->order->specimen[specimen], job->plan.count);
    *was_kept = status == KB_OK && is_kept(work, job);
    if (status != KB_OK || *was_kept) {
        return status;
    }
    status = open_blank(worker, job->plan.settings->blank_path, err);
    if (status != KB_OK) {
        return status;
    }
    job->plan.blank = worker->blank; /* lent */
    status = measure(job, &why);
    return status == KB_OK ? keep(work, job, err) : note_failure(job, &why, err);
}

static enum kb_status take_field(const struct work *work, struct worker *worker, size_t index,
                                 bool *was_kept, struct kb_err *err) {
    struct job job = {.field = &work->run->field[index]};
    job.blank_sha256 = work->run->blank_sha256[job.field->specimen];
    job.scratch = kb_alloc_zero(1, sizeof *job.scratch);
    job.out = kb_alloc_zero(1, sizeof *job.out);
    enum kb_status status = KB_E_MEMORY;
    if (job.scratch == NULL || job.out == NULL) {
        status = kb_fail_memory(err, "app", sizeof *job.out);
    } else {
        status = do_job(work, worker, &job, was_kept, err);
        kb_field_result_release(job.out);
        kb_result_release(job.scratch);
    }
    kb_free(job.out);
    kb_free(job.scratch);
    return status;
}

/* ---- all fields ---- */

static void tell_failure(const struct work *work, const struct kb_batch_field *field) {
    if (field->status == KB_OK || work->watch->failed == NULL) {
        return;
    }
    const struct kb_batch_fault fault = {work->run->plan[field->specimen].path[field->index],
                                         field->status, field->text};
    work->watch->failed(work->watch->context, work->run->order->specimen[field->specimen].id,
                        &fault);
}

/* Under the lock: count, tell, remember the first failure of the machine. */
static void settle(struct work *work, const struct kb_batch_field *field, bool was_kept,
                   enum kb_status status, const struct kb_err *err) {
    if (status != KB_OK) {
        if (work->status == KB_OK) {
            work->err = *err;
        }
#pragma omp atomic write
        work->status = status;
        return;
    }
    tell_failure(work, field);
    work->todo -= was_kept ? 1 : 0; /* the pace is that of measuring, not of looking */
    work->done += was_kept ? 0 : 1;
    kb_progress_step(work->watch->progress, work->done, work->todo);
}

static void measure_all(struct work *work, const size_t *mine, size_t count, int threads) {
#pragma omp parallel num_threads(threads)
    {
        struct worker worker = {.blank_path = NULL};
#pragma omp for schedule(dynamic, 1)
        for (size_t i = 0; i < count; i++) {
            enum kb_status ended = KB_OK;
#pragma omp atomic read
            ended = work->status;
            if (ended != KB_OK) {
                continue;
            }
            struct kb_err err = {.code = KB_OK};
            bool was_kept = false;
            enum kb_status status = take_field(work, &worker, mine[i], &was_kept, &err);
#pragma omp critical(kb_batch)
            settle(work, &work->run->field[mine[i]], was_kept, status, &err);
        }
        kb_field_release(&worker.blank);
    }
}

/* ---- the folder of shares ---- */

static bool has_shares(const char *folder) {
    bool any = false;
    DIR *stream = opendir(folder);
    const struct dirent *entry = NULL;
    while (stream != NULL && !any &&
           (entry = readdir(stream)) != NULL) { /* NOLINT(concurrency-mt-unsafe): own DIR */
        any = entry->d_name[0] != '.' && strstr(entry->d_name, ".share") != NULL;
    }
    if (stream != NULL) {
        (void)closedir(stream);
    }
    return any;
}

enum kb_status kb_batch_measure(struct kb_batch_run *run, const struct kb_batch_watch *watch,
                                struct kb_err *err) {
    const int wanted = run->order->threads > 0 ? run->order->threads : omp_get_max_threads();
    enum kb_status status = kb_make_folder(run->shares, err);
    if (status != KB_OK) {
        return status;
    }
    size_t *mine = kb_alloc(run->fields, sizeof *mine);
    if (mine == NULL) {
        return kb_fail_memory(err, "app", run->fields * sizeof *mine);
    }
    size_t count = 0;
    for (size_t i = 0; i < run->fields; i++) {
        if (kb_batch_is_mine(run->order, i)) {
            mine[count++] = i;
        }
    }
    const double left_after_s =
        3600.0; /* other machines may be writing; no write takes that long */
    kb_outfile_tidy(run->shares, left_after_s);
    struct work work = {
        .run = run, .watch = watch, .todo = count, .look_first = has_shares(run->shares)};
    measure_all(&work, mine, count, count < (size_t)wanted ? (int)count + (count == 0) : wanted);
    kb_free(mine);
    return work.status == KB_OK ? KB_OK : kb_plan_pass_on(&work.err, err);
}
