/* table_chart.c - a control chart for a terminal: a line a casting, with a strip on which it lies
 * between its control limits; then the limits, and what the chart says in words.
 *
 * Marks differ in shape, not in colour: o a casting, # one that breaks a rule (the numbers stand
 * behind), X one outside its specification.
 */
#include "report_priv.h"

#include <string.h>

enum {
    SHOWN_MOST = 30, /* castings; a table of hundreds nobody reads, and the SVG shows more */
    NAME_LEAST = 8,
    NAME_MOST = 24,
    STRIP = 25,      /* columns; odd, so that the mean has one */
    STRIP_LIMIT = 3, /* of them outside either control limit */
    STRIP_MIDDLE = STRIP / 2,
    FIXED_COLUMNS = 52, /* all but name and strip */
};

struct chart_table {
    const struct kb_chart *chart;
    struct kb_text *out;
    int decimals, name_columns;
    bool strip;
};

/* `string` cut to `room` columns and filled up to them. */
static void cell(const struct chart_table *table, const char *string, int room) {
    const int needed = kb_text_columns(string);
    uint32_t code = 0;
    for (int used = 0; used < room && kb_text_next(&string, &code); used++) {
        const bool cut = needed > room && used == room - 1;
        kb_text_put(table->out, cut ? 0x2026u : code < 0x20 ? ' ' : kb_text_tame(code));
    }
    kb_text_format(table->out, "%*s", needed < room ? room - needed : 0, "");
}

static void number(const struct chart_table *table, double value, int room) {
    char text[32];
    kb_show_number(text, sizeof text, value, table->decimals);
    const int spare = room - kb_text_columns(text);
    kb_text_format(table->out, "%*s%s", spare > 0 ? spare : 0, "", text);
}

static bool outside(const struct kb_chart_point *point) {
    return point->value < point->low || point->value > point->high;
}

/* Where the value lies between its limits: ":" the limits, "|" the mean. */
static void strip(const struct chart_table *table, const struct kb_chart_point *point) {
    const struct kb_chart_stretch *stretch = &table->chart->stretch[point->stretch];
    char line[STRIP + 1];
    memset(line, ' ', STRIP);
    line[STRIP] = '\0';
    if (stretch->limited) {
        const double column = (STRIP_MIDDLE - STRIP_LIMIT) / (3.0 * stretch->sigma);
        const double at = round(STRIP_MIDDLE + (point->value - stretch->mean) * column);
        const char mark = outside(point) ? 'X' : point->broken != 0 ? '#' : 'o';
        line[STRIP_MIDDLE] = '|';
        line[STRIP_LIMIT] = isnan(stretch->lower) ? ' ' : ':';
        line[STRIP - 1 - STRIP_LIMIT] = isnan(stretch->upper) ? ' ' : ':';
        line[at < 0.0 ? 0 : at > STRIP - 1 ? STRIP - 1 : (int)at] = mark;
    }
    const bool more = point->broken != 0 || point->range_beyond || outside(point);
    size_t length = STRIP;
    while (!more && length > 0 && line[length - 1] == ' ') {
        length--;
    }
    kb_text_format(table->out, length > 0 ? "  %.*s" : "%.*s", (int)length, line);
}

static void rules(const struct chart_table *table, const struct kb_chart_point *point) {
    const char *before = "  rule ";
    for (unsigned rule = KB_CHART_BEYOND; rule < KB_CHART_RULES_END; rule++) {
        if ((point->broken & KB_CHART_BIT(rule)) != 0) {
            kb_text_format(table->out, "%s%u", before, rule);
            before = ",";
        }
    }
    kb_text_add(table->out, point->range_beyond ? "  jump" : "");
    kb_text_add(table->out, outside(point) ? "  out of specification" : "");
}

static void casting(const struct chart_table *table, size_t at) {
    const struct kb_chart_point *point = &table->chart->point[at];
    if (point->begins && at > 0) {
        kb_text_add(table->out, "      -- ");
        kb_text_plain(table->out, point->words != NULL ? point->words : "a new stretch");
        kb_text_add(table->out, "\n");
    }
    kb_text_format(table->out, "%5zu%s %-10.10s  ", at + 1, point->baseline ? "." : " ",
                   point->date);
    cell(table, point->specimen, table->name_columns);
    number(table, point->value, 9);
    number(table, point->range, 9);
    if (table->strip) {
        strip(table, point);
    }
    rules(table, point);
    kb_text_add(table->out, "\n");
}

