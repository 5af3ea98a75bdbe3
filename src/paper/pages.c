/* pages.c - strips onto pages, pages into a PDF (cairo), with running heads and page numbers.
 *
 * First every strip is given its page and height on it, so that the number of pages is known when
 * the first is drawn. What belongs together stays together: headings go with what follows them, the
 * heads of a table are drawn anew on each page. The document's headings become the reader's list of
 * contents. The date in the file's properties is the one of the measurement: the same page gives
 * the same bytes. Several documents may make one file, each beginning on a page of its own.
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

struct kb_paper_book {
    struct kb_paper_params params;
    struct sheet sheet;
    cairo_surface_t *surface;
    cairo_t *cairo;
    struct kb_text *text; /* where the bytes go: memory or ... */
    FILE *stream;
    bool failed;      /* the stream took no more */
    bool starved;     /* memory ran out while drawing */
    size_t documents; /* so far */
    size_t drawn;     /* pages of the documents before */
    size_t pages;     /* of the whole; 0: of this document, which is the only one */
};

/* One document, set. */
struct document {
    struct kb_node *root;
    struct kb_setting setting;
    struct kb_flow flow;
    double scale;  /* 1, or less to fit one sheet */
    char *running; /* head of every page but the first */
    struct place *place;
    size_t places, pages;
    int chapter; /* of the reader's list of contents, under which its headings stand */
};

static void small_line(const struct kb_paper_book *book, struct document *document,
                       const char *words, double y, bool right) {
    double width = book->sheet.width - 2.0 * SIDE;
    struct kb_look_of_text look = {7.4, "Sans", false, right, false, KB_SOFT};
    struct kb_text copy = KB_TEXT_INIT;
    kb_text_add(&copy, words);
    struct kb_node text = {.text = copy.data};
    struct kb_node holder = {.first = &text, .last = &text};
    struct kb_box *box =
        copy.failed ? NULL : kb_set_text(&document->setting, &holder, &look, width);
    if (box != NULL) {
        box->x = SIDE;
        box->y = y;
        kb_box_draw(&document->setting, book->cairo, box);
    }
    kb_box_release(box);
    kb_text_release(&copy);
}

/* Head and foot; `page` is of this document, from 1. */
static void furnish(const struct kb_paper_book *book, struct document *document, size_t page) {
    char words[64];
    if (page > 1 && document->running != NULL) {
        small_line(book, document, document->running, 28.0, false);
    }
    if (book->params.page_words != NULL) {
        struct kb_text number = KB_TEXT_INIT;
        const char *at = book->params.page_words;
        size_t value[2] = {book->drawn + page, book->pages > 0 ? book->pages : document->pages};
        for (size_t n = 0; *at != '\0'; at++) {
            if (strncmp(at, "%zu", 3) == 0 && n < 2) {
                (void)snprintf(words, sizeof words, "%zu", value[n++]);
                kb_text_add(&number, words);
                at += 2;
            } else {
                kb_text_add_bytes(&number, at, 1);
            }
        }
        small_line(book, document, number.data != NULL ? number.data : "",
                   book->sheet.height - 36.0, true);
        kb_text_release(&number);
    }
}

/* An entry of the reader's list of contents: its number. */
static int contents_entry(const struct kb_paper_book *book, const struct kb_node *words_of,
                          int parent, size_t page, double y) {
    struct kb_text words = KB_TEXT_INIT;
    char link[64];
    int entry = parent;
    kb_node_words(words_of, &words);
    (void)snprintf(link, sizeof link, "page=%zu pos=[%.0f %.0f]", book->drawn + page, SIDE, y);
    if (!words.failed && words.data != NULL) {
        entry = cairo_pdf_surface_add_outline(book->surface, parent, words.data, link,
                                              CAIRO_PDF_OUTLINE_FLAG_OPEN);
    }
    kb_text_release(&words);
    return entry;
}

