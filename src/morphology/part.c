/* part.c - cut clusters of touching nodules apart.
 *
 * Only suspects are looked at: regions whose hull is not filled as a single nodule's is, and whose
 * shape could gain by a cut. Each is drawn into a window of its own, its exact distance map is
 * flooded (flood.c), and the pieces are judged (pieces.c). The cut falls where the basins meet, so
 * every pixel stays in one of the pieces and area is kept. What is left may still be nodules grown
 * together so far that there is no neck: it is cut by chords between concave places (chords.c).
 *
 * Nodules that touch in a ring enclose some matrix, which was filled as if it were a hole. So the
 * cluster is first tried with its holes open, then, when that does not part it, with its holes
 * filled; afterwards a hole inside one piece belongs to it and one between pieces is matrix.
 *
 * Limits: clusters in a window of more than 2^20 pixels or with more than some hundred necks are
 * left whole and reported. Regions that fill less than three tenths of their hull are networks and
 * are not looked at.
 */
#include "morphology_priv.h"

#include <string.h>

/* Two equal discs with a neck of 0.8 of their diameter have solidity 0.973 (computed), unequal ones
 * less at the same neck; wider necks are not cut by default. */
static const double suspect_solidity = 0.975;
static const double network_solidity = 0.30;
/* 11 bytes a pixel while one cluster is parted: about 11 MB at most. */
static const int64_t window_limit = (int64_t)1 << 20;
/* Distances on the grid are uncertain by about a pixel: no neck is judged by less. */
static const double least_depth_px = 1.0;

struct parter {
    const struct kb_image *label;
    const struct kb_morphology_params *params;
    double depth_px;
    struct kb_doubt doubt; /* about the region at hand */
    struct kb_window window;
    struct kb_flood flood;
    struct kb_pieces_scratch scratch;
    struct kb_chord_scratch chords;
    struct kb_spans spans; /* of the region at hand */
    struct kb_spans cut;   /* spans of all pieces */
    uint32_t next_region;
};

static enum kb_status reserve_window(struct kb_window *window, size_t pixels, struct kb_err *err) {
    if (pixels <= window->capacity) {
        return KB_OK;
    }
    uint8_t *mask = kb_resize(window->mask, pixels, sizeof *mask);
    window->mask = mask != NULL ? mask : window->mask;
    uint32_t *squared = kb_resize(window->squared, pixels, sizeof *squared);
    window->squared = squared != NULL ? squared : window->squared;
    uint32_t *owner = kb_resize(window->owner, pixels, sizeof *owner);
    window->owner = owner != NULL ? owner : window->owner;
    if (mask == NULL || squared == NULL || owner == NULL) {
        return kb_fail_memory(err, "morphology", pixels * sizeof *squared);
    }
    window->capacity = pixels;
    return KB_OK;
}

/* Lay a window one pixel larger than the box on each side. */
static enum kb_status lay_window(struct parter *parter, struct kb_rect box, struct kb_err *err) {
    struct kb_window *window = &parter->window;
    window->x = box.x - 1;
    window->y = box.y - 1;
    window->width = box.width + 2;
    window->height = box.height + 2;
    window->field_width = parter->label->width;
    window->field_height = parter->label->height;
    return reserve_window(window, (size_t)window->width * (size_t)window->height, err);
}

static uint8_t *mask_at(const struct kb_window *window, int32_t x, int32_t y) {
    return window->mask + (size_t)(y - window->y) * (size_t)window->width + (size_t)(x - window->x);
}

/* mask becomes `graphite` on graphite and `filled` on the holes that were filled. Says whether
 * there are any. */
static bool draw_mask(struct parter *parter, bool has_holes, uint8_t graphite, uint8_t filled) {
    struct kb_window *window = &parter->window;
    bool any = false;
    memset(window->mask, 0, (size_t)window->width * (size_t)window->height);
    for (size_t i = 0; i < parter->spans.count; i++) {
        const struct kb_span *span = &parter->spans.item[i];
        const uint8_t *label = kb_row(parter->label, span->y) + span->x0;
        uint8_t *mask = mask_at(window, span->x0, span->y);
        if (!has_holes) {
            memset(mask, graphite, (size_t)(span->x1 - span->x0));
            continue;
        }
        for (int32_t k = 0; k < span->x1 - span->x0; k++) {
            bool hole = label[k] != KB_GRAPHITE;
            mask[k] = hole ? filled : graphite;
            any = any || hole;
        }
    }
    return any;
}

/* ---- holes of the pieces ----------------------------------------------------------------------
 */

/* Pixels of one hole in flood.order, and the piece about it. */
struct ring {
    size_t pixels;
    uint32_t owner; /* of the graphite about the hole; 0: none seen yet */
    bool mixed;     /* more than one, or clear */
};

static void look_round(const struct kb_window *window, size_t other, struct ring *ring) {
    uint32_t owner = window->owner[other];
    ring->mixed = ring->mixed || owner == 0 || (ring->owner != 0 && owner != ring->owner);
    ring->owner = owner;
}

