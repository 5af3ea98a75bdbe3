/* job.c - a job file to plain entries, by inih.
 *
 * inih cuts what is too long, carries on after errors and joins indented lines to the value before.
 * A measurement must not hang on such kindness, so the whole file is taken in first and each line
 * is checked before inih sees it: length, encoding, stray bytes, text behind a section's bracket.
 * Lines are counted here, one a call of inih's reader, so that an entry and an error know theirs.
 * Keys may stand once in a section; in [by_hand], where each line is a decision of its own, often,
 * and so may the `statement` of a [certificate], whose lines make one text. A line of [by_hand]
 * that ends in a backslash goes on in the next one: an outline has more corners than a line has
 * room for.
 */
#include "intake_priv.h"

#include <errno.h>
#include <ini.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* A job file is a page of text. */
#define FILE_MAX ((size_t)1 << 20)

/* inih keeps 49 bytes of a section's name and drops the rest. */
#define SECTION_MAX 49

struct parsing {
    struct kb_job *job;
    struct kb_err *err;
    const char *next; /* rest of the text */
    int line;         /* of the last line handed to inih */
    bool goes_on;     /* the last entry ended in a backslash ... */
    bool joins;       /* ... and this line belongs to it */
    enum kb_status status;
};

/* ---- lines --------------------------------------------------------------------------------------
 */

static enum kb_status bad_line(struct parsing *parsing, const char *text) {
    parsing->status = kb_fail(parsing->err, KB_E_USAGE, KB_INTAKE, parsing->job->path,
                              "line %d: %s", parsing->line, text);
    return parsing->status;
}

static bool is_text(const char *line, size_t length) {
    const uint8_t *c = (const uint8_t *)line;
    const uint8_t *end = c + length;
    while (c < end) {
        const size_t size = kb_utf8_size(c, (size_t)(end - c));
        if (size == 0) {
            return false;
        }
        c += size;
    }
    return true;
}

/* What inih would let pass about a section line. */
static const char *section_trouble(const char *line, size_t length) {
    const char *close = memchr(line, ']', length);
    if (close == NULL) {
        return "the section's name has no closing bracket (write [name])";
    }
    if (close - line - 1 > SECTION_MAX) {
        return "the section's name is too long (at most 49 bytes)";
    }
    if (close == line + 1) {
        return "the section has no name (write [name])";
    }
    for (const char *c = close + 1; c < line + length; c++) {
        if (*c == ';' || *c == '#') {
            break;
        }
        if (*c != ' ' && *c != '\t') {
            return "text behind the section's bracket (put it on a line of its own)";
        }
    }
    return NULL;
}

static const char *line_trouble(const char *line, size_t length, size_t room) {
    if (!is_text(line, length)) {
        return "not UTF-8 text (save the file as UTF-8 in the editor)";
    }
    if (length + 3 > room) {
        return "the line is too long (at most 197 bytes; shorten it)";
    }
    return length > 0 && line[0] == '[' ? section_trouble(line, length) : NULL;
}

/* inih's reader, as fgets(3): the next line into `to`, NULL at the end or after an error. */
static char *next_line(char *to, int room, void *stream) {
    struct parsing *parsing = stream;
    if (parsing->status != KB_OK || *parsing->next == '\0') {
        return NULL;
    }
    parsing->line++;
    const char *line = parsing->next;
    size_t length = strcspn(line, "\n");
    parsing->next = line + length + (line[length] == '\n' ? 1 : 0);
    if (length > 0 && line[length - 1] == '\r') {
        length--;
    }
    while (length > 0 && (*line == ' ' || *line == '\t')) { /* inih joins indented lines */
        line++;
        length--;
    }
    const char *trouble = line_trouble(line, length, (size_t)room);
    if (trouble != NULL) {
        (void)bad_line(parsing, trouble);
        return NULL;
    }
    parsing->joins = parsing->goes_on;
    parsing->goes_on = false;
    const size_t indent = parsing->joins ? 1 : 0; /* which tells inih that it belongs to the last */
    to[0] = ' ';
    memcpy(to + indent, line, length);
    to[indent + length] = '\n';
    to[indent + length + 1] = '\0';
    return to;
}

/* ---- entries ------------------------------------------------------------------------------------
 */

static const struct kb_job_entry *find(const struct kb_job *job, const char *section,
                                       const char *key) {
    for (size_t i = 0; i < job->count; i++) {
        if (strcmp(job->entry[i].section, section) == 0 && strcmp(job->entry[i].key, key) == 0) {
            return &job->entry[i];
        }
    }
    return NULL;
}

static void release_entry(struct kb_job_entry *entry) {
    kb_free(entry->section);
    kb_free(entry->key);
    kb_free(entry->value);
}

static enum kb_status keep(struct parsing *parsing, const char *section, const char *key,
                           const char *value) {
    struct kb_job *job = parsing->job;
    struct kb_job_entry fresh = {kb_copy_string(section), kb_copy_string(key),
                                 kb_copy_string(value), parsing->line};
    void *items = job->entry;
    if (fresh.section == NULL || fresh.key == NULL || fresh.value == NULL ||
        !kb_grow(&items, job->count, &job->capacity, sizeof *job->entry)) {
        release_entry(&fresh);
        return kb_fail_memory(parsing->err, KB_INTAKE, strlen(value));
    }
    job->entry = items;
    job->entry[job->count++] = fresh;
    return KB_OK;
}