static void head(const struct chart_table *table, size_t first) {
    const struct kb_chart *chart = table->chart;
    kb_text_plain(table->out, chart->casting);
    kb_text_format(table->out, "%s%s, %s\n\n", chart->casting != NULL ? ": " : "",
                   kb_quantity_words(chart->quantity),
                   kb_show_unit(kb_quantity_unit(chart->quantity)));
    if (first > 0) {
        kb_text_format(table->out, "  the last %zu of %zu castings\n", chart->points - first,
                       chart->points);
    }
    kb_text_add(table->out, "   no  cast        ");
    cell(table, "specimen", table->name_columns);
    kb_text_add(table->out, "    value    range\n");
}

static void limits(const struct chart_table *table) {
    const struct kb_chart_stretch *last = &table->chart->stretch[table->chart->stretches - 1];
    if (!last->limited) {
        return;
    }
    kb_text_add(table->out, "\n  mean ");
    number(table, last->mean, 0);
    kb_text_add(table->out, ", control limits ");
    number(table, last->lower, 0);
    kb_text_add(table->out, " to ");
    number(table, last->upper, 0);
    kb_text_add(table->out, "; range up to ");
    number(table, last->range_upper, 0);
    kb_text_format(table->out, "\n  limits from the %zu castings marked with a point\n",
                   last->baseline);
}

/* What the numbers beside the castings mean. */
static void legend(const struct chart_table *table, size_t first) {
    unsigned broken = 0;
    for (size_t i = first; i < table->chart->points; i++) {
        broken |= table->chart->point[i].broken;
    }
    for (unsigned rule = KB_CHART_BEYOND; rule < KB_CHART_RULES_END; rule++) {
        if ((broken & KB_CHART_BIT(rule)) != 0) {
            kb_text_format(table->out, "  rule %u: %s\n", rule,
                           kb_chart_rule_words((enum kb_chart_rule)rule));
        }
    }
}

static void words(const struct chart_table *table, int columns) {
    static const char *const mark[] = {"  - ", "  ! ", " !! "};
    for (size_t i = 0; i < table->chart->findings.count; i++) {
        const struct kb_finding *finding = &table->chart->findings.item[i];
        kb_text_add(table->out, i == 0 ? "\n" : "");
        kb_text_add(table->out, mark[finding->severity]);
        kb_text_wrap(table->out, finding->text, columns, 4, 4);
    }
}

static int widest(const struct kb_chart *chart, size_t first) {
    int most = NAME_LEAST;
    for (size_t i = first; i < chart->points; i++) {
        const int wide = kb_text_columns(chart->point[i].specimen);
        most = wide > most ? wide : most;
    }
    return most < NAME_MOST ? most : NAME_MOST;
}

enum kb_status kb_report_chart_table(const struct kb_chart *chart, int columns, struct kb_text *out,
                                     struct kb_err *err) {
    if (chart->points == 0) {
        return KB_OK;
    }
    struct kb_locale locale = kb_locale_enter();
    struct chart_table table = {.chart = chart, .out = out};
    const size_t first = chart->points > SHOWN_MOST ? chart->points - SHOWN_MOST : 0;
    const struct kb_chart_stretch *last = &chart->stretch[chart->stretches - 1];
    table.decimals = kb_show_decimals(last->limited ? last->sigma : chart->point[first].value);
    table.decimals -= last->limited && table.decimals > 0 ? 1 : 0; /* two digits of sigma */
    table.decimals = table.decimals < 0 ? 0 : table.decimals;
    table.name_columns = widest(chart, first);
    table.strip = columns >= FIXED_COLUMNS + table.name_columns + STRIP - 12;
    head(&table, first);
    for (size_t i = first; i < chart->points; i++) {
        casting(&table, i);
    }
    limits(&table);
    legend(&table, first);
    words(&table, columns);
    kb_locale_leave(locale);
    return kb_text_end(out, err);
}
