/* paths.c - from what a person names to the pictures it means.
 *
 * A name that exists is taken as it stands, even when it holds characters that a shell pattern
 * uses. A folder means the pictures in it, by the ending of their names and not deeper; names that
 * begin with a dot are passed over, as other programs leave their notes there. Everything else is a
 * pattern for glob(3). Sorted by bytes, so that the order is the same on every machine.
 */
#include "intake_priv.h"

#include <dirent.h>
#include <errno.h>
#include <glob.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

static enum kb_status add(const char *path, struct kb_paths *paths, struct kb_err *err) {
    void *items = paths->path;
    char *copy = kb_copy_string(path);
    if (copy == NULL || !kb_grow(&items, paths->count, &paths->capacity, sizeof *paths->path)) {
        kb_free(copy);
        return kb_fail_memory(err, KB_INTAKE, strlen(path));
    }
    paths->path = items;
    paths->path[paths->count++] = copy;
    return KB_OK;
}

static int by_bytes(const void *a, const void *b) {
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static bool is_folder(const char *path) {
    struct stat about;
    return stat(path, &about) == 0 && S_ISDIR(about.st_mode);
}

/* "overlay-01-...png": what the program drew beside a result, when that stands among the fields. */
static bool is_own_overlay(const char *name) {
    static const char start[] = "overlay-";
    const char *number = name + sizeof start - 1;
    return strncmp(name, start, sizeof start - 1) == 0 && strspn(number, "0123456789") >= 2 &&
           number[strspn(number, "0123456789")] == '-';
}

static bool named_like_a_picture(const char *name) {
    static const char *const ending[] = {".tif", ".tiff", ".png", ".jpg", ".jpeg"};
    const char *dot = strrchr(name, '.');
    for (size_t i = 0; dot != NULL && name[0] != '.' && i < sizeof ending / sizeof ending[0]; i++) {
        if (strcasecmp(dot, ending[i]) == 0) {
            return true;
        }
    }
    return false;
}

static enum kb_status add_from_folder(const char *folder, const char *name, struct kb_paths *paths,
                                      struct kb_err *err) {
    char *path = kb_join_path(folder, name);
    if (path == NULL) {
        return kb_fail_memory(err, KB_INTAKE, strlen(folder) + strlen(name));
    }
    enum kb_status status = is_folder(path) ? KB_OK : add(path, paths, err);
    kb_free(path);
    return status;
}

static enum kb_status cannot_list(const char *folder, struct kb_err *err) {
    return kb_fail(err, KB_E_SYSTEM, KB_INTAKE, folder,
                   "the folder cannot be listed: %s (check its permissions)", strerror(errno));
}

static enum kb_status expand_folder(const char *folder, struct kb_paths *paths,
                                    struct kb_err *err) {
    DIR *open_folder = opendir(folder);
    if (open_folder == NULL) {
        return cannot_list(folder, err);
    }
    enum kb_status status = KB_OK;
    for (;;) {
        errno = 0;
        const struct dirent *entry =
            readdir(open_folder); /* NOLINT(concurrency-mt-unsafe): own DIR */
        if (entry == NULL) {
            status = errno != 0 ? cannot_list(folder, err) : KB_OK;
            break;
        }
        if (named_like_a_picture(entry->d_name) && !is_own_overlay(entry->d_name)) {
            status = add_from_folder(folder, entry->d_name, paths, err);
        }
        if (status != KB_OK) {
            break;
        }
    }
    (void)closedir(open_folder);
    return status;
}

static enum kb_status expand_pattern(const char *pattern, struct kb_paths *paths,
                                     struct kb_err *err) {
    glob_t found;
    const int result = glob(pattern, GLOB_NOSORT, NULL, &found);
    if (result == GLOB_NOSPACE) {
        return kb_fail_memory(err, KB_INTAKE, strlen(pattern));
    }
    if (result == GLOB_ABORTED) {
        return cannot_list(pattern, err);
    }
    enum kb_status status = KB_OK;
    for (size_t i = 0; result == 0 && i < found.gl_pathc && status == KB_OK; i++) {
        if (!is_folder(found.gl_pathv[i])) {
            status = add(found.gl_pathv[i], paths, err);
        }
    }
    globfree(&found);
    return status;
}

static enum kb_status none_found(const char *pattern, struct kb_err *err) {
    if (is_folder(pattern)) {
        return kb_fail(
            err, KB_E_INPUT, KB_INTAKE, pattern,
            "the folder holds no picture (*.tif *.tiff *.png *.jpg *.jpeg; name the files "
            "if they end otherwise)");
    }
    if (strpbrk(pattern, "*?[") != NULL) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, pattern,
                       "no file matches this pattern (check the folder and the spelling)");
    }
    return kb_fail(err, KB_E_INPUT, KB_INTAKE, pattern,
                   "no such file (check the name and the folder)");
}

enum kb_status kb_paths_expand(const char *pattern, struct kb_paths *paths, struct kb_err *err) {
    const size_t before = paths->count;
    struct stat about;
    const bool exists = stat(pattern, &about) == 0;
    enum kb_status status = KB_OK;
    if (exists && !S_ISDIR(about.st_mode)) {
        status = add(pattern, paths, err);
    } else if (exists) {
        status = expand_folder(pattern, paths, err);
    } else {
        status = expand_pattern(pattern, paths, err);
    }
    if (status == KB_OK && paths->count == before) {
        status = none_found(pattern, err);
    }
    if (status != KB_OK) { /* nothing of a failed expansion stays */
        while (paths->count > before) {
            kb_free(paths->path[--paths->count]);
        }
        return status;
    }
    qsort(paths->path + before, paths->count - before, sizeof *paths->path, by_bytes);
    return KB_OK;
}

void kb_paths_release(struct kb_paths *paths) {
    for (size_t i = 0; i < paths->count; i++) {
        kb_free(paths->path[i]);
    }
    kb_free(paths->path);
    *paths = (struct kb_paths){NULL, 0, 0};
}
