/* register.c - the file of the register: opened, made, looked over, and what it may refuse.
 *
 * SQLite with its rollback journal rather than the write-ahead log: a register often lies on a
 * shared folder, where the log does not work. Every addition is one transaction that takes the
 * writer's lock at its beginning, and waits for others up to half a minute. A file that is no
 * register is left untouched: application id, schema version and a check of all pages come before
 * anything is written.
 */
#include "register_priv.h"

#include <errno.h>
#include <sqlite3.h>
#include <string.h>
#include <sys/stat.h>

#define STAGE "register"

/* "KBRG" in the file's head tells it from other programs' files (sqlite.org, PRAGMA
 * application_id).
 */
enum { APPLICATION_ID = 0x4b425247, SCHEMA_VERSION = 1, WAIT_MS = 30000 };

static const char schema[] =
    "CREATE TABLE result("
    " id INTEGER PRIMARY KEY, specimen TEXT NOT NULL, batch TEXT NOT NULL, casting TEXT NOT NULL,"
    " material TEXT NOT NULL, operator TEXT NOT NULL, cast_on TEXT NOT NULL,"
    " measured_at TEXT NOT NULL, measured_s INTEGER NOT NULL, added_at TEXT NOT NULL,"
    " version TEXT NOT NULL, fields INTEGER NOT NULL, verdict TEXT NOT NULL,"
    " pictures_sha256 TEXT NOT NULL, settings_sha256 TEXT NOT NULL,"
    " figures_sha256 TEXT NOT NULL, digest TEXT NOT NULL UNIQUE,"
    " superseded_by INTEGER REFERENCES result(id));\n"
    /* at most one result of the same pictures of a specimen is in force */
    "CREATE UNIQUE INDEX result_in_force ON result(specimen, batch, pictures_sha256)"
    " WHERE superseded_by IS NULL;\n"
    "CREATE INDEX result_casting ON result(casting);\n"
    "CREATE INDEX result_pictures ON result(pictures_sha256);\n"
    "CREATE TABLE figure("
    " result INTEGER NOT NULL REFERENCES result(id), quantity TEXT NOT NULL, value REAL, lo REAL,"
    " hi REAL, s REAL, n INTEGER NOT NULL, unit TEXT NOT NULL, low REAL, high REAL,"
    " outcome TEXT NOT NULL, PRIMARY KEY(result, quantity)) WITHOUT ROWID;\n"
    "CREATE TABLE setting("
    " result INTEGER NOT NULL REFERENCES result(id), place INTEGER NOT NULL, name TEXT NOT NULL,"
    " value TEXT NOT NULL, origin TEXT NOT NULL, PRIMARY KEY(result, place)) WITHOUT ROWID;\n"
    "CREATE TABLE picture("
    " result INTEGER NOT NULL REFERENCES result(id), place INTEGER NOT NULL, file TEXT NOT NULL,"
    " sha256 TEXT NOT NULL, page INTEGER NOT NULL, contrast TEXT NOT NULL,"
    " PRIMARY KEY(result, place)) WITHOUT ROWID;\n"
    "CREATE TABLE stretch("
    " casting TEXT NOT NULL, begins TEXT NOT NULL, words TEXT NOT NULL,"
    " PRIMARY KEY(casting, begins)) WITHOUT ROWID;\n";

enum kb_status kb_register_refused(const struct kb_register *reg, struct kb_err *err) {
    const int code = sqlite3_errcode(reg->db) & 0xff; /* without the extension */
    switch (code) {
    case SQLITE_NOMEM:
        return kb_fail_memory(err, STAGE, 0);
    case SQLITE_NOTADB:
        return kb_fail(err, KB_E_INPUT, STAGE, reg->path,
                       "is no register of results, and was left untouched (name another file)");
    case SQLITE_CORRUPT:
        return kb_fail(err, KB_E_INPUT, STAGE, reg->path,
                       "is damaged, and was left untouched (put back a copy of it)");
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return kb_fail(err, KB_E_SYSTEM, STAGE, reg->path,
                       "is held by another program (try again when it has ended)");
    case SQLITE_FULL:
        return kb_fail(err, KB_E_SYSTEM, STAGE, reg->path,
                       "nothing was added: the disk is full (make room and add again)");
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return kb_fail(err, KB_E_SYSTEM, STAGE, reg->path,
                       "cannot be written (check the permissions of file and folder)");
    case SQLITE_CANTOPEN:
        return kb_fail(err, KB_E_SYSTEM, STAGE, reg->path,
                       "cannot be opened (check folder and permissions)");
    default:
        return kb_fail(err, KB_E_SYSTEM, STAGE, reg->path, "nothing was added: %s (check the disk)",
                       sqlite3_errmsg(reg->db));
    }
}

