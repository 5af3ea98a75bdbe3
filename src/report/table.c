/* table.c - the short table for a terminal: verdict, leading figures with intervals, limits, and
 * the findings that matter, readable in five seconds.
 *
 * UTF-8, a column a character. Colour only repeats what a mark and a word already say. Lines keep
 * to the width given: names are cut with an ellipsis, sentences are wrapped.
 */
#include "report_priv.h"

enum { LEAST_COLUMNS = 40, INDENT = 2, FINDINGS_SHOWN = 4, VALUE_COLUMNS = 10, SPAN_COLUMNS = 17 };

struct table {
    struct kb_text *out;
    int columns;
    bool colour;
};

enum ink { INK_PLAIN, INK_BOLD, INK_DIM, INK_GREEN, INK_RED, INK_YELLOW };

static void ink(const struct table *table, enum ink which) {
    static const char *const code[] = {"\x1b[0m",    "\x1b[1m",    "\x1b[2m",
                                       "\x1b[1;32m", "\x1b[1;31m", "\x1b[1;33m"};
    if (table->colour) {
        kb_text_add(table->out, code[which]);
    }
}

/* `string` cut to `room` columns and, when `pad`, filled up to them. Returns the columns used. */
static int cell(const struct table *table, const char *string, int room, bool pad) {
    int needed = kb_text_columns(string);
    int used = 0;
    uint32_t code = 0;
    while (used < room && kb_text_next(&string, &code)) {
        bool cut = needed > room && used == room - 1;
        kb_text_put(table->out, cut ? 0x2026u : code < 0x20 ? ' ' : kb_text_tame(code));
        used++;
    }
    if (pad) {
        kb_text_format(table->out, "%*s", room - used, "");
    }
    return used;
}

/* Right-aligned. */
static void cell_right(const struct table *table, const char *string, int room) {
    int needed = kb_text_columns(string);
    kb_text_format(table->out, "%*s", needed < room ? room - needed : 0, "");
    (void)cell(table, string, room, false);
}

static void wrap(const struct table *table, const char *sentence, int used, int indent) {
    kb_text_wrap(table->out, sentence, table->columns, used, indent);
}

static void title(const struct table *table, const struct kb_result *result) {
    struct kb_text line = KB_TEXT_INIT;
    enum kb_contrast contrast = KB_LIGHT;
    kb_text_plain(&line, result->specimen_id != NULL ? result->specimen_id : "unnamed specimen");
    kb_text_add(&line, " · ");
    kb_text_words(&line, kb_material_name(result->material));
    kb_text_format(&line, " · %s",
                   kb_result_contrast(result, &contrast) ? kb_contrast_words(contrast)
                                                         : "several contrasts");
    kb_text_format(&line, " · %zu field%s", result->fields, result->fields == 1 ? "" : "s");
    if (isfinite(result->specimen.area_mm2)) {
        kb_text_format(&line, " · %.3g mm²", result->specimen.area_mm2);
    }
    if (result->specimen.particles[KB_COUNTS] > 0) {
        kb_text_format(&line, " · %zu particles", result->specimen.particles[KB_COUNTS]);
    }
    if (line.failed) {
        table->out->failed = true;
    } else {
        wrap(table, line.data, 0, INDENT);
    }
    kb_text_release(&line);
}

static void verdict(const struct table *table, const struct kb_judgement *judgement) {
    static const char *const mark[] = {"–", "✔", "✘", "?"};
    static const enum ink paint[] = {INK_BOLD, INK_GREEN, INK_RED, INK_YELLOW};
    if (judgement->count == 0) {
        return;
    }
    kb_text_format(table->out, "%*s", INDENT, "");
    ink(table, paint[judgement->verdict]);
    kb_text_format(table->out, "%s %s", mark[judgement->verdict],
                   kb_verdict_words(judgement->verdict));
    ink(table, INK_PLAIN);
    kb_text_add(table->out, ": ");
    struct kb_text sentence = KB_TEXT_INIT;
    kb_verdict_sentence(judgement, &sentence);
    if (sentence.failed) {
        table->out->failed = true;
    } else {
        int used = INDENT + 4 + kb_text_columns(kb_verdict_words(judgement->verdict));
        wrap(table, sentence.data, used, INDENT + 2);
    }
    kb_text_release(&sentence);
}

