/* batch_table.c - a batch for a terminal: a line a specimen, then what stands in the way of a
 * verdict, the verdict of the batch last, where the eye rests when the run ends.
 *
 * The columns are the quantities that limits name, in the order of the limits, as many as the width
 * takes. Of a batch with many specimens the accepted ones are left to specimens.csv: whoever reads
 * a table of three hundred lines looks for those that are not accepted.
 */
#include "batch_priv.h"

enum {
    LEAST_COLUMNS = 40,
    MARK_COLUMNS = 4, /* blanks and the mark before a name */
    NAME_LEAST = 12,  /* columns of a specimen's name ... */
    NAME_MOST = 34,
    FIELDS_COLUMNS = 8,  /* "  fields" */
    FIGURE_COLUMNS = 24, /* a figure with its interval, and the gap before it */
    SHOWN_MOST = 40,     /* specimens, before accepted ones are left out */
    REASONS_MOST = 24,   /* lines of what stands in the way */
};

struct batch_table {
    struct kb_text *out;
    int columns, name_columns;
    bool colour;
    enum kb_quantity quantity[KB_QUANTITIES];
    int quantities;
    int left_out; /* quantities that the line has no room for */
};

static const char *const mark_of[] = {"–", "✔", "✘", "?"};
static const char *const paint_of[] = {"\x1b[1m", "\x1b[1;32m", "\x1b[1;31m", "\x1b[1;33m"};

/* `words` in the colour of an outcome. */
static void paint(const struct batch_table *table, enum kb_outcome outcome, const char *words) {
    kb_text_add(table->out, table->colour ? paint_of[outcome] : "");
    kb_text_add(table->out, words);
    kb_text_add(table->out, table->colour ? "\x1b[0m" : "");
}

/* `string` cut to `room` columns and filled up to them, to the left or to the right. */
static void cell(const struct batch_table *table, const char *string, int room, bool right) {
    const int needed = kb_text_columns(string);
    const int spare = needed < room ? room - needed : 0;
    uint32_t code = 0;
    kb_text_format(table->out, "%*s", right ? spare : 0, "");
    for (int used = 0; used < room && kb_text_next(&string, &code); used++) {
        const bool cut = needed > room && used == room - 1;
        kb_text_put(table->out, cut ? 0x2026u : code < 0x20 ? ' ' : kb_text_tame(code));
    }
    kb_text_format(table->out, "%*s", right ? 0 : spare, "");
}

/* ---- columns ---- */

static void add_quantity(struct batch_table *table, enum kb_quantity quantity) {
    for (int i = 0; i < table->quantities; i++) {
        if (table->quantity[i] == quantity) {
            return;
        }
    }
    table->quantity[table->quantities++] = quantity;
}

/* What limits name; without limits, what a foundry asks for first and some specimen has. */
static void choose_quantities(const struct kb_batch *batch, struct batch_table *table) {
    static const enum kb_quantity first[] = {KB_Q_NODULARITY, KB_Q_NODULES_PER_MM2,
                                             KB_Q_PEARLITE_OF_MATRIX, KB_Q_GRAPHITE, KB_Q_CARBON};
    for (size_t i = 0; i < batch->specimens; i++) {
        const struct kb_judgement *judgement = &batch->specimen[i].judgement;
        for (size_t k = 0; k < judgement->count; k++) {
            add_quantity(table, judgement->limit[k].limit.quantity);
        }
    }
    const bool limited = table->quantities > 0;
    for (size_t i = 0; i < batch->specimens && !limited; i++) {
        for (size_t k = 0; k < KB_COUNT_OF(first); k++) {
            if (batch->specimen[i].figure[first[k]].measured) {
                add_quantity(table, first[k]);
            }
        }
    }
}

static void lay_out(const struct kb_batch *batch, struct batch_table *table) {
    choose_quantities(batch, table);
    table->name_columns = NAME_LEAST;
    for (size_t i = 0; i < batch->specimens; i++) {
        const int needed = kb_text_columns(batch->specimen[i].id);
        table->name_columns = needed > table->name_columns ? needed : table->name_columns;
    }
    table->name_columns = table->name_columns > NAME_MOST ? NAME_MOST : table->name_columns;
    const int room = table->columns - MARK_COLUMNS - FIELDS_COLUMNS;
    table->name_columns = table->name_columns > room ? room : table->name_columns;
    const int fit = (room - table->name_columns) / FIGURE_COLUMNS;
    table->left_out = table->quantities > fit ? table->quantities - fit : 0;
    table->quantities -= table->left_out;
}

