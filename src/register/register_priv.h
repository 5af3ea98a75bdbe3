/* register_priv.h - what the files of this stage share. */
#ifndef KB_REGISTER_PRIV_H
#define KB_REGISTER_PRIV_H

#include "keelblock/register.h"

/* ---- charts ------------------------------------------------------------------------------------
 */

/* chart_rules.c: which rules the points of a stretch with limits break. */
void kb_chart_rules(struct kb_chart *chart, const struct kb_chart_stretch *stretch);
/* chart_trend.c: the line through the latest castings of the last stretch. */
void kb_chart_trend_run(struct kb_chart *chart);
/* chart_words.c: what the chart says, as findings. */
KB_NODISCARD enum kb_status kb_chart_words(struct kb_chart *chart, struct kb_err *err);

/* ---- the file ----------------------------------------------------------------------------------
 */

struct sqlite3;
struct sqlite3_stmt;

struct kb_register {
    struct sqlite3 *db;
    char *path;
    bool write;
};

/* What the database refused, as an error that says what to do. */
enum kb_status kb_register_refused(const struct kb_register *reg, struct kb_err *err);
KB_NODISCARD enum kb_status kb_register_do(struct kb_register *reg, const char *sql,
                                           struct kb_err *err);
KB_NODISCARD enum kb_status kb_register_ask(struct kb_register *reg, const char *sql,
                                            struct sqlite3_stmt **statement, struct kb_err *err);
/* One step: *row tells whether there is one. */
KB_NODISCARD enum kb_status kb_register_step(struct kb_register *reg,
                                             struct sqlite3_stmt *statement, bool *row,
                                             struct kb_err *err);

/* ---- a result.json (entry_json.c) --------------------------------------------------------------
 */

struct kb_entry_setting {
    const char *name, *value, *origin; /* views into the document */
};
struct kb_entry_picture {
    const char *file, *sha256, *contrast;
    int64_t page;
    double px_um;
};

/* A result on its way into the register. Strings are views into the document. */
struct kb_entry {
    void *document; /* owned */
    const char *specimen, *batch, *casting, *material, *operator_name, *cast_on, *measured_at,
        *version;
    enum kb_outcome verdict;
    struct kb_entry_setting *setting; /* in the order of their names */
    size_t settings;
    struct kb_entry_picture *picture;
    size_t pictures;
    struct kb_register_figure figure[KB_QUANTITIES];
    size_t figures;
    int64_t measured_s; /* seconds since 1970 */
    char pictures_sha256[65], settings_sha256[65], figures_sha256[65];
    char digest[65]; /* of specimen, batch, pictures, settings and version */
};

struct kb_entry_source {
    const char *json, *name, *batch, *measured_at; /* see kb_register_add() */
    size_t length;
};
KB_NODISCARD enum kb_status kb_entry_read(const struct kb_entry_source *source,
                                          struct kb_entry *entry, struct kb_err *err);
void kb_entry_release(struct kb_entry *entry);

#endif
