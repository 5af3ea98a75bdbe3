/* cmd_batch.c - `keelblock batch`: a manifest to its verdicts.
 *
 * Paths of a manifest are meant from its folder, so that is where the program goes first; names on
 * the command line are made absolute before. Thus results show paths as the manifest has them, and
 * do not depend on where the program was called.
 */
#include "batch_run.h"
#include "manifest.h"
#include "terminal.h"

#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* What the run tells while it goes, and what the exit code is made of. */
struct seen {
    const struct kb_request *request;
    struct kb_terminal_progress bar;
    const char *began; /* folder in which the program was called */
    size_t batches, unusable;
    bool all_accepted;
};

/* ---- where things are ---- */

/* `path` as it will be right from any folder; new memory. */
static char *absolute(const char *path) {
    char here[PATH_MAX];
    if (path[0] == '/') {
        return kb_copy_string(path);
    }
    return getcwd(here, sizeof here) != NULL ? kb_join_path(here, path) : NULL;
}

static enum kb_status make_absolute(struct kb_request *request, struct kb_err *err) {
    for (size_t i = 0; i < request->assignments; i++) {
        struct kb_assignment *said = &request->assignment[i];
        const char *kind = said->option->value;
        if (said->origin != KB_FROM_LINE || kind == NULL ||
            (strcmp(kind, "FILE") != 0 && strcmp(kind, "DIR") != 0)) {
            continue;
        }
        char *path = absolute(said->value);
        if (path == NULL) {
            return kb_fail_memory(err, "app", strlen(said->value));
        }
        kb_free(said->value);
        said->value = path;
    }
    return KB_OK;
}

/* The manifest's folder without its name; "." for none. New memory. */
static char *folder_of(const char *path) {
    const size_t length = (size_t)(kb_base_name(path) - path);
    char *folder = kb_alloc(length + 2, 1);
    if (folder != NULL) {
        (void)snprintf(folder, length + 2, "%.*s", length > 0 ? (int)length : 1,
                       length > 0 ? path : ".");
    }
    return folder;
}

/* "week-12.csv" to "week-12.results", beside it. */
static char *default_out(const char *manifest) {
    static const char ending[] = ".results";
    const size_t size = strlen(manifest) + sizeof ending;
    const char *dot = strrchr(manifest, '.');
    const bool ends = dot != NULL && dot > kb_base_name(manifest);
    const size_t stem = ends ? (size_t)(dot - manifest) : strlen(manifest);
    char *out = kb_alloc(size, 1);
    if (out != NULL) {
        (void)snprintf(out, size, "%.*s%s", (int)stem, manifest, ending);
    }
    return out;
}

/* ---- what is told ---- */

static void tell_failed(void *context, const char *specimen, const struct kb_batch_fault *fault) {
    struct seen *seen = context;
    seen->unusable++;
    if (!seen->request->quiet) {
        kb_terminal_progress_end(&seen->bar);
        (void)fprintf(stderr, "keelblock: '%s' of specimen '%s' cannot be used: %s\n", fault->path,
                      specimen, fault->text);
    }
}

/* A path as the person would name it: from where they called. */
static const char *from_there(const char *path, const char *began) {
    const size_t length = strlen(began);
    const bool below = length > 1 && strncmp(path, began, length) == 0 && path[length] == '/';
    return below ? path + length + 1 : path;
}

static enum kb_status put(const struct kb_text *text, struct kb_err *err) {
    const bool written =
        text->length == 0 || fwrite(text->data, 1, text->length, stdout) == text->length;
    return written && fflush(stdout) == 0
               ? KB_OK
               : kb_fail(err, KB_E_SYSTEM, "app", NULL,
                         "cannot write to standard output (is the disk full?)");
}

static enum kb_status tell_written(void *context, const struct kb_batch *batch, const char *folder,
                                   struct kb_err *err) {
    struct seen *seen = context;
    struct kb_text text = KB_TEXT_INIT;
    enum kb_status status = KB_OK;
    kb_terminal_progress_end(&seen->bar);
    for (size_t i = 0; i < batch->specimens && seen->request->merge; i++) {
        seen->unusable += batch->specimen[i].faults; /* nobody else told of them */
    }
    const enum kb_outcome verdict = batch->judgement.verdict;
    seen->all_accepted = seen->all_accepted && (verdict == KB_ACCEPT || verdict == KB_OUTCOME_NONE);
    if (seen->request->json) {
        status = kb_report_batch_json(batch, &text, err);
    } else if (!seen->request->quiet) {
        kb_text_add(&text, seen->batches > 0 ? "\n" : "");
        status =
            kb_report_batch_table(batch, kb_terminal_columns(), kb_terminal_colour(), &text, err);
        kb_text_format(&text, "    %s/\n", from_there(folder, seen->began));
    }
    seen->batches++;
    if (status == KB_OK && text.failed) {
        status = kb_fail_memory(err, "app", text.length);
    }
    if (status == KB_OK) {
        status = put(&text, err);
    }
    kb_text_release(&text);
    return status;
}

/* ---- from the manifest to an order ---- */

static bool said_for_all(const struct kb_request *request, const char *option) {
    return kb_request_said(request, kb_option_by_name(option, KB_BATCH)) != NULL;
}

