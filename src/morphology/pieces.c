/* pieces.c - judge the pieces into which a cluster might be cut.
 *
 * Vermicular, flake and ragged graphite has necks too; cutting it there would make false nodules.
 * So a cut stands only where the pieces beside it are round: as round as the mean of shape factor
 * (which sees a long piece) and circularity (which sees a ragged one) says, both together, the more
 * so the wider the neck. It stands, too, where one very round piece hangs on by little of its own
 * width, whatever the rest is. Half a nodule is not round: one with a crack stays whole.
 *
 * The cut that stands worst is undone first, the joined piece measured, and all judged again, until
 * every cut stands or one piece is left: so the bits of a ragged particle find together before they
 * are held against a nodule beside them. A cut that stood clearly at any time stays, or else one
 * pair that cannot be parted would draw a whole cluster together. At the end the pieces must be
 * rounder on the average (by area) than the whole was.
 */
#include "morphology_priv.h"

static enum kb_status reserve_lists(struct kb_pieces_scratch *scratch, size_t pieces,
                                    struct kb_err *err) {
    if (pieces <= scratch->lists) {
        return KB_OK;
    }
    struct kb_spans *spans = kb_resize(scratch->spans, pieces, sizeof *spans);
    if (spans == NULL) {
        return kb_fail_memory(err, "morphology", pieces * sizeof *spans);
    }
    scratch->spans = spans;
    for (; scratch->lists < pieces; scratch->lists++) {
        scratch->spans[scratch->lists] = (struct kb_spans){NULL, 0, 0};
    }
    return KB_OK;
}

static enum kb_status reserve_numbers(struct kb_pieces_scratch *scratch, size_t basins,
                                      struct kb_err *err) {
    if (basins <= scratch->capacity) {
        return KB_OK;
    }
    size_t wanted = 2 * basins;
    uint32_t *number = kb_resize(scratch->number, wanted, sizeof *number);
    scratch->number = number != NULL ? number : scratch->number;
    struct kb_piece *piece = kb_resize(scratch->piece, wanted, sizeof *piece);
    scratch->piece = piece != NULL ? piece : scratch->piece;
    if (number == NULL || piece == NULL) {
        return kb_fail_memory(err, "morphology", wanted * sizeof *piece);
    }
    scratch->capacity = wanted;
    return KB_OK;
}

/* Number the root basins 0, 1, ... in the order of their making. */
static size_t number_roots(const struct kb_flood *flood, struct kb_pieces_scratch *scratch) {
    size_t pieces = 0;
    for (uint32_t i = 0; i < flood->basins; i++) {
        if (flood->basin[i].parent == i) {
            scratch->piece[pieces].root = i;
            scratch->number[i] = (uint32_t)pieces++;
        }
    }
    return pieces;
}

/* Spans of row y, each to the list of its piece. */
static enum kb_status gather_row(struct kb_flood *flood, const struct kb_window *window, int32_t y,
                                 struct kb_pieces_scratch *scratch, struct kb_err *err) {
    const uint32_t *owner = window->owner + (size_t)y * (size_t)window->width;
    int32_t x = 0;
    while (x < window->width) {
        if (owner[x] == 0) {
            x++;
            continue;
        }
        uint32_t root = kb_flood_root(flood, owner[x] - 1);
        int32_t x0 = x++;
        while (x < window->width && owner[x] != 0 && kb_flood_root(flood, owner[x] - 1) == root) {
            x++;
        }
        struct kb_span span = {y, x0, x, 0};
        enum kb_status status = kb_spans_add(&scratch->spans[scratch->number[root]], span, err);
        if (status != KB_OK) {
            return status;
        }
    }
    return KB_OK;
}

static enum kb_status gather(struct kb_flood *flood, const struct kb_window *window,
                             struct kb_pieces_scratch *scratch, size_t pieces, struct kb_err *err) {
    enum kb_status status = reserve_lists(scratch, pieces, err);
    for (size_t i = 0; i < pieces && status == KB_OK; i++) {
        scratch->spans[i].count = 0;
    }
    for (int32_t y = 0; y < window->height && status == KB_OK; y++) {
        status = gather_row(flood, window, y, scratch, err);
    }
    return status;
}

/* How round a piece is, 0..1: its shape factor sees how long it is, its circularity how ragged. */
static double roundness(const struct kb_particle *figures) {
    return 0.5 * (figures->shape_factor + figures->circularity);
}

static bool on_frame(const struct kb_window *window, struct kb_rect box) {
    return box.x + window->x <= 0 || box.y + window->y <= 0 ||
           box.x + window->x + box.width >= window->field_width ||
           box.y + window->y + box.height >= window->field_height;
}