/* Columns left for words beside value and interval. */
static int words_room(const struct table *table) {
    int room = table->columns - INDENT - VALUE_COLUMNS - SPAN_COLUMNS - 8; /* 8: unit and gaps */
    return room > 40 ? 40 : room; /* the longest of our names fits in 40 */
}

static void figure(const struct table *table, const char *words,
                   const struct kb_estimate *estimate) {
    struct kb_shown shown = kb_show(estimate);
    kb_text_format(table->out, "%*s", INDENT, "");
    (void)cell(table, words, words_room(table), true);
    if (!shown.measured) {
        kb_text_add(table->out, "  not measured: ");
        int used = INDENT + words_room(table) + 16; /* 16: those words */
        wrap(table, estimate->why != NULL ? estimate->why : "no reason given", used, INDENT + 4);
        return;
    }
    ink(table, INK_BOLD);
    cell_right(table, shown.value, VALUE_COLUMNS);
    ink(table, INK_PLAIN);
    kb_text_add(table->out, " ");
    bool span = shown.has_interval;
    (void)cell(table, shown.unit, 5, span);
    if (span) {
        ink(table, INK_DIM);
        kb_text_format(table->out, " %s … %s", shown.low, shown.high);
        ink(table, INK_PLAIN);
    }
    kb_text_add(table->out, "\n");
}

static void figures(const struct table *table, const struct kb_result *result) {
    struct kb_headline lead[KB_HEADLINES];
    size_t count = kb_result_headlines(result, lead);
    for (size_t i = 0; i < count; i++) {
        figure(table, lead[i].brief, &lead[i].estimate);
    }
}

/* Of flake iron, one line: the designation with its belief, or why there is none. */
static void distribution(const struct table *table, const struct kb_result *result) {
    const struct kb_flake_distribution *flakes = &result->specimen.distribution;
    if (result->material != KB_GREY_IRON) {
        return;
    }
    struct kb_text line = KB_TEXT_INIT;
    if (flakes->told) {
        const bool whole = flakes->designation[0] != '\0';
        kb_text_format(&line, "flakes after ISO 945-1: %s%s, %s; letter believed to %.0f %%",
                       whole ? "" : "distribution ",
                       whole ? flakes->designation : kb_flake_letter_name(flakes->letter),
                       kb_flake_letter_words(flakes->letter),
                       100.0 * flakes->belief[flakes->letter]);
    } else {
        kb_text_format(&line, "distribution of flakes: not told, %s",
                       flakes->why != NULL ? flakes->why : "not measured");
    }
    if (line.failed) {
        table->out->failed = true;
    } else {
        kb_text_format(table->out, "%*s", INDENT, "");
        wrap(table, line.data, INDENT, INDENT + 2);
    }
    kb_text_release(&line);
}

/* One line where chemistry reported carbon: does the structure agree? */
static void carbon(const struct table *table, const struct kb_result *result) {
    static const char *const words[] = {"cannot be compared with", "agrees with", "DISAGREES with"};
    const struct kb_carbon *found = &result->carbon;
    if (!result->carbon_known || !isfinite(result->chemistry.c)) {
        return;
    }
    struct kb_shown shown = kb_show(&found->total_percent);
    struct kb_text line = KB_TEXT_INIT;
    kb_text_format(&line, "carbon, estimate from structure: %s mass %%", shown.value);
    if (shown.has_interval) {
        kb_text_format(&line, " (%s … %s)", shown.low, shown.high);
    }
    kb_text_format(&line, ", %s the %.4g %% of chemistry", words[found->agreement],
                   result->chemistry.c);
    if (line.failed) {
        table->out->failed = true;
    } else {
        kb_text_format(table->out, "%*s", INDENT, "");
        wrap(table, line.data, INDENT, INDENT + 2);
    }
    kb_text_release(&line);
}

