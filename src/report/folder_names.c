/* folder_names.c - listing and removing what stands in an output folder. */
#include "folder_priv.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum kb_status kb_folder_failure(struct kb_err *err, const char *path, const char *what) {
    int code = errno;
    const char *advice = "check the folder and its permissions";
    if (code == ENOSPC || code == EDQUOT || code == EFBIG) {
        advice = "free some space or choose another folder";
    }
    return kb_fail(err, KB_E_SYSTEM, "report", path, "cannot %s: %s (%s)", what, strerror(code),
                   advice);
}

static int by_bytes(const void *a, const void *b) {
    const char *const *left = a;
    const char *const *right = b;
    return strcmp(*left, *right);
}

void kb_names_release(struct kb_names *names) {
    for (size_t i = 0; i < names->count; i++) {
        kb_free(names->name[i]);
    }
    kb_free(names->name);
    *names = (struct kb_names){NULL, 0, 0};
}

enum kb_status kb_names_add(struct kb_names *names, const char *name, struct kb_err *err) {
    void *items = names->name;
    char *copy = kb_copy_string(name);
    if (copy == NULL || !kb_grow(&items, names->count, &names->capacity, sizeof *names->name)) {
        kb_free(copy);
        return kb_fail_memory(err, "report", strlen(name));
    }
    names->name = items;
    names->name[names->count++] = copy;
    return KB_OK;
}

enum kb_status kb_names_read(const char *folder, struct kb_names *names, struct kb_err *err) {
    *names = (struct kb_names){NULL, 0, 0};
    DIR *stream = opendir(folder);
    if (stream == NULL) {
        return kb_folder_failure(err, folder, "list the folder");
    }
    enum kb_status status = KB_OK;
    const struct dirent *entry = NULL;
    while (status == KB_OK &&
           (entry = readdir(stream)) != NULL) { /* NOLINT(concurrency-mt-unsafe) */
        if (entry->d_name[0] != '.') {
            status = kb_names_add(names, entry->d_name, err);
        }
    }
    (void)closedir(stream);
    if (status != KB_OK) {
        kb_names_release(names);
    } else if (names->count > 1) {
        qsort(names->name, names->count, sizeof *names->name, by_bytes);
    }
    return status;
}

/* Removing must work when memory is out: a fixed path buffer, and what does not fit stays. */
enum { PATH_MOST = 4096 };

static void remove_inside(const char *folder, int depth) {
    char path[PATH_MOST];
    DIR *stream = opendir(folder);
    if (stream == NULL) {
        return;
    }
    const struct dirent *entry = NULL;
    while ((entry = readdir(stream)) != NULL) {
        bool self = strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0;
        int length = snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (self || length < 0 || (size_t)length >= sizeof path || unlink(path) == 0) {
            continue;
        }
        if (depth > 0) {
            remove_inside(path, depth - 1);
            (void)rmdir(path);
        }
    }
    (void)closedir(stream);
}

void kb_folder_remove(const char *folder) {
    remove_inside(folder, 1);
    (void)rmdir(folder);
}
