/* manifest.c - from rows to specimens.
 *
 * Rows of the same batch and specimen belong together, wherever they stand; each adds its fields.
 * What else such rows say must agree, or be left empty in all but one. Every filled cell becomes
 * what an option of the command line would be, so that a specimen of a manifest is understood,
 * checked and recorded as one that is measured alone: its job file first, the manifest over it, the
 * command line over both.
 */
#include "manifest.h"

#include <ctype.h>
#include <string.h>
#include <sys/stat.h>

enum { VALUE_MOST = 512 };

/* One cell on its way. */
struct cell {
    struct kb_manifest *manifest;
    const struct kb_table_row *row;
    size_t index;
    const struct kb_column_here *here;
    const char *text;
};

static enum kb_status bad(const struct cell *cell, const char *what, struct kb_err *err) {
    return kb_manifest_bad_cell(&cell->manifest->table, cell->row, cell->index, what, err);
}

static const char *cell_of(const struct kb_manifest *manifest, const struct kb_table_row *row,
                           enum kb_column_kind kind) {
    for (size_t i = 0; i < row->cells && i < manifest->table.row[0].cells; i++) {
        const struct kb_column *column = manifest->column[i].column;
        if (column != NULL && column->kind == kind) {
            return row->cell[i];
        }
    }
    return "";
}

static bool has_column(const struct kb_manifest *manifest, enum kb_column_kind kind) {
    for (size_t i = 0; i < manifest->table.row[0].cells; i++) {
        const struct kb_column *column = manifest->column[i].column;
        if (column != NULL && column->kind == kind) {
            return true;
        }
    }
    return false;
}

/* ---- values ---- */

/* "Ductile iron" and "ductile_iron" as the option's word. */
static void as_word(const char *text, char *to, size_t size) {
    size_t length = 0;
    for (; text[length] != '\0' && length + 1 < size; length++) {
        const unsigned char c = (unsigned char)text[length];
        to[length] = c == ' ' || c == '_' ? '-' : (char)tolower(c);
    }
    to[length] = '\0';
}

static bool ends_in_digit(const char *text) {
    const size_t length = strlen(text);
    return length > 0 && isdigit((unsigned char)text[length - 1]) != 0;
}

/* Numbers with points; the column's unit behind one that has none. NULL, or what is wrong. */
static const char *as_number(const struct cell *cell, char to[VALUE_MOST]) {
    char plain[VALUE_MOST];
    const char *unit = cell->here->unit;
    const char *wrong =
        kb_decimals_to_point(cell->text, &cell->manifest->decimals, plain, sizeof plain);
    if (wrong != NULL) {
        return wrong;
    }
    const bool bare = unit[0] != '\0' && ends_in_digit(plain);
    const int length = snprintf(to, VALUE_MOST, "%s%s%s", plain, bare ? " " : "", bare ? unit : "");
    return length < VALUE_MOST ? NULL : "too long for a number";
}

static bool is_file(const char *path) {
    struct stat about;
    return stat(path, &about) == 0;
}

/* A path as it was written on another system: back slashes where only slashes lead to a file. */
static void as_path(const char *text, char to[VALUE_MOST]) {
    (void)snprintf(to, VALUE_MOST, "%s", text);
    if (strchr(to, '\\') == NULL || is_file(to)) {
        return;
    }
    for (char *c = to; *c != '\0'; c++) {
        *c = *c == '\\' ? '/' : *c;
    }
}

/* ---- cells that are options ---- */

static const struct kb_assignment *said_before(const struct kb_request *request,
                                               const struct kb_option *option, const char *key) {
    for (size_t i = 0; i < request->assignments; i++) {
        const struct kb_assignment *said = &request->assignment[i];
        if (said->option == option && said->origin == KB_FROM_MANIFEST &&
            strcmp(said->key, key) == 0) {
            return said;
        }
    }
    return NULL;
}