enum kb_status kb_register_do(struct kb_register *reg, const char *sql, struct kb_err *err) {
    return sqlite3_exec(reg->db, sql, NULL, NULL, NULL) == SQLITE_OK
               ? KB_OK
               : kb_register_refused(reg, err);
}

enum kb_status kb_register_ask(struct kb_register *reg, const char *sql,
                               struct sqlite3_stmt **statement, struct kb_err *err) {
    return sqlite3_prepare_v2(reg->db, sql, -1, statement, NULL) == SQLITE_OK
               ? KB_OK
               : kb_register_refused(reg, err);
}

enum kb_status kb_register_step(struct kb_register *reg, struct sqlite3_stmt *statement, bool *row,
                                struct kb_err *err) {
    const int code = sqlite3_step(statement);
    *row = code == SQLITE_ROW;
    return *row || code == SQLITE_DONE ? KB_OK : kb_register_refused(reg, err);
}

/* The first column of the first row as a number and, where asked for, as text. */
static enum kb_status ask_one(struct kb_register *reg, const char *sql, int *number, char *text,
                              size_t size, struct kb_err *err) {
    struct sqlite3_stmt *statement = NULL;
    bool row = false;
    enum kb_status status = kb_register_ask(reg, sql, &statement, err);
    if (status == KB_OK) {
        status = kb_register_step(reg, statement, &row, err);
    }
    if (status == KB_OK && row) {
        *number = sqlite3_column_int(statement, 0);
        const unsigned char *said = sqlite3_column_text(statement, 0);
        if (text != NULL && said != NULL) {
            (void)snprintf(text, size, "%s", (const char *)said);
        }
    }
    (void)sqlite3_finalize(statement);
    return status;
}

/* ---- whose file it is ---- */

struct head {
    int application, version, tables;
};

static enum kb_status look(struct kb_register *reg, struct head *head, struct kb_err *err) {
    *head = (struct head){0, 0, 0};
    enum kb_status status = ask_one(reg, "PRAGMA application_id", &head->application, NULL, 0, err);
    if (status == KB_OK) {
        status = ask_one(reg, "PRAGMA user_version", &head->version, NULL, 0, err);
    }
    return status == KB_OK
               ? ask_one(reg, "SELECT count(*) FROM sqlite_master", &head->tables, NULL, 0, err)
               : status;
}

static bool is_blank(const struct head *head) {
    return head->application == 0 && head->version == 0 && head->tables == 0;
}

static enum kb_status make(struct kb_register *reg, struct kb_err *err) {
    char mark[100];
    struct head head;
    (void)snprintf(mark, sizeof mark, "PRAGMA application_id = %d; PRAGMA user_version = %d",
                   APPLICATION_ID, SCHEMA_VERSION);
    enum kb_status status = kb_register_begin(reg, err);
    if (status == KB_OK) {
        status = look(reg, &head, err); /* another program may have made it meanwhile */
    }
    if (status == KB_OK && is_blank(&head)) {
        status = kb_register_do(reg, schema, err);
        if (status == KB_OK) {
            status = kb_register_do(reg, mark, err);
        }
    }
    if (status == KB_OK) {
        status = kb_register_commit(reg, err);
    }
    kb_register_rollback(reg);
    return status;
}

