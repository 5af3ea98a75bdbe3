/* source.c - the file itself: opened once, read in order by its decoder, then once more for its
 * digest.
 *
 * Only regular files are opened, since a pipe, a terminal or a device could block for ever. Bytes
 * are read with pread(2) and not mapped: a mapped file that shrinks under the reader ends the
 * process. The second pass for SHA-256 finds the bytes in the system's cache and needs 1 MiB of
 * memory whatever the size of the file.
 */
#include "intake_priv.h"

#include <errno.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define BLOCK ((size_t)1 << 20)

static enum kb_status cannot(const char *path, const char *what, struct kb_err *err) {
    const int code = errno;
    if (code == ENOENT || code == ENOTDIR) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, path,
                       "no such file (check the name and the folder)");
    }
    if (code == EACCES || code == EPERM) {
        return kb_fail(err, KB_E_SYSTEM, KB_INTAKE, path,
                       "no permission to read it (ask its owner, or change its permissions)");
    }
    return kb_fail(err, KB_E_SYSTEM, KB_INTAKE, path,
                   "cannot %s: %s (check the disk or the network)", what, strerror(code));
}

static enum kb_status refuse_kind(const char *path, mode_t mode, struct kb_err *err) {
    if (S_ISDIR(mode)) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, path,
                       "a folder, not a picture (name the pictures in it)");
    }
    return kb_fail(err, KB_E_INPUT, KB_INTAKE, path,
                   "not a regular file but a pipe, a socket or a device (save the picture first)");
}

enum kb_status kb_source_open(const char *path, struct kb_source *source, struct kb_err *err) {
    *source = (struct kb_source){.path = path, .file = -1};
    struct stat about;
    if (stat(path, &about) != 0) {
        return cannot(path, "look at it", err);
    }
    if (!S_ISREG(about.st_mode)) {
        return refuse_kind(path, about.st_mode, err);
    }
    source->file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
    if (source->file < 0 || fstat(source->file, &about) != 0) {
        return cannot(path, "open it", err);
    }
    if (!S_ISREG(about.st_mode)) { /* swapped between the two looks */
        return refuse_kind(path, about.st_mode, err);
    }
    source->size = (uint64_t)about.st_size;
    source->changed = about.st_mtim;
    int64_t got = kb_source_read(source, source->head, sizeof source->head);
    if (got < 0) {
        return cannot(path, "read it", err);
    }
    if (got == 0) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, path, "the file is empty (export it again)");
    }
    source->head_size = (size_t)got;
    source->at = 0;
    return KB_OK;
}

void kb_source_close(struct kb_source *source) {
    if (source->file >= 0) {
        (void)close(source->file);
        source->file = -1;
    }
}

int64_t kb_source_read(struct kb_source *source, void *to, size_t size) {
    uint8_t *next = to;
    size_t left = size;
    while (left > 0) {
        ssize_t got = pread(source->file, next, left, (off_t)source->at);
        if (got < 0 && errno == EINTR) {
            continue;
        }
        if (got < 0) {
            return -1;
        }
        if (got == 0) {
            break;
        }
        next += got;
        left -= (size_t)got;
        source->at += (uint64_t)got;
    }
    return (int64_t)(size - left);
}

static void hex_of(const uint8_t digest[SHA256_DIGEST_SIZE], char hex[65]) {
    for (size_t i = 0; i < SHA256_DIGEST_SIZE; i++) {
        (void)snprintf(hex + 2 * i, 3, "%02x", digest[i]);
    }
}

enum kb_status kb_source_digest(struct kb_source *source, char hex[65], struct kb_err *err) {
    uint8_t *block = kb_alloc(BLOCK, 1);
    if (block == NULL) {
        return kb_fail_memory(err, KB_INTAKE, BLOCK);
    }
    struct sha256_ctx sha;
    sha256_init(&sha);
    source->at = 0;
    int64_t got = 0;
    do {
        got = kb_source_read(source, block, BLOCK);
        if (got > 0) {
            sha256_update(&sha, (size_t)got, block);
        }
    } while (got == (int64_t)BLOCK);
    kb_free(block);
    if (got < 0) {
        return cannot(source->path, "read it", err);
    }
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_digest(&sha, sizeof digest, digest);
    hex_of(digest, hex);
    return KB_OK;
}

enum kb_status kb_source_unchanged(const struct kb_source *source, struct kb_err *err) {
    struct stat about;
    if (fstat(source->file, &about) != 0) {
        return cannot(source->path, "look at it", err);
    }
    if ((uint64_t)about.st_size != source->size || about.st_mtim.tv_sec != source->changed.tv_sec ||
        about.st_mtim.tv_nsec != source->changed.tv_nsec) {
        return kb_fail(err, KB_E_INPUT, KB_INTAKE, source->path,
                       "the file was changed while it was read (wait until it is complete)");
    }
    return KB_OK;
}

enum kb_status kb_file_digest(const char *path, char sha256[65], struct kb_err *err) {
    struct kb_source source;
    enum kb_status status = kb_source_open(path, &source, err);
    if (status == KB_OK) {
        status = kb_source_digest(&source, sha256, err);
    }
    kb_source_close(&source);
    return status;
}

void kb_digest(const void *bytes, size_t size, char hex[65]) {
    struct sha256_ctx sha;
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_init(&sha);
    sha256_update(&sha, size, bytes);
    sha256_digest(&sha, sizeof digest, digest);
    hex_of(digest, hex);
}
