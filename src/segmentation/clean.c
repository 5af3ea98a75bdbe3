/* clean.c - specks are not structure.
 *
 * A region of less area than a disc of diameter clean_um goes to what surrounds it: the label that
 * most of its runs end at (majority vote of Boyer & Moore, one candidate and one counter a region).
 * Graphite first, 8-connected, then pearlite and the other constituent, 4-connected. What lies
 * under the limit is below what the field can resolve or is dirt, pits and noise; the number of
 * pixels is reported.
 */
#include "segmentation_priv.h"

#include <math.h>

struct speck {
    uint32_t pixels;
    uint32_t votes;
    uint8_t candidate; /* KB_EXCLUDED: no neighbour seen */
};

static void vote(struct speck *speck, uint8_t label) {
    if (label == KB_EXCLUDED) {
        return;
    }
    if (speck->votes == 0) {
        speck->candidate = label;
    }
    speck->votes = speck->candidate == label ? speck->votes + 1 : speck->votes - 1;
}

static void specks_measure(const struct kb_runs *runs, const struct kb_image *label,
                           struct speck *speck) {
    for (int32_t y = 0; y < runs->height; y++) {
        const uint8_t *row = kb_row(label, y);
        for (size_t i = runs->row[y]; i < runs->row[y + 1]; i++) {
            const struct kb_run *run = &runs->run[i];
            struct speck *s = &speck[run->region];
            uint32_t length = (uint32_t)(run->x1 - run->x0);
            s->pixels = s->pixels > UINT32_MAX - length ? UINT32_MAX : s->pixels + length;
            if (run->x0 > 0) {
                vote(s, row[run->x0 - 1]);
            }
            if (run->x1 < runs->width) {
                vote(s, row[run->x1]);
            }
        }
    }
}

/* Points asked about that lie in a speck. */
static void tell_points(const struct kb_seg *seg, const struct kb_runs *runs,
                        const struct speck *speck, const uint16_t *to) {
    for (struct kb_why *why = NULL; (why = kb_seg_why_next(seg, why)) != NULL;) {
        uint32_t region = 0;
        if (!kb_runs_at(runs, why->x, why->y, &region) || to[region] == KB_KEEP) {
            continue;
        }
        struct kb_why_step step = kb_seg_why_step(why, "speck", (enum kb_phase)to[region]);
        step.figure = 2.0 * sqrt((double)speck[region].pixels / KB_SEG_PI) * seg->px_um;
        step.limit = seg->params->clean_um;
        step.unit = "um";
        kb_why_add(why, &step,
                   "this %s region has an equivalent diameter of %.2g um, less than %.3g um: a "
                   "speck, it goes to the %s about it",
                   kb_phase_name(step.from), step.figure, step.limit, kb_phase_name(step.to));
    }
}

static enum kb_status clean_phase(struct kb_seg *seg, enum kb_phase phase, int connectivity,
                                  double least_px, struct kb_err *err) {
    bool chosen[256] = {false};
    chosen[phase] = true;
    struct kb_runs runs;
    enum kb_status status = kb_runs_label(&seg->map->label, chosen, connectivity, &runs, err);
    if (status != KB_OK) {
        return status;
    }
    struct speck *speck = kb_alloc_zero((size_t)runs.regions + 1, sizeof *speck);
    uint16_t *to = kb_alloc((size_t)runs.regions + 1, sizeof *to);
    if (speck == NULL || to == NULL) {
        status = kb_fail_memory(err, KB_SEG_STAGE, runs.regions * sizeof *speck);
    } else {
        specks_measure(&runs, &seg->map->label, speck);
        for (uint32_t r = 0; r < runs.regions; r++) {
            bool small = (double)speck[r].pixels < least_px && speck[r].candidate != KB_EXCLUDED;
            to[r] = small ? speck[r].candidate : (uint16_t)KB_KEEP;
            seg->map->figures.recovered_speck_px += small ? speck[r].pixels : 0;
        }
        tell_points(seg, &runs, speck, to);
        kb_runs_paint(&runs, to, &seg->map->label);
    }
    kb_free(speck);
    kb_free(to);
    kb_runs_release(&runs);
    return status;
}

enum kb_status kb_seg_clean(struct kb_seg *seg, struct kb_err *err) {
    double least_px = kb_seg_clean_px(seg);
    enum kb_status status = KB_OK;
    if (least_px <= 1.0) {
        return status;
    }
    if (seg->scheme.graphite) {
        status = clean_phase(seg, KB_GRAPHITE, 8, least_px, err);
    }
    if (status == KB_OK && seg->scheme.matrix_pair) {
        status = clean_phase(seg, KB_PEARLITE, 4, least_px, err);
    }
    if (status == KB_OK && seg->scheme.matrix_pair) {
        status = clean_phase(seg, seg->scheme.plain, 4, least_px, err);
    }
    return status;
}
