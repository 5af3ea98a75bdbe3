/* table_history.c - results of the register for a terminal: a line each, in the order of casting.
 */
#include "report_priv.h"

enum { NAME_LEAST = 8, NAME_MOST = 22 };

struct columns {
    int casting, batch, specimen;
};

static int wider(int so_far, const char *string) {
    const int wide = kb_text_columns(string);
    return wide > NAME_MOST ? NAME_MOST : wide > so_far ? wide : so_far;
}

/* `string`, or a dash, cut to `room` columns and filled up to them, with a gap behind. */
static void cell(struct kb_text *out, const char *string, int room) {
    string = string[0] != '\0' ? string : "–";
    const int needed = kb_text_columns(string);
    uint32_t code = 0;
    for (int used = 0; used < room && kb_text_next(&string, &code); used++) {
        const bool cut = needed > room && used == room - 1;
        kb_text_put(out, cut ? 0x2026u : code < 0x20 ? ' ' : kb_text_tame(code));
    }
    kb_text_format(out, "%*s", (needed < room ? room - needed : 0) + 2, "");
}

static void line(struct kb_text *out, const struct columns *columns,
                 const struct kb_register_entry *entry) {
    const bool cast = entry->cast_on[0] != '\0';
    kb_text_format(out, "%5lld  %-10.10s%s ", (long long)entry->id,
                   cast ? entry->cast_on : entry->measured_at, cast ? " " : "*");
    cell(out, entry->casting, columns->casting);
    cell(out, entry->batch, columns->batch);
    cell(out, entry->specimen, columns->specimen);
    kb_text_format(out, "%6zu  %-9s  %.8s", entry->fields, kb_outcome_name(entry->verdict),
                   entry->digest);
    if (entry->superseded_by != 0) {
        kb_text_format(out, "  superseded by %lld", (long long)entry->superseded_by);
    }
    kb_text_add(out, "\n");
}

enum kb_status kb_report_history_table(const struct kb_register_list *list, int columns,
                                       struct kb_text *out, struct kb_err *err) {
    (void)columns; /* names are cut to fit eighty columns; the rest never takes more */
    struct columns wide = {NAME_LEAST, NAME_LEAST, NAME_LEAST};
    bool measured = false;
    for (size_t i = 0; i < list->count; i++) {
        wide.casting = wider(wide.casting, list->entry[i].casting);
        wide.batch = wider(wide.batch, list->entry[i].batch);
        wide.specimen = wider(wide.specimen, list->entry[i].specimen);
        measured = measured || list->entry[i].cast_on[0] == '\0';
    }
    kb_text_add(out, "   no  cast        ");
    cell(out, "casting", wide.casting);
    cell(out, "batch", wide.batch);
    cell(out, "specimen", wide.specimen);
    kb_text_add(out, "fields  verdict    digest\n");
    for (size_t i = 0; i < list->count; i++) {
        line(out, &wide, &list->entry[i]);
    }
    kb_text_add(out,
                measured ? "\n  * day of measurement: the day of casting is not stated\n" : "");
    return kb_text_end(out, err);
}
