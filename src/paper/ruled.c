/* ruled.c - tables: columns as wide as their content asks for, heads anew on each page.
 *
 * Widths as in CSS 2.1, 17.5.2.2: every column gets its least (the widest word) and a share of the
 * rest in proportion to how much more its longest line would like. A table that is too wide even at
 * its least is set smaller, down to three quarters, before words are broken.
 */
#include "paper_priv.h"

#include <string.h>

enum { COLUMNS_MOST = 24 };

#define CELL_GAP 8.0
#define CELL_TOP 3.0
#define CELL_FOOT 3.0

struct table {
    double least[COLUMNS_MOST], natural[COLUMNS_MOST], width[COLUMNS_MOST];
    bool used[COLUMNS_MOST]; /* something stands in it */
    size_t columns;
    double size; /* of its text, points */
};

/* A figure stays on one line; the reason why there is none may be long. */
static bool is_reason(const struct kb_node *cell) {
    const struct kb_node *inner = kb_node_element(cell, 0);
    while (inner != NULL && !kb_node_class(inner, "none")) {
        inner = kb_node_element(inner, 0);
    }
    return inner != NULL;
}

static struct kb_look_of_text look_of(const struct kb_node *cell, double size) {
    bool head = kb_node_is(cell, "th"), number = kb_node_class(cell, "n");
    struct kb_look_of_text look = {head ? 0.9 * size : size,
                                   "Sans",
                                   head,
                                   number,
                                   number && !head && !is_reason(cell),
                                   KB_INK};
    look.colour = head || kb_node_class(cell, "none") ? KB_SOFT : KB_INK;
    return look;
}

static size_t span_of(const struct kb_node *cell) {
    int64_t span = 1;
    bool said = kb_parse_integer(kb_node_attribute(cell, "colspan"), 1, COLUMNS_MOST, &span);
    return said ? (size_t)span : 1;
}

static void measure_row(struct kb_setting *setting, const struct kb_node *row,
                        struct table *table) {
    size_t column = 0;
    for (const struct kb_node *cell = row->first; cell != NULL; cell = cell->next) {
        if (cell->tag == NULL || column >= COLUMNS_MOST) {
            continue;
        }
        struct kb_look_of_text look = look_of(cell, table->size);
        size_t span = span_of(cell);
        if (span == 1) {
            double least = 0.0, natural = 0.0;
            kb_text_widths(setting, cell, &look, &least, &natural);
            if (kb_node_class(cell, "path")) {
                least = fmin(least, 90.0); /* file names and digests may break anywhere */
            }
            table->least[column] = fmax(table->least[column], least);
            table->natural[column] = fmax(table->natural[column], natural);
        }
        column += span;
    }
    table->columns = column > table->columns ? column : table->columns;
}

static void each_row(struct kb_setting *setting, const struct kb_node *node, struct table *table) {
    for (const struct kb_node *child = node->first; child != NULL; child = child->next) {
        if (kb_node_is(child, "tr")) {
            measure_row(setting, child, table);
        } else if (child->tag != NULL) {
            each_row(setting, child, table);
        }
    }
}

static double sum(const double *value, size_t count) {
    double total = 0.0;
    for (size_t i = 0; i < count; i++) {
        total += value[i];
    }
    return total;
}

static void share_out(struct table *table, double width) {
    double gaps = CELL_GAP * (double)(table->columns > 0 ? table->columns - 1 : 0);
    double room = width - gaps;
    double least = sum(table->least, table->columns), natural = sum(table->natural, table->columns);
    for (size_t i = 0; i < table->columns; i++) {
        if (least >= room) {
            table->width[i] = room * table->least[i] / least;
        } else if (natural >= room) {
            table->width[i] = table->least[i] + (room - least) *
                                                    (table->natural[i] - table->least[i]) /
                                                    (natural - least);
        } else {
            /* what is over goes to every column alike, as far as a table should be stretched */
            double most = fmin(room, natural + 26.0 * (double)table->columns);
            table->width[i] = table->natural[i] + (most - natural) / (double)table->columns;
        }
    }
}

