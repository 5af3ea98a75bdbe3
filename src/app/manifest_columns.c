/* manifest_columns.c - which columns a manifest may have, and how forgiving their names are.
 *
 * Capitals, blanks, underscores and hyphens do not matter: "Pixel size", "pixel_size" and
 * "PIXELSIZE" are one name. A unit may stand behind it in brackets: "Pixel size (um)". Meaning is
 * never guessed: a name that is not in the table is an error that lists those that are, since a
 * column that is silently passed over is a setting that somebody believes in.
 */
#include "manifest.h"

#include <ctype.h>
#include <string.h>

enum { NAME_MOST = 64 };

static const struct kb_column columns[] = {
    {"batch", KB_COLUMN_BATCH, NULL, NULL},
    {"specimen", KB_COLUMN_SPECIMEN, NULL, NULL},
    {"field", KB_COLUMN_FIELD, NULL, NULL},
    {"contrast", KB_COLUMN_CONTRAST, NULL, NULL},
    {"material", KB_COLUMN_WORD, "material", NULL},
    {"proeutectoid", KB_COLUMN_WORD, "proeutectoid", NULL},
    {"pixel size", KB_COLUMN_NUMBER, "pixel-size", NULL},
    {"scale bar", KB_COLUMN_NUMBER, "scale-bar", NULL},
    {"page", KB_COLUMN_TEXT, "page", NULL},
    {"blank field", KB_COLUMN_TEXT, "blank-field", NULL},
    {"job file", KB_COLUMN_TEXT, "job", NULL},
    {"limits", KB_COLUMN_TEXT, "limits", NULL},
    {"grade", KB_COLUMN_TEXT, "grade", NULL},
    {"section thickness", KB_COLUMN_NUMBER, "section-thickness", NULL},
    {"casting", KB_COLUMN_TEXT, "casting", NULL},
    {"cast on", KB_COLUMN_TEXT, "cast-on", NULL},
    {"laboratory", KB_COLUMN_TEXT, "laboratory", NULL},
    {"operator", KB_COLUMN_TEXT, "operator", NULL},
    {"customer", KB_COLUMN_TEXT, "customer", NULL},
    {"remark", KB_COLUMN_TEXT, "remark", NULL},
    {"C", KB_COLUMN_NUMBER, "chemistry", "C"},
    {"Si", KB_COLUMN_NUMBER, "chemistry", "Si"},
    {"Mn", KB_COLUMN_NUMBER, "chemistry", "Mn"},
    {"P", KB_COLUMN_NUMBER, "chemistry", "P"},
    {"S", KB_COLUMN_NUMBER, "chemistry", "S"},
    {"Cu", KB_COLUMN_NUMBER, "chemistry", "Cu"},
    {"Sn", KB_COLUMN_NUMBER, "chemistry", "Sn"},
    {"Mg", KB_COLUMN_NUMBER, "chemistry", "Mg"},
    {"hardness HBW", KB_COLUMN_NUMBER, "given", "hardness_hbw"},
    {"hardness HV", KB_COLUMN_NUMBER, "given", "hardness_hv"},
    {"tensile strength", KB_COLUMN_NUMBER, "given", "tensile_strength"},
    {"proof strength", KB_COLUMN_NUMBER, "given", "proof_strength"},
    {"elongation", KB_COLUMN_NUMBER, "given", "elongation"},
    {"impact energy", KB_COLUMN_NUMBER, "given", "impact_energy"},
};
enum { COLUMNS = sizeof columns / sizeof columns[0] };

/* Other spellings of the same word. */
static const struct {
    const char *said, *name;
} spellings[] = {
    {"job", "job file"}, {"carbon", "C"},     {"silicon", "Si"},   {"manganese", "Mn"},
    {"phosphorus", "P"}, {"sulphur", "S"},    {"sulfur", "S"},     {"copper", "Cu"},
    {"tin", "Sn"},       {"magnesium", "Mg"}, {"fields", "field"},
};

/* Letters and digits of a name, small; false when it does not fit. */
static bool squeeze(const char *name, size_t length, char to[NAME_MOST]) {
    size_t kept = 0;
    for (size_t i = 0; i < length; i++) {
        const unsigned char c = (unsigned char)name[i];
        if (strchr(" _-()[]\t\n", c) != NULL) {
            continue;
        }
        if (kept + 1 >= NAME_MOST) {
            return false;
        }
        to[kept++] = (char)tolower(c);
    }
    to[kept] = '\0';
    return true;
}

