/* shape_by_hand.c - what a person says is one particle, or several.
 *
 * Strokes part particles (cut_by_hand.c) and joins make two into one, one after the other as they
 * were said, over what the program's own parting left. A join takes the runs of both together:
 * pieces of a parted cluster lie side by side, so that the cut between them vanishes, and a hole
 * that only lay open between them is filled by the ordinary rule again. The label map is left
 * alone, and so are the area fractions of phases.
 *
 * Particles are named by pixels, which stay where they are while numbers change.
 */
#include "morphology_priv.h"

enum { PARTED = 1, CUT = 2, JOINED = 4 };

struct shaping {
    struct kb_runs *runs;
    struct kb_run_order *order;
    double hole_share;
    uint8_t *mark; /* bits above, a region */
    struct kb_stroke stroke;
    struct kb_spans fresh; /* of the regions that come in the place of others */
    bool changed;
};

/* ---- putting fresh regions in ------------------------------------------------------------------
 */

/* Runs of one region that abut in a row become one. */
static void close_up(struct kb_spans *spans) {
    size_t kept = 0;
    kb_spans_sort(spans);
    for (size_t i = 0; i < spans->count; i++) {
        const struct kb_span span = spans->item[i];
        struct kb_span *last = kept > 0 ? &spans->item[kept - 1] : NULL;
        if (last != NULL && last->y == span.y && last->x1 == span.x0 &&
            last->region == span.region) {
            last->x1 = span.x1;
        } else {
            spans->item[kept++] = span;
        }
    }
    spans->count = kept;
}

/* The spans of `fresh` in the place of what is dropped; fresh regions get `mark`. */
static enum kb_status renew(struct shaping *s, const bool *dropped, uint8_t mark,
                            struct kb_err *err) {
    const uint32_t before = s->runs->regions;
    uint32_t *former = NULL;
    close_up(&s->fresh);
    kb_run_order_release(s->order);
    enum kb_status status = kb_runs_rebuild(s->runs, &s->fresh, dropped, false, &former, err);
    if (status == KB_OK) {
        status = kb_run_order_make(s->runs, s->order, err);
    }
    uint8_t *marks = status == KB_OK ? kb_alloc((size_t)s->runs->regions + 1, 1) : NULL;
    if (status == KB_OK && marks == NULL) {
        status = kb_fail_memory(err, "morphology", s->runs->regions);
    }
    if (marks != NULL) {
        for (uint32_t i = 0; i < s->runs->regions; i++) {
            marks[i] = former[i] < before ? s->mark[former[i]] : mark;
        }
        kb_free(s->mark);
        s->mark = marks;
        s->changed = true;
    }
    kb_free(former);
    s->fresh.count = 0;
    return status;
}

/* ---- a stroke ----------------------------------------------------------------------------------
 */

/* Every particle under the stroke once; those that it parts are dropped. */
static enum kb_status cut_all(struct shaping *s, bool *seen, bool *dropped, struct kb_shaped *done,
                              struct kb_err *err) {
    uint32_t base = s->runs->regions;
    for (size_t i = 0; i < s->stroke.count; i++) {
        const struct kb_place at = s->stroke.pixel[i];
        uint32_t region = 0;
        uint32_t pieces = 0;
        if (!kb_runs_at(s->runs, at.x, at.y, &region) || seen[region]) {
            continue;
        }
        seen[region] = true;
        enum kb_status status =
            kb_cut_by_hand(s->runs, s->order, region, &s->stroke, base, &s->fresh, &pieces, err);
        if (status != KB_OK) {
            return status;
        }
        dropped[region] = pieces > 0;
        done->before += pieces > 0;
        done->after += pieces;
        base += pieces;
    }
    return KB_OK;
}

static enum kb_status cut(struct shaping *s, const struct kb_shape_by_hand *said,
                          struct kb_shaped *done, struct kb_err *err) {
    enum kb_status status =
        kb_stroke_draw(said->point, said->points, s->runs->width, s->runs->height, &s->stroke, err);
    if (status == KB_OK && s->stroke.count == 0 && !said->may_miss) {
        status = kb_fail(err, KB_E_USAGE, "morphology", NULL,
                         "cut by hand from %d,%d: outside the picture of %d x %d pixels (give x,y "
                         "from its upper left corner)",
                         (int)said->point[0].x, (int)said->point[0].y, (int)s->runs->width,
                         (int)s->runs->height);
    }
    if (status != KB_OK) {
        return status;
    }
    bool *seen = kb_alloc_zero((size_t)s->runs->regions + 1, sizeof *seen);
    bool *dropped = kb_alloc_zero((size_t)s->runs->regions + 1, sizeof *dropped);
    if (seen == NULL || dropped == NULL) {
        status = kb_fail_memory(err, "morphology", s->runs->regions);
    } else {
        status = cut_all(s, seen, dropped, done, err);
    }
    if (status == KB_OK && done->after > 0) {
        status = renew(s, dropped, PARTED | CUT, err);
    }
    kb_free(seen);
    kb_free(dropped);
    return status;
}

