/* record.c - the file of a record: read whole, checked link by link, added to a line at a time.
 *
 * A line is written with one call and synced before anything is told of it; a program that is
 * killed in the middle leaves half a line without an end, which nobody was told of. Reading leaves
 * it out, and the next line is written in its place.
 */
#include "record_priv.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

enum { SIZE_MOST = 1 << 28 }; /* bytes; beyond it the file is no record that a person made */

static enum kb_status failure(struct kb_err *err, const char *path, const char *what) {
    return kb_fail(err, KB_E_SYSTEM, KB_REVIEW_STAGE, path, "cannot %s: %s (check the folder)",
                   what, strerror(errno));
}

/* ---- what is in force ---- */

static struct kb_record_entry *change_of(struct kb_record *record, uint64_t seq) {
    struct kb_record_entry *entry =
        seq > 0 && seq <= record->count ? &record->entry[seq - 1] : NULL;
    return entry != NULL && kb_record_is_change(entry->kind) ? entry : NULL;
}

static enum kb_status no_such(const char *what, uint64_t seq, struct kb_err *err) {
    return kb_fail(err, KB_E_USAGE, KB_REVIEW_STAGE, NULL,
                   "change %llu cannot be %s now (it is no change, or this was done already)",
                   (unsigned long long)seq, what);
}

static enum kb_status take_undo(struct kb_record *record, uint64_t seq, struct kb_err *err) {
    struct kb_record_entry *change = change_of(record, seq);
    void *items = record->undone;
    if (change == NULL || !change->active) {
        return no_such("undone", seq, err);
    }
    if (!kb_grow(&items, record->undones, &record->undones_capacity, sizeof *record->undone)) {
        return kb_fail_memory(err, KB_REVIEW_STAGE, sizeof *record->undone);
    }
    record->undone = items;
    record->undone[record->undones++] = seq;
    change->active = false;
    return KB_OK;
}

static enum kb_status take_redo(struct kb_record *record, uint64_t seq, struct kb_err *err) {
    if (seq == 0 || seq != kb_record_redoable(record)) {
        return no_such("made again", seq, err);
    }
    record->undones--;
    change_of(record, seq)->active = true;
    return KB_OK;
}

enum kb_status kb_record_take(struct kb_record *record, struct kb_record_entry *entry,
                              struct kb_err *err) {
    void *items = record->entry;
    if (!kb_grow(&items, record->count, &record->capacity, sizeof *record->entry)) {
        return kb_fail_memory(err, KB_REVIEW_STAGE, sizeof *record->entry);
    }
    record->entry = items;
    enum kb_status status = KB_OK;
    if (entry->kind == KB_RECORD_UNDO) {
        status = take_undo(record, entry->of, err);
    } else if (entry->kind == KB_RECORD_REDO) {
        status = take_redo(record, entry->of, err);
    } else if (kb_record_is_change(entry->kind)) {
        record->undones = 0; /* what was undone before another change stays so */
    }
    if (status == KB_OK) {
        entry->active = kb_record_is_change(entry->kind);
        record->entry[record->count++] = *entry;
        *entry = (struct kb_record_entry){.seq = 0};
    }
    return status;
}

uint64_t kb_record_undoable(const struct kb_record *record) {
    for (size_t i = record->count; i > 0; i--) {
        if (record->entry[i - 1].active) {
            return i;
        }
    }
    return 0;
}

uint64_t kb_record_redoable(const struct kb_record *record) {
    return record->undones > 0 ? record->undone[record->undones - 1] : 0;
}

size_t kb_record_in_force(const struct kb_record *record) {
    size_t count = 0;
    for (size_t i = 0; i < record->count; i++) {
        count += record->entry[i].active;
    }
    return count;
}

const struct kb_record_entry *kb_record_signature(const struct kb_record *record) {
    const struct kb_record_entry *last =
        record->count > 0 ? &record->entry[record->count - 1] : NULL;
    return last != NULL && last->kind == KB_RECORD_SIGN ? last : NULL;
}

/* ---- reading ---- */

