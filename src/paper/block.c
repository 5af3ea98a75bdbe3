/* block.c - blocks of the page below one another: headings, paragraphs, lists, verdict, figures.
 *
 * Each block element of the report has its rule in one table, by tag or class; what has none is a
 * container whose children follow one another. Room above and below is in points and follows the
 * style sheet of the page (report/html_style.c) in proportion.
 */
#include "paper_priv.h"

#include <string.h>

static const struct kb_look_of_text body = {KB_BODY_PT, "Sans", false, false, false, KB_INK};

/* ---- paragraphs and headings -------------------------------------------------------------------
 */

struct text_rule {
    const char *tag, *class_name; /* class NULL: any */
    struct kb_look_of_text look;
    double before, after;
    bool keep, rule_above, anchor;
};

static const struct text_rule text_rules[] = {
    {"h1", NULL, {19.0, "Serif", true, false, false, KB_INK}, 1.0, 2.0, true, false, false},
    {"h2", NULL, {13.0, "Serif", true, false, false, KB_INK}, 0.0, 7.0, true, true, true},
    {"h3", NULL, {9.6, "Sans", true, false, false, KB_INK}, 13.0, 4.0, true, false, false},
    {"p", "sub", {KB_BODY_PT, "Sans", false, false, false, KB_SOFT}, 0.0, 4.0, false, false, false},
    {"p",
     "counts",
     {KB_BODY_PT, "Sans", false, false, false, KB_SOFT},
     9.0,
     4.0,
     false,
     false,
     false},
    {"figcaption",
     NULL,
     {7.9, "Sans", false, false, false, KB_SOFT},
     2.5,
     0.0,
     false,
     false,
     false},
    {"dt", NULL, {7.9, "Sans", false, false, false, KB_SOFT}, 0.0, 0.0, false, false, false},
    {"caption", NULL, {7.9, "Sans", false, false, false, KB_SOFT}, 0.0, 3.0, true, false, false},
};

static double size_of_class(const struct kb_node *node, double size) {
    return kb_node_class(node, "small") ? 0.88 * size : size;
}

static struct text_rule rule_of(const struct kb_node *node) {
    for (size_t i = 0; i < sizeof text_rules / sizeof text_rules[0]; i++) {
        const struct text_rule *rule = &text_rules[i];
        if (kb_node_is(node, rule->tag) &&
            (rule->class_name == NULL || kb_node_class(node, rule->class_name))) {
            return *rule;
        }
    }
    struct text_rule rule = {.look = body, .before = 4.0, .after = 4.0};
    rule.look.size = size_of_class(node, KB_BODY_PT);
    rule.look.colour = kb_node_class(node, "soft") ? KB_SOFT : KB_INK;
    return rule;
}

static struct kb_box *filled(struct kb_setting *setting, double w, double h, uint32_t colour) {
    struct kb_box *box = kb_box_new(setting, KB_BOX_FILL);
    if (box != NULL) {
        box->w = w;
        box->h = h;
        box->colour = colour;
    }
    return box;
}

/* A line of text longer than this is easier read narrower, points. */
static const double measure_most = 430.0;

/* On a single sheet, where room is short, lines are as long as it is wide. */
static double measure_of(const struct kb_node *node, double width) {
    const bool sheet = node->parent != NULL && kb_node_class(node->parent, "sheet");
    return sheet ? width : fmin(width, measure_most);
}

static void set_paragraph(struct kb_setting *setting, const struct kb_node *node, double width,
                          struct kb_flow *flow) {
    struct text_rule rule = rule_of(node);
    bool heading = rule.keep;
    struct kb_box *text =
        kb_set_text(setting, node, &rule.look, heading ? width : measure_of(node, width));
    if (text == NULL) {
        return;
    }
    if (rule.rule_above) {
        /* a section starts: a hairline, then its heading */
        struct kb_box *group = kb_box_new(setting, KB_BOX_GROUP);
        kb_box_put(group, filled(setting, width, 0.6, KB_LINE), 0.0, 0.0);
        kb_box_put(group, text, 0.0, 10.0);
        text = group;
        rule.before = 20.0;
    }
    struct kb_strip *strip = kb_flow_add(setting, flow, text, rule.before, rule.after);
    if (strip != NULL) {
        strip->keep = rule.keep;
        strip->anchor = rule.anchor ? node : NULL;
    }
}

