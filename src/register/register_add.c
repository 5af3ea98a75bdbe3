/* register_add.c - a result into the register: known already, new, or in the place of another.
 *
 * A result is known by its digest. One of the same pictures of the same specimen with another
 * digest was measured with other settings, decisions or version: the one measured later is in
 * force, the other is kept and says by which it is superseded. That holds whichever is added first,
 * so that results can be gathered from several machines in any order.
 */
#include "register_priv.h"

#include <sqlite3.h>
#include <string.h>

#define STAGE "register"

/* ---- statements ---- */

static void bind_text(struct sqlite3_stmt *statement, int place, const char *text) {
    (void)sqlite3_bind_text(statement, place, text, -1, SQLITE_STATIC);
}

/* All of `text`, then step once. */
static enum kb_status run(struct kb_register *reg, struct sqlite3_stmt *statement, bool *row,
                          struct kb_err *err) {
    bool any = false;
    enum kb_status status = kb_register_step(reg, statement, &any, err);
    if (row != NULL) {
        *row = any;
    }
    return status;
}

/* ---- what is there already ---- */

static enum kb_status find_known(struct kb_register *reg, const struct kb_entry *entry,
                                 const char *name, struct kb_register_added *added,
                                 struct kb_err *err) {
    struct sqlite3_stmt *statement = NULL;
    bool row = false;
    enum kb_status status = kb_register_ask(
        reg, "SELECT id, figures_sha256 FROM result WHERE digest = ?1", &statement, err);
    if (status == KB_OK) {
        bind_text(statement, 1, entry->digest);
        status = run(reg, statement, &row, err);
    }
    if (status == KB_OK && row) {
        const char *figures = (const char *)sqlite3_column_text(statement, 1);
        added->id = sqlite3_column_int64(statement, 0);
        if (figures == NULL || strcmp(figures, entry->figures_sha256) != 0) {
            status =
                kb_fail(err, KB_E_INPUT, STAGE, name,
                        "has other figures than result %lld of the same pictures, settings and "
                        "version, so one of them was altered (measure again)",
                        (long long)added->id);
        }
    }
    (void)sqlite3_finalize(statement);
    return status;
}

/* The result in force of the same pictures of the same specimen. */
static enum kb_status find_other(struct kb_register *reg, const struct kb_entry *entry,
                                 int64_t *other, bool *later, struct kb_err *err) {
    struct sqlite3_stmt *statement = NULL;
    bool row = false;
    enum kb_status status =
        kb_register_ask(reg,
                        "SELECT id, measured_s FROM result WHERE specimen = ?1 AND batch = ?2 AND "
                        "pictures_sha256 = ?3 AND superseded_by IS NULL",
                        &statement, err);
    if (status == KB_OK) {
        bind_text(statement, 1, entry->specimen);
        bind_text(statement, 2, entry->batch);
        bind_text(statement, 3, entry->pictures_sha256);
        status = run(reg, statement, &row, err);
    }
    if (status == KB_OK && row) {
        *other = sqlite3_column_int64(statement, 0);
        *later = sqlite3_column_int64(statement, 1) > entry->measured_s;
    }
    (void)sqlite3_finalize(statement);
    return status;
}

static enum kb_status find_same_pictures(struct kb_register *reg, const struct kb_entry *entry,
                                         struct kb_register_added *added, struct kb_err *err) {
    struct sqlite3_stmt *statement = NULL;
    bool row = false;
    enum kb_status status = kb_register_ask(
        reg,
        "SELECT specimen || CASE batch WHEN '' THEN '' ELSE ' of batch ' || batch END FROM result "
        "WHERE pictures_sha256 = ?1 AND (specimen <> ?2 OR batch <> ?3) AND superseded_by IS NULL",
        &statement, err);
    if (status == KB_OK) {
        bind_text(statement, 1, entry->pictures_sha256);
        bind_text(statement, 2, entry->specimen);
        bind_text(statement, 3, entry->batch);
        status = run(reg, statement, &row, err);
    }
    if (status == KB_OK && row) {
        (void)snprintf(added->same_pictures, sizeof added->same_pictures, "%s",
                       (const char *)sqlite3_column_text(statement, 0));
    }
    (void)sqlite3_finalize(statement);
    return status;
}

