/* pieces.c - judge the pieces into which a cluster might be cut.
 *
 * Vermicular, flake and ragged graphite has necks too; cutting it there would make false nodules.
 * So a cut stands only where on one side lies a piece that is convincingly round (shape factor and
 * solidity), on the other one that is at least compact (perhaps nodules grown together beyond
 * parting, but no worm), and both together are the rounder the wider the neck between them: lumps
 * of a worm pass for round by themselves, but not beside each other. It stands, too, where a very
 * round piece hangs on by less than half of its width, whatever the rest is; or where the neck is
 * thin beside the lesser inscribed circle and one side is compact: so that a ragged neighbour does
 * not spoil a cluster. A piece that is badly cut off is joined with the neighbour with which it
 * shares the widest neck, and all is judged again, until every cut stands or one piece is left. At
 * the end the pieces must be rounder on the average (by area) than the whole was: a nodule with a
 * crack in it, whose halves are no better, stays one.
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

static enum kb_grade grade_of(const struct kb_morphology_params *params,
                              const struct kb_particle *piece) {
    if (piece->shape_factor >= params->part_shape && piece->solidity >= params->part_solidity) {
        return KB_ROUND;
    }
    bool compact = piece->shape_factor >= params->part_shape_other &&
                   piece->solidity >= params->part_solidity_other;
    return compact ? KB_COMPACT : KB_POOR;
}

/* Grade every piece; *mean_shape is their mean shape factor, by area. */
static enum kb_status judge(const struct kb_morphology_params *params,
                            struct kb_pieces_scratch *scratch, size_t pieces, double *mean_shape,
                            struct kb_err *err) {
    double area = 0.0;
    double shape = 0.0;
    for (size_t i = 0; i < pieces; i++) {
        struct kb_particle figures = {0};
        enum kb_status status =
            kb_measure_region(&scratch->spans[i], &scratch->hull, &figures, err);
        if (status != KB_OK) {
            return status;
        }
        struct kb_piece *piece = &scratch->piece[i];
        piece->grade = grade_of(params, &figures);
        piece->joined = false;
        piece->area = figures.area_px2;
        piece->x = figures.x_px;
        piece->y = figures.y_px;
        piece->shape = figures.shape_factor;
        area += figures.area_px2;
        shape += figures.area_px2 * figures.shape_factor;
    }
    *mean_shape = shape / area;
    return KB_OK;
}

/* Below this inscribed radius, in pixels, a thin neck is narrower than a pixel or two and no fact.
 */
static const double least_radius_px = 3.0;

/* Half-width of a neck over the lesser of the two inscribed radii. */
static double neck_of(const struct kb_flood *flood, const struct kb_saddle *saddle, uint32_t a,
                      uint32_t b) {
    uint32_t one = flood->basin[a].peak;
    uint32_t other = flood->basin[b].peak;
    return sqrt((double)saddle->squared / (one < other ? one : other));
}

/* Round together, by area, as a neck of that width asks for. */
static bool round_enough(const struct kb_morphology_params *params, double neck,
                         const struct kb_piece *one, const struct kb_piece *other) {
    double shape =
        (one->area * one->shape + other->area * other->shape) / (one->area + other->area);
    return shape >= params->part_pair + params->part_pair_neck * neck;
}

/* One round, the other at least compact. */
static bool both_nodules(const struct kb_piece *one, const struct kb_piece *other) {
    return one->grade != KB_POOR && other->grade != KB_POOR &&
           (one->grade == KB_ROUND || other->grade == KB_ROUND);
}

/* A neck so thin beside the lesser of two inscribed circles that no single particle has it. */
static bool thin_neck(const struct kb_morphology_params *params, const struct kb_flood *flood,
                      const struct kb_saddle *saddle, uint32_t a, uint32_t b) {
    uint32_t one = flood->basin[a].peak;
    uint32_t other = flood->basin[b].peak;
    double radius = sqrt(one < other ? one : other);
    return radius >= least_radius_px && sqrt(saddle->squared) <= params->part_thin * radius;
}

/* Join what must not be cut apart; saddles come widest first, so that a piece goes to the
 * neighbour with which it shares the widest neck. A piece is joined once a round, then judged
 * anew. Says whether anything was joined. */
static bool join_badly_cut(struct kb_flood *flood, const struct kb_morphology_params *params,
                           struct kb_pieces_scratch *scratch) {
    bool joined = false;
    for (size_t i = 0; i < flood->saddles; i++) {
        uint32_t a = kb_flood_root(flood, flood->saddle[i].a);
        uint32_t b = kb_flood_root(flood, flood->saddle[i].b);
        struct kb_piece *one = &scratch->piece[scratch->number[a]];
        struct kb_piece *other = &scratch->piece[scratch->number[b]];
        double neck = neck_of(flood, &flood->saddle[i], a, b);
        bool stands = (both_nodules(one, other) && round_enough(params, neck, one, other)) ||
                      (neck <= params->part_alone_neck &&
                       fmax(one->shape, other->shape) >= params->part_alone);
        bool hangs_by_a_thread = (one->grade != KB_POOR || other->grade != KB_POOR) &&
                                 thin_neck(params, flood, &flood->saddle[i], a, b);
        if (a == b || stands || hangs_by_a_thread || one->joined || other->joined) {
            continue;
        }
        flood->basin[a < b ? b : a].parent = a < b ? a : b;
        one->joined = true;
        other->joined = true;
        joined = true;
    }
    return joined;
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
    while (status == KB_OK) {
        *pieces = number_roots(flood, scratch);
        if (*pieces < 2) {
            break;
        }
        double mean_shape = 0.0;
        status = gather(flood, window, scratch, *pieces, err);
        if (status == KB_OK) {
            status = judge(params, scratch, *pieces, &mean_shape, err);
        }
        if (status == KB_OK && !join_badly_cut(flood, params, scratch)) {
            bool better = mean_shape >= whole->shape_factor + params->part_gain;
            *pieces = better ? *pieces : 1;
            break;
        }
    }
    if (status == KB_OK && *pieces > 1) {
        name_owners(flood, window, scratch);
        kb_cuts_straighten(flood, window, scratch);
    }
    return status;
}

void kb_pieces_release(struct kb_pieces_scratch *scratch) {
    for (size_t i = 0; i < scratch->lists; i++) {
        kb_spans_release(&scratch->spans[i]);
    }
    kb_free(scratch->spans);
    kb_free(scratch->number);
    kb_free(scratch->piece);
    kb_hull_release(&scratch->hull);
    *scratch = (struct kb_pieces_scratch){0};
}
