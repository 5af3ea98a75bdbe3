/* register_read.c - out of the register: results in the order of casting, castings, charts.
 *
 * The order is that of the day on which the castings were poured where it is stated, else of the
 * time of measurement, and of addition within the same; days stand before times of the same day.
 */
#include "register_priv.h"

#include <sqlite3.h>
#include <string.h>

#define STAGE "register"
#define ORDER " ORDER BY CASE r.cast_on WHEN '' THEN r.measured_at ELSE r.cast_on END, r.id"

/* A text of the row in new memory, NULL when memory runs out. */
static char *text_at(struct sqlite3_stmt *row, int column) {
    const unsigned char *text = sqlite3_column_text(row, column);
    return kb_copy_string(text != NULL ? (const char *)text : "");
}

static double number_at(struct sqlite3_stmt *row, int column) {
    return sqlite3_column_type(row, column) == SQLITE_NULL ? (double)NAN
                                                           : sqlite3_column_double(row, column);
}

static enum kb_outcome outcome_at(struct sqlite3_stmt *row, int column) {
    const char *name = (const char *)sqlite3_column_text(row, column);
    for (int i = KB_OUTCOME_NONE; name != NULL && i <= KB_UNDECIDED; i++) {
        if (strcmp(name, kb_outcome_name((enum kb_outcome)i)) == 0) {
            return (enum kb_outcome)i;
        }
    }
    return KB_OUTCOME_NONE;
}

/* KB_QUANTITIES: of a name that is not known here. */
static enum kb_quantity quantity_at(struct sqlite3_stmt *row, int column) {
    const char *name = (const char *)sqlite3_column_text(row, column);
    int i = 0;
    while (i < KB_QUANTITIES &&
           (name == NULL || strcmp(name, kb_quantity_name((enum kb_quantity)i)) != 0)) {
        i++;
    }
    return (enum kb_quantity)i;
}

/* ---- the list ---- */

static void entry_release(struct kb_register_entry *entry) {
    char *const word[] = {entry->specimen,      entry->batch,           entry->casting,
                          entry->material,      entry->cast_on,         entry->measured_at,
                          entry->operator_name, entry->added_at,        entry->version,
                          entry->digest,        entry->pictures_sha256, entry->settings_sha256};
    for (size_t i = 0; i < sizeof word / sizeof word[0]; i++) {
        kb_free(word[i]);
    }
    kb_free(entry->figure);
}

void kb_register_list_release(struct kb_register_list *list) {
    for (size_t i = 0; i < list->count; i++) {
        entry_release(&list->entry[i]);
    }
    kb_free(list->entry);
    *list = (struct kb_register_list){.count = 0};
}

static enum kb_status take_entry(struct sqlite3_stmt *row, struct kb_register_list *list,
                                 struct kb_err *err) {
    void *items = list->entry;
    if (!kb_grow(&items, list->count, &list->capacity, sizeof *list->entry)) {
        return kb_fail_memory(err, STAGE, sizeof *list->entry);
    }
    list->entry = items;
    struct kb_register_entry *entry = &list->entry[list->count++];
    *entry = (struct kb_register_entry){.id = sqlite3_column_int64(row, 0),
                                        .superseded_by = sqlite3_column_int64(row, 1),
                                        .fields = (size_t)sqlite3_column_int64(row, 2),
                                        .verdict = outcome_at(row, 3)};
    char **const word[] = {&entry->specimen,    &entry->batch,           &entry->casting,
                           &entry->material,    &entry->operator_name,   &entry->cast_on,
                           &entry->measured_at, &entry->added_at,        &entry->version,
                           &entry->digest,      &entry->pictures_sha256, &entry->settings_sha256};
    bool copied = true;
    for (int i = 0; i < (int)(sizeof word / sizeof word[0]); i++) {
        *word[i] = text_at(row, 4 + i);
        copied = copied && *word[i] != NULL;
    }
    entry->figure = kb_alloc_zero(KB_QUANTITIES, sizeof *entry->figure);
    return copied && entry->figure != NULL ? KB_OK : kb_fail_memory(err, STAGE, 1);
}

static struct kb_register_figure figure_at(struct sqlite3_stmt *row, enum kb_quantity quantity) {
    return (struct kb_register_figure){
        .quantity = quantity,
        .value = number_at(row, 1),
        .lo = number_at(row, 2),
        .hi = number_at(row, 3),
        .s = number_at(row, 4),
        .n = (size_t)sqlite3_column_int64(row, 5),
        .low = number_at(row, 6),
        .high = number_at(row, 7),
        .outcome = outcome_at(row, 8),
    };
}