static enum kb_status assign(const struct cell *cell, struct kb_manifest_specimen *specimen,
                             const char *value, struct kb_err *err) {
    const struct kb_column *column = cell->here->column;
    const struct kb_option *option = kb_option_by_name(column->option, KB_MEASURE);
    const char *key = column->key != NULL ? column->key : "";
    const struct kb_assignment *before = said_before(&specimen->request, option, key);
    if (before != NULL && strcmp(before->value, value) == 0) {
        return KB_OK;
    }
    char text[256];
    if (before != NULL) {
        (void)snprintf(text, sizeof text,
                       "'%.60s' differs from '%.60s', said of this specimen in an earlier row "
                       "(keep one, leave the others empty)",
                       value, before->value);
        return bad(cell, text, err);
    }
    (void)snprintf(text, sizeof text, "%.120s row %d, column '%.40s'",
                   kb_base_name(cell->manifest->table.path), cell->row->number,
                   cell->manifest->table.row[0].cell[cell->index]);
    return kb_request_assign(&specimen->request, option, value, KB_FROM_MANIFEST, text, key, err);
}

/* ---- fields ---- */

static enum kb_status name_fields(const struct kb_manifest *manifest,
                                  const struct kb_table_row *row,
                                  struct kb_manifest_specimen *specimen, struct kb_err *err) {
    struct kb_said_contrast contrast = {false, false, KB_LIGHT};
    char word[VALUE_MOST], path[VALUE_MOST];
    as_word(cell_of(manifest, row, KB_COLUMN_CONTRAST), word, sizeof word);
    if (word[0] != '\0' && !kb_said_contrast_parse(word, &contrast)) {
        return kb_fail(err, KB_E_USAGE, "app", manifest->table.path,
                       "row %d, column 'contrast': '%.40s' is no contrast (auto, light, "
                       "light-unetched or sem)",
                       row->number, word);
    }
    const char *cell = cell_of(manifest, row, KB_COLUMN_FIELD);
    if (strlen(cell) >= VALUE_MOST) {
        return kb_fail(err, KB_E_USAGE, "app", manifest->table.path,
                       "row %d, column 'field': the path is too long", row->number);
    }
    char copy[VALUE_MOST];
    (void)snprintf(copy, sizeof copy, "%s", cell);
    enum kb_status status = KB_OK;
    for (char *part = copy, *next = NULL; part != NULL && status == KB_OK; part = next) {
        next = strchr(part, '|');
        if (next != NULL) {
            *next++ = '\0';
        }
        as_path(kb_trim(part), path);
        if (path[0] != '\0') {
            status =
                kb_request_name_field(&specimen->request, path, contrast, KB_FROM_MANIFEST, err);
        }
    }
    return status;
}

/* ---- specimens ---- */

static struct kb_manifest_specimen *find(struct kb_manifest *manifest, const char *batch,
                                         const char *id) {
    for (size_t i = manifest->specimens; i-- > 0;) { /* the last one most often */
        struct kb_manifest_specimen *specimen = &manifest->specimen[i];
        if (strcmp(specimen->id, id) == 0 && strcmp(specimen->batch, batch) == 0) {
            return specimen;
        }
    }
    return NULL;
}

/* The request of a specimen begins with what the command line says of all. */
static enum kb_status begin_request(const struct kb_request *line, const char *id,
                                    struct kb_request *request, struct kb_err *err) {
    kb_request_init(request, KB_MEASURE);
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < line->assignments && status == KB_OK; i++) {
        const struct kb_assignment *said = &line->assignment[i];
        const char *name = said->option->name;
        const bool file = strcmp(name, "job") == 0 || strcmp(name, "limits") == 0;
        const bool ours =
            said->option->section != NULL &&
            (strcmp(said->option->section, "output") != 0 || strcmp(name, "no-pictures") == 0);
        if (said->origin != KB_FROM_LINE) {
            continue;
        }
        if (ours || file) {
            status = kb_request_assign(request, said->option, said->value, said->origin,
                                       said->where, said->key, err);
        }
    }
    if (status == KB_OK) {
        status = kb_request_assign(request, kb_option_by_name("specimen", KB_MEASURE), id,
                                   KB_FROM_MANIFEST, "manifest", "", err);
    }
    return status;
}