static void measure(struct kb_setting *setting, const struct kb_node *node, double width,
                    struct table *table) {
    double size = KB_BODY_PT * 0.93;
    for (int attempt = 0; attempt < 4; attempt++) {
        *table = (struct table){.size = size};
        each_row(setting, node, table);
        double gaps = CELL_GAP * (double)(table->columns > 0 ? table->columns - 1 : 0);
        if (sum(table->least, table->columns) + gaps <= width) {
            break;
        }
        size *= 0.92;
    }
    share_out(table, width);
}

static struct kb_box *set_row(struct kb_setting *setting, const struct kb_node *row,
                              const struct table *table, double width) {
    struct kb_box *group = kb_box_new(setting, KB_BOX_GROUP);
    double x = 0.0, high = 0.0;
    size_t column = 0;
    for (const struct kb_node *cell = row->first; cell != NULL; cell = cell->next) {
        if (cell->tag == NULL || column >= table->columns) {
            continue;
        }
        size_t end = column + span_of(cell);
        end = end < table->columns ? end : table->columns;
        double own =
            sum(table->width + column, end - column) + CELL_GAP * (double)(end - column - 1);
        struct kb_look_of_text look = look_of(cell, table->size);
        struct kb_box *text = kb_set_text(setting, cell, &look, own);
        high = fmax(high, text != NULL ? text->h : 0.0);
        kb_box_put(group, text, x, CELL_TOP);
        x += own + CELL_GAP;
        column = end;
    }
    struct kb_box *line = kb_box_new(setting, KB_BOX_FILL);
    if (line != NULL) {
        line->colour = KB_LINE;
        line->w = width;
        line->h = 0.5;
    }
    kb_box_put(group, line, 0.0, high + CELL_TOP + CELL_FOOT);
    return group;
}

/* Heads stand at the foot of their line. */
static void to_foot(struct kb_box *row) {
    for (struct kb_box *cell = row != NULL ? row->first : NULL; cell != NULL; cell = cell->next) {
        if (cell->kind == KB_BOX_TEXT) {
            cell->y = row->h - 0.5 - CELL_FOOT - cell->h;
        }
    }
}

static void add_rows(struct kb_setting *setting, const struct kb_node *node,
                     const struct table *table, double width, const struct kb_box **heads,
                     struct kb_flow *flow) {
    for (const struct kb_node *child = node->first; child != NULL; child = child->next) {
        if (child->tag == NULL) {
            continue;
        }
        if (!kb_node_is(child, "tr")) {
            if (kb_node_is(child, "caption")) {
                kb_set_block(setting, child, width, flow);
            } else {
                add_rows(setting, child, table, width, heads, flow);
            }
            continue;
        }
        struct kb_box *row = set_row(setting, child, table, width);
        bool head = kb_node_is(node, "thead");
        if (head) {
            to_foot(row);
        }
        struct kb_strip *strip = kb_flow_add(setting, flow, row, head ? 5.0 : 0.0, 0.0);
        if (strip != NULL && head) {
            strip->keep = true;
            *heads = strip->box;
        } else if (strip != NULL) {
            strip->repeat = *heads;
        }
    }
}

/* A short table stays whole; of a long one neither the first nor the last line stands alone. */
static void keep_lines(struct kb_strip *first) {
    enum { SHORT = 8 };
    size_t lines = 0;
    for (const struct kb_strip *strip = first; strip != NULL; strip = strip->next) {
        lines++;
    }
    size_t at = 0;
    for (struct kb_strip *strip = first; strip != NULL; strip = strip->next, at++) {
        bool edge = at < 2 || at + 2 == lines;
        strip->keep = (lines <= SHORT || edge) && strip->next != NULL;
    }
}

void kb_set_table(struct kb_setting *setting, const struct kb_node *node, double width,
                  struct kb_flow *flow) {
    struct table table;
    const struct kb_box *heads = NULL;
    struct kb_strip *before = flow->last;
    measure(setting, node, width, &table);
    add_rows(setting, node, &table, width, &heads, flow);
    keep_lines(before != NULL ? before->next : flow->first);
    if (flow->last != NULL) {
        flow->last->after = 7.0;
    }
}