/* What the command line says of the pages holds for all; else it is as the job files have it. */
static void set_pages(const struct kb_request *request, struct kb_manifest *manifest) {
    const bool paper = said_for_all(request, "paper"), locale = said_for_all(request, "locale");
    for (size_t i = 0; i < manifest->specimens; i++) {
        struct kb_settings *own = &manifest->specimen[i].request.settings;
        own->paper = paper ? request->settings.paper : own->paper;
        own->language = locale ? request->settings.language : own->language;
    }
}

static struct kb_order_specimen *list_specimens(const struct kb_manifest *manifest) {
    const double um_per_mm = 1000.0;
    struct kb_order_specimen *list = kb_alloc(manifest->specimens, sizeof *list);
    for (size_t i = 0; list != NULL && i < manifest->specimens; i++) {
        const struct kb_manifest_specimen *from = &manifest->specimen[i];
        list[i] = (struct kb_order_specimen){
            .batch = from->batch,
            .id = from->id,
            .grade = from->request.grade,
            .section_mm =
                from->request.section_um > 0.0 ? from->request.section_um / um_per_mm : (double)NAN,
            .row = from->row,
            .settings = from->request.settings,
            .field = from->field,
            .fields = from->request.fields,
        };
    }
    return list;
}

static int run(const struct kb_request *request, const struct kb_order *order, const char *began) {
    struct kb_err err = {.code = KB_OK};
    struct seen seen = {.request = request, .began = began, .all_accepted = true};
    const struct kb_batch_watch watch = {
        .progress = kb_terminal_progress_start(&seen.bar, request->quiet || request->json),
        .failed = tell_failed,
        .written = tell_written,
        .context = &seen,
    };
    enum kb_status status = kb_measure_batches(order, &watch, &err);
    kb_terminal_progress_end(&seen.bar);
    if (status != KB_OK) {
        return kb_complain(&err);
    }
    return seen.unusable > 0 ? kb_exit_code(KB_E_INPUT) : seen.all_accepted ? 0 : 1;
}

/* The register, from any folder; NULL: none. */
static const char *history_of(const struct kb_request *request) {
    const struct kb_assignment *said =
        kb_request_said(request, kb_option_by_name("history", KB_BATCH));
    return said != NULL ? said->value : NULL;
}

static int run_manifest(const struct kb_request *request, const char *name, const char *out,
                        const char *began) {
    struct kb_err err = {.code = KB_OK};
    struct kb_manifest manifest;
    struct kb_order_specimen *specimen = NULL;
    enum kb_status status = kb_manifest_read(name, request, &manifest, &err);
    if (status == KB_OK) {
        set_pages(request, &manifest);
        specimen = list_specimens(&manifest);
        status = specimen != NULL ? KB_OK : kb_fail_memory(&err, "app", manifest.specimens);
    }
    int code = 0;
    if (status != KB_OK) {
        code = kb_complain(&err);
    } else {
        struct kb_order order = {
            .manifest = name,
            .specimen = specimen,
            .specimens = manifest.specimens,
            .out_folder = out,
            .history = history_of(request),
            .task = request->merge       ? KB_TASK_MERGE
                    : request->parts > 0 ? KB_TASK_PART
                                         : KB_TASK_ALL,
            .part = request->part,
            .parts = request->parts,
            .threads = request->settings.threads,
        };
        memcpy(order.manifest_sha256, manifest.table.sha256, sizeof order.manifest_sha256);
        code = request->dry_run ? kb_batch_dry_run(&order, &manifest.table, request->quiet)
                                : run(request, &order, began);
    }
    kb_free(specimen);
    kb_manifest_release(&manifest);
    return code;
}

static enum kb_status check(const struct kb_request *request, struct kb_err *err) {
    if (request->fields != 1) {
        return kb_fail(err, KB_E_USAGE, "app", NULL,
                       request->fields == 0
                           ? "no manifest named (give a table saved as CSV)"
                           : "more than one manifest named (put them in one table)");
    }
    if (request->merge && request->parts > 0) {
        return kb_fail(err, KB_E_USAGE, "app", NULL,
                       "--part and --merge do not go together (merge when all parts are measured)");
    }
    return KB_OK;
}

int kb_command_batch(struct kb_request *request) {
    struct kb_err err = {.code = KB_OK};
    enum kb_status status = check(request, &err);
    if (status == KB_OK) {
        status = make_absolute(request, &err);
    }
    if (status != KB_OK) {
        return kb_complain(&err);
    }
    const char *manifest = request->field[0].path;
    const struct kb_assignment *said = kb_request_said(request, kb_option_by_name("out", KB_BATCH));
    char *beside = said == NULL ? default_out(manifest) : NULL;
    char *out =
        said != NULL ? kb_copy_string(said->value) : absolute(beside != NULL ? beside : manifest);
    char *folder = folder_of(manifest);
    char began[PATH_MAX] = "";
    int code = 0;
    if (out == NULL || folder == NULL) {
        (void)kb_fail_memory(&err, "app", strlen(manifest));
        code = kb_complain(&err);
    } else if (getcwd(began, sizeof began) == NULL || chdir(folder) != 0) {
        (void)kb_fail(&err, KB_E_SYSTEM, "app", folder, "cannot be entered: %s", strerror(errno));
        code = kb_complain(&err);
    } else {
        code = run_manifest(request, kb_base_name(manifest), out, began);
    }
    kb_free(beside);
    kb_free(out);
    kb_free(folder);
    return code;
}