/* What is higher than a page is shrunk onto it: smaller is better than cut. */
static void draw_strip(const struct kb_paper_book *book, struct document *document,
                       const struct place *place) {
    const struct kb_box *box = place->strip->box;
    const double room = (book->sheet.height - ABOVE - BELOW) / document->scale - place->y;
    const double shrink = box->h > room ? room / box->h : 1.0;
    cairo_save(book->cairo);
    cairo_translate(book->cairo, SIDE, ABOVE);
    cairo_scale(book->cairo, document->scale, document->scale);
    if (place->heads) {
        cairo_save(book->cairo);
        cairo_translate(book->cairo, -place->strip->repeat->x, -place->strip->repeat->y);
        kb_box_draw(&document->setting, book->cairo, place->strip->repeat);
        cairo_restore(book->cairo);
    }
    cairo_translate(book->cairo, 0.0, place->y);
    cairo_scale(book->cairo, shrink, shrink);
    kb_box_draw(&document->setting, book->cairo, box);
    cairo_restore(book->cairo);
    if (place->strip->anchor != NULL) {
        (void)contents_entry(book, place->strip->anchor, document->chapter, place->page,
                             ABOVE + document->scale * place->y);
    }
}

static void draw_pages(const struct kb_paper_book *book, struct document *document) {
    for (size_t page = 1, i = 0; page <= document->pages; page++) {
        furnish(book, document, page);
        for (; i < document->places && document->place[i].page == page; i++) {
            draw_strip(book, document, &document->place[i]);
        }
        cairo_show_page(book->cairo);
    }
}

/* ---- the whole ---------------------------------------------------------------------------------
 */