static void header(const struct batch_table *table) {
    struct kb_text words = KB_TEXT_INIT;
    kb_text_format(table->out, "%*s", MARK_COLUMNS, "");
    cell(table, "specimen", table->name_columns, false);
    cell(table, "fields", FIELDS_COLUMNS, true);
    for (int i = 0; i < table->quantities; i++) {
        const enum kb_quantity quantity = table->quantity[i];
        kb_text_words(&words, kb_quantity_name(quantity));
        if (quantity == KB_Q_NODULES_PER_MM2) { /* the unit is in the name */
            kb_text_release(&words);
            kb_text_add(&words, "nodules");
        }
        cell(table, words.data != NULL ? words.data : "", FIGURE_COLUMNS, true);
        kb_text_release(&words);
    }
    kb_text_add(table->out, "\n");
}

/* ---- specimens ---- */

static enum kb_outcome outcome_of(const struct kb_batch_specimen *specimen) {
    return specimen->judged ? specimen->judgement.verdict : KB_UNDECIDED;
}

static const char *mark(const struct kb_batch_specimen *specimen) {
    return specimen->judged ? mark_of[specimen->judgement.verdict] : "!";
}

/* "93.2 ± 1.4 %" and the mark of its limit. */
static void figure_cell(const struct batch_table *table, const struct kb_batch_specimen *specimen,
                        enum kb_quantity quantity) {
    char text[80];
    const char *outcome = " ";
    struct kb_shown shown = kb_show(&specimen->figure[quantity]);
    for (size_t i = 0; i < specimen->judgement.count; i++) {
        const struct kb_limit_result *limit = &specimen->judgement.limit[i];
        outcome = limit->limit.quantity == quantity ? mark_of[limit->outcome] : outcome;
    }
    if (!shown.measured) {
        (void)snprintf(text, sizeof text, "– %s", outcome);
    } else if (shown.has_interval) {
        /* both ends: near 0 or 100 % an interval is lopsided */
        (void)snprintf(text, sizeof text, "%s (%s…%s) %s %s", shown.value, shown.low, shown.high,
                       shown.unit, outcome);
    } else {
        (void)snprintf(text, sizeof text, "%s %s %s", shown.value, shown.unit, outcome);
    }
    cell(table, text, FIGURE_COLUMNS, true);
}

static void specimen_line(const struct batch_table *table,
                          const struct kb_batch_specimen *specimen) {
    char fields[24];
    (void)snprintf(fields, sizeof fields, "%zu", specimen->fields);
    kb_text_add(table->out, "  ");
    paint(table, outcome_of(specimen), mark(specimen));
    kb_text_add(table->out, " ");
    cell(table, specimen->id, table->name_columns, false);
    cell(table, fields, FIELDS_COLUMNS, true);
    for (int i = 0; i < table->quantities; i++) {
        figure_cell(table, specimen, table->quantity[i]);
    }
    kb_text_add(table->out, "\n");
}

static void lines(const struct batch_table *table, const struct kb_batch *batch) {
    const bool all = batch->specimens <= SHOWN_MOST;
    size_t left_out = 0;
    for (size_t i = 0; i < batch->specimens; i++) {
        const struct kb_batch_specimen *specimen = &batch->specimen[i];
        const bool fine = specimen->judged && (specimen->judgement.verdict == KB_ACCEPT ||
                                               specimen->judgement.verdict == KB_OUTCOME_NONE);
        if (all || !fine) {
            specimen_line(table, specimen);
        }
        left_out += !all && fine ? 1 : 0;
    }
    if (table->left_out > 0) {
        kb_text_format(table->out, "%*s%d more in specimens.csv\n", MARK_COLUMNS, "",
                       table->left_out);
    }
    if (left_out > 0) {
        kb_text_format(table->out,
                       "%*s%zu more, none of them rejected or undecided, in "
                       "specimens.csv\n",
                       MARK_COLUMNS, "", left_out);
    }
}

/* ---- what stands in the way ---- */

static void reason(const struct batch_table *table, enum kb_outcome outcome, const char *sign,
                   const struct kb_text *words) {
    if (words->failed) {
        table->out->failed = true;
        return;
    }
    kb_text_add(table->out, "  ");
    paint(table, outcome, sign);
    kb_text_add(table->out, " ");
    kb_text_wrap(table->out, words->data, table->columns, MARK_COLUMNS, MARK_COLUMNS);
}

