/* by_hand.c - phases of regions that a person set, over all that was found.
 *
 * Not a step of kb_segment(): the preparation is judged between the two, by the phases as they were
 * found, since a region that a person calls otherwise has the grey of what it looked like.
 *
 * A correction names a pixel and means the whole region of one phase about it: graphite
 * 8-connected, everything else 4-connected, as particles and colonies are counted elsewhere. All
 * corrections look at the map as it was found, so that their order changes nothing: regions are
 * repainted with their new phase plus a mark, which hides them from the corrections still to come,
 * and the marks are taken off in one sweep at the end. Two words about one region must agree,
 * unless the earlier one may miss its region: then the later one holds.
 *
 * Refused is what the figures could not carry: a point that is not measured, graphite in steel, and
 * constituents of the matrix in an unetched field.
 */
#include "segmentation_priv.h"

#include <string.h>

/* On labels that are already corrected: above every phase and below 256. */
enum { MARK = 128 };

static enum kb_status refuse(const struct kb_phase_by_hand *said, struct kb_err *err,
                             const char *why) {
    return kb_fail(err, KB_E_USAGE, KB_SEG_STAGE, NULL, "phase by hand at %d,%d: %s", (int)said->x,
                   (int)said->y, why);
}

struct correction {
    const struct kb_phase_by_hand *said;
    size_t count;
    const struct kb_segmentation_params *params;
    struct kb_phase_map *map;
};

static enum kb_status check_phase(const struct kb_segmentation_params *params,
                                  const struct kb_phase_by_hand *said, struct kb_err *err) {
    if ((unsigned)said->phase >= KB_PHASES) {
        return refuse(said, err,
                      "unknown phase (graphite, ferrite, pearlite, cementite, matrix, other or "
                      "excluded)");
    }
    bool constituent =
        said->phase == KB_FERRITE || said->phase == KB_PEARLITE || said->phase == KB_CEMENTITE;
    if (constituent && params->contrast == KB_LIGHT_UNETCHED) {
        return refuse(said, err,
                      "an unetched field shows no constituents of the matrix (graphite, matrix, "
                      "other or excluded)");
    }
    if (said->phase == KB_GRAPHITE && !kb_material_is_iron(params->material)) {
        return refuse(said, err, "graphite is not looked for in steel (write other)");
    }
    return KB_OK;
}

static bool holds_nothing(const struct kb_image *label, const struct kb_phase_by_hand *said) {
    return said->x < 0 || said->y < 0 || said->x >= label->width || said->y >= label->height ||
           kb_row(label, said->y)[said->x] == KB_EXCLUDED;
}

/* What was found at each point, before anything is changed. */
static enum kb_status look_up(const struct correction *c, struct kb_err *err) {
    const struct kb_image *label = &c->map->label;
    for (size_t i = 0; i < c->count; i++) {
        const struct kb_phase_by_hand *said = &c->said[i];
        if (said->may_miss && holds_nothing(label, said)) {
            c->map->change[i] =
                (struct kb_phase_change){said->x, said->y, KB_EXCLUDED, said->phase, 0, true};
            continue;
        }
        if (said->x < 0 || said->y < 0 || said->x >= label->width || said->y >= label->height) {
            return kb_fail(err, KB_E_USAGE, KB_SEG_STAGE, NULL,
                           "phase by hand at %d,%d: outside the picture of %d x %d pixels (give "
                           "x,y from its upper left corner)",
                           (int)said->x, (int)said->y, (int)label->width, (int)label->height);
        }
        enum kb_phase found = (enum kb_phase)kb_row(label, said->y)[said->x];
        if (found == KB_EXCLUDED) {
            return refuse(said, err,
                          "this pixel is excluded (take the exclusion out, or name another pixel)");
        }
        enum kb_status status = check_phase(c->params, said, err);
        if (status != KB_OK) {
            return status;
        }
        c->map->change[i] =
            (struct kb_phase_change){said->x, said->y, found, said->phase, 0, false};
    }
    return KB_OK;
}

static void count_pixels(const struct kb_runs *runs, uint64_t *pixels) {
    for (size_t i = 0; i < runs->count; i++) {
        pixels[runs->run[i].region] += (uint64_t)(runs->run[i].x1 - runs->run[i].x0);
    }
}