/* In the order of enum kb_quantity, whatever that of the rows. */
static enum kb_status take_figures(struct kb_register *reg, struct sqlite3_stmt *row,
                                   struct kb_register_entry *entry, struct kb_err *err) {
    struct kb_register_figure found[KB_QUANTITIES];
    bool there[KB_QUANTITIES] = {false};
    bool any = true;
    enum kb_status status = KB_OK;
    (void)sqlite3_reset(row);
    (void)sqlite3_bind_int64(row, 1, entry->id);
    while (status == KB_OK && any) {
        status = kb_register_step(reg, row, &any, err);
        const enum kb_quantity quantity =
            status == KB_OK && any ? quantity_at(row, 0) : KB_QUANTITIES;
        if (quantity < KB_QUANTITIES) {
            found[quantity] = figure_at(row, quantity);
            there[quantity] = true;
        }
    }
    for (int i = 0; i < KB_QUANTITIES; i++) {
        if (there[i]) {
            entry->figure[entry->figures++] = found[i];
        }
    }
    return status;
}

static enum kb_status read_figures(struct kb_register *reg, struct kb_register_list *list,
                                   struct kb_err *err) {
    struct sqlite3_stmt *row = NULL;
    enum kb_status status =
        kb_register_ask(reg,
                        "SELECT quantity, value, lo, hi, s, n, low, high, outcome FROM figure "
                        "WHERE result = ?1",
                        &row, err);
    for (size_t i = 0; i < list->count && status == KB_OK; i++) {
        status = take_figures(reg, row, &list->entry[i], err);
    }
    (void)sqlite3_finalize(row);
    return status;
}

enum kb_status kb_register_list(struct kb_register *reg, const char *casting, bool superseded,
                                struct kb_register_list *list, struct kb_err *err) {
    struct sqlite3_stmt *row = NULL;
    bool any = true;
    *list = (struct kb_register_list){.count = 0};
    enum kb_status status = kb_register_ask(
        reg,
        "SELECT id, superseded_by, fields, verdict, specimen, batch, casting, material, operator, "
        "cast_on, measured_at, added_at, version, digest, pictures_sha256, settings_sha256 "
        "FROM result AS r WHERE (?1 IS NULL OR casting = ?1) AND (?2 OR superseded_by IS "
        "NULL)" ORDER,
        &row, err);
    if (status == KB_OK) {
        (void)sqlite3_bind_text(row, 1, casting, -1, SQLITE_STATIC);
        (void)sqlite3_bind_int(row, 2, superseded ? 1 : 0);
    }
    while (status == KB_OK && any) {
        status = kb_register_step(reg, row, &any, err);
        if (status == KB_OK && any) {
            status = take_entry(row, list, err);
        }
    }
    (void)sqlite3_finalize(row);
    if (status == KB_OK) {
        status = read_figures(reg, list, err);
    }
    if (status != KB_OK) {
        kb_register_list_release(list);
    }
    return status;
}

/* ---- castings ---- */

void kb_register_castings_release(struct kb_register_castings *castings) {
    for (size_t i = 0; i < castings->count; i++) {
        kb_free(castings->item[i].name);
    }
    kb_free(castings->item);
    *castings = (struct kb_register_castings){.count = 0};
}

/* The casting of the row, which are in the order of their names. */
static enum kb_status casting_at(struct sqlite3_stmt *row, struct kb_register_castings *castings,
                                 struct kb_err *err) {
    const char *name = (const char *)sqlite3_column_text(row, 0);
    name = name != NULL ? name : "";
    if (castings->count > 0 && strcmp(castings->item[castings->count - 1].name, name) == 0) {
        return KB_OK;
    }
    void *items = castings->item;
    char *copy = kb_copy_string(name);
    if (copy == NULL ||
        !kb_grow(&items, castings->count, &castings->capacity, sizeof *castings->item)) {
        kb_free(copy);
        return kb_fail_memory(err, STAGE, sizeof *castings->item);
    }
    castings->item = items;
    castings->item[castings->count++] =
        (struct kb_register_casting){.name = copy, .results = (size_t)sqlite3_column_int64(row, 1)};
    return KB_OK;
}

enum kb_status kb_register_castings(struct kb_register *reg, struct kb_register_castings *castings,
                                    struct kb_err *err) {
    struct sqlite3_stmt *row = NULL;
    bool any = true;
    *castings = (struct kb_register_castings){.count = 0};
    enum kb_status status = kb_register_ask(
        reg,
        "SELECT r.casting, (SELECT count(*) FROM result AS o WHERE o.casting = r.casting AND "
        "o.superseded_by IS NULL), f.quantity, count(f.value), count(f.low) + count(f.high) "
        "FROM result AS r LEFT JOIN figure AS f ON f.result = r.id WHERE r.superseded_by IS NULL "
        "GROUP BY r.casting, f.quantity ORDER BY r.casting",
        &row, err);
    while (status == KB_OK && any) {
        status = kb_register_step(reg, row, &any, err);
        if (status == KB_OK && any) {
            status = casting_at(row, castings, err);
        }
        const enum kb_quantity quantity =
            status == KB_OK && any ? quantity_at(row, 2) : KB_QUANTITIES;
        if (quantity < KB_QUANTITIES) {
            struct kb_register_casting *casting = &castings->item[castings->count - 1];
            casting->measured[quantity] = sqlite3_column_int64(row, 3) > 0;
            casting->limited[quantity] = sqlite3_column_int64(row, 4) > 0;
        }
    }
    (void)sqlite3_finalize(row);
    if (status != KB_OK) {
        kb_register_castings_release(castings);
    }
    return status;
}

