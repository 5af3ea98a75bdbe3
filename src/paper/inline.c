/* inline.c - running text: the inline content of an element as one Pango layout.
 *
 * Blanks are folded as a browser folds them; the inline elements of the report (b, code, small,
 * sub, sup, spans with the classes soft, ci, none, small) become attributes of their stretch of
 * text, drawings in a line become shapes of their size.
 */
#include "paper_priv.h"

#include <string.h>

struct builder {
    struct kb_text text;
    PangoAttrList *list;
    bool blank; /* the next blank is folded away */
};

static void attribute(struct builder *builder, PangoAttribute *attr, size_t start) {
    attr->start_index = (guint)start;
    attr->end_index = (guint)builder->text.length;
    /* before: inner elements end first, and of two at one start the later in the list is stronger
     */
    pango_attr_list_insert_before(builder->list, attr);
}

static void colour(struct builder *builder, uint32_t rgb, size_t start) {
    attribute(builder,
              pango_attr_foreground_new((guint16)((rgb >> 16 & 255) * 257),
                                        (guint16)((rgb >> 8 & 255) * 257),
                                        (guint16)((rgb & 255) * 257)),
              start);
}

static void add_words(struct builder *builder, const char *text) {
    for (const char *c = text; *c != '\0'; c++) {
        if (*c == ' ' || *c == '\n' || *c == '\t' || *c == '\r') {
            if (!builder->blank) {
                kb_text_add(&builder->text, " ");
            }
            builder->blank = true;
        } else {
            kb_text_add_bytes(&builder->text, c, 1);
            builder->blank = false;
        }
    }
}

/* U+FFFC, object replacement, with the drawing's size; it stands on the line's x-height. */
static void add_drawing(struct builder *builder, const struct kb_node *svg) {
    double w = 0.0, h = 0.0;
    size_t start = builder->text.length;
    kb_drawing_size(svg, 0.0, &w, &h);
    kb_text_add(&builder->text, "\xef\xbf\xbc");
    PangoRectangle place = {0, (int)(-0.82 * h * PANGO_SCALE), (int)((w + 3.0) * PANGO_SCALE),
                            (int)(h * PANGO_SCALE)};
    union {
        const struct kb_node *node;
        gpointer pointer;
    } data = {.node = svg}; /* drawn, never written to */
    attribute(builder, pango_attr_shape_new_with_data(&place, &place, data.pointer, NULL, NULL),
              start);
    builder->blank = false;
}

static void add_children(struct builder *builder, const struct kb_node *node, double size);

/* How the element's class and tag change its stretch of text. Returns its size in points. */
static double smaller(const struct kb_node *node, double size) {
    if (kb_node_class(node, "digest")) {
        return 0.72 * size;
    }
    if (kb_node_is(node, "code")) {
        return 0.84 * size;
    }
    if (kb_node_is(node, "small")) {
        return 0.58 * size;
    }
    if (kb_node_is(node, "sub") || kb_node_is(node, "sup")) {
        return 0.74 * size;
    }
    return kb_node_class(node, "small") ? 0.88 * size : size;
}

static void add_element(struct builder *builder, const struct kb_node *node, double size) {
    if (kb_node_is(node, "br")) {
        kb_text_add(&builder->text, "\n");
        builder->blank = true;
        return;
    }
    if (kb_node_is(node, "svg")) {
        add_drawing(builder, node);
        return;
    }
    size_t start = builder->text.length;
    double own = smaller(node, size);
    add_children(builder, node, own);
    if (fabs(own - size) > 0.0) {
        attribute(builder, pango_attr_size_new((int)(own * PANGO_SCALE)), start);
    }
    if (kb_node_is(node, "b") || kb_node_is(node, "strong") || kb_node_class(node, "outcome")) {
        attribute(builder, pango_attr_weight_new(PANGO_WEIGHT_BOLD), start);
    }
    if (kb_node_class(node, "soft")) {
        attribute(builder, pango_attr_weight_new(PANGO_WEIGHT_NORMAL), start); /* in headings */
    }
    if (kb_node_is(node, "i")) {
        attribute(builder, pango_attr_style_new(PANGO_STYLE_ITALIC), start);
    }
    if (kb_node_is(node, "sub") || kb_node_is(node, "sup")) {
        double rise = kb_node_is(node, "sub") ? -0.2 : 0.35;
        attribute(builder, pango_attr_rise_new((int)(rise * size * PANGO_SCALE)), start);
    }
    bool code = kb_node_is(node, "code");
    if (code) {
        attribute(builder, pango_attr_family_new("Monospace"), start);
    }
    bool soft = code || kb_node_is(node, "small") || kb_node_class(node, "soft") ||
                kb_node_class(node, "ci") || kb_node_class(node, "none");
    uint32_t own_colour = kb_class_colour(node, soft ? KB_SOFT : KB_INK);
    if (own_colour != KB_INK) {
        colour(builder, own_colour, start);
    }
    if (kb_node_class(node, "outcome")) {
        /* on the page the outcome is a line of its own */
        kb_text_add(&builder->text, node->next != NULL ? "\n" : "");
        builder->blank = true;
    }
}

