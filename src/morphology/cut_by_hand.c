/* cut_by_hand.c - a particle parted along a stroke that a person drew.
 *
 * What is left of the particle without the pixels under the stroke falls into pieces, 8-connected
 * as particles are. The pixels under the stroke then go to the piece that lies next to them, ring
 * by ring, so that no pixel is lost and pieces lie side by side without a gap: of two as near, to
 * the larger one. A piece that nowhere reaches beyond the neighbours of the stroke is a sliver that
 * the pen left at a ragged border: it counts as part of the stroke. A stroke that leaves no more
 * pieces than there were parts not one pixel.
 *
 * A particle that was joined by hand from several that do not touch falls into those, when a stroke
 * parts one of them: what hangs together without a person's word stays together, the rest does not.
 */
#include "morphology_priv.h"

#include <stdlib.h>
#include <string.h>

static const uint32_t NOBODY = UINT32_MAX;

/* A pixel that has to find its piece. */
struct loose {
    struct kb_place at;
    uint32_t piece; /* NOBODY: not yet */
};

struct cutting {
    const struct kb_stroke *stroke;
    int32_t width, height;
    struct kb_spans whole, left; /* the particle with and without the pixels under the stroke */
    struct kb_runs rest;         /* left, as regions */
    uint32_t *piece;             /* of each region of `rest`; NOBODY: a sliver */
    uint64_t *pixels;            /* of each piece, as far as it is sure of them */
    uint32_t pieces;
    struct loose *loose;
    size_t loosened, capacity;
};

static void release(struct cutting *c) {
    kb_spans_release(&c->whole);
    kb_spans_release(&c->left);
    kb_runs_release(&c->rest);
    kb_free(c->piece);
    kb_free(c->pixels);
    kb_free(c->loose);
}

static enum kb_status loosen(struct cutting *c, int32_t x, int32_t y, struct kb_err *err) {
    void *items = c->loose;
    if (!kb_grow(&items, c->loosened, &c->capacity, sizeof *c->loose)) {
        return kb_fail_memory(err, "morphology", sizeof *c->loose);
    }
    c->loose = items;
    c->loose[c->loosened++] = (struct loose){{x, y}, NOBODY};
    return KB_OK;
}

/* One span of the particle: what the stroke leaves of it, and what lies under the stroke. */
static enum kb_status take_line_out(struct cutting *c, const struct kb_span *span,
                                    struct kb_err *err) {
    const struct kb_stroke *stroke = c->stroke;
    enum kb_status status = KB_OK;
    int32_t x = span->x0;
    for (size_t i = kb_stroke_from(stroke, span->x0, span->y);
         i < stroke->count && stroke->pixel[i].y == span->y && stroke->pixel[i].x < span->x1 &&
         status == KB_OK;
         i++) {
        const int32_t at = stroke->pixel[i].x;
        if (at > x) {
            status = kb_spans_add(&c->left, (struct kb_span){span->y, x, at, 0}, err);
        }
        if (status == KB_OK) {
            status = loosen(c, at, span->y, err);
        }
        x = at + 1;
    }
    if (status == KB_OK && x < span->x1) {
        status = kb_spans_add(&c->left, (struct kb_span){span->y, x, span->x1, 0}, err);
    }
    return status;
}

static bool beside_stroke(const struct kb_stroke *stroke, int32_t x, int32_t y) {
    for (int32_t row = y - 1; row <= y + 1; row++) {
        const size_t i = kb_stroke_from(stroke, x - 1, row);
        if (i < stroke->count && stroke->pixel[i].y == row && stroke->pixel[i].x <= x + 1) {
            return true;
        }
    }
    return false;
}

static bool all_beside(const struct kb_stroke *stroke, const struct kb_run *run, int32_t y) {
    for (int32_t x = run->x0; x < run->x1; x++) {
        if (!beside_stroke(stroke, x, y)) {
            return false;
        }
    }
    return true;
}

/* Number the regions that are more than slivers, and count their pixels. */
static enum kb_status number_pieces(struct cutting *c, struct kb_err *err) {
    const struct kb_runs *rest = &c->rest;
    c->piece = kb_alloc((size_t)rest->regions + 1, sizeof *c->piece);
    c->pixels = kb_alloc_zero((size_t)rest->regions + 1, sizeof *c->pixels);
    if (c->piece == NULL || c->pixels == NULL) {
        return kb_fail_memory(err, "morphology", rest->regions * sizeof *c->pixels);
    }
    for (uint32_t i = 0; i < rest->regions; i++) {
        c->piece[i] = NOBODY;
    }
    for (int32_t y = 0; y < rest->height; y++) {
        for (size_t i = rest->row[y]; i < rest->row[y + 1]; i++) {
            const struct kb_run *run = &rest->run[i];
            uint32_t *piece = &c->piece[run->region];
            if (*piece == NOBODY && !all_beside(c->stroke, run, y)) {
                *piece = c->pieces++;
            }
        }
    }
    return KB_OK;
}

static enum kb_status loosen_slivers(struct cutting *c, struct kb_err *err) {
    const struct kb_runs *rest = &c->rest;
    for (int32_t y = 0; y < rest->height; y++) {
        for (size_t i = rest->row[y]; i < rest->row[y + 1]; i++) {
            const struct kb_run *run = &rest->run[i];
            const uint32_t piece = c->piece[run->region];
            if (piece != NOBODY) {
                c->pixels[piece] += (uint64_t)(run->x1 - run->x0);
                continue;
            }
            for (int32_t x = run->x0; x < run->x1; x++) {
                enum kb_status status = loosen(c, x, y, err);
                if (status != KB_OK) {
                    return status;
                }
            }
        }
    }
    return KB_OK;
}

/* ---- every loose pixel to its piece ------------------------------------------------------------
 */