/* Gather the 4-connected hole at `at`, unmarking it. */
static struct ring gather_hole(struct parter *parter, uint32_t at) {
    struct kb_window *window = &parter->window;
    const ptrdiff_t w = window->width;
    const ptrdiff_t step[4] = {-w, -1, 1, w};
    uint32_t *pixel = parter->flood.order;
    struct ring ring = {1, 0, false};
    pixel[0] = at;
    window->mask[at] = 2; /* 1: still to do, 2: of a hole */
    for (size_t done = 0; done < ring.pixels; done++) {
        for (int i = 0; i < 4; i++) {
            size_t other = (size_t)((ptrdiff_t)pixel[done] + step[i]);
            if (window->mask[other] == 1) {
                window->mask[other] = 2;
                pixel[ring.pixels++] = (uint32_t)other;
            } else if (window->mask[other] == 0) {
                look_round(window, other, &ring);
            }
        }
    }
    return ring;
}

/* A hole inside one piece belongs to it; one that lies between pieces is matrix. */
static void settle_holes(struct parter *parter) {
    struct kb_window *window = &parter->window;
    (void)draw_mask(parter, true, 0, 1);
    size_t pixels = (size_t)window->width * (size_t)window->height;
    for (size_t at = 0; at < pixels; at++) {
        if (window->mask[at] != 1) {
            continue;
        }
        struct ring ring = gather_hole(parter, (uint32_t)at);
        for (size_t i = 0; i < ring.pixels; i++) {
            window->owner[parter->flood.order[i]] = ring.mixed ? 0 : ring.owner;
        }
    }
}

/* ---- cutting ----------------------------------------------------------------------------------
 */

/* Add the pieces in window->owner to parter->cut, as regions from next_region on. */
static enum kb_status take_pieces(struct parter *parter, size_t pieces, struct kb_err *err) {
    const struct kb_window *window = &parter->window;
    for (int32_t y = 0; y < window->height; y++) {
        const uint32_t *owner = window->owner + (size_t)y * (size_t)window->width;
        int32_t x = 0;
        while (x < window->width) {
            int32_t x0 = x++;
            while (x < window->width && owner[x] == owner[x0]) {
                x++;
            }
            if (owner[x0] == 0) {
                continue;
            }
            struct kb_span span = {window->y + y, window->x + x0, window->x + x,
                                   parter->next_region + owner[x0] - 1};
            enum kb_status status = kb_spans_add(&parter->cut, span, err);
            if (status != KB_OK) {
                return status;
            }
        }
    }
    parter->next_region += (uint32_t)pieces;
    return KB_OK;
}

static bool is_suspect(const struct parter *parter, const struct kb_particle *particle,
                       double px_um) {
    bool counts_by_size =
        !(px_um > 0.0) || particle->feret_max_px * px_um >= parter->params->min_feret_um;
    return counts_by_size && particle->solidity < suspect_solidity &&
           particle->solidity >= network_solidity &&
           particle->shape_factor + parter->params->part_gain <= 1.0;
}

static bool is_too_large(const struct kb_particle *particle) {
    return (int64_t)(particle->box.width + 2) * (particle->box.height + 2) > window_limit;
}

/* Everything is one piece. */
static void own_all(struct kb_window *window) {
    size_t pixels = (size_t)window->width * (size_t)window->height;
    for (size_t i = 0; i < pixels; i++) {
        window->owner[i] = window->mask[i] != 0;
    }
}

enum kb_status kb_window_spans(const struct kb_window *window, uint32_t owner,
                               struct kb_spans *spans, struct kb_err *err) {
    enum kb_status status = KB_OK;
    spans->count = 0;
    for (int32_t y = 0; y < window->height && status == KB_OK; y++) {
        const uint32_t *row = window->owner + (size_t)y * (size_t)window->width;
        for (int32_t x = 0; x < window->width && status == KB_OK; x++) {
            int32_t x0 = x;
            while (x < window->width && row[x] == owner) {
                x++;
            }
            if (x > x0) {
                status = kb_spans_add(spans, (struct kb_span){y, x0, x, 0}, err);
            }
        }
    }
    return status;
}

/* Find the pieces of what is set in window->mask. */
static enum kb_status find_pieces(struct parter *parter, const struct kb_particle *whole,
                                  size_t *pieces, struct kb_err *err) {
    const struct kb_morphology_params *params = parter->params;
    struct kb_window *window = &parter->window;
    enum kb_status status = kb_distance_squared(window->mask, window->width, window->height, true,
                                                window->squared, err);
    *pieces = 1;
    parter->doubt = (struct kb_doubt){0.0, 0.0};
    if (status == KB_OK && kb_flood_worthwhile(window, parter->depth_px, params->part_neck)) {
        status =
            kb_flood_run(&parter->flood, window, parter->depth_px, params->part_neck, pieces, err);
    }
    if (status == KB_OK && *pieces > 1) {
        status =
            kb_pieces_judge(&parter->flood, window, params, whole, &parter->scratch, pieces, err);
        parter->doubt = parter->scratch.doubt;
    }
    if (status == KB_OK && *pieces < 2) {
        own_all(window);
    }
    if (status == KB_OK && !parter->flood.tangled) {
        status = kb_chords_cut(window, params, &parter->chords, pieces, err);
        parter->doubt.count += parter->chords.doubt.count;
        parter->doubt.area_px2 += parter->chords.doubt.area_px2;
    }
    return status;
}