/* ---- what is new ---- */

/* `by`: the result that supersedes it; 0: in force. */
static enum kb_status insert_result(struct kb_register *reg, const struct kb_entry *entry,
                                    int64_t by, int64_t *id, struct kb_err *err) {
    const char *const word[] = {
        entry->specimen,        entry->batch,           entry->casting,
        entry->material,        entry->operator_name,   entry->cast_on,
        entry->measured_at,     entry->version,         kb_outcome_name(entry->verdict),
        entry->pictures_sha256, entry->settings_sha256, entry->figures_sha256,
        entry->digest,
    };
    enum { WORDS = sizeof word / sizeof word[0] };
    struct sqlite3_stmt *statement = NULL;
    enum kb_status status = kb_register_ask(
        reg,
        "INSERT INTO result(specimen, batch, casting, material, operator, cast_on, measured_at, "
        "version, verdict, pictures_sha256, settings_sha256, figures_sha256, digest, measured_s, "
        "fields, superseded_by, added_at) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, "
        "?12, ?13, ?14, ?15, ?16, strftime('%Y-%m-%dT%H:%M:%SZ', 'now'))",
        &statement, err);
    if (status == KB_OK) {
        for (int i = 0; i < WORDS; i++) {
            bind_text(statement, i + 1, word[i]);
        }
        (void)sqlite3_bind_int64(statement, WORDS + 1, entry->measured_s);
        (void)sqlite3_bind_int64(statement, WORDS + 2, (sqlite3_int64)entry->pictures);
        if (by != 0) {
            (void)sqlite3_bind_int64(statement, WORDS + 3, by);
        }
        status = run(reg, statement, NULL, err);
        *id = sqlite3_last_insert_rowid(reg->db);
    }
    (void)sqlite3_finalize(statement);
    return status;
}

static void bind_figure(struct sqlite3_stmt *statement, const struct kb_register_figure *figure) {
    const double number[] = {figure->value, figure->lo,  figure->hi,
                             figure->s,     figure->low, figure->high};
    bind_text(statement, 2, kb_quantity_name(figure->quantity));
    bind_text(statement, 3, kb_quantity_unit(figure->quantity));
    bind_text(statement, 4, kb_outcome_name(figure->outcome));
    (void)sqlite3_bind_int64(statement, 5, (sqlite3_int64)figure->n);
    for (int i = 0; i < 6; i++) { /* NaN becomes NULL: SQLite knows no NaN */
        (void)sqlite3_bind_double(statement, 6 + i, number[i]);
    }
}

static void bind_setting(struct sqlite3_stmt *statement, const struct kb_entry_setting *setting) {
    bind_text(statement, 3, setting->name);
    bind_text(statement, 4, setting->value);
    bind_text(statement, 5, setting->origin);
}

static void bind_picture(struct sqlite3_stmt *statement, const struct kb_entry_picture *picture) {
    bind_text(statement, 3, picture->file);
    bind_text(statement, 4, picture->sha256);
    bind_text(statement, 5, picture->contrast);
    (void)sqlite3_bind_int64(statement, 6, picture->page);
}

enum part { FIGURES, SETTINGS, PICTURES, PARTS };