/* ---- charts ---- */

static enum kb_status take_point(struct sqlite3_stmt *row, struct kb_chart *chart,
                                 struct kb_err *err) {
    enum kb_status status =
        kb_chart_add(chart, number_at(row, 0), (const char *)sqlite3_column_text(row, 1),
                     (const char *)sqlite3_column_text(row, 3), err);
    if (status != KB_OK) {
        return status;
    }
    struct kb_chart_point *point = &chart->point[chart->points - 1];
    kb_free(point->batch);
    point->batch = text_at(row, 2);
    point->lo = number_at(row, 4);
    point->hi = number_at(row, 5);
    point->low = number_at(row, 6);
    point->high = number_at(row, 7);
    point->outcome = outcome_at(row, 8);
    return point->batch != NULL ? KB_OK : kb_fail_memory(err, STAGE, 1);
}

static enum kb_status read_points(struct kb_register *reg, struct kb_chart *chart,
                                  struct kb_err *err) {
    struct sqlite3_stmt *row = NULL;
    bool any = true;
    enum kb_status status = kb_register_ask(
        reg,
        "SELECT f.value, r.specimen, r.batch, CASE r.cast_on WHEN '' THEN r.measured_at ELSE "
        "r.cast_on END, f.lo, f.hi, f.low, f.high, f.outcome FROM result AS r JOIN figure AS f ON "
        "f.result = r.id WHERE r.casting = ?1 AND f.quantity = ?2 AND f.value IS NOT NULL AND "
        "r.superseded_by IS NULL" ORDER,
        &row, err);
    if (status == KB_OK) {
        (void)sqlite3_bind_text(row, 1, chart->casting, -1, SQLITE_STATIC);
        (void)sqlite3_bind_text(row, 2, kb_quantity_name(chart->quantity), -1, SQLITE_STATIC);
    }
    while (status == KB_OK && any) {
        status = kb_register_step(reg, row, &any, err);
        if (status == KB_OK && any) {
            status = take_point(row, chart, err);
        }
    }
    (void)sqlite3_finalize(row);
    return status;
}

/* The first casting of the day or after it begins the stretch. */
static enum kb_status begin_stretch(struct sqlite3_stmt *row, struct kb_chart *chart,
                                    struct kb_err *err) {
    const char *date = (const char *)sqlite3_column_text(row, 0);
    size_t at = 0;
    while (date != NULL && at < chart->points && strcmp(chart->point[at].date, date) < 0) {
        at++;
    }
    if (date == NULL || at >= chart->points) {
        return KB_OK;
    }
    struct kb_chart_point *point = &chart->point[at];
    kb_free(point->words);
    point->begins = true;
    point->words = text_at(row, 1);
    return point->words != NULL ? KB_OK : kb_fail_memory(err, STAGE, 1);
}

static enum kb_status read_stretches(struct kb_register *reg, struct kb_chart *chart,
                                     struct kb_err *err) {
    struct sqlite3_stmt *row = NULL;
    bool any = true;
    enum kb_status status = kb_register_ask(
        reg, "SELECT begins, words FROM stretch WHERE casting = ?1 ORDER BY begins", &row, err);
    if (status == KB_OK) {
        (void)sqlite3_bind_text(row, 1, chart->casting, -1, SQLITE_STATIC);
    }
    while (status == KB_OK && any) {
        status = kb_register_step(reg, row, &any, err);
        if (status == KB_OK && any) {
            status = begin_stretch(row, chart, err);
        }
    }
    (void)sqlite3_finalize(row);
    return status;
}

enum kb_status kb_register_chart(struct kb_register *reg, const char *casting,
                                 enum kb_quantity quantity, const struct kb_chart_params *params,
                                 struct kb_chart *chart, struct kb_err *err) {
    const struct kb_chart_params usual = kb_chart_params_default(quantity);
    *chart = (struct kb_chart){.quantity = quantity, .casting = kb_copy_string(casting)};
    enum kb_status status =
        chart->casting != NULL ? read_points(reg, chart, err) : kb_fail_memory(err, STAGE, 1);
    if (status == KB_OK) {
        status = read_stretches(reg, chart, err);
    }
    if (status == KB_OK) {
        status = kb_chart_run(chart, params != NULL ? params : &usual, err);
    }
    if (status != KB_OK) {
        kb_chart_release(chart);
    }
    return status;
}