static void add_children(struct builder *builder, const struct kb_node *node, double size) {
    for (const struct kb_node *child = node->first; child != NULL; child = child->next) {
        if (child->tag == NULL) {
            add_words(builder, child->text);
        } else if (!kb_is_block(child)) {
            add_element(builder, child, size);
        }
    }
}

uint32_t kb_class_colour(const struct kb_node *node, uint32_t otherwise) {
    return kb_node_class(node, "accept")      ? 0x17603fU
           : kb_node_class(node, "reject")    ? 0x9c2226U
           : kb_node_class(node, "undecided") ? 0x7a5200U
           : kb_node_class(node, "nolimits")  ? KB_SOFT
                                              : otherwise;
}

static PangoLayout *layout_of(struct kb_setting *setting, const struct kb_node *node,
                              const struct kb_look_of_text *look) {
    struct builder builder = {KB_TEXT_INIT, pango_attr_list_new(), true};
    add_children(&builder, node, look->size);
    while (builder.text.length > 0 && strchr(" \n", builder.text.data[builder.text.length - 1])) {
        builder.text.data[--builder.text.length] = '\0';
    }
    setting->failed = setting->failed || builder.text.failed;
    /* ligatures off: a search for "field" in the file must find it */
    attribute(&builder, pango_attr_font_features_new("liga 0, clig 0"), 0);
    /* a digest that is broken between two letters must not gain a hyphen */
    attribute(&builder, pango_attr_insert_hyphens_new(FALSE), 0);
    PangoLayout *layout = NULL;
    if (builder.text.length > 0) {
        PangoFontDescription *font = pango_font_description_new();
        pango_font_description_set_family_static(font, look->family);
        pango_font_description_set_absolute_size(font, look->size * PANGO_SCALE);
        pango_font_description_set_weight(font,
                                          look->bold ? PANGO_WEIGHT_BOLD : PANGO_WEIGHT_NORMAL);
        layout = pango_layout_new(setting->pango);
        pango_layout_set_font_description(layout, font);
        pango_layout_set_text(layout, builder.text.data, (int)builder.text.length);
        pango_layout_set_attributes(layout, builder.list);
        pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
        pango_layout_set_line_spacing(layout, 1.12F);
        pango_layout_set_alignment(layout, look->right ? PANGO_ALIGN_RIGHT : PANGO_ALIGN_LEFT);
        pango_font_description_free(font);
    }
    pango_attr_list_unref(builder.list);
    kb_text_release(&builder.text);
    return layout;
}

static double units(int pango_units) {
    return (double)pango_units / PANGO_SCALE;
}

struct kb_box *kb_set_text(struct kb_setting *setting, const struct kb_node *node,
                           const struct kb_look_of_text *look, double width) {
    PangoLayout *layout = layout_of(setting, node, look);
    struct kb_box *box = layout != NULL ? kb_box_new(setting, KB_BOX_TEXT) : NULL;
    if (box == NULL) {
        if (layout != NULL) {
            g_object_unref(layout);
        }
        return NULL;
    }
    if (width > 0.0) {
        pango_layout_set_width(layout, (int)ceil(width * PANGO_SCALE));
    }
    PangoRectangle place;
    pango_layout_get_extents(layout, NULL, &place);
    box->layout = layout;
    box->colour = look->colour;
    box->w = width > 0.0 ? width : units(place.width);
    box->h = units(place.height);
    return box;
}

void kb_text_widths(struct kb_setting *setting, const struct kb_node *node,
                    const struct kb_look_of_text *look, double *least, double *natural) {
    PangoLayout *layout = layout_of(setting, node, look);
    *least = *natural = 0.0;
    if (layout == NULL) {
        return;
    }
    PangoRectangle place;
    pango_layout_get_extents(layout, NULL, &place);
    *least = *natural = units(place.width);
    if (!look->nowrap) {
        pango_layout_set_wrap(layout, PANGO_WRAP_WORD);
        pango_layout_set_width(layout, 0); /* a line a word */
        pango_layout_get_extents(layout, NULL, &place);
        *least = units(place.width);
    }
    g_object_unref(layout);
}

/* Draws a shape at the current point, on the base line. */
static void draw_shape(cairo_t *cairo, PangoAttrShape *shape, gboolean do_path, gpointer data) {
    const struct kb_setting *setting = data;
    const struct kb_node *svg = shape->data;
    if (do_path) {
        return;
    }
    double x = 0.0, y = 0.0, w = 0.0, h = 0.0;
    cairo_get_current_point(cairo, &x, &y);
    kb_drawing_size(svg, 0.0, &w, &h);
    uint32_t rgb = KB_INK;
    for (const struct kb_node *up = svg; up != NULL && rgb == KB_INK; up = up->parent) {
        rgb = kb_class_colour(up, KB_INK);
    }
    cairo_save(cairo);
    cairo_translate(cairo, x, y - 0.82 * h);
    kb_drawing_draw(setting, cairo, svg, w, h, rgb);
    cairo_restore(cairo);
}

void kb_text_prepare(struct kb_setting *setting) {
    pango_cairo_context_set_shape_renderer(setting->pango, draw_shape, setting, NULL);
}