static enum kb_status insert_part(struct kb_register *reg, const struct kb_entry *entry, int64_t id,
                                  enum part part, struct kb_err *err) {
    static const char *const sql[PARTS] = {
        [FIGURES] = "INSERT INTO figure(result, quantity, unit, outcome, n, value, lo, hi, s, low, "
                    "high) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        [SETTINGS] = "INSERT INTO setting(result, place, name, value, origin) VALUES(?1, ?2, ?3, "
                     "?4, ?5)",
        [PICTURES] = "INSERT INTO picture(result, place, file, sha256, contrast, page) VALUES(?1, "
                     "?2, ?3, ?4, ?5, ?6)",
    };
    const size_t count[PARTS] = {entry->figures, entry->settings, entry->pictures};
    struct sqlite3_stmt *statement = NULL;
    enum kb_status status = kb_register_ask(reg, sql[part], &statement, err);
    for (size_t i = 0; i < count[part] && status == KB_OK; i++) {
        (void)sqlite3_bind_int64(statement, 1, id);
        if (part != FIGURES) {
            (void)sqlite3_bind_int64(statement, 2, (sqlite3_int64)i + 1);
        }
        if (part == FIGURES) {
            bind_figure(statement, &entry->figure[i]);
        } else if (part == SETTINGS) {
            bind_setting(statement, &entry->setting[i]);
        } else {
            bind_picture(statement, &entry->picture[i]);
        }
        status = run(reg, statement, NULL, err);
        (void)sqlite3_reset(statement);
    }
    (void)sqlite3_finalize(statement);
    return status;
}

/* `by` 0: in force again. */
static enum kb_status supersede(struct kb_register *reg, int64_t id, int64_t by,
                                struct kb_err *err) {
    struct sqlite3_stmt *statement = NULL;
    enum kb_status status = kb_register_ask(
        reg, "UPDATE result SET superseded_by = nullif(?2, 0) WHERE id = ?1", &statement, err);
    if (status == KB_OK) {
        (void)sqlite3_bind_int64(statement, 1, id);
        (void)sqlite3_bind_int64(statement, 2, by);
        status = run(reg, statement, NULL, err);
    }
    (void)sqlite3_finalize(statement);
    return status;
}

static enum kb_status insert(struct kb_register *reg, const struct kb_entry *entry,
                             struct kb_register_added *added, struct kb_err *err) {
    bool later = false;
    enum kb_status status = find_other(reg, entry, &added->other, &later, err);
    if (status == KB_OK) { /* two of the same in force at once are against the index */
        status = insert_result(reg, entry, added->other, &added->id, err);
    }
    for (int part = 0; part < PARTS && status == KB_OK; part++) {
        status = insert_part(reg, entry, added->id, (enum part)part, err);
    }
    added->news = added->other == 0 ? KB_NEWS_ADDED
                  : later           ? KB_NEWS_SUPERSEDED
                                    : KB_NEWS_SUPERSEDES;
    if (status == KB_OK && added->news == KB_NEWS_SUPERSEDES) {
        status = supersede(reg, added->other, added->id, err);
        if (status == KB_OK) {
            status = supersede(reg, added->id, 0, err);
        }
    }
    return status == KB_OK ? find_same_pictures(reg, entry, added, err) : status;
}

enum kb_status kb_register_add(struct kb_register *reg, const char *json, size_t length,
                               const char *name, const char *batch, const char *measured_at,
                               struct kb_register_added *added, struct kb_err *err) {
    const struct kb_entry_source source = {json, name, batch, measured_at, length};
    struct kb_entry entry;
    *added = (struct kb_register_added){.news = KB_NEWS_KNOWN};
    enum kb_status status = kb_entry_read(&source, &entry, err);
    if (status != KB_OK) {
        return status;
    }
    const bool own = sqlite3_get_autocommit(reg->db) != 0; /* no transaction of the caller's */
    status = own ? kb_register_begin(reg, err) : KB_OK;
    if (status == KB_OK) {
        status = find_known(reg, &entry, name, added, err);
    }
    if (status == KB_OK && added->id == 0) {
        status = insert(reg, &entry, added, err);
    }
    if (own && status == KB_OK) {
        status = kb_register_commit(reg, err);
    }
    if (own) {
        kb_register_rollback(reg);
    }
    kb_entry_release(&entry);
    return status;
}

enum kb_status kb_register_stretch(struct kb_register *reg, const char *casting, const char *date,
                                   const char *words, struct kb_err *err) {
    int64_t seconds = 0;
    if (casting[0] == '\0' || !kb_register_date(date, &seconds)) {
        return kb_fail(err, KB_E_USAGE, STAGE, date,
                       "a stretch takes a casting and a day (as 2026-03-04)");
    }
    struct sqlite3_stmt *statement = NULL;
    enum kb_status status =
        kb_register_ask(reg,
                        "INSERT INTO stretch(casting, begins, words) VALUES(?1, ?2, ?3) "
                        "ON CONFLICT(casting, begins) DO UPDATE SET words = excluded.words",
                        &statement, err);
    if (status == KB_OK) {
        bind_text(statement, 1, casting);
        bind_text(statement, 2, date);
        bind_text(statement, 3, words);
        status = run(reg, statement, NULL, err);
    }
    (void)sqlite3_finalize(statement);
    return status;
}
