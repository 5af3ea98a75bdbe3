/* box.c - what is drawn on a page: boxes within boxes, and strips of them below one another. */
#include "paper_priv.h"

struct kb_box *kb_box_new(struct kb_setting *setting, enum kb_box_kind kind) {
    struct kb_box *box = kb_alloc_zero(1, sizeof *box);
    if (box == NULL) {
        setting->failed = true;
        return NULL;
    }
    box->kind = kind;
    box->colour = KB_INK;
    return box;
}

void kb_box_release(struct kb_box *box) {
    while (box != NULL) {
        struct kb_box *next = box->next;
        kb_box_release(box->first);
        if (box->layout != NULL) {
            g_object_unref(box->layout);
        }
        kb_free(box);
        box = next;
    }
}

void kb_box_put(struct kb_box *into, struct kb_box *box, double x, double y) {
    if (into == NULL || box == NULL) {
        kb_box_release(box);
        return;
    }
    box->x = x;
    box->y = y;
    if (into->last == NULL) {
        into->first = box;
    } else {
        into->last->next = box;
    }
    into->last = box;
    into->w = fmax(into->w, x + box->w);
    into->h = fmax(into->h, y + box->h);
}

static void ink(cairo_t *cairo, uint32_t colour) {
    cairo_set_source_rgb(cairo, (double)(colour >> 16 & 255) / 255.0,
                         (double)(colour >> 8 & 255) / 255.0, (double)(colour & 255) / 255.0);
}

static void draw_one(const struct kb_setting *setting, cairo_t *cairo, const struct kb_box *box) {
    switch (box->kind) {
    case KB_BOX_TEXT:
        ink(cairo, box->colour);
        cairo_move_to(cairo, 0.0, 0.0);
        pango_cairo_show_layout(cairo, box->layout);
        break;
    case KB_BOX_FILL:
        ink(cairo, box->colour);
        cairo_rectangle(cairo, 0.0, 0.0, box->w, box->h);
        cairo_fill(cairo);
        break;
    case KB_BOX_DRAWING:
        kb_drawing_draw(setting, cairo, box->node, box->w, box->h, box->colour);
        break;
    case KB_BOX_PICTURE:
        kb_picture_draw(cairo, box->node, box->w, box->h);
        break;
    case KB_BOX_GROUP:
    default:
        break;
    }
}

void kb_box_draw(const struct kb_setting *setting, cairo_t *cairo, const struct kb_box *box) {
    cairo_save(cairo);
    cairo_translate(cairo, box->x, box->y);
    draw_one(setting, cairo, box);
    for (const struct kb_box *child = box->first; child != NULL; child = child->next) {
        kb_box_draw(setting, cairo, child);
    }
    cairo_restore(cairo);
}

struct kb_strip *kb_flow_add(struct kb_setting *setting, struct kb_flow *flow, struct kb_box *box,
                             double before, double after) {
    struct kb_strip *strip = box != NULL ? kb_alloc_zero(1, sizeof *strip) : NULL;
    if (strip == NULL) {
        setting->failed = setting->failed || box != NULL;
        kb_box_release(box);
        return NULL;
    }
    strip->box = box;
    strip->before = before;
    strip->after = after;
    if (flow->last == NULL) {
        flow->first = strip;
    } else {
        flow->last->next = strip;
    }
    flow->last = strip;
    return strip;
}

struct kb_box *kb_flow_stack(struct kb_setting *setting, struct kb_flow *flow, double width) {
    struct kb_box *stack = kb_box_new(setting, KB_BOX_GROUP);
    double y = 0.0, after = 0.0;
    for (struct kb_strip *strip = flow->first; strip != NULL && stack != NULL;
         strip = strip->next) {
        y += strip == flow->first ? 0.0 : fmax(after, strip->before);
        struct kb_box *box = strip->box;
        strip->box = NULL;
        double height = box->h;
        kb_box_put(stack, box, 0.0, y);
        y += height;
        after = strip->after;
    }
    if (stack != NULL) {
        stack->w = fmax(stack->w, width);
    }
    kb_flow_release(flow);
    return stack;
}

void kb_flow_release(struct kb_flow *flow) {
    for (struct kb_strip *strip = flow->first, *next = NULL; strip != NULL; strip = next) {
        next = strip->next;
        kb_box_release(strip->box);
        kb_free(strip);
    }
    *flow = (struct kb_flow){0};
}
