/* replay_intake.c - reads every file it is given, as a picture and as a job file, and insists on a
 * status.
 *
 *   replay_intake FILE_OR_FOLDER...
 *
 * For files that once made the intake crash, hang or lie: they are kept in kept/ and replayed by
 * every test run, best under the sanitizers. Exit code 1 when a failure leaves something behind.
 */
#include "keelblock/intake.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>

static int faults, files;

static void complain(const char *path, const char *what) {
    (void)fprintf(stderr, "%s: %s\n", path, what);
    faults++;
}

static void replay_picture(const char *path) {
    struct kb_intake_params params = kb_intake_params_default();
    struct kb_err err = {.code = KB_OK};
    struct kb_field field;
    for (params.page = 0; params.page <= 2; params.page++) {
        const enum kb_status status = kb_field_read(path, &params, &field, &err);
        if (status != KB_OK && (err.code != status || err.text[0] == '\0')) {
            complain(path, "a failure without a reason");
        }
        if (status != KB_OK && (field.path != NULL || field.grey.px != NULL)) {
            complain(path, "a failure that leaves something behind");
        }
        kb_field_release(&field);
    }
}

static void replay_job(const char *path) {
    struct kb_err err = {.code = KB_OK};
    struct kb_job job;
    const enum kb_status status = kb_job_read(path, &job, &err);
    if (status != KB_OK && (err.code != status || job.entry != NULL)) {
        complain(path, "a failed job that leaves something behind");
    }
    kb_job_release(&job);
}

static void replay(const char *path) {
    replay_picture(path);
    replay_job(path);
    files++;
}

int main(int argc, char **argv) {
    for (int i = 1; i < argc; i++) {
        DIR *folder = opendir(argv[i]);
        if (folder == NULL) {
            replay(argv[i]);
            continue;
        }
        const struct dirent *entry = NULL;
        while ((entry = readdir(folder)) != NULL) {
            char path[4096];
            (void)snprintf(path, sizeof path, "%.2000s/%s", argv[i], entry->d_name);
            if (entry->d_name[0] != '.') {
                replay(path);
            }
        }
        (void)closedir(folder);
    }
    (void)printf("%d files replayed, %d faults\n", files, faults);
    return faults > 0 || files == 0;
}