static void limit_line(const struct table *table, const struct kb_limit_result *limit) {
    static const char *const mark[] = {"–", "✔", "✘", "?"};
    struct kb_shown shown = kb_show(&limit->value);
    struct kb_text line = KB_TEXT_INIT;
    kb_text_format(&line, "%s %s ", mark[limit->outcome], kb_quantity_words(limit->limit.quantity));
    kb_limit_words(&limit->limit, &line);
    if (shown.has_interval) {
        kb_text_format(&line, ": %s … %s %s", shown.low, shown.high, shown.unit);
    } else if (shown.measured) {
        kb_text_format(&line, ": %s %s, no interval", shown.value, shown.unit);
    } else {
        kb_text_add(&line, ": not measured");
    }
    if (limit->outcome == KB_UNDECIDED && limit->fields_to_decide > 0) {
        kb_text_format(&line, "; about %zu more field%s would decide", limit->fields_to_decide,
                       limit->fields_to_decide == 1 ? "" : "s");
    }
    if (line.failed) {
        table->out->failed = true;
    } else {
        kb_text_format(table->out, "%*s", INDENT, "");
        wrap(table, line.data, INDENT, INDENT + 2);
    }
    kb_text_release(&line);
}

static size_t findings_of(const struct table *table, const struct kb_result *result,
                          enum kb_severity severity, size_t room) {
    struct kb_finding_group group = {0};
    size_t shown = 0;
    while (shown < room && kb_result_finding_next(result, KB_ALIKE_CODE, &group)) {
        if (group.finding->severity != severity) {
            continue;
        }
        bool serious = severity == KB_SERIOUS;
        char where[64];
        kb_finding_where(&group, where, sizeof where);
        kb_text_format(table->out, "%*s", INDENT, "");
        ink(table, serious ? INK_RED : INK_YELLOW);
        kb_text_add(table->out, serious ? "‼" : "!");
        ink(table, INK_PLAIN);
        kb_text_format(table->out, " %s%s", where, where[0] != '\0' ? ": " : "");
        int used = INDENT + 2 + kb_text_columns(where) + (where[0] != '\0' ? 2 : 0);
        wrap(table, group.finding->text, used, INDENT + 2);
        shown++;
    }
    return shown;
}

static void findings(const struct table *table, const struct kb_result *result) {
    size_t shown = findings_of(table, result, KB_SERIOUS, FINDINGS_SHOWN);
    shown += findings_of(table, result, KB_WARNING, FINDINGS_SHOWN - shown);
    size_t all = kb_result_findings(result, KB_ALIKE_CODE);
    if (all > shown) {
        kb_text_format(table->out, "%*s%zu %s finding%s in the report\n", INDENT, "", all - shown,
                       shown > 0 ? "more" : "lesser", all - shown == 1 ? "" : "s");
    }
}

enum kb_status kb_report_table(const struct kb_result *result, int columns, bool colour,
                               struct kb_text *out, struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct table table = {out, columns < LEAST_COLUMNS ? LEAST_COLUMNS : columns, colour};
    title(&table, result);
    verdict(&table, &result->judgement);
    figures(&table, result);
    distribution(&table, result);
    carbon(&table, result);
    for (size_t i = 0; i < result->judgement.count; i++) {
        limit_line(&table, &result->judgement.limit[i]);
    }
    if (result->by_hands > 0) {
        kb_text_format(out, "%*s%zu decision%s by hand, with reasons in the report\n", INDENT, "",
                       result->by_hands, result->by_hands == 1 ? "" : "s");
    }
    findings(&table, result);
    kb_table_why(out, table.columns, result);
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