enum kb_status kb_piece_measure(const struct kb_spans *spans, const struct kb_window *window,
                                struct kb_hull *hull, struct kb_piece *piece, struct kb_err *err) {
    struct kb_particle figures = {0};
    enum kb_status status = kb_measure_region(spans, hull, &figures, err);
    if (status == KB_OK) {
        piece->area = figures.area_px2;
        piece->x = figures.x_px;
        piece->y = figures.y_px;
        piece->round = roundness(&figures);
        piece->minor = figures.minor_px;
        piece->solidity = figures.solidity;
        piece->on_frame = on_frame(window, figures.box);
    }
    return status;
}

static enum kb_status measure(struct kb_pieces_scratch *scratch, const struct kb_window *window,
                              size_t number, struct kb_err *err) {
    return kb_piece_measure(&scratch->spans[number], window, &scratch->hull,
                            &scratch->piece[number], err);
}

/* Half-width of a neck over the inscribed radius of the piece about a basin. */
static double neck_of(const struct kb_flood *flood, const struct kb_saddle *saddle,
                      uint32_t basin) {
    return kb_half_width(saddle->squared) / kb_half_width(flood->basin[basin].peak);
}

/* By how much two pieces are rounder than a cut through such a neck asks for. Of a piece that the
 * frame cuts nobody knows how round it is: the other one decides. */
static double margin_of(const struct kb_morphology_params *params, double neck_one,
                        double neck_other, const struct kb_piece *one,
                        const struct kb_piece *other) {
    double alone = fmax(one->round - params->part_alone_neck * neck_one,
                        other->round - params->part_alone_neck * neck_other) -
                   params->part_alone;
    double neck = fmax(neck_one, neck_other);
    if (one->on_frame != other->on_frame) {
        double complete = one->on_frame ? other->round : one->round;
        return fmax(alone, complete - params->part_frame - params->part_frame_neck * neck);
    }
    double both = 0.5 * (one->round + other->round);
    return fmax(alone, both - params->part_round - params->part_round_neck * neck);
}

/* Such margins were wrong in so many of a thousand drawn necks: 0 to 0.01 a third, 0.03 to 0.05 one
 * in sixteen, beyond 0.1 none; a logistic curve of this steepness. */
static const double steepness = 60.0;

void kb_doubt_add(double margin, const struct kb_piece *one, const struct kb_piece *other,
                  struct kb_doubt *doubt) {
    double wrong = 1.0 / (1.0 + exp(steepness * fabs(margin)));
    doubt->count += wrong;
    doubt->area_px2 += wrong * (one->area + other->area);
}

struct bad_cut {
    uint32_t a, b; /* root basins */
    double margin; /* below 0 */
};

/* The cut that stands worst. Saddles come widest first: of several between the same two pieces the
 * widest counts. */
static bool find_worst(struct kb_flood *flood, const struct kb_morphology_params *params,
                       const struct kb_pieces_scratch *scratch, struct bad_cut *worst) {
    worst->margin = 0.0;
    for (size_t i = 0; i < flood->saddles; i++) {
        struct kb_saddle *saddle = &flood->saddle[i];
        uint32_t a = kb_flood_root(flood, saddle->a);
        uint32_t b = kb_flood_root(flood, saddle->b);
        if (a == b) {
            continue;
        }
        double margin =
            margin_of(params, neck_of(flood, saddle, a), neck_of(flood, saddle, b),
                      &scratch->piece[scratch->number[a]], &scratch->piece[scratch->number[b]]);
        saddle->stood = fmax(saddle->stood, margin);
        if (margin < worst->margin && saddle->stood < params->part_sure) {
            *worst = (struct bad_cut){a < b ? a : b, a < b ? b : a, margin};
        }
    }
    return worst->margin < 0.0;
}

static bool before(const struct kb_span *one, const struct kb_span *other) {
    return one->y < other->y || (one->y == other->y && one->x0 < other->x0);
}

/* Add a span; where it continues the last one both become one. */
static enum kb_status append(struct kb_spans *spans, struct kb_span span, struct kb_err *err) {
    if (spans->count > 0) {
        struct kb_span *last = &spans->item[spans->count - 1];
        if (last->y == span.y && last->x1 == span.x0) {
            last->x1 = span.x1;
            return KB_OK;
        }
    }
    return kb_spans_add(spans, span, err);
}

/* The spans of two pieces as those of one, into `a`. */
static enum kb_status merge_spans(struct kb_pieces_scratch *scratch, size_t a, size_t b,
                                  struct kb_err *err) {
    const struct kb_spans *one = &scratch->spans[a];
    const struct kb_spans *other = &scratch->spans[b];
    size_t i = 0;
    size_t k = 0;
    enum kb_status status = KB_OK;
    scratch->merged.count = 0;
    while (status == KB_OK && (i < one->count || k < other->count)) {
        bool from_one =
            k == other->count || (i < one->count && before(&one->item[i], &other->item[k]));
        struct kb_span span = from_one ? one->item[i++] : other->item[k++];
        status = append(&scratch->merged, span, err);
    }
    struct kb_spans former = scratch->spans[a];
    scratch->spans[a] = scratch->merged;
    scratch->merged = former;
    return status;
}