static bool alike(const char *squeezed, const char *name) {
    char other[NAME_MOST];
    return squeeze(name, strlen(name), other) && strcmp(squeezed, other) == 0;
}

static const struct kb_column *lookup(const char *said, size_t length) {
    char name[NAME_MOST];
    if (!squeeze(said, length, name)) {
        return NULL;
    }
    const char *meant = NULL;
    for (size_t i = 0; i < sizeof spellings / sizeof spellings[0]; i++) {
        meant = alike(name, spellings[i].said) ? spellings[i].name : meant;
    }
    for (size_t i = 0; i < COLUMNS; i++) {
        if (alike(name, columns[i].name) ||
            (meant != NULL && strcmp(meant, columns[i].name) == 0)) {
            return &columns[i];
        }
    }
    return NULL;
}

static enum kb_status unknown(const struct kb_table *table, const char *said, struct kb_err *err) {
    const char *names[COLUMNS];
    struct kb_text all = KB_TEXT_INIT;
    for (size_t i = 0; i < COLUMNS; i++) {
        names[i] = columns[i].name;
        kb_text_format(&all, "%s%s", i == 0 ? "" : ", ", columns[i].name);
    }
    const char *near = kb_nearest_name(said, names, COLUMNS);
    enum kb_status status =
        all.failed     ? kb_fail_memory(err, "app", NAME_MOST)
        : near != NULL ? kb_fail(err, KB_E_USAGE, "app", table->path,
                                 "column '%.40s' is not known (did you mean '%s'? known are %s)",
                                 said, near, all.data)
                       : kb_fail(err, KB_E_USAGE, "app", table->path,
                                 "column '%.40s' is not known (known are %s)", said, all.data);
    kb_text_release(&all);
    return status;
}

/* Where the unit in brackets begins: "Pixel size (um)", "C [%]". NULL: none. */
static const char *find_unit(const char *said) {
    const size_t length = strlen(said);
    const bool closed = length > 2 && (said[length - 1] == ')' || said[length - 1] == ']');
    const char *open = closed ? strrchr(said, said[length - 1] == ')' ? '(' : '[') : NULL;
    return open != NULL && open > said ? open : NULL;
}

static enum kb_status understand(const struct kb_table *table, const char *said,
                                 struct kb_column_here *here, struct kb_err *err) {
    *here = (struct kb_column_here){.column = lookup(said, strlen(said))};
    if (here->column != NULL) { /* also "hardness (HBW)" */
        return KB_OK;
    }
    const char *unit = find_unit(said);
    if (unit == NULL) {
        return unknown(table, said, err);
    }
    here->column = lookup(said, (size_t)(unit - said));
    const bool measured = here->column != NULL && here->column->kind == KB_COLUMN_NUMBER;
    if (!measured || strlen(unit) >= sizeof here->unit) {
        return unknown(table, said, err);
    }
    (void)snprintf(here->unit, sizeof here->unit, "%.*s", (int)strlen(unit) - 2, unit + 1);
    return KB_OK;
}

static enum kb_status named_before(const struct kb_table *table, size_t index,
                                   const struct kb_column *column, struct kb_err *err) {
    for (size_t i = 0; i < index; i++) {
        struct kb_column_here before;
        const char *said = table->row[0].cell[i];
        if (said[0] != '\0' && understand(table, said, &before, NULL) == KB_OK &&
            before.column == column) {
            return kb_fail(err, KB_E_USAGE, "app", table->path,
                           "columns '%.40s' and '%.40s' mean the same (keep one of them)",
                           table->row[0].cell[i], table->row[0].cell[index]);
        }
    }
    return KB_OK;
}

enum kb_status kb_column_find(const struct kb_table *table, size_t index,
                              struct kb_column_here *here, struct kb_err *err) {
    const char *said = table->row[0].cell[index];
    *here = (struct kb_column_here){.column = NULL};
    if (said[0] == '\0') {
        return KB_OK; /* an error only where a cell below it is filled */
    }
    enum kb_status status = understand(table, said, here, err);
    return status == KB_OK ? named_before(table, index, here->column, err) : status;
}

enum kb_status kb_manifest_bad_cell(const struct kb_table *table, const struct kb_table_row *row,
                                    size_t index, const char *what, struct kb_err *err) {
    const char *name = index < table->row[0].cells ? table->row[0].cell[index] : "";
    return kb_fail(err, KB_E_USAGE, "app", table->path, "row %d, column %s%.40s%s: %s", row->number,
                   name[0] != '\0' ? "'" : "without name", name, name[0] != '\0' ? "'" : "", what);
}