/* A bar at the left, for what must not be passed over. */
static void set_caution(struct kb_setting *setting, const struct kb_node *node, double width,
                        struct kb_flow *flow) {
    struct kb_box *text = kb_set_text(setting, node, &body, width - 9.0);
    struct kb_box *group = kb_box_new(setting, KB_BOX_GROUP);
    double height = text != NULL ? text->h : 0.0;
    kb_box_put(group, filled(setting, 1.8, height + 3.0, KB_INK), 0.0, 0.0);
    kb_box_put(group, text, 9.0, 1.5);
    (void)kb_flow_add(setting, flow, group, 6.0, 6.0);
}

/* Two spans, left and right of one line. */
static void set_kind(struct kb_setting *setting, const struct kb_node *node, double width,
                     struct kb_flow *flow) {
    struct kb_look_of_text look = {8.0, "Sans", false, false, false, KB_SOFT};
    const struct kb_node *left = kb_node_element(node, 0), *right = kb_node_element(node, 1);
    struct kb_box *group = kb_box_new(setting, KB_BOX_GROUP);
    struct kb_box *end = right != NULL ? kb_set_text(setting, right, &look, 0.0) : NULL;
    double right_width = end != NULL ? end->w : 0.0;
    if (left != NULL) {
        kb_box_put(group, kb_set_text(setting, left, &look, width - right_width - 10.0), 0.0, 0.0);
    }
    kb_box_put(group, end, width - right_width, 0.0);
    (void)kb_flow_add(setting, flow, group, 0.0, 3.0);
}

/* ---- lists -------------------------------------------------------------------------------------
 */

/* A mark at the left, and the item beside it. */
static void set_item(struct kb_setting *setting, const struct kb_node *item, const char *mark,
                     double size, double width, struct kb_flow *flow) {
    struct kb_look_of_text look = {size, "Sans", false, false, false, KB_INK};
    struct kb_text words = KB_TEXT_INIT;
    kb_text_add(&words, mark);
    struct kb_node text = {.text = words.data};
    struct kb_node holder = {.first = &text, .last = &text};
    struct kb_box *group = kb_box_new(setting, KB_BOX_GROUP);
    kb_box_put(group, kb_set_text(setting, &holder, &look, 0.0), 0.0, 0.0);
    kb_text_release(&words);
    kb_box_put(group, kb_set_text(setting, item, &look, fmin(width, measure_most) - 14.0), 14.0,
               0.0);
    (void)kb_flow_add(setting, flow, group, 2.0, 2.0);
}

static void set_list(struct kb_setting *setting, const struct kb_node *list, double width,
                     struct kb_flow *flow) {
    size_t number = 1;
    for (const struct kb_node *item = list->first; item != NULL; item = item->next) {
        if (kb_node_is(item, "li")) {
            char mark[24] = "•";
            if (kb_node_is(list, "ol")) {
                (void)snprintf(mark, sizeof mark, "%zu.", number++);
            }
            set_item(setting, item, mark, size_of_class(list, KB_BODY_PT), width, flow);
        }
    }
}

/* Findings: a mark in a column of its own, a hairline above each. */
static void set_findings(struct kb_setting *setting, const struct kb_node *list, double width,
                         struct kb_flow *flow) {
    for (const struct kb_node *item = list->first; item != NULL; item = item->next) {
        const struct kb_node *mark = item->tag != NULL ? kb_node_element(item, 0) : NULL;
        const struct kb_node *words = mark != NULL ? kb_node_element(item, 1) : NULL;
        if (words == NULL) {
            continue;
        }
        uint32_t colour = kb_node_class(item, "serious")   ? 0x9c2226U
                          : kb_node_class(item, "warning") ? 0x7a5200U
                                                           : KB_SOFT;
        struct kb_look_of_text sign = {10.0, "Sans", true, false, false, colour};
        struct kb_box *group = kb_box_new(setting, KB_BOX_GROUP);
        kb_box_put(group, filled(setting, width, 0.5, KB_LINE), 0.0, 0.0);
        kb_box_put(group, kb_set_text(setting, mark, &sign, 0.0), 3.0, 2.5);
        kb_box_put(group, kb_set_text(setting, words, &body, fmin(width, measure_most + 60) - 20.0),
                   20.0, 3.5);
        (void)kb_flow_add(setting, flow, group, 2.0, 2.0);
    }
}