/* Join what must not be cut apart, worst first, and measure what came of it. */
static enum kb_status join_badly_cut(struct kb_flood *flood, const struct kb_window *window,
                                     const struct kb_morphology_params *params,
                                     struct kb_pieces_scratch *scratch, size_t *pieces,
                                     struct kb_err *err) {
    struct bad_cut worst = {0, 0, 0.0};
    enum kb_status status = KB_OK;
    while (status == KB_OK && *pieces > 1 && find_worst(flood, params, scratch, &worst)) {
        size_t a = scratch->number[worst.a];
        kb_doubt_add(worst.margin, &scratch->piece[a], &scratch->piece[scratch->number[worst.b]],
                     &scratch->doubt);
        flood->basin[worst.b].parent = worst.a;
        status = merge_spans(scratch, a, scratch->number[worst.b], err);
        if (status == KB_OK) {
            status = measure(scratch, window, a, err);
        }
        (*pieces)--;
    }
    return status;
}

/* Add the doubt about the cuts that stand, each once. */
static void doubt_cuts(struct kb_flood *flood, struct kb_pieces_scratch *scratch) {
    for (size_t i = 0; i < flood->saddles; i++) {
        uint32_t a = kb_flood_root(flood, flood->saddle[i].a);
        uint32_t b = kb_flood_root(flood, flood->saddle[i].b);
        if (a != b && !kb_cut_seen_before(flood, i, a, b)) {
            kb_doubt_add(flood->saddle[i].stood, &scratch->piece[scratch->number[a]],
                         &scratch->piece[scratch->number[b]], &scratch->doubt);
        }
    }
}

/* Close the gaps that joined pieces left in the numbers. */
static void renumber(const struct kb_flood *flood, struct kb_pieces_scratch *scratch, size_t all) {
    size_t left = 0;
    for (size_t i = 0; i < all; i++) {
        uint32_t root = scratch->piece[i].root;
        if (flood->basin[root].parent == root) {
            scratch->piece[left] = scratch->piece[i];
            scratch->number[root] = (uint32_t)left++;
        }
    }
}

/* Roundness of the pieces, their mean by area. */
static double mean_roundness(const struct kb_pieces_scratch *scratch, size_t pieces) {
    double area = 0.0;
    double round = 0.0;
    for (size_t i = 0; i < pieces; i++) {
        area += scratch->piece[i].area;
        round += scratch->piece[i].area * scratch->piece[i].round;
    }
    return round / area;
}

static void name_owners(struct kb_flood *flood, struct kb_window *window,
                        const struct kb_pieces_scratch *scratch) {
    size_t pixels = (size_t)window->width * (size_t)window->height;
    for (size_t i = 0; i < pixels; i++) {
        if (window->owner[i] != 0) {
            window->owner[i] = 1 + scratch->number[kb_flood_root(flood, window->owner[i] - 1)];
        }
    }
}

enum kb_status kb_pieces_judge(struct kb_flood *flood, struct kb_window *window,
                               const struct kb_morphology_params *params,
                               const struct kb_particle *whole, struct kb_pieces_scratch *scratch,
                               size_t *pieces, struct kb_err *err) {
    enum kb_status status = reserve_numbers(scratch, flood->basins, err);
    size_t all = 0;
    scratch->doubt = (struct kb_doubt){0.0, 0.0};
    if (status == KB_OK) {
        all = number_roots(flood, scratch);
        status = gather(flood, window, scratch, all, err);
    }
    for (size_t i = 0; i < all && status == KB_OK; i++) {
        status = measure(scratch, window, i, err);
    }
    *pieces = all;
    if (status == KB_OK) {
        status = join_badly_cut(flood, window, params, scratch, pieces, err);
    }
    if (status != KB_OK || *pieces < 2) {
        return status;
    }
    doubt_cuts(flood, scratch);
    renumber(flood, scratch, all);
    if (mean_roundness(scratch, *pieces) < roundness(whole) + params->part_gain) {
        *pieces = 1;
        return KB_OK;
    }
    name_owners(flood, window, scratch);
    kb_cuts_straighten(flood, window, scratch);
    return KB_OK;
}

void kb_pieces_release(struct kb_pieces_scratch *scratch) {
    for (size_t i = 0; i < scratch->lists; i++) {
        kb_spans_release(&scratch->spans[i]);
    }
    kb_free(scratch->spans);
    kb_spans_release(&scratch->merged);
    kb_free(scratch->number);
    kb_free(scratch->piece);
    kb_hull_release(&scratch->hull);
    *scratch = (struct kb_pieces_scratch){0};
}
