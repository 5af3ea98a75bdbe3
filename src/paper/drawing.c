/* drawing.c - the page's drawings (SVG, by librsvg) and pictures (JPEG and PNG in data addresses).
 *
 * A JPEG goes into the PDF as it is, so that nothing is lost or blown up. Hatches are defined once
 * a page; each drawing takes a copy of them along. A length of the page, a CSS pixel, is 0.75 pt;
 * on paper everything is set at 0.8 of that, as the text is.
 */
#include "paper_priv.h"

#include <librsvg/rsvg.h>
#include <string.h>

/* Points of a pixel of the page: 9.2 pt of text stand for its 16 px. */
#define PX_PT (KB_BODY_PT / 16.0)

static double stated(const struct kb_node *node, const char *name) {
    double value = 0.0;
    return kb_parse_number(kb_node_attribute(node, name), &value) ? value : 0.0;
}

/* The last two of the four numbers of a view box: its size. */
static bool view_box(const struct kb_node *svg, double *w, double *h) {
    char text[80];
    (void)snprintf(text, sizeof text, "%s", kb_node_attribute(svg, "viewBox"));
    char *height = strrchr(text, ' ');
    if (height == NULL) {
        return false;
    }
    *height = '\0';
    char *width = strrchr(text, ' ');
    return width != NULL && kb_parse_number(height + 1, h) && kb_parse_number(width + 1, w) &&
           *w > 0.0 && *h > 0.0;
}

void kb_drawing_size(const struct kb_node *svg, double width, double *w, double *h) {
    double view_w = 0.0, view_h = 0.0;
    *w = stated(svg, "width") * PX_PT;
    *h = stated(svg, "height") * PX_PT;
    if ((*w > 0.0 && *h > 0.0) || !view_box(svg, &view_w, &view_h)) {
        return;
    }
    *w = width > 0.0 ? width : view_w * PX_PT;
    *h = *w * view_h / view_w;
}

/* The drawing as a document of its own: name space and hatches put behind its tag. */
static void whole_drawing(const struct kb_setting *setting, const struct kb_node *svg,
                          struct kb_text *out) {
    static const char opening[] = "<svg";
    const char *from = setting->page + svg->start + sizeof opening - 1;
    const char *end = setting->page + svg->end;
    const char *tag_end = memchr(from, '>', (size_t)(end - from));
    kb_text_add(out, "<svg xmlns=\"http://www.w3.org/2000/svg\"");
    if (tag_end == NULL || tag_end[-1] == '/') {
        kb_text_add(out, " />");
        return;
    }
    kb_text_add_bytes(out, from, (size_t)(tag_end - from) + 1);
    if (setting->defs != NULL) {
        kb_text_add_bytes(out, setting->page + setting->defs->start,
                          setting->defs->end - setting->defs->start);
    }
    kb_text_add_bytes(out, tag_end + 1, (size_t)(end - tag_end) - 1);
}

void kb_drawing_draw(const struct kb_setting *setting, cairo_t *cairo, const struct kb_node *svg,
                     double w, double h, uint32_t colour) {
    struct kb_text text = KB_TEXT_INIT;
    char style[120];
    whole_drawing(setting, svg, &text);
    RsvgHandle *handle =
        text.failed ? NULL
                    : rsvg_handle_new_from_data((const guint8 *)text.data, text.length, NULL);
    if (handle != NULL) {
        (void)snprintf(style, sizeof style,
                       "svg{color:#%06x}text{font-family:sans-serif;fill:#59606a}",
                       (unsigned)colour);
        (void)rsvg_handle_set_stylesheet(handle, (const guint8 *)style, strlen(style), NULL);
        const RsvgRectangle place = {0.0, 0.0, w, h};
        (void)rsvg_handle_render_document(handle, cairo, &place, NULL);
        g_object_unref(handle);
    }
    kb_text_release(&text);
}

/* ---- pictures ----------------------------------------------------------------------------------
 */

struct picture {
    guchar *data;
    gsize size;
    bool png;
};