static enum kb_status check(struct kb_register *reg, struct kb_err *err) {
    struct head head;
    char verdict[80] = "";
    int number = 0;
    enum kb_status status = look(reg, &head, err);
    if (status == KB_OK && is_blank(&head) && reg->write) {
        status = make(reg, err);
        if (status == KB_OK) {
            status = look(reg, &head, err);
        }
    }
    if (status != KB_OK) {
        return status;
    }
    if (is_blank(&head)) {
        return kb_fail(err, KB_E_INPUT, STAGE, reg->path, "is empty (add results first)");
    }
    if (head.application != APPLICATION_ID) {
        return kb_fail(err, KB_E_INPUT, STAGE, reg->path,
                       "is a database of another program, and was left untouched (name another "
                       "file)");
    }
    if (head.version != SCHEMA_VERSION) {
        return kb_fail(err, KB_E_INPUT, STAGE, reg->path,
                       "was written by a later version, and was left untouched (use that version)");
    }
    status = ask_one(reg, "PRAGMA quick_check(1)", &number, verdict, sizeof verdict, err);
    return status != KB_OK || strcmp(verdict, "ok") == 0
               ? status
               : kb_fail(err, KB_E_INPUT, STAGE, reg->path,
                         "is damaged, and was left untouched (put back a copy of it)");
}

/* ---- opening ---- */

static enum kb_status connect(struct kb_register *reg, struct kb_err *err) {
    const int flags =
        reg->write ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE : SQLITE_OPEN_READONLY;
    const int code = sqlite3_open_v2(reg->path, &reg->db, flags, NULL);
    if (reg->db == NULL) {
        return kb_fail_memory(err, STAGE, 0);
    }
    if (code != SQLITE_OK) {
        return kb_register_refused(reg, err);
    }
    (void)sqlite3_busy_timeout(reg->db, WAIT_MS);
    /* nothing that a foreign file may hold is run */
    return kb_register_do(reg, "PRAGMA trusted_schema = OFF; PRAGMA foreign_keys = ON", err);
}

static enum kb_status check_path(const char *path, bool write, struct kb_err *err) {
    struct stat info;
    if (path[0] == '\0' || path[0] == ':') { /* SQLite would keep it in memory */
        return kb_fail(err, KB_E_USAGE, STAGE, path, "is no file name (name the register's file)");
    }
    if (stat(path, &info) == 0) {
        return S_ISREG(info.st_mode)
                   ? KB_OK
                   : kb_fail(err, KB_E_USAGE, STAGE, path, "is no file (name the register's file)");
    }
    return write ? KB_OK
                 : kb_fail(err, KB_E_INPUT, STAGE, path, "cannot be read: %s (check the name)",
                           strerror(errno));
}

enum kb_status kb_register_open(const char *path, bool write, struct kb_register **reg,
                                struct kb_err *err) {
    *reg = NULL;
    enum kb_status status = check_path(path, write, err);
    if (status != KB_OK) {
        return status;
    }
    struct kb_register *fresh = kb_alloc_zero(1, sizeof *fresh);
    if (fresh == NULL) {
        return kb_fail_memory(err, STAGE, sizeof *fresh);
    }
    fresh->write = write;
    fresh->path = kb_copy_string(path);
    status = fresh->path != NULL ? connect(fresh, err) : kb_fail_memory(err, STAGE, strlen(path));
    if (status == KB_OK) {
        status = check(fresh, err);
    }
    if (status != KB_OK) {
        kb_register_close(fresh);
        return status;
    }
    *reg = fresh;
    return KB_OK;
}

void kb_register_close(struct kb_register *reg) {
    if (reg != NULL) {
        (void)sqlite3_close(reg->db);
        kb_free(reg->path);
        kb_free(reg);
    }
}

const char *kb_register_path(const struct kb_register *reg) {
    return reg->path;
}

/* ---- transactions ---- */

enum kb_status kb_register_begin(struct kb_register *reg, struct kb_err *err) {
    return kb_register_do(reg, "BEGIN IMMEDIATE", err);
}

enum kb_status kb_register_commit(struct kb_register *reg, struct kb_err *err) {
    return kb_register_do(reg, "COMMIT", err);
}

void kb_register_rollback(struct kb_register *reg) {
    if (reg->db != NULL && sqlite3_get_autocommit(reg->db) == 0) {
        (void)sqlite3_exec(reg->db, "ROLLBACK", NULL, NULL, NULL);
    }
}
