/* paper_priv.h - from markup to boxes, from boxes to pages. Lengths are points (1/72 inch). */
#ifndef KB_PAPER_PRIV_H
#define KB_PAPER_PRIV_H

#include "keelblock/paper.h"

#include <cairo.h>
#include <pango/pangocairo.h>

/* ---- the markup as a tree (tree.c) -------------------------------------------------------------
 */

struct kb_node {
    char *tag;         /* NULL: a piece of text */
    char *text;        /* of a piece of text */
    char **attribute;  /* name, value, name, value, NULL */
    size_t start, end; /* the element's bytes in the page */
    struct kb_node *first, *last, *next, *parent;
};
KB_NODISCARD enum kb_status kb_tree_read(const char *page, size_t length, struct kb_node **root,
                                         struct kb_err *err);
void kb_tree_release(struct kb_node *root);
const char *kb_node_attribute(const struct kb_node *node, const char *name); /* "" when absent */
bool kb_node_is(const struct kb_node *node, const char *tag);
bool kb_node_class(const struct kb_node *node, const char *class_name);
/* First element below `node`, itself included, with that tag; NULL: none. */
const struct kb_node *kb_node_find(const struct kb_node *node, const char *tag);
/* The n-th child element, from 0; NULL. */
const struct kb_node *kb_node_element(const struct kb_node *node, size_t n);
/* All text below `node`, blanks folded. */
void kb_node_words(const struct kb_node *node, struct kb_text *out);

/* ---- boxes (box.c) -----------------------------------------------------------------------------
 */

enum kb_box_kind { KB_BOX_GROUP, KB_BOX_TEXT, KB_BOX_DRAWING, KB_BOX_PICTURE, KB_BOX_FILL };

struct kb_box {
    enum kb_box_kind kind;
    double x, y, w, h;          /* within the box around it */
    PangoLayout *layout;        /* text */
    const struct kb_node *node; /* drawing, picture */
    uint32_t colour;            /* text, fill, currentColor of a drawing: 0xrrggbb */
    struct kb_box *first, *last, *next;
};

/* What stands below one another and is never split: a line of a table, a paragraph, a figure. */
struct kb_strip {
    struct kb_box *box;
    const struct kb_box *repeat;  /* heads of the table, drawn anew on each page; a view */
    double before, after;         /* room; of two neighbours' the larger counts */
    bool keep;                    /* with the next one */
    const struct kb_node *anchor; /* a heading for the reader's list of contents */
    struct kb_strip *next;
};
struct kb_flow {
    struct kb_strip *first, *last;
};

/* Everything that laying out needs. `failed`: memory ran out; checked at the end. */
struct kb_setting {
    const char *page; /* the markup */
    PangoContext *pango;
    const struct kb_node *defs; /* hatches that drawings share; NULL */
    bool failed;
};

struct kb_box *kb_box_new(struct kb_setting *setting, enum kb_box_kind kind);
void kb_box_put(struct kb_box *into, struct kb_box *box, double x, double y);
void kb_box_release(struct kb_box *box);
void kb_box_draw(const struct kb_setting *setting, cairo_t *cairo, const struct kb_box *box);
struct kb_strip *kb_flow_add(struct kb_setting *setting, struct kb_flow *flow, struct kb_box *box,
                             double before, double after);
/* The strips below one another as one box; the flow is empty then. */
struct kb_box *kb_flow_stack(struct kb_setting *setting, struct kb_flow *flow, double width);
void kb_flow_release(struct kb_flow *flow);

/* ---- text, drawings, pictures ------------------------------------------------------------------
 */

#define KB_INK 0x1d2026U
#define KB_SOFT 0x59606aU
#define KB_LINE 0xd3d6daU
#define KB_BODY_PT 9.2 /* size of running text */

struct kb_look_of_text {
    double size;        /* points */
    const char *family; /* "Sans", "Serif", "Monospace" */
    bool bold, right, nowrap;
    uint32_t colour;
};
/* The inline content of `node` (or of its children from `from` up to a block) as a box of text at
 * most `width` wide; width <= 0: a single line. NULL where there is nothing to read. */
struct kb_box *kb_set_text(struct kb_setting *setting, const struct kb_node *node,
                           const struct kb_look_of_text *look, double width);
/* The widest word and the longest line of it. */
void kb_text_widths(struct kb_setting *setting, const struct kb_node *node,
                    const struct kb_look_of_text *look, double *least, double *natural);
/* Colour that an outcome's class gives; `otherwise` for any other class. */
uint32_t kb_class_colour(const struct kb_node *node, uint32_t otherwise);
/* Ready `pango` to draw the drawings that stand in lines of text. */
void kb_text_prepare(struct kb_setting *setting);

/* Size of an <svg>: its own where stated, else `width` wide in its view box's proportions. */
void kb_drawing_size(const struct kb_node *svg, double width, double *w, double *h);
void kb_drawing_draw(const struct kb_setting *setting, cairo_t *cairo, const struct kb_node *svg,
                     double w, double h, uint32_t colour);
/* Pixels of an <img> whose source is data; false when it is none that can be shown. */
bool kb_picture_size(const struct kb_node *img, double *w, double *h);
void kb_picture_draw(cairo_t *cairo, const struct kb_node *img, double w, double h);

/* ---- blocks ------------------------------------------------------------------------------------
 */

void kb_set_block(struct kb_setting *setting, const struct kb_node *node, double width,
                  struct kb_flow *flow);
void kb_set_children(struct kb_setting *setting, const struct kb_node *node, double width,
                     struct kb_flow *flow);
bool kb_is_block(const struct kb_node *node);
void kb_set_table(struct kb_setting *setting, const struct kb_node *table, double width,
                  struct kb_flow *flow);
/* Children side by side, `columns` to a line, `gap` apart; `shares` NULL: of equal width. */
void kb_set_grid(struct kb_setting *setting, const struct kb_node *node, double width,
                 size_t columns, const double *shares, double gap, struct kb_flow *flow);

#endif
