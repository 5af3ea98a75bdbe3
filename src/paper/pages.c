/* pages.c - strips onto pages, pages into a PDF (cairo), with running heads and page numbers.
 *
 * First every strip is given its page and height on it, so that the number of pages is known when
 * the first is drawn. What belongs together stays together: headings go with what follows them, the
 * heads of a table are drawn anew on each page. The document's headings become the reader's list of
 * contents. The date in the file's properties is the one of the measurement: the same page gives
 * the same bytes.
 */
#include "paper_priv.h"

#include "keelblock/version.h"

#include <cairo-pdf.h>
#include <string.h>
#include <strings.h>

struct sheet {
    double width, height;
};
static const struct sheet sheets[KB_PAPERS] = {
    [KB_PAPER_NONE] = {0.0, 0.0},
    [KB_PAPER_A4] = {595.276, 841.890},
    [KB_PAPER_LETTER] = {612.0, 792.0},
};
static const char *const names[KB_PAPERS] = {"none", "a4", "letter"};

/* Margins, points: 16 mm at the sides, 21 mm above for the running head, 19 mm below. */
#define SIDE 46.0
#define ABOVE 60.0
#define BELOW 54.0

const char *kb_paper_name(enum kb_paper paper) {
    return paper >= 0 && paper < KB_PAPERS ? names[paper] : names[KB_PAPER_NONE];
}

bool kb_paper_by_name(const char *name, enum kb_paper *paper) {
    for (int i = 0; i < KB_PAPERS; i++) {
        if (strcasecmp(name, names[i]) == 0) {
            *paper = (enum kb_paper)i;
            return true;
        }
    }
    return false;
}

struct kb_paper_params kb_paper_params_default(void) {
    return (struct kb_paper_params){.paper = KB_PAPER_A4, .page_words = "page %zu of %zu"};
}

/* ---- where each strip goes ---------------------------------------------------------------------
 */

struct place {
    const struct kb_strip *strip;
    size_t page;
    double y;
    bool heads; /* the table's heads stand above it once more */
};

/* Height of the strip with all that must stand on its page: those it is kept with. */
static double chain_height(const struct kb_strip *strip) {
    double height = strip->box->h;
    while (strip->keep && strip->next != NULL) {
        height += fmax(strip->after, strip->next->before) + strip->next->box->h;
        strip = strip->next;
    }
    return height;
}

static size_t place_all(const struct kb_flow *flow, double room, struct place *place) {
    size_t page = 1, i = 0;
    double y = 0.0, after = 0.0;
    for (const struct kb_strip *strip = flow->first; strip != NULL; strip = strip->next, i++) {
        double gap = y > 0.0 ? fmax(after, strip->before) : 0.0;
        bool fits = y + gap + chain_height(strip) <= room;
        place[i] = (struct place){.strip = strip};
        if (!fits && y > 0.0) {
            page++;
            gap = 0.0;
            y = 0.0;
            if (strip->repeat != NULL) {
                place[i].heads = true;
                y = strip->repeat->h;
            }
        }
        y += gap;
        place[i].page = page;
        place[i].y = y;
        y += strip->box->h;
        after = strip->after;
    }
    return page;
}

/* ---- drawing -----------------------------------------------------------------------------------
 */

struct book {
    struct kb_setting *setting;
    const struct kb_paper_params *params;
    struct sheet sheet;
    cairo_surface_t *surface;
    cairo_t *cairo;
    char *running; /* head of every page but the first */
    size_t pages;
};

static void small_line(const struct book *book, const char *words, double y, bool right) {
    double width = book->sheet.width - 2.0 * SIDE;
    struct kb_look_of_text look = {7.4, "Sans", false, right, false, KB_SOFT};
    struct kb_text copy = KB_TEXT_INIT;
    kb_text_add(&copy, words);
    struct kb_node text = {.text = copy.data};
    struct kb_node holder = {.first = &text, .last = &text};
    struct kb_box *box = copy.failed ? NULL : kb_set_text(book->setting, &holder, &look, width);
    if (box != NULL) {
        box->x = SIDE;
        box->y = y;
        kb_box_draw(book->setting, book->cairo, box);
    }
    kb_box_release(box);
    kb_text_release(&copy);
}