/* Items one after another, as many as a line takes. */
static void set_legend(struct kb_setting *setting, const struct kb_node *list, double width,
                       struct kb_flow *flow) {
    struct kb_look_of_text look = {7.9, "Sans", false, false, false, KB_INK};
    struct kb_box *group = kb_box_new(setting, KB_BOX_GROUP);
    double x = 0.0, y = 0.0, high = 0.0;
    for (const struct kb_node *item = list->first; item != NULL; item = item->next) {
        struct kb_box *box = item->tag != NULL ? kb_set_text(setting, item, &look, 0.0) : NULL;
        if (box != NULL && box->w > width) {
            kb_box_release(box);
            box = kb_set_text(setting, item, &look, width);
        }
        if (box != NULL) {
            if (x > 0.0 && x + box->w > width) {
                x = 0.0;
                y += high + 2.5;
                high = 0.0;
            }
            double w = box->w;
            high = fmax(high, box->h);
            kb_box_put(group, box, x, y);
            x += w + 14.0;
        }
    }
    (void)kb_flow_add(setting, flow, group, 6.0, 6.0);
}

/* Lines of type, each its own strip, so that long ones part between pages. */
static void set_lines(struct kb_setting *setting, const struct kb_node *node, double width,
                      struct kb_flow *flow) {
    struct kb_look_of_text look = {7.8, "Monospace", false, false, false, KB_INK};
    for (const struct kb_node *item = node->first; item != NULL; item = item->next) {
        struct kb_box *text =
            item->tag != NULL ? kb_set_text(setting, item, &look, width - 12.0) : NULL;
        if (text != NULL) {
            struct kb_box *group = kb_box_new(setting, KB_BOX_GROUP);
            kb_box_put(group, filled(setting, width, text->h + 2.0, 0xf4f4f0U), 0.0, 0.0);
            kb_box_put(group, text, 6.0, 1.0);
            (void)kb_flow_add(setting, flow, group, 0.0, 0.0);
        }
    }
}

/* Preformatted text: its line breaks hold. */
static void set_preformatted(struct kb_setting *setting, const struct kb_node *node, double width,
                             struct kb_flow *flow) {
    struct kb_look_of_text look = {7.4, "Monospace", false, false, false, KB_INK};
    const char *at = node->first != NULL && node->first->text != NULL ? node->first->text : "";
    while (*at != '\0') {
        size_t length = strcspn(at, "\n");
        struct kb_text line = KB_TEXT_INIT;
        kb_text_add(&line, " ");
        kb_text_add_bytes(&line, at, length);
        setting->failed = setting->failed || line.failed;
        struct kb_node text = {.text = line.data};
        struct kb_node holder = {.first = &text, .last = &text};
        if (!line.failed) {
            (void)kb_flow_add(setting, flow, kb_set_text(setting, &holder, &look, width), 0.0, 0.0);
        }
        kb_text_release(&line);
        at += length + (at[length] == '\n');
    }
}

/* ---- verdict, figures --------------------------------------------------------------------------
 */

static void set_verdict(struct kb_setting *setting, const struct kb_node *node, double width,
                        struct kb_flow *flow) {
    enum { SIGN_PT = 36 };
    uint32_t colour = kb_class_colour(node, KB_INK);
    const struct kb_node *svg = kb_node_element(node, 0), *words = kb_node_element(node, 1);
    struct kb_box *group = kb_box_new(setting, KB_BOX_GROUP);
    if (svg == NULL || words == NULL || group == NULL) {
        kb_box_release(group);
        return;
    }
    struct kb_box *sign = kb_box_new(setting, KB_BOX_DRAWING);
    if (sign != NULL) {
        sign->node = svg;
        sign->w = sign->h = SIGN_PT;
        sign->colour = colour;
    }
    kb_box_put(group, filled(setting, width, 2.0, colour), 0.0, 0.0);
    kb_box_put(group, sign, 0.0, 12.0);
    struct kb_look_of_text loud = {17.0, "Serif", true, false, false, colour};
    double y = 12.0;
    for (const struct kb_node *part = words->first; part != NULL; part = part->next) {
        if (part->tag != NULL) {
            struct kb_box *box = kb_set_text(setting, part, y > 12.0 ? &body : &loud, width - 52.0);
            double h = box != NULL ? box->h : 0.0;
            kb_box_put(group, box, 50.0, y);
            y += h + 1.0;
        }
    }
    double foot = fmax(y, 12.0 + SIGN_PT) + 9.0;
    kb_box_put(group, filled(setting, width, 0.6, KB_LINE), 0.0, foot);
    (void)kb_flow_add(setting, flow, group, 14.0, 12.0);
}

static void set_drawing(struct kb_setting *setting, const struct kb_node *svg, double width,
                        struct kb_flow *flow) {
    double w = 0.0, h = 0.0;
    kb_drawing_size(svg, width, &w, &h);
    struct kb_box *box = w > 0.0 ? kb_box_new(setting, KB_BOX_DRAWING) : NULL;
    if (box != NULL) {
        double shrink = fmin(1.0, width / w);
        box->node = svg;
        box->w = w * shrink;
        box->h = h * shrink;
        (void)kb_flow_add(setting, flow, box, 3.0, 3.0);
    }
}