static enum kb_status add(struct kb_manifest *manifest, const struct kb_table_row *row,
                          const char *batch, const char *id, const struct kb_request *line,
                          struct kb_manifest_specimen **specimen, struct kb_err *err) {
    void *items = manifest->specimen;
    if (!kb_grow(&items, manifest->specimens, &manifest->capacity, sizeof *manifest->specimen)) {
        return kb_fail_memory(err, "app", manifest->specimens * sizeof *manifest->specimen);
    }
    manifest->specimen = items;
    struct kb_manifest_specimen *fresh = &manifest->specimen[manifest->specimens++];
    *fresh = (struct kb_manifest_specimen){
        .batch = kb_copy_string(batch),
        .id = kb_copy_string(id),
        .row = row->number,
    };
    *specimen = fresh;
    enum kb_status status = begin_request(line, id, &fresh->request, err);
    if (status == KB_OK && (fresh->batch == NULL || fresh->id == NULL)) {
        status = kb_fail_memory(err, "app", strlen(id));
    }
    return status;
}

static enum kb_status specimen_of(struct kb_manifest *manifest, const struct kb_table_row *row,
                                  const struct kb_request *line,
                                  struct kb_manifest_specimen **specimen, struct kb_err *err) {
    char stem[VALUE_MOST];
    const char *id = cell_of(manifest, row, KB_COLUMN_SPECIMEN);
    const char *batch = cell_of(manifest, row, KB_COLUMN_BATCH);
    if (id[0] == '\0' || (batch[0] == '\0' && has_column(manifest, KB_COLUMN_BATCH))) {
        return kb_fail(err, KB_E_USAGE, "app", manifest->table.path,
                       "row %d, column '%s': empty (say it in every row)", row->number,
                       id[0] == '\0' ? "specimen" : "batch");
    }
    if (batch[0] == '\0') { /* one batch, named as the file */
        (void)snprintf(stem, sizeof stem, "%s", kb_base_name(manifest->table.path));
        char *dot = strrchr(stem, '.');
        if (dot != NULL && dot > stem) {
            *dot = '\0';
        }
        batch = stem;
    }
    *specimen = find(manifest, batch, id);
    return *specimen != NULL ? KB_OK : add(manifest, row, batch, id, line, specimen, err);
}

/* ---- cells ---- */

static enum kb_status take_cell(const struct cell *cell, struct kb_manifest_specimen *specimen,
                                struct kb_err *err) {
    char value[VALUE_MOST];
    const char *wrong = NULL;
    const struct kb_column *column = cell->here->column;
    if (column->option == NULL) {
        return KB_OK; /* taken with the row */
    }
    if (column->kind == KB_COLUMN_NUMBER) {
        wrong = as_number(cell, value);
    } else if (column->kind == KB_COLUMN_WORD) {
        as_word(cell->text, value, sizeof value);
    } else if (strlen(cell->text) >= sizeof value) {
        wrong = "the text is too long";
    } else {
        (void)snprintf(value, sizeof value, "%s", cell->text);
    }
    return wrong == NULL ? assign(cell, specimen, value, err) : bad(cell, wrong, err);
}

static enum kb_status take_row(struct kb_manifest *manifest, const struct kb_table_row *row,
                               const struct kb_request *line, struct kb_err *err) {
    static const struct kb_column_here nameless = {.column = NULL};
    struct kb_manifest_specimen *specimen = NULL;
    enum kb_status status = specimen_of(manifest, row, line, &specimen, err);
    if (status == KB_OK) {
        status = name_fields(manifest, row, specimen, err);
    }
    for (size_t i = 0; i < row->cells && status == KB_OK; i++) {
        const struct cell cell = {
            .manifest = manifest,
            .row = row,
            .index = i,
            .here = i < manifest->table.row[0].cells ? &manifest->column[i] : &nameless,
            .text = row->cell[i],
        };
        if (cell.text[0] == '\0') {
            continue;
        }
        status = cell.here->column != NULL
                     ? take_cell(&cell, specimen, err)
                     : bad(&cell, "a cell under no column name (name the column or empty it)", err);
    }
    return status;
}

/* ---- all ---- */