static int by_row_and_column(const void *left, const void *right) {
    const struct kb_place *a = &((const struct loose *)left)->at;
    const struct kb_place *b = &((const struct loose *)right)->at;
    if (a->y != b->y) {
        return a->y < b->y ? -1 : 1;
    }
    return (a->x > b->x) - (a->x < b->x);
}

static uint32_t owner_of(const struct cutting *c, int32_t x, int32_t y) {
    uint32_t region = 0;
    if (kb_runs_at(&c->rest, x, y, &region) && c->piece[region] != NOBODY) {
        return c->piece[region];
    }
    const struct loose wanted = {{x, y}, NOBODY};
    const struct loose *found =
        bsearch(&wanted, c->loose, c->loosened, sizeof wanted, by_row_and_column);
    return found != NULL ? found->piece : NOBODY;
}

/* The larger of the pieces beside a pixel: those that share a side first, then a corner. */
static uint32_t nearest_piece(const struct cutting *c, struct kb_place at) {
    static const int32_t step[8][2] = {{0, -1},  {-1, 0}, {1, 0},  {0, 1},
                                       {-1, -1}, {1, -1}, {-1, 1}, {1, 1}};
    uint32_t best = NOBODY;
    for (int i = 0; i < 8 && (i != 4 || best == NOBODY); i++) {
        const uint32_t piece = owner_of(c, at.x + step[i][0], at.y + step[i][1]);
        if (piece != NOBODY && (best == NOBODY || c->pixels[piece] > c->pixels[best] ||
                                (c->pixels[piece] == c->pixels[best] && piece < best))) {
            best = piece;
        }
    }
    return best;
}

static uint32_t largest_piece(const struct cutting *c) {
    uint32_t best = 0;
    for (uint32_t i = 1; i < c->pieces; i++) {
        best = c->pixels[i] > c->pixels[best] ? i : best;
    }
    return best;
}

/* Ring by ring: the pixels of one ring do not see each other. */
static enum kb_status settle_loose(struct cutting *c, struct kb_err *err) {
    uint32_t *fresh = kb_alloc(c->loosened, sizeof *fresh);
    if (fresh == NULL) {
        return kb_fail_memory(err, "morphology", c->loosened * sizeof *fresh);
    }
    qsort(c->loose, c->loosened, sizeof *c->loose, by_row_and_column);
    for (bool moved = true; moved;) {
        moved = false;
        for (size_t i = 0; i < c->loosened; i++) {
            const struct loose *loose = &c->loose[i];
            fresh[i] = loose->piece == NOBODY ? nearest_piece(c, loose->at) : loose->piece;
        }
        for (size_t i = 0; i < c->loosened; i++) {
            moved = moved || fresh[i] != c->loose[i].piece;
            c->loose[i].piece = fresh[i];
        }
    }
    kb_free(fresh);
    for (size_t i = 0; i < c->loosened; i++) { /* of a part that lay under the stroke as a whole */
        c->loose[i].piece = c->loose[i].piece == NOBODY ? largest_piece(c) : c->loose[i].piece;
    }
    return KB_OK;
}

/* ---- the pieces --------------------------------------------------------------------------------
 */

static enum kb_status list_pieces(const struct cutting *c, uint32_t base, struct kb_spans *list,
                                  struct kb_err *err) {
    const struct kb_runs *rest = &c->rest;
    enum kb_status status = KB_OK;
    for (int32_t y = 0; y < rest->height && status == KB_OK; y++) {
        for (size_t i = rest->row[y]; i < rest->row[y + 1] && status == KB_OK; i++) {
            const struct kb_run *run = &rest->run[i];
            const uint32_t piece = c->piece[run->region];
            if (piece != NOBODY) {
                const struct kb_span span = {y, run->x0, run->x1, base + piece};
                status = kb_spans_add(list, span, err);
            }
        }
    }
    for (size_t i = 0; i < c->loosened && status == KB_OK; i++) {
        const struct loose *loose = &c->loose[i];
        const struct kb_span span = {loose->at.y, loose->at.x, loose->at.x + 1,
                                     base + loose->piece};
        status = kb_spans_add(list, span, err);
    }
    return status;
}

static enum kb_status part(struct cutting *c, uint32_t parts, uint32_t base, struct kb_spans *list,
                           uint32_t *pieces, struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < c->whole.count && status == KB_OK; i++) {
        status = take_line_out(c, &c->whole.item[i], err);
    }
    if (status == KB_OK) {
        status = kb_spans_regions(&c->left, c->width, c->height, &c->rest, err);
    }
    if (status == KB_OK && c->rest.regions > parts) {
        status = number_pieces(c, err);
    }
    if (status != KB_OK || c->pieces <= parts) {
        return status;
    }
    status = loosen_slivers(c, err);
    if (status == KB_OK) {
        status = settle_loose(c, err);
    }
    if (status == KB_OK) {
        status = list_pieces(c, base, list, err);
    }
    *pieces = c->pieces;
    return status;
}

enum kb_status kb_cut_by_hand(const struct kb_runs *runs, const struct kb_run_order *order,
                              uint32_t region, const struct kb_stroke *stroke, uint32_t base,
                              struct kb_spans *list, uint32_t *pieces, struct kb_err *err) {
    struct cutting c = {.stroke = stroke, .width = runs->width, .height = runs->height};
    struct kb_runs whole = {0};
    *pieces = 0;
    enum kb_status status = kb_spans_take(&c.whole, runs, order, region, err);
    if (status == KB_OK) {
        status = kb_spans_regions(&c.whole, c.width, c.height, &whole, err);
    }
    if (status == KB_OK) {
        status = part(&c, whole.regions, base, list, pieces, err);
    }
    kb_runs_release(&whole);
    release(&c);
    return status;
}