static enum kb_status part_region(struct parter *parter, const struct kb_particle *whole,
                                  size_t *pieces, struct kb_err *err) {
    enum kb_status status = lay_window(parter, whole->box, err);
    *pieces = 1;
    parter->flood.tangled = false;
    if (status != KB_OK) {
        return status;
    }
    const bool holes = draw_mask(parter, whole->hole_area_px2 > 0.0, 1, 0);
    status = find_pieces(parter, whole, pieces, err);
    if (status == KB_OK && *pieces < 2 && holes) {
        (void)draw_mask(parter, true, 1, 1);
        status = find_pieces(parter, whole, pieces, err);
    }
    if (status == KB_OK && *pieces > 1) {
        if (holes) {
            settle_holes(parter);
        }
        status = take_pieces(parter, *pieces, err);
    }
    return status;
}

static enum kb_status part_regions(struct parter *parter, double px_um,
                                   const struct kb_particle *particle, const struct kb_runs *runs,
                                   const struct kb_run_order *order, bool *dropped,
                                   struct kb_part_result *result, struct kb_err *err) {
    for (uint32_t region = 0; region < runs->regions; region++) {
        if (!is_suspect(parter, &particle[region], px_um)) {
            continue;
        }
        if (is_too_large(&particle[region])) {
            result->given_up++;
            result->whole_px += particle[region].area_px2;
            continue;
        }
        size_t pieces = 1;
        enum kb_status status = kb_spans_take(&parter->spans, runs, order, region, err);
        if (status == KB_OK) {
            status = part_region(parter, &particle[region], &pieces, err);
        }
        if (status != KB_OK) {
            return status;
        }
        if (parter->flood.tangled && pieces < 2) {
            result->given_up++;
            result->whole_px += particle[region].area_px2;
        }
        result->doubt.count += parter->doubt.count;
        result->doubt.area_px2 += parter->doubt.area_px2;
        if (pieces > 1) {
            dropped[region] = true;
            result->clusters++;
            result->pieces += pieces;
        }
    }
    return KB_OK;
}

/* Put the pieces in the place of what was cut. */
static enum kb_status renew(struct parter *parter, const bool *dropped, struct kb_runs *runs,
                            struct kb_run_order *order, struct kb_part_result *result,
                            struct kb_err *err) {
    uint32_t regions = runs->regions;
    uint32_t *former = NULL;
    kb_spans_sort(&parter->cut);
    kb_run_order_release(order);
    enum kb_status status = kb_runs_rebuild(runs, &parter->cut, dropped, false, &former, err);
    if (status == KB_OK) {
        status = kb_run_order_make(runs, order, err);
    }
    bool *parted = NULL;
    if (status == KB_OK) {
        parted = kb_alloc(runs->regions, sizeof *parted);
        if (parted == NULL) {
            status = kb_fail_memory(err, "morphology", runs->regions);
        }
    }
    if (parted != NULL && former != NULL) {
        for (uint32_t i = 0; i < runs->regions; i++) {
            parted[i] = former[i] >= regions;
        }
    }
    result->parted = parted;
    kb_free(former);
    return status;
}

enum kb_status kb_part_touching(const struct kb_image *label, double px_um,
                                const struct kb_morphology_params *params,
                                const struct kb_particle *particle, struct kb_runs *runs,
                                struct kb_run_order *order, struct kb_part_result *result,
                                struct kb_err *err) {
    double px = px_um > 0.0 ? px_um : params->fallback_px_um;
    struct parter parter = {
        .label = label,
        .params = params,
        .depth_px = fmax(params->part_depth_um / px, least_depth_px),
        .next_region = runs->regions,
    };
    parter.chords.depth_px = parter.depth_px;
    *result = (struct kb_part_result){0};
    bool *dropped = kb_alloc_zero(runs->regions, sizeof *dropped);
    if (dropped == NULL) {
        return kb_fail_memory(err, "morphology", runs->regions);
    }
    enum kb_status status =
        part_regions(&parter, px_um, particle, runs, order, dropped, result, err);
    if (status == KB_OK && result->clusters > 0) {
        status = renew(&parter, dropped, runs, order, result, err);
    }
    kb_free(dropped);
    kb_spans_release(&parter.spans);
    kb_spans_release(&parter.cut);
    kb_pieces_release(&parter.scratch);
    kb_chords_release(&parter.chords);
    kb_flood_release(&parter.flood);
    kb_free(parter.window.mask);
    kb_free(parter.window.squared);
    kb_free(parter.window.owner);
    return status;
}