/* Add a line to the value of the last entry. */
static enum kb_status append(struct parsing *parsing, const char *more) {
    struct kb_job_entry *last = &parsing->job->entry[parsing->job->count - 1];
    const size_t before = strlen(last->value);
    const size_t size = before + strlen(more) + 2;
    char *grown = kb_resize(last->value, size, 1);
    if (grown == NULL) {
        return kb_fail_memory(parsing->err, KB_INTAKE, size);
    }
    last->value = grown;
    (void)snprintf(grown + before, size - before, " %s", more);
    return KB_OK;
}

/* Whether the last entry is to be gone on with; takes the backslash off. */
static bool takes_backslash(struct kb_job *job, const char *section) {
    if (strcmp(section, "by_hand") != 0) {
        return false;
    }
    char *value = job->entry[job->count - 1].value;
    size_t length = strlen(value);
    if (length == 0 || value[length - 1] != '\\') {
        return false;
    }
    value[--length] = '\0';
    while (length > 0 && (value[length - 1] == ' ' || value[length - 1] == '\t')) {
        value[--length] = '\0';
    }
    return true;
}

/* inih's handler: not 0 is fine. */
static int on_entry(void *user, const char *section, const char *key, const char *value) {
    struct parsing *parsing = user;
    if (parsing->status != KB_OK) {
        return 0;
    }
    if (parsing->joins && parsing->job->count > 0) {
        parsing->status = append(parsing, value);
        parsing->goes_on = parsing->status == KB_OK && takes_backslash(parsing->job, section);
        return parsing->status == KB_OK;
    }
    if (key[0] == '\0') {
        (void)bad_line(parsing, "a value without a key (write key = value)");
        return 0;
    }
    const bool often = strcmp(section, "by_hand") == 0 ||
                       (strcmp(section, "certificate") == 0 && strcmp(key, "statement") == 0);
    const struct kb_job_entry *earlier = often ? NULL : find(parsing->job, section, key);
    if (earlier != NULL) {
        parsing->status = kb_fail(parsing->err, KB_E_USAGE, KB_INTAKE, parsing->job->path,
                                  "line %d: '%s' was already said in line %d (keep one of them)",
                                  parsing->line, key, earlier->line);
        return 0;
    }
    parsing->status = keep(parsing, section, key, value);
    parsing->goes_on = parsing->status == KB_OK && takes_backslash(parsing->job, section);
    return parsing->status == KB_OK;
}

/* ---- the file -----------------------------------------------------------------------------------
 */

static enum kb_status cannot_open(const char *path, const char *why, struct kb_err *err) {
    return kb_fail(err, KB_E_SYSTEM, KB_INTAKE, path,
                   "the job file cannot be read: %s (check the name and its permissions)", why);
}

static enum kb_status load_stream(FILE *stream, const char *path, char *text, struct kb_err *err) {
    const size_t got = fread(text, 1, FILE_MAX + 1, stream);
    if (ferror(stream) != 0) {
        return cannot_open(path, strerror(errno), err);
    }
    if (got > FILE_MAX) {
        return kb_fail(err, KB_E_USAGE, KB_INTAKE, path,
                       "too large for a job file (at most 1 MiB; is it the right file?)");
    }
    text[got] = '\0';
    if (memchr(text, '\0', got) != NULL) {
        return kb_fail(err, KB_E_USAGE, KB_INTAKE, path,
                       "not a text file (save it as UTF-8 text in an editor)");
    }
    return KB_OK;
}

/* The whole file and a NUL into `text` of FILE_MAX + 1 bytes. */
static enum kb_status load(const char *path, char *text, struct kb_err *err) {
    struct stat about;
    if (stat(path, &about) != 0) {
        return cannot_open(path, strerror(errno), err);
    }
    if (!S_ISREG(about.st_mode)) { /* a pipe could block for ever */
        return cannot_open(path, "not a regular file", err);
    }
    FILE *stream = fopen(path, "re");
    if (stream == NULL) {
        return cannot_open(path, strerror(errno), err);
    }
    enum kb_status status = load_stream(stream, path, text, err);
    (void)fclose(stream);
    return status;
}

static enum kb_status parse(struct kb_job *job, const char *text, struct kb_err *err) {
    static const char mark[] = "\xef\xbb\xbf"; /* byte order mark in UTF-8 */
    struct parsing parsing = {.job = job, .err = err, .next = text};
    if (strncmp(text, mark, sizeof mark - 1) == 0) {
        parsing.next += sizeof mark - 1;
    }
    const int first_bad = ini_parse_stream(next_line, &parsing, on_entry, &parsing);
    if (parsing.status == KB_OK && first_bad != 0) {
        parsing.line = first_bad;
        (void)bad_line(&parsing, "neither a [section] nor key = value nor a comment");
    }
    return parsing.status;
}

enum kb_status kb_job_read(const char *path, struct kb_job *job, struct kb_err *err) {
    *job = (struct kb_job){.path = kb_copy_string(path)};
    char *text = kb_alloc(FILE_MAX + 1, 1);
    enum kb_status status = KB_E_MEMORY;
    if (job->path == NULL || text == NULL) {
        status = kb_fail_memory(err, KB_INTAKE, FILE_MAX + 1);
    } else {
        status = load(path, text, err);
        if (status == KB_OK) {
            status = parse(job, text, err);
        }
    }
    kb_free(text);
    if (status != KB_OK) {
        kb_job_release(job);
    }
    return status;
}

void kb_job_release(struct kb_job *job) {
    for (size_t i = 0; i < job->count; i++) {
        release_entry(&job->entry[i]);
    }
    kb_free(job->entry);
    kb_free(job->path);
    *job = (struct kb_job){NULL, NULL, 0, 0};
}
