/* cmd_review.c - `keelblock review`: the desk opened, the page served, until the person ends it.
 *
 * Signals are taken by one thread that waits for them; all others block them. So the end is an
 * ordinary return, whoever asks for it, and nothing is left half done: changes are on disk when the
 * page is told of them.
 */
#include "again.h"
#include "browser.h"
#include "desk.h"
#include "review_verify.h"

#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- what is reviewed --------------------------------------------------------------------------
 */

/* A folder with a result.json in it, or such a file itself. */
static bool is_result(const char *path) {
    struct stat info;
    const size_t length = strlen(path);
    if (length > 5 && strcmp(path + length - 5, ".json") == 0) {
        return true;
    }
    char *result = kb_join_path(path, "result.json");
    const bool there = result != NULL && stat(result, &info) == 0 && S_ISREG(info.st_mode);
    kb_free(result);
    return there;
}

/* The folder that `path` lies in, without its slash; new memory. */
static char *folder_of(const char *path) {
    const size_t length = (size_t)(kb_base_name(path) - path);
    char *folder = kb_copy_string(length > 0 ? path : ".");
    if (folder != NULL && length > 0) {
        folder[length > 1 ? length - 1 : 1] = '\0';
    }
    return folder;
}

static bool is_folder(const char *path) {
    struct stat info;
    return stat(path, &info) == 0 && S_ISDIR(info.st_mode);
}

/* Where record and report of fields go, unless it was said. */
static char *folder_for(const char *field) {
    char *folder = is_folder(field) ? kb_copy_string(field) : folder_of(field);
    char *result = folder != NULL ? kb_join_path(folder, "keelblock-result") : NULL;
    kb_free(folder);
    return result;
}

static enum kb_status need_fields(const struct kb_request *request, struct kb_err *err) {
    if (request->fields == 0) {
        return kb_fail(err, KB_E_USAGE, "app", NULL,
                       "nothing to review (name a result, or fields with their --material)");
    }
    if (!request->material_said) {
        return kb_fail(err, KB_E_USAGE, "app", request->field[0].path,
                       "is no result; to review pictures say what they show: --material "
                       "ductile-iron, grey-iron, compacted-iron or carbon-steel");
    }
    return KB_OK;
}

/* A result has its settings already. */
static enum kb_status refuse_settings(const struct kb_request *request, struct kb_err *err) {
    for (size_t i = 0; i < request->assignments; i++) {
        const struct kb_option *option = request->assignment[i].option;
        if (option->section != NULL && strcmp(option->section, "output") != 0) {
            return kb_fail(err, KB_E_USAGE, "app", request->assignment[i].where,
                           "a result is reviewed under its own settings (leave it out, or measure "
                           "again)");
        }
    }
    return request->settings.out_folder == NULL
               ? KB_OK
               : kb_fail(err, KB_E_USAGE, "app", "--out",
                         "a review is kept in the folder of its result (leave it out)");
}

/* The request that is reviewed: that of the result, or the one that was said. */
static enum kb_status settle(struct kb_request *said, struct kb_request *again,
                             struct kb_request **used, char **folder, struct kb_err *err) {
    *used = said;
    *folder = NULL;
    if (said->fields != 1 || !is_result(said->field[0].path)) {
        const enum kb_status status = need_fields(said, err);
        if (status == KB_OK) {
            *folder = said->settings.out_folder != NULL ? kb_copy_string(said->settings.out_folder)
                                                        : folder_for(said->field[0].path);
        }
        return status != KB_OK || *folder != NULL ? status : kb_fail_memory(err, "app", 1);
    }
    const char *path = said->field[0].path;
    enum kb_status status = refuse_settings(said, err);
    if (status == KB_OK) {
        status = kb_request_again(path, again, err);
    }
    if (status == KB_OK) {
        *used = again;
        again->settings.threads = said->settings.threads;
        *folder = is_folder(path) ? kb_copy_string(path) : folder_of(path);
        status = *folder != NULL ? KB_OK : kb_fail_memory(err, "app", strlen(path));
    }
    return status;
}

/* ---- until it is ended -------------------------------------------------------------------------
 */