/* ---- a join ------------------------------------------------------------------------------------
 */

static enum kb_status find_particle(const struct shaping *s, const struct kb_shape_by_hand *said,
                                    struct kb_place at, bool *found, uint32_t *region,
                                    struct kb_err *err) {
    *found = kb_runs_at(s->runs, at.x, at.y, region);
    if (*found || said->may_miss) {
        return KB_OK;
    }
    if (at.x < 0 || at.y < 0 || at.x >= s->runs->width || at.y >= s->runs->height) {
        return kb_fail(err, KB_E_USAGE, "morphology", NULL,
                       "join by hand at %d,%d: outside the picture of %d x %d pixels (give x,y "
                       "from its upper left corner)",
                       (int)at.x, (int)at.y, (int)s->runs->width, (int)s->runs->height);
    }
    return kb_fail(err, KB_E_USAGE, "morphology", NULL,
                   "join by hand at %d,%d: no graphite particle holds this pixel (take one inside "
                   "the outline that the overlay shows)",
                   (int)at.x, (int)at.y);
}

/* Whether a region other than a and b holds a pixel of the runs. */
static bool covers_others(const struct kb_runs *runs, const struct kb_runs *whole, uint32_t a,
                          uint32_t b) {
    for (int32_t y = 0; y < whole->height; y++) {
        size_t i = runs->row[y];
        for (size_t k = whole->row[y]; k < whole->row[y + 1]; k++) {
            while (i < runs->row[y + 1] && runs->run[i].x1 <= whole->run[k].x0) {
                i++;
            }
            for (size_t n = i; n < runs->row[y + 1] && runs->run[n].x0 < whole->run[k].x1; n++) {
                if (runs->run[n].region != a && runs->run[n].region != b) {
                    return true;
                }
            }
        }
    }
    return false;
}

/* Fill the holes of what was joined, unless another particle lies in one. */
static enum kb_status fill(struct shaping *s, uint32_t a, uint32_t b, struct kb_err *err) {
    const uint32_t region = s->runs->regions;
    struct kb_runs whole = {0};
    struct kb_run_order order = {0};
    close_up(&s->fresh);
    enum kb_status status =
        kb_spans_regions(&s->fresh, s->runs->width, s->runs->height, &whole, err);
    if (status == KB_OK) {
        status = kb_run_order_make(&whole, &order, err);
    }
    if (status == KB_OK) {
        status = kb_fill_holes(&whole, &order, s->hole_share, err);
    }
    if (status == KB_OK && !covers_others(s->runs, &whole, a, b)) {
        s->fresh.count = 0;
        for (int32_t y = 0; y < whole.height && status == KB_OK; y++) {
            for (size_t i = whole.row[y]; i < whole.row[y + 1] && status == KB_OK; i++) {
                const struct kb_span span = {y, whole.run[i].x0, whole.run[i].x1, region};
                status = kb_spans_add(&s->fresh, span, err);
            }
        }
    }
    kb_run_order_release(&order);
    kb_runs_release(&whole);
    return status;
}

static enum kb_status take_both(struct shaping *s, uint32_t a, uint32_t b, struct kb_err *err) {
    const uint32_t both[] = {a, b};
    struct kb_spans spans = {0};
    enum kb_status status = KB_OK;
    for (int k = 0; k < 2 && status == KB_OK; k++) {
        status = kb_spans_take(&spans, s->runs, s->order, both[k], err);
        for (size_t i = 0; i < spans.count && status == KB_OK; i++) {
            struct kb_span span = spans.item[i];
            span.region = s->runs->regions;
            status = kb_spans_add(&s->fresh, span, err);
        }
    }
    kb_spans_release(&spans);
    return status;
}

static enum kb_status join(struct shaping *s, const struct kb_shape_by_hand *said,
                           struct kb_shaped *done, struct kb_err *err) {
    uint32_t a = 0;
    uint32_t b = 0;
    bool found_a = false;
    bool found_b = false;
    enum kb_status status = find_particle(s, said, said->point[0], &found_a, &a, err);
    if (status == KB_OK) {
        status = find_particle(s, said, said->point[1], &found_b, &b, err);
    }
    if (status != KB_OK || !found_a || !found_b || a == b) {
        done->before = done->after = found_a && found_b;
        return status;
    }
    bool *dropped = kb_alloc_zero((size_t)s->runs->regions + 1, sizeof *dropped);
    if (dropped == NULL) {
        return kb_fail_memory(err, "morphology", s->runs->regions);
    }
    dropped[a] = dropped[b] = true;
    status = take_both(s, a, b, err);
    if (status == KB_OK) {
        status = fill(s, a, b, err);
    }
    if (status == KB_OK) {
        const uint8_t cuts = (s->mark[a] | s->mark[b]) & CUT;
        status = renew(s, dropped, (uint8_t)(JOINED | cuts), err);
    }
    done->before = 2;
    done->after = 1;
    kb_free(dropped);
    return status;
}