static enum kb_status read_header(struct kb_manifest *manifest, struct kb_err *err) {
    const struct kb_table *table = &manifest->table;
    const size_t count = table->row[0].cells;
    manifest->column = kb_alloc_zero(count, sizeof *manifest->column);
    if (manifest->column == NULL) {
        return kb_fail_memory(err, "app", count * sizeof *manifest->column);
    }
    for (size_t i = 0; i < count; i++) {
        enum kb_status status = kb_column_find(table, i, &manifest->column[i], err);
        if (status != KB_OK) {
            return status;
        }
    }
    if (!has_column(manifest, KB_COLUMN_SPECIMEN)) {
        return kb_fail(err, KB_E_USAGE, "app", table->path,
                       "no column 'specimen' (the first row must name the columns)");
    }
    return KB_OK;
}

/* Which decimal sign the numbers of the file use. */
static void look_at_numbers(struct kb_manifest *manifest) {
    manifest->decimals = (struct kb_decimals){.separator = manifest->table.separator};
    for (size_t k = 1; k < manifest->table.rows; k++) {
        const struct kb_table_row *row = &manifest->table.row[k];
        for (size_t i = 0; i < row->cells && i < manifest->table.row[0].cells; i++) {
            const struct kb_column *column = manifest->column[i].column;
            if (column != NULL && column->kind == KB_COLUMN_NUMBER) {
                kb_decimals_look(row->cell[i], &manifest->decimals);
            }
        }
    }
}

static enum kb_status finish(const struct kb_manifest *manifest,
                             struct kb_manifest_specimen *specimen, struct kb_err *err) {
    struct kb_request *request = &specimen->request;
    enum kb_status status = kb_request_resolve(request, err);
    const char *lacks = NULL;
    if (status == KB_OK && request->fields == 0) {
        lacks = "'field': no picture is named (or name a job file with [fields])";
    } else if (status == KB_OK && !request->material_said) {
        lacks = "'material': not said (ductile-iron, grey-iron, compacted-iron or carbon-steel)";
    }
    if (status != KB_OK || lacks != NULL) {
        return status != KB_OK ? status
                               : kb_fail(err, KB_E_USAGE, "app", manifest->table.path,
                                         "row %d, column %s", specimen->row, lacks);
    }
    request->settings.asked_count = 0; /* a question about a point is answered by measure */
    request->settings.out_folder = NULL;
    specimen->field = kb_alloc(request->fields, sizeof *specimen->field);
    if (specimen->field == NULL) {
        return kb_fail_memory(err, "app", request->fields * sizeof *specimen->field);
    }
    for (size_t i = 0; i < request->fields; i++) {
        const struct kb_named_field *named = &request->field[i];
        specimen->field[i] =
            (struct kb_settings_field){named->path, named->contrast.contrast, named->contrast.find};
    }
    return KB_OK;
}

enum kb_status kb_manifest_read(const char *path, const struct kb_request *line,
                                struct kb_manifest *manifest, struct kb_err *err) {
    *manifest = (struct kb_manifest){.specimens = 0};
    enum kb_status status = kb_table_read(path, &manifest->table, err);
    if (status == KB_OK) {
        status = read_header(manifest, err);
    }
    if (status == KB_OK && manifest->table.rows < 2) {
        status = kb_fail(err, KB_E_USAGE, "app", path, "no row below the column names");
    }
    if (status == KB_OK) {
        look_at_numbers(manifest);
    }
    for (size_t i = 1; i < manifest->table.rows && status == KB_OK; i++) {
        status = take_row(manifest, &manifest->table.row[i], line, err);
    }
    for (size_t i = 0; i < manifest->specimens && status == KB_OK; i++) {
        status = finish(manifest, &manifest->specimen[i], err);
    }
    return status;
}

void kb_manifest_release(struct kb_manifest *manifest) {
    for (size_t i = 0; i < manifest->specimens; i++) {
        struct kb_manifest_specimen *specimen = &manifest->specimen[i];
        kb_request_release(&specimen->request);
        kb_free(specimen->batch);
        kb_free(specimen->id);
        kb_free(specimen->field);
    }
    kb_free(manifest->specimen);
    kb_free(manifest->column);
    kb_table_release(&manifest->table);
    *manifest = (struct kb_manifest){.specimens = 0};
}