static void block_signals(sigset_t *set) {
    (void)sigemptyset(set);
    (void)sigaddset(set, SIGINT);
    (void)sigaddset(set, SIGTERM);
    (void)sigaddset(set, SIGHUP);
    (void)pthread_sigmask(SIG_BLOCK, set, NULL);
    (void)signal(SIGPIPE, SIG_IGN);
}

/* Whether a line with q was typed; `*typing` false when nobody can. In the background of a shell
 * the keys are the shell's: reading them would stop this program. */
static bool typed_q(bool *typing) {
    struct pollfd input = {.fd = STDIN_FILENO, .events = POLLIN};
    char line[64];
    if (!*typing || tcgetpgrp(STDIN_FILENO) != getpgrp() || poll(&input, 1, 0) <= 0) {
        return false;
    }
    const ssize_t got = read(STDIN_FILENO, line, sizeof line);
    *typing = got > 0;
    return got > 0 && (line[0] == 'q' || line[0] == 'Q');
}

static void wait_for_end(const sigset_t *set) {
    bool typing = isatty(STDIN_FILENO) == 1;
    const struct timespec glance = {.tv_nsec = 200 * 1000 * 1000}; /* between looks at the keys */
    for (;;) {
        const int signal_seen = sigtimedwait(set, NULL, &glance);
        if (signal_seen > 0 || typed_q(&typing)) {
            return;
        }
    }
}

static bool tell(const struct kb_request *request, const char *address) {
    const bool opened = !request->no_browser && kb_open_browser(address);
    if (request->quiet) {
        return printf("%s\n", address) > 0 && fflush(stdout) == 0;
    }
    return printf("Review page: %s\n%sThe address holds a key: whoever has it can change this "
                  "review. End with Ctrl-C, or q and Enter.\n",
                  address, opened ? "" : "Open it in a browser on this machine. ") > 0 &&
           fflush(stdout) == 0;
}

static enum kb_status serve(const struct kb_request *said, struct kb_desk *desk,
                            const sigset_t *set, struct kb_err *err) {
    struct kb_review_server *server = NULL;
    const struct kb_review_desk interface = kb_desk_interface(desk);
    enum kb_status status = kb_review_start(&interface, &server, err);
    if (status == KB_OK && !tell(said, kb_review_address(server))) {
        status = kb_fail(err, KB_E_SYSTEM, "app", NULL,
                         "cannot write to standard output (is the disk full?)");
    }
    if (status == KB_OK) {
        wait_for_end(set);
    }
    kb_desk_shut(desk);
    kb_review_stop(server);
    return status;
}

static enum kb_status open_desk(struct kb_request *request, char *folder, struct kb_desk **desk,
                                struct kb_err *err) {
    struct kb_desk_params params = kb_desk_params_default();
    struct kb_settings_field *list = kb_alloc(request->fields + 1, sizeof *list);
    if (list == NULL) {
        return kb_fail_memory(err, "app", request->fields * sizeof *list);
    }
    for (size_t i = 0; i < request->fields; i++) {
        const struct kb_named_field *field = &request->field[i];
        list[i] =
            (struct kb_settings_field){field->path, field->contrast.contrast, field->contrast.find};
    }
    request->settings.out_folder = folder;
    params.threads = request->settings.threads;
    const enum kb_status status =
        kb_desk_open(list, request->fields, &request->settings, &params, desk, err);
    kb_free(list);
    return status;
}

int kb_command_review(struct kb_request *request) {
    struct kb_err err = {.code = KB_OK};
    struct kb_request again = {.fields = 0}, *used = request;
    struct kb_desk *desk = NULL;
    char *folder = NULL;
    if (request->verify) {
        return request->fields == 1
                   ? kb_review_verify(request->field[0].path, request->quiet)
                   : (kb_fail(&err, KB_E_USAGE, "app", "--verify", "name one result"),
                      kb_complain(&err));
    }
    sigset_t set;
    block_signals(&set); /* before there are threads, which inherit it */
    enum kb_status status = settle(request, &again, &used, &folder, &err);
    if (status == KB_OK) {
        status = open_desk(used, folder, &desk, &err);
    }
    if (status == KB_OK) {
        status = serve(request, desk, &set, &err);
    }
    kb_desk_close(desk);
    kb_free(folder);
    if (used == &again) {
        kb_request_release(&again);
    }
    return status == KB_OK ? 0 : kb_complain(&err);
}