static cairo_status_t take(void *context, const unsigned char *data, unsigned int length) {
    struct kb_paper_book *book = context;
    if (book->stream != NULL) {
        book->failed = book->failed || fwrite(data, 1, length, book->stream) != length;
    } else {
        kb_text_add_bytes(book->text, (const char *)data, length);
    }
    return CAIRO_STATUS_SUCCESS; /* failures are looked at in the end: cairo 1.16 crashes on
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

/* Smaller by steps of a twentieth, as far as small print is still read. */
#define SCALE_STEP 0.05
#define SCALE_LEAST 0.70

static void document_release(struct document *document) {
    kb_free(document->running);
    kb_free(document->place);
    kb_flow_release(&document->flow);
    if (document->setting.pango != NULL) {
        g_object_unref(document->setting.pango);
    }
    kb_tree_release(document->root);
}

/* Strips at the scale, and their places. */
static enum kb_status set_at(struct document *document, const struct sheet *sheet, double scale,
                             struct kb_err *err) {
    const struct kb_node *main = kb_node_find(document->root, "main");
    kb_flow_release(&document->flow);
    kb_free(document->place);
    document->flow = (struct kb_flow){NULL, NULL};
    document->scale = scale;
    document->places = 0;
    kb_set_block(&document->setting, main != NULL ? main : document->root,
                 (sheet->width - 2.0 * SIDE) / scale, &document->flow);
    for (const struct kb_strip *strip = document->flow.first; strip != NULL; strip = strip->next) {
        document->places++;
    }
    document->place = kb_alloc_zero(document->places + 1, sizeof *document->place);
    if (document->place == NULL || document->setting.failed) {
        return kb_fail_memory(err, "paper", (document->places + 1) * sizeof *document->place);
    }
    document->pages =
        place_all(&document->flow, (sheet->height - ABOVE - BELOW) / scale, document->place);
    return KB_OK;
}

/* Release also on failure. */
static enum kb_status document_set(const char *page, size_t length,
                                   const struct kb_paper_params *params, struct document *document,
                                   struct kb_err *err) {
    const struct sheet *sheet = &sheets[params->paper];
    *document = (struct document){.chapter = CAIRO_PDF_OUTLINE_ROOT};
    enum kb_status status = kb_tree_read(page, length, &document->root, err);
    if (status != KB_OK) {
        return status;
    }
    document->setting = (struct kb_setting){
        .page = page, .pango = text_context(), .defs = shared_defs(document->root)};
    kb_text_prepare(&document->setting);
    document->running = running_head(document->root);
    double scale = 1.0;
    status = set_at(document, sheet, scale, err);
    while (status == KB_OK && params->one_sheet && document->pages > 1) {
        scale -= SCALE_STEP;
        if (scale < SCALE_LEAST) {
            return kb_fail(err, KB_E_USAGE, "paper", NULL,
                           "the page does not fit one sheet (say it in fewer words)");
        }
        status = set_at(document, sheet, scale, err);
    }
    if (status == KB_OK && params->sheets != NULL) {
        *params->sheets = document->pages;
    }
    return status;
}

static enum kb_status check(const struct kb_paper_params *params, struct kb_err *err) {
    return params->paper > KB_PAPER_NONE && params->paper < KB_PAPERS
               ? KB_OK
               : kb_fail(err, KB_E_USAGE, "paper", NULL, "no paper was named (a4 or letter)");
}

static void begin(struct kb_paper_book *book, const struct kb_paper_params *params) {
    book->params = *params;
    book->sheet = sheets[params->paper];
    book->surface =
        cairo_pdf_surface_create_for_stream(take, book, book->sheet.width, book->sheet.height);
    book->cairo = cairo_create(book->surface);
    /* plain objects, which any reader and any archive take */
    cairo_pdf_surface_restrict_to_version(book->surface, CAIRO_PDF_VERSION_1_4);
}

/* A document behind those before: the first gives the file its properties, the title of a later one
 * is a chapter of the reader's list of contents. */
static void draw_document(struct kb_paper_book *book, struct document *document) {
    const struct kb_node *title = kb_node_find(document->root, "h1");
    if (book->documents == 0) {
        properties(book->surface, document->root, book->params.made_at);
    } else if (title != NULL) {
        document->chapter = contents_entry(book, title, CAIRO_PDF_OUTLINE_ROOT, 1, ABOVE);
    }
    draw_pages(book, document);
    book->starved = book->starved || document->setting.failed;
    book->documents++;
    book->drawn += document->pages;
}

static enum kb_status end(struct kb_paper_book *book, struct kb_err *err) {
    cairo_destroy(book->cairo);
    cairo_surface_finish(book->surface);
    cairo_status_t drawn = cairo_surface_status(book->surface);
    cairo_surface_destroy(book->surface);
    if (book->starved || (book->text != NULL && book->text->failed)) {
        return kb_fail_memory(err, "paper", book->text != NULL ? book->text->length : 1);
    }
    if (book->failed) {
        return kb_fail(err, KB_E_SYSTEM, "paper", NULL, "cannot write (is the disk full?)");
    }
    return drawn == CAIRO_STATUS_SUCCESS
               ? KB_OK
               : kb_fail(err, KB_E_SYSTEM, "paper", NULL, "the pages could not be drawn: %s",
                         cairo_status_to_string(drawn));
}

enum kb_status kb_paper_pdf(const char *page, size_t length, const struct kb_paper_params *params,
                            struct kb_text *out, struct kb_err *err) {
    struct kb_paper_book book = {.text = out};
    struct document document;
    enum kb_status status = check(params, err);
    if (status != KB_OK) {
        return status;
    }
    status = document_set(page, length, params, &document, err);
    if (status == KB_OK) {
        begin(&book, params);
        draw_document(&book, &document);
        status = end(&book, err);
    }
    document_release(&document);
    return status;
}

/* ---- several documents ---- */

enum kb_status kb_paper_count(const char *page, size_t length, const struct kb_paper_params *params,
                              size_t *pages, struct kb_err *err) {
    struct document document;
    enum kb_status status = check(params, err);
    if (status != KB_OK) {
        return status;
    }
    status = document_set(page, length, params, &document, err);
    *pages = status == KB_OK ? document.pages : 0;
    document_release(&document);
    return status;
}

enum kb_status kb_paper_begin(const struct kb_paper_params *params, size_t pages, FILE *stream,
                              struct kb_paper_book **book, struct kb_err *err) {
    *book = NULL;
    enum kb_status status = check(params, err);
    if (status != KB_OK) {
        return status;
    }
    *book = kb_alloc_zero(1, sizeof **book);
    if (*book == NULL) {
        return kb_fail_memory(err, "paper", sizeof **book);
    }
    (*book)->stream = stream;
    (*book)->pages = pages;
    begin(*book, params);
    return KB_OK;
}

enum kb_status kb_paper_add(struct kb_paper_book *book, const char *page, size_t length,
                            struct kb_err *err) {
    struct document document;
    enum kb_status status = document_set(page, length, &book->params, &document, err);
    if (status == KB_OK) {
        draw_document(book, &document);
    }
    document_release(&document);
    return status;
}

enum kb_status kb_paper_end(struct kb_paper_book *book, struct kb_err *err) {
    if (book == NULL) {
        return KB_OK;
    }
    enum kb_status status = end(book, err);
    kb_free(book);
    return status;
}