static void limit_reason(const struct batch_table *table, const struct kb_batch_specimen *specimen,
                         const struct kb_limit_result *limit) {
    struct kb_text words = KB_TEXT_INIT;
    struct kb_shown shown = kb_show(&limit->value);
    kb_text_plain(&words, specimen->id);
    kb_text_format(&words, ": %s ", kb_quantity_words(limit->limit.quantity));
    kb_limit_words(&limit->limit, &words);
    if (shown.has_interval) {
        kb_text_format(&words, ": %s … %s %s", shown.low, shown.high, shown.unit);
    } else if (shown.measured) {
        kb_text_format(&words, ": %s %s, no interval", shown.value, shown.unit);
    } else {
        kb_text_format(&words, ": not measured, %s",
                       limit->value.why != NULL ? limit->value.why : "");
    }
    if (limit->outcome == KB_UNDECIDED && limit->fields_to_decide > 0) {
        kb_text_format(&words, "; about %zu more field%s would decide", limit->fields_to_decide,
                       limit->fields_to_decide == 1 ? "" : "s");
    }
    reason(table, limit->outcome, mark_of[limit->outcome], &words);
    kb_text_release(&words);
}

static void fault_reason(const struct batch_table *table, const struct kb_batch_specimen *specimen,
                         const struct kb_batch_fault *fault) {
    struct kb_text words = KB_TEXT_INIT;
    kb_text_plain(&words, specimen->id);
    kb_text_add(&words, " is not judged: ");
    kb_text_plain(&words, fault->path);
    kb_text_add(&words, ": ");
    kb_text_plain(&words, fault->text);
    reason(table, KB_UNDECIDED, "!", &words);
    kb_text_release(&words);
}

/* Reasons of one specimen, from the `given`-th of all on; how many there are. */
static size_t reasons_of(const struct batch_table *table, const struct kb_batch_specimen *specimen,
                         size_t given) {
    size_t count = 0;
    for (size_t i = 0; i < specimen->faults; i++) {
        if (given + count++ < REASONS_MOST) {
            fault_reason(table, specimen, &specimen->fault[i]);
        }
    }
    for (size_t i = 0; i < specimen->judgement.count; i++) {
        const struct kb_limit_result *limit = &specimen->judgement.limit[i];
        const bool stands = limit->outcome == KB_REJECT || limit->outcome == KB_UNDECIDED;
        if (stands && given + count++ < REASONS_MOST) {
            limit_reason(table, specimen, limit);
        }
    }
    return count;
}

static void reasons(const struct batch_table *table, const struct kb_batch *batch) {
    size_t count = 0;
    for (size_t i = 0; i < batch->specimens; i++) {
        count += reasons_of(table, &batch->specimen[i], count);
    }
    if (count > REASONS_MOST) {
        kb_text_format(table->out, "%*s%zu more reasons in specimens.csv\n", MARK_COLUMNS, "",
                       count - REASONS_MOST);
    }
}

/* ---- the batch ---- */

static void title(const struct batch_table *table, const struct kb_batch *batch) {
    struct kb_text words = KB_TEXT_INIT;
    kb_text_plain(&words, batch->name);
    kb_text_format(&words, " · %zu specimen%s · %zu field%s", batch->specimens,
                   batch->specimens == 1 ? "" : "s", batch->fields, batch->fields == 1 ? "" : "s");
    if (words.failed) {
        table->out->failed = true;
    } else {
        kb_text_wrap(table->out, words.data, table->columns, 0, 2);
    }
    kb_text_release(&words);
}

static void verdict(const struct batch_table *table, const struct kb_batch *batch) {
    const struct kb_batch_judgement *judgement = &batch->judgement;
    struct kb_text words = KB_TEXT_INIT;
    kb_text_add(table->out, "  ");
    paint(table, judgement->verdict, mark_of[judgement->verdict]);
    kb_text_add(table->out, " ");
    paint(table, judgement->verdict, "Batch ");
    paint(table, judgement->verdict,
          judgement->verdict == KB_ACCEPT      ? "accepted"
          : judgement->verdict == KB_REJECT    ? "rejected"
          : judgement->verdict == KB_UNDECIDED ? "undecided"
                                               : "measured");
    kb_text_format(&words, ": %s (%s)", judgement->reason, judgement->rule);
    if (words.failed) {
        table->out->failed = true;
    } else {
        const int used = MARK_COLUMNS + 15; /* "Batch undecided" */
        kb_text_wrap(table->out, words.data, table->columns, used, MARK_COLUMNS);
    }
    kb_text_release(&words);
    if (judgement->advice[0] != '\0') {
        kb_text_format(table->out, "%*s", MARK_COLUMNS, "");
        kb_text_wrap(table->out, judgement->advice, table->columns, MARK_COLUMNS, MARK_COLUMNS);
    }
}

enum kb_status kb_report_batch_table(const struct kb_batch *batch, int columns, bool colour,
                                     struct kb_text *out, struct kb_err *err) {
    struct kb_locale locale = kb_locale_enter();
    struct batch_table table = {.out = out, .colour = colour};
    table.columns = columns < LEAST_COLUMNS ? LEAST_COLUMNS : columns;
    lay_out(batch, &table);
    title(&table, batch);
    header(&table);
    lines(&table, batch);
    reasons(&table, batch);
    verdict(&table, batch);
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