/* Whether a later word gives the region of correction i another phase, and may do so. */
static bool is_overruled(const struct correction *c, const struct kb_runs *runs, size_t i,
                         uint32_t region) {
    for (size_t k = i + 1; k < c->map->changes && c->said[i].may_miss; k++) {
        const struct kb_phase_change *later = &c->map->change[k];
        uint32_t other = 0;
        if (later->to != c->map->change[i].to && kb_runs_at(runs, later->x, later->y, &other) &&
            other == region) {
            return true;
        }
    }
    return false;
}

/* Decide for the regions of one phase; a region's pixels go to the first correction that names it.
 */
static enum kb_status decide(const struct correction *c, enum kb_phase found,
                             const struct kb_runs *runs, uint64_t *pixels, uint16_t *to,
                             struct kb_err *err) {
    for (uint32_t region = 0; region < runs->regions; region++) {
        to[region] = KB_KEEP;
    }
    for (size_t i = 0; i < c->map->changes; i++) {
        struct kb_phase_change *change = &c->map->change[i];
        uint32_t region = 0;
        if (change->from != found || !kb_runs_at(runs, change->x, change->y, &region)) {
            continue;
        }
        if (is_overruled(c, runs, i, region)) {
            change->from = KB_EXCLUDED;
            change->missed = true;
            continue;
        }
        uint16_t wanted = (uint16_t)(MARK + (int)change->to);
        if (to[region] != KB_KEEP && to[region] != wanted) {
            return refuse(&c->said[i], err,
                          "another word by hand gives the same region another phase (keep one)");
        }
        to[region] = wanted;
        change->pixels = change->to != found ? pixels[region] : 0;
        pixels[region] = 0;
    }
    return KB_OK;
}

/* Points asked about that lie in a region named by hand. */
static void tell_points(const struct correction *c, enum kb_phase found,
                        const struct kb_runs *runs) {
    for (size_t k = 0; k < c->map->whys; k++) {
        struct kb_why *why = &c->map->why[k];
        uint32_t region = 0;
        if (!kb_runs_at(runs, why->x, why->y, &region)) {
            continue;
        }
        for (size_t i = 0; i < c->map->changes && why->change == 0; i++) {
            const struct kb_phase_change *change = &c->map->change[i];
            uint32_t named = 0;
            if (change->from == found && kb_runs_at(runs, change->x, change->y, &named) &&
                named == region) {
                const struct kb_why_step step = {"by hand",   found, change->to, (double)NAN,
                                                 (double)NAN, "",    ""};
                why->change = i + 1;
                kb_why_add(why, &step, "its region was named at %d,%d and set to %s by hand",
                           (int)change->x, (int)change->y, kb_phase_name(change->to));
            }
        }
    }
}

/* Mark the regions of one phase that were named. */
static enum kb_status correct(const struct correction *c, enum kb_phase found, struct kb_err *err) {
    bool chosen[256] = {false};
    chosen[found] = true;
    struct kb_runs runs;
    enum kb_status status =
        kb_runs_label(&c->map->label, chosen, found == KB_GRAPHITE ? 8 : 4, &runs, err);
    if (status != KB_OK) {
        return status;
    }
    uint64_t *pixels = kb_alloc_zero((size_t)runs.regions + 1, sizeof *pixels);
    uint16_t *to = kb_alloc((size_t)runs.regions + 1, sizeof *to);
    if (pixels == NULL || to == NULL) {
        status = kb_fail_memory(err, KB_SEG_STAGE, runs.regions * sizeof *pixels);
    } else {
        count_pixels(&runs, pixels);
        status = decide(c, found, &runs, pixels, to, err);
    }
    if (status == KB_OK) {
        tell_points(c, found, &runs);
        kb_runs_paint(&runs, to, &c->map->label);
    }
    kb_free(pixels);
    kb_free(to);
    kb_runs_release(&runs);
    return status;
}

static void take_marks_off(struct kb_image *label) {
    for (int32_t y = 0; y < label->height; y++) {
        uint8_t *row = kb_row(label, y);
        for (int32_t x = 0; x < label->width; x++) {
            row[x] &= MARK - 1;
        }
    }
}

static bool is_named(const struct kb_phase_map *map, enum kb_phase found) {
    for (size_t i = 0; i < map->changes; i++) {
        if (map->change[i].from == found) {
            return true;
        }
    }
    return false;
}

