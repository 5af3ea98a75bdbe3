/* outfile.c - files that appear whole or not at all.
 *
 * Written under another name in the target's own folder, flushed and fsynced, then renamed over the
 * target: a reader sees the old file or the new one, never half of one; a full disk is noticed
 * before the name changes hands.
 */
#include "keelblock/base.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

static enum kb_status system_failure(struct kb_err *err, const char *path, const char *what) {
    int code = errno;
    const char *advice = "check the folder and its permissions";
    if (code == ENOSPC || code == EDQUOT || code == EFBIG) {
        advice = "free some space or choose another folder";
    } else if (code == ENOTDIR || code == EISDIR || code == EEXIST) {
        advice = "something else stands under that name; choose another";
    }
    return kb_fail(err, KB_E_SYSTEM, "base", path, "cannot %s: %s (%s)", what, strerror(code),
                   advice);
}

static void release(struct kb_outfile *out) {
    kb_free(out->path);
    kb_free(out->aside);
    *out = (struct kb_outfile){NULL, NULL, NULL};
}

/* "dir/.name.PID-N": hidden beside the target, so that the rename stays on one file system. */
static char *name_aside(const char *path, unsigned attempt) {
    const char *name = kb_base_name(path);
    size_t folder = (size_t)(name - path);
    size_t size = strlen(path) + 48;
    char *aside = kb_alloc(size, 1);
    if (aside != NULL) {
        (void)snprintf(aside, size, "%.*s.%s.%ld-%u", (int)folder, path, name, (long)getpid(),
                       attempt);
    }
    return aside;
}

/* A fresh file beside the target. Not mkstemp(): that makes 0600, and the umask cannot be read back
 * without a race between threads. */
static enum kb_status open_aside(struct kb_outfile *out, struct kb_err *err) {
    const unsigned attempts = 100; /* leftovers of killed programs with our process number */
    for (unsigned attempt = 0; attempt < attempts; attempt++) {
        out->aside = name_aside(out->path, attempt);
        if (out->aside == NULL) {
            return kb_fail_memory(err, "base", strlen(out->path));
        }
        int file = open(out->aside, O_CREAT | O_EXCL | O_WRONLY | O_CLOEXEC, 0666);
        if (file >= 0) {
            out->stream = fdopen(file, "wb");
            if (out->stream == NULL) {
                enum kb_status status = system_failure(err, out->path, "write");
                (void)close(file);
                (void)unlink(out->aside);
                return status;
            }
            return KB_OK;
        }
        if (errno != EEXIST) {
            break;
        }
        kb_free(out->aside);
        out->aside = NULL;
    }
    return system_failure(err, out->path, "write");
}

enum kb_status kb_outfile_open(const char *path, struct kb_outfile *out, struct kb_err *err) {
    *out = (struct kb_outfile){NULL, kb_copy_string(path), NULL};
    if (out->path == NULL) {
        return kb_fail_memory(err, "base", strlen(path));
    }
    enum kb_status status = open_aside(out, err);
    if (status != KB_OK) {
        release(out);
    }
    return status;
}

enum kb_status kb_outfile_commit(struct kb_outfile *out, struct kb_err *err) {
    if (out->stream == NULL) {
        return kb_fail(err, KB_E_SYSTEM, "base", out->path, "nothing was opened to be written");
    }
    bool written =
        fflush(out->stream) == 0 && !ferror(out->stream) && fsync(fileno(out->stream)) == 0;
    enum kb_status status = written ? KB_OK : system_failure(err, out->path, "write");
    if (fclose(out->stream) != 0 && status == KB_OK) {
        status = system_failure(err, out->path, "write");
    }
    if (status == KB_OK && rename(out->aside, out->path) != 0) {
        status = system_failure(err, out->path, "put in place");
    }
    if (status != KB_OK) {
        (void)unlink(out->aside);
    }
    release(out);
    return status;
}

void kb_outfile_abandon(struct kb_outfile *out) {
    if (out->stream == NULL) {
        return;
    }
    (void)fclose(out->stream);
    (void)unlink(out->aside);
    release(out);
}

enum kb_status kb_write_file(const char *path, const void *data, size_t size, struct kb_err *err) {
    struct kb_outfile out;
    enum kb_status status = kb_outfile_open(path, &out, err);
    if (status != KB_OK) {
        return status;
    }
    if (size > 0 && fwrite(data, 1, size, out.stream) != size) {
        status = system_failure(err, path, "write");
        kb_outfile_abandon(&out);
        return status;
    }
    return kb_outfile_commit(&out, err);
}

/* Whether name_aside() makes such names: ".name.PID-N". */
static bool is_aside(const char *name) {
    static const char digits[] = "0123456789";
    const char *dot = strrchr(name, '.');
    if (name[0] != '.' || dot == name) {
        return false;
    }
    const size_t pid = strspn(dot + 1, digits);
    const char *dash = dot + 1 + pid;
    const size_t attempt = *dash == '-' ? strspn(dash + 1, digits) : 0;
    return pid > 0 && attempt > 0 && dash[1 + attempt] == '\0';
}

void kb_outfile_tidy(const char *folder, double left_after_s) {
    DIR *stream = opendir(folder);
    const struct dirent *entry = NULL;
    while (stream != NULL &&
           (entry = readdir(stream)) != NULL) { /* NOLINT(concurrency-mt-unsafe): own DIR */
        struct stat info;
        char *path = is_aside(entry->d_name) ? kb_join_path(folder, entry->d_name) : NULL;
        if (path != NULL && lstat(path, &info) == 0 && S_ISREG(info.st_mode) &&
            difftime(time(NULL), info.st_mtime) >= left_after_s) {
            (void)unlink(path);
        }
        kb_free(path);
    }
    if (stream != NULL) {
        (void)closedir(stream);
    }
}

static bool is_folder(const char *path) {
    struct stat info;
    return stat(path, &info) == 0 && S_ISDIR(info.st_mode);
}

enum kb_status kb_make_folder(const char *path, struct kb_err *err) {
    if (path[0] == '\0') {
        return kb_fail(err, KB_E_SYSTEM, "base", path, "the folder has no name (give one)");
    }
    char *partial = kb_copy_string(path);
    if (partial == NULL) {
        return kb_fail_memory(err, "base", strlen(path));
    }
    enum kb_status status = KB_OK;
    for (char *c = partial + 1; status == KB_OK; c++) {
        bool end = *c == '\0';
        if (!end && *c != '/') {
            continue;
        }
        *c = '\0';
        if (mkdir(partial, 0777) != 0 && !is_folder(partial)) {
            status = system_failure(err, path, "make the folder");
        }
        if (end) {
            break;
        }
        *c = '/';
    }
    kb_free(partial);
    return status;
}

char *kb_join_path(const char *folder, const char *name) {
    size_t length = strlen(folder);
    const char *slash = length > 0 && folder[length - 1] != '/' ? "/" : "";
    size_t size = length + strlen(name) + 2;
    char *joined = kb_alloc(size, 1);
    if (joined != NULL) {
        (void)snprintf(joined, size, "%s%s%s", folder, slash, name);
    }
    return joined;
}

const char *kb_base_name(const char *path) {
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}