/* ---- all of them -------------------------------------------------------------------------------
 */

static enum kb_status shape_all(struct shaping *s, const struct kb_morphology_params *params,
                                struct kb_shaped *shaped, struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < params->shapes && status == KB_OK; i++) {
        const struct kb_shape_by_hand *said = &params->shape[i];
        s->fresh.count = 0;
        status = said->joins ? join(s, said, &shaped[i], err) : cut(s, said, &shaped[i], err);
    }
    return status;
}

enum kb_status kb_shape_by_hand(const struct kb_morphology_params *params,
                                struct kb_run_order *order, struct kb_particles *out,
                                struct kb_shape_marks *marks, struct kb_err *err) {
    *marks = (struct kb_shape_marks){0};
    struct shaping s = {.runs = &out->runs,
                        .order = order,
                        .hole_share = params->hole_share,
                        .mark = kb_alloc_zero((size_t)out->runs.regions + 1, 1)};
    out->shaped = kb_alloc_zero(params->shapes, sizeof *out->shaped);
    enum kb_status status = KB_OK;
    if (out->shaped == NULL || s.mark == NULL) {
        status = kb_fail_memory(err, "morphology", params->shapes * sizeof *out->shaped);
    } else {
        out->shaped_count = params->shapes;
        for (size_t i = 0; i < out->count; i++) {
            s.mark[i] = out->particle[i].parted ? PARTED : 0;
        }
        status = shape_all(&s, params, out->shaped, err);
    }
    kb_stroke_release(&s.stroke);
    kb_spans_release(&s.fresh);
    if (status != KB_OK || !s.changed) {
        kb_free(s.mark);
        return status;
    }
    marks->mark = s.mark;
    return KB_OK;
}

void kb_shape_mark(const struct kb_shape_marks *marks, struct kb_particles *out) {
    for (size_t i = 0; i < out->count; i++) {
        struct kb_particle *particle = &out->particle[i];
        particle->parted = (marks->mark[i] & PARTED) != 0;
        particle->cut_by_hand = (marks->mark[i] & CUT) != 0;
        particle->joined_by_hand = (marks->mark[i] & JOINED) != 0;
    }
}

/* ---- what the reader must know -----------------------------------------------------------------
 */

static enum kb_status tell(const struct kb_shape_by_hand *said, const struct kb_shaped *done,
                           struct kb_findings *findings, struct kb_err *err) {
    const struct kb_place a = said->point[0];
    const struct kb_place b = said->point[said->points - 1];
    if (done->before == done->after) {
        const char *why = !said->joins        ? "parts no particle"
                          : done->before == 0 ? "finds no particle at one of its points"
                                              : "names the same particle twice";
        return kb_findings_add(findings, err, KB_WARNING, "by-hand-without-effect",
                               "A %s by hand from %d,%d to %d,%d %s, so it changes nothing.",
                               said->joins ? "join" : "cut", (int)a.x, (int)a.y, (int)b.x, (int)b.y,
                               why);
    }
    if (said->joins) {
        return kb_findings_add(findings, err, KB_NOTE, "joined-by-hand",
                               "The particles at %d,%d and %d,%d were made one by hand.", (int)a.x,
                               (int)a.y, (int)b.x, (int)b.y);
    }
    return kb_findings_add(findings, err, KB_NOTE, "cut-by-hand",
                           "A stroke by hand from %d,%d to %d,%d parted %zu particle%s into %zu.",
                           (int)a.x, (int)a.y, (int)b.x, (int)b.y, done->before,
                           done->before == 1 ? "" : "s", done->after);
}

enum kb_status kb_shape_tell(const struct kb_morphology_params *params, struct kb_particles *out,
                             struct kb_err *err) {
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < params->shapes && status == KB_OK; i++) {
        const struct kb_shape_by_hand *said = &params->shape[i];
        struct kb_shaped *done = &out->shaped[i];
        uint32_t a = 0;
        uint32_t b = 0;
        if (said->joins && kb_runs_at(&out->runs, said->point[0].x, said->point[0].y, &a) &&
            kb_runs_at(&out->runs, said->point[1].x, said->point[1].y, &b) && a == b) {
            done->particle = out->particle[a].id;
        }
        status = tell(said, done, &out->findings, err);
    }
    return status;
}