static void furnish(const struct book *book, size_t page) {
    char words[64];
    if (page > 1 && book->running != NULL) {
        small_line(book, book->running, 28.0, false);
    }
    if (book->params->page_words != NULL) {
        struct kb_text number = KB_TEXT_INIT;
        const char *at = book->params->page_words;
        size_t value[2] = {page, book->pages}, n = 0;
        for (; *at != '\0'; at++) {
            if (strncmp(at, "%zu", 3) == 0 && n < 2) {
                (void)snprintf(words, sizeof words, "%zu", value[n++]);
                kb_text_add(&number, words);
                at += 2;
            } else {
                kb_text_add_bytes(&number, at, 1);
            }
        }
        small_line(book, number.data != NULL ? number.data : "", book->sheet.height - 36.0, true);
        kb_text_release(&number);
    }
}

static void contents_entry(const struct book *book, const struct place *place) {
    struct kb_text words = KB_TEXT_INIT;
    char link[64];
    kb_node_words(place->strip->anchor, &words);
    (void)snprintf(link, sizeof link, "page=%zu pos=[%.0f %.0f]", place->page, SIDE,
                   ABOVE + place->y);
    if (!words.failed && words.data != NULL) {
        (void)cairo_pdf_surface_add_outline(book->surface, CAIRO_PDF_OUTLINE_ROOT, words.data, link,
                                            CAIRO_PDF_OUTLINE_FLAG_OPEN);
    }
    kb_text_release(&words);
}

/* What is higher than a page is shrunk onto it: smaller is better than cut. */
static void draw_strip(const struct book *book, const struct place *place) {
    const struct kb_box *box = place->strip->box;
    double room = book->sheet.height - ABOVE - BELOW - place->y;
    double shrink = box->h > room ? room / box->h : 1.0;
    cairo_save(book->cairo);
    if (place->heads) {
        cairo_save(book->cairo);
        cairo_translate(book->cairo, SIDE - place->strip->repeat->x,
                        ABOVE - place->strip->repeat->y);
        kb_box_draw(book->setting, book->cairo, place->strip->repeat);
        cairo_restore(book->cairo);
    }
    cairo_translate(book->cairo, SIDE, ABOVE + place->y);
    cairo_scale(book->cairo, shrink, shrink);
    kb_box_draw(book->setting, book->cairo, box);
    cairo_restore(book->cairo);
    if (place->strip->anchor != NULL) {
        contents_entry(book, place);
    }
}

static void draw_pages(const struct book *book, const struct place *place, size_t count) {
    for (size_t page = 1, i = 0; page <= book->pages; page++) {
        furnish(book, page);
        for (; i < count && place[i].page == page; i++) {
            draw_strip(book, &place[i]);
        }
        cairo_show_page(book->cairo);
    }
}

/* ---- the whole ---------------------------------------------------------------------------------
 */

static cairo_status_t take(void *context, const unsigned char *data, unsigned int length) {
    struct kb_text *out = context;
    kb_text_add_bytes(out, (const char *)data, length);
    return CAIRO_STATUS_SUCCESS; /* out->failed is looked at in the end: cairo 1.16 crashes on
                                    errors */
}

/* Running head: what the page says of itself above its title, and the title. */
static char *running_head(const struct kb_node *root) {
    struct kb_text words = KB_TEXT_INIT;
    const struct kb_node *header = kb_node_find(root, "header");
    const struct kb_node *kind = header != NULL ? kb_node_find(header, "span") : NULL;
    const struct kb_node *title = kb_node_find(root, "h1");
    if (kind != NULL) {
        kb_node_words(kind, &words);
        kb_text_add(&words, title != NULL ? " · " : "");
    }
    if (title != NULL) {
        kb_node_words(title, &words);
    }
    return words.data;
}