/* A picture is never blown up beyond 100 pixels an inch, and never higher than half a page. */
static void set_picture(struct kb_setting *setting, const struct kb_node *img, double width,
                        struct kb_flow *flow) {
    enum { HIGHEST_PT = 330 };
    double w = 0.0, h = 0.0;
    if (!kb_picture_size(img, &w, &h)) {
        return;
    }
    double scale = fmin(fmin(width / w, 0.72), HIGHEST_PT / h);
    double said = kb_node_class(img, "mark") ? fmin(40.0 / h, width / w) : scale;
    struct kb_box *box = kb_box_new(setting, KB_BOX_PICTURE);
    if (box != NULL) {
        box->node = img;
        box->w = w * said;
        box->h = h * said;
        (void)kb_flow_add(setting, flow, box, 0.0, kb_node_class(img, "mark") ? 9.0 : 0.0);
    }
}

/* Never split: a heading with its pictures, a figure with its caption, a field's figures. */
static void set_together(struct kb_setting *setting, const struct kb_node *node, double width,
                         struct kb_flow *flow) {
    struct kb_flow own = {0};
    kb_set_children(setting, node, width, &own);
    double before = own.first != NULL ? own.first->before : 0.0;
    struct kb_box *stack = kb_flow_stack(setting, &own, width);
    (void)kb_flow_add(setting, flow, stack, before, 4.0);
}

static void set_lead(struct kb_setting *setting, const struct kb_node *node, double width,
                     struct kb_flow *flow) {
    kb_set_grid(setting, node, width, 5, NULL, 12.0, flow);
}
static void set_facts(struct kb_setting *setting, const struct kb_node *node, double width,
                      struct kb_flow *flow) {
    kb_set_grid(setting, node, width, 5, NULL, 10.0, flow);
}
static void set_two(struct kb_setting *setting, const struct kb_node *node, double width,
                    struct kb_flow *flow) {
    kb_set_grid(setting, node, width, 2, NULL, 14.0, flow);
}
static void set_sign(struct kb_setting *setting, const struct kb_node *node, double width,
                     struct kb_flow *flow) {
    static const double shares[] = {0.38, 0.38, 0.24};
    struct kb_strip *before = flow->last;
    kb_set_grid(setting, node, width, 3, shares, 16.0, flow);
    struct kb_strip *first = before != NULL ? before->next : flow->first;
    if (first != NULL) {
        first->before = 44.0; /* room to sign in */
    }
}

/* A block within a figures' list: name, value, what it is of, each a line. */
static void set_figure_lines(struct kb_setting *setting, const struct kb_node *node, double width,
                             struct kb_flow *flow) {
    bool lead = node->parent != NULL && kb_node_class(node->parent, "lead");
    for (const struct kb_node *part = node->first; part != NULL; part = part->next) {
        if (part->tag != NULL) {
            struct kb_look_of_text look = body;
            bool name = kb_node_is(part, "dt");
            look.bold = lead && name;
            look.size = kb_node_class(part, "value") ? 16.0 : size_of_class(part, lead ? 8.6 : 8.0);
            look.colour = (name && !lead) || kb_node_class(part, "soft") ? KB_SOFT : KB_INK;
            (void)kb_flow_add(setting, flow, kb_set_text(setting, part, &look, width), 0.0, 0.0);
        }
    }
}

/* A line to sign on, what belongs there below it. */
static void set_line_to_sign(struct kb_setting *setting, const struct kb_node *node, double width,
                             struct kb_flow *flow) {
    struct kb_look_of_text look = {7.9, "Sans", false, false, false, KB_SOFT};
    struct kb_box *group = kb_box_new(setting, KB_BOX_GROUP);
    const struct kb_node *name = kb_node_find(node, "b");
    kb_box_put(group, filled(setting, width, 0.7, KB_INK), 0.0, 0.0);
    struct kb_node rest = {.first = name != NULL ? name->next : node->first};
    struct kb_look_of_text bold = {8.6, "Sans", true, false, false, KB_INK};
    if (name != NULL) {
        kb_box_put(group, kb_set_text(setting, name, &bold, width), 0.0, 3.0);
    }
    kb_box_put(group, kb_set_text(setting, &rest, &look, width), 0.0, 15.0);
    (void)kb_flow_add(setting, flow, group, 0.0, 0.0);
}