static enum kb_status read_lines(struct kb_record *record, const char *bytes, size_t size,
                                 struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t at = 0; at < size && status == KB_OK;) {
        const char *end = memchr(bytes + at, '\n', size - at);
        if (end == NULL) {
            record->torn = true;
            break;
        }
        struct kb_record_entry entry;
        char link[65];
        const size_t length = (size_t)(end - (bytes + at));
        const size_t number = record->count + 1;
        status = kb_record_parse(bytes + at, length, record->path, number, &entry, link, err);
        if (status == KB_OK && (strcmp(link, record->link) != 0 || entry.seq != number)) {
            status = kb_fail(err, KB_E_INPUT, KB_REVIEW_STAGE, record->path,
                             "line %zu does not follow from the line before it: the record was "
                             "changed by other means (put back the file as keelblock wrote it)",
                             number);
        }
        if (status == KB_OK) {
            status = kb_record_take(record, &entry, err);
        }
        kb_record_entry_release(&entry);
        if (status == KB_OK) {
            kb_digest(bytes + at, length, record->link);
            at += length + 1;
            record->length = at;
        }
    }
    kb_digest(bytes, (size_t)record->length, record->sha256);
    return status;
}

/* All bytes of an open file, new memory. */
static enum kb_status slurp(int file, const char *path, char **bytes, size_t *size,
                            struct kb_err *err) {
    struct stat info;
    *bytes = NULL;
    *size = 0;
    if (fstat(file, &info) != 0) {
        return failure(err, path, "be read");
    }
    if (!S_ISREG(info.st_mode) || info.st_size > SIZE_MOST) {
        return kb_fail(err, KB_E_INPUT, KB_REVIEW_STAGE, path,
                       "is no record of a review (give a %s as keelblock wrote it)",
                       KB_RECORD_NAME);
    }
    const size_t whole = (size_t)info.st_size;
    *bytes = kb_alloc(whole + 1, 1);
    if (*bytes == NULL) {
        return kb_fail_memory(err, KB_REVIEW_STAGE, whole);
    }
    while (*size < whole) {
        const ssize_t got = pread(file, *bytes + *size, whole - *size, (off_t)*size);
        if (got < 0 && errno != EINTR) {
            return failure(err, path, "be read");
        }
        if (got == 0) {
            break;
        }
        *size += got > 0 ? (size_t)got : 0;
    }
    return KB_OK;
}

static enum kb_status read_file(struct kb_record *record, int file, struct kb_err *err) {
    char *bytes = NULL;
    size_t size = 0;
    enum kb_status status = slurp(file, record->path, &bytes, &size, err);
    if (status == KB_OK) {
        status = read_lines(record, bytes, size, err);
    }
    kb_free(bytes);
    return status;
}

static enum kb_status begin(char *path, struct kb_record *record, struct kb_err *err) {
    *record = (struct kb_record){.path = path, .file = -1};
    kb_digest("", 0, record->sha256);
    return path != NULL ? KB_OK : kb_fail_memory(err, KB_REVIEW_STAGE, 1);
}

enum kb_status kb_record_read(const char *path, struct kb_record *record, struct kb_err *err) {
    enum kb_status status = begin(kb_copy_string(path), record, err);
    const int file = status == KB_OK ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    if (status == KB_OK && file < 0) {
        status = kb_fail(err, KB_E_INPUT, KB_REVIEW_STAGE, path,
                         "cannot be opened: %s (check the "
                         "name)",
                         strerror(errno));
    }
    if (status == KB_OK) {
        status = read_file(record, file, err);
    }
    if (file >= 0) {
        (void)close(file);
    }
    if (status != KB_OK) {
        kb_record_release(record);
    }
    return status;
}

void kb_record_release(struct kb_record *record) {
    for (size_t i = 0; i < record->count; i++) {
        kb_record_entry_release(&record->entry[i]);
    }
    if (record->path != NULL && record->file >= 0) {
        (void)close(record->file); /* and with it the lock */
    }
    kb_free(record->entry);
    kb_free(record->undone);
    kb_free(record->path);
    *record = (struct kb_record){.file = -1};
}