static void properties(cairo_surface_t *surface, const struct kb_node *root, const char *made_at) {
    const struct kb_node *title = kb_node_find(root, "title");
    struct kb_text words = KB_TEXT_INIT;
    if (title != NULL) {
        kb_node_words(title, &words);
    }
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE,
                                   words.data != NULL ? words.data : "");
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, "keelblock " KB_VERSION);
    /* without a date of ours cairo writes the present one, and no two files would be the same */
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE,
                                   made_at != NULL && made_at[0] != '\0' ? made_at : NULL);
    kb_text_release(&words);
}

static enum kb_status bind(struct book *book, const struct kb_node *root, struct kb_flow *flow,
                           struct kb_text *out, struct kb_err *err) {
    size_t count = 0;
    for (const struct kb_strip *strip = flow->first; strip != NULL; strip = strip->next) {
        count++;
    }
    struct place *place = kb_alloc_zero(count + 1, sizeof *place);
    if (place == NULL) {
        return kb_fail_memory(err, "paper", (count + 1) * sizeof *place);
    }
    book->pages = place_all(flow, book->sheet.height - ABOVE - BELOW, place);
    book->surface =
        cairo_pdf_surface_create_for_stream(take, out, book->sheet.width, book->sheet.height);
    book->cairo = cairo_create(book->surface);
    /* plain objects, which any reader and any archive take */
    cairo_pdf_surface_restrict_to_version(book->surface, CAIRO_PDF_VERSION_1_4);
    properties(book->surface, root, book->params->made_at);
    draw_pages(book, place, count);
    cairo_destroy(book->cairo);
    cairo_surface_finish(book->surface);
    cairo_status_t drawn = cairo_surface_status(book->surface);
    cairo_surface_destroy(book->surface);
    kb_free(place);
    if (out->failed || book->setting->failed) {
        return kb_fail_memory(err, "paper", out->length);
    }
    return drawn == CAIRO_STATUS_SUCCESS
               ? KB_OK
               : kb_fail(err, KB_E_SYSTEM, "paper", NULL, "the pages could not be drawn: %s",
                         cairo_status_to_string(drawn));
}

/* Positions of letters are not rounded to pixels: paper has none. */
static PangoContext *text_context(void) {
    PangoContext *context = pango_font_map_create_context(pango_cairo_font_map_get_default());
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    pango_cairo_context_set_font_options(context, options);
    pango_cairo_context_set_resolution(context, 72.0);
    pango_context_set_round_glyph_positions(context, FALSE);
    cairo_font_options_destroy(options);
    return context;
}

/* Hatches that drawings share stand in a drawing without size. */
static const struct kb_node *shared_defs(const struct kb_node *root) {
    const struct kb_node *svg = kb_node_find(root, "svg");
    return svg != NULL && strcmp(kb_node_attribute(svg, "width"), "0") == 0
               ? kb_node_find(svg, "defs")
               : NULL;
}

enum kb_status kb_paper_pdf(const char *page, size_t length, const struct kb_paper_params *params,
                            struct kb_text *out, struct kb_err *err) {
    struct kb_node *root = NULL;
    if (params->paper <= KB_PAPER_NONE || params->paper >= KB_PAPERS) {
        return kb_fail(err, KB_E_USAGE, "paper", NULL, "no paper was named (a4 or letter)");
    }
    enum kb_status status = kb_tree_read(page, length, &root, err);
    if (status != KB_OK) {
        return status;
    }
    struct kb_setting setting = {.page = page, .pango = text_context(), .defs = shared_defs(root)};
    struct book book = {.setting = &setting, .params = params, .sheet = sheets[params->paper]};
    struct kb_flow flow = {0};
    kb_text_prepare(&setting);
    const struct kb_node *body = kb_node_find(root, "main");
    kb_set_block(&setting, body != NULL ? body : root, book.sheet.width - 2.0 * SIDE, &flow);
    book.running = running_head(root);
    status =
        setting.failed ? kb_fail_memory(err, "paper", length) : bind(&book, root, &flow, out, err);
    kb_free(book.running);
    kb_flow_release(&flow);
    g_object_unref(setting.pango);
    kb_tree_release(root);
    return status;
}