/* Words at the left, what they mean beside them. */
static void set_meanings(struct kb_setting *setting, const struct kb_node *node, double width,
                         struct kb_flow *flow) {
    const double column = 62.0;
    struct kb_look_of_text name = {8.0, "Sans", false, false, false, KB_SOFT};
    struct kb_look_of_text meaning = {8.0, "Sans", false, false, false, KB_INK};
    for (const struct kb_node *item = node->first; item != NULL; item = item->next) {
        const struct kb_node *dt = item->tag != NULL ? kb_node_find(item, "dt") : NULL;
        const struct kb_node *dd = item->tag != NULL ? kb_node_find(item, "dd") : NULL;
        struct kb_box *group = kb_box_new(setting, KB_BOX_GROUP);
        if (dt != NULL) {
            kb_box_put(group, kb_set_text(setting, dt, &name, column - 4.0), 0.0, 0.0);
        }
        if (dd != NULL) {
            kb_box_put(group, kb_set_text(setting, dd, &meaning, width - column), column, 0.0);
        }
        struct kb_strip *strip =
            kb_flow_add(setting, flow, group, item == node->first ? 3.0 : 0.0, 1.5);
        if (strip != NULL) {
            strip->keep = item->next != NULL;
        }
    }
}

static void set_nothing(struct kb_setting *setting, const struct kb_node *node, double width,
                        struct kb_flow *flow) {
    (void)setting;
    (void)node;
    (void)width;
    (void)flow;
}

/* ---- which rule for which element --------------------------------------------------------------
 */

static const struct {
    const char *tag, *class_name; /* NULL: any */
    void (*set)(struct kb_setting *setting, const struct kb_node *node, double width,
                struct kb_flow *flow);
} rules[] = {
    {"p", "kind", set_kind},
    {"p", "caution", set_caution},
    {"div", "verdict", set_verdict},
    {"ul", "findings", set_findings},
    {"ul", "legend", set_legend},
    {"ol", "working", set_lines},
    {NULL, "screen", set_nothing},
    {"pre", NULL, set_preformatted},
    {"ul", NULL, set_list},
    {"ol", NULL, set_list},
    {"dl", "lead", set_lead},
    {"dl", "facts", set_facts},
    {"div", "charts", set_two},
    {"div", "pair", set_two},
    {"div", "sign", set_sign},
    {"div", "head", set_together},
    {"figure", NULL, set_together},
    {"table", NULL, kb_set_table},
    {"svg", NULL, set_drawing},
    {"img", NULL, set_picture},
    {"p", NULL, set_paragraph},
    {"h1", NULL, set_paragraph},
    {"h2", NULL, set_paragraph},
    {"h3", NULL, set_paragraph},
    {"figcaption", NULL, set_paragraph},
    {"caption", NULL, set_paragraph},
    {"main", NULL, kb_set_children},
    {"header", NULL, kb_set_children},
    {"section", NULL, kb_set_children},
    {"div", NULL, kb_set_children},
    {"dl", NULL, set_meanings},
};

bool kb_is_block(const struct kb_node *node) {
    if (node->tag == NULL || kb_node_is(node, "svg") || kb_node_is(node, "img")) {
        return false;
    }
    for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++) {
        if (rules[i].tag != NULL && kb_node_is(node, rules[i].tag)) {
            return true;
        }
    }
    return false;
}

void kb_set_block(struct kb_setting *setting, const struct kb_node *node, double width,
                  struct kb_flow *flow) {
    const struct kb_node *parent = node->parent;
    if (parent != NULL && (kb_node_class(parent, "lead") || kb_node_class(parent, "facts"))) {
        set_figure_lines(setting, node, width, flow);
        return;
    }
    if (parent != NULL && kb_node_class(parent, "sign")) {
        set_line_to_sign(setting, node, width, flow);
        return;
    }
    for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++) {
        if ((rules[i].tag == NULL || kb_node_is(node, rules[i].tag)) &&
            (rules[i].class_name == NULL || kb_node_class(node, rules[i].class_name))) {
            rules[i].set(setting, node, width, flow);
            return;
        }
    }
    set_paragraph(setting, node, width, flow); /* unknown: nothing that was written is left out */
}

void kb_set_children(struct kb_setting *setting, const struct kb_node *node, double width,
                     struct kb_flow *flow) {
    bool blocks = false;
    for (const struct kb_node *child = node->first; child != NULL && !blocks; child = child->next) {
        blocks = kb_is_block(child) || kb_node_is(child, "svg") || kb_node_is(child, "img");
    }
    if (!blocks) {
        set_paragraph(setting, node, width, flow);
        return;
    }
    for (const struct kb_node *child = node->first; child != NULL; child = child->next) {
        if (child->tag != NULL) {
            kb_set_block(setting, child, width, flow);
        }
    }
}