/* A note for each region; and a warning where part of the matrix stays without a name, since its
 * shares then speak of the rest only. */
static enum kb_status tell(const struct correction *c, struct kb_err *err) {
    struct kb_phase_map *map = c->map;
    const uint64_t *px = map->figures.pixels;
    double all = (double)kb_image_pixels(&map->label);
    enum kb_status status = KB_OK;
    for (size_t i = 0; i < map->changes && status == KB_OK; i++) {
        const struct kb_phase_change *change = &map->change[i];
        if (change->missed) {
            status = kb_findings_add(
                &map->findings, err, KB_WARNING, "by-hand-without-effect",
                holds_nothing(&map->label, &c->said[i])
                    ? "Phase %s by hand at %d,%d changes nothing: this pixel is not measured."
                    : "Phase %s by hand at %d,%d: a later decision about this region holds.",
                kb_phase_name(change->to), (int)change->x, (int)change->y);
        } else if (change->pixels == 0) {
            status = kb_findings_add(&map->findings, err, KB_NOTE, "phase-by-hand",
                                     "The region at %d,%d was set to %s by hand, which changes "
                                     "nothing.",
                                     (int)change->x, (int)change->y, kb_phase_name(change->to));
        } else {
            status = kb_findings_add(&map->findings, err, KB_NOTE, "phase-by-hand",
                                     "The region at %d,%d, %.3g %% of the picture, was found to be "
                                     "%s and set to %s by hand.",
                                     (int)change->x, (int)change->y,
                                     100.0 * (double)change->pixels / all,
                                     kb_phase_name(change->from), kb_phase_name(change->to));
        }
    }
    uint64_t told = px[KB_FERRITE] + px[KB_PEARLITE] + px[KB_CEMENTITE];
    if (status == KB_OK && px[KB_MATRIX] > 0 && told > 0) {
        status = kb_findings_add(&map->findings, err, KB_WARNING, "matrix-partly-told",
                                 "%.3g %% of the picture is matrix without a constituent's name; "
                                 "the pearlite share of the matrix speaks of the rest. Set those "
                                 "regions by hand too, or exclude them.",
                                 100.0 * (double)px[KB_MATRIX] / all);
    }
    return status;
}

static enum kb_status settle(const struct correction *c, struct kb_err *err) {
    struct kb_phase_map *map = c->map;
    take_marks_off(&map->label);
    kb_seg_count_labels(&map->label, map->figures.pixels);
    for (size_t i = 0; i < map->changes; i++) {
        map->figures.by_hand_px += map->change[i].pixels;
    }
    if (map->figures.pixels[KB_EXCLUDED] == kb_image_pixels(&map->label)) {
        return kb_fail(err, KB_E_USAGE, KB_SEG_STAGE, "phases by hand",
                       "leave nothing of the picture to measure (exclude less)");
    }
    return tell(c, err);
}

static enum kb_status go(const struct correction *c, struct kb_err *err) {
    struct kb_phase_map *map = c->map;
    map->change = kb_alloc_zero(c->count, sizeof *map->change);
    if (map->change == NULL) {
        return kb_fail_memory(err, KB_SEG_STAGE, c->count * sizeof *map->change);
    }
    map->changes = c->count;
    enum kb_status status = look_up(c, err);
    for (int found = KB_EXCLUDED + 1; found < KB_PHASES && status == KB_OK; found++) {
        if (is_named(map, (enum kb_phase)found)) {
            status = correct(c, (enum kb_phase)found, err);
        }
    }
    return status == KB_OK ? settle(c, err) : status;
}

enum kb_status kb_phase_map_correct(const struct kb_phase_by_hand *said, size_t count,
                                    const struct kb_segmentation_params *params,
                                    struct kb_phase_map *map, struct kb_err *err) {
    if (count == 0) {
        return KB_OK;
    }
    const struct correction correction = {said, count, params, map};
    enum kb_status status = said != NULL && map->changes == 0
                                ? go(&correction, err)
                                : kb_fail(err, KB_E_USAGE, KB_SEG_STAGE, "phases by hand",
                                          "none are given, or the map was corrected already (give "
                                          "all of them at once)");
    if (status != KB_OK) {
        kb_phase_map_release(map);
    }
    return status;
}
