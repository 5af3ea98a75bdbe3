/* ink.c - connected pieces of one level and their figures: box, area, pen, sharpness.
 *
 * The outline of a piece, counted along the sides of its pixels, is 2 x (runs + area - overlap),
 * overlap being the pixel sides that runs of neighbouring rows share. A long stroke of width w has
 * twice its area over its outline nearly equal to w. Sharpness looks two pixels off the ends of
 * each run, and two above and below its middle: what was drawn ends there, what a lens or a beam
 * imaged mostly has not yet.
 */
#include "ink.h"

#include <stdlib.h>
#include <string.h>

void kb_ink_release(struct kb_ink *ink) {
    kb_runs_release(&ink->runs);
    kb_free(ink->piece);
    memset(ink, 0, sizeof *ink);
}

double kb_ink_pen(const struct kb_ink_piece *piece) {
    return piece->area / (double)(piece->runs + piece->area - piece->overlap);
}

double kb_ink_sharpness(const struct kb_ink_piece *piece) {
    int32_t edge = piece->sharp + piece->soft;
    return edge > 0 ? piece->sharp / (double)edge : 0.0;
}

static void probe(const struct kb_image *view, struct kb_firstlook_ink levels, int32_t x, int32_t y,
                  struct kb_ink_piece *piece) {
    if (x < 0 || y < 0 || x >= view->width || y >= view->height) {
        return;
    }
    int level = kb_row(view, y)[x];
    if (level >= levels.low && level <= levels.high) {
        return; /* another stroke */
    }
    bool off =
        level >= levels.high + KB_FIRSTLOOK_LEGIBLE || level <= levels.low - KB_FIRSTLOOK_LEGIBLE;
    piece->sharp += off;
    piece->soft += !off;
}

static void add_run(const struct kb_ink *ink, struct kb_firstlook_ink levels,
                    const struct kb_run *run, int32_t y, struct kb_ink_piece *piece) {
    enum { OFF = 2 };
    if (piece->runs == 0) {
        *piece = (struct kb_ink_piece){.x0 = run->x0, .x1 = run->x1, .y0 = y};
    }
    piece->x0 = run->x0 < piece->x0 ? run->x0 : piece->x0;
    piece->x1 = run->x1 > piece->x1 ? run->x1 : piece->x1;
    piece->y1 = y + 1;
    piece->runs++;
    piece->area += run->x1 - run->x0;
    int32_t middle = run->x0 + (run->x1 - run->x0) / 2;
    probe(&ink->view, levels, run->x0 - OFF, y, piece);
    probe(&ink->view, levels, run->x1 - 1 + OFF, y, piece);
    probe(&ink->view, levels, middle, y - OFF, piece);
    probe(&ink->view, levels, middle, y + OFF, piece);
}

/* Pixel sides shared with the row above. */
static void add_overlap(const struct kb_runs *runs, int32_t y, struct kb_ink_piece *piece) {
    size_t above = runs->row[y - 1], above_end = runs->row[y];
    for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
        const struct kb_run *run = &runs->run[i];
        while (above < above_end && runs->run[above].x1 <= run->x0) {
            above++;
        }
        for (size_t k = above; k < above_end && runs->run[k].x0 < run->x1; k++) {
            int32_t x0 = runs->run[k].x0 > run->x0 ? runs->run[k].x0 : run->x0;
            int32_t x1 = runs->run[k].x1 < run->x1 ? runs->run[k].x1 : run->x1;
            piece[run->region].overlap += x1 - x0;
        }
    }
}

/* How much of each side of its box a piece fills. */
static void add_sides(const struct kb_run *run, int32_t y, struct kb_ink_piece *piece) {
    piece->left += run->x0 == piece->x0;
    piece->right += run->x1 == piece->x1;
    piece->top += y == piece->y0 ? run->x1 - run->x0 : 0;
    piece->bottom += y == piece->y1 - 1 ? run->x1 - run->x0 : 0;
}

static void measure(struct kb_ink *ink, struct kb_firstlook_ink levels) {
    const struct kb_runs *runs = &ink->runs;
    for (int32_t y = 0; y < runs->height; y++) {
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            add_run(ink, levels, &runs->run[i], y, &ink->piece[runs->run[i].region]);
        }
        if (y > 0) {
            add_overlap(runs, y, ink->piece);
        }
    }
    for (int32_t y = 0; y < runs->height; y++) {
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            add_sides(&runs->run[i], y, &ink->piece[runs->run[i].region]);
        }
    }
}

enum kb_status kb_ink_find(const struct kb_firstlook_frame *frame, struct kb_firstlook_ink levels,
                           size_t runs_most, struct kb_ink *ink, struct kb_err *err) {
    const struct kb_image *grey = kb_firstlook_grey(frame);
    struct kb_rect in = frame->inside;
    bool chosen[256];
    for (int i = 0; i < 256; i++) {
        chosen[i] = i >= levels.low && i <= levels.high;
    }
    memset(ink, 0, sizeof *ink);
    ink->view = (struct kb_image){in.width, in.height, grey->stride, kb_row(grey, in.y) + in.x};
    enum kb_status status = kb_runs_label(&ink->view, chosen, 8, &ink->runs, err);
    if (status != KB_OK || ink->runs.count > runs_most || ink->runs.regions == 0) {
        return status;
    }
    ink->piece = kb_alloc_zero(ink->runs.regions, sizeof *ink->piece);
    if (ink->piece == NULL) {
        kb_ink_release(ink);
        return kb_fail_memory(err, "firstlook", ink->runs.regions * sizeof *ink->piece);
    }
    ink->count = ink->runs.regions;
    measure(ink, levels);
    return KB_OK;
}
