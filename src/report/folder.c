/* folder.c - the output folder: a result appears whole or not at all.
 *
 * Everything is written into a hidden folder inside the target, so that the final moves stay on one
 * file system. The hidden folder is locked (flock) while its run is at work; one that can be locked
 * by another run was left by a killed one and is removed.
 */
#include "folder_priv.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define ASIDE_START ".keelblock-"
#define ASIDE_NAME ASIDE_START "XXXXXX"

/* Between making and locking a hidden folder another run might take it for a left one: leave young
 * ones alone. */
enum { LEFT_AFTER_S = 60 };

static bool is_folder(const char *path) {
    struct stat info;
    return stat(path, &info) == 0 && S_ISDIR(info.st_mode);
}

/* How many characters of `path` name something that exists. */
static size_t existing_part(const char *path) {
    char *part = kb_copy_string(path);
    if (part == NULL) {
        return strlen(path); /* nothing will be removed */
    }
    size_t length = strlen(part);
    while (length > 0 && !is_folder(part)) {
        while (length > 0 && part[length - 1] == '/') {
            part[--length] = '\0';
        }
        while (length > 0 && part[length - 1] != '/') {
            part[--length] = '\0';
        }
    }
    kb_free(part);
    return length;
}

/* Lock a folder: its descriptor, or -1 when it cannot be opened or another run holds it. */
static int lock_folder(const char *path) {
    int file = open(path, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
    if (file >= 0 && flock(file, LOCK_EX | LOCK_NB) != 0) {
        (void)close(file);
        file = -1;
    }
    return file;
}

static void remove_if_left(const char *path) {
    struct stat info;
    if (lstat(path, &info) != 0 || !S_ISDIR(info.st_mode) ||
        time(NULL) - info.st_mtime < LEFT_AFTER_S) {
        return;
    }
    int lock = lock_folder(path);
    if (lock >= 0) {
        kb_folder_remove(path);
        (void)close(lock);
    }
}

static void remove_left(const char *folder) {
    DIR *stream = opendir(folder);
    const struct dirent *entry = NULL;
    while (stream != NULL && (entry = readdir(stream)) != NULL) {
        bool ours = strlen(entry->d_name) == strlen(ASIDE_NAME) &&
                    strncmp(entry->d_name, ASIDE_START, strlen(ASIDE_START)) == 0;
        char *path = ours ? kb_join_path(folder, entry->d_name) : NULL;
        if (path != NULL) {
            remove_if_left(path);
        }
        kb_free(path);
    }
    if (stream != NULL) {
        (void)closedir(stream);
    }
}

static void release(struct kb_report_folder *folder) {
    if (folder->lock >= 0) {
        (void)close(folder->lock);
    }
    kb_free(folder->path);
    kb_free(folder->aside);
    *folder = (struct kb_report_folder){NULL, NULL, false, 0, -1};
}

/* Take away the folders that open made, innermost first; stops at one that is not empty. */
static void remove_made(struct kb_report_folder *folder) {
    size_t length = strlen(folder->path);
    while (length > folder->existing && length > 0) {
        folder->path[length] = '\0';
        if (folder->path[length - 1] != '/' && rmdir(folder->path) != 0) {
            return;
        }
        do {
            length--;
        } while (length > folder->existing && folder->path[length] != '/');
    }
}

enum kb_status kb_report_folder_open(const char *path, struct kb_report_folder *folder,
                                     struct kb_err *err) {
    *folder = (struct kb_report_folder){NULL, NULL, false, 0, -1};
    if (path[0] == '\0') {
        return kb_fail(err, KB_E_USAGE, "report", NULL, "the folder for the report has no name");
    }
    folder->path = kb_copy_string(path);
    folder->aside = kb_join_path(path, ASIDE_NAME);
    if (folder->path == NULL || folder->aside == NULL) {
        release(folder);
        return kb_fail_memory(err, "report", strlen(path));
    }
    folder->existing = existing_part(path);
    folder->made = folder->existing < strlen(path);
    enum kb_status status = kb_make_folder(path, err);
    if (status == KB_OK) {
        remove_left(path);
        if (mkdtemp(folder->aside) == NULL) {
            status = kb_folder_failure(err, path, "write in the folder");
        }
    }
    if (status != KB_OK) {
        remove_made(folder);
        release(folder);
        return status;
    }
    folder->lock = lock_folder(folder->aside); /* without locks (some network drives) age must do */
    return KB_OK;
}

char *kb_report_folder_file(const struct kb_report_folder *folder, const char *name) {
    return kb_join_path(folder->aside, name);
}

void kb_report_folder_abandon(struct kb_report_folder *folder) {
    if (folder->path == NULL) {
        return;
    }
    kb_folder_remove(folder->aside);
    remove_made(folder);
    release(folder);
}

/* ---- commit ------------------------------------------------------------------------------------
 */

struct document {
    const char *name;
    enum kb_status (*write)(const struct kb_result *result, struct kb_text *out,
                            struct kb_err *err);
};

static enum kb_status write_document(const struct kb_report_folder *folder,
                                     const struct document *document,
                                     const struct kb_result *result, struct kb_err *err) {
    struct kb_text text = KB_TEXT_INIT;
    enum kb_status status = document->write(result, &text, err);
    if (status != KB_OK) {
        return status;
    }
    char *path = kb_report_folder_file(folder, document->name);
    status = path != NULL ? kb_write_file(path, text.data, text.length, err)
                          : kb_fail_memory(err, "report", strlen(folder->aside));
    kb_free(path);
    kb_text_release(&text);
    return status;
}

/* The page as it stands in report.html, on paper. */
static enum kb_status write_paper(const struct kb_report_folder *folder,
                                  const struct kb_result *result, struct kb_err *err) {
    struct kb_text page = KB_TEXT_INIT, pdf = KB_TEXT_INIT;
    struct kb_paper_params params = kb_paper_params_default();
    params.paper = result->paper;
    params.made_at = result->made_at;
    params.page_words = kb_words_sheets(result->language);
    enum kb_status status = kb_report_html(result, &page, err);
    if (status == KB_OK) {
        status = kb_paper_pdf(page.data, page.length, &params, &pdf, err);
    }
    kb_text_release(&page);
    if (status == KB_OK) {
        char *path = kb_report_folder_file(folder, KB_PAPER_FILE);
        status = path != NULL ? kb_write_file(path, pdf.data, pdf.length, err)
                              : kb_fail_memory(err, "report", strlen(folder->aside));
        kb_free(path);
    }
    kb_text_release(&pdf);
    return status;
}

enum kb_status kb_report_folder_commit(struct kb_report_folder *folder,
                                       const struct kb_result *result, struct kb_err *err) {
    static const struct document document[] = {
        {"fields.csv", kb_report_fields_csv},
        {"particles.csv", kb_report_particles_csv},
        {"report.html", kb_report_html},
        {KB_RESULT_NAME, kb_report_json},
    };
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < KB_COUNT_OF(document) && status == KB_OK; i++) {
        status = write_document(folder, &document[i], result, err);
    }
    if (status == KB_OK && result->paper != KB_PAPER_NONE) {
        status = write_paper(folder, result, err);
    }
    if (status == KB_OK) {
        status = kb_folder_move(folder->aside, folder->path, err);
    }
    if (status != KB_OK) {
        kb_report_folder_abandon(folder);
        return status;
    }
    kb_folder_remove(folder->aside);
    release(folder);
    return KB_OK;
}