static bool picture_data(const struct kb_node *img, struct picture *picture) {
    static const char jpeg[] = "data:image/jpeg;base64,", png[] = "data:image/png;base64,";
    const char *source = kb_node_attribute(img, "src");
    *picture = (struct picture){0};
    if (strncmp(source, jpeg, sizeof jpeg - 1) == 0) {
        source += sizeof jpeg - 1;
    } else if (strncmp(source, png, sizeof png - 1) == 0) {
        source += sizeof png - 1;
        picture->png = true;
    } else {
        return false;
    }
    picture->data = g_base64_decode(source, &picture->size);
    return picture->data != NULL;
}

/* Height and width from a frame header (ITU-T T.81, B.2.2): the first marker SOF0 to SOF2. */
static bool jpeg_size(const struct picture *picture, int *w, int *h) {
    const guchar *at = picture->data, *end = at + picture->size;
    if (picture->size < 4 || at[0] != 0xff || at[1] != 0xd8) {
        return false;
    }
    for (at += 2; end - at >= 9 && at[0] == 0xff; at += 2 + (at[2] << 8 | at[3])) {
        if (at[1] >= 0xc0 && at[1] <= 0xc2) {
            *h = at[5] << 8 | at[6];
            *w = at[7] << 8 | at[8];
            return *w > 0 && *h > 0;
        }
    }
    return false;
}

/* Width and height from the first chunk, IHDR (ISO/IEC 15948, 11.2.2). */
static bool png_size(const struct picture *picture, int *w, int *h) {
    const guchar *d = picture->data;
    if (picture->size < 24) {
        return false;
    }
    *w = d[16] << 24 | d[17] << 16 | d[18] << 8 | d[19];
    *h = d[20] << 24 | d[21] << 16 | d[22] << 8 | d[23];
    return *w > 0 && *h > 0;
}

bool kb_picture_size(const struct kb_node *img, double *w, double *h) {
    struct picture picture;
    int width = 0, height = 0;
    bool known =
        picture_data(img, &picture) &&
        (picture.png ? png_size(&picture, &width, &height) : jpeg_size(&picture, &width, &height));
    g_free(picture.data);
    *w = width;
    *h = height;
    return known;
}

struct reader {
    const struct picture *picture;
    gsize at;
};

static cairo_status_t next_bytes(void *context, unsigned char *data, unsigned int length) {
    struct reader *reader = context;
    if (length > reader->picture->size - reader->at) {
        return CAIRO_STATUS_READ_ERROR;
    }
    memcpy(data, reader->picture->data + reader->at, length);
    reader->at += length;
    return CAIRO_STATUS_SUCCESS;
}

/* The surface carries the JPEG's own bytes; its pixels are never looked at when they go to PDF. */
static cairo_surface_t *surface_of(struct picture *picture) {
    int w = 0, h = 0;
    if (picture->png) {
        struct reader reader = {picture, 0};
        return cairo_image_surface_create_from_png_stream(next_bytes, &reader);
    }
    if (!jpeg_size(picture, &w, &h)) {
        return NULL;
    }
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_A8, w, h);
    if (cairo_surface_set_mime_data(surface, CAIRO_MIME_TYPE_JPEG, picture->data, picture->size,
                                    g_free, picture->data) == CAIRO_STATUS_SUCCESS) {
        picture->data = NULL; /* the surface's now */
    }
    return surface;
}

void kb_picture_draw(cairo_t *cairo, const struct kb_node *img, double w, double h) {
    struct picture picture;
    cairo_surface_t *surface = picture_data(img, &picture) ? surface_of(&picture) : NULL;
    if (surface != NULL && cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS) {
        cairo_save(cairo);
        cairo_scale(cairo, w / cairo_image_surface_get_width(surface),
                    h / cairo_image_surface_get_height(surface));
        cairo_set_source_surface(cairo, surface, 0.0, 0.0);
        cairo_paint(cairo);
        cairo_restore(cairo);
    }
    cairo_surface_destroy(surface);
    g_free(picture.data);
}