/* ---- adding ---- */

static enum kb_status lock(const struct kb_record *record, struct kb_err *err) {
    if (flock(record->file, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
        return kb_fail(err, KB_E_SYSTEM, KB_REVIEW_STAGE, record->path,
                       "another review has this result open (close it there first)");
    }
    return KB_OK; /* on a drive without locks the links of the lines must do */
}

enum kb_status kb_record_open(const char *folder, struct kb_record *record, struct kb_err *err) {
    enum kb_status status = begin(kb_join_path(folder, KB_RECORD_NAME), record, err);
    if (status == KB_OK) {
        record->file = open(record->path, O_RDWR | O_CLOEXEC | O_NOFOLLOW);
        if (record->file < 0 && errno != ENOENT) {
            status = failure(err, record->path, "be opened for writing");
        }
    }
    if (status == KB_OK && record->file >= 0) {
        status = lock(record, err);
        if (status == KB_OK) {
            status = read_file(record, record->file, err);
        }
    }
    if (status != KB_OK) {
        kb_record_release(record);
    }
    return status;
}

/* The name of a new file is to last, too. */
static enum kb_status sync_folder(const char *path, struct kb_err *err) {
    char *folder = kb_copy_string(path);
    if (folder == NULL) {
        return kb_fail_memory(err, KB_REVIEW_STAGE, strlen(path));
    }
    folder[kb_base_name(folder) - folder] = '\0';
    const int file = open(folder[0] != '\0' ? folder : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (file >= 0) {
        (void)fsync(file); /* not every drive can */
        (void)close(file);
    }
    kb_free(folder);
    return KB_OK;
}

/* Make the file for the first line. */
static enum kb_status make(struct kb_record *record, struct kb_err *err) {
    if (record->file >= 0) {
        return KB_OK;
    }
    record->file = open(record->path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (record->file < 0) {
        return errno == EEXIST ? kb_fail(err, KB_E_SYSTEM, KB_REVIEW_STAGE, record->path,
                                         "another review has begun a record here (close this one "
                                         "and start again)")
                               : failure(err, record->path, "be made");
    }
    enum kb_status status = lock(record, err);
    if (status != KB_OK) { /* somebody was quicker between the two: it is theirs */
        (void)close(record->file);
        record->file = -1;
        return status;
    }
    return sync_folder(record->path, err);
}

static enum kb_status gone(const struct kb_record *record, struct kb_err *err) {
    return kb_fail(err, KB_E_SYSTEM, KB_REVIEW_STAGE, record->path,
                   "was taken away or changed by other means while it was open (put it back as it "
                   "was, or start the review again)");
}

/* Whether the open file is still the one that stands under the record's name, and as long as it was
 * left: adding to one that was moved, replaced or written to by other means would lose lines. */
static enum kb_status check_place(const struct kb_record *record, struct kb_err *err) {
    struct stat open_file, named;
    if (fstat(record->file, &open_file) != 0) {
        return failure(err, record->path, "be added to");
    }
    const bool same = stat(record->path, &named) == 0 && named.st_dev == open_file.st_dev &&
                      named.st_ino == open_file.st_ino;
    const bool whole = record->torn || (uint64_t)open_file.st_size == record->length;
    return same && whole ? KB_OK : gone(record, err);
}

static bool write_all(int file, const char *bytes, size_t size, uint64_t at) {
    size_t done = 0;
    while (done < size) {
        const ssize_t put = pwrite(file, bytes + done, size - done, (off_t)(at + done));
        if (put < 0 && errno != EINTR) {
            return false;
        }
        done += put > 0 ? (size_t)put : 0;
    }
    return ftruncate(file, (off_t)(at + size)) == 0 && fsync(file) == 0;
}

static enum kb_status write_line(struct kb_record *record, const struct kb_text *line,
                                 struct kb_err *err) {
    enum kb_status status = make(record, err);
    if (status == KB_OK) {
        status = check_place(record, err);
    }
    if (status == KB_OK && !write_all(record->file, line->data, line->length, record->length)) {
        status = failure(err, record->path, "be added to");
        /* take the piece away, if that much can still be done */
        record->torn = ftruncate(record->file, (off_t)record->length) != 0;
    }
    return status;
}

/* What is known of the file when the line stands in it. */
struct ahead {
    char link[65], sha256[65];
};

/* Worked out before the line is written, since it may fail. */
static enum kb_status look_ahead(const struct kb_record *record, const struct kb_text *line,
                                 struct ahead *ahead, struct kb_err *err) {
    struct kb_text whole = KB_TEXT_INIT;
    char *bytes = NULL;
    size_t size = 0;
    enum kb_status status =
        record->file >= 0 ? slurp(record->file, record->path, &bytes, &size, err) : KB_OK;
    if (status == KB_OK && size < record->length) {
        status = gone(record, err);
    }
    if (status == KB_OK) {
        kb_text_add_bytes(&whole, bytes != NULL ? bytes : "", (size_t)record->length);
        kb_text_add_bytes(&whole, line->data, line->length);
        status = whole.failed ? kb_fail_memory(err, KB_REVIEW_STAGE, size + line->length) : KB_OK;
    }
    if (status == KB_OK) {
        kb_digest(line->data, line->length - 1, ahead->link);
        kb_digest(whole.data, whole.length, ahead->sha256);
    }
    kb_text_release(&whole);
    kb_free(bytes);
    return status;
}

static void follow(struct kb_record *record, const struct kb_text *line,
                   const struct ahead *ahead) {
    memcpy(record->link, ahead->link, sizeof record->link);
    memcpy(record->sha256, ahead->sha256, sizeof record->sha256);
    record->length += line->length;
    record->torn = false;
}

/* Written before it is taken over: an undo of what cannot be must be found out before. */
static enum kb_status check_draft(const struct kb_record *record,
                                  const struct kb_record_entry *draft, struct kb_err *err) {
    const char *wrong = kb_record_flaw(draft);
    if (wrong != NULL) {
        return kb_fail(err, KB_E_USAGE, KB_REVIEW_STAGE, NULL, "the change %s (say it)", wrong);
    }
    const bool known = draft->of > 0 && draft->of <= record->count;
    if (draft->kind == KB_RECORD_UNDO && !(known && record->entry[draft->of - 1].active)) {
        return no_such("undone", draft->of, err);
    }
    if (draft->kind == KB_RECORD_REDO && draft->of != kb_record_redoable(record)) {
        return no_such("made again", draft->of, err);
    }
    return KB_OK;
}

/* All memory that taking it over needs, so that a line that is on disk is never lost here. */
static bool make_room(struct kb_record *record) {
    void *entries = record->entry, *undone = record->undone;
    const bool grown = kb_grow(&entries, record->count, &record->capacity, sizeof *record->entry);
    record->entry = entries;
    const bool both = grown && kb_grow(&undone, record->undones, &record->undones_capacity,
                                       sizeof *record->undone);
    record->undone = undone;
    return both;
}

enum kb_status kb_record_append(struct kb_record *record, const struct kb_record_entry *draft,
                                struct kb_err *err) {
    struct kb_text line = KB_TEXT_INIT;
    struct kb_record_entry entry = {.seq = 0};
    struct ahead ahead;
    enum kb_status status = check_draft(record, draft, err);
    if (status == KB_OK && (!make_room(record) || !kb_record_copy(draft, &entry))) {
        status = kb_fail_memory(err, KB_REVIEW_STAGE, sizeof entry);
    }
    if (status == KB_OK) {
        entry.seq = record->count + 1;
        status = kb_record_line(&entry, record->link, &line, err);
    }
    if (status == KB_OK) {
        status = look_ahead(record, &line, &ahead, err);
    }
    if (status == KB_OK) {
        status = write_line(record, &line, err);
    }
    if (status == KB_OK) {
        follow(record, &line, &ahead);
        status = kb_record_take(record, &entry, err);
    }
    kb_record_entry_release(&entry);
    kb_text_release(&line);
    return status;
}
